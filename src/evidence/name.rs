//! Names inside a dossier: which are let in, and how one from elsewhere is shown.
//!
//! A name holds letters, digits, `_`, `.` and `-` of ASCII only. With that the percent rule of BagIt, Unicode
//! normalisation, the characters that Windows and shells keep for themselves, and text that turns round on a screen never
//! arise (RFC 8493, sections 2.1.3 and 6.1).

use sha2::Digest;
use sha2::Sha256;

/// Longest part of a path between two slashes, in bytes.
pub(super) const LONGEST_PART: usize = 100;
/// Most parts of a path below `data/`.
pub(super) const DEEPEST: usize = 8;
/// Longest path, in bytes, the top folder and `data/` with it.
pub(super) const LONGEST_PATH: usize = 255;

/// Names that Windows keeps for devices, whatever ending follows them.
const DEVICES: [&str; 6] = ["con", "prn", "aux", "nul", "conin$", "conout$"];

/// What is wrong with one part of a path; `None` when it may stand in a dossier.
pub(super) fn fault_of_part(part: &str) -> Option<&'static str> {
    let Some(first) = part.chars().next() else { return Some("an empty name between slashes") };
    if part.len() > LONGEST_PART {
        return Some("a name of more than 100 bytes");
    }
    if !(first.is_ascii_alphanumeric() || first == '_') {
        return Some("a name that does not begin with a letter, a digit or `_`");
    }
    if !part.chars().all(|c| c.is_ascii_alphanumeric() || matches!(c, '_' | '.' | '-')) {
        return Some("a character other than ASCII letters, digits, `_`, `.` and `-`");
    }
    if part.ends_with('.') {
        return Some("a name that ends with a dot");
    }
    let stem = part.split('.').next().unwrap_or_default().to_ascii_lowercase();
    let numbered = stem.strip_prefix("com").or_else(|| stem.strip_prefix("lpt"));
    if DEVICES.contains(&stem.as_str())
        || numbered.is_some_and(|number| number.len() == 1 && number.as_bytes()[0].is_ascii_digit())
    {
        return Some("a name that Windows keeps for a device");
    }
    None
}

/// What is wrong with a path below `data/`; `None` when it may stand in a dossier.
pub fn fault_of_path(path: &str) -> Option<&'static str> {
    // The top folder, `data` and the slashes are part of the longest path.
    if path.len() > LONGEST_PATH - LONGEST_PART - "/data/".len() {
        return Some("a path that is too long");
    }
    if path.split('/').count() > DEEPEST {
        return Some("a path of more than 8 parts");
    }
    path.split('/').find_map(fault_of_part)
}

/// A name that may stand in a dossier for any path of a book: the path itself where it may, else one made of its SHA-256.
///
/// The same path always gets the same name. Beside such names stands an index that says which path each is of.
///
/// ```
/// # use mulebook::evidence::safe_path;
/// assert_eq!(safe_path("parts/head/h2.yaml"), "parts/head/h2.yaml");
/// let named = safe_path("parts/head/коробка.yaml");
/// assert!(named.starts_with("parts/head/x-") && named.ends_with(".yaml"), "{named}");
/// assert!(safe_path("a b/c").starts_with("x-"));
/// ```
pub fn safe_path(path: &str) -> String {
    if fault_of_path(path).is_none() {
        return path.to_owned();
    }
    let (folder, file) = path.rsplit_once('/').unwrap_or(("", path));
    let ending = file.rsplit_once('.').map(|(_, ending)| ending).unwrap_or_default();
    let ending = if !ending.is_empty()
        && ending.len() <= 16
        && ending.bytes().all(|b| b.is_ascii_alphanumeric())
        && !file.starts_with('.')
    {
        format!(".{ending}")
    } else {
        String::new()
    };
    let named = format!("x-{}{ending}", &hexadecimal(&Sha256::digest(path.as_bytes()))[..40]);
    let beside = format!("{folder}/{named}");
    if folder.is_empty() || fault_of_path(&beside).is_some() { named } else { beside }
}

/// A name or text from elsewhere as it may be printed: ASCII, with everything else as its code, and not too long.
pub fn escaped(text: &str) -> String {
    const MOST: usize = 160;
    let mut shown = String::new();
    for c in text.chars() {
        if shown.len() > MOST {
            shown.push_str("[...]");
            break;
        }
        match c {
            '\\' => shown.push_str("\\\\"),
            ' '..='~' => shown.push(c),
            _ => shown.extend(c.escape_unicode()),
        }
    }
    shown
}

/// The same of bytes, which need not be text.
pub(super) fn escaped_bytes(bytes: &[u8]) -> String {
    match str::from_utf8(bytes) {
        Ok(text) => escaped(text),
        Err(_) => {
            let shown: String =
                bytes.iter().take(40).flat_map(|&b| std::ascii::escape_default(b)).map(char::from).collect();
            if bytes.len() > 40 { format!("{shown}[...]") } else { shown }
        }
    }
}

/// Lower-case hexadecimal digits.
pub(super) fn hexadecimal(bytes: &[u8]) -> String {
    use std::fmt::Write;
    bytes.iter().fold(String::with_capacity(bytes.len() * 2), |mut text, byte| {
        let _ = write!(text, "{byte:02x}");
        text
    })
}

/// Whether text is so many lower-case hexadecimal digits.
pub(super) fn is_hexadecimal(text: &str, digits: usize) -> bool {
    text.len() == digits && text.bytes().all(|b| matches!(b, b'0'..=b'9' | b'a'..=b'f'))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn names_that_some_system_reads_otherwise_are_not_let_in() {
        for good in ["a", "a.yaml", "records/h2-b.yaml", "raw/ab/0f", "_x", "consul.txt", "com10.txt", "a..b"]
        {
            assert_eq!(fault_of_path(good), None, "{good}");
        }
        let long = "a".repeat(101);
        let deep = "a/".repeat(8) + "a";
        for bad in [
            "",
            "/a",
            "a/",
            "a//b",
            "..",
            "a/../b",
            ".git/config",
            ".hidden",
            "-rf",
            "a b",
            "a\\b",
            "C:a",
            "~u",
            "a%25",
            "CON.txt",
            "aux",
            "nul.tar.gz",
            "com1",
            "LPT9.x",
            "x.",
            "x ",
            "a\n",
            "a\u{1b}[2J",
            "a\u{202e}b",
            "é",
            "a\0",
            &long,
            &deep,
        ] {
            assert!(fault_of_path(bad).is_some(), "{bad:?}");
        }
    }

    #[test]
    fn other_names_become_safe_ones_that_differ_where_the_paths_do() {
        let odd = ["a b", "a  b", "é.yaml", "e\u{301}.yaml", "CON.txt", ".git/config", "x/.y", "-"];
        let named: std::collections::BTreeSet<String> = odd.iter().map(|path| safe_path(path)).collect();
        assert_eq!(named.len(), odd.len());
        assert!(named.iter().all(|name| fault_of_path(name).is_none()), "{named:?}");
        assert!(fault_of_path(&safe_path(&"a/".repeat(90))).is_none());
    }

    #[test]
    fn what_is_printed_is_ascii_without_control_characters() {
        assert_eq!(escaped("a\u{1b}[31m\u{202e}é\\"), "a\\u{1b}[31m\\u{202e}\\u{e9}\\\\");
        assert!(escaped(&"x".repeat(10_000)).len() < 200);
        assert_eq!(escaped_bytes(b"a\xff\x1b"), "a\\xff\\x1b");
    }
}
