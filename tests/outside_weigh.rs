//! Weighing against an outside recomputation: the difference, its standard error, degrees of freedom and interval, worked
//! out again by statsmodels, numpy and scipy from the figures of the single pulls that the JSON answer lists, and on
//! hundreds of random designs.
#![expect(
    clippy::disallowed_methods,
    clippy::disallowed_types,
    reason = "the test runs the program on a book of its own and hands its answers to the reference"
)]

#[path = "support/outside.rs"]
mod outside;

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
