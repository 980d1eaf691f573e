//! The sweep in a log: from load-on to release, rising or falling, on a grid of speeds.

use std::collections::BTreeMap;
use std::collections::VecDeque;

/// Speed may go back by this part of the furthest reached before a sweep counts as over: raw speed pickups jitter by
/// several per cent from row to row (common practice, no source).
const BACKSLIDE: f64 = 0.12;
/// Once speed has moved by this part, the sweep has set off.
const SET_OFF: f64 = 0.03;
/// A sweep's first rows, at the speed where load comes on, count once torque has risen to this part of what follows;
/// its last rows count until torque has fallen to this part of what went before (common practice, no source).
const LOADED: f64 = 0.95;
/// Torque below this part of what it was at nearby speeds, for so many rows on end, is load let go (common practice, no
/// source); a single such row is a misfire or a glitch.
const LET_GO: f64 = 0.5;
const LET_GO_ROWS: u32 = 3;
/// Nearby speeds: within this part of the speed.
const NEARBY: f64 = 0.05;
/// Rows held back at a sweep's end until it is known that torque was not being let go.
const HELD_BACK: usize = 256;
/// Rows held back at a sweep's beginning until speed moves: a minute at a kilohertz.
const LONGEST_DWELL: usize = 60_000;
/// Rows whose median is the torque at which the sweep sets off.
const SETTING_OFF: usize = 5;
/// Rows count for a grid point within half this distance of it, however far apart the points are: a straight line holds
/// only locally.
const LOCAL_RPM: f64 = 100.0;
/// A single row stands for its grid point only within this part of the grid's step.
const ON_THE_POINT: f64 = 0.1;

/// Torque at one grid point.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct GridPoint {
    /// Speed in rpm.
    pub speed_rpm: u32,
    /// Torque in N·m, by a straight line through the rows of its bin.
    pub torque_nm: f64,
    /// Rows in its bin.
    pub rows: u64,
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
    /// Rows in the sweep.
    pub rows: u64,
    /// Its first and last row among those that the finder was given, counted from 1.
    pub span: (u64, u64),
    /// Whether speed fell in it.
    pub falling: bool,
}

/// Finds the widest sweep while rows go by, in memory bounded by the grid.
#[derive(Debug, Clone)]
pub struct SweepFinder {
    step_rpm: u32,
    seen: u64,
    current: Option<Run>,
    widest: Option<Run>,
}

#[derive(Debug, Clone)]
struct Run {
    low: f64,
    high: f64,
    first: f64,
    direction: Direction,
    has_set_off: bool,
    rows: u64,
    torque: f64,
    most_torque: f64,
    low_rows: u32,
    kept: u64,
    span: Option<(u64, u64)>,
    held_back: VecDeque<Held>,
    bins: BTreeMap<u32, Sums>,
}

/// A row that is not yet known to be of the sweep.
#[derive(Debug, Clone, Copy)]
struct Held {
    speed: f64,
    torque: f64,
    row: u64,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Direction {
    Open,
    Rising,
    Falling,
}

/// Sums for a straight line through the rows of a bin; `x` is the speed less the grid point's.
#[derive(Debug, Clone, Copy, Default)]
struct Sums {
    rows: u64,
    x: f64,
    y: f64,
    xx: f64,
    xy: f64,
}

impl SweepFinder {
    /// A finder on a grid of `step_rpm`, 100 rpm unless told otherwise.
    pub fn new(step_rpm: u32) -> Self {
        Self { step_rpm: step_rpm.max(1), seen: 0, current: None, widest: None }
    }

    /// Takes one row: speed in rpm and torque in N·m. A missing value ends nothing and counts as cut.
    pub fn push(&mut self, speed_rpm: f64, torque_nm: f64) {
        self.seen += 1;
        if !speed_rpm.is_finite() || !torque_nm.is_finite() {
            return;
        }
        // A load cell reads zero or below when the engine does not drive the absorber.
        if torque_nm <= 0.0 || speed_rpm <= 0.0 {
            self.close();
            return;
        }
        if self.current.as_mut().is_some_and(|run| !run.goes_on(speed_rpm)) {
            self.close();
        }
        let step = self.step_rpm;
        let run = self.current.get_or_insert_with(|| Run::starting(speed_rpm));
        run.take(Held { speed: speed_rpm, torque: torque_nm, row: self.seen }, step);
    }

    /// The sweep found, if any row was loaded.
    pub fn finish(mut self) -> Option<Curve> {
        self.close();
        let run = self.widest.take()?;
        Some(run.curve(self.step_rpm, self.seen))
    }

    fn close(&mut self) {
        let Some(mut run) = self.current.take() else { return };
        run.release(self.step_rpm);
        if self.widest.as_ref().is_none_or(|widest| run.extent() > widest.extent()) {
            self.widest = Some(run);
        }
    }
}

impl Run {
    fn starting(speed: f64) -> Self {
        Self {
            low: speed,
            high: speed,
            first: speed,
            direction: Direction::Open,
            has_set_off: false,
            rows: 0,
            torque: 0.0,
            most_torque: 0.0,
            low_rows: 0,
            kept: 0,
            span: None,
            held_back: VecDeque::new(),
            bins: BTreeMap::new(),
        }
    }

