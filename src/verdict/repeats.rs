//! Which pulls repeat what: the design behind every component of scatter.

use crate::statistics::StatisticsError;
use crate::statistics::span::Span;
use crate::verdict::Evidence;
use crate::verdict::layout::levels;
use crate::verdict::scatter::Squares;

/// What is left of a pull beyond this says something of a component.
const SAYS: f64 = 1e-9;

/// The place of a pull of the book: configuration, fit-up, session, place in the session.
pub type BookPlace = (String, String, String, f64);

/// What pulls repeat, whatever their values are: the fixed terms, then fit-ups, then stands within fit-ups.
///
/// A stand is what is pulled in one go before something is changed. Coming back to a setting in the same fit-up is
/// another stand of it.
#[derive(Debug, Clone)]
pub struct Repeats {
    fixed: Span,
    with_fit_ups: Span,
    whole: Span,
    stand: (f64, f64),
    refit: (f64, f64),
    informers: Informers,
}

/// Which pulls, by their place in the list given, say something of each component.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Informers {
    /// Of pull-to-pull scatter.
    pub pull: Vec<usize>,
    /// Of how far brackets stray from a straight drift.
    pub stand: Vec<usize>,
    /// Of refitting.
    pub refit: Vec<usize>,
}

impl Repeats {
    /// The repeats among columns of fixed terms, drifts, fit-ups and stands.
    pub(super) fn of(
        rows: usize,
        fixed: &[Vec<f64>],
        drifts: &[Vec<f64>],
        fit_ups: &[Vec<f64>],
        stands: &[Vec<f64>],
    ) -> Result<Self, StatisticsError> {
        let still = Span::empty(rows).with(fixed)?;
        let informers = Informers::of(&still, &still.with(fit_ups)?, &still.with(fit_ups)?.with(stands)?);
        let fixed = still.with(drifts)?;
        let with_fit_ups = fixed.with(fit_ups)?;
        let whole = with_fit_ups.with(stands)?;
        let refit = shares(&fixed, &with_fit_ups, fit_ups)?;
        let stand = shares(&with_fit_ups, &whole, stands)?;
        Ok(Self { fixed, with_fit_ups, whole, stand, refit, informers })
    }

    /// The repeats among all pulls of the same engine in the same cell, those of the sides among them: of one
    /// configuration in one session.
    ///
    /// One drift is taken for all sessions here, since that of a single session is often told too poorly to see refits
    /// beside it; where sessions drift unlike, that adds to the scatter, so the interval errs on the wide side.
    ///
    /// # Errors
    /// A place that is not finite.
    pub fn of_book(pulls: &[BookPlace]) -> Result<Self, StatisticsError> {
        let keys: Vec<String> = pulls.iter().map(|pull| format!("{}\u{0}{}", pull.2, pull.0)).collect();
        let drift: Vec<f64> = pulls.iter().map(|pull| pull.3).collect();
        let units: Vec<String> = pulls.iter().map(|pull| pull.1.clone()).collect();
        let stands = indicators(&stands_of_book(pulls));
        Self::of(pulls.len(), &indicators(&keys), &[drift], &indicators(&units), &stands)
    }

    /// What values of these pulls say of scatter.
    ///
    /// # Errors
    /// A value that is not finite, or not one for each pull.
    pub fn evidence(&self, values: &[f64]) -> Result<Evidence, StatisticsError> {
        let squares = |span: &Span| -> Result<f64, StatisticsError> {
            Ok(span.residual(values)?.iter().map(|value| value * value).sum())
        };
        let (fixed, fit_ups, whole) =
            (squares(&self.fixed)?, squares(&self.with_fit_ups)?, squares(&self.whole)?);
        let pull_freedom = values.len() - self.whole.rank();
        let between = |more: f64, less: f64, freedom: usize, (share, share_squares): (f64, f64)| Squares {
            sum: if freedom > 0 { (more - less).max(0.0) } else { 0.0 },
            freedom,
            share,
            share_squares,
        };
        Ok(Evidence {
            pull: Squares {
                sum: if pull_freedom > 0 { whole } else { 0.0 },
                freedom: pull_freedom,
                share: pull_freedom as f64,
                share_squares: pull_freedom as f64,
            },
            stand: between(fit_ups, whole, self.whole.rank() - self.with_fit_ups.rank(), self.stand),
            refit: between(fixed, fit_ups, self.with_fit_ups.rank() - self.fixed.rank(), self.refit),
        })
    }

    /// Which pulls say something of each component.
    pub fn informers(&self) -> &Informers {
        &self.informers
    }
}

