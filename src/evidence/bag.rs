//! The tag files of the bag (BagIt, RFC 8493): written in one form, and read in that form only.
//!
//! The standard lets a reader be lenient with spaces, line ends, capital hexadecimal digits and further checksums. Leniency here
//! would mean two programs reading two lists, so every line has the one form that `sha256sum` writes and checks.

use std::collections::BTreeMap;
use std::fmt::Write;

use crate::evidence::name::{escaped, fault_of_part, fault_of_path, is_hexadecimal};
use crate::finding::Finding;
use crate::finding::Place;

/// Says that this is a bag, and in which encoding its tag files are.
pub(super) const DECLARATION: &str = "bagit.txt";
pub(super) const DECLARATION_TEXT: &str = "BagIt-Version: 1.0\nTag-File-Character-Encoding: UTF-8\n";
/// Facts for people.
pub(super) const INFORMATION: &str = "bag-info.txt";
/// Every payload file with its SHA-256.
pub(super) const MANIFEST: &str = "manifest-sha256.txt";
/// The SHA-256 of the other tag files: the one short text that seals everything, and that is signed.
pub(super) const TAG_MANIFEST: &str = "tagmanifest-sha256.txt";
/// The folder of the payload.
pub(super) const PAYLOAD: &str = "data/";
/// What the tag manifest must list, and nothing else.
pub(super) const SEALED: [&str; 3] = [INFORMATION, DECLARATION, MANIFEST];

/// Counts the payload: bytes and files.
const OXUM: &str = "Payload-Oxum";
/// The day of sealing.
const DATE: &str = "Bagging-Date";
/// Faults of one tag file that are told one by one.
const MOST_TOLD: usize = 20;

/// The lines of a manifest.
pub(super) fn manifest_text<'a>(files: impl IntoIterator<Item = (&'a str, &'a str)>) -> String {
    files.into_iter().fold(String::new(), |mut text, (path, sha256)| {
        let _ = writeln!(text, "{sha256}  {path}");
        text
    })
}

/// Which manifest is read.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Lists {
    Payload,
    Tags,
}

/// Reads a manifest: SHA-256 by path, as the lines have it.
pub(super) fn read_manifest(bytes: &[u8], lists: Lists) -> Result<BTreeMap<String, String>, Vec<Finding>> {
    let file = if lists == Lists::Payload { MANIFEST } else { TAG_MANIFEST };
    let (mut listed, mut faults) = (BTreeMap::new(), Vec::new());
    let text = match str::from_utf8(bytes) {
        Ok(text) if text.ends_with('\n') => text,
        _ => {
            let message = "a manifest does not end with a line break, or is no text";
            return Err(vec![Finding::error("bag-manifest-line", message).at(Place::file(file))]);
        }
    };
    for (number, line) in text.split_terminator('\n').enumerate() {
        let fault = |code, message: &str| {
            Finding::error(code, message).at(Place::file(file).line(number + 1)).found(escaped(line))
        };
        let parts =
            line.split_at_checked(64).and_then(|(sha256, rest)| Some((sha256, rest.strip_prefix("  ")?)));
        let Some((sha256, path)) = parts.filter(|(sha256, _)| is_hexadecimal(sha256, 64)) else {
            faults.push(
                fault("bag-manifest-line", "a line of a manifest is not in the one form that is read")
                    .expected("64 lower-case hexadecimal digits, two spaces, a path, a line break"),
            );
            if faults.len() >= MOST_TOLD {
                break;
            }
            continue;
        };
        let wrong = match lists {
            Lists::Payload => match path.strip_prefix(PAYLOAD) {
                Some(inside) => fault_of_path(inside),
                None => Some("a path that is not below `data/`"),
            },
            Lists::Tags if SEALED.contains(&path) => None,
            Lists::Tags => Some("a file that the tag manifest does not list"),
        };
        if let Some(wrong) = wrong {
            faults.push(fault("bag-manifest-path", "a manifest names a path that it may not name").expected(
                match lists {
                    Lists::Payload => format!("a plain path below `data/`, not {wrong}"),
                    Lists::Tags => format!("only {}", SEALED.join(", ")),
                },
            ));
        } else if listed.insert(path.to_owned(), sha256.to_owned()).is_some() {
            faults.push(fault("bag-manifest-twice", "a manifest names a file twice"));
        }
        if faults.len() >= MOST_TOLD {
            break;
        }
    }
    if faults.is_empty() { Ok(listed) } else { Err(faults) }
}

