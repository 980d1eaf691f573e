//! One log of a pull: its raw bytes read once through its columns record, onto the grid and into means.

use std::io::Read;
use std::io::Seek;
use std::sync::Arc;

use crate::check::Side;
use crate::curves::Curve;
use crate::curves::SweepFinder;
use crate::quantity::QuantityKind;
use crate::quantity::Unit;
use crate::raw;
use crate::raw::RawError;
use crate::record::channel::ChannelQuantity;
use crate::record::columns::Columns;
use crate::record::columns::TimeForm;
use crate::store::RawReader;
use crate::workflow::Failure;
use crate::workflow::channel_sums::ChannelSums;
use crate::workflow::channel_sums::MEANS_STEP_RPM;
use crate::workflow::doubts_on;

/// Numbers of a log that are kept until its sweep is known: 32 MiB. A longer log is read a second time.
const MOST_KEPT: usize = 4 << 20;

/// Where speed and torque stand in a columns record, with their factors to rpm and N·m.
#[derive(Debug, Clone, Copy)]
pub(super) struct Drive {
    speed: (usize, f64),
    torque: Option<(usize, f64)>,
    power: Option<(usize, f64)>,
    /// With its factor to seconds; none where the log has no time.
    time: Option<(usize, f64)>,
    /// Added to the torque of each row, in N·m: what a doubted instrument is known to have been off by.
    shift: f64,
}

impl Drive {
    /// Finds speed and torque (or power) with units that are known.
    pub(super) fn of(columns: &Columns) -> Result<Self, String> {
        let find = |quantity: ChannelQuantity, kind: QuantityKind, to: f64| {
            let at = columns.channels.iter().position(|column| column.quantity == quantity)?;
            let unit = columns.channels[at].unit.as_deref()?;
            let unit = Unit::parse(unit, kind).ok()?;
            Some((at, unit.to_si(1.0) * to))
        };
        // Rotational speed in SI is radians per second; the grid is in rpm.
        let rpm = 30.0 / std::f64::consts::PI;
        let speed = find(ChannelQuantity::Speed, QuantityKind::RotationalSpeed, rpm)
            .ok_or_else(|| format!("the columns record `{}` names no speed with a unit", columns.name))?;
        let torque = find(ChannelQuantity::Torque, QuantityKind::Torque, 1.0);
        let power = find(ChannelQuantity::Power, QuantityKind::Power, 1.0);
        if torque.is_none() && power.is_none() {
            return Err(format!(
                "the columns record `{}` names neither torque nor power with a unit",
                columns.name
            ));
        }
        // Written as a clock reading, a date or an epoch, time is read as seconds since the file's first row.
        let counted = columns.channels.iter().position(|column| {
            column.quantity == ChannelQuantity::Time && column.time.is_some_and(TimeForm::counts_from_first)
        });
        let time =
            counted.map(|at| (at, 1.0)).or_else(|| find(ChannelQuantity::Time, QuantityKind::Duration, 1.0));
        Ok(Self { speed, torque, power, time, shift: 0.0 })
    }

    /// With the offset that is known of a side's torque.
    pub(super) fn shifted(self, side: &Side) -> Self {
        let shift = doubts_on::offset(side, "torque", QuantityKind::Torque);
        Self { shift: shift.map_or(0.0, |(added, _)| added), ..self }
    }

    /// Times in seconds, speeds in rpm and torques in N·m of a batch; not finite where there are none.
    fn rows(&self, batch: &raw::Batch<'_>, driven: &mut Driven) {
        let of = |column: Option<(usize, f64)>, into: &mut Vec<f64>| {
            into.clear();
            if let Some((at, factor)) = column {
                into.extend(
                    batch.columns.get(at).into_iter().flat_map(|values| values.iter().map(|x| x * factor)),
                );
            }
            into.resize(batch.rows(), f64::NAN);
        };
        of(self.time, &mut driven.times);
        of(Some(self.speed), &mut driven.speeds);
        match (self.torque, self.power) {
            (None, Some(power)) => {
                of(Some(power), &mut driven.torques);
                for (torque, speed) in driven.torques.iter_mut().zip(&driven.speeds) {
                    *torque /= speed * std::f64::consts::PI / 30.0;
                }
            }
            (torque, _) => of(torque, &mut driven.torques),
        }
        if self.shift != 0.0 {
            driven.torques.iter_mut().for_each(|torque| *torque += self.shift);
        }
    }

