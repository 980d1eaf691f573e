//! What would be read from a raw file; nothing is entered.

use std::path::Path;
use std::sync::Arc;

use crate::answer::ChannelLine;
use crate::answer::LookAnswer;
use crate::answer::SegmentLine;
use crate::curves::SweepFinder;
use crate::finding::Finding;
use crate::finding::Place;
use crate::manifest::Schemas;
use crate::raw;
use crate::raw::Guess;
use crate::raw::Summary;
use crate::record::FieldSpec;
use crate::record::channel::ChannelQuantity;
use crate::record::columns::Columns;
use crate::record::columns::Decimal;
use crate::store::Book;
use crate::store::Source;
use crate::workflow::Failure;
use crate::workflow::Library;
use crate::workflow::enter_conditions::from_head;
use crate::workflow::enter_conditions::named;
use crate::workflow::enter_conditions::value_of;
use crate::workflow::flow_points::Channel;
use crate::workflow::flow_points::FlowColumns;
use crate::workflow::flow_ports;
use crate::workflow::log::Drive;

/// Bytes of a file's head that are looked at to guess its columns.
pub(super) const SAMPLE: usize = 1 << 20;

/// Points of a flow sheet that the plot takes.
const MOST_LIFTS: usize = 200;

/// What one reading of a file shows.
struct Seen {
    summary: Summary,
    finder: SweepFinder,
    /// Lift in mm and flow in its own unit.
    lifts: Vec<(f64, f64)>,
}

fn read(source: &mut Source, columns: &Columns) -> Result<Seen, Failure> {
    let sheet = FlowColumns::of(columns).ok();
    let drive = Drive::of(columns).ok().filter(|_| sheet.is_none());
    let mut finder = SweepFinder::new(100);
    let mut lifts = Vec::new();
    let summary = raw::read(source, columns, &mut |batch| {
        for row in 0..batch.rows() {
            if let Some(drive) = drive {
                let (speed, torque) = drive.row(batch, row);
                finder.push(speed, torque);
            }
            if let Some((sheet, flow)) = sheet.as_ref().and_then(|sheet| Some((sheet, sheet.flows.first()?)))
                && lifts.len() < MOST_LIFTS
                && batch.segment == 1
            {
                let value = |channel: &Channel| channel.unit.to_si(batch.columns[channel.at][row]);
                let point = (value(&sheet.lift) * 1e3, flow.unit.from_si(value(flow)));
                lifts.extend(Some(point).filter(|(lift, flow)| lift.is_finite() && flow.is_finite()));
            }
        }
    })?;
    Ok(Seen { summary, finder, lifts })
}

