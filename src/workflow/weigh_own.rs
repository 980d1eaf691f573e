//! This book's own evidence of what one thing does: pulls of the engine in the cell that differ in nothing else, never
//! those that are being weighed.

use std::collections::BTreeMap;

use crate::check;
use crate::check::Change;
use crate::check::Group;
use crate::check::Item;
use crate::check::Shown;
use crate::check::Wanted;
use crate::record::Kinds;
use crate::record::Value;
use crate::statistics::two_sample::Estimate;
use crate::verdict;
use crate::verdict::LEVEL;
use crate::verdict::Layout;
use crate::verdict::Loop;
use crate::verdict::Placement;
use crate::verdict::Varied;
use crate::verdict::VerdictError;
use crate::verdict::Which;
use crate::workflow::Failure;
use crate::workflow::weigh::Figure;
use crate::workflow::weigh::plain;
use crate::workflow::weigh_elsewhere::Elsewhere;
use crate::workflow::weigh_pulls::Weighable;

/// Two readings nearer than this share of the larger are one value.
const SAME: f64 = 1e-9;

/// An effect in per cent with half the width of its 95 % interval.
pub(super) type Percent = (f64, f64);

/// What the book's own pulls say of one change.
pub(super) struct Isolated {
    /// Its effect.
    pub(super) percent: Percent,
    /// The pulls before and after the change.
    pub(super) pulls: (Vec<String>, Vec<String>),
    /// Whether refitting is in the interval.
    pub(super) with_refits: bool,
}

/// The book as a source of single changes.
pub(super) struct Own<'a> {
    pub(super) elsewhere: &'a Elsewhere,
    pub(super) kinds: &'a Kinds,
    pub(super) wanted: Option<Wanted>,
    pub(super) figure: &'a Figure<'a>,
}

