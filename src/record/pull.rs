//! A pull: one dyno run, its conditions, what was changed by hand for it, and the hashes of its raw files.

use std::collections::BTreeMap;
use std::fmt;

use crate::record::Answer;
use crate::record::Correction;
use crate::record::Figure;
use crate::record::Moment;

/// Whether a pull counts.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Outcome {
    /// It counts.
    Kept,
    /// It stays in the book and out of the sets, with the reason.
    SetAside(String),
}

impl fmt::Display for Outcome {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Kept => f.write_str("kept"),
            Self::SetAside(why) => write!(f, "set aside ({why})"),
        }
    }
}

/// What correction the file's figures carry.
#[derive(Debug, Clone, PartialEq)]
pub enum Correcting {
    /// None: as observed.
    Observed,
    /// A named standard, with the factor where the file or sheet gives it.
    Standard {
        /// The standard's name (`sae-j1349`).
        name: String,
        /// The factor as written.
        factor: Option<String>,
    },
    /// Known to be unknown, with the reason.
    Unknown(String),
}

impl fmt::Display for Correcting {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Observed => f.write_str("observed"),
            Self::Standard { name, factor: Some(factor) } => write!(f, "{name}, factor {factor}"),
            Self::Standard { name, factor: None } => write!(f, "{name}, factor not given"),
            Self::Unknown(because) => write!(f, "unknown ({because})"),
        }
    }
}

/// A raw file behind a pull: its bytes are found by hash, wherever they are kept.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct RawFile {
    /// The name it came under.
    pub file: String,
    /// SHA-256 of its bytes, 64 hexadecimal digits in lower case.
    pub sha256: String,
    /// How many bytes.
    pub bytes: u64,
    /// The columns record that says what its columns mean; none for photos and other evidence.
    pub columns: Option<String>,
    /// Which segment of the file, from 1, where it holds several pulls.
    pub segment: Option<usize>,
    /// The file of the same record that this one was exported from.
    pub derived_from: Option<String>,
}

/// A doubt recorded when the pull was entered.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct RecordedDoubt {
    /// The finding's code.
    pub code: String,
    /// In plain words.
    pub says: String,
}

/// What a pull changed by hand against its build.
#[derive(Debug, Clone, PartialEq)]
pub enum Change {
    /// A setting or fit.
    Figure(Figure),
    /// A role.
    Role(Answer),
}

/// One dyno run.
#[derive(Debug, Clone, PartialEq)]
pub struct Pull {
    /// `<session>-<order>`, for ever.
    pub id: String,
    /// Its build, once somebody has said which.
    pub build: Option<String>,
    /// Its session.
    pub session: String,
    /// Its place in the session, from 1.
    pub order: u32,
    /// Which time these parts are together.
    pub fit_up: Option<u32>,
    /// The last pull of this engine before it was put together again, for a second or later fit-up.
    pub refit_after: Option<String>,
    /// When it was run.
    pub at: Option<Moment>,
    /// Who ran it.
    pub by: Option<String>,
    /// Whether it counts.
    pub outcome: Outcome,
    /// What it changed against its build, by role or setting; a fit is `pair.name`.
    pub changed: BTreeMap<String, Change>,
    /// Weather, temperatures and the like.
    pub conditions: BTreeMap<String, Figure>,
    /// How it was run.
    pub run: BTreeMap<String, String>,
    /// What correction the file carries.
    pub correction: Option<Correcting>,
    /// Its raw files.
    pub raw: Vec<RawFile>,
    /// How long the log ran, as written by the program from its time channel.
    pub ran: Option<String>,
    /// Its figures were typed in by hand.
    pub typed: bool,
    /// What was doubtful about its files at entry.
    pub doubts: Vec<RecordedDoubt>,
    /// Mended lines.
    pub corrected: Vec<Correction>,
    /// A remark.
    pub note: Option<String>,
}
