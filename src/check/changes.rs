//! What differs between two sides that passed the check, in groups a person reads from the top.

use std::sync::Arc;

use crate::check::Group;
use crate::check::Item;
use crate::check::Shown;
use crate::check::Side;
use crate::check::Told;
use crate::check::rows::Check;
use crate::check::rows::Row;
use crate::quantity::Reading;
use crate::record::Instrument;
use crate::record::Scope;
use crate::record::Value;

/// Where a change belongs on the page.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum ChangeGroup {
    /// Parts, states and their figures.
    Parts,
    /// Settings.
    Settings,
    /// Fits.
    Fits,
    /// Conditions.
    Conditions,
    /// How it was run.
    Run,
    /// Place, people, instruments.
    Place,
    /// What the raw file's columns mean, and notes.
    Reading,
}

/// One difference.
#[derive(Debug, Clone, PartialEq)]
pub struct Change {
    /// Where it belongs.
    pub group: ChangeGroup,
    /// What differs.
    pub item: Item,
    /// What the base side says; none where it says nothing.
    pub base: Option<Shown>,
    /// What the test side says.
    pub test: Option<Shown>,
    /// The two readings agree within their uncertainties.
    pub equal_within: bool,
    /// The same value, known differently on the two sides.
    pub same_value: bool,
}

impl Change {
    /// Whether something was changed on the engine or in how it was run, weather and paperwork aside.
    pub fn is_hand_made(&self) -> bool {
        let hand = matches!(
            self.group,
            ChangeGroup::Parts | ChangeGroup::Settings | ChangeGroup::Fits | ChangeGroup::Run
        );
        let of_the_engine = !matches!(self.item.group, Group::Figure | Group::Correction);
        hand && of_the_engine && !self.equal_within && !self.same_value
    }
}

/// Sorts the rows into changes and a count of what is equal.
pub(super) fn of(check: &Check<'_, '_>, rows: Vec<Row>) -> (Vec<Change>, usize) {
    let mut changes = Vec::new();
    let mut equal = 0;
    for row in rows {
        let (Told::Known(base), Told::Known(test)) = (&row.base, &row.test) else {
            continue;
        };
        if base.is_unknown() && test.is_unknown() {
            continue;
        }
        let same_value = base.text == test.text && base.is_unknown() == test.is_unknown();
        if same_value && (base.how == test.how || base.how == "channel") {
            equal += 1;
            continue;
        }
        let equal_within = !same_value && agree(check.base, base, check.test, test);
        changes.push(Change {
            group: group(row.item.group),
            item: row.item,
            base: Some(base.clone()),
            test: Some(test.clone()),
            equal_within,
            same_value,
        });
    }
    place(check.base, check.test, &mut changes, &mut equal);
    changes.sort_by_key(|change| change.group);
    (changes, equal)
}

fn group(group: Group) -> ChangeGroup {
    match group {
        Group::Role | Group::Figure => ChangeGroup::Parts,
        Group::Setting => ChangeGroup::Settings,
        Group::Fit => ChangeGroup::Fits,
        Group::Condition => ChangeGroup::Conditions,
        Group::Run | Group::Correction => ChangeGroup::Run,
    }
}

/// Whether two readings agree: their means lie within two standard uncertainties of the difference (coverage 95 % in
/// the limit, JCGM 100 section 6). What one instrument shares over both readings cancels.
fn agree(base_side: &Side, base: &Shown, test_side: &Side, test: &Shown) -> bool {
    let (Some(Value::Quantity(a)), Some(Value::Quantity(b))) = (&base.value, &test.value) else {
        return false;
    };
    if a.kind() != b.kind() {
        return false;
    }
    let shared = base.with.is_some() && base.with == test.with && same_calibration(base_side, base, test);
    let u = |side: &Side, shown: &Shown, reading: &Reading| {
        let instrument = shown.with.as_ref().and_then(|tag| side.instruments.get(tag));
        standard_uncertainty(reading, instrument.map(Arc::as_ref), shared)
    };
    let (ua, ub) = (u(base_side, base, a), u(test_side, test, b));
    (a.mean().si() - b.mean().si()).abs() <= 2.0 * (ua * ua + ub * ub).sqrt()
}

