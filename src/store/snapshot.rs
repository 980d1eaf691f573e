//! The book as one commit holds it: files read straight from git, never from the work tree.

use std::cell::RefCell;
use std::collections::BTreeMap;
use std::fmt;
use std::path::PathBuf;
use std::rc::Rc;

use gix::ObjectId;

use super::{CommitId, ContentId, Error, Time, path};

/// What an entry of a folder is.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
#[non_exhaustive]
pub enum EntryKind {
    /// A plain file.
    File,
    /// A plain file marked executable.
    Executable,
    /// A folder.
    Folder,
    /// A symbolic link; its target is never read.
    Link,
    /// A reference to another repository.
    Submodule,
}

/// One entry of a folder of a [`Snapshot`].
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Entry {
    /// Its name in the folder; bytes that are not UTF-8 are shown as U+FFFD and cannot be read by path.
    pub name: String,
    /// What it is.
    pub kind: EntryKind,
    /// The name of its content: equal for equal bytes.
    pub id: ContentId,
}

impl Entry {
    fn of(entry: gix::objs::tree::EntryRef<'_>) -> Self {
        Self {
            name: entry.filename.to_string(),
            kind: match entry.mode.kind() {
                gix::objs::tree::EntryKind::Tree => EntryKind::Folder,
                gix::objs::tree::EntryKind::Blob => EntryKind::File,
                gix::objs::tree::EntryKind::BlobExecutable => EntryKind::Executable,
                gix::objs::tree::EntryKind::Link => EntryKind::Link,
                gix::objs::tree::EntryKind::Commit => EntryKind::Submodule,
            },
            id: ContentId(entry.oid.to_owned()),
        }
    }
}

type Folder = Rc<Vec<Entry>>;

/// A folder that was read.
#[derive(Clone)]
enum Known {
    /// As git has it, and how often an entry was looked for in it.
    Bytes(Rc<Vec<u8>>, u32),
    /// Its entries, sorted by name.
    Entries(Folder),
}

/// How often an entry is looked for in a folder's bytes before its entries are laid out: to lay out some thousands takes
/// longer than to look through them a few times.
const LOOKS: u32 = 4;

/// The book at one commit. Reading a file reads only the folders on its way, each once.
pub struct Snapshot {
    repo: gix::Repository,
    commit: CommitId,
    time: Time,
    tree: ObjectId,
    folders: RefCell<BTreeMap<ObjectId, Known>>,
}

/// From which a snapshot can be read on other threads.
#[derive(Debug)]
pub struct Elsewhere {
    git_folder: PathBuf,
    commit: CommitId,
}

impl Elsewhere {
    /// The same book at the same commit, for this thread.
    ///
    /// # Errors
    /// The repository or the commit cannot be read.
    pub fn open(&self) -> Result<Snapshot, Error> {
        Snapshot::open(&super::Book::open_repository(&self.git_folder)?, self.commit)
    }
}

impl fmt::Debug for Snapshot {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.debug_struct("Snapshot")
            .field("commit", &self.commit)
            .field("time", &self.time)
            .finish_non_exhaustive()
    }
}

impl Snapshot {
    /// The snapshot of a commit.
    pub(super) fn open(repo: &gix::Repository, commit: CommitId) -> Result<Self, Error> {
        let found = repo.find_commit(commit.0).map_err(Error::git("read a commit"))?;
        let time = found.time().map_err(Error::git("read a commit's time"))?;
        let tree = found.tree_id().map_err(Error::git("read a commit"))?.detach();
        Ok(Self {
            repo: repo.clone(),
            commit,
            time: Time { seconds: time.seconds, offset: time.offset },
            tree,
            folders: RefCell::default(),
        })
    }

    /// What other threads open it from.
    pub fn elsewhere(&self) -> Elsewhere {
        Elsewhere { git_folder: self.git_folder().to_owned(), commit: self.commit }
    }

    /// The commit.
    pub fn commit(&self) -> CommitId {
        self.commit
    }

    /// When it was committed, by its own word.
    pub fn time(&self) -> Time {
        self.time
    }

    pub(super) fn tree(&self) -> ObjectId {
        self.tree
    }

    pub(super) fn repo(&self) -> &gix::Repository {
        &self.repo
    }