    /// How much of a sweep it is: the speeds it covers times its mean torque, so that coasting down is none.
    #[expect(clippy::cast_precision_loss, reason = "rows are far fewer than 2^53")]
    fn extent(&self) -> f64 {
        (self.high - self.low) * self.torque / self.rows.max(1) as f64
    }

    /// The greatest torque among the rows held back at nearby speeds.
    fn nearby_most(&self, speed: f64, within: f64) -> f64 {
        let nearby = self.held_back.iter().filter(|row| (row.speed - speed).abs() <= within * speed);
        nearby.map(|row| row.torque).fold(0.0, f64::max)
    }

    fn goes_on(&mut self, speed: f64) -> bool {
        if self.low_rows >= LET_GO_ROWS && self.has_set_off {
            return false;
        }
        if !self.has_set_off && (speed - self.first).abs() > SET_OFF * self.first {
            self.set_off();
        }
        if self.direction == Direction::Open && self.high - self.low > BACKSLIDE * self.high {
            self.direction = if speed > self.first { Direction::Rising } else { Direction::Falling };
        }
        match self.direction {
            Direction::Open => true,
            Direction::Rising => speed >= self.high * (1.0 - BACKSLIDE),
            Direction::Falling => speed <= self.low * (1.0 + BACKSLIDE),
        }
    }

    /// Leaves out the rows in which load was still coming on at the speed where the sweep begins.
    fn set_off(&mut self) {
        self.has_set_off = true;
        let mut last: Vec<f64> =
            self.held_back.iter().rev().take(SETTING_OFF).map(|row| row.torque).collect();
        last.sort_by(f64::total_cmp);
        let Some(&reached) = last.get(last.len() / 2) else { return };
        let coming_on =
            self.held_back.iter().rposition(|row| row.torque < LOADED * reached).map_or(0, |at| at + 1);
        self.held_back.drain(..coming_on.min(self.held_back.len().saturating_sub(1)));
    }

    fn take(&mut self, held: Held, step: u32) {
        let Held { speed, torque, .. } = held;
        self.low = self.low.min(speed);
        self.high = self.high.max(speed);
        self.rows += 1;
        self.torque += torque;
        self.most_torque = self.most_torque.max(torque);
        // Only a row that is low against the whole sweep is worth holding against its neighbours.
        let low = torque < LET_GO * self.most_torque && torque < LET_GO * self.nearby_most(speed, NEARBY);
        self.low_rows = if low { self.low_rows + 1 } else { 0 };
        self.held_back.push_back(held);
        if !self.has_set_off {
            if self.held_back.len() > LONGEST_DWELL {
                self.held_back.pop_front();
            }
            return;
        }
        while self.held_back.len() > HELD_BACK
            && let Some(held) = self.held_back.pop_front()
        {
            self.put(held, step);
        }
    }

    /// Ends the run: rows at its end in which torque was being let go are left out.
    fn release(&mut self, step: u32) {
        if !self.has_set_off {
            self.set_off();
        }
        // The last row before load was let go is the last that still holds against its nearest speeds.
        while let Some(&Held { speed, torque, .. }) = self.held_back.back()
            && torque < LOADED * self.nearby_most(speed, SET_OFF)
        {
            self.held_back.pop_back();
        }
        while let Some(held) = self.held_back.pop_front() {
            self.put(held, step);
        }
    }

    fn put(&mut self, held: Held, step: u32) {
        let Held { speed, torque, row } = held;
        self.kept += 1;
        self.span = Some((self.span.map_or(row, |(first, _)| first), row));
        let step = f64::from(step);
        let point = (speed / step).round() * step;
        if !(0.0..=1_000_000.0).contains(&point) || (speed - point).abs() > step.min(LOCAL_RPM) / 2.0 {
            return;
        }
        #[expect(
            clippy::cast_possible_truncation,
            clippy::cast_sign_loss,
            reason = "within the range checked above"
        )]
        let sums = self.bins.entry(point as u32).or_default();
        let x = speed - point;
        sums.rows += 1;
        sums.x += x;
        sums.y += torque;
        sums.xx += x * x;
        sums.xy += x * torque;
    }

    fn curve(self, step_rpm: u32, seen: u64) -> Curve {
        let points: Vec<GridPoint> = self
            .bins
            .iter()
            .filter_map(|(&speed_rpm, sums)| {
                let torque_nm = sums.at_the_point(f64::from(step_rpm).min(LOCAL_RPM))?;
                Some(GridPoint { speed_rpm, torque_nm, rows: sums.rows })
            })
            .collect();
        let rows = self.kept;
        Curve {
            step_rpm,
            points,
            cut_rows: seen - rows,
            rows,
            span: self.span.unwrap_or((1, 0)),
            falling: self.direction == Direction::Falling,
        }
    }
}

impl Sums {
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

    /// A straight torque line is what the local fit must return exactly.
    fn line(speed: f64) -> f64 {
        300.0 - 0.02 * speed
    }

