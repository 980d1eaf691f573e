//! Weigh two sides: is the gain real, and what else could explain it.

use std::collections::BTreeSet;
use std::f64::consts::PI;

use crate::answer::PlanLine;
use crate::answer::WeighAnswer;
use crate::answer::WeighUnit;
use crate::answer::Weighed;
use crate::check::Side;
use crate::curves::Curve;
pub use crate::curves::CurveFigure;
use crate::finding::Finding;
use crate::quantity::QuantityKind;
use crate::quantity::Unit;
use crate::quantity::parse_reading;
use crate::store::Book;
use crate::verdict;
use crate::verdict::Layout;
use crate::verdict::Placement;
use crate::verdict::Reservation;
use crate::verdict::VerdictError;
use crate::verdict::Which;
use crate::workflow::AsOf;
use crate::workflow::Failure;
use crate::workflow::Library;
use crate::workflow::compare::unit;
use crate::workflow::derived;
use crate::workflow::doubts_on;
use crate::workflow::inertia;
use crate::workflow::page_weigh::Drawn;
use crate::workflow::sought::Sought;
use crate::workflow::sweep::Found;
use crate::workflow::weigh_budget;
use crate::workflow::weigh_budget::Asked;
use crate::workflow::weigh_elsewhere::Elsewhere;
use crate::workflow::weigh_excluded;
use crate::workflow::weigh_figures;
use crate::workflow::weigh_own::Own;
use crate::workflow::weigh_pairs;
use crate::workflow::weigh_plan;
use crate::workflow::weigh_pulls;
use crate::workflow::weigh_pulls::Grid;
use crate::workflow::weigh_pulls::Weighable;
use crate::workflow::weigh_tuning;

/// What `weigh` is asked.
#[derive(Debug, Clone)]
pub struct WeighRequest {
    /// Pulls, ranges, builds or sessions of the base.
    pub base: Vec<String>,
    /// Those of the test side.
    pub test: Vec<String>,
    /// Lowest and highest speed, rpm; all that the pulls share unless said.
    pub window: Option<(u32, u32)>,
    /// The figure.
    pub figure: CurveFigure,
    /// One speed instead of a window.
    pub at: Option<u32>,
    /// The least gain (`4 hp`).
    pub least: Option<String>,
    /// A difference that would not matter, for a claim that there is none (`2 hp`).
    pub within: Option<String>,
    /// The correction; the book's own unless said.
    pub correct_to: Option<String>,
    /// The role under test.
    pub subject: Option<String>,
    /// A gain to plan pulls for.
    pub detect: Option<String>,
    /// The engine to plan for, where no sides are named.
    pub engine: Option<String>,
    /// The cell to plan for, where no sides are named.
    pub cell: Option<String>,
    /// Distance of the grid, rpm.
    pub step_rpm: u32,
    /// Width that all curves alike are smoothed over, rpm; none unless asked for.
    pub smooth_rpm: Option<u32>,
    /// Which version of the book is asked.
    pub as_of: AsOf,
    /// The window was kept in a claim before the pulls.
    pub window_beforehand: bool,
}

/// Weighs two sides, or refuses.
///
/// # Errors
/// A name means nothing, a pull has no curve, or the layout of the pulls tells no difference. A refusal is an answer.
pub fn weigh(book: &Book, request: &WeighRequest) -> Result<WeighAnswer, Failure> {
    weigh_in(book, &library(book, request)?, request)
}

/// The library that is answered from.
pub(super) fn library(book: &Book, request: &WeighRequest) -> Result<Library, Failure> {
    request.as_of.library(book)
}

/// The same in a library of the book that is open already, which then knows what was read.
///
/// # Errors
/// As [`weigh`].
pub(super) fn weigh_in(
    book: &Book,
    library: &Library,
    request: &WeighRequest,
) -> Result<WeighAnswer, Failure> {
    weigh_with(book, library, request, &mut |_| Ok(()))
}

