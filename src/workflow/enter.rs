//! Take in raw files as pulls: keep the bytes, read, check, record, one commit.

use std::collections::BTreeMap;
use std::path::Path;
use std::path::PathBuf;

use crate::answer::GapLine;
use crate::answer::PullEntered;
use crate::answer::PullLine;
use crate::check;
use crate::finding::Finding;
use crate::finding::Place;
use crate::manifest::emit::Piece;
use crate::manifest::yaml;
use crate::raw;
use crate::raw::Guess;
use crate::raw::Summary;
use crate::record::columns::Columns;
use crate::store::Book;
use crate::store::RawFile;
use crate::store::Source;
use crate::workflow::Context;
use crate::workflow::Draft;
use crate::workflow::Failure;
use crate::workflow::Library;
use crate::workflow::enter_record;
use crate::workflow::enter_record::Entering;
use crate::workflow::gather;
use crate::workflow::library::columns_path;
use crate::workflow::look;
use crate::workflow::make_place;
use crate::workflow::make_place::SessionRequest;
use crate::workflow::names;

/// What `pull` is asked.
#[derive(Debug, Clone, Default)]
pub struct PullRequest {
    /// The files: tables, and beside them photos and other evidence.
    pub files: Vec<PathBuf>,
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
    let (tables, evidence) = sorted_files(request)?;
    let mut draft = Draft::open(book, context)?;
    let session = session(&mut draft, context, request)?;
    let mut answer = PullEntered {
        pulls: Vec::new(),
        already: Vec::new(),
        columns: None,
        columns_new: false,
        channels: Vec::new(),
        doubts: Vec::new(),
        written: None,
        next: String::new(),
    };
    let kept_evidence = keep_files(&mut draft, context, &evidence)?;
    let mut order = enter_record::next_order(draft.library(), &session, request.order)?;
    let mut entered = Vec::new();
    for path in &tables {
        let table = take_table(&mut draft, context, request, &session, path, &mut answer)?;
        answer.channels = look::channel_lines(&table.summary, table.guess.as_ref());
        let segments = chosen_segments(&table, request.segment)?;
        for segment in segments {
            if let Some(holder) = held_by(draft.library(), &table, segment)? {
                answer.already.push(format!("{} is {holder} already", table.name));
                continue;
            }
            let entering =
                Entering { session: &session, order, table: Some(&table), segment, evidence: &kept_evidence };
            let (line, path) = enter_record::put(&mut draft, context, request, &entering)?;
            order += 1;
            entered.push((line, path));
        }
        answer.doubts.extend(table.doubts);
    }
    if entered.is_empty() {
        answer.next = "nothing new was entered: these bytes are in the book".to_owned();
        return Ok(answer);
    }
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
    answer.written = Some(draft.commit(context, &message)?);
    answer.next = next_step(&answer.pulls);
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

/// The tables among the files, and the evidence beside them: what no reader takes for a table.
fn sorted_files(request: &PullRequest) -> Result<(Vec<PathBuf>, Vec<PathBuf>), Failure> {
    let mut tables = Vec::new();
    let mut evidence = Vec::new();
    let mut first_refusal = None;
    for path in &request.files {
        if request.columns.is_some() {
            let mut source = Source::open(path)?;
            match look::guess(&mut source, &file_name(path), &request.read) {
                Err(failure) if !tables.is_empty() => {
                    drop(failure);
                    evidence.push(path.clone());
                }
                _ => tables.push(path.clone()),
            }
            continue;
        }
        let mut source = Source::open(path)?;
        match look::guess(&mut source, &file_name(path), &request.read) {
            Ok(_) => tables.push(path.clone()),
            Err(failure) => {
                first_refusal.get_or_insert(failure);
                evidence.push(path.clone());
            }
        }
    }
    match (tables.is_empty(), first_refusal) {
        (true, Some(refusal)) => Err(refusal),
        (true, None) => Err(Failure::usage(Finding::error("no-file", "no file was named"))),
        (false, _) => Ok((tables, evidence)),
    }
}

/// A file's own name, for people.
pub fn file_name_of(path: &Path) -> String {
    file_name(path)
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

fn file_name(path: &Path) -> String {
    path.file_name().map_or_else(|| path.display().to_string(), |name| name.to_string_lossy().into_owned())
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

/// A raw file that was kept.
pub(super) struct Kept {
    pub(super) name: String,
    pub(super) raw: RawFile,
}

/// A table that was kept and read.
pub(super) struct Table {
    pub(super) name: String,
    pub(super) raw: RawFile,
    pub(super) columns: Columns,
    pub(super) guess: Option<Guess>,
    pub(super) summary: Summary,
    pub(super) doubts: Vec<Finding>,
}

fn keep_files(draft: &mut Draft<'_>, context: &Context, paths: &[PathBuf]) -> Result<Vec<Kept>, Failure> {
    let mut kept = Vec::new();
    for path in paths {
        let mut source = Source::open(path)?;
        let (name, length) = (file_name(path), source.length());
        let raw =
            draft.take_raw(&mut source, &mut |done| (context.progress)("keeping", done, Some(length)))?;
        kept.push(Kept { name, raw });
    }
    Ok(kept)
}

/// Keeps a table's bytes and reads them as kept.
fn take_table(
    draft: &mut Draft<'_>,
    context: &Context,
    request: &PullRequest,
    session: &str,
    path: &Path,
    answer: &mut PullEntered,
) -> Result<Table, Failure> {
    let mut source = Source::open(path)?;
    let (name, length) = (file_name(path), source.length());
    let guess = match &request.columns {
        Some(_) => None,
        None => Some(look::guess(&mut source, &name, &request.read)?),
    };
    let (columns, is_new) = columns(draft, request, session, guess.as_ref(), &name)?;
    let raw = draft.take_raw(&mut source, &mut |done| (context.progress)("keeping", done, Some(length)))?;
    let mut reader = draft.open_raw(&raw.sha256)?.ok_or_else(|| {
        Finding::error("raw-file", "the bytes just kept cannot be opened").found(raw.sha256.clone())
    })?;
    let mut rows = 0;
    let summary = raw::read(&mut reader, &columns, &mut |batch| {
        rows += batch.rows() as u64;
        (context.progress)("reading", rows, None);
    })
    .map_err(|error| {
        let mut failure = Failure::from(error);
        for finding in &mut failure.findings {
            finding.place.get_or_insert_with(|| Place::file(name.clone()));
        }
        failure
    })?;
    if summary.rows == 0 {
        return Err(Finding::error("no-rows", "no row of numbers was found in the file")
            .at(Place::file(name))
            .into());
    }
    if is_new {
        put_columns(draft, &columns)?;
    }
    answer.columns = Some(columns.name.clone());
    answer.columns_new |= is_new;
    let mut doubts: Vec<Finding> = guess.iter().flat_map(|guess| guess.doubts.clone()).collect();
    doubts.extend(summary.doubts.iter().cloned());
    doubts.extend(barometer_doubt(draft.library(), session, &columns, &summary)?);
    let doubts = look::named_doubts(doubts, &name);
    Ok(Table { name, raw, columns, guess, summary, doubts })
}

/// Whether the barometer in the file looks reduced to sea level for the cell's altitude.
fn barometer_doubt(
    library: &Library,
    session: &str,
    columns: &Columns,
    summary: &Summary,
) -> Result<Option<Finding>, Failure> {
    use crate::quantity::QuantityKind;
    use crate::record::channel::ChannelQuantity;
    let Some(session) = library.session(session)? else {
        return Ok(None);
    };
    let Some(cell) = library.cell(&session.cell)? else {
        return Ok(None);
    };
    let altitude = cell
        .figures
        .get("altitude")
        .and_then(|figure| figure.standing(crate::record::Course::Fixed, None))
        .and_then(|standing| match standing.entry.known.value() {
            Some(crate::record::Value::Quantity(reading)) => Some(reading.mean().si()),
            _ => None,
        });
    let barometer = columns
        .channels
        .iter()
        .zip(&summary.channels)
        .find(|(column, _)| column.quantity == ChannelQuantity::Barometer);
    let pressure = barometer.and_then(|(column, channel)| {
        let unit =
            crate::quantity::Unit::parse(column.unit.as_deref()?, QuantityKind::PressureAbsolute).ok()?;
        channel.mean.map(|mean| unit.to_si(mean))
    });
    Ok(match (pressure, altitude) {
        (Some(pressure), Some(altitude)) => raw::sea_level_doubt(pressure, altitude),
        _ => None,
    })
}

/// The columns record to follow: the one named, one in the book that reads the file alike, or the guess under a new
/// name. Where two readings are possible and no record settles it, nothing is entered.
fn columns(
    draft: &Draft<'_>,
    request: &PullRequest,
    session: &str,
    guess: Option<&Guess>,
    name: &str,
) -> Result<(Columns, bool), Failure> {
    let library = draft.library();
    if let Some(named) = &request.columns {
        return match library.columns(named)? {
            Some(columns) => Ok((columns, false)),
            None => Err(look::no_columns(library, named)),
        };
    }
    let Some(guess) = guess else {
        return Err(Finding::error("raw-file", "nothing was read").into());
    };
    let guessed = guess.clone().into_columns("guessed");
    let mut alike = Vec::new();
    for known in library.tags("columns")? {
        let Some(record) = library.columns(&known)? else {
            continue;
        };
        let same_reading = Columns { name: guessed.name.clone(), note: None, ..record.clone() } == guessed;
        if same_reading || (same_headers(&record, &guessed) && !guess.questions.is_empty()) {
            alike.push(record);
        }
    }
    if let (Some(record), None) = (alike.pop(), &request.name_columns) {
        return Ok((record, false));
    }
    if let Some(failure) = look::asked(guess, name) {
        return Err(failure);
    }
    let fresh = match &request.name_columns {
        Some(wanted) => {
            if library.columns(wanted)?.is_some() {
                return Err(Finding::error(
                    "name-taken",
                    "a columns record of this name is in the book already",
                )
                .found(format!("`{wanted}`"))
                .next("follow it with `--columns`, or choose another name")
                .into());
            }
            wanted.clone()
        }
        None => fresh_name(library, session)?,
    };
    Ok((Columns { name: fresh, ..guessed }, true))
}

fn same_headers(record: &Columns, guessed: &Columns) -> bool {
    let headers = |columns: &Columns| -> BTreeMap<String, ()> {
        columns
            .channels
            .iter()
            .filter_map(|column| column.header.clone().map(|header| (header, ())))
            .collect()
    };
    let (known, found) = (headers(record), headers(guessed));
    !known.is_empty()
        && record.layout.delimiter == guessed.layout.delimiter
        && known.keys().all(|header| found.contains_key(header))
}

/// A free name: the cell's with a number.
fn fresh_name(library: &Library, session: &str) -> Result<String, Failure> {
    let cell = library.session(session)?.map_or_else(|| "columns".to_owned(), |session| session.cell);
    let taken = library.tags("columns")?;
    let fresh = (1u32..).map(|number| format!("{cell}-{number}")).find(|name| !taken.contains(name));
    Ok(fresh.unwrap_or(cell))
}

fn put_columns(draft: &mut Draft<'_>, columns: &Columns) -> Result<(), Failure> {
    let entries = match piece_of(&columns.to_value(), 0) {
        Piece::Block(entries) => entries,
        _ => Vec::new(),
    };
    draft.put_new(&columns_path(&columns.name), "columns", &entries)
}

/// A JSON value as a piece: the first levels spread over lines, the rest in braces.
fn piece_of(value: &serde_json::Value, depth: usize) -> Piece {
    match value {
        serde_json::Value::Object(map) => {
            let entries = map.iter().map(|(key, value)| (key.clone(), piece_of(value, depth + 1))).collect();
            if depth <= 1 { Piece::Block(entries) } else { Piece::Line(entries) }
        }
        serde_json::Value::Array(items) => {
            let pieces: Vec<Piece> = items.iter().map(|item| piece_of(item, depth + 1)).collect();
            if depth <= 1 && items.iter().any(serde_json::Value::is_object) {
                Piece::List(pieces)
            } else {
                Piece::Row(pieces)
            }
        }
        serde_json::Value::String(text) => Piece::word(text),
        serde_json::Value::Number(number) => Piece::Number(number.to_string()),
        serde_json::Value::Bool(flag) => Piece::Flag(*flag),
        serde_json::Value::Null => Piece::Number("null".to_owned()),
    }
}

/// Which segments of a table are entered: all, or the one asked for. A table of one pull has none by number.
fn chosen_segments(table: &Table, wanted: Option<usize>) -> Result<Vec<Option<usize>>, Failure> {
    let count = table.summary.segments.len();
    match wanted {
        Some(number) if number == 0 || number > count => Err(Failure::usage(
            Finding::error("no-segment", "the file has no such segment")
                .at(Place::file(table.name.clone()))
                .found(number.to_string())
                .expected(format!("1 to {count}")),
        )),
        Some(number) => Ok(vec![(count > 1).then_some(number)]),
        None if count > 1 => Ok((1..=count).map(Some).collect()),
        None => Ok(vec![None]),
    }
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
