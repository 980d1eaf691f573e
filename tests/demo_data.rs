//! Makes the raw files of `demo-data/` from a documented truth, and holds the committed files against it.
//!
//! `cargo test --test demo_data -- --ignored regenerate` writes them again after the truth was changed.

#![expect(
    clippy::disallowed_methods,
    reason = "a test that holds files on the disk against what the generator makes"
)]

#[path = "demo_data/listing.rs"]
mod listing;
#[path = "demo_data/photo.rs"]
mod photo;
#[path = "demo_data/program.rs"]
mod program;
#[path = "demo_data/random.rs"]
mod random;
#[path = "demo_data/schedule.rs"]
mod schedule;
#[path = "demo_data/shape.rs"]
mod shape;
#[path = "demo_data/trace.rs"]
mod trace;
#[path = "demo_data/truth.rs"]
mod truth;

use std::collections::BTreeMap;
use std::collections::BTreeSet;
use std::fs;
use std::path::Path;
use std::path::PathBuf;

use serde_json::Value;

/// The largest file, and all of them together, in bytes: a demo that clones quickly.
const LARGEST_FILE: usize = 60_000;
const ALL_FILES: usize = 1_200_000;

fn folder() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("demo-data")
}

/// Every generated file by its place in `demo-data/`.
fn generated() -> BTreeMap<String, Vec<u8>> {
    let mut by_file: BTreeMap<String, Vec<&schedule::Pull>> = BTreeMap::new();
    for pull in &schedule::PULLS {
        by_file.entry(pull.file()).or_default().push(pull);
    }
    let mut files: BTreeMap<String, Vec<u8>> =
        by_file.into_iter().map(|(file, pulls)| (format!("raw/{file}"), shape::bytes(&pulls))).collect();
    files.insert("photos/burette-h2-b.png".to_string(), photo::png());
    files.insert("pulls.yaml".to_string(), listing::pulls_yaml().into_bytes());
    files.insert("truth.json".to_string(), listing::truth_json().into_bytes());
    files
}

fn manifest(place: &str) -> Value {
    let text = fs::read_to_string(folder().join("book").join(place))
        .unwrap_or_else(|error| panic!("{place}: {error}"));
    serde_yaml::from_str(&text).unwrap_or_else(|error| panic!("{place}: {error}"))
}

#[test]
fn committed_files_are_what_the_generator_makes() {
    for (place, expected) in generated() {
        let found = fs::read(folder().join(&place)).unwrap_or_else(|error| panic!("{place}: {error}"));
        let differs = found.iter().zip(&expected).position(|(one, other)| one != other);
        assert!(
            found == expected,
            "{place}: {} bytes committed, {} generated, first difference at byte {differs:?}; run \
             `cargo test --test demo_data -- --ignored regenerate` and look at what git shows",
            found.len(),
            expected.len()
        );
    }
}

#[test]
fn no_raw_file_is_left_over() {
    let made: BTreeSet<String> = generated().into_keys().collect();
    for entry in fs::read_dir(folder().join("raw")).unwrap() {
        let place = format!("raw/{}", entry.unwrap().file_name().to_string_lossy());
        assert!(made.contains(&place), "{place} is not made by the generator");
    }
}

#[test]
fn files_stay_small() {
    let sizes: Vec<usize> = generated().values().map(Vec::len).collect();
    assert!(sizes.iter().all(|size| *size <= LARGEST_FILE), "largest: {:?}", sizes.iter().max());
    assert!(sizes.iter().sum::<usize>() <= ALL_FILES, "all: {}", sizes.iter().sum::<usize>());
}

/// π/4 · 8.6² cm² · 8.6 cm · 4, by hand: 58.0880 · 34.4 = 1998.23.
#[test]
fn bore_and_stroke_give_the_class_limit() {
    assert!((truth::CYLINDERS * truth::swept_cc() - 1998.23).abs() < 0.01);
}

/// SAE J1349's own reference: 25 °C and 99 kPa dry; and 20 °C, 97.5 kPa, 60 % worked out with the steam tables of IAPWS-IF97.
#[test]
fn air_factor_is_the_standards() {
    assert!((truth::air_factor(25.0, 99.0, 0.0) - 1.0).abs() < 1e-12);
    assert!((truth::air_factor(20.0, 97.5, 60.0) - 1.025_417).abs() < 1e-4);
}

/// The published table of 1 − r^(1−γ) for γ = 1.3 gives 2.45 % from 11 to 12; the skim is a good quarter of that step.
#[test]
fn skim_gains_what_the_rule_says() {
    let (before, after) = (truth::compression_ratio("h2/a"), truth::compression_ratio("h2/b"));
    let gain = truth::compression_factor("h2/b") - 1.0;
    assert!((0.2..0.35).contains(&(after - before)), "{before} to {after}");
    assert!((gain / (after - before) - 0.0245).abs() < 0.002, "{gain}");
}

