//! A comparison by ranks, for readings whose spread has no bell shape.

use super::StatisticsError;
use super::error::finite;

/// Pairs up to which the exact distribution is counted out; beyond it this room refuses rather than
/// approximate.
const EXACT_LIMIT: usize = 10_000;

/// Exact two-sided probability of the rank-sum test (Mann & Whitney 1947) of two sets without ties.
///
/// # Errors
/// An empty side, more than 10,000 pairs, a value that is not finite, or a tie between the sides.
pub fn rank_sum_probability(base: &[f64], test: &[f64]) -> Result<f64, StatisticsError> {
    let (m, n) = (base.len(), test.len());
    if m == 0 || n == 0 {
        return Err(StatisticsError::TooFew { what: "readings on a side", found: 0, expected: 1 });
    }
    if m.saturating_mul(n) > EXACT_LIMIT {
        return Err(StatisticsError::OutOfDomain {
            what: "pairs of readings",
            found: m as f64 * n as f64,
            expected: "at most 10000",
        });
    }
    for &value in base.iter().chain(test) {
        finite("reading", value)?;
    }
    let mut above = 0_usize;
    for &low in base {
        for &high in test {
            if high > low {
                above += 1;
            } else if high >= low {
                return Err(StatisticsError::NotEstimable {
                    what: "an exact rank probability of tied readings",
                });
            }
        }
    }
    // ways[u]: share of the orders with u pairs in which the test side is higher, by adding one reading at a
    // time.
    let pairs = m * n;
    let mut ways = vec![0.0_f64; pairs + 1];
    ways[0] = 1.0;
    // Gaussian binomial coefficient: multiply by (1 − q^(m+i)), divide by (1 − q^i), for i up to n.
    for i in 1..=n {
        for u in (m + i..=pairs).rev() {
            ways[u] -= ways[u - m - i];
        }
        for u in i..=pairs {
            ways[u] += ways[u - i];
        }
    }
    let all: f64 = ways.iter().sum();
    let extreme = above.min(pairs - above);
    let tail: f64 = ways.iter().take(extreme + 1).sum();
    Ok((2.0 * tail / all).min(1.0))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn exact_probability_agrees_with_scipy_and_with_counting() {
        // Every test reading above every base reading: 2/C(9,4) = 0.01587302 (scipy 1.17.1 mannwhitneyu,
        // exact).
        let p = rank_sum_probability(&[512.4, 513.1, 511.8, 512.9, 512.2], &[515.0, 514.1, 516.2, 514.7])
            .unwrap();
        assert!((p - 2.0 / 126.0).abs() < 1e-12);
        // Two against two, one pair reversed: U = 1 of 0..4, orders 1 1 2 1 1, so p = 2·2/6.
        let p = rank_sum_probability(&[1.0, 3.0], &[2.0, 4.0]).unwrap();
        assert!((p - 4.0 / 6.0).abs() < 1e-12);
    }

    #[test]
    fn ties_are_refused() {
        assert!(rank_sum_probability(&[1.0, 2.0], &[2.0, 3.0]).is_err());
        assert!(rank_sum_probability(&[], &[2.0]).is_err());
    }
}
