//! One input of a relation as the records state it: which figure stands for it, how it is known, how far it may be off.

use crate::derive::budget::Off;
use crate::statistics::budget::Budgeted;

/// How well an input is known; the later, the worse.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Grade {
    /// Measured here.
    Measured,
    /// Worked out from other figures.
    Calculated,
    /// Somebody else's figure.
    Listed,
    /// Taken to be so.
    Assumed,
}

impl Grade {
    /// Its word in a manifest.
    pub fn word(self) -> &'static str {
        match self {
            Self::Measured => "measured",
            Self::Calculated => "calculated",
            Self::Listed => "listed",
            Self::Assumed => "assumed",
        }
    }
}

/// An input that stands.
#[derive(Debug, Clone, PartialEq)]
pub struct Input {
    /// What it means to the relations (`chamber-volume`).
    pub means: String,
    /// How commands name it: `cylinder-head.chamber-volume`, `installed-centreline`, `conditions.humidity`.
    pub path: String,
    /// The trade's name.
    pub title: String,
    /// Where it stands: `h2/b`, a build, a pull.
    pub at: String,
    /// The value as written.
    pub text: String,
    /// How well it is known.
    pub grade: Grade,
    /// Half the last digit is all that speaks for its uncertainty.
    pub last_digit: bool,
    /// Nobody says with what it was measured, though its schema asks.
    pub no_instrument: bool,
    /// The channel of a raw file that it stands for, whose instrument nobody named: its own error is not known.
    pub unknown_error: Option<String>,
    /// Under which circumstance it holds, where the entry says: `0.006 in`, `cold`.
    pub circumstance: Option<String>,
    /// Which entry it is, so that the same reading on two sides is known as one.
    pub identity: String,
    /// Its values in SI; at least one.
    pub(super) values: Vec<f64>,
    /// One value for each of these.
    pub(super) each: Option<String>,
    /// How far its values may be off.
    pub(super) off: Off,
}

impl Input {
    /// An input that another record's figure gives: `place` is how commands name it, its title, and where it stands.
    pub(super) fn worked_out(
        means: &str,
        place: (String, String, String),
        text: String,
        grade: Grade,
        value: &Budgeted,
    ) -> Self {
        let (path, title, at) = place;
        Self {
            means: means.to_owned(),
            identity: format!("{at} {means}"),
            path,
            title,
            at,
            text,
            grade,
            last_digit: false,
            no_instrument: false,
            unknown_error: None,
            circumstance: None,
            values: vec![value.value()],
            each: None,
            off: Off::of(value),
        }
    }
}

/// What is to be said of how far inputs may be off, each thing once.
pub(super) fn remarks(inputs: &[Input]) -> Vec<String> {
    let paths = |chosen: &dyn Fn(&Input) -> bool| -> Vec<String> {
        inputs.iter().filter(|input| chosen(input)).map(|input| input.path.clone()).collect()
    };
    let unnamed = paths(&|input| input.no_instrument);
    let channels: Vec<&str> = inputs.iter().filter_map(|input| input.unknown_error.as_deref()).collect();
    let mut remarks = Vec::new();
    if !unnamed.is_empty() {
        remarks.push(format!("nobody says with what was measured: {}", unnamed.join(", ")));
    }
    if !channels.is_empty() {
        remarks.push(format!(
            "no instrument with a stated uncertainty is named for {} in the raw file: only scatter counts, so the interval is wider than shown",
            channels.join(", ")
        ));
    }
    remarks
}

/// An input that nobody gives.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Missing {
    /// What it means to the relations.
    pub means: String,
    /// How commands name it.
    pub path: String,
    /// The trade's name.
    pub title: String,
    /// Why it does not stand.
    pub why: String,
}

/// What a mean flow coefficient, worked out from a flow sheet, means.
pub(super) const FLOW_COEFFICIENT: &str = "mean-flow-coefficient";
/// What the meaning of a channel's mean begins with: `channel-torque`.
pub(super) const CHANNEL: &str = "channel-";
