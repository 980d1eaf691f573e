//! A page that was written.

use serde::Serialize;

/// A page that was written for the browser and for paper.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct PageAnswer {
    /// What it shows: `sheet` or `diff`.
    pub shows: &'static str,
    /// The file, as it was asked for.
    pub file: String,
    /// Its size.
    pub bytes: u64,
    /// The commit that was answered from.
    pub commit: String,
    /// What to do next.
    pub next: String,
}
