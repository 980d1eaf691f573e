//! Git's index: its lock, and bringing single entries up to a commit while all others stay as the user left them.

use std::fs;
use std::io::{BufWriter, ErrorKind, Write};
use std::path::{Path, PathBuf};

use gix::bstr::{BStr, ByteSlice};
use gix::index::entry::{Flags, Mode, Stage, Stat};

use super::{Book, ContentId, Error, path, sync};

/// What the store's lock on the index says, so that one left behind is known from git's own, which is empty or an index.
const MARK: &str = "mulebook holds the index while it writes\n";

/// The held lock on git's index; dropping it lets go.
#[derive(Debug)]
pub(super) struct IndexLock {
    path: PathBuf,
    held: bool,
}

impl IndexLock {
    /// Leaves the lock file in place: the next command finishes the write, and until then git must not use the index.
    pub(super) fn leave(mut self) {
        self.held = false;
    }
}

impl Drop for IndexLock {
    fn drop(&mut self) {
        if self.held {
            let _ = sync::remove(&self.path);
        }
    }
}

/// How far an index that is read is checked.
enum Check {
    Form,
    Digest,
}

/// How stat data is compared: all of it but the device, which differs between mounts.
pub(super) fn comparison() -> gix::index::entry::stat::Options {
    gix::index::entry::stat::Options { trust_ctime: true, check_stat: true, use_nsec: true, use_stdev: false }
}

fn whole_seconds() -> gix::index::entry::stat::Options {
    gix::index::entry::stat::Options { use_nsec: false, ..comparison() }
}

/// The stat data of a plain file as the index keeps it, without following a link.
pub(super) fn stat_of(place: &Path) -> Option<Stat> {
    let metadata = gix::index::fs::Metadata::from_path_no_follow(place).ok()?;
    if !metadata.is_file() {
        return None;
    }
    Stat::from_fs(&metadata).ok()
}

impl Book {
    /// Takes git's lock on the index. One that an interrupted command of this store left is taken over: the caller
    /// holds the book's lock, so no such command is alive.
    pub(super) fn lock_index(&self) -> Result<IndexLock, Error> {
        let path = self.index_lock_path();
        if self.index_lock_is_left_over() {
            return Ok(IndexLock { path, held: true });
        }
        let mark = self.state_folder()?.join("mark");
        if !fs::read_to_string(&mark).is_ok_and(|text| text == MARK) {
            sync::remove(&mark)?;
            sync::write_new(&mark, MARK.as_bytes(), sync::Mode::Record)?;
        }
        let busy = |error: std::io::Error| match error.kind() {
            ErrorKind::AlreadyExists => Error::IndexBusy { path: path.clone() },
            _ => Error::io("lock", &path)(error),
        };
        match fs::hard_link(&mark, &path) {
            Ok(()) => {}
            Err(error) if error.kind() == ErrorKind::AlreadyExists => return Err(busy(error)),
            // A file system without links: the same by an exclusive new file.
            Err(_) => fs::File::create_new(&path)
                .and_then(|mut file| file.write_all(MARK.as_bytes()))
                .map_err(busy)?,
        }
        Ok(IndexLock { path, held: true })
    }

    /// Whether an interrupted command of this store left git's index locked.
    pub(super) fn index_lock_is_left_over(&self) -> bool {
        fs::read_to_string(self.index_lock_path()).is_ok_and(|text| text == MARK)
    }

    fn index_lock_path(&self) -> PathBuf {
        self.repo().index_path().with_extension("lock")
    }

    /// The index as it stands; made from the last commit when there is no file of it.
    pub(super) fn index(&self) -> Result<gix::index::File, Error> {
        self.index_as(Check::Digest)
    }

    /// The index for looking something up. Its digest is not checked, as git does not either: only what is written
    /// again needs to be known whole.
    pub(super) fn index_to_look_at(&self) -> Result<gix::index::File, Error> {
        self.index_as(Check::Form)
    }

