//! Raw files as they are taken in, for a pull or a flow sheet: sorted, kept, read by a columns record.

use std::collections::BTreeMap;
use std::path::Path;
use std::path::PathBuf;
use std::sync::Arc;

use crate::answer::EvidenceLine;
use crate::finding::Finding;
use crate::finding::Place;
use crate::manifest::emit::Piece;
use crate::raw;
use crate::raw::Guess;
use crate::raw::Opaque;
use crate::raw::PreambleLine;
use crate::raw::Summary;
use crate::record::columns::Columns;
use crate::store::RawFile;
use crate::store::Source;
use crate::workflow::Context;
use crate::workflow::Draft;
use crate::workflow::Failure;
use crate::workflow::Library;
use crate::workflow::library::columns_path;
use crate::workflow::look;

/// Bytes that show what a file kept as evidence is.
const HEAD: usize = 4096;

/// What is offered for taking in.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Offered {
    /// A file.
    File(PathBuf),
    /// What was typed or pasted in place of one.
    Typed(Vec<u8>),
}

impl Offered {
    /// Whether it was typed.
    pub fn is_typed(&self) -> bool {
        matches!(self, Self::Typed(_))
    }

    /// The name it is kept under; what was typed is named after its record.
    fn name(&self, record: &str) -> String {
        match self {
            Self::File(path) => file_name(path),
            Self::Typed(_) => format!("typed-{record}.txt"),
        }
    }

    fn open(&self) -> Result<Source, Failure> {
        match self {
            Self::File(path) => Ok(Source::open(path)?),
            Self::Typed(bytes) => Ok(Source::typed(bytes.clone())),
        }
    }
}

/// How a table is to be read, as asked.
#[derive(Clone, Copy)]
pub(super) struct Reading<'r> {
    /// The columns record to follow to the letter.
    pub(super) columns: Option<&'r str>,
    /// The name under which guessed columns are kept.
    pub(super) name_columns: Option<&'r str>,
    /// Answers to questions about the file.
    pub(super) answers: &'r [String],
    /// What a guess is told before it is followed.
    pub(super) settle: &'r dyn Fn(&mut Guess) -> Result<(), Failure>,
    /// How a fresh name for guessed columns begins.
    pub(super) stem: &'r str,
    /// The file that the table was exported from.
    pub(super) derived_from: Option<&'r Path>,
}

/// A raw file that was kept as evidence.
pub(super) struct Kept {
    pub(super) name: String,
    pub(super) raw: RawFile,
    pub(super) opaque: Opaque,
    /// Said to be what the table was exported from.
    pub(super) origin: bool,
}

impl Kept {
    /// Whether a table was exported from this file: where it is said, or else where it may hold measurements and is
    /// called as the table is (`run-07.mf4` beside `run-07.csv`).
    fn is_origin_of(&self, table: &str) -> bool {
        let stem = |name: &str| name.rsplit_once('.').map_or(name, |(stem, _)| stem).to_lowercase();
        self.origin || (self.opaque.may_hold_measurements && stem(&self.name) == stem(table))
    }
}

/// The file among the evidence that a table was exported from.
pub(super) fn origin<'k>(evidence: &'k [Kept], table: &str) -> Option<&'k Kept> {
    let said = evidence.iter().find(|kept| kept.origin);
    said.or_else(|| evidence.iter().find(|kept| kept.is_origin_of(table)))
}

/// The evidence as answers tell it.
pub(super) fn evidence_lines(evidence: &[Kept], tables: &[&str]) -> Vec<EvidenceLine> {
    let of = |kept: &Kept| {
        let derived =
            tables.iter().filter(|table| origin(evidence, table).is_some_and(|from| from.name == kept.name));
        EvidenceLine {
            file: kept.name.clone(),
            sha256: kept.raw.sha256.clone(),
            bytes: kept.raw.bytes,
            what: kept.opaque.what.to_owned(),
            derived: derived.map(|table| (*table).to_owned()).collect(),
        }
    };
    evidence.iter().map(of).collect()
}

/// A table that was kept and read.
pub(super) struct Table {
    pub(super) name: String,
    pub(super) raw: RawFile,
    pub(super) columns: Columns,
    pub(super) columns_new: bool,
    pub(super) guess: Option<Guess>,
    pub(super) summary: Summary,
    pub(super) doubts: Vec<Finding>,
    pub(super) typed: bool,
}

