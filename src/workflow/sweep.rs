//! The sweep of a pull: its raw bytes read again through its columns record, onto the grid.

use std::collections::BTreeMap;

use crate::check::Side;
use crate::curves::Curve;
use crate::curves::SweepFinder;
use crate::derive::ChannelMean;
use crate::quantity::QuantityKind;
use crate::quantity::Unit;
use crate::raw;
use crate::record::channel::ChannelQuantity;
use crate::record::columns::Column;
use crate::record::columns::Columns;
use crate::record::columns::TimeForm;
use crate::store::Book;
use crate::workflow::Failure;
use crate::workflow::Library;

/// Where speed and torque stand in a columns record, with their factors to rpm and N·m.
#[derive(Debug, Clone, Copy)]
pub(super) struct Drive {
    speed: (usize, f64),
    torque: Option<(usize, f64)>,
    power: Option<(usize, f64)>,
    /// With its factor to seconds; none where the log has no time.
    time: Option<(usize, f64)>,
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
        Ok(Self { speed, torque, power, time })
    }

    /// Time in seconds of a row, not finite where there is none.
    fn time(&self, batch: &raw::Batch<'_>, row: usize) -> f64 {
        let value = self.time.and_then(|(at, factor)| Some(batch.columns.get(at)?.get(row)? * factor));
        value.unwrap_or(f64::NAN)
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
        (speed, torque)
    }
}

/// The sweep of a side's pull, or in words why there is none.
///
/// # Errors
/// The store's, or a file that its columns record does not fit.
pub(super) fn of_pull(
    book: &Book,
    library: &Library,
    side: &Side,
    step_rpm: u32,
) -> Result<Result<Curve, String>, Failure> {
    let Some(pull) = &side.pull else {
        return Ok(Err(format!("{} is a build alone", side.name)));
    };
    let mut reason = format!("{} has no raw file with a columns record", side.name);
    for raw_file in &pull.raw {
        let Some(name) = &raw_file.columns else { continue };
        let Some(columns) = library.columns(name)? else {
            reason = format!("the columns record `{name}` of {} is not in the book", side.name);
            continue;
        };
        let drive = match Drive::of(&columns) {
            Ok(drive) => drive,
            Err(why) => {
                reason = why;
                continue;
            }
        };
        let Some(mut reader) = book.raw().open(&raw_file.sha256)? else {
            reason = format!(
                "the raw file {} of {} is not here (SHA-256 {})",
                raw_file.file, side.name, raw_file.sha256
            );
            continue;
        };
        let mut finder = SweepFinder::new(step_rpm);
        let segment = raw_file.segment;
        raw::read(&mut reader, &columns, &mut |batch| {
            if segment.is_none_or(|segment| segment == batch.segment) {
                for row in 0..batch.rows() {
                    let (speed, torque) = drive.row(batch, row);
                    finder.push_at(drive.time(batch, row), speed, torque);
                }
            }
        })?;
        return Ok(finder
            .finish()
            .ok_or_else(|| format!("no loaded sweep was found in {} of {}", raw_file.file, side.name)));
    }
    Ok(Err(reason))
}

/// Means over the sweep of the channels that document conditions, by the channel's word: rows under load between the
/// lowest and highest speed of the sweep. A pull whose files are not here, or hold no sweep, has none.
///
/// # Errors
/// The store's, or a file that its columns record does not fit.
pub(super) fn channel_means(
    book: &Book,
    library: &Library,
    side: &Side,
) -> Result<BTreeMap<String, ChannelMean>, Failure> {
    let conditions = &library.kinds().conditions;
    let wanted: Vec<&str> = conditions
        .iter()
        .filter(|spec| spec.means.is_some() && !side.effective.conditions.contains_key(&spec.name))
        .filter_map(|spec| spec.channel.as_deref())
        .collect();
    let mut means = BTreeMap::new();
    if !wanted.iter().any(|word| side.channels.contains(*word)) {
        return Ok(means);
    }
    let Ok(curve) = of_pull(book, library, side, MEANS_STEP_RPM)? else { return Ok(means) };
    let (Some(lowest), Some(highest)) = (curve.points.first(), curve.points.last()) else { return Ok(means) };
    let speeds = f64::from(lowest.speed_rpm)..=f64::from(highest.speed_rpm);
    for raw_file in side.pull.iter().flat_map(|pull| &pull.raw) {
        let Some(columns) =
            raw_file.columns.as_ref().map(|name| library.columns(name)).transpose()?.flatten()
        else {
            continue;
        };
        let channels: Vec<(usize, &Column)> = columns
            .channels
            .iter()
            .enumerate()
            .filter(|(_, column)| wanted.contains(&column.quantity.word()))
            .collect();
        let Ok(drive) = Drive::of(&columns) else { continue };
        let Some(mut reader) = book.raw().open(&raw_file.sha256)? else { continue };
        let mut sums = vec![Sums::default(); channels.len()];
        raw::read(&mut reader, &columns, &mut |batch| {
            if raw_file.segment.is_some_and(|segment| segment != batch.segment) {
                return;
            }
            for row in 0..batch.rows() {
                let (speed, torque) = drive.row(batch, row);
                if speeds.contains(&speed) && torque > 0.0 {
                    for (sum, (at, _)) in sums.iter_mut().zip(&channels) {
                        sum.add(batch.columns.get(*at).and_then(|column| column.get(row)).copied());
                    }
                }
            }
        })?;
        for (sum, (_, column)) in sums.iter().zip(&channels) {
            if let Some(mut mean) = sum.mean(column, &raw_file.file) {
                // The columns record may name the instrument; else the cell says what reads the condition.
                let fitted = conditions
                    .iter()
                    .filter(|spec| spec.channel.as_deref() == Some(column.quantity.word()))
                    .find_map(|spec| {
                        let fitted = &side.cell.as_ref()?.instruments;
                        fitted.get(&spec.name).or_else(|| fitted.get(column.quantity.word()))
                    });
                mean.instrument = mean.instrument.or_else(|| fitted.cloned());
                means.entry(column.quantity.word().to_owned()).or_insert(mean);
            }
        }
    }
    Ok(means)
}

/// Grid of the sweep whose speeds bound the rows that a channel's mean is taken over, in rpm.
const MEANS_STEP_RPM: u32 = 100;

/// Running mean and squares of a channel (B. Welford, Technometrics 4 (1962), 419).
#[derive(Debug, Clone, Copy, Default)]
struct Sums {
    rows: u64,
    mean: f64,
    squares: f64,
}

impl Sums {
    #[expect(clippy::cast_precision_loss, reason = "a file holds far fewer than 2^53 rows")]
    fn add(&mut self, value: Option<f64>) {
        let Some(value) = value.filter(|value| value.is_finite()) else { return };
        self.rows += 1;
        let apart = value - self.mean;
        self.mean += apart / self.rows as f64;
        self.squares += apart * (value - self.mean);
    }

    #[expect(clippy::cast_precision_loss, reason = "a file holds far fewer than 2^53 rows")]
    fn mean(&self, column: &Column, file: &str) -> Option<ChannelMean> {
        let (unit, kind) = column.quantity.unit(column.unit.as_deref()?)?;
        let deviation = if self.rows > 1 { (self.squares / (self.rows - 1) as f64).sqrt() } else { 0.0 };
        (self.rows > 0).then(|| ChannelMean {
            kind,
            mean_si: unit.to_si(self.mean),
            deviation_si: unit.width_to_si(deviation),
            rows: self.rows,
            file: file.to_owned(),
            text: format!("{:.2} {unit}", self.mean),
            instrument: column.instrument.clone(),
        })
    }
}
