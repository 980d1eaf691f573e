//! The sweep in a log: from load-on to release, rising or falling, on a grid of speeds.

use std::collections::VecDeque;

use crate::curves::Curve;
use crate::curves::grid::Bins;

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
/// Rows beyond that whose median is the torque under load, and fewest rows at one speed that are a dwell: a slow logger
/// leaves no more of a fast sweep (common practice, no source).
const SETTING_OFF: usize = 3;
/// Speed this far on, the sweep has set off whatever the number of rows.
const FAR_OFF: f64 = 0.12;

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
    moved: usize,
    rows: u64,
    torque: f64,
    most_torque: f64,
    low_rows: u32,
    /// Rows of the file before the first that is kept.
    before: u64,
    kept: u64,
    span: Option<(u64, u64)>,
    held_back: VecDeque<Row>,
    bins: Bins,
}

/// One row of the log.
#[derive(Debug, Clone, Copy)]
struct Row {
    speed: f64,
    torque: f64,
    /// In seconds from any beginning; not finite where the log has no time.
    time: f64,
    /// Its number among those that were given, counted from 1.
    number: u64,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Direction {
    Open,
    Rising,
    Falling,
}

impl SweepFinder {
    /// A finder on a grid of `step_rpm`, 100 rpm unless told otherwise.
    pub fn new(step_rpm: u32) -> Self {
        Self { step_rpm: step_rpm.max(1), seen: 0, current: None, widest: None }
    }

    /// Takes one row: speed in rpm and torque in N·m. A missing value ends nothing and counts as cut.
    pub fn push(&mut self, speed_rpm: f64, torque_nm: f64) {
        self.push_at(f64::NAN, speed_rpm, torque_nm);
    }

    /// Takes one row with its time in seconds from any beginning, so that the curve has its sweep rate; a time that is
    /// not finite is none.
    pub fn push_at(&mut self, time_s: f64, speed_rpm: f64, torque_nm: f64) {
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
        let (step, before) = (self.step_rpm, self.seen - 1);
        let run = self.current.get_or_insert_with(|| Run::starting(speed_rpm, before, step));
        run.take(Row { speed: speed_rpm, torque: torque_nm, time: time_s, number: self.seen });
    }

    /// The sweep found, if any row was loaded.
    pub fn finish(mut self) -> Option<Curve> {
        self.close();
        let run = self.widest.take()?;
        Some(run.curve(self.seen))
    }

    fn close(&mut self) {
        let Some(mut run) = self.current.take() else { return };
        run.release();
        if self.widest.as_ref().is_none_or(|widest| run.extent() > widest.extent()) {
            self.widest = Some(run);
        }
    }
}

impl Run {
    fn starting(speed: f64, before: u64, step_rpm: u32) -> Self {
        Self {
            low: speed,
            high: speed,
            first: speed,
            direction: Direction::Open,
            has_set_off: false,
            moved: 0,
            rows: 0,
            torque: 0.0,
            most_torque: 0.0,
            low_rows: 0,
            before,
            kept: 0,
            span: None,
            held_back: VecDeque::new(),
            bins: Bins::new(step_rpm),
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
        if !self.has_set_off
            && (self.moved >= SETTING_OFF || (speed - self.first).abs() > FAR_OFF * self.first)
        {
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

    fn has_moved(&self, speed: f64) -> bool {
        (speed - self.first).abs() > SET_OFF * self.first
    }

    /// Leaves out the rows in which load was still coming on at the speed where the sweep begins.
    fn set_off(&mut self) {
        self.has_set_off = true;
        let moved = self.held_back.iter().filter(|row| self.has_moved(row.speed));
        let mut loaded: Vec<f64> = moved.take(SETTING_OFF).map(|row| row.torque).collect();
        let dwell = self.held_back.iter().filter(|row| !self.has_moved(row.speed)).count();
        loaded.sort_by(f64::total_cmp);
        let Some(&reached) = loaded.get(loaded.len() / 2).filter(|_| dwell >= SETTING_OFF) else { return };
        let coming_on = |row: &Row| !self.has_moved(row.speed) && row.torque < LOADED * reached;
        let cut = self.held_back.iter().rposition(coming_on).map_or(0, |at| at + 1);
        self.held_back.drain(..cut);
        self.before += cut as u64;
    }

    fn take(&mut self, row: Row) {
        let Row { speed, torque, .. } = row;
        self.low = self.low.min(speed);
        self.high = self.high.max(speed);
        self.rows += 1;
        self.torque += torque;
        self.most_torque = self.most_torque.max(torque);
        // Only a row that is low against the whole sweep is worth holding against its neighbours.
        let low = torque < LET_GO * self.most_torque && torque < LET_GO * self.nearby_most(speed, NEARBY);
        self.low_rows = if low { self.low_rows + 1 } else { 0 };
        self.held_back.push_back(row);
        if !self.has_set_off {
            self.moved += usize::from(self.has_moved(speed));
            if self.held_back.len() > LONGEST_DWELL {
                self.held_back.pop_front();
                self.before += 1;
            }
            return;
        }
        while self.held_back.len() > HELD_BACK
            && let Some(row) = self.held_back.pop_front()
        {
            self.put(row);
        }
    }

    /// Ends the run: rows at its end in which torque was being let go are left out.
    fn release(&mut self) {
        if !self.has_set_off {
            self.set_off();
        }
        // The last row before load was let go is the last that still holds against its nearest speeds.
        while let Some(&Row { speed, torque, .. }) = self.held_back.back()
            && torque < LOADED * self.nearby_most(speed, SET_OFF)
        {
            self.held_back.pop_back();
        }
        while let Some(row) = self.held_back.pop_front() {
            self.put(row);
        }
    }

    fn put(&mut self, row: Row) {
        self.kept += 1;
        self.span = Some((self.span.map_or(row.number, |(first, _)| first), row.number));
        self.bins.put(row.speed, row.torque, row.time);
    }

    fn curve(self, seen: u64) -> Curve {
        Curve {
            step_rpm: self.bins.step_rpm(),
            points: self.bins.points(),
            cut_rows: seen - self.kept,
            cut_before: self.before,
            rows: self.kept,
            span: self.span.unwrap_or((1, 0)),
            falling: self.direction == Direction::Falling,
        }
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
    fn a_slow_logger_beside_a_fast_sweep_leaves_the_dwell_out_and_a_table_has_none() {
        // 600 rpm/s at 20 rows a second, the throttle opened between two rows.
        for step in [15.0, 30.0, 60.0, 100.0] {
            let mut finder = SweepFinder::new(100);
            (0..30).for_each(|_| finder.push(2950.0, 61.0));
            let mut speed = 3000.0;
            while speed <= 8000.0 {
                finder.push(speed, line(speed));
                speed += step;
            }
            let curve = finder.finish().expect("a sweep");
            assert_eq!((curve.cut_before, curve.points[0].speed_rpm), (30, 3000), "{step}");
            assert!(curve.points.iter().all(|p| (p.torque_nm - line(f64::from(p.speed_rpm))).abs() < 1e-6));
        }
        // A table of a steep curve, a row for each grid point: nothing is cut.
        for step in [100.0, 250.0] {
            let mut finder = SweepFinder::new(100);
            (0..20)
                .map(|n| 3000.0 + step * f64::from(n))
                .for_each(|speed| finder.push(speed, speed / 10.0 - 200.0));
            let curve = finder.finish().expect("a sweep");
            assert_eq!((curve.cut_rows, curve.rows), (0, 20), "{step}");
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
