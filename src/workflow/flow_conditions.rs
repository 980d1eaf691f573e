//! Conditions of a flow sheet as it is entered: typed, then from the file's own lines.

use crate::finding::Finding;
use crate::record::FieldSpec;
use crate::record::FlowSheet;
use crate::record::Holds;
use crate::record::PartState;
use crate::record::PortSide;
use crate::workflow::Context;
use crate::workflow::Failure;
use crate::workflow::Library;
use crate::workflow::enter_conditions::FromFile;
use crate::workflow::enter_conditions::Pieces;
use crate::workflow::enter_conditions::from_file;
use crate::workflow::flow::FlowRequest;
use crate::workflow::flow_ports::Port;
use crate::workflow::input;
use crate::workflow::input::FigureInput;
use crate::workflow::take_in::Table;

/// The condition that only an exhaust port has.
const EXHAUST_ONLY: &str = "exhaust-pipe";

/// A flow sheet's condition by its own name or one the trade uses for it.
///
/// # Errors
/// A flow sheet has none of this name.
pub(super) fn condition_name(library: &Library, name: &str) -> Result<String, Failure> {
    let fields = &library.kinds().flow;
    let wanted = name.strip_prefix("conditions.").unwrap_or(name);
    let known = fields.iter().map(|field| (field.name.as_str(), field.aliases.as_slice()));
    input::known_name(wanted, known).map(str::to_owned).ok_or_else(|| {
        let known: Vec<&str> = fields.iter().map(|field| field.name.as_str()).collect();
        Failure::usage(
            Finding::error("unknown-field", "a flow sheet has no such condition")
                .found(format!("`{name}`"))
                .expected(known.join(", ")),
        )
    })
}

/// Copies what stands still from sheet to sheet of the newest one, of this part where it has one: the bench, what is in
/// front of the part or behind it, and the fixtures that are words. What was measured is never copied.
///
/// # Errors
/// The book has no flow sheet.
pub(super) fn as_last(
    library: &Library,
    part: &PartState,
    request: &mut FlowRequest,
) -> Result<Vec<String>, Failure> {
    let mut sheets = library.flow_sheets()?;
    if sheets.iter().any(|sheet| sheet.part.tag == part.tag) {
        sheets.retain(|sheet| sheet.part.tag == part.tag);
    }
    let newest = |a: &FlowSheet, b: &FlowSheet| a.moment().order(b.moment()).then_with(|| a.tag.cmp(&b.tag));
    let Some(last) = sheets.into_iter().max_by(newest) else {
        return Err(Failure::usage(
            Finding::error("no-last-sheet", "the book has no flow sheet to copy from")
                .next("say what it had: `--bench INSTRUMENT`, `--set NAME=VALUE`"),
        ));
    };
    let mut taken = vec![format!("as {}", last.tag)];
    if let (None, Some(bench)) = (&request.bench, &last.bench) {
        taken.push(format!("bench {bench}"));
        request.bench = Some(bench.clone());
    }
    if request.with_part.is_empty() && !last.with_part.is_empty() {
        request.with_part = last.with_part.iter().map(ToString::to_string).collect();
        taken.push(format!("with {}", request.with_part.join(", ")));
    }
    let mut said = Vec::new();
    for assignment in &request.set {
        said.push(condition_name(library, &input::assignment(assignment)?.0)?);
    }
    // An exhaust pipe is of the port, not of the fixture.
    let fields = library.kinds().flow.iter().filter(|field| field.name != EXHAUST_ONLY);
    for field in fields.filter(|field| !matches!(field.holds, Holds::Quantity { .. })) {
        let entry = last.conditions.get(&field.name).and_then(|figure| figure.entries.last());
        let value = entry.and_then(|entry| entry.known.value().map(|value| (entry, value)));
        if let Some((entry, value)) = value.filter(|_| !said.contains(&field.name)) {
            let with = entry.with.as_ref().map(|with| format!(" | with {with}")).unwrap_or_default();
            request.set.push(format!("{}={}{with}", field.name, value.text()));
            taken.push(format!("{} {}", field.name, value.text()));
        }
    }
    taken.push("what was measured is never copied".to_owned());
    Ok(taken)
}

/// What a person typed behind `--set` that no port of the file can have.
///
/// # Errors
/// An exhaust pipe is said where only inlet ports are entered.
pub(super) fn fitting(library: &Library, request: &FlowRequest, ports: &[Port]) -> Result<(), Failure> {
    if ports.iter().any(|port| port.which.side == PortSide::Exhaust) {
        return Ok(());
    }
    for assignment in &request.set {
        let (name, value) = input::assignment(assignment)?;
        if condition_name(library, &name)? == EXHAUST_ONLY {
            return Err(Failure::usage(
                Finding::error("unlike-ports", "an inlet port has no exhaust pipe")
                    .found(format!("`{name}={value}`"))
                    .next("leave it out"),
            ));
        }
    }
    Ok(())
}

/// Conditions as typed, then from the file's own lines. `on` is the day.
///
/// # Errors
/// A flow sheet has no such condition, or a value does not hold.
pub(super) fn conditions(
    library: &Library,
    context: &Context,
    request: &FlowRequest,
    table: &Table,
    port: &Port,
    on: &str,
) -> Result<(Pieces, FromFile), Failure> {
    let kinds = library.kinds();
    let fields: Vec<FieldSpec> = kinds
        .flow
        .iter()
        .filter(|field| port.which.side == PortSide::Exhaust || field.name != EXHAUST_ONLY)
        .cloned()
        .collect();
    let mut conditions: Pieces = Vec::new();
    for assignment in &request.set {
        let (name, value) = input::assignment(assignment)?;
        let own = condition_name(library, &name)?;
        let Some(field) = fields.iter().find(|field| field.name == own) else {
            continue;
        };
        let with = instrument_for(request, field);
        let told = FigureInput::typed(&value).or(with.as_deref(), request.by.as_deref(), Some(on));
        conditions.push((own, input::figure_piece(library, context, Some(field), &told)?));
    }
    let signed = |field: &FieldSpec| instrument_for(request, field);
    let said: Vec<String> = conditions.iter().map(|(name, _)| name.clone()).collect();
    let lines = table.lines_of(port.segment);
    let found =
        from_file(&fields, &lines, table, &said, context, (request.by.as_deref(), Some(on)), &signed)?;
    conditions.extend(found.pieces.iter().cloned());
    Ok((conditions, found))
}

/// The instrument of one condition: its own, else the one of all, else the bench for what a bench shows.
fn instrument_for(request: &FlowRequest, field: &FieldSpec) -> Option<String> {
    let own = request.with.iter().filter_map(|with| with.split_once('='));
    let own = own.filter(|(name, _)| *name == field.name).map(|(_, instrument)| instrument.to_owned()).next();
    let measured = matches!(field.holds, Holds::Quantity { .. });
    own.or_else(|| request.with.iter().find(|with| !with.contains('=')).filter(|_| measured).cloned())
        .or_else(|| request.bench.clone().filter(|_| field.instrument))
}
