//! Time written as plain numbers: counted since an epoch, or in a unit that the file may not say.

use crate::finding::Finding;
use crate::finding::Place;
use crate::quantity::QuantityKind;
use crate::quantity::Unit;
use crate::raw::guess::{Choice, Question};
use crate::raw::statistics::median;
use crate::raw::time::{picoseconds, seconds_between};
use crate::record::columns::TimeForm;

/// Seconds since 1970 of the years 2000 and 2100: nobody's log is older or younger.
const YEARS: std::ops::Range<f64> = 946_684_800.0..4_102_444_800.0;

/// Rows of a log are no further apart than this, in s, and no closer.
const FURTHEST: f64 = 60.0;
const CLOSEST: f64 = 1e-6;

/// Days since 1900, as spreadsheets count, of the years 2000 and 2100.
const SHEET_DAYS: std::ops::Range<f64> = 36_526.0..73_051.0;

/// Steps between rows, in s, that speak for a spreadsheet's days.
const SHEET_STEP_DAYS: f64 = 0.01;

/// What the numbers of a time channel count, with what is doubtful or open about it.
pub(super) struct Counted {
    pub(super) form: TimeForm,
    pub(super) unit: Option<String>,
    pub(super) doubt: Option<Finding>,
    pub(super) question: Option<Question>,
}

impl Counted {
    fn sure(form: TimeForm, unit: Option<String>) -> Self {
        Self { form, unit, doubt: None, question: None }
    }
}

/// Says what numbers count, from how long they are, how far apart, and the unit where the file states one. `numbers` are
/// lines and cells.
pub(super) fn counted(name: &str, unit: Option<String>, numbers: &[(u64, &str)]) -> Counted {
    let digits = |text: &str| text.split(['.', ',']).next().unwrap_or("").len();
    let length = numbers.first().map_or(0, |(_, text)| digits(text));
    let alike = numbers.iter().all(|(_, text)| {
        digits(text) == length && text.bytes().next().is_some_and(|byte| byte.is_ascii_digit())
    });
    // From 10 digits in seconds to 19 in nanoseconds, a date of this century.
    let by_length = u8::try_from(length)
        .ok()
        .and_then(|length| length.checked_sub(10))
        .filter(|decimals| alike && *decimals <= 9)
        .map(TimeForm::Epoch);
    let usual = [TimeForm::Epoch(0), TimeForm::Epoch(3), TimeForm::Epoch(6), TimeForm::Epoch(9)];
    let likely =
        by_length.filter(|form| usual.contains(form) && in_years(*form, numbers) && near(*form, numbers));
    let likely = likely.filter(|form| unit.as_deref().is_none_or(|unit| counts_in(*form, unit)));
    if let Some(form) = likely {
        return Counted::sure(form, Some("s".to_owned()));
    }
    if unit.is_some() || numbers.is_empty() {
        return Counted::sure(TimeForm::Number, unit);
    }
    let values: Vec<f64> =
        numbers.iter().filter_map(|(_, text)| text.replace(',', ".").parse().ok()).collect();
    let whole = values.iter().all(|value| value.fract().abs() < f64::EPSILON);
    let step = median(values.windows(2).map(|pair| (pair[1] - pair[0]).abs()).collect());
    let sheet_days = !whole
        && values.iter().all(|value| SHEET_DAYS.contains(value))
        && step.is_some_and(|step| step > 0.0 && step < SHEET_STEP_DAYS);
    if sheet_days {
        return open(name, numbers, &[TimeForm::Days], &["s"]);
    }
    if whole && step.is_some_and(|step| step >= 2.0) {
        let mut forms: Vec<TimeForm> = by_length.into_iter().collect();
        // Ticks of 100 ns since the year 1 or 1601 are as long as tens of nanoseconds since 1970.
        if by_length == Some(TimeForm::Epoch(8)) {
            forms.insert(0, TimeForm::Epoch(7));
        }
        forms.retain(|form| near(*form, numbers));
        // A person who logs a row every few minutes is asked too, so that the answer can be said.
        let fits = |per_second: f64| {
            let furthest = if by_length.is_none() { 60.0 * FURTHEST } else { FURTHEST };
            step.is_some_and(|step| (CLOSEST..=furthest).contains(&(step / per_second)))
        };
        let units: Vec<&str> = [("s", 1.0), ("ms", 1e3)]
            .into_iter()
            .filter(|(_, per_second)| fits(*per_second))
            .map(|(unit, _)| unit)
            .collect();
        // Finer counts begin anywhere, as those since an epoch do; only how far apart they are matters.
        for (form, per_second) in [(TimeForm::Epoch(6), 1e6), (TimeForm::Epoch(9), 1e9)] {
            if fits(per_second) && !forms.contains(&form) {
                forms.push(form);
            }
        }
        let units = if forms.len() + units.len() < 2 { vec!["s", "ms"] } else { units };
        return open(name, numbers, &forms, &units);
    }
    let doubt = Finding::doubt("unit-not-stated", format!("{name} has no unit; read as seconds"))
        .at(Place::default().field(name))
        .next("say the unit in the columns record");
    Counted { doubt: Some(doubt), ..Counted::sure(TimeForm::Number, Some("s".to_owned())) }
}

