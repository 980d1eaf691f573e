//! Sides whose spreads may differ: Welch's interval where drift and sessions are fitted as well.
//!
//! The spreads of the two sides are found by equating each side's squared residuals with what they are expected to be
//! (C. R. Rao 1970, minimum norm estimation with equal prior weights); degrees of freedom are those of the quadratic
//! form (F. E. Satterthwaite 1946), brought half way to the fewest that they could be. Without drift difference and
//! standard error are exactly Welch's.

use crate::statistics::StatisticsError;
use crate::statistics::least_squares::Fit;
use crate::statistics::two_sample::Estimate;
use crate::verdict::Which;

/// A determinant below this share of its entries counts as none.
const SINGULAR: f64 = 1e-9;

/// A difference with the spread of each side, both from the same units.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Unequal {
    pub(super) estimate: Estimate,
    /// Standard deviations of base and test.
    pub(super) spreads: (f64, f64),
}

/// The difference of units (pulls, stands or fit-ups) on a design whose last column is the test side.
///
/// Degrees of freedom lie half way between Satterthwaite's and the fewest that the layout can give, all noise on one
/// side: his are estimated, and come out too many just when the noise is underestimated (docs/weighing.md shows by
/// simulation what this brings). None where a side's spread cannot be told from these units.
pub(super) fn difference(
    design: &[Vec<f64>],
    sides: &[Which],
    values: &[f64],
) -> Result<Option<Unequal>, StatisticsError> {
    let Some(apart) = Apart::of(design, sides, values)? else { return Ok(None) };
    if apart.variance.iter().any(|variance| *variance <= 0.0) {
        return Ok(None);
    }
    let Some(weights) = apart.weights.iter().copied().collect::<Option<Vec<f64>>>() else { return Ok(None) };
    let mut shares = [0.0; 2];
    for (side, weight) in apart.sides.iter().zip(&weights) {
        shares[*side] += weight * weight;
    }
    let square = shares[0] * apart.variance[0] + shares[1] * apart.variance[1];
    // The estimate of the variance is y'Qy with Q = M D M.
    let factor = [0, 1].map(|h: usize| shares[0] * apart.inverse[0][h] + shares[1] * apart.inverse[1][h]);
    let (freedom, fewest) = apart.freedom(factor, apart.variance);
    Ok(Some(Unequal {
        estimate: Estimate {
            value: weights.iter().zip(values).map(|(weight, value)| weight * value).sum(),
            standard_error: square.sqrt(),
            degrees_of_freedom: (freedom + fewest) / 2.0,
        },
        spreads: (apart.variance[0].sqrt(), apart.variance[1].sqrt()),
    }))
}

/// The degrees of freedom of the pooled spread if each side scatters as its own units say; a side that seems not to
/// scatter at all counts as not scattering. None where a side's spread cannot be told from these units.
pub(super) fn pooled_freedom(
    design: &[Vec<f64>],
    sides: &[Which],
    values: &[f64],
) -> Result<Option<f64>, StatisticsError> {
    let Some(apart) = Apart::of(design, sides, values)? else { return Ok(None) };
    let variance = apart.variance.map(|variance| variance.max(0.0));
    if variance[0] + variance[1] <= 0.0 {
        return Ok(None);
    }
    Ok(Some(apart.freedom([1.0, 1.0], variance).0))
}

/// The spreads of the two sides told apart.
struct Apart {
    sides: Vec<usize>,
    /// What each unit counts in the difference; none where the design does not tell it.
    weights: Vec<Option<f64>>,
    /// The residual maker.
    left: Vec<Vec<f64>>,
    inverse: [[f64; 2]; 2],
    variance: [f64; 2],
}

