//! Two things varied together: main effects and interaction, also when some combinations were never tested.
//!
//! Sums of squares by comparing models fitted by least squares (types I, II and III as in F. Yates 1934 and
//! the usage of R. Littell et al., from memory). A combination that was never tested is listed; its value can
//! only be *extrapolated* from the additive model, and an interaction is tested only on the degrees of
//! freedom that the tested combinations leave.

use std::collections::BTreeSet;

use super::StatisticsError;
use super::distribution::fisher_upper;
use super::least_squares::Fit;
use super::two_sample::Estimate;

/// One reading at a level of each factor; levels are counted from 0.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Reading {
    /// Level of the first factor.
    pub first: usize,
    /// Level of the second factor.
    pub second: usize,
    /// The reading.
    pub value: f64,
}

/// What a sum of squares is adjusted for.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
#[non_exhaustive]
pub enum Adjustment {
    /// Type I: the first factor alone, the second after the first, the interaction last.
    Sequential,
    /// Type II: each factor after the other, the interaction last.
    Marginal,
    /// Type III: each after all the others, effects summing to zero; only when every combination was tested.
    Partial,
}

/// One line of the table of variance.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Effect {
    /// Sum of squares.
    pub squares: f64,
    /// Degrees of freedom; fewer than usual when combinations are missing.
    pub degrees_of_freedom: usize,
    /// Fisher's F against the repeats; none where there are no degrees of freedom or no noise.
    pub f: Option<f64>,
    /// Probability of an F at least as large without the effect.
    pub probability: Option<f64>,
}

/// Readings over two factors.
#[derive(Debug, Clone, PartialEq)]
pub struct TwoFactors {
    readings: Vec<Reading>,
    first_levels: usize,
    second_levels: usize,
    tested: BTreeSet<(usize, usize)>,
}

/// Columns that a model may have besides the mean.
#[derive(Clone, Copy)]
struct Model {
    first: bool,
    second: bool,
    interaction: bool,
}

const ADDITIVE: Model = Model { first: true, second: true, interaction: false };
const FULL: Model = Model { first: true, second: true, interaction: true };

impl TwoFactors {
    /// Takes readings over two factors with the given numbers of levels.
    ///
    /// # Errors
    /// Fewer than two levels of a factor, or a reading at a level beyond them.
    pub fn new(
        readings: &[Reading],
        first_levels: usize,
        second_levels: usize,
    ) -> Result<Self, StatisticsError> {
        for levels in [first_levels, second_levels] {
            if levels < 2 {
                return Err(StatisticsError::TooFew {
                    what: "levels of a factor",
                    found: levels,
                    expected: 2,
                });
            }
        }
        for reading in readings {
            if reading.first >= first_levels || reading.second >= second_levels {
                return Err(StatisticsError::OutOfDomain {
                    what: "level of a reading",
                    found: reading.first.max(reading.second) as f64,
                    expected: "below the number of levels",
                });
            }
        }
        Ok(Self {
            readings: readings.to_vec(),
            first_levels,
            second_levels,
            tested: readings.iter().map(|reading| (reading.first, reading.second)).collect(),
        })
    }

    /// The combinations that were never tested.
    #[must_use]
    pub fn untested(&self) -> Vec<(usize, usize)> {
        (0..self.first_levels)
            .flat_map(|first| (0..self.second_levels).map(move |second| (first, second)))
            .filter(|cell| !self.tested.contains(cell))
            .collect()
    }

    /// Effects coded to sum to zero: +1 at the level, −1 at the last one.
    fn coded(level: usize, levels: usize) -> Vec<f64> {
        (0..levels - 1)
            .map(|index| match level {
                _ if level == index => 1.0,
                _ if level + 1 == levels => -1.0,
                _ => 0.0,
            })
            .collect()
    }

    fn row(&self, first: usize, second: usize, model: Model) -> Vec<f64> {
        let (a, b) = (Self::coded(first, self.first_levels), Self::coded(second, self.second_levels));
        let mut row = vec![1.0];
        if model.first {
            row.extend(&a);
        }
        if model.second {
            row.extend(&b);
        }
        if model.interaction {
            row.extend(a.iter().flat_map(|x| b.iter().map(move |y| x * y)));
        }
        row
    }

    fn fit(&self, model: Model) -> Result<Fit, StatisticsError> {
        let design: Vec<Vec<f64>> =
            self.readings.iter().map(|reading| self.row(reading.first, reading.second, model)).collect();
        let observed: Vec<f64> = self.readings.iter().map(|reading| reading.value).collect();
        Fit::of(&design, &observed)
    }

    /// The first factor, the second and their interaction, against the repeats within combinations.
    ///
    /// # Errors
    /// No combination with repeats; type III with untested combinations; numbers that are not finite.
    pub fn effects(&self, adjustment: Adjustment) -> Result<[Effect; 3], StatisticsError> {
        let full = self.fit(FULL)?;
        if full.degrees_of_freedom == 0 {
            return Err(StatisticsError::TooFew {
                what: "repeats within combinations",
                found: 0,
                expected: 1,
            });
        }
        if adjustment == Adjustment::Partial && !self.untested().is_empty() {
            return Err(StatisticsError::NotEstimable {
                what: "a type III sum of squares with untested combinations",
            });
        }
        let first_alone = Model { second: false, interaction: false, ..FULL };
        let second_alone = Model { first: false, interaction: false, ..FULL };
        let mean = Model { first: false, ..first_alone };
        let pairs = match adjustment {
            Adjustment::Sequential => [(mean, first_alone), (first_alone, ADDITIVE)],
            Adjustment::Marginal => [(second_alone, ADDITIVE), (first_alone, ADDITIVE)],
            Adjustment::Partial => {
                [(Model { first: false, ..FULL }, FULL), (Model { second: false, ..FULL }, FULL)]
            }
        };
        Ok([
            self.effect(pairs[0].0, pairs[0].1, &full)?,
            self.effect(pairs[1].0, pairs[1].1, &full)?,
            self.effect(ADDITIVE, FULL, &full)?,
        ])
    }

