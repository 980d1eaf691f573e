//! How many repeats a difference needs before a test of it is likely to show it.
//!
//! Source: Student's t under a true difference is noncentral t with δ = d·√(n/2) and 2n − 2 degrees of
//! freedom (NIST/SEMATECH e-Handbook 7.2.2.2; J. Cohen, *Statistical Power Analysis*, 2nd edition, chapter 2,
//! from memory).

use super::StatisticsError;
use super::distribution::{normal_probability, student_quantile};
use super::error::{finite, fraction, positive};
use super::special::{increasing_root, mean_over_spread};

/// The probability that noncentral t with `df` degrees of freedom and noncentrality `delta` lies at or below
/// `t`.
///
/// The normal probability of t·s − δ is averaged over the ratio s of the estimated spread to the true one;
/// absolute error below 1e-8.
///
/// # Errors
/// `t` or `delta` not finite, or `df` below 1.
pub fn noncentral_student_probability(t: f64, df: f64, delta: f64) -> Result<f64, StatisticsError> {
    let (t, delta) = (finite("t", t)?, finite("noncentrality", delta)?);
    if df.is_nan() || df < 1.0 {
        return Err(StatisticsError::OutOfDomain {
            what: "degrees of freedom",
            found: df,
            expected: "1 or more",
        });
    }
    Ok(mean_over_spread(df, |s| normal_probability(t * s - delta)).clamp(0.0, 1.0))
}

/// The probability that a two-sided test at `alpha` with `count` repeats a side shows a true difference of
/// `ratio` standard deviations.
///
/// `count` may be fractional (a planning figure).
///
/// # Errors
/// Fewer than 1.5 repeats a side, `alpha` outside (0, 1), or a ratio that is not finite.
pub fn power(count: f64, ratio: f64, alpha: f64) -> Result<f64, StatisticsError> {
    if !(count.is_finite() && count >= 1.5) {
        return Err(StatisticsError::OutOfDomain {
            what: "repeats a side",
            found: count,
            expected: "1.5 or more",
        });
    }
    let df = 2.0 * count - 2.0;
    let limit = student_quantile(1.0 - fraction("alpha", alpha)? / 2.0, df)?;
    let delta = finite("ratio", ratio)? * (count / 2.0).sqrt();
    let upper = 1.0 - noncentral_student_probability(limit, df, delta)?;
    Ok((upper + noncentral_student_probability(-limit, df, delta)?).clamp(0.0, 1.0))
}

/// The smallest difference, in standard deviations, that `count` repeats a side show with probability
/// `wanted`.
///
/// # Errors
/// As [`power`], or `wanted` not between `alpha` and 1.
pub fn detectable_ratio(count: f64, alpha: f64, wanted: f64) -> Result<f64, StatisticsError> {
    let wanted = between_alpha_and_one(alpha, wanted)?;
    increasing_root("detectable difference", 0.0, 4.0, |ratio| Ok(power(count, ratio, alpha)? - wanted))
}

/// The repeats a side, as a fraction of one, that show a difference of `ratio` standard deviations with
/// probability `wanted`.
///
/// # Errors
/// A ratio that is not above zero, a difference so large that fewer than 1.5 repeats would do, or as
/// [`power`].
pub fn repeats_needed(ratio: f64, alpha: f64, wanted: f64) -> Result<f64, StatisticsError> {
    let (ratio, wanted) = (positive("ratio", ratio)?, between_alpha_and_one(alpha, wanted)?);
    if power(1.5, ratio, alpha)? >= wanted {
        return Ok(1.5);
    }
    increasing_root("repeats needed", 1.5, 8.0, |count| Ok(power(count, ratio, alpha)? - wanted))
}

fn between_alpha_and_one(alpha: f64, wanted: f64) -> Result<f64, StatisticsError> {
    if fraction("power wanted", wanted)? <= fraction("alpha", alpha)? {
        return Err(StatisticsError::OutOfDomain {
            what: "power wanted",
            found: wanted,
            expected: "above alpha",
        });
    }
    Ok(wanted)
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    #[test]
    fn repeats_agree_with_statsmodels() {
        // Reference table of docs/engine.md, computed with statsmodels 0.15.0 (TTestIndPower).
        for (ratio, count) in
            [(0.5, 63.765_611), (1.0, 16.714_722), (1.5, 8.060_294), (2.0, 5.089_995), (3.0, 3.070_009)]
        {
            let found = repeats_needed(ratio, 0.05, 0.8).unwrap();
            assert!((found - count).abs() < 2e-5, "{ratio}: {found} is not {count}");
        }
        for (count, ratio) in [(2.0, 5.653_489), (3.0, 3.070_892), (5.0, 2.024_440), (10.0, 1.324_947)] {
            let found = detectable_ratio(count, 0.05, 0.8).unwrap();
            assert!((found - ratio).abs() < 2e-6, "{count}: {found} is not {ratio}");
        }
        assert!((power(3.0, 3.0, 0.05).unwrap() - 0.782_554_39).abs() < 1e-8);
    }

    #[test]
    fn without_a_difference_power_is_alpha() {
        for count in [2.0, 3.0, 30.0] {
            assert!((power(count, 0.0, 0.05).unwrap() - 0.05).abs() < 1e-8);
        }
        assert!(power(1.0, 1.0, 0.05).is_err());
        assert!(repeats_needed(0.0, 0.05, 0.8).is_err());
        assert!(detectable_ratio(3.0, 0.05, 0.04).is_err());
    }

    proptest! {
        #[test]
        fn power_rises_with_repeats_and_with_the_difference(count in 2.0..20.0_f64, ratio in 0.1..3.0_f64) {
            let here = power(count, ratio, 0.05).unwrap();
            prop_assert!(power(count + 1.0, ratio, 0.05).unwrap() >= here - 1e-9);
            prop_assert!(power(count, ratio + 0.1, 0.05).unwrap() >= here - 1e-9);
            prop_assert!((power(count, -ratio, 0.05).unwrap() - here).abs() < 1e-8);
        }
    }
}
