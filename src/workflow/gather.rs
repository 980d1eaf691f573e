//! A side of a comparison gathered from the book: every record it rests on.

use std::collections::BTreeMap;
use std::collections::BTreeSet;
use std::sync::Arc;

use crate::check::ChannelDoubts;
use crate::check::Side;
use crate::derive::Asked;
use crate::finding::Finding;
use crate::record::Answer;
use crate::record::Build;
use crate::record::Effective;
use crate::record::Part;
use crate::record::Pull;
use crate::record::Voids;
use crate::workflow::Failure;
use crate::workflow::Library;
use crate::workflow::doubts_on;
use crate::workflow::names::Named;
use crate::workflow::wear;

/// Gathers the side that a name means.
///
/// # Errors
/// A record is missing or does not hold.
pub(super) fn side(library: &Library, named: &Named) -> Result<Side, Failure> {
    match named {
        Named::Pull(id) => {
            let pull = library.pull(id)?.ok_or_else(|| missing("pull", id))?;
            pull_side(library, pull)
        }
        Named::Build(name) => {
            let build = library.shared_build(name)?.ok_or_else(|| missing("build", name))?;
            shared_build_side(library, build)
        }
        other => Err(Failure::usage(
            Finding::error("not-a-side", "only pulls and builds are compared").found(format!("{other:?}")),
        )),
    }
}

/// The side of a build alone.
///
/// # Errors
/// A record is missing or does not hold.
pub(super) fn build_side(library: &Library, build: &Build) -> Result<Side, Failure> {
    shared_build_side(library, Arc::new(build.clone()))
}

/// The side of a build alone.
///
/// # Errors
/// A record is missing or does not hold.
pub(super) fn shared_build_side(library: &Library, build: Arc<Build>) -> Result<Side, Failure> {
    let effective = Effective::of_build(&build);
    let engine = library.shared_part(&build.engine)?;
    let bare = bare(build.name.clone(), effective);
    let mut side = Side { build: Some(build), engine, ..bare };
    fill(library, &mut side)?;
    Ok(side)
}

/// A side with nothing on it but what a part's own figures name.
///
/// # Errors
/// An instrument's record does not hold.
pub(super) fn alone(library: &Library, part: &Part) -> Result<Side, Failure> {
    let parts = BTreeMap::from([(part.tag.clone(), Arc::new(part.clone()))]);
    let mut side = Side { parts, ..bare(part.tag.clone(), Effective::empty()) };
    fill(library, &mut side)?;
    Ok(side)
}

/// The side of a pull on its build.
///
/// # Errors
/// A record is missing or does not hold.
pub(super) fn pull_side(library: &Library, pull: Pull) -> Result<Side, Failure> {
    let build = match pull.effective_build() {
        Some(name) => Some(library.shared_build(name)?.ok_or_else(|| missing("build", name))?),
        None => None,
    };
    let session = library.session(&pull.session)?;
    let cell = match &session {
        Some(session) => library.cell(&session.cell)?,
        None => None,
    };
    let engine = match &build {
        Some(build) => library.shared_part(&build.engine)?,
        None => None,
    };
    let refit_after = match &pull.refit_after {
        Some(id) => {
            let before = library.pull(id)?;
            let at = before.as_ref().and_then(|before| before.at.clone());
            match (at, before) {
                (Some(at), _) => Some(at),
                (None, Some(before)) => library.session(&before.session)?.map(|session| session.on.clone()),
                (None, None) => None,
            }
        }
        None => None,
    };
    let mut channels = BTreeSet::new();
    let mut instruments = BTreeMap::new();
    for name in pull.raw.iter().filter_map(|raw| raw.columns.as_deref()) {
        if let Some(columns) = library.columns(name)? {
            channels.extend(columns.channels.iter().map(|column| column.quantity.word().to_owned()));
            for tag in columns.channels.iter().filter_map(|column| column.instrument.as_ref()) {
                if let Some(instrument) = library.shared_instrument(tag)? {
                    instruments.insert(tag.clone(), instrument);
                }
            }
        }
    }
    for tag in cell.iter().flat_map(|cell| cell.instruments.values()) {
        if let Some(instrument) = library.shared_instrument(tag)? {
            instruments.insert(tag.clone(), instrument);
        }
    }
    let bare = bare(pull.id.clone(), Effective::of_pull(&pull, build.as_deref()));
    let mut side =
        Side { build, pull: Some(pull), session, cell, engine, instruments, channels, refit_after, ..bare };
    fill(library, &mut side)?;
    Ok(side)
}

/// A side of that name with what was on the engine, and no record beside.
fn bare(name: String, effective: Effective) -> Side {
    Side {
        name,
        build: None,
        pull: None,
        session: None,
        cell: None,
        effective,
        parts: BTreeMap::new(),
        engine: None,
        instruments: BTreeMap::new(),
        channels: BTreeSet::new(),
        channel_means: BTreeMap::new(),
        by_speed: BTreeMap::new(),
        worked_out: BTreeMap::new(),
        asked: Asked::default(),
        refit_after: None,
        wear: BTreeMap::new(),
        doubts: ChannelDoubts::default(),
    }
}

