//! How much pulls and fit-ups scatter, from the sides themselves and from the rest of the book.
//!
//! Components by fitting constants (C. R. Henderson 1953, method III): the squares left after fit-ups say what pulls
//! do; what fit-ups take away beyond the fixed terms says what refitting does. ISO 5725 calls the first
//! repeatability; the two together, in one cell, are intermediate precision and not reproducibility.

use crate::statistics::StatisticsError;
use crate::statistics::least_squares::Fit;
use crate::statistics::two_sample::Estimate;
use crate::verdict::Layout;
use crate::verdict::layout::levels;

/// A component with fewer degrees of freedom of the sides' own is joined with the book's: the same limit as for
/// unequal spreads. It depends on the layout alone, never on the values.
pub(super) const FEWEST_OF_OWN: usize = 4;

/// What some pulls say of scatter: sums of squares with their degrees of freedom.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub struct Evidence {
    /// Squares about the lines of the fit-ups.
    pub pull_squares: f64,
    /// Their degrees of freedom.
    pub pull_freedom: usize,
    /// Squares that fit-ups explain beyond configuration, session and drift.
    pub refit_squares: f64,
    /// Their degrees of freedom.
    pub refit_freedom: usize,
    /// How often the variance between fit-ups is in the expected refit squares.
    pub refit_share: f64,
}

/// One pull of the book that belongs to neither side.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Row {
    pub(super) fixed: Vec<f64>,
    pub(super) with_fit_ups: Vec<f64>,
}

impl Evidence {
    /// What the sides themselves say.
    ///
    /// # Errors
    /// A value that is not finite, or not one for each pull.
    pub fn of_sides(layout: &Layout, values: &[f64]) -> Result<Self, StatisticsError> {
        Self::of(layout.fixed(), layout.with_fit_ups(), layout.units(), values)
    }

    /// What other pulls of the same engine in the same cell say: repeats of one configuration in one session, and
    /// refits of it.
    ///
    /// Each pull is its configuration, fit-up, session, place in the session and value.
    ///
    /// # Errors
    /// A value that is not finite.
    pub fn of_book(pulls: &[(String, String, String, f64, f64)]) -> Result<Self, StatisticsError> {
        if pulls.is_empty() {
            return Ok(Self::default());
        }
        let keys: Vec<String> = pulls.iter().map(|pull| format!("{}\u{0}{}", pull.2, pull.0)).collect();
        let cells = levels(keys.iter().map(String::as_str));
        let units = levels(pulls.iter().map(|pull| pull.1.as_str()));
        let sessions = levels(pulls.iter().map(|pull| pull.2.as_str()));
        let mut fit_ups = vec![vec![0.0; pulls.len()]; units.len()];
        let mut rows = Vec::with_capacity(pulls.len());
        for (number, (key, pull)) in keys.iter().zip(pulls).enumerate() {
            let mut fixed = vec![0.0; cells.len() + sessions.len()];
            fixed[cells[key.as_str()]] = 1.0;
            fixed[cells.len() + sessions[pull.2.as_str()]] = pull.3;
            let unit = units[pull.1.as_str()];
            let mut with_fit_ups = vec![0.0; units.len()];
            with_fit_ups[unit] = 1.0;
            with_fit_ups.extend(&fixed);
            fit_ups[unit][number] = 1.0;
            rows.push(Row { fixed, with_fit_ups });
        }
        let values: Vec<f64> = pulls.iter().map(|pull| pull.4).collect();
        let (fixed, whole): (Vec<_>, Vec<_>) = rows.into_iter().map(|row| (row.fixed, row.with_fit_ups)).unzip();
        Self::of(&fixed, &whole, &fit_ups, &values)
    }

    fn of(
        fixed: &[Vec<f64>],
        with_fit_ups: &[Vec<f64>],
        units: &[Vec<f64>],
        values: &[f64],
    ) -> Result<Self, StatisticsError> {
        let reduced = Fit::of(fixed, values)?;
        let whole = Fit::of(with_fit_ups, values)?;
        let refit_freedom = whole.rank - reduced.rank;
        let mut refit_share = 0.0;
        if refit_freedom > 0 {
            for unit in units {
                refit_share += Fit::of(fixed, unit)?.residual_squares;
            }
        }
        Ok(Self {
            pull_squares: whole.residual_squares,
            pull_freedom: whole.degrees_of_freedom,
            refit_squares: if refit_freedom > 0 {
                (reduced.residual_squares - whole.residual_squares).max(0.0)
            } else {
                0.0
            },
            refit_freedom,
            refit_share,
        })
    }
}

