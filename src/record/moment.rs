//! A day or an instant as somebody wrote it.

use std::cmp::Ordering;
use std::fmt;

use chrono::DateTime;
use chrono::FixedOffset;
use chrono::NaiveDate;

/// A day (`2026-03-03`) or an instant with its offset from UTC (`2026-04-12T15:20:00+02:00`).
///
/// Kept as written; a bare day stands for the whole of it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Moment {
    text: String,
    day: NaiveDate,
    instant: Option<DateTime<FixedOffset>>,
}

/// A calendar day as four, two and two digits. Read here since books have many: the library goes through a format first.
fn bare_day(text: &str) -> Option<NaiveDate> {
    let [a, b, c, d, b'-', e, f, b'-', g, h] = *text.as_bytes() else { return None };
    let number = |digits: &[u8]| {
        digits.iter().try_fold(0_u32, |number, digit| {
            digit.is_ascii_digit().then(|| number * 10 + u32::from(digit - b'0'))
        })
    };
    let year = i32::try_from(number(&[a, b, c, d])?).ok()?;
    NaiveDate::from_ymd_opt(year, number(&[e, f])?, number(&[g, h])?)
}

impl Moment {
    /// Reads a day or an instant with offset.
    ///
    /// # Errors
    /// Says what was expected when the text is neither.
    pub fn parse(text: &str) -> Result<Self, String> {
        if let Some(day) = bare_day(text) {
            return Ok(Self { text: text.to_owned(), day, instant: None });
        }
        match DateTime::parse_from_rfc3339(text) {
            Ok(instant) => {
                Ok(Self { text: text.to_owned(), day: instant.date_naive(), instant: Some(instant) })
            }
            Err(_) => {
                Err("a day as 2026-04-12, or a time with its zone as 2026-04-12T15:20:00+02:00".to_owned())
            }
        }
    }

    /// The calendar day, in the writer's own zone.
    pub fn day(&self) -> NaiveDate {
        self.day
    }

    /// The instant, where a time of day was written.
    pub fn instant(&self) -> Option<DateTime<FixedOffset>> {
        self.instant
    }

    /// Whether this lies after `other`; days are compared with days when either lacks a time.
    pub fn is_after(&self, other: &Moment) -> bool {
        self.order(other) == Ordering::Greater
    }

    /// Which of the two came first. Two entries of one day, one of them without a time, count as equal.
    pub fn order(&self, other: &Moment) -> Ordering {
        match (self.instant, other.instant) {
            (Some(a), Some(b)) => a.cmp(&b),
            _ => self.day.cmp(&other.day),
        }
    }

    /// Days or seconds between the two, in seconds; a bare day counts as its noon.
    pub fn distance_seconds(&self, other: &Moment) -> i64 {
        match (self.instant, other.instant) {
            (Some(a), Some(b)) => (a - b).num_seconds().abs(),
            _ => (self.day - other.day).num_seconds().abs(),
        }
    }
}

impl fmt::Display for Moment {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.text)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn reads_days_and_instants_and_nothing_else() {
        assert!(Moment::parse("2026-03-03").expect("a day").instant().is_none());
        assert!(Moment::parse("2026-04-12T15:20:00+02:00").expect("an instant").instant().is_some());
        let bad = [
            "",
            "3.3.2026",
            "2026-3-3",
            "2026-02-30",
            "2026-04-12 15:20",
            "2026-04-12T15:20",
            "2026-00-12",
            "2026-04-00",
            "+2026-4-12",
            "2026-+4-12",
            "2026-04- 1",
            "202６-04-1",
            "20260-4-12",
        ];
        for bad in bad {
            assert!(Moment::parse(bad).is_err(), "{bad}");
        }
        // As the calendar library reads them.
        let mut day = NaiveDate::from_ymd_opt(1999, 12, 1).expect("a day");
        for _ in 0..2000 {
            let text = day.format("%Y-%m-%d").to_string();
            assert_eq!(Moment::parse(&text).map(|moment| moment.day()), Ok(day));
            day = day + chrono::Days::new(1);
        }
    }

    #[test]
    fn a_time_and_a_bare_day_are_compared_by_day() {
        let day = Moment::parse("2026-04-12").expect("a day");
        let noon = Moment::parse("2026-04-12T12:00:00+02:00").expect("an instant");
        assert_eq!(day.order(&noon), Ordering::Equal);
        assert!(Moment::parse("2026-04-13").expect("a day").is_after(&noon));
    }
}
