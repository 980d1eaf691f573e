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
    /// Raw files that this copy of the book does not have.
    pub not_here: Vec<String>,
    /// The commit that was audited.
    pub commit: String,
    /// What to do next.
    pub next: String,
}
