use std::path::Path;

use super::bench::Bench;
use super::bench::trace;
use super::kept;
use super::shown;

fn corpus(name: &str) -> String {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/fixtures/raw").join(name).display().to_string()
}

#[test]
fn a_file_is_looked_at_without_a_book() {
    let bench = Bench::empty();
    bench.put("run.csv", &trace(1));
    shown!(bench, ".", "plain", &["look", "run.csv"]);
}

#[test]
fn a_file_is_looked_at_through_a_columns_record() {
    let bench = Bench::shop();
    shown!(bench, "columns", &["look", "../run-1.csv", "--columns", "tower-1"]);
    shown!(bench, "no-columns", &["look", "../run-1.csv", "--columns", "tower-9"]);
    bench.put("other.csv", "a;b\n1;2\n3;4\n");
    shown!(bench, "columns-of-another", &["look", "../other.csv", "--columns", "tower-1"]);
    let bench = Bench::empty();
    bench.put("run.csv", &trace(1));
    shown!(bench, ".", "columns-without-a-book", &["look", "run.csv", "--columns", "tower-1"]);
}

#[test]
fn a_question_is_asked_and_answered() {
    let bench = Bench::empty();
    std::fs::copy(corpus("asks-comma-decimal.csv"), bench.path().join("run.csv")).expect("a fixture");
    shown!(bench, ".", "question", &["look", "run.csv"]);
    shown!(bench, ".", "answered", &["look", "run.csv", "--read", "decimal=comma"]);
    shown!(bench, ".", "answer-not-understood", &["look", "run.csv", "--read", "decimal=banana"]);
}

#[test]
fn what_is_no_table_is_refused() {
    let bench = Bench::empty();
    bench.put("empty.csv", "");
    bench.put("words.txt", "the quick brown fox\njumps over the lazy dog\n");
    bench.put("header.csv", "rpm,torque\n");
    std::fs::copy(corpus("binary.dat"), bench.path().join("binary.dat")).expect("a fixture");
    shown!(bench, ".", "missing", &["look", "nowhere.csv"]);
    shown!(bench, ".", "folder", &["look", "."]);
    shown!(bench, ".", "empty", &["look", "empty.csv"]);
    shown!(bench, ".", "words", &["look", "words.txt"]);
    shown!(bench, ".", "header-only", &["look", "header.csv"]);
    shown!(bench, ".", "binary", &["look", "binary.dat"]);
}

