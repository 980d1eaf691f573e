//! A table as it left the book.

use serde::Serialize;

/// What `table` has written.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct TableAnswer {
    /// What it is of: `pull` or `flow sheet`.
    pub kind: &'static str,
    /// The record's id or tag.
    pub record: String,
    /// The table's file.
    pub csv: String,
    /// The file that says what its columns mean (W3C, Metadata Vocabulary for Tabular Data).
    pub metadata: String,
    /// Rows written.
    pub rows: u64,
    /// The columns, with their units.
    pub columns: Vec<String>,
}