/// The same; what was weighed is handed on while it is at hand, so that a page can draw it.
pub(super) fn weigh_with(
    book: &Book,
    library: &Library,
    request: &WeighRequest,
    draw: &mut dyn FnMut(&Drawn<'_>) -> Result<(), Failure>,
) -> Result<WeighAnswer, Failure> {
    if request.base.is_empty() && request.test.is_empty() {
        return Ok(WeighAnswer::Planned(Box::new(weigh_plan::plan(book, library, request)?)));
    }
    let base_ids = weigh_pulls::named(book, library, &request.base)?;
    let test_ids = weigh_pulls::named(book, library, &request.test)?;
    if let Some(both) = base_ids.intersection(&test_ids).next() {
        return Err(Failure::usage(
            Finding::error("same-side", "a pull is named on both sides").found(both.clone()),
        ));
    }
    let wanted = derived::wanted(library, request.correct_to.as_deref())?;
    let request = &WeighRequest { subject: named_subject(library, request)?, ..request.clone() };
    let ids = base_ids.iter().chain(&test_ids);
    let (gathered, left_out) = weigh_pulls::gathered(book, library, ids, request.grid())?;
    let (sides, curves): (Vec<Side>, Vec<Found>) = gathered.into_iter().unzip();
    let count = sides.iter().filter(|side| base_ids.contains(&side.name)).count();
    let (pairs, refusals) = weigh_pairs::checked(&sides, library.kinds(), wanted);
    let pending = request.as_of.pending_among(book, library)?;
    let commit = library.commit().short();
    if let Some(mut refused) = weigh_pairs::refused(&sides, &refusals) {
        refused.pending = pending;
        refused.commit = commit;
        return Ok(WeighAnswer::Refused(refused));
    }
    let unbrought = pairs.iter().any(|(_, _, checked)| checked.no_basis().is_some());
    let basis = if unbrought { None } else { wanted.map(|wanted| wanted.basis) };
    let shared = pairs.iter().map(|(_, _, checked)| checked.weak_share()).max().unwrap_or_default();
    let mut pulls = Vec::with_capacity(sides.len());
    for (side, curve) in sides.iter().cloned().zip(curves) {
        let pull = weigh_pulls::weighable_of(library, side, curve, basis, request.grid())?;
        pulls.push(pull.map_err(weigh_pulls::no_curve)?);
    }
    let scale = Scale::of(library, request)?;
    let (speeds, left_out_speeds) = speeds(&pulls, request)?;
    let placements: Vec<Placement> = pulls
        .iter()
        .enumerate()
        .map(|(at, pull)| pull.placement(if at < count { Which::Base } else { Which::Test }))
        .collect();
    let layout = Layout::of(&placements).map_err(plain)?;
    let mut elsewhere = Elsewhere::of(book, library, &pulls, basis, request.grid())?;
    let sweeps = weigh_figures::sweeps(&pulls);
    let inertia = inertia::credit(&mut pulls, &mut elsewhere.pulls)?;
    let figure = Figure { speeds: &speeds, figure: request.figure };
    let difference = elsewhere.weigh(&layout, &pulls, &figure)?;
    let own = Own { elsewhere: &elsewhere, kinds: library.kinds(), wanted, figure: &figure };
    let subject = weigh_budget::subject(&pairs, count, request.subject.as_deref());
    let asked = Asked {
        library,
        pairs: &pairs,
        count,
        pulls: &pulls,
        subject: subject.as_deref(),
        inertia: &inertia,
        basis,
        own: &own,
        difference: &difference,
        least: scale.least.unwrap_or(0.0),
    };
    let budget = asked.budget()?;
    let first = pairs.iter().find(|(i, j, _)| (*i, *j) == (0, count)).map(|(_, _, checked)| checked);
    draw(&Drawn {
        library,
        elsewhere: &elsewhere,
        layout: &layout,
        pulls: &pulls,
        speeds: &speeds,
        pair: first,
    })?;
    let mut reservations = verdict::layout_reservations(&layout, &difference);
    reservations.extend(budget.reservations);
    if (request.window.is_some() || request.at.is_some()) && !request.window_beforehand {
        reservations.push(Reservation::WindowAfterwards);
    }
    let doubts = doubts_on::lines(pulls.iter().map(|pull| &pull.side), library.kinds());
    reservations.extend(doubts.iter().map(|what| Reservation::Doubted { what: what.clone() }));
    let mut answer = Weighed::new(&difference, &layout, scale.unit(), figure.words(request));
    answer.subject = subject.clone();
    answer.tuning = Some(weigh_tuning::tuning(&pairs, count, &pulls, &elsewhere, library.kinds()));
    answer.choices(weigh_excluded::chosen(&pulls, count, &elsewhere, &figure, &difference)?);
    answer.rests = elsewhere.rests(&layout, &pulls, &figure, scale.unit(), &mut answer.scatter)?;
    answer.peak_speed = elsewhere.peak_speed(&layout, &pulls, &figure)?;
    answer.band = elsewhere.band(&layout, &pulls, &figure, scale.unit())?;
    answer.figures = weigh_figures::figures(library, &elsewhere, &layout, &pulls, &speeds, request)?;
    answer.sweeps = sweeps;
    answer.left_out_speeds = left_out_speeds;
    answer.smoothed = request.smooth_rpm;
    answer.inertia = inertia.says;
    answer.doubts = doubts;
    answer.unstated = weigh_pulls::unstated(&pulls);
    answer.rule(&difference, scale.least, reservations);
    if let Some(margin) = scale.within {
        let (within, probability) = verdict::equivalent(&difference.estimate, margin)
            .map_err(|error| plain(VerdictError::from(error)))?;
        answer.equivalence(margin, within, probability);
    }
    if let Some(detect) = scale.detect {
        answer.plan =
            Some(PlanLine::of(detect, &difference, scale.unit()).map_err(|error| plain(error.into()))?);
    }
    answer.base = pulls[..count].iter().map(|pull| pull.side.name.clone()).collect();
    answer.test = pulls[count..].iter().map(|pull| pull.side.name.clone()).collect();
    answer.correction = basis.map_or_else(|| carried(&pulls), |basis| basis.name().to_owned());
    answer.excluded = weigh_excluded::excluded(library, &pulls, left_out, &elsewhere)?;
    answer.unread = elsewhere.unread;
    answer.budget(budget.lines);
    answer.unknowns = budget.unknowns;
    answer.settles_most = budget.settles_most;
    (answer.weak, answer.asked) = shared;
    answer.pending = pending;
    answer.commit = commit;
    Ok(WeighAnswer::Weighed(Box::new(answer)))
}

pub(super) fn plain(error: VerdictError) -> Failure {
    Finding::error("cannot-be-weighed", error.to_string()).into()
}

fn carried(pulls: &[Weighable]) -> String {
    let first = pulls.first().and_then(|pull| pull.side.effective.correction.as_ref());
    first.map_or_else(|| "observed".to_owned(), ToString::to_string)
}

/// The figure that amounts with these units speak of: a mean power where one of them is a power, else a mean torque.
pub fn figure_of(amounts: &[Option<&str>]) -> CurveFigure {
    let is_power = |text: &&str| parse_reading(text, QuantityKind::Power, None).is_ok();
    if amounts.iter().flatten().any(is_power) { CurveFigure::MeanPower } else { CurveFigure::MeanTorque }
}

/// Unit of the figure, and the amounts asked for in SI.
pub(super) struct Scale {
    symbol: &'static str,
    from_si: f64,
    least: Option<f64>,
    within: Option<f64>,
    pub(super) detect: Option<f64>,
}

impl Scale {
    pub(super) fn of(library: &Library, request: &WeighRequest) -> Result<Self, Failure> {
        let kind = if request.figure.is_power() { QuantityKind::Power } else { QuantityKind::Torque };
        let amount = |text: &Option<String>| -> Result<Option<f64>, Failure> {
            let Some(text) = text else { return Ok(None) };
            let reading = parse_reading(text, kind, None).map_err(|error| {
                Failure::usage(
                    Finding::error("not-an-amount", error.to_string())
                        .found(format!("`{text}`"))
                        .expected(format!("a {} with its unit", kind.name()))
                        .next("name the figure with --figure: mean-power for a power"),
                )
            })?;
            Ok(Some(reading.mean().si()))
        };
        let (symbol, from_si) = unit(library, kind, if request.figure.is_power() { "kW" } else { "N·m" });
        // A least gain named in another unit is answered in that unit.
        let own = [&request.least, &request.within, &request.detect].into_iter().flatten().find_map(|text| {
            let letters = text.trim_start_matches(|c: char| !c.is_alphabetic());
            Unit::parse(letters.trim(), kind).ok()
        });
        let (symbol, from_si) = own.map_or((symbol, from_si), |unit| (unit.symbol(), unit.from_si(1.0)));
        Ok(Self {
            symbol,
            from_si,
            least: amount(&request.least)?,
            within: amount(&request.within)?,
            detect: amount(&request.detect)?,
        })
    }

    pub(super) fn unit(&self) -> WeighUnit {
        WeighUnit { symbol: self.symbol, from_si: self.from_si }
    }
}

/// The grid points that every pull has, in the window or at the speed asked for; and those inside the window that some
/// pull lacks.
fn speeds(pulls: &[Weighable], request: &WeighRequest) -> Result<(Vec<u32>, Vec<u32>), Failure> {
    let curves: Vec<&Curve> = pulls.iter().map(|pull| &pull.curve).collect();
    let shared = weigh_pulls::shared_speeds(&curves);
    let (Some(first), Some(last)) = (shared.first().copied(), shared.last().copied()) else {
        return Err(Failure::usage(
            Finding::error("no-speeds", "no grid point is filled in every pull")
                .next("name pulls whose sweeps overlap, or a wider --step"),
        ));
    };
    if let Some(at) = request.at {
        if request.figure.is_peak() {
            return Err(Failure::usage(
                Finding::error("peak-at-a-speed", "a peak is looked for in a window, not at one speed")
                    .found(format!("{} at {at} rpm", request.figure.title()))
                    .next("name a --window, or a mean as the figure"),
            ));
        }
        if shared.contains(&at) {
            return Ok((vec![at], Vec::new()));
        }
        let below = shared.range(..at).next_back().map(|speed| format!("{speed} rpm"));
        let above = shared.range(at..).next().map(|speed| format!("{speed} rpm"));
        let near: Vec<String> = below.into_iter().chain(above).collect();
        return Err(Failure::usage(
            Finding::error("no-speeds", "this speed is no grid point that every pull has")
                .found(format!("{at} rpm"))
                .expected(near.join(" or "))
                .next("name one of these, or a --step that the speed is a multiple of"),
        ));
    }
    let (low, high) = request.window.unwrap_or((first, last));
    if low < first || high > last {
        return Err(Failure::usage(
            Finding::error("window-beyond", "the window reaches beyond the speeds that all pulls share")
                .found(format!("{low} to {high} rpm"))
                .expected(format!("within {first} to {last} rpm")),
        ));
    }
    let found: Vec<u32> = shared.range(low..=high).copied().collect();
    if found.is_empty() {
        return Err(Failure::usage(
            Finding::error("no-speeds", "the window holds no grid point that is filled in every pull")
                .found(format!("{low} to {high} rpm"))
                .next("name another window, or a smaller --step"),
        ));
    }
    let any: BTreeSet<u32> =
        curves.iter().flat_map(|curve| curve.points.iter().map(|point| point.speed_rpm)).collect();
    let empty = curves.iter().flat_map(|curve| curve.empty_bins());
    let left_out: BTreeSet<u32> = any.into_iter().chain(empty).collect();
    let left_out = left_out.range(low..=high).filter(|speed| !shared.contains(speed)).copied().collect();
    Ok((found, left_out))
}

/// The subject by its own name, where one was named: a role, a setting, a figure; a fit as `pair.name`.
fn named_subject(library: &Library, request: &WeighRequest) -> Result<Option<String>, Failure> {
    match &request.subject {
        Some(name) if name.contains('+') => Ok(Some(name.clone())),
        Some(name) => Ok(Some(Sought::of(library.kinds(), name)?.name)),
        None => Ok(None),
    }
}

impl WeighRequest {
    pub(super) fn grid(&self) -> Grid {
        Grid { step_rpm: self.step_rpm, smooth_rpm: self.smooth_rpm }
    }
}

/// Which figure is taken of each curve.
pub(super) struct Figure<'a> {
    pub(super) speeds: &'a [u32],
    pub(super) figure: CurveFigure,
}

