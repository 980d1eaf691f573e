//! Edits that are not committed: how the work tree, or the index, differs from the last commit.

use std::collections::{BTreeMap, BTreeSet};
use std::fs;
use std::path::Path;

use gix::bstr::{BStr, ByteSlice};
use gix::index::entry::{Flags, Stage};

use super::index::{comparison, stat_of};
use super::path::{Standing, standing};
use super::{Book, CommitId, ContentId, EntryKind, Error, Snapshot, Writing, path};

/// How many files the index must know other times of before it is worth writing again.
const MANY: usize = 32;

/// A file of the last commit: its path and the name of its content.
type Known = (String, ContentId);

/// How a work-tree file differs from the last commit.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Edit {
    /// The last commit does not have it.
    Added,
    /// Other bytes.
    Modified,
    /// It is gone.
    Removed,
    /// A link, folder or device stands in its place.
    Replaced,
}

/// One edit that is not committed.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord)]
pub struct Pending {
    /// Path inside the book.
    pub path: String,
    /// How it differs.
    pub edit: Edit,
}

impl Book {
    /// Which of these paths hold other bytes than in the last commit. Looks at just these files, and where they are very
    /// many reads only those that have moved since they were last looked at.
    pub fn pending(&self, paths: &[&str]) -> Result<Vec<Pending>, Error> {
        let head = self.head_commit()?.map(|id| self.snapshot(CommitId(id))).transpose()?;
        let mut files = Vec::new();
        for &inside in paths {
            let entry = head.as_ref().map(|head| head.entry(inside)).transpose()?.flatten();
            let entry = entry.filter(|entry| entry.kind != EntryKind::Folder);
            files.push((inside.to_owned(), entry.map(|entry| entry.id)));
        }
        self.looking(&files).pending()
    }

    /// All edits in the work tree, new files included, ignored ones not; sorted by path.
    ///
    /// A file whose size and times are those the index knows is not read, unless it may have changed within the clock
    /// tick in which the index was written.
    pub fn pending_all(&self) -> Result<Vec<Pending>, Error> {
        self.look_over().map(|(pending, _)| pending)
    }

    /// All edits, and the files that had to be read and are as the commit and the index have them: the index knows
    /// other times of them, since the book was copied, say.
    fn look_over(&self) -> Result<(Vec<Pending>, Vec<Known>), Error> {
        let index = self.index_to_look_at()?;
        let head = self.head_commit()?.map(|id| self.snapshot(CommitId(id))).transpose()?;
        let mut walk = Untracked { book: self, head: head.as_ref(), index: &index, found: Vec::new() };
        let mut ignored = self
            .repo()
            .excludes(&index, None, Default::default())
            .map_err(Error::git("read what is ignored"))?;
        // Looking at each file waits for the system most of the time: the commit is read and new files are looked for
        // meanwhile.
        let root = self.root();
        let (unmoved, known) = std::thread::scope(|scope| {
            let looking = scope.spawn(|| unmoved(root, &index));
            let known = walk
                .folder("", head.as_ref().map(Snapshot::tree), &mut ignored)
                .and_then(|()| known_files(head.as_ref()));
            (looking.join(), known)
        });
        let unmoved = unmoved.unwrap_or_else(|panic| std::panic::resume_unwind(panic));
        let (mut pending, mut stale) = (Vec::new(), Vec::new());
        for (inside, id) in unlike_index(&index, &unmoved, &known?) {
            match edit_of(root, inside, Some(id))? {
                Some(edit) => pending.push(Pending { path: inside.to_owned(), edit }),
                None => {
                    let entry = index.entry_by_path_and_stage(inside.into(), Stage::Unconflicted);
                    if entry.is_some_and(|entry| entry.id == id.0) && path::check(inside).is_ok() {
                        stale.push((inside.to_owned(), id));
                    }
                }
            }
        }
        pending.extend(walk.found.into_iter().map(|path| Pending { path, edit: Edit::Added }));
        pending.sort();
        Ok((pending, stale))
    }

