//! What interrupted commands left lying about: never part of a record, listed before it is cleaned.

use std::fs;
use std::path::{Path, PathBuf};

use super::path::{Standing, standing};
use super::{Book, Error, Mending, sync};

/// How old a lock or a temporary file of git must be before it may go, in seconds: git holds a lock for moments, packs
/// for minutes.
const OLD: u64 = 3600;

/// One thing that was left lying about.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Litter {
    /// Path inside the book.
    pub path: String,
    /// What it is.
    pub what: &'static str,
    /// Its length in bytes.
    pub bytes: u64,
    /// Why it may not go yet; none when it may.
    pub stays: Option<&'static str>,
}

/// Whose it is, which decides when it may go.
#[derive(Clone, Copy, PartialEq, Eq)]
enum Owner {
    /// This store's: with the book's lock held and the journal settled, no command is at work on it.
    Store,
    /// Git's: it goes when it is old and no git command runs in the book.
    Git,
}

impl Mending {
    /// What lies about. `now` is in seconds since 1970, UTC.
    ///
    /// # Errors
    ///
    /// [`Error::Io`].
    pub fn litter(&self, now: i64) -> Result<Vec<Litter>, Error> {
        let book = self.book();
        let git = book.repo().common_dir().to_owned();
        let mut found: Vec<(PathBuf, &'static str, Owner)> = Vec::new();
        parts(book.root(), &mut found);
        let state = book.state_path();
        for path in below(&state.join("incoming")) {
            found.push((path, "a raw file half taken in", Owner::Store));
        }
        for path in files(&state) {
            let name = name_of(&path);
            if name.starts_with("scratch-") {
                found.push((path, "a scratch folder", Owner::Store));
            } else if name.ends_with(".new") || name == "reference" {
                found.push((path, "a file that was being written", Owner::Store));
            }
        }
        for path in files(&state.join("cache")).into_iter().filter(|path| name_of(path).ends_with(".new")) {
            found.push((path, "a file of the cache that was being written", Owner::Store));
        }
        for path in below(&git.join("objects")) {
            if name_of(&path).starts_with("tmp_") || name_of(&path).starts_with(".tmp") {
                found.push((path, "a git object that was being written", Owner::Git));
            } else if is_empty_object(&path) {
                // Git gives an object its name when it is written: one without bytes is what a loss of power left of it.
                found.push((path, "a git object of which no byte arrived", Owner::Store));
            }
        }
        let locks = files(&git).into_iter().chain(below(&git.join("refs")));
        for path in locks.filter(|path| name_of(path).ends_with(".lock")) {
            found.push((path, "a lock of git", Owner::Git));
        }
        let git_runs = git_runs_in(book.root());
        let mut litter = Vec::new();
        for (path, what, owner) in found {
            let Ok(metadata) = fs::symlink_metadata(&path) else { continue };
            let age = metadata
                .modified()
                .ok()
                .and_then(|time| time.duration_since(std::time::UNIX_EPOCH).ok())
                .and_then(|since| u64::try_from(now).ok()?.checked_sub(since.as_secs()));
            let old = age.is_some_and(|age| age >= OLD);
            let stays = match (owner, git_runs) {
                (Owner::Store, _) => None,
                (Owner::Git, Some(true)) => Some("a git command runs in this book"),
                (Owner::Git, None) => {
                    Some("whether a git command runs cannot be seen here: remove it by hand when none does")
                }
                (Owner::Git, Some(false)) if !old => Some("it is less than an hour old"),
                (Owner::Git, Some(false)) => None,
            };
            let bytes = if metadata.is_file() { metadata.len() } else { 0 };
            litter.push(Litter { path: book.inside(&path), what, bytes, stays });
        }
        litter.sort_by(|a, b| a.path.cmp(&b.path));
        Ok(litter)
    }

    /// Removes something that [`Mending::litter`] listed and that may go.
    ///
    /// # Errors
    ///
    /// [`Error::Io`].
    pub fn clean(&self, litter: &Litter) -> Result<(), Error> {
        if litter.stays.is_some() {
            return Ok(());
        }
        let place = self.book().root().join(&litter.path);
        match standing(&place)? {
            Standing::Nothing => return Ok(()),
            Standing::Folder => fs::remove_dir_all(&place).map_err(Error::io("remove", &place))?,
            _ => sync::remove(&place)?,
        }
        sync::folder_sync(place.parent().unwrap_or(self.book().root()))
    }
}

/// Files beside those they were to replace, and a half set up repository.
fn parts(root: &Path, found: &mut Vec<(PathBuf, &'static str, Owner)>) {
    let mut open = vec![root.to_owned()];
    while let Some(folder) = open.pop() {
        for path in files(&folder) {
            let name = name_of(&path);
            match standing(&path) {
                Ok(Standing::Folder) if name == ".mulebook-new" => {
                    found.push((path, "a new book that was being set up", Owner::Store));
                }
                Ok(Standing::Folder) if name != ".git" => open.push(path),
                Ok(Standing::File(_)) if is_part(&name) => {
                    found.push((path, "a file that was being written", Owner::Store));
                }
                _ => {}
            }
        }
    }
}

/// Whether a name is one that this store gives to a file on its way: a process and a number.
fn is_part(name: &str) -> bool {
    let Some(inner) = name.strip_prefix(super::journal::STAGE).and_then(|rest| rest.strip_suffix(".part"))
    else {
        return false;
    };
    !inner.is_empty()
        && inner.split('-').all(|word| !word.is_empty() && word.bytes().all(|b| b.is_ascii_digit()))
}

/// Whether a file has the name of a loose object and no bytes: there is nothing in it to lose.
fn is_empty_object(path: &Path) -> bool {
    let hex = |name: &str| name.bytes().all(|b| b.is_ascii_hexdigit());
    let folder = path.parent().map(name_of).unwrap_or_default();
    let name = name_of(path);
    folder.len() == 2
        && hex(&folder)
        && name.len() >= 38
        && hex(&name)
        && matches!(standing(path), Ok(Standing::File(_)))
        && fs::metadata(path).is_ok_and(|metadata| metadata.len() == 0)
}

/// What stands in a folder.
fn files(folder: &Path) -> Vec<PathBuf> {
    let mut paths: Vec<PathBuf> =
        fs::read_dir(folder).into_iter().flatten().flatten().map(|entry| entry.path()).collect();
    paths.sort();
    paths
}

/// The files at any depth below a folder.
fn below(folder: &Path) -> Vec<PathBuf> {
    let mut found = Vec::new();
    let mut open = vec![folder.to_owned()];
    while let Some(folder) = open.pop() {
        for path in files(&folder) {
            match standing(&path) {
                Ok(Standing::Folder) => open.push(path),
                _ => found.push(path),
            }
        }
    }
    found
}

fn name_of(path: &Path) -> String {
    path.file_name().unwrap_or_default().to_string_lossy().into_owned()
}

/// Whether a git command runs with its current folder in the book; `None` where the system does not show it.
fn git_runs_in(root: &Path) -> Option<bool> {
    let processes = fs::read_dir("/proc").ok()?;
    let mut seen = false;
    for entry in processes.flatten() {
        if !name_of(&entry.path()).bytes().all(|b| b.is_ascii_digit()) {
            continue;
        }
        seen = true;
        let command = fs::read_to_string(entry.path().join("comm")).unwrap_or_default();
        if command.trim_end() == "git" || command.starts_with("git-") {
            let here = match fs::read_link(entry.path().join("cwd")) {
                Ok(there) => there.starts_with(root),
                // It has ended meanwhile. A folder that may not be seen may be this one.
                Err(error) => error.kind() != std::io::ErrorKind::NotFound,
            };
            if here {
                return Some(true);
            }
        }
    }
    seen.then_some(false)
}

impl Book {
    /// Whether git's lock on the index is held by something that is not this store.
    pub fn index_is_held(&self) -> bool {
        let lock = self.repo().index_path().with_extension("lock");
        matches!(standing(&lock), Ok(Standing::File(_))) && !self.index_lock_is_left_over()
    }
}
