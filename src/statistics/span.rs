//! The space that columns span: what lies in it, what is left of a vector outside it, and how much of each row it
//! takes.

use super::StatisticsError;
use super::error::finite;
use super::sample::sum;

/// Share of a column's length below which what is left of it counts as nothing (as in [`super::least_squares::Fit`]).
const RANK_TOLERANCE: f64 = 1e-9;

/// An orthonormal basis of the space that some columns span.
///
/// Made by Gram and Schmidt's steps, each taken twice, which keeps the basis orthogonal to working precision
/// (L. Giraud and others, *Numerische Mathematik* 101 (2005), 87, from memory).
#[derive(Debug, Clone, PartialEq)]
pub struct Span {
    rows: usize,
    basis: Vec<Vec<f64>>,
}

impl Span {
    /// The space of nothing over so many rows.
    pub fn empty(rows: usize) -> Self {
        Self { rows, basis: Vec::new() }
    }

    /// The space of this one and more columns.
    ///
    /// # Errors
    /// A column of another length, or a number that is not finite.
    pub fn with(&self, columns: &[Vec<f64>]) -> Result<Self, StatisticsError> {
        let mut wider = self.clone();
        for column in columns {
            let length = norm(column);
            let left = wider.residual(column)?;
            let size = norm(&left);
            if size > RANK_TOLERANCE * length {
                wider.basis.push(left.iter().map(|value| value / size).collect());
            }
        }
        Ok(wider)
    }

    /// How many dimensions it has.
    pub fn rank(&self) -> usize {
        self.basis.len()
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
        for &value in vector {
            finite("entry", value)?;
        }
        let mut left = vector.to_vec();
        for _ in 0..2 {
            for direction in &self.basis {
                let along = sum(direction.iter().zip(&left).map(|(a, b)| a * b));
                for (value, part) in left.iter_mut().zip(direction) {
                    *value -= along * part;
                }
            }
        }
        Ok(left)
    }

    /// How much of each row's own value the space takes, from 0 to 1.
    pub fn leverages(&self) -> Vec<f64> {
        (0..self.rows)
            .map(|row| {
                sum(self.basis.iter().filter_map(|direction| direction.get(row)).map(|part| part * part))
            })
            .collect()
    }
}

fn norm(vector: &[f64]) -> f64 {
    sum(vector.iter().map(|value| value * value)).sqrt()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::statistics::least_squares::Fit;
    use proptest::prelude::*;

    proptest! {
        #[test]
        fn what_is_left_is_what_least_squares_leaves(
            rows in prop::collection::vec((prop::collection::vec(-3.0..3.0_f64, 3), -9.0..9.0_f64), 4..12)
        ) {
            // The fourth column repeats the first two: it adds no dimension.
            let design: Vec<Vec<f64>> = rows
                .iter()
                .map(|(row, _)| vec![row[0], row[1], row[2], row[0] - 2.0 * row[1]])
                .collect();
            let observed: Vec<f64> = rows.iter().map(|(_, value)| *value).collect();
            let columns: Vec<Vec<f64>> = (0..4).map(|at| design.iter().map(|row| row[at]).collect()).collect();
            let fit = Fit::of(&design, &observed).unwrap();
            let span = Span::empty(observed.len()).with(&columns).unwrap();
            prop_assert_eq!(span.rank(), fit.rank);
            for (a, b) in span.residual(&observed).unwrap().iter().zip(&fit.residuals) {
                prop_assert!((a - b).abs() < 1e-8);
            }
            let trace: f64 = span.leverages().iter().sum();
            prop_assert!((trace - span.rank() as f64).abs() < 1e-9);
        }
    }

    #[test]
    fn vectors_of_another_length_are_refused() {
        let span = Span::empty(2).with(&[vec![1.0, 1.0]]).unwrap();
        assert!(span.residual(&[1.0]).is_err());
        assert!(span.residual(&[1.0, f64::NAN]).is_err());
        assert!(Span::empty(2).with(&[vec![1.0]]).is_err());
    }
}