    pub(super) fn git_folder(&self) -> &std::path::Path {
        self.repo.git_dir()
    }

    /// The bytes of a file, or `None` when the book has no such file then.
    ///
    /// # Errors
    ///
    /// [`Error::NotPlain`] when a folder or link stands there; [`Error::Git`] when an object is missing or damaged.
    pub fn read(&self, path: &str) -> Result<Option<Vec<u8>>, Error> {
        let Some(entry) = self.entry(path)? else {
            return Ok(None);
        };
        match entry.kind {
            EntryKind::File | EntryKind::Executable => self.content(entry.id).map(Some),
            EntryKind::Folder => Err(not_plain(path, "a folder", "a plain file")),
            EntryKind::Link => Err(not_plain(path, "a symbolic link", "a plain file")),
            EntryKind::Submodule => Err(not_plain(path, "another repository", "a plain file")),
        }
    }

    /// The bytes of a file by the name of its content.
    pub fn content(&self, id: ContentId) -> Result<Vec<u8>, Error> {
        let mut object = self.repo.find_object(id.0).map_err(Error::git("read a file's bytes"))?;
        Ok(std::mem::take(&mut object.data))
    }

    /// The entries of a folder (`""` for the book's own), sorted by name; empty when it is not there.
    ///
    /// # Errors
    ///
    /// [`Error::NotPlain`] when a file stands there; [`Error::Git`] when an object is missing or damaged.
    pub fn list(&self, folder: &str) -> Result<Vec<Entry>, Error> {
        if folder.is_empty() {
            return Ok(self.folder(self.tree)?.to_vec());
        }
        match self.entry(folder)? {
            None => Ok(Vec::new()),
            Some(entry) if entry.kind == EntryKind::Folder => Ok(self.folder(entry.id.0)?.to_vec()),
            Some(_) => Err(not_plain(folder, "a file", "a folder")),
        }
    }

    /// Every file at or below a folder (`""` for the whole book) as path and entry, folders left out.
    pub fn files(&self, folder: &str) -> Result<Vec<(String, Entry)>, Error> {
        let tree = if folder.is_empty() {
            self.tree
        } else {
            match self.entry(folder)? {
                None => return Ok(Vec::new()),
                Some(entry) if entry.kind == EntryKind::Folder => entry.id.0,
                Some(_) => return Err(not_plain(folder, "a file", "a folder")),
            }
        };
        let mut found = Vec::new();
        self.walk(folder, self.folder(tree)?, &mut |path, entry| found.push((path, entry.clone())))?;
        found.sort_by(|a, b| a.0.cmp(&b.0));
        Ok(found)
    }

    /// Every file of the book as path and the name of its content.
    pub(super) fn contents(&self) -> Result<BTreeMap<String, ContentId>, Error> {
        let mut found = Vec::new();
        self.walk("", self.folder(self.tree)?, &mut |path, entry| found.push((path, entry.id)))?;
        Ok(found.into_iter().collect())
    }

    /// Hands on every file at or below a folder, nearly in order, which sorting makes use of.
    fn walk(
        &self,
        inside: &str,
        entries: Folder,
        found: &mut dyn FnMut(String, &Entry),
    ) -> Result<(), Error> {
        let mut open = vec![(inside.to_owned(), entries)];
        while let Some((inside, entries)) = open.pop() {
            let mut folders = Vec::new();
            for entry in entries.iter() {
                let path =
                    if inside.is_empty() { entry.name.clone() } else { format!("{inside}/{}", entry.name) };
                if entry.kind == EntryKind::Folder {
                    folders.push((path, self.folder(entry.id.0)?));
                } else {
                    found(path, entry);
                }
            }
            open.extend(folders.into_iter().rev());
        }
        Ok(())
    }

    /// Whether a folder has an entry of that name; not when the folder is not there.
    ///
    /// # Errors
    ///
    /// As [`Snapshot::list`].
    pub fn holds(&self, folder: &str, name: &str) -> Result<bool, Error> {
        match self.entry(folder)? {
            None => Ok(false),
            Some(entry) if entry.kind == EntryKind::Folder => Ok(self.entry_in(entry.id.0, name)?.is_some()),
            Some(_) => Err(not_plain(folder, "a file", "a folder")),
        }
    }

