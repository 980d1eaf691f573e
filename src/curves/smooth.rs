//! Smoothing a curve, only where it is asked for, and then with one width for all curves of a comparison.

use crate::curves::Curve;
use crate::curves::GridPoint;
use crate::statistics::least_squares::Fit;

impl Curve {
    /// The curve with each grid point on a straight line through the points within half of `width_rpm`; empty bins stay
    /// empty, and a point without neighbours stays as it is.
    #[must_use]
    pub fn smoothed(&self, width_rpm: u32) -> Self {
        let points = self.points.iter().map(|point| GridPoint {
            torque_nm: self.on_the_line(point, width_rpm).unwrap_or(point.torque_nm),
            ..*point
        });
        Self { points: points.collect(), ..self.clone() }
    }

    fn on_the_line(&self, point: &GridPoint, width_rpm: u32) -> Option<f64> {
        let near: Vec<&GridPoint> = self
            .points
            .iter()
            .filter(|other| other.speed_rpm.abs_diff(point.speed_rpm) <= width_rpm / 2)
            .collect();
        let scale = f64::from(self.step_rpm.max(1));
        let apart = |other: &GridPoint| (f64::from(other.speed_rpm) - f64::from(point.speed_rpm)) / scale;
        let design: Vec<Vec<f64>> = near.iter().map(|other| vec![1.0, apart(other)]).collect();
        let heights: Vec<f64> = near.iter().map(|other| other.torque_nm).collect();
        Fit::of(&design, &heights).ok()?.coefficients.first().copied().flatten()
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn curve(torque: &[f64]) -> Curve {
        let points = torque.iter().enumerate().filter(|(_, torque)| torque.is_finite());
        Curve {
            step_rpm: 100,
            points: points
                .map(|(n, &torque_nm)| GridPoint {
                    speed_rpm: 3000 + 100 * u32::try_from(n).unwrap(),
                    torque_nm,
                    rows: 9,
                    rate_rpm_per_s: None,
                })
                .collect(),
            cut_rows: 0,
            cut_before: 0,
            span: (1, 1),
            rows: 900,
            falling: false,
        }
    }

    proptest! {
        #[test]
        fn a_straight_curve_stays_and_a_hole_is_not_filled(
            level in 100.0f64..400.0, slope in -1.0f64..1.0, hole in 1usize..29, width in 100u32..1000
        ) {
            let torque: Vec<f64> =
                (0..30).map(|n| if n == hole { f64::NAN } else { level + slope * n as f64 }).collect();
            let (before, after) = (curve(&torque), curve(&torque).smoothed(width));
            prop_assert_eq!(before.points.len(), after.points.len());
            for (a, b) in before.points.iter().zip(&after.points) {
                prop_assert_eq!(a.speed_rpm, b.speed_rpm);
                prop_assert!((a.torque_nm - b.torque_nm).abs() < 1e-9);
            }
        }
    }

    #[test]
    fn a_spike_is_spread_over_the_width_that_was_asked_for() {
        let mut torque = [200.0; 11];
        torque[5] = 205.0;
        let smooth = curve(&torque).smoothed(400);
        // Within the curve a straight line through five points is their mean.
        assert!((smooth.points[5].torque_nm - 201.0).abs() < 1e-9);
        assert!((smooth.points[2].torque_nm - 200.0).abs() < 1e-9);
        assert_eq!(curve(&torque).smoothed(100), curve(&torque));
    }
}
