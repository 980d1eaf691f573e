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
