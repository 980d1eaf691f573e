//! How much pulls, stands and fit-ups scatter, from the sides themselves and from the rest of the book.
//!
//! Components by fitting constants (C. R. Henderson 1953, method III): the squares left after stands say what pulls
//! do, what stands take away beyond fit-ups says how far brackets stray from a straight drift, and what fit-ups take
//! away beyond the fixed terms says what refitting does. ISO 5725 calls the first repeatability; all together, in one
//! cell, are intermediate precision and not reproducibility.

use crate::statistics::StatisticsError;
use crate::statistics::two_sample::Estimate;
use crate::verdict::repeats::Repeats;

/// A component with fewer degrees of freedom of the sides' own is taken from all pulls of the book instead, the sides'
/// among them: the same limit as for unequal spreads. It depends on the layout alone, never on the values.
pub(super) const FEWEST_OF_OWN: usize = 4;

/// Up to so many degrees of freedom counted, a component's own lie half way between Satterthwaite's and the fewest.
const FEW: usize = 2;

/// What some pulls say of one component: a sum of squares with its degrees of freedom.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub struct Squares {
    /// The sum of squares.
    pub sum: f64,
    /// Its degrees of freedom as counted.
    pub freedom: usize,
    /// How often the variance between units is in the expected sum; as the degrees of freedom for pulls.
    pub share: f64,
    /// The sum of the squares of those shares, one for each degree of freedom: they are unequal where drift takes part
    /// of what units do.
    pub share_squares: f64,
}

impl Squares {
    fn mean(&self) -> f64 {
        if self.freedom > 0 { self.sum / self.freedom as f64 } else { 0.0 }
    }

    /// Satterthwaite's degrees of freedom were the units' variance all there is: the fewest that this layout can give.
    pub(super) fn fewest(&self) -> f64 {
        if self.share_squares > 0.0 {
            self.share * self.share / self.share_squares
        } else {
            self.freedom as f64
        }
    }

    /// The fewest degrees of freedom that the layout can give; from one or two units to spare half way to Satterthwaite's.
    ///
    /// His rest on the estimated variances and come out most just when these are underestimated, so that from three
    /// units on a gain would be shown falsely oftener than promised; with one or two, Student's quantiles at the fewest
    /// are so wide that half way still keeps the promise (simulated: docs/weighing.md).
    fn degrees_of_freedom(&self, pull: f64, between: f64) -> f64 {
        if self.freedom > FEW {
            return self.fewest();
        }
        let freedom = self.freedom as f64;
        let whole = freedom * pull + self.share * between;
        let parts = freedom * pull * pull
            + 2.0 * self.share * pull * between
            + self.share_squares * between * between;
        let estimated = if parts > 0.0 { whole * whole / parts } else { freedom };
        (estimated + self.fewest()) / 2.0
    }
}

/// What some pulls say of scatter.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub struct Evidence {
    /// Pulls about the lines of their stands.
    pub pull: Squares,
    /// Stands of one fit-up about a straight drift.
    pub stand: Squares,
    /// Fit-ups of one configuration, drift taken out.
    pub refit: Squares,
}

impl Evidence {
    /// What all pulls of the same engine in the same cell say, those of the sides among them.
    ///
    /// Each pull is its configuration, fit-up, session, place in the session and value; see [`Repeats::of_book`].
    ///
    /// # Errors
    /// A value that is not finite.
    pub fn of_book(pulls: &[(String, String, String, f64, f64)]) -> Result<Self, StatisticsError> {
        let places: Vec<_> =
            pulls.iter().map(|(a, b, c, at, _)| (a.clone(), b.clone(), c.clone(), *at)).collect();
        let values: Vec<f64> = pulls.iter().map(|pull| pull.4).collect();
        Repeats::of_book(&places)?.evidence(&values)
    }
}

impl Evidence {
    /// The same with stands as pulls: for tables in which almost every pull is a stand of its own, as settings are turned
    /// between any two, so that brackets and repeats cannot be told apart.
    pub(super) fn without_stands(&self) -> Self {
        let freedom = self.pull.freedom + self.stand.freedom;
        let pull = Squares {
            sum: self.pull.sum + self.stand.sum,
            freedom,
            share: freedom as f64,
            share_squares: freedom as f64,
        };
        Self { pull, stand: Squares::default(), refit: self.refit }
    }
}

/// A spread and where it comes from.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct SpreadEstimate {
    /// The standard deviation, in units of the figure.
    pub standard_deviation: f64,
    /// Its degrees of freedom, all together; fewer than counted where what they rest on is of unequal weight.
    pub degrees_of_freedom: f64,
    /// Those that come from the book's other pulls; none where the sides' own pulls say enough.
    pub from_book: usize,
}

