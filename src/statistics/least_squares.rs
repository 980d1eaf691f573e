//! Least squares by orthogonal reflections, with the rank found and said.
//!
//! A column that the columns before it already determine is *aliased*: it gets no coefficient, and whatever
//! depends on it is refused rather than guessed. Source: G. Golub & C. Van Loan, *Matrix Computations*, 4th
//! edition, 5.2 and 5.5 (from memory); columns keep their order, so the squared effects are the sequential
//! sums of squares.

use super::StatisticsError;
use super::error::finite;
use super::sample::sum;
use super::two_sample::Estimate;

/// Share of a column's length below which what is left of it counts as nothing.
const RANK_TOLERANCE: f64 = 1e-9;

/// A fit of observations on a design.
#[derive(Debug, Clone, PartialEq)]
pub struct Fit {
    /// One coefficient per column; none where the column is aliased.
    pub coefficients: Vec<Option<f64>>,
    /// How many columns are not aliased.
    pub rank: usize,
    /// Sum of the squared residuals.
    pub residual_squares: f64,
    /// Observations less rank.
    pub degrees_of_freedom: usize,
    /// What is left of each observation.
    pub residuals: Vec<f64>,
    /// Sequential sum of squares of each column; zero where it is aliased.
    pub sequential_squares: Vec<f64>,
    /// Indices of the columns that are not aliased.
    kept: Vec<usize>,
    /// Upper triangle over the kept columns, by column.
    triangle: Vec<Vec<f64>>,
    /// Each aliased column as a combination of the kept ones.
    aliases: Vec<(usize, Vec<f64>)>,
}

impl Fit {
    /// Fits `observed` on the rows of `design` by least squares.
    ///
    /// # Errors
    /// No rows or columns, rows of unequal length, or a number that is not finite.
    pub fn of(design: &[Vec<f64>], observed: &[f64]) -> Result<Self, StatisticsError> {
        let rows = design.len();
        let width = design.first().map_or(0, Vec::len);
        if width == 0 {
            return Err(StatisticsError::TooFew { what: "columns of the design", found: 0, expected: 1 });
        }
        if observed.len() != rows {
            return Err(StatisticsError::LengthMismatch {
                what: "observations",
                found: observed.len(),
                expected: rows,
            });
        }
        for row in design {
            if row.len() != width {
                return Err(StatisticsError::LengthMismatch {
                    what: "row of the design",
                    found: row.len(),
                    expected: width,
                });
            }
            for &value in row {
                finite("entry of the design", value)?;
            }
        }
        for &value in observed {
            finite("observation", value)?;
        }
        let mut effects = observed.to_vec();
        let mut reflectors: Vec<Vec<f64>> = Vec::new();
        let mut kept = Vec::new();
        let mut triangle: Vec<Vec<f64>> = Vec::new();
        let mut dependent: Vec<(usize, Vec<f64>)> = Vec::new();
        let mut sequential_squares = vec![0.0; width];
        for column_index in 0..width {
            let mut column: Vec<f64> = design.iter().map(|row| row[column_index]).collect();
            let length = norm(&column);
            for (step, reflector) in reflectors.iter().enumerate() {
                reflect(reflector, step, &mut column);
            }
            let step = reflectors.len();
            let left = norm(column.get(step..).unwrap_or(&[]));
            if left <= RANK_TOLERANCE * length || step >= rows {
                column.truncate(step);
                dependent.push((column_index, column));
                continue;
            }
            let mut reflector = column.split_off(step);
            let head = if reflector[0] > 0.0 { -left } else { left };
            reflector[0] -= head;
            let scale = norm(&reflector);
            for value in &mut reflector {
                *value /= scale;
            }
            reflect(&reflector, step, &mut effects);
            column.push(head);
            sequential_squares[column_index] = effects[step] * effects[step];
            kept.push(column_index);
            triangle.push(column);
            reflectors.push(reflector);
        }
        let rank = kept.len();
        let solved = back_substitute(&triangle, &effects[..rank]);
        let mut coefficients = vec![None; width];
        for (&column_index, &value) in kept.iter().zip(&solved) {
            coefficients[column_index] = Some(finite("coefficient", value)?);
        }
        let mut residuals = effects;
        for value in residuals.iter_mut().take(rank) {
            *value = 0.0;
        }
        for (step, reflector) in reflectors.iter().enumerate().rev() {
            reflect(reflector, step, &mut residuals);
        }
        let residual_squares = sum(residuals.iter().map(|value| value * value));
        let aliases = dependent
            .into_iter()
            .map(|(index, column)| (index, back_substitute(&triangle, &column)))
            .collect();
        Ok(Self {
            coefficients,
            rank,
            residual_squares: finite("sum of squares", residual_squares)?,
            degrees_of_freedom: rows - rank,
            residuals,
            sequential_squares,
            kept,
            triangle,
            aliases,
        })
    }

