//! Where the pulls of two sides stand to each other, and what that lets one tell apart.

use std::collections::BTreeMap;

use crate::statistics::StatisticsError;
use crate::statistics::least_squares::Fit;
use crate::statistics::two_sample::Estimate;
use crate::verdict::VerdictError;
use crate::verdict::repeats::Repeats;
use crate::verdict::repeats::indicators;
use crate::verdict::scatter::FEWEST_OF_OWN;
use crate::verdict::scatter::Shares;

/// Shares of a weight below this count as none.
const NOTHING: f64 = 1e-9;

/// Pulls further apart in a session than one place and a rounding were not made in one go.
const ONE_GO: f64 = 1.0 + NOTHING;

/// A side of the comparison.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Which {
    /// The base.
    Base,
    /// The test side.
    Test,
}

/// The place of one pull.
#[derive(Debug, Clone, PartialEq)]
pub struct Placement {
    /// Its side.
    pub which: Which,
    /// Which time which parts were together: build and fit-up.
    pub fit_up: String,
    /// Its session.
    pub session: String,
    /// Its place in the session: pulls (or hours) since the session's first.
    pub at: f64,
}

/// The design that the pulls of two sides make.
///
/// The model is value = session + drift of the session × place + \[test\] + fit-up + pull, the last two random. The
/// weights are those of least squares on the fixed terms: they depend on the layout alone, never on the values, so the
/// difference is free of bias whatever the components of scatter are.
#[derive(Debug, Clone)]
pub struct Layout {
    placements: Vec<Placement>,
    fixed: Vec<Vec<f64>>,
    with_fit_ups: Vec<Vec<f64>>,
    fit_ups: Vec<Vec<f64>>,
    stands: Vec<Vec<f64>>,
    weights: Vec<f64>,
    repeats: Repeats,
    across_sessions: bool,
}

impl Layout {
    /// Lays out the pulls of both sides.
    ///
    /// Sessions count as fixed where some session holds pulls of both sides; where none does, the difference is one
    /// between sessions, and [`Layout::is_across_sessions`] says so.
    ///
    /// # Errors
    /// A side without a pull, or an order of pulls that cannot separate the difference from drift.
    pub fn of(placements: &[Placement]) -> Result<Self, VerdictError> {
        for (which, side) in [(Which::Base, "base"), (Which::Test, "test")] {
            if !placements.iter().any(|place| place.which == which) {
                return Err(VerdictError::EmptySide { side });
            }
        }
        let within = Self::laid(placements, false)?;
        if let Some(layout) = within {
            return Ok(layout);
        }
        let shared = placements.iter().any(|a| {
            placements
                .iter()
                .any(|b| a.which == Which::Base && b.which == Which::Test && a.session == b.session)
        });
        if shared {
            return Err(VerdictError::LostInDrift);
        }
        Self::laid(placements, true)?.ok_or(VerdictError::LostInDrift)
    }

