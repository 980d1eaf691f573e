//! Power against torque times speed, in the file's own units; fuel flow against specific consumption times power.

use crate::finding::Finding;
use crate::finding::Place;
use crate::raw::checks::thin::Thin;
use crate::raw::statistics::{Running, median};
use crate::raw::summary::Batch;
use crate::record::channel::ChannelQuantity;
use crate::record::columns::Column;

/// How far the median ratio may be from one, as a share: rounding to three digits, no more.
const AGREES: f64 = 0.004;

/// How far a single row may be off, as a share of its power.
const ROW_AGREES: f64 = 0.02;

/// And as a share of the greatest power, which lets small rounded numbers pass.
const ROW_ROUNDING: f64 = 0.003;

/// Rows below this share of the greatest power are left out of medians: there rounding is all.
const LOADED: f64 = 0.1;

/// Rows named in a doubt.
const NAMED: usize = 5;

/// A pair of units in which power and torque may be written, speed being in rpm.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(in crate::raw) struct PowerUnits {
    pub(in crate::raw) torque: &'static str,
    pub(in crate::raw) power: &'static str,
}

/// The pairs that equipment writes. Torque × rpm ÷ power is 5252.113, 9549.297, 7023.496 and so on.
const PAIRS: [PowerUnits; 7] = [
    PowerUnits { torque: "lb-ft", power: "hp" },
    PowerUnits { torque: "N·m", power: "kW" },
    PowerUnits { torque: "N·m", power: "PS" },
    PowerUnits { torque: "N·m", power: "hp" },
    PowerUnits { torque: "kgf·m", power: "PS" },
    PowerUnits { torque: "N·m", power: "W" },
    PowerUnits { torque: "lb-ft", power: "kW" },
];

/// What torque × rpm ÷ power of a file says about its units.
#[derive(Debug, Clone, PartialEq)]
pub(in crate::raw) struct Fit {
    /// The median of torque × rpm ÷ power.
    pub(in crate::raw) ratio: f64,
    /// The pairs that it fits; more than one where two lie within the tolerance.
    pub(in crate::raw) units: Vec<PowerUnits>,
}

impl PowerUnits {
    /// Torque × rpm ÷ power in this pair of units.
    pub(in crate::raw) fn ratio(self) -> Option<f64> {
        let (torque, _) = ChannelQuantity::Torque.unit(self.torque)?;
        let (power, _) = ChannelQuantity::Power.unit(self.power)?;
        let (speed, _) = ChannelQuantity::Speed.unit("rpm")?;
        Some(power.factor() / (torque.factor() * speed.factor()))
    }
}

/// Finds the pairs of units in which power is torque times speed (in rpm), if the rows agree with each other at all.
pub(in crate::raw) fn fitting_units(torque: &[f64], speed: &[f64], power: &[f64]) -> Option<Fit> {
    let ratio = median_ratio(torque, speed, power)?;
    let units = PAIRS
        .into_iter()
        .filter(|pair| pair.ratio().is_some_and(|expected| (ratio / expected - 1.0).abs() < AGREES))
        .collect();
    Some(Fit { ratio, units })
}

/// The median of torque × speed ÷ power over the loaded rows, if three quarters of them agree on it within 2 %.
fn median_ratio(torque: &[f64], speed: &[f64], power: &[f64]) -> Option<f64> {
    let greatest = power.iter().copied().map(f64::abs).fold(0.0, f64::max);
    let ratios: Vec<f64> = torque
        .iter()
        .zip(speed)
        .zip(power)
        .filter(|(_, p)| p.abs() > LOADED * greatest)
        .map(|((t, n), p)| t * n / p)
        .filter(|ratio| ratio.is_finite() && *ratio > 0.0)
        .collect();
    let middle = median(ratios.clone())?;
    let close = ratios.iter().filter(|r| (*r / middle - 1.0).abs() < ROW_AGREES).count();
    (close * 4 >= ratios.len() * 3).then_some(middle)
}

/// Watches one power channel against one torque channel.
pub(super) struct PowerCheck {
    speed: usize,
    torque: usize,
    power: usize,
    /// Torque × speed times this is power.
    factor: f64,
    /// Line, power found and expected of rows that are off.
    off: Vec<(u64, f64, f64)>,
    more_off: u64,
}

