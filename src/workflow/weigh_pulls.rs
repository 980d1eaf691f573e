//! The pulls of a weighing: found by name, gathered, brought to one basis, turned into figures.

use std::collections::BTreeMap;
use std::collections::BTreeSet;

use crate::check::Side;
use crate::curves::Curve;
use crate::derive;
use crate::derive::Basis;
use crate::finding::Finding;
use crate::quantity::QuantityKind;
use crate::quantity::parse_uncertainty;
use crate::record::Outcome;
use crate::record::Scope;
use crate::record::Value;
use crate::store::Book;
use crate::verdict::Placement;
use crate::verdict::Which;
use crate::workflow::Failure;
use crate::workflow::Library;
use crate::workflow::gather;
use crate::workflow::names;
use crate::workflow::query;
use crate::workflow::read_logs;
use crate::workflow::read_logs::Gathered;
use crate::workflow::sweep::Found;

/// The grid that all curves of a comparison are put on.
#[derive(Debug, Clone, Copy)]
pub(super) struct Grid {
    /// Distance of its points, rpm.
    pub(super) step_rpm: u32,
    /// Width that every curve alike is smoothed over, rpm; none unless asked for.
    pub(super) smooth_rpm: Option<u32>,
}

/// A pull with its curve on the basis of the weighing.
pub(super) struct Weighable {
    /// The pull and all it rests on.
    pub(super) side: Side,
    /// Its curve as the file has it.
    pub(super) curve: Curve,
    /// What torque and power are multiplied by.
    pub(super) factor: f64,
    /// How far each source moves the factor by one standard uncertainty.
    factor_sources: BTreeMap<String, f64>,
    /// How far each source moves torque, N·m.
    torque_sources: BTreeMap<String, f64>,
    /// Whether the load cell's own uncertainty is stated.
    has_load_cell: bool,
    /// Its sweep rate, where inertia torque makes it another configuration.
    swept: Option<String>,
}

/// A pull that is left out, with the reason.
pub(super) type SetAside = (String, String);

/// The kept pulls that names mean, in the order of the book: pulls, ranges, lists, builds, sessions, queries.
///
/// # Errors
/// A name means nothing.
pub(super) fn named(book: &Book, library: &Library, asked: &[String]) -> Result<BTreeSet<String>, Failure> {
    let mut ids = BTreeSet::new();
    for name in asked {
        if query::is_query(name) {
            ids.extend(query::pulls(book, library, name)?);
        } else if library.build(name)?.is_some() {
            ids.extend(library.pulls_of(name)?);
        } else if library.session(name)?.is_some() {
            ids.extend(names::in_session(library.pull_paths()?, name).into_values());
        } else {
            ids.extend(names::pulls(library, name).map_err(any_side)?);
        }
    }
    Ok(ids)
}

/// Says all that a side may be named by, where nothing is called as it was named.
fn any_side(mut failure: Failure) -> Failure {
    for finding in failure.findings.iter_mut().filter(|finding| finding.code == "not-found") {
        finding.message = "no pull, build or session is called so".to_owned();
        finding.expected = Some(
            "pulls (0412a-01..03), a build, a session, or a query (header=long-1,session=0412a)".to_owned(),
        );
    }
    failure
}

/// Gathers pulls by id; those set aside are left out and named with their reason.
///
/// # Errors
/// A record does not hold, or the store's.
pub(super) fn gathered<'a>(
    book: &Book,
    library: &Library,
    ids: impl Iterator<Item = &'a String>,
    grid: Grid,
) -> Result<(Gathered, Vec<SetAside>), Failure> {
    let mut left_out = Vec::new();
    let sides = ids.filter_map(|id| match gather::side(library, &names::Named::Pull(id.clone())) {
        Ok(side) => match &side.effective.outcome {
            Outcome::SetAside(why) => {
                left_out.push((id.clone(), format!("set aside: {why}")));
                None
            }
            _ => Some(Ok(side)),
        },
        Err(failure) => Some(Err(failure)),
    });
    let gathered = read_logs::with_curves(book, library, sides, grid.step_rpm)?;
    Ok((gathered, left_out))
}

/// Brings a pull's curve, as it was found in its file, to the basis, or says in words why not.
///
/// # Errors
/// The store's.
pub(super) fn weighable_of(
    library: &Library,
    side: Side,
    curve: Found,
    basis: Option<Basis>,
    grid: Grid,
) -> Result<Result<Weighable, String>, Failure> {
    let mut curve = match curve {
        Ok(curve) => grid.smooth_rpm.map_or_else(|| curve.clone(), |width| curve.smoothed(width)),
        Err(why) => return Ok(Err(why)),
    };
    let (mut factor, mut factor_sources) = (1.0, BTreeMap::new());
    if let Some(basis) = basis {
        match derive::bring(&side.ground(library.kinds()), basis) {
            Ok(brought) => {
                factor = brought.factor.value();
                // Where the factor goes with the speed, the curve takes the difference from the one over the sweep.
                if !brought.by_speed.is_empty() {
                    curve = curve.times(|speed| brought.factor_at(speed) / factor);
                }
                factor_sources.extend(
                    brought.factor.contributions().iter().map(|(source, part)| (source.clone(), part.amount)),
                );
            }
            Err(_) => {
                return Ok(Err(format!("{} cannot be brought to {}", side.name, basis.name())));
            }
        }
    }
    let torque_sources = load_cell(library, &side)?;
    let has_load_cell = !torque_sources.is_empty();
    Ok(Ok(Weighable { side, curve, factor, factor_sources, torque_sources, has_load_cell, swept: None }))
}

