//! Units that the file does not state: found from power against torque times speed, or asked for.

use crate::finding::Finding;
use crate::finding::Place;
use crate::raw::checks::{Fit, PowerUnits, fitting_units};
use crate::raw::guess::{Choice, Guess, Question};
use crate::raw::sniff::{Sniffer, apply};
use crate::raw::statistics::median;
use crate::record::channel::ChannelQuantity;

/// Speeds, in rpm, between which an unstated unit is taken to be rpm (common practice, no source).
const USUAL_RPM: (f64, f64) = (300.0, 25_000.0);

/// Fills in the units that are missing.
pub(super) fn settle(sniffer: &mut Sniffer<'_>, guess: &mut Guess, read: &[Vec<f64>]) {
    answered(sniffer, guess);
    let of = |guess: &Guess, quantity| {
        let list: Vec<usize> =
            (0..guess.columns.len()).filter(|n| guess.columns[*n].quantity == quantity).collect();
        list
    };
    let speeds = of(guess, ChannelQuantity::Speed);
    speed_unit(sniffer, guess, read, &speeds);
    let powers = of(guess, ChannelQuantity::Power);
    let torques = of(guess, ChannelQuantity::Torque);
    if let Some(speed) = speeds.first().copied().filter(|n| guess.columns[*n].unit.as_deref() == Some("rpm"))
    {
        for power in &powers {
            for torque in &torques {
                let Some(fit) = fitting_units(&read[*torque], &read[speed], &read[*power]) else {
                    continue;
                };
                pair(sniffer, guess, *torque, *power, &fit);
            }
        }
    }
    leftovers(sniffer, guess, &torques, &powers);
    for column in &guess.columns {
        let stated = column.unit.is_some()
            || column.quantity.kinds().is_empty()
            || matches!(
                column.quantity,
                ChannelQuantity::Time
                    | ChannelQuantity::Speed
                    | ChannelQuantity::Torque
                    | ChannelQuantity::Power
                    | ChannelQuantity::Lambda
                    | ChannelQuantity::AirFuelRatio
                    | ChannelQuantity::CorrectionFactor
            );
        if !stated {
            sniffer.doubts.push(
                Finding::doubt(
                    "unit-not-stated",
                    format!("{} has no unit; its numbers are kept without one", column.name),
                )
                .at(Place::default().field(column.name.as_str()))
                .next("say the unit in the columns record"),
            );
        }
    }
}

/// Takes units that were answered earlier.
fn answered(sniffer: &Sniffer<'_>, guess: &mut Guess) {
    for column in &mut guess.columns {
        let key = format!("{}.unit=", column.name);
        if let Some(answer) = sniffer.answers.iter().find(|a| a.starts_with(&key)) {
            apply(column, answer);
            column.why = format!("{}; the unit was answered", column.why);
        }
    }
}

fn speed_unit(sniffer: &mut Sniffer<'_>, guess: &mut Guess, read: &[Vec<f64>], speeds: &[usize]) {
    for index in speeds {
        let column = &mut guess.columns[*index];
        if let Some(unit) = &column.unit {
            // The checks below compare with rpm, however the file spells it.
            if ChannelQuantity::Speed.unit(unit).is_some_and(|(unit, _)| unit.symbol() == "rpm") {
                column.unit = Some("rpm".to_owned());
            }
            continue;
        }
        let loaded = read[*index].iter().copied().filter(|v| v.abs() > 0.0).collect();
        if median(loaded).is_some_and(|m| (USUAL_RPM.0..USUAL_RPM.1).contains(&m)) {
            column.unit = Some("rpm".to_owned());
            column.why = format!("{}; its values suit rpm", column.why);
        } else {
            let name = column.name.clone();
            sniffer.doubts.push(
                Finding::doubt(
                    "unit-not-stated",
                    format!("{name} has no unit, and its values do not suit rpm"),
                )
                .at(Place::default().field(name))
                .next("say the unit in the columns record"),
            );
        }
    }
}

/// Gives a torque and a power the units that the numbers fit, where they have none.
fn pair(sniffer: &mut Sniffer<'_>, guess: &mut Guess, torque: usize, power: usize, fit: &Fit) {
    let suits = |pair: &&PowerUnits| {
        let same = |index: usize, symbol: &str| {
            let column = &guess.columns[index];
            let Some(unit) = &column.unit else {
                return true;
            };
            let factor = |spelling: &str| column.quantity.unit(spelling).map(|(unit, _)| unit.factor());
            match (factor(unit), factor(symbol)) {
                (Some(a), Some(b)) => (a / b - 1.0).abs() < 1e-9,
                _ => false,
            }
        };
        same(torque, pair.torque) && same(power, pair.power)
    };
    let mut suiting: Vec<PowerUnits> = fit.units.iter().filter(suits).copied().collect();
    let distance =
        |pair: &PowerUnits| pair.ratio().map_or(f64::INFINITY, |expected| (fit.ratio / expected - 1.0).abs());
    suiting.sort_by(|a, b| distance(a).total_cmp(&distance(b)));
    let Some(best) = suiting.first().copied() else {
        return;
    };
    // Two pairs may both lie within the tolerance; the nearer one stands if it is clearly nearer.
    if suiting.get(1).is_some_and(|second| distance(second) < 3.0 * distance(&best)) {
        return;
    }
    let names = (guess.columns[torque].name.clone(), guess.columns[power].name.clone());
    for (index, symbol) in [(torque, best.torque), (power, best.power)] {
        let column = &mut guess.columns[index];
        if column.unit.is_none() {
            column.unit = Some(symbol.to_owned());
            let why = format!(
                "{} × rpm ÷ {} is {:.1}, which fits {} and {}",
                names.0, names.1, fit.ratio, best.torque, best.power
            );
            sniffer.doubts.push(
                Finding::note(
                    "unit-from-check",
                    format!("{} has no stated unit; read as {symbol}", column.name),
                )
                .at(Place::default().field(column.name.as_str()))
                .found(why.clone()),
            );
            column.why = format!("{}; {why}", column.why);
        }
    }
}

/// What to do with torques and powers that still have no unit: a second one is kept as a named channel, the only one is
/// asked about.
fn leftovers(sniffer: &mut Sniffer<'_>, guess: &mut Guess, torques: &[usize], powers: &[usize]) {
    for (list, units) in [(torques, ["N·m", "lb-ft", "kgf·m"]), (powers, ["kW", "hp", "PS"])] {
        let settled = list.iter().any(|n| guess.columns[*n].unit.is_some());
        for index in list {
            let column = &mut guess.columns[*index];
            if column.unit.is_some() {
                continue;
            }
            let name = column.name.clone();
            if settled {
                let word = column.quantity.word();
                column.quantity = ChannelQuantity::Other;
                column.why =
                    format!("{}; it does not agree with the file's power at any known unit", column.why);
                sniffer.doubts.push(
                    Finding::doubt(
                        "unit-not-stated",
                        format!("{name} has no unit and does not agree with power; kept as a named channel, not as {word}"),
                    )
                    .at(Place::default().field(name))
                    .next("say quantity and unit in the columns record if you know them"),
                );
                continue;
            }
            let choices = units
                .iter()
                .map(|unit| Choice {
                    word: format!("{name}.unit={unit}"),
                    means: format!("{name} in {unit}"),
                })
                .collect();
            sniffer.ask(Question {
                code: "unit-unknown",
                says: format!("{name} has no unit, and no check in the file shows it: which is it?"),
                choices,
            });
        }
    }
}
