//! Weighing against an outside recomputation: the difference, its standard error, degrees of freedom and interval, worked
//! out again by statsmodels, numpy and scipy from the figures of the single pulls that the JSON answer lists, and on
//! hundreds of random designs.
#![expect(
    clippy::disallowed_methods,
    clippy::disallowed_types,
    reason = "the test runs the program on a book of its own and hands its answers to the reference"
)]

use crate::outside;

use std::collections::BTreeMap;
use std::process::Command;

use mulebook::verdict::{BookPlace, Layout, Placement, Repeats, Which, weigh};
use serde_json::Value;

fn number(value: &Value) -> f64 {
    value.as_f64().unwrap_or_else(|| panic!("{value} is no number"))
}

fn text(value: &Value) -> String {
    value.as_str().unwrap_or_else(|| panic!("{value} is no text")).to_owned()
}

fn close(what: &str, found: f64, expected: f64, relative: f64, absolute: f64) {
    let allowed = (relative * expected.abs()).max(absolute);
    assert!((found - expected).abs() <= allowed, "{what}: found {found}, reference {expected}");
}

const SIDES: &[&str] = &[
    // A-B-A with a refit, refits of the book beside it.
    "--base 0411a-01..03 0411a-09..10 --test 0411a-04..06",
    "--base 0411a-01..03 0411a-09..10 --test 0411a-04..06 --window 4000..7500 --figure mean-power --least 2.hp",
    "--base 0411a-01..03 0411a-09..10 --test 0411a-04..06 --at 6000",
    // Without a return, with a chosen pull, with one fit-up, across sessions.
    "--base 0411a-01..03 --test 0411a-04..06",
    "--base b1 --test 0411a-04..05",
    "--base 0418a-03..04 --test 0418a-07",
    "--base 0418a-03..04 0418a-07 --test 0418a-05..06 --subject spacer",
    "--base b1 --test b4",
    "--base 0418a-01..02 0418a-10 --test 0418a-05..06 --subject spacer",
    "--base 0509a-01..02 --test 0509a-03..04",
];

#[test]
fn what_is_printed_can_be_worked_out_again_from_the_single_pulls() {
    let folder = tempfile::tempdir().expect("a folder");
    let program = || Command::new(env!("CARGO_BIN_EXE_mulebook"));
    let made = program().arg("demo").arg(folder.path().join("book")).output().expect("the program runs");
    assert!(made.status.success(), "{}", String::from_utf8_lossy(&made.stderr));
    let mut answers = Vec::new();
    for sides in SIDES {
        let words = sides.split_whitespace().map(|word| word.replace(".hp", " hp"));
        let output = program()
            .current_dir(folder.path().join("book"))
            .arg("weigh")
            .args(words)
            .arg("--json")
            .output()
            .expect("the program runs");
        let answer: Value = serde_json::from_slice(&output.stdout).expect("JSON");
        assert_eq!(answer["outcome"], "weighed", "{sides}: {answer}");
        answers.push(answer);
    }
    let file = folder.path().join("answers");
    let lines: Vec<String> = answers.iter().map(Value::to_string).collect();
    std::fs::write(&file, lines.join("\n")).expect("the answers are written");
    let Some(lines) = outside::lines_of("weigh.py", &[file.as_os_str()]) else { return };
    let again: Vec<&Value> =
        lines.iter().filter(|line| line["case"] == "answer").map(|line| &line["out"]).collect();
    assert_eq!(again.len(), answers.len());
    let mut kinds: BTreeMap<String, usize> = BTreeMap::new();
    for ((sides, answer), again) in SIDES.iter().zip(&answers).zip(again) {
        assert_eq!(answer["noise"], again["noise"], "{sides}");
        // JSON carries every digit; what is left is the order of summation.
        close(sides, number(&answer["difference"]["value"]), number(&again["value"]), 1e-8, 1e-8);
        close(sides, number(&answer["standard_error"]), number(&again["error"]), 1e-7, 1e-9);
        close(sides, number(&answer["degrees_of_freedom"]), number(&again["freedom"]), 1e-6, 1e-9);
        close(sides, number(&answer["difference"]["lower"]), number(&again["lower"]), 1e-6, 1e-6);
        close(sides, number(&answer["difference"]["upper"]), number(&again["upper"]), 1e-6, 1e-6);
        close(sides, number(&answer["systematic"]), number(&again["systematic"]), 1e-7, 1e-9);
        *kinds.entry(text(&answer["noise"])).or_default() += 1;
    }
    assert!(kinds.len() >= 3, "{kinds:?}");
    designs(&lines);
}

