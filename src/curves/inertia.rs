//! Torque that speeding up takes from a sweep, given back.

use crate::curves::Curve;
use crate::curves::GridPoint;
use crate::engine::EngineError;
use crate::engine::inertia::steady_torque_nm;

impl Curve {
    /// The curve with I·α added at each grid point, for a moment of inertia in kg·m²: what the engine would have shown at
    /// steady speed.
    ///
    /// The rate is the log's own at that point; `recorded_rpm_per_s`, how fast it was said to be swept, stands in where
    /// the log has no time.
    ///
    /// # Errors
    /// A negative inertia; `None` where neither the log nor the record gives a rate.
    pub fn with_inertia(
        &self,
        inertia_kg_m2: f64,
        recorded_rpm_per_s: Option<f64>,
    ) -> Result<Option<Self>, EngineError> {
        let recorded = recorded_rpm_per_s.map(|rate| if self.falling { -rate.abs() } else { rate.abs() });
        let mut points = Vec::with_capacity(self.points.len());
        for point in &self.points {
            let Some(rate) = point.rate_rpm_per_s.or(recorded) else { return Ok(None) };
            points.push(GridPoint {
                torque_nm: steady_torque_nm(point.torque_nm, inertia_kg_m2, rate)?,
                ..*point
            });
        }
        Ok(Some(Self { points, ..self.clone() }))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::curves::SweepFinder;
    use proptest::prelude::*;

    /// A sweep as a bench that credits no inertia logs it: what speeds up the shaft is missing from the load cell.
    fn logged(rate: f64, inertia: f64, rows_a_second: f64) -> Curve {
        let mut finder = SweepFinder::new(100);
        let lost = inertia * rate * std::f64::consts::PI / 30.0;
        let seconds = 4000.0 / rate.abs();
        let rows = (seconds * rows_a_second) as u32;
        for row in 0..=rows {
            let time = f64::from(row) / rows_a_second;
            let speed = if rate > 0.0 { 3000.0 } else { 7000.0 } + rate * time;
            finder.push_at(time, speed, steady(speed) - lost);
        }
        finder.finish().expect("a sweep")
    }

    fn steady(speed: f64) -> f64 {
        let x = speed / 1000.0;
        90.0 + 45.0 * x - 4.2 * x * x
    }

    proptest! {
        #[test]
        fn slow_and_fast_sweeps_agree_once_inertia_is_added_back(
            slow in 80.0f64..250.0, fast in 300.0f64..700.0, inertia in 0.05f64..1.0, falling in any::<bool>()
        ) {
            let way = if falling { -1.0 } else { 1.0 };
            let (slow, fast) = (logged(way * slow, inertia, 200.0), logged(fast, inertia, 200.0));
            let apart = |a: &Curve, b: &Curve| -> f64 {
                let shared = a.points.iter().filter_map(|p| Some(p.torque_nm - b.at(p.speed_rpm, false)?));
                shared.map(f64::abs).fold(0.0, f64::max)
            };
            prop_assert!(apart(&slow, &fast) > inertia * 50.0 * std::f64::consts::PI / 30.0 * 0.9);
            let given = |curve: &Curve| curve.with_inertia(inertia, None).unwrap().unwrap();
            // What is left is the curvature within a bin, the same for both.
            prop_assert!(apart(&given(&slow), &given(&fast)) < 0.15, "{}", apart(&given(&slow), &given(&fast)));
        }
    }

    #[test]
    fn the_recorded_rate_stands_in_where_the_log_has_no_time() {
        let mut finder = SweepFinder::new(100);
        for speed in (3000..7000).rev() {
            finder.push(f64::from(speed), 200.0);
        }
        let curve = finder.finish().expect("a sweep");
        assert_eq!(curve.with_inertia(0.35, None).unwrap(), None);
        // Reference table of docs/engine.md: 0.35 kg·m² at 300 rpm/s is 10.995574 N·m; slowing down gives it.
        let given = curve.with_inertia(0.35, Some(300.0)).unwrap().unwrap();
        assert!(given.points.iter().all(|point| (point.torque_nm - 200.0 + 10.995_574).abs() < 1e-6));
        assert!(curve.with_inertia(-1.0, Some(300.0)).is_err());
    }
}
