//! What to bolt on to repeat a build, and what a substitute must match.

use serde::Serialize;

use crate::answer::SheetLine;

/// Whether what filled a role can fill it again.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum RepeatStatus {
    /// It is in the shop, in the state it was in.
    Here,
    /// It has been worked on since: the state is gone.
    Reworked,
    /// Sold, lent out, thrown away or used up.
    Gone,
    /// Nothing was there.
    LeaveOff,
    /// Nobody knows what was there.
    Unknown,
    /// Nobody wrote down what was there.
    Undocumented,
}

/// One role in the order of assembly.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct RepeatLine {
    /// The role.
    pub role: String,
    /// The trade's name.
    pub title: String,
    /// The part in its state, where one filled the role.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub part: Option<String>,
    /// Whether it can fill the role again.
    pub status: RepeatStatus,
    /// The same in words.
    pub says: String,
    /// It counts as the same only as this very one, or of the same batch.
    pub by_instance: bool,
    /// What a substitute must match, where the part cannot be had as it was.
    pub must_match: Vec<SheetLine>,
}

/// The calibration that held while an instrument was used.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct InstrumentUse {
    /// First day of use.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub from: Option<String>,
    /// Last day of use.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub to: Option<String>,
    /// The calibration in words; none where none is on record for that day.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub calibration: Option<String>,
    /// The calibration had run out by the last day of use.
    pub past_due: bool,
    /// What was read with it, as commands name it.
    pub items: Vec<String>,
}

/// An instrument behind the figures of a sheet.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct SheetInstrument {
    /// Its tag.
    pub instrument: String,
    /// What it is; none where it has no record.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub what: Option<String>,
    /// Serial number.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub serial: Option<String>,
    /// Its stated uncertainties, as written, with what each covers.
    pub uncertainty: Vec<String>,
    /// Its uses, by the calibration that held.
    pub uses: Vec<InstrumentUse>,
}

/// One item that is known otherwise now than on the day asked for.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct LearnedLine {
    /// What it is, as commands name it.
    pub item: String,
    /// The trade's name.
    pub title: String,
    /// What was known then; none where it was not on the sheet.
    pub then: Option<SheetLine>,
    /// What is known now; none where it is not on the sheet any more.
    pub now: Option<SheetLine>,
}

/// A derived figure, or another line of the record, that reads otherwise now.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct LearnedWords {
    /// What it is.
    pub title: String,
    /// What stood there then.
    pub then: Option<String>,
    /// What stands there now.
    pub now: Option<String>,
}

/// What has been learned since the day asked for.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Learned {
    /// The commit that was known then.
    pub then: String,
    /// The commit that stands now.
    pub now: String,
    /// Items of the record.
    pub items: Vec<LearnedLine>,
    /// The record's own lines: build, outcome, correction, pulls, parts.
    pub record: Vec<LearnedWords>,
    /// Derived figures.
    pub derived: Vec<LearnedWords>,
}
