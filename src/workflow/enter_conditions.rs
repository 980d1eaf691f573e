//! Conditions, the run and hand-made changes of a pull as it is entered: typed, from the file, or as last.

use crate::finding::Finding;
use crate::manifest::emit::Piece;
use crate::quantity::parse_reading;
use crate::raw::PreambleLine;
use crate::record::Change;
use crate::record::FieldSpec;
use crate::record::Holds;
use crate::record::Known;
use crate::record::Pull;
use crate::workflow::Context;
use crate::workflow::Failure;
use crate::workflow::Library;
use crate::workflow::enter::PullRequest;
use crate::workflow::enter_record::Entering;
use crate::workflow::input;
use crate::workflow::input::FigureInput;
use crate::workflow::input::Target;

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
        let mut told = FigureInput::typed(&value);
        told.by.clone_from(&request.by);
        told.with = instrument_for(request, &name);
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

#[expect(clippy::too_many_arguments, reason = "one step of writing a pull, over its own local state")]
pub(super) fn conditions(
    library: &Library,
    context: &Context,
    request: &PullRequest,
    entering: &Entering<'_>,
    last: Option<&Pull>,
    at: Option<&str>,
    taken: &mut Vec<String>,
    as_last: &mut Vec<String>,
) -> Result<(Pieces, Pieces), Failure> {
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
                let mut told = FigureInput::typed(&value);
                told.by.clone_from(&request.by);
                told.with = instrument_for(request, &own);
                told.taken = at.map(str::to_owned);
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
    if let Some(table) = entering.table {
        // Free text of a file's head is too loose to stand for a pull's condition.
        let quantities: Vec<FieldSpec> = kinds
            .conditions
            .iter()
            .filter(|field| matches!(field.holds, Holds::Quantity { .. }))
            .cloned()
            .collect();
        let heading = entering
            .segment
            .and_then(|number| table.summary.segments.get(number - 1))
            .map(|segment| &segment.heading);
        for line in table.summary.preamble.iter().chain(heading.into_iter().flatten()) {
            if let Some((name, piece)) = from_line(&quantities, line, &table.name)
                && !conditions.iter().any(|(own, _)| *own == name)
            {
                taken.push(format!("{name} = {} (line {} of {})", line.value, line.line, table.name));
                conditions.push((name, with_person(piece, context, request.by.as_deref(), at)?));
            }
        }
    }
    for (name, value) in last.iter().flat_map(|last| &last.run) {
        if !run.iter().any(|(own, _)| own == name) {
            as_last.push(format!("run.{name} {value}"));
            run.push((name.clone(), input::run_piece(library, name, value)?));
        }
    }
    Ok((conditions, run))
}

/// A condition from a `key: value` line of the file, where its key is a name for one and its value reads with a unit.
pub(super) fn from_line(fields: &[FieldSpec], line: &PreambleLine, file: &str) -> Option<(String, Pieces)> {
    let own = input::known_name(
        &line.key,
        fields.iter().map(|field| (field.name.as_str(), field.aliases.as_slice())),
    )?;
    let spec = fields.iter().find(|field| field.name == own)?;
    let text = line.value.trim();
    let value = match &spec.holds {
        Holds::Quantity { kind, .. } => Piece::word(parse_reading(text, *kind, None).ok()?.text()),
        Holds::Choice(choices) => Piece::word(choices.iter().find(|choice| *choice == text)?),
        Holds::Text if text.is_empty() => return None,
        Holds::Text => Piece::text(text),
    };
    let note = Piece::text(format!("line {} of {file}", line.line));
    let piece = vec![("measured".to_owned(), value), ("note".to_owned(), note)];
    Some((own.to_owned(), piece))
}

pub(super) fn with_person(
    mut pieces: Pieces,
    context: &Context,
    by: Option<&str>,
    at: Option<&str>,
) -> Result<Piece, Failure> {
    let note = pieces.pop();
    pieces.push(("by".to_owned(), Piece::word(input::person(context, by)?)));
    if let Some(at) = at {
        pieces.push(("taken".to_owned(), Piece::word(at)));
    }
    pieces.extend(note);
    Ok(Piece::Line(pieces))
}
