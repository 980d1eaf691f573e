//! Take in raw files as pulls: keep the bytes, read, check, record, one commit.

use std::path::Path;
use std::path::PathBuf;

use crate::answer::GapLine;
use crate::answer::PullEntered;
use crate::answer::PullLine;
use crate::answer::TakenIn;
use crate::check;
use crate::finding::Finding;
use crate::finding::Place;
use crate::manifest::yaml;
use crate::quantity::QuantityKind;
use crate::quantity::Unit;
use crate::raw;
use crate::raw::Summary;
use crate::record::Course;
use crate::record::Value;
use crate::record::channel::ChannelQuantity;
use crate::record::columns::Columns;
use crate::store::Book;
use crate::store::Source;
use crate::workflow::Context;
use crate::workflow::Draft;
use crate::workflow::Failure;
use crate::workflow::Library;
use crate::workflow::enter_record;
use crate::workflow::enter_record::Entering;
use crate::workflow::gather;
use crate::workflow::look;
use crate::workflow::make_place;
use crate::workflow::make_place::SessionRequest;
use crate::workflow::names;
use crate::workflow::run_gaps;
use crate::workflow::take_in;
use crate::workflow::take_in::Offered;
use crate::workflow::take_in::Reading;
use crate::workflow::take_in::Table;
use crate::workflow::take_in::file_name;

/// What `pull` is asked.
#[derive(Debug, Clone, Default)]
pub struct PullRequest {
    /// The files, or what was typed: tables, and beside them photos and other evidence.
    pub files: Vec<Offered>,
    /// The file that the table was exported from, kept as evidence beside it.
    pub derived_from: Option<PathBuf>,
    /// The session; the newest unless said.
    pub session: Option<String>,
    /// The cell, for a session that is begun by this pull.
    pub cell: Option<String>,
    /// The build.
    pub build: Option<String>,
    /// Copy what the last pull of the session had.
    pub as_last: bool,
    /// The columns record to follow to the letter.
    pub columns: Option<String>,
    /// The name under which guessed columns are kept.
    pub name_columns: Option<String>,
    /// Answers to questions about the file (`decimal=comma`).
    pub read: Vec<String>,
    /// The place in the session; the next unless said.
    pub order: Option<u32>,
    /// Why order numbers before it have no pull.
    pub skipped: Option<String>,
    /// When it was run.
    pub at: Option<String>,
    /// Who ran it.
    pub by: Option<String>,
    /// Conditions, and fields of the run as `run.NAME`, as `NAME=VALUE`.
    pub set: Vec<String>,
    /// What was changed by hand against the build, as `NAME=VALUE`.
    pub changed: Vec<String>,
    /// The instrument of the conditions typed here, or `NAME=INSTRUMENT` for one of them.
    pub with: Vec<String>,
    /// The correction in the file: `observed`, a standard, or a standard with its factor (`sae-j1349 1.023`).
    pub correction: Option<String>,
    /// Why it does not count.
    pub set_aside: Option<String>,
    /// The parts were off and on again since the last pull.
    pub refit: bool,
    /// Only this segment of a file with several.
    pub segment: Option<usize>,
    /// A remark.
    pub note: Option<String>,
}