/// A spread and where it comes from.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct SpreadEstimate {
    /// The standard deviation, in units of the figure.
    pub standard_deviation: f64,
    /// Its degrees of freedom, all together.
    pub degrees_of_freedom: usize,
    /// Those that come from the book's other pulls.
    pub from_book: usize,
}

/// The components that a difference is made with.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Scatter {
    /// Pull to pull within a fit-up (repeatability); none where every fit-up was pulled once, so that pull and refit
    /// cannot be told apart and the refit's own part stands for both.
    pub pull: Option<SpreadEstimate>,
    /// Fit-up to fit-up, pulls apart; none where neither the sides nor the book have a refit.
    pub refit: Option<SpreadEstimate>,
    pull_mean_square: f64,
    refit_mean_square: f64,
    refit_share: f64,
}

impl Scatter {
    /// Joins what the sides say with what the book says, component by component.
    ///
    /// The sides' own estimate stands alone from four degrees of freedom; below that the book's squares are added.
    /// None where nothing at all says how pulls scatter.
    pub fn of(own: &Evidence, book: &Evidence) -> Option<Self> {
        let lend = |own: usize, book: usize| if own < FEWEST_OF_OWN { book } else { 0 };
        let pull_from_book = lend(own.pull_freedom, book.pull_freedom);
        let pull_freedom = own.pull_freedom + pull_from_book;
        let refit_from_book = lend(own.refit_freedom, book.refit_freedom);
        let refit_freedom = own.refit_freedom + refit_from_book;
        if pull_freedom + refit_freedom == 0 {
            return None;
        }
        let joined = |from_book: usize, own: f64, book: f64| own + if from_book > 0 { book } else { 0.0 };
        let pull_mean_square = if pull_freedom > 0 {
            joined(pull_from_book, own.pull_squares, book.pull_squares) / pull_freedom as f64
        } else {
            0.0
        };
        let mut scatter = Self {
            pull: (pull_freedom > 0).then(|| SpreadEstimate {
                standard_deviation: pull_mean_square.sqrt(),
                degrees_of_freedom: pull_freedom,
                from_book: pull_from_book,
            }),
            refit: None,
            pull_mean_square,
            refit_mean_square: 0.0,
            refit_share: 0.0,
        };
        if refit_freedom > 0 {
            let freedom = refit_freedom as f64;
            scatter.refit_mean_square =
                joined(refit_from_book, own.refit_squares, book.refit_squares) / freedom;
            scatter.refit_share = joined(refit_from_book, own.refit_share, book.refit_share) / freedom;
            let variance = (scatter.refit_mean_square - pull_mean_square) / scatter.refit_share;
            scatter.refit = Some(SpreadEstimate {
                standard_deviation: variance.max(0.0).sqrt(),
                degrees_of_freedom: refit_freedom,
                from_book: refit_from_book,
            });
        }
        Some(scatter)
    }

    /// A value that counts fit-ups and pulls with these shares, with its standard error.
    ///
    /// Degrees of freedom are Satterthwaite's, never fewer than those of the poorer component: where a mean square is
    /// subtracted his formula may fall below what either has.
    ///
    /// # Errors
    /// No spread at all.
    pub(super) fn estimate(
        &self,
        value: f64,
        fit_up_share: f64,
        pull_share: f64,
    ) -> Result<Estimate, StatisticsError> {
        let parts = self.variance(fit_up_share, pull_share);
        let variance: f64 = parts.iter().map(|part| part.0).sum();
        if variance <= 0.0 {
            return Err(StatisticsError::NoSpread { what: "pulls of this engine in this cell" });
        }
        // Welch-Satterthwaite, also for a part that is subtracted (JCGM 100, G.4).
        let shares: f64 = parts.iter().map(|(part, freedom)| part * part / freedom).sum();
        let fewest = parts.iter().map(|part| part.1).fold(f64::INFINITY, f64::min);
        Ok(Estimate {
            value,
            standard_error: variance.sqrt(),
            degrees_of_freedom: (variance * variance / shares).max(fewest),
        })
    }

