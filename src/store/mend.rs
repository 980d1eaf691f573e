//! Putting a damaged book right: what can be restored from bytes that prove themselves, or made again from what holds.
//!
//! Nothing is thrown away: what stands in a wrong file's place is first put aside, in `.git/mulebook/aside`. Objects and
//! raw files come back only when their bytes hash to their name; branches only from their own log.

use std::collections::BTreeMap;
use std::fmt;
use std::fs;
use std::path::{Path, PathBuf};
use std::time::Duration;

use gix::ObjectId;

use super::copy::loose_object;
use super::journal::Journal;
use super::objects::Written;
use super::pack::salvage;
use super::path::{Standing, standing};
use super::walk::{Bytes, Met};
use super::{Book, BookCopy, Error, LockHolder, Recovery, lock, sync};

/// How long to wait for another writer.
const PATIENCE: Duration = Duration::from_secs(10);
/// The largest work-tree file that is looked at for a lost object's bytes.
const LARGEST_LOOKED_AT: u64 = 64 << 20;

/// One thing that was put right.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Mended {
    /// Path inside the book, or the name of a reference or git object.
    pub path: String,
    /// What it is (`git object`, `raw file`).
    pub what: &'static str,
    /// Where it came from (`the work tree`, `the copy`).
    pub from: String,
    /// Where what stood there before is now, path inside the book.
    pub aside: Option<String>,
}

/// A book being put right, under its lock.
pub struct Mending {
    pub(super) book: Book,
    pub(super) mended: Vec<Mended>,
    recovered: Option<Recovery>,
    _lock: lock::Lock,
}

impl fmt::Debug for Mending {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.debug_struct("Mending")
            .field("book", &self.book)
            .field("mended", &self.mended)
            .finish_non_exhaustive()
    }
}

impl Mending {
    /// Opens the book that a folder lies in, even where its page, its HEAD or its settings are lost, and finishes or
    /// takes back what an interrupted command left.
    ///
    /// # Errors
    ///
    /// [`Error::NotABook`]; [`Error::Busy`]; whatever of the repository cannot be made to open.
    pub fn open(start: &Path, who: &LockHolder) -> Result<Self, Error> {
        let start = std::path::absolute(start).map_err(Error::io("find", start))?;
        let is_book = |folder: &&Path| {
            let git = folder.join(".git");
            git.exists() && (folder.join("book.yaml").is_file() || git.join("mulebook").is_dir())
        };
        let root = start.ancestors().find(is_book).ok_or_else(|| Error::NotABook { start: start.clone() })?;
        let git = root.join(".git");
        let mut mended = Vec::new();
        let held = if git.is_dir() {
            let state = git.join("mulebook");
            sync::make_folder(&state)?;
            let held = lock::take(&state, who, PATIENCE)?;
            super::mend_frame::mend_frame(root, &mut mended)?;
            Some(held)
        } else {
            None
        };
        let book = Book::open(root)?;
        let held = match held {
            Some(held) => held,
            None => lock::take(&book.state_folder()?, who, PATIENCE)?,
        };
        let mut mending = Self { book, mended, recovered: None, _lock: held };
        mending.recovered = mending.recover()?;
        Ok(mending)
    }

    /// The book.
    pub fn book(&self) -> &Book {
        &self.book
    }

    /// What an interrupted command had left.
    pub fn recovered(&self) -> Option<&Recovery> {
        self.recovered.as_ref()
    }

    /// What was put right so far.
    pub fn mended(&self) -> &[Mended] {
        &self.mended
    }

    /// Clears up after an interrupted command. A journal that cannot be read is put aside: what it would have finished
    /// shows as pending edits then.
    fn recover(&mut self) -> Result<Option<Recovery>, Error> {
        match self.book.recover_locked() {
            Err(Error::JournalDamaged { path, .. }) => {
                let aside = put_aside(self.book.root(), self.book.repo().git_dir(), &path)?;
                Journal::clear(&self.book.state_folder()?)?;
                self.mended.push(Mended {
                    path: self.book.inside(&path),
                    what: "journal",
                    from: "nothing: `git status` shows what the interrupted command had not finished"
                        .to_owned(),
                    aside: Some(aside),
                });
                self.book.recover_locked()
            }
            other => other,
        }
    }

