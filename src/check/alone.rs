//! One side by itself: what it lacks and what it knows only second-hand, whatever it is compared with.

use std::collections::BTreeSet;

use crate::check::Gap;
use crate::check::GapSide;
use crate::check::Group;
use crate::check::Item;
use crate::check::Side;
use crate::check::Told;
use crate::check::close::close;
use crate::check::documented::Check;
use crate::check::documented::Row;
use crate::check::documented::part_of;
use crate::check::documented::told_role;
use crate::check::side::RoleAnswer;
use crate::record::Kinds;

/// What is not documented on one side alone, whatever it is compared with: every demanded item.
pub fn gaps_of(side: &Side, kinds: &Kinds) -> Vec<Gap> {
    let mut gaps = Vec::new();
    let mut check = Check::new(side, side, kinds);
    check.alone();
    for row in check.rows {
        if let Told::Gap(why) = row.base {
            let close = vec![close(side, &row.item, &why, false)];
            gaps.push(Gap { item: row.item, side: GapSide::Base, why, other: None, close });
        }
    }
    gaps
}

/// What one side knows only as listed, assumed, calculated or unknown among what comparisons ask for, a line each.
pub fn soft_of(side: &Side, kinds: &Kinds) -> Vec<String> {
    let mut check = Check::new(side, side, kinds);
    check.alone();
    check
        .rows
        .iter()
        .filter_map(|row| row.base.known().map(|shown| (row, shown)))
        .filter(|(_, shown)| matches!(shown.how, "listed" | "assumed" | "calculated" | "unknown"))
        .map(|(row, shown)| format!("{}: {} {}", row.item.path(), shown.how, shown.text))
        .collect()
}

impl Check<'_, '_> {
    /// Every demanded item of the base side by itself.
    fn alone(&mut self) {
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
}