/// The facts for people, with the count of the payload and the day of sealing.
pub(super) fn information_text(
    facts: &[(String, String)],
    day: &str,
    bytes: u64,
    files: usize,
) -> Result<String, Finding> {
    let mut text = String::new();
    for (label, value) in facts {
        let plain = value.split_whitespace().collect::<Vec<_>>().join(" ");
        let fault = if !is_label(label) || [OXUM, DATE].iter().any(|own| own.eq_ignore_ascii_case(label)) {
            Some("a label")
        } else if plain.is_empty() || plain.len() > LONGEST_VALUE || plain.chars().any(char::is_control) {
            Some("a value")
        } else {
            None
        };
        if let Some(fault) = fault {
            return Err(Finding::error("bag-information", format!("{fault} cannot stand in {INFORMATION}"))
                .found(format!("{}: {}", escaped(label), escaped(value))));
        }
        let _ = writeln!(text, "{label}: {plain}");
    }
    let _ = write!(text, "{DATE}: {day}\n{OXUM}: {bytes}.{files}\n");
    Ok(text)
}

/// Longest value, in bytes.
const LONGEST_VALUE: usize = 2000;

fn is_label(label: &str) -> bool {
    label.split('-').all(|word| !word.is_empty() && word.bytes().all(|b| b.is_ascii_alphanumeric()))
}

/// Reads the facts and compares the count of the payload.
pub(super) fn read_information(
    bytes: &[u8],
    payload: (u64, usize),
) -> Result<Vec<(String, String)>, Vec<Finding>> {
    let place = |line: usize| Place::file(INFORMATION).line(line);
    let fault = |line: usize, found: &str| {
        Finding::error("bag-information", "a line is not in the one form that is read")
            .at(place(line))
            .found(escaped(found))
            .expected("a label, a colon, a space, a value, a line break")
    };
    let Some(text) = str::from_utf8(bytes).ok().filter(|text| text.ends_with('\n')) else {
        return Err(vec![fault(1, "no text, or a last line without its line break")]);
    };
    let (mut facts, mut counts) = (Vec::new(), Vec::new());
    for (number, line) in text.split_terminator('\n').enumerate() {
        match line.split_once(": ") {
            Some((label, value))
                if is_label(label) && !value.is_empty() && !value.chars().any(char::is_control) =>
            {
                if label.eq_ignore_ascii_case(OXUM) {
                    counts.push((number + 1, value));
                }
                facts.push((label.to_owned(), value.to_owned()));
            }
            _ => return Err(vec![fault(number + 1, line)]),
        }
    }
    let expected = format!("{}.{}", payload.0, payload.1);
    match counts.as_slice() {
        [(_, count)] if *count == expected => Ok(facts),
        [] => Err(vec![
            Finding::error("bag-count", "the payload is not counted")
                .at(Place::file(INFORMATION))
                .expected(format!("{OXUM}: {expected}")),
        ]),
        [.., (line, count)] => Err(vec![
            Finding::error("bag-count", "the payload is counted otherwise, or twice")
                .at(place(*line))
                .found(escaped(count))
                .expected(expected),
        ]),
    }
}

/// What is wrong with a file beside the payload, if it may not stand there.
pub(super) fn fault_of_tag_file(name: &str) -> Option<(&'static str, &'static str)> {
    if SEALED.contains(&name) || name == TAG_MANIFEST || signature_of(name).is_some() || is_stamp(name) {
        None
    } else if name == "fetch.txt" {
        Some((
            "bag-fetch",
            "the bag wants files fetched from elsewhere; a dossier has no holes and nothing is fetched",
        ))
    } else if name.starts_with("manifest-") || name.starts_with("tagmanifest-") {
        Some(("bag-other-manifest", "the bag holds a manifest of another kind, which could list other files"))
    } else {
        Some(("bag-unlisted", "a file stands beside the payload that no manifest lists"))
    }
}

/// Whether a file is the answer of a time-stamping service: the tag manifest's name, perhaps another, and `.tsr`.
pub(super) fn is_stamp(name: &str) -> bool {
    named_after_seal(name, ".tsr").is_some()
}

/// The name between the tag manifest's and `.sig`, empty for the first signature; `None` for another file.
pub(super) fn signature_of(name: &str) -> Option<&str> {
    named_after_seal(name, ".sig")
}

fn named_after_seal<'n>(name: &'n str, ending: &str) -> Option<&'n str> {
    let between = name.strip_prefix(TAG_MANIFEST)?.strip_suffix(ending)?;
    match between.strip_prefix('.') {
        None if between.is_empty() => Some(between),
        Some(named) if fault_of_part(named).is_none() => Some(named),
        _ => None,
    }
}
