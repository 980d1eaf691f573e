//! Every record fixture through both doors, JSON Schema and binder: they must agree on what is a record.
//!
//! A file under `invalid/` is named after the code of the finding that refuses it.
#![expect(clippy::disallowed_methods, reason = "fixtures and schemas are read from disk")]

use std::collections::BTreeSet;
use std::fs;
use std::path::Path;
use std::path::PathBuf;

use mulebook::finding::Finding;
use mulebook::manifest::Schemas;
use mulebook::manifest::Validators;
use mulebook::manifest::bind;
use mulebook::manifest::built_in_files;
use mulebook::manifest::node::Node;
use mulebook::manifest::yaml;
use mulebook::record::Kinds;

/// Schemas whose records the program does not bind yet: only their form is checked.
const NOT_BOUND: &[&str] = &["flow"];

/// What JSON Schema cannot express and only the binder refuses: units of the right kind, days that exist, letters in
/// order, an entry that corrects one which is there.
const BINDER_ALONE: &[&str] = &[
    "bad-uncertainty-zero",
    "comma-in-figure-decimal",
    "corrects-nothing",
    "file-twice",
    "no-unit-chamber-volume",
    "not-a-date-30-february",
    "not-a-speed-at",
    "not-a-speed-window",
    "not-corrected-here-claim",
    "pull-number",
    "range-as-figure-lash",
    "state-twice",
    "states-out-of-order",
    "unknown-field-scope-role",
    "unknown-unit-bore",
    "window-and-speed-both",
    "window-of-nothing-backwards",
    "window-of-nothing-peak",
    "wrong-unit-timing-without-dead-centre",
    "wrong-unit-volume-in-millimetres",
];

/// What the binder reads all the same: it looks at what a record needs and passes over the rest, so that a book of a
/// newer version can be read. A word, a field or a shape that is not in the schema is refused by the gate, through which
/// every write goes, before the binder is asked.
const SCHEMA_ALONE: &[&str] = &[
    "against-schema-photo-of-no-bytes",
    "empty-value-figure-list",
    "empty-value-reason",
    "field-missing-bytes-of-a-photo",
    "field-missing-why-it-corrects",
    "not-a-choice-kind",
    "not-a-choice-outcome",
    "not-a-choice-refit",
    "not-a-choice-scope",
    "not-a-choice-where",
    "unknown-field-cell",
    "unknown-field-claim",
    "unknown-field-condition",
    "unknown-field-figure",
    "unknown-field-instrument",
    "unknown-field-never-on-a-head",
    "unknown-field-pull-correction",
    "unknown-field-segments-of-a-role",
    "unknown-field-session",
    "unknown-field-setting",
    "unknown-field-work-detail",
    "wrong-form-demand",
    "wrong-form-uncertainty",
    "wrong-type-parts",
];

fn folder(name: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join(name)
}

/// The fixtures of a folder: stem, schema named by the modeline, bytes.
fn fixtures(which: &str) -> Vec<(String, String, Vec<u8>)> {
    let mut found = Vec::new();
    for entry in fs::read_dir(folder("tests/fixtures/records").join(which)).expect("the fixtures are here") {
        let path = entry.expect("a readable folder").path();
        let stem = path.file_stem().and_then(|stem| stem.to_str()).expect("a plain name").to_owned();
        let bytes = fs::read(&path).expect("a readable fixture");
        let text = String::from_utf8_lossy(&bytes).into_owned();
        let schema = text
            .lines()
            .next()
            .and_then(|line| line.rsplit('/').next())
            .and_then(|file| file.strip_suffix(".json"))
            .unwrap_or_else(|| panic!("{stem}: the first line names no schema"));
        found.push((stem, schema.to_owned(), bytes));
    }
    found.sort();
    found
}

/// What the binder finds; the flag says whether it gave a record.
fn bound(schema: &str, name: &str, root: &Node, kinds: &Kinds) -> (bool, Vec<Finding>) {
    fn outcome<T>((record, findings): bind::Bound<T>) -> (bool, Vec<Finding>) {
        (record.is_some(), findings)
    }
    match schema {
        "book" => outcome(bind::book(name, root, kinds)),
        "people" => outcome(bind::people(name, root, kinds)),
        "instrument" => outcome(bind::instrument(name, root, kinds)),
        "cell" => outcome(bind::cell(name, root, kinds)),
        "session" => outcome(bind::session(name, root, kinds)),
        "build" => outcome(bind::build(name, root, kinds)),
        "pull" => outcome(bind::pull(name, root, kinds)),
        "claim" => outcome(bind::claim(name, root, kinds)),
        _ => outcome(bind::part(name, root, kinds)),
    }
}

