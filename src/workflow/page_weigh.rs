//! The curves of a weighing for its page: levels of both sides with their scatter, and every repeat.

use crate::answer::Compared;
use crate::answer::LevelRow;
use crate::answer::Refused;
use crate::answer::RepeatCurve;
use crate::answer::WeighAnswer;
use crate::answer::WeighCurves;
use crate::answer::WeighedPage;
use crate::check::Checked;
use crate::curves::CurveFigure;
use crate::quantity::QuantityKind;
use crate::statistics::distribution::student_quantile;
use crate::store::Book;
use crate::verdict::Layout;
use crate::verdict::Which;
use crate::workflow::Failure;
use crate::workflow::Library;
use crate::workflow::compare::unit;
use crate::workflow::weigh;
use crate::workflow::weigh::Figure;
use crate::workflow::weigh::WeighRequest;
use crate::workflow::weigh_elsewhere::Elsewhere;
use crate::workflow::weigh_figures;
use crate::workflow::weigh_pulls::Weighable;

/// The share of single pulls that a band of scatter is to hold.
const HELD: f64 = 0.95;

/// What a page of a weighing is asked to show.
#[derive(Debug, Clone, PartialEq)]
pub enum Weighing {
    /// Two sides weighed, with their curves.
    Weighed(Box<WeighedPage>),
    /// The two may not be compared.
    Refused(Refused),
    /// A plan without sides: there is nothing to draw.
    Planned,
}

/// Weighs two sides for a page.
///
/// # Errors
/// As [`weigh::weigh`].
pub fn weigh_for_page(book: &Book, request: &WeighRequest) -> Result<Weighing, Failure> {
    let mut curves = None;
    let library = weigh::library(book, request)?;
    let answer = weigh::weigh_with(book, &library, request, &mut |drawn| {
        curves = Some(drawn.curves_and_changes(request)?);
        Ok(())
    })?;
    Ok(match (answer, curves) {
        (WeighAnswer::Refused(refused), _) => Weighing::Refused(refused),
        (WeighAnswer::Weighed(weighed), Some((curves, changed))) => {
            Weighing::Weighed(Box::new(WeighedPage { weighed: *weighed, changed, curves }))
        }
        _ => Weighing::Planned,
    })
}

/// What was weighed, while it is at hand.
pub(super) struct Drawn<'a> {
    pub(super) library: &'a Library,
    pub(super) elsewhere: &'a Elsewhere,
    pub(super) layout: &'a Layout,
    pub(super) pulls: &'a [Weighable],
    pub(super) speeds: &'a [u32],
    /// The first pull of each side.
    pub(super) pair: Option<&'a Checked<'a>>,
}

impl Drawn<'_> {
    fn curves_and_changes(&self, request: &WeighRequest) -> Result<(WeighCurves, Option<Compared>), Failure> {
        let torque = unit(self.library, QuantityKind::Torque, "N·m");
        let power = unit(self.library, QuantityKind::Power, "kW");
        let changed = self.pair.map(|pair| Compared::of(pair, request.subject.as_deref()));
        let curves = WeighCurves {
            torque_unit: torque.0.to_owned(),
            power_unit: power.0.to_owned(),
            step_rpm: request.step_rpm,
            torque: self.levels(CurveFigure::MeanTorque, torque.1)?,
            power: self.levels(CurveFigure::MeanPower, power.1)?,
            repeats: self.repeats(torque.1, power.1),
        };
        Ok((curves, changed))
    }

    fn levels(&self, figure: CurveFigure, from_si: f64) -> Result<Vec<LevelRow>, Failure> {
        let mut rows = Vec::with_capacity(self.speeds.len());
        let levels = weigh_figures::Levels::of(self.layout)?;
        for &rpm in self.speeds {
            let one = Figure { speeds: &[rpm], figure };
            let (base, test) = levels.at(self.pulls, &one)?;
            let scatter = self.elsewhere.weigh(self.layout, self.pulls, &one)?.scatter;
            let half = scatter.and_then(|scatter| scatter.pull).and_then(|pull| {
                let wide = student_quantile(f64::midpoint(1.0, HELD), pull.degrees_of_freedom).ok()?;
                Some(wide * pull.standard_deviation * from_si)
            });
            rows.push(LevelRow {
                rpm,
                base: base.map(|level| level * from_si),
                test: test.map(|level| level * from_si),
                scatter: half,
            });
        }
        Ok(rows)
    }

    fn repeats(&self, torque: f64, power: f64) -> Vec<RepeatCurve> {
        let at = |pull: &Weighable, is_power: bool, from_si: f64| {
            let value = |&rpm: &u32| Some(pull.curve.at(rpm, is_power)? * pull.factor * from_si);
            self.speeds.iter().map(value).collect()
        };
        self.pulls
            .iter()
            .zip(self.layout.placements())
            .map(|(pull, place)| RepeatCurve {
                pull: pull.side.name.clone(),
                side: if place.which == Which::Base { "base" } else { "test" },
                torque: at(pull, false, torque),
                power: at(pull, true, power),
            })
            .collect()
    }
}