    /// The variance in the parts that are estimated apart, each with its degrees of freedom.
    ///
    /// Where fit-ups seem to scatter less than pulls alone would make them, they count as scattering like pulls: the
    /// interval is then wider than needed, never narrower.
    fn variance(&self, fit_up_share: f64, pull_share: f64) -> Vec<(f64, f64)> {
        let between = |refit: &SpreadEstimate| {
            let counted = fit_up_share / self.refit_share;
            (counted, self.refit_mean_square, refit.degrees_of_freedom as f64)
        };
        match (&self.pull, &self.refit) {
            (Some(pull), Some(refit)) if fit_up_share > 0.0 => {
                let (counted, mean_square, freedom) = between(refit);
                // The rest may be below zero: then pulls are counted once too often between fit-ups.
                let rest = (pull_share - counted) * self.pull_mean_square;
                vec![
                    (mean_square.max(self.pull_mean_square) * counted, freedom),
                    (rest, pull.degrees_of_freedom as f64),
                ]
            }
            (Some(pull), _) => vec![(pull_share * self.pull_mean_square, pull.degrees_of_freedom as f64)],
            // Pulls scatter no more than fit-ups of one pull do: what is counted beyond them is on the safe side.
            (None, Some(refit)) => {
                let (counted, mean_square, freedom) = between(refit);
                vec![(mean_square * pull_share.max(counted), freedom)]
            }
            (None, None) => Vec::new(),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::statistics::components::Components;

    #[test]
    fn fit_ups_of_one_configuration_give_the_components_of_a_one_way_layout() {
        // Sessions of the project's reference table, read as fit-ups: sr 0.55226805, sL 1.04105538 (scipy 1.17.1).
        let groups: [&[f64]; 4] =
            [&[512.4, 513.1, 511.8], &[514.0, 514.6, 513.7], &[511.2, 512.0, 511.5], &[513.3, 512.6, 513.9]];
        let pulls: Vec<_> = groups
            .iter()
            .enumerate()
            .flat_map(|(n, group)| {
                group.iter().map(move |&value| ("c".to_owned(), format!("u{n}"), "s".to_owned(), 0.0, value))
            })
            .collect();
        let scatter = Scatter::of(&Evidence::of_book(&pulls).unwrap(), &Evidence::default()).unwrap();
        assert!((scatter.pull.unwrap().standard_deviation - 0.552_268_05).abs() < 1e-8);
        let refit = scatter.refit.unwrap();
        assert!((refit.standard_deviation - 1.041_055_38).abs() < 1e-8);
        let oneway = Components::of(&groups).unwrap();
        assert!((refit.standard_deviation - oneway.between).abs() < 1e-12);
        assert_eq!((refit.degrees_of_freedom, scatter.pull.unwrap().degrees_of_freedom), (3, 8));
    }

    #[test]
    fn the_book_helps_only_where_the_sides_say_too_little() {
        let own = Evidence { pull_squares: 4.0, pull_freedom: 4, ..Evidence::default() };
        let book = Evidence { pull_squares: 90.0, pull_freedom: 9, refit_squares: 3.0, refit_freedom: 2, refit_share: 2.0 };
        let scatter = Scatter::of(&own, &book).unwrap();
        assert_eq!(scatter.pull.unwrap().from_book, 0);
        assert!((scatter.pull.unwrap().standard_deviation - 1.0).abs() < 1e-12);
        assert_eq!(scatter.refit.map(|refit| refit.from_book), Some(2));
        let fewer = Evidence { pull_squares: 3.0, pull_freedom: 3, ..Evidence::default() };
        let joined = Scatter::of(&fewer, &book).unwrap();
        assert_eq!(joined.pull.map(|pull| (pull.degrees_of_freedom, pull.from_book)).unwrap(), (12, 9));
        assert!(Scatter::of(&Evidence::default(), &Evidence::default()).is_none());
    }
}
