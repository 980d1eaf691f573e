//! Every relation of the engine stands in `docs/engine.md`.
#![expect(clippy::disallowed_methods, reason = "the test reads the source files of the room")]

use std::fs;
use std::path::{Path, PathBuf};

fn sources(folder: &Path, found: &mut Vec<PathBuf>) {
    for entry in fs::read_dir(folder).expect("the room's folder") {
        let path = entry.expect("an entry").path();
        if path.is_dir() {
            sources(&path, found);
        } else {
            found.push(path);
        }
    }
}

#[test]
fn every_public_function_is_documented_with_its_formula() {
    let document = include_str!("../docs/engine.md");
    let mut files = Vec::new();
    sources(&Path::new(env!("CARGO_MANIFEST_DIR")).join("src/engine"), &mut files);
    assert!(files.len() > 20);
    let mut missing = Vec::new();
    for file in files {
        let text = fs::read_to_string(&file).expect("a source file");
        for line in text.lines() {
            let Some(rest) = line.trim_start().strip_prefix("pub fn ") else {
                continue;
            };
            let name = rest.split(['(', '<']).next().expect("a name");
            if !document.contains(&format!("`{name}`")) && !document.contains(&format!("::{name}`")) {
                missing.push(format!("{}: {name}", file.display()));
            }
        }
    }
    assert!(missing.is_empty(), "not in docs/engine.md: {missing:?}");
}
