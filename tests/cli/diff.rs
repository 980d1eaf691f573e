use super::bench::Bench;
use super::shown;

#[test]
fn a_comparison_is_refused_or_shown() {
    let bench = Bench::demo();
    shown!(bench, "header", &["diff", "0411a-03", "0411a-04", "--subject", "header", "--step", "500"]);
    shown!(bench, "far-apart", &["diff", "0411a-01", "0418a-05", "--step", "1000"]);
    shown!(bench, "builds", &["diff", "b1", "b2"]);
    shown!(bench, "unlike-corrections", &["diff", "0411a-01", "0509a-03", "--step", "1000"]);
    shown!(bench, "last", &["diff", "0509a-01", "last", "--step", "1000"]);
    shown!(bench, "pull-and-build", &["diff", "b1", "0411a-04"]);
}

#[test]
fn a_small_shop_is_refused_until_it_writes_things_down() {
    let bench = Bench::shop();
    bench.run(&["build", "b2", "--from", "b1", "--set", "cylinder-head=h3/a"]).done();
    bench.put("run-3.csv", &super::bench::trace(3));
    bench.run(&["pull", "../run-3.csv", "--build", "b2"]).done();
    shown!(bench, "refused", &["diff", "1", "3"]);
    shown!(bench, "one-fit-up", &["diff", "1", "2"]);
}

#[test]
fn a_name_that_means_nothing_or_too_much_is_refused() {
    let bench = Bench::demo();
    shown!(bench, "same", &["diff", "0411a-03", "0411a-03"]);
    shown!(bench, "ambiguous", &["diff", "0411a", "0411a-03"]);
    shown!(bench, "not-found", &["diff", "0411a-33", "0411a-03"]);
    shown!(bench, "not-an-order", &["diff", "99", "0411a-03"]);
    shown!(bench, "step", &["diff", "0411a-01", "0411a-03", "--step", "5"]);
}

/// A part that nobody knows is one open question: the other side's figures are not called changes against it, and
/// those of them that are missing are still asked for.
#[test]
fn beside_a_part_that_nobody_knows_the_other_is_still_to_be_documented() {
    let bench = Bench::demo();
    let correct = |pull: &str, header: &str| {
        let set = format!("header={header}");
        bench.run(&["correct", pull, "--set", &set, "--because", "the paper does not say which"]).done();
    };
    correct("0411a-04", "unknown: either of the two long ones");
    let shown = bench.run(&["diff", "0411a-03", "0411a-04", "--json"]).json();
    let open = shown["open"].as_array().expect("a list");
    assert_eq!(open.len(), 1, "{open:?}");
    let changes = shown["changes"].to_string();
    assert!(changes.contains("either of the two") && !changes.contains("primary-length"), "{changes}");
    bench.run(&["part", "header", "bare-1", "--since", "2026-03-01"]).done();
    correct("0411a-03", "bare-1/a");
    let refused = bench.run(&["diff", "0411a-03", "0411a-04"]);
    assert_eq!(refused.code, 3);
    let lines: Vec<&str> =
        refused.out.lines().filter(|line| line.contains("bare-1/a primary-length")).collect();
    assert!(
        lines.len() == 1 && refused.out.contains("the other side says unknown: either"),
        "{}",
        refused.out
    );
}

/// No flag overrides a refusal: none of the options that `diff` has changes its exit code.
#[test]
fn nothing_overrides_a_refusal() {
    let bench = Bench::shop();
    bench.run(&["build", "b2", "--from", "b1", "--set", "cylinder-head=h3/a"]).done();
    for more in [&["--pending"][..], &["--subject", "header"], &["--step", "200"], &["--by", "jo"]] {
        let mut arguments = vec!["diff", "b1", "b2"];
        arguments.extend(more);
        assert_eq!(bench.run(&arguments).code, 3, "{more:?}");
    }
    for flag in ["--force", "--yes", "--allow-gaps", "--ignore"] {
        assert_eq!(bench.run(&["diff", "b1", "b2", flag]).code, 2, "{flag}");
    }
}

/// A file that carries one correction beside one that is observed: brought to one where factor or weather is there,
/// refused by name where neither is.
#[test]
fn unlike_corrections_come_to_one_or_are_refused() {
    let bench = Bench::demo();
    shown!(
        bench,
        "correct-to",
        &["diff", "0411a-03", "0411a-04", "--correct-to", "iso-1585", "--step", "1000"]
    );
    shown!(bench, "correct-to-unknown", &["diff", "0411a-03", "0411a-04", "--correct-to", "sae"]);
    let because = ["--because", "the console had it on"];
    let correct = |pull: &str, set: &str| {
        let mut arguments = vec!["correct", pull, "--set", set];
        arguments.extend(because);
        bench.run(&arguments).done();
    };
    correct("0411a-02", "correction=stp 1.0432");
    shown!(bench, "brought-to-one", &["diff", "0411a-01", "0411a-02", "--step", "1000"]);
    correct("0411a-03", "correction=stp");
    correct("0411a-03", "conditions.air-temperature=unknown: the logger was off");
    shown!(bench, "weather-missing", &["diff", "0411a-01", "0411a-03"]);
}

