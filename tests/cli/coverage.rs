//! Every finding code of the program is met by a person in some snapshot, or is listed here with the reason why not.

use std::collections::BTreeSet;
use std::fs;
use std::path::Path;

use crate::finding_codes::{DOSSIERS, behind, codes_below, files};

/// Codes that no test of the whole program brings about.
const NOT_MET: &[(&str, &str)] = &[
    ("calibration-overdue", "no instrument of the demo is past its calibration"),
    ("demand-dropped", "workflow/demands.rs; a book kept by an older program"),
    ("dossier-claim", "tests/dossier.rs bends the claim's own answer; that it is no JSON is refused alike"),
    ("dossier-form", "tests/dossier.rs"),
    ("dossier-list", "tests/dossier.rs"),
    ("dossier-unreadable", "a disk that fails while a dossier is read"),
    ("file-of-no-record", "tests/dossier.rs"),
    ("commit-signer-unlisted", "tests/dossier.rs"),
    ("history-tip", "tests/dossier.rs, tests/evidence_hostile.rs"),
    ("name-twin", "tests/durability/disks.rs"),
    ("not-text", "a list of signers or of receipts that is no text at all"),
    ("not-read", "a disk that fails while a list of signers is read"),
    ("not-recomputable", "a fault of the program: what was gathered does not give the book's own figures"),
    ("pull-before-build", "tests/dossier.rs"),
    ("raw-differs", "a raw file that changes between two readings"),
    ("record-not-in-history", "tests/dossier.rs"),
    ("withheld-and-whole", "two options that exclude each other, refused before anything is gathered"),
    ("worded-otherwise", "a dossier of another version of the program"),
    ("several-engines", "the demo has one engine in one cell"),
    ("mark-assumed", "only in a file longer than its head of a mebibyte: raw/late_marks.rs"),
    (
        "pack-damaged",
        "cli/mend.rs meets it; what git packs differs between its versions, so that no snapshot can hold it",
    ),
    ("page-not-written", "a disk that is full halfway through a page"),
    ("no-table", "a pull written by hand with no raw file behind it"),
    (
        "table-not-written",
        "a disk that is full halfway; a file that is there already is the store's own refusal",
    ),
    (
        "against-schema",
        "the last resort for a keyword of JSON Schema that has no words of its own; fixtures under records/invalid meet it",
    ),
    (
        "ambiguous-figure",
        "met in the tests of quantity; no volume, length or temperature of the shop reads two ways",
    ),
    (
        "cannot-edit",
        "the refusal of an edit that would not read back; properties.rs edits at random and meets none",
    ),
    ("demo-data", "the demo's own files do not hold: a fault of the program, not of a person"),
    ("evidence-damaged", "cli/mend.rs meets it; `audit` and `mend` tell it by the object that is damaged"),
    ("kind-mismatch", "two quantities of unlike kinds are computed with: no typed text leads there"),
    (
        "no-curve",
        "a pull without a loaded sweep; every pull of the demo has one, and diff says the same in a line",
    ),
    ("no-interval", "every figure that the relations let through is finite, and so is its interval"),
    ("no-last-build", "every pull lies in the folder of a build"),
    ("no-file", "the parser of the command line asks for a file first"),
    ("no-folder", "the current folder was deleted under the program"),
    ("no-rows", "a table without rows is refused as no table before"),
    ("not-a-part-state", "the schema refuses the form of a part and state first"),
    (
        "not-a-plain-file",
        "a file that became a folder between two looks; a link is refused by the store before (keep-link)",
    ),
    ("not-a-side", "names are looked up among pulls and builds only"),
    ("not-as-last", "asked at a terminal only"),
    (
        "not-recovered",
        "a folder that may only be read, or a damaged journal: store_interrupted.rs, by its error",
    ),
    ("out-of-range", "the schema refuses positions and scales out of range first"),
    ("raw-stray", "store_raw.rs"),
    ("recovered", "crash.rs and store_interrupted.rs interrupt a write at every step"),
    ("reference-broken", "store_raw.rs; a reference to a missing object is told as that object"),
    ("schema-unusable", "a schema that compiles for the program and not for the validator: none is known"),
    ("wrong-form", "records/invalid; in the shop the binder's words for the same line stand instead"),
    ("wrong-type", "records/invalid; in the shop the binder's words for the same line stand instead"),
];

/// The codes that the source gives to findings, tests left out: written where the finding is made, or handed to it by
/// a function that makes it.
fn codes() -> BTreeSet<String> {
    let mut found = codes_below("src");
    found.extend(codes_below(DOSSIERS));
    // Failures of the store and refusals of figures carry their code in a table.
    let source = |path: &str| {
        fs::read_to_string(Path::new(env!("CARGO_MANIFEST_DIR")).join(path)).expect("the source")
    };
    for line in source("src/workflow/failure.rs").lines() {
        found.extend(behind(line, "(FailureKind::Fault,"));
        found.extend(behind(line, "(FailureKind::Damaged,"));
    }
    found.extend(behind(&source("src/quantity/error.rs"), "(_) =>"));
    found
}

#[test]
fn every_code_is_met_or_excused() {
    let codes = codes();
    assert!(codes.len() > 120, "{}", codes.len());
    let mut met = BTreeSet::new();
    let snapshots = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/cli/snapshots");
    for text in files(&snapshots, ".snap") {
        met.extend(behind(&text, "\"code\":"));
    }
    // What somebody else's dossier can have wrong is brought about case by case, where every code is demanded as well.
    let in_dossiers = codes_below(DOSSIERS);
    let excused: BTreeSet<String> = NOT_MET.iter().map(|(code, _)| (*code).to_owned()).collect();
    let missing: Vec<&String> = codes
        .iter()
        .filter(|code| !met.contains(*code) && !excused.contains(*code) && !in_dossiers.contains(*code))
        .collect();
    assert!(missing.is_empty(), "no snapshot shows {missing:#?}");
    let needless: Vec<&String> =
        excused.iter().filter(|code| met.contains(*code) || !codes.contains(*code)).collect();
    assert!(needless.is_empty(), "met after all, or gone: {needless:?}");
    let unknown: Vec<&String> = met.iter().filter(|code| !codes.contains(*code)).collect();
    assert!(unknown.is_empty(), "the scan of the source overlooks {unknown:?}");
}
