//! The rule that refuses: whatever could differ between two sides must be documented on both.

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
use crate::check::rows::Check;
use crate::check::rows::Row;
use crate::record::Kinds;

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
    let mut check = Check { base, test, kinds, rows: Vec::new(), common: 0, common_gaps: Vec::new() };
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

/// What is not documented on one side alone, whatever it is compared with: every demanded item.
pub fn gaps_of(side: &Side, kinds: &Kinds) -> Vec<Gap> {
    let mut gaps = Vec::new();
    let mut check =
        Check { base: side, test: side, kinds, rows: Vec::new(), common: 0, common_gaps: Vec::new() };
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
    let mut check =
        Check { base: side, test: side, kinds, rows: Vec::new(), common: 0, common_gaps: Vec::new() };
    check.alone();
    check
        .rows
        .iter()
        .filter_map(|row| row.base.known().map(|shown| (row, shown)))
        .filter(|(_, shown)| matches!(shown.how, "listed" | "assumed" | "calculated" | "unknown"))
        .map(|(row, shown)| format!("{}: {} {}", row.item.path(), shown.how, shown.text))
        .collect()
}

impl<'a, 'k> Check<'a, 'k> {
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
    pub(super) fn same_build(&self) -> bool {
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
}

fn weak(told: &Told) -> bool {
    told.known().is_some_and(|shown| matches!(shown.how, "unknown" | "assumed"))
}
