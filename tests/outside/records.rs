//! Every manifest that the program writes and every answer it gives, read by a YAML 1.2 reader and a JSON Schema
//! validator that are not ours (PyPI: ruamel.yaml, jsonschema).
#![expect(
    clippy::disallowed_methods,
    clippy::disallowed_types,
    reason = "a test runs the program and lays out what it made"
)]

use std::fs;
use std::path::Path;
use std::path::PathBuf;
use std::process::Command;

use mulebook::manifest::yaml;

use crate::outside;

fn fresh() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("target/outside/fresh")
}

/// Runs the program in the book and keeps its JSON answer.
fn answer(book: &Path, name: &str, arguments: &[&str]) {
    let output = Command::new(env!("CARGO_BIN_EXE_mulebook"))
        .args(arguments)
        .arg("--json")
        .current_dir(book)
        .env("MULEBOOK_NOW", "2026-05-24T09:00:00+02:00")
        .env("MULEBOOK_PERSON", "jo")
        .output()
        .expect("the program runs");
    let folder = fresh().join("answers");
    fs::create_dir_all(&folder).expect("target/ can be written");
    fs::write(folder.join(format!("{name}.json")), &output.stdout).expect("target/ can be written");
}

/// Lays out each manifest of the book with what the program's own reader makes of it.
fn lay_out(book: &Path, folder: &Path) -> usize {
    let mut count = 0;
    for entry in fs::read_dir(folder).expect("a folder of the book") {
        let path = entry.expect("a readable folder").path();
        let name = path.strip_prefix(book).expect("inside the book").to_string_lossy().into_owned();
        if path.is_dir() && !name.starts_with('.') && !name.starts_with("raw") {
            count += lay_out(book, &path);
        } else if name.ends_with(".yaml") {
            let bytes = fs::read(&path).expect("a manifest");
            let root = yaml::read(&name, &bytes).expect("what the program wrote reads back");
            let kept = fresh().join("book").join(&name);
            let read = fresh().join("read").join(format!("{name}.json"));
            for file in [&kept, &read] {
                fs::create_dir_all(file.parent().expect("a folder")).expect("target/ can be written");
            }
            fs::write(kept, &bytes).expect("target/ can be written");
            fs::write(read, root.to_json().to_string()).expect("target/ can be written");
            count += 1;
        }
    }
    count
}

#[test]
fn another_reader_and_another_validator_agree() {
    let folder = tempfile::tempdir().expect("a folder");
    let _ = fs::remove_dir_all(fresh());
    let book = folder.path().join("demo");
    answer(folder.path(), "demo", &["demo", "demo"]);
    let raw = Path::new(env!("CARGO_MANIFEST_DIR")).join("demo-data/raw");
    let file = |name: &str| raw.join(name).to_string_lossy().into_owned();
    let (again, fixture) = (file("tarnbeck-0411-01.csv"), file("quillo-0509-b7.csv"));
    let commands: [(&str, &[&str]); 30] = [
        ("diff-refused", &["diff", "0411a-01", "unassigned"]),
        ("diff-compared", &["diff", "0411a-01", "0418a-05"]),
        ("diff-corrected", &["diff", "0411a-01", "0509a-01", "--correct-to", "iso-1585"]),
        ("diff-builds", &["diff", "b1", "b5"]),
        ("gaps-one", &["gaps", "b5"]),
        ("gaps-two", &["gaps", "b4", "b5"]),
        ("sheet-pull", &["sheet", "0418a-05"]),
        ("sheet-build", &["sheet", "b8"]),
        ("trail", &["trail", "h2"]),
        ("look", &["look", &fixture]),
        (
            "part",
            &["part", "spacer", "sp-20", "--set", "height=listed: 20 mm; card, with a comma: and a colon"],
        ),
        ("rework", &["rework", "h1", "mill-deck", "--detail", "cut=0.10 mm", "--note", "\"quoted\" #1"]),
        ("build", &["build", "b9", "--from", "b8", "--set", "cylinder-head=h1/b", "--set", "spacer=sp-20"]),
        (
            "measure",
            &["measure", "h1/b", "chamber-volume", "45.4 45.3 45.5 45.4 ±0.2 cc", "--with", "burette-1"],
        ),
        ("session", &["session", "0524a", "--cell", "tower", "--warm-up", "as ever: 2500 rpm"]),
        ("pull-already", &["pull", &again, "--build", "b9"]),
        (
            "correct",
            &[
                "correct",
                "0509a-01",
                "--set",
                "conditions.humidity=44 %",
                "--because",
                "read off the photograph",
            ],
        ),
        ("weigh", &["weigh", "--base", "b1", "--test", "b2", "--smooth", "300"]),
        ("weigh-refused", &["weigh", "--base", "0411a-01", "0411a-02", "--test", "unassigned"]),
        ("combos", &["combos", "--rows", "header", "--cols", "intake"]),
        ("claim", &["claim", "stepped-header"]),
        (
            "claim-made",
            &[
                "claim",
                "quoted",
                "--says",
                "with a comma, a colon: and \"quotes\" #1",
                "--base",
                "session=0411a,header=long-1",
                "--test",
                "b2",
                "0411a-05",
                "--with",
                "spacer=none",
                "--window",
                "5000..7500",
            ],
        ),
        ("dossier", &["dossier", "stepped-header", "--out", "../d.zip"]),
        ("verify-unsigned", &["verify", "../d.zip", "--signers", "people.yaml"]),
        ("weigh-claim", &["weigh", "--claim", "stepped-header"]),
        ("then-and-now", &["sheet", "0418a-05", "--known-on", "2026-04-20", "--then-and-now"]),
        (
            "doubt",
            &["doubt", "burette-1", "--offset", "-0.4 ±0.1 cc", "--because", "reads high: \"weighed\" #1"],
        ),
        ("error", &["measure", "h1/b", "chamber-volume", "48,1 cc"]),
        ("audit", &["audit"]),
        ("mend", &["mend"]),
    ];
    for (name, arguments) in commands {
        answer(&book, name, arguments);
    }
    let manifests = lay_out(&book, &book);
    assert!(manifests > 70, "only {manifests} manifests");
    let Some(lines) = outside::lines("records.py") else { return };
    let wrong: Vec<String> = lines
        .iter()
        .filter(|line| line["wrong"].as_array().is_none_or(|wrong| !wrong.is_empty()))
        .map(ToString::to_string)
        .collect();
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
    assert_eq!(lines.len(), manifests + commands.len() + 1, "each manifest and answer is looked at once");
}

#[test]
fn schemas_and_fixtures_are_judged_alike() {
    let Some(lines) = outside::lines("schemas.py") else { return };
    let wrong: Vec<String> = lines
        .iter()
        .filter(|line| line["wrong"].as_array().is_none_or(|wrong| !wrong.is_empty()))
        .map(ToString::to_string)
        .collect();
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
    for (kind, least) in [("schema", 40), ("valid", 5), ("invalid", 10)] {
        let count = lines.iter().filter(|line| line["kind"] == kind).count();
        assert!(count >= least, "only {count} of kind {kind}");
    }
}
