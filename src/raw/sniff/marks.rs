//! How numbers are written in a file: decimal and thousands marks, from the evidence of every cell.

use crate::raw::guess::{Choice, Question};
use crate::raw::number::Marks;
use crate::record::columns::Decimal;
use crate::record::columns::Delimiter;
use crate::record::columns::Thousands;

/// A cell with where it stands.
#[derive(Debug, Clone, PartialEq, Eq)]
struct Example {
    line: u64,
    cell: String,
}

/// What the cells say about one mark.
#[derive(Debug, Default)]
struct Evidence {
    /// It can only be the decimal mark here.
    decimal: Option<Example>,
    /// It can only part thousands here.
    thousands: Option<Example>,
    /// It could be either.
    either: Option<Example>,
}

/// What the cells of a file say about its marks.
#[derive(Debug, Default)]
pub(super) struct MarkEvidence {
    comma: Evidence,
    point: Evidence,
    space: Option<Example>,
    apostrophe: Option<Example>,
}

impl MarkEvidence {
    /// Takes the evidence of one cell that looks like a number.
    pub(super) fn cell(&mut self, cell: &str, line: u64) {
        // Most cells say nothing new: no mark at all, or one point that is known to be a decimal one.
        let marks = cell.bytes().filter(|byte| !byte.is_ascii_digit() && *byte != b'-');
        let mut marks = marks.take(2);
        match (marks.next(), marks.next()) {
            (None, _) => return,
            (Some(b'.'), None) if self.point.decimal.is_some() && self.point.either.is_some() => return,
            _ => {}
        }
        let example = || Example { line, cell: cell.to_owned() };
        let body = cell.trim_start_matches(['-', '+', '\u{2212}']);
        let body = body.split(['e', 'E']).next().unwrap_or(body);
        if body.contains([' ', '\u{a0}', '\u{202f}', '\u{2009}']) {
            self.space.get_or_insert_with(example);
        }
        if body.contains(['\'', '\u{2019}']) {
            self.apostrophe.get_or_insert_with(example);
        }
        let (commas, points) = (body.matches(',').count(), body.matches('.').count());
        let grouped = body.contains([' ', '\u{a0}', '\u{202f}', '\u{2009}', '\'', '\u{2019}']);
        let evidence_of = |mark: char| {
            let (whole, after) = body.split_once(mark).unwrap_or((body, ""));
            let three = after.len() == 3 && after.bytes().all(|b| b.is_ascii_digit());
            let leading = (1..=3).contains(&whole.len()) && !whole.starts_with('0');
            three && leading && !grouped
        };
        match (commas, points) {
            (0, 0) => {}
            (1, 0) if evidence_of(',') => {
                self.comma.either.get_or_insert_with(example);
            }
            (1, 0) => {
                self.comma.decimal.get_or_insert_with(example);
            }
            (0, 1) if evidence_of('.') => {
                self.point.either.get_or_insert_with(example);
            }
            (0, 1) => {
                self.point.decimal.get_or_insert_with(example);
            }
            (_, 0) => {
                self.comma.thousands.get_or_insert_with(example);
            }
            (0, _) => {
                self.point.thousands.get_or_insert_with(example);
            }
            _ if body.rfind(',') > body.rfind('.') => {
                self.comma.decimal.get_or_insert_with(example);
                self.point.thousands.get_or_insert_with(example);
            }
            _ => {
                self.point.decimal.get_or_insert_with(example);
                self.comma.thousands.get_or_insert_with(example);
            }
        }
    }