    /// Residual standard deviation, √(residual squares/degrees of freedom).
    ///
    /// # Errors
    /// As many coefficients as observations.
    pub fn standard_deviation(&self) -> Result<f64, StatisticsError> {
        if self.degrees_of_freedom == 0 {
            return Err(StatisticsError::TooFew {
                what: "observations beyond the coefficients",
                found: 0,
                expected: 1,
            });
        }
        Ok((self.residual_squares / self.degrees_of_freedom as f64).sqrt())
    }

    /// Whether a combination of coefficients is determined by the design.
    ///
    /// # Errors
    /// A combination of the wrong length.
    pub fn is_estimable(&self, combination: &[f64]) -> Result<bool, StatisticsError> {
        if combination.len() != self.coefficients.len() {
            return Err(StatisticsError::LengthMismatch {
                what: "combination",
                found: combination.len(),
                expected: self.coefficients.len(),
            });
        }
        Ok(self.aliases.iter().all(|(index, parts)| {
            let expected = sum(self.kept.iter().zip(parts).map(|(&kept, part)| combination[kept] * part));
            let scale = self
                .kept
                .iter()
                .zip(parts)
                .map(|(&kept, part)| (combination[kept] * part).abs())
                .sum::<f64>();
            // Parts that are nothing but rounding count as none, however small all of them are.
            let rounding = RANK_TOLERANCE * norm(combination) * norm(parts);
            let tolerance = 1e-7 * (scale + combination[*index].abs()) + rounding;
            (combination[*index] - expected).abs() <= tolerance
        }))
    }

    /// A combination of coefficients with its standard error: a coefficient, a contrast or a prediction.
    ///
    /// # Errors
    /// A combination that the design does not determine, of the wrong length, or no observations beyond the
    /// coefficients.
    pub fn combination(&self, combination: &[f64]) -> Result<Estimate, StatisticsError> {
        if !self.is_estimable(combination)? {
            return Err(StatisticsError::NotEstimable { what: "this combination of coefficients" });
        }
        let value =
            sum(combination.iter().zip(&self.coefficients).map(|(part, known)| part * known.unwrap_or(0.0)));
        // The variance is s²·|R⁻ᵀ c|².
        let mut forward = Vec::with_capacity(self.rank);
        for (row, column) in self.triangle.iter().enumerate() {
            let known = sum(column.iter().zip(&forward).map(|(entry, part): (&f64, &f64)| entry * part));
            forward.push((combination[self.kept[row]] - known) / column[row]);
        }
        Ok(Estimate {
            value: finite("combination", value)?,
            standard_error: self.standard_deviation()? * norm(&forward),
            degrees_of_freedom: self.degrees_of_freedom as f64,
        })
    }

    /// One coefficient with its standard error.
    ///
    /// # Errors
    /// As [`Fit::combination`]; an index beyond the columns counts as not estimable.
    pub fn coefficient(&self, index: usize) -> Result<Estimate, StatisticsError> {
        let mut combination = vec![0.0; self.coefficients.len()];
        match combination.get_mut(index) {
            Some(entry) => *entry = 1.0,
            None => {
                return Err(StatisticsError::NotEstimable { what: "a coefficient beyond the design" });
            }
        }
        self.combination(&combination)
    }
}

fn norm(values: &[f64]) -> f64 {
    let largest = values.iter().fold(0.0_f64, |most, value| most.max(value.abs()));
    if largest <= 0.0 {
        return 0.0;
    }
    largest * sum(values.iter().map(|value| (value / largest) * (value / largest))).sqrt()
}

/// Applies the reflection with the unit vector `reflector`, which starts at row `first`.
fn reflect(reflector: &[f64], first: usize, column: &mut [f64]) {
    let along = 2.0 * sum(reflector.iter().zip(&column[first..]).map(|(part, value)| part * value));
    for (part, value) in reflector.iter().zip(&mut column[first..]) {
        *value -= along * part;
    }
}