    fn laid(placements: &[Placement], across_sessions: bool) -> Result<Option<Self>, VerdictError> {
        let sessions = levels(placements.iter().map(|place| place.session.as_str()));
        let units = levels(placements.iter().map(|place| place.fit_up.as_str()));
        let mut fixed: Vec<Vec<f64>> = Vec::with_capacity(placements.len());
        let mut with_fit_ups: Vec<Vec<f64>> = Vec::with_capacity(placements.len());
        let mut fit_ups = vec![vec![0.0; placements.len()]; units.len()];
        for (number, place) in placements.iter().enumerate() {
            let mut sitting = vec![0.0; sessions.len()];
            let mut slope = vec![0.0; sessions.len()];
            let at = sessions[place.session.as_str()];
            sitting[at] = 1.0;
            slope[at] = place.at;
            let mut row = if across_sessions { vec![1.0] } else { sitting.clone() };
            row.extend(&slope);
            let test = if place.which == Which::Test { 1.0 } else { 0.0 };
            let unit = units[place.fit_up.as_str()];
            let mut whole = vec![0.0; units.len()];
            whole[unit] = 1.0;
            fit_ups[unit][number] = 1.0;
            whole.extend(&row);
            row.push(test);
            whole.push(test);
            fixed.push(row);
            with_fit_ups.push(whole);
        }
        let mut weights = Vec::with_capacity(placements.len());
        for number in 0..placements.len() {
            let mut only = vec![0.0; placements.len()];
            only[number] = 1.0;
            let fit = Fit::of(&fixed, &only)?;
            match fit.coefficients.last() {
                Some(Some(weight)) => weights.push(*weight),
                _ => return Ok(None),
            }
        }
        let stands = indicators(&stands(placements));
        let column =
            |at: usize| -> Vec<f64> { fixed.iter().filter_map(|row| row.get(at).copied()).collect() };
        let sittings = if across_sessions { 1 } else { sessions.len() };
        let slopes = sittings..sittings + sessions.len();
        let width = fixed.first().map_or(0, Vec::len);
        let still: Vec<Vec<f64>> = (0..width).filter(|at| !slopes.contains(at)).map(column).collect();
        let drifts: Vec<Vec<f64>> = slopes.clone().map(column).collect();
        let repeats = Repeats::of(placements.len(), &still, &drifts, &fit_ups, &stands)?;
        Ok(Some(Self {
            placements: placements.to_vec(),
            fixed,
            with_fit_ups,
            fit_ups,
            stands,
            weights,
            repeats,
            across_sessions,
        }))
    }

    /// The pulls' places, in the order given.
    pub fn placements(&self) -> &[Placement] {
        &self.placements
    }

    /// What each pull's value counts in the difference; those of a side sum to one, of the base to minus one.
    pub fn weights(&self) -> &[f64] {
        &self.weights
    }

    /// What each pull's value counts in the level of a side: its mean, at the mean place of all pulls in their sessions.
    /// The two levels are apart by the difference. None where the layout does not tell it.
    ///
    /// # Errors
    /// None that this layout can give.
    pub fn level_weights(&self, which: Which) -> Result<Option<Vec<f64>>, StatisticsError> {
        let count = f64::from(u32::try_from(self.fixed.len().max(1)).unwrap_or(u32::MAX));
        let width = self.fixed.first().map_or(0, Vec::len);
        let mut level: Vec<f64> =
            (0..width).map(|column| self.fixed.iter().map(|row| row[column]).sum::<f64>() / count).collect();
        if let Some(test) = level.last_mut() {
            *test = if which == Which::Test { 1.0 } else { 0.0 };
        }
        Solved::of(&self.fixed)?.weights(&level)
    }

    /// Whether no session holds both sides, so that the difference between days is in the difference.
    pub fn is_across_sessions(&self) -> bool {
        self.across_sessions
    }

    /// Number of fit-ups on a side.
    pub fn fit_ups(&self, which: Which) -> usize {
        levels(self.of_side(which).map(|place| place.fit_up.as_str())).len()
    }

    /// Number of pulls on a side.
    pub fn pulls(&self, which: Which) -> usize {
        self.of_side(which).count()
    }

    fn of_side(&self, which: Which) -> impl Iterator<Item = &Placement> {
        self.placements.iter().filter(move |place| place.which == which)
    }

    /// What the variance between fit-ups counts in that of the difference: 1/F_A + 1/F_B where every fit-up has as
    /// many pulls and there is no drift; nothing where one fit-up holds both sides.
    pub fn fit_up_share(&self) -> f64 {
        self.share(&self.fit_ups)
    }

    /// What the variance between stands of one fit-up counts: as fit-ups where each was stood on once.
    pub fn stand_share(&self) -> f64 {
        self.share(&self.stands)
    }

    fn share(&self, units: &[Vec<f64>]) -> f64 {
        let share: f64 = units
            .iter()
            .map(|unit| {
                let weight: f64 =
                    unit.iter().zip(&self.weights).map(|(inside, weight)| inside * weight).sum();
                weight * weight
            })
            .sum();
        if share < NOTHING { 0.0 } else { share }
    }

    /// What the variance between pulls of one stand counts: 1/N_A + 1/N_B without drift.
    pub fn pull_share(&self) -> f64 {
        self.weights.iter().map(|weight| weight * weight).sum()
    }

    pub(super) fn shares(&self) -> Shares {
        Shares { fit_up: self.fit_up_share(), stand: self.stand_share(), pull: self.pull_share() }
    }

