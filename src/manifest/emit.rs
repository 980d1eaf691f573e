//! YAML as the program writes it: figures and work on one line, free text always quoted.

use std::fmt::Write as _;

use crate::manifest::node::Content;
use crate::manifest::node::Layout;
use crate::manifest::node::Node;
use crate::manifest::node::Style;

/// A piece of a manifest to be written.
#[derive(Debug, Clone, PartialEq)]
pub enum Piece {
    /// A tag, word, date or quantity: plain where that reads back as the same text, else quoted.
    Word(String),
    /// Free text, serials, jet numbers: always quoted.
    Text(String),
    /// A whole number.
    Whole(i64),
    /// A number without unit, to the digit as written.
    Number(String),
    /// `true` or `false`.
    Flag(bool),
    /// Keys with values, on one line.
    Line(Vec<(String, Piece)>),
    /// Keys with values, one a line.
    Block(Vec<(String, Piece)>),
    /// A list, one item a line.
    List(Vec<Piece>),
    /// A list on one line.
    Row(Vec<Piece>),
}

impl Piece {
    /// A word.
    pub fn word(text: impl Into<String>) -> Self {
        Self::Word(text.into())
    }

    /// Free text.
    pub fn text(text: impl Into<String>) -> Self {
        Self::Text(text.into())
    }

    /// The tree that this reads back as.
    pub fn to_node(&self) -> Node {
        let plain = |text: &str| Content::Scalar(text.to_owned(), Style::Plain);
        let quoted = |text: &str| Content::Scalar(text.to_owned(), Style::Text);
        let map = |entries: &[(String, Piece)], layout| {
            Content::Mapping(
                entries.iter().map(|(key, value)| (bare(quoted(key)), value.to_node())).collect(),
                layout,
            )
        };
        bare(match self {
            Self::Word(text) | Self::Text(text) => quoted(text),
            Self::Whole(whole) => plain(&whole.to_string()),
            Self::Number(number) => plain(number),
            Self::Flag(flag) => plain(if *flag { "true" } else { "false" }),
            Self::Line(entries) => map(entries, Layout::Flow),
            Self::Block(entries) => map(entries, Layout::Block),
            Self::List(items) => Content::Sequence(items.iter().map(Piece::to_node).collect(), Layout::Block),
            Self::Row(items) => Content::Sequence(items.iter().map(Piece::to_node).collect(), Layout::Flow),
        })
    }
}

fn bare(content: Content) -> Node {
    Node { content, span: 0..0, line: 0, column: 0 }
}

/// A whole manifest from its top-level entries.
pub fn document(entries: &[(String, Piece)]) -> String {
    let mut out = String::new();
    for (key, value) in entries {
        entry(&mut out, 0, key, value);
    }
    out
}

/// One `key: value` with its line end, indented by `indent` spaces.
pub(super) fn entry(out: &mut String, indent: usize, key: &str, value: &Piece) {
    let _ = write!(out, "{:indent$}{}:", "", key_text(key));
    below(out, indent, value);
}

/// One `- item` with its line end.
pub(super) fn item(out: &mut String, indent: usize, value: &Piece) {
    match value {
        Piece::Block(entries) if !entries.is_empty() => {
            let mut inner = String::new();
            for (key, value) in entries {
                entry(&mut inner, indent + 2, key, value);
            }
            let _ = write!(out, "{:indent$}- {}", "", inner.trim_start());
        }
        _ => {
            let _ = writeln!(out, "{:indent$}- {}", "", inline(value));
        }
    }
}

/// What follows a key's colon, with its line end.
fn below(out: &mut String, indent: usize, value: &Piece) {
    match value {
        Piece::Block(entries) if !entries.is_empty() => {
            out.push('\n');
            for (key, value) in entries {
                entry(out, indent + 2, key, value);
            }
        }
        Piece::List(items) if !items.is_empty() => {
            out.push('\n');
            for value in items {
                item(out, indent + 2, value);
            }
        }
        _ => {
            let _ = writeln!(out, " {}", inline(value));
        }
    }
}

/// A piece on one line.
pub(super) fn inline(value: &Piece) -> String {
    match value {
        Piece::Word(text) => scalar(text),
        Piece::Text(text) => quote(text),
        Piece::Whole(whole) => whole.to_string(),
        Piece::Number(number) => number.clone(),
        Piece::Flag(flag) => flag.to_string(),
        Piece::Line(entries) | Piece::Block(entries) => {
            let inner: Vec<_> =
                entries.iter().map(|(key, value)| format!("{}: {}", key_text(key), inline(value))).collect();
            format!("{{{}}}", inner.join(", "))
        }
        Piece::List(items) | Piece::Row(items) => {
            format!("[{}]", items.iter().map(inline).collect::<Vec<_>>().join(", "))
        }
    }
}

