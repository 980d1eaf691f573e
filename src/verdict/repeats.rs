//! Which pulls repeat what: the design behind every component of scatter.

use std::collections::BTreeMap;

use crate::statistics::StatisticsError;
use crate::statistics::parted::Part;
use crate::statistics::parted::PartedSpan;
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
    fixed: PartedSpan,
    with_fit_ups: PartedSpan,
    whole: PartedSpan,
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
        let whole = |span: Span| PartedSpan::of(rows, vec![Part { rows: (0..rows).collect(), span }], None);
        let informers = Informers::of(
            &whole(still.clone())?,
            &whole(still.with(fit_ups)?)?,
            &whole(still.with(fit_ups)?.with(stands)?)?,
        );
        let fixed = still.with(drifts)?;
        let with_fit_ups = fixed.with(fit_ups)?;
        let all = with_fit_ups.with(stands)?;
        Self::among(
            whole(fixed)?,
            whole(with_fit_ups)?,
            whole(all)?,
            informers,
            [&rows_of(fit_ups), &rows_of(stands)],
        )
    }

    fn among(
        fixed: PartedSpan,
        with_fit_ups: PartedSpan,
        whole: PartedSpan,
        informers: Informers,
        [fit_ups, stands]: [&[Vec<usize>]; 2],
    ) -> Result<Self, StatisticsError> {
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
        let stands = stands_of_book(pulls);
        // Sessions that share no fit-up have nothing in common but the drift.
        let (mut fixed, mut fit_ups, mut whole) = (Vec::new(), Vec::new(), Vec::new());
        for rows in linked(pulls) {
            let own = |names: &[String]| {
                indicators(&rows.iter().map(|row| names[*row].clone()).collect::<Vec<_>>())
            };
            let still = Span::empty(rows.len()).with(&own(&keys))?;
            let with_fit_ups = still.with(&own(&units))?;
            let with_stands = with_fit_ups.with(&own(&stands))?;
            fixed.push(Part { rows: rows.clone(), span: still });
            fit_ups.push(Part { rows: rows.clone(), span: with_fit_ups });
            whole.push(Part { rows, span: with_stands });
        }
        let count = pulls.len();
        let without = |parts: &[Part]| PartedSpan::of(count, parts.to_vec(), None);
        let informers = Informers::of(&without(&fixed)?, &without(&fit_ups)?, &without(&whole)?);
        let with = |parts: Vec<Part>| PartedSpan::of(count, parts, Some(&drift));
        Self::among(
            with(fixed)?,
            with(fit_ups)?,
            with(whole)?,
            informers,
            [&rows_of_names(&units), &rows_of_names(&stands)],
        )
    }

    /// What values of these pulls say of scatter.
    ///
    /// # Errors
    /// A value that is not finite, or not one for each pull.
    pub fn evidence(&self, values: &[f64]) -> Result<Evidence, StatisticsError> {
        let squares = |span: &PartedSpan| -> Result<f64, StatisticsError> {
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
    fn of(fixed: &PartedSpan, fit_ups: &PartedSpan, stands: &PartedSpan) -> Self {
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
fn shares(
    before: &PartedSpan,
    after: &PartedSpan,
    units: &[Vec<usize>],
) -> Result<(f64, f64), StatisticsError> {
    if after.rank() == before.rank() { Ok((0.0, 0.0)) } else { before.products(units) }
}

/// The pulls of sessions that share fit-ups, one list for each such group.
fn linked(pulls: &[BookPlace]) -> Vec<Vec<usize>> {
    let sessions = levels(pulls.iter().map(|pull| pull.2.as_str()));
    let mut group: Vec<usize> = (0..sessions.len()).collect();
    let mut first_of: BTreeMap<&str, usize> = BTreeMap::new();
    let of = |pull: &BookPlace| sessions.get(pull.2.as_str()).copied().unwrap_or_default();
    for pull in pulls {
        let here = of(pull);
        let first = *first_of.entry(pull.1.as_str()).or_insert(here);
        let (a, b) = (group[first], group[here]);
        if a != b {
            group.iter_mut().filter(|known| **known == b).for_each(|known| *known = a);
        }
    }
    let mut rows: BTreeMap<usize, Vec<usize>> = BTreeMap::new();
    for (row, pull) in pulls.iter().enumerate() {
        rows.entry(group[of(pull)]).or_default().push(row);
    }
    rows.into_values().collect()
}

/// The rows in which each column is not 0.
fn rows_of(columns: &[Vec<f64>]) -> Vec<Vec<usize>> {
    let filled = |column: &Vec<f64>| {
        column.iter().enumerate().filter(|(_, value)| value.abs() > 0.0).map(|(row, _)| row).collect()
    };
    columns.iter().map(filled).collect()
}

/// The rows that bear each name.
fn rows_of_names(names: &[String]) -> Vec<Vec<usize>> {
    let mut rows: BTreeMap<&str, Vec<usize>> = BTreeMap::new();
    for (row, name) in names.iter().enumerate() {
        rows.entry(name).or_default().push(row);
    }
    rows.into_values().collect()
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
    fn sessions_apart_are_solved_apart_and_give_what_all_at_once_does() {
        // Four sessions; the second and third share a fit-up.
        let mut pulls = Vec::new();
        for (session, fit_ups) in [("s1", "aabba"), ("s2", "ccddd"), ("s3", "ddeee"), ("s4", "fgfgf")] {
            for (at, fit_up) in fit_ups.chars().enumerate() {
                let configuration = if "bdg".contains(fit_up) { "other" } else { "same" };
                pulls.push(place(configuration, &fit_up.to_string(), session, at as f64));
            }
        }
        assert_eq!(linked(&pulls).len(), 3);
        let names = |of: fn(&BookPlace) -> String| indicators(&pulls.iter().map(of).collect::<Vec<_>>());
        let whole = Repeats::of(
            pulls.len(),
            &names(|pull| format!("{} {}", pull.2, pull.0)),
            &[pulls.iter().map(|pull| pull.3).collect()],
            &names(|pull| pull.1.clone()),
            &indicators(&stands_of_book(&pulls)),
        )
        .unwrap();
        let parted = Repeats::of_book(&pulls).unwrap();
        assert_eq!(parted.informers(), whole.informers());
        let values: Vec<f64> = (0..pulls.len()).map(|n| 200.0 + libm::sin(7.0 * n as f64)).collect();
        let (a, b) = (parted.evidence(&values).unwrap(), whole.evidence(&values).unwrap());
        for (a, b) in [(a.pull, b.pull), (a.stand, b.stand), (a.refit, b.refit)] {
            assert_eq!(a.freedom, b.freedom);
            assert!((a.sum - b.sum).abs() < 1e-9 && (a.share - b.share).abs() < 1e-9);
            assert!((a.share_squares - b.share_squares).abs() < 1e-9);
        }
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
