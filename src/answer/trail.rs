//! The life of a part, build, pull, figure, instrument, columns record or raw file, in order of time.

use serde::Serialize;

/// When something was written down, by whom.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct TrailWritten {
    /// The commit that wrote it.
    pub commit: String,
    /// When, by the commit's own word.
    pub on: String,
    /// Whose commit it is.
    pub by: String,
    /// The first line of its message.
    pub says: String,
    /// Whole days after it was true; none where that is not known.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub days_after: Option<i64>,
}

/// One event.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct TrailEvent {
    /// When it was true, as the record says.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub on: Option<String>,
    /// state, work, figure, doubt, correction, calibration, build, pull, or edit.
    pub what: &'static str,
    /// In words.
    pub says: String,
    /// Who did it or says it.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub by: Option<String>,
    /// The pulls it tells of.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub pulls: Vec<String>,
    /// The record that tells it.
    pub record: String,
    /// When it was written down.
    pub written: TrailWritten,
}

/// A life.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct TrailAnswer {
    /// What it is the life of, as commands name it.
    pub about: String,
    /// part, build, pull, session, figure, instrument, columns or file.
    pub of: &'static str,
    /// What happened, oldest first.
    pub events: Vec<TrailEvent>,
    /// Files with edits that are not kept and would change the answer.
    pub pending: Vec<String>,
    /// The commit that was read.
    pub commit: String,
    /// What to do next.
    pub next: String,
}
