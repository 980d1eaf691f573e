//! A build: one engine configuration, part and state for each role, with its settings and fits.

use std::collections::BTreeMap;
use std::fmt;

use crate::record::Figure;
use crate::record::Moment;

/// A part in one of its states, written `h2/b`.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord)]
pub struct PartState {
    /// The part's tag.
    pub tag: String,
    /// The state's letter.
    pub letter: String,
}

impl PartState {
    /// Reads `h2/b`.
    pub fn parse(text: &str) -> Option<Self> {
        let (tag, letter) = text.split_once('/')?;
        (is_tag(tag) && is_tag(letter)).then(|| Self { tag: tag.to_owned(), letter: letter.to_owned() })
    }
}

impl fmt::Display for PartState {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}/{}", self.tag, self.letter)
    }
}

/// Whether a text may name a record: letters, digits, `.`, `_` and `-`, starting with a letter or digit, 64 at most.
pub fn is_tag(text: &str) -> bool {
    !text.is_empty()
        && text.len() <= 64
        && text.starts_with(|c: char| c.is_ascii_alphanumeric())
        && text.chars().all(|c| c.is_ascii_alphanumeric() || matches!(c, '.' | '_' | '-'))
        && !text.ends_with('.')
}

/// What fills a role.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Answer {
    /// Nothing is there, and somebody says so.
    Nothing,
    /// A part in a state.
    Part(PartState),
    /// Known to be unknown, with the reason.
    Unknown(String),
}

impl fmt::Display for Answer {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Nothing => f.write_str("none"),
            Self::Part(part) => part.fmt(f),
            Self::Unknown(because) => write!(f, "unknown ({because})"),
        }
    }
}

/// A line that mends a record; what it mends stays in place and visible.
#[derive(Debug, Clone, PartialEq)]
pub struct Correction {
    /// The role, setting, condition or field that was wrong.
    pub set: String,
    /// What is right.
    pub to: Corrected,
    /// What stood before, as text, `nothing` where nothing did.
    pub was: String,
    /// Why.
    pub because: String,
    /// Who says so.
    pub by: String,
    /// When it was corrected.
    pub on: Moment,
}

/// What a correction puts in place.
#[derive(Debug, Clone, PartialEq)]
pub enum Corrected {
    /// Another answer for a role.
    Role(Answer),
    /// Another figure for a setting, fit or condition.
    Figure(Figure),
    /// Another plain value for a field of the record.
    Text(String),
}

/// One engine configuration.
#[derive(Debug, Clone, PartialEq)]
pub struct Build {
    /// Its name.
    pub name: String,
    /// The tag of its engine.
    pub engine: String,
    /// From when it was together.
    pub since: Moment,
    /// Who put it together.
    pub by: Option<String>,
    /// The build it was written from.
    pub from: Option<String>,
    /// The answers by role, as written.
    pub parts: BTreeMap<String, Answer>,
    /// What is turned by hand, as set up at the start.
    pub settings: BTreeMap<String, Figure>,
    /// How neighbours fit, by pair and name.
    pub fits: BTreeMap<String, BTreeMap<String, Figure>>,
    /// Off and on again, with nothing else changed.
    pub refit: bool,
    /// Mended lines.
    pub corrected: Vec<Correction>,
    /// A remark.
    pub note: Option<String>,
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_part_needs_its_state() {
        assert_eq!(PartState::parse("h2/b").map(|p| p.to_string()), Some("h2/b".to_owned()));
        for bad in ["h2", "/b", "h2/", "h2/b/c", "../b", "h 2/b", "h2 /b"] {
            assert_eq!(PartState::parse(bad), None, "{bad}");
        }
    }
}
