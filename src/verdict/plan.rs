//! How many refits and pulls would show a gain, for the noise that this engine and cell have shown.

use crate::statistics::StatisticsError;
use crate::statistics::distribution::student_quantile;
use crate::statistics::power::noncentral_student_probability;
use crate::verdict::Layout;
use crate::verdict::Placement;
use crate::verdict::Which;
use crate::verdict::difference::FEWEST_FOR_WELCH;

/// The power that a plan is made for.
const WANTED: f64 = 0.8;
/// The most fit-ups a side, and pulls in each, that a plan goes to.
const MOST: (usize, usize) = (12, 6);

/// A plan for one comparison in one session.
#[derive(Debug, Clone, PartialEq)]
pub struct Plan {
    /// Fit-ups on each side.
    pub fit_ups: usize,
    /// Pulls in each fit-up.
    pub pulls: usize,
    /// The order of the fit-ups, `base` and `test` by turns, mirrored so that drift falls on both alike.
    pub order: Vec<Which>,
    /// Probability that a difference of this size is told from none.
    pub power: f64,
    /// Half width of the interval that it would give.
    pub half_width: f64,
}

impl Plan {
    /// Pulls on both sides together.
    #[must_use]
    pub fn all_pulls(&self) -> usize {
        2 * self.fit_ups * self.pulls
    }
}

/// The plans that tell a difference of `detect` from none with 80 % power at a two-sided 5 %, that with the fewest
/// refits first; each further one saves pulls for its refits. Which is cheaper is the shop's to say.
///
/// `pull` and `refit` are the standard deviations that this engine and cell have shown. None where twelve fit-ups a
/// side would not do.
///
/// # Errors
/// Numbers that are not finite.
pub fn plans(detect: f64, pull: f64, refit: f64) -> Result<Vec<Plan>, StatisticsError> {
    let mut plans: Vec<Plan> = Vec::new();
    for fit_ups in 2..=MOST.0 {
        let order = mirrored(fit_ups);
        for pulls in 1..=MOST.1 {
            if plans.last().is_some_and(|last| 2 * fit_ups * pulls >= last.all_pulls()) {
                break;
            }
            let Ok(layout) = Layout::of(&placed(&order, pulls)) else { continue };
            let variance = refit * refit * layout.fit_up_share() + pull * pull * layout.pull_share();
            let freedom = freedom(&layout, fit_ups)?;
            let error = variance.sqrt();
            if error.is_nan() || error <= 0.0 {
                return Err(StatisticsError::NoSpread { what: "pulls of this engine in this cell" });
            }
            let limit = student_quantile(0.975, freedom)?;
            let beyond = 1.0 - noncentral_student_probability(limit, freedom, detect.abs() / error)?;
            if beyond >= WANTED {
                plans.push(Plan {
                    fit_ups,
                    pulls,
                    order: order.clone(),
                    power: beyond,
                    half_width: limit * error,
                });
                break;
            }
        }
    }
    Ok(plans)
}

/// The degrees of freedom that a weighing of this layout would have: from four fit-ups a side those of separate spreads,
/// half way from all that side means and one drift leave to those of one side; else those of the refits.
fn freedom(layout: &Layout, fit_ups: usize) -> Result<f64, StatisticsError> {
    let whole = 2.0 * fit_ups as f64 - 3.0;
    if fit_ups >= FEWEST_FOR_WELCH {
        return Ok((whole + fit_ups as f64 - 1.0) / 2.0);
    }
    let nothing = vec![0.0; layout.placements().len()];
    Ok(layout.repeats().evidence(&nothing)?.refit.fewest().min(whole))
}

/// A B, B A, A B, …: each pair turned round, so that a straight drift weighs on both sides alike.
fn mirrored(fit_ups: usize) -> Vec<Which> {
    (0..fit_ups)
        .flat_map(|pair| if pair % 2 == 0 { [Which::Base, Which::Test] } else { [Which::Test, Which::Base] })
        .collect()
}

fn placed(order: &[Which], pulls: usize) -> Vec<Placement> {
    order
        .iter()
        .enumerate()
        .flat_map(|(unit, &which)| {
            (0..pulls).map(move |pull| Placement {
                which,
                fit_up: format!("{unit:03}"),
                session: String::new(),
                at: (unit * pulls + pull) as f64,
            })
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn noisier_engines_and_smaller_gains_need_more() {
        let easy = first(10.0, 1.0, 1.0);
        let hard = first(2.0, 1.0, 1.0);
        assert!(easy.fit_ups < hard.fit_ups, "{easy:?} {hard:?}");
        assert!(easy.power >= 0.8 && hard.power >= 0.8);
        assert_eq!(hard.order.len(), 2 * hard.fit_ups);
        assert_eq!(plans(0.01, 1.0, 1.0).unwrap(), []);
        assert!(plans(1.0, 0.0, 0.0).is_err());
    }

    #[test]
    fn more_pulls_do_not_help_where_refitting_scatters() {
        assert_eq!(first(3.0, 0.01, 1.0).pulls, 1);
    }

    #[test]
    fn each_further_plan_saves_pulls_for_its_refits() {
        let mut several = 0;
        for detect in [0.6, 0.8, 1.0, 1.5, 2.0, 3.0] {
            let plans = plans(detect, 0.5, 0.2).unwrap();
            for pair in plans.windows(2) {
                assert!(pair[0].fit_ups < pair[1].fit_ups, "{pair:?}");
                assert!(pair[0].all_pulls() > pair[1].all_pulls(), "{pair:?}");
            }
            assert!(plans.iter().all(|plan| plan.power >= WANTED), "{plans:?}");
            several += usize::from(plans.len() > 1);
        }
        assert!(several >= 2, "{several}");
    }

    /// A larger gain may be shown with fewer refits of more pulls: the fewest pulls of all plans never grow with it.
    #[test]
    fn a_larger_gain_never_needs_more_pulls() {
        let mut last = usize::MAX;
        for step in 1..=40 {
            let plans = plans(0.4 + 0.1 * f64::from(step), 0.5, 0.2).unwrap();
            let fewest = plans.iter().map(Plan::all_pulls).min().unwrap_or(usize::MAX);
            assert!(fewest <= last, "{step}: {fewest} after {last}");
            last = fewest;
        }
    }

    fn first(detect: f64, pull: f64, refit: f64) -> Plan {
        plans(detect, pull, refit).unwrap().remove(0)
    }
}