/// Whether a unit that the file states is the one that a form counts in.
fn counts_in(form: TimeForm, unit: &str) -> bool {
    let second = Unit::parse(unit, QuantityKind::Duration).map(|unit| unit.to_si(1.0));
    let TimeForm::Epoch(decimals) = form else { return false };
    second.is_ok_and(|second| (second * libm::pow(10.0, f64::from(decimals)) - 1.0).abs() < 1e-9)
}

/// Whether the first number, counted so since 1970, is a date of this century.
fn in_years(form: TimeForm, numbers: &[(u64, &str)]) -> bool {
    let first = numbers.first().and_then(|(_, text)| picoseconds(form, text.as_bytes()));
    first.is_some_and(|instant| YEARS.contains(&seconds_between(0, instant)))
}

/// Whether rows, counted so, follow each other as the rows of a log do.
fn near(form: TimeForm, numbers: &[(u64, &str)]) -> bool {
    let times: Vec<i128> =
        numbers.iter().filter_map(|(_, text)| picoseconds(form, text.as_bytes())).collect();
    let steps = times.windows(2).map(|pair| seconds_between(pair[0], pair[1]).abs());
    // A file of one row has no step that could tell against it.
    median(steps.collect()).is_none_or(|step| step <= FURTHEST)
}

/// The question what the numbers count; the first reading stands until it is answered.
fn open(name: &str, numbers: &[(u64, &str)], forms: &[TimeForm], units: &[&str]) -> Counted {
    let (line, cell) = numbers.get(1).or(numbers.first()).copied().unwrap_or((0, ""));
    // Numbers as long as a date's are more likely one; short ones count from the start.
    let dates = numbers.first().is_some_and(|(_, cell)| cell.len() >= 10) || units.is_empty();
    let by_form = forms.iter().map(|form| Choice {
        word: format!("{name}.time={}", form.word()),
        means: form_words(*form).to_owned(),
    });
    let by_unit = units
        .iter()
        .map(|unit| Choice { word: format!("{name}.unit={unit}"), means: format!("{cell} {unit}") });
    let question = Question {
        code: "time-unit",
        says: format!("{name} has no unit, and line {line} holds {cell}: what does it count?"),
        choices: if dates { by_form.chain(by_unit).collect() } else { by_unit.chain(by_form).collect() },
    };
    let form = forms.first().copied().filter(|_| dates);
    let unit = if form.is_some() { "s" } else { units.first().copied().unwrap_or("s") };
    Counted {
        form: form.unwrap_or(TimeForm::Number),
        unit: Some(unit.to_owned()),
        doubt: None,
        question: Some(question),
    }
}

