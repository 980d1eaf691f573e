//! Flow sheets entered, and two of them side by side.

use serde::Serialize;

use crate::answer::BarsLine;
use crate::answer::DerivedLine;
use crate::answer::FigureLine;
use crate::answer::GapLine;
use crate::answer::HashCheck;
use crate::answer::Interval;
use crate::answer::Refused;
use crate::answer::SheetLine;
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
    /// What "same as last" copied, a line each, to be read and agreed to.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub as_last: Vec<String>,
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

/// Flow of two sheets at one lift, brought to one test pressure.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct FlowBrought {
    /// Valve lift in mm.
    pub lift_mm: f64,
    /// The base sheet.
    pub base: Option<Interval>,
    /// The test sheet.
    pub test: Option<Interval>,
    /// Test less base; what both share has cancelled.
    pub difference: Option<Interval>,
}

/// What a flow sheet means at one lift.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct FlowLift {
    /// Valve lift in mm.
    pub lift_mm: f64,
    /// Its derived figures.
    pub figures: Vec<FigureLine>,
}

/// What a flow sheet means.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct FlowMeaning {
    /// By lift.
    pub lifts: Vec<FlowLift>,
    /// Means over all of its lifts.
    pub means: Vec<FigureLine>,
    /// Missing inputs of derived figures.
    pub bars: Vec<BarsLine>,
}

/// A flow sheet laid out.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct FlowSheetAnswer {
    /// Its tag.
    pub flow: String,
    /// The part with its state.
    pub part: String,
    /// `inlet` or `exhaust`.
    pub side: &'static str,
    /// Which port.
    pub port: Option<String>,
    /// What else was on the bench.
    pub with_part: Vec<String>,
    /// The bench.
    pub bench: Option<String>,
    /// The day.
    pub on: String,
    /// Who flowed it.
    pub by: String,
    /// Its conditions.
    pub conditions: Vec<SheetLine>,
    /// The test pressure that derived flows are brought to, as a person writes it.
    pub brought_to: Option<String>,
    /// What its readings mean; none where it has none.
    pub meaning: Option<FlowMeaning>,
    /// Why its readings mean nothing, where they do not.
    pub no_readings: Option<String>,
    /// Exhaust to inlet with the sheets of the other side of the same part in the same state.
    pub ratios: Vec<FigureLine>,
    /// Doubts recorded when it was entered, a line each.
    pub doubts: Vec<String>,
    /// Files with pending edits that would change the answer.
    pub pending: Vec<String>,
    /// The commit that was answered from.
    pub commit: String,
    /// What to do next.
    pub next: String,
}

impl FlowSheetAnswer {
    /// Whether a file that shows a condition does not hash to its name.
    pub fn is_damaged(&self) -> bool {
        self.conditions.iter().flat_map(|line| &line.files).any(|file| file.check == HashCheck::Damaged)
    }
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
    /// The test pressure that derived flows of both are brought to, as a person writes it.
    pub brought_to: Option<String>,
    /// Flow at that pressure by lift, less leakage and by the plate.
    pub brought: Vec<FlowBrought>,
    /// Means over the lifts that both sheets have.
    pub derived: Vec<DerivedLine>,
    /// Missing inputs of derived figures.
    pub bars: Vec<BarsLine>,
    /// Doubts recorded when the sheets were entered, a line each.
    pub doubts: Vec<String>,
    /// Files with pending edits that would change the answer.
    pub pending: Vec<String>,
    /// The commit that was answered from.
    pub commit: String,
    /// What to do next.
    pub next: String,
}
