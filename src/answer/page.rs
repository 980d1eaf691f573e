//! A page that was written.

use serde::Serialize;

use crate::answer::KnownLine;

/// A page that was written for the browser and for paper.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct PageAnswer {
    /// What it shows: `sheet`, `diff`, `weigh`, `combos`, `flow-sheet`, `flow-diff`, `trail`, `claim`, `booklet`, `form`,
    /// or `refusal`.
    pub shows: &'static str,
    /// The file, as it was asked for.
    pub file: String,
    /// Its size.
    pub bytes: u64,
    /// The commit that was answered from.
    pub commit: String,
    /// SHA-256 of the JSON answer that the page shows; its foot names the command that gives it.
    pub sha256: String,
    /// What to do next.
    pub next: String,
}

/// What a page is of: its running head says so, and its foot says how to get the same again.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct PageMark {
    /// The book's name.
    pub book: String,
    /// What the page is of, in a few words.
    pub about: String,
    /// The commit that was answered from.
    pub commit: String,
    /// SHA-256 of the JSON answer that the page shows.
    pub sha256: String,
    /// The command that gives that answer.
    pub command: String,
    /// Files with pending edits that would change it.
    pub pending: Vec<String>,
    /// The day that it speaks of, where it was asked as known on one.
    pub known: Option<KnownLine>,
}
