//! What reading a raw file gives: batches of numbers while it runs, and a summary at its end.

use crate::finding::Finding;
use crate::raw::guess::PreambleLine;
use crate::record::channel::ChannelQuantity;

/// A run of rows of one segment, column by column.
///
/// Numbers are in the columns record's unit, after its sign and scale; nothing is converted. Time written as epoch,
/// clock or date is in seconds from the file's first time. A missing value is NaN here and never shown as a number.
#[derive(Debug, Clone, Copy)]
pub struct Batch<'a> {
    /// The segment, counted from 1.
    pub segment: usize,
    /// The line of each row, counted from 1.
    pub lines: &'a [u64],
    /// The numbers of each channel, in the order of the columns record.
    pub columns: &'a [&'a [f64]],
}

impl Batch<'_> {
    /// How many rows it holds.
    pub fn rows(&self) -> usize {
        self.lines.len()
    }
}

/// What was read.
#[derive(Debug, Clone, PartialEq)]
pub struct Summary {
    /// Rows of numbers.
    pub rows: u64,
    /// The segments, in the file's order; a file of one pull has one.
    pub segments: Vec<Segment>,
    /// The channels, in the order of the columns record.
    pub channels: Vec<ChannelSummary>,
    /// What looks wrong.
    pub doubts: Vec<Finding>,
    /// Lines above the table.
    pub preamble: Vec<PreambleLine>,
    /// Lines after the last row, and rows of means or maxima.
    pub footer: Vec<PreambleLine>,
    /// The first time, as the file writes it, where time counts from it.
    pub time_zero: Option<String>,
    /// Time begins again, though nothing in the columns record parts pulls.
    pub restarts: bool,
}

/// One pull's part of a file.
#[derive(Debug, Clone, PartialEq)]
pub struct Segment {
    /// The segment, counted from 1.
    pub number: usize,
    /// The line of its first row.
    pub first_line: u64,
    /// The line of its last row.
    pub last_line: u64,
    /// How many rows.
    pub rows: u64,
    /// Least and greatest time, where there is a time channel with values.
    pub time: Option<(f64, f64)>,
    /// Least and greatest speed, where there is a speed channel with values.
    pub speed: Option<(f64, f64)>,
    /// Lines that stand above its rows, in the middle of the file.
    pub heading: Vec<PreambleLine>,
}

/// One channel over the whole file.
#[derive(Debug, Clone, PartialEq)]
pub struct ChannelSummary {
    /// The channel's name.
    pub name: String,
    /// What it measures.
    pub quantity: ChannelQuantity,
    /// The unit as the columns record writes it.
    pub unit: Option<String>,
    /// Rows with a value.
    pub count: u64,
    /// Rows without one.
    pub missing: u64,
    /// Least value.
    pub min: Option<f64>,
    /// Greatest value.
    pub max: Option<f64>,
    /// Mean of the values.
    pub mean: Option<f64>,
    /// First value.
    pub first: Option<f64>,
    /// Last value.
    pub last: Option<f64>,
}
