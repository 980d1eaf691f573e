//! Weigh two sides: is the gain real, and what else could explain it.

use std::collections::BTreeMap;
use std::collections::BTreeSet;
use std::f64::consts::PI;

use crate::answer::BudgetLine;
use crate::answer::PlanLine;
use crate::answer::Refused;
use crate::answer::WeighAnswer;
use crate::answer::WeighUnit;
use crate::answer::Weighed;
use crate::check;
use crate::check::Checked;
use crate::check::Group;
use crate::check::Side;
use crate::curves::Curve;
pub use crate::curves::CurveFigure;
use crate::derive;
use crate::engine::sensitivity::compression_gain;
use crate::finding::Finding;
use crate::quantity::QuantityKind;
use crate::quantity::Unit;
use crate::quantity::parse_reading;
use crate::statistics::budget::Budgeted;
use crate::store::Book;
use crate::verdict;
use crate::verdict::Basis;
use crate::verdict::Difference;
use crate::verdict::Layout;
use crate::verdict::Placement;
use crate::verdict::Reservation;
use crate::verdict::VerdictError;
use crate::verdict::Which;
use crate::workflow::Failure;
use crate::workflow::Library;
use crate::workflow::compare::pending_among;
use crate::workflow::compare::unit;
use crate::workflow::derived;
use crate::workflow::inertia;
use crate::workflow::inertia::Credit;
use crate::workflow::sought::Sought;
use crate::workflow::weigh_elsewhere::Elsewhere;
use crate::workflow::weigh_excluded::excluded;
use crate::workflow::weigh_figures;
use crate::workflow::weigh_pulls;
use crate::workflow::weigh_pulls::Grid;
use crate::workflow::weigh_pulls::Weighable;

/// Ratio of specific heats of the air-standard cycle for burnt and unburnt charge together (J. Heywood 1988, 5.6, from
/// memory).
const HEAT_RATIO: f64 = 1.3;

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
    /// Distance of the grid, rpm.
    pub step_rpm: u32,
    /// Width that all curves alike are smoothed over, rpm; none unless asked for.
    pub smooth_rpm: Option<u32>,
    /// Answer from the work tree.
    pub pending: bool,
}

