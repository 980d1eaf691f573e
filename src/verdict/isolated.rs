//! What one thing alone does, from pulls of the book in which nothing else was changed.

use std::collections::BTreeSet;

use crate::statistics::StatisticsError;
use crate::statistics::least_squares::Fit;
use crate::statistics::two_sample::Estimate;
use crate::verdict::layout::levels;

/// Values of a setting nearer to each other than this share of their range count as one.
const SAME: f64 = 1e-6;
/// Different values that a loop needs for a best one.
const FEWEST_FOR_A_LOOP: usize = 3;

/// A pull of the book in which one thing was varied.
#[derive(Debug, Clone, PartialEq)]
pub struct Varied {
    /// Session and all that is not varied: pulls are compared within it.
    pub group: String,
    /// Its place in the session.
    pub at: f64,
    /// What was varied.
    pub setting: f64,
    /// The figure.
    pub value: f64,
}

/// A setting run through a loop: figure = group + drift + b·x + c·x², in per cent of the group's mean.
#[derive(Debug, Clone)]
pub struct Loop {
    fit: Fit,
    before: usize,
    centre: f64,
    /// Least and greatest value run.
    pub range: (f64, f64),
    /// Pulls in it.
    pub pulls: usize,
}

impl Loop {
    /// Fits a loop; none where fewer than three values were run, nothing is left to see the noise by, or the curve has no
    /// best value.
    ///
    /// # Errors
    /// A value that is not finite.
    pub fn of(pulls: &[Varied]) -> Result<Option<Self>, StatisticsError> {
        let Some(range) = range(pulls) else { return Ok(None) };
        let steps: BTreeSet<i64> = pulls
            .iter()
            .map(|pull| libm::round((pull.setting - range.0) / (SAME * (range.1 - range.0))) as i64)
            .collect();
        if steps.len() < FEWEST_FOR_A_LOOP {
            return Ok(None);
        }
        let centre = (range.0 + range.1) / 2.0;
        let (design, values, before) = design(pulls, |pull| {
            let x = pull.setting - centre;
            vec![x, x * x]
        });
        let fit = Fit::of(&design, &values)?;
        let bent = fit.coefficients.get(before + 1).copied().flatten().is_some_and(|bend| bend < 0.0);
        if fit.degrees_of_freedom == 0 || !bent {
            return Ok(None);
        }
        Ok(Some(Self { fit, before, centre, range, pulls: pulls.len() }))
    }

    /// The best value.
    pub fn best(&self) -> Option<f64> {
        let slope = self.fit.coefficients.get(self.before).copied().flatten()?;
        let bend = self.fit.coefficients.get(self.before + 1).copied().flatten()?;
        Some(self.centre - slope / (2.0 * bend))
    }

    /// What going from one value to another brings, in per cent.
    ///
    /// # Errors
    /// None that a fitted loop can give.
    pub fn effect(&self, from: f64, to: f64) -> Result<Estimate, StatisticsError> {
        let (from, to) = (from - self.centre, to - self.centre);
        let mut combination = vec![0.0; self.fit.coefficients.len()];
        for (at, part) in [to - from, to * to - from * from].into_iter().enumerate() {
            if let Some(entry) = combination.get_mut(self.before + at) {
                *entry = part;
            }
        }
        self.fit.combination(&combination)
    }
}

/// The slope of the figure over what varied from pull to pull (a temperature), in per cent for each unit; none where
/// the pulls do not tell it.
///
/// # Errors
/// A value that is not finite.
pub fn slope(pulls: &[Varied]) -> Result<Option<Estimate>, StatisticsError> {
    let Some(range) = range(pulls) else { return Ok(None) };
    let centre = (range.0 + range.1) / 2.0;
    let (design, values, before) = design(pulls, |pull| vec![pull.setting - centre]);
    let fit = Fit::of(&design, &values)?;
    Ok(fit.coefficient(before).ok().filter(|slope| slope.standard_error > 0.0))
}

