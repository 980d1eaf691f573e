//! A flow sheet: one flow-bench test of one port, its conditions, and flow at each lift.

use std::collections::BTreeMap;
use std::fmt;

use crate::quantity::Reading;
use crate::record::Correction;
use crate::record::Figure;
use crate::record::Moment;
use crate::record::PartState;
use crate::record::RawFile;
use crate::record::RecordedDoubt;

/// Which side of an engine a port is on.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum PortSide {
    /// Air in.
    Inlet,
    /// Gas out.
    Exhaust,
}

impl PortSide {
    /// The side's word in a manifest.
    pub fn word(self) -> &'static str {
        match self {
            Self::Inlet => "inlet",
            Self::Exhaust => "exhaust",
        }
    }

    /// The side that a word of the trade names, if any.
    pub fn from_word(word: &str) -> Option<Self> {
        match word.to_lowercase().as_str() {
            "inlet" | "in" | "intake" | "int" => Some(Self::Inlet),
            "exhaust" | "ex" | "exh" => Some(Self::Exhaust),
            _ => None,
        }
    }
}

impl fmt::Display for PortSide {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.word())
    }
}

/// One reading of a sheet that has no file behind it.
#[derive(Debug, Clone, PartialEq)]
pub struct LiftPoint {
    /// Valve lift.
    pub lift: Reading,
    /// Flow as read.
    pub flow: Reading,
    /// Pressure across the port, where it differs from the sheet's.
    pub test_pressure: Option<Reading>,
}

/// One flow-bench test of one port, as corrected.
///
/// What a correction mends is mended here already; what stood before is told by [`FlowSheet::corrected`].
#[derive(Debug, Clone, PartialEq)]
pub struct FlowSheet {
    /// Its short tag.
    pub tag: String,
    /// What was on the bench.
    pub part: PartState,
    /// Other parts in front of it or behind it.
    pub with_part: Vec<PartState>,
    /// Which side was flowed.
    pub side: PortSide,
    /// Which port, as numbered on the engine.
    pub port: Option<String>,
    /// Of which cylinder, where the port's number does not tell it.
    pub cylinder: Option<String>,
    /// The bench, an instrument.
    pub bench: Option<String>,
    /// The day.
    pub on: Moment,
    /// Who flowed it.
    pub by: String,
    /// The time, where it was noted.
    pub at: Option<Moment>,
    /// Test pressure, fixture, entry and the like.
    pub conditions: BTreeMap<String, Figure>,
    /// Those of them that were corrected, as they were first entered.
    pub first_conditions: BTreeMap<String, Figure>,
    /// Flow at each lift, for a sheet without a file.
    pub lifts: Vec<LiftPoint>,
    /// The channel of the file that holds this port's flow, where it holds several.
    pub channel: Option<String>,
    /// Its raw files.
    pub raw: Vec<RawFile>,
    /// Its figures were typed in by hand.
    pub typed: bool,
    /// What was doubtful about its files at entry.
    pub doubts: Vec<RecordedDoubt>,
    /// Mended lines, the oldest first.
    pub corrected: Vec<Correction>,
    /// A remark.
    pub note: Option<String>,
}

impl FlowSheet {
    /// The moment for which its figures are asked.
    pub fn moment(&self) -> &Moment {
        self.at.as_ref().unwrap_or(&self.on)
    }

    /// Why a field was corrected, if it was: `part`, `port`, `side`, `bench`, `on`, `conditions.leakage`.
    pub fn correction_of(&self, field: &str) -> Option<&str> {
        self.corrected.iter().rev().find(|mended| mended.set == field).map(|mended| mended.because.as_str())
    }
}