/// A key: `on` needs no quotes, since manifests are read by YAML 1.2.
pub(super) fn key_text(key: &str) -> String {
    if key == "on" { key.to_owned() } else { scalar(key) }
}

/// A text plain where it reads back as itself, else quoted.
pub(super) fn scalar(text: &str) -> String {
    if is_safe_plain(text) { text.to_owned() } else { quote(text) }
}

/// Whether a text may stand without quotes anywhere, and is text by the core schema when it does.
fn is_safe_plain(text: &str) -> bool {
    let starts = text.starts_with(|c: char| c.is_alphanumeric() || matches!(c, '.' | '-' | '+' | '±'));
    let holds = text.chars().all(|c| {
        c.is_alphanumeric()
            || matches!(c, ' ' | '.' | '-' | '+' | '±' | '/' | '_' | '°' | '·' | '%' | '=' | '(' | ')' | ':')
    });
    let colon = text.contains(": ") || text.ends_with(':') || text.starts_with("- ") || text == "-";
    let spaces = text.contains("  ") || text.ends_with(' ');
    let typed = !bare(Content::Scalar(text.to_owned(), Style::Plain)).to_json().is_string();
    let words_of_old = ["yes", "no", "on", "off", "y", "n"].contains(&text.to_lowercase().as_str());
    starts
        && holds
        && !colon
        && !spaces
        && !typed
        && !words_of_old
        && !text.starts_with("---")
        && !text.starts_with("...")
}

/// A double-quoted YAML scalar: JSON's escapes, and `\u` for what YAML does not print.
fn quote(text: &str) -> String {
    let mut out = String::with_capacity(text.len() + 2);
    out.push('"');
    for c in text.chars() {
        match c {
            '"' => out.push_str("\\\""),
            '\\' => out.push_str("\\\\"),
            '\n' => out.push_str("\\n"),
            '\t' => out.push_str("\\t"),
            '\r' => out.push_str("\\r"),
            c if c.is_control() || matches!(c, '\u{2028}' | '\u{2029}' | '\u{feff}') => {
                let _ = write!(out, "\\u{:04x}", u32::from(c));
            }
            c => out.push(c),
        }
    }
    out.push('"');
    out
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::manifest::yaml::read;
    use proptest::prelude::*;

    #[test]
    fn figures_stand_on_one_line_and_free_text_is_quoted() {
        let text = document(&[
            ("part".to_owned(), Piece::word("h2")),
            ("serial".to_owned(), Piece::text("0417")),
            (
                "states".to_owned(),
                Piece::List(vec![Piece::Block(vec![
                    ("state".to_owned(), Piece::word("a")),
                    (
                        "figures".to_owned(),
                        Piece::Block(vec![(
                            "chamber-volume".to_owned(),
                            Piece::Line(vec![
                                ("measured".to_owned(), Piece::word("48.1 48.0 ±0.2 cc")),
                                ("note".to_owned(), Piece::text("warm: 30 °C")),
                            ]),
                        )]),
                    ),
                ])]),
            ),
        ]);
        assert_eq!(
            text,
            "part: h2\nserial: \"0417\"\nstates:\n  - state: a\n    figures:\n      chamber-volume: {measured: 48.1 48.0 ±0.2 cc, note: \"warm: 30 °C\"}\n"
        );
    }

    #[test]
    fn words_that_yaml_would_type_are_quoted() {
        for word in [
            "true", "12", "1.5", "null", "~", "no", "on", "", "- x", "a: b", "a #b", "x,", "{x}", "*a", "é: ",
        ] {
            assert!(scalar(word).starts_with('"'), "{word}");
        }
        for word in
            ["h2/b", "2026-03-03", "2026-04-12T15:20:00+02:00", "68.0 cc", ".041 in", "12 deg BTDC", "none"]
        {
            assert_eq!(scalar(word), word);
        }
    }

    proptest! {
        #[test]
        fn any_text_reads_back_as_itself(text in "\\PC{0,60}", other in "[ -~\t\n\u{80}-\u{ff}]{0,40}") {
            let entries = [
                ("a".to_owned(), Piece::text(text.clone())),
                ("b".to_owned(), Piece::word(other.clone())),
                ("c".to_owned(), Piece::Line(vec![("d".to_owned(), Piece::word(text.clone()))])),
            ];
            let written = document(&entries);
            let root = read("x.yaml", written.as_bytes()).map_err(|e| TestCaseError::fail(format!("{e}\n{written}")))?;
            prop_assert_eq!(root.get("a").and_then(Node::text), Some(text.as_str()));
            prop_assert_eq!(root.get("b").and_then(Node::text), Some(other.as_str()));
            prop_assert_eq!(root.at(&["c", "d"]).and_then(Node::text), Some(text.as_str()));
        }
    }
}
