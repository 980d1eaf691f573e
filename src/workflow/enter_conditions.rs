//! Conditions, the run and hand-made changes of a pull as it is entered: typed, from the file, or as last.

use crate::finding::Finding;
use crate::manifest::emit::Piece;
use crate::quantity::parse_reading;
use crate::raw::PreambleLine;
use crate::record::Change;
use crate::record::FieldSpec;
use crate::record::Holds;
use crate::record::Kinds;
use crate::record::Known;
use crate::record::Pull;
use crate::record::columns::Decimal;
use crate::workflow::Context;
use crate::workflow::Failure;
use crate::workflow::Library;
use crate::workflow::enter::PullRequest;
use crate::workflow::enter_record::Entering;
use crate::workflow::input;
use crate::workflow::input::FigureInput;
use crate::workflow::input::Target;
use crate::workflow::take_in::Table;

pub(super) fn changed(
    library: &Library,
    context: &Context,
    request: &PullRequest,
    last: Option<&Pull>,
    as_last: &mut Vec<String>,
) -> Result<Vec<(String, Piece)>, Failure> {
    let kinds = library.kinds();
    let mut pieces: Vec<(String, Piece)> = Vec::new();
    for assignment in &request.changed {
        let (name, value) = input::assignment(assignment)?;
        let told = FigureInput::typed(&value).or(
            instrument_for(request, &name).as_deref(),
            request.by.as_deref(),
            None,
        );
        match input::target(kinds, &name)? {
            Target::Role(role) => pieces.push((role, input::answer_piece(library, &value)?)),
            Target::Setting(setting) => {
                let piece = input::figure_piece(library, context, kinds.setting(&setting), &told)?;
                pieces.push((setting, piece));
            }
            Target::Fit(pair, fit) => {
                let spec =
                    kinds.fit(&pair).and_then(|spec| spec.fields.iter().find(|field| field.name == fit));
                pieces.push((format!("{pair}.{fit}"), input::figure_piece(library, context, spec, &told)?));
            }
            Target::Condition(_) | Target::Run(_) => {
                return Err(Failure::usage(
                    Finding::error("not-of-a-build", "weather and the run are said with `--set`")
                        .found(format!("`{name}`")),
                ));
            }
        }
    }
    for (name, change) in last.iter().flat_map(|last| &last.changed) {
        if pieces.iter().any(|(own, _)| own == name) {
            continue;
        }
        let piece = match change {
            Change::Role(answer) => match answer {
                crate::record::Answer::Unknown(why) => {
                    Piece::Line(vec![("unknown".to_owned(), Piece::text(why))])
                }
                other => Piece::word(other.to_string()),
            },
            Change::Figure(figure) => match figure.entries.last().map(|entry| (&entry.known, entry)) {
                Some((Known::Measured(value), entry)) => {
                    let mut line = vec![("measured".to_owned(), value_piece(value))];
                    let said = [("with", &entry.with), ("by", &entry.by)];
                    line.extend(
                        said.iter()
                            .filter_map(|(key, text)| Some(((*key).to_owned(), Piece::word(text.as_ref()?)))),
                    );
                    line.extend(
                        entry
                            .taken
                            .as_ref()
                            .map(|taken| ("taken".to_owned(), Piece::word(taken.to_string()))),
                    );
                    Piece::Line(line)
                }
                Some((Known::Listed { value, source }, _)) => Piece::Line(vec![
                    ("listed".to_owned(), value_piece(value)),
                    ("source".to_owned(), Piece::text(source)),
                ]),
                Some((Known::Assumed { value, because }, _)) => Piece::Line(vec![
                    ("assumed".to_owned(), value_piece(value)),
                    ("because".to_owned(), Piece::text(because)),
                ]),
                Some((Known::Calculated { value, from }, _)) => Piece::Line(vec![
                    ("calculated".to_owned(), value_piece(value)),
                    ("from".to_owned(), Piece::text(from)),
                ]),
                Some((Known::Unknown { because }, _)) => {
                    Piece::Line(vec![("unknown".to_owned(), Piece::text(because))])
                }
                None => continue,
            },
        };
        as_last.push(format!("{name} as changed for {}", last.map_or("", |last| last.id.as_str())));
        pieces.push((name.clone(), piece));
    }
    Ok(pieces)
}

fn value_piece(value: &crate::record::Value) -> Piece {
    match value {
        crate::record::Value::Quantity(reading) => Piece::word(reading.text()),
        crate::record::Value::Text(text) => Piece::text(text),
    }
}

fn instrument_for(request: &PullRequest, name: &str) -> Option<String> {
    let own = request.with.iter().find_map(|with| with.split_once('=').filter(|(field, _)| *field == name));
    own.map(|(_, instrument)| instrument.to_owned())
        .or_else(|| request.with.iter().find(|with| !with.contains('=')).cloned())
}

pub(super) type Pieces = Vec<(String, Piece)>;

