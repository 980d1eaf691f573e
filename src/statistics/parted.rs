//! The space that columns span where rows fall into parts that share nothing but one column: sessions of a book that
//! share no fit-up, and one drift over all of them.

use super::StatisticsError;
use super::error::finite;
use super::sample::sum;
use super::span::Span;

/// Share of the shared column's length below which what is left of it counts as nothing (as in [`Span`]).
const RANK_TOLERANCE: f64 = 1e-9;

/// Some of the rows with columns over them.
#[derive(Debug, Clone, PartialEq)]
pub struct Part {
    /// Which rows.
    pub rows: Vec<usize>,
    /// What the columns over them span.
    pub span: Span,
}

/// The space of parts and one column over all rows. Work on it grows with the sizes of the parts and not with the square
/// of all rows.
#[derive(Debug, Clone, PartialEq)]
pub struct PartedSpan {
    rows: usize,
    parts: Vec<Part>,
    /// What is left of the shared column outside the parts, of length one; none where nothing is.
    shared: Option<Vec<f64>>,
}

impl PartedSpan {
    /// The space of some parts, which hold every row once, and of a shared column where there is one.
    ///
    /// # Errors
    /// A row that no part or more than one holds, a column of another length, or a number that is not finite.
    pub fn of(rows: usize, parts: Vec<Part>, shared: Option<&[f64]>) -> Result<Self, StatisticsError> {
        let mut held = vec![0_usize; rows];
        for &row in parts.iter().flat_map(|part| &part.rows) {
            if let Some(held) = held.get_mut(row) {
                *held += 1;
            }
        }
        let found = held.iter().filter(|held| **held == 1).count();
        if found != rows {
            return Err(StatisticsError::LengthMismatch { what: "rows held once", found, expected: rows });
        }
        let mut space = Self { rows, parts, shared: None };
        if let Some(shared) = shared {
            let left = space.residual(shared)?;
            let (length, size) = (norm(shared), norm(&left));
            if size > RANK_TOLERANCE * length {
                space.shared = Some(left.iter().map(|value| value / size).collect());
            }
        }
        Ok(space)
    }

    /// How many dimensions it has.
    pub fn rank(&self) -> usize {
        self.parts.iter().map(|part| part.span.rank()).sum::<usize>() + usize::from(self.shared.is_some())
    }

    /// What is left of a vector outside the space.
    ///
    /// # Errors
    /// A vector of another length, or a number that is not finite.
    pub fn residual(&self, vector: &[f64]) -> Result<Vec<f64>, StatisticsError> {
        if vector.len() != self.rows {
            return Err(StatisticsError::LengthMismatch {
                what: "a vector over the rows",
                found: vector.len(),
                expected: self.rows,
            });
        }
        let mut left = vector.to_vec();
        for &value in vector {
            finite("entry", value)?;
        }
        for part in &self.parts {
            let own: Vec<f64> = part.rows.iter().map(|row| vector[*row]).collect();
            for (row, value) in part.rows.iter().zip(part.span.residual(&own)?) {
                left[*row] = value;
            }
        }
        if let Some(shared) = &self.shared {
            // Twice, as the parts do it.
            for _ in 0..2 {
                let along = sum(shared.iter().zip(&left).map(|(a, b)| a * b));
                left.iter_mut().zip(shared).for_each(|(value, part)| *value -= along * part);
            }
        }
        Ok(left)
    }

    /// How much of each row's own value the space takes, from 0 to 1.
    pub fn leverages(&self) -> Vec<f64> {
        let mut leverages: Vec<f64> = match &self.shared {
            Some(shared) => shared.iter().map(|value| value * value).collect(),
            None => vec![0.0; self.rows],
        };
        for part in &self.parts {
            for (row, taken) in part.rows.iter().zip(part.span.leverages()) {
                leverages[*row] += taken;
            }
        }
        leverages
    }

