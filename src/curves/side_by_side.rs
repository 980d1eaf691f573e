//! Two curves beside each other, as observed: only for sides that may be compared.

use crate::check::Checked;
use crate::curves::Curve;

/// Two observed curves on one grid.
#[derive(Debug, Clone, PartialEq)]
pub struct SideBySide {
    /// Distance of the grid points, in rpm.
    pub step_rpm: u32,
    /// Speed in rpm, then torque in N·m of base and test; none where a side's bin is empty.
    pub rows: Vec<(u32, Option<f64>, Option<f64>)>,
}

impl SideBySide {
    /// Puts two curves side by side. The pair must have passed the documented-check.
    pub fn new(_checked: &Checked<'_>, base: &Curve, test: &Curve) -> Self {
        let mut speeds: Vec<u32> =
            base.points.iter().chain(&test.points).map(|point| point.speed_rpm).collect();
        speeds.sort_unstable();
        speeds.dedup();
        let at = |curve: &Curve, speed| {
            curve.points.iter().find(|point| point.speed_rpm == speed).map(|point| point.torque_nm)
        };
        let rows = speeds.into_iter().map(|speed| (speed, at(base, speed), at(test, speed))).collect();
        Self { step_rpm: base.step_rpm, rows }
    }
}