impl Apart {
    fn of(design: &[Vec<f64>], sides: &[Which], values: &[f64]) -> Result<Option<Self>, StatisticsError> {
        let count = values.len();
        let mut weights = Vec::with_capacity(count);
        let mut left = Vec::with_capacity(count);
        for number in 0..count {
            let mut only = vec![0.0; count];
            only[number] = 1.0;
            let fit = Fit::of(design, &only)?;
            weights.push(fit.coefficients.last().copied().flatten());
            left.push(fit.residuals);
        }
        let sides: Vec<usize> = sides.iter().map(|side| usize::from(*side == Which::Test)).collect();
        let residuals = Fit::of(design, values)?.residuals;
        let mut found = [0.0; 2];
        let mut expected = [[0.0; 2]; 2];
        for (i, row) in left.iter().enumerate() {
            found[sides[i]] += residuals[i] * residuals[i];
            for (j, entry) in row.iter().enumerate() {
                expected[sides[i]][sides[j]] += entry * entry;
            }
        }
        let determinant = expected[0][0] * expected[1][1] - expected[0][1] * expected[1][0];
        if determinant.abs() < SINGULAR * expected[0][0].max(expected[1][1]).max(SINGULAR) {
            return Ok(None);
        }
        let inverse = [
            [expected[1][1] / determinant, -expected[0][1] / determinant],
            [-expected[1][0] / determinant, expected[0][0] / determinant],
        ];
        let variance = [0, 1].map(|g: usize| inverse[g][0] * found[0] + inverse[g][1] * found[1]);
        Ok(Some(Self { sides, weights, left, inverse, variance }))
    }

    /// Satterthwaite's degrees of freedom of y'MDMy, D holding a factor for each side, where the sides have these
    /// variances; and the fewest that any variances give, which is one side alone.
    fn freedom(&self, factor: [f64; 2], variance: [f64; 2]) -> (f64, f64) {
        let count = self.left.len();
        let mut expected = [0.0; 2];
        let mut squares = [[0.0; 2]; 2];
        for i in 0..count {
            for j in 0..count {
                let entry: f64 =
                    (0..count).map(|k| self.left[i][k] * factor[self.sides[k]] * self.left[k][j]).sum();
                squares[self.sides[i]][self.sides[j]] += entry * entry;
                if i == j {
                    expected[self.sides[i]] += entry;
                }
            }
        }
        let mut whole = 0.0;
        let mut trace = 0.0;
        for g in 0..2 {
            whole += expected[g] * variance[g];
            for h in 0..2 {
                trace += squares[g][h] * variance[g] * variance[h];
            }
        }
        let alone = |g: usize| expected[g] * expected[g] / squares[g][g];
        (whole * whole / trace, alone(0).min(alone(1)))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::statistics::sample::Summary;
    use crate::statistics::two_sample::welch;
    use proptest::prelude::*;

    proptest! {
        #[test]
        fn without_drift_it_is_welch(
            base in prop::collection::vec(490.0..510.0_f64, 4..9), test in prop::collection::vec(490.0..510.0_f64, 4..9)
        ) {
            let (a, b) = (Summary::of(&base).unwrap(), Summary::of(&test).unwrap());
            prop_assume!(a.squares > 1e-3 && b.squares > 1e-3);
            let plain = welch(&a, &b).unwrap();
            let sides: Vec<Which> =
                base.iter().map(|_| Which::Base).chain(test.iter().map(|_| Which::Test)).collect();
            let design: Vec<Vec<f64>> =
                sides.iter().map(|side| vec![1.0, f64::from(u8::from(*side == Which::Test))]).collect();
            let values: Vec<f64> = base.iter().chain(&test).copied().collect();
            let found = difference(&design, &sides, &values).unwrap().unwrap().estimate;
            prop_assert!((found.value - plain.value).abs() < 1e-8);
            prop_assert!((found.standard_error - plain.standard_error).abs() < 1e-8 * plain.standard_error);
            // Half way from Welch's degrees of freedom to the poorer side's.
            let fewest = (base.len().min(test.len()) - 1) as f64;
            let expected = (plain.degrees_of_freedom + fewest) / 2.0;
            prop_assert!((found.degrees_of_freedom - expected).abs() < 1e-6 * expected);
        }
    }
}