/// Random designs with their values, drawn by the reference.
fn designs(lines: &[Value]) {
    let mut kinds: BTreeMap<String, usize> = BTreeMap::new();
    for line in lines.iter().filter(|line| line["case"] == "design") {
        let rows = line["in"].as_array().expect("pulls");
        let own: Vec<&Value> = rows.iter().filter(|row| row["side"] != "book").collect();
        let placements: Vec<Placement> = own
            .iter()
            .map(|row| Placement {
                which: if row["side"] == "test" { Which::Test } else { Which::Base },
                fit_up: text(&row["fit_up"]),
                session: text(&row["session"]),
                at: number(&row["place"]),
            })
            .collect();
        let out = &line["out"];
        let Ok(layout) = Layout::of(&placements) else { continue };
        let values: Vec<f64> = own.iter().map(|row| number(&row["value"])).collect();
        let places: Vec<BookPlace> = rows
            .iter()
            .map(|row| {
                let configuration = row["configuration"].to_string();
                (configuration, text(&row["fit_up"]), text(&row["session"]), number(&row["place"]))
            })
            .collect();
        let all: Vec<f64> = rows.iter().map(|row| number(&row["value"])).collect();
        let book =
            Repeats::of_book(&places).and_then(|repeats| repeats.evidence(&all)).expect("finite values");
        let nothing = vec![BTreeMap::new(); values.len()];
        let found = weigh(&layout, &values, &nothing, &book).expect("enough pulls");
        let what = line["in"].to_string();
        assert_eq!(found.basis.word(), out["noise"], "{what}");
        close(&what, found.estimate.value, number(&out["value"]), 1e-7, 1e-8);
        close(&what, found.estimate.standard_error, number(&out["error"]), 1e-6, 1e-9);
        close(&what, found.estimate.degrees_of_freedom, number(&out["freedom"]), 1e-5, 1e-8);
        close(&what, found.interval.lower, number(&out["lower"]), 1e-5, 1e-5);
        close(&what, found.interval.upper, number(&out["upper"]), 1e-5, 1e-5);
        *kinds.entry(found.basis.word().to_owned()).or_default() += 1;
    }
    assert!(kinds.values().sum::<usize>() >= 200, "{kinds:?}");
    assert!(kinds.len() == 5, "{kinds:?}");
}

/// A book of the demo's records with pulls of our own, in which one thing besides the header differs between the sides.
struct Varied {
    /// What is varied: the word that its line of the budget begins with.
    line: &'static str,
    /// Its values in the base's pulls, in those of the test side, and in the book's other pulls of the base.
    base: f64,
    test: f64,
    others: &'static [f64],
    /// What it does to torque, as a part of it.
    effect: fn(f64) -> f64,
    /// Whether a parabola is fitted or a straight line.
    bent: bool,
}

