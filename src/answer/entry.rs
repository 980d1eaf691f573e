//! What a command that writes has done.

use serde::Serialize;

use crate::answer::ChannelLine;
use crate::answer::GapLine;
use crate::finding::Finding;

/// What was written.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Written {
    /// The commit, short.
    pub commit: String,
    /// The files that it changed.
    pub files: Vec<String>,
    /// What is doubtful about them.
    pub doubts: Vec<Finding>,
    /// What an interrupted command had left, and what became of it.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub recovered: Option<String>,
}

/// A record entered or changed.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Entered {
    /// In one line, what was done.
    pub did: String,
    /// What follows from it, a line each.
    pub notes: Vec<String>,
    /// What was written.
    #[serde(flatten)]
    pub written: Written,
    /// What to do next, in one line.
    pub next: String,
}

/// A file kept beside the table, as it came.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct EvidenceLine {
    /// Its name.
    pub file: String,
    /// SHA-256 of its bytes.
    pub sha256: String,
    /// How many bytes.
    pub bytes: u64,
    /// What it is, as far as its beginning shows.
    pub what: String,
    /// The tables that are recorded as exported from it.
    pub derived: Vec<String>,
}

/// One pull as entered.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct PullLine {
    /// Its id.
    pub pull: String,
    /// Its build, if it has one yet.
    pub build: Option<String>,
    /// Which time its parts are together.
    pub fit_up: Option<u32>,
    /// Its raw file.
    pub file: String,
    /// SHA-256 of the file.
    pub sha256: String,
    /// Which segment of the file, where it holds several.
    pub segment: Option<usize>,
    /// Rows read.
    pub rows: u64,
    /// What "same as last" copied, a line each, to be read and agreed to.
    pub as_last: Vec<String>,
    /// Conditions taken from the file's own lines.
    pub taken: Vec<String>,
    /// Lines of the file that name a condition and could not be taken, and why.
    pub not_taken: Vec<String>,
    /// What is not documented yet.
    pub gaps: Vec<GapLine>,
}

/// What `pull` has entered.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct PullEntered {
    /// The pulls.
    pub pulls: Vec<PullLine>,
    /// What was taken in with them.
    #[serde(flatten)]
    pub taken_in: TakenIn,
}

/// What was taken in with records entered from a table.
#[derive(Debug, Clone, Default, PartialEq, Serialize)]
pub struct TakenIn {
    /// Records that held these bytes already, and were not entered again.
    pub already: Vec<String>,
    /// Files kept beside the table.
    pub evidence: Vec<EvidenceLine>,
    /// The columns record used.
    pub columns: Option<String>,
    /// Whether it was guessed now and kept for reuse.
    pub columns_new: bool,
    /// The channels read.
    pub channels: Vec<ChannelLine>,
    /// Doubts about the files.
    pub doubts: Vec<Finding>,
    /// What was written; none when nothing was.
    pub written: Option<Written>,
    /// What to do next.
    pub next: String,
}
