//! The sweep of a pull: its raw bytes read again through its columns record, onto the grid.

use std::collections::BTreeMap;

use crate::check::Side;
use crate::curves::Curve;
use crate::curves::SweepFinder;
use crate::derive::ChannelMean;
use crate::quantity::QuantityKind;
use crate::quantity::Unit;
use crate::raw;
use crate::record::RawFile;
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

/// A pull's curve, or in words why there is none.
pub(super) type Found = Result<Curve, String>;

/// Means of channels over the sweep, by the channel's word.
pub(super) type Means = BTreeMap<String, ChannelMean>;

/// The sweep of a side's pull, or in words why there is none.
///
/// # Errors
/// The store's, or a file that its columns record does not fit.
pub(super) fn of_pull(book: &Book, library: &Library, side: &Side, step_rpm: u32) -> Result<Found, Failure> {
    Ok(read(book, library, side, step_rpm, &[])?.0)
}

/// Means over the sweep of the channels that document conditions and of lambda, by the channel's word: rows under load
/// between the lowest and highest speed of the sweep. A pull whose files are not here, or hold no sweep, has none.
///
/// # Errors
/// The store's, or a file that its columns record does not fit.
pub(super) fn channel_means(book: &Book, library: &Library, side: &Side) -> Result<Means, Failure> {
    if wanted(library, side).iter().any(|word| side.channels.contains(*word)) {
        Ok(curve_and_means(book, library, side, MEANS_STEP_RPM)?.1)
    } else {
        Ok(Means::new())
    }
}

/// The sweep, and the means of the channels, from one reading of the file that holds both.
///
/// # Errors
/// As [`channel_means`].
pub(super) fn curve_and_means(
    book: &Book,
    library: &Library,
    side: &Side,
    step_rpm: u32,
) -> Result<(Found, Means), Failure> {
    read(book, library, side, step_rpm, &wanted(library, side))
}

/// The channels whose means say something of a side that nobody typed.
fn wanted<'a>(library: &'a Library, side: &Side) -> Vec<&'a str> {
    let conditions = library.kinds().conditions.iter();
    conditions
        .filter(|spec| !side.effective.conditions.contains_key(&spec.name))
        .filter_map(|spec| spec.channel.as_deref())
        .chain(std::iter::once(ChannelQuantity::Lambda.word()))
        .collect()
}

/// Grid of the sweep whose speeds bound the rows that a channel's mean is taken over, in rpm.
const MEANS_STEP_RPM: u32 = 100;

fn read(
    book: &Book,
    library: &Library,
    side: &Side,
    step_rpm: u32,
    wanted: &[&str],
) -> Result<(Found, Means), Failure> {
    let mut means = Means::new();
    let Some(pull) = &side.pull else {
        return Ok((Err(format!("{} is a build alone", side.name)), means));
    };
    let mut reason = format!("{} has no raw file with a columns record", side.name);
    let mut others: Vec<&RawFile> = Vec::new();
    let mut found = None;
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
        if found.is_some() {
            others.push(raw_file);
            continue;
        }
        let Some(mut reader) = book.raw().open(&raw_file.sha256)? else {
            reason = format!(
                "the raw file {} of {} is not here (SHA-256 {})",
                raw_file.file, side.name, raw_file.sha256
            );
            continue;
        };
        let mut finder = SweepFinder::new(step_rpm);
        // The rows that means are taken over are those of a sweep on a grid of its own.
        let mut bounds =
            (step_rpm != MEANS_STEP_RPM && !wanted.is_empty()).then(|| SweepFinder::new(MEANS_STEP_RPM));
        let mut binned = Binned::of(&columns, wanted);
        let segment = raw_file.segment;
        raw::read(&mut reader, &columns, &mut |batch| {
            if segment.is_none_or(|segment| segment == batch.segment) {
                for row in 0..batch.rows() {
                    let (speed, torque) = drive.row(batch, row);
                    let time = drive.time(batch, row);
                    finder.push_at(time, speed, torque);
                    if let Some(bounds) = &mut bounds {
                        bounds.push_at(time, speed, torque);
                    }
                    binned.add(batch, row, speed, torque);
                }
            }
        })?;
        let curve = finder.finish();
        let range = range(bounds.map_or_else(|| curve.clone(), SweepFinder::finish).as_ref());
        if let Some(range) = range {
            binned.into_means(range, &raw_file.file, library, side, &mut means);
        }
        let curve =
            curve.ok_or_else(|| format!("no loaded sweep was found in {} of {}", raw_file.file, side.name));
        found = Some((curve, range));
    }
    let Some((curve, range)) = found else { return Ok((Err(reason), means)) };
    if let Some(range) = range.filter(|_| !wanted.is_empty()) {
        for raw_file in others {
            other_means(book, library, side, raw_file, range, wanted, &mut means)?;
        }
    }
    Ok((curve, means))
}

