//! Two flow sheets side by side, or what bars it.

use std::collections::BTreeMap;

use crate::answer::DiffAnswer;
use crate::answer::FlowChangeLine;
use crate::answer::FlowCompared;
use crate::answer::FlowDiffAnswer;
use crate::answer::FlowRow;
use crate::answer::GapLine;
use crate::answer::Refused;
use crate::answer::SideLine;
use crate::check::CheckedFlow;
use crate::check::FlowSide;
use crate::check::GapSide;
use crate::check::documented_flow;
use crate::quantity::QuantityKind;
use crate::record::Course;
use crate::record::FlowSheet;
use crate::record::Value;
use crate::store::Book;
use crate::workflow::Failure;
use crate::workflow::Library;
use crate::workflow::columns_change;
use crate::workflow::compare;
use crate::workflow::compare::DiffRequest;
use crate::workflow::flow;
use crate::workflow::flow_bench;
use crate::workflow::flow_bench::SAME_LIFT_M;
use crate::workflow::flow_bench::step;
use crate::workflow::flow_gaps;
use crate::workflow::flow_points;
use crate::workflow::flow_points::FlowReading;

/// Test pressures further apart than this share of each other are unlike: flow goes with the square root, so that 1 %
/// is 0.5 % of flow, what a bench repeats to (common practice, no source).
const LIKE_PRESSURE: f64 = 0.01;

/// What `diff` answers: of pulls and builds, or of flow sheets.
#[derive(Debug, Clone, PartialEq)]
pub enum Difference {
    /// Of pulls or builds.
    Pulls(DiffAnswer),
    /// Of flow sheets.
    Flow(FlowDiffAnswer),
}

impl Difference {
    /// Whether the comparison was refused.
    pub fn is_refused(&self) -> bool {
        matches!(self, Self::Pulls(DiffAnswer::Refused(_)) | Self::Flow(FlowDiffAnswer::Refused(_)))
    }
}

/// Compares whatever two names mean, or refuses.
///
/// # Errors
/// A name means nothing, or a record does not hold. A refusal is an answer, not an error.
pub fn any(book: &Book, request: &DiffRequest) -> Result<Difference, Failure> {
    let library = request.as_of.library(book)?;
    match (library.flow(&request.base)?, library.flow(&request.test)?) {
        (Some(base), Some(test)) => {
            let answer = sheets(book, &library, base, test)?;
            Ok(Difference::Flow(closed(
                answer,
                request.as_of.pending_among(book, &library)?,
                library.commit().short(),
            )))
        }
        (Some(sheet), None) | (None, Some(sheet)) => Err(flow_gaps::unlike_records(&sheet.tag)),
        (None, None) => compare::diff(book, request).map(Difference::Pulls),
    }
}

fn closed(mut answer: FlowDiffAnswer, pending: Vec<String>, commit: String) -> FlowDiffAnswer {
    match &mut answer {
        FlowDiffAnswer::Refused(refused) => {
            refused.pending = pending;
            refused.commit = commit;
        }
        FlowDiffAnswer::Compared(compared) => {
            compared.pending = pending;
            compared.commit = commit;
        }
    }
    answer
}

fn sheets(
    book: &Book,
    library: &Library,
    base: FlowSheet,
    test: FlowSheet,
) -> Result<FlowDiffAnswer, Failure> {
    flow_gaps::of_one_side(&base, &test)?;
    let side = |sheet: FlowSheet| -> Result<FlowSide, Failure> {
        Ok(FlowSide { part: library.part(&sheet.part.tag)?, sheet })
    };
    let (base, test) = (side(base)?, side(test)?);
    match documented_flow(&base, &test, library.kinds()) {
        Ok(checked) => Ok(FlowDiffAnswer::Compared(Box::new(compared(book, library, &checked)?))),
        Err(gaps) => {
            let (base, test) = (&base.sheet.tag, &test.sheet.tag);
            let gaps: Vec<GapLine> = gaps.iter().map(GapLine::from).collect();
            let next = gaps.first().and_then(|gap| gap.close.first()).cloned().unwrap_or_default();
            let headline = format!(
                "Not compared: what the flow depends on is not documented on both {base} and {test}."
            );
            Ok(FlowDiffAnswer::Refused(Refused {
                base: base.clone(),
                test: test.clone(),
                headline,
                gaps,
                across: None,
                unlike_corrections: None,
                lacks: Default::default(),
                correct_to: Default::default(),
                next,
                pending: Vec::new(),
                commit: String::new(),
            }))
        }
    }
}

fn compared(book: &Book, library: &Library, checked: &CheckedFlow<'_>) -> Result<FlowCompared, Failure> {
    let (base, test) = (&checked.base().sheet, &checked.test().sheet);
    let (flow_unit, from_si) = compare::unit(library, QuantityKind::VolumeFlow, "cfm");
    let mut answer = FlowCompared {
        base: base.tag.clone(),
        test: test.tag.clone(),
        headline: headline(checked),
        open: open_lines(checked),
        changes: checked
            .changes()
            .iter()
            .map(|change| FlowChangeLine {
                item: change.item.path(),
                title: change.item.title.clone(),
                base: SideLine::from(&change.base),
                test: SideLine::from(&change.test),
            })
            .collect(),
        flow_unit: flow_unit.to_owned(),
        rows: Vec::new(),
        no_rows: None,
        brought_to: None,
        brought: Vec::new(),
        derived: Vec::new(),
        bars: Vec::new(),
        doubts: [base, test]
            .iter()
            .flat_map(|sheet| sheet.doubts.iter().map(|doubt| format!("{}: {}", sheet.tag, doubt.says)))
            .collect(),
        pending: Vec::new(),
        commit: String::new(),
        next: "values as read side by side; a difference here is not yet a gain: its noise is not weighed"
            .to_owned(),
    };
    answer.doubts.extend(columns_change::flow_lines(book, library, [base, test])?);
    let unlike = |name: &str| checked.changes().iter().any(|change| change.item.name == name);
    let unknown = |name: &str| checked.open().iter().any(|(item, _, _)| item.name == name);
    if unlike("correction") || unknown("correction") {
        answer.no_rows =
            Some("the two benches' figures do not contain the same corrections, or nobody knows".to_owned());
        return Ok(answer);
    }
    match (flow_points::of_sheet(book, library, base)?, flow_points::of_sheet(book, library, test)?) {
        (Ok(a), Ok(b)) => {
            let (rows, left_out) = rows(&by_lift(base, &a), &by_lift(test, &b), from_si);
            answer.rows = rows;
            if left_out > 0 {
                answer.no_rows = Some(format!(
                    "{left_out} lifts were read at unlike or unknown test pressures and are not put side by side"
                ));
            }
        }
        (Err(why), _) | (_, Err(why)) => answer.no_rows = Some(why),
    }
    flow_bench::both(book, library, [base, test], &mut answer)?;
    Ok(answer)
}

