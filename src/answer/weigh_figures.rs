//! What the curves of a weighing give beside its one figure: sweeps, figures of both sides, crossings.

use serde::Serialize;

use crate::answer::WithInterval;
use crate::curves::Curve;
use crate::verdict::Crossing;

/// The sweep found in a pull's log.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct SweepLine {
    /// The pull.
    pub pull: String,
    /// Lowest grid point, rpm.
    pub from: u32,
    /// Highest, rpm.
    pub to: u32,
    /// Rows of the log in the sweep.
    pub rows: u64,
    /// Rows cut before it: until load was on.
    pub cut_before: u64,
    /// Rows cut after it: from the release on.
    pub cut_after: u64,
    /// Grid points between its ends whose bins are empty, rpm.
    pub empty: Vec<u32>,
    /// How fast it was swept, rpm/s.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub rate: Option<f64>,
}

impl SweepLine {
    /// The sweep of a curve.
    pub fn of(pull: &str, curve: &Curve, rate: Option<f64>) -> Self {
        Self {
            pull: pull.to_owned(),
            from: curve.points.first().map_or(0, |point| point.speed_rpm),
            to: curve.points.last().map_or(0, |point| point.speed_rpm),
            rows: curve.rows,
            cut_before: curve.cut_before,
            cut_after: curve.cut_rows.saturating_sub(curve.cut_before),
            empty: curve.empty_bins(),
            rate,
        }
    }
}

/// One figure of both sides.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct SideFigure {
    /// Its name.
    pub figure: String,
    /// Its unit.
    pub unit: String,
    /// The base's, at the mean place of all pulls.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub base: Option<WithInterval>,
    /// The test side's, alike.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub test: Option<WithInterval>,
    /// Test less base.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub difference: Option<WithInterval>,
    /// Why it is not given.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub why: Option<String>,
}

/// Where the curves cross.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct CrossingLine {
    /// Speed, rpm.
    pub rpm: f64,
    /// Lower end of its interval; none where a crossing stays possible down to the first speed.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub lower: Option<f64>,
    /// Upper end; none where it stays possible up to the last speed.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub upper: Option<f64>,
    /// Whether the test side comes to lie above there; only said where the band holds at all speeds at once.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub upward: Option<bool>,
}

impl CrossingLine {
    /// A crossing; its direction only where the band is simultaneous.
    pub fn of(crossing: &Crossing, simultaneous: bool) -> Self {
        Self {
            rpm: crossing.speed_rpm,
            lower: crossing.lower_rpm,
            upper: crossing.upper_rpm,
            upward: (simultaneous && crossing.is_told()).then_some(crossing.upward),
        }
    }
}