impl PowerCheck {
    /// Every pairing of the file's power and torque channels with known units.
    pub(super) fn all(columns: &[Column]) -> Vec<Self> {
        let of = |quantity| columns.iter().enumerate().filter(move |(_, c)| c.quantity == quantity);
        let factor =
            |column: &Column| column.quantity.unit(column.unit.as_deref()?).map(|(unit, _)| unit.factor());
        let mut checks = Vec::new();
        let Some((speed, speed_column)) = of(ChannelQuantity::Speed).next() else {
            return checks;
        };
        for (power, power_column) in of(ChannelQuantity::Power) {
            for (torque, torque_column) in of(ChannelQuantity::Torque) {
                let factors = (factor(speed_column), factor(torque_column), factor(power_column));
                if let (Some(n), Some(t), Some(p)) = factors
                    && checks.len() < 16
                {
                    let factor = n * t / p;
                    checks.push(Self { speed, torque, power, factor, off: Vec::new(), more_off: 0 });
                }
            }
        }
        checks
    }

    pub(super) fn rows(&mut self, batch: &Batch<'_>) {
        let columns = batch.columns;
        let (Some(speed), Some(torque), Some(power)) =
            (columns.get(self.speed), columns.get(self.torque), columns.get(self.power))
        else {
            return;
        };
        for (row, ((n, t), p)) in speed.iter().zip(*torque).zip(*power).enumerate() {
            let expected = t * n * self.factor;
            // A missing value makes the difference NaN, which is not greater than anything.
            if (expected - p).abs() > ROW_AGREES * p.abs().max(expected.abs()) {
                if self.off.len() < 1000 {
                    self.off.push((batch.lines[row], *p, expected));
                } else {
                    self.more_off += 1;
                }
            }
        }
    }
}

/// Says which rows, or whether all, contradict torque times speed.
pub(super) fn finish(
    checks: &[PowerCheck],
    thin: &Thin,
    columns: &[Column],
    running: &[Running],
    doubts: &mut Vec<Finding>,
) {
    let mut powers: Vec<usize> = checks.iter().map(|c| c.power).collect();
    powers.dedup();
    for power in powers {
        let ratio_of = |check: &&PowerCheck| {
            median_ratio(thin.column(check.torque), thin.column(check.speed), thin.column(check.power))
                .map(|ratio| ratio * check.factor)
        };
        // Of several torques, the one that suits this power best is its own.
        let mine = checks.iter().filter(|c| c.power == power);
        let best = mine.min_by(|a, b| {
            let distance = |c: &&PowerCheck| ratio_of(c).map_or(f64::INFINITY, |r| (r - 1.0).abs());
            distance(a).total_cmp(&distance(b))
        });
        let Some(best) = best else {
            continue;
        };
        let Some(ratio) = ratio_of(&best) else {
            scattered(best, columns, running, doubts);
            continue;
        };
        if (ratio - 1.0).abs() > AGREES {
            systematic(best, ratio, thin, columns, doubts);
        } else {
            single_rows(best, columns, running, doubts);
        }
    }
}

fn greatest(running: &[Running], channel: usize) -> f64 {
    running[channel].range().map_or(0.0, |(least, greatest)| least.abs().max(greatest.abs()))
}

fn single_rows(check: &PowerCheck, columns: &[Column], running: &[Running], doubts: &mut Vec<Finding>) {
    let allowed = ROW_ROUNDING * greatest(running, check.power);
    let (power, torque) = (&columns[check.power].name, &columns[check.torque].name);
    let off: Vec<_> =
        check.off.iter().filter(|(_, found, expected)| (found - expected).abs() > allowed).collect();
    for (line, found, expected) in off.iter().take(NAMED) {
        doubts.push(
            Finding::doubt("power-disagrees", format!("{power} is not {torque} times speed in this row"))
                .at(Place::default().line(usize::try_from(*line).unwrap_or(usize::MAX)).field(power.as_str()))
                .found(found.to_string())
                .expected(format!("{expected:.2}"))
                .next("see whether a number was copied wrongly; the file's numbers stay as they are"),
        );
    }
    if off.len() > NAMED {
        let message = format!(
            "{} rows in all where {power} is not {torque} times speed",
            off.len() as u64 + check.more_off
        );
        doubts.push(Finding::doubt("power-disagrees", message).at(Place::default().field(power.as_str())));
    }
}

