//! The sweep of a pull: its raw bytes read again through its columns record, onto the grid.

use std::collections::BTreeMap;
use std::io::Read;

use crate::check::Side;
use crate::curves::Curve;
use crate::curves::SweepFinder;
use crate::derive::ChannelMean;
use crate::derive::Means;
use crate::quantity::QuantityKind;
use crate::quantity::Unit;
use crate::raw;
use crate::record::FieldSpec;
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
pub(super) fn of_pull(book: &Book, library: &Library, side: &Side, step_rpm: u32) -> Result<Found, Failure> {
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
        let found = curve(&mut reader, &columns, &drive, raw_file.segment, step_rpm)?;
        return Ok(
            found.ok_or_else(|| format!("no loaded sweep was found in {} of {}", raw_file.file, side.name))
        );
    }
    Ok(Err(reason))
}

/// The sweep in a table of rows, or none.
fn curve(
    reader: &mut dyn Read,
    columns: &Columns,
    drive: &Drive,
    segment: Option<usize>,
    step_rpm: u32,
) -> Result<Option<Curve>, Failure> {
    let mut finder = SweepFinder::new(step_rpm);
    raw::read(reader, columns, &mut |batch| {
        if segment.is_none_or(|segment| segment == batch.segment) {
            for row in 0..batch.rows() {
                let (speed, torque) = drive.row(batch, row);
                finder.push_at(drive.time(batch, row), speed, torque);
            }
        }
    })?;
    Ok(finder.finish())
}

/// Means over the sweep and near each speed of it.
#[derive(Debug, Clone, Default)]
pub(super) struct SweepMeans {
    /// Over the rows of the sweep, by the channel's word.
    pub(super) whole: Means,
    /// Near each grid point, by speed in rpm.
    pub(super) by_speed: BTreeMap<u32, Means>,
}

/// A sweep, or in words why there is none.
pub(super) type Found = Result<Curve, String>;

/// Which channels are wanted.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Channels {
    /// Those alone that document a condition that nobody wrote down: what a correction needs.
    OfConditions,
    /// All that derived figures are made of.
    All,
}

/// Means of the channels that derived figures are made of: those that document a condition that nobody wrote down, and
/// torque, power, speed, fuel, air and mixture. A pull whose files are not here, or hold no sweep, has none.
///
/// Torque and power are of the rows as read; of power alone torque follows from the speed. `known` is the sweep of the
/// pull on the means' own grid, where it was found before: the file that holds it is read once less.
///
/// # Errors
/// The store's, or a file that its columns record does not fit.
pub(super) fn channel_means(
    book: &Book,
    library: &Library,
    side: &Side,
    which: Channels,
    known: Option<&Curve>,
) -> Result<SweepMeans, Failure> {
    let conditions = &library.kinds().conditions;
    let of_conditions: Vec<&str> = conditions
        .iter()
        .filter(|spec| spec.means.is_some() && !side.effective.conditions.contains_key(&spec.name))
        .filter_map(|spec| spec.channel.as_deref())
        .collect();
    // The sweep that is known is that of the first file that can be read.
    let mut known = known;
    let mut means = SweepMeans::default();
    let any = of_conditions.iter().any(|word| side.channels.contains(*word));
    if which == Channels::OfConditions && !any {
        return Ok(means);
    }
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
            .filter(|(_, column)| {
                RUNNING.contains(&column.quantity) || of_conditions.contains(&column.quantity.word())
            })
            .collect();
        let Ok(drive) = Drive::of(&columns) else { continue };
        let Some(mut reader) = book.raw().open(&raw_file.sha256)? else { continue };
        let found = match known.take() {
            Some(curve) => Some(curve.clone()),
            None => {
                let found = curve(&mut reader, &columns, &drive, raw_file.segment, MEANS_STEP_RPM)?;
                let Some(again) = book.raw().open(&raw_file.sha256)? else { continue };
                reader = again;
                found
            }
        };
        let Some(curve) = found else { continue };
        let mut bins: BTreeMap<u32, Vec<Sums>> = BTreeMap::new();
        let mut row_number = 0_u64;
        raw::read(&mut reader, &columns, &mut |batch| {
            if raw_file.segment.is_some_and(|segment| segment != batch.segment) {
                return;
            }
            for row in 0..batch.rows() {
                row_number += 1;
                let (speed, torque) = drive.row(batch, row);
                let swept = (curve.span.0..=curve.span.1).contains(&row_number) && torque > 0.0;
                let Some(bin) = half_step(speed).filter(|_| swept) else { continue };
                let sums = bins.entry(bin).or_insert_with(|| vec![Sums::default(); DRIVE + channels.len()]);
                let radians = speed * std::f64::consts::PI / 30.0;
                let driven = [radians, torque, torque * radians].into_iter().map(Some);
                let read = channels
                    .iter()
                    .map(|(at, _)| batch.columns.get(*at).and_then(|column| column.get(row)).copied());
                sums.iter_mut().zip(driven.chain(read)).for_each(|(sum, value)| sum.add(value));
            }
        })?;
        let near = |bins: &mut dyn Iterator<Item = &Vec<Sums>>| -> Means {
            let mut sums = vec![Sums::default(); DRIVE + channels.len()];
            for bin in bins {
                sums.iter_mut().zip(bin).for_each(|(sum, part)| sum.join(part));
            }
            named_means(&sums, &channels, &raw_file.file, side, conditions)
        };
        let found = near(&mut bins.values());
        for (word, mean) in found {
            means.whole.entry(word).or_insert(mean);
        }
        for point in &curve.points {
            let middle = point.speed_rpm / HALF_STEP_RPM;
            let found = near(&mut bins.range(middle.saturating_sub(1)..=middle).map(|(_, sums)| sums));
            let known = means.by_speed.entry(point.speed_rpm).or_default();
            for (word, mean) in found {
                known.entry(word).or_insert(mean);
            }
        }
    }
    Ok(means)
}

