//! The pages of `docs/gallery`: of the demo's book, with two flow sheets more, at a fixed time.
#![allow(dead_code, reason = "each test program uses its own part of it")]
#![expect(
    clippy::disallowed_methods,
    clippy::disallowed_types,
    reason = "the program is started as a process, on a book on disk"
)]

use std::io::Write;
use std::path::Path;
use std::path::PathBuf;
use std::process::Command;
use std::process::Output;
use std::process::Stdio;

/// A page: its name, and what the program is asked for.
pub(crate) struct Page {
    pub(crate) name: &'static str,
    pub(crate) arguments: &'static [&'static str],
    /// How the program ends.
    pub(crate) code: i32,
    /// Fewest and most sheets of paper, A4 or Letter.
    pub(crate) sheets: (usize, usize),
    /// Words that it must show without script.
    pub(crate) words: &'static [&'static str],
    /// Widths at which it has a picture, px.
    pub(crate) pictures: &'static [u32],
}

/// Every page of the gallery.
pub(crate) const PAGES: [Page; 12] = [
    Page {
        name: "sheet",
        arguments: &["page", "0411a-04"],
        code: 0,
        sheets: (4, 9),
        words: &["Highest torque", "SAE J1349", "carbon monoxide", "SHA-256"],
        pictures: &[800],
    },
    Page {
        name: "sheet-one-page",
        arguments: &["page", "0411a-04", "--one-page"],
        code: 0,
        sheets: (1, 1),
        words: &["Highest torque", "ignition timing", "carbon monoxide"],
        pictures: &[],
    },
    Page {
        name: "diff",
        arguments: &["page", "0411a-03", "0411a-04"],
        code: 0,
        sheets: (3, 6),
        words: &["One thing changed: header", "not yet a gain", "carbon monoxide"],
        pictures: &[360],
    },
    Page {
        name: "diff-one-page",
        arguments: &["page", "0411a-01", "0418a-05", "--one-page", "--subject", "header"],
        code: 0,
        sheets: (1, 1),
        words: &["Five things changed", "not yet a gain", "carbon monoxide"],
        pictures: &[],
    },
    Page {
        name: "weigh",
        arguments: &[
            "page",
            "weigh",
            "--base",
            "0411a-01..03",
            "0411a-09..10",
            "--test",
            "0411a-04..06",
            "--least",
            "3 N·m",
        ],
        code: 0,
        sheets: (4, 6),
        words: &["A gain of at least 3.00 N·m is not shown", "What is not known", "What would settle most"],
        pictures: &[800],
    },
    Page {
        name: "combos",
        arguments: &["page", "combos", "--rows", "header", "--cols", "intake"],
        code: 0,
        sheets: (2, 4),
        words: &["a prediction", "To complete the picture", "Main effects"],
        pictures: &[1400],
    },
    Page {
        name: "trail",
        arguments: &["page", "trail", "h2"],
        code: 0,
        sheets: (2, 4),
        words: &["The life of h2", "deck milled", "days after"],
        pictures: &[800],
    },
    Page {
        name: "flow",
        arguments: &["page", "h2a-in1-1"],
        code: 0,
        sheets: (1, 3),
        words: &["Flow against lift", "discharge coefficient", "test pressure"],
        pictures: &[],
    },
    Page {
        name: "flow-diff",
        arguments: &["page", "h2a-in1-1", "h2b-in1-1"],
        code: 0,
        sheets: (1, 3),
        words: &["Flow against lift", "base", "test"],
        pictures: &[],
    },
    Page {
        name: "refusal",
        arguments: &["page", "0411a-01", "b9"],
        code: 3,
        sheets: (1, 2),
        words: &["the comparison was refused", "Not documented", "What closes it"],
        pictures: &[360],
    },
    Page {
        name: "claim",
        arguments: &["page", "claim", "stepped-header"],
        code: 0,
        sheets: (2, 6),
        words: &["What is claimed", "What holds it back", "Written when", "Test less base over speed"],
        pictures: &[800],
    },
    Page {
        name: "booklet",
        arguments: &["page", "--booklet", "0411a-01..04"],
        code: 0,
        // A front, a sheet of contents, one for each test, an index.
        sheets: (7, 7),
        words: &["4 tests", "Contents", "Index of parts", "Test 4: 0411a-04"],
        pictures: &[],
    },
];

/// Flow of the head before and after its deck was milled, as typed at the bench.
const FLOW: [(&str, &str); 2] = [
    ("h2/a", "lift mm  flow cfm\n2.0  41.2\n4.0  80.6\n6.0  112.4\n8.0  134.1\n10.0  148.9\n"),
    ("h2/b", "lift mm  flow cfm\n2.0  41.4\n4.0  80.9\n6.0  113.6\n8.0  136.0\n10.0  150.7\n"),
];

/// Runs the program in a folder with something on standard input.
pub(crate) fn run(folder: &Path, arguments: &[&str], input: &str) -> Output {
    let mut child = Command::new(env!("CARGO_BIN_EXE_mulebook"))
        .args(arguments)
        .current_dir(folder)
        .env("MULEBOOK_NOW", "2026-05-24T09:00:00+02:00")
        .env("MULEBOOK_PERSON", "jo")
        .env("LC_ALL", "C")
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .expect("the program starts");
    let mut stdin = child.stdin.take().expect("standard input is piped");
    // A program that does not read closes its end first.
    drop(stdin.write_all(input.as_bytes()));
    drop(stdin);
    child.wait_with_output().expect("the program ends")
}

fn done(folder: &Path, arguments: &[&str], input: &str) {
    let output = run(folder, arguments, input);
    let said = [output.stdout, output.stderr].concat();
    assert!(output.status.success(), "{arguments:?}: {}", String::from_utf8_lossy(&said));
}

/// Makes the gallery's book in a folder.
pub(crate) fn book(folder: &Path) -> PathBuf {
    done(folder, &["demo", "book"], "");
    let book = folder.join("book");
    for (part, typed) in FLOW {
        let conditions = [
            "test-pressure=28 inH2O",
            "bore-fixture=86 mm",
            "entry=radius plate",
            "correction=as-read",
            "leakage=0.8 cfm",
            "calibration-plate=0.997",
        ];
        let mut arguments = vec!["flow", "-", "--part", part, "--port", "inlet:1", "--with", "rule-1"];
        arguments.extend(conditions.iter().flat_map(|condition| ["--set", condition]));
        done(&book, &arguments, typed);
    }
    done(&book, &["build", "b9", "--from", "b8", "--set", "cylinder-head=h1/a"], "");
    book
}

/// Writes a page and returns its HTML; a refusal is a page as well.
pub(crate) fn written(book: &Path, page: &Page, to: &Path) -> String {
    let file = to.join(format!("{}.html", page.name));
    // One that is there is not replaced.
    let _ = std::fs::remove_file(&file);
    let path = file.display().to_string();
    let mut arguments = page.arguments.to_vec();
    arguments.extend(["--out", &path]);
    let output = run(book, &arguments, "");
    let said = String::from_utf8_lossy(&output.stderr);
    assert_eq!(output.status.code(), Some(page.code), "{}: {said}", page.name);
    std::fs::read_to_string(&file).expect("the page was written")
}
