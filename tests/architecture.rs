//! The rooms of the code and who may import whom, held against the source; and a few habits the compiler cannot see.
#![expect(clippy::disallowed_methods, reason = "this test reads the source it judges")]

use std::collections::BTreeMap;
use std::fs;
use std::path::Path;
use std::path::PathBuf;

/// Each room and the rooms it may import. The table of the design; where practice proved it wrong, a line says why.
const ROOMS: &[(&str, &[&str])] = &[
    ("quantity", &[]),
    ("finding", &[]),
    ("statistics", &[]),
    ("engine", &["quantity", "statistics"]),
    ("record", &["quantity", "finding"]),
    ("manifest", &["record", "quantity", "finding"]),
    ("raw", &["record", "quantity", "finding"]),
    ("store", &["manifest", "record", "finding"]),
    ("derive", &["record", "engine", "quantity", "statistics", "finding"]),
    ("check", &["derive", "record", "quantity", "finding", "statistics", "engine"]),
    ("curves", &["check", "record", "engine", "quantity", "statistics", "finding"]),
    ("verdict", &["curves", "check", "derive", "record", "engine", "quantity", "statistics", "finding"]),
    ("evidence", &["manifest", "record", "quantity", "finding"]),
    ("answer", &["verdict", "curves", "check", "derive", "evidence", "record", "quantity", "finding"]),
    // What an answer is made of beyond `answer` itself: findings, and what a comparison asked for.
    ("render", &["answer", "finding", "check"]),
    (
        "workflow",
        &[
            "quantity",
            "finding",
            "statistics",
            "engine",
            "record",
            "manifest",
            "raw",
            "store",
            "derive",
            "check",
            "curves",
            "verdict",
            "evidence",
            "answer",
        ],
    ),
    // Beyond the design's four: `store`, since the outermost room finds the book's folder, opens it and says who
    // commits (`Book`, `Author`), and hands both down; `check`, since `gaps --fill` asks a person for each `Close`
    // that a gap names. Both are values passed on; cli calls no relation and reads no record.
    ("cli", &["workflow", "render", "answer", "finding", "store", "check"]),
];

/// Longest file that is let through.
const MOST_LINES: usize = 600;

fn source() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("src")
}

/// All source files below a folder, sorted.
fn files(folder: &Path) -> Vec<PathBuf> {
    let mut found = Vec::new();
    for entry in fs::read_dir(folder).expect("the source is here") {
        let path = entry.expect("a readable folder").path();
        if path.is_dir() {
            found.extend(files(&path));
        } else if path.extension().is_some_and(|ending| ending == "rs") {
            found.push(path);
        }
    }
    found.sort();
    found
}

/// The code of a file by line number, comments left out, and whether the line stands inside an inner module.
fn code(text: &str) -> Vec<(usize, &str, bool)> {
    let mut inner = false;
    let mut lines = Vec::new();
    for (number, line) in text.lines().enumerate() {
        let trimmed = line.trim_start();
        if line.starts_with("mod ") && line.ends_with('{') {
            inner = true;
        }
        if !trimmed.starts_with("//") {
            lines.push((number + 1, line, inner));
        }
    }
    lines
}

/// The lines of a file before its tests.
fn before_tests(text: &str) -> impl Iterator<Item = (usize, &str)> {
    text.lines()
        .enumerate()
        .map(|(number, line)| (number + 1, line))
        .take_while(|(_, line)| *line != "#[cfg(test)]")
}

/// The words that follow `crate::` in a line.
fn named_rooms(line: &str) -> impl Iterator<Item = &str> {
    line.match_indices("crate::").map(|(at, found)| {
        let rest = &line[at + found.len()..];
        let end = rest.find(|c: char| !c.is_ascii_lowercase() && c != '_').unwrap_or(rest.len());
        &rest[..end]
    })
}

/// How many `super::` in a row a line holds at most.
fn steps_up(line: &str) -> usize {
    let mut most = 0;
    let mut rest = line;
    while let Some(at) = rest.find("super::") {
        let mut count = 0;
        rest = &rest[at..];
        while let Some(next) = rest.strip_prefix("super::") {
            count += 1;
            rest = next;
        }
        most = most.max(count);
    }
    most
}

/// Faults of one file of a room against the table; `depth` is how many modules its own module lies below the crate.
fn breaches(room: &str, allowed: &[&str], depth: usize, name: &str, text: &str) -> Vec<String> {
    let mut found = Vec::new();
    for (number, line, inner) in code(text) {
        if line.contains("crate::{") || line.contains("crate::*") {
            found.push(format!(
                "{name}:{number}: imports from the crate are written one a line: {}",
                line.trim()
            ));
        }
        for other in named_rooms(line).filter(|other| !other.is_empty()) {
            if other != room && !allowed.contains(&other) {
                found.push(format!("{name}:{number}: {room} may not import {other}: {}", line.trim()));
            }
        }
        if steps_up(line) >= depth + usize::from(inner) {
            found.push(format!("{name}:{number}: `super` leads out of the room: {}", line.trim()));
        }
    }
    found
}