/// Takes in raw files as pulls of a session.
///
/// # Errors
/// A file is no table, two readings are possible, or a value does not hold; nothing is kept then. A gap is no error.
pub fn pull(book: &Book, context: &Context, request: &PullRequest) -> Result<PullEntered, Failure> {
    let mut draft = Draft::open(book, context)?;
    let session = session(&mut draft, context, request)?;
    let cell = draft
        .library()
        .session(&session)?
        .map_or_else(|| "columns".to_owned(), |session| session.cell.clone());
    let reading = Reading {
        columns: request.columns.as_deref(),
        name_columns: request.name_columns.as_deref(),
        answers: &request.read,
        settle: &|_| Ok(()),
        stem: &cell,
        derived_from: request.derived_from.as_deref(),
    };
    let (tables, evidence) = take_in::sorted(&request.files, &reading)?;
    let mut answer = PullEntered { pulls: Vec::new(), taken_in: TakenIn::default() };
    let kept_evidence = take_in::keep(&mut draft, context, &reading, &evidence)?;
    let mut order = enter_record::next_order(draft.library(), &session, request.order)?;
    let mut entered = Vec::new();
    for found in tables {
        let id = format!("{session}-{order:02}");
        let mut table = take_in::table(&mut draft, context, &reading, found, &id)?;
        table.doubts.extend(barometer_doubt(draft.library(), &session, &table.columns, &table.summary)?);
        table.doubts = look::named_doubts(std::mem::take(&mut table.doubts), &table.name);
        answer.taken_in.columns = Some(table.columns.name.clone());
        answer.taken_in.columns_new |= table.columns_new;
        answer.taken_in.channels = look::channel_lines(&table.summary, table.guess.as_ref());
        let segments = take_in::chosen_segments(&table, request.segment)?;
        for segment in segments {
            if let Some(holder) = held_by(draft.library(), &table, segment)? {
                answer.taken_in.already.push(format!("{} is {holder} already", table.name));
                continue;
            }
            let entering =
                Entering { session: &session, order, table: Some(&table), segment, evidence: &kept_evidence };
            let (line, path, doubts) = enter_record::put(&mut draft, context, request, &entering)?;
            answer.taken_in.doubts.extend(doubts);
            order += 1;
            entered.push((line, path));
        }
        answer.taken_in.doubts.extend(table.doubts);
    }
    if entered.is_empty() {
        answer.taken_in.next = "nothing new was entered: these bytes are in the book".to_owned();
        return Ok(answer);
    }
    let names: Vec<&str> = entered.iter().map(|(line, _): &(PullLine, _)| line.file.as_str()).collect();
    answer.taken_in.evidence = take_in::evidence_lines(&kept_evidence, &unique(&names));
    for (mut line, path) in entered {
        let root = draft.library().tree(&path)?;
        let pull = root.and_then(|root| crate::manifest::bind::pull(&path, &root, draft.library().kinds()).0);
        if let Some(pull) = pull {
            let side = gather::pull_side(draft.library(), pull)?;
            line.gaps = check::gaps_of(&side, draft.library().kinds()).iter().map(GapLine::from).collect();
        }
        answer.pulls.push(line);
    }
    let ids: Vec<&str> = answer.pulls.iter().map(|line| line.pull.as_str()).collect();
    let files: Vec<&str> = answer.pulls.iter().map(|line| line.file.as_str()).collect();
    let message = format!("Enter pull {}: {}", ids.join(", "), unique(&files).join(", "));
    answer.taken_in.written = Some(draft.commit(context, &message)?);
    answer.taken_in.next = next_step(&answer.pulls);
    Ok(answer)
}

/// What "same as last" would copy for a pull, to be read and agreed to before it is entered.
///
/// # Errors
/// The session has no pull to copy from.
pub fn as_last(book: &Book, request: &PullRequest) -> Result<Vec<String>, Failure> {
    let library = Library::at_head(book)?;
    let session = match &request.session {
        Some(session) => Some(session.clone()),
        None => names::newest_session(&library)?,
    };
    let Some(session) = session else {
        return Ok(Vec::new());
    };
    enter_record::last_words(&library, &session, request)
}

/// The runs that the console counted before the files offered and that the session has no pull of, as their files would be
/// called.
///
/// # Errors
/// A record does not hold.
pub fn missing_runs(book: &Book, request: &PullRequest) -> Result<Vec<String>, Failure> {
    let library = Library::at_head(book)?;
    let session = match &request.session {
        Some(session) => Some(session.clone()),
        None => names::newest_session(&library)?,
    };
    let Some(session) = session else { return Ok(Vec::new()) };
    let order = enter_record::next_order(&library, &session, request.order)?;
    let mut missing = Vec::new();
    for offered in &request.files {
        if let Offered::File(path) = offered {
            for run in run_gaps::before(&library, &session, order, &file_name(path))? {
                let offered = request
                    .files
                    .iter()
                    .any(|other| matches!(other, Offered::File(path) if file_name(path).starts_with(&run)));
                if !offered && !missing.contains(&run) {
                    missing.push(run);
                }
            }
        }
    }
    Ok(missing)
}

fn unique<'t>(texts: &[&'t str]) -> Vec<&'t str> {
    let mut seen: Vec<&str> = Vec::new();
    for text in texts {
        if !seen.contains(text) {
            seen.push(text);
        }
    }
    seen
}

fn next_step(pulls: &[PullLine]) -> String {
    match pulls.last() {
        Some(last) if last.gaps.is_empty() => format!("mulebook diff BASE {}", last.pull),
        Some(last) => format!("mulebook gaps {} --fill   asks for what is not documented yet", last.pull),
        None => String::new(),
    }
}

