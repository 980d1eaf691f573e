//! Tables of combinations with missing cells, from the command's own JSON, held against ordinary least squares by
//! statsmodels 0.15.0 (tests/outside/combinations.py).
//!
//! All pulls are of one fit-up and what is varied is set by hand, so that pull-to-pull scatter is the only component and
//! the fit is ordinary least squares on combinations and drift.
#![expect(
    clippy::disallowed_methods,
    clippy::disallowed_types,
    reason = "the test runs the program on a book of its own and hands its designs to another program"
)]

use std::collections::BTreeMap;
use std::collections::BTreeSet;
use std::fs;
use std::path::Path;
use std::process::Command;

use serde_json::Value as Json;
use serde_json::json;

use crate::outside;

const ROWS: [&str; 3] = ["map 14", "map 15", "map 16"];
const COLUMNS: [&str; 3] = ["even", "late", "wide"];
const PULLS: usize = 36;
const DESIGNS: usize = 24;

/// Fractions from 0 to 1 that look drawn by lot and are always the same (splitmix64, S. Vigna 2015, public domain).
struct Lot(u64);

impl Lot {
    fn next(&mut self) -> f64 {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        ((z ^ (z >> 31)) >> 11) as f64 / (1_u64 << 53) as f64
    }

    fn below(&mut self, count: usize) -> usize {
        ((self.next() * count as f64) as usize).min(count - 1)
    }
}

struct Pull {
    row: &'static str,
    column: &'static str,
    at: usize,
    value: f64,
}

fn run(book: &Path, arguments: &[&str]) -> Json {
    let output = Command::new(env!("CARGO_BIN_EXE_mulebook"))
        .args(arguments)
        .arg("--json")
        .current_dir(book)
        .env("MULEBOOK_NOW", "2026-05-09T20:00:00+02:00")
        .env("MULEBOOK_PERSON", "mk")
        .output()
        .expect("the program runs");
    let said = String::from_utf8_lossy(&output.stdout).into_owned();
    assert!(output.status.success(), "{arguments:?}: {said}{}", String::from_utf8_lossy(&output.stderr));
    serde_json::from_str(&said).unwrap_or_else(|error| panic!("{arguments:?}: {error}: {said}"))
}

/// Enters pulls of one fit-up in the demo's book, each a sweep whose torque is its value at every speed.
fn enter(book: &Path, lot: &mut Lot) -> Vec<Pull> {
    let effects = [[0.0, 3.0, -2.0], [4.0, 1.0, 5.0], [-3.0, 2.0, 0.5]];
    (0..PULLS)
        .map(|number| {
            let (row, column) = (lot.below(3), lot.below(3));
            let noise = 2.0 * (lot.next() + lot.next() + lot.next() - 1.5);
            let exact = 200.0 + effects[row][column] - 0.1 * number as f64 + noise;
            let value = (exact * 100.0).round() / 100.0;
            let mut log = String::from("Time (s),Engine Speed (rpm),Torque (N·m),Lambda\n");
            for step in 0..160 {
                let speed = 3000.0 + 25.0 * f64::from(step);
                log.push_str(&format!(
                    "{:.3},{speed:.0},{value:.2},{:.3}\n",
                    25.0 / 300.0 * f64::from(step),
                    0.88 + 0.001 * f64::from(step % 3)
                ));
            }
            // Another torque in a row outside the window: no file is another's copy.
            log.push_str(&format!("13.5,7000,{:.3},0.88\n", value + 0.001 * number as f64));
            let file = format!("flat-{number}.csv");
            fs::write(book.join(&file), log).expect("a file can be written");
            let (map, gap) =
                (format!("fuel-map={}", ROWS[row]), format!("synchronisation={}", COLUMNS[column]));
            let at = format!("2026-05-09T{:02}:{:02}:00+02:00", 13 + number / 12, 5 * (number % 12));
            run(
                book,
                &[
                    "pull",
                    &file,
                    "--session",
                    "0509a",
                    "--build",
                    "b8",
                    "--correction",
                    "observed",
                    "--changed",
                    &map,
                    "--changed",
                    &gap,
                    "--set",
                    "kind=sweep",
                    "--set",
                    "rate=300 rpm/s",
                    "--set",
                    "from=3000 rpm",
                    "--set",
                    "to=7000 rpm",
                    "--set",
                    "air-temperature=20.0 degC",
                    "--set",
                    "station-pressure=98.40 kPa",
                    "--set",
                    "humidity=45 %",
                    "--set",
                    "oil-temperature=85 degC",
                    "--set",
                    "coolant-temperature=79 degC",
                    "--with",
                    "weather-1",
                    "--at",
                    &at,
                ],
            );
            Pull { row: ROWS[row], column: COLUMNS[column], at: 4 + number, value }
        })
        .collect()
}

/// The command's table for each choice of pulls, asked for on every core.
fn tables(book: &Path, choices: &[Vec<&Pull>]) -> Vec<Json> {
    let table = |chosen: &Vec<&Pull>| {
        let names: Vec<String> = chosen.iter().map(|pull| format!("0509a-{:02}", pull.at + 1)).collect();
        let mut arguments = vec!["combos", "--rows", "fuel-map", "--cols", "synchronisation"];
        arguments.extend(["--window", "4000..6500", "--correct-to", "observed"]);
        arguments.extend(names.iter().map(String::as_str));
        run(book, &arguments)
    };
    let cores = std::thread::available_parallelism().map_or(1, usize::from);
    std::thread::scope(|scope| {
        let parts: Vec<_> = choices
            .chunks(choices.len().div_ceil(cores))
            .map(|part| scope.spawn(move || part.iter().map(table).collect::<Vec<_>>()))
            .collect();
        parts.into_iter().flat_map(|part| part.join().expect("a part of the tables")).collect()
    })
}

