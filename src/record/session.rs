//! The place and the sitting: cells, sessions, instruments, people, and the book's own page.

use std::collections::BTreeMap;

use chrono::NaiveDate;

use crate::record::Doubted;
use crate::record::Figure;
use crate::record::Moment;

/// One sitting in a cell.
#[derive(Debug, Clone, PartialEq)]
pub struct Session {
    /// Its tag (`0412a`).
    pub tag: String,
    /// Its cell.
    pub cell: String,
    /// The day.
    pub on: Moment,
    /// Who ran it.
    pub by: Option<String>,
    /// The engine.
    pub engine: Option<String>,
    /// Fields of the sitting (warm-up, first baseline, zero before and after), as written.
    pub fields: BTreeMap<String, String>,
    /// Figures of the sitting (zero before and after).
    pub figures: BTreeMap<String, Figure>,
    /// Marks that what was read in it proved doubtful.
    pub doubted: Vec<Doubted>,
    /// Order numbers that have no pull, with the reason.
    pub skipped: BTreeMap<u32, String>,
    /// Runs that a console counted and that have no pull, as their files would be called, with the reason.
    pub skipped_runs: BTreeMap<String, String>,
    /// A remark.
    pub note: Option<String>,
}

/// A test cell.
#[derive(Debug, Clone, PartialEq)]
pub struct Cell {
    /// Its tag.
    pub tag: String,
    /// What is known of it.
    pub figures: BTreeMap<String, Figure>,
    /// The instruments fitted in it, by the condition or channel that each reads.
    pub instruments: BTreeMap<String, String>,
    /// A remark.
    pub note: Option<String>,
}

/// What an instrument's uncertainty covers, so that what two sides share can cancel.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Scope {
    /// Drawn anew with each reading.
    Reading,
    /// The same for a whole session.
    Session,
    /// The same from one calibration to the next.
    Calibration,
}

impl Scope {
    /// Its word in a manifest.
    pub fn word(self) -> &'static str {
        match self {
            Self::Reading => "reading",
            Self::Session => "session",
            Self::Calibration => "calibration",
        }
    }
}

/// One stated uncertainty of an instrument.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct StatedUncertainty {
    /// The quantity's kind (`volume`).
    pub of: String,
    /// As written (`±0.2 cc`).
    pub is: String,
    /// What it covers.
    pub scope: Scope,
}

/// One calibration of an instrument.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Calibration {
    /// When.
    pub on: Moment,
    /// By whom.
    pub by: String,
    /// Until when it holds.
    pub due: Option<Moment>,
    /// Its certificate.
    pub certificate: Option<String>,
}

/// An instrument.
#[derive(Debug, Clone, PartialEq)]
pub struct Instrument {
    /// Its tag.
    pub tag: String,
    /// What it is.
    pub what: String,
    /// Serial number, as text.
    pub serial: Option<String>,
    /// Its stated uncertainties.
    pub uncertainty: Vec<StatedUncertainty>,
    /// Its calibrations, oldest first.
    pub calibrations: Vec<Calibration>,
    /// Times in which its readings proved doubtful.
    pub doubted: Vec<Doubted>,
    /// A remark.
    pub note: Option<String>,
}

impl Instrument {
    /// The calibration that held on a day: the newest at or before it.
    pub fn calibration_on(&self, when: &Moment) -> Option<&Calibration> {
        self.calibrations.iter().rfind(|calibration| !calibration.on.is_after(when))
    }
}

/// Somebody who enters things.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Person {
    /// Initials or short name, as in `by: mk`.
    pub tag: String,
    /// Full name.
    pub name: String,
    /// Where to reach them; used as the commit's address.
    pub email: Option<String>,
}

/// The book's own page.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct BookPage {
    /// Version of the book's form.
    pub format: u32,
    /// Its name.
    pub name: String,
    /// The zone in which its days begin and end, as offset from UTC in seconds.
    pub zone_seconds: i32,
    /// The correction that comparisons are brought to.
    pub correction: Option<String>,
    /// Raw files up to this many bytes are kept in git.
    pub raw_limit: u64,
    /// Preferred units by quantity kind.
    pub units: BTreeMap<String, String>,
    /// Further fields that a comparison demands.
    pub demands: Vec<String>,
    /// The people whose commits are signed, with their keys.
    pub signers: Vec<BookSigner>,
}

/// Somebody whose commits are signed.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct BookSigner {
    /// The person.
    pub who: String,
    /// The public key as one line, kind and base64.
    pub key: String,
    /// From this day on.
    pub from: Option<Moment>,
    /// Up to this day, which still counts.
    pub until: Option<Moment>,
}

impl BookSigner {
    /// Whether the key is in force on a day.
    pub fn holds_on(&self, day: NaiveDate) -> bool {
        self.from.as_ref().is_none_or(|from| from.day() <= day)
            && self.until.as_ref().is_none_or(|until| day <= until.day())
    }
}