fn fill(library: &Library, side: &mut Side) -> Result<(), Failure> {
    let tags: BTreeSet<String> = side
        .effective
        .roles
        .values()
        .filter_map(|held| match &held.answer {
            Answer::Part(part) => Some(part.tag.clone()),
            _ => None,
        })
        .collect();
    for tag in tags {
        if let Some(part) = library.shared_part(&tag)? {
            side.parts.insert(tag, part);
        }
    }
    let effective = &side.effective;
    let held =
        effective.settings.values().chain(effective.fits.values()).chain(effective.conditions.values());
    let of_parts = side.parts.values().flat_map(|part| &part.states).flat_map(|state| state.figures.values());
    let entries = held.map(|held| &held.figure).chain(of_parts).flat_map(|figure| &figure.entries);
    let named: BTreeSet<&String> = entries.filter_map(|entry| entry.with.as_ref()).collect();
    for tag in named {
        if !side.instruments.contains_key(tag)
            && let Some(instrument) = library.shared_instrument(tag)?
        {
            side.instruments.insert(tag.clone(), instrument);
        }
    }
    doubts_on::apply(library, side)
}

/// Adds how much the parts of each side have run.
///
/// # Errors
/// The store's.
pub(super) fn add_wear(library: &Library, sides: [&mut Side; 2]) -> Result<(), Failure> {
    if sides.iter().all(|side| side.pull.is_none()) {
        return Ok(());
    }
    let counts = wear::Counts::of(library)?;
    for side in sides {
        side.wear = counts.wear(library, side)?;
    }
    Ok(())
}

/// What new parts and a refit void in the settings and fits of a build that is written from another.
#[derive(Debug, Clone, Default)]
pub(super) struct Voided {
    /// Settings.
    pub(super) settings: BTreeSet<String>,
    fits: Vec<(String, Option<String>)>,
    all_fits: bool,
}

impl Voided {
    /// Whether a fit is voided.
    pub(super) fn fits(&self, pair: &str, name: &str) -> bool {
        let turned = pair.split_once('+').map(|(a, b)| format!("{b}+{a}")).unwrap_or_default();
        self.all_fits
            || self.fits.iter().any(|(voided, only)| {
                (voided == pair || *voided == turned) && only.as_ref().is_none_or(|only| only == name)
            })
    }

    fn add(&mut self, voids: &Voids) {
        match voids {
            Voids::Setting(name) => drop(self.settings.insert(name.clone())),
            Voids::Fit { pair, name } => self.fits.push((pair.clone(), name.clone())),
            Voids::AllFits => self.all_fits = true,
        }
    }
}

/// What the newest work on these parts voids, what belongs to the roles that change, and what a refit disturbs.
pub(super) fn voided_by(library: &Library, tags: &[&str], roles: &[String], refit: bool) -> Voided {
    let kinds = library.kinds();
    let mut voided = Voided::default();
    for tag in tags {
        let Ok(Some(part)) = library.part(tag) else {
            continue;
        };
        let Some(kind) = kinds.part(&part.kind) else {
            continue;
        };
        for work in part.newest().map(|state| state.work.as_slice()).unwrap_or_default() {
            kind.work(&work.op).iter().flat_map(|spec| &spec.voids).for_each(|voids| voided.add(voids));
        }
    }
    // Changing a part takes the engine apart around it: what a refit disturbs is to be set again, too.
    if refit || !roles.is_empty() {
        kinds
            .refit_voids
            .iter()
            .filter(|voids| refit || touches(library, voids, roles))
            .for_each(|voids| voided.add(voids));
    }
    for setting in &kinds.settings {
        if setting.role.as_ref().is_some_and(|role| roles.contains(role)) {
            voided.settings.insert(setting.name.clone());
        }
    }
    voided
}

/// Whether what a refit voids lies at one of these roles or beside it.
fn touches(library: &Library, voids: &Voids, roles: &[String]) -> bool {
    let kinds = library.kinds();
    match voids {
        Voids::AllFits => false,
        Voids::Fit { pair, .. } => pair.split('+').any(|side| roles.iter().any(|role| role == side)),
        Voids::Setting(name) => {
            let own = kinds.setting(name).and_then(|spec| spec.role.as_deref());
            own.is_some_and(|own| {
                roles.iter().any(|role| {
                    role == own
                        || kinds.role(role).is_some_and(|spec| spec.neighbours.iter().any(|next| next == own))
                })
            })
        }
    }
}

fn missing(what: &str, name: &str) -> Failure {
    Finding::error("not-found", format!("the {what} `{name}` is not in the book"))
        .next("`mulebook audit` tells what else is missing")
        .into()
}
