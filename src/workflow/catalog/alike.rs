//! What pulls say alike: those of one build with the same parts and settings differ in weather and in how they were run,
//! so what they say of the rest is worked out once.

use std::cell::OnceCell;
use std::cmp::Ordering;
use std::collections::BTreeMap;
use std::collections::BTreeSet;
use std::sync::Arc;

use crate::check;
use crate::check::Side;
use crate::derive;
use crate::record::Effective;
use crate::record::Entry;
use crate::record::Figure;
use crate::record::Moment;
use crate::workflow::Library;
use crate::workflow::catalog::chunk;
use crate::workflow::catalog::rows;
use crate::workflow::sought;

/// How many configurations are remembered: a build's pulls seldom change between more.
const MOST: usize = 8;

/// Configurations met before, the last one first.
#[derive(Default)]
pub(super) struct Alike(Vec<Configuration>);

/// A configuration, and what a pull on it says of it.
pub(super) struct Configuration {
    side: Side,
    order: Order,
    moments: Vec<Moment>,
    said: OnceCell<Arc<chunk::Alike>>,
    ratios: OnceCell<(Arc<chunk::Alike>, BTreeSet<String>)>,
    doubted: OnceCell<bool>,
    by_compression: OnceCell<bool>,
}

/// How the moments at which a configuration's records say something lie to that of a pull: which entry stands for the pull
/// depends on nothing else of it.
#[derive(Debug, PartialEq, Eq)]
enum Order {
    Untimed,
    /// For each moment whether it is before or after, and its place when all are sorted by their distance.
    Places(Vec<(Ordering, usize)>),
}

impl Order {
    fn of(moments: &[Moment], when: Option<&Moment>) -> Self {
        let Some(when) = when else { return Self::Untimed };
        let distances: Vec<i64> = moments.iter().map(|moment| moment.distance_seconds(when)).collect();
        let mut sorted = distances.clone();
        sorted.sort_unstable();
        sorted.dedup();
        let place = |distance: &i64| sorted.partition_point(|other| other < distance);
        let orders = moments.iter().map(|moment| moment.order(when));
        Self::Places(orders.zip(distances.iter().map(place)).collect())
    }
}

impl Alike {
    /// The configuration of a side of a pull.
    pub(super) fn of(&mut self, side: &Side) -> &Configuration {
        let known = self.0.iter().position(|known| known.is_of(side));
        match known {
            Some(place) => self.0[..=place].rotate_right(1),
            None => {
                self.0.truncate(MOST - 1);
                self.0.insert(0, Configuration::of(side));
            }
        }
        &self.0[0]
    }
}

impl Configuration {
    fn of(side: &Side) -> Self {
        let moments = moments_of(side);
        Self {
            order: Order::of(&moments, side.moment()),
            moments,
            side: side.clone(),
            said: OnceCell::new(),
            ratios: OnceCell::new(),
            doubted: OnceCell::new(),
            by_compression: OnceCell::new(),
        }
    }

    /// Whether a side says the same of its configuration.
    fn is_of(&self, other: &Side) -> bool {
        let own = &self.side;
        same_each(&own.parts, &other.parts)
            && same_each(&own.instruments, &other.instruments)
            && same_maybe(own.engine.as_ref(), other.engine.as_ref())
            && same_maybe(own.build.as_ref(), other.build.as_ref())
            && is_quiet(own)
            && is_quiet(other)
            && own.refit_after == other.refit_after
            // No entry of a configuration is of a session, and its day counts through the order of moments.
            && own.session.is_some() == other.session.is_some()
            && own.cell == other.cell
            && same_set_up(&own.effective, &other.effective)
            && self.order == Order::of(&self.moments, other.moment())
    }

    /// Whether compression ignites its fuel.
    pub(super) fn ignites_by_compression(&self, library: &Library) -> bool {
        let found = || derive::ignites_by_compression(&self.side.ground(library.kinds()));
        *self.by_compression.get_or_init(found)
    }

