//! What one cell looks like before anything is known of its file.

use crate::raw::number::{MISSING_WORDS, Marks};
use crate::raw::time::picoseconds;
use crate::record::columns::Decimal;
use crate::record::columns::Thousands;
use crate::record::columns::TimeForm;

/// What a cell looks like.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Look {
    Empty,
    Missing,
    Number,
    /// A clock reading or a date.
    Time,
    Text,
}

impl Look {
    /// Whether a cell of a row of measurements may look so.
    pub(super) fn is_value(self) -> bool {
        matches!(self, Self::Number | Self::Time)
    }
}

/// Every way of writing numbers that is known.
pub(super) const WRITINGS: [Marks; 8] = [
    Marks { decimal: Decimal::Point, thousands: Thousands::Off },
    Marks { decimal: Decimal::Comma, thousands: Thousands::Off },
    Marks { decimal: Decimal::Point, thousands: Thousands::Comma },
    Marks { decimal: Decimal::Comma, thousands: Thousands::Point },
    Marks { decimal: Decimal::Point, thousands: Thousands::Space },
    Marks { decimal: Decimal::Comma, thousands: Thousands::Space },
    Marks { decimal: Decimal::Point, thousands: Thousands::Apostrophe },
    Marks { decimal: Decimal::Comma, thousands: Thousands::Apostrophe },
];

/// The forms of time that a cell shows by itself; epoch numbers look like any number.
pub(super) const VISIBLE_TIMES: [TimeForm; 4] =
    [TimeForm::Clock, TimeForm::DateYearFirst, TimeForm::DateDayFirst, TimeForm::DateMonthFirst];

/// What a cell looks like.
pub(super) fn look(cell: &str) -> Look {
    let cell = cell.trim();
    if cell.is_empty() {
        return Look::Empty;
    }
    if !cell.bytes().any(|b| b.is_ascii_digit()) {
        let lower = cell.to_lowercase();
        return if MISSING_WORDS.contains(&lower.as_str()) { Look::Missing } else { Look::Text };
    }
    if is_number(cell) {
        return Look::Number;
    }
    if VISIBLE_TIMES.iter().any(|form| picoseconds(*form, cell.as_bytes()).is_some()) {
        return Look::Time;
    }
    Look::Text
}

/// Whether a cell is a number in any known writing.
pub(super) fn is_number(cell: &str) -> bool {
    WRITINGS.iter().any(|marks| marks.number(cell.as_bytes()).is_some())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn looks() {
        for (cell, expected) in [
            ("", Look::Empty),
            ("---", Look::Missing),
            ("#N/A", Look::Missing),
            ("NaN", Look::Missing),
            ("12,5", Look::Number),
            ("1.234.567,8", Look::Number),
            ("1 234.5", Look::Number),
            ("14:05:06", Look::Time),
            ("2026-03-02 14:05", Look::Time),
            ("5 13", Look::Text),
            ("Run 3", Look::Text),
            ("rpm", Look::Text),
        ] {
            assert_eq!(look(cell), expected, "{cell}");
        }
    }
}