fn systematic(check: &PowerCheck, ratio: f64, thin: &Thin, columns: &[Column], doubts: &mut Vec<Finding>) {
    let (power, torque) = (&columns[check.power], &columns[check.torque]);
    let fit = fitting_units(thin.column(check.torque), thin.column(check.speed), thin.column(check.power));
    let unit = |column: &Column| column.unit.clone().unwrap_or_default();
    let next = match fit.as_ref().and_then(|f| f.units.first()) {
        Some(pair) => format!("the numbers fit {} and {} at rpm: is a unit wrong?", pair.torque, pair.power),
        None if (0.85..=1.15).contains(&ratio) => {
            format!("power × {ratio:.4} would agree: is one of the two corrected and the other observed?")
        }
        None => "is a unit wrong, or is torque measured behind a gear?".to_owned(),
    };
    let found = format!("torque × speed ÷ power of {ratio:.4} in {} and {}", unit(torque), unit(power));
    doubts.push(
        Finding::doubt("power-disagrees", format!("{} is not {} times speed", power.name, torque.name))
            .at(Place::default().field(power.name.as_str()))
            .found(found)
            .expected("1.0000")
            .next(next),
    );
}

fn scattered(check: &PowerCheck, columns: &[Column], running: &[Running], doubts: &mut Vec<Finding>) {
    let loaded = LOADED * greatest(running, check.power);
    let off = check.off.iter().filter(|(_, found, _)| found.abs() > loaded).count();
    if off == 0 {
        return;
    }
    let (power, torque) = (&columns[check.power].name, &columns[check.torque].name);
    let message = format!("{power} and {torque} times speed agree in no fixed ratio");
    doubts.push(
        Finding::doubt("power-disagrees", message)
            .at(Place::default().field(power.as_str()))
            .found(format!("{off} rows or more off by over 2 %")),
    );
}

/// Holds fuel flow against specific consumption times power: what is left over is a correction nobody mentioned.
pub(super) fn fuel(thin: &Thin, columns: &[Column], doubts: &mut Vec<Finding>) {
    let first = |quantity| columns.iter().position(|c: &Column| c.quantity == quantity);
    let (Some(fuel), Some(consumption), Some(power)) = (
        first(ChannelQuantity::FuelFlow),
        first(ChannelQuantity::SpecificFuelConsumption),
        first(ChannelQuantity::Power),
    ) else {
        return;
    };
    let factor = |channel: usize| {
        let column = &columns[channel];
        column.quantity.unit(column.unit.as_deref()?).map(|(unit, kind)| (unit.factor(), kind))
    };
    let (Some((f, fuel_kind)), Some((c, _)), Some((p, _))) =
        (factor(fuel), factor(consumption), factor(power))
    else {
        return;
    };
    if fuel_kind != crate::quantity::QuantityKind::MassFlow {
        return;
    }
    let scale = c * p / f;
    let Some(ratio) =
        median_ratio(thin.column(consumption), thin.column(power), thin.column(fuel)).map(|r| r * scale)
    else {
        return;
    };
    // Specific consumption is mostly written with two or three digits.
    if (ratio - 1.0).abs() <= 0.01 {
        return;
    }
    let (fuel, consumption, power) = (&columns[fuel].name, &columns[consumption].name, &columns[power].name);
    doubts.push(
        Finding::doubt("hidden-correction", format!("{consumption} times {power} is not {fuel}"))
            .at(Place::default().field(power.as_str()))
            .found(format!("a ratio of {ratio:.4}"))
            .expected("1.00")
            .next(format!("{power} may be corrected by a factor that the file does not state")),
    );
}

#[cfg(test)]
mod tests {
    use super::*;

    /// 5252.113, 9549.297 and 7023.496: the project's reference table, from the definitions of the units.
    #[test]
    fn the_known_pairs_have_their_known_constants() {
        let ratio = |torque, power| PowerUnits { torque, power }.ratio().unwrap();
        assert!((ratio("lb-ft", "hp") - 5252.113).abs() < 1e-3);
        assert!((ratio("N·m", "kW") - 9549.297).abs() < 1e-3);
        assert!((ratio("N·m", "PS") - 7023.496).abs() < 1e-3);
        assert!(PAIRS.iter().all(|pair| pair.ratio().is_some()));
    }

    #[test]
    fn units_are_found_from_the_numbers() {
        let speed = [3000.0, 4000.0, 5000.0, 6000.0];
        let torque = [300.0, 320.0, 330.0, 310.0];
        for pair in PAIRS.iter().take(4) {
            let power: Vec<f64> =
                speed.iter().zip(torque).map(|(n, t)| n * t / pair.ratio().unwrap()).collect();
            assert_eq!(fitting_units(&torque, &speed, &power).unwrap().units.first(), Some(pair));
        }
        assert_eq!(fitting_units(&torque, &speed, &[1.0, 200.0, 3.0, 400.0]), None);
    }
}
