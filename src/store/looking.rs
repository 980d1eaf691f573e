//! Which of very many files hold other bytes than the commit: a file that has not moved since it was last found to be as
//! committed is not read again.
//!
//! It is told by size and times, as git tells it by its index, and with the same caution: a file that was written
//! within the clock tick in which it was looked at is read the next time, too.

use std::path::{Path, PathBuf};

use sha2::{Digest, Sha256};

use super::index::stat_of;
use super::pending::edit_of;
use super::{Book, Cache, ContentId, Error, Pending, path};

/// The kept file; the number goes up when its form changes.
const CACHE: &str = "looked-1";
/// Fewer files than these are read: that is quicker than to look them up.
const FEW: usize = 256;
/// Bytes of a print.
const PRINT: usize = 16;
/// How much older than the moment of looking a file's times must be, in seconds.
const SETTLED: i64 = 2;

/// A file's path, content and place on the disk in few bytes.
type Print = [u8; PRINT];

/// Files to be looked at, apart from the book, so that another thread may do it.
#[derive(Debug)]
pub struct Looking<'f> {
    root: PathBuf,
    cache: Cache,
    files: &'f [(String, Option<ContentId>)],
}

/// What a look at some files found.
#[derive(Default)]
struct Seen {
    pending: Vec<Pending>,
    /// Files that were read and are as committed, with the seconds of their newest time.
    fresh: Vec<(Print, i64)>,
    /// Files that have not moved.
    known: Vec<Print>,
}

impl Book {
    /// Prepares a look at files with git's names for what the last commit has there.
    pub fn looking<'f>(&self, files: &'f [(String, Option<ContentId>)]) -> Looking<'f> {
        Looking { root: self.root().to_owned(), cache: self.cache(), files }
    }
}

impl Looking<'_> {
    /// Those that hold other bytes than in the last commit, in the order in which they were given.
    ///
    /// # Errors
    /// A file cannot be looked at.
    pub fn pending(self) -> Result<Vec<Pending>, Error> {
        if self.files.len() < FEW {
            return Ok(look(&self.root, self.files, None)?.pending);
        }
        let known: Vec<Print> = self
            .cache
            .read(CACHE)
            .map(|bytes| bytes.chunks_exact(PRINT).filter_map(|print| print.try_into().ok()).collect())
            .unwrap_or_default();
        let threads = std::thread::available_parallelism().map_or(1, usize::from);
        let share = self.files.len().div_ceil(threads).max(1);
        let parts = std::thread::scope(|scope| {
            let (root, known) = (&self.root, known.as_slice());
            let looks: Vec<_> = self
                .files
                .chunks(share)
                .map(|files| scope.spawn(move || look(root, files, Some(known))))
                .collect();
            let joined = looks.into_iter().map(|look| look.join());
            joined
                .map(|look| look.unwrap_or_else(|panic| std::panic::resume_unwind(panic)))
                .collect::<Vec<_>>()
        });
        let mut seen = Seen::default();
        for part in parts {
            let part = part?;
            seen.pending.extend(part.pending);
            seen.fresh.extend(part.fresh);
            seen.known.extend(part.known);
        }
        if !seen.fresh.is_empty() {
            // What a look at few of them did not ask for stays known; what one at most of them did not, is gone.
            let few = seen.known.len() < known.len() / 2;
            self.keep(seen.fresh, if few { known } else { seen.known });
        }
        Ok(seen.pending)
    }

    /// Keeps what has settled.
    fn keep(&self, fresh: Vec<(Print, i64)>, mut prints: Vec<Print>) {
        // The clock of the disk that the files are on, which may not be this machine's.
        let Some(now) = self.cache.now() else { return };
        let before = prints.len();
        prints.extend(fresh.into_iter().filter(|(_, newest)| newest + SETTLED < now).map(|(print, _)| print));
        if prints.len() > before {
            prints.sort_unstable();
            self.cache.keep(CACHE, &prints.concat());
        }
    }
}

/// Looks at files, each of which is read but those whose print is known.
fn look(root: &Path, files: &[(String, Option<ContentId>)], known: Option<&[Print]>) -> Result<Seen, Error> {
    let mut seen = Seen::default();
    let mut plain_folder: Option<&str> = None;
    for (inside, content) in files {
        let folder = path::folder_of(inside);
        if plain_folder != Some(folder) {
            // Neighbours share the way to them: one look at it does for all.
            plain_folder = path::locate(root, inside).is_ok().then_some(folder);
        }
        let stat = content
            .filter(|_| plain_folder.is_some() && known.is_some())
            .and_then(|id| Some((id, stat_of(&root.join(inside))?)));
        let print = stat.map(|(id, stat)| (print_of(inside, id, &stat), newest(&stat)));
        if let Some((print, _)) = print
            && known.is_some_and(|known| known.binary_search(&print).is_ok())
        {
            seen.known.push(print);
            continue;
        }
        match edit_of(root, inside, *content)? {
            Some(edit) => seen.pending.push(Pending { path: inside.clone(), edit }),
            None => seen.fresh.extend(print),
        }
    }
    Ok(seen)
}

fn print_of(inside: &str, id: ContentId, stat: &gix::index::entry::Stat) -> Print {
    let mut hash = Sha256::new();
    hash.update(id.0.as_bytes());
    for number in [
        stat.mtime.secs,
        stat.mtime.nsecs,
        stat.ctime.secs,
        stat.ctime.nsecs,
        stat.dev,
        stat.ino,
        stat.uid,
        stat.gid,
        stat.size,
    ] {
        hash.update(number.to_le_bytes());
    }
    hash.update(inside.as_bytes());
    let mut print = [0; PRINT];
    print.copy_from_slice(&hash.finalize()[..PRINT]);
    print
}

fn newest(stat: &gix::index::entry::Stat) -> i64 {
    i64::from(stat.mtime.secs.max(stat.ctime.secs))
}