impl Table {
    /// The lines above a segment's rows, or above the table.
    pub(super) fn lines_of(&self, segment: Option<usize>) -> Vec<&PreambleLine> {
        let segment = segment.and_then(|number| self.summary.segments.get(number.checked_sub(1)?));
        // What stands right above a segment speaks of it before the file's head does.
        let heading = segment.map(|segment| segment.heading.as_slice()).unwrap_or_default();
        heading.iter().chain(&self.summary.preamble).collect()
    }
}

/// A file's own name, for people.
pub(super) fn file_name(path: &Path) -> String {
    path.file_name().map_or_else(|| path.display().to_string(), |name| name.to_string_lossy().into_owned())
}

/// What was taken for a table, with the guess that it was taken for one by.
pub(super) struct Found<'o> {
    offered: &'o Offered,
    /// None where only the columns record that is followed may read it.
    guess: Option<Guess>,
}

/// The tables among what is offered, and the evidence beside them: what no reader takes for a table.
///
/// # Errors
/// Nothing was named, a file cannot be read, or none is a table.
pub(super) fn sorted<'o>(
    offered: &'o [Offered],
    reading: &Reading<'_>,
) -> Result<(Vec<Found<'o>>, Vec<&'o Offered>), Failure> {
    let mut tables = Vec::new();
    let mut evidence = Vec::new();
    let mut first_refusal = None;
    let is_origin = |one: &Offered| matches!((one, reading.derived_from), (Offered::File(path), Some(origin)) if path == origin);
    for one in offered {
        if is_origin(one) {
            evidence.push(one);
            continue;
        }
        let name = if one.is_typed() { "standard input".to_owned() } else { one.name("") };
        let mut source = one.open()?;
        match look::guess(&mut source, &name, reading.answers) {
            Err(_) if reading.columns.is_some() && !tables.is_empty() => evidence.push(one),
            // A columns record may read what a guess cannot.
            Err(_) if reading.columns.is_some() => tables.push(Found { offered: one, guess: None }),
            Ok(guess) => tables.push(Found { offered: one, guess: Some(guess) }),
            Err(failure) => {
                first_refusal.get_or_insert(failure);
                evidence.push(one);
            }
        }
    }
    match (tables.is_empty(), first_refusal) {
        (true, Some(refusal)) => Err(refusal),
        (true, None) => Err(Failure::usage(Finding::error("no-file", "no file was named"))),
        (false, _) if reading.derived_from.is_some() && tables.len() > 1 => Err(Failure::usage(
            Finding::error("several-tables", "one file is the origin of one table at a time")
                .found(format!("{} tables", tables.len()))
                .next("enter them one by one, each with its own `--derived-from`"),
        )),
        (false, _) => Ok((tables, evidence)),
    }
}

/// Keeps evidence as it came.
///
/// # Errors
/// The store's.
pub(super) fn keep(
    draft: &mut Draft<'_>,
    context: &Context,
    reading: &Reading<'_>,
    evidence: &[&Offered],
) -> Result<Vec<Kept>, Failure> {
    let mut kept = Vec::new();
    for one in evidence {
        let mut source = one.open()?;
        let (name, length) = (one.name("evidence"), source.length());
        let head = source
            .head(HEAD)
            .map_err(|error| Finding::error("raw-file", format!("{name} could not be read: {error}")))?;
        let opaque = raw::opaque(&head, &name);
        let raw =
            draft.take_raw(&mut source, &mut |done| (context.progress)("keeping", done, Some(length)))?;
        let origin =
            matches!((one, reading.derived_from), (Offered::File(path), Some(origin)) if path == origin);
        kept.push(Kept { name, raw, opaque, origin });
    }
    Ok(kept)
}