impl Informers {
    /// The pulls that fixed terms, fit-ups and stands leave room for. Drift is left aside: it ties all pulls of a session
    /// together, and those that repeat nothing lend it only their place.
    fn of(fixed: &Span, fit_ups: &Span, stands: &Span) -> Self {
        let (fixed, fit_ups, whole) = (fixed.leverages(), fit_ups.leverages(), stands.leverages());
        let beyond = |more: &[f64], less: &[f64]| -> Vec<usize> {
            more.iter().zip(less).enumerate().filter(|(_, (a, b))| *a - *b > SAYS).map(|(at, _)| at).collect()
        };
        Self {
            pull: beyond(&vec![1.0; whole.len()], &whole),
            stand: beyond(&whole, &fit_ups),
            refit: beyond(&fit_ups, &fixed),
        }
    }
}

/// How often the variance between units is in the squares that they take beyond a space, and the sum of the squares of
/// those shares.
fn shares(before: &Span, after: &Span, units: &[Vec<f64>]) -> Result<(f64, f64), StatisticsError> {
    if after.rank() == before.rank() {
        return Ok((0.0, 0.0));
    }
    let left: Vec<Vec<f64>> = units.iter().map(|unit| before.residual(unit)).collect::<Result<_, _>>()?;
    let (mut share, mut share_squares) = (0.0, 0.0);
    for (number, a) in left.iter().enumerate() {
        for (other, b) in left.iter().enumerate() {
            let product: f64 = a.iter().zip(b).map(|(a, b)| a * b).sum();
            share_squares += product * product;
            if number == other {
                share += product;
            }
        }
    }
    Ok((share, share_squares))
}

/// A column for each name: 1 in the rows that bear it.
pub(super) fn indicators(names: &[String]) -> Vec<Vec<f64>> {
    let known = levels(names.iter().map(String::as_str));
    let mut columns = vec![vec![0.0; names.len()]; known.len()];
    for (row, name) in names.iter().enumerate() {
        if let Some(cell) = known.get(name.as_str()).and_then(|&at| columns.get_mut(at)?.get_mut(row)) {
            *cell = 1.0;
        }
    }
    columns
}

/// A name for each pull's stand: session, and how often configuration or fit-up had changed before it.
fn stands_of_book(pulls: &[BookPlace]) -> Vec<String> {
    let mut order: Vec<usize> = (0..pulls.len()).collect();
    order.sort_by(|&a, &b| pulls[a].2.cmp(&pulls[b].2).then(pulls[a].3.total_cmp(&pulls[b].3)));
    let mut names = vec![String::new(); pulls.len()];
    let mut count = 0;
    let mut last: Option<&BookPlace> = None;
    for at in order {
        let pull = &pulls[at];
        if last.is_some_and(|last| (&last.0, &last.1, &last.2) != (&pull.0, &pull.1, &pull.2)) {
            count += 1;
        }
        last = Some(pull);
        names[at] = format!("{} {count:06}", pull.2);
    }
    names
}

#[cfg(test)]
mod tests {
    use super::*;

    fn place(configuration: &str, fit_up: &str, session: &str, at: f64) -> BookPlace {
        (configuration.to_owned(), fit_up.to_owned(), session.to_owned(), at)
    }

    #[test]
    fn only_repeats_inform() {
        // Two sessions: one with a repeat and a refit of it, one with a single pull of something else.
        let pulls = [
            place("c", "u1", "s", 0.0),
            place("c", "u1", "s", 1.0),
            place("d", "u2", "s", 2.0),
            place("c", "u3", "s", 3.0),
            place("c", "u3", "s", 4.0),
            place("e", "u4", "t", 0.0),
        ];
        let informers = Repeats::of_book(&pulls).unwrap().informers().clone();
        assert_eq!(informers.pull, [0, 1, 3, 4]);
        assert_eq!(informers.refit, [0, 1, 3, 4]);
        assert!(informers.stand.is_empty());
    }

    #[test]
    fn coming_back_in_one_fit_up_is_another_stand() {
        let pulls = [
            place("c", "u", "s", 0.0),
            place("c", "u", "s", 1.0),
            place("d", "u", "s", 2.0),
            place("c", "u", "s", 3.0),
            place("d", "u", "s", 4.0),
        ];
        let repeats = Repeats::of_book(&pulls).unwrap();
        let evidence = repeats.evidence(&[1.0, 1.2, 3.0, 0.9, 3.1]).unwrap();
        // Two settings and a drift against four stands and a drift.
        assert_eq!((evidence.stand.freedom, evidence.refit.freedom, evidence.pull.freedom), (2, 0, 0));
        assert_eq!(repeats.informers().stand.len(), 5);
    }
}