/// Looks at a file: by the columns record of that name, else by a guess with the given answers to its questions.
///
/// # Errors
/// The file cannot be read, is no table, or the columns record does not fit.
pub fn look(
    book: Option<&Book>,
    path: &Path,
    columns: Option<&str>,
    answers: &[String],
) -> Result<LookAnswer, Failure> {
    let mut source = Source::open(path)?;
    let name = path
        .file_name()
        .map_or_else(|| path.display().to_string(), |name| name.to_string_lossy().into_owned());
    let library = book.map(Library::at_head).transpose()?;
    let named = match (columns, &library) {
        (None, _) => None,
        (Some(name), Some(library)) => Some(library.columns(name)?.ok_or_else(|| no_columns(library, name))?),
        (Some(_), None) => {
            return Err(Failure::usage(Finding::error(
                "no-book",
                "a columns record is looked up in a book, and there is none here",
            )));
        }
    };
    let mut guess = match &named {
        Some(_) => None,
        None => {
            let mut guess = guess(&mut source, &name, answers)?;
            let holds = |quantity| guess.columns.iter().any(|column| column.quantity == quantity);
            if holds(ChannelQuantity::Lift) && !holds(ChannelQuantity::Speed) {
                flow_ports::settle(&mut guess, &[], &[])?;
            }
            Some(guess)
        }
    };
    let questions: Vec<String> =
        guess.iter().flat_map(|guess| &guess.questions).map(question_words).collect();
    let mut chosen = match (named, &guess) {
        (Some(columns), _) => Arc::unwrap_or_clone(columns),
        (None, Some(guess)) => guess.clone().into_columns("guessed"),
        (None, None) => return Err(Finding::error("raw-file", "nothing was read").into()),
    };
    let mut seen = read(&mut source, &chosen)?;
    if let Some(guess) = &mut guess
        && guess.parts_what_restarts(&seen.summary)
    {
        chosen = guess.clone().into_columns("guessed");
        seen = read(&mut Source::open(path)?, &chosen)?;
    }
    let Seen { summary, finder, lifts } = seen;
    let sheet = FlowColumns::of(&chosen).ok();
    let next = if !questions.is_empty() {
        format!(
            "mulebook look {name} --read {}   answers the question",
            guess.as_ref().and_then(first_answer).unwrap_or_default()
        )
    } else if sheet.is_some() {
        format!("mulebook flow {name} --part PART --port inlet:1")
    } else {
        format!("mulebook pull {name} --build NAME")
    };
    let built_in = Schemas::load(&[]).map_err(Failure::faults)?;
    let kinds = library.as_ref().map_or(built_in.kinds().as_ref(), Library::kinds);
    let fields = if sheet.is_some() { kinds.flow.clone() } else { from_head(kinds) };
    let (plot_of, plot) = match sheet.as_ref().and_then(|sheet| sheet.flows.first()) {
        Some(flow) => {
            let channel = &chosen.channels[flow.at].name;
            (format!("{channel}, {} over mm of lift", flow.unit.symbol()), lifts)
        }
        None => {
            let points = finder.finish().map(|curve| {
                curve.points.iter().map(|point| (f64::from(point.speed_rpm), point.torque_nm)).collect()
            });
            ("Torque of the sweep, N·m over rpm".to_owned(), points.unwrap_or_default())
        }
    };
    let mut doubts: Vec<Finding> = guess.iter().flat_map(|guess| guess.doubts.clone()).collect();
    doubts.extend(summary.doubts.iter().cloned());
    if guess.is_some() {
        doubts.extend(late_marks(&mut Source::open(path)?, &chosen, &name)?);
    }
    Ok(LookAnswer {
        layout: layout_words(&chosen),
        columns: columns.map(str::to_owned),
        channels: channel_lines(&summary, guess.as_ref()),
        segments: summary
            .segments
            .iter()
            .map(|segment| SegmentLine {
                number: segment.number,
                first_line: segment.first_line,
                last_line: segment.last_line,
                rows: segment.rows,
            })
            .collect(),
        rows: summary.rows,
        preamble: summary
            .preamble
            .iter()
            .map(|line| format!("{}{}", preamble_words(line), offered(&fields, line, chosen.layout.decimal)))
            .collect(),
        questions,
        doubts: named_doubts(doubts, &name),
        plot_of,
        plot,
        next,
        file: name,
    })
}

/// Guesses a file's columns from its head.
///
/// # Errors
/// The bytes are no table.
pub(super) fn guess(source: &mut Source, name: &str, answers: &[String]) -> Result<Guess, Failure> {
    let whole = source.length() <= SAMPLE as u64;
    let head = source
        .head(SAMPLE)
        .map_err(|error| Finding::error("raw-file", format!("{name} could not be read: {error}")))?;
    let answers: Vec<&str> = answers.iter().map(String::as_str).collect();
    let mut guessed = raw::sniff(&head, name, whole, &answers);
    if matches!(guessed, Err(raw::RawError::NeedsWhole)) && source.length() <= raw::LARGEST_WHOLE {
        let all = usize::try_from(source.length()).unwrap_or(usize::MAX);
        let bytes = source
            .head(all)
            .map_err(|error| Finding::error("raw-file", format!("{name} could not be read: {error}")))?;
        guessed = raw::sniff(&bytes, name, true, &answers);
    }
    guessed.map_err(|error| {
        let mut failure = Failure::from(error);
        for finding in &mut failure.findings {
            finding.place.get_or_insert_with(|| Place::file(name));
        }
        failure
    })
}

