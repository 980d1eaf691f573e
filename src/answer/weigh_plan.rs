//! Pulls and refits planned for a gain.

use serde::Serialize;

use crate::answer::SpreadLine;
use crate::answer::WeighUnit;
use crate::verdict;
use crate::verdict::Difference;
use crate::verdict::StatisticsError;
use crate::verdict::Which;

/// A plan for a gain.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct PlanLine {
    /// The gain.
    pub detect: f64,
    /// Fit-ups a side; none where twelve would not do.
    pub fit_ups: Option<usize>,
    /// Pulls in each.
    pub pulls: Option<usize>,
    /// The order of the fit-ups.
    pub order: Vec<&'static str>,
    /// Its power.
    pub power: Option<f64>,
    /// Half width of the interval that it would give.
    pub half_width: Option<f64>,
    /// Plans that save pulls for more refits, the fewest refits first.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub others: Vec<PlanChoice>,
    /// What the plan rests on.
    pub says: String,
}

/// Another plan for the same gain.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct PlanChoice {
    /// Fit-ups a side.
    pub fit_ups: usize,
    /// Pulls in each.
    pub pulls: usize,
    /// Pulls on both sides together.
    pub all_pulls: usize,
    /// Its power.
    pub power: f64,
    /// Half width of the interval that it would give.
    pub half_width: f64,
}

impl PlanLine {
    /// A plan for a gain in SI with the scatter that a difference was weighed with.
    ///
    /// # Errors
    /// Numbers that are not finite.
    pub fn of(detect: f64, difference: &Difference, unit: WeighUnit) -> Result<Self, StatisticsError> {
        let (pull, refit) = match (&difference.scatter, difference.own_spreads) {
            (Some(scatter), _) => (
                scatter.pull.or(scatter.stand).map(|pull| pull.standard_deviation),
                scatter.refit.map(|refit| refit.standard_deviation),
            ),
            (None, Some((base, test))) => (Some(base.max(test)), None),
            (None, None) => (None, None),
        };
        Self::for_scatter(detect, pull, refit, unit)
    }

    /// A plan for a gain in SI with pull-to-pull and refit scatter in SI.
    ///
    /// # Errors
    /// Numbers that are not finite, or no scatter at all.
    pub fn for_scatter(
        detect: f64,
        pull: Option<f64>,
        refit: Option<f64>,
        unit: WeighUnit,
    ) -> Result<Self, StatisticsError> {
        let plans = verdict::plans(detect, pull.unwrap_or(0.0), refit.unwrap_or(0.0))?;
        let plan = plans.first();
        let says = if refit.is_some() {
            "for the pull-to-pull and refit scatter of this engine in this cell"
        } else {
            "for pull-to-pull scatter alone: nobody refitted, and refits will add to it; refit both sides once, then \
             plan again"
        }
        .to_owned();
        Ok(Self {
            detect: detect * unit.from_si,
            fit_ups: plan.map(|plan| plan.fit_ups),
            pulls: plan.map(|plan| plan.pulls),
            order: plan
                .into_iter()
                .flat_map(|plan| &plan.order)
                .map(|which| if *which == Which::Base { "base" } else { "test" })
                .collect(),
            power: plan.map(|plan| plan.power),
            half_width: plan.map(|plan| plan.half_width * unit.from_si),
            others: plans
                .iter()
                .skip(1)
                .map(|plan| PlanChoice {
                    fit_ups: plan.fit_ups,
                    pulls: plan.pulls,
                    all_pulls: plan.all_pulls(),
                    power: plan.power,
                    half_width: plan.half_width * unit.from_si,
                })
                .collect(),
            says,
        })
    }
}

/// A plan made from the noise that an engine has shown in a cell, without sides.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Planned {
    /// The engine.
    pub engine: String,
    /// The cell.
    pub cell: String,
    /// The figure in words.
    pub figure: String,
    /// Its unit.
    pub unit: String,
    /// What torque and power were brought to.
    pub correction: String,
    /// Mean of the figure over all pulls of the engine there.
    pub mean: f64,
    /// Components of scatter.
    pub scatter: Vec<SpreadLine>,
    /// The plan.
    pub plan: PlanLine,
    /// Pulls whose records or files could not be read.
    pub unread: usize,
    /// The commit answered from.
    pub commit: String,
}
