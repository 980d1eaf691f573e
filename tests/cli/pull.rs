use super::bench::Bench;
use super::bench::trace;
use super::kept;
use super::shown;

#[test]
fn a_raw_file_is_taken_in() {
    let bench = Bench::shop();
    bench.put("run-3.csv", &trace(3));
    shown!(
        bench,
        "entered",
        &[
            "pull",
            "../run-3.csv",
            "--build",
            "b1",
            "--set",
            "air-temperature=21.4 degC",
            "--set",
            "kind=sweep",
            "--set",
            "rate=300 rpm/s",
            "--correction",
            "observed",
            "--with",
            "weather-1",
            "--note",
            "as it should be"
        ]
    );
    kept!("pull-entered-file", bench.read("builds/b1/pulls/0412a-03.yaml"));
    shown!(bench, "same-again", &["pull", "../run-3.csv", "--build", "b1"]);
    bench.put("run-4.csv", &trace(4));
    bench.put("photo.jpg", "\u{1}\u{2}not a table\u{3}");
    shown!(
        bench,
        "as-last",
        &["pull", "../run-4.csv", "../photo.jpg", "--as-last", "--changed", "ignition-timing=28 deg BTDC"]
    );
    bench.put("run-6.csv", &trace(6));
    shown!(bench, "skipped-unsaid", &["pull", "../run-6.csv", "--order", "6"]);
    bench.put("run-8.csv", &trace(8));
    shown!(
        bench,
        "skipped",
        &[
            "pull",
            "../run-8.csv",
            "--order",
            "8",
            "--skipped",
            "console froze",
            "--set-aside",
            "throttle not fully open",
            "--refit",
            "--build",
            "b1"
        ]
    );
    kept!("pull-skipped-session", bench.read("sessions/0412a.yaml"));
    bench.put("weather.yaml", "air-temperature: 21.4 degC\nstation-pressure: 98.6 kPa\n");
    bench.put("run-9.csv", &trace(9));
    shown!(
        bench,
        "conditions-file",
        &["pull", "../run-9.csv", "--conditions", "../weather.yaml", "--correction", "sae-j1349 1.023"]
    );
    bench.put("run-10.csv", &trace(10));
    shown!(
        bench,
        "correction-unknown",
        &[
            "pull",
            "../run-10.csv",
            "--correction",
            "unknown: the console does not say",
            "--columns",
            "tower-1"
        ]
    );
}

#[test]
fn bytes_are_kept_as_they_came() {
    let bench = Bench::shop();
    let kept = bench.git(&["ls-files", "raw"]);
    assert_eq!(kept.lines().count(), 2);
    let texts: Vec<String> = kept.lines().map(|path| bench.read(path)).collect();
    assert!(texts.contains(&trace(1)) && texts.contains(&trace(2)));
}

#[test]
fn a_session_may_begin_with_its_pull() {
    let bench = Bench::new();
    bench.put("run-1.csv", &trace(1));
    shown!(bench, "no-session", &["pull", "../run-1.csv"]);
    bench.run(&["cell", "tower"]).done();
    shown!(bench, "no-build-yet", &["pull", "../run-1.csv"]);
    assert!(bench.book().join("builds/unassigned/pulls/0412a-01.yaml").exists());
    shown!(bench, "setting-without-a-build", &["measure", "0412a-01", "ignition-timing", "31 deg BTDC"]);
}

#[test]
fn several_pulls_in_one_file_are_several_pulls() {
    let bench = Bench::shop();
    let one = trace(5);
    let (head, rows) = one.split_once('\n').expect("a header");
    let text = format!("{one}\n\n{head}\n{rows}");
    bench.put("two.csv", &text);
    shown!(bench, "segment-missing", &["pull", "../two.csv", "--build", "b1", "--segment", "9"]);
    shown!(bench, "two-segments", &["pull", "../two.csv", "--build", "b1"]);
}