    /// Whether a file or folder is there.
    pub fn exists(&self, path: &str) -> Result<bool, Error> {
        Ok(self.entry(path)?.is_some())
    }

    /// The name of the content of a file or folder, to tell changed from unchanged without reading it.
    pub fn id_of(&self, path: &str) -> Result<Option<ContentId>, Error> {
        Ok(self.entry(path)?.map(|entry| entry.id))
    }

    /// The entry at a path.
    pub fn entry(&self, path: &str) -> Result<Option<Entry>, Error> {
        path::check(path)?;
        let mut folder = self.tree;
        let mut names = path.split('/').peekable();
        while let Some(name) = names.next() {
            let Some(entry) = self.entry_in(folder, name)? else { return Ok(None) };
            if names.peek().is_none() {
                return Ok(Some(entry));
            }
            if entry.kind != EntryKind::Folder {
                return Ok(None);
            }
            folder = entry.id.0;
        }
        Ok(None)
    }

    /// The entry of a name in a folder by the name of its content.
    fn entry_in(&self, id: ObjectId, name: &str) -> Result<Option<Entry>, Error> {
        let known = self.folders.borrow().get(&id).cloned();
        let (bytes, looks) = match known {
            Some(Known::Bytes(bytes, looks)) if looks < LOOKS => (bytes, looks),
            None if id != ObjectId::empty_tree(self.repo.object_hash()) => {
                let tree = self.repo.find_tree(id).map_err(Error::git("read a folder"))?;
                (Rc::new(tree.detach().data), 0)
            }
            _ => {
                let entries = self.folder(id)?;
                let found = entries.binary_search_by(|entry| entry.name.as_str().cmp(name));
                return Ok(found.ok().map(|place| entries[place].clone()));
            }
        };
        let mut found = None;
        for entry in gix::objs::TreeRefIter::from_bytes(&bytes, self.repo.object_hash()) {
            let entry = entry.map_err(Error::git("read a folder"))?;
            // A name that is not UTF-8 is found by what it is shown as, here as among laid-out entries.
            let shown = || String::from_utf8_lossy(entry.filename);
            let is_shown_so = || name.contains(char::REPLACEMENT_CHARACTER) && shown() == name;
            if entry.filename == name || is_shown_so() {
                found = Some(Entry::of(entry));
                break;
            }
        }
        self.folders.borrow_mut().insert(id, Known::Bytes(bytes, looks + 1));
        Ok(found)
    }

    /// The entries of a folder by the name of its content, sorted by name.
    pub(super) fn folder(&self, id: ObjectId) -> Result<Folder, Error> {
        let known = self.folders.borrow().get(&id).cloned();
        let entries = match known {
            Some(Known::Entries(entries)) => return Ok(entries),
            Some(Known::Bytes(bytes, _)) => entries_of(&bytes, self.repo.object_hash())?,
            None => read_folder(&self.repo, id)?,
        };
        let entries = Rc::new(entries);
        self.folders.borrow_mut().insert(id, Known::Entries(Rc::clone(&entries)));
        Ok(entries)
    }
}

/// The entries of a tree object, sorted by name (git sorts a folder as if its name ended in `/`).
pub(super) fn read_folder(repo: &gix::Repository, id: ObjectId) -> Result<Vec<Entry>, Error> {
    if id == ObjectId::empty_tree(repo.object_hash()) {
        return Ok(Vec::new());
    }
    let tree = repo.find_tree(id).map_err(Error::git("read a folder"))?;
    entries_of(&tree.data, repo.object_hash())
}

/// The entries of a folder's bytes, sorted by name.
pub(super) fn entries_of(bytes: &[u8], hash: gix::hash::Kind) -> Result<Vec<Entry>, Error> {
    let decoded = gix::objs::TreeRef::from_bytes(bytes, hash).map_err(Error::git("read a folder"))?;
    let mut entries: Vec<Entry> = decoded.entries.into_iter().map(Entry::of).collect();
    entries.sort_by(|a, b| a.name.cmp(&b.name));
    Ok(entries)
}

fn not_plain(path: &str, found: &'static str, expected: &'static str) -> Error {
    Error::NotPlain { path: path.to_owned(), found, expected }
}
