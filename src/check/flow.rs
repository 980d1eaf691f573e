//! The documented-check of two flow sheets: pressure, fixture, entry, pipe and valve, on both or not at all.

use crate::check::Close;
use crate::check::Gap;
use crate::check::GapSide;
use crate::check::Group;
use crate::check::Item;
use crate::check::SheetItem;
use crate::check::Shown;
use crate::check::Told;
use crate::check::Why;
use crate::check::told::with_instrument;
use crate::record::Course;
use crate::record::Demand;
use crate::record::FieldSpec;
use crate::record::FlowSheet;
use crate::record::Kinds;
use crate::record::Part;
use crate::record::PortSide;
use crate::record::Resolved;
use crate::record::Value;

/// The condition that says how wide the valve on the bench is.
const VALVE: &str = "valve-diameter";
/// The condition that says what stood behind an exhaust port.
const PIPE: &str = "exhaust-pipe";

/// A flow sheet with the part it is of.
#[derive(Debug, Clone)]
pub struct FlowSide {
    /// The sheet.
    pub sheet: FlowSheet,
    /// The part on the bench.
    pub part: Option<Part>,
}

/// One condition that the two sheets differ in.
#[derive(Debug, Clone, PartialEq)]
pub struct FlowChange {
    /// The condition.
    pub item: Item,
    /// The base sheet.
    pub base: Shown,
    /// The test sheet.
    pub test: Shown,
}

/// Two flow sheets that passed the documented-check. Only this room makes one.
#[derive(Debug, Clone)]
pub struct CheckedFlow<'a> {
    base: &'a FlowSide,
    test: &'a FlowSide,
    changes: Vec<FlowChange>,
    open: Vec<(Item, GapSide, String)>,
}

impl<'a> CheckedFlow<'a> {
    /// The base sheet.
    pub fn base(&self) -> &'a FlowSide {
        self.base
    }

    /// The test sheet.
    pub fn test(&self) -> &'a FlowSide {
        self.test
    }

    /// The conditions that differ.
    pub fn changes(&self) -> &[FlowChange] {
        &self.changes
    }

    /// What nobody knows, on which side, and why.
    pub fn open(&self) -> &[(Item, GapSide, String)] {
        &self.open
    }
}

/// Compares two flow sheets, or refuses.
///
/// # Errors
/// Every condition that is not documented on both.
pub fn documented_flow<'a>(
    base: &'a FlowSide,
    test: &'a FlowSide,
    kinds: &Kinds,
) -> Result<CheckedFlow<'a>, Vec<Gap>> {
    let (mut gaps, mut changes, mut open) = (Vec::new(), Vec::new(), Vec::new());
    for spec in &kinds.flow {
        let item = item(spec);
        let demanded = demanded(base, spec) || demanded(test, spec);
        let (a, b) = (told(base, spec, kinds), told(test, spec, kinds));
        // One part in one state has one valve, whatever it measures, unless a sheet says another was in.
        let own = |side: &FlowSide| side.sheet.conditions.contains_key(VALVE);
        if spec.name == VALVE && base.sheet.part == test.sheet.part && !own(base) && !own(test) {
            continue;
        }
        match (&a, &b) {
            (Told::Known(base), Told::Known(test)) => {
                let side = match (base.is_unknown(), test.is_unknown()) {
                    (true, true) => Some(GapSide::Both),
                    (true, false) => Some(GapSide::Base),
                    (false, true) => Some(GapSide::Test),
                    (false, false) => None,
                };
                if let Some(side) = side {
                    let because = if base.is_unknown() { &base.text } else { &test.text };
                    open.push((item, side, because.clone()));
                } else if !same(base, test) {
                    changes.push(FlowChange { item, base: base.clone(), test: test.clone() });
                }
            }
            _ if demanded => gaps.extend(gap(&item, &[(base, &a), (test, &b)])),
            _ => {}
        }
    }
    if gaps.is_empty() { Ok(CheckedFlow { base, test, changes, open }) } else { Err(gaps) }
}

/// What a sheet alone does not document of what a comparison demands.
pub fn flow_gaps(side: &FlowSide, kinds: &Kinds) -> Vec<Gap> {
    let demanded = kinds.flow.iter().filter(|spec| demanded(side, spec));
    demanded.filter_map(|spec| gap(&item(spec), &[(side, &told(side, spec, kinds))])).collect()
}

