//! The codes that the source gives to findings.
#![allow(dead_code, reason = "each test program uses its own part of it")]
#![expect(clippy::disallowed_methods, reason = "reads the source that it judges")]

use std::collections::BTreeSet;
use std::fs;
use std::path::Path;

/// The texts of all files below a folder whose names end so.
pub(crate) fn files(folder: &Path, ending: &str) -> Vec<String> {
    let mut texts = Vec::new();
    for entry in fs::read_dir(folder).expect("the folder is here") {
        let path = entry.expect("a readable folder").path();
        if path.is_dir() {
            texts.extend(files(&path, ending));
        } else if path.to_string_lossy().ends_with(ending) {
            texts.push(fs::read_to_string(&path).expect("text"));
        }
    }
    texts
}

/// The words in quotation marks that a text says right behind a marker.
pub(crate) fn behind(text: &str, marker: &str) -> Vec<String> {
    text.match_indices(marker)
        .filter_map(|(at, found)| {
            let rest = text[at + found.len()..].trim_start();
            let word = rest.strip_prefix('"')?.split('"').next()?;
            let plain = !word.is_empty()
                && word.chars().all(|c| c.is_ascii_lowercase() || c.is_ascii_digit() || c == '-');
            plain.then(|| word.to_owned())
        })
        .collect()
}

/// The codes of one folder of the source, tests left out: written where the finding is made, or handed to it by a function
/// that makes it.
pub(crate) fn codes_below(folder: &str) -> BTreeSet<String> {
    let mut found = BTreeSet::new();
    for text in files(&Path::new(env!("CARGO_MANIFEST_DIR")).join(folder), ".rs") {
        let text = text.split("\n#[cfg(test)]").next().unwrap_or_default();
        // However a call is laid out over lines.
        let text = &text.split_whitespace().collect::<Vec<_>>().join(" ").replace("( ", "(");
        for marker in ["Finding::error(", "Finding::doubt(", "Finding::note("] {
            found.extend(behind(text, marker));
        }
        for marker in ["refuse(span,", "error_at(&path,", "error_at(&place,", "error_at(place,"] {
            found.extend(behind(text, marker));
        }
        // The dossier's room makes its findings by functions of its own, from codes that are paired with their words.
        for marker in ["refusal(", ".finding(", "Broken::error(", " fault(", "Some((", "=> ("] {
            if folder == DOSSIERS {
                found.extend(behind(text, marker));
            }
        }
    }
    found
}

/// The room of dossiers.
pub(crate) const DOSSIERS: &str = "src/evidence";