    fn effect(&self, smaller: Model, larger: Model, full: &Fit) -> Result<Effect, StatisticsError> {
        let (without, with) = (self.fit(smaller)?, self.fit(larger)?);
        let squares = (without.residual_squares - with.residual_squares).max(0.0);
        let degrees_of_freedom = with.rank - without.rank.min(with.rank);
        let noise = full.residual_squares / full.degrees_of_freedom as f64;
        let f = (degrees_of_freedom > 0 && noise > 0.0).then(|| squares / degrees_of_freedom as f64 / noise);
        let probability = match f {
            Some(f) => Some(fisher_upper(f, degrees_of_freedom as f64, full.degrees_of_freedom as f64)?),
            None => None,
        };
        Ok(Effect { squares, degrees_of_freedom, f, probability })
    }

    /// The effect of the first factor from level `from` to level `to`, without interaction.
    ///
    /// # Errors
    /// A level beyond the factor, a contrast that the tested combinations do not determine, or no repeats.
    pub fn additive_change(&self, from: usize, to: usize) -> Result<Estimate, StatisticsError> {
        let fit = self.fit(ADDITIVE)?;
        self.check_level(from.max(to), self.first_levels)?;
        let (base, test) = (self.row(from, 0, ADDITIVE), self.row(to, 0, ADDITIVE));
        let contrast: Vec<f64> = test.iter().zip(&base).map(|(t, b)| t - b).collect();
        fit.combination(&contrast)
    }

    /// What the additive model gives for a combination; for an untested one this is extrapolation and must be
    /// shown as such.
    ///
    /// # Errors
    /// As [`TwoFactors::additive_change`].
    pub fn additive_prediction(&self, first: usize, second: usize) -> Result<Estimate, StatisticsError> {
        self.check_level(first, self.first_levels)?;
        self.check_level(second, self.second_levels)?;
        self.fit(ADDITIVE)?.combination(&self.row(first, second, ADDITIVE))
    }

    fn check_level(&self, level: usize, levels: usize) -> Result<(), StatisticsError> {
        if level < levels {
            return Ok(());
        }
        Err(StatisticsError::OutOfDomain {
            what: "level",
            found: level as f64,
            expected: "below the number of levels",
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Chambers (two) by cams (three), reference table of docs/engine.md, computed with statsmodels 0.15.0.
    fn readings(skip: impl Fn(usize, usize, f64) -> bool) -> TwoFactors {
        let cells = [
            [[500.1, 500.9], [508.2, 507.5], [511.0, 511.9]],
            [[496.8, 497.4], [503.0, 503.9], [505.1, 504.2]],
        ];
        let mut readings = Vec::new();
        for (first, row) in cells.iter().enumerate() {
            for (second, cell) in row.iter().enumerate() {
                for &value in cell {
                    if !skip(first, second, value) {
                        readings.push(Reading { first, second, value });
                    }
                }
            }
        }
        TwoFactors::new(&readings, 2, 3).unwrap()
    }

    fn near(found: f64, expected: f64) {
        assert!((found - expected).abs() < 2e-8 * expected.abs().max(1.0), "{found} is not {expected}");
    }

    #[test]
    fn balanced_table() {
        let table = readings(|_, _, _| false);
        for adjustment in [Adjustment::Sequential, Adjustment::Marginal, Adjustment::Partial] {
            let [chamber, cam, both] = table.effects(adjustment).unwrap();
            near(chamber.squares, 71.053_333_33);
            near(cam.squares, 184.326_666_67);
            near(both.squares, 6.106_666_67);
            near(both.f.unwrap(), 9.346_938_78);
            near(both.probability.unwrap(), 0.014_344_52);
        }
        assert!(table.untested().is_empty());
    }

    #[test]
    fn a_lost_reading_separates_the_types() {
        let table = readings(|_, _, value| (value - 500.9).abs() < 1e-9);
        let chamber = |adjustment| table.effects(adjustment).unwrap()[0].squares;
        near(chamber(Adjustment::Sequential), 98.400_121_21);
        near(chamber(Adjustment::Marginal), 65.34);
        near(chamber(Adjustment::Partial), 57.611_428_57);
    }

    #[test]
    fn an_untested_combination_is_named_and_only_extrapolated() {
        let table = readings(|first, second, _| (first, second) == (1, 2));
        assert_eq!(table.untested(), vec![(1, 2)]);
        let [_, _, both] = table.effects(Adjustment::Marginal).unwrap();
        assert_eq!(both.degrees_of_freedom, 1);
        near(both.f.unwrap(), 1.607_717_04);
        near(both.probability.unwrap(), 0.260_647_80);
        assert!(table.effects(Adjustment::Partial).is_err());
        let change = table.additive_change(0, 1).unwrap();
        near(change.value, -3.90);
        near(change.standard_error, 0.413_823_63);
        let interval = change.interval(0.95).unwrap();
        near(interval.lower, -4.912_589_95);
        near(interval.upper, -2.887_410_05);
        let guess = table.additive_prediction(1, 2).unwrap();
        near(guess.value, 507.55);
        assert!((guess.standard_error - 0.585_235).abs() < 1e-6);
    }

    #[test]
    fn a_level_never_tested_gives_no_prediction() {
        let table = readings(|_, second, _| second == 2);
        assert!(table.additive_prediction(0, 2).is_err());
        assert!(table.additive_prediction(2, 0).is_err());
        assert!(TwoFactors::new(&[], 1, 2).is_err());
    }
}
