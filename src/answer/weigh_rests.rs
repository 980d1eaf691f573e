//! What a weighing rests on: the figure of every pull, what else differs, tuning, pulls chosen after they were seen.

use std::collections::BTreeMap;

use serde::Serialize;

use crate::answer::WithInterval;

/// A pull that the difference or its scatter was made from, with all that is needed to make them again.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct PullFigure {
    /// The pull.
    pub pull: String,
    /// `base`, `test`, or `book` for one that only says something of scatter.
    pub side: &'static str,
    /// Number of its configuration: pulls of one number differ in nothing that is turned by hand.
    pub configuration: usize,
    /// Build and which time its parts were together.
    pub fit_up: String,
    /// Its session.
    pub session: String,
    /// Its place in the session, from 0.
    pub place: f64,
    /// Its figure, in the unit of the answer.
    pub value: f64,
    /// How far each source that pulls share (a calibration, a zero) moves it by one standard uncertainty.
    #[serde(skip_serializing_if = "BTreeMap::is_empty")]
    pub shared: BTreeMap<String, f64>,
}

/// What else differs, with its estimated effect.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct BudgetLine {
    /// What.
    pub what: String,
    /// `own pulls`, `model` or `not estimated`.
    pub by: &'static str,
    /// Its effect on the figure in per cent, and half the width of its 95 % interval; none where it is not estimated.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub percent: Option<(f64, f64)>,
    /// The same in the unit of the figure.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub amount: Option<(f64, f64)>,
    /// Where the estimate comes from, or what would settle it.
    pub source: String,
    /// A consequence of the part under test: of the gain, not beside it.
    pub of_subject: bool,
    /// The book's own pulls behind it: without it, and with it.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub pulls: Option<(Vec<String>, Vec<String>)>,
}

impl BudgetLine {
    /// An estimate in per cent with half the width of its interval.
    pub fn estimated(what: String, by: &'static str, percent: (f64, f64), source: String) -> Self {
        Self { what, by, percent: Some(percent), amount: None, source, of_subject: false, pulls: None }
    }

    /// What has no sound model, with what would settle it.
    pub fn not_estimated(what: String, settled_by: String) -> Self {
        Self {
            what,
            by: "not estimated",
            percent: None,
            amount: None,
            source: settled_by,
            of_subject: false,
            pulls: None,
        }
    }
}

/// Something that nobody knows, and whether it could cancel the gain.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct UnknownLine {
    /// What.
    pub what: String,
    /// `base`, `test` or `both`.
    pub side: &'static str,
    /// Least and greatest effect on the figure, in per cent, of a plausible value; none where no model says.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub percent: Option<(f64, f64)>,
    /// Whether a plausible value could cancel the gain.
    pub could_cancel: bool,
    /// Why nobody knows, as written.
    pub because: String,
}

/// What is claimed of the settings: the same on both sides, or each side at its best.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct TuningLine {
    /// `same settings` or `each at its best`.
    pub claim: &'static str,
    /// In words.
    pub says: String,
    /// Tuning settings that differ between the sides.
    pub differing: Vec<String>,
    /// Tuning pulls of the base: the same parts with another setting.
    pub base: Vec<String>,
    /// Those of the test side.
    pub test: Vec<String>,
}

/// Pulls of a side that were chosen among repeats of one configuration.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct ChosenLine {
    /// `base` or `test`.
    pub side: &'static str,
    /// In words: `the best 2 of 5`.
    pub says: String,
    /// Pulls that were weighed.
    pub named: Vec<String>,
    /// Kept repeats of the same configuration that were not.
    pub unnamed: Vec<String>,
    /// By how much such a choice moves the side's mean when all that differs is noise; none where it is no extreme.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub bias: Option<f64>,
}

/// A part of the gain that is a consequence of the part under test.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct ShareLine {
    /// What.
    pub what: String,
    /// Its share of the gain, in per cent of the gain; none where the gain is not told from none.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub of_gain: Option<f64>,
    /// How much it is, in the unit of the figure.
    pub amount: WithInterval,
}
