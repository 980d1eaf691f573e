//! The grid of speeds: rows put into bins, and torque and sweep rate at each grid point.

/// Rows count for a grid point within half this distance of it, however far apart the points are: a straight line holds
/// only locally.
const LOCAL_RPM: f64 = 100.0;
/// A single row stands for its grid point only within this part of the grid's step.
const ON_THE_POINT: f64 = 0.1;
/// The sweep rate at a grid point is that of a straight line through the mean times of the bins within this distance:
/// torque follows the acceleration over such a stretch, and jitter of the speed pickup averages out.
const RATE_RPM: u32 = 250;
/// Fewest bins for a sweep rate.
const FEWEST_FOR_A_RATE: usize = 2;

/// Torque at one grid point.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct GridPoint {
    /// Speed in rpm.
    pub speed_rpm: u32,
    /// Torque in N·m, by a straight line through the rows of its bin.
    pub torque_nm: f64,
    /// Rows in its bin.
    pub rows: u64,
    /// How fast speed rose there, in rpm/s, negative where it fell; none where the log has no time.
    pub rate_rpm_per_s: Option<f64>,
}

/// A sweep on its grid.
#[derive(Debug, Clone, PartialEq)]
pub struct Curve {
    /// Distance of the grid points, in rpm.
    pub step_rpm: u32,
    /// The points, by speed; empty bins are left out.
    pub points: Vec<GridPoint>,
    /// Rows of the file outside the sweep: before load came on, after release, standing still.
    pub cut_rows: u64,
    /// Those of them that come before the sweep.
    pub cut_before: u64,
    /// Rows in the sweep.
    pub rows: u64,
    /// Its first and last row among those that the finder was given, counted from 1.
    pub span: (u64, u64),
    /// Whether speed fell in it.
    pub falling: bool,
}

impl Curve {
    /// Mean sweep rate in rpm/s over the whole sweep, negative where speed fell; none where the log has no time.
    pub fn rate_rpm_per_s(&self) -> Option<f64> {
        let known: Vec<f64> = self.points.iter().filter_map(|point| point.rate_rpm_per_s).collect();
        let count = u32::try_from(known.len()).ok().filter(|count| *count > 0)?;
        Some(known.iter().sum::<f64>() / f64::from(count))
    }

    /// The speeds between its first and last point whose bins are empty.
    pub fn empty_bins(&self) -> Vec<u32> {
        let (Some(first), Some(last)) = (self.points.first(), self.points.last()) else { return Vec::new() };
        let step = usize::try_from(self.step_rpm.max(1)).unwrap_or(1);
        let filled: Vec<u32> = self.points.iter().map(|point| point.speed_rpm).collect();
        (first.speed_rpm..=last.speed_rpm).step_by(step).filter(|speed| !filled.contains(speed)).collect()
    }
}

/// The bins of a grid while rows go by.
#[derive(Debug, Clone)]
pub(super) struct Bins {
    step_rpm: u32,
    began: Option<f64>,
    /// The bins by the speeds of their grid points, which rise.
    bins: Vec<(u32, Sums)>,
    /// The bin of the row before: speed seldom leaves it from row to row.
    last: usize,
}

/// Sums for a straight line through the rows of a bin; `x` is the speed less the grid point's.
#[derive(Debug, Clone, Copy, Default)]
struct Sums {
    rows: u64,
    x: f64,
    y: f64,
    xx: f64,
    xy: f64,
    timed: u64,
    time: f64,
}

impl Bins {
    pub(super) fn new(step_rpm: u32) -> Self {
        Self { step_rpm: step_rpm.max(1), began: None, bins: Vec::new(), last: 0 }
    }

    pub(super) fn step_rpm(&self) -> u32 {
        self.step_rpm
    }