impl Figure<'_> {
    pub(super) fn value(&self, pull: &Weighable) -> Result<f64, Failure> {
        let power = self.figure.is_power();
        let found = if self.figure.is_peak() {
            pull.curve.peak(self.speeds, power).map(|peak| peak.0)
        } else {
            pull.curve.mean(self.speeds, power)
        };
        found.map(|value| value * pull.factor).ok_or_else(|| {
            Finding::error(
                "no-figure",
                format!("{} has no {} inside these speeds", pull.side.name, self.figure.title()),
            )
            .next("a peak must lie inside the window; name a wider one or a mean")
            .into()
        })
    }

    /// What torque is multiplied by in the figure: 1, or the mean angular speed.
    pub(super) fn arm(&self) -> f64 {
        if !self.figure.is_power() {
            return 1.0;
        }
        let sum: f64 = self.speeds.iter().map(|speed| f64::from(*speed) * PI / 30.0).sum();
        sum / f64::from(u32::try_from(self.speeds.len().max(1)).unwrap_or(u32::MAX))
    }

    pub(super) fn words(&self, request: &WeighRequest) -> String {
        let (first, last) =
            (self.speeds.first().copied().unwrap_or(0), self.speeds.last().copied().unwrap_or(0));
        match request.at {
            Some(at) => format!("{} at {at} rpm", if self.figure.is_power() { "power" } else { "torque" }),
            None => format!("{} from {first} to {last} rpm", self.figure.title()),
        }
    }
}
