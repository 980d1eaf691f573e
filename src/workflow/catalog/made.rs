//! Chunks made from records, on as many threads as there are processors when there is much to do.

use std::collections::BTreeSet;

use crate::store::Book;
use crate::store::ContentId;
use crate::store::RowCheck;
use crate::workflow::Failure;
use crate::workflow::Library;
use crate::workflow::catalog::Shelf;
use crate::workflow::catalog::Told;
use crate::workflow::catalog::alike::Alike;
use crate::workflow::catalog::chunk::Chunk;
use crate::workflow::catalog::chunk::Row;
use crate::workflow::catalog::chunk::Source;
use crate::workflow::catalog::chunk::decode;
use crate::workflow::catalog::chunk::encode;
use crate::workflow::catalog::rows;
use crate::workflow::catalog::rows::Found;
use crate::workflow::catalog::rows::Rows;
use crate::workflow::library::pull_key;
use crate::workflow::threads;
use crate::workflow::threads::MANY;
use crate::workflow::wear::Counts;
use crate::workflow::wear::Tally;

/// A chunk to be made.
pub(super) struct Work {
    pub(super) name: String,
    /// Git's name for the folder's content.
    pub(super) content: Vec<u8>,
    /// The chunk as it was, when rows of records that are as they were still stand; of one shelf alone.
    pub(super) before: Option<Vec<u8>>,
    /// What those rest on.
    pub(super) needs: BTreeSet<String>,
}

/// What was made of a folder.
pub(super) struct Chunks {
    pub(super) name: String,
    /// Shelf by shelf as they were asked for.
    pub(super) made: Vec<Made>,
    /// What its pulls wear, where each of them was read.
    pub(super) worn: Option<Counts>,
}

/// A chunk made.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Made {
    pub(super) body: Vec<u8>,
    /// The check of its row, where it was kept as it is.
    pub(super) seal: Option<RowCheck>,
    pub(super) needs: BTreeSet<String>,
    /// A record of it does not hold.
    pub(super) faulty: bool,
    /// How many records were read for it.
    pub(super) read: usize,
}

/// Chunks that a thread makes before it forgets the records read for them: of a large book they take much room.
const AT_ONCE: usize = 128;

/// Makes the chunks of shelves that hold records of one sort.
///
/// # Errors
/// The store's.
pub(super) fn all(
    book: &Book,
    library: &Library,
    shelves: &[Shelf],
    work: Vec<Work>,
    told: Told<'_>,
) -> Result<Vec<Chunks>, Failure> {
    let whole = Some(work.len() as u64);
    let done = |count| told("cataloguing", count, whole);
    if work.len() < MANY {
        let work = (0..).zip(work).map(|(count, work)| {
            done(count);
            one(book, library, shelves, work)
        });
        return work.collect();
    }
    let (root, commit) = (book.root().to_owned(), library.commit());
    let begin = || {
        let book = Book::discover(&root)?;
        let library = Library::at(&book, commit)?.remembering().uncounted();
        // Many pulls are looked up quicker in a map.
        library.pull_paths()?;
        Ok((book, library, 0))
    };
    threads::share(
        work,
        begin,
        |(book, library, since), work| {
            if *since == AT_ONCE {
                library.forget();
                *since = 0;
            }
            *since += 1;
            one(book, library, shelves, work)
        },
        &done,
    )
}

fn one(book: &Book, library: &Library, shelves: &[Shelf], work: Work) -> Result<Chunks, Failure> {
    let before: Option<Chunk<&str>> = work.before.as_deref().and_then(decode);
    let sources = match shelves.first() {
        Some(shelf) => rows::sources(library, *shelf, &work.name)?,
        None => return Ok(Chunks { name: work.name, made: Vec::new(), worn: None }),
    };
    let mut needs = work.needs;
    let all_here = sources.hidden.is_empty();
    needs.extend(sources.hidden);
    let made = || Made { body: Vec::new(), seal: None, needs: needs.clone(), faulty: false, read: 0 };
    let mut made: Vec<Made> = shelves.iter().map(|_| made()).collect();
    let mut found: Vec<Vec<(Source<String>, Row)>> = shelves.iter().map(|_| Vec::new()).collect();
    let mut alike = Alike::default();
    // What neighbours rest on is mostly the same.
    let mut last = BTreeSet::new();
    let content = ContentId::from_bytes(&work.content).map(|id| id.to_string());
    let mut tally = content.filter(|_| all_here).map(|content| Tally::of(&work.name, content));
    for (path, content) in sources.files {
        let known = before.as_ref().and_then(|before| {
            let at = before.sources.iter().position(|old| old.path == path && old.content == content)?;
            before.row(at)
        });
        let own = path.rsplit('/').next().and_then(|file| file.strip_suffix(".yaml")).map(pull_key);
        let rows = match known {
            Some(row) => Rows {
                found: vec![Found { row: Some(row), faulty: false, relied: BTreeSet::new() }],
                relied: BTreeSet::new(),
                ran: None,
            },
            None => {
                made.iter_mut().for_each(|made| made.read += 1);
                rows::of(book, library, shelves, &path, &mut alike)
            }
        };
        match (&mut tally, &rows.ran) {
            (Some(tally), Some(ran)) => tally.add(ran),
            _ => tally = None,
        }
        let is_other = |key: &String| *key != path && Some(key) != own.as_ref();
        let shared: BTreeSet<String> = rows.relied.into_iter().filter(is_other).collect();
        if shared != last {
            made.iter_mut().for_each(|made| made.needs.extend(shared.iter().cloned()));
            last = shared;
        }
        for (of_shelf, (made, found)) in rows.found.into_iter().zip(made.iter_mut().zip(&mut found)) {
            made.needs.extend(of_shelf.relied.into_iter().filter(is_other));
            made.faulty |= of_shelf.faulty;
            let source = || Source { path: path.clone(), content: content.clone() };
            found.extend(of_shelf.row.map(|row| (source(), row)));
        }
    }
    for (made, found) in made.iter_mut().zip(found) {
        let body = Chunk::of(work.content.clone(), found).and_then(|chunk| encode(&chunk));
        made.faulty |= body.is_none();
        made.body = body.unwrap_or_default();
    }
    Ok(Chunks { name: work.name, made, worn: tally.map(Tally::counts) })
}