fn number(value: &Json) -> f64 {
    value.as_f64().unwrap_or_else(|| panic!("{value} is no number"))
}

/// Value and both ends agree to what summing in another order leaves.
fn agree(what: &str, found: &Json, expected: &Json) {
    for (key, at) in [("value", 0), ("lower", 1), ("upper", 2)] {
        let (a, b) = (number(&found[key]), number(&expected[at]));
        assert!((a - b).abs() < 1e-7 * (1.0 + b.abs()), "{what}, {key}: {a} is not {b}");
    }
}

#[test]
fn tables_with_missing_cells_agree_with_statsmodels() {
    let folder = tempfile::tempdir().expect("a folder");
    run(folder.path(), &["demo", "demo"]);
    let book = folder.path().join("demo");
    let mut lot = Lot(20_260_509);
    let pulls = enter(&book, &mut lot);
    let mut choices: Vec<Vec<&Pull>> = Vec::new();
    while choices.len() < DESIGNS {
        let empty: BTreeSet<(usize, usize)> =
            (0..lot.below(4)).map(|_| (lot.below(3), lot.below(3))).collect();
        let chosen: Vec<&Pull> = pulls
            .iter()
            .filter(|pull| {
                !empty.iter().any(|&(row, column)| (ROWS[row], COLUMNS[column]) == (pull.row, pull.column))
            })
            .filter(|_| lot.next() < 0.7)
            .collect();
        let cells: BTreeSet<(&str, &str)> = chosen.iter().map(|pull| (pull.row, pull.column)).collect();
        // Four degrees of freedom and more: fewer, and the command takes scatter from the rest of the book.
        if chosen.len() < cells.len() + 5 || cells.len() < 4 {
            continue;
        }
        choices.push(chosen);
    }
    let answers = tables(&book, &choices);
    let designs: Vec<Json> = choices
        .iter()
        .zip(&answers)
        .map(|(chosen, table)| {
            let pulls: Vec<Json> = chosen
                .iter()
                .map(
                    |pull| json!({"row": pull.row, "column": pull.column, "at": pull.at, "value": pull.value}),
                )
                .collect();
            json!({"pulls": pulls, "reference": table["reference"]})
        })
        .collect();
    let fresh = Path::new(env!("CARGO_MANIFEST_DIR")).join("target/outside/fresh");
    fs::create_dir_all(&fresh).expect("target/ can be written");
    fs::write(fresh.join("combinations.json"), Json::from(designs).to_string())
        .expect("target/ can be written");
    let Some(expected) = outside::lines("combinations.py") else { return };
    assert_eq!(expected.len(), answers.len());
    let mut seen = BTreeMap::from([("differences", 0), ("predictions", 0), ("main", 0), ("interactions", 0)]);
    let mut count = |what: &'static str| *seen.entry(what).or_default() += 1;
    for (table, expected) in answers.iter().zip(&expected) {
        assert_eq!(table["left_out"], json!([]), "{table}");
        let cells = table["cells"].as_array().expect("cells");
        let cell = |row: &Json, column: &Json| {
            cells.iter().find(|cell| cell["row"] == *row && cell["column"] == *column).expect("every cell")
        };
        for line in expected["differences"].as_array().expect("a list") {
            agree(&format!("cell {line}"), &cell(&line[0], &line[1])["difference"], &line[2]);
            count("differences");
        }
        for line in expected["predictions"].as_array().expect("a list") {
            let found = cell(&line[0], &line[1]);
            assert_eq!((found["pulls"].as_u64(), &found["difference"]), (Some(0), &Json::Null), "{found}");
            if line[2].is_null() {
                assert!(found["prediction"].is_null(), "what is not estimable is printed: {found}");
            } else {
                agree(&format!("prediction {line}"), &found["prediction"], &line[2]);
                count("predictions");
            }
        }
        let effects = table["main_effects"].as_array().expect("effects");
        for line in expected["main"].as_array().expect("a list") {
            let found = effects.iter().find(|effect| effect["to"] == line[0]);
            assert_eq!(found.is_some(), !line[1].is_null(), "{line}");
            if let Some(found) = found {
                agree(&format!("main effect {line}"), found, &line[1]);
                count("main");
            }
        }
        let squares = expected["squares"].as_array().expect("a list");
        let interactions = table["interactions"].as_array().expect("interactions");
        for found in interactions {
            let line = squares.iter().find(|line| {
                [&line[0], &line[1], &line[2], &line[3]]
                    == [&found["from"], &found["to"], &found["than_beside"], &found["beside"]]
            });
            let line = line.unwrap_or_else(|| panic!("not estimable, and printed: {found}"));
            agree(&format!("interaction {line}"), found, &line[4]);
            count("interactions");
        }
        assert_eq!(table["interactions_in_all"], expected["interactions"]);
        assert!(interactions.len() as u64 <= expected["interactions"].as_u64().unwrap_or(0));
    }
    // The designs do meet each of these many times.
    assert!(seen.values().all(|count| *count > 10), "{seen:?}");
}