pub(super) fn conditions(
    library: &Library,
    context: &Context,
    request: &PullRequest,
    entering: &Entering<'_>,
    last: Option<&Pull>,
    at: Option<&str>,
    as_last: &mut Vec<String>,
) -> Result<(Pieces, Pieces, FromFile), Failure> {
    let kinds = library.kinds();
    let mut conditions: Pieces = Vec::new();
    let mut run: Pieces = Vec::new();
    for assignment in &request.set {
        let (name, value) = input::assignment(assignment)?;
        let target = input::target(kinds, &name).or_else(|failure| {
            // `kind=sweep` and `rate=…` are said as people say them.
            input::known_name(
                &name,
                kinds.run.iter().map(|field| (field.name.as_str(), field.aliases.as_slice())),
            )
            .map(|own| Target::Run(own.to_owned()))
            .ok_or(failure)
        })?;
        match target {
            Target::Condition(own) => {
                let with = instrument_for(request, &own);
                let told = FigureInput::typed(&value).or(with.as_deref(), request.by.as_deref(), at);
                let piece = input::figure_piece(library, context, kinds.condition(&own), &told)?;
                conditions.push((own, piece));
            }
            Target::Run(own) => {
                let piece = input::run_piece(library, &own, &value)?;
                run.push((own, piece));
            }
            _ => {
                return Err(Failure::usage(
                    Finding::error("not-a-condition", "what was changed by hand is said with `--changed`")
                        .found(format!("`{name}`")),
                ));
            }
        }
    }
    let mut found = FromFile::default();
    if let Some(table) = entering.table {
        let fields = from_head(kinds);
        let said: Vec<String> = conditions.iter().map(|(name, _)| name.clone()).collect();
        let lines = table.lines_of(entering.segment);
        let signed = |field: &FieldSpec| instrument_for(request, &field.name);
        found = from_file(&fields, &lines, table, &said, context, (request.by.as_deref(), at), &signed)?;
        conditions.extend(found.pieces.iter().cloned());
    }
    for (name, value) in last.iter().flat_map(|last| &last.run) {
        if !run.iter().any(|(own, _)| own == name) {
            as_last.push(format!("run.{name} {value}"));
            run.push((name.clone(), input::run_piece(library, name, value)?));
        }
    }
    Ok((conditions, run, found))
}

/// The conditions of a pull that lines of its file may say: free text of a file's head is too loose to stand for one.
pub(super) fn from_head(kinds: &Kinds) -> Vec<FieldSpec> {
    let quantities = kinds.conditions.iter().filter(|field| matches!(field.holds, Holds::Quantity { .. }));
    quantities.cloned().collect()
}

/// What the lines of a file say of conditions.
#[derive(Debug, Clone, Default)]
pub(super) struct FromFile {
    /// What was taken, by condition.
    pub(super) pieces: Pieces,
    /// The same in words, each with its line.
    pub(super) taken: Vec<String>,
    /// Lines that name a condition and could not be taken, and why.
    pub(super) not_taken: Vec<String>,
}

/// Conditions from `key: value` lines of a file, those left out that are `said` otherwise. `signed_by` is who reads
/// them off and when, `instrument` what each was measured with.
///
/// # Errors
/// Nobody is named.
pub(super) fn from_file(
    fields: &[FieldSpec],
    lines: &[&PreambleLine],
    table: &Table,
    said: &[String],
    context: &Context,
    signed_by: (Option<&str>, Option<&str>),
    instrument: &dyn Fn(&FieldSpec) -> Option<String>,
) -> Result<FromFile, Failure> {
    let mut found = FromFile::default();
    for line in lines {
        let Some(field) = named(fields, line) else {
            continue;
        };
        let taken_already = found.pieces.iter().any(|(own, _)| *own == field.name);
        if said.contains(&field.name) || taken_already {
            continue;
        }
        let place = format!("line {} of {}", line.line, table.name);
        match value_of(field, line, table.columns.layout.decimal) {
            Ok(value) => {
                let mut piece = vec![("measured".to_owned(), value)];
                piece.extend(instrument(field).map(|with| ("with".to_owned(), Piece::word(with))));
                piece.push(("by".to_owned(), Piece::word(input::person(context, signed_by.0)?)));
                piece.extend(signed_by.1.map(|at| ("taken".to_owned(), Piece::word(at))));
                piece.push(("note".to_owned(), Piece::text(&place)));
                found.taken.push(format!("{} = {} ({place})", field.name, line.stated().1));
                found.pieces.push((field.name.clone(), Piece::Line(piece)));
            }
            Err(why) => found
                .not_taken
                .push(format!("{place} says {}, but {why}; say it: --set {}=\"…\"", field.title, field.name)),
        }
    }
    Ok(found)
}

/// The condition that a line names by its key, with or without a unit behind it.
pub(super) fn named<'f>(fields: &'f [FieldSpec], line: &PreambleLine) -> Option<&'f FieldSpec> {
    let known = || fields.iter().map(|field| (field.name.as_str(), field.aliases.as_slice()));
    let own =
        input::known_name(&line.key, known()).or_else(|| input::known_name(&line.stated().0, known()))?;
    fields.iter().find(|field| field.name == own)
}

/// The value of a line for a condition, or in words why it cannot be taken.
pub(super) fn value_of(field: &FieldSpec, line: &PreambleLine, decimal: Decimal) -> Result<Piece, String> {
    let (_, value) = line.stated();
    match &field.holds {
        Holds::Quantity { kind, .. } => {
            // The table's columns record says how this file writes numbers.
            let text = match decimal {
                Decimal::Comma if value.matches(',').count() == 1 => value.replace(',', "."),
                _ => value,
            };
            match parse_reading(&text, *kind, None) {
                Ok(reading) => Ok(Piece::word(reading.text())),
                Err(error) => Err(format!("`{text}` does not read as {}: {}", kind.title(), error.hint())),
            }
        }
        Holds::Choice(choices) => choices
            .iter()
            .find(|choice| **choice == value)
            .map(Piece::word)
            .ok_or_else(|| format!("`{value}` is not one of {}", choices.join(", "))),
        Holds::Text if value.is_empty() => Err("nothing stands behind it".to_owned()),
        Holds::Text => Ok(Piece::text(value)),
    }
}