fn form_words(form: TimeForm) -> &'static str {
    match form {
        TimeForm::Days => "days, as a spreadsheet writes date and time",
        TimeForm::Epoch(1) => "tenths of a second since an epoch",
        TimeForm::Epoch(2) => "hundredths of a second since an epoch",
        TimeForm::Epoch(3) => "milliseconds since an epoch",
        TimeForm::Epoch(4) => "100 µs each, since an epoch",
        TimeForm::Epoch(5) => "10 µs each, since an epoch",
        TimeForm::Epoch(6) => "microseconds",
        TimeForm::Epoch(7) => "ticks of 100 ns",
        TimeForm::Epoch(8) => "10 ns each, since an epoch",
        TimeForm::Epoch(9) => "nanoseconds",
        _ => "seconds since an epoch",
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The form, and the words of the choices where it is asked.
    fn told(cells: &[&str]) -> (TimeForm, Vec<String>) {
        let numbers: Vec<(u64, &str)> = cells.iter().zip(2..).map(|(cell, line)| (line, *cell)).collect();
        let counted = counted("t", None, &numbers);
        let choices = counted.question.map(|question| question.choices).unwrap_or_default();
        (counted.form, choices.into_iter().map(|choice| choice.word).collect())
    }

    #[test]
    fn the_usual_lengths_are_read_and_the_others_asked() {
        assert_eq!(told(&["1712345678", "1712345679"]), (TimeForm::Epoch(0), vec![]));
        assert_eq!(told(&["1712345678.2", "1712345678.3"]), (TimeForm::Epoch(0), vec![]));
        assert_eq!(told(&["1712345678123", "1712345678223"]), (TimeForm::Epoch(3), vec![]));
        assert_eq!(told(&["1712345678123456", "1712345678223456"]), (TimeForm::Epoch(6), vec![]));
        assert_eq!(told(&["1712345678123456789", "1712345678223456789"]), (TimeForm::Epoch(9), vec![]));
        let (form, choices) = told(&["17123456781234567", "17123456782234567"]);
        assert_eq!((form, choices[0].as_str()), (TimeForm::Epoch(7), "t.time=epoch-100ns"));
        assert!(choices.len() >= 2, "{choices:?}");
        let (form, choices) = told(&["638479999999999999", "638480000000999999"]);
        assert_eq!((form, choices[0].as_str()), (TimeForm::Epoch(7), "t.time=epoch-100ns"));
        assert!(choices.contains(&"t.time=epoch-10ns".to_owned()), "{choices:?}");
        assert_eq!(told(&["17123456781", "17123456782"]).0, TimeForm::Number, "a step of one is no evidence");
        assert_eq!(told(&["45394.5", "45394.500001"]).1, ["t.unit=s", "t.time=days"]);
    }

    #[test]
    fn a_counter_since_power_on_is_not_taken_for_a_date() {
        // Half an hour of microseconds is as long as seconds since 1970, but its rows would lie days apart.
        let (form, choices) = told(&["1712345678", "1712445678", "1712545678"]);
        assert_eq!(
            (form, choices),
            (TimeForm::Epoch(6), vec!["t.time=epoch-us".to_owned(), "t.time=epoch-ns".to_owned()])
        );
        assert_eq!(told(&["0", "100", "200"]).1, ["t.unit=s", "t.unit=ms", "t.time=epoch-us"]);
        assert_eq!(told(&["0", "1", "2"]).1, Vec::<String>::new());
    }

    #[test]
    fn a_unit_that_the_file_states_is_held_to() {
        let form = |unit: &str, cells: &[&str]| {
            let numbers: Vec<(u64, &str)> = cells.iter().map(|cell| (2, *cell)).collect();
            counted("t", Some(unit.to_owned()), &numbers).form
        };
        assert_eq!(form("ms", &["1712345678123", "1712345678223"]), TimeForm::Epoch(3));
        assert_eq!(form("s", &["1712345678", "1712345679"]), TimeForm::Epoch(0));
        assert_eq!(form("us", &["1712345678", "1712345698"]), TimeForm::Number);
    }
}