/// Conditions from a YAML file of `NAME: VALUE` lines, as `NAME=VALUE`.
///
/// # Errors
/// The file cannot be read or is not such a list.
pub fn conditions_from(path: &Path) -> Result<Vec<String>, Failure> {
    let mut source = Source::open(path)?;
    let name = file_name(path);
    let bytes = source
        .head(yaml::LONGEST_MANIFEST + 1)
        .map_err(|error| Finding::error("conditions-file", format!("{name} could not be read: {error}")))?;
    let root = yaml::read(&name, &bytes)?;
    let pairs = root.entries().iter().map(|(key, value)| match (key.text(), value.text()) {
        (Some(key), Some(value)) => Ok(format!("{key}={value}")),
        _ => Err(Failure::fault(
            Finding::error("conditions-file", "a line of this file is not a name and a value")
                .at(Place::file(name.clone()).line(key.line))
                .expected("NAME: VALUE, as air-temperature: 21.4 degC"),
        )),
    });
    pairs.collect()
}

/// The session of the pull: the one named, the newest, or one begun now.
fn session(draft: &mut Draft<'_>, context: &Context, request: &PullRequest) -> Result<String, Failure> {
    let named = match &request.session {
        Some(named) => Some(named.clone()),
        None => names::newest_session(draft.library())?,
    };
    if let Some(tag) = &named
        && draft.library().session(tag)?.is_some()
    {
        return Ok(tag.clone());
    }
    let cells = draft.library().tags("cells")?;
    let cell = match (&request.cell, cells.as_slice()) {
        (Some(cell), _) => cell.clone(),
        (None, [only]) => only.clone(),
        (None, _) => {
            return Err(Finding::error("session-missing", "the book has no session for this pull yet")
                .next(
                    "begin one: `mulebook session TAG --cell CELL`, or name the cell here with `--cell CELL`",
                )
                .into());
        }
    };
    let tag = named.unwrap_or_else(|| context.now.format("%m%da").to_string());
    let session =
        SessionRequest { tag: tag.clone(), cell, by: request.by.clone(), ..SessionRequest::default() };
    make_place::put_session(draft, context, &session)?;
    Ok(tag)
}

/// The altitude of a session's cell in m, where it is known.
pub(super) fn altitude_m(library: &Library, session: &str) -> Result<Option<f64>, Failure> {
    let Some(session) = library.session(session)? else {
        return Ok(None);
    };
    let Some(cell) = library.cell(&session.cell)? else {
        return Ok(None);
    };
    let altitude = cell.figures.get("altitude").and_then(|figure| figure.standing(Course::Fixed, None));
    Ok(altitude.and_then(|standing| match standing.entry.known.value() {
        Some(Value::Quantity(reading)) => Some(reading.mean().si()),
        _ => None,
    }))
}

/// Whether the barometer channel of the file looks reduced to sea level for the cell's altitude.
fn barometer_doubt(
    library: &Library,
    session: &str,
    columns: &Columns,
    summary: &Summary,
) -> Result<Option<Finding>, Failure> {
    let barometer = columns
        .channels
        .iter()
        .zip(&summary.channels)
        .find(|(column, _)| column.quantity == ChannelQuantity::Barometer);
    let Some((column, pressure_pa)) = barometer.and_then(|(column, channel)| {
        let unit = Unit::parse(column.unit.as_deref()?, QuantityKind::PressureAbsolute).ok()?;
        Some((column, unit.to_si(channel.mean?)))
    }) else {
        return Ok(None);
    };
    let altitude = altitude_m(library, session)?;
    let doubt = altitude.and_then(|altitude| raw::sea_level_doubt(pressure_pa, altitude));
    let first_row = summary.segments.first().map_or(1, |segment| segment.first_line);
    let place = Place::default().line(usize::try_from(first_row).unwrap_or(usize::MAX));
    Ok(doubt.map(|doubt| doubt.at(place.field(column.name.as_str()))))
}

/// The pull that holds these bytes and this segment already.
fn held_by(library: &Library, table: &Table, segment: Option<usize>) -> Result<Option<String>, Failure> {
    // Bytes that are new to the book cannot be in a pull; only then is every pull left unread.
    if !table.raw.already {
        return Ok(None);
    }
    for id in library.pull_paths()?.keys() {
        let Ok(Some(pull)) = library.pull(id) else {
            continue;
        };
        if pull.raw.iter().any(|raw| raw.sha256 == table.raw.sha256 && raw.segment == segment) {
            return Ok(Some(id.clone()));
        }
    }
    Ok(None)
}