/// Weighs two sides, or refuses.
///
/// # Errors
/// A name means nothing, a pull has no curve, or the layout of the pulls tells no difference. A refusal is an answer.
pub fn weigh(book: &Book, request: &WeighRequest) -> Result<WeighAnswer, Failure> {
    let library = if request.pending { Library::with_pending(book)? } else { Library::at_head(book)? };
    let base_ids = weigh_pulls::named(&library, &request.base)?;
    let test_ids = weigh_pulls::named(&library, &request.test)?;
    if let Some(both) = base_ids.intersection(&test_ids).next() {
        return Err(Failure::usage(
            Finding::error("same-side", "a pull is named on both sides").found(both.clone()),
        ));
    }
    let wanted = derived::wanted(&library, request.correct_to.as_deref())?;
    let request = &WeighRequest { subject: named_subject(&library, request)?, ..request.clone() };
    let (base, mut left_out) = weigh_pulls::gathered(book, &library, &base_ids)?;
    let (test, more) = weigh_pulls::gathered(book, &library, &test_ids)?;
    left_out.extend(more);
    let count = base.len();
    let sides: Vec<Side> = base.into_iter().chain(test).collect();
    let mut refused = None;
    let (mut barred, mut most) = (0, None);
    let mut pairs: Vec<(usize, usize, Checked<'_>)> = Vec::new();
    for (i, a) in sides.iter().enumerate() {
        for (j, b) in sides.iter().enumerate().skip(i + 1) {
            match check::documented(a, b, library.kinds(), wanted) {
                Ok(checked) => pairs.push((i, j, checked)),
                Err(refusal) => {
                    barred += 1;
                    // Of all pairs the one that lacks the most is shown.
                    if most.is_none_or(|most| refusal.gaps.len() > most) {
                        most = Some(refusal.gaps.len());
                        refused = Some(Refused::of(&refusal, &a.name, &b.name));
                    }
                }
            }
        }
    }
    let touched = if request.pending { Vec::new() } else { library.touched() };
    let pending = pending_among(book, &touched)?;
    let commit = library.commit().short();
    if let Some(mut refused) = refused {
        refused.pending = pending;
        refused.commit = commit;
        if barred > 1 {
            refused.headline.push_str(&format!(
                " Of the {} pairs of pulls, {barred} are refused.",
                sides.len() * (sides.len() - 1) / 2
            ));
        }
        return Ok(WeighAnswer::Refused(refused));
    }
    let unbrought = pairs.iter().any(|(_, _, checked)| checked.no_basis().is_some());
    let basis = if unbrought { None } else { wanted.map(|wanted| wanted.basis) };
    let shared = pairs.iter().map(|(_, _, checked)| checked.weak_share()).max().unwrap_or_default();
    let mut pulls = Vec::with_capacity(sides.len());
    for side in sides.iter().cloned() {
        let pull = weigh_pulls::weighable(book, &library, side, basis, request.grid())?;
        pulls.push(pull.map_err(weigh_pulls::no_curve)?);
    }
    let scale = Scale::of(&library, request)?;
    let (speeds, left_out_speeds) = speeds(&pulls, request)?;
    let placements: Vec<Placement> = pulls
        .iter()
        .enumerate()
        .map(|(at, pull)| pull.placement(if at < count { Which::Base } else { Which::Test }))
        .collect();
    let layout = Layout::of(&placements).map_err(plain)?;
    let mut elsewhere = Elsewhere::of(book, &library, &pulls, &layout, basis, request)?;
    let sweeps = weigh_figures::sweeps(&pulls);
    let inertia = inertia::credit(&mut pulls, &mut elsewhere.pulls)?;
    let reservations = reservations(&pairs, count, request, &inertia);
    let budget = budget(&library, &pairs, count, request, &inertia)?;
    let figure = Figure { speeds: &speeds, figure: request.figure };
    let difference = elsewhere.weigh(&layout, &pulls, &figure)?;
    let mut answer = Weighed::new(&difference, &layout, scale.unit(), figure.words(request));
    answer.peak_speed = elsewhere.peak_speed(&layout, &pulls, &figure)?;
    answer.band = elsewhere.band(&layout, &pulls, &figure, &scale)?;
    answer.figures = weigh_figures::figures(&library, &elsewhere, &layout, &pulls, &speeds, request)?;
    answer.sweeps = sweeps;
    answer.left_out_speeds = left_out_speeds;
    answer.smoothed = request.smooth_rpm;
    answer.inertia = inertia.says;
    answer.unstated = weigh_pulls::unstated(&pulls);
    answer.rule(&difference, scale.least, layout_reservations(&layout, &difference, reservations));
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
    answer.excluded = excluded(&library, &pulls, left_out, &elsewhere)?;
    answer.unread = elsewhere.unread;
    answer.budget = budget;
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

/// Unit of the figure, and the amounts asked for in SI.
pub(super) struct Scale {
    symbol: &'static str,
    from_si: f64,
    least: Option<f64>,
    within: Option<f64>,
    detect: Option<f64>,
}

impl Scale {
    fn of(library: &Library, request: &WeighRequest) -> Result<Self, Failure> {
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

    fn words(&self, request: &WeighRequest) -> String {
        let (first, last) =
            (self.speeds.first().copied().unwrap_or(0), self.speeds.last().copied().unwrap_or(0));
        match request.at {
            Some(at) => format!("{} at {at} rpm", if self.figure.is_power() { "power" } else { "torque" }),
            None => format!("{} from {first} to {last} rpm", self.figure.title()),
        }
    }
}

/// The role under test: as said, else the only role that was changed.
fn subject(pairs: &[(usize, usize, Checked<'_>)], count: usize, request: &WeighRequest) -> Option<String> {
    if request.subject.is_some() {
        return request.subject.clone();
    }
    let mut roles = BTreeSet::new();
    for (_, _, checked) in across(pairs, count) {
        let made = checked.changes().iter().filter(|change| change.is_hand_made());
        roles.extend(
            made.filter(|change| change.item.group == Group::Role).map(|change| change.item.name.clone()),
        );
    }
    if roles.len() == 1 { roles.into_iter().next() } else { None }
}

fn across<'p, 'a>(
    pairs: &'p [(usize, usize, Checked<'a>)],
    count: usize,
) -> impl Iterator<Item = &'p (usize, usize, Checked<'a>)> {
    pairs.iter().filter(move |(i, j, _)| *i < count && *j >= count)
}

/// What the records hold against the result: open questions, other changes, sides that are not of one kind.
fn reservations(
    pairs: &[(usize, usize, Checked<'_>)],
    count: usize,
    request: &WeighRequest,
    inertia: &Credit,
) -> Vec<Reservation> {
    let subject = subject(pairs, count, request);
    let mut found = Vec::new();
    for (i, j, checked) in pairs {
        let made = || checked.changes().iter().filter(|change| change.is_hand_made());
        if *i < count && *j >= count {
            for open in checked.open_questions() {
                found.push(Reservation::Unknown { what: open.item.title.to_lowercase() });
            }
            for change in made() {
                let own = subject
                    .as_ref()
                    .is_some_and(|role| change.item.name == *role || change.item.role.as_ref() == Some(role));
                if !own && !is_fit_up(&change.item.name) && !inertia.accounts_for(&change.item.name) {
                    found.push(Reservation::NotEstimated { what: change.item.title.to_lowercase() });
                }
            }
        } else {
            let side = if *j < count { "base" } else { "test" };
            let made = made()
                .filter(|change| !is_fit_up(&change.item.name) && !inertia.accounts_for(&change.item.name));
            for change in made {
                found.push(Reservation::MixedSide { side, what: change.item.title.to_lowercase() });
            }
        }
    }
    if request.window.is_some() || request.at.is_some() {
        found.push(Reservation::WindowAfterwards);
    }
    found
}

/// A fit-up is the unit of the weighing, not something else that changed.
fn is_fit_up(name: &str) -> bool {
    name == "fit-up"
}

fn layout_reservations(
    layout: &Layout,
    difference: &Difference,
    mut found: Vec<Reservation>,
) -> Vec<Reservation> {
    if layout.is_across_sessions() {
        found.push(Reservation::AcrossSessions);
    } else if !layout.is_bracketed() {
        found.push(Reservation::NoClosingBaseline);
    }
    if difference.basis == Basis::TheseAssemblies {
        found.push(Reservation::NoRefit);
    }
    found
}

/// What else differs, with an estimate of its effect where a sound model is at hand.
fn budget(
    library: &Library,
    pairs: &[(usize, usize, Checked<'_>)],
    count: usize,
    request: &WeighRequest,
    inertia: &Credit,
) -> Result<Vec<BudgetLine>, Failure> {
    let subject = subject(pairs, count, request);
    let mut lines = Vec::new();
    let Some((_, _, checked)) = across(pairs, count).next() else { return Ok(lines) };
    let figures = |side: &Side| {
        derive::figures(&side.ground(library.kinds()))
            .into_iter()
            .filter_map(Result::ok)
            .filter(|derived| derived.label.cylinder.is_none())
            .map(|derived| (derived.label.name.clone(), derived.value))
            .collect::<BTreeMap<String, Budgeted>>()
    };
    let (base, test) = (figures(checked.base()), figures(checked.test()));
    if let (Some(was), Some(now)) = (base.get("compression-ratio"), test.get("compression-ratio"))
        && (was.value() - now.value()).abs() > 1e-9
    {
        let gain = Budgeted::combine(&[was, now], |ratio| {
            compression_gain(ratio[0], ratio[1], HEAT_RATIO).map(|gain| 100.0 * (gain - 1.0))
        });
        if let Ok(interval) = gain.and_then(|gain| Ok(gain.interval(verdict::LEVEL)?)) {
            let of_subject = subject.as_deref().is_some_and(|role| {
                checked.changes().iter().any(|change| change.item.role.as_deref() == Some(role))
            });
            lines.push(BudgetLine {
                what: format!("compression ratio {:.2} to {:.2}", was.value(), now.value()),
                percent: Some(((interval.lower + interval.upper) / 2.0, interval.half_width())),
                source: "air-standard cycle, ratio of specific heats 1.3: an upper bound, as heat loss and friction \
                         take part of it"
                    .to_owned(),
                of_subject,
            });
        }
    }
    if let (Some(was), Some(now)) = (base.get("displacement"), test.get("displacement"))
        && (was.value() - now.value()).abs() > 1e-12
    {
        let gain = Budgeted::combine(&[was, now], |volume| {
            Ok::<f64, crate::statistics::StatisticsError>(100.0 * (volume[1] / volume[0] - 1.0))
        });
        if let Ok(interval) = gain.and_then(|gain| gain.interval(verdict::LEVEL)) {
            lines.push(BudgetLine {
                what: "displacement".to_owned(),
                percent: Some(((interval.lower + interval.upper) / 2.0, interval.half_width())),
                source: "torque in proportion to swept volume".to_owned(),
                of_subject: false,
            });
        }
    }
    let mut named = BTreeSet::new();
    for (_, _, checked) in across(pairs, count) {
        for change in checked.changes().iter().filter(|change| change.is_hand_made()) {
            let own = subject
                .as_ref()
                .is_some_and(|role| change.item.name == *role || change.item.role.as_ref() == Some(role));
            if !own && !is_fit_up(&change.item.name) && !inertia.accounts_for(&change.item.name) {
                named.insert(change.item.title.to_lowercase());
            }
        }
    }
    lines.extend(named.into_iter().map(|what| BudgetLine {
        what,
        percent: None,
        source: "pull both sides with only this changed to settle it".to_owned(),
        of_subject: false,
    }));
    Ok(lines)
}