/// The components that a difference is made with.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Scatter {
    /// Pull to pull within a stand (repeatability); none where every stand was one pull, so that pull and stand cannot
    /// be told apart and the stand's own part stands for both.
    pub pull: Option<SpreadEstimate>,
    /// Stand to stand within a fit-up: how far brackets stray from a straight drift; none where no fit-up was come back
    /// to.
    pub stand: Option<SpreadEstimate>,
    /// Fit-up to fit-up, pulls apart; none where neither the sides nor the book have a refit.
    pub refit: Option<SpreadEstimate>,
    pull_mean_square: f64,
    stands: Between,
    refits: Between,
}

/// What is needed to carry a mean square between units over to a difference.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
struct Between {
    mean_square: f64,
    share: f64,
}

/// What each kind of unit counts in the variance of a difference.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Shares {
    pub(super) fit_up: f64,
    pub(super) stand: f64,
    pub(super) pull: f64,
}

impl Scatter {
    /// Takes each component from the sides where they have four degrees of freedom for it, else from all pulls of the
    /// engine in the cell, the sides' own among them, where those have more.
    ///
    /// None where nothing at all says how anything scatters.
    pub fn of(own: &Evidence, book: &Evidence) -> Option<Self> {
        let (pulls, pulls_from_book) = chosen(&own.pull, &book.pull);
        let (stands, stands_from_book) = chosen(&own.stand, &book.stand);
        let (refits, refits_from_book) = chosen(&own.refit, &book.refit);
        if pulls.freedom + stands.freedom + refits.freedom == 0 {
            return None;
        }
        let pull_mean_square = pulls.mean();
        let between = |squares: &Squares, from_book: usize| {
            if squares.freedom == 0 {
                return (None, Between::default());
            }
            let share = squares.share / squares.freedom as f64;
            let variance = ((squares.mean() - pull_mean_square) / share).max(0.0);
            let spread = SpreadEstimate {
                standard_deviation: variance.sqrt(),
                degrees_of_freedom: squares.degrees_of_freedom(pull_mean_square, variance),
                from_book,
            };
            (Some(spread), Between { mean_square: squares.mean(), share })
        };
        let (stand, stands) = between(&stands, stands_from_book);
        let (refit, refits) = between(&refits, refits_from_book);
        Some(Self {
            pull: (pulls.freedom > 0).then(|| SpreadEstimate {
                standard_deviation: pull_mean_square.sqrt(),
                degrees_of_freedom: pulls.freedom as f64,
                from_book: pulls_from_book,
            }),
            stand,
            refit,
            pull_mean_square,
            stands,
            refits,
        })
    }

    /// A value that counts fit-ups and pulls with these shares, with its standard error; see [`Scatter::with_shares`].
    ///
    /// # Errors
    /// No spread at all.
    pub(super) fn estimate(
        &self,
        value: f64,
        fit_up_share: f64,
        pull_share: f64,
    ) -> Result<Estimate, StatisticsError> {
        self.with_shares(value, Shares { fit_up: fit_up_share, stand: 0.0, pull: pull_share })
    }

    /// A value that counts fit-ups, stands and pulls with these shares, with its standard error.
    ///
    /// Degrees of freedom are Satterthwaite's, never fewer than those of the poorer component: where a mean square is
    /// subtracted his formula may fall below what either has. Simulation bears this out (docs/weighing.md).
    ///
    /// # Errors
    /// No spread at all.
    pub(super) fn with_shares(&self, value: f64, shares: Shares) -> Result<Estimate, StatisticsError> {
        let parts = self.variance(shares);
        let variance: f64 = parts.iter().map(|part| part.0).sum();
        if variance <= 0.0 {
            return Err(StatisticsError::NoSpread { what: "pulls of this engine in this cell" });
        }
        // Welch-Satterthwaite, also for a part that is subtracted (JCGM 100, G.4).
        let weighed: f64 = parts.iter().map(|(part, freedom)| part * part / freedom).sum();
        let fewest = parts.iter().map(|part| part.1).fold(f64::INFINITY, f64::min);
        Ok(Estimate {
            value,
            standard_error: variance.sqrt(),
            degrees_of_freedom: (variance * variance / weighed).max(fewest),
        })
    }

    /// What scatters beyond pulls in a difference with these shares: fit-ups where they count and are known, else
    /// stands; with how often it counts.
    fn between(&self, shares: Shares) -> Option<(SpreadEstimate, Between, f64)> {
        match (self.refit, self.stand) {
            // A fit-up that was come back to counts as often as the more frequent of the two.
            (Some(refit), _) if shares.fit_up > 0.0 => {
                Some((refit, self.refits, shares.fit_up.max(shares.stand)))
            }
            (_, Some(stand)) if shares.stand > 0.0 => Some((stand, self.stands, shares.stand)),
            _ => None,
        }
    }

