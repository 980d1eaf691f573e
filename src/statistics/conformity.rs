//! Whether a measured value with its uncertainty lies above or below a limit.
//!
//! Source: JCGM 106:2012, 7.3 (probability of conformity) and 8.3 (guard bands), normal distribution.

use super::StatisticsError;
use super::distribution::{normal_probability, normal_quantile};
use super::error::{finite, fraction, positive};

/// The probability that the true value lies at or above `limit`: Φ((y − T_L)/u).
///
/// ```
/// use mulebook::statistics::conformity::probability_above;
/// // JCGM 106:2012, 7.3.3, example 2 (numbers from memory): burst pressure 509.7, u 8.6, lower limit 490:
/// // 0.989.
/// let p = probability_above(509.7, 8.6, 490.0).expect("inside the range");
/// assert!((p - 0.989).abs() < 5e-4);
/// ```
///
/// # Errors
/// A number that is not finite, or an uncertainty that is not above zero.
pub fn probability_above(value: f64, uncertainty: f64, limit: f64) -> Result<f64, StatisticsError> {
    let gap = finite("value", value)? - finite("limit", limit)?;
    Ok(normal_probability(gap / positive("uncertainty", uncertainty)?))
}

/// The probability that the true value lies at or below `limit`: Φ((T_U − y)/u).
///
/// # Errors
/// As [`probability_above`].
pub fn probability_below(value: f64, uncertainty: f64, limit: f64) -> Result<f64, StatisticsError> {
    probability_above(-value, uncertainty, -limit)
}

/// The distance to keep from a limit so that the risk of being beyond it is at most `risk`: g = u·z(1 −
/// risk).
///
/// # Errors
/// An uncertainty that is not above zero, or a risk outside (0, 1).
pub fn guard_band(uncertainty: f64, risk: f64) -> Result<f64, StatisticsError> {
    Ok(-positive("uncertainty", uncertainty)? * normal_quantile(fraction("risk", risk)?)?)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn examples_of_the_guide() {
        // JCGM 106:2012, 7.3.3, example 1 (numbers from memory): −5.47 V, u 0.05 V, upper limit −5.40 V:
        // 0.92.
        assert!((probability_below(-5.47, 0.05, -5.40).unwrap() - 0.919_243).abs() < 1e-6);
        assert!((probability_above(509.7, 8.6, 490.0).unwrap() - 0.989_010).abs() < 1e-6);
        // "At least 2 hp" at 95 % with u 1.2 hp needs 3.973825 hp (reference table of docs/engine.md).
        assert!((2.0 + guard_band(1.2, 0.05).unwrap() - 3.973_825).abs() < 1e-6);
        assert!(probability_above(1.0, 0.0, 0.0).is_err());
    }
}
