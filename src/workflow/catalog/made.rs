//! Chunks made from records, on as many threads as there are processors when there is much to do.

use std::collections::BTreeSet;
use std::sync::Mutex;
use std::sync::mpsc;

use crate::store::Book;
use crate::workflow::Failure;
use crate::workflow::Library;
use crate::workflow::catalog::Shelf;
use crate::workflow::catalog::Told;
use crate::workflow::catalog::chunk::Chunk;
use crate::workflow::catalog::chunk::Row;
use crate::workflow::catalog::chunk::Source;
use crate::workflow::catalog::chunk::decode;
use crate::workflow::catalog::chunk::encode;
use crate::workflow::catalog::rows;
use crate::workflow::library::pull_key;

/// A chunk to be made.
pub(super) struct Work {
    pub(super) name: String,
    /// Git's name for the folder's content.
    pub(super) content: Vec<u8>,
    /// The chunk as it was, when rows of records that are as they were still stand.
    pub(super) before: Option<Vec<u8>>,
    /// What those rest on.
    pub(super) needs: BTreeSet<String>,
}

/// A chunk made.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Made {
    pub(super) body: Vec<u8>,
    pub(super) needs: BTreeSet<String>,
    /// A record of it does not hold.
    pub(super) faulty: bool,
    /// How many records were read for it.
    pub(super) read: usize,
}

/// From how many chunks on it pays to open the book once more for each further thread.
const MANY: usize = 8;

/// Makes chunks.
///
/// # Errors
/// The store's.
pub(super) fn all(
    book: &Book,
    library: &Library,
    shelf: Shelf,
    work: Vec<Work>,
    told: Told<'_>,
) -> Result<Vec<(String, Made)>, Failure> {
    let whole = work.len() as u64;
    let threads = match work.len() {
        0..MANY => 1,
        _ => std::thread::available_parallelism().map_or(1, usize::from),
    };
    let mut made = Vec::new();
    if threads == 1 {
        for (done, work) in work.into_iter().enumerate() {
            told("cataloguing", done as u64, Some(whole));
            made.push(one(book, library, shelf, work)?);
        }
        return Ok(made);
    }
    let (root, commit) = (book.root().to_owned(), library.commit());
    let waiting = Mutex::new(work.into_iter());
    let (send, receive) = mpsc::channel();
    std::thread::scope(|scope| {
        for _ in 0..threads {
            let (send, waiting, root) = (send.clone(), &waiting, &root);
            scope.spawn(move || {
                let outcome = (|| -> Result<(), Failure> {
                    let book = Book::discover(root)?;
                    let library = Library::at(&book, commit)?.remembering();
                    // Many pulls are looked up quicker in a map.
                    library.pull_paths()?;
                    loop {
                        let next = waiting.lock().map(|mut waiting| waiting.next()).unwrap_or_default();
                        let Some(work) = next else { return Ok(()) };
                        if send.send(one(&book, &library, shelf, work)).is_err() {
                            return Ok(());
                        }
                    }
                })();
                if let Err(failure) = outcome {
                    let _ = send.send(Err(failure));
                }
            });
        }
        drop(send);
        for (done, found) in receive.into_iter().enumerate() {
            told("cataloguing", done as u64, Some(whole));
            made.push(found?);
        }
        Ok(made)
    })
}

fn one(book: &Book, library: &Library, shelf: Shelf, work: Work) -> Result<(String, Made), Failure> {
    let before: Option<Chunk<&str>> = work.before.as_deref().and_then(decode);
    let mut made = Made { body: Vec::new(), needs: work.needs, faulty: false, read: 0 };
    let mut found: Vec<(Source<String>, Row)> = Vec::new();
    let sources = rows::sources(library, shelf, &work.name)?;
    made.needs.extend(sources.hidden);
    for (path, content) in sources.files {
        let known = before.as_ref().and_then(|before| {
            let at = before.sources.iter().position(|old| old.path == path && old.content == content)?;
            before.row(at)
        });
        let row = match known {
            Some(row) => Some(row),
            None => {
                made.read += 1;
                let (row, relied) = library.relying(|| rows::of(book, library, shelf, &path));
                let own = path.rsplit('/').next().and_then(|file| file.strip_suffix(".yaml"));
                let own = own.map(pull_key);
                made.needs.extend(relied.into_iter().filter(|key| *key != path && Some(key) != own.as_ref()));
                row.unwrap_or_else(|_| {
                    made.faulty = true;
                    None
                })
            }
        };
        found.extend(row.map(|row| (Source { path, content }, row)));
    }
    let body = Chunk::of(work.content, found).and_then(|chunk| encode(&chunk));
    made.faulty |= body.is_none();
    made.body = body.unwrap_or_default();
    Ok((work.name, made))
}
