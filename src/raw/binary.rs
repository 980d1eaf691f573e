//! Bytes that are no text table, recognised by how they begin.

/// What the head of a file shows it to be, other than text.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Kind {
    /// A workbook in a zip container.
    Workbook,
    /// A Parquet file.
    Parquet,
    /// Something that is kept and not read, with its name.
    Opaque(&'static str),
}

const SIGNATURES: [(&[u8], &str); 24] = [
    (b"MDF     ", "a measurement file in MDF"),
    (b"UnFinMF ", "an unfinished measurement file in MDF"),
    (b"\x89PNG", "a PNG picture"),
    (b"\xff\xd8\xff", "a JPEG picture"),
    (b"GIF8", "a GIF picture"),
    (b"%PDF", "a PDF document"),
    (b"\x1f\x8b", "a gzip archive"),
    (b"BZh", "a bzip2 archive"),
    (b"\xfd7zXZ", "an xz archive"),
    (b"7z\xbc\xaf", "a 7-Zip archive"),
    (b"Rar!", "a RAR archive"),
    (b"\x28\xb5\x2f\xfd", "a Zstandard archive"),
    (b"SQLite format 3", "an SQLite database"),
    (b"\xd0\xcf\x11\xe0", "an old binary office file (.xls, .doc)"),
    (b"\x89HDF", "an HDF5 file"),
    (b"MATLAB 5.0 MAT-file", "a MAT file"),
    (b"CDF\x01", "a netCDF file"),
    (b"TDSm", "a TDMS file"),
    (b"ARROW1", "an Arrow file"),
    (b"\x7fELF", "a program"),
    (b"MZ", "a program"),
    (b"{\\rtf", "an RTF document"),
    (b"RIFF", "a sound or video file"),
    (b"<?xml", "an XML document"),
];

/// A file that is kept as evidence: what it is, as far as its beginning shows.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Opaque {
    /// What it is, in words.
    pub what: &'static str,
    /// Whether a logger or a program may have written measurements into it, so that a table may be an export of it.
    pub may_hold_measurements: bool,
}

/// Formats of the list above that hold measurements.
const MEASUREMENTS: [&str; 11] = [
    "a measurement file in MDF",
    "an unfinished measurement file in MDF",
    "an SQLite database",
    "an old binary office file (.xls, .doc)",
    "an HDF5 file",
    "a MAT file",
    "a netCDF file",
    "a TDMS file",
    "an Arrow file",
    "a workbook",
    "a Parquet file",
];

/// Says what a file kept as evidence is.
pub fn opaque(sample: &[u8], name: &str) -> Opaque {
    let what = match recognise(sample, name) {
        Some(Kind::Opaque(what)) => what,
        Some(Kind::Workbook) => "a workbook",
        Some(Kind::Parquet) => "a Parquet file",
        None if sample.contains(&0) || std::str::from_utf8(sample).is_err() => {
            return Opaque { what: "a binary file", may_hold_measurements: true };
        }
        None => "text",
    };
    Opaque { what, may_hold_measurements: MEASUREMENTS.contains(&what) }
}

/// Recognises what is no text table; `None` where it may be one.
pub(super) fn recognise(sample: &[u8], name: &str) -> Option<Kind> {
    if sample.starts_with(b"PAR1") {
        return Some(Kind::Parquet);
    }
    if sample.starts_with(b"PK\x03\x04") || sample.starts_with(b"PK\x05\x06") {
        let lower = name.to_lowercase();
        let sheet = [".xlsx", ".xlsm", ".ods"].iter().any(|end| lower.ends_with(end));
        let holds_sheet = memchr::memmem::find(&sample[..sample.len().min(1 << 16)], b"xl/").is_some();
        return Some(if sheet || holds_sheet { Kind::Workbook } else { Kind::Opaque("a zip archive") });
    }
    let text = sample.trim_ascii_start();
    if let Some((_, what)) = SIGNATURES.iter().find(|(start, _)| sample.starts_with(start)) {
        // A two-letter signature may also begin a line of text.
        let certain = *what != "a program" || sample.contains(&0);
        if certain {
            return Some(Kind::Opaque(what));
        }
    }
    for (start, what) in [
        (b"<!DOCTYPE".as_slice(), "an HTML page"),
        (b"<html", "an HTML page"),
        (b"{", "JSON"),
        (b"[{", "JSON"),
    ] {
        if text.len() >= start.len() && text[..start.len()].eq_ignore_ascii_case(start) {
            return Some(Kind::Opaque(what));
        }
    }
    None
}

/// What decoded text holds that no table would, if anything.
pub(super) fn control_characters(text: &str) -> Option<&'static str> {
    let head: Vec<char> = text.chars().take(65_536).collect();
    let odd = |c: &char| c.is_control() && !matches!(c, '\t' | '\n' | '\r' | '\u{c}' | '\u{1a}');
    let count = head.iter().filter(|c| odd(c)).count();
    let broken = head.iter().filter(|c| **c == '\u{fffd}').count();
    if head.contains(&'\0') {
        return Some("a binary file (it holds zero bytes)");
    }
    (count * 100 > head.len() || broken * 20 > head.len())
        .then_some("a binary file (it holds control characters)")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn beginnings_tell() {
        assert_eq!(recognise(b"PAR1....", "a"), Some(Kind::Parquet));
        assert_eq!(recognise(b"PK\x03\x04..", "run.xlsx"), Some(Kind::Workbook));
        assert_eq!(recognise(b"PK\x03\x04..", "run.zip"), Some(Kind::Opaque("a zip archive")));
        assert!(matches!(recognise(b"%PDF-1.7", "a"), Some(Kind::Opaque(_))));
        assert_eq!(recognise(b"MZ,rpm\n1,2\n", "a"), None);
        assert_eq!(recognise(b"rpm,hp\n", "a"), None);
        assert!(opaque(b"MDF     4.10", "run.mf4").may_hold_measurements);
        assert!(opaque(b"\x01\x00\x07", "run.log").may_hold_measurements);
        assert!(!opaque(b"\x89PNG\r\n", "run.png").may_hold_measurements);
        assert!(!opaque(b"a letter", "run.txt").may_hold_measurements);
        assert!(MEASUREMENTS.iter().all(|what| SIGNATURES.iter().any(|known| known.1 == *what)
            || matches!(*what, "a workbook" | "a Parquet file")));
        assert!(control_characters("a\0b").is_some());
        assert!(control_characters("rpm\thp\r\n").is_none());
    }
}