    /// The writing that the evidence shows, and the question where it shows two.
    pub(super) fn decide(&self, delimiter: Option<Delimiter>) -> (Marks, Option<Question>) {
        let other = if self.space.is_some() {
            Thousands::Space
        } else if self.apostrophe.is_some() {
            Thousands::Apostrophe
        } else {
            Thousands::Off
        };
        let marks = |decimal, thousands| Marks { decimal, thousands };
        let comma_decimal = self.comma.decimal.is_some();
        let point_decimal = self.point.decimal.is_some();
        if let (Some(comma), Some(point)) = (&self.comma.decimal, &self.point.decimal) {
            let question = question(
                "two-decimal-marks",
                format!(
                    "line {} holds {} and line {} holds {}: which of the two is the decimal mark?",
                    comma.line, comma.cell, point.line, point.cell
                ),
                [
                    ("decimal=comma", format!("{} is a number, {} is kept as text", comma.cell, point.cell)),
                    ("decimal=point", format!("{} is a number, {} is kept as text", point.cell, comma.cell)),
                ],
            );
            return (marks(Decimal::Comma, other), Some(question));
        }
        if comma_decimal {
            let grouped = self.point.either.is_some() || self.point.thousands.is_some();
            return (marks(Decimal::Comma, if grouped { Thousands::Point } else { other }), None);
        }
        if point_decimal {
            let grouped = self.comma.either.is_some() || self.comma.thousands.is_some();
            return (marks(Decimal::Point, if grouped { Thousands::Comma } else { other }), None);
        }
        // No cell shows a decimal mark beyond doubt.
        match (&self.comma.thousands, &self.point.thousands) {
            (Some(_), None) => return (marks(Decimal::Point, Thousands::Comma), None),
            (None, Some(_)) => return (marks(Decimal::Comma, Thousands::Point), None),
            _ => {}
        }
        // A comma between fields leaves the point as the decimal mark: who writes decimal commas parts by something else.
        let parted_by_comma = delimiter == Some(Delimiter::Comma);
        match (&self.comma.either, &self.point.either) {
            (None, None) => (marks(Decimal::Point, other), None),
            (None, Some(_)) if parted_by_comma || other != Thousands::Off => {
                (marks(Decimal::Point, other), None)
            }
            (Some(_), None) if other != Thousands::Off => (marks(Decimal::Comma, other), None),
            (None, Some(example)) => {
                let question = either("point", &example.cell, example.line, '.');
                (marks(Decimal::Point, Thousands::Off), Some(question))
            }
            (Some(example), None) => {
                let question = either("comma", &example.cell, example.line, ',');
                (marks(Decimal::Comma, Thousands::Off), Some(question))
            }
            (Some(comma), Some(point)) => {
                let question = question(
                    "decimal-or-thousands",
                    format!(
                        "line {} holds {} and line {} holds {}: which mark is the decimal mark?",
                        comma.line, comma.cell, point.line, point.cell
                    ),
                    [
                        (
                            "decimal=comma thousands=point",
                            format!("{} is {}", comma.cell, comma.cell.replace(',', ".")),
                        ),
                        (
                            "decimal=point thousands=comma",
                            format!("{} is {}", comma.cell, comma.cell.replace(',', "")),
                        ),
                    ],
                );
                (marks(Decimal::Comma, Thousands::Point), Some(question))
            }
        }
    }
}

/// The marks that an answer to one of the questions above names.
pub(super) fn answered(word: &str) -> Option<Marks> {
    let mut marks = Marks { decimal: Decimal::Point, thousands: Thousands::Off };
    for part in word.split_whitespace() {
        let (key, value) = part.split_once('=')?;
        match key {
            "decimal" => marks.decimal = Decimal::from_word(value)?,
            "thousands" => {
                marks.thousands = Thousands::from_word(value)?;
                if marks.thousands == Thousands::Point {
                    marks.decimal = Decimal::Comma;
                }
            }
            _ => return None,
        }
    }
    Some(marks)
}

fn either(mark: &str, cell: &str, line: u64, character: char) -> Question {
    question(
        "decimal-or-thousands",
        format!("line {line} holds {cell}: is the {mark} a decimal or a thousands mark?"),
        [
            (&format!("decimal={mark}"), format!("{cell} is {}", cell.replace(character, "."))),
            (&format!("thousands={mark}"), format!("{cell} is {}", cell.replace(character, ""))),
        ],
    )
}

fn question<W: ToString>(code: &'static str, says: String, choices: [(W, String); 2]) -> Question {
    let choices = choices.into_iter().map(|(word, means)| Choice { word: word.to_string(), means }).collect();
    Question { code, says, choices }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn decided(cells: &[&str], delimiter: Delimiter) -> (Marks, Option<&'static str>) {
        let mut evidence = MarkEvidence::default();
        for (line, cell) in cells.iter().enumerate() {
            evidence.cell(cell, line as u64 + 1);
        }
        let (marks, question) = evidence.decide(Some(delimiter));
        (marks, question.map(|q| q.code))
    }

    #[test]
    fn a_lone_group_of_three_is_asked_about() {
        let asked = Some("decimal-or-thousands");
        assert_eq!(decided(&["1,234", "2,345", "17"], Delimiter::Semicolon).1, asked);
        assert_eq!(decided(&["1.234", "2.345", "17"], Delimiter::Semicolon).1, asked);
        assert_eq!(decided(&["1.234", "2.345", "17"], Delimiter::Comma).1, None);
        assert_eq!(decided(&["1.234", "0.345"], Delimiter::Tab).1, None);
        assert_eq!(
            decided(&["1,234", "2,34"], Delimiter::Tab),
            (Marks { decimal: Decimal::Comma, thousands: Thousands::Off }, None)
        );
    }

    #[test]
    fn other_cells_settle_it() {
        let american = Marks { decimal: Decimal::Point, thousands: Thousands::Comma };
        let german = Marks { decimal: Decimal::Comma, thousands: Thousands::Point };
        assert_eq!(decided(&["1,234", "12.5"], Delimiter::Tab), (american, None));
        assert_eq!(decided(&["1,234,567"], Delimiter::Tab), (american, None));
        assert_eq!(decided(&["1,234.5"], Delimiter::Tab), (american, None));
        assert_eq!(decided(&["1.234", "12,5"], Delimiter::Tab), (german, None));
        assert_eq!(decided(&["1.234,5"], Delimiter::Tab), (german, None));
        assert_eq!(decided(&["1,5", "1.5"], Delimiter::Tab).1, Some("two-decimal-marks"));
        assert_eq!(answered("thousands=comma"), Some(american));
        assert_eq!(answered("decimal=comma thousands=point"), Some(german));
    }
}