/// What the load cell shares between pulls: its stated uncertainty over a session or from one calibration to the next.
///
/// A load cell is zeroed for each session, so what a calibration leaves open cancels between sessions only where the
/// zero's own uncertainty is stated beside it (scope `session`).
fn load_cell(library: &Library, side: &Side) -> Result<BTreeMap<String, f64>, Failure> {
    let mut sources = BTreeMap::new();
    let tag = side.cell.as_ref().and_then(|cell| cell.instruments.get("torque"));
    let Some(instrument) = tag.map(|tag| library.instrument(tag)).transpose()?.flatten() else {
        return Ok(sources);
    };
    let kind = QuantityKind::Torque;
    let session = side.session.as_ref().map_or(side.name.as_str(), |session| session.tag.as_str());
    let stated = || instrument.uncertainty.iter().filter(|stated| stated.of == kind.name());
    let zero_is_stated = stated().any(|stated| stated.scope == Scope::Session);
    for stated in stated() {
        let Ok(limit) = parse_uncertainty(&stated.is, kind) else { continue };
        let calibration = side.moment().and_then(|when| instrument.calibration_on(when));
        let since = match (stated.scope, calibration) {
            (Scope::Reading, _) => continue,
            (Scope::Calibration, Some(calibration)) if zero_is_stated => {
                format!("calibrated {}", calibration.on)
            }
            (Scope::Calibration, Some(calibration)) => {
                format!("calibrated {}, zeroed for {session}", calibration.on)
            }
            // Without a calibration nobody knows how long its error stays: within a session, at least.
            (Scope::Calibration, None) => format!("not calibrated, {session}"),
            (Scope::Session, _) => format!("zeroed for {session}"),
        };
        sources.insert(format!("{} torque, {since}", instrument.tag), limit.standard().si);
    }
    Ok(sources)
}

/// What of the load cell is not in the interval, where the sides do not share instrument, calibration and zero and
/// nobody states how far off it may be.
pub(super) fn unstated(pulls: &[Weighable]) -> Option<String> {
    let place = |pull: &Weighable| {
        let cell = pull.side.cell.as_ref();
        (cell.map(|cell| cell.instruments.get("torque").unwrap_or(&cell.tag).clone()), pull.session())
    };
    let shared = pulls.windows(2).all(|pair| matches!(pair, [a, b] if place(a) == place(b)));
    let bare: BTreeSet<String> = pulls
        .iter()
        .filter(|pull| !pull.has_load_cell)
        .map(|pull| match place(pull).0 {
            Some(tag) => format!("`{tag}`"),
            None => "no cell".to_owned(),
        })
        .collect();
    (!shared && !bare.is_empty()).then(|| {
        format!(
            "the sides do not share the load cell with its calibration and zero, and nobody states its uncertainty \
             ({}): nothing of it is in the interval",
            bare.into_iter().collect::<Vec<_>>().join(", ")
        )
    })
}

impl Weighable {
    /// Adds a source that moves its torque by so much, N·m.
    pub(super) fn add_torque_source(&mut self, source: String, amount_nm: f64) {
        self.torque_sources.insert(source, amount_nm);
    }

    /// Makes its sweep rate part of its configuration: inertia torque could not be accounted for.
    pub(super) fn keep_apart_by_rate(&mut self, rate: Option<f64>) {
        self.swept =
            Some(rate.map_or_else(
                || "held".to_owned(),
                |rate| format!("{:.0} rpm/s", (rate / 20.0).round() * 20.0),
            ));
    }

    /// Its place among the pulls of a weighing.
    pub(super) fn placement(&self, which: Which) -> Placement {
        Placement { which, fit_up: self.fit_up(), session: self.session(), at: self.at() }
    }

    /// Build and which time its parts were together.
    pub(super) fn fit_up(&self) -> String {
        let build = self.side.build.as_ref().map_or("", |build| build.name.as_str());
        match self.side.pull.as_ref().and_then(|pull| pull.fit_up) {
            Some(count) => format!("{build} {count}"),
            // Nobody knows whether it was apart: one fit-up in its session.
            None => format!("{build} in {}", self.session()),
        }
    }

    /// Its session's tag.
    pub(super) fn session(&self) -> String {
        self.side.pull.as_ref().map(|pull| pull.session.clone()).unwrap_or_default()
    }