    /// Whether pull-to-pull scatter comes from the sides themselves.
    pub(super) fn has_own_pulls(&self) -> bool {
        self.pull.is_some_and(|pull| pull.from_book == 0)
    }

    /// The same with no more degrees of freedom for pull-to-pull scatter than these.
    pub(super) fn with_pull_freedom(mut self, freedom: f64) -> Self {
        if let Some(pull) = &mut self.pull {
            pull.degrees_of_freedom = pull.degrees_of_freedom.min(freedom);
        }
        self
    }

    /// Whether every stand is one pull, and stands of the sides themselves are all that the variance is made from.
    pub(super) fn is_own_stands(&self, shares: Shares) -> bool {
        self.pull.is_none() && self.between(shares).is_some_and(|(only, ..)| only.from_book == 0)
    }

    /// The variance in the parts that are estimated apart, each with its degrees of freedom.
    ///
    /// Where units seem to scatter less than pulls alone would make them, they count as scattering like pulls: the
    /// interval is then wider than needed, never narrower.
    fn variance(&self, shares: Shares) -> Vec<(f64, f64)> {
        match (&self.pull, self.between(shares)) {
            (Some(pull), Some((spread, between, share))) => {
                let counted = share / between.share;
                // The rest may be below zero: then pulls are counted once too often between units.
                let rest = (shares.pull - counted) * self.pull_mean_square;
                vec![
                    (between.mean_square.max(self.pull_mean_square) * counted, spread.degrees_of_freedom),
                    (rest, pull.degrees_of_freedom),
                ]
            }
            (Some(pull), None) => vec![(shares.pull * self.pull_mean_square, pull.degrees_of_freedom)],
            // Pulls scatter no more than units of one pull do: what is counted beyond them is on the safe side.
            (None, Some((spread, between, share))) => {
                let counted = shares.pull.max(share / between.share);
                vec![(between.mean_square * counted, spread.degrees_of_freedom)]
            }
            (None, None) => Vec::new(),
        }
    }
}

/// The sides' own squares, or the book's where the sides have too few, with how many degrees of freedom the book adds.
fn chosen(own: &Squares, book: &Squares) -> (Squares, usize) {
    if own.freedom < FEWEST_OF_OWN.min(book.freedom) {
        (*book, book.freedom - own.freedom)
    } else {
        (*own, 0)
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
        let pulls = |sum, freedom| Squares { sum, freedom, share: 0.0, share_squares: 0.0 };
        let own = Evidence { pull: pulls(4.0, 4), ..Evidence::default() };
        let book = Evidence {
            pull: pulls(90.0, 9),
            refit: Squares { sum: 3.0, freedom: 2, share: 2.0, share_squares: 2.0 },
            ..Evidence::default()
        };
        let scatter = Scatter::of(&own, &book).unwrap();
        assert_eq!(scatter.pull.unwrap().from_book, 0);
        assert!((scatter.pull.unwrap().standard_deviation - 1.0).abs() < 1e-12);
        assert_eq!(scatter.refit.map(|refit| refit.from_book), Some(2));
        let fewer = Evidence { pull: pulls(3.0, 3), ..Evidence::default() };
        let joined = Scatter::of(&fewer, &book).unwrap();
        let joined = joined.pull.unwrap();
        assert!((joined.degrees_of_freedom - 9.0).abs() < 1e-12);
        assert_eq!(joined.from_book, 6);
        assert!(Scatter::of(&Evidence::default(), &Evidence::default()).is_none());
    }

    #[test]
    fn brackets_within_one_fit_up_tell_how_far_drift_strays() {
        // Five returns to one setting about a straight drift; two pulls each, so that stand and pull part.
        let stray = [0.0, 0.6, -0.5, 0.4, -0.5];
        let pulls: Vec<_> = (0..20)
            .map(|at| {
                let block = at / 2;
                let value = 100.0 - 0.1 * f64::from(at)
                    + if block % 2 == 0 { stray[(block / 2) as usize] } else { 5.0 }
                    + if at % 2 == 0 { 0.05 } else { -0.05 };
                let setting = if block % 2 == 0 { "31 deg" } else { "28 deg" };
                (setting.to_owned(), "u".to_owned(), "s".to_owned(), f64::from(at), value)
            })
            .collect();
        let evidence = Evidence::of_book(&pulls).unwrap();
        // Ten stands in two settings with one drift: rank of the fixed terms is 3, of the stands 11.
        assert_eq!((evidence.stand.freedom, evidence.pull.freedom, evidence.refit.freedom), (8, 9, 0));
        let scatter = Scatter::of(&Evidence::default(), &evidence).unwrap();
        assert!(scatter.stand.unwrap().standard_deviation > 0.25);
        assert!(scatter.pull.unwrap().standard_deviation < 0.1);
    }
}
