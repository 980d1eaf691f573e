//! One column of the table: its name, quantity, unit and form of time.

use crate::finding::Finding;
use crate::finding::Place;
use crate::raw::guess::{Choice, ColumnGuess, Question};
use crate::raw::sniff::clock::counted;
use crate::raw::sniff::look::{Look, VISIBLE_TIMES};
use crate::raw::sniff::vocabulary::{basis, fuel, is_unit, quantity, tidy};
use crate::raw::time::picoseconds;
use crate::record::channel::ChannelQuantity;
use crate::record::columns::TimeForm;

/// What one column seems to hold, with what is doubtful or open about it.
pub(super) struct Guessed {
    pub(super) guess: ColumnGuess,
    pub(super) doubts: Vec<Finding>,
    pub(super) question: Option<Question>,
}

/// Parts a header into name and unit: `Torque (lb-ft)`, `TQ [Nm]`, `Oil, psi`, `torque_nm`, `Power kW`.
pub(in crate::raw) fn name_and_unit(header: &str) -> (String, Option<String>) {
    for (open, close) in [('(', ')'), ('[', ']'), ('{', '}'), ('<', '>')] {
        if let Some(start) = header.rfind(open)
            && let Some(length) = header[start..].find(close)
        {
            let inside = &header[start + open.len_utf8()..start + length];
            let after = header[start + length + close.len_utf8()..].trim();
            let name = format!("{} {}", header[..start].trim(), after).trim().to_owned();
            if is_unit(inside)
                || (open == '[' && !inside.is_empty() && !inside.bytes().all(|b| b.is_ascii_digit()))
            {
                return (
                    if name.is_empty() { header.to_owned() } else { name },
                    Some(inside.trim().to_owned()),
                );
            }
        }
    }
    // `Fuel lb/hr`: a unit with a stroke in it is one unit.
    if let Some((name, unit)) = header.rsplit_once(' ')
        && unit.contains('/')
        && is_unit(unit)
    {
        return (name.trim().to_owned(), Some(unit.to_owned()));
    }
    for mark in [", ", " / ", "/", "_", " ", "."] {
        if let Some((name, unit)) = header.rsplit_once(mark) {
            // `Oil C` or `Run s`: a single letter is a unit only behind a mark that says so.
            let sure = mark == ", " || mark == " / " || unit.chars().count() > 1 || matches!(unit, "%");
            let whole_is_quantity = quantity(name, None) == ChannelQuantity::Other && mark != ", ";
            if sure
                && is_unit(unit)
                && !name.trim().is_empty()
                && !(whole_is_quantity
                    && quantity(header, None) != ChannelQuantity::Other
                    && quantity(header, Some(unit)).unit(&tidy(unit)).is_none())
            {
                return (name.trim().to_owned(), Some(unit.trim().to_owned()));
            }
        }
    }
    // `RPM`, `hp`: the unit is the name.
    (header.to_owned(), is_unit(header).then(|| header.trim().to_owned()))
}

/// Guesses one column from its header, the unit row's cell below it and its cells.
pub(super) fn guess(
    header: Option<&str>,
    unit_cell: Option<&str>,
    position: usize,
    cells: &[(u64, &str, Look)],
) -> Guessed {
    let mut doubts = Vec::new();
    let shown = header.unwrap_or_default();
    let (mut name, in_header) = name_and_unit(shown);
    if name.is_empty() {
        name = format!("column {position}");
    }
    let from_row = unit_cell
        .map(str::trim)
        .filter(|u| !u.is_empty() && u.chars().any(char::is_alphanumeric) || *u == "%");
    // A dash in the unit's place says that there is none.
    let in_header = in_header.as_deref().filter(|u| u.chars().any(char::is_alphanumeric) || u.trim() == "%");
    let unit_text = from_row.or(in_header);
    let mut quantity = quantity(&name, unit_text);
    let place = || Place::default().field(name.as_str());
    let mut why = match (header, quantity) {
        (None, _) => "the file has no header".to_owned(),
        (Some(_), ChannelQuantity::Other) => format!("no quantity is known by the header {shown:?}"),
        (Some(_), found) => format!("the header {shown:?} says {found}"),
    };
    let visible = visible_time(cells);
    if header.is_none() && visible.is_some() {
        quantity = ChannelQuantity::Time;
        "its cells are times".clone_into(&mut why);
    }
    let mut unit = None;
    if let Some(text) = unit_text {
        let spelling = tidy(text);
        if quantity == ChannelQuantity::Other || quantity == ChannelQuantity::Run {
            unit = Some(spelling).filter(|u| !u.is_empty());
        } else if quantity.unit(&spelling).is_some() {
            why = format!(
                "{why}; {} says {text}",
                if from_row.is_some() { "the unit row" } else { "the header" }
            );
            unit = Some(spelling);
        } else if is_unit(text) {
            // A unit row shifted by a column, or a header that means something else.
            doubts.push(
                Finding::doubt("unit-of-wrong-kind", format!("{text} is no unit of {quantity}; it is not used"))
                    .at(place())
                    .found(text)
                    .next("see whether the unit row stands under the right columns, and say the unit in the columns record"),
            );
        } else {
            doubts.push(
                Finding::doubt("unit-not-known", format!("no unit is known by {text:?}"))
                    .at(place())
                    .found(text)
                    .next("say the unit in the columns record"),
            );
        }
    }
    let (time, question) = if quantity == ChannelQuantity::Time {
        time_form(&name, &mut unit, visible, cells, &mut doubts)
    } else {
        (None, None)
    };
    if time.is_some_and(TimeForm::counts_from_first) {
        unit = Some("s".to_owned());
    }
    let guess = ColumnGuess {
        header: header.filter(|h| !h.is_empty()).map(str::to_owned),
        position,
        basis: header
            .and_then(basis)
            .filter(|_| matches!(quantity, ChannelQuantity::Torque | ChannelQuantity::Power)),
        fuel: header
            .and_then(fuel)
            .filter(|_| matches!(quantity, ChannelQuantity::AirFuelRatio | ChannelQuantity::Lambda)),
        name,
        quantity,
        unit,
        time,
        why,
        repeated: false,
    };
    Guessed { guess, doubts, question }
}