#[test]
fn a_pull_that_does_not_hold_is_refused_and_nothing_is_kept() {
    let bench = Bench::shop();
    bench.put("run-3.csv", &trace(3));
    bench.put("words.txt", "the quick brown fox\njumps over\n");
    bench.put("header.csv", "Engine Speed (rpm),Torque (N·m)\n");
    bench.put("comma.csv", "rpm;torque\n3000;180,123\n3100;181,456\n3200;182,789\n");
    let file = "../run-3.csv";
    shown!(bench, "words", &["pull", "../words.txt"]);
    shown!(bench, "header-only", &["pull", "../header.csv"]);
    shown!(bench, "no-rows", &["pull", "../header.csv", "--columns", "tower-1"]);
    shown!(bench, "missing", &["pull", "../nowhere.csv"]);
    shown!(bench, "two-readings", &["pull", "../comma.csv", "--build", "b1"]);
    shown!(bench, "no-build-of-this-name", &["pull", file, "--build", "b9"]);
    shown!(bench, "order-taken", &["pull", file, "--order", "1"]);
    shown!(bench, "order-zero", &["pull", file, "--order", "0"]);
    shown!(bench, "condition-changed", &["pull", file, "--changed", "air-temperature=20 degC"]);
    shown!(bench, "change-as-condition", &["pull", file, "--set", "spacer=none"]);
    shown!(bench, "condition-unit", &["pull", file, "--set", "air-temperature=20 mm"]);
    shown!(bench, "unknown-name", &["pull", file, "--set", "colour=red"]);
    shown!(bench, "kind-of-run", &["pull", file, "--set", "kind=hillclimb"]);
    shown!(bench, "columns-name-taken", &["pull", file, "--name-columns", "tower-1"]);
    shown!(bench, "columns-missing", &["pull", file, "--columns", "tower-9"]);
    shown!(
        bench,
        "as-last-of-nothing",
        &["pull", file, "--session", "0413a", "--cell", "tower", "--as-last"]
    );
    shown!(bench, "no-file", &["pull"]);
    bench.put("bad.yaml", "air-temperature: [1, 2]\n");
    shown!(bench, "conditions-no-list", &["pull", file, "--conditions", "../bad.yaml"]);
    shown!(bench, "conditions-missing", &["pull", file, "--conditions", "../nowhere.yaml"]);
    assert_eq!(bench.git(&["ls-files", "raw"]).lines().count(), 2, "no bytes of a refused pull are kept");
}

#[test]
fn nobody_is_named() {
    let bench = Bench::shop();
    bench.put("run-3.csv", &trace(3));
    let nobody = std::collections::BTreeMap::from([("MULEBOOK_NOW", super::bench::NOW), ("LC_ALL", "C")]);
    let said =
        bench.run_under(&nobody, &bench.book(), &["pull", "../run-3.csv", "--build", "b1", "--json"], "");
    assert_eq!(said.code, 2);
    kept!("pull-nobody", said.out);
}

#[test]
fn a_large_raw_file_that_is_not_here_is_no_damage() {
    let bench = Bench::shop();
    bench.edit("book.yaml", "# raw-limit: 4 MB", "raw-limit: 10 B");
    bench.run(&["keep"]).done();
    bench.put("run-3.csv", &trace(3));
    bench.run(&["pull", "../run-3.csv", "--build", "b1"]).done();
    std::fs::remove_dir_all(bench.book().join("raw-large")).expect("large files lie there");
    shown!(bench, "large-not-here", &["correct", "0412a-03", "--set", "spacer=none", "--because", "asked"]);
    let said = bench.run(&["audit"]);
    assert_eq!(said.code, 0, "{}", said.out);
}

#[test]
fn a_barometer_reduced_to_sea_level_is_doubted() {
    let bench = Bench::shop();
    let text = trace(4).replace("Air Temp (°C)", "Barometer (kPa)").replace(",21.", ",101.");
    bench.put("run-4.csv", &text);
    shown!(bench, "sea-level", &["pull", "../run-4.csv", "--build", "b1"]);
    // The same of a pressure that was typed; one that suits the cell's 320 m is taken.
    bench.put("run-5.csv", &trace(5));
    let typed = |file, pressure| ["pull", file, "--build", "b1", "--with", "lamp-1", "--set", pressure];
    shown!(bench, "sea-level-typed", &typed("../run-5.csv", "station-pressure=1013 mbar"));
    assert!(bench.read("builds/b1/pulls/0412a-04.yaml").contains("barometer-at-sea-level"));
    bench.put("run-6.csv", &trace(6));
    bench.run(&typed("../run-6.csv", "station-pressure=98.1 kPa")).done();
    assert!(!bench.read("builds/b1/pulls/0412a-05.yaml").contains("barometer-at-sea-level"));
}

