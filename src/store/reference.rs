//! Moving the branch from one commit to the next, and only from that one.
//!
//! Done as git does it, with the branch's lock file, an exclusive link and a rename, so that git and this store exclude
//! each other; unlike git's own, a lock left by a killed process can be told from a live one, since it holds the very
//! commit the journal names.

use std::fs::{self, OpenOptions};
use std::io::{ErrorKind, Read, Seek, SeekFrom, Write};
use std::path::{Path, PathBuf};
use std::time::Duration;

use gix::ObjectId;

use super::{Book, Error, sync};

/// How often to try for a branch's lock, and how long to pause in between; git holds it for milliseconds.
const TRIES: u32 = 50;
const PAUSE: Duration = Duration::from_millis(20);
/// How much of a log's end is searched for a line that is there already, in bytes.
const LOG_TAIL: u64 = 64 * 1024;

/// The reference a new commit goes to.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Target {
    /// Its full name, `HEAD` when that is detached.
    pub(super) name: String,
    /// The commit it stands on.
    pub(super) old: Option<ObjectId>,
}

impl Book {
    /// Where HEAD leads now.
    pub(super) fn target(&self) -> Result<Target, Error> {
        let head = self.repo().head().map_err(Error::git("read HEAD"))?;
        let (name, old) = match head.kind {
            gix::head::Kind::Unborn(name) => (name.to_string(), None),
            gix::head::Kind::Detached { target, .. } => ("HEAD".to_owned(), Some(target)),
            gix::head::Kind::Symbolic(branch) => match branch.target {
                gix::refs::Target::Object(id) => (branch.name.to_string(), Some(id)),
                gix::refs::Target::Symbolic(name) => return Err(unsupported(&name.to_string())),
            },
        };
        if name != "HEAD" && !name.starts_with("refs/heads/") {
            return Err(unsupported(&name));
        }
        Ok(Target { name, old })
    }

    /// What a reference holds now.
    pub(super) fn reference(&self, name: &str) -> Result<Option<ObjectId>, Error> {
        let found = self.repo().try_find_reference(name).map_err(Error::git("read a branch"))?;
        Ok(found.and_then(|reference| reference.try_id().map(|id| id.detach())))
    }

    /// Moves a reference from `old` to `new`; `locked` runs between taking its lock and moving it.
    ///
    /// # Errors
    ///
    /// [`Error::Moved`] when it does not stand on `old`; [`Error::ReferenceBusy`] when git holds its lock.
    pub(super) fn move_reference(
        &self,
        target: &Target,
        new: ObjectId,
        locked: &mut dyn FnMut() -> Result<(), Error>,
    ) -> Result<(), Error> {
        let place = self.reference_path(&target.name);
        let lock = lock_path(&place);
        if let Some((folder, _)) = target.name.rsplit_once('/') {
            sync::make_folders(self.repo().common_dir(), folder)?;
        }
        self.take_reference_lock(&lock, new)?;
        let moved = self.reference(&target.name).and_then(|found| {
            if found != target.old {
                let text =
                    |id: Option<ObjectId>| id.map_or_else(|| "no commit".to_owned(), |id| id.to_string());
                return Err(Error::Moved { found: text(found), expected: text(target.old) });
            }
            locked()?;
            sync::rename(&lock, &place)
        });
        if let Err(error) = moved {
            if !matches!(error, Error::Stopped { .. }) {
                sync::remove(&lock)?;
            }
            return Err(error);
        }
        sync::folder_sync(place.parent().unwrap_or(&place))
    }

    /// Removes the lock of a reference that a killed write left: one that holds the commit of its journal.
    pub(super) fn drop_reference_lock(&self, name: &str, new: ObjectId) -> Result<(), Error> {
        sync::remove(&self.state_path().join("reference"))?;
        let lock = lock_path(&self.reference_path(name));
        if fs::read_to_string(&lock).is_ok_and(|text| text == content(new)) {
            sync::remove(&lock)?;
        }
        Ok(())
    }