/// The form of time that the cells show by themselves, if they do.
fn visible_time(cells: &[(u64, &str, Look)]) -> Option<Vec<TimeForm>> {
    let times = cells.iter().filter(|c| c.2 == Look::Time).count();
    let held = cells.iter().filter(|c| !matches!(c.2, Look::Empty | Look::Missing)).count();
    if times == 0 || times * 10 < held * 9 {
        return None;
    }
    let fits: Vec<TimeForm> = VISIBLE_TIMES
        .into_iter()
        .filter(|form| {
            cells.iter().filter(|c| c.2 == Look::Time).all(|c| picoseconds(*form, c.1.as_bytes()).is_some())
        })
        .collect();
    Some(fits).filter(|f| !f.is_empty())
}

fn time_form(
    name: &str,
    unit: &mut Option<String>,
    visible: Option<Vec<TimeForm>>,
    cells: &[(u64, &str, Look)],
    doubts: &mut Vec<Finding>,
) -> (Option<TimeForm>, Option<Question>) {
    if let Some(forms) = visible {
        return visible_form(name, &forms, cells);
    }
    let numbers: Vec<(u64, &str)> =
        cells.iter().filter(|c| c.2 == Look::Number).map(|c| (c.0, c.1.trim())).collect();
    let counted = counted(name, unit.take(), &numbers);
    *unit = counted.unit;
    doubts.extend(counted.doubt);
    (Some(counted.form), counted.question)
}

/// Chooses among the forms that fit every cell; asks where day and month could change places to another result.
fn visible_form(
    name: &str,
    forms: &[TimeForm],
    cells: &[(u64, &str, Look)],
) -> (Option<TimeForm>, Option<Question>) {
    let times: Vec<(u64, &str)> =
        cells.iter().filter(|c| c.2 == Look::Time).map(|c| (c.0, c.1.trim())).collect();
    let first = times.first().copied().unwrap_or((0, ""));
    if let [TimeForm::Clock] = forms {
        let two_parts = times.iter().all(|(_, t)| t.matches(':').count() == 1 && !t.contains(['.', ',']));
        if two_parts && !first.1.to_lowercase().ends_with('m') {
            let (line, cell) = first;
            let question = Question {
                code: "clock-parts",
                says: format!("{name} on line {line} is {cell}: hours and minutes, or minutes and seconds?"),
                choices: vec![
                    Choice { word: format!("{name}.time=clock"), means: "minutes and seconds".to_owned() },
                    Choice {
                        word: format!("{name}.time=clock-hours-minutes"),
                        means: "hours and minutes".to_owned(),
                    },
                ],
            };
            return (Some(TimeForm::Clock), Some(question));
        }
        return (Some(TimeForm::Clock), None);
    }
    if forms.contains(&TimeForm::DateDayFirst) && forms.contains(&TimeForm::DateMonthFirst) {
        let day = |text: &str| text.split([' ', 'T', '_']).next().map(str::to_owned);
        let one_day = times.iter().all(|(_, t)| day(t) == day(first.1));
        let (line, cell) = first;
        // Points are written where the day comes first. On one day alone, differences are the same either way.
        if cell.contains('.') && cell.matches('.').count() >= 2 || one_day {
            return (Some(TimeForm::DateDayFirst), None);
        }
        let question = Question {
            code: "day-or-month",
            says: format!("{name} on line {line} is {cell}: day first or month first?"),
            choices: vec![
                Choice {
                    word: format!("{name}.time=date-day-first"),
                    means: "the day stands first".to_owned(),
                },
                Choice {
                    word: format!("{name}.time=date-month-first"),
                    means: "the month stands first".to_owned(),
                },
            ],
        };
        return (Some(TimeForm::DateDayFirst), Some(question));
    }
    (forms.first().copied(), None)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn units_stand_in_headers_in_many_ways() {
        let both = |header: &str| {
            let (name, unit) = name_and_unit(header);
            (name, unit.unwrap_or_default())
        };
        let pair = |name: &str, unit: &str| (name.to_owned(), unit.to_owned());
        assert_eq!(both("Torque (lb-ft)"), pair("Torque", "lb-ft"));
        assert_eq!(both("TQ [Nm]"), pair("TQ", "Nm"));
        assert_eq!(both("TQ(Nm)"), pair("TQ", "Nm"));
        assert_eq!(both("Oil, psi"), pair("Oil", "psi"));
        assert_eq!(both("torque_nm"), pair("torque", "nm"));
        assert_eq!(both("Power kW"), pair("Power", "kW"));
        assert_eq!(both("RPM"), pair("RPM", "RPM"));
        assert_eq!(both("Fuel lb/hr"), pair("Fuel", "lb/hr"));
        assert_eq!(both("Drehzahl 1/min"), pair("Drehzahl", "1/min"));
        assert_eq!(both("Torque/lb ft"), pair("Torque", "lb ft"));
        assert_eq!(both("Exhaust (1)"), pair("Exhaust (1)", ""));
        assert_eq!(both("Torque (obs)"), pair("Torque (obs)", ""));
        assert_eq!(both("dyno_torque"), pair("dyno_torque", ""));
        assert_eq!(both("Knock [counts]"), pair("Knock", "counts"));
    }
}
