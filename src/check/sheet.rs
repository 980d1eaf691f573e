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
    let asked = |demand: &Demand| match demand {
        Demand::Always => true,
        Demand::WhenRole(role) => side.part_in(role, kinds).is_some(),
        Demand::Welcome => false,
    };
    // What nobody wrote and nobody asks for says nothing; what was written and no longer stands is shown.
    let shown = |told: &Told, demand: &Demand| match told.gap() {
        None => true,
        Some(Why::Absent | Why::NoBuild) => asked(demand),
        Some(_) => true,
    };
    let item = |group: Group, role: Option<&str>, name: &str, title: &str| Item {
        group,
        role: role.map(str::to_owned),
        name: name.to_owned(),
        title: title.to_owned(),
    };
    let mut roles = Vec::new();
    let mut seen: BTreeSet<PartState> = BTreeSet::new();
    for role in &kinds.roles {
        let answer = side.answer(&role.name, kinds);
        let told = told_role(side, &role.name, answer.as_ref());
        if !shown(&told, &role.demand) {
            continue;
        }
        let part = part_of(answer.as_ref()).cloned();
        let told_above = matches!(answer, Some(RoleAnswer::Within(_)));
        let mut figures = Vec::new();
        if let Some(part) = part.as_ref().filter(|part| seen.insert((*part).clone()))
            && let Some(kind) = side.parts.get(&part.tag).and_then(|record| kinds.part(&record.kind))
        {
            for spec in &kind.figures {
                let told = side.figure(part, spec, kinds);
                if shown(&told, &spec.demand) {
                    let item = item(Group::Figure, Some(&role.name), &spec.name, &spec.title);
                    figures.push(SheetItem { item, told, asked: asked(&spec.demand) });
                }
            }
        }
        let asked = asked(&role.demand);
        let role = SheetItem { item: item(Group::Role, None, &role.name, &role.title), told, asked };
        roles.push(SheetRole { role, part, told_above, figures });
    }
    let settings = kinds
        .settings
        .iter()
        .map(|spec| (spec, side.setting(spec, kinds)))
        .filter(|(spec, told)| shown(told, &spec.demand))
        .map(|(spec, told)| SheetItem {
            item: item(Group::Setting, spec.role.as_deref(), &spec.name, &spec.title),
            told,
            asked: asked(&spec.demand),
        })
        .collect();
    let fits = kinds
        .fits
        .iter()
        .filter(|fit| {
            let (a, b) = fit.roles();
            side.part_in(a, kinds).is_some() && side.part_in(b, kinds).is_some()
        })
        .flat_map(|fit| fit.fields.iter().map(move |spec| (fit, spec)))
        .map(|(fit, spec)| (fit, spec, side.fit(&fit.pair, spec, kinds)))
        .filter(|(_, spec, told)| shown(told, &spec.demand))
        .map(|(fit, spec, told)| SheetItem {
            item: item(Group::Fit, None, &format!("{}.{}", fit.pair, spec.name), &spec.title),
            told,
            asked: asked(&spec.demand),
        })
        .collect();
    let mut sheet = Sheet { roles, settings, fits, conditions: Vec::new(), run: Vec::new() };
    if side.pull.is_some() {
        let conditions = kinds.conditions.iter().map(|spec| (spec, side.condition(spec, kinds)));
        sheet.conditions = conditions
            .filter(|(spec, told)| shown(told, &spec.demand))
            .map(|(spec, told)| SheetItem {
                item: item(Group::Condition, None, &spec.name, &spec.title),
                told,
                asked: asked(&spec.demand),
            })
            .collect();
        let run = kinds.run.iter().map(|spec| (spec, side.run(spec)));
        sheet.run = run
            .filter(|(spec, told)| shown(told, &spec.demand))
            .map(|(spec, told)| SheetItem {
                item: item(Group::Run, None, &spec.name, &spec.title),
                told,
                asked: asked(&spec.demand),
            })
            .collect();
    }
    sheet
}