    /// What fills the roles, and what is said of parts, figures and settings.
    pub(super) fn said(&self, library: &Library) -> &Arc<chunk::Alike> {
        self.said.get_or_init(|| {
            let said = sought::of_configuration(&self.side, library.kinds());
            Arc::new(chunk::Alike { fitted: rows::fitted(&self.side), said })
        })
    }

    /// Derived figures, and what they rest on beyond the side itself.
    pub(super) fn ratios(&self, library: &Library) -> &(Arc<chunk::Alike>, BTreeSet<String>) {
        self.ratios.get_or_init(|| {
            let (said, relied) = library.relying(|| sought::ratios(&self.side, library));
            (Arc::new(chunk::Alike { fitted: Vec::new(), said }), relied)
        })
    }

    /// Whether something on a side of this configuration proved doubtful.
    pub(super) fn doubted(&self, side: &Side, library: &Library) -> bool {
        let doubted = |side: &Side| !check::doubts_of(side, library.kinds()).is_empty();
        if !is_quiet(side) || marked(side).next().is_some() {
            return doubted(side);
        }
        // Without a mark on its own conditions, what is doubted is doubted of the configuration.
        *self.doubted.get_or_init(|| {
            let mut bare = self.side.clone();
            bare.effective.conditions.clear();
            doubted(&bare)
        })
    }
}

/// Records that are remembered are the same one each time.
fn same<T: PartialEq>(a: &Arc<T>, b: &Arc<T>) -> bool {
    Arc::ptr_eq(a, b) || a == b
}

fn same_maybe<T: PartialEq>(a: Option<&Arc<T>>, b: Option<&Arc<T>>) -> bool {
    a.zip(b).map_or(a.is_none() && b.is_none(), |(a, b)| same(a, b))
}

fn same_each<T: PartialEq>(a: &BTreeMap<String, Arc<T>>, b: &BTreeMap<String, Arc<T>>) -> bool {
    a.len() == b.len() && a.iter().zip(b).all(|(a, b)| a.0 == b.0 && same(a.1, b.1))
}

/// Whether no doubt lies on what read a side's figures and files.
fn is_quiet(side: &Side) -> bool {
    side.doubts.session.is_empty()
        && side.doubts.by_word.is_empty()
        && side.instruments.values().all(|instrument| instrument.doubted.is_empty())
}

/// The entries of a side's conditions that carry a mark.
fn marked(side: &Side) -> impl Iterator<Item = &Entry> {
    let entries = side.effective.conditions.values().flat_map(|held| &held.figure.entries);
    entries.filter(|entry| entry.doubted.is_some() || entry.shifted.is_some())
}

fn same_set_up(a: &Effective, b: &Effective) -> bool {
    a.roles == b.roles && a.settings == b.settings && a.fits == b.fits && a.lost_fits == b.lost_fits
}

/// Every moment at which a record of the configuration says something.
fn moments_of(side: &Side) -> Vec<Moment> {
    let mut found: Vec<Moment> = Vec::new();
    let mut add = |moment: Option<Moment>| match moment {
        Some(moment) if !found.contains(&moment) => found.push(moment),
        _ => {}
    };
    let states = side.parts.values().chain(&side.engine).flat_map(|part| &part.states);
    states.clone().for_each(|state| add(state.since.clone()));
    let effective = &side.effective;
    let held = effective.settings.values().chain(effective.fits.values()).map(|held| &held.figure);
    let cell = side.cell.iter().flat_map(|cell| cell.figures.values());
    let figures = states.flat_map(|state| state.figures.values()).chain(held).chain(cell);
    for entry in figures.flat_map(|figure: &Figure| &figure.entries) {
        add(entry.moment());
        for doubt in entry.doubted.iter().chain(&entry.shifted) {
            [&doubt.from, &doubt.until, &doubt.on].into_iter().for_each(|moment| add(moment.clone()));
        }
    }
    found
}