    /// Pulls since the session's first.
    pub(super) fn at(&self) -> f64 {
        self.side.pull.as_ref().map_or(0.0, |pull| f64::from(pull.order) - 1.0)
    }

    /// What was on the engine and how it was set, for telling equal configurations.
    pub(super) fn configuration(&self, without: &[&str]) -> String {
        let effective = &self.side.effective;
        let mut text = String::new();
        for (role, held) in effective.roles.iter().filter(|(role, _)| !without.contains(&role.as_str())) {
            text.push_str(&format!("{role}={:?};", held.answer));
        }
        // What was checked again after a refit and found much the same is the same setting, so what stands in the build
        // counts to two digits; what a pull changed by hand counts as written.
        for (name, held) in effective.settings.iter().filter(|(name, _)| !without.contains(&name.as_str())) {
            let value = held.figure.entries.last().and_then(|entry| entry.known.value());
            let value = match value {
                Some(Value::Quantity(reading)) if held.origin.is_build() => {
                    format!("{:.1e}", reading.mean().si())
                }
                Some(Value::Quantity(reading)) => format!("by hand {:e}", reading.mean().si()),
                Some(other) => format!("{other:?}"),
                None => String::new(),
            };
            text.push_str(&format!("{name}={value};"));
        }
        if let Some(swept) = &self.swept {
            text.push_str(swept);
        }
        text
    }

    /// How far each source moves a figure whose mean over its speeds is `value`; `arm` is 1 for torque, the mean
    /// angular speed for power.
    pub(super) fn sources(&self, value: f64, arm: f64) -> BTreeMap<String, f64> {
        let mut sources: BTreeMap<String, f64> = self
            .factor_sources
            .iter()
            .map(|(source, amount)| (source.clone(), value / self.factor * amount))
            .collect();
        for (source, amount) in &self.torque_sources {
            *sources.entry(source.clone()).or_default() += amount * self.factor * arm;
        }
        sources
    }
}

/// Leaves out what is drawn anew for each pull: that is in their scatter already. A reading that several pulls share
/// stays.
pub(super) fn shared_only(sources: &mut [BTreeMap<String, f64>]) {
    let mut count: BTreeMap<String, usize> = BTreeMap::new();
    for source in sources.iter().flat_map(BTreeMap::keys) {
        *count.entry(source.clone()).or_default() += 1;
    }
    for pull in sources {
        pull.retain(|source, _| {
            !derive::is_drawn_anew(source) || count.get(source).is_some_and(|count| *count > 1)
        });
    }
}

/// The other kept pulls of the same engine in the same cells; what could not be read is left out and counted.
///
/// # Errors
/// The store's.
pub(super) fn others(
    book: &Book,
    library: &Library,
    named: &[Weighable],
    basis: Option<Basis>,
    grid: Grid,
) -> Result<(Vec<Weighable>, usize), Failure> {
    let own: BTreeSet<&str> = named.iter().map(|pull| pull.side.name.as_str()).collect();
    let place = |side: &Side| {
        let engine = side.build.as_ref().map(|build| build.engine.clone());
        engine.zip(side.cell.as_ref().map(|cell| cell.tag.clone()))
    };
    let places: BTreeSet<_> = named.iter().filter_map(|pull| place(&pull.side)).collect();
    // A second engine or cell among the sides: no place in the book is both.
    if places.len() != 1 {
        return Ok((Vec::new(), 0));
    }
    let mut unread = 0;
    let mut sides = Vec::new();
    for id in library.pull_paths()?.keys().filter(|id| !own.contains(id.as_str())) {
        let Ok(side) = gather::side(library, &names::Named::Pull(id.clone())) else {
            unread += 1;
            continue;
        };
        if side.effective.outcome == Outcome::Kept && place(&side).is_some_and(|at| places.contains(&at)) {
            sides.push(Ok(side));
        }
    }
    let mut found = Vec::new();
    for (side, curve) in read_logs::with_curves(book, library, sides.into_iter(), grid.step_rpm)? {
        match weighable_of(library, side, curve, basis, grid)? {
            Ok(pull) => found.push(pull),
            Err(_) => unread += 1,
        }
    }
    Ok((found, unread))
}

/// The grid points that are filled in every curve.
pub(super) fn shared_speeds(curves: &[&Curve]) -> BTreeSet<u32> {
    let mut shared: Option<BTreeSet<u32>> = None;
    for curve in curves {
        let own: BTreeSet<u32> = curve.points.iter().map(|point| point.speed_rpm).collect();
        shared = Some(match shared {
            Some(known) => known.intersection(&own).copied().collect(),
            None => own,
        });
    }
    shared.unwrap_or_default()
}

/// A failure that says a pull has no curve.
pub(super) fn no_curve(why: String) -> Failure {
    Finding::error("no-curve", why).next("leave the pull out, or mend its records").into()
}
