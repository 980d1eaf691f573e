//! Factors for a band over a curve: how far an estimate may lie off at one point, or at any of several at
//! once.

use super::StatisticsError;
use super::distribution::{fisher_quantile, normal_probability, student_quantile};
use super::error::{fraction, freedom};
use super::special::{increasing_root, mean_over_spread};

/// How a band covers its points.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
#[non_exhaustive]
pub enum Cover {
    /// Each point by itself (Student's t); over many points some will lie outside.
    Pointwise,
    /// All points at once, by Bonferroni's inequality; holds whatever the dependence.
    Bonferroni,
    /// All points at once, by Šidák's inequality.
    Sidak,
    /// All points at once, exact for independent estimates that share one spread, and safe for dependent ones
    /// (Šidák 1967).
    MaximumModulus,
    /// The whole curve of a model with as many coefficients as `points` (Scheffé 1953, Working–Hotelling).
    Scheffe,
}

/// The number of standard errors to either side that covers `points` estimates with probability `level`.
///
/// `df` are the degrees of freedom of the common spread; infinite when the spread is known (not for
/// [`Cover::Scheffe`]).
///
/// ```
/// use mulebook::statistics::band::{Cover, factor};
/// // Stoline & Ury (1979), table of the studentized maximum modulus (value as recomputed in the project
/// // reference table).
/// let wide = factor(Cover::MaximumModulus, 10, 8.0, 0.95).expect("inside the range");
/// assert!((wide - 3.660_100).abs() < 1e-5);
/// ```
///
/// # Errors
/// No points, a level outside (0, 1), or degrees of freedom below 1.
pub fn factor(cover: Cover, points: usize, df: f64, level: f64) -> Result<f64, StatisticsError> {
    let level = fraction("level", level)?;
    let df = freedom(df)?;
    if points == 0 {
        return Err(StatisticsError::TooFew { what: "points of the band", found: 0, expected: 1 });
    }
    let many = points as f64;
    match cover {
        Cover::Pointwise => student_quantile((1.0 + level) / 2.0, df),
        Cover::Bonferroni => student_quantile(1.0 - (1.0 - level) / (2.0 * many), df),
        Cover::Sidak => student_quantile((1.0 + libm::pow(level, 1.0 / many)) / 2.0, df),
        Cover::MaximumModulus => maximum_modulus(many, df, level),
        Cover::Scheffe => Ok((many * fisher_quantile(level, many, df)?).sqrt()),
    }
}

/// Quantile of the largest of `many` absolute Student ratios over one spread: ∫(2Φ(cs) − 1)^m f(s) ds =
/// level.
fn maximum_modulus(many: f64, df: f64, level: f64) -> Result<f64, StatisticsError> {
    if df < 1.0 {
        return Err(StatisticsError::OutOfDomain {
            what: "degrees of freedom",
            found: df,
            expected: "1 or more",
        });
    }
    increasing_root("studentized maximum modulus", 0.0, 4.0, |c| {
        Ok(mean_over_spread(df, |s| libm::pow((2.0 * normal_probability(c * s) - 1.0).max(0.0), many))
            - level)
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn factors_agree_with_the_reference_table() {
        // Reference table of docs/engine.md, computed with scipy 1.17.1.
        let near = |cover, points, df, expected: f64| {
            let found = factor(cover, points, df, 0.95).unwrap();
            assert!((found - expected).abs() < 2e-6, "{cover:?}: {found} is not {expected}");
        };
        near(Cover::Pointwise, 10, 8.0, 2.306_004);
        near(Cover::Bonferroni, 10, 8.0, 3.832_519);
        near(Cover::Sidak, 10, 8.0, 3.816_351);
        near(Cover::MaximumModulus, 10, 8.0, 3.660_100);
        near(Cover::Scheffe, 3, 8.0, 3.492_641);
        near(Cover::MaximumModulus, 5, 10.0, 3.102_527);
        near(Cover::MaximumModulus, 20, 30.0, 3.267_063);
    }

    #[test]
    fn one_point_is_pointwise_and_bands_are_nested() {
        for df in [1.0, 3.0, 40.0, f64::INFINITY] {
            let alone = factor(Cover::Pointwise, 1, df, 0.95).unwrap();
            let modulus = factor(Cover::MaximumModulus, 1, df, 0.95).unwrap();
            assert!((alone - modulus).abs() < 1e-6 * alone, "{df}: {alone} {modulus}");
            let of = |cover| factor(cover, 7, df, 0.9).unwrap();
            assert!(of(Cover::Pointwise) < of(Cover::MaximumModulus));
            assert!(of(Cover::MaximumModulus) <= of(Cover::Sidak) * (1.0 + 1e-9));
            assert!(of(Cover::Sidak) <= of(Cover::Bonferroni));
        }
    }

    #[test]
    fn arguments_outside_the_range_are_refused() {
        assert!(factor(Cover::Sidak, 0, 4.0, 0.95).is_err());
        assert!(factor(Cover::MaximumModulus, 2, 0.5, 0.95).is_err());
        assert!(factor(Cover::Pointwise, 2, 5.0, 1.0).is_err());
    }
}
