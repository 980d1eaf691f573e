//! The difference of two sides with its standard error, and what that error is made of.

use std::collections::BTreeMap;

use crate::statistics::Interval;
use crate::statistics::StatisticsError;
use crate::statistics::distribution::fisher_upper;
use crate::statistics::least_squares::Fit;
use crate::statistics::two_sample::Estimate;
use crate::verdict::Evidence;
use crate::verdict::LEVEL;
use crate::verdict::Layout;
use crate::verdict::Scatter;
use crate::verdict::VerdictError;
use crate::verdict::Which;
use crate::verdict::layout::levels;
use crate::verdict::unequal;

/// Units a side from which unequal spreads are allowed for (Welch).
pub(super) const FEWEST_FOR_WELCH: usize = 4;

/// What the noise of a difference rests on.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Basis {
    /// Pulls and fit-ups, each with its component: the result speaks of the parts.
    Refits,
    /// Fit-ups as units, four or more a side, each side with its own spread.
    RefitsUnequal,
    /// One fit-up holds both sides, so that fit-ups cancel; how far brackets stray from a straight drift is known.
    SameFitUp,
    /// The same where nothing in the book tells how far brackets stray from a straight drift.
    SameFitUpOneBracket,
    /// Pulls alone: no refit is known, and the result speaks of these assemblies only.
    TheseAssemblies,
}

impl Basis {
    /// Its word.
    pub fn word(self) -> &'static str {
        match self {
            Self::Refits => "refits",
            Self::RefitsUnequal => "refits-unequal",
            Self::SameFitUp => "same-fit-up",
            Self::SameFitUpOneBracket => "same-fit-up-one-bracket",
            Self::TheseAssemblies => "these-assemblies",
        }
    }
}

/// How the spreads of the two sides compare where one pooled spread was used.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Misfit {
    /// Standard deviations of pulls of base and test.
    pub spreads: (f64, f64),
    /// Probability of a ratio at least so far from one if both were equal.
    pub probability: f64,
}

/// The difference test less base.
#[derive(Debug, Clone, PartialEq)]
pub struct Difference {
    /// The difference with its standard error and degrees of freedom, everything included.
    pub estimate: Estimate,
    /// Its 95 % interval.
    pub interval: Interval,
    /// What the noise rests on.
    pub basis: Basis,
    /// The components of scatter; none where each side has its own spread.
    pub scatter: Option<Scatter>,
    /// Spreads of base and test, where each side has its own.
    pub own_spreads: Option<(f64, f64)>,
    /// How unlike the sides' spreads are, where they were pooled and both can be told.
    pub misfit: Option<Misfit>,
    /// Standard uncertainty of what did not cancel between instruments, calibrations and zeros.
    pub systematic: f64,
    /// Drift of each session for each step of place, where it can be told.
    pub drifts: Vec<(String, Option<Estimate>)>,
    /// How far the first pull of a session stands above what drift and sides say, where it can be told.
    pub first_pull: Option<Estimate>,
    /// The base side's mean, for saying the difference as a share of it.
    pub base_mean: f64,
}

impl Difference {
    /// The difference as a share of the base side's mean, with its interval, in per cent.
    pub fn percent(&self) -> (f64, f64, f64) {
        let share = |value: f64| 100.0 * value / self.base_mean;
        (share(self.estimate.value), share(self.interval.lower), share(self.interval.upper))
    }
}

