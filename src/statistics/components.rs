//! What part of the spread lies within groups of readings and what part between them.
//!
//! Source: ISO 5725-2:1994, 7.4 (one-way random effects). Groups that are sittings on one bench give
//! *intermediate precision* (ISO 5725-3), not reproducibility between laboratories; the caller names which it
//! is.

use super::StatisticsError;
use super::distribution::fisher_upper;
use super::sample::{PooledSpread, Summary, sum};

/// ISO 5725 limit factor: two readings differ by more than 2.8 s in one case of twenty (exact: 1.96·√2 =
/// 2.7718).
pub const LIMIT_FACTOR: f64 = 2.8;

/// The spread within and between groups.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Components {
    /// Spread within groups, s_r.
    pub within: PooledSpread,
    /// Spread between groups, s_L; zero where the groups differ less than chance would make them.
    pub between: f64,
    /// Whether the estimate of the variance between groups was negative and was set to zero.
    pub between_clamped: bool,
    /// Mean square between groups.
    pub mean_square_between: f64,
    /// Degrees of freedom between groups: groups − 1.
    pub between_degrees_of_freedom: f64,
}

impl Components {
    /// Splits the spread of readings in groups.
    ///
    /// # Errors
    /// Fewer than two groups, an empty group, or no group with two readings.
    pub fn of(groups: &[&[f64]]) -> Result<Self, StatisticsError> {
        if groups.len() < 2 {
            return Err(StatisticsError::TooFew { what: "groups", found: groups.len(), expected: 2 });
        }
        // A common shift keeps the digits of readings with a long constant head.
        let shift = groups.iter().find_map(|group| group.first()).copied().unwrap_or(0.0);
        let summaries = groups
            .iter()
            .map(|group| Summary::of(&group.iter().map(|reading| reading - shift).collect::<Vec<_>>()))
            .collect::<Result<Vec<_>, _>>()?;
        let within = PooledSpread::of(&summaries)?;
        let count = sum(summaries.iter().map(|group| group.count as f64));
        let grand = sum(summaries.iter().map(|group| group.count as f64 * group.mean)) / count;
        let squares = sum(summaries.iter().map(|group| {
            let gap = group.mean - grand;
            group.count as f64 * gap * gap
        }));
        let between_degrees_of_freedom = groups.len() as f64 - 1.0;
        let mean_square_between = squares / between_degrees_of_freedom;
        let typical = (count - sum(summaries.iter().map(|group| (group.count * group.count) as f64)) / count)
            / between_degrees_of_freedom;
        let variance =
            (mean_square_between - within.standard_deviation * within.standard_deviation) / typical;
        Ok(Self {
            within,
            between: variance.max(0.0).sqrt(),
            between_clamped: variance < 0.0,
            mean_square_between,
            between_degrees_of_freedom,
        })
    }

    /// Spread of single readings of different groups, √(s_r² + s_L²).
    #[must_use]
    pub fn overall(&self) -> f64 {
        libm::hypot(self.within.standard_deviation, self.between)
    }

    /// Repeatability limit r = 2.8 s_r for two single readings of one group (ISO 5725-6:1994, 4.1).
    #[must_use]
    pub fn repeatability_limit(&self) -> f64 {
        LIMIT_FACTOR * self.within.standard_deviation
    }

    /// Limit for two single readings of different groups, 2.8 √(s_r² + s_L²).
    #[must_use]
    pub fn overall_limit(&self) -> f64 {
        LIMIT_FACTOR * self.overall()
    }

    /// Limit for two means of `base` and `test` readings within one group.
    ///
    /// # Errors
    /// A count of zero.
    pub fn limit_of_means(&self, base: usize, test: usize) -> Result<f64, StatisticsError> {
        if base == 0 || test == 0 {
            return Err(StatisticsError::TooFew { what: "readings on a side", found: 0, expected: 1 });
        }
        Ok(self.repeatability_limit() * ((1.0 / base as f64 + 1.0 / test as f64) / 2.0).sqrt())
    }

    /// Fisher's F of the groups and the probability of one at least as large if all groups were alike.
    ///
    /// # Errors
    /// No spread within groups.
    pub fn group_test(&self) -> Result<(f64, f64), StatisticsError> {
        let noise = self.within.standard_deviation * self.within.standard_deviation;
        if noise <= 0.0 {
            return Err(StatisticsError::NoSpread { what: "readings within each group" });
        }
        let f = self.mean_square_between / noise;
        Ok((f, fisher_upper(f, self.between_degrees_of_freedom, self.within.degrees_of_freedom)?))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn sessions_split_as_in_the_reference_table() {
        // Reference table of docs/engine.md, computed with statsmodels 0.15.0.
        let components = Components::of(&[
            &[512.4, 513.1, 511.8],
            &[514.0, 514.6, 513.7],
            &[511.2, 512.0, 511.5],
            &[513.3, 512.6, 513.9],
        ])
        .unwrap();
        let near =
            |found: f64, expected: f64| assert!((found - expected).abs() < 1e-6, "{found} is not {expected}");
        near(components.within.standard_deviation, 0.552_268_05);
        near(components.between, 1.041_055_38);
        near(components.overall(), 1.178_472_02);
        near(components.repeatability_limit(), 1.546_351);
        near(components.overall_limit(), 3.299_722);
        near(components.limit_of_means(3, 3).unwrap(), 1.546_351 * (1.0_f64 / 3.0).sqrt());
        let (f, p) = components.group_test().unwrap();
        near(f, 11.660_291_44);
        near(p, 0.002_724_46);
    }

    #[test]
    fn a_negative_variance_between_groups_is_clamped_and_said() {
        let components = Components::of(&[&[1.0, 3.0], &[1.1, 2.9]]).unwrap();
        assert!(components.between_clamped);
        assert!(components.between.abs() < f64::EPSILON);
        assert!(Components::of(&[&[1.0, 2.0]]).is_err());
        assert!(Components::of(&[&[1.0], &[2.0]]).is_err());
        assert!(Components::of(&[&[1.0, 2.0], &[]]).is_err());
    }
}