/// Every file of the corpus: its questions, doubts and refusals as a person meets them.
#[test]
fn the_whole_corpus_is_looked_at() {
    let bench = Bench::empty();
    let mut names: Vec<String> =
        std::fs::read_dir(Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/fixtures/raw"))
            .expect("the corpus is here")
            .map(|entry| entry.expect("a readable folder").file_name().to_string_lossy().into_owned())
            .filter(|name| !name.ends_with(".json") && !name.ends_with(".py"))
            .collect();
    names.sort();
    let mut shown = String::new();
    for name in names {
        let said = bench.run_in(bench.path(), &["look", &corpus(&name), "--json"], "");
        let answer = super::bench::checked(&format!("look-{name}"), &said.out);
        shown.push_str(&format!("{name}: exit {}\n", said.code));
        let findings =
            answer["doubts"].as_array().or(answer["findings"].as_array()).cloned().unwrap_or_default();
        for finding in findings {
            let line =
                finding["place"]["line"].as_u64().map(|line| format!(" line {line}")).unwrap_or_default();
            shown.push_str(&format!(
                "  \"code\": {}{line}: {}\n",
                finding["code"],
                finding["message"].as_str().unwrap_or("?")
            ));
        }
        for question in answer["questions"].as_array().into_iter().flatten() {
            shown.push_str(&format!("  asks: {}\n", question.as_str().unwrap_or("?")));
        }
    }
    kept!("look-corpus", shown);
}

/// A trace with one thing wrong in it: `change` gives the cells of a row.
fn wrong(header: &str, change: impl Fn(u32) -> String) -> String {
    let mut text = format!("{header}\n");
    for row in 0..200 {
        text.push_str(&change(row));
        text.push('\n');
    }
    text
}

#[test]
fn what_looks_wrong_in_a_file_is_said() {
    let bench = Bench::empty();
    let header = "Time (s),Engine Speed (rpm),Torque (N·m)";
    let time = |row: u32| format!("{}.{}", row / 10, row % 10);
    let torque = |row: u32| format!("{}.{}", 180 + row / 4, row % 10);
    let speed = |row: u32| 3000 + 25 * row;
    let files = [
        (
            "stuck",
            wrong(header, |row| {
                format!(
                    "{},{},{}",
                    time(row),
                    speed(row),
                    if row < 60 { torque(row) } else { "195.5".to_owned() }
                )
            }),
        ),
        ("still", wrong(header, |row| format!("{},{},{}", time(row.min(40)), speed(row), torque(row)))),
        (
            "back",
            wrong(header, |row| {
                format!("{},{},{}", time(if row == 90 { 50 } else { row }), speed(row), torque(row))
            }),
        ),
        (
            "burst",
            wrong(header, |row| {
                let seconds = if row < 100 {
                    f64::from(row) / 10.0
                } else if row < 120 {
                    10.0 + f64::from(row - 100) / 1e5
                } else {
                    f64::from(row - 20) / 10.0 + 0.1
                };
                format!("{seconds:.5},{},{}", speed(row), torque(row))
            }),
        ),
        (
            "standing",
            wrong(header, |row| {
                format!("{},{},{}", time(row), if row > 100 { 0 } else { speed(row) }, torque(row))
            }),
        ),
        (
            "no-unit",
            wrong("Time (s),Engine Speed (rpm),Torque (N·m),Oil Temp,Boost", |row| {
                format!("{},{},{},{},{}", time(row), speed(row), torque(row), 85 + row % 3, row % 7)
            }),
        ),
        (
            "odd-unit",
            wrong("Time (s),Engine Speed (rpm),Torque (N·m),Oil Temp [wobbles]", |row| {
                format!("{},{},{},{}", time(row), speed(row), torque(row), 85 + row % 3)
            }),
        ),
        (
            "sentinel",
            wrong("Time (s),Engine Speed (rpm),Torque (N·m),Oil Temp (°C)", |row| {
                format!(
                    "{},{},{},{}",
                    time(row),
                    speed(row),
                    torque(row),
                    if row % 40 == 7 { 9999 } else { 85 + row % 3 }
                )
            }),
        ),
        (
            "between",
            wrong(header, |row| {
                if row == 80 {
                    "recalibrated by the console".to_owned()
                } else {
                    format!("{},{},{}", time(row), speed(row), torque(row))
                }
            }),
        ),
    ];
    let mut shown = String::new();
    for (name, text) in files {
        bench.put("run.csv", &text);
        let said = bench.run_in(bench.path(), &["look", "run.csv", "--json"], "");
        let answer = super::bench::checked(&format!("look-wrong-{name}"), &said.out);
        shown.push_str(&format!("== {name}: exit {}\n", said.code));
        for key in ["doubts", "findings", "questions"] {
            for finding in answer[key].as_array().into_iter().flatten() {
                shown.push_str(&format!("{}\n", serde_json::to_string_pretty(finding).expect("JSON")));
            }
        }
    }
    kept!("look-wrong", shown);
}

#[test]
fn a_clock_that_passes_midnight_is_one_pull() {
    let bench = Bench::shop();
    let rows = [(23, 59, 58), (23, 59, 59), (0, 0, 0), (0, 0, 1)].iter().enumerate();
    let rows: String = rows
        .map(|(row, (h, m, s))| format!("{h:02}:{m:02}:{s:02},{},{}.5\n", 3000 + row * 100, 61 + row))
        .collect();
    bench.put("night.csv", &format!("Time,RPM,Torque (Nm)\n{rows}"));
    shown!(bench, "past-midnight", &["look", "../night.csv"]);
}

#[test]
fn an_air_fuel_ratio_is_of_a_fuel() {
    let bench = Bench::shop();
    bench.put("mixture.csv", "RPM,Torque (Nm),AFR\n3000,61.5,12.8\n3100,62.5,12.9\n3200,63.5,13.0\n");
    shown!(bench, "fuel-not-said", &["look", "../mixture.csv"]);
    bench.run(&["pull", "../mixture.csv", "--build", "b1", "--name-columns", "mixture"]).done();
    let text = bench.read("columns/mixture.yaml");
    let said = text.replace("quantity: air-fuel-ratio", "quantity: air-fuel-ratio, fuel: petrol");
    bench.put("book/columns/mixture.yaml", &said.replace("quantity: speed", "quantity: speed, fuel: petrol"));
    shown!(bench, "fuel-of-another", &["keep"]);
    bench.put("book/columns/mixture.yaml", &said);
    bench.run(&["keep"]).done();
    let again = bench.run(&["look", "../mixture.csv", "--columns", "mixture", "--json"]).done().json();
    assert!(again["doubts"].as_array().expect("doubts").iter().all(|doubt| doubt["code"] != "fuel-not-said"));
}