    /// Paths whose index entry differs from the last commit, conflicts included; sorted.
    pub fn staged(&self) -> Result<Vec<String>, Error> {
        let index = self.index_to_look_at()?;
        let head = self.head_commit()?.map(|id| self.snapshot(CommitId(id))).transpose()?;
        let mut known = known_files(head.as_ref())?;
        let mut staged = BTreeSet::new();
        for entry in index.entries() {
            let inside = entry.path(&index).to_str_lossy().into_owned();
            if entry.flags.contains(Flags::INTENT_TO_ADD) {
                continue;
            }
            let same = known.remove(&inside) == Some(ContentId(entry.id));
            if !same || entry.stage() != Stage::Unconflicted {
                staged.insert(inside);
            }
        }
        staged.extend(known.into_keys());
        Ok(staged.into_iter().collect())
    }
}

/// How a file differs from what the commit has; none where it does not.
pub(super) fn edit_of(root: &Path, inside: &str, known: Option<ContentId>) -> Result<Option<Edit>, Error> {
    let missing = |known: Option<ContentId>| known.map(|_| Edit::Removed);
    let place = match path::locate(root, inside) {
        Ok(place) => place,
        Err(Error::NotPlain { .. }) => return Ok(missing(known)),
        // A commit made elsewhere may hold a name this store would not write: not an edit.
        Err(Error::UnsafePath { .. }) if known.is_some() => return Ok(None),
        Err(error) => return Err(error),
    };
    match (standing(&place)?, known) {
        (Standing::Nothing, known) => Ok(missing(known)),
        (Standing::File(_), None) => Ok(Some(Edit::Added)),
        (Standing::File(_), Some(id)) => {
            let bytes = fs::read(&place).map_err(Error::io("read", &place))?;
            Ok((ContentId::of(&bytes)? != id).then_some(Edit::Modified))
        }
        (Standing::Folder, None) => Ok(None),
        (Standing::Other(_), Some(id)) if link_is(&place, id) => Ok(None),
        (Standing::Folder | Standing::Other(_), _) => Ok(Some(Edit::Replaced)),
    }
}

impl Writing<'_> {
    /// All edits in the work tree, as [`Book::pending_all`]. Where the index knows other times of many files (the book
    /// was copied, say) it is brought up to date, so that the next look need not read them all again.
    ///
    /// # Errors
    ///
    /// As [`Book::pending_all`]; that the index cannot be written is none.
    pub fn pending_all(&self) -> Result<Vec<Pending>, Error> {
        let (pending, stale) = self.book.look_over()?;
        if stale.len() >= MANY
            && let Ok(_held) = self.book.lock_index()
        {
            // The modes that the index has are kept.
            let entries: Vec<_> = stale.into_iter().map(|(inside, id)| (inside, Some(id), false)).collect();
            drop(self.book.update_index(&entries));
        }
        Ok(pending)
    }
}

/// Whether a link stands as the commit has it: git keeps a link's target as its content.
fn link_is(place: &Path, id: ContentId) -> bool {
    let target = fs::read_link(place).ok();
    target.is_some_and(|target| {
        ContentId::of(target.to_string_lossy().as_bytes()).is_ok_and(|found| found == id)
    })
}

/// For each entry of the index, whether the file's size and times are those that it knows.
fn unmoved(root: &Path, index: &gix::index::File) -> Vec<bool> {
    let mut plain_folder: Option<&str> = None;
    let mut look = |entry: &gix::index::Entry| {
        let Ok(inside) = entry.path(index).to_str() else { return false };
        if entry.stat.is_racy(index.timestamp(), comparison()) {
            return false;
        }
        // Neighbours share the way to them: one look at it does for all.
        let folder = path::folder_of(inside);
        if plain_folder != Some(folder) {
            plain_folder = path::locate(root, inside).is_ok().then_some(folder);
        }
        plain_folder.is_some()
            && stat_of(&root.join(inside)).is_some_and(|stat| stat.matches(&entry.stat, comparison()))
    };
    index.entries().iter().map(&mut look).collect()
}

