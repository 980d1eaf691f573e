//! What else differs between two sides, each with an estimate or named as not estimated; and what nobody knows.

use std::collections::BTreeMap;

use crate::answer::BudgetLine;
use crate::answer::UnknownLine;
use crate::check::Change;
use crate::check::GapSide;
use crate::check::Group;
use crate::check::Item;
use crate::check::Shown;
use crate::derive;
use crate::record::Value;
use crate::verdict::Basis;
use crate::verdict::Difference;
use crate::verdict::Reservation;
use crate::workflow::Failure;
use crate::workflow::Library;
use crate::workflow::inertia::Credit;
use crate::workflow::weigh_models;
use crate::workflow::weigh_models::Compression;
use crate::workflow::weigh_own::Own;
use crate::workflow::weigh_own::halved;
use crate::workflow::weigh_pairs::Pair;
use crate::workflow::weigh_pulls::Weighable;

/// What a weighing's budget is made from.
pub(super) struct Asked<'a> {
    pub(super) library: &'a Library,
    pub(super) pairs: &'a [Pair<'a>],
    /// Pulls of the base among `pulls`.
    pub(super) count: usize,
    pub(super) pulls: &'a [Weighable],
    pub(super) subject: Option<&'a str>,
    pub(super) inertia: &'a Credit,
    pub(super) basis: Option<derive::Basis>,
    pub(super) own: &'a Own<'a>,
    pub(super) difference: &'a Difference,
    /// The least gain in SI.
    pub(super) least: f64,
}

/// What else differs and what nobody knows.
pub(super) struct Budget {
    pub(super) lines: Vec<BudgetLine>,
    pub(super) unknowns: Vec<UnknownLine>,
    pub(super) reservations: Vec<Reservation>,
    /// The one measurement or set of pulls that would settle most, in words.
    pub(super) settles_most: String,
}

/// A difference between the sides, as any pair of pulls shows it.
struct Differing {
    item: Item,
    from: Shown,
    to: Shown,
}

/// The role under test: as said, else the only role that was changed.
pub(super) fn subject(pairs: &[Pair<'_>], count: usize, named: Option<&str>) -> Option<String> {
    if let Some(named) = named {
        return Some(named.to_owned());
    }
    let made = across(pairs, count).flat_map(|(_, _, checked)| checked.changes());
    let mut roles: Vec<&str> = made
        .filter(|change| change.is_hand_made() && change.item.group == Group::Role)
        .map(|change| change.item.name.as_str())
        .collect();
    roles.sort_unstable();
    roles.dedup();
    match roles[..] {
        [only] => Some(only.to_owned()),
        _ => None,
    }
}

/// The pairs that hold a pull of each side.
pub(super) fn across<'p, 'a>(pairs: &'p [Pair<'a>], count: usize) -> impl Iterator<Item = &'p Pair<'a>> {
    pairs.iter().filter(move |(i, j, _)| *i < count && *j >= count)
}