/// Behind the head that the guess saw, a number comes up that could be read in two ways.
#[test]
fn a_mark_that_was_assumed_is_doubted_where_it_first_comes_up() {
    let bench = Bench::shop();
    let mut text = String::from("Time (s);Speed (rpm);Torque (Nm)\n");
    let mut rows = 0_i32;
    while text.len() <= 1 << 20 {
        text.push_str(&format!("{rows};{};{}\n", 3000 + rows % 5000, 100 + rows % 90));
        rows += 1;
    }
    let sure = format!("{text}{rows};4000;151.5\n");
    text.push_str(&format!("{rows};4000;1.234\n"));
    bench.put("long.csv", &text);
    bench.put("sure.csv", &sure);
    let doubted = |said: &serde_json::Value| -> Vec<u64> {
        let doubts = said["doubts"].as_array().expect("doubts").iter();
        doubts
            .filter(|doubt| doubt["code"] == "mark-assumed")
            .filter_map(|doubt| doubt["place"]["line"].as_u64())
            .collect()
    };
    let look = bench.run(&["look", "../long.csv", "--json"]).done().json();
    let late = vec![u64::try_from(rows + 2).expect("a line")];
    assert_eq!(doubted(&look), late);
    let said = bench.run(&["pull", "../long.csv", "--build", "b1", "--json"]).done().json();
    assert_eq!(doubted(&said), late);
    let record = bench.read("builds/b1/pulls/0412a-03.yaml");
    assert!(record.contains(&format!("code: mark-assumed, says: \"line {}:", rows + 2)), "{record}");
    // A number that can only be read in one way settles it.
    let said = bench.run(&["pull", "../sure.csv", "--build", "b1", "--json"]).done().json();
    assert!(doubted(&said).is_empty());
    // What the columns record says is followed to the letter, and nothing is assumed.
    bench
        .run(&["correct", "0412a-03", "--set", "outcome=marks not settled", "--because", "read again"])
        .done();
    let columns =
        record.split("columns: ").nth(1).and_then(|rest| rest.split([',', '}']).next()).expect("a record");
    let said = bench.run(&["look", "../long.csv", "--columns", columns, "--json"]).done().json();
    assert!(doubted(&said).is_empty());
}

#[test]
fn a_pull_typed_from_paper_is_kept_as_typed() {
    let typed = trace(3);
    let bench = Bench::shop().typing(&typed);
    bench.put("paper.jpg", "\u{1}\u{2}not a table\u{3}");
    shown!(bench, "typed", &["pull", "-", "../paper.jpg", "--build", "b1", "--correction", "observed"]);
    let text = bench.read("builds/b1/pulls/0412a-03.yaml");
    assert!(text.contains("typed: true") && text.contains("typed-0412a-03.txt"), "{text}");
    assert!(text.contains("paper.jpg"), "{text}");
    let kept = bench.git(&["ls-files", "raw"]);
    assert!(kept.lines().any(|path| bench.read(path) == typed), "the bytes as typed");
}

