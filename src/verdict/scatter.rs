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

/// A component with fewer degrees of freedom of the sides' own is taken from all pulls of the book instead, the sides'
/// among them: the same limit as for unequal spreads. It depends on the layout alone, never on the values.
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
    /// The sum of the squares of those shares, one for each degree of freedom: they are unequal where drift takes part
    /// of what fit-ups do.
    pub refit_share_squares: f64,
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

    /// What all pulls of the same engine in the same cell say, those of the sides among them: repeats of one
    /// configuration in one session, and refits of it.
    ///
    /// Each pull is its configuration, fit-up, session, place in the session and value. One drift is taken for all
    /// sessions here, since that of a single session is often told too poorly to see refits beside it; where sessions
    /// drift unlike, that adds to the scatter, so the interval errs on the wide side.
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
        let mut fit_ups = vec![vec![0.0; pulls.len()]; units.len()];
        let mut rows = Vec::with_capacity(pulls.len());
        for (number, (key, pull)) in keys.iter().zip(pulls).enumerate() {
            let mut fixed = vec![0.0; cells.len() + 1];
            fixed[cells[key.as_str()]] = 1.0;
            fixed[cells.len()] = pull.3;
            let unit = units[pull.1.as_str()];
            let mut with_fit_ups = vec![0.0; units.len()];
            with_fit_ups[unit] = 1.0;
            with_fit_ups.extend(&fixed);
            fit_ups[unit][number] = 1.0;
            rows.push(Row { fixed, with_fit_ups });
        }
        let values: Vec<f64> = pulls.iter().map(|pull| pull.4).collect();
        let (fixed, whole): (Vec<_>, Vec<_>) =
            rows.into_iter().map(|row| (row.fixed, row.with_fit_ups)).unzip();
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
        let (mut refit_share, mut refit_share_squares) = (0.0, 0.0);
        if refit_freedom > 0 {
            let left: Vec<Vec<f64>> = units
                .iter()
                .map(|unit| Fit::of(fixed, unit).map(|fit| fit.residuals))
                .collect::<Result<_, _>>()?;
            for (number, a) in left.iter().enumerate() {
                for (other, b) in left.iter().enumerate() {
                    let product: f64 = a.iter().zip(b).map(|(a, b)| a * b).sum();
                    refit_share_squares += product * product;
                    if number == other {
                        refit_share += product;
                    }
                }
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
            refit_share_squares,
        })
    }
}

/// A spread and where it comes from.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct SpreadEstimate {
    /// The standard deviation, in units of the figure.
    pub standard_deviation: f64,
    /// Its degrees of freedom, all together; fewer than counted where what they rest on is of unequal weight.
    pub degrees_of_freedom: f64,
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
    /// Takes each component from the sides where they have four degrees of freedom for it, else from all pulls of the
    /// engine in the cell, the sides' own among them, where those have more.
    ///
    /// None where nothing at all says how anything scatters.
    pub fn of(own: &Evidence, book: &Evidence) -> Option<Self> {
        let pulls = if own.pull_freedom < FEWEST_OF_OWN.min(book.pull_freedom) { book } else { own };
        let refits = if own.refit_freedom < FEWEST_OF_OWN.min(book.refit_freedom) { book } else { own };
        if pulls.pull_freedom + refits.refit_freedom == 0 {
            return None;
        }
        let mean_square = |evidence: &Evidence| {
            if evidence.pull_freedom > 0 { evidence.pull_squares / evidence.pull_freedom as f64 } else { 0.0 }
        };
        let pull_mean_square = mean_square(pulls);
        let mut scatter = Self {
            pull: (pulls.pull_freedom > 0).then(|| SpreadEstimate {
                standard_deviation: pull_mean_square.sqrt(),
                degrees_of_freedom: pulls.pull_freedom as f64,
                from_book: pulls.pull_freedom - own.pull_freedom.min(pulls.pull_freedom),
            }),
            refit: None,
            pull_mean_square,
            refit_mean_square: 0.0,
            refit_share: 0.0,
        };
        if refits.refit_freedom > 0 {
            let freedom = refits.refit_freedom as f64;
            scatter.refit_mean_square = refits.refit_squares / freedom;
            scatter.refit_share = refits.refit_share / freedom;
            let variance = ((scatter.refit_mean_square - pull_mean_square) / scatter.refit_share).max(0.0);
            // Satterthwaite's for a sum of squares of unequal expectation.
            let whole = freedom * pull_mean_square + refits.refit_share * variance;
            let parts = freedom * pull_mean_square * pull_mean_square
                + 2.0 * refits.refit_share * pull_mean_square * variance
                + refits.refit_share_squares * variance * variance;
            scatter.refit = Some(SpreadEstimate {
                standard_deviation: variance.sqrt(),
                degrees_of_freedom: if parts > 0.0 { whole * whole / parts } else { freedom },
                from_book: refits.refit_freedom - own.refit_freedom.min(refits.refit_freedom),
            });
        }
        Some(scatter)
    }

    /// A value that counts fit-ups and pulls with these shares, with its standard error.
    ///
    /// Degrees of freedom are Satterthwaite's, never fewer than those of the poorer component: where a mean square is
    /// subtracted his formula may fall below what either has. Simulation bears this out (docs/weighing.md).
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
            (counted, self.refit_mean_square, refit.degrees_of_freedom)
        };
        match (&self.pull, &self.refit) {
            (Some(pull), Some(refit)) if fit_up_share > 0.0 => {
                let (counted, mean_square, freedom) = between(refit);
                // The rest may be below zero: then pulls are counted once too often between fit-ups.
                let rest = (pull_share - counted) * self.pull_mean_square;
                vec![
                    (mean_square.max(self.pull_mean_square) * counted, freedom),
                    (rest, pull.degrees_of_freedom),
                ]
            }
            (Some(pull), _) => vec![(pull_share * self.pull_mean_square, pull.degrees_of_freedom)],
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
        assert!((refit.degrees_of_freedom - 3.0).abs() < 1e-9);
        assert!((scatter.pull.unwrap().degrees_of_freedom - 8.0).abs() < 1e-12);
    }

    #[test]
    fn the_book_helps_only_where_the_sides_say_too_little() {
        let own = Evidence { pull_squares: 4.0, pull_freedom: 4, ..Evidence::default() };
        let book = Evidence {
            pull_squares: 90.0,
            pull_freedom: 9,
            refit_squares: 3.0,
            refit_freedom: 2,
            refit_share: 2.0,
            refit_share_squares: 2.0,
        };
        let scatter = Scatter::of(&own, &book).unwrap();
        assert_eq!(scatter.pull.unwrap().from_book, 0);
        assert!((scatter.pull.unwrap().standard_deviation - 1.0).abs() < 1e-12);
        assert_eq!(scatter.refit.map(|refit| refit.from_book), Some(2));
        let fewer = Evidence { pull_squares: 3.0, pull_freedom: 3, ..Evidence::default() };
        let joined = Scatter::of(&fewer, &book).unwrap();
        let joined = joined.pull.unwrap();
        assert!((joined.degrees_of_freedom - 9.0).abs() < 1e-12);
        assert_eq!(joined.from_book, 6);
        assert!(Scatter::of(&Evidence::default(), &Evidence::default()).is_none());
    }
}
