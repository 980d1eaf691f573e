//! Whether the book still holds what it says.

use serde::Serialize;

use crate::finding::Finding;

/// What an audit read and found.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct AuditAnswer {
    /// Commits read.
    pub commits: usize,
    /// Git objects read and hashed.
    pub objects: usize,
    /// Raw files hashed.
    pub raw_files: usize,
    /// Bytes of raw files hashed.
    pub raw_bytes: u64,
    /// Records checked against schema, form and references.
    pub records: usize,
    /// What does not hold.
    pub damage: Vec<Finding>,
    /// What is doubtful or worth knowing.
    pub doubts: Vec<Finding>,
    /// What rests on each damaged file.
    pub touched: Vec<TouchedLine>,
    /// Raw files that this copy of the book does not have.
    pub not_here: Vec<String>,
    /// The commit that was audited.
    pub commit: String,
    /// What to do next.
    pub next: String,
}

/// What rests on a damaged file.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct TouchedLine {
    /// The file or folder, as the last commit names it.
    pub file: String,
    /// Pulls.
    pub pulls: Vec<String>,
    /// Builds.
    pub builds: Vec<String>,
    /// Flow sheets.
    pub flow: Vec<String>,
    /// Claims.
    pub claims: Vec<String>,
    /// Figures that it shows: they stand, and what shows them is damaged.
    pub figures: Vec<String>,
    /// Whether everything in the book rests on it.
    pub whole_book: bool,
}