/// The channels beside conditions that derived figures are made of.
const RUNNING: [ChannelQuantity; 5] = [
    ChannelQuantity::FuelFlow,
    ChannelQuantity::AirFlow,
    ChannelQuantity::Lambda,
    ChannelQuantity::AirFuelRatio,
    ChannelQuantity::ManifoldPressure,
];
/// What the drive gives to each row: speed, torque, power.
const DRIVE: usize = 3;
/// Grid of the sweep near whose points means are taken, in rpm.
pub(super) const MEANS_STEP_RPM: u32 = 100;
/// Rows are gathered in bins of half a step, so that a grid point takes the two beside it.
const HALF_STEP_RPM: u32 = MEANS_STEP_RPM / 2;
/// No engine turns faster; bins are bounded by it.
const MOST_RPM: f64 = 100_000.0;

#[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "within the range checked")]
fn half_step(speed_rpm: f64) -> Option<u32> {
    (speed_rpm > 0.0 && speed_rpm < MOST_RPM).then(|| (speed_rpm / f64::from(HALF_STEP_RPM)) as u32)
}

fn named_means(
    sums: &[Sums],
    channels: &[(usize, &Column)],
    file: &str,
    side: &Side,
    conditions: &[FieldSpec],
) -> Means {
    let fitted = |word: &str| {
        let fitted = &side.cell.as_ref()?.instruments;
        let condition = conditions.iter().find(|spec| spec.channel.as_deref() == Some(word));
        condition.and_then(|spec| fitted.get(&spec.name)).or_else(|| fitted.get(word)).cloned()
    };
    let mut means = Means::new();
    let drive = [
        ("speed", QuantityKind::RotationalSpeed, "rpm"),
        ("torque", QuantityKind::Torque, "N·m"),
        ("power", QuantityKind::Power, "kW"),
    ];
    for ((word, kind, unit), sum) in drive.into_iter().zip(sums) {
        let column = Unit::parse(unit, kind)
            .ok()
            .and_then(|unit| sum.mean(kind, |si| format!("{:.2} {unit}", unit.from_si(si)), file));
        if let Some(mut mean) = column {
            mean.deviation_si = sum.scatter();
            mean.instrument = fitted(word);
            means.insert(word.to_owned(), mean);
        }
    }
    for (sum, (_, column)) in sums.iter().skip(DRIVE).zip(channels) {
        let word = column.quantity.word();
        // A ratio needs no unit to be understood.
        let ratio = match column.quantity {
            ChannelQuantity::Lambda => "lambda",
            ChannelQuantity::AirFuelRatio => "AFR",
            _ => "",
        };
        let Some((unit, kind)) = column.quantity.unit(column.unit.as_deref().unwrap_or(ratio)) else {
            continue;
        };
        let Some(mut mean) = sum.mean(
            kind,
            |value| format!("{value:.*} {unit}", if value.abs() < 10.0 { 4 } else { 2 }),
            file,
        ) else {
            continue;
        };
        mean.mean_si = unit.to_si(mean.mean_si);
        let swept = RUNNING.contains(&column.quantity);
        mean.deviation_si = unit.width_to_si(if swept { sum.scatter() } else { mean.deviation_si });
        // The columns record may name the instrument; else the cell says what reads the channel.
        mean.instrument = column.instrument.clone().or_else(|| fitted(word));
        means.entry(word.to_owned()).or_insert(mean);
    }
    means
}

/// Running mean and squares of a channel (B. Welford, Technometrics 4 (1962), 419).
#[derive(Debug, Clone, Copy, Default)]
struct Sums {
    rows: u64,
    mean: f64,
    squares: f64,
    /// Squares about the mean of each bin that was joined, and how many bins.
    within: f64,
    bins: u64,
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

    /// Takes in what another run of rows gave (T. Chan, G. Golub, R. LeVeque, Am. Stat. 37 (1983), 242).
    #[expect(clippy::cast_precision_loss, reason = "a file holds far fewer than 2^53 rows")]
    fn join(&mut self, other: &Self) {
        let rows = self.rows + other.rows;
        if other.rows == 0 {
            return;
        }
        self.within += other.squares;
        self.bins += 1;
        let (here, there, all) = (self.rows as f64, other.rows as f64, rows as f64);
        let apart = other.mean - self.mean;
        self.mean += apart * there / all;
        self.squares += other.squares + apart * apart * here * there / all;
        self.rows = rows;
    }

    /// The scatter of its rows about the means of their bins: what a sweep changes is no error of its mean.
    #[expect(clippy::cast_precision_loss, reason = "a file holds far fewer than 2^53 rows")]
    fn scatter(&self) -> f64 {
        let left = self.rows.saturating_sub(self.bins);
        if left > 0 { (self.within / left as f64).sqrt() } else { 0.0 }
    }

    /// The mean, in the unit of what was added, which the caller puts into SI.
    #[expect(clippy::cast_precision_loss, reason = "a file holds far fewer than 2^53 rows")]
    fn mean(&self, kind: QuantityKind, text: impl Fn(f64) -> String, file: &str) -> Option<ChannelMean> {
        let deviation = if self.rows > 1 { (self.squares / (self.rows - 1) as f64).sqrt() } else { 0.0 };
        (self.rows > 0).then(|| ChannelMean {
            kind,
            mean_si: self.mean,
            deviation_si: deviation,
            rows: self.rows,
            file: file.to_owned(),
            text: text(self.mean),
            place: String::new(),
            instrument: None,
        })
    }
}
