//! A write being prepared: what shall change, held back until it is committed.

use std::collections::BTreeMap;
use std::fmt;
use std::io::Read;
use std::ops::ControlFlow;
use std::path::PathBuf;

use super::intake::{self, Taken};
use super::vault::{RawPlace, digest_of};
use super::{
    Author, Book, CommitId, ContentId, Error, LockHolder, RawFile, Recovery, Snapshot, Time, lock, path, sync,
};

/// A step of a commit that is done and on the disk, in the order in which they are done.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
#[non_exhaustive]
pub enum Step {
    /// Git's index is locked.
    IndexLocked,
    /// Blobs, trees and the commit are stored, named by nothing yet.
    ObjectsSynced,
    /// The plan is written down: from here on an interruption is cleared up after.
    JournalWritten,
    /// Large raw files are in place.
    RawPlaced,
    /// New bytes lie beside the files they will replace.
    FilesStaged,
    /// The branch's lock is held and the branch found where it was.
    ReferenceLocked,
    /// The branch names the commit: from here on an interruption is finished, not undone.
    ReferenceMoved,
    /// One more file is in place.
    FilePlaced,
    /// All files are in place.
    FilesPlaced,
    /// The index agrees with the commit.
    IndexWritten,
    /// The plan is removed.
    JournalRemoved,
}

impl Step {
    /// Its name, for messages.
    pub fn name(self) -> &'static str {
        match self {
            Step::IndexLocked => "index locked",
            Step::ObjectsSynced => "objects synced",
            Step::JournalWritten => "journal written",
            Step::RawPlaced => "raw files placed",
            Step::FilesStaged => "files staged",
            Step::ReferenceLocked => "branch locked",
            Step::ReferenceMoved => "branch moved",
            Step::FilePlaced => "file placed",
            Step::FilesPlaced => "files placed",
            Step::IndexWritten => "index written",
            Step::JournalRemoved => "journal removed",
        }
    }
}

/// Signs a commit's bytes: an armoured SSH signature, or why there is none.
pub type Signer<'a> = dyn Fn(&[u8]) -> Result<String, String> + 'a;

/// What a commit says about itself.
#[derive(Clone, Copy)]
pub struct CommitForm<'a> {
    /// The message; a line break is added at the end when missing.
    pub message: &'a str,
    /// Who made the change; also recorded as the committer.
    pub author: &'a Author,
    /// When; also the committer's time, which `known_on` goes by.
    pub time: Time,
    /// Further parents: given, the commit concludes the merge that is under way.
    pub merged: &'a [CommitId],
    /// Signs the commit.
    pub signer: Option<&'a Signer<'a>>,
}

impl fmt::Debug for CommitForm<'_> {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.debug_struct("CommitForm")
            .field("message", &self.message)
            .field("author", &self.author)
            .finish_non_exhaustive()
    }
}

/// New bytes of a file.
pub(super) enum Content {
    Bytes(Vec<u8>),
    /// A raw file taken in, at this path inside the store's folder.
    Taken(PathBuf),
    Gone,
}

/// What may be replaced.
#[derive(Clone, Copy, PartialEq, Eq)]
pub(super) enum Expected {
    /// The work tree as the last commit has it.
    Head,
    /// The work tree as the caller saw it.
    Seen(Option<ContentId>),
}

pub(super) struct Change {
    pub(super) content: Content,
    pub(super) expected: Expected,
}

/// A write under the book's lock. Nothing of the book changes until [`Writing::commit`]; dropping it changes nothing.
#[must_use = "a write that is not committed changes nothing"]
pub struct Writing<'b> {
    pub(super) book: &'b Book,
    pub(super) who: LockHolder,
    pub(super) base: Option<Snapshot>,
    pub(super) changes: BTreeMap<String, Change>,
    pub(super) large: BTreeMap<String, Taken>,
    recovered: Option<Recovery>,
    observer: Option<&'b dyn Fn(Step) -> ControlFlow<()>>,
    taken: u32,
    _lock: lock::Lock,
}

impl fmt::Debug for Writing<'_> {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.debug_struct("Writing").field("who", &self.who).field("base", &self.base).finish_non_exhaustive()
    }
}

impl<'b> Writing<'b> {
    pub(super) fn begin(
        book: &'b Book,
        who: LockHolder,
        held: lock::Lock,
        recovered: Option<Recovery>,
    ) -> Result<Self, Error> {
        book.refuse_in_progress(true)?;
        let base = book.head_commit()?.map(|id| book.snapshot(CommitId(id))).transpose()?;
        Ok(Self {
            book,
            who,
            base,
            changes: BTreeMap::new(),
            large: BTreeMap::new(),
            recovered,
            observer: None,
            taken: 0,
            _lock: held,
        })
    }

    /// What an interrupted command had left, cleared up before this one began.
    pub fn recovered(&self) -> Option<&Recovery> {
        self.recovered.as_ref()
    }

    /// The commit this builds on, `None` for the first; read what you change from here, not from before the lock.
    pub fn base(&self) -> Option<&Snapshot> {
        self.base.as_ref()
    }

    /// Sets the new bytes of a file, new or not. The work tree must hold the file as the last commit does.
    ///
    /// # Errors
    ///
    /// [`Error::UnsafePath`] now; [`Error::PendingEdit`], [`Error::Staged`] and [`Error::NotPlain`] at the commit.
    pub fn put(&mut self, path: &str, bytes: &[u8]) -> Result<(), Error> {
        self.change(path, Content::Bytes(bytes.to_vec()), Expected::Head)
    }

