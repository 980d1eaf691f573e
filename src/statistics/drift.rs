//! A change between two baselines: A, B, A again, with the drift between the baselines taken out openly.

use super::StatisticsError;
use super::error::finite;
use super::least_squares::Fit;
use super::sample::Summary;
use super::two_sample::Estimate;

/// One reading and where it stands in the order of the sitting.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Placed {
    /// Order or time, in any unit that all readings share.
    pub at: f64,
    /// The reading.
    pub value: f64,
}

/// A change measured between baselines, and the drift that was taken out of it.
#[derive(Debug, Clone, PartialEq)]
pub struct Bracketed {
    /// Test less baseline, drift removed.
    pub change: Estimate,
    /// Drift per unit of order or time; shared by baseline and test.
    pub drift: Estimate,
    /// Residual standard deviation.
    pub standard_deviation: f64,
}

/// Fits reading = baseline + change·(is test) + drift·at over all readings.
///
/// The drift is taken as straight over the sitting; with a refit between the baselines it mixes drift and
/// refit, and the caller says so.
///
/// # Errors
/// Fewer than four readings, an empty side, or an order that does not tell the change from the drift (no
/// baseline after the test).
pub fn bracketed(baseline: &[Placed], test: &[Placed]) -> Result<Bracketed, StatisticsError> {
    let count = baseline.len() + test.len();
    if count < 4 {
        return Err(StatisticsError::TooFew {
            what: "readings of baseline and test",
            found: count,
            expected: 4,
        });
    }
    let places: Vec<f64> = baseline.iter().chain(test).map(|reading| reading.at).collect();
    let middle = Summary::of(&places)?.mean;
    let design: Vec<Vec<f64>> = places
        .iter()
        .enumerate()
        .map(|(index, at)| vec![1.0, if index < baseline.len() { 0.0 } else { 1.0 }, at - middle])
        .collect();
    let observed: Vec<f64> = baseline.iter().chain(test).map(|reading| reading.value).collect();
    let fit = Fit::of(&design, &observed)?;
    if fit.rank < 3 {
        return Err(StatisticsError::NotEstimable { what: "change apart from drift" });
    }
    Ok(Bracketed {
        change: fit.coefficient(1)?,
        drift: fit.coefficient(2)?,
        standard_deviation: fit.standard_deviation()?,
    })
}

/// The change from the means alone: B − [A₁ + (A₂ − A₁)(t_B − t₁)/(t₂ − t₁)].
///
/// # Errors
/// An empty side, or two baselines at one place.
pub fn interpolated(first: &[Placed], test: &[Placed], last: &[Placed]) -> Result<f64, StatisticsError> {
    let means = |side: &[Placed]| -> Result<(f64, f64), StatisticsError> {
        let at: Vec<f64> = side.iter().map(|reading| reading.at).collect();
        let value: Vec<f64> = side.iter().map(|reading| reading.value).collect();
        Ok((Summary::of(&at)?.mean, Summary::of(&value)?.mean))
    };
    let ((t1, a1), (tb, b), (t2, a2)) = (means(first)?, means(test)?, means(last)?);
    if (t2 - t1).abs() <= 0.0 {
        return Err(StatisticsError::NotEstimable { what: "drift between two baselines at one place" });
    }
    finite("change", b - (a1 + (a2 - a1) * (tb - t1) / (t2 - t1)))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn placed(from: u32, values: &[f64]) -> Vec<Placed> {
        values
            .iter()
            .enumerate()
            .map(|(index, &value)| Placed { at: f64::from(from) + index as f64, value })
            .collect()
    }

    #[test]
    fn baseline_test_baseline() {
        // Reference table of docs/engine.md, computed with statsmodels 0.15.0.
        let first = placed(0, &[500.2, 500.6, 499.9]);
        let test = placed(3, &[505.1, 504.4, 504.9]);
        let last = placed(6, &[498.7, 498.1, 498.6]);
        assert!((interpolated(&first, &test, &last).unwrap() - 5.45).abs() < 1e-9);
        let baseline: Vec<Placed> = first.iter().chain(&last).copied().collect();
        let fit = bracketed(&baseline, &test).unwrap();
        assert!((fit.change.value - 5.45).abs() < 1e-9);
        assert!((fit.change.standard_error - 0.267_316_92).abs() < 1e-8);
        assert!((fit.drift.value + 0.275).abs() < 1e-9);
        assert!((fit.drift.standard_error - 0.048_805_17).abs() < 1e-8);
        assert!((fit.standard_deviation - 0.378_043_21).abs() < 1e-8);
        let interval = fit.change.interval(0.95).unwrap();
        assert!((interval.lower - 4.795_899_07).abs() < 1e-7 && (interval.upper - 6.104_100_93).abs() < 1e-7);
    }

    #[test]
    fn one_reading_a_side_is_refused() {
        assert!(bracketed(&placed(0, &[1.0]), &placed(1, &[2.0])).is_err());
        let together = [Placed { at: 0.0, value: 1.0 }, Placed { at: 0.0, value: 1.2 }];
        assert!(bracketed(&together, &placed(1, &[2.0]).repeat(2)).is_err());
        assert!(interpolated(&together, &placed(1, &[2.0]), &together).is_err());
    }
}