#[test]
fn a_loggers_own_file_is_kept_beside_its_export() {
    let bench = Bench::shop();
    bench.put("run-3.csv", &trace(3));
    bench.put("run-3.mf4", "MDF     4.10    \u{1}\u{2}\0");
    bench.put("photo.jpg", "\u{1}\u{2}not a table\0");
    shown!(bench, "derived-by-name", &["pull", "../run-3.csv", "../run-3.mf4", "--build", "b1"]);
    assert!(bench.read("builds/b1/pulls/0412a-03.yaml").contains("derived-from: \"run-3.mf4\""));
    bench.put("run-4.csv", &trace(4));
    bench.put("logger.bin", "\u{1}\u{2}\u{3}\0");
    shown!(
        bench,
        "derived-as-said",
        &["pull", "../run-4.csv", "../photo.jpg", "--derived-from", "../logger.bin", "--build", "b1"]
    );
    let text = bench.read("builds/b1/pulls/0412a-04.yaml");
    assert!(text.contains("derived-from: \"logger.bin\"") && text.contains("photo.jpg"), "{text}");
    bench.put("run-5.csv", &trace(5));
    bench.put("run-6.csv", &trace(6));
    shown!(
        bench,
        "derived-of-two",
        &["pull", "../run-5.csv", "../run-6.csv", "--derived-from", "../logger.bin", "--build", "b1"]
    );
    // A photograph of the same name is no origin.
    bench.put("run-5.gif", "GIF89a\u{1}\0");
    bench.run(&["pull", "../run-5.csv", "../run-5.gif", "--build", "b1"]).done();
    assert!(!bench.read("builds/b1/pulls/0412a-05.yaml").contains("derived-from"));
    let path = "builds/b1/pulls/0412a-04.yaml";
    bench.put(
        &format!("book/{path}"),
        &text.replace("derived-from: \"logger.bin\"", "derived-from: \"other.bin\""),
    );
    shown!(bench, "derived-from-nothing", &["keep"]);
}

/// Lines above the table are offered as conditions with their numbers, in every way in which they state a unit.
#[test]
fn lines_above_the_table_are_taken_as_conditions() {
    let bench = Bench::shop();
    let head = "Air Temp (°F): 72\nBaro [inHg],29.12\nHumidity = 45%\nOil temperature,88,degC\nVapour pressure: 0.4\n";
    bench.put("run-3.csv", &format!("{head}{}", trace(3)));
    shown!(bench, "offered", &["look", "../run-3.csv"]);
    shown!(bench, "taken", &["pull", "../run-3.csv", "--build", "b1", "--with", "weather-1"]);
    let text = bench.read("builds/b1/pulls/0412a-03.yaml");
    assert!(text.contains("air-temperature: {measured: 72 °F, with: weather-1"), "{text}");
    assert!(text.contains("note: \"line 4 of run-3.csv\""), "{text}");
    // In a file that writes decimal commas its lines do so too.
    let comma =
        "Lufttemp;21,4;degC\nBarometer: 98,61 kPa\nn (1/min);M (N·m)\n3000;180,5\n3100;181,25\n3200;182,0\n";
    bench.put("komma.csv", comma);
    bench.run(&["pull", "../komma.csv", "--build", "b1"]).done();
    assert!(bench.read("builds/b1/pulls/0412a-04.yaml").contains("measured: 98.61 kPa"));
}

/// The second pull of a file may begin far behind the part that is looked at to guess its columns.
#[test]
fn a_pull_that_begins_behind_the_sample_is_parted_too() {
    let bench = Bench::shop();
    let mut text = "Time (s),RPM,Torque (Nm),Power (kW)\n".to_owned();
    for pull in 0..2 {
        for row in 0..45_000_u32 {
            let speed = 3000.0 + f64::from(row) / 10.0;
            let torque = 150.0 + f64::from(pull);
            let power = torque * speed * std::f64::consts::PI / 30_000.0;
            text.push_str(&format!("{:.3},{speed:.1},{torque:.1},{power:.3}\n", f64::from(row) / 1000.0));
        }
    }
    assert!(text.len() > 2 << 20);
    bench.put("long.csv", &text);
    let looked = bench.run(&["look", "../long.csv", "--json"]).done().json();
    let rows: Vec<u64> =
        looked["segments"].as_array().into_iter().flatten().filter_map(|one| one["rows"].as_u64()).collect();
    assert_eq!(rows, [45_000, 45_000]);
    let entered = bench.run(&["pull", "../long.csv", "--build", "b1", "--json"]).done().json();
    assert_eq!(entered["pulls"].as_array().map(Vec::len), Some(2), "{entered:#}");
    assert!(!entered.to_string().contains("time-steps-back"), "{entered:#}");
    let parting = bench.git(&["grep", "-l", "segments: time-restarts", "--", "columns"]);
    assert_eq!(parting.lines().count(), 1, "the record that was kept says what parts them: {parting}");
}
