//! Every item that two sides could differ in, told for both: what the check decides on.

use crate::check::Gap;
use crate::check::GapSide;
use crate::check::Group;
use crate::check::Item;
use crate::check::Shown;
use crate::check::Side;
use crate::check::Told;
use crate::check::Why;
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
use std::collections::BTreeSet;

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
    pub(super) common: usize,
    pub(super) common_gaps: Vec<Gap>,
}

impl<'a, 'k> Check<'a, 'k> {
    pub(super) fn roles(&mut self) {
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
                let without = if parts.0.is_none() { &base } else { &test };
                let without = without_part(without.as_ref());
                self.part_figures(&role.name, parts.0.as_ref(), parts.1.as_ref(), &without);
            }
        }
    }

    /// `without` is what the side that has no part says of all its figures.
    fn part_figures(
        &mut self,
        role: &str,
        base: Option<&PartState>,
        test: Option<&PartState>,
        without: &Shown,
    ) {
        match (base, test) {
            (Some(base), Some(test)) if base == test => self.same_part(role, base),
            (base, test) => {
                let names = self.figure_names(base, test);
                for (name, title) in names {
                    let item =
                        Item { group: Group::Figure, role: Some(role.to_owned()), name: name.clone(), title };
                    let (base_spec, test_spec) =
                        (self.spec(self.base, base, &name), self.spec(self.test, test, &name));
                    let (base_told, base_asks) = self.figure(self.base, base, base_spec, test_spec);
                    let (test_told, test_asks) = self.figure(self.test, test, test_spec, base_spec);
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
                        // Only one side has a part: its own figures are asked for on that side. Beside a part that
                        // nobody knows, those that are documented say nothing more than the part does.
                        (Some(_), None)
                            if base_asks && (base_told.gap().is_some() || !without.is_unknown()) =>
                        {
                            let test_told = Told::Known(without.clone());
                            self.put(Row { item, base: base_told, test: test_told, demanded: true });
                        }
                        (None, Some(_))
                            if test_asks && (test_told.gap().is_some() || !without.is_unknown()) =>
                        {
                            let base_told = Told::Known(without.clone());
                            self.put(Row { item, base: base_told, test: test_told, demanded: true });
                        }
                        _ => {}
                    }
                }
            }
        }
    }

    /// The same part in the same state: its fixed figures cannot differ; its drifting ones can.
    pub(super) fn same_part(&mut self, role: &str, part: &PartState) {
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

    fn spec(&self, side: &Side, part: Option<&PartState>, name: &str) -> Option<&'k FieldSpec> {
        self.kind_of(side, part?)?.figure(name)
    }

    /// What a part says of a figure, and whether a comparison asks its kind for it. Where its kind does not know the
    /// figure and the other side's does, an open kind may still say it; any other has no place for it.
    fn figure(
        &self,
        side: &Side,
        part: Option<&PartState>,
        own: Option<&FieldSpec>,
        other: Option<&FieldSpec>,
    ) -> (Told, bool) {
        let kind = part.and_then(|part| self.kind_of(side, part));
        match (part, own, other, kind) {
            (Some(part), Some(own), _, _) => (side.figure(part, own, self.kinds), self.demanded(&own.demand)),
            (Some(part), None, Some(other), Some(kind)) if kind.open => {
                (side.figure(part, other, self.kinds), false)
            }
            (Some(_), None, Some(other), Some(kind)) if self.demanded(&other.demand) => {
                let none = format!("no such figure of a {}", kind.title.to_lowercase());
                (Told::Known(Shown::said(none)), false)
            }
            _ => (Told::Gap(Why::Absent), false),
        }
    }

    fn kind_of(&self, side: &Side, part: &PartState) -> Option<&'k PartKind> {
        side.parts.get(&part.tag).and_then(|record| self.kinds.part(&record.kind))
    }

    pub(super) fn settings(&mut self) {
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

    pub(super) fn fits(&mut self) {
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

    /// Every demanded item of the base side by itself.
    pub(super) fn alone(&mut self) {
        self.roles_alone();
        let kinds = self.kinds;
        for spec in kinds.settings.iter().filter(|spec| self.demanded(&spec.demand)).collect::<Vec<_>>() {
            let told = self.base.setting(spec, kinds);
            let item = Item {
                group: Group::Setting,
                role: spec.role.clone(),
                name: spec.name.clone(),
                title: spec.title.clone(),
            };
            self.put(Row { item, base: told.clone(), test: told, demanded: true });
        }
        if self.base.pull.is_some() {
            self.conditions();
            self.run();
            self.correction();
        }
    }

    fn roles_alone(&mut self) {
        let kinds = self.kinds;
        let mut seen = BTreeSet::new();
        for role in &kinds.roles {
            let answer = self.base.answer(&role.name, kinds);
            if self.demanded(&role.demand) && !matches!(answer, Some(RoleAnswer::Within(_))) {
                let told = told_role(self.base, &role.name, answer.as_ref());
                let item = Item {
                    group: Group::Role,
                    role: None,
                    name: role.name.clone(),
                    title: role.title.clone(),
                };
                self.put(Row { item, base: told.clone(), test: told, demanded: true });
            }
            let Some(part) = part_of(answer.as_ref()).filter(|part| seen.insert((*part).clone())) else {
                continue;
            };
            let Some(kind) = self.kind_of(self.base, part) else {
                continue;
            };
            for spec in kind.figures.iter().filter(|spec| self.demanded(&spec.demand)).collect::<Vec<_>>() {
                let told = self.base.figure(part, spec, kinds);
                let item = Item {
                    group: Group::Figure,
                    role: Some(role.name.clone()),
                    name: spec.name.clone(),
                    title: spec.title.clone(),
                };
                self.put(Row { item, base: told.clone(), test: told, demanded: true });
            }
        }
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

    fn put(&mut self, row: Row) {
        self.rows.push(row);
    }
}

pub(super) fn part_of<'a>(answer: Option<&RoleAnswer<'a>>) -> Option<&'a PartState> {
    match answer? {
        RoleAnswer::Said(Answer::Part(part)) => Some(part),
        RoleAnswer::Within(part) => Some(part),
        _ => None,
    }
}

/// What the answer of a role that names no part says of the figures that a part would have there.
fn without_part(answer: Option<&RoleAnswer<'_>>) -> Shown {
    match answer {
        None => Shown::said("not said"),
        Some(RoleAnswer::Said(Answer::Unknown(because))) => Shown::unknown(because.clone()),
        Some(_) => Shown::said("none"),
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
