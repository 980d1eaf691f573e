//! Means of a log's channels over its sweep, and near each speed of it.

use std::collections::BTreeMap;

use crate::check::Side;
use crate::derive::ChannelMean;
use crate::derive::Means;
use crate::quantity::QuantityKind;
use crate::quantity::Unit;
use crate::record::FieldSpec;
use crate::record::channel::ChannelQuantity;
use crate::record::columns::Column;
use crate::record::columns::Columns;
use crate::workflow::doubts_on;

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

/// The columns whose means are wanted: those that derived figures are made of, and those of conditions that nobody
/// wrote down, by their channels' words.
pub(super) fn summed(columns: &Columns, of_conditions: &[&str]) -> Vec<usize> {
    let wanted = |column: &Column| {
        RUNNING.contains(&column.quantity) || of_conditions.contains(&column.quantity.word())
    };
    let channels = columns.channels.iter().enumerate();
    channels.filter(|(_, column)| wanted(column)).map(|(at, _)| at).collect()
}

/// Sums of speed, torque, power and some channels over the rows of a sweep, in bins of speed.
#[derive(Debug, Clone, Default, PartialEq)]
pub(super) struct ChannelSums {
    channels: usize,
    /// By half steps of speed: where its tallies begin.
    bins: BTreeMap<u32, usize>,
    /// For each bin those of speed, torque and power, then of each channel.
    tallies: Vec<Tally>,
}

impl ChannelSums {
    /// No rows yet, of so many channels.
    pub(super) fn new(channels: usize) -> Self {
        Self { channels, ..Self::default() }
    }

    /// Adds the rows of the sweep, from its first to its last, under load. `rows` holds speeds in rpm, torques in N·m,
    /// then the channels; `first` is the number of their first row.
    pub(super) fn add(&mut self, first: u64, (from, to): (u64, u64), rows: &[&[f64]]) {
        let [speeds, torques, channels @ ..] = rows else { return };
        let inside = |number: u64| {
            usize::try_from(number.saturating_sub(first)).unwrap_or(usize::MAX).min(speeds.len())
        };
        let (mut row, end) = (inside(from), inside(to.saturating_add(1)));
        let bin_of = |row: usize| half_step(speeds[row]).filter(|_| torques[row] > 0.0);
        while row < end {
            let bin = bin_of(row);
            let begun = row;
            while row < end && bin_of(row) == bin {
                row += 1;
            }
            let Some(bin) = bin else { continue };
            let width = DRIVE + self.channels;
            let place = *self.bins.entry(bin).or_insert_with(|| {
                self.tallies.resize(self.tallies.len() + width, Tally::default());
                self.tallies.len() - width
            });
            let tallies = self.tallies.get_mut(place..).unwrap_or_default();
            let Some((driven, read)) = tallies.split_first_chunk_mut::<DRIVE>() else { continue };
            for (&speed, &torque) in speeds[begun..row].iter().zip(&torques[begun..row]) {
                let radians = speed * std::f64::consts::PI / 30.0;
                for (tally, value) in driven.iter_mut().zip([radians, torque, torque * radians]) {
                    tally.add(value);
                }
            }
            for (tally, values) in read.iter_mut().zip(channels) {
                values.iter().take(row).skip(begun).for_each(|value| tally.add(*value));
            }
        }
    }

    /// Means over all rows.
    pub(super) fn whole(&self, of: &Of<'_>) -> Means {
        self.means(self.bins.values(), of)
    }

    /// Means over the rows within half a step of a speed in rpm.
    pub(super) fn near(&self, speed_rpm: u32, of: &Of<'_>) -> Means {
        let middle = speed_rpm / HALF_STEP_RPM;
        self.means(self.bins.range(middle.saturating_sub(1)..=middle).map(|(_, place)| place), of)
    }

    fn means<'a>(&'a self, bins: impl Iterator<Item = &'a usize>, of: &Of<'_>) -> Means {
        let mut sums = vec![Sums::default(); DRIVE + self.channels];
        for place in bins {
            let of_bin = self.tallies.iter().skip(*place);
            sums.iter_mut().zip(of_bin).for_each(|(sum, tally)| sum.join(tally));
        }
        named_means(&sums, of)
    }
}

/// Whose means they are.
pub(super) struct Of<'a> {
    /// The pull.
    pub(super) side: &'a Side,
    /// The raw file.
    pub(super) file: &'a str,
    /// Whether means of speed, torque and power are wanted.
    pub(super) drive: bool,
    /// The columns that were summed.
    pub(super) channels: &'a [Column],
    /// What the schemas say of conditions.
    pub(super) conditions: &'a [FieldSpec],
}

#[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "within the range checked")]
fn half_step(speed_rpm: f64) -> Option<u32> {
    (speed_rpm > 0.0 && speed_rpm < MOST_RPM).then(|| (speed_rpm / f64::from(HALF_STEP_RPM)) as u32)
}