    /// Puts a row into the bin of its grid point; a row too far from any counts for none.
    pub(super) fn put(&mut self, speed: f64, torque: f64, time: f64) {
        let step = f64::from(self.step_rpm);
        let point = (speed / step).round() * step;
        if !(0.0..=1_000_000.0).contains(&point) || (speed - point).abs() > step.min(LOCAL_RPM) / 2.0 {
            return;
        }
        #[expect(
            clippy::cast_possible_truncation,
            clippy::cast_sign_loss,
            reason = "within the range checked above"
        )]
        let at = self.bin(point as u32);
        let Some((_, sums)) = self.bins.get_mut(at) else { return };
        let x = speed - point;
        sums.rows += 1;
        sums.x += x;
        sums.y += torque;
        sums.xx += x * x;
        sums.xy += x * torque;
        if time.is_finite() {
            // From the sweep's first row, so that no digits are lost beside an epoch.
            sums.time += time - *self.began.get_or_insert(time);
            sums.timed += 1;
        }
    }

    /// Where the bin of a grid point is.
    fn bin(&mut self, speed_rpm: u32) -> usize {
        if self.bins.get(self.last).is_none_or(|(known, _)| *known != speed_rpm) {
            self.last = match self.bins.binary_search_by_key(&speed_rpm, |(known, _)| *known) {
                Ok(at) => at,
                Err(at) => {
                    self.bins.insert(at, (speed_rpm, Sums::default()));
                    at
                }
            };
        }
        self.last
    }

    /// The grid points whose bins hold rows enough.
    pub(super) fn points(&self) -> Vec<GridPoint> {
        let local = f64::from(self.step_rpm).min(LOCAL_RPM);
        let points = self.bins.iter().filter_map(|&(speed_rpm, ref sums)| {
            let torque_nm = sums.at_the_point(local)?;
            Some(GridPoint { speed_rpm, torque_nm, rows: sums.rows, rate_rpm_per_s: self.rate(speed_rpm) })
        });
        points.collect()
    }

    /// One over the slope of time against speed: time is read without error beside speed.
    fn rate(&self, speed_rpm: u32) -> Option<f64> {
        let within = RATE_RPM.max(self.step_rpm);
        let near: Vec<(f64, f64)> = self
            .bins
            .iter()
            .filter(|(speed, _)| speed.abs_diff(speed_rpm) <= within)
            .filter_map(|(speed, sums)| sums.moment(f64::from(*speed)))
            .collect();
        if near.len() < FEWEST_FOR_A_RATE {
            return None;
        }
        let count = f64::from(u32::try_from(near.len()).ok()?);
        let mean = |of: &dyn Fn(&(f64, f64)) -> f64| near.iter().map(of).sum::<f64>() / count;
        let (speed, time) = (mean(&|row| row.0), mean(&|row| row.1));
        let apart: f64 = near.iter().map(|row| (row.0 - speed) * (row.1 - time)).sum();
        let spread: f64 = near.iter().map(|row| (row.0 - speed) * (row.0 - speed)).sum();
        Some(spread / apart).filter(|rate| rate.is_finite())
    }
}

impl Sums {
    /// Mean speed and mean time of its rows, where all of them have a time.
    #[expect(clippy::cast_precision_loss, reason = "a bin holds far fewer than 2^53 rows")]
    fn moment(&self, point: f64) -> Option<(f64, f64)> {
        let n = self.rows as f64;
        (self.rows > 0 && self.timed == self.rows).then(|| (point + self.x / n, self.time / n))
    }

    /// The straight line's value at the grid point; one speed alone counts only when it is the point's own.
    #[expect(clippy::cast_precision_loss, reason = "a bin holds far fewer than 2^53 rows")]
    fn at_the_point(&self, step: f64) -> Option<f64> {
        let n = self.rows as f64;
        if self.rows == 0 {
            return None;
        }
        let spread = self.xx - self.x * self.x / n;
        let mean = self.y / n;
        if spread <= f64::EPSILON * self.xx.max(1.0) {
            return ((self.x / n).abs() <= ON_THE_POINT * step).then_some(mean);
        }
        let slope = (self.xy - self.x * self.y / n) / spread;
        Some(mean - slope * self.x / n)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn curve(rows: impl Iterator<Item = (f64, f64, f64)>, step: u32) -> Vec<GridPoint> {
        let mut bins = Bins::new(step);
        rows.for_each(|(speed, torque, time)| bins.put(speed, torque, time));
        bins.points()
    }

    proptest! {
        #[test]
        fn a_line_comes_back_on_any_grid_and_the_sweep_rate_with_it(
            step in 20u32..250, start in 2000.0f64..4000.0, rate in prop::sample::select(vec![-600.0, -300.0, 150.0, 300.0, 600.0]),
            jitter in prop::collection::vec(-8.0f64..8.0, 3000)
        ) {
            let line = |speed: f64| 300.0 - 0.02 * speed;
            let rows = jitter.iter().enumerate().map(|(n, jitter)| {
                let time = n as f64 * 0.005;
                let speed = if rate > 0.0 { start + rate * time } else { start + 4000.0 + rate * time };
                (speed + jitter, line(speed + jitter), 1.7e9 + time)
            });
            let points = curve(rows, step);
            prop_assert!(points.len() > 3);
            for point in &points[1..points.len() - 1] {
                prop_assert!((point.torque_nm - line(f64::from(point.speed_rpm))).abs() < 1e-6);
            }
            for point in &points[2..points.len() - 2] {
                let found = point.rate_rpm_per_s.unwrap();
                prop_assert!((found / rate - 1.0).abs() < 0.03, "{found} is not {rate} at {}", point.speed_rpm);
            }
        }
    }

    #[test]
    fn a_log_without_time_has_no_rate_and_a_hole_stays_a_hole() {
        let speeds = (3000..4000).chain(4200..5000).map(f64::from);
        let points = curve(speeds.map(|speed| (speed, 200.0, f64::NAN)), 100);
        assert!(points.iter().all(|point| point.rate_rpm_per_s.is_none()));
        let curve = Curve {
            step_rpm: 100,
            points,
            cut_rows: 0,
            cut_before: 0,
            rows: 1800,
            span: (1, 1800),
            falling: false,
        };
        assert_eq!(curve.empty_bins(), [4100]);
        assert_eq!(curve.rate_rpm_per_s(), None);
    }
}