/// The doubt about marks that the guess could not see, as it saw only the head of the file.
///
/// # Errors
/// The file cannot be read.
pub(super) fn late_marks(
    source: &mut Source,
    columns: &Columns,
    name: &str,
) -> Result<Option<Finding>, Failure> {
    if source.length() <= SAMPLE as u64 {
        return Ok(None);
    }
    raw::late_marks(source, columns)
        .map_err(|error| Finding::error("raw-file", format!("{name} could not be read: {error}")).into())
}

/// The failure of open questions: two readings are possible, so nothing is entered.
pub(super) fn asked(guess: &Guess, name: &str) -> Option<Failure> {
    if guess.questions.is_empty() {
        return None;
    }
    Some(Failure::faults(
        guess
            .questions
            .iter()
            .map(|question| {
                Finding::error("two-readings", question.says.clone())
                    .at(Place::file(name))
                    .expected(
                        question
                            .choices
                            .iter()
                            .map(|choice| format!("{} ({})", choice.word, choice.means))
                            .collect::<Vec<_>>()
                            .join(" or "),
                    )
                    .next(format!(
                        "say which: `--read {}`, or follow a columns record: `--columns NAME`",
                        question.choices.first().map_or("", |choice| choice.word.as_str())
                    ))
            })
            .collect(),
    ))
}

fn first_answer(guess: &Guess) -> Option<String> {
    guess.questions.first().and_then(|question| question.choices.first()).map(|choice| choice.word.clone())
}

fn question_words(question: &raw::Question) -> String {
    let choices: Vec<String> =
        question.choices.iter().map(|choice| format!("--read {} ({})", choice.word, choice.means)).collect();
    format!("{}: {}", question.says, choices.join(" or "))
}

pub(super) fn no_columns(library: &Library, name: &str) -> Failure {
    let known = library.tags("columns").unwrap_or_default().join(", ");
    Finding::error("not-found", "there is no columns record of this name")
        .found(format!("`{name}`"))
        .expected(if known.is_empty() { "none is in the book yet".to_owned() } else { known })
        .into()
}

/// Doubts about a file, each naming it.
pub(super) fn named_doubts(doubts: Vec<Finding>, name: &str) -> Vec<Finding> {
    let mut named: Vec<Finding> = Vec::new();
    for mut doubt in doubts {
        match &mut doubt.place {
            Some(place) if place.file.is_empty() => name.clone_into(&mut place.file),
            Some(_) => {}
            None => doubt.place = Some(Place::file(name)),
        }
        if !named.contains(&doubt) {
            named.push(doubt);
        }
    }
    named
}

pub(super) fn preamble_words(line: &raw::PreambleLine) -> String {
    if line.key.is_empty() {
        format!("line {}: {}", line.line, line.value)
    } else {
        format!("line {}: {} = {}", line.line, line.key, line.value)
    }
}

/// The condition that a line would be taken as, or why it would not, in words behind the line.
fn offered(fields: &[FieldSpec], line: &raw::PreambleLine, decimal: Decimal) -> String {
    let Some(field) = named(fields, line) else {
        return String::new();
    };
    match value_of(field, line, decimal) {
        Ok(_) => format!(", taken as {}", field.name),
        Err(why) => format!(", not taken as {}: {why}", field.name),
    }
}

fn layout_words(columns: &Columns) -> Vec<String> {
    let mut words = Vec::new();
    if let Some(layout) = columns.to_value().get("layout").and_then(|layout| layout.as_object().cloned()) {
        for (key, value) in layout {
            let value = value.as_str().map_or_else(|| value.to_string(), str::to_owned);
            words.push(format!("{}: {value}", key.replace('-', " ")));
        }
    }
    words
}

pub(super) fn channel_lines(summary: &Summary, guess: Option<&Guess>) -> Vec<ChannelLine> {
    summary
        .channels
        .iter()
        .map(|channel| ChannelLine {
            name: channel.name.clone(),
            quantity: channel.quantity.word().to_owned(),
            unit: channel.unit.clone(),
            count: channel.count,
            missing: channel.missing,
            min: channel.min,
            max: channel.max,
            why: guess
                .and_then(|guess| guess.columns.iter().find(|column| column.name == channel.name))
                .map(|column| column.why.clone()),
        })
        .collect()
}
