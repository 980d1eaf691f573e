//! Time as files write it: epoch numbers, clock readings, dates. Counted in whole picoseconds, so that subtracting
//! comes before rounding.

use chrono::NaiveDate;

use crate::raw::number::trim;
use crate::record::columns::TimeForm;

/// Picoseconds in a second.
const SECOND: i128 = 1_000_000_000_000;

/// A cell's time in picoseconds from the form's own zero, or `None` where the cell is not such a time.
pub(super) fn picoseconds(form: TimeForm, cell: &[u8]) -> Option<i128> {
    let cell = trim(cell);
    match form {
        TimeForm::Number => None,
        TimeForm::Epoch(decimals) => decimal(cell, SECOND / 10_i128.pow(u32::from(decimals.min(12)))),
        TimeForm::Days => decimal(cell, 86_400 * SECOND),
        TimeForm::Clock | TimeForm::ClockHoursMinutes => clock(cell, form == TimeForm::ClockHoursMinutes),
        TimeForm::DateYearFirst | TimeForm::DateDayFirst | TimeForm::DateMonthFirst => date(cell, form),
    }
}

/// The seconds between two times, rounded once where they are less than 2.5 hours apart.
#[expect(
    clippy::cast_precision_loss,
    reason = "the difference is rounded here on purpose, after subtracting"
)]
pub(super) fn seconds_between(start: i128, end: i128) -> f64 {
    (end - start) as f64 / 1e12
}

/// A whole or decimal number of units, exactly; digits below a picosecond are cut.
fn decimal(cell: &[u8], unit: i128) -> Option<i128> {
    let (negative, digits) = match cell.split_first()? {
        (b'-', rest) => (true, rest),
        (b'+', rest) => (false, rest),
        _ => (false, cell),
    };
    let mut parts = digits.splitn(2, |b| matches!(b, b'.' | b','));
    let whole = parts.next()?;
    let fraction = parts.next().unwrap_or_default();
    // 24 digits of seconds still fit with room to spare.
    if whole.is_empty() || whole.len() > 24 || fraction.len() > 24 {
        return None;
    }
    let whole = digits_value(whole)?.checked_mul(unit)?;
    let mut below = 0_i128;
    let mut place = unit;
    for digit in fraction {
        place /= 10;
        below += i128::from(digit.checked_sub(b'0').filter(|d| *d < 10)?) * place;
    }
    let total = whole.checked_add(below)?;
    Some(if negative { -total } else { total })
}

fn digits_value(digits: &[u8]) -> Option<i128> {
    let mut value = 0_i128;
    for digit in digits {
        let digit = digit.checked_sub(b'0').filter(|d| *d < 10)?;
        value = value.checked_mul(10)?.checked_add(i128::from(digit))?;
    }
    (!digits.is_empty()).then_some(value)
}

/// `h:m:s`, `m:s` or, where said so, `h:m`; seconds may have decimals; `AM` or `PM` may follow.
fn clock(cell: &[u8], hours_minutes: bool) -> Option<i128> {
    let (cell, half) = match cell {
        [rest @ .., b'a' | b'A', b'm' | b'M'] => (trim(rest), Some(0)),
        [rest @ .., b'p' | b'P', b'm' | b'M'] => (trim(rest), Some(12)),
        _ => (cell, None),
    };
    // Most cells that are asked about are numbers.
    if !cell.contains(&b':') {
        return None;
    }
    let parts: Vec<&[u8]> = cell.split(|b| *b == b':').collect();
    let sixty =
        |digits: &[u8]| (digits.len() <= 2).then(|| digits_value(digits)).flatten().filter(|n| *n < 60);
    let seconds =
        |digits: &[u8]| decimal(digits, SECOND).filter(|n| (0..60 * SECOND).contains(n) && digits[0] != b'+');
    let (hours, minutes, below) = match parts.as_slice() {
        [h, m, s] => (digits_value(h)?, sixty(m)?, seconds(s)?),
        [h, m] if hours_minutes || half.is_some() => (digits_value(h)?, sixty(m)?, 0),
        [m, s] => (0, digits_value(m)?, seconds(s)?),
        _ => return None,
    };
    if parts.first().is_some_and(|first| first.len() > 4) {
        return None;
    }
    let hours = match half {
        None => hours,
        Some(_) if !(1..=12).contains(&hours) => return None,
        Some(half) => hours % 12 + half,
    };
    Some((hours * 3600 + minutes * 60) * SECOND + below)
}

