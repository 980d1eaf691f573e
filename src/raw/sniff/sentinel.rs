//! Numbers that stand for no value, such as -999.

use crate::finding::Finding;
use crate::finding::Place;
use crate::raw::guess::ColumnGuess;
use crate::raw::number::{MISSING_WORDS, Marks};
use crate::raw::sniff::look::Look;
use crate::raw::sniff::table::Row;

/// Numbers that equipment writes for no value (common practice, no source).
const BELOW: [f64; 9] = [-999.0, -9999.0, -99999.0, -999.9, -999.99, -999.25, -9999.9, -32768.0, -99.0];
const ABOVE: [f64; 8] = [9999.0, 99999.0, 999_999.0, 9999.9, 999.9, 32767.0, 65535.0, 65534.0];

/// The words of the record's `missing` list, with a doubt for each number among them.
pub(super) fn words<'r>(
    rows: impl Iterator<Item = &'r Row<'r>>,
    columns: &[ColumnGuess],
    marks: Marks,
    doubts: &mut Vec<Finding>,
) -> Vec<String> {
    let mut words: Vec<String> = Vec::new();
    let mut seen: Vec<Seen> = columns.iter().map(|_| Seen::default()).collect();
    for row in rows {
        for (column, seen) in columns.iter().zip(&mut seen) {
            let Some(text) = row.texts.get(column.position - 1) else {
                continue;
            };
            // No number is a word that says so.
            let is_word = row.looks.get(column.position - 1) != Some(&Look::Number)
                && MISSING_WORDS.contains(&text.to_lowercase().as_str());
            if is_word {
                if !words.iter().any(|word| word == text) {
                    words.push(text.clone().into_owned());
                }
            } else if let Some(value) = marks.number(text.as_bytes()) {
                seen.take(value, text, row.line);
            }
        }
    }
    for (column, seen) in columns.iter().zip(&seen) {
        let place = |line: u64| {
            Place::default().line(usize::try_from(line).unwrap_or(usize::MAX)).field(column.name.as_str())
        };
        for (text, line) in &seen.below {
            // A negative that no other value of the column comes near.
            if seen.least >= 0.0 && seen.others > 0 {
                if !words.contains(text) {
                    words.push(text.clone());
                }
                doubts.push(
                    Finding::doubt("sentinel", format!("{text} in {} is read as no value", column.name))
                        .at(place(*line))
                        .found(text.as_str())
                        .next("take it out of missing: in the columns record if it is a measurement"),
                );
            }
        }
        for (text, line) in &seen.above {
            if seen.others > 2 && marks.number(text.as_bytes()).is_some_and(|v| v > 3.0 * seen.greatest.abs())
            {
                doubts.push(
                    Finding::doubt(
                        "sentinel-possible",
                        format!("{text} in {} may stand for no value", column.name),
                    )
                    .at(place(*line))
                    .found(text.as_str())
                    .next("add it to missing: in the columns record if it does"),
                );
            }
        }
    }
    words
}

struct Seen {
    below: Vec<(String, u64)>,
    above: Vec<(String, u64)>,
    least: f64,
    greatest: f64,
    others: u64,
}

impl Default for Seen {
    fn default() -> Self {
        Self {
            below: Vec::new(),
            above: Vec::new(),
            least: f64::INFINITY,
            greatest: f64::NEG_INFINITY,
            others: 0,
        }
    }
}

impl Seen {
    fn take(&mut self, value: f64, text: &str, line: u64) {
        let among = |list: &[f64]| list.iter().any(|s| s.to_bits() == value.to_bits());
        let list = if among(&BELOW) {
            &mut self.below
        } else if among(&ABOVE) {
            &mut self.above
        } else {
            self.others += 1;
            self.least = self.least.min(value);
            self.greatest = self.greatest.max(value);
            return;
        };
        if list.len() < 4 && !list.iter().any(|(known, _)| known == text) {
            list.push((text.to_owned(), line));
        }
    }
}