/// The curves go through their own table.
#[test]
fn base_curve_meets_its_points() {
    for (rpm, torque) in truth::NODES_RPM.into_iter().zip(truth::BASE_TORQUE_NM) {
        assert!((truth::torque_nm(truth::BASE, rpm) - torque).abs() < 1e-9, "{rpm}");
    }
}

/// One of the six combinations of header and intake was never run, and the manifests say of each build what is true,
/// but for the spacer that one of them is silent about.
#[test]
fn manifests_tell_the_builds_but_for_the_planted_silence() {
    let mut combinations = BTreeSet::new();
    for (build, parts) in listing::fitted() {
        let told = manifest(&format!("builds/{build}/build.yaml"));
        assert_eq!(told["build"], build);
        for (role, part) in &parts {
            assert_eq!(told["parts"][role], **part, "{build}: {role}");
        }
        let spacer = told["parts"].get("spacer");
        assert_eq!(spacer.is_none(), build == schedule::SILENT_ON_SPACER, "{build}");
        assert!(spacer.is_none_or(|spacer| spacer == "none"), "{build}");
        combinations.insert([parts[1].1.clone(), parts[2].1.clone()]);
    }
    assert_eq!(combinations.len(), 5);
    assert!(!combinations.contains(&["short-1/a".to_string(), "plenum-1/a".to_string()]));
}

/// The skim is written down, the chamber volume after it is not.
#[test]
fn skimmed_head_is_not_measured_yet() {
    let head = manifest("parts/cylinder-head/h2.yaml");
    assert!(head["states"][0]["figures"]["chamber-volume"].is_object());
    assert_eq!(head["states"][1]["work"][0]["op"], "mill-deck");
    assert_eq!(head["states"][1]["work"][0]["cut"], "0.25 mm");
    assert!(head["states"][1]["figures"].get("chamber-volume").is_none());
}

/// The program reads every manifest without a finding.
#[test]
fn manifests_read_without_findings() {
    let book = program::Book::read(&folder().join("book"));
    let (findings, files) = book.findings();
    assert!(findings.is_empty(), "{}", findings.join("\n"));
    assert!(files > 40, "{files}");
}

/// Nothing but what was planted is missing: close these and every build is documented.
#[test]
fn only_the_planted_gaps_are_open() {
    let gaps = program::Book::read(&folder().join("book")).gaps();
    let planted = [
        "b4: cylinder-head.chamber-volume",
        "b5: cylinder-head.chamber-volume",
        "b5: spacer",
        "b6: cylinder-head.chamber-volume",
    ];
    assert_eq!(gaps, planted.map(String::from).into());
}

/// Sessions, their baselines and the people are those of the list of pulls.
#[test]
fn sessions_hold_the_pulls() {
    let people = manifest("people.yaml");
    for sitting in &schedule::SESSIONS {
        let told = manifest(&format!("sessions/{}.yaml", sitting.tag));
        assert_eq!(told["session"], sitting.tag);
        assert_eq!(told["on"], sitting.day);
        assert!(people["people"].get(sitting.by).is_some(), "{}", sitting.by);
        for which in ["first-baseline", "last-baseline"] {
            for id in told.get(which).and_then(Value::as_array).into_iter().flatten() {
                let pull = schedule::PULLS.iter().find(|pull| pull.id() == *id);
                assert!(pull.is_some_and(|pull| matches!(pull.build, "b1" | "b4")), "{id}");
            }
        }
    }
}

/// The list can be read, and names each file and segment once.
#[test]
fn list_of_pulls_reads_as_yaml() {
    let list: Vec<Value> = serde_yaml::from_str(&listing::pulls_yaml()).unwrap();
    let evidence: BTreeSet<String> =
        list.iter().map(|pull| format!("{} {}", pull["file"], pull["segment"])).collect();
    assert_eq!(list.len(), schedule::PULLS.len());
    assert_eq!(evidence.len(), list.len());
    for pull in &list {
        let file = pull["file"].as_str().unwrap();
        assert!(folder().join("raw").join(file).is_file(), "{file}");
    }
}

/// Writes the files again; git then shows what changed.
#[test]
#[ignore = "writes into demo-data/"]
fn regenerate() {
    fs::create_dir_all(folder().join("raw")).unwrap();
    fs::create_dir_all(folder().join("photos")).unwrap();
    for (place, bytes) in generated() {
        fs::write(folder().join(place), bytes).unwrap();
    }
}