    #[test]
    fn the_sweep_is_found_between_idling_and_coasting_down() {
        let mut finder = SweepFinder::new(100);
        for _ in 0..20 {
            finder.push(3000.0, 4.0);
        }
        let mut speed = 3000.0;
        while speed <= 7000.0 {
            finder.push(speed, line(speed));
            speed += 7.0;
        }
        while speed > 1500.0 {
            finder.push(speed, -15.0);
            speed -= 90.0;
        }
        let curve = finder.finish().expect("a sweep");
        let (first, last) = (curve.points.first().expect("points"), curve.points.last().expect("points"));
        assert!(first.speed_rpm <= 3100 && last.speed_rpm == 7000, "{first:?} {last:?}");
        for point in &curve.points[1..] {
            assert!((point.torque_nm - line(f64::from(point.speed_rpm))).abs() < 1e-6, "{point:?}");
        }
        assert!(curve.cut_rows >= 60);
    }

    #[test]
    fn coasting_down_with_a_little_drag_is_no_part_of_the_sweep() {
        // As a logger leaves it: throttle opened at the lowest speed, the sweep, load let go, the engine slowing down.
        for rows_a_second in [10.0, 20.0, 100.0, 1000.0] {
            let mut finder = SweepFinder::new(100);
            let mut rows: Vec<(f64, f64)> = Vec::new();
            let steps = |seconds: f64| {
                (0..(seconds * rows_a_second) as usize).map(move |n| n as f64 / (seconds * rows_a_second))
            };
            rows.extend(steps(1.5).map(|_| (2950.0, 60.0)));
            rows.extend(steps(0.5).map(|part| (2950.0 + 50.0 * part, 60.0 + part * (line(3000.0) - 60.0))));
            rows.extend(steps(1.0).map(|_| (3000.0, line(3000.0))));
            rows.extend(steps(17.0).map(|part| 3000.0 + 5000.0 * part).map(|speed| (speed, line(speed))));
            rows.extend(steps(0.3).map(|part| (8000.0, line(8000.0) * (1.0 - part) + 2.0 * part)));
            rows.extend(steps(2.0).map(|part| (8000.0 - 4000.0 * part, 2.0)));
            rows.iter().for_each(|row| finder.push(row.0, row.1));
            let curve = finder.finish().expect("a sweep");
            assert_eq!(curve.points.first().map(|point| point.speed_rpm), Some(3000), "{rows_a_second}");
            assert_eq!(curve.points.last().map(|point| point.speed_rpm), Some(8000), "{rows_a_second}");
            for point in &curve.points {
                let expected = line(f64::from(point.speed_rpm));
                assert!(
                    (point.torque_nm - expected).abs() < 0.02 * expected,
                    "{rows_a_second}: {point:?} {expected}"
                );
            }
            let middle = &curve.points[2..curve.points.len() - 2];
            assert!(
                middle.iter().all(|point| (point.torque_nm - line(f64::from(point.speed_rpm))).abs() < 1e-6)
            );
        }
    }

    #[test]
    fn a_row_off_the_grid_point_leaves_its_bin_empty() {
        let mut finder = SweepFinder::new(100);
        for speed in [3000.0, 3125.0, 3250.0, 3400.0] {
            finder.push(speed, 200.0);
        }
        let curve = finder.finish().expect("a sweep");
        assert_eq!(curve.points.iter().map(|point| point.speed_rpm).collect::<Vec<_>>(), [3000, 3400]);
    }

    #[test]
    fn a_log_without_load_has_no_sweep() {
        let mut finder = SweepFinder::new(100);
        for _ in 0..5 {
            finder.push(1000.0, 0.0);
            finder.push(f64::NAN, 100.0);
        }
        assert_eq!(finder.finish(), None);
    }

    proptest! {
        #[test]
        fn no_rows_make_it_panic(rows in proptest::collection::vec((any::<f64>(), any::<f64>()), 0..200)) {
            let mut finder = SweepFinder::new(100);
            for (speed, torque) in rows {
                finder.push(speed, torque);
            }
            let _ = finder.finish();
        }

        #[test]
        fn falling_sweeps_give_the_same_curve_as_rising_ones(jitter in proptest::collection::vec(-20.0f64..20.0, 300)) {
            let speeds: Vec<f64> = jitter.iter().enumerate().map(|(n, j)| 3000.0 + 13.0 * n as f64 + j).collect();
            let curve = |speeds: &mut dyn Iterator<Item = f64>| {
                let mut finder = SweepFinder::new(100);
                speeds.for_each(|speed| finder.push(speed, line(speed)));
                finder.finish().expect("a sweep")
            };
            let rising = curve(&mut speeds.iter().copied());
            let falling = curve(&mut speeds.iter().rev().copied());
            prop_assert_eq!(rising.points.len(), falling.points.len());
            for (a, b) in rising.points.iter().zip(&falling.points) {
                prop_assert!((a.torque_nm - b.torque_nm).abs() < 1e-6);
            }
        }
    }
}