    /// What these pulls repeat.
    pub fn repeats(&self) -> &Repeats {
        &self.repeats
    }

    /// Whether in every session that holds both sides the one comes back after the other (A-B-A or B-A-B).
    pub fn is_bracketed(&self) -> bool {
        let sessions = levels(self.placements.iter().map(|place| place.session.as_str()));
        let mut any = false;
        for session in sessions.keys() {
            let range = |which: Which| {
                self.of_side(which).filter(|place| place.session == *session).map(|place| place.at).fold(
                    None,
                    |range: Option<(f64, f64)>, at| {
                        Some(range.map_or((at, at), |(low, high)| (low.min(at), high.max(at))))
                    },
                )
            };
            if let (Some(base), Some(test)) = (range(Which::Base), range(Which::Test)) {
                any = true;
                if base.1 < test.0 || test.1 < base.0 {
                    return false;
                }
            }
        }
        any
    }

    /// Whether these pulls alone leave a component of scatter with too few degrees of freedom, so that the book's other
    /// pulls are to be asked.
    ///
    /// # Errors
    /// None that this layout can give.
    pub fn needs_the_book(&self) -> Result<bool, StatisticsError> {
        let own = self.repeats.evidence(&vec![0.0; self.placements.len()])?;
        let few = |freedom| freedom < FEWEST_OF_OWN;
        let between = if self.fit_up_share() > 0.0 { own.refit } else { own.stand };
        Ok(few(own.pull.freedom) || few(between.freedom))
    }

    pub(super) fn fixed(&self) -> &[Vec<f64>] {
        &self.fixed
    }

    pub(super) fn with_fit_ups(&self) -> &[Vec<f64>] {
        &self.with_fit_ups
    }

    pub(super) fn units(&self) -> &[Vec<f64>] {
        &self.fit_ups
    }

    pub(super) fn stand_columns(&self) -> &[Vec<f64>] {
        &self.stands
    }

    /// The drift of each session with its name, in units of the figure for each step of place, as seen within fit-ups.
    pub(super) fn drifts(&self, values: &[f64]) -> Result<Vec<(String, Option<Estimate>)>, StatisticsError> {
        let sessions = levels(self.placements.iter().map(|place| place.session.as_str()));
        let fit = Fit::of(&self.with_fit_ups, values)?;
        let sittings = if self.across_sessions { 1 } else { sessions.len() };
        let before = self.fit_ups.len() + sittings;
        Ok(sessions
            .iter()
            .map(|(name, at)| ((*name).to_owned(), fit.coefficient(before + at).ok()))
            .collect())
    }
}

/// A design solved by least squares for every observation, so that any combination of its terms is told as a weighted
/// sum of the observations.
#[derive(Debug, Clone)]
pub(super) struct Solved {
    fits: Vec<Fit>,
}

impl Solved {
    /// Solves a design.
    ///
    /// # Errors
    /// A design without rows, or of rows of unlike length.
    pub(super) fn of(design: &[Vec<f64>]) -> Result<Self, StatisticsError> {
        let fits = (0..design.len()).map(|number| {
            let mut only = vec![0.0; design.len()];
            only[number] = 1.0;
            Fit::of(design, &only)
        });
        Ok(Self { fits: fits.collect::<Result<_, _>>()? })
    }

    /// How many combinations of its terms the design tells.
    pub(super) fn rank(&self) -> usize {
        self.fits.first().map_or(0, |fit| fit.rank)
    }

    /// What each observation counts in a combination of the terms; none where the design does not tell it.
    ///
    /// # Errors
    /// A combination of another length than the design is wide.
    pub(super) fn weights(&self, combination: &[f64]) -> Result<Option<Vec<f64>>, StatisticsError> {
        let Some(first) = self.fits.first() else { return Ok(None) };
        if !first.is_estimable(combination)? {
            return Ok(None);
        }
        let weight = |fit: &Fit| {
            let known = fit.coefficients.iter().zip(combination);
            known.map(|(known, factor)| known.unwrap_or(0.0) * factor).sum::<f64>()
        };
        Ok(Some(self.fits.iter().map(weight).collect()))
    }
}

