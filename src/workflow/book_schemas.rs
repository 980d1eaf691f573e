//! The schemas that stand in a book: those its records were kept under.
//!
//! Every commit holds, in `.schema/`, the schemas by which its records were checked, so that a record's own commit says
//! under which versions it was kept. Writing by other schemas waits until [`take_over`] has read every record by them.

use std::collections::BTreeMap;
use std::collections::BTreeSet;

use crate::answer::Entered;
use crate::finding::Finding;
use crate::finding::Place;
use crate::manifest::built_in_files;
use crate::store::Book;
use crate::store::ContentId;
use crate::store::Snapshot;
use crate::workflow::Context;
use crate::workflow::Draft;
use crate::workflow::Failure;
use crate::workflow::Library;
use crate::workflow::gate;

/// Where the copies lie.
pub(super) const FOLDER: &str = ".schema/";

/// A schema of the book that is not this program's.
struct Unlike {
    path: String,
    text: &'static str,
    book: Option<u64>,
    program: Option<u64>,
}

impl Unlike {
    fn is_newer(&self) -> bool {
        self.book > self.program
    }

    fn words(&self) -> String {
        match (self.book, self.program) {
            (None, _) => "missing or not readable".to_owned(),
            (Some(book), program) if program == Some(book) => format!("version {book} with another text"),
            (Some(book), _) => format!("version {book}"),
        }
    }
}

/// Where a schema's copy lies in a book.
pub(super) fn path_of(schema: &str) -> String {
    format!("{FOLDER}{schema}.json")
}

/// Holds a book's schemas against the program's before anything is written by them.
///
/// # Errors
/// They differ, with the way on.
pub(super) fn hold(snapshot: &Snapshot) -> Result<(), Failure> {
    let unlike = unlike(snapshot)?;
    let Some(first) = unlike.iter().find(|schema| schema.is_newer()).or(unlike.first()) else {
        return Ok(());
    };
    let next = if first.is_newer() {
        "use the program that wrote it, or a newer one; reading commands still answer"
    } else {
        "`mulebook keep --schemas` reads every record by this program's schemas and takes them over in one commit"
    };
    Err(Finding::error(
        "other-schemas",
        "this book's records were kept under other schemas than this program's",
    )
    .at(Place::file(&first.path))
    .found(match unlike.len() {
        1 => first.words(),
        2 => format!("{}; one other file differs too", first.words()),
        count => format!("{}; {} others differ too", first.words(), count - 1),
    })
    .expected(first.program.map_or_else(|| "a version".to_owned(), |version| format!("version {version}")))
    .next(next)
    .into())
}

/// Reads every record by this program's schemas and puts these in the place of the book's, in one commit.
///
/// # Errors
/// The book's schemas are newer, are this program's already, or a record does not hold under the program's: each is
/// named and nothing is changed.
pub fn take_over(book: &Book, context: &Context) -> Result<Entered, Failure> {
    let mut draft = Draft::open_under_any_schemas(book, context)?;
    let unlike = unlike(draft.library().snapshot())?;
    if unlike.is_empty() {
        return Err(Finding::error("nothing-changed", "the book's schemas are this program's already").into());
    }
    if unlike.iter().any(Unlike::is_newer) {
        hold(draft.library().snapshot())?;
    }
    for schema in &unlike {
        draft.put(&schema.path, schema.text)?;
    }
    let (records, doubts) = read_all(book, draft.library(), context)?;
    let notes = unlike
        .iter()
        .map(|schema| {
            let version = schema.program.map_or_else(String::new, |version| format!(" -> version {version}"));
            format!("{}: {}{version}", schema.path, schema.words())
        })
        .collect();
    let written = draft.commit_checked(context, "Take over the schemas of the program", doubts)?;
    Ok(Entered {
        did: format!(
            "Read {records} records by this program's schemas; all hold, and the book now has them."
        ),
        notes,
        next: format!("git revert {}   takes it back", written.commit),
        written,
    })
}

fn read_all(book: &Book, library: &Library, context: &Context) -> Result<(usize, Vec<Finding>), Failure> {
    let paths: BTreeSet<String> = library
        .snapshot()
        .files("")?
        .into_iter()
        .map(|(path, _)| path)
        .filter(|path| !matches!(gate::sort_of(path), gate::Sort::Other | gate::Sort::Schema))
        .collect();
    (context.progress)("checking records", 0, Some(paths.len() as u64));
    let doubts = gate::check(book, library, &paths, &BTreeSet::new())?;
    Ok((paths.len(), doubts))
}

fn unlike(snapshot: &Snapshot) -> Result<Vec<Unlike>, Failure> {
    let there: BTreeMap<String, ContentId> = snapshot
        .list(FOLDER.trim_end_matches('/'))?
        .into_iter()
        .map(|entry| (format!("{FOLDER}{}", entry.name), entry.id))
        .collect();
    let mut unlike = Vec::new();
    for (schema, text) in built_in_files() {
        let path = path_of(schema);
        if there.get(&path) == Some(&ContentId::of(text.as_bytes())?) {
            continue;
        }
        let book = snapshot.read(&path)?.as_deref().and_then(version);
        unlike.push(Unlike { path, text, book, program: version(text.as_bytes()) });
    }
    Ok(unlike)
}

fn version(text: &[u8]) -> Option<u64> {
    serde_json::from_slice::<serde_json::Value>(text).ok()?.get("x-version")?.as_u64()
}
