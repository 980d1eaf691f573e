//! The mean and spread of one set of readings.

use super::distribution::{chi_squared_quantile, student_quantile};
use super::error::{finite, fraction};
use super::{Interval, StatisticsError};

/// The count, mean and spread of one set of readings.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Summary {
    /// How many readings.
    pub count: usize,
    /// Arithmetic mean.
    pub mean: f64,
    /// Sum of the squared distances from the mean.
    pub squares: f64,
}

impl Summary {
    /// Counts, averages and spreads a set of readings.
    ///
    /// Readings are taken relative to the first one, so that a long constant head (1000.0001, 1000.0002)
    /// costs no digits; sums are compensated (Neumaier 1974).
    ///
    /// # Errors
    /// No readings, or one that is not finite.
    pub fn of(readings: &[f64]) -> Result<Self, StatisticsError> {
        let Some(&first) = readings.first() else {
            return Err(StatisticsError::TooFew { what: "readings", found: 0, expected: 1 });
        };
        for &reading in readings {
            finite("reading", reading)?;
        }
        let count = readings.len();
        let shift = sum(readings.iter().map(|reading| reading - first)) / count as f64;
        let squares =
            sum(readings.iter().map(|reading| (reading - first - shift) * (reading - first - shift)));
        Ok(Self { count, mean: finite("mean", first + shift)?, squares: finite("spread", squares)? })
    }

    /// Degrees of freedom of the spread: count − 1.
    #[must_use]
    pub fn degrees_of_freedom(&self) -> f64 {
        self.count as f64 - 1.0
    }

    /// Experimental variance s² = Σ(x − x̄)²/(n − 1) (JCGM 100:2008, 4.2.2).
    ///
    /// # Errors
    /// Fewer than two readings.
    pub fn variance(&self) -> Result<f64, StatisticsError> {
        if self.count < 2 {
            return Err(StatisticsError::TooFew { what: "readings", found: self.count, expected: 2 });
        }
        Ok(self.squares / self.degrees_of_freedom())
    }

    /// Experimental standard deviation s.
    ///
    /// # Errors
    /// Fewer than two readings.
    pub fn standard_deviation(&self) -> Result<f64, StatisticsError> {
        Ok(self.variance()?.sqrt())
    }

    /// Standard error of the mean, s/√n (JCGM 100:2008, 4.2.3).
    ///
    /// # Errors
    /// Fewer than two readings.
    pub fn standard_error(&self) -> Result<f64, StatisticsError> {
        Ok((self.variance()? / self.count as f64).sqrt())
    }

    /// Student interval for the mean.
    ///
    /// # Errors
    /// Fewer than two readings, or a level outside (0, 1).
    pub fn interval(&self, level: f64) -> Result<Interval, StatisticsError> {
        let half = self.standard_error()?
            * student_quantile((1.0 + fraction("level", level)?) / 2.0, self.degrees_of_freedom())?;
        Ok(Interval { lower: self.mean - half, upper: self.mean + half, level })
    }
}

/// The spread that several sets share, each about its own mean.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct PooledSpread {
    /// Pooled standard deviation.
    pub standard_deviation: f64,
    /// Degrees of freedom: Σ(nᵢ − 1).
    pub degrees_of_freedom: f64,
}

impl PooledSpread {
    /// Pools the spread of sets: s² = Σ(nᵢ−1)sᵢ² / Σ(nᵢ−1). Sets of one reading add nothing.
    ///
    /// # Errors
    /// No set has two readings.
    pub fn of(sets: &[Summary]) -> Result<Self, StatisticsError> {
        let degrees_of_freedom: f64 = sets.iter().map(Summary::degrees_of_freedom).sum();
        if degrees_of_freedom < 1.0 {
            return Err(StatisticsError::TooFew {
                what: "repeats beyond the first of their set",
                found: 0,
                expected: 1,
            });
        }
        let squares = sum(sets.iter().map(|set| set.squares));
        Ok(Self { standard_deviation: (squares / degrees_of_freedom).sqrt(), degrees_of_freedom })
    }

    /// Chi-squared interval for the standard deviation.
    ///
    /// # Errors
    /// A level outside (0, 1).
    pub fn interval(&self, level: f64) -> Result<Interval, StatisticsError> {
        let tail = (1.0 - fraction("level", level)?) / 2.0;
        let squares = self.standard_deviation * self.standard_deviation * self.degrees_of_freedom;
        let end = |p| -> Result<f64, StatisticsError> {
            Ok((squares / chi_squared_quantile(p, self.degrees_of_freedom)?).sqrt())
        };
        Ok(Interval { lower: end(1.0 - tail)?, upper: end(tail)?, level })
    }
}

/// A compensated sum, in the order given (Neumaier 1974).
pub(super) fn sum(values: impl IntoIterator<Item = f64>) -> f64 {
    let mut total = 0.0_f64;
    let mut lost = 0.0_f64;
    for value in values {
        let next = total + value;
        lost += if total.abs() >= value.abs() { (total - next) + value } else { (value - next) + total };
        total = next;
    }
    total + lost
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    #[test]
    fn worked_mean_and_spread_of_the_guide() {
        // JCGM 100:2008, 4.4.3 and table 1: twenty temperature readings, mean 100.145 °C (printed 100.14), s
        // 1.489 °C.
        let readings = [
            96.90, 98.18, 98.25, 98.61, 99.03, 99.49, 99.56, 99.74, 99.89, 100.07, 100.33, 100.42, 100.68,
            100.95, 101.11, 101.20, 101.57, 101.84, 102.36, 102.72,
        ];
        let summary = Summary::of(&readings).unwrap();
        assert!((summary.mean - 100.145).abs() < 5e-4);
        assert!((summary.standard_deviation().unwrap() - 1.489).abs() < 5e-4);
        assert!((summary.standard_error().unwrap() - 0.333).abs() < 5e-4);
    }

    #[test]
    fn unbalanced_sets_pool() {
        // Check value: project reference table, recomputed with scipy 1.17.1.
        let sets: Vec<Summary> = [&[512.4, 513.1][..], &[514.0, 514.6, 513.7, 514.2], &[511.2, 512.0, 511.5]]
            .iter()
            .map(|set| Summary::of(set).unwrap())
            .collect();
        let pooled = PooledSpread::of(&sets).unwrap();
        assert!((pooled.standard_deviation - 0.408_078_15).abs() < 1e-8);
        let interval = pooled.interval(0.95).unwrap();
        assert!((interval.lower - 0.262_962_87).abs() < 1e-8);
        assert!((interval.upper - 0.898_615_07).abs() < 1e-8);
    }

    #[test]
    fn too_few_and_not_finite_are_refused() {
        assert!(Summary::of(&[]).is_err());
        assert!(Summary::of(&[1.0, f64::NAN]).is_err());
        assert!(Summary::of(&[1.0]).unwrap().variance().is_err());
        assert!(PooledSpread::of(&[Summary::of(&[1.0]).unwrap()]).is_err());
    }

    proptest! {
        #[test]
        fn spread_ignores_a_shift_and_follows_a_scale(
            readings in prop::collection::vec(-1e3..1e3_f64, 2..30), shift in -1e6..1e6_f64, scale in 0.1..10.0_f64
        ) {
            let spread = Summary::of(&readings).unwrap().standard_deviation().unwrap();
            let moved: Vec<f64> = readings.iter().map(|reading| reading * scale + shift).collect();
            let after = Summary::of(&moved).unwrap().standard_deviation().unwrap();
            prop_assert!((after - spread * scale).abs() < 1e-8 * (1.0 + spread * scale));
        }
    }
}