    /// Restores git objects that are missing or damaged: from the same bytes elsewhere in this repository, from the
    /// work tree, from the copy.
    ///
    /// # Errors
    ///
    /// [`Error::Io`]; what cannot be restored is no error here, and is found by [`Book::verify`].
    pub fn objects(&mut self, copy: Option<&BookCopy>, progress: &mut dyn FnMut(u64)) -> Result<(), Error> {
        self.retire_packs()?;
        let book = &self.book;
        let hash = book.repo().object_hash();
        let (tips, _) = book.tips()?;
        let mut work: Option<BTreeMap<ObjectId, PathBuf>> = None;
        let mut written = Written::default();
        let mut mended = Vec::new();
        let mut read = 0;
        book.walk(tips, &mut |met| {
            read += 1;
            progress(read);
            let Met::Broken { id, named_by, .. } = met else { return Ok(None) };
            let mut from = "this repository";
            let mut found = loose_object(&book.objects_path(), id, hash);
            if found.is_none() {
                let files = work.get_or_insert_with(|| work_files(book.root()));
                found = files.get(&id).and_then(|path| blob_of(path, id, hash));
                from = "the work tree";
            }
            if found.is_none() {
                found = copy.and_then(|copy| copy.object(id));
                from = "the copy";
            }
            let Some((kind, bytes)) = found else { return Ok(None) };
            let file = book.object_path(id);
            let aside = match standing(&file)? {
                Standing::Nothing => None,
                _ if loose_object(&book.objects_path(), id, hash).is_some() => None,
                _ => Some(put_aside(book.root(), book.repo().git_dir(), &file)?),
            };
            book.store(&mut written, kind, &bytes)?;
            mended.push(Mended {
                path: format!("{id} ({named_by})"),
                what: "git object",
                from: from.to_owned(),
                aside,
            });
            Ok(Some((kind, bytes)))
        })?;
        book.sync_objects(&written)?;
        self.mended.extend(mended);
        Ok(())
    }

    /// Takes what is whole out of packs that do not hold, and puts these aside.
    fn retire_packs(&mut self) -> Result<(), Error> {
        let broken = self.book.packs_that_do_not_hold()?;
        let stems: std::collections::BTreeSet<PathBuf> =
            broken.iter().map(|(pack, _)| self.book.root().join(pack).with_extension("")).collect();
        let hash = self.book.repo().object_hash();
        for stem in stems {
            let mut written = Written::default();
            let mut count = 0_usize;
            salvage(&stem.with_extension("pack"), hash, &mut |(kind, bytes)| {
                let id = gix::objs::compute_hash(hash, kind, &bytes).map_err(Error::git("hash an object"))?;
                if loose_object(&self.book.objects_path(), id, hash).is_none() {
                    self.book.store_loose(&mut written, kind, &bytes)?;
                    count += 1;
                }
                Ok(())
            })?;
            self.book.sync_objects(&written)?;
            let mut aside = None;
            for ending in ["pack", "idx", "rev", "bitmap", "keep", "mtimes"] {
                let file = stem.with_extension(ending);
                if matches!(standing(&file)?, Standing::File(_)) {
                    let put = put_aside(self.book.root(), self.book.repo().git_dir(), &file)?;
                    aside = aside.or(Some(put));
                }
            }
            self.mended.push(Mended {
                path: self.book.inside(&stem.with_extension("pack")),
                what: "pack",
                from: format!("itself: {count} objects in it are whole and have files of their own now"),
                aside,
            });
            self.book = self.book.again()?;
        }
        Ok(())
    }
}

impl Book {
    /// The same book, opened anew.
    pub(super) fn again(&self) -> Result<Self, Error> {
        Self::open(self.root())
    }
}

/// The blob that a file's bytes are, once they hash to its name.
fn blob_of(path: &Path, id: ObjectId, hash: gix::hash::Kind) -> Option<Bytes> {
    let bytes = fs::read(path).ok()?;
    let found = gix::objs::compute_hash(hash, gix::objs::Kind::Blob, &bytes).ok()?;
    (found == id).then_some((gix::objs::Kind::Blob, bytes))
}

/// The plain files of the work tree by the name that git gives their bytes.
fn work_files(root: &Path) -> BTreeMap<ObjectId, PathBuf> {
    let mut found = BTreeMap::new();
    let mut open = vec![root.to_owned()];
    while let Some(folder) = open.pop() {
        let Ok(entries) = fs::read_dir(&folder) else { continue };
        for path in entries.flatten().map(|entry| entry.path()) {
            match standing(&path) {
                Ok(Standing::Folder) if path.file_name().is_some_and(|name| name != ".git") => {
                    open.push(path)
                }
                Ok(Standing::File(metadata)) if metadata.len() <= LARGEST_LOOKED_AT => {
                    if let Ok(bytes) = fs::read(&path)
                        && let Ok(id) = super::ContentId::of(&bytes)
                    {
                        found.insert(id.0, path);
                    }
                }
                _ => {}
            }
        }
    }
    found
}

/// Moves what stands at a path into `.git/mulebook/aside`, under a name of its own; returns its path inside the book.
pub(super) fn put_aside(root: &Path, git: &Path, path: &Path) -> Result<String, Error> {
    let folder = git.join("mulebook").join("aside");
    sync::make_folder(&git.join("mulebook"))?;
    sync::make_folder(&folder)?;
    let name = path.file_name().unwrap_or_default().to_string_lossy().into_owned();
    let place = (1_u32..)
        .map(|number| folder.join(format!("{number}-{name}")))
        .find(|place| matches!(standing(place), Ok(Standing::Nothing)))
        .unwrap_or_else(|| folder.join(&name));
    sync::rename(path, &place)?;
    sync::folder_sync(&folder)?;
    sync::folder_sync(path.parent().unwrap_or(path))?;
    Ok(place.strip_prefix(root).unwrap_or(&place).to_string_lossy().replace('\\', "/"))
}