/// Weighs two sides: `values` and `systematic` hold one entry for each pull of the layout, `book` what all pulls of
/// this engine in this cell say of scatter, the sides' own among them; nothing where only the sides are known.
///
/// `systematic` gives for each pull how far each shared source (a calibration, a zero) moves its value by one standard
/// uncertainty; the same source on both sides cancels by its sign.
///
/// # Errors
/// Lists of unequal length, a value that is not finite, or no evidence of noise at all.
pub fn weigh(
    layout: &Layout,
    values: &[f64],
    systematic: &[BTreeMap<String, f64>],
    book: &Evidence,
) -> Result<Difference, VerdictError> {
    let count = layout.placements().len();
    for found in [values.len(), systematic.len()] {
        if found != count {
            return Err(VerdictError::Mismatch { found, expected: count });
        }
    }
    let own = layout.repeats().evidence(values)?;
    let scatter = Scatter::of(&own, book).ok_or(VerdictError::NoNoise { pulls: count })?;
    let scatter = told_apart(layout, values, scatter)?;
    let uncancelled = uncancelled(layout.weights(), systematic);
    let basis = match (layout.fit_up_share() > 0.0, &scatter.refit, &scatter.stand) {
        (false, _, Some(_)) => Basis::SameFitUp,
        (false, _, None) => Basis::SameFitUpOneBracket,
        (true, Some(_), _) => Basis::Refits,
        (true, None, _) => Basis::TheseAssemblies,
    };
    let separate = match basis {
        Basis::Refits => by_units(layout, layout.units(), layout.fixed(), values)?,
        Basis::SameFitUp | Basis::SameFitUpOneBracket => {
            by_units(layout, layout.stand_columns(), layout.with_fit_ups(), values)?
        }
        _ => by_pulls(layout, layout.fixed(), values)?,
    };
    let (noise, basis, own_spreads) = match separate {
        Some(unequal) => {
            let basis = if basis == Basis::Refits { Basis::RefitsUnequal } else { basis };
            (unequal.estimate, basis, Some(unequal.spreads))
        }
        None => (pooled(layout, values, &scatter)?, basis, None),
    };
    let estimate = noise.with_known(uncancelled, LEVEL)?;
    let base: Vec<f64> = of_side(layout, values, Which::Base);
    Ok(Difference {
        estimate,
        interval: estimate.interval(LEVEL)?,
        basis,
        scatter: own_spreads.is_none().then_some(scatter),
        own_spreads,
        misfit: if own_spreads.is_none() { misfit(layout, values)? } else { None },
        systematic: uncancelled,
        drifts: layout.drifts(values)?,
        first_pull: first_pull(layout, values),
        base_mean: base.iter().sum::<f64>() / base.len() as f64,
    })
}

fn of_side(layout: &Layout, values: &[f64], which: Which) -> Vec<f64> {
    let places = layout.placements().iter().zip(values);
    places.filter(|(place, _)| place.which == which).map(|(_, value)| *value).collect()
}

/// One spread for both sides.
fn pooled(layout: &Layout, values: &[f64], scatter: &Scatter) -> Result<Estimate, VerdictError> {
    let value = layout.weights().iter().zip(values).map(|(weight, value)| weight * value).sum();
    let shares = layout.shares();
    let mut estimate = scatter.with_shares(value, shares)?;
    if scatter.is_own_stands(shares)
        && let Some(freedom) = unequal::pooled_freedom(layout.with_fit_ups(), &sides(layout), values)?
    {
        estimate.degrees_of_freedom = estimate.degrees_of_freedom.min(freedom);
    }
    Ok(estimate)
}

/// Components whose pull-to-pull scatter, where it comes from the sides, has the degrees of freedom that it would have
/// if each side scattered as its own pulls say: with few pulls nobody can tell that they scatter alike.
fn told_apart(layout: &Layout, values: &[f64], scatter: Scatter) -> Result<Scatter, StatisticsError> {
    if !scatter.has_own_pulls() {
        return Ok(scatter);
    }
    let with_stands: Vec<Vec<f64>> = layout
        .with_fit_ups()
        .iter()
        .enumerate()
        .map(|(at, row)| {
            layout.stand_columns().iter().filter_map(|stand| stand.get(at)).chain(row).copied().collect()
        })
        .collect();
    Ok(unequal::pooled_freedom(&with_stands, &sides(layout), values)?
        .map_or(scatter, |freedom| scatter.with_pull_freedom(freedom)))
}

fn sides(layout: &Layout) -> Vec<Which> {
    layout.placements().iter().map(|place| place.which).collect()
}

/// Fit-ups or stands as units, where each side has enough of them and none holds both.
fn by_units(
    layout: &Layout,
    units: &[Vec<f64>],
    terms: &[Vec<f64>],
    values: &[f64],
) -> Result<Option<unequal::Unequal>, StatisticsError> {
    let mut design = Vec::new();
    let mut sides = Vec::new();
    let mut means = Vec::new();
    for unit in units {
        let members: Vec<usize> =
            unit.iter().enumerate().filter(|(_, inside)| **inside > 0.0).map(|(number, _)| number).collect();
        let Some(&first) = members.first() else { continue };
        let place = &layout.placements()[first];
        if members.iter().any(|&number| layout.placements()[number].which != place.which) {
            return Ok(None);
        }
        let width = terms[first].len();
        let mean = |column: usize| {
            members.iter().map(|&number| terms[number][column]).sum::<f64>() / members.len() as f64
        };
        design.push((0..width).map(mean).collect::<Vec<f64>>());
        sides.push(place.which);
        means.push(members.iter().map(|&number| values[number]).sum::<f64>() / members.len() as f64);
    }
    let count = |which: Which| sides.iter().filter(|side| **side == which).count();
    if [Which::Base, Which::Test].iter().any(|&which| count(which) < FEWEST_FOR_WELCH) {
        return Ok(None);
    }
    unequal::difference(&design, &sides, &means)
}

