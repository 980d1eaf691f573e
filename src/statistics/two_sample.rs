//! The difference between two sets of readings, with its standard error.

use super::distribution::{student_probability, student_quantile, student_two_sided};
use super::error::{finite, fraction, freedom, positive};
use super::sample::{PooledSpread, Summary};
use super::special::increasing_root;
use super::{Interval, StatisticsError};

/// A known uncertainty below this part of the standard error leaves its degrees of freedom as they are: it widens the
/// interval by less than a millionth.
const NEGLIGIBLE: f64 = 1e-3;

/// An estimate with its standard error and the degrees of freedom of that error.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Estimate {
    /// The estimate itself.
    pub value: f64,
    /// Its standard error.
    pub standard_error: f64,
    /// Degrees of freedom of the standard error; infinite when the spread is known.
    pub degrees_of_freedom: f64,
}

impl Estimate {
    /// The estimate over its standard error.
    ///
    /// # Errors
    /// A standard error of zero.
    pub fn t(&self) -> Result<f64, StatisticsError> {
        if self.standard_error > 0.0 {
            Ok(self.value / self.standard_error)
        } else {
            Err(StatisticsError::NoSpread { what: "readings" })
        }
    }

    /// Two-sided probability of an estimate at least this far from zero if the true value were zero.
    ///
    /// # Errors
    /// A standard error of zero.
    pub fn two_sided_probability(&self) -> Result<f64, StatisticsError> {
        student_two_sided(self.t()?, self.degrees_of_freedom)
    }

    /// One-sided probability of an estimate at least this high if the true value were `limit`.
    ///
    /// # Errors
    /// A standard error of zero, or a limit that is not finite.
    pub fn probability_above(&self, limit: f64) -> Result<f64, StatisticsError> {
        let shifted = Self { value: self.value - finite("limit", limit)?, ..*self };
        student_probability(-shifted.t()?, self.degrees_of_freedom)
    }

    /// Student interval.
    ///
    /// # Errors
    /// A level outside (0, 1).
    pub fn interval(&self, level: f64) -> Result<Interval, StatisticsError> {
        let half = self.standard_error
            * student_quantile((1.0 + fraction("level", level)?) / 2.0, self.degrees_of_freedom)?;
        Ok(Interval { lower: self.value - half, upper: self.value + half, level })
    }

    /// The estimate with another standard uncertainty in it that is known (infinite degrees of freedom) and independent.
    ///
    /// The half widths of the two intervals at `level` add in squares (G. Zou & A. Donner 2008, recovered variances, from
    /// memory); the degrees of freedom are those that give this. Satterthwaite's formula would not do: where the
    /// estimate's own error has few degrees of freedom, more uncertainty would make a narrower interval.
    ///
    /// # Errors
    /// A level outside (0, 1), or an uncertainty that is no number.
    pub fn with_known(self, uncertainty: f64, level: f64) -> Result<Self, StatisticsError> {
        let known = finite("uncertainty", uncertainty)?.abs();
        let whole = libm::hypot(self.standard_error, known);
        let combined = Self { standard_error: whole, ..self };
        if known <= NEGLIGIBLE * self.standard_error || self.degrees_of_freedom.is_infinite() {
            return Ok(combined);
        }
        let end = (1.0 + fraction("level", level)?) / 2.0;
        let (t, z) = (student_quantile(end, self.degrees_of_freedom)?, student_quantile(end, f64::INFINITY)?);
        let multiple = libm::hypot(t * self.standard_error, z * known) / whole;
        // In the inverse of the degrees of freedom, so that infinity is an end of the bracket.
        let inverse =
            increasing_root("degrees of freedom", 0.0, self.degrees_of_freedom.recip(), |inverse| {
                let freedom = if inverse > 0.0 { inverse.recip() } else { f64::INFINITY };
                Ok(student_quantile(end, freedom)? - multiple)
            })?;
        Ok(Self {
            degrees_of_freedom: if inverse > 0.0 { inverse.recip() } else { f64::INFINITY },
            ..combined
        })
    }

    /// Two one-sided tests (Schuirmann 1987): the larger probability that the true value lies at or beyond
    /// ±`margin`.
    ///
    /// # Errors
    /// A margin that is not above zero, or a standard error of zero.
    pub fn equivalence_probability(&self, margin: f64) -> Result<f64, StatisticsError> {
        let margin = positive("margin", margin)?;
        let mirrored = Self { value: -self.value, ..*self };
        Ok(self.probability_above(-margin)?.max(mirrored.probability_above(-margin)?))
    }
}

