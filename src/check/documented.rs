//! The rule that refuses: whatever could differ between two sides must be documented on both.

use std::collections::BTreeSet;

use crate::check::Change;
use crate::check::Close;
use crate::check::Group;
use crate::check::Item;
use crate::check::NoBasis;
use crate::check::OneBasis;
use crate::check::Shown;
use crate::check::Side;
use crate::check::Told;
use crate::check::Wanted;
use crate::check::Why;
use crate::check::basis;
use crate::check::basis::Common;
use crate::check::changes;
use crate::check::close::close;
use crate::check::side::RoleAnswer;
use crate::record::Answer;
use crate::record::Correcting;
use crate::record::Course;
use crate::record::Demand;
use crate::record::FieldSpec;
use crate::record::Kinds;
use crate::record::PartKind;
use crate::record::PartState;

/// On which side an item is not documented.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum GapSide {
    /// On the base side.
    Base,
    /// On the test side.
    Test,
    /// On both.
    Both,
}

/// One item that could differ and is not documented.
#[derive(Debug, Clone, PartialEq)]
pub struct Gap {
    /// The item.
    pub item: Item,
    /// Where it is missing.
    pub side: GapSide,
    /// Why it counts as missing; the base side's reason where both lack it.
    pub why: Why,
    /// What the other side says, where it says something.
    pub other: Option<Shown>,
    /// The command that closes it, one for each side that lacks it.
    pub close: Vec<Close>,
}

/// Two sides that may not be compared.
#[derive(Debug, Clone, PartialEq)]
pub struct Refusal {
    /// What is not documented, the roles that differ first.
    pub gaps: Vec<Gap>,
    /// Why the two do not come to one correction, where they do not.
    pub unlike_corrections: Option<NoBasis>,
}

/// Something documented as unknown: the comparison runs and says so first.
#[derive(Debug, Clone, PartialEq)]
pub struct OpenQuestion {
    /// The item.
    pub item: Item,
    /// On which side nobody knows.
    pub side: GapSide,
    /// Why nobody knows.
    pub because: String,
    /// What the other side says, where it knows.
    pub other: Option<Shown>,
}

/// Two sides that passed the documented-check. Only this room makes one; whatever prints a two-sided figure asks for
/// it.
#[derive(Debug, Clone)]
pub struct Checked<'a> {
    base: &'a Side,
    test: &'a Side,
    changes: Vec<Change>,
    open: Vec<OpenQuestion>,
    common: usize,
    common_gaps: Vec<Gap>,
    weak: (usize, usize),
    soft: Vec<(Item, GapSide, Shown)>,
    basis: Option<OneBasis>,
    no_basis: Option<NoBasis>,
}

impl<'a> Checked<'a> {
    /// The base side.
    pub fn base(&self) -> &'a Side {
        self.base
    }

    /// The test side.
    pub fn test(&self) -> &'a Side {
        self.test
    }

    /// What differs, grouped and in order.
    pub fn changes(&self) -> &[Change] {
        &self.changes
    }

    /// What nobody knows.
    pub fn open_questions(&self) -> &[OpenQuestion] {
        &self.open
    }

    /// How many documented items the two share.
    pub fn common(&self) -> usize {
        self.common
    }

    /// Gaps of parts that are the same on both sides: they cannot explain a difference.
    pub fn common_gaps(&self) -> &[Gap] {
        &self.common_gaps
    }

    /// How many of the items that could differ are only assumed or unknown, and how many there are.
    pub fn weak_share(&self) -> (usize, usize) {
        self.weak
    }

    /// What could differ and is only listed, assumed or calculated.
    pub fn soft(&self) -> &[(Item, GapSide, Shown)] {
        &self.soft
    }

    /// The basis that torque and power of both were brought to; none where both stay as their files carry them.
    pub fn basis(&self) -> Option<&OneBasis> {
        self.basis.as_ref()
    }

    /// Why two alike corrections were not brought to the one that the book asks for.
    pub fn no_basis(&self) -> Option<&NoBasis> {
        self.no_basis.as_ref()
    }
}

/// Compares two sides, or refuses. Torque and power of two pulls are brought to what is wanted.
///
/// # Errors
/// The refusal with every gap; nothing can overrule it but documenting the field, if only as unknown with a reason.
pub fn documented<'a>(
    base: &'a Side,
    test: &'a Side,
    kinds: &Kinds,
    wanted: Option<Wanted>,
) -> Result<Checked<'a>, Refusal> {
    let mut check = Check::new(base, test, kinds);
    check.roles();
    check.settings();
    check.fits();
    if base.pull.is_some() && test.pull.is_some() {
        check.conditions();
        check.run();
        check.correction();
    }
    check.finish(wanted)
}