/// Pulls as units, each side with its own spread, on the fixed terms that are given.
fn by_pulls(
    layout: &Layout,
    design: &[Vec<f64>],
    values: &[f64],
) -> Result<Option<unequal::Unequal>, StatisticsError> {
    if [Which::Base, Which::Test].iter().any(|&which| layout.pulls(which) < FEWEST_FOR_WELCH) {
        return Ok(None);
    }
    unequal::difference(design, &sides(layout), values)
}

/// What is left of the shared sources once each pull's weight is applied, summed in squares.
pub(super) fn uncancelled(weights: &[f64], systematic: &[BTreeMap<String, f64>]) -> f64 {
    let mut moved: BTreeMap<&str, f64> = BTreeMap::new();
    for (weight, sources) in weights.iter().zip(systematic) {
        for (source, amount) in sources {
            *moved.entry(source).or_default() += weight * amount;
        }
    }
    moved.values().map(|amount| amount * amount).sum::<f64>().sqrt()
}

/// Spreads of the sides about their own lines, where both have pulls to spare.
fn misfit(layout: &Layout, values: &[f64]) -> Result<Option<Misfit>, StatisticsError> {
    let mut spreads = Vec::new();
    for which in [Which::Base, Which::Test] {
        let rows: Vec<Vec<f64>> = layout
            .with_fit_ups()
            .iter()
            .zip(layout.placements())
            .filter(|(_, place)| place.which == which)
            .map(|(row, _)| row.clone())
            .collect();
        let fit = Fit::of(&rows, &of_side(layout, values, which))?;
        if fit.degrees_of_freedom == 0 || fit.residual_squares <= 0.0 {
            return Ok(None);
        }
        spreads.push((fit.residual_squares / fit.degrees_of_freedom as f64, fit.degrees_of_freedom as f64));
    }
    let [(base, base_freedom), (test, test_freedom)] = spreads[..] else { return Ok(None) };
    let upper = fisher_upper(base / test, base_freedom, test_freedom)?;
    Ok(Some(Misfit {
        spreads: (base.sqrt(), test.sqrt()),
        probability: (2.0 * upper.min(1.0 - upper)).min(1.0),
    }))
}