fn range(curve: Option<&Curve>) -> Option<(u32, u32)> {
    let points = &curve?.points;
    Some((points.first()?.speed_rpm, points.last()?.speed_rpm))
}

/// Means of the channels of a pull's second and later files.
fn other_means(
    book: &Book,
    library: &Library,
    side: &Side,
    raw_file: &RawFile,
    range: (u32, u32),
    wanted: &[&str],
    means: &mut Means,
) -> Result<(), Failure> {
    let Some(columns) = raw_file.columns.as_ref().map(|name| library.columns(name)).transpose()?.flatten()
    else {
        return Ok(());
    };
    let Ok(drive) = Drive::of(&columns) else { return Ok(()) };
    let Some(mut reader) = book.raw().open(&raw_file.sha256)? else { return Ok(()) };
    let mut binned = Binned::of(&columns, wanted);
    raw::read(&mut reader, &columns, &mut |batch| {
        if raw_file.segment.is_none_or(|segment| segment == batch.segment) {
            for row in 0..batch.rows() {
                let (speed, torque) = drive.row(batch, row);
                binned.add(batch, row, speed, torque);
            }
        }
    })?;
    binned.into_means(range, &raw_file.file, library, side, means);
    Ok(())
}

/// Sums of channels by speed, so that the rows of a sweep can be told once its ends are known.
struct Binned<'c> {
    channels: Vec<(usize, &'c Column)>,
    /// For each channel, by speed: rows on a multiple of the grid, then rows above it and below the next.
    sums: Vec<Vec<Sums>>,
}

impl<'c> Binned<'c> {
    fn of(columns: &'c Columns, wanted: &[&str]) -> Self {
        let channels: Vec<(usize, &Column)> = columns
            .channels
            .iter()
            .enumerate()
            .filter(|(_, column)| wanted.contains(&column.quantity.word()))
            .collect();
        Self { sums: vec![Vec::new(); channels.len()], channels }
    }

    fn add(&mut self, batch: &raw::Batch<'_>, row: usize, speed: f64, torque: f64) {
        if self.channels.is_empty() || !(torque > 0.0 && speed > 0.0 && speed < FASTEST_RPM) {
            return;
        }
        let bin = bin(speed);
        for ((at, _), sums) in self.channels.iter().zip(&mut self.sums) {
            let value = batch.columns.get(*at).and_then(|column| column.get(row)).copied();
            let Some(value) = value.filter(|value| value.is_finite()) else { continue };
            if sums.len() <= bin {
                sums.resize(bin + 1, Sums::default());
            }
            if let Some(sum) = sums.get_mut(bin) {
                sum.add(value);
            }
        }
    }

    fn into_means(
        self,
        (lowest, highest): (u32, u32),
        file: &str,
        library: &Library,
        side: &Side,
        means: &mut Means,
    ) {
        let (first, last) = (bin(f64::from(lowest)), bin(f64::from(highest)));
        for ((_, column), sums) in self.channels.iter().zip(&self.sums) {
            let inside = sums.iter().take(last + 1).skip(first);
            let sum = inside.fold(Sums::default(), |whole, part| whole.and(*part));
            let Some(mut mean) = sum.mean(column, file) else { continue };
            // The columns record may name the instrument; else the cell says what reads the condition.
            let conditions = library.kinds().conditions.iter();
            let fitted = conditions
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

/// Rows at this speed or above say nothing of a channel: no engine turns so fast.
const FASTEST_RPM: f64 = 100_000.0;

#[expect(
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    reason = "a positive speed below the fastest"
)]
fn bin(speed: f64) -> usize {
    let step = f64::from(MEANS_STEP_RPM);
    let below = libm::floor(speed / step);
    2 * below as usize + usize::from(speed > below * step)
}

/// Running mean and squares of a channel (B. Welford, Technometrics 4 (1962), 419), joined by parts (T. Chan and others
/// 1979, from memory).
#[derive(Debug, Clone, Copy, Default)]
struct Sums {
    rows: u64,
    mean: f64,
    squares: f64,
}

impl Sums {
    #[expect(clippy::cast_precision_loss, reason = "a file holds far fewer than 2^53 rows")]
    fn add(&mut self, value: f64) {
        self.rows += 1;
        let apart = value - self.mean;
        self.mean += apart / self.rows as f64;
        self.squares += apart * (value - self.mean);
    }

    #[expect(clippy::cast_precision_loss, reason = "a file holds far fewer than 2^53 rows")]
    fn and(self, other: Self) -> Self {
        if self.rows == 0 || other.rows == 0 {
            return if self.rows == 0 { other } else { self };
        }
        let (a, b) = (self.rows as f64, other.rows as f64);
        let apart = other.mean - self.mean;
        Self {
            rows: self.rows + other.rows,
            mean: self.mean + apart * b / (a + b),
            squares: self.squares + other.squares + apart * apart * a * b / (a + b),
        }
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