/// Effective degrees of freedom of a sum of independent variances: ν = (Σu²)²/Σ(u⁴/ν) (Welch–Satterthwaite;
/// JCGM 100:2008, G.2b).
///
/// Each component is a variance and its degrees of freedom, which may be infinite.
///
/// # Errors
/// A negative variance, all variances zero, or degrees of freedom not above zero.
pub fn satterthwaite(components: &[(f64, f64)]) -> Result<f64, StatisticsError> {
    let mut whole = 0.0;
    let mut parts = 0.0;
    for &(variance, _) in components {
        if !(variance.is_finite() && variance >= 0.0) {
            return Err(StatisticsError::OutOfDomain {
                what: "variance",
                found: variance,
                expected: "0 or more",
            });
        }
        whole += variance;
    }
    let whole = positive("sum of the variances", whole)?;
    for &(variance, df) in components {
        let share = variance / whole;
        parts += share * share / freedom(df)?;
    }
    Ok(1.0 / parts)
}

/// The difference test − base of two means whose spreads may differ (Welch 1947).
///
/// # Errors
/// Fewer than two readings on a side, or no spread on either.
pub fn welch(base: &Summary, test: &Summary) -> Result<Estimate, StatisticsError> {
    let base_part = base.variance()? / base.count as f64;
    let test_part = test.variance()? / test.count as f64;
    if base_part + test_part <= 0.0 {
        return Err(StatisticsError::NoSpread { what: "readings of both sides" });
    }
    Ok(Estimate {
        value: test.mean - base.mean,
        standard_error: (base_part + test_part).sqrt(),
        degrees_of_freedom: satterthwaite(&[
            (base_part, base.degrees_of_freedom()),
            (test_part, test.degrees_of_freedom()),
        ])?,
    })
}

/// The difference test − base of two means that share one spread (Student).
///
/// # Errors
/// No side has two readings, or no spread.
pub fn pooled(base: &Summary, test: &Summary) -> Result<Estimate, StatisticsError> {
    let spread = PooledSpread::of(&[*base, *test])?;
    if spread.standard_deviation <= 0.0 {
        return Err(StatisticsError::NoSpread { what: "readings of both sides" });
    }
    with_spread(base, test, spread)
}