/// The files that may hold other bytes than the commit: all but those that the index knows with the commit's content
/// and that have not moved since. Commit and index go by the same order, so one pass over both does.
fn unlike_index<'k>(
    index: &gix::index::File,
    unmoved: &[bool],
    known: &'k BTreeMap<String, ContentId>,
) -> Vec<(&'k str, ContentId)> {
    let mut entries = index.entries().iter().zip(unmoved).peekable();
    let mut unlike = Vec::new();
    for (inside, id) in known {
        let name: &BStr = inside.as_str().into();
        while entries.next_if(|(entry, _)| entry.path(index) < name).is_some() {}
        let same =
            entries.next_if(|(entry, _)| entry.path(index) == name && entry.stage() == Stage::Unconflicted);
        let clean = same.is_some_and(|(entry, unmoved)| {
            entry.flags.contains(Flags::SKIP_WORKTREE) || (*unmoved && entry.id == id.0)
        });
        if !clean {
            unlike.push((inside.as_str(), *id));
        }
    }
    unlike
}

/// Every file of a commit; links and submodules too.
fn known_files(head: Option<&Snapshot>) -> Result<BTreeMap<String, ContentId>, Error> {
    Ok(head.map(Snapshot::contents).transpose()?.unwrap_or_default())
}

/// Looks for files that the last commit does not have.
struct Untracked<'a> {
    book: &'a Book,
    head: Option<&'a Snapshot>,
    index: &'a gix::index::File,
    found: Vec<String>,
}

impl Untracked<'_> {
    /// Looks into a folder; `tree` is what the commit has there.
    fn folder(
        &mut self,
        inside: &str,
        tree: Option<gix::ObjectId>,
        ignored: &mut gix::AttributeStack<'_>,
    ) -> Result<(), Error> {
        let place = self.book.root().join(inside);
        let list = fs::read_dir(&place).map_err(Error::io("list", &place))?;
        let known = match (self.head, tree) {
            (Some(head), Some(tree)) => Some(head.folder(tree)?),
            _ => None,
        };
        let known = known.as_deref().map(Vec::as_slice).unwrap_or_default();
        for entry in list {
            let entry = entry.map_err(Error::io("list", &place))?;
            let name = entry.file_name();
            let name = name.to_string_lossy();
            if name.eq_ignore_ascii_case(".git") {
                continue;
            }
            let kind = entry.file_type().map_err(Error::io("look at", &place))?;
            let committed = known
                .binary_search_by(|entry| entry.name.as_str().cmp(&name))
                .ok()
                .map(|position| &known[position]);
            let below = committed.filter(|entry| entry.kind == EntryKind::Folder).map(|entry| entry.id.0);
            if committed.is_some() && below.is_none() && !kind.is_dir() {
                continue;
            }
            let path = if inside.is_empty() { name.into_owned() } else { format!("{inside}/{name}") };
            if kind.is_dir() {
                // A folder with its own .git is another repository: git does not look into it either.
                let open = below.is_some()
                    || (!entry.path().join(".git").exists() && !self.is_ignored(&path, true, ignored)?);
                if open {
                    self.folder(&path, below, ignored)?;
                }
            } else if !self.is_ignored(&path, false, ignored)? {
                self.found.push(path);
            }
        }
        Ok(())
    }

    fn is_ignored(
        &self,
        inside: &str,
        folder: bool,
        ignored: &mut gix::AttributeStack<'_>,
    ) -> Result<bool, Error> {
        let key: &BStr = inside.into();
        if !folder && self.index.entry_by_path(key).is_some() {
            return Ok(false);
        }
        let mode = if folder { gix::index::entry::Mode::DIR } else { gix::index::entry::Mode::FILE };
        let platform = ignored.at_entry(key, Some(mode)).map_err(Error::git("read what is ignored"))?;
        Ok(platform.is_excluded())
    }
}