/// The first pull of each session against the rest, on top of sessions, drift and sides.
fn first_pull(layout: &Layout, values: &[f64]) -> Option<Estimate> {
    let places = layout.placements();
    let sessions = levels(places.iter().map(|place| place.session.as_str()));
    let first: BTreeMap<&str, f64> = sessions
        .keys()
        .map(|session| {
            let own = places.iter().filter(|place| place.session == *session).map(|place| place.at);
            (*session, own.fold(f64::INFINITY, f64::min))
        })
        .collect();
    let design: Vec<Vec<f64>> = layout
        .with_fit_ups()
        .iter()
        .zip(places)
        .map(|(row, place)| {
            let mut row = row.clone();
            row.push(if place.at <= first[place.session.as_str()] { 1.0 } else { 0.0 });
            row
        })
        .collect();
    let fit = Fit::of(&design, values).ok()?;
    fit.coefficient(design.first()?.len() - 1).ok()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::statistics::drift::Placed;
    use crate::statistics::drift::bracketed;
    use crate::verdict::Placement;

    fn layout(pulls: &[(Which, &str, f64)]) -> Layout {
        let places: Vec<Placement> = pulls
            .iter()
            .map(|&(which, unit, at)| Placement {
                which,
                fit_up: unit.to_owned(),
                session: "s".to_owned(),
                at,
            })
            .collect();
        Layout::of(&places).unwrap()
    }

    fn bare(count: usize) -> Vec<BTreeMap<String, f64>> {
        vec![BTreeMap::new(); count]
    }

    #[test]
    fn a_bracketed_test_without_refits_gives_the_plain_bracket() {
        // Project reference table, computed with statsmodels 0.15.0 (OLS y ~ B + t): 5.45, drift -0.275 a pull.
        use Which::{Base, Test};
        let values = [500.2, 500.6, 499.9, 505.1, 504.4, 504.9, 498.7, 498.1, 498.6];
        let sides = [Base, Base, Base, Test, Test, Test, Base, Base, Base];
        let units = ["a1", "a1", "a1", "b", "b", "b", "a2", "a2", "a2"];
        let pulls: Vec<_> = (0..9).map(|n| (sides[n], units[n], n as f64)).collect();
        let layout = layout(&pulls);
        let found = weigh(&layout, &values, &bare(9), &Evidence::default()).unwrap();
        assert!((found.estimate.value - 5.45).abs() < 1e-9);
        // The lines within the three fit-ups fall by 0.15, 0.1 and 0.05 a pull.
        assert!((found.drifts[0].1.unwrap().value + 0.1).abs() < 1e-9);
        // The one refit leaves a single degree of freedom between fit-ups.
        assert_eq!(found.basis, Basis::Refits);
        assert!(found.estimate.degrees_of_freedom < 3.0);
        assert!(found.interval.contains(5.45));
        let placed = |which| {
            pulls
                .iter()
                .zip(values)
                .filter(move |(pull, _)| pull.0 == which)
                .map(|(pull, value)| Placed { at: pull.2, value })
                .collect::<Vec<_>>()
        };
        let plain = bracketed(&placed(Base), &placed(Test)).unwrap();
        assert!((found.estimate.value - plain.change.value).abs() < 1e-9);
    }

    #[test]
    fn balanced_refits_give_the_exact_t_of_fit_up_means() {
        use Which::{Base, Test};
        let values = [10.0, 10.4, 11.0, 11.2, 10.7, 10.1, 13.0, 13.3, 12.1, 12.4, 12.9, 13.0];
        let pulls: Vec<_> = (0..12)
            .map(|n| (if n < 6 { Base } else { Test }, ["a", "b", "c", "d", "e", "f"][n / 2], 0.0))
            .collect();
        let found = weigh(&layout(&pulls), &values, &bare(12), &Evidence::default()).unwrap();
        let means: Vec<f64> = values.chunks(2).map(|pair| (pair[0] + pair[1]) / 2.0).collect();
        let sides = (
            crate::statistics::sample::Summary::of(&means[..3]).unwrap(),
            crate::statistics::sample::Summary::of(&means[3..]).unwrap(),
        );
        let plain = crate::statistics::two_sample::pooled(&sides.0, &sides.1).unwrap();
        assert!((found.estimate.standard_error - plain.standard_error).abs() < 1e-9);
        assert!((found.estimate.degrees_of_freedom - 4.0).abs() < 1e-9);
    }

    #[test]
    fn shared_sources_cancel_and_others_do_not() {
        use Which::{Base, Test};
        let pulls: Vec<_> =
            (0..6).map(|n| (if n % 2 == 0 { Base } else { Test }, "u", f64::from(n))).collect();
        let layout = layout(&pulls);
        let values = [10.0, 12.1, 10.1, 12.0, 9.9, 12.2];
        let with = |own: bool| -> Vec<BTreeMap<String, f64>> {
            pulls
                .iter()
                .map(|pull| {
                    let name = if own && pull.0 == Test { "other station" } else { "station" };
                    [(name.to_owned(), 0.5)].into()
                })
                .collect()
        };
        let shared = weigh(&layout, &values, &with(false), &Evidence::default()).unwrap();
        let apart = weigh(&layout, &values, &with(true), &Evidence::default()).unwrap();
        assert!(shared.systematic < 1e-12);
        assert!((apart.systematic - 0.5 * 2.0_f64.sqrt()).abs() < 1e-9);
        assert!(apart.interval.half_width() > shared.interval.half_width());
        assert_eq!(shared.basis, Basis::SameFitUp);
    }

    #[test]
    fn lists_that_do_not_belong_together_are_refused() {
        use Which::{Base, Test};
        let layout = layout(&[(Base, "a", 0.0), (Test, "b", 1.0), (Base, "a", 2.0)]);
        assert!(matches!(
            weigh(&layout, &[1.0], &bare(3), &Evidence::default()),
            Err(VerdictError::Mismatch { found: 1, expected: 3 })
        ));
        assert!(matches!(
            weigh(&layout, &[1.0, 2.0, 1.0], &bare(3), &Evidence::default()),
            Err(VerdictError::NoNoise { pulls: 3 })
        ));
    }
}
