//! Flow sheets entered, and two of them side by side.

use serde::Serialize;

use crate::answer::GapLine;
use crate::answer::Refused;
use crate::answer::SideLine;
use crate::answer::TakenIn;

/// Flow at one lift.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct FlowPoint {
    /// Valve lift in mm.
    pub lift_mm: f64,
    /// Flow as read, in the sheet's unit.
    pub flow: f64,
}

/// One flow sheet as entered.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct FlowLine {
    /// Its tag.
    pub flow: String,
    /// The part with its state.
    pub part: String,
    /// `inlet` or `exhaust`.
    pub side: &'static str,
    /// Which port.
    pub port: Option<String>,
    /// Of which cylinder, where it is said.
    pub cylinder: Option<String>,
    /// Its raw file.
    pub file: String,
    /// SHA-256 of the file.
    pub sha256: String,
    /// Which segment of the file, where it holds several.
    pub segment: Option<usize>,
    /// Which channel holds its flow, where the file holds several.
    pub channel: Option<String>,
    /// Unit of the flow.
    pub flow_unit: String,
    /// Flow at each lift, in the file's order.
    pub points: Vec<FlowPoint>,
    /// Conditions taken from the file's own lines.
    pub taken: Vec<String>,
    /// Lines of the file that name a condition and could not be taken, and why.
    pub not_taken: Vec<String>,
    /// What is not documented yet.
    pub gaps: Vec<GapLine>,
}

/// What `flow` has entered.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct FlowEntered {
    /// The sheets.
    pub sheets: Vec<FlowLine>,
    /// What was taken in with them.
    #[serde(flatten)]
    pub taken_in: TakenIn,
}

/// The answer of `diff` for two flow sheets.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[serde(tag = "outcome", rename_all = "lowercase")]
pub enum FlowDiffAnswer {
    /// The two were compared.
    Compared(Box<FlowCompared>),
    /// They may not be.
    Refused(Refused),
}

/// A condition that differs.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct FlowChangeLine {
    /// What differs.
    pub item: String,
    /// The trade's name.
    pub title: String,
    /// The base sheet.
    pub base: SideLine,
    /// The test sheet.
    pub test: SideLine,
}

/// One lift of two sheets.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct FlowRow {
    /// Valve lift in mm.
    pub lift_mm: f64,
    /// Flow on the base sheet; the mean where a lift was read more than once.
    pub base: Option<f64>,
    /// Flow on the test sheet.
    pub test: Option<f64>,
}

/// Two flow sheets that may be compared.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct FlowCompared {
    /// The base sheet.
    pub base: String,
    /// The test sheet.
    pub test: String,
    /// What differs, in a sentence.
    pub headline: String,
    /// What nobody knows, a line each, to be read first.
    pub open: Vec<String>,
    /// What differs.
    pub changes: Vec<FlowChangeLine>,
    /// Unit of the flows.
    pub flow_unit: String,
    /// Flow by lift.
    pub rows: Vec<FlowRow>,
    /// Why there are none, or why some lifts are left out.
    pub no_rows: Option<String>,
    /// Doubts recorded when the sheets were entered, a line each.
    pub doubts: Vec<String>,
    /// Files with pending edits that would change the answer.
    pub pending: Vec<String>,
    /// The commit that was answered from.
    pub commit: String,
    /// What to do next.
    pub next: String,
}
