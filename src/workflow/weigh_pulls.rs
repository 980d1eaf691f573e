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
use crate::workflow::derived;
use crate::workflow::gather;
use crate::workflow::names;
use crate::workflow::sweep;
use crate::workflow::sweep::Channels;

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
}

/// A pull that is left out, with the reason.
pub(super) type SetAside = (String, String);

/// The kept pulls that names mean, in the order of the book: pulls, ranges, lists, builds, sessions.
///
/// # Errors
/// A name means nothing.
pub(super) fn named(library: &Library, asked: &[String]) -> Result<BTreeSet<String>, Failure> {
    let mut ids = BTreeSet::new();
    for name in asked {
        if library.build(name)?.is_some() {
            ids.extend(library.pulls_of(name)?);
        } else if library.session(name)?.is_some() {
            ids.extend(names::in_session(library.pull_paths()?, name).into_values());
        } else {
            ids.extend(names::pulls(library, name)?);
        }
    }
    Ok(ids)
}

/// Gathers pulls by id; those set aside are left out and named with their reason.
///
/// # Errors
/// A record does not hold, or the store's.
pub(super) fn gathered(
    book: &Book,
    library: &Library,
    ids: &BTreeSet<String>,
) -> Result<(Vec<Side>, Vec<SetAside>), Failure> {
    let (mut sides, mut left_out) = (Vec::new(), Vec::new());
    for id in ids {
        let mut side = gather::side(library, &names::Named::Pull(id.clone()))?;
        if let Outcome::SetAside(why) = &side.effective.outcome {
            left_out.push((id.clone(), format!("set aside: {why}")));
            continue;
        }
        derived::add_channel_means(book, library, &mut side, Channels::OfConditions)?;
        sides.push(side);
    }
    Ok((sides, left_out))
}

/// Reads a pull's curve and brings it to the basis, or says in words why not.
///
/// # Errors
/// The store's, or a file that its columns record does not fit.
pub(super) fn weighable(
    book: &Book,
    library: &Library,
    side: Side,
    basis: Option<Basis>,
    step_rpm: u32,
) -> Result<Result<Weighable, String>, Failure> {
    let mut curve = match sweep::of_pull(book, library, &side, step_rpm)? {
        Ok(curve) => curve,
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
    Ok(Ok(Weighable { side, curve, factor, factor_sources, torque_sources }))
}

/// What the load cell shares between pulls: its stated uncertainty over a session or from one calibration to the next.
fn load_cell(library: &Library, side: &Side) -> Result<BTreeMap<String, f64>, Failure> {
    let mut sources = BTreeMap::new();
    let tag = side.cell.as_ref().and_then(|cell| cell.instruments.get("torque"));
    let Some(instrument) = tag.map(|tag| library.instrument(tag)).transpose()?.flatten() else {
        return Ok(sources);
    };
    let kind = QuantityKind::Torque;
    for stated in instrument.uncertainty.iter().filter(|stated| stated.of == kind.name()) {
        let Ok(limit) = parse_uncertainty(&stated.is, kind) else { continue };
        let since = match stated.scope {
            Scope::Reading => continue,
            Scope::Session => side.session.as_ref().map(|session| format!("session {}", session.tag)),
            Scope::Calibration => side
                .moment()
                .and_then(|when| instrument.calibration_on(when))
                .map(|calibration| format!("calibrated {}", calibration.on)),
        };
        // Without a calibration nobody knows how long its error stays: within a session, at least.
        let since = since
            .or_else(|| side.session.as_ref().map(|session| session.tag.clone()))
            .unwrap_or_else(|| side.name.clone());
        sources.insert(format!("{} torque, {since}", instrument.tag), limit.standard().si);
    }
    Ok(sources)
}

impl Weighable {
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
        for (name, held) in &effective.settings {
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

/// Keeps the sources that at least two pulls share: what is drawn anew for each pull is in their scatter already.
pub(super) fn shared_only(sources: &mut [BTreeMap<String, f64>]) {
    let mut count: BTreeMap<String, usize> = BTreeMap::new();
    for source in sources.iter().flat_map(BTreeMap::keys) {
        *count.entry(source.clone()).or_default() += 1;
    }
    for pull in sources {
        pull.retain(|source, _| count.get(source).is_some_and(|count| *count > 1));
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
    step_rpm: u32,
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
    let mut found = Vec::new();
    let mut unread = 0;
    for id in library.pull_paths()?.keys().filter(|id| !own.contains(id.as_str())) {
        let Ok(mut side) = gather::side(library, &names::Named::Pull(id.clone())) else {
            unread += 1;
            continue;
        };
        if side.effective.outcome != Outcome::Kept || !place(&side).is_some_and(|at| places.contains(&at)) {
            continue;
        }
        derived::add_channel_means(book, library, &mut side, Channels::OfConditions)?;
        match weighable(book, library, side, basis, step_rpm)? {
            Ok(pull) => found.push(pull),
            Err(_) => unread += 1,
        }
    }
    Ok((found, unread))
}

/// A failure that says a pull has no curve.
pub(super) fn no_curve(why: String) -> Failure {
    Finding::error("no-curve", why).next("leave the pull out, or mend its records").into()
}