/// The difference test − base of two means with a spread known from elsewhere (a book's own repeats).
///
/// # Errors
/// Degrees of freedom of the spread not above zero.
pub fn with_spread(
    base: &Summary,
    test: &Summary,
    spread: PooledSpread,
) -> Result<Estimate, StatisticsError> {
    Ok(Estimate {
        value: test.mean - base.mean,
        standard_error: spread.standard_deviation
            * (1.0 / base.count as f64 + 1.0 / test.count as f64).sqrt(),
        degrees_of_freedom: freedom(spread.degrees_of_freedom)?,
    })
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    const BASE: [f64; 5] = [512.4, 513.1, 511.8, 512.9, 512.2];
    const TEST: [f64; 4] = [515.0, 514.1, 516.2, 514.7];

    fn sides() -> (Summary, Summary) {
        (Summary::of(&BASE).unwrap(), Summary::of(&TEST).unwrap())
    }

    fn near(found: f64, expected: f64) {
        assert!((found - expected).abs() < 1e-8, "{found} is not {expected}");
    }

    // Check values of this file: reference table of docs/engine.md, computed with scipy 1.17.1 (ttest_ind)
    // and statsmodels 0.15.0.
    #[test]
    fn welch_agrees_with_scipy() {
        let (base, test) = sides();
        let difference = welch(&base, &test).unwrap();
        near(difference.value, 2.52);
        near(difference.standard_error, 0.500_399_84);
        near(difference.t().unwrap(), 5.035_972_83);
        near(difference.degrees_of_freedom, 4.664_395_72);
        near(difference.two_sided_probability().unwrap(), 0.004_826_49);
        let interval = difference.interval(0.95).unwrap();
        near(interval.lower, 1.205_339_25);
        near(interval.upper, 3.834_660_75);
    }

    #[test]
    fn pooled_agrees_with_scipy() {
        let (base, test) = sides();
        let difference = pooled(&base, &test).unwrap();
        near(difference.t().unwrap(), 5.352_536_97);
        near(difference.degrees_of_freedom, 7.0);
        near(difference.two_sided_probability().unwrap(), 0.001_061_29);
    }

    #[test]
    fn two_one_sided_tests_agree_with_statsmodels() {
        let (base, test) = sides();
        let difference = welch(&base, &test).unwrap();
        near(difference.equivalence_probability(4.0).unwrap(), 0.017_210_68);
        near(difference.equivalence_probability(5.0).unwrap(), 0.002_574_24);
        near(difference.equivalence_probability(2.0).unwrap(), 0.825_218_21);
        let interval = difference.interval(0.90).unwrap();
        near(interval.lower, 1.495_420_78);
        near(interval.upper, 3.544_579_22);
    }

    #[test]
    fn a_known_uncertainty_never_narrows_an_interval() {
        // t of 2 degrees of freedom 4.302653, of infinitely many 1.959964 (scipy 1.17.1): √(4.302653² + 1.959964²).
        let noise = Estimate { value: 3.0, standard_error: 1.0, degrees_of_freedom: 2.0 };
        let both = noise.with_known(1.0, 0.95).unwrap();
        assert!((both.interval(0.95).unwrap().half_width() - 4.728_028).abs() < 1e-5);
        assert!((both.standard_error - 2.0_f64.sqrt()).abs() < 1e-12);
        let mut last = 0.0;
        for known in [0.0, 1e-4, 1e-2, 0.1, 0.5, 1.0, 3.0, 100.0] {
            let half = noise.with_known(known, 0.95).unwrap().interval(0.95).unwrap().half_width();
            assert!(half >= last, "{known}: {half} {last}");
            last = half;
        }
        assert!(noise.with_known(f64::NAN, 0.95).is_err());
    }

    proptest! {
        #![proptest_config(ProptestConfig::with_cases(40))]

        #[test]
        fn a_known_uncertainty_adds_its_half_width_in_squares(df in 1.0..40.0_f64, error in 0.1..5.0_f64, known in 0.05..20.0_f64) {
            let noise = Estimate { value: 0.0, standard_error: error, degrees_of_freedom: df };
            let alone = noise.interval(0.95).unwrap().half_width();
            let found = noise.with_known(known, 0.95).unwrap().interval(0.95).unwrap().half_width();
            let expected = libm::hypot(alone, known * 1.959_963_985);
            prop_assert!((found - expected).abs() < 1e-6 * expected, "{found} is not {expected}");
        }
    }

    #[test]
    fn intervals_with_a_known_uncertainty_hold_what_they_promise() {
        // splitmix64 (S. Vigna 2015, public domain) and the sum of twelve, less six: normal to four digits here.
        let mut state = 7_u64;
        let mut draw = || {
            let sum: f64 = (0..12)
                .map(|_| {
                    state = state.wrapping_add(0x9e37_79b9_7f4a_7c15);
                    let mut z = state;
                    z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
                    z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
                    ((z ^ (z >> 31)) >> 11) as f64 / (1_u64 << 53) as f64
                })
                .sum();
            sum - 6.0
        };
        for freedom in [1_u32, 2, 4, 8] {
            let t = student_quantile(0.975, f64::from(freedom)).unwrap();
            for known in [0.5, 1.0, 2.0, 5.0] {
                let held = (0..4000)
                    .filter(|_| {
                        let squares: f64 = (0..freedom).map(|_| draw()).map(|x| x * x).sum();
                        let half = libm::hypot(t * (squares / f64::from(freedom)).sqrt(), 1.959_964 * known);
                        (draw() + known * draw()).abs() < half
                    })
                    .count() as f64
                    / 4000.0;
                // Three standard errors of 4000 draws are 1 %.
                assert!((0.94..0.997).contains(&held), "{freedom} degrees of freedom, {known}: {held}");
            }
        }
    }

    #[test]
    fn no_spread_is_said_and_not_replaced() {
        let flat = Summary::of(&[5.0, 5.0]).unwrap();
        assert_eq!(welch(&flat, &flat), Err(StatisticsError::NoSpread { what: "readings of both sides" }));
        assert!(pooled(&flat, &flat).is_err());
    }

    proptest! {
        #[test]
        fn swapping_sides_only_changes_the_sign(
            base in prop::collection::vec(490.0..510.0_f64, 2..8), test in prop::collection::vec(490.0..510.0_f64, 2..8)
        ) {
            let (a, b) = (Summary::of(&base).unwrap(), Summary::of(&test).unwrap());
            prop_assume!(a.squares > 1e-6 && b.squares > 1e-6);
            let (there, back) = (welch(&a, &b).unwrap(), welch(&b, &a).unwrap());
            prop_assert!((there.value + back.value).abs() < 1e-9);
            prop_assert!((there.two_sided_probability().unwrap() - back.two_sided_probability().unwrap()).abs() < 1e-9);
            // Effective degrees of freedom lie between the smaller side's and the sum (Welch 1947).
            let (low, high) = (a.degrees_of_freedom().min(b.degrees_of_freedom()), a.degrees_of_freedom() + b.degrees_of_freedom());
            prop_assert!(there.degrees_of_freedom >= low - 1e-9 && there.degrees_of_freedom <= high + 1e-9);
        }
    }
}