    fn index_as(&self, check: Check) -> Result<gix::index::File, Error> {
        let path = self.repo().index_path();
        if !path.exists()
            && let Some(head) = self.head_commit()?
        {
            let snapshot = self.snapshot(super::CommitId(head))?;
            return self.repo().index_from_tree(&snapshot.tree()).map_err(Error::git("make the index"));
        }
        let skip = matches!(check, Check::Form);
        gix::index::File::at_or_default(path, self.repo().object_hash(), skip, Default::default())
            .map_err(Error::git("read the index"))
    }

    /// Brings entries to the contents given (`None`: no entry), their stat data from the work tree where that holds
    /// the same bytes. All other entries stay. Needs the index lock.
    pub(super) fn update_index(&self, entries: &[(String, Option<ContentId>, bool)]) -> Result<(), Error> {
        let mut index = self.index()?;
        self.mark_racy(&mut index)?;
        let paths: std::collections::BTreeSet<&[u8]> =
            entries.iter().map(|(path, ..)| path.as_bytes()).collect();
        let mut kept_modes = std::collections::BTreeMap::new();
        index.remove_entries(|_, path, entry| {
            let ours = paths.contains(path.as_bytes());
            if ours && entry.stage() == Stage::Unconflicted {
                kept_modes.insert(path.to_owned(), entry.mode);
            }
            ours
        });
        for (path, id, executable) in entries {
            let Some(id) = id else { continue };
            let key: &BStr = path.as_str().into();
            let mode = if *executable { Mode::FILE_EXECUTABLE } else { Mode::FILE };
            let mode = kept_modes.get(key).copied().filter(|kept| kept.contains(Mode::FILE)).unwrap_or(mode);
            let place = path::locate(self.root(), path)?;
            // Stat first, then bytes: an edit in between makes the two disagree and git looks again.
            let stat = stat_of(&place)
                .filter(|_| matches!(self.disk_id(path), Ok(Some(found)) if found == *id))
                .unwrap_or_default();
            index.dangerously_push_entry(stat, id.0, Flags::empty(), mode, key);
        }
        index.sort_entries();
        index.remove_tree();
        index.remove_resolve_undo();
        self.write_index(&index)
    }

    /// Marks entries whose file changed within the clock tick in which the old index was written: their stat data
    /// looks clean, and would go on doing so under the newer time of the index about to be written. The tick is a whole
    /// second here, since git as usually built compares no finer.
    fn mark_racy(&self, index: &mut gix::index::File) -> Result<(), Error> {
        let written = index.timestamp();
        let mut smudged = Vec::new();
        for (position, entry) in index.entries().iter().enumerate() {
            if entry.stage() != Stage::Unconflicted || !entry.stat.is_racy(written, whole_seconds()) {
                continue;
            }
            let Ok(inside) = entry.path(index).to_str() else {
                continue;
            };
            if path::check(inside).is_ok()
                && !matches!(self.disk_id(inside), Ok(Some(found)) if found.0 == entry.id)
            {
                smudged.push(position);
            }
        }
        let entries = index.entries_mut();
        for position in smudged {
            entries[position].stat.size = 0;
        }
        Ok(())
    }

    fn write_index(&self, index: &gix::index::File) -> Result<(), Error> {
        let place = self.repo().index_path();
        let beside = self.state_folder()?.join("index.new");
        sync::remove(&beside)?;
        let mut out = BufWriter::with_capacity(64 * 1024, sync::create(&beside, sync::Mode::Record)?);
        index
            .write_to(&mut out, gix::index::write::Options::default())
            .map_err(Error::git("write the index"))?;
        let file = out.into_inner().map_err(|error| Error::io("write", &beside)(error.into_error()))?;
        file.sync_all().map_err(Error::io("sync", &beside))?;
        sync::rename(&beside, &place)?;
        sync::folder_sync(place.parent().unwrap_or(&place))
    }

    /// The git name of a work-tree file's bytes, `None` when nothing stands there.
    pub(super) fn disk_id(&self, inside: &str) -> Result<Option<ContentId>, Error> {
        path::read(self.root(), inside)?.map(|bytes| ContentId::of(&bytes)).transpose()
    }
}