    /// Adds a move to the logs of the reference and of HEAD, once, synced.
    pub(super) fn log_move(
        &self,
        name: &str,
        old: Option<ObjectId>,
        new: ObjectId,
        rest: &str,
    ) -> Result<(), Error> {
        let old = old.unwrap_or_else(|| ObjectId::null(self.repo().object_hash()));
        let line = format!("{old} {new} {rest}\n");
        if name != "HEAD" {
            append_once(self.repo().common_dir(), name, &line)?;
            let head = self.repo().head_name().map_err(Error::git("read HEAD"))?;
            if head.is_none_or(|head| head.as_bstr() != name) {
                return Ok(());
            }
        }
        append_once(self.repo().git_dir(), "HEAD", &line)
    }

    fn take_reference_lock(&self, lock: &Path, new: ObjectId) -> Result<(), Error> {
        let beside = self.state_path().join("reference");
        // Never written over: after the move the branch itself is the same file.
        sync::remove(&beside)?;
        sync::write_new(&beside, content(new).as_bytes(), sync::Mode::Record)?;
        let mut tries = TRIES;
        let taken = loop {
            match fs::hard_link(&beside, lock) {
                Ok(()) => break Ok(()),
                Err(error) if error.kind() == ErrorKind::AlreadyExists && tries > 0 => {
                    tries -= 1;
                    std::thread::sleep(PAUSE);
                }
                Err(error) if error.kind() == ErrorKind::AlreadyExists => {
                    break Err(Error::ReferenceBusy { path: lock.to_owned() });
                }
                // A file system without links: the same by an exclusive new file.
                Err(_) => break sync::write_new(lock, content(new).as_bytes(), sync::Mode::Record),
            }
        };
        sync::remove(&beside)?;
        taken
    }

    fn reference_path(&self, name: &str) -> PathBuf {
        let folder = if name == "HEAD" { self.repo().git_dir() } else { self.repo().common_dir() };
        folder.join(name)
    }
}

fn content(id: ObjectId) -> String {
    format!("{id}\n")
}

fn lock_path(place: &Path) -> PathBuf {
    let mut name = place.file_name().unwrap_or_default().to_owned();
    name.push(".lock");
    place.with_file_name(name)
}

fn unsupported(found: &str) -> Error {
    Error::Unsupported {
        what: "HEAD",
        found: format!("on {found}"),
        expected: "a branch or a commit (`git switch main`)",
    }
}

/// Appends a line to a reference's log unless its end has it, first cutting off a line that was only half written.
fn append_once(folder: &Path, name: &str, line: &str) -> Result<(), Error> {
    let inside = format!("logs/{name}");
    if let Some((parents, _)) = inside.rsplit_once('/') {
        sync::make_folders(folder, parents)?;
    }
    let path = folder.join(&inside);
    if !path.exists() {
        sync::create(&path, sync::Mode::Record)?;
    }
    let mut file = OpenOptions::new().read(true).write(true).open(&path).map_err(Error::io("open", &path))?;
    let fault = |error| Error::io("append to", &path)(error);
    let length = file.seek(SeekFrom::End(0)).map_err(fault)?;
    let start = length.saturating_sub(LOG_TAIL);
    let mut tail = Vec::new();
    file.seek(SeekFrom::Start(start)).map_err(fault)?;
    file.read_to_end(&mut tail).map_err(fault)?;
    let whole = tail.iter().rposition(|&byte| byte == b'\n').map_or(0, |last| last + 1);
    if tail[..whole].split_inclusive(|&byte| byte == b'\n').any(|known| known == line.as_bytes()) {
        return Ok(());
    }
    // Without a line break in sight nothing is known of the last line, and nothing is cut.
    let end = if start == 0 || whole > 0 { start + whole as u64 } else { length };
    file.set_len(end).map_err(fault)?;
    file.seek(SeekFrom::Start(end)).map_err(fault)?;
    file.write_all(line.as_bytes()).map_err(fault)?;
    file.sync_all().map_err(fault)?;
    sync::folder_sync(path.parent().unwrap_or(folder))
}