/// A date in the form's order, alone or followed by a clock reading and a zone.
fn date(cell: &[u8], form: TimeForm) -> Option<i128> {
    if cell.iter().filter(|b| matches!(b, b'-' | b'/' | b'.')).count() < 2 {
        return None;
    }
    let text = std::str::from_utf8(cell).ok()?;
    let (day_text, rest) = match text.find(['T', ' ', '_']) {
        Some(at) => (&text[..at], text[at + 1..].trim()),
        None => (text, ""),
    };
    let parts: Vec<&str> = day_text.split(['-', '/', '.']).collect();
    let [first, second, third] = parts.as_slice() else {
        return None;
    };
    let (year, month, day) = match form {
        TimeForm::DateYearFirst => (first, second, third),
        TimeForm::DateDayFirst => (third, second, first),
        _ => (third, first, second),
    };
    if !matches!(year.len(), 2 | 4)
        || [year, month, day].iter().any(|p| !p.bytes().all(|b| b.is_ascii_digit()))
    {
        return None;
    }
    let mut year_number: i32 = year.parse().ok()?;
    if year.len() == 2 {
        if form == TimeForm::DateYearFirst {
            return None;
        }
        year_number += 2000;
    }
    let days = NaiveDate::from_ymd_opt(year_number, month.parse().ok()?, day.parse().ok()?)?
        .signed_duration_since(NaiveDate::from_ymd_opt(1970, 1, 1)?)
        .num_days();
    let (clock_text, zone) = split_zone(rest)?;
    let of_day = if clock_text.is_empty() {
        0
    } else {
        clock(clock_text.as_bytes(), clock_text.matches(':').count() == 1)?
    };
    Some(i128::from(days) * 86_400 * SECOND + of_day - zone)
}

/// Parts a zone off a clock reading: `Z`, `+02:00`, `+0200`.
fn split_zone(rest: &str) -> Option<(&str, i128)> {
    if let Some(clock_text) = rest.strip_suffix('Z') {
        return Some((clock_text.trim(), 0));
    }
    let Some(at) = rest.rfind(['+', '-']) else {
        return Some((rest, 0));
    };
    let digits: String = rest[at + 1..].chars().filter(|c| *c != ':').collect();
    if !matches!(digits.len(), 2 | 4) || !digits.bytes().all(|b| b.is_ascii_digit()) {
        return None;
    }
    let hours: i128 = digits[..2].parse().ok()?;
    let minutes: i128 = if digits.len() == 4 { digits[2..].parse().ok()? } else { 0 };
    let offset = (hours * 3600 + minutes * 60) * SECOND;
    Some((rest[..at].trim(), if rest[at..].starts_with('-') { -offset } else { offset }))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn apart(form: TimeForm, start: &str, end: &str) -> Option<f64> {
        Some(seconds_between(picoseconds(form, start.as_bytes())?, picoseconds(form, end.as_bytes())?))
    }

    #[test]
    fn nineteen_digits_are_subtracted_before_they_are_rounded() {
        let between = apart(TimeForm::Epoch(9), "1700000000000000001", "1700000000000000003");
        assert_eq!(between, Some(2e-9));
        let between = apart(TimeForm::Epoch(0), "1700000000.000000001", "1700000001.000000004");
        assert_eq!(between, Some(1.000000003));
        assert_eq!(apart(TimeForm::Epoch(9), "1.7e18", "1.7e18"), None);
        // Ticks of 100 ns, counted from the year 1 or from 1601.
        assert_eq!(apart(TimeForm::Epoch(7), "638479999999999999", "638480000000999999"), Some(0.1));
        assert_eq!(apart(TimeForm::Epoch(1), "17000000001", "17000000003"), Some(0.2));
        assert_eq!(apart(TimeForm::Days, "45394.5", "45394.50001"), Some(0.864));
    }

    #[test]
    fn clocks_and_dates() {
        assert_eq!(apart(TimeForm::Clock, "1:02:03", "1:02:04.25"), Some(1.25));
        assert_eq!(apart(TimeForm::Clock, "59:59.5", "60:00,5"), Some(1.0));
        assert_eq!(apart(TimeForm::Clock, "12:00:00 AM", "12:00:00 PM"), Some(43_200.0));
        assert_eq!(apart(TimeForm::ClockHoursMinutes, "14:05", "15:05"), Some(3600.0));
        assert_eq!(apart(TimeForm::Clock, "14:65:00", "14:65:00"), None);
        assert_eq!(apart(TimeForm::DateDayFirst, "28.02.2028 23:59:59", "1.3.2028 0:00:00"), Some(86_401.0));
        assert_eq!(apart(TimeForm::DateMonthFirst, "3/1/26 1:00 PM", "3/1/2026 13:00:30"), Some(30.0));
        assert_eq!(
            apart(TimeForm::DateYearFirst, "2026-03-02T14:00:00+02:00", "2026-03-02 12:00:01.5Z"),
            Some(1.5)
        );
        assert_eq!(apart(TimeForm::DateYearFirst, "2026-02-30", "2026-02-30"), None);
    }
}