fn schemas() -> Schemas {
    Schemas::load(&[]).expect("the shipped schemas hold")
}

#[test]
fn valid_records_pass_both_doors_with_nothing_found() {
    let schemas = schemas();
    let mut validators = Validators::new(&schemas);
    let fixtures = fixtures("valid");
    assert!(fixtures.len() >= 29);
    for (name, schema, bytes) in fixtures {
        let root = yaml::read(&name, &bytes).unwrap_or_else(|finding| panic!("{name}: {finding}"));
        let against = validators.check(&schema, &name, &root);
        assert!(against.is_empty(), "{name} against its schema: {against:#?}");
        if NOT_BOUND.contains(&schema.as_str()) {
            continue;
        }
        let (given, findings) = bound(&schema, &name, &root, schemas.kinds());
        assert!(given && findings.is_empty(), "{name} through the binder: {findings:#?}");
    }
}

#[test]
fn invalid_records_are_refused_under_the_code_that_names_them() {
    let schemas = schemas();
    let mut validators = Validators::new(&schemas);
    let (mut binder_alone, mut schema_alone) = (BTreeSet::new(), BTreeSet::new());
    for (name, schema, bytes) in fixtures("invalid") {
        let root = match yaml::read(&name, &bytes) {
            Ok(root) => root,
            Err(finding) => panic!("{name} is refused as YAML already: {finding}"),
        };
        let against = validators.check(&schema, &name, &root);
        let (given, findings) = if NOT_BOUND.contains(&schema.as_str()) {
            (false, Vec::new())
        } else {
            bound(&schema, &name, &root, schemas.kinds())
        };
        let errors: Vec<&Finding> =
            against.iter().chain(&findings).filter(|found| found.is_error()).collect();
        assert!(
            errors.iter().any(|found| name == found.code || name.starts_with(&format!("{}-", found.code))),
            "{name} is refused for another reason: {errors:#?}"
        );
        for error in &errors {
            assert!(error.place.is_some(), "{name}: a refusal without a place: {error}");
        }
        if against.is_empty() {
            binder_alone.insert(name.clone());
        }
        if given {
            schema_alone.insert(name);
        }
    }
    let expected: BTreeSet<String> = BINDER_ALONE.iter().map(|name| (*name).to_owned()).collect();
    assert_eq!(binder_alone, expected, "what only the binder refuses");
    let expected: BTreeSet<String> = SCHEMA_ALONE.iter().map(|name| (*name).to_owned()).collect();
    assert_eq!(schema_alone, expected, "what only the schema refuses");
}

#[test]
fn each_shipped_part_kind_and_record_has_a_valid_fixture_or_is_simple() {
    let shown: BTreeSet<String> = fixtures("valid").into_iter().map(|(_, schema, _)| schema).collect();
    for record in ["book", "people", "instrument", "cell", "session", "build", "pull", "flow", "claim"] {
        assert!(shown.contains(record), "no valid fixture of {record}");
    }
}

#[test]
fn the_list_of_shipped_schemas_is_the_folder() {
    let listed: BTreeSet<String> = built_in_files().map(|(name, _)| name.to_owned()).collect();
    let mut there = BTreeSet::new();
    for entry in fs::read_dir(folder("schema")).expect("the schemas are here") {
        let path = entry.expect("a readable folder").path();
        if path.is_file() {
            let name = path.file_name().and_then(|name| name.to_str()).expect("a plain name");
            there.insert(name.strip_suffix(".json").expect("only schemas lie there").to_owned());
        }
    }
    assert_eq!(listed, there);
    for (name, text) in built_in_files() {
        let file =
            fs::read_to_string(folder("schema").join(format!("{name}.json"))).expect("a readable schema");
        assert_eq!(text, file, "{name} is listed under another's name");
    }
}