    /// Sets the new bytes of a file from what the work tree was seen to hold (`None`: nothing), pending or not.
    pub fn put_over(&mut self, path: &str, seen: Option<&[u8]>, bytes: &[u8]) -> Result<(), Error> {
        let seen = seen.map(ContentId::of).transpose()?;
        self.change(path, Content::Bytes(bytes.to_vec()), Expected::Seen(seen))
    }

    /// Removes a file; one that is neither in the book nor in the work tree changes nothing.
    pub fn remove(&mut self, path: &str) -> Result<(), Error> {
        self.change(path, Content::Gone, Expected::Head)
    }

    /// Removes a file whose work-tree bytes were seen to be these, pending or not.
    pub fn remove_over(&mut self, path: &str, seen: Option<&[u8]>) -> Result<(), Error> {
        let seen = seen.map(ContentId::of).transpose()?;
        self.change(path, Content::Gone, Expected::Seen(seen))
    }

    /// Takes in a raw file: copies and hashes it in one pass, in bounded memory.
    ///
    /// Up to `in_git` bytes it goes into git ([`super::DEFAULT_IN_GIT`] unless the book says otherwise), else beside
    /// it. `progress` is told the bytes read so far. Bytes the book has already are not stored again. Nothing is in
    /// place before the commit.
    ///
    /// # Errors
    ///
    /// [`Error::Io`]; [`Error::Damaged`] when the book has a file of this SHA-256 with other bytes.
    pub fn take_raw(
        &mut self,
        reader: &mut dyn Read,
        in_git: u64,
        progress: &mut dyn FnMut(u64),
    ) -> Result<RawFile, Error> {
        let folder = self.incoming()?;
        let spool = folder.join(self.taken.to_string());
        self.taken += 1;
        let mut taken = intake::copy(&spool, reader, progress)?;
        let place = if taken.bytes <= in_git { RawPlace::InGit } else { RawPlace::Large };
        let file = RawFile { sha256: taken.sha256.clone(), bytes: taken.bytes, place, already: false };
        if let Some(place) = self.known(&file)? {
            sync::remove(&spool)?;
            return Ok(RawFile { place, already: true, ..file });
        }
        match place {
            RawPlace::Large => {
                self.large.insert(taken.sha256.clone(), taken);
            }
            RawPlace::InGit => {
                taken.settle()?;
                let change = Change { content: Content::Taken(spool), expected: Expected::Head };
                self.changes.insert(place.path(&file.sha256), change);
            }
        }
        Ok(file)
    }

    /// Commits what was put and removed: all of it, or nothing at all.
    ///
    /// The author is also the committer. For signatures and merges see [`Writing::commit_as`].
    ///
    /// # Errors
    ///
    /// Any [`Error`]; after each but [`Error::Unfinished`] the book is as it was.
    pub fn commit(self, message: &str, author: &Author, time: Time) -> Result<CommitId, Error> {
        self.commit_as(CommitForm { message, author, time, merged: &[], signer: None })
    }

    /// Lets tests see each step as it is done, and stop there as a power cut would: with [`ControlFlow::Break`] the
    /// commit returns [`Error::Stopped`] and leaves everything as it stands.
    pub fn observe(&mut self, observer: &'b dyn Fn(Step) -> ControlFlow<()>) {
        self.observer = Some(observer);
    }

    pub(super) fn reached(&self, step: Step) -> Result<(), Error> {
        match self.observer.map(|observer| observer(step)) {
            Some(ControlFlow::Break(())) => Err(Error::Stopped { step: step.name() }),
            _ => Ok(()),
        }
    }

    fn change(&mut self, path: &str, content: Content, expected: Expected) -> Result<(), Error> {
        path::check(path)?;
        self.changes.insert(path.to_owned(), Change { content, expected });
        Ok(())
    }

    /// Where the book has a raw file already, or this write has taken it.
    fn known(&self, file: &RawFile) -> Result<Option<RawPlace>, Error> {
        if self.large.contains_key(&file.sha256) {
            return Ok(Some(RawPlace::Large));
        }
        let in_git = RawPlace::InGit.path(&file.sha256);
        if self.changes.contains_key(&in_git) {
            return Ok(Some(RawPlace::InGit));
        }
        if let Some(base) = &self.base
            && let Some(bytes) = base.read(&in_git)?
        {
            let found = digest_of(&mut bytes.as_slice()).map_err(Error::io("read", in_git.as_ref()))?.0;
            return same(&in_git, &file.sha256, found).map(|()| Some(RawPlace::InGit));
        }
        if let Some((_, reader)) = self.book.raw().open_on_disk(&file.sha256, RawPlace::Large)? {
            let path = RawPlace::Large.path(&file.sha256);
            let length = |bytes: u64| format!("{bytes} bytes");
            same(&path, &length(file.bytes), length(reader.length()))?;
            return Ok(Some(RawPlace::Large));
        }
        Ok(None)
    }

    fn incoming(&self) -> Result<PathBuf, Error> {
        let folder = self.book.state_folder()?.join("incoming");
        sync::make_folder(&folder)?;
        Ok(folder)
    }
}

impl Drop for Writing<'_> {
    fn drop(&mut self) {
        if self.taken > 0 {
            self.book.clear_incoming();
        }
    }
}

fn same(path: &str, expected: &str, found: String) -> Result<(), Error> {
    if found == expected {
        return Ok(());
    }
    Err(Error::Damaged { path: path.to_owned(), found, expected: expected.to_owned() })
}