/// The book's own page says what pulls are brought to, `--correct-to` goes before it, and outside a standard's limits the
/// factor stands and is flagged.
#[test]
fn the_book_says_what_pulls_are_brought_to_and_limits_are_flagged() {
    let bench = Bench::demo();
    let basis = |arguments: &[&str]| -> serde_json::Value {
        let mut words = vec!["diff", "0411a-03", "0411a-04", "--json"];
        words.extend(arguments);
        bench.run(&words).done().json()["curves"].clone()
    };
    assert_eq!(basis(&[])["correction"], "SAE J1349");
    bench.edit("book.yaml", "correction: sae-j1349", "correction: iso-1585");
    bench.run(&["keep", "-m", "The rules ask for ISO 1585"]).done();
    assert_eq!(basis(&[])["correction"], "ISO 1585");
    assert_eq!(basis(&["--correct-to", "observed"])["correction"], "observed");
    // A rating is no basis for comparing pulls: the page does not take it.
    bench.edit("book.yaml", "correction: iso-1585", "correction: iso-3046-1");
    assert_eq!(bench.run(&["keep", "-m", "no"]).code, 1);
    bench.edit("book.yaml", "correction: iso-3046-1", "correction: iso-1585");
    let hot = [
        "correct",
        "0411a-03",
        "--set",
        "conditions.air-temperature=39.0 degC",
        "--with",
        "weather-1",
        "--because",
        "read again",
    ];
    bench.run(&hot).done();
    let curves = basis(&[]);
    let beyond = curves["brought"][0]["beyond"].as_array().expect("flags").clone();
    let told =
        |wanted: &str| beyond.iter().filter_map(|flag| flag.as_str()).any(|flag| flag.contains(wanted));
    assert!(told("air temperature 39.0 °C lies outside the limits 15 to 35 °C of ISO 1585"), "{beyond:?}");
    assert!(told("correction factor 1.08"), "{beyond:?}");
    assert!(bench.run(&["diff", "0411a-03", "0411a-04"]).done().out.contains("lies outside the limits"));
}

/// An engine that ignites by compression is corrected by its fuel at each speed; the older practice has no formula for
/// it, and says so.
#[test]
fn compression_ignition_is_corrected_by_its_own_formula() {
    let bench = Bench::demo();
    let torque = |arguments: &[&str]| -> Vec<f64> {
        let mut words = vec!["diff", "0411a-03", "0411a-04", "--step", "1000", "--json"];
        words.extend(arguments);
        let answer = bench.run(&words).done().json();
        let rows = answer["curves"]["rows"].as_array().expect("rows").clone();
        rows.iter().filter_map(|row| row["base_torque"].as_f64()).collect()
    };
    let observed = torque(&["--correct-to", "observed"]);
    let factors = |arguments: &[&str]| -> Vec<f64> {
        torque(arguments).iter().zip(&observed).map(|(corrected, observed)| corrected / observed).collect()
    };
    let apart = |factors: &[f64]| {
        let most = factors.iter().copied().fold(f64::MIN, f64::max);
        most - factors.iter().copied().fold(f64::MAX, f64::min)
    };
    assert!(apart(&factors(&[])) < 1e-12, "one factor for a spark");
    bench.run(&["measure", "mule-1/a", "ignition", "compression"]).done();
    let found = factors(&[]);
    assert!(apart(&found) > 1e-4 && found.iter().all(|factor| (0.9..1.1).contains(factor)), "{found:?}");
    let text = bench.run(&["diff", "0411a-03", "0411a-04", "--step", "1000"]).done().out;
    let words = text.split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(words.contains("fa^fm, fa = (99 kPa/pd)*(T/298)^0.7"), "{text}");
    assert!(words.contains("the factor goes with the fuel at each speed"), "{text}");
    // Weighing takes the factor at each speed, too.
    let weighed =
        bench.run(&["weigh", "--base", "0411a-01..03", "--test", "0411a-04..06", "--json"]).done().json();
    assert!(weighed["correction"].as_str().is_some_and(|basis| basis.contains("J1349")), "{weighed}");
    let refused = bench.run(&["diff", "0411a-03", "0411a-04", "--correct-to", "stp"]);
    assert_eq!(refused.code, 3, "{refused:?}");
    let words = refused.out.split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(words.contains("no formula of SAE J607 for compression ignition"), "{refused:?}");
}