fn range(pulls: &[Varied]) -> Option<(f64, f64)> {
    let settings = || pulls.iter().map(|pull| pull.setting);
    let range = (settings().fold(f64::INFINITY, f64::min), settings().fold(f64::NEG_INFINITY, f64::max));
    (range.1 > range.0).then_some(range)
}

/// A mean for each group, one drift, and the terms of the setting; values in per cent of their group's mean.
fn design(pulls: &[Varied], terms: impl Fn(&Varied) -> Vec<f64>) -> (Vec<Vec<f64>>, Vec<f64>, usize) {
    let groups = levels(pulls.iter().map(|pull| pull.group.as_str()));
    let mut sums = vec![(0.0, 0.0); groups.len()];
    let number = |pull: &Varied| groups.get(pull.group.as_str()).copied().unwrap_or(0);
    for pull in pulls {
        if let Some(sum) = sums.get_mut(number(pull)) {
            *sum = (sum.0 + pull.value, sum.1 + 1.0);
        }
    }
    let mut design = Vec::with_capacity(pulls.len());
    let mut values = Vec::with_capacity(pulls.len());
    for pull in pulls {
        let group = number(pull);
        let mut row = vec![0.0; groups.len()];
        let (sum, count) = sums.get(group).copied().unwrap_or((1.0, 1.0));
        if let Some(entry) = row.get_mut(group) {
            *entry = 1.0;
        }
        row.push(pull.at);
        row.extend(terms(pull));
        design.push(row);
        values.push(100.0 * pull.value * count / sum);
    }
    (design, values, groups.len() + 1)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn run(settings: &[f64], value: impl Fn(f64, f64) -> f64) -> Vec<Varied> {
        settings
            .iter()
            .enumerate()
            .map(|(at, &setting)| Varied {
                group: "s".to_owned(),
                at: at as f64,
                setting,
                value: value(setting, at as f64),
            })
            .collect()
    }

    #[test]
    fn a_timing_loop_tells_its_best_and_what_is_lost_off_it() {
        // 1 - k d² with k 4e-4 around 33 deg, as the engine's relation has it, with a drift of -0.1 % a pull and a
        // ripple that leaves something over.
        let timing = [27.0, 30.0, 33.0, 36.0, 39.0, 36.0, 33.0, 30.0, 27.0];
        let ripple = [0.02, -0.02, 0.01, -0.01, 0.02, -0.01, 0.01, -0.02, 0.01];
        let pulls = run(&timing, |deg, at| {
            let left = crate::engine::sensitivity::torque_off_best_timing(deg - 33.0, 4e-4).unwrap();
            200.0 * (left - 0.001 * at + ripple[at as usize] / 100.0)
        });
        let found = Loop::of(&pulls).unwrap().unwrap();
        assert!((found.best().unwrap() - 33.0).abs() < 0.3);
        let effect = found.effect(33.0, 28.0).unwrap();
        assert!(effect.interval(0.95).unwrap().contains(-1.0), "{effect:?}");
    }

    #[test]
    fn no_loop_without_three_values_or_a_best_one() {
        assert!(Loop::of(&run(&[28.0, 31.0, 28.0, 31.0, 28.0], |x, _| x)).unwrap().is_none());
        assert!(Loop::of(&run(&[28.0, 31.0, 34.0, 31.0, 28.0, 34.0], |x, at| x * x + at)).unwrap().is_none());
        assert!(Loop::of(&run(&[31.0, 31.0], |x, _| x)).unwrap().is_none());
    }

    #[test]
    fn a_slope_over_oil_temperature_comes_apart_from_drift() {
        let oil = [80.0, 86.0, 81.0, 88.0, 79.0, 90.0];
        let ripple = [0.01, -0.01, 0.02, -0.02, 0.01, -0.01];
        let pulls = run(&oil, |x, at| 300.0 + 0.06 * x - 0.3 * at + ripple[at as usize]);
        let found = slope(&pulls).unwrap().unwrap();
        // 0.06 of about 304 for each kelvin.
        assert!((found.value - 100.0 * 0.06 / 304.4).abs() < 2e-3, "{found:?}");
        assert!(slope(&run(&[80.0, 80.0], |x, _| x)).unwrap().is_none());
    }
}