/// One item that could differ, on both sides.
pub(super) struct Row {
    pub(super) item: Item,
    pub(super) base: Told,
    pub(super) test: Told,
    pub(super) demanded: bool,
}

pub(super) struct Check<'a, 'k> {
    pub(super) base: &'a Side,
    pub(super) test: &'a Side,
    pub(super) kinds: &'k Kinds,
    pub(super) rows: Vec<Row>,
    common: usize,
    common_gaps: Vec<Gap>,
}

impl<'a, 'k> Check<'a, 'k> {
    pub(super) fn new(base: &'a Side, test: &'a Side, kinds: &'k Kinds) -> Self {
        Self { base, test, kinds, rows: Vec::new(), common: 0, common_gaps: Vec::new() }
    }

    fn finish(mut self, wanted: Option<Wanted>) -> Result<Checked<'a>, Refusal> {
        let differing = self.differing_roles();
        let same_build = self.same_build();
        let mut gaps: Vec<Gap> = Vec::new();
        for row in self.rows.iter().filter(|row| row.demanded) {
            let side = match (&row.base, &row.test) {
                (Told::Gap(_), Told::Gap(_)) => GapSide::Both,
                (Told::Gap(_), Told::Known(_)) => GapSide::Base,
                (Told::Known(_), Told::Gap(_)) => GapSide::Test,
                (Told::Known(_), Told::Known(_)) => continue,
            };
            let sides = [(self.base, row.base.gap()), (self.test, row.test.gap())];
            let close: Vec<Close> = sides
                .iter()
                .filter_map(|(side, why)| why.map(|why| close(side, &row.item, why, same_build)))
                .collect();
            let Some(why) = row.base.gap().or(row.test.gap()) else {
                continue;
            };
            let other = row.base.known().or(row.test.known()).cloned();
            let mut close = close;
            close.dedup();
            gaps.push(Gap { item: row.item.clone(), side, why: why.clone(), other, close });
        }
        gaps.sort_by_key(|gap| self.rank(gap, &differing));
        let (basis, no_basis, unlike) = match self.common_basis(wanted) {
            Common::Alike(no_basis) => (None, no_basis, None),
            Common::Brought(basis) => (Some(*basis), None, None),
            Common::Unlike(unlike) => (None, None, Some(unlike)),
        };
        if !gaps.is_empty() || unlike.is_some() {
            return Err(Refusal { gaps, unlike_corrections: unlike });
        }
        let weak = self
            .rows
            .iter()
            .filter(|row| row.demanded)
            .filter(|row| weak(&row.base) || weak(&row.test))
            .count();
        let demanded = self.rows.iter().filter(|row| row.demanded).count();
        let open = self.open_questions();
        let soft = self.soft();
        let rows = std::mem::take(&mut self.rows);
        let (changes, equal) = changes::of(&self, rows);
        Ok(Checked {
            base: self.base,
            test: self.test,
            changes,
            open,
            common: self.common + equal,
            common_gaps: self.common_gaps,
            weak: (weak, demanded),
            soft,
            basis,
            no_basis,
        })
    }

    fn common_basis(&self, wanted: Option<Wanted>) -> Common {
        match (&self.base.pull, &self.test.pull) {
            (Some(_), Some(_)) => basis::common(self.base, self.test, self.kinds, wanted),
            _ => Common::Alike(None),
        }
    }

    /// Whether both sides stand on one build.
    fn same_build(&self) -> bool {
        let name = |side: &Side| side.build.as_ref().map(|build| build.name.clone());
        name(self.base).is_some() && name(self.base) == name(self.test)
    }

    /// The roles that the two sides fill differently, and their neighbours behind them.
    fn differing_roles(&self) -> Vec<String> {
        let differs = |row: &&Row| row.item.group == Group::Role && row.base != row.test;
        self.rows.iter().filter(differs).map(|row| row.item.name.clone()).collect()
    }

    fn rank(&self, gap: &Gap, differing: &[String]) -> (u8, Group, String) {
        let role = gap.item.role.as_deref().unwrap_or(&gap.item.name);
        let neighbour = differing
            .iter()
            .filter_map(|name| self.kinds.role(name))
            .any(|spec| spec.neighbours.iter().any(|next| next == role));
        let near = match gap.item.group {
            Group::Role | Group::Figure if differing.iter().any(|name| name == role) => 0,
            Group::Role | Group::Figure | Group::Fit if neighbour => 1,
            Group::Role | Group::Figure | Group::Fit => 2,
            Group::Setting => 3,
            _ => 4,
        };
        (near, gap.item.group, gap.item.path())
    }

    fn open_questions(&self) -> Vec<OpenQuestion> {
        let mut open = Vec::new();
        for row in &self.rows {
            let unknown =
                |told: &Told| told.known().filter(|shown| shown.is_unknown()).map(|shown| shown.text.clone());
            let (side, because) = match (unknown(&row.base), unknown(&row.test)) {
                (Some(because), Some(_)) => (GapSide::Both, because),
                (Some(because), None) => (GapSide::Base, because),
                (None, Some(because)) => (GapSide::Test, because),
                (None, None) => continue,
            };
            let other = [&row.base, &row.test]
                .into_iter()
                .filter_map(Told::known)
                .find(|shown| !shown.is_unknown())
                .cloned();
            open.push(OpenQuestion { item: row.item.clone(), side, because, other });
        }
        open
    }

    fn soft(&self) -> Vec<(Item, GapSide, Shown)> {
        let mut soft = Vec::new();
        for row in &self.rows {
            let only = |told: &Told| {
                told.known().filter(|shown| matches!(shown.how, "listed" | "assumed" | "calculated")).cloned()
            };
            match (only(&row.base), only(&row.test)) {
                (Some(a), Some(b)) if (a.how, &a.text, &a.source) == (b.how, &b.text, &b.source) => {
                    soft.push((row.item.clone(), GapSide::Both, a))
                }
                (a, b) => {
                    soft.extend(a.map(|shown| (row.item.clone(), GapSide::Base, shown)));
                    soft.extend(b.map(|shown| (row.item.clone(), GapSide::Test, shown)));
                }
            }
        }
        soft
    }

    fn roles(&mut self) {
        let mut seen: BTreeSet<(Option<PartState>, Option<PartState>)> = BTreeSet::new();
        let kinds = self.kinds;
        for role in &kinds.roles {
            let (base, test) = (self.base.answer(&role.name, kinds), self.test.answer(&role.name, kinds));
            let filled = |answer: &Option<RoleAnswer<'_>>| {
                matches!(answer, Some(RoleAnswer::Said(Answer::Part(_)) | RoleAnswer::Within(_)))
            };
            // A role that one side fills must be answered by the other, whether or not every comparison asks for it.
            let demanded = self.demanded(&role.demand) || filled(&base) || filled(&test);
            if base.is_none() && test.is_none() && !demanded {
                continue;
            }
            let item =
                Item { group: Group::Role, role: None, name: role.name.clone(), title: role.title.clone() };
            let within = |answer: &Option<RoleAnswer<'_>>| matches!(answer, Some(RoleAnswer::Within(_)));
            if !(within(&base) && within(&test)) {
                let row = Row {
                    item,
                    base: told_role(self.base, &role.name, base.as_ref()),
                    test: told_role(self.test, &role.name, test.as_ref()),
                    demanded,
                };
                self.put(row);
            }
            let parts = (part_of(base.as_ref()).cloned(), part_of(test.as_ref()).cloned());
            if seen.insert(parts.clone()) {
                self.part_figures(&role.name, parts.0.as_ref(), parts.1.as_ref());
            }
        }
    }

    fn part_figures(&mut self, role: &str, base: Option<&PartState>, test: Option<&PartState>) {
        match (base, test) {
            (Some(base), Some(test)) if base == test => self.same_part(role, base),
            (base, test) => {
                let names = self.figure_names(base, test);
                for (name, title) in names {
                    let item =
                        Item { group: Group::Figure, role: Some(role.to_owned()), name: name.clone(), title };
                    let (base_told, base_asks) = self.figure(self.base, base, &name);
                    let (test_told, test_asks) = self.figure(self.test, test, &name);
                    let silent = |told: &Told| told.gap() == Some(&Why::Absent);
                    if !(base_asks || test_asks)
                        && (silent(&base_told) || silent(&test_told))
                        && base.is_some()
                        && test.is_some()
                    {
                        // A welcome figure that only one side has says nothing about a difference.
                        continue;
                    }
                    match (base, test) {
                        (Some(_), Some(_)) => self.put(Row {
                            item,
                            base: base_told,
                            test: test_told,
                            demanded: base_asks || test_asks,
                        }),
                        // Only one side has a part: its own figures are asked for on that side.
                        (Some(_), None) if base_asks => {
                            let test_told = Told::Known(Shown::said("none"));
                            self.put(Row { item, base: base_told, test: test_told, demanded: true });
                        }
                        (None, Some(_)) if test_asks => {
                            let base_told = Told::Known(Shown::said("none"));
                            self.put(Row { item, base: base_told, test: test_told, demanded: true });
                        }
                        _ => {}
                    }
                }
            }
        }
    }

    /// The same part in the same state: its fixed figures cannot differ; its drifting ones can.
    fn same_part(&mut self, role: &str, part: &PartState) {
        let same_build = self.same_build();
        let Some(kind) = self.kind_of(self.base, part) else {
            return;
        };
        let same_instance = !kind.by_instance || self.base.same_fit_up(self.test) || {
            let record = self.base.parts.get(&part.tag);
            record.is_some_and(|record| record.batch.is_some() || record.serial.is_some())
        };
        if !same_instance {
            let item = Item {
                group: Group::Role,
                role: Some(role.to_owned()),
                name: format!("{role}.batch"),
                title: format!("batch of the {}", kind.title.to_lowercase()),
            };
            self.put(Row {
                item,
                base: Told::Gap(Why::NoBatch),
                test: Told::Gap(Why::NoBatch),
                demanded: true,
            });
        }
        for spec in &kind.figures {
            let demanded = self.demanded(&spec.demand);
            let (base, test) =
                (self.base.figure(part, spec, self.kinds), self.test.figure(part, spec, self.kinds));
            let item = Item {
                group: Group::Figure,
                role: Some(role.to_owned()),
                name: spec.name.clone(),
                title: spec.title.clone(),
            };
            if spec.course == Course::Drifting {
                if demanded || (base.known().is_some() && test.known().is_some()) {
                    self.put(Row { item, base, test, demanded });
                }
            } else if let Told::Gap(why) = base {
                if demanded {
                    let close = vec![close(self.base, &item, &why, same_build)];
                    self.common_gaps.push(Gap { item, side: GapSide::Both, why, other: None, close });
                }
            } else {
                self.common += 1;
            }
        }
    }

    fn figure_names(&self, base: Option<&PartState>, test: Option<&PartState>) -> Vec<(String, String)> {
        let mut names: Vec<(String, String)> = Vec::new();
        let sides = [(self.base, base), (self.test, test)];
        for kind in sides.into_iter().filter_map(|(side, part)| self.kind_of(side, part?)) {
            for spec in &kind.figures {
                if !names.iter().any(|(name, _)| *name == spec.name) {
                    names.push((spec.name.clone(), spec.title.clone()));
                }
            }
        }
        names
    }

    fn figure(&self, side: &Side, part: Option<&PartState>, name: &str) -> (Told, bool) {
        let spec = part.and_then(|part| Some((part, self.kind_of(side, part)?.figure(name)?)));
        match spec {
            Some((part, spec)) => (side.figure(part, spec, self.kinds), self.demanded(&spec.demand)),
            None => (Told::Gap(Why::Absent), false),
        }
    }

    pub(super) fn kind_of(&self, side: &Side, part: &PartState) -> Option<&'k PartKind> {
        side.parts.get(&part.tag).and_then(|record| self.kinds.part(&record.kind))
    }

    fn settings(&mut self) {
        let kinds = self.kinds;
        for spec in &kinds.settings {
            let (base, test) = (self.base.setting(spec, kinds), self.test.setting(spec, kinds));
            let from_build = |side: &Side| {
                side.effective.settings.get(&spec.name).is_none_or(|held| held.origin.is_build())
            };
            let common = self.base.same_fit_up(self.test) && from_build(self.base) && from_build(self.test);
            let item = Item {
                group: Group::Setting,
                role: spec.role.clone(),
                name: spec.name.clone(),
                title: spec.title.clone(),
            };
            self.shared_or_row(item, spec, base, test, common);
        }
    }

    fn fits(&mut self) {
        let kinds = self.kinds;
        for fit in &kinds.fits {
            let (a, b) = fit.roles();
            let both = |side: &Side| side.part_in(a, kinds).is_some() && side.part_in(b, kinds).is_some();
            if !both(self.base) || !both(self.test) {
                continue;
            }
            for spec in &fit.fields {
                let (base, test) =
                    (self.base.fit(&fit.pair, spec, kinds), self.test.fit(&fit.pair, spec, kinds));
                let key = (fit.pair.clone(), spec.name.clone());
                let from_build =
                    |side: &Side| side.effective.fits.get(&key).is_none_or(|held| held.origin.is_build());
                let common =
                    self.base.same_fit_up(self.test) && from_build(self.base) && from_build(self.test);
                let item = Item {
                    group: Group::Fit,
                    role: Some(a.to_owned()),
                    name: format!("{}.{}", fit.pair, spec.name),
                    title: format!("{} ({a} to {b})", spec.title),
                };
                self.shared_or_row(item, spec, base, test, common);
            }
        }
    }

    fn shared_or_row(&mut self, item: Item, spec: &FieldSpec, base: Told, test: Told, common: bool) {
        let same_build = self.same_build();
        let demanded = self.demanded(&spec.demand);
        if common && spec.course == Course::Fixed {
            match base {
                Told::Gap(why) if demanded => {
                    let close = vec![close(self.base, &item, &why, same_build)];
                    self.common_gaps.push(Gap { item, side: GapSide::Both, why, other: None, close });
                }
                Told::Gap(_) => {}
                Told::Known(_) => self.common += 1,
            }
            return;
        }
        let said = |told: &Told| told.gap() != Some(&Why::Absent) && told.gap() != Some(&Why::NoBuild);
        // What work or a refit voided could differ; what nobody ever wrote down and nobody asks for says nothing.
        if demanded || (base.known().is_some() && test.known().is_some()) {
            self.put(Row { item, base, test, demanded });
        } else if said(&base) && said(&test) {
            self.put(Row { item, base, test, demanded: false });
        }
    }

    pub(super) fn conditions(&mut self) {
        let kinds = self.kinds;
        for spec in &kinds.conditions {
            let (base, test) = (self.base.condition(spec, kinds), self.test.condition(spec, kinds));
            let demanded = self.demanded(&spec.demand);
            if demanded || (base.known().is_some() && test.known().is_some()) {
                let item = Item {
                    group: Group::Condition,
                    role: None,
                    name: spec.name.clone(),
                    title: spec.title.clone(),
                };
                self.put(Row { item, base, test, demanded });
            }
        }
    }

    pub(super) fn run(&mut self) {
        let kinds = self.kinds;
        for spec in &kinds.run {
            let (base, test) = (self.base.run(spec), self.test.run(spec));
            let demanded = self.demanded(&spec.demand);
            if demanded || (base.known().is_some() && test.known().is_some()) {
                let item = Item {
                    group: Group::Run,
                    role: None,
                    name: spec.name.clone(),
                    title: spec.title.clone(),
                };
                self.put(Row { item, base, test, demanded });
            }
        }
    }

    pub(super) fn correction(&mut self) {
        let told = |side: &Side| match &side.effective.correction {
            Some(Correcting::Unknown(because)) => Told::Known(Shown::unknown(because.clone())),
            Some(correction) => Told::Known(Shown::said(correction.to_string())),
            None => Told::Gap(Why::Absent),
        };
        let item = Item {
            group: Group::Correction,
            role: None,
            name: "correction".to_owned(),
            title: "correction in the file".to_owned(),
        };
        let row = Row { item, base: told(self.base), test: told(self.test), demanded: true };
        self.put(row);
    }

    pub(super) fn demanded(&self, demand: &Demand) -> bool {
        match demand {
            Demand::Always => true,
            Demand::WhenRole(role) => {
                self.base.part_in(role, self.kinds).is_some() || self.test.part_in(role, self.kinds).is_some()
            }
            Demand::Welcome => false,
        }
    }

    pub(super) fn put(&mut self, row: Row) {
        self.rows.push(row);
    }
}

fn weak(told: &Told) -> bool {
    told.known().is_some_and(|shown| matches!(shown.how, "unknown" | "assumed"))
}

pub(super) fn part_of<'a>(answer: Option<&RoleAnswer<'a>>) -> Option<&'a PartState> {
    match answer? {
        RoleAnswer::Said(Answer::Part(part)) => Some(part),
        RoleAnswer::Within(part) => Some(part),
        _ => None,
    }
}

pub(super) fn told_role(side: &Side, role: &str, answer: Option<&RoleAnswer<'_>>) -> Told {
    let corrected =
        side.effective.roles.get(role).and_then(|held| held.origin.correction()).map(str::to_owned);
    match answer {
        None => Told::Gap(if side.build.is_none() { Why::NoBuild } else { Why::Absent }),
        Some(RoleAnswer::Never) => Told::Known(Shown::said("none")),
        Some(RoleAnswer::Within(part)) => Told::Known(Shown::said(part.to_string())),
        Some(RoleAnswer::Said(Answer::Unknown(because))) => {
            Told::Known(Shown { corrected, ..Shown::unknown(because.clone()) })
        }
        Some(RoleAnswer::Said(answer)) => Told::Known(Shown { corrected, ..Shown::said(answer.to_string()) }),
    }
}
