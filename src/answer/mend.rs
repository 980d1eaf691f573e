//! What was put right in a damaged book.

use serde::Serialize;

use crate::answer::TouchedLine;
use crate::finding::Finding;

/// What `mend` has done, and what it could not do.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct MendAnswer {
    /// What was put right.
    pub mended: Vec<MendedLine>,
    /// What an interrupted command had left, and what became of it.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub recovered: Option<String>,
    /// What interrupted commands left lying about.
    pub litter: Vec<LitterLine>,
    /// What still does not hold.
    pub damage: Vec<Finding>,
    /// What rests on each file that is still damaged.
    pub touched: Vec<TouchedLine>,
    /// What was left as it is, and why.
    pub left: Vec<String>,
    /// Something was left because the disk failed, which is no state of the book: run again, it may be done.
    #[serde(skip)]
    pub disk_failed: bool,
    /// The commit that the book stands on.
    pub commit: String,
    /// What to do next.
    pub next: String,
}

/// One thing that was put right.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct MendedLine {
    /// Path inside the book, or the name of a reference or git object.
    pub path: String,
    /// What it is.
    pub what: String,
    /// Where it came from.
    pub from: String,
    /// Where what stood there before is now.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub aside: Option<String>,
}

/// One thing that an interrupted command left lying about.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct LitterLine {
    /// Path inside the book.
    pub path: String,
    /// What it is.
    pub what: String,
    /// Its length in bytes.
    pub bytes: u64,
    /// Whether it was removed just now.
    pub cleaned: bool,
    /// Why it stays.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub stays: Option<String>,
}
