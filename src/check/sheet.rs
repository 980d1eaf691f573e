//! One side laid out as a build sheet: every role in order of assembly, with all that is known of its part.

use std::collections::BTreeSet;

use crate::check::Group;
use crate::check::Item;
use crate::check::Side;
use crate::check::Told;
use crate::check::Why;
use crate::check::rows::part_of;
use crate::check::rows::told_role;
use crate::check::side::RoleAnswer;
use crate::record::Demand;
use crate::record::Kinds;
use crate::record::PartState;

/// One item with what is told of it.
#[derive(Debug, Clone, PartialEq)]
pub struct SheetItem {
    /// The item.
    pub item: Item,
    /// What is told of it.
    pub told: Told,
    /// A comparison asks for it.
    pub asked: bool,
}

/// One role of a side.
#[derive(Debug, Clone, PartialEq)]
pub struct SheetRole {
    /// The role, and what fills it.
    pub role: SheetItem,
    /// The part, where one fills it.
    pub part: Option<PartState>,
    /// The part stands under an earlier role, which it fills as well.
    pub told_above: bool,
    /// The part's figures that are documented, or asked for and missing.
    pub figures: Vec<SheetItem>,
}

/// A side as a sheet.
#[derive(Debug, Clone, PartialEq)]
pub struct Sheet {
    /// The roles in order of assembly; those that nobody answered and nobody asks for are left out.
    pub roles: Vec<SheetRole>,
    /// The settings.
    pub settings: Vec<SheetItem>,
    /// The fits.
    pub fits: Vec<SheetItem>,
    /// The conditions of a pull.
    pub conditions: Vec<SheetItem>,
    /// How it was run.
    pub run: Vec<SheetItem>,
}

/// Lays a side out as a sheet.
pub fn sheet_of(side: &Side, kinds: &Kinds) -> Sheet {
    let laying = Laying { side, kinds };
    let (settings, fits) = (laying.settings(), laying.fits());
    Sheet { roles: laying.roles(), settings, fits, conditions: laying.conditions(), run: laying.run() }
}

/// What a sheet has of the configuration: its roles with their figures, and its settings.
pub fn configuration_of(side: &Side, kinds: &Kinds) -> (Vec<SheetRole>, Vec<SheetItem>) {
    let laying = Laying { side, kinds };
    (laying.roles(), laying.settings())
}

/// The conditions alone.
pub fn conditions_of(side: &Side, kinds: &Kinds) -> Vec<SheetItem> {
    Laying { side, kinds }.conditions()
}

/// What a sheet has of the pull alone: its conditions, and how it was run.
pub fn running_of(side: &Side, kinds: &Kinds) -> (Vec<SheetItem>, Vec<SheetItem>) {
    let laying = Laying { side, kinds };
    (laying.conditions(), laying.run())
}

/// A side that is laid out.
struct Laying<'a> {
    side: &'a Side,
    kinds: &'a Kinds,
}

impl Laying<'_> {
    fn asks(&self, demand: &Demand) -> bool {
        match demand {
            Demand::Always => true,
            Demand::WhenRole(role) => self.side.part_in(role, self.kinds).is_some(),
            Demand::Welcome => false,
        }
    }

    /// What nobody wrote and nobody asks for says nothing; what was written and no longer stands is shown.
    fn shows(&self, told: &Told, demand: &Demand) -> bool {
        match told.gap() {
            None => true,
            Some(Why::Absent | Why::NoBuild) => self.asks(demand),
            Some(_) => true,
        }
    }

    /// An item that is shown; none where it is not.
    fn item(&self, item: impl FnOnce() -> Item, told: Told, demand: &Demand) -> Option<SheetItem> {
        self.shows(&told, demand).then(|| SheetItem { item: item(), told, asked: self.asks(demand) })
    }

    fn roles(&self) -> Vec<SheetRole> {
        let (side, kinds) = (self.side, self.kinds);
        let mut roles = Vec::new();
        let mut seen: BTreeSet<PartState> = BTreeSet::new();
        for role in &kinds.roles {
            let answer = side.answer(&role.name, kinds);
            let told = told_role(side, &role.name, answer.as_ref());
            let own = || item(Group::Role, None, &role.name, &role.title);
            let Some(told) = self.item(own, told, &role.demand) else { continue };
            let part = part_of(answer.as_ref()).cloned();
            let told_above = matches!(answer, Some(RoleAnswer::Within(_)));
            let mut figures = Vec::new();
            if let Some(part) = part.as_ref().filter(|part| seen.insert((*part).clone()))
                && let Some(kind) = side.parts.get(&part.tag).and_then(|record| kinds.part(&record.kind))
            {
                figures.extend(kind.figures.iter().filter_map(|spec| {
                    let own = || item(Group::Figure, Some(&role.name), &spec.name, &spec.title);
                    self.item(own, side.figure(part, spec, kinds), &spec.demand)
                }));
            }
            roles.push(SheetRole { role: told, part, told_above, figures });
        }
        roles
    }

    fn settings(&self) -> Vec<SheetItem> {
        let settings = self.kinds.settings.iter().filter_map(|spec| {
            let own = || item(Group::Setting, spec.role.as_deref(), &spec.name, &spec.title);
            self.item(own, self.side.setting(spec, self.kinds), &spec.demand)
        });
        settings.collect()
    }

    fn fits(&self) -> Vec<SheetItem> {
        let (side, kinds) = (self.side, self.kinds);
        let fitted = kinds.fits.iter().filter(|fit| {
            let (a, b) = fit.roles();
            side.part_in(a, kinds).is_some() && side.part_in(b, kinds).is_some()
        });
        let fields = fitted.flat_map(|fit| fit.fields.iter().map(move |spec| (fit, spec)));
        let fits = fields.filter_map(|(fit, spec)| {
            let own = || item(Group::Fit, None, &format!("{}.{}", fit.pair, spec.name), &spec.title);
            self.item(own, side.fit(&fit.pair, spec, kinds), &spec.demand)
        });
        fits.collect()
    }

    /// None of a build, which was not run.
    fn conditions(&self) -> Vec<SheetItem> {
        let conditions = self.side.pull.iter().flat_map(|_| &self.kinds.conditions).filter_map(|spec| {
            let own = || item(Group::Condition, None, &spec.name, &spec.title);
            self.item(own, self.side.condition(spec, self.kinds), &spec.demand)
        });
        conditions.collect()
    }

    /// None of a build, which was not run.
    fn run(&self) -> Vec<SheetItem> {
        let run = self.side.pull.iter().flat_map(|_| &self.kinds.run).filter_map(|spec| {
            let own = || item(Group::Run, None, &spec.name, &spec.title);
            self.item(own, self.side.run(spec), &spec.demand)
        });
        run.collect()
    }
}

fn item(group: Group, role: Option<&str>, name: &str, title: &str) -> Item {
    Item { group, role: role.map(str::to_owned), name: name.to_owned(), title: title.to_owned() }
}