fn depth_of(relative: &Path) -> usize {
    let steps = relative.components().count();
    if relative.ends_with("mod.rs") { steps - 1 } else { steps }
}

#[test]
fn the_rooms_import_only_what_the_table_allows() {
    let table: BTreeMap<&str, &[&str]> = ROOMS.iter().copied().collect();
    let mut found = Vec::new();
    let mut seen = 0;
    for path in files(&source()) {
        let relative = path.strip_prefix(source()).expect("below the source");
        let name = relative.display().to_string();
        let text = fs::read_to_string(&path).expect("source is text");
        if relative.components().count() == 1 {
            assert!(["main.rs", "lib.rs"].contains(&name.as_str()), "{name} lies in no room");
            continue;
        }
        let first = relative.components().next().expect("a room's folder");
        let room = first.as_os_str().to_str().expect("a plain name");
        let Some(allowed) = table.get(room) else {
            found.push(format!("{name}: the table names no room `{room}`"));
            continue;
        };
        seen += 1;
        found.extend(breaches(room, allowed, depth_of(relative), &name, &text));
    }
    assert!(seen > 100, "only {seen} files were looked at");
    assert!(found.is_empty(), "{}", found.join("\n"));
}

#[test]
fn the_table_has_no_way_round() {
    for (at, (room, allowed)) in ROOMS.iter().enumerate() {
        for other in *allowed {
            let place =
                ROOMS.iter().position(|(name, _)| name == other).expect("an imported room is in the table");
            assert!(place < at, "{room} imports {other}, which stands below it");
        }
    }
}

#[test]
fn a_breach_is_seen() {
    let planted = "use crate::store::Book;\nuse crate::{finding, raw};\nuse super::super::raw::read;\nlet x = crate::cli::run();\n// crate::cli is only named\nmod tests {\n    use super::super::record;\n    use super::super::super::cli;\n}\n";
    let found = breaches("check", &["finding"], 2, "planted.rs", planted);
    let lines: Vec<&str> = found.iter().filter_map(|breach| breach.split(':').nth(1)).collect();
    assert_eq!(lines, ["1", "2", "3", "4", "8"], "{found:#?}");
}

#[test]
fn every_room_opens_with_what_comes_in_and_what_goes_out() {
    for (room, _) in ROOMS {
        let path = source().join(room).join("mod.rs");
        let Ok(text) = fs::read_to_string(&path) else { continue };
        let docs: String = text.lines().take_while(|line| line.starts_with("//!")).collect();
        assert!(
            docs.contains("In: ") && docs.contains("Out: "),
            "src/{room}/mod.rs does not say what comes in and goes out"
        );
    }
}

#[test]
fn no_file_is_named_after_nothing() {
    let empty = ["utils", "util", "helpers", "helper", "common", "types", "misc", "manager"];
    for path in files(&source()) {
        for step in path.strip_prefix(source()).expect("below the source").components() {
            let name = step.as_os_str().to_string_lossy();
            let stem = name.trim_end_matches(".rs");
            assert!(!empty.contains(&stem), "{}: name it after the one thing in it", path.display());
        }
    }
}

#[test]
fn no_file_is_too_long() {
    let long: Vec<String> = files(&source())
        .into_iter()
        .filter_map(|path| {
            let lines = fs::read_to_string(&path).expect("source is text").lines().count();
            (lines > MOST_LINES).then(|| format!("{} has {lines} lines", path.display()))
        })
        .collect();
    assert!(long.is_empty(), "more than {MOST_LINES} lines: {}", long.join(", "));
}

#[test]
fn unsafe_code_is_forbidden() {
    let manifest =
        fs::read_to_string(Path::new(env!("CARGO_MANIFEST_DIR")).join("Cargo.toml")).expect("a manifest");
    assert!(manifest.contains("unsafe_code = \"forbid\""), "Cargo.toml no longer forbids unsafe code");
}

#[test]
fn nothing_panics_by_habit_and_only_cli_prints() {
    let mut found = Vec::new();
    for path in files(&source()) {
        let relative = path.strip_prefix(source()).expect("below the source").display().to_string();
        let text = fs::read_to_string(&path).expect("source is text");
        for (number, line) in before_tests(&text) {
            if line.trim_start().starts_with("//") {
                continue;
            }
            for habit in [
                ".unwrap()",
                ".unwrap_err()",
                "panic!(",
                "todo!(",
                "unimplemented!(",
                "unreachable!(",
                "dbg!(",
            ] {
                if line.contains(habit) {
                    found.push(format!("{relative}:{number}: {habit}"));
                }
            }
            let prints =
                ["println!(", "eprintln!(", " print!(", "eprint!("].iter().any(|print| line.contains(print));
            if prints && !relative.starts_with("cli/") {
                found.push(format!("{relative}:{number}: prints"));
            }
        }
    }
    assert!(found.is_empty(), "{}", found.join("\n"));
}