/// Keeps a table's bytes and reads them as kept. `record` names what was typed.
///
/// # Errors
/// Two readings are possible and nothing settles it, or the bytes do not fit the columns record.
pub(super) fn table(
    draft: &mut Draft<'_>,
    context: &Context,
    reading: &Reading<'_>,
    found: Found<'_>,
    record: &str,
) -> Result<Table, Failure> {
    let offered = found.offered;
    let mut source = offered.open()?;
    let (name, length) = (offered.name(record), source.length());
    // A columns record is followed to the letter; nothing is guessed beside it.
    let mut guess = found.guess.filter(|_| reading.columns.is_none());
    if let Some(guess) = &mut guess {
        (reading.settle)(guess)?;
    }
    let (mut columns, mut columns_new) = self::columns(draft, reading, guess.as_ref(), &name)?;
    let raw = draft.take_raw(&mut source, &mut |done| (context.progress)("keeping", done, Some(length)))?;
    let mut summary = read(draft, context, &raw, &columns, &name)?;
    if guess.as_mut().is_some_and(|guess| guess.parts_what_restarts(&summary)) {
        (columns, columns_new) = self::columns(draft, reading, guess.as_ref(), &name)?;
        summary = read(draft, context, &raw, &columns, &name)?;
    }
    if summary.rows == 0 {
        return Err(Finding::error("no-rows", "no row of numbers was found in the file")
            .at(Place::file(name))
            .into());
    }
    if columns_new {
        put_columns(draft, &columns)?;
    }
    let mut doubts: Vec<Finding> = guess.iter().flat_map(|guess| guess.doubts.clone()).collect();
    doubts.extend(summary.doubts.iter().cloned());
    if guess.is_some() {
        doubts.extend(look::late_marks(&mut offered.open()?, &columns, &name)?);
    }
    let typed = offered.is_typed();
    Ok(Table { name, raw, columns, columns_new, guess, summary, doubts, typed })
}

/// Reads bytes that were just kept.
fn read(
    draft: &Draft<'_>,
    context: &Context,
    kept: &RawFile,
    columns: &Columns,
    name: &str,
) -> Result<Summary, Failure> {
    let mut reader = draft.open_raw(&kept.sha256)?.ok_or_else(|| {
        Finding::error("raw-file", "the bytes just kept cannot be opened").found(kept.sha256.clone())
    })?;
    let mut rows = 0;
    raw::read(&mut reader, columns, &mut |batch| {
        rows += batch.rows() as u64;
        (context.progress)("reading", rows, None);
    })
    .map_err(|error| {
        let mut failure = Failure::from(error);
        for finding in &mut failure.findings {
            finding.place.get_or_insert_with(|| Place::file(name.to_owned()));
        }
        failure
    })
}

/// The columns record to follow: the one named, one in the book that reads the file alike, or the guess under a new
/// name. Where two readings are possible and no record settles it, nothing is entered.
fn columns(
    draft: &Draft<'_>,
    reading: &Reading<'_>,
    guess: Option<&Guess>,
    name: &str,
) -> Result<(Columns, bool), Failure> {
    let library = draft.library();
    if let Some(named) = reading.columns {
        return match library.columns(named)? {
            Some(columns) => Ok((Arc::unwrap_or_clone(columns), false)),
            None => Err(look::no_columns(library, named)),
        };
    }
    let Some(guess) = guess else {
        return Err(Finding::error("raw-file", "nothing was read").into());
    };
    let guessed = guess.clone().into_columns("guessed");
    let mut alike = Vec::new();
    for known in library.tags("columns")? {
        let Some(record) = library.columns(&known)?.map(Arc::unwrap_or_clone) else {
            continue;
        };
        let same_reading = Columns { name: guessed.name.clone(), note: None, ..record.clone() } == guessed;
        if same_reading || (same_headers(&record, &guessed) && !guess.questions.is_empty()) {
            alike.push(record);
        }
    }
    if let (Some(record), None) = (alike.pop(), reading.name_columns) {
        return Ok((record, false));
    }
    if let Some(failure) = look::asked(guess, name) {
        return Err(failure);
    }
    let fresh = match reading.name_columns {
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
            wanted.to_owned()
        }
        None => fresh_name(library, reading.stem)?,
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

/// A free name: the stem with a number.
fn fresh_name(library: &Library, stem: &str) -> Result<String, Failure> {
    let taken = library.tags("columns")?;
    let fresh = (1u32..).map(|number| format!("{stem}-{number}")).find(|name| !taken.contains(name));
    Ok(fresh.unwrap_or_else(|| stem.to_owned()))
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
///
/// # Errors
/// The file has no such segment.
pub(super) fn chosen_segments(table: &Table, wanted: Option<usize>) -> Result<Vec<Option<usize>>, Failure> {
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
