//! Channels that do not move: no data, stuck sensors, a speed that stops.

use crate::finding::Finding;
use crate::finding::Place;
use crate::raw::statistics::Running;
use crate::raw::summary::Batch;
use crate::record::channel::ChannelQuantity;
use crate::record::columns::Column;

/// Rows from which a value that never changes is doubtful.
const STUCK_ROWS: u64 = 20;

/// A run of one value of at least so many rows, and at least a quarter of the channel, is doubtful.
const STUCK_RUN: u64 = 50;

/// Rows for which a speed must stand still while the load moves.
const STOPPED_ROWS: u64 = 10;

/// The share of its greatest value by which the load must move meanwhile.
const STOPPED_LOAD: f64 = 0.05;

/// Channels that are all zero or all blank have no data; they never pass a check.
pub(super) fn no_data(columns: &[Column], running: &[Running], doubts: &mut Vec<Finding>) {
    for (column, seen) in columns.iter().zip(running) {
        let message = if seen.count == 0 {
            format!("{} holds no value at all: no data", column.name)
        } else if seen.zeros == seen.count && seen.count > 1 && column.quantity != ChannelQuantity::Run {
            format!("{} is zero in every row: no data", column.name)
        } else {
            continue;
        };
        doubts.push(Finding::doubt("no-data", message).at(Place::default().field(column.name.as_str())));
    }
}

/// Channels that ought to move and do not.
pub(super) fn stuck(columns: &[Column], running: &[Running], doubts: &mut Vec<Finding>) {
    for (column, seen) in columns.iter().zip(running) {
        let Some((least, greatest)) = seen.range() else {
            continue;
        };
        let (run, line) = seen.longest_run;
        let constant = least.to_bits() == greatest.to_bits();
        let ought = moves(column.quantity);
        if seen.zeros == seen.count || !ought {
            continue;
        }
        let message = if constant && seen.count >= STUCK_ROWS {
            format!("{} never moves: a stuck sensor, or a number typed in", column.name)
        } else if !constant && run >= STUCK_RUN && run * 4 >= seen.count {
            format!("{} stands still for {run} rows", column.name)
        } else {
            continue;
        };
        let place =
            Place::default().line(usize::try_from(line).unwrap_or(usize::MAX)).field(column.name.as_str());
        doubts.push(Finding::doubt("stuck", message).at(place).found(format!("{run} rows of one value")));
    }
}

/// Whether a healthy channel of this quantity changes from row to row; weather and settings need not.
fn moves(quantity: ChannelQuantity) -> bool {
    matches!(
        quantity,
        ChannelQuantity::Speed
            | ChannelQuantity::Torque
            | ChannelQuantity::Power
            | ChannelQuantity::FuelFlow
            | ChannelQuantity::AirFlow
            | ChannelQuantity::SpecificFuelConsumption
            | ChannelQuantity::Lambda
            | ChannelQuantity::AirFuelRatio
            | ChannelQuantity::OilPressure
            | ChannelQuantity::FuelPressure
            | ChannelQuantity::ManifoldPressure
            | ChannelQuantity::ExhaustPressure
            | ChannelQuantity::ExhaustTemperature
            | ChannelQuantity::BlowBy
    )
}

/// Watches for a speed that stands still, or is zero, while the load goes on.
pub(super) struct StoppedSpeed {
    speed: usize,
    load: usize,
    run: u64,
    start: u64,
    value: f64,
    load_range: (f64, f64),
    greatest_load: f64,
    /// First line, rows and value of each stop, with how far the load moved meanwhile.
    stops: Vec<(u64, u64, f64, f64)>,
    zero_speed: u64,
    zero_line: u64,
    zero_load: f64,
}

impl StoppedSpeed {
    pub(super) fn new(speed: usize, load: usize) -> Self {
        Self {
            speed,
            load,
            run: 0,
            start: 0,
            value: f64::NAN,
            load_range: (f64::INFINITY, f64::NEG_INFINITY),
            greatest_load: 0.0,
            stops: Vec::new(),
            zero_speed: 0,
            zero_line: 0,
            zero_load: 0.0,
        }
    }

    pub(super) fn begin_segment(&mut self) {
        self.close();
        self.value = f64::NAN;
    }

    pub(super) fn rows(&mut self, batch: &Batch<'_>) {
        let (Some(speeds), Some(loads)) = (batch.columns.get(self.speed), batch.columns.get(self.load))
        else {
            return;
        };
        for ((speed, load), line) in speeds.iter().zip(*loads).zip(batch.lines) {
            if speed.is_nan() || load.is_nan() {
                continue;
            }
            if load.abs() > self.greatest_load {
                self.greatest_load = load.abs();
            }
            if speed.to_bits() == self.value.to_bits() {
                self.run += 1;
            } else {
                self.close();
                self.value = *speed;
                self.run = 1;
                self.start = *line;
            }
            self.load_range = (self.load_range.0.min(*load), self.load_range.1.max(*load));
            if speed.abs() < f64::MIN_POSITIVE && load.abs() > self.zero_load {
                self.zero_load = load.abs();
                self.zero_line = *line;
            }
            self.zero_speed += u64::from(speed.abs() < f64::MIN_POSITIVE && load.abs() > 0.0);
        }
    }

    fn close(&mut self) {
        let zero = self.value.abs() < f64::MIN_POSITIVE;
        if self.run >= STOPPED_ROWS && !zero && self.stops.len() < 100 {
            self.stops.push((self.start, self.run, self.value, self.load_range.1 - self.load_range.0));
        }
        self.run = 0;
        self.load_range = (f64::INFINITY, f64::NEG_INFINITY);
    }

    pub(super) fn finish(&self, columns: &[Column], doubts: &mut Vec<Finding>) {
        let (name, load) = (columns[self.speed].name.as_str(), columns[self.load].name.as_str());
        let mut stops = self.stops.clone();
        if self.run >= STOPPED_ROWS && self.value.abs() > 0.0 {
            stops.push((self.start, self.run, self.value, self.load_range.1 - self.load_range.0));
        }
        let at = |line: u64| Place::default().line(usize::try_from(line).unwrap_or(usize::MAX)).field(name);
        for (line, rows, value, moved) in
            stops.iter().filter(|s| s.3 > STOPPED_LOAD * self.greatest_load).take(5)
        {
            doubts.push(
                Finding::doubt(
                    "speed-stops",
                    format!("{name} stands at {value} for {rows} rows while {load} goes on"),
                )
                .at(at(*line))
                .found(format!("{load} moves by {moved:.3} meanwhile")),
            );
        }
        if self.zero_speed > 0 && self.zero_load > STOPPED_LOAD * self.greatest_load {
            doubts.push(
                Finding::doubt(
                    "load-without-speed",
                    format!("{name} is zero in {} rows that have {load}", self.zero_speed),
                )
                .at(at(self.zero_line))
                .found(format!("{load} of {}", self.zero_load))
                .next("a speed pickup that starts late, or an offset of the load cell"),
            );
        }
    }
}