    /// Speed in rpm and torque in N·m of a row.
    pub(super) fn row(&self, batch: &raw::Batch<'_>, row: usize) -> (f64, f64) {
        let value = |(at, factor): (usize, f64)| {
            batch.columns.get(at).and_then(|column| column.get(row)).map_or(f64::NAN, |x| x * factor)
        };
        let speed = value(self.speed);
        let torque = match (self.torque, self.power) {
            (Some(torque), _) => value(torque),
            (None, Some(power)) => value(power) / (speed * std::f64::consts::PI / 30.0),
            (None, None) => f64::NAN,
        };
        (speed, torque + self.shift)
    }
}

/// What drives the sweep in a batch.
#[derive(Debug, Default)]
struct Driven {
    times: Vec<f64>,
    speeds: Vec<f64>,
    torques: Vec<f64>,
}

/// A log with everything that reading it needs, so that any thread can.
#[derive(Debug)]
pub(super) struct Log<R = RawReader> {
    /// Its bytes.
    pub(super) reader: R,
    /// What its columns mean.
    pub(super) columns: Arc<Columns>,
    /// Where speed and torque stand in them.
    pub(super) drive: Drive,
    /// The part of the file that is the pull's, where it holds several.
    pub(super) segment: Option<usize>,
    /// Grid of the sweep, in rpm; none where the sweep is not asked for.
    pub(super) step_rpm: Option<u32>,
    /// The columns whose means are asked for; none where means are not.
    pub(super) channels: Option<Vec<usize>>,
}

/// What a log gives.
#[derive(Debug, Clone, Default, PartialEq)]
pub(super) struct Logged {
    /// Its sweep on the grid asked for; none where none is asked for or none was found.
    pub(super) curve: Option<Curve>,
    /// Sums of the channels, and the speeds of the means' own grid that the sweep fills, in rpm; none where means are
    /// not asked for or no sweep was found.
    pub(super) sums: Option<(ChannelSums, Vec<u32>)>,
}

/// Memory for the rows of a log, used again from log to log.
#[derive(Debug, Default)]
pub(super) struct Rows {
    /// Speed in rpm, torque in N·m, then the channels.
    columns: Vec<Vec<f64>>,
    /// Rows that were not kept since there were too many.
    beyond: bool,
}

impl Rows {
    fn begin(&mut self, width: usize) {
        self.columns.resize_with(width, Vec::new);
        self.columns.iter_mut().for_each(Vec::clear);
        self.beyond = false;
    }

    /// Keeps the rows of a batch, its speeds and torques given, or lets all go where they become too many.
    fn keep(&mut self, batch: &raw::Batch<'_>, driven: &Driven, channels: &[usize], most: usize) {
        let rows = self.columns.first().map_or(0, Vec::len) + batch.rows();
        self.beyond |= rows.saturating_mul(self.columns.len()) > most;
        if self.beyond {
            self.columns.iter_mut().for_each(Vec::clear);
            return;
        }
        let read = channels.iter().map(|at| batch.columns.get(*at).copied().unwrap_or_default());
        let taken = [driven.speeds.as_slice(), &driven.torques].into_iter().chain(read);
        self.columns.iter_mut().zip(taken).for_each(|(column, values)| column.extend_from_slice(values));
    }
}

impl<R: Read + Seek> Log<R> {
    /// Reads the log on this thread.
    ///
    /// # Errors
    /// A file that its columns record does not fit, or that cannot be read.
    pub(super) fn read(self, rows: &mut Rows) -> Result<Logged, Failure> {
        self.read_keeping(rows, MOST_KEPT)
    }

    fn read_keeping(mut self, rows: &mut Rows, most: usize) -> Result<Logged, Failure> {
        let mut logged = Logged::default();
        // Means have a grid of their own; the sweep's rows are the same on any.
        let mut finder = SweepFinder::new(self.step_rpm.unwrap_or(MEANS_STEP_RPM));
        let mut of_means = (self.channels.is_some()
            && self.step_rpm.is_some_and(|step| step != MEANS_STEP_RPM))
        .then(|| SweepFinder::new(MEANS_STEP_RPM));
        let channels = self.channels.clone().unwrap_or_default();
        rows.begin(if self.channels.is_some() { 2 + channels.len() } else { 0 });
        let mut driven = Driven::default();
        let Self { reader, columns, drive, segment, .. } = &mut self;
        raw::numbers(reader, columns, &mut |batch| {
            if segment.is_some_and(|segment| segment != batch.segment) {
                return;
            }
            drive.rows(batch, &mut driven);
            let Driven { times, speeds, torques } = &driven;
            for ((&time, &speed), &torque) in times.iter().zip(speeds).zip(torques) {
                finder.push_at(time, speed, torque);
                if let Some(finder) = &mut of_means {
                    finder.push_at(time, speed, torque);
                }
            }
            rows.keep(batch, &driven, &channels, most);
        })?;
        let curve = finder.finish();
        let of_means = of_means.map_or_else(|| curve.clone(), SweepFinder::finish);
        if let (Some(swept), Some(_)) = (of_means, &self.channels) {
            let points = swept.points.iter().map(|point| point.speed_rpm).collect();
            logged.sums = Some((self.sums(rows, swept.span, &channels)?, points));
        }
        logged.curve = curve.filter(|_| self.step_rpm.is_some());
        Ok(logged)
    }