/// A barometer reduced to sea level answers the station pressure only where the altitude of the cell is documented.
#[test]
fn a_sea_level_pressure_asks_for_the_altitude() {
    let bench = Bench::shop();
    bench.run(&["cell", "shed"]).done();
    bench.run(&["session", "0413a", "--cell", "shed", "--engine", "mule-1", "--warm-up", "8 min"]).done();
    bench.put("run-9.csv", &super::bench::trace(9));
    bench
        .run(&[
            "pull",
            "../run-9.csv",
            "--session",
            "0413a",
            "--build",
            "b1",
            "--correction",
            "observed",
            "--set",
            "kind=sweep",
            "--set",
            "sea-level-pressure=101.90 kPa",
            "--set",
            "humidity=45 %",
            "--with",
            "burette-1",
        ])
        .done();
    let gaps = bench.run(&["gaps", "0413a-01"]).done().out;
    let words = gaps.split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(words.contains("would answer it, but the altitude of shed is not documented"), "{gaps}");
    let close =
        gaps.lines().find_map(|line| line.trim().strip_prefix("mulebook measure shed ")).expect("a way");
    assert!(close.starts_with("altitude "), "{close}");
    let station = || {
        let sheet = bench.run(&["sheet", "0413a-01", "--json"]).done().json();
        let derived = sheet["derived"].as_array().expect("figures").clone();
        derived.into_iter().find(|figure| figure["figure"] == "station-pressure")
    };
    assert_eq!(station(), None, "without the altitude nothing is worked out");
    shown!(bench, "altitude", &["measure", "shed", "altitude", "320 m", "--listed", "survey map"]);
    let gaps = bench.run(&["gaps", "0413a-01"]).done().out;
    assert!(!gaps.contains("station-pressure"), "{gaps}");
    let station = station().expect("worked out");
    // 101.90 kPa at 320 m is 98.09 kPa (ISO 2533, by hand: 101.90·(1 − 0.0065·320/288.15)^5.25588, and 0.003 the
    // other way of reduction).
    assert!((station["value"].as_f64().expect("kPa") - 98.09).abs() < 0.02, "{station}");
    assert_eq!(station["worst_input"], "listed");
    assert_eq!(bench.run(&["measure", "shed", "colour", "red"]).code, 2);
}

#[test]
fn a_columns_record_that_was_changed_since_is_told_with_what_moved() {
    let bench = Bench::demo();
    let before = bench.run(&["diff", "0411a-03", "0411a-04", "--json"]).done().json();
    let paths = bench.git(&["ls-files", "builds"]);
    let raw = bench.read(paths.lines().find(|path| path.ends_with("/0411a-03.yaml")).expect("the pull"));
    let name =
        raw.split("columns: ").nth(1).and_then(|rest| rest.split([',', '}', '\n']).next()).expect("a record");
    let path = format!("columns/{name}.yaml");
    let text = bench.read(&path);
    let line =
        text.lines().find(|line| line.contains("quantity: torque")).expect("torque is read").to_owned();
    bench.edit(&path, &line, &line.replace("quantity: torque", "quantity: torque, scale: 2.0"));
    bench.run(&["keep", "-m", "The load cell reads half"]).done();
    let after = bench.run(&["diff", "0411a-03", "0411a-04", "--json"]).done().json();
    let told = |answer: &serde_json::Value| -> Vec<String> {
        let doubts = answer["doubts"].as_array().expect("doubts").iter();
        doubts
            .filter_map(|doubt| doubt.as_str())
            .filter(|doubt| doubt.contains("columns record"))
            .map(str::to_owned)
            .collect()
    };
    assert_eq!(told(&before), Vec::<String>::new());
    let moved = told(&after);
    let numbers: Vec<f64> = moved[0].split_whitespace().filter_map(|word| word.parse().ok()).collect();
    assert!(moved[0].contains("was changed since it was entered"), "{moved:?}");
    // The channel as read, with the rows beside it, then the sweep's torque.
    assert!(
        moved[0].contains("Torque was") && moved[0].contains("mean torque over the sweep was"),
        "{moved:?}"
    );
    let [channel_then, rows_then, channel_now, rows_now, then, now] = numbers[..] else {
        panic!("{moved:?}")
    };
    assert!(
        (channel_now / channel_then - 2.0).abs() < 1e-3 && rows_then.to_bits() == rows_now.to_bits(),
        "{moved:?}"
    );
    assert!((now / then - 2.0).abs() < 0.01, "{moved:?}");
}