/// What a sheet alone says of its conditions without having measured it: listed, assumed, calculated or unknown.
pub fn flow_soft(side: &FlowSide, kinds: &Kinds) -> Vec<String> {
    let told = kinds.flow.iter().map(|spec| (item(spec), told(side, spec, kinds)));
    told.filter_map(|(item, told)| Some((item, told.known()?.clone())))
        .filter(|(_, shown)| matches!(shown.how, "listed" | "assumed" | "calculated" | "unknown"))
        .map(|(item, shown)| format!("{}: {} {}", item.path(), shown.how, shown.text))
        .collect()
}

/// The conditions of a flow sheet: what is documented, and what a comparison demands and is not.
pub fn flow_sheet_of(side: &FlowSide, kinds: &Kinds) -> Vec<SheetItem> {
    kinds
        .flow
        .iter()
        .map(|spec| (spec, told(side, spec, kinds)))
        .filter(|(spec, told)| told.known().is_some() || demanded(side, spec))
        .map(|(spec, told)| SheetItem { item: item(spec), told, asked: demanded(side, spec) })
        .collect()
}

fn item(spec: &FieldSpec) -> Item {
    Item { group: Group::Condition, role: None, name: spec.name.clone(), title: spec.title.clone() }
}

fn demanded(side: &FlowSide, spec: &FieldSpec) -> bool {
    spec.demand == Demand::Always
        || spec.name == VALVE
        || (spec.name == PIPE && side.sheet.side == PortSide::Exhaust)
}

/// What a sheet says of a condition; of the valve, what its part says where the sheet is silent.
fn told(side: &FlowSide, spec: &FieldSpec, kinds: &Kinds) -> Told {
    let sheet = &side.sheet;
    let own = sheet.conditions.get(&spec.name);
    if let Some(standing) = own.and_then(|figure| figure.standing(Course::Fixed, Some(sheet.moment()))) {
        let corrected = sheet.correction_of(&format!("conditions.{}", spec.name));
        let mut shown = Shown::of(&standing, false, corrected);
        shown.afterwards = false;
        return with_instrument(shown, spec);
    }
    if spec.name != VALVE {
        return Told::Gap(Why::Absent);
    }
    let means = format!("{}-valve-diameter", sheet.side);
    let figure = side.part.as_ref().and_then(|part| {
        let kind = kinds.part(&part.kind)?;
        let field = kind.figures.iter().find(|field| field.means.as_deref() == Some(means.as_str()))?;
        Some((part, kind, field))
    });
    let Some((part, kind, field)) = figure else {
        return Told::Gap(Why::Absent);
    };
    match part.resolve(kind, &sheet.part.letter, &field.name, Some(sheet.moment())) {
        Resolved::Stands { standing, carried_over, .. } => {
            with_instrument(Shown::of(&standing, carried_over, None), field)
        }
        Resolved::Voided { work, state, was } => Told::Gap(Why::Voided {
            work: kind.work(&work.op).map_or_else(|| work.op.clone(), |work| work.title.clone()),
            state: format!("{}/{state}", part.tag),
            was: Shown::of(&was, false, None).text,
        }),
        Resolved::Absent => Told::Gap(Why::Absent),
    }
}

fn gap(item: &Item, sides: &[(&FlowSide, &Told)]) -> Option<Gap> {
    let lacking: Vec<usize> = (0..sides.len()).filter(|at| sides[*at].1.gap().is_some()).collect();
    let why = sides[*lacking.first()?].1.gap()?.clone();
    let side = match lacking.as_slice() {
        [_, _] => GapSide::Both,
        [1] => GapSide::Test,
        _ => GapSide::Base,
    };
    let close = lacking
        .iter()
        .map(|at| Close::Measure { at: sides[*at].0.sheet.tag.clone(), field: item.path(), gone: false })
        .collect();
    let other = sides.iter().find_map(|(_, told)| told.known()).cloned();
    Some(Gap { item: item.clone(), side, why, other, close })
}

/// Whether two answers say the same, whatever unit they are written in.
fn same(base: &Shown, test: &Shown) -> bool {
    match (&base.value, &test.value) {
        (Some(Value::Quantity(a)), Some(Value::Quantity(b))) => {
            let (a, b) = (a.mean().si(), b.mean().si());
            (a - b).abs() <= 1e-9 * a.abs().max(b.abs())
        }
        _ => base.text == test.text,
    }
}