    /// Sums of the channels over the sweep, from the rows that were kept or else from the file once more.
    fn sums(&mut self, rows: &Rows, span: (u64, u64), channels: &[usize]) -> Result<ChannelSums, Failure> {
        let mut sums = ChannelSums::new(channels.len());
        if !rows.beyond {
            let kept: Vec<&[f64]> = rows.columns.iter().map(Vec::as_slice).collect();
            sums.add(1, span, &kept);
            return Ok(sums);
        }
        self.reader.rewind().map_err(RawError::from)?;
        let mut first = 1;
        let mut driven = Driven::default();
        let Self { reader, columns, drive, segment, .. } = self;
        raw::numbers(reader, columns, &mut |batch| {
            if segment.is_some_and(|segment| segment != batch.segment) {
                return;
            }
            drive.rows(batch, &mut driven);
            let read = channels.iter().map(|at| batch.columns.get(*at).copied().unwrap_or_default());
            let taken: Vec<&[f64]> =
                [driven.speeds.as_slice(), &driven.torques].into_iter().chain(read).collect();
            sums.add(first, span, &taken);
            first += batch.rows() as u64;
        })?;
        Ok(sums)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::io::Cursor;

    use crate::record::columns::Column;
    use crate::record::columns::Layout;

    /// Idling, two sweeps of which the second is the longer, and coasting down; one cell says nothing.
    fn log() -> Log<Cursor<Vec<u8>>> {
        let mut text = "t,n,m,lambda\n".to_owned();
        let mut row = 0;
        let mut put = |speed: f64, torque: f64| {
            row += 1;
            let lambda = if row % 50 == 0 { "-".to_owned() } else { format!("{:.3}", 0.85 + speed / 1e5) };
            text.push_str(&format!("{:.2},{speed:.1},{torque:.2},{lambda}\n", f64::from(row) / 100.0));
        };
        (0..40).for_each(|_| put(1200.0, -3.0));
        (0..300).for_each(|n| put(2500.0 + 8.0 * f64::from(n), 150.0));
        (0..40).for_each(|_| put(1200.0, -3.0));
        (0..900).for_each(|n| put(3000.0 + 5.0 * f64::from(n), 180.0 + f64::from(n) / 100.0));
        (0..60).for_each(|n| put(7000.0 - 60.0 * f64::from(n), -12.0));
        let column = |header: &str, quantity, unit| Column::by_header(header, quantity, unit);
        let columns = Columns {
            name: "four".to_owned(),
            layout: Layout::default(),
            channels: vec![
                column("t", ChannelQuantity::Time, Some("s")),
                column("n", ChannelQuantity::Speed, Some("rpm")),
                column("m", ChannelQuantity::Torque, Some("N·m")),
                column("lambda", ChannelQuantity::Lambda, None),
            ],
            note: None,
        };
        let drive = Drive::of(&columns).unwrap();
        let reader = Cursor::new(text.into_bytes());
        let columns = Arc::new(columns);
        Log { reader, columns, drive, segment: None, step_rpm: Some(250), channels: Some(vec![3]) }
    }

    #[test]
    fn a_log_too_long_to_keep_gives_the_same() {
        let kept = log().read(&mut Rows::default()).unwrap();
        let again = log().read_keeping(&mut Rows::default(), 100).unwrap();
        assert_eq!(kept, again);
        let curve = kept.curve.unwrap();
        assert_eq!((curve.step_rpm, curve.rows, curve.cut_before), (250, 900, 380));
        // Means have a grid of their own.
        let (_, points) = kept.sums.unwrap();
        assert_eq!((points.first(), points.last()), (Some(&3000), Some(&7500)));
    }

    #[test]
    fn rows_of_an_earlier_log_leave_no_trace() {
        let mut rows = Rows::default();
        let first = log().read(&mut rows).unwrap();
        let mut narrow = log();
        narrow.channels = None;
        assert_eq!(narrow.read(&mut rows).unwrap().curve, first.curve);
        assert_eq!(log().read(&mut rows).unwrap(), first);
    }
}
