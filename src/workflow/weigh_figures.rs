//! Figures of both sides of a weighing: means, peaks and their speeds, each with its interval.

use std::collections::BTreeMap;

use crate::answer::SideFigure;
use crate::answer::SweepLine;
use crate::answer::WithInterval;
use crate::curves::CurveFigure;
use crate::quantity::QuantityKind;
use crate::statistics::Interval;
use crate::statistics::two_sample::Estimate;
use crate::verdict;
use crate::verdict::Evidence;
use crate::verdict::Layout;
use crate::verdict::Which;
use crate::workflow::Failure;
use crate::workflow::Library;
use crate::workflow::compare::unit;
use crate::workflow::inertia;
use crate::workflow::weigh::Figure;
use crate::workflow::weigh::WeighRequest;
use crate::workflow::weigh::plain;
use crate::workflow::weigh_elsewhere::Elsewhere;
use crate::workflow::weigh_pulls;
use crate::workflow::weigh_pulls::Weighable;

/// The sweeps as they were found in the logs.
pub(super) fn sweeps(pulls: &[Weighable]) -> Vec<SweepLine> {
    pulls.iter().map(|pull| SweepLine::of(&pull.side.name, &pull.curve, inertia::rate(pull))).collect()
}

/// What each pull counts in the levels of base and test, where the layout tells them.
pub(super) struct Levels {
    base: Option<Vec<f64>>,
    test: Option<Vec<f64>>,
}

impl Levels {
    pub(super) fn of(layout: &Layout) -> Result<Self, Failure> {
        let weights = |which| layout.level_weights(which).map_err(|error| plain(error.into()));
        Ok(Self { base: weights(Which::Base)?, test: weights(Which::Test)? })
    }

    /// Levels of base and test in a figure; for showing beside the difference, without an interval.
    pub(super) fn at(
        &self,
        pulls: &[Weighable],
        figure: &Figure<'_>,
    ) -> Result<(Option<f64>, Option<f64>), Failure> {
        let values = pulls.iter().map(|pull| figure.value(pull)).collect::<Result<Vec<_>, _>>()?;
        let level = |weights: &Option<Vec<f64>>| {
            let weights = weights.as_ref()?;
            Some(weights.iter().zip(&values).map(|(weight, value)| weight * value).sum())
        };
        Ok((level(&self.base), level(&self.test)))
    }
}

/// Mean torque and power, and where a window is weighed the peaks with their speeds.
pub(super) fn figures(
    library: &Library,
    elsewhere: &Elsewhere,
    layout: &Layout,
    pulls: &[Weighable],
    speeds: &[u32],
    request: &WeighRequest,
) -> Result<Vec<SideFigure>, Failure> {
    let torque = unit(library, QuantityKind::Torque, "N·m");
    let power = unit(library, QuantityKind::Power, "kW");
    let mut lines = Vec::new();
    for figure in [CurveFigure::MeanTorque, CurveFigure::MeanPower] {
        let of = Figure { speeds, figure };
        let name = match request.at {
            Some(_) if figure.is_power() => "power",
            Some(_) => "torque",
            None => figure.title(),
        };
        let (symbol, from_si) = if figure.is_power() { power } else { torque };
        let taken = Taken { elsewhere, layout, pulls };
        lines.push(taken.line(name, symbol, from_si, |pull| of.value(pull).ok(), Some(of.arm()))?);
    }
    if request.at.is_some() {
        return Ok(lines);
    }
    for figure in [CurveFigure::PeakTorque, CurveFigure::PeakPower] {
        let (symbol, from_si) = if figure.is_power() { power } else { torque };
        let taken = Taken { elsewhere, layout, pulls };
        let peak = |pull: &Weighable| pull.curve.peak(speeds, figure.is_power());
        let height = |pull: &Weighable| peak(pull).map(|peak| peak.0 * pull.factor);
        let of = Figure { speeds, figure };
        lines.push(taken.line(figure.title(), symbol, from_si, height, Some(of.arm()))?);
        let name = format!("speed of {}", figure.title());
        lines.push(taken.line(&name, "rpm", 1.0, |pull| peak(pull).map(|peak| peak.1), None)?);
    }
    Ok(lines)
}

/// The pulls that figures are taken of.
struct Taken<'a> {
    elsewhere: &'a Elsewhere,
    layout: &'a Layout,
    pulls: &'a [Weighable],
}

impl Taken<'_> {
    /// A figure with its intervals; `arm` is what torque is multiplied by in it, none where instruments do not move it.
    fn line(
        &self,
        name: &str,
        symbol: &str,
        from_si: f64,
        value: impl Fn(&Weighable) -> Option<f64>,
        arm: Option<f64>,
    ) -> Result<SideFigure, Failure> {
        let mut line = SideFigure {
            figure: name.to_owned(),
            unit: symbol.to_owned(),
            base: None,
            test: None,
            difference: None,
            why: None,
        };
        let mut values = Vec::with_capacity(self.pulls.len());
        for pull in self.pulls {
            match value(pull) {
                Some(value) => values.push(value),
                None => {
                    line.why = Some(format!("{} has none inside these speeds", pull.side.name));
                    return Ok(line);
                }
            }
        }
        let mut sources: Vec<BTreeMap<String, f64>> = match arm {
            Some(arm) => {
                self.pulls.iter().zip(&values).map(|(pull, value)| pull.sources(*value, arm)).collect()
            }
            None => vec![BTreeMap::new(); values.len()],
        };
        weigh_pulls::shared_only(&mut sources);
        let book = self.elsewhere.evidence(self.pulls, &value)?;
        let difference = verdict::weigh(self.layout, &values, &sources, &book).map_err(plain)?;
        line.difference = Some(WithInterval::of(&(difference.estimate, difference.interval), from_si));
        line.base =
            self.level(Which::Base, &values, &sources, &book)?.map(|level| WithInterval::of(&level, from_si));
        line.test =
            self.level(Which::Test, &values, &sources, &book)?.map(|level| WithInterval::of(&level, from_si));
        Ok(line)
    }

    fn level(
        &self,
        which: Which,
        values: &[f64],
        sources: &[BTreeMap<String, f64>],
        book: &Evidence,
    ) -> Result<Option<(Estimate, Interval)>, Failure> {
        verdict::level(self.layout, which, values, sources, book).map_err(plain)
    }
}
