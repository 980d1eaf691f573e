//! Clock, person, book, arguments: what every command meets first.

use std::collections::BTreeMap;

use super::bench::Bench;
use super::bench::NOW;
use super::kept;
use super::shown;

#[test]
fn there_is_no_book() {
    let bench = Bench::empty();
    shown!(bench, ".", "no-book", &["gaps"]);
    shown!(bench, ".", "no-book-there", &["gaps", "--book", "nowhere"]);
}

#[test]
fn the_arguments_do_not_say_what_is_wanted() {
    let bench = Bench::new();
    shown!(bench, "no-such-command", &["polish"]);
    let said = bench.run(&["--version"]);
    assert_eq!((said.code, said.error.as_str()), (0, ""));
    let said = bench.run(&[]);
    assert_eq!(said.code, 2);
}

#[test]
fn help_of_every_command() {
    let bench = Bench::empty();
    let mut shown = bench.run_in(bench.path(), &["--help"], "").done().out;
    for command in [
        "new",
        "demo",
        "part",
        "build",
        "session",
        "cell",
        "instrument",
        "measure",
        "rework",
        "correct",
        "look",
        "pull",
        "keep",
        "gaps",
        "diff",
        "audit",
        "mend",
        "flow",
        "form",
        "doubt",
        "sheet",
        "trail",
        "find",
        "weigh",
        "combos",
        "page",
        "table",
        "claim",
        "dossier",
        "verify",
    ] {
        shown.push_str(&format!("\n==== {command}\n\n"));
        shown.push_str(&bench.run_in(bench.path(), &[command, "--help"], "").done().out);
    }
    kept!("surroundings-help", shown);
}

#[test]
fn a_clock_that_is_none_is_refused() {
    let bench = Bench::new().at("noon");
    shown!(bench, "clock", &["cell", "tower"]);
}

#[test]
fn a_book_that_another_process_writes_is_waited_for() {
    let bench = Bench::new();
    let lock = bench.book().join(".git/index.lock");
    std::fs::write(&lock, "").expect("a file of the test");
    let said = bench.run(&["cell", "tower", "--json"]);
    std::fs::remove_file(&lock).expect("still there");
    assert_eq!(said.code, 1);
    let shown = said.out.replace(&bench.path().display().to_string(), "[folder]");
    kept!("surroundings-busy", shown);
}

#[test]
fn text_from_records_moves_no_cursor() {
    let bench = Bench::new();
    let said = bench.run(&["cell", "tower", "--set", "absorber=\u{1b}[31mred\u{7}"]);
    for text in [&said.out, &said.error] {
        assert!(!text.contains('\u{1b}') && !text.contains('\u{7}'), "{text:?}");
    }
}

/// The environment of the machine changes no answer: not its home, its zone, its language or its width.
#[test]
fn the_machine_changes_no_answer() {
    let bench = Bench::shop();
    let plain = bench.run(&["gaps", "0412a-01"]).done();
    let other = BTreeMap::from([
        ("MULEBOOK_NOW", NOW),
        ("MULEBOOK_PERSON", "mk"),
        ("HOME", "/nowhere"),
        ("TZ", "Asia/Tokyo"),
        ("LC_ALL", "de_DE.UTF-8"),
        ("COLUMNS", "40"),
        ("GIT_DIR", "/nowhere"),
        ("GIT_CONFIG_GLOBAL", "/nowhere"),
        ("NO_COLOR", ""),
    ]);
    assert_eq!(bench.run_under(&other, &bench.book(), &["gaps", "0412a-01"], "").out, plain.out);
}
