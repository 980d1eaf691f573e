//! One figure of a curve: a mean over a window, a value at a speed, a peak.

use std::f64::consts::PI;

use crate::curves::Curve;
use crate::statistics::least_squares::Fit;

/// Points within this part of the peak's speed carry the parabola through it (common practice, no source).
const AROUND_THE_PEAK: f64 = 0.08;
/// Fewest points for a parabola with something left over.
const FEWEST_FOR_A_PEAK: usize = 4;

/// Which figure of a curve is meant.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum CurveFigure {
    /// Mean torque over the grid points of a window.
    MeanTorque,
    /// Mean power over the grid points of a window.
    MeanPower,
    /// Highest torque, by a parabola through its neighbourhood.
    PeakTorque,
    /// Highest power, alike.
    PeakPower,
}

impl CurveFigure {
    /// Whether it is a power.
    pub fn is_power(self) -> bool {
        matches!(self, Self::MeanPower | Self::PeakPower)
    }

    /// Whether it is a peak.
    pub fn is_peak(self) -> bool {
        matches!(self, Self::PeakTorque | Self::PeakPower)
    }

    /// Its name in words.
    pub fn title(self) -> &'static str {
        match self {
            Self::MeanTorque => "mean torque",
            Self::MeanPower => "mean power",
            Self::PeakTorque => "peak torque",
            Self::PeakPower => "peak power",
        }
    }
}

impl Curve {
    /// Torque in N·m, or power in W, at a grid point; none where its bin is empty.
    pub fn at(&self, speed_rpm: u32, power: bool) -> Option<f64> {
        let point = self.points.iter().find(|point| point.speed_rpm == speed_rpm)?;
        let factor = if power { f64::from(speed_rpm) * PI / 30.0 } else { 1.0 };
        Some(point.torque_nm * factor)
    }

    /// The same with its torque multiplied by a factor at each speed.
    #[must_use]
    pub fn times(mut self, factor: impl Fn(u32) -> f64) -> Self {
        self.points.iter_mut().for_each(|point| point.torque_nm *= factor(point.speed_rpm));
        self
    }

    /// The mean over the grid points named; none where one of them is empty.
    pub fn mean(&self, speeds: &[u32], power: bool) -> Option<f64> {
        let mut sum = 0.0;
        for &speed in speeds {
            sum += self.at(speed, power)?;
        }
        let count = u32::try_from(speeds.len()).ok().filter(|count| *count > 0)?;
        Some(sum / f64::from(count))
    }

    /// Height of the peak among the grid points named, and its speed in rpm, by a parabola through the points around
    /// the highest; none where the curve still rises or falls at an end.
    pub fn peak(&self, speeds: &[u32], power: bool) -> Option<(f64, f64)> {
        let known: Vec<(f64, f64)> =
            speeds.iter().filter_map(|&speed| Some((f64::from(speed), self.at(speed, power)?))).collect();
        let top = known.iter().max_by(|a, b| a.1.total_cmp(&b.1))?.0;
        let near: Vec<&(f64, f64)> =
            known.iter().filter(|(speed, _)| (speed - top).abs() <= AROUND_THE_PEAK * top).collect();
        if near.len() < FEWEST_FOR_A_PEAK {
            return None;
        }
        let scale = f64::from(self.step_rpm);
        let design: Vec<Vec<f64>> = near
            .iter()
            .map(|(speed, _)| {
                let x = (speed - top) / scale;
                vec![1.0, x, x * x]
            })
            .collect();
        let heights: Vec<f64> = near.iter().map(|(_, height)| *height).collect();
        let fit = Fit::of(&design, &heights).ok()?;
        let [Some(level), Some(slope), Some(bend)] = fit.coefficients[..] else { return None };
        if bend >= 0.0 {
            return None;
        }
        let x = -slope / (2.0 * bend);
        let speed = top + x * scale;
        let inside = near.first()?.0 <= speed && speed <= near.last()?.0;
        inside.then_some((level + slope * x / 2.0, speed))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::curves::GridPoint;

    fn curve(torque: impl Fn(f64) -> f64) -> Curve {
        let points: Vec<GridPoint> = (30..=80)
            .map(|n| GridPoint {
                speed_rpm: n * 100,
                torque_nm: torque(f64::from(n) * 100.0),
                rows: 10,
                rate_rpm_per_s: None,
            })
            .collect();
        Curve { step_rpm: 100, points, cut_rows: 0, cut_before: 0, rows: 510, span: (1, 510), falling: false }
    }

    #[test]
    fn a_parabola_gives_back_its_own_peak() {
        // Quadratic of the project's reference table: 230.75119048, 99.31190476, -9.88095238 with speed in 1000 rpm;
        // peak 480.293290 at 5025.4217 rpm.
        let curve = curve(|rpm| {
            let x = rpm / 1000.0;
            230.751_190_48 + 99.311_904_76 * x - 9.880_952_38 * x * x
        });
        let speeds: Vec<u32> = (30..=80).map(|n| n * 100).collect();
        let (height, speed) = curve.peak(&speeds, false).unwrap();
        assert!(
            (height - 480.293_290).abs() < 1e-5 && (speed - 5_025.421_7).abs() < 1e-3,
            "{height} {speed}"
        );
    }

    #[test]
    fn a_curve_that_still_rises_has_no_peak() {
        let speeds: Vec<u32> = (30..=80).map(|n| n * 100).collect();
        assert_eq!(curve(|rpm| rpm).peak(&speeds, false), None);
        assert_eq!(curve(|rpm| rpm).mean(&[3000, 9000], false), None);
        assert_eq!(curve(|rpm| rpm).mean(&[3000, 4000], false), Some(3500.0));
    }
}