impl Own<'_> {
    /// Pulls of one session that differ in this item alone, the same way as the two sides do.
    ///
    /// # Errors
    /// A figure that is not finite.
    pub(super) fn change(&self, item: &Item, from: &Shown, to: &Shown) -> Result<Option<Isolated>, Failure> {
        if !matches!(item.group, Group::Role | Group::Setting) {
            return Ok(None);
        }
        let without = [item.name.as_str()];
        let mut sets: BTreeMap<(Which, String), (String, f64)> = BTreeMap::new();
        for (a, b) in self.neighbours(&without) {
            let Some(change) = self.only_change(a, b, item) else { continue };
            if !(alike(change.base.as_ref(), from) && alike(change.test.as_ref(), to)) {
                continue;
            }
            let group = format!("{}\u{0}{}", a.session(), a.configuration(&without));
            for (which, pull) in [(Which::Base, a), (Which::Test, b)] {
                if let Ok(value) = self.figure.value(pull) {
                    sets.insert((which, pull.side.name.clone()), (group.clone(), value));
                }
            }
        }
        let names = |side: Which| -> Vec<String> {
            sets.keys().filter(|(which, _)| *which == side).map(|(_, name)| name.clone()).collect()
        };
        let (placements, values): (Vec<Placement>, Vec<f64>) = self
            .elsewhere
            .pulls
            .iter()
            .flat_map(|pull| [Which::Base, Which::Test].map(|which| (which, pull)))
            .filter_map(|(which, pull)| {
                let (group, value) = sets.get(&(which, pull.side.name.clone()))?;
                Some((Placement { session: group.clone(), ..pull.placement(which) }, *value))
            })
            .unzip();
        let layout = match Layout::of(&placements) {
            Ok(layout) if !layout.is_across_sessions() => layout,
            Ok(_) | Err(VerdictError::EmptySide { .. } | VerdictError::LostInDrift) => return Ok(None),
            Err(error) => return Err(plain(error)),
        };
        let nothing = vec![BTreeMap::new(); values.len()];
        let book = self.elsewhere.evidence(&[], |pull| self.figure.value(pull).ok())?;
        let found = match verdict::weigh(&layout, &values, &nothing, &book) {
            Ok(found) => found,
            Err(VerdictError::NoNoise { .. } | VerdictError::Statistics(_)) => return Ok(None),
            Err(error) => return Err(plain(error)),
        };
        let (value, lower, upper) = found.percent();
        Ok(Some(Isolated {
            percent: (value, (upper - lower) / 2.0),
            pulls: (names(Which::Base), names(Which::Test)),
            with_refits: found.basis != verdict::Basis::TheseAssemblies,
        }))
    }

    /// A loop of a setting, run with nothing else changed.
    ///
    /// # Errors
    /// A figure that is not finite.
    pub(super) fn setting_loop(&self, setting: &str) -> Result<Option<(Loop, Vec<String>)>, Failure> {
        let item = Item { group: Group::Setting, role: None, name: setting.to_owned(), title: String::new() };
        let value = |pull: &Weighable| {
            let held = pull.side.effective.settings.get(setting)?;
            match held.figure.entries.last()?.known.value()? {
                Value::Quantity(reading) => Some(reading.mean().si()),
                _ => None,
            }
        };
        let mut members: BTreeMap<String, (String, f64)> = BTreeMap::new();
        let without = [setting];
        for (a, b) in self.neighbours(&without) {
            if self.only_change(a, b, &item).is_none() {
                continue;
            }
            let group = format!("{}\u{0}{}", a.session(), a.configuration(&without));
            for pull in [a, b] {
                if let Some(setting) = value(pull) {
                    members.insert(pull.side.name.clone(), (group.clone(), setting));
                }
            }
        }
        self.looped(&members)
    }

    /// A loop of something that the logs carry, told by what they say: every pull of one configuration belongs to it.
    ///
    /// # Errors
    /// A figure that is not finite.
    pub(super) fn logged_loop(
        &self,
        logged: impl Fn(&Weighable) -> Option<f64>,
        without: &[&str],
    ) -> Result<Option<(Loop, Vec<String>)>, Failure> {
        let members = self.members(logged, without);
        self.looped(&members)
    }

    fn looped(
        &self,
        members: &BTreeMap<String, (String, f64)>,
    ) -> Result<Option<(Loop, Vec<String>)>, Failure> {
        let varied = self.varied(members);
        let found = Loop::of(&varied).map_err(|error| plain(error.into()))?;
        Ok(found.map(|found| (found, members.keys().cloned().collect())))
    }

    /// What a change from one value to another of something that varied from pull to pull (a temperature) brings, in
    /// per cent with half the width of its interval, and the pulls behind it.
    ///
    /// # Errors
    /// A figure that is not finite.
    pub(super) fn by_slope(
        &self,
        logged: impl Fn(&Weighable) -> Option<f64>,
        by: f64,
    ) -> Result<Option<(Percent, Vec<String>)>, Failure> {
        let members = self.members(logged, &[]);
        let slope = verdict::slope(&self.varied(&members)).map_err(|error| plain(error.into()))?;
        let Some(slope) = slope else { return Ok(None) };
        let Ok(interval) = slope.interval(LEVEL) else { return Ok(None) };
        let percent = (slope.value * by, interval.half_width() * by.abs());
        Ok(Some((percent, members.into_keys().collect())))
    }

    fn members(
        &self,
        logged: impl Fn(&Weighable) -> Option<f64>,
        without: &[&str],
    ) -> BTreeMap<String, (String, f64)> {
        let of = |pull: &Weighable| {
            let group = format!("{}\u{0}{}", pull.session(), pull.configuration(without));
            Some((pull.side.name.clone(), (group, logged(pull)?)))
        };
        self.elsewhere.pulls.iter().filter_map(of).collect()
    }

    fn varied(&self, members: &BTreeMap<String, (String, f64)>) -> Vec<Varied> {
        self.elsewhere
            .pulls
            .iter()
            .filter_map(|pull| {
                let (group, setting) = members.get(&pull.side.name)?;
                let value = self.figure.value(pull).ok()?;
                Some(Varied { group: group.clone(), at: pull.at(), setting: *setting, value })
            })
            .collect()
    }

    /// Pairs of pulls of one session that are alike but for what is named, and unlike with it.
    fn neighbours(&self, without: &[&str]) -> Vec<(&Weighable, &Weighable)> {
        let mut groups: BTreeMap<(String, String), Vec<(&Weighable, String)>> = BTreeMap::new();
        for pull in &self.elsewhere.pulls {
            let alike = (pull.session(), pull.configuration(without));
            groups.entry(alike).or_default().push((pull, pull.configuration(&[])));
        }
        let mut pairs = Vec::new();
        for group in groups.values() {
            for (a, of_a) in group {
                pairs.extend(group.iter().filter(|(_, of_b)| of_a != of_b).map(|(b, _)| (*a, *b)));
            }
        }
        pairs
    }

    /// The change of an item between two pulls, where it is the only one and nothing that could differ is unknown.
    fn only_change(&self, a: &Weighable, b: &Weighable, item: &Item) -> Option<Change> {
        let checked = check::documented(&a.side, &b.side, self.kinds, self.wanted).ok()?;
        if !checked.open_questions().is_empty() {
            return None;
        }
        let mut only = None;
        for change in checked.changes().iter().filter(|change| change.is_hand_made()) {
            if change.item.name == item.name && change.item.group == item.group {
                only = Some(change.clone());
            } else if change.item.name != "fit-up" && change.item.role.as_ref() != Some(&item.name) {
                return None;
            }
        }
        only
    }
}

/// The estimate in per cent with half the width of its interval.
pub(super) fn halved(estimate: &Estimate) -> Option<(f64, f64)> {
    Some((estimate.value, estimate.interval(LEVEL).ok()?.half_width()))
}

/// Whether what a pull says of an item is what a side says of it.
fn alike(found: Option<&Shown>, side: &Shown) -> bool {
    let Some(found) = found else { return false };
    match (&found.value, &side.value) {
        (Some(Value::Quantity(a)), Some(Value::Quantity(b))) => {
            let (a, b) = (a.mean().si(), b.mean().si());
            (a - b).abs() <= SAME * a.abs().max(b.abs())
        }
        _ => found.text == side.text,
    }
}