fn back_substitute(triangle: &[Vec<f64>], right: &[f64]) -> Vec<f64> {
    let mut left = right.to_vec();
    // A dependent column may have been met before all kept ones were known: the later entries are zero.
    left.resize(triangle.len(), 0.0);
    for row in (0..triangle.len()).rev() {
        left[row] /= triangle[row][row];
        let value = left[row];
        for above in 0..row {
            left[above] -= value * triangle[row][above];
        }
    }
    left
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    #[test]
    fn an_aliased_column_gets_no_number() {
        let design = vec![vec![1.0, 1.0, 0.0], vec![1.0, 1.0, 0.0], vec![1.0, 0.0, 1.0], vec![1.0, 0.0, 1.0]];
        let fit = Fit::of(&design, &[3.0, 5.0, 7.0, 9.0]).unwrap();
        assert_eq!(fit.rank, 2);
        assert_eq!(fit.coefficients[2], None);
        // The contrast between the groups is determined, a group's own effect is not.
        let contrast = fit.combination(&[0.0, 1.0, -1.0]).unwrap();
        assert!((contrast.value + 4.0).abs() < 1e-12);
        assert!((contrast.standard_error - 2.0_f64.sqrt()).abs() < 1e-12);
        assert!(fit.coefficient(1).is_err());
        assert!(fit.coefficient(9).is_err());
    }

    #[test]
    fn quadratic_through_a_torque_curve() {
        // Reference table of docs/engine.md, computed with numpy 2.4.
        let torque = [440.1, 456.9, 469.8, 477.2, 480.9, 478.3, 470.6, 458.8];
        let design: Vec<Vec<f64>> = (0..8)
            .map(|index| {
                let speed = 3.0 + 0.5 * f64::from(index);
                vec![1.0, speed, speed * speed]
            })
            .collect();
        let fit = Fit::of(&design, &torque).unwrap();
        for (found, expected) in fit.coefficients.iter().zip([230.751_190_48, 99.311_904_76, -9.880_952_38]) {
            assert!((found.unwrap() - expected).abs() < 1e-7);
        }
        assert!((fit.standard_deviation().unwrap() - 0.435_179_22).abs() < 1e-8);
        let at = fit.combination(&[1.0, 5.0, 25.0]).unwrap();
        assert!((at.value - 480.286_905).abs() < 1e-6);
        assert!((at.standard_error - 0.230_177_27).abs() < 1e-8);
        assert!((at.interval(0.95).unwrap().half_width() - 0.591_690).abs() < 1e-6);
    }

    #[test]
    fn shapes_that_do_not_fit_are_refused() {
        assert!(Fit::of(&[], &[]).is_err());
        assert!(Fit::of(&[vec![1.0]], &[1.0, 2.0]).is_err());
        assert!(Fit::of(&[vec![1.0], vec![1.0, 2.0]], &[1.0, 2.0]).is_err());
        assert!(Fit::of(&[vec![f64::NAN]], &[1.0]).is_err());
        assert!(Fit::of(&[vec![1.0]], &[1.0]).unwrap().standard_deviation().is_err());
        let nothing = Fit::of(&[vec![0.0], vec![0.0]], &[1.0, 2.0]).unwrap();
        assert_eq!((nothing.rank, nothing.degrees_of_freedom), (0, 2));
        let wide = Fit::of(&[vec![1.0, 2.0, 3.0]], &[1.0]).unwrap();
        assert_eq!((wide.rank, wide.degrees_of_freedom), (1, 0));
    }

    proptest! {
        #[test]
        fn residuals_stand_square_to_the_design(
            slope in -5.0..5.0_f64, noise in prop::collection::vec(-1.0..1.0_f64, 6), unit in 1e-3..1e3_f64
        ) {
            let design: Vec<Vec<f64>> = (0..6).map(|index| vec![1.0, unit * f64::from(index)]).collect();
            let observed: Vec<f64> = noise.iter().enumerate().map(|(index, part)| slope * index as f64 + part).collect();
            let fit = Fit::of(&design, &observed).unwrap();
            for column in 0..2 {
                let along: f64 = design.iter().zip(&fit.residuals).map(|(row, left)| row[column] * left).sum();
                prop_assert!(along.abs() < 1e-9 * (1.0 + unit));
            }
            // The unit of a column changes its coefficient and nothing else.
            let plain: Vec<Vec<f64>> = (0..6).map(|index| vec![1.0, f64::from(index)]).collect();
            let same = Fit::of(&plain, &observed).unwrap();
            prop_assert!((same.residual_squares - fit.residual_squares).abs() < 1e-9);
            prop_assert!((same.coefficients[1].unwrap() - fit.coefficients[1].unwrap() * unit).abs() < 1e-9);
        }
    }
}
