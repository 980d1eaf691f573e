//! Two curves beside each other on one basis: only for sides that may be compared.

use crate::check::Checked;
use crate::curves::Curve;

/// Two curves on one grid and on one basis.
#[derive(Debug, Clone, PartialEq)]
pub struct SideBySide {
    /// Distance of the grid points, in rpm.
    pub step_rpm: u32,
    /// Speed in rpm, then torque in N·m of base and test; none where a side's bin is empty.
    pub rows: Vec<(u32, Option<f64>, Option<f64>)>,
}

impl SideBySide {
    /// Puts two curves side by side, each multiplied by the factor that brings it to the pair's basis. The pair must have
    /// passed the documented-check.
    pub fn new(checked: &Checked<'_>, base: &Curve, test: &Curve) -> Self {
        let mut speeds: Vec<u32> =
            base.points.iter().chain(&test.points).map(|point| point.speed_rpm).collect();
        speeds.sort_unstable();
        speeds.dedup();
        let at = |curve: &Curve, speed, factor: f64| {
            curve.points.iter().find(|point| point.speed_rpm == speed).map(|point| point.torque_nm * factor)
        };
        let rows = speeds
            .into_iter()
            .map(|speed| {
                let factors = checked.basis().map_or((1.0, 1.0), |basis| basis.factors_at(speed));
                (speed, at(base, speed, factors.0), at(test, speed, factors.1))
            })
            .collect();
        Self { step_rpm: base.step_rpm, rows }
    }
}