const VARIED: [Varied; 3] = [
    Varied {
        line: "ignition timing: ",
        base: 31.0,
        test: 34.0,
        others: &[27.0, 29.0, 31.0, 33.0, 35.0, 35.0, 33.0, 31.0, 29.0, 27.0],
        effect: |degrees| -0.0012 * (degrees - 33.0) * (degrees - 33.0),
        bent: true,
    },
    Varied {
        line: "mixture: lambda ",
        base: 0.88,
        test: 0.92,
        others: &[0.84, 0.86, 0.88, 0.90, 0.92, 0.94, 0.92, 0.88, 0.86, 0.84],
        effect: |lambda| -6.0 * (lambda - 0.87) * (lambda - 0.87),
        bent: true,
    },
    Varied {
        line: "oil temperature at start: ",
        base: 85.0,
        test: 95.0,
        others: &[80.0, 95.0, 85.0, 100.0, 90.0, 80.0, 100.0, 85.0],
        effect: |celsius| 0.0004 * (celsius - 85.0),
        bent: false,
    },
];

impl Varied {
    fn enter(&self, book: &std::path::Path) {
        let program = |arguments: &[&str]| {
            let output = Command::new(env!("CARGO_BIN_EXE_mulebook"))
                .arg("--book")
                .arg(book)
                .args(arguments)
                .env("MULEBOOK_PERSON", "mk")
                .output()
                .expect("the program runs");
            assert!(output.status.success(), "{arguments:?}: {}", String::from_utf8_lossy(&output.stderr));
        };
        assert!(
            Command::new(env!("CARGO_BIN_EXE_mulebook"))
                .arg("new")
                .arg(book)
                .status()
                .expect("the program runs")
                .success()
        );
        copy(&std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("demo-data/book"), book);
        program(&["keep", "-m", "records of the demo"]);
        // The base, the loop on it, the test side, the base again after the time at which the demo checks it anew.
        let of = |build: &'static str, hour: u32, values: Vec<f64>| {
            values.into_iter().enumerate().map(move |(minute, value)| (build, hour, 5 * minute, value))
        };
        let pulls = of("b1", 9, vec![self.base; 3])
            .chain(of("b1", 10, self.others.to_vec()))
            .chain(of("b2", 11, vec![self.test; 3]))
            .chain(of("b1", 16, vec![self.base; 2]));
        for (order, (build, hour, minute, value)) in pulls.enumerate() {
            let name = format!("pull-{order:02}.csv");
            let path = book.parent().expect("a folder").join(&name);
            std::fs::write(&path, self.log(order, build == "b2", value)).expect("a log");
            let at = format!("2026-04-11T{hour:02}:{minute:02}:00+02:00");
            let path = path.to_string_lossy().into_owned();
            let mut arguments = vec![
                "pull",
                &path,
                "--session",
                "0411a",
                "--build",
                build,
                "--correction",
                "observed",
                "--set",
                "kind=sweep",
                "--set",
                "rate=300 rpm/s",
                "--at",
                &at,
            ];
            let timing = format!("ignition-timing={value} deg BTDC");
            if self.line.starts_with("ignition") && (value - 31.0).abs() > 0.0 {
                arguments.extend(["--changed", &timing, "--with", "lamp-1"]);
            }
            program(&arguments);
        }
    }

    /// A sweep, its torque moved by what is varied, by the header, by drift and by a little that is drawn from nothing.
    fn log(&self, order: usize, other_header: bool, value: f64) -> String {
        let mut text = "Time (s),Engine Speed (rpm),Torque (N·m),Oil Temp (°C),Coolant Temp (°C),Lambda,Barometer (kPa),\
                        Air Temp (°C),Humidity (%)\n"
            .to_owned();
        // Digits far behind the point of a sine: from one pull to the next nothing of the one before is left in them.
        let digits = 43_758.545_3 * libm::sin(12.9898 * (order as f64 + 1.0));
        let chance = 0.002 * (digits - libm::floor(digits) - 0.5);
        let level = 1.0 + (self.effect)(value) + if other_header { 0.02 } else { 0.0 }
            - 0.0003 * order as f64
            + chance;
        let oil = if self.line.starts_with("oil") { value } else { 85.0 };
        let lambda = if self.line.starts_with("mixture") { value } else { 0.88 };
        for row in 0..300 {
            let speed = 3000.0 + 5000.0 * f64::from(row) / 299.0;
            let bow = (speed - 6000.0) / 7000.0;
            text.push_str(&format!(
                "{:.3},{speed:.1},{:.3},{oil:.2},79.5,{lambda:.3},98.40,17.5,52.0\n",
                f64::from(row) * 0.0557,
                level * 200.0 * (1.0 - bow * bow)
            ));
        }
        text
    }
}

