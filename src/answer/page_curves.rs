//! Curves for a page: of one pull, and of two sides with every repeat and their scatter.

use serde::Serialize;

use crate::answer::Compared;
use crate::answer::Weighed;

/// A pull's highest torque and power, each with its speed.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Peak {
    /// The figure, in the unit of the curve.
    pub value: f64,
    /// Its speed, rpm.
    pub rpm: f64,
}

/// One speed of a pull.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct PullCurveRow {
    /// Speed in rpm.
    pub rpm: u32,
    /// Torque.
    pub torque: f64,
    /// Power.
    pub power: f64,
    /// Rows of the log behind it.
    pub rows: u64,
}

/// Torque and power of one pull over speed.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct PullCurve {
    /// Unit of torque.
    pub torque_unit: String,
    /// Unit of power.
    pub power_unit: String,
    /// Distance of the rows, rpm.
    pub step_rpm: u32,
    /// The correction that the rows carry.
    pub correction: String,
    /// The factor that brought them to it; none where the rows are as the file carries them.
    pub factor: Option<f64>,
    /// The rows.
    pub rows: Vec<PullCurveRow>,
    /// Highest torque.
    pub peak_torque: Option<Peak>,
    /// Highest power.
    pub peak_power: Option<Peak>,
    /// Rows of the log outside the sweep.
    pub cut_rows: u64,
}

/// One speed of both sides of a weighing.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct LevelRow {
    /// Speed in rpm.
    pub rpm: u32,
    /// The base's level.
    pub base: Option<f64>,
    /// The test side's.
    pub test: Option<f64>,
    /// Half the width of the range in which 95 of 100 single pulls of a side are expected, drift apart.
    pub scatter: Option<f64>,
}

/// A pull's own figures at the speeds of a weighing.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct RepeatCurve {
    /// The pull.
    pub pull: String,
    /// `base` or `test`.
    pub side: &'static str,
    /// Torque at each speed.
    pub torque: Vec<Option<f64>>,
    /// Power at each speed.
    pub power: Vec<Option<f64>>,
}

/// The curves behind a weighing.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct WeighCurves {
    /// Unit of torque.
    pub torque_unit: String,
    /// Unit of power.
    pub power_unit: String,
    /// Distance of the rows, rpm.
    pub step_rpm: u32,
    /// Torque of both sides.
    pub torque: Vec<LevelRow>,
    /// Power of both sides.
    pub power: Vec<LevelRow>,
    /// Every pull of the sides.
    pub repeats: Vec<RepeatCurve>,
}

/// Two sides weighed, with what a page shows beside the numbers.
#[derive(Debug, Clone, PartialEq)]
pub struct WeighedPage {
    /// The weighing.
    pub weighed: Weighed,
    /// What differs between the first pull of each side; the `Checked` value of that pair stands behind it.
    pub changed: Option<Compared>,
    /// The curves.
    pub curves: WeighCurves,
}