    /// For columns of 1 in some rows and 0 elsewhere, each within one part, the products of what is left of each with
    /// what is left of each other: the sum of those of a column with itself, and the sum of the squares of all.
    ///
    /// # Errors
    /// None that rows of this space can give.
    pub fn products(&self, units: &[Vec<usize>]) -> Result<(f64, f64), StatisticsError> {
        let mut part_of = vec![(0, 0); self.rows];
        for (number, part) in self.parts.iter().enumerate() {
            for (place, &row) in part.rows.iter().enumerate() {
                part_of[row] = (number, place);
            }
        }
        let mut by_part: Vec<Vec<(Vec<f64>, f64)>> = vec![Vec::new(); self.parts.len()];
        for unit in units {
            let Some(&(number, _)) = unit.first().and_then(|row| part_of.get(*row)) else { continue };
            let part = &self.parts[number];
            let mut column = vec![0.0; part.rows.len()];
            unit.iter().for_each(|row| column[part_of[*row].1] = 1.0);
            let along = self.shared.as_ref().map_or(0.0, |shared| sum(unit.iter().map(|row| shared[*row])));
            by_part[number].push((part.span.residual(&column)?, along));
        }
        // Columns of unlike parts have only what they share along the shared column.
        let all = sum(by_part.iter().flatten().map(|(_, along)| along * along));
        let (mut own, mut squares) = (0.0, all * all);
        for columns in &by_part {
            for (number, (a, along_a)) in columns.iter().enumerate() {
                for (other, (b, along_b)) in columns.iter().enumerate() {
                    let shared = along_a * along_b;
                    let product = sum(a.iter().zip(b).map(|(a, b)| a * b)) - shared;
                    squares += product * product - shared * shared;
                    if number == other {
                        own += product;
                    }
                }
            }
        }
        Ok((own, squares.max(0.0)))
    }
}

fn norm(vector: &[f64]) -> f64 {
    sum(vector.iter().map(|value| value * value)).sqrt()
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    proptest! {
        #[test]
        fn it_is_the_space_of_all_columns_at_once(
            rows in prop::collection::vec((0usize..3, 0usize..3, -3.0..3.0_f64, -9.0..9.0_f64), 4..14)
        ) {
            let count = rows.len();
            let shared: Vec<f64> = rows.iter().map(|row| row.2).collect();
            let observed: Vec<f64> = rows.iter().map(|row| row.3).collect();
            let (mut parts, mut columns, mut units) = (Vec::new(), Vec::new(), Vec::new());
            for number in 0..3 {
                let own: Vec<usize> = (0..count).filter(|row| rows[*row].0 == number).collect();
                let of_level = |level: usize| -> Vec<usize> {
                    own.iter().copied().filter(|row| rows[*row].1 == level).collect()
                };
                // One column for the first level of each part; all levels are units.
                let first: Vec<f64> = own.iter().map(|row| f64::from(u8::from(rows[*row].1 == 0))).collect();
                columns.push((0..count).map(|row| f64::from(u8::from(of_level(0).contains(&row)))).collect::<Vec<f64>>());
                units.extend((0..3).map(of_level).filter(|unit| !unit.is_empty()));
                parts.push(Part { span: Span::empty(own.len()).with(&[first]).unwrap(), rows: own });
            }
            let parted = PartedSpan::of(count, parts, Some(&shared)).unwrap();
            columns.push(shared);
            let whole = Span::empty(count).with(&columns).unwrap();
            prop_assert_eq!(parted.rank(), whole.rank());
            for (a, b) in parted.residual(&observed).unwrap().iter().zip(whole.residual(&observed).unwrap()) {
                prop_assert!((a - b).abs() < 1e-9);
            }
            for (a, b) in parted.leverages().iter().zip(whole.leverages()) {
                prop_assert!((a - b).abs() < 1e-9);
            }
            let left: Vec<Vec<f64>> = units
                .iter()
                .map(|unit| {
                    let column: Vec<f64> = (0..count).map(|row| f64::from(u8::from(unit.contains(&row)))).collect();
                    whole.residual(&column).unwrap()
                })
                .collect();
            let product = |a: &[f64], b: &[f64]| a.iter().zip(b).map(|(a, b)| a * b).sum::<f64>();
            let own: f64 = left.iter().map(|a| product(a, a)).sum();
            let squares: f64 = left.iter().flat_map(|a| left.iter().map(move |b| product(a, b))).map(|p| p * p).sum();
            let found = parted.products(&units).unwrap();
            prop_assert!((found.0 - own).abs() < 1e-8 && (found.1 - squares).abs() < 1e-8, "{:?} {} {}", found, own, squares);
        }
    }

    #[test]
    fn rows_that_no_part_holds_are_refused() {
        let part = |rows: &[usize]| Part { rows: rows.to_vec(), span: Span::empty(rows.len()) };
        assert!(PartedSpan::of(2, vec![part(&[0])], None).is_err());
        assert!(PartedSpan::of(2, vec![part(&[0, 1]), part(&[1])], None).is_err());
        assert!(PartedSpan::of(2, vec![part(&[1]), part(&[0])], None).unwrap().residual(&[1.0]).is_err());
    }
}
