//! Sides whose spreads may differ: Welch's interval where drift and sessions are fitted as well.
//!
//! The spreads of the two sides are found by equating each side's squared residuals with what they are expected to be
//! (C. R. Rao 1970, minimum norm estimation with equal prior weights); degrees of freedom are those of the quadratic
//! form (F. E. Satterthwaite 1946). Without drift both are exactly Welch's.

use crate::statistics::StatisticsError;
use crate::statistics::least_squares::Fit;
use crate::statistics::two_sample::Estimate;
use crate::verdict::Which;

/// A difference with the spread of each side, both from the same units.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Unequal {
    pub(super) estimate: Estimate,
    /// Standard deviations of base and test.
    pub(super) spreads: (f64, f64),
}

/// The difference of units (pulls or fit-ups) on a design whose last column is the test side.
///
/// None where a side's spread cannot be told from these units.
pub(super) fn difference(
    design: &[Vec<f64>],
    sides: &[Which],
    values: &[f64],
) -> Result<Option<Unequal>, StatisticsError> {
    let count = values.len();
    let mut weights = Vec::with_capacity(count);
    let mut left = Vec::with_capacity(count);
    for number in 0..count {
        let mut only = vec![0.0; count];
        only[number] = 1.0;
        let fit = Fit::of(design, &only)?;
        let Some(Some(weight)) = fit.coefficients.last() else { return Ok(None) };
        weights.push(*weight);
        left.push(fit.residuals);
    }
    let group = |number: usize| usize::from(sides[number] == Which::Test);
    let residuals = Fit::of(design, values)?.residuals;
    let mut found = [0.0; 2];
    let mut expected = [[0.0; 2]; 2];
    for (i, row) in left.iter().enumerate() {
        found[group(i)] += residuals[i] * residuals[i];
        for (j, entry) in row.iter().enumerate() {
            expected[group(i)][group(j)] += entry * entry;
        }
    }
    let determinant = expected[0][0] * expected[1][1] - expected[0][1] * expected[1][0];
    if determinant.abs() < 1e-9 * expected[0][0].max(expected[1][1]).max(1e-9) {
        return Ok(None);
    }
    let inverse = [
        [expected[1][1] / determinant, -expected[0][1] / determinant],
        [-expected[1][0] / determinant, expected[0][0] / determinant],
    ];
    let variance = [0, 1].map(|g: usize| inverse[g][0] * found[0] + inverse[g][1] * found[1]);
    if variance.iter().any(|variance| *variance <= 0.0) {
        return Ok(None);
    }
    let mut shares = [0.0; 2];
    for (number, weight) in weights.iter().enumerate() {
        shares[group(number)] += weight * weight;
    }
    let square = shares[0] * variance[0] + shares[1] * variance[1];
    // The estimate of the variance is y'Qy with Q = M D M.
    let factor = [0, 1].map(|h: usize| shares[0] * inverse[0][h] + shares[1] * inverse[1][h]);
    let mut trace = 0.0;
    for i in 0..count {
        for j in 0..count {
            let entry: f64 = (0..count).map(|k| left[i][k] * factor[group(k)] * left[k][j]).sum();
            trace += entry * entry * variance[group(i)] * variance[group(j)];
        }
    }
    let value = weights.iter().zip(values).map(|(weight, value)| weight * value).sum();
    Ok(Some(Unequal {
        estimate: Estimate {
            value,
            standard_error: square.sqrt(),
            degrees_of_freedom: square * square / trace,
        },
        spreads: (variance[0].sqrt(), variance[1].sqrt()),
    }))
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
            prop_assert!((found.degrees_of_freedom - plain.degrees_of_freedom).abs() < 1e-6 * plain.degrees_of_freedom);
        }
    }
}
