//! What a raw file seems to hold: the outcome of sniffing it.

use crate::finding::Finding;
use crate::raw::summary::Summary;
use crate::record::channel::ChannelQuantity;
use crate::record::columns::Column;
use crate::record::columns::Columns;
use crate::record::columns::FileFormat;
use crate::record::columns::Layout;
use crate::record::columns::SegmentRule;
use crate::record::columns::TimeForm;

/// What a raw file seems to hold.
///
/// While [`Guess::questions`] is not empty, two readings are possible and nothing may be entered: the caller asks, or
/// takes a columns record.
#[derive(Debug, Clone, PartialEq)]
#[must_use = "its questions must be answered before anything is entered"]
pub struct Guess {
    /// The format.
    pub format: FileFormat,
    /// How the bytes are laid out.
    pub layout: Layout,
    /// One guess per column of the table, in its order.
    pub columns: Vec<ColumnGuess>,
    /// Where two readings are possible.
    pub questions: Vec<Question>,
    /// What looks wrong, read as guessed.
    pub doubts: Vec<Finding>,
    /// Lines above the table, offered as conditions.
    pub preamble: Vec<PreambleLine>,
}

/// What one column seems to hold.
#[derive(Debug, Clone, PartialEq)]
pub struct ColumnGuess {
    /// The header as it stands in the file; `None` where there is none.
    pub header: Option<String>,
    /// The place in the table, counted from 1.
    pub position: usize,
    /// The channel's name: the header without its unit.
    pub name: String,
    /// What it seems to measure.
    pub quantity: ChannelQuantity,
    /// The unit, where the file says it or the checks show it.
    pub unit: Option<String>,
    /// How time is written, for a time channel.
    pub time: Option<TimeForm>,
    /// Observed or corrected, where the header says so.
    pub basis: Option<String>,
    /// The fuel that an air-fuel ratio speaks of, where the header says so.
    pub fuel: Option<String>,
    /// Why this quantity and unit, in plain words.
    pub why: String,
    /// Whether the column repeats an earlier one's header.
    pub repeated: bool,
}

/// A place where two readings are possible.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Question {
    /// A short stable name in kebab case (`decimal-or-thousands`).
    pub code: &'static str,
    /// The question in plain words, with an example from the file and its line.
    pub says: String,
    /// The readings, each with what the columns record would say.
    pub choices: Vec<Choice>,
}

/// One reading of several.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Choice {
    /// The word to answer with (`decimal=comma`).
    pub word: String,
    /// What the example would then mean.
    pub means: String,
}

/// One line above the table.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct PreambleLine {
    /// Line, counted from 1.
    pub line: u64,
    /// What stands before the colon, equals sign or delimiter; empty for free text.
    pub key: String,
    /// What stands after it, or the whole line.
    pub value: String,
}

impl Guess {
    /// Whether what was read shows several pulls where the sample showed one: they are parted from now on, and the
    /// file is to be read again.
    pub fn parts_what_restarts(&mut self, read: &Summary) -> bool {
        let parts = read.restarts && self.layout.segments == SegmentRule::Off;
        if parts {
            self.layout.segments = SegmentRule::TimeRestarts;
        }
        parts
    }

    /// The columns record that says what was guessed, under a name; open questions are answered as guessed first.
    pub fn into_columns(self, name: impl Into<String>) -> Columns {
        let channels = self
            .columns
            .into_iter()
            .map(|guess| Column {
                // A header seldom moves, a place often does; the place tells repeated headers apart.
                position: (guess.header.is_none() || guess.repeated).then_some(guess.position),
                header: guess.header,
                name: guess.name,
                quantity: guess.quantity,
                unit: guess.unit,
                reversed: false,
                scale: 1.0,
                time: guess.time,
                basis: guess.basis,
                fuel: guess.fuel,
                instrument: None,
            })
            .collect();
        Columns { name: name.into(), layout: self.layout, channels, note: None }
    }
}