fn copy(from: &std::path::Path, to: &std::path::Path) {
    std::fs::create_dir_all(to).expect("a folder");
    for entry in std::fs::read_dir(from).expect("a folder").flatten() {
        let target = to.join(entry.file_name());
        if entry.path().is_dir() {
            copy(&entry.path(), &target);
        } else {
            std::fs::copy(entry.path(), target).expect("a record");
        }
    }
}

#[test]
fn what_loops_and_slopes_of_a_book_say_can_be_worked_out_again() {
    let mut cases = Vec::new();
    let mut found = Vec::new();
    for varied in &VARIED {
        let folder = tempfile::tempdir().expect("a folder");
        let book = folder.path().join("book");
        varied.enter(&book);
        let last = 3 + varied.others.len();
        let sides = format!(
            "--base 0411a-01..03 0411a-{:02}..{:02} --test 0411a-{:02}..{:02} --subject header",
            last + 4,
            last + 5,
            last + 1,
            last + 3
        );
        let output = Command::new(env!("CARGO_BIN_EXE_mulebook"))
            .current_dir(&book)
            .arg("weigh")
            .args(sides.split_whitespace())
            .arg("--json")
            .output()
            .expect("the program runs");
        let answer: Value = serde_json::from_slice(&output.stdout).expect("JSON");
        assert_eq!(answer["outcome"], "weighed", "{answer}");
        let lines = answer["budget"].as_array().expect("lines");
        let line = lines.iter().find(|line| text(&line["what"]).starts_with(varied.line));
        let line = line.unwrap_or_else(|| panic!("no {}: {}", varied.line, answer["budget"]));
        assert_eq!(line["by"], "own pulls", "{line}");
        let percent = (number(&line["percent"][0]), number(&line["percent"][1]));
        // What was planted lies inside, and the interval is narrow enough to say something.
        let (base, test) = ((varied.effect)(varied.base), (varied.effect)(varied.test));
        let planted = 100.0 * ((1.0 + test) / (1.0 + base) - 1.0);
        assert!((percent.0 - planted).abs() <= percent.1 && percent.1 < 0.6, "{planted} {line}");
        // The pulls being weighed never speak for it: the others are those named in `rests` as of the book.
        let others = answer["rests"].as_array().expect("pulls").iter().filter(|pull| pull["side"] == "book");
        let rows: Vec<Value> = others
            .zip(varied.others)
            .map(|(pull, setting)| {
                let slope = if varied.bent { String::new() } else { pull["configuration"].to_string() };
                serde_json::json!({"group": format!("{} {slope}", text(&pull["session"])), "place": pull["place"],
                                   "setting": setting, "value": pull["value"]})
            })
            .collect();
        assert_eq!(rows.len(), varied.others.len());
        cases.push(
            serde_json::json!({"rows": rows, "bent": varied.bent, "from": varied.base, "to": varied.test})
                .to_string(),
        );
        found.push((varied.line, percent));
    }
    let folder = tempfile::tempdir().expect("a folder");
    let file = folder.path().join("varied");
    std::fs::write(&file, cases.join("\n")).expect("the cases are written");
    let Some(lines) = outside::lines_of("weigh.py", &[file.as_os_str()]) else { return };
    let again: Vec<&Value> =
        lines.iter().filter(|line| line["case"] == "varied").map(|line| &line["out"]).collect();
    assert_eq!(again.len(), found.len());
    for ((what, percent), again) in found.iter().zip(again) {
        close(what, percent.0, number(&again["value"]), 1e-6, 1e-6);
        close(what, percent.1, number(&again["half"]), 1e-6, 1e-6);
    }
}