fn headline(checked: &CheckedFlow<'_>) -> String {
    let (base, test) = (&checked.base().sheet, &checked.test().sheet);
    let port = |sheet: &FlowSheet| {
        let port = sheet.port.as_ref().map(|port| format!(" {port}")).unwrap_or_default();
        let cylinder =
            sheet.cylinder.as_ref().map(|cylinder| format!(" of cylinder {cylinder}")).unwrap_or_default();
        format!("{} {} port{port}{cylinder}", sheet.part, sheet.side)
    };
    let mut names: Vec<String> = Vec::new();
    if base.part != test.part {
        names.push("the part".to_owned());
    }
    if base.port != test.port {
        names.push("the port".to_owned());
    }
    if base.cylinder != test.cylinder {
        names.push("the cylinder".to_owned());
    }
    if base.with_part != test.with_part {
        names.push("what it was flowed with".to_owned());
    }
    if base.bench != test.bench {
        names.push("the bench".to_owned());
    }
    names.extend(checked.changes().iter().map(|change| change.item.title.to_lowercase()));
    let differs = if names.is_empty() { "nothing else".to_owned() } else { names.join(", ") };
    format!("{} against {}; what differs beside the flow: {differs}.", port(base), port(test))
}

fn open_lines(checked: &CheckedFlow<'_>) -> Vec<String> {
    checked
        .open()
        .iter()
        .map(|(item, side, because)| {
            let side = match side {
                GapSide::Base => "base",
                GapSide::Test => "test",
                GapSide::Both => "both sides",
            };
            format!("{} ({side}): {because}", item.title)
        })
        .collect()
}

/// Flow and pressure at one lift: means of the readings there.
#[derive(Debug, Clone, Copy)]
struct AtLift {
    flow: f64,
    pressure_pa: Option<f64>,
}

/// The readings by lift, in steps of [`SAME_LIFT_M`].
fn by_lift(sheet: &FlowSheet, readings: &[FlowReading]) -> BTreeMap<i64, AtLift> {
    let stated = sheet
        .conditions
        .get("test-pressure")
        .and_then(|figure| figure.standing(Course::Fixed, Some(sheet.moment())))
        .and_then(|standing| match standing.entry.known.value() {
            Some(Value::Quantity(reading)) => Some(reading.mean().si()),
            _ => None,
        });
    let mut groups: BTreeMap<i64, Vec<&FlowReading>> = BTreeMap::new();
    for reading in readings {
        groups.entry(step(reading.lift_m)).or_default().push(reading);
    }
    let mean = |values: &mut dyn Iterator<Item = f64>| {
        let (sum, count) = values.fold((0.0, 0.0), |(sum, count), value| (sum + value, count + 1.0));
        sum / count
    };
    groups
        .into_iter()
        .map(|(step, group)| {
            let pressures: Option<Vec<f64>> =
                group.iter().map(|reading| reading.pressure_pa.or(stated)).collect();
            let at = AtLift {
                flow: mean(&mut group.iter().map(|reading| reading.flow_m3_per_s)),
                pressure_pa: pressures.map(|pressures| mean(&mut pressures.into_iter())),
            };
            (step, at)
        })
        .collect()
}

/// The rows, and how many lifts are left out for unlike pressures.
fn rows(base: &BTreeMap<i64, AtLift>, test: &BTreeMap<i64, AtLift>, from_si: f64) -> (Vec<FlowRow>, usize) {
    let steps: std::collections::BTreeSet<&i64> = base.keys().chain(test.keys()).collect();
    let (mut rows, mut left_out) = (Vec::new(), 0);
    for step in steps {
        let (a, b) = (base.get(step), test.get(step));
        if let (Some(a), Some(b)) = (a, b)
            && !like(a.pressure_pa, b.pressure_pa)
        {
            left_out += 1;
            continue;
        }
        #[expect(clippy::cast_precision_loss, reason = "micrometres of valve lift are far below 2^53")]
        let lift_mm = *step as f64 * SAME_LIFT_M * 1e3;
        let lift_mm = (lift_mm * 1e3).round() / 1e3;
        // What a unit's factor adds behind the twelfth digit is cut.
        let flow = |at: &AtLift| flow::rounded(at.flow * from_si);
        rows.push(FlowRow { lift_mm, base: a.map(flow), test: b.map(flow) });
    }
    (rows, left_out)
}

fn like(a: Option<f64>, b: Option<f64>) -> bool {
    match (a, b) {
        (Some(a), Some(b)) => (a - b).abs() <= LIKE_PRESSURE * a.abs().max(b.abs()),
        _ => false,
    }
}
