//! As known on a date.

use serde::Serialize;

/// The day that an answer speaks of, and the commit that this led to.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct KnownLine {
    /// The day that was asked for; it ends at midnight in the book's zone.
    pub on: String,
    /// The commit, in full.
    pub commit: String,
    /// When it was committed, by its own word.
    pub committed: String,
}
