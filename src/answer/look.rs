//! What would be read from a raw file.

use serde::Serialize;

use crate::finding::Finding;

/// One channel.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct ChannelLine {
    /// The channel's name.
    pub name: String,
    /// What it measures.
    pub quantity: String,
    /// Its unit; none where nobody knows.
    pub unit: Option<String>,
    /// Rows with a value.
    pub count: u64,
    /// Rows without.
    pub missing: u64,
    /// Least value.
    pub min: Option<f64>,
    /// Greatest value.
    pub max: Option<f64>,
    /// Why this quantity and unit, where they were guessed.
    pub why: Option<String>,
}

/// One segment.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct SegmentLine {
    /// Its number, from 1.
    pub number: usize,
    /// Its first line in the file.
    pub first_line: u64,
    /// Its last line.
    pub last_line: u64,
    /// Its rows.
    pub rows: u64,
}

/// What would be read from a raw file; nothing was entered.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct LookAnswer {
    /// The file's name.
    pub file: String,
    /// Its format and layout in words.
    pub layout: Vec<String>,
    /// The columns record that was followed; none where it was guessed.
    pub columns: Option<String>,
    /// Its channels.
    pub channels: Vec<ChannelLine>,
    /// Its segments.
    pub segments: Vec<SegmentLine>,
    /// Rows read.
    pub rows: u64,
    /// Lines above the table, as `line: text`, with the condition that each would be taken as.
    pub preamble: Vec<String>,
    /// Where two readings are possible.
    pub questions: Vec<String>,
    /// What looks wrong.
    pub doubts: Vec<Finding>,
    /// What the small plot shows, with its units.
    pub plot_of: String,
    /// Its points, across and up: speed and torque of the sweep found, or lift and flow.
    pub plot: Vec<(f64, f64)>,
    /// What to do next.
    pub next: String,
}