/// A name for each pull's stand: what is pulled in one go. Another side, another fit-up or a number left out between two
/// pulls begins a new one.
fn stands(placements: &[Placement]) -> Vec<String> {
    let mut order: Vec<usize> = (0..placements.len()).collect();
    order.sort_by(|&a, &b| {
        let (a, b) = (&placements[a], &placements[b]);
        a.session.cmp(&b.session).then(a.at.total_cmp(&b.at))
    });
    let mut names = vec![String::new(); placements.len()];
    let mut count = 0;
    let mut last: Option<&Placement> = None;
    for at in order {
        let place = &placements[at];
        if last.is_some_and(|last| {
            (&last.session, &last.fit_up, last.which) != (&place.session, &place.fit_up, place.which)
                || place.at - last.at > ONE_GO
        }) {
            count += 1;
        }
        last = Some(place);
        names[at] = format!("{count:06}");
    }
    names
}

/// Names by number, in the order of the alphabet.
pub(super) fn levels<'a>(names: impl Iterator<Item = &'a str>) -> BTreeMap<&'a str, usize> {
    let mut levels: BTreeMap<&str, usize> = names.map(|name| (name, 0)).collect();
    for (number, at) in levels.values_mut().enumerate() {
        *at = number;
    }
    levels
}

#[cfg(test)]
mod tests {
    use super::*;

    fn place(which: Which, fit_up: &str, session: &str, at: f64) -> Placement {
        Placement { which, fit_up: fit_up.to_owned(), session: session.to_owned(), at }
    }

    #[test]
    fn balanced_sides_on_one_place_give_the_textbook_shares() {
        use Which::{Base, Test};
        let pulls: Vec<Placement> = [(Base, "a1"), (Base, "a2"), (Test, "b1"), (Test, "b2"), (Test, "b3")]
            .iter()
            .flat_map(|&(which, unit)| (0..4).map(move |_| place(which, unit, "s", 0.0)))
            .collect();
        let layout = Layout::of(&pulls).unwrap();
        assert!((layout.fit_up_share() - (1.0 / 2.0 + 1.0 / 3.0)).abs() < 1e-12);
        assert!((layout.pull_share() - (1.0 / 8.0 + 1.0 / 12.0)).abs() < 1e-12);
        assert!((layout.weights().iter().sum::<f64>()).abs() < 1e-12);
    }

    #[test]
    fn a_fit_up_that_holds_both_sides_cancels() {
        use Which::{Base, Test};
        let pulls = [Base, Test, Base, Test].iter().enumerate();
        let pulls: Vec<Placement> = pulls.map(|(n, &which)| place(which, "a1", "s", n as f64)).collect();
        assert!(Layout::of(&pulls).unwrap().fit_up_share() <= 0.0);
    }

    #[test]
    fn one_pull_a_side_is_lost_in_drift() {
        let pulls = [place(Which::Base, "a", "s", 0.0), place(Which::Test, "b", "s", 1.0)];
        assert_eq!(Layout::of(&pulls).unwrap_err(), VerdictError::LostInDrift);
        assert_eq!(Layout::of(&pulls[..1]).unwrap_err(), VerdictError::EmptySide { side: "test" });
    }

    #[test]
    fn brackets_are_seen() {
        use Which::{Base, Test};
        let order = |sides: &[Which]| {
            let pulls: Vec<Placement> =
                sides.iter().enumerate().map(|(n, &which)| place(which, "a", "s", n as f64)).collect();
            Layout::of(&pulls).unwrap().is_bracketed()
        };
        assert!(order(&[Base, Test, Base]));
        assert!(order(&[Test, Base, Test]));
        assert!(!order(&[Base, Base, Test, Test]));
    }

    #[test]
    fn sides_of_unlike_sessions_are_said_to_lie_across_them() {
        use Which::{Base, Test};
        let pulls: Vec<Placement> = (0..3)
            .map(|n| place(Base, "a", "s1", f64::from(n)))
            .chain((0..3).map(|n| place(Test, "b", "s2", f64::from(n))))
            .collect();
        assert!(Layout::of(&pulls).unwrap().is_across_sessions());
    }
}