fn same_calibration(side: &Side, base: &Shown, test: &Shown) -> bool {
    let Some(instrument) = base.with.as_ref().and_then(|tag| side.instruments.get(tag)) else {
        return false;
    };
    let held = |shown: &Shown| {
        let taken = shown.taken.as_deref().and_then(|taken| crate::record::Moment::parse(taken).ok())?;
        instrument.calibration_on(&taken).map(|calibration| calibration.on.clone())
    };
    let (a, b) = (held(base), held(test));
    a.is_some() && a == b
}

/// Standard uncertainty in SI: what the reading states, else what its instrument states, else its last digit.
fn standard_uncertainty(reading: &Reading, instrument: Option<&Instrument>, shared: bool) -> f64 {
    if reading.uncertainty().is_some() {
        return reading.standard_uncertainty().si;
    }
    let stated = instrument.and_then(|instrument| {
        let own: Vec<_> =
            instrument.uncertainty.iter().filter(|stated| stated.of == reading.kind().name()).collect();
        let square: f64 = own
            .iter()
            .filter(|stated| !(shared && stated.scope == Scope::Calibration))
            .filter_map(|stated| crate::quantity::parse_uncertainty(&stated.is, reading.kind()).ok())
            .map(|stated| stated.standard().si * stated.standard().si)
            .sum();
        (!own.is_empty()).then(|| square.sqrt())
    });
    stated.unwrap_or(0.0).max(reading.standard_uncertainty().si)
}

/// Place, people, engine, columns, notes: what the check does not ask for and a reader wants to see.
fn place(base: &Side, test: &Side, changes: &mut Vec<Change>, equal: &mut usize) {
    let mut compare = |group, name: &str, title: &str, a: Option<String>, b: Option<String>| {
        if a == b {
            *equal += usize::from(a.is_some());
            return;
        }
        let item = Item { group: Group::Run, role: None, name: name.to_owned(), title: title.to_owned() };
        let said = |text: Option<String>| text.map(Shown::said);
        changes.push(Change {
            group,
            item,
            base: said(a),
            test: said(b),
            equal_within: false,
            same_value: false,
        });
    };
    let engine = |side: &Side| side.build.as_ref().map(|build| build.engine.clone());
    compare(ChangeGroup::Place, "engine", "engine", engine(base), engine(test));
    let session = |side: &Side| side.session.as_ref().map(|session| session.tag.clone());
    compare(ChangeGroup::Place, "session", "session", session(base), session(test));
    let cell = |side: &Side| side.cell.as_ref().map(|cell| cell.tag.clone());
    compare(ChangeGroup::Place, "cell", "cell", cell(base), cell(test));
    let by = |side: &Side| side.pull.as_ref().and_then(|pull| pull.by.clone());
    compare(ChangeGroup::Place, "by", "run by", by(base), by(test));
    let fit_up = |side: &Side| {
        let build = side.build.as_ref()?;
        let count = side.pull.as_ref()?.fit_up?;
        Some(format!("{} together for time {count}", build.name))
    };
    let same_build =
        base.build.as_ref().map(|build| &build.name) == test.build.as_ref().map(|build| &build.name);
    if same_build {
        compare(ChangeGroup::Parts, "fit-up", "fit-up", fit_up(base), fit_up(test));
    }
    let outcome = |side: &Side| side.pull.as_ref().map(|_| side.effective.outcome.to_string());
    compare(ChangeGroup::Reading, "outcome", "outcome", outcome(base), outcome(test));
    let columns = |side: &Side| {
        let names: Vec<_> =
            side.pull.iter().flat_map(|pull| &pull.raw).filter_map(|raw| raw.columns.clone()).collect();
        (!names.is_empty()).then(|| names.join(", "))
    };
    compare(ChangeGroup::Reading, "columns", "columns record", columns(base), columns(test));
    let typed = |side: &Side| {
        side.pull.as_ref().map(|pull| if pull.typed { "typed in" } else { "from a file" }.to_owned())
    };
    compare(ChangeGroup::Reading, "typed", "entered", typed(base), typed(test));
    let note = |side: &Side| side.pull.as_ref().and_then(|pull| pull.note.clone());
    compare(ChangeGroup::Reading, "note", "note", note(base), note(test));
}
