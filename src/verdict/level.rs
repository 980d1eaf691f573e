//! The level of one side, with an interval that nothing cancels in.

use std::collections::BTreeMap;

use crate::statistics::Interval;
use crate::statistics::two_sample::Estimate;
use crate::verdict::Evidence;
use crate::verdict::LEVEL;
use crate::verdict::Layout;
use crate::verdict::Scatter;
use crate::verdict::VerdictError;
use crate::verdict::Which;
use crate::verdict::difference::uncancelled;
use crate::verdict::scatter::Shares;

/// A side's mean figure at the mean place of all pulls, with its interval: pull-to-pull and refit scatter, and all that
/// instruments leave open. None where the layout does not tell it.
///
/// # Errors
/// As [`crate::verdict::weigh`].
pub fn level(
    layout: &Layout,
    which: Which,
    values: &[f64],
    systematic: &[BTreeMap<String, f64>],
    book: &Evidence,
) -> Result<Option<(Estimate, Interval)>, VerdictError> {
    let Some(weights) = layout.level_weights(which)? else { return Ok(None) };
    let own = layout.repeats().evidence(values)?;
    let scatter = Scatter::of(&own, book).ok_or(VerdictError::NoNoise { pulls: values.len() })?;
    let value = weights.iter().zip(values).map(|(weight, value)| weight * value).sum();
    let share = |units: &[Vec<f64>]| -> f64 {
        let weight = |unit: &Vec<f64>| -> f64 {
            unit.iter().zip(&weights).map(|(inside, weight)| inside * weight).sum()
        };
        units.iter().map(|unit| weight(unit) * weight(unit)).sum()
    };
    let shares = Shares {
        fit_up: share(layout.units()),
        stand: share(layout.stand_columns()),
        pull: weights.iter().map(|weight| weight * weight).sum(),
    };
    let noise = scatter.with_shares(value, shares)?;
    let estimate = noise.with_known(uncancelled(&weights, systematic), LEVEL)?;
    Ok(Some((estimate, estimate.interval(LEVEL)?)))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::verdict::Placement;
    use crate::verdict::weigh;

    fn place(which: Which, at: f64) -> Placement {
        Placement { which, fit_up: "u".to_owned(), session: "s".to_owned(), at }
    }

    #[test]
    fn levels_are_apart_by_the_difference_and_what_cancels_between_them_stays_in_each() {
        use Which::{Base, Test};
        let places: Vec<Placement> =
            [Base, Test, Base, Test, Base].iter().enumerate().map(|(n, &w)| place(w, n as f64)).collect();
        let layout = Layout::of(&places).unwrap();
        let values = [200.0, 204.3, 199.9, 204.0, 200.2];
        let shared: Vec<BTreeMap<String, f64>> = vec![[("cell".to_owned(), 1.5)].into(); 5];
        let book = Evidence::default();
        let difference = weigh(&layout, &values, &shared, &book).unwrap();
        let level = |which| level(&layout, which, &values, &shared, &book).unwrap().unwrap().0;
        let (base, test) = (level(Base), level(Test));
        assert!((test.value - base.value - difference.estimate.value).abs() < 1e-9);
        assert!(difference.systematic < 1e-9 && base.standard_error > 1.5 && test.standard_error > 1.5);
    }
}