impl Asked<'_> {
    /// Estimates what else differs.
    ///
    /// # Errors
    /// A figure that is not finite, or the store's.
    pub(super) fn budget(&self) -> Result<Budget, Failure> {
        let compression = self.compression();
        let mut lines = Vec::new();
        let mut not_estimated = Vec::new();
        let mixture = weigh_models::mixture(self)?;
        for differing in self.differing() {
            let line = self.line(&differing, compression.as_ref(), mixture.is_some())?;
            if line.percent.is_none() && !line.of_subject {
                not_estimated.push(line.what.clone());
            }
            lines.push(line);
        }
        lines.extend(compression.iter().flat_map(|compression| compression.lines(self.subject)));
        lines.extend(self.displacement());
        lines.extend(weigh_models::conditions(self));
        let logged = weigh_models::temperatures(self)?.into_iter().chain(mixture);
        for line in logged.filter(|line| !weigh_models::is_alike(line)) {
            if line.percent.is_none() {
                not_estimated.push(line.what.clone());
            }
            lines.push(line);
        }
        for line in &mut lines {
            let base = self.difference.base_mean;
            line.amount = line.percent.map(|(value, half)| (value / 100.0 * base, half / 100.0 * base));
        }
        // What is larger comes first; what nobody can estimate goes before it all.
        lines.sort_by(|a, b| {
            let size =
                |line: &BudgetLine| line.percent.map_or(f64::INFINITY, |(value, half)| value.abs() + half);
            size(b).total_cmp(&size(a))
        });
        let unknowns = self.unknowns();
        let mut reservations = self.mixed();
        reservations.extend(not_estimated.into_iter().map(|what| Reservation::NotEstimated { what }));
        reservations.extend(
            unknowns
                .iter()
                .filter(|unknown| unknown.could_cancel)
                .map(|unknown| Reservation::Unknown { what: unknown.what.clone() }),
        );
        let settles_most = self.settles_most(&lines, &unknowns, compression.as_ref());
        Ok(Budget { lines, unknowns, reservations, settles_most })
    }

    fn is_own(&self, item: &Item) -> bool {
        self.subject.is_some_and(|role| item.name == *role || item.role.as_deref() == Some(role))
    }

    /// A fit-up is the unit of the weighing, not something else that changed; sweep rates may be accounted for.
    fn is_aside(&self, item: &Item) -> bool {
        item.name == "fit-up" || self.is_own(item)
    }

    /// Everything that a hand changed between the sides, the part under test apart; and another cell.
    fn differing(&self) -> Vec<Differing> {
        let mut found: BTreeMap<String, Differing> = BTreeMap::new();
        for (_, _, checked) in across(self.pairs, self.count) {
            let counts = |change: &&Change| {
                (change.is_hand_made() || change.item.name == "cell") && !self.is_aside(&change.item)
            };
            for change in checked.changes().iter().filter(counts) {
                let said = |shown: &Option<Shown>| shown.clone().unwrap_or_else(|| Shown::said("nothing"));
                found.entry(change.item.path()).or_insert_with(|| Differing {
                    item: change.item.clone(),
                    from: said(&change.base),
                    to: said(&change.test),
                });
            }
        }
        found.into_values().collect()
    }

    fn line(
        &self,
        differing: &Differing,
        compression: Option<&Compression>,
        mixture_is_logged: bool,
    ) -> Result<BudgetLine, Failure> {
        let item = &differing.item;
        let title = item.title.to_lowercase();
        let what = format!("{title}: {} to {}", differing.from.text, differing.to.text);
        if let Some(found) = self.own.change(item, &differing.from, &differing.to)? {
            let refits = if found.with_refits { "" } else { ", refitting not in it" };
            let (without, with) = &found.pulls;
            let source = format!(
                "this book's own pulls, alike in all else: {} against {}{refits}",
                without.join(", "),
                with.join(", ")
            );
            let mut line = BudgetLine::estimated(what, "own pulls", found.percent, source);
            line.pulls = Some(found.pulls);
            return Ok(line);
        }
        let means = self.library.kinds().setting(&item.name).and_then(|spec| spec.means.as_deref());
        if item.group == Group::Setting
            && let (Some(from), Some(to)) = (number(&differing.from), number(&differing.to))
            && let Some((found, pulls)) = self.own.setting_loop(&item.name)?
            && let Some(percent) = found.effect(from, to).ok().as_ref().and_then(halved)
        {
            let beyond = [from, to].iter().any(|x| *x < found.range.0 || *x > found.range.1);
            let source = format!(
                "a loop of {} pulls in this book with nothing else changed{}: {}",
                found.pulls,
                if beyond { ", run on beyond what it covers" } else { "" },
                pulls.join(", ")
            );
            return Ok(BudgetLine::estimated(what, "own pulls", percent, source));
        }
        if self.inertia.accounts_for(&item.name) {
            let source =
                format!("inertia torque: {}; what is not known of it is in the interval", self.inertia.says);
            return Ok(BudgetLine::estimated(what, "model", (0.0, 0.0), source));
        }
        if mixture_is_logged && means.is_some_and(|means| weigh_models::SETS_THE_MIXTURE.contains(&means)) {
            let source = "told by what it does to the mixture, which the logs carry".to_owned();
            return Ok(BudgetLine::estimated(what, "model", (0.0, 0.0), source));
        }
        if item.name == "head-gasket"
            && let Some(compression) = compression
        {
            let percent = compression.by_role(&item.name);
            let source = "told by what it does to compression, which is given apart; a gasket that seals does nothing \
                          else (common practice, no source)"
                .to_owned();
            return Ok(BudgetLine::estimated(what, "model", percent, source));
        }
        let settled_by = match item.group {
            Group::Role | Group::Setting => format!(
                "pulls with {title} {} and {} by turns and nothing else changed would settle it",
                differing.from.text, differing.to.text
            ),
            Group::Run if item.name == "rate" => {
                format!("{}; pulls at one rate would settle it", self.inertia.says)
            }
            Group::Run if item.name == "cell" => "both sides in one cell would settle it".to_owned(),
            _ => format!("pulls with only {title} changed would settle it"),
        };
        Ok(BudgetLine::not_estimated(what, settled_by))
    }

    fn compression(&self) -> Option<Compression> {
        let (_, _, checked) = across(self.pairs, self.count).next()?;
        Compression::of(checked, self.library.kinds())
    }

    fn displacement(&self) -> Option<BudgetLine> {
        let (_, _, checked) = across(self.pairs, self.count).next()?;
        weigh_models::displacement(checked, self.library.kinds())
    }

    /// What nobody knows, and whether a plausible value could cancel the gain.
    fn unknowns(&self) -> Vec<UnknownLine> {
        let mut found: BTreeMap<String, UnknownLine> = BTreeMap::new();
        let (_, lower, _) = self.difference.percent();
        let least = 100.0 * self.least / self.difference.base_mean;
        for (_, _, checked) in across(self.pairs, self.count) {
            for open in checked.open_questions() {
                if found.contains_key(&open.item.path()) {
                    continue;
                }
                let percent = weigh_models::compression_of_unknown(checked, open, self.library.kinds());
                // A gain that is not told from none has nothing to cancel.
                let could_cancel = percent.is_none_or(|(_, most)| lower - most.max(0.0) < least);
                let line = UnknownLine {
                    what: open.item.title.to_lowercase(),
                    side: match open.side {
                        GapSide::Base => "base",
                        GapSide::Test => "test",
                        _ => "both",
                    },
                    percent,
                    could_cancel,
                    because: open.because.clone(),
                };
                found.insert(open.item.path(), line);
            }
        }
        found.into_values().collect()
    }

    /// Sides whose pulls differ among themselves.
    fn mixed(&self) -> Vec<Reservation> {
        let mut found = Vec::new();
        for (i, j, checked) in self.pairs {
            let side = match (*i < self.count, *j < self.count) {
                (true, true) => "base",
                (false, false) => "test",
                _ => continue,
            };
            for change in checked.changes().iter().filter(|change| change.is_hand_made()) {
                if change.item.name != "fit-up" && !self.inertia.accounts_for(&change.item.name) {
                    found.push(Reservation::MixedSide { side, what: change.item.title.to_lowercase() });
                }
            }
        }
        found
    }

    /// Unknowns first, then what is not estimated, then the widest estimate, then the noise itself.
    fn settles_most(
        &self,
        lines: &[BudgetLine],
        unknowns: &[UnknownLine],
        compression: Option<&Compression>,
    ) -> String {
        let width =
            |unknown: &UnknownLine| unknown.percent.map_or(f64::INFINITY, |(least, most)| most - least);
        if let Some(worst) = unknowns
            .iter()
            .filter(|unknown| unknown.could_cancel)
            .max_by(|a, b| width(a).total_cmp(&width(b)))
        {
            let sides = if worst.side == "both" { "both sides" } else { worst.side };
            return format!("measure {} of {sides}", worst.what);
        }
        if let Some(line) = lines.iter().find(|line| line.percent.is_none() && !line.of_subject) {
            return line.source.clone();
        }
        let (_, lower, upper) = self.difference.percent();
        let noise = (upper - lower) / 2.0;
        let widest =
            lines.iter().filter_map(|line| Some((line, line.percent?.1))).max_by(|a, b| a.1.total_cmp(&b.1));
        if let Some((line, _)) = widest.filter(|(_, half)| *half > noise) {
            let input =
                compression.filter(|_| line.what.starts_with("compression")).and_then(Compression::worst);
            return match input {
                Some(input) => format!("measure {input}, on which the estimate for compression hangs most"),
                None => format!("more pulls that isolate {}", line.what),
            };
        }
        match self.difference.basis {
            Basis::Refits | Basis::RefitsUnequal => {
                "another refit of both sides: refitting is the unit, and its scatter rests on few"
            }
            Basis::TheseAssemblies => "refit one side and pull it again: nobody knows what refitting does",
            _ => "more returns from one side to the other in this fit-up",
        }
        .to_owned()
    }
}

fn number(shown: &Shown) -> Option<f64> {
    match &shown.value {
        Some(Value::Quantity(reading)) => Some(reading.mean().si()),
        _ => None,
    }
}