fn named_means(sums: &[Sums], of: &Of<'_>) -> Means {
    let Of { side, file, drive: with_drive, channels, conditions } = of;
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
    for ((word, kind, unit), sum) in drive.into_iter().zip(sums).filter(|_| *with_drive) {
        let column = Unit::parse(unit, kind)
            .ok()
            .and_then(|unit| sum.mean(kind, |si| format!("{:.2} {unit}", unit.from_si(si)), file));
        if let Some(mut mean) = column {
            mean.deviation_si = sum.scatter();
            mean.instrument = fitted(word);
            mean.offset_si = doubts_on::offset(side, word, kind).map(|(_, u)| u);
            means.insert(word.to_owned(), mean);
        }
    }
    for (sum, column) in sums.iter().skip(DRIVE).zip(*channels) {
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
        if let Some((added, u)) = doubts_on::offset(side, word, kind) {
            mean.mean_si += added;
            mean.offset_si = Some(u);
            mean.text = format!("{:.3} {unit}, offset added", unit.from_si(mean.mean_si));
        }
        let swept = RUNNING.contains(&column.quantity);
        mean.deviation_si = unit.width_to_si(if swept { sum.scatter() } else { mean.deviation_si });
        // The columns record may name the instrument; else the cell says what reads the channel.
        mean.instrument = column.instrument.clone().or_else(|| fitted(word));
        means.entry(word.to_owned()).or_insert(mean);
    }
    means
}

/// Sums of the rows of one bin about the first of them. Since that row is one of those whose squares are summed, no
/// more digits are lost than the bin's number of rows has (T. Chan, G. Golub, R. LeVeque, Am. Stat. 37 (1983), 242).
#[derive(Debug, Clone, Copy, Default, PartialEq)]
struct Tally {
    rows: u64,
    first: f64,
    apart: f64,
    squares: f64,
}

impl Tally {
    #[inline]
    fn add(&mut self, value: f64) {
        if !value.is_finite() {
            return;
        }
        if self.rows == 0 {
            self.first = value;
        }
        self.rows += 1;
        let apart = value - self.first;
        self.apart += apart;
        self.squares += apart * apart;
    }
}

/// Mean and squares about it of several bins.
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
    /// Takes in another bin (Chan and others, as above).
    #[expect(clippy::cast_precision_loss, reason = "a file holds far fewer than 2^53 rows")]
    fn join(&mut self, bin: &Tally) {
        let rows = self.rows + bin.rows;
        if bin.rows == 0 {
            return;
        }
        let (here, there, all) = (self.rows as f64, bin.rows as f64, rows as f64);
        let mean = bin.first + bin.apart / there;
        let squares = (bin.squares - bin.apart * bin.apart / there).max(0.0);
        self.within += squares;
        self.bins += 1;
        let apart = mean - self.mean;
        self.mean += apart * there / all;
        self.squares += squares + apart * apart * here * there / all;
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
            offset_si: None,
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    proptest! {
        #[test]
        fn bins_joined_are_the_rows_taken_at_once(
            rows in prop::collection::vec((3000.0..3400.0_f64, 1.0..1e4_f64, 1e-3..1e6_f64), 3..60), cut in 0usize..60
        ) {
            let columns = [0, 1, 2].map(|at| rows.iter().map(|row| [row.0, row.1, row.2][at]).collect::<Vec<f64>>());
            let mut sums = ChannelSums::new(1);
            // In two batches, as a log longer than its memory comes.
            let cut = cut.min(rows.len());
            sums.add(1, (1, rows.len() as u64), &columns.each_ref().map(|column| &column[..cut]));
            sums.add(cut as u64 + 1, (1, rows.len() as u64), &columns.each_ref().map(|column| &column[cut..]));
            let mut whole = Sums::default();
            for place in sums.bins.values() {
                whole.join(&sums.tallies[place + DRIVE]);
            }
            let count = rows.len() as f64;
            let mean = columns[2].iter().sum::<f64>() / count;
            let squares: f64 = columns[2].iter().map(|value| (value - mean) * (value - mean)).sum();
            prop_assert_eq!(whole.rows, rows.len() as u64);
            prop_assert!((whole.mean - mean).abs() <= 1e-12 * mean.abs());
            prop_assert!((whole.squares - squares).abs() <= 1e-9 * squares.max(1e-12 * mean * mean));
        }
    }

    #[test]
    fn rows_outside_the_sweep_or_without_load_count_for_nothing() {
        let speeds = [3010.0, 3020.0, 3030.0, 3040.0];
        let torques = [100.0, -5.0, 100.0, 100.0];
        let values = [9.0, 9.0, f64::NAN, 7.0];
        let mut sums = ChannelSums::new(1);
        sums.add(1, (2, 4), &[&speeds, &torques, &values]);
        let tallies = &sums.tallies[sums.bins[&60]..];
        assert_eq!((tallies[1].rows, tallies[DRIVE].rows), (2, 1));
        assert!((tallies[DRIVE].first - 7.0).abs() < 1e-12);
    }
}
