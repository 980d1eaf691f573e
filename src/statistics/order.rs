//! What the best of several readings is worth when all that differs is noise.

use super::StatisticsError;
use super::distribution::normal_probability;

/// Half the width, in standard deviations, that the integral covers, and its number of steps.
const REACH: f64 = 9.0;
const STEPS: u32 = 1800;

/// The expected mean of the `best` highest of `count` normal readings, in standard deviations above their mean.
///
/// The mean of the k highest of n is n/k · ∫ x φ(x) P(fewer than k of the other n − 1 lie above x) dx (H. David &
/// H. Nagaraja, *Order Statistics*, 3rd edition, 2.1, from memory); Simpson's rule, error below 1e-9.
///
/// ```
/// use mulebook::statistics::order::best_of;
/// // L. Tippett, Biometrika 17 (1925), 364: half the mean range of 2, and 3 and 10 (from memory).
/// for (count, expected) in [(2, 0.56419), (3, 0.84628), (10, 1.53875)] {
///     assert!((best_of(1, count).expect("a choice") - expected).abs() < 1e-5);
/// }
/// ```
///
/// # Errors
/// None chosen, or more than there are.
pub fn best_of(best: usize, count: usize) -> Result<f64, StatisticsError> {
    if best == 0 || best > count {
        return Err(StatisticsError::TooFew {
            what: "readings to choose from",
            found: count,
            expected: best.max(1),
        });
    }
    let (chosen, whole) = (best as f64, count as f64);
    let step = 2.0 * REACH / f64::from(STEPS);
    let integrand = |x: f64| {
        let above = 1.0 - normal_probability(x);
        let density = libm::exp(-x * x / 2.0) / (2.0 * std::f64::consts::PI).sqrt();
        x * density * fewer_than(best, count - 1, above)
    };
    let mut sum = 0.0;
    for number in 0..=STEPS {
        let weight = match number {
            0 | STEPS => 1.0,
            odd if odd % 2 == 1 => 4.0,
            _ => 2.0,
        };
        sum += weight * integrand(-REACH + step * f64::from(number));
    }
    Ok(whole / chosen * sum * step / 3.0)
}

/// The probability that fewer than `limit` of `count` lie above, each with probability `above`.
fn fewer_than(limit: usize, count: usize, above: f64) -> f64 {
    let mut whole = 0.0;
    let mut ways = 1.0;
    for number in 0..limit.min(count + 1) {
        let rest = count - number;
        whole += ways * libm::pow(above, number as f64) * libm::pow(1.0 - above, rest as f64);
        ways *= rest as f64 / (number + 1) as f64;
    }
    whole
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn all_of_them_are_no_choice() {
        for count in 1..9 {
            assert!(best_of(count, count).unwrap().abs() < 1e-9);
        }
        assert!(best_of(0, 3).is_err() && best_of(4, 3).is_err());
    }

    #[test]
    fn the_worst_left_out_mirrors_the_best_alone() {
        // The mean of all is nothing: (n - 1) of the best n - 1 make up for the one left out.
        for count in 2..12_usize {
            let others = best_of(count - 1, count).unwrap() * (count - 1) as f64;
            assert!((others - best_of(1, count).unwrap()).abs() < 1e-9);
        }
    }
}
