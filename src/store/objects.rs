//! Writing git objects so that they last: written, read back where one of that name was there before, synced.
//!
//! The git library takes an object for stored when a file of its name is there. After a power cut that file may be
//! empty, so one that cannot be read is removed and written again.

use std::collections::BTreeSet;
use std::path::{Path, PathBuf};

use gix::ObjectId;
use gix::objs::Kind;

use super::error::of_disk;
use super::{Book, ContentId, Error, path, sync};

/// The objects of one commit, to be synced together.
#[derive(Debug, Default)]
pub(super) struct Written {
    ids: BTreeSet<ObjectId>,
}

/// One change to the tree: the content a path gets, `None` to remove it.
#[derive(Debug, Clone, Copy)]
pub(super) struct TreeChange<'a> {
    pub(super) path: &'a str,
    pub(super) content: Option<ContentId>,
    pub(super) executable: bool,
}

/// How often an object is written before its folder's going is taken for a fault.
const TRIES: usize = 16;

/// Writes an object. `git gc` removes folders of objects that it finds empty, also between their making and the moment
/// when the object gets its name in them: then it is written once more.
fn write(to: &impl gix::objs::Write, kind: Kind, bytes: &[u8]) -> Result<ObjectId, Error> {
    let is_gone = |error: &(dyn std::error::Error + 'static)| {
        of_disk(error).is_some_and(|error| error.kind() == std::io::ErrorKind::NotFound)
    };
    let mut tries = 1;
    loop {
        match to.write_buf(kind, bytes) {
            Ok(id) => return Ok(id),
            Err(error) if tries < TRIES && is_gone(&error) => tries += 1,
            Err(error) => return Err(Error::git("write an object")(error)),
        }
    }
}

impl Book {
    /// Stores an object.
    pub(super) fn store(&self, written: &mut Written, kind: Kind, bytes: &[u8]) -> Result<ObjectId, Error> {
        let fault = || Error::git("write an object");
        let id = gix::objs::compute_hash(self.repo().object_hash(), kind, bytes).map_err(fault())?;
        let file = self.object_path(id);
        if file.exists() && !self.repo().find_object(id).is_ok_and(|found| found.data == bytes) {
            sync::remove(&file)?;
        }
        if !self.repo().has_object(id) {
            write(&self.repo().objects, kind, bytes)?;
        }
        written.ids.insert(id);
        Ok(id)
    }

    /// Stores an object in a file of its own, whether or not a pack says that it has it.
    pub(super) fn store_loose(&self, written: &mut Written, kind: Kind, bytes: &[u8]) -> Result<(), Error> {
        let loose = gix::odb::loose::Store::at(self.objects_path(), self.repo().object_hash());
        written.ids.insert(write(&loose, kind, bytes)?);
        Ok(())
    }

    /// Stores the tree that `base` becomes by the changes.
    pub(super) fn store_tree(
        &self,
        written: &mut Written,
        base: ObjectId,
        changes: &[TreeChange<'_>],
    ) -> Result<ObjectId, Error> {
        loop {
            let tree = self.build_tree(written, base, changes)?;
            let trees = self.trees_on_the_way(tree, changes);
            // Trees that were there before count as written too: whoever wrote them may not have synced them.
            let unreadable: Vec<PathBuf> = trees
                .iter()
                .filter(|id| self.repo().find_object(**id).is_err())
                .map(|id| self.object_path(*id))
                .filter(|file| file.exists())
                .collect();
            written.ids.extend(trees);
            if unreadable.is_empty() {
                return Ok(tree);
            }
            unreadable.iter().try_for_each(|file| sync::remove(file))?;
        }
    }

    fn build_tree(
        &self,
        written: &mut Written,
        base: ObjectId,
        changes: &[TreeChange<'_>],
    ) -> Result<ObjectId, Error> {
        let fault = || Error::git("write a folder");
        let mut memory = self.repo().clone().with_object_memory();
        let mut editor = memory.edit_tree(base).map_err(fault())?;
        for change in changes {
            match change.content {
                Some(id) => {
                    let kind = if change.executable {
                        gix::objs::tree::EntryKind::BlobExecutable
                    } else {
                        gix::objs::tree::EntryKind::Blob
                    };
                    editor.upsert(change.path, kind, id.0).map_err(fault())?;
                }
                None => {
                    editor.remove(change.path).map_err(fault())?;
                }
            }
        }
        let tree = editor.write().map_err(fault())?.detach();
        drop(editor);
        let fresh = memory.objects.take_object_memory();
        let mut trees: Vec<_> =
            fresh.iter().flat_map(|fresh| fresh.iter()).map(|(id, (_, bytes))| (id, bytes)).collect();
        trees.sort();
        for (_, bytes) in trees {
            self.store(written, Kind::Tree, bytes)?;
        }
        if tree == ObjectId::empty_tree(self.repo().object_hash()) {
            self.store(written, Kind::Tree, b"")?;
        }
        Ok(tree)
    }

    /// The root tree and those of the folders that changed; one that cannot be read ends the way.
    fn trees_on_the_way(&self, tree: ObjectId, changes: &[TreeChange<'_>]) -> BTreeSet<ObjectId> {
        let mut trees = BTreeSet::from([tree]);
        let folders: BTreeSet<&str> = changes.iter().map(|change| path::folder_of(change.path)).collect();
        for folder in folders {
            let mut place = tree;
            for name in folder.split('/').filter(|name| !name.is_empty()) {
                let Ok(entries) = super::snapshot::read_folder(self.repo(), place) else {
                    break;
                };
                let Some(entry) = entries.iter().find(|entry| entry.name == name) else {
                    break;
                };
                place = entry.id.0;
                trees.insert(place);
            }
        }
        trees
    }

    /// Syncs the objects and the folders that name them. Objects in packs are left: git synced those.
    pub(super) fn sync_objects(&self, written: &Written) -> Result<(), Error> {
        let mut tries = 1;
        loop {
            match self.sync_loose(written) {
                // `git gc` packed what was there before and took its file and folder away meanwhile.
                Err(Error::Io { source, .. })
                    if tries < TRIES && source.kind() == std::io::ErrorKind::NotFound =>
                {
                    tries += 1;
                }
                synced => return synced,
            }
        }
    }

    /// Syncs those objects that have files of their own.
    fn sync_loose(&self, written: &Written) -> Result<(), Error> {
        let files: Vec<PathBuf> =
            written.ids.iter().map(|id| self.object_path(*id)).filter(|file| file.exists()).collect();
        let folders: BTreeSet<PathBuf> =
            files.iter().filter_map(|file| file.parent().map(Path::to_owned)).collect();
        let folders: Vec<PathBuf> = folders.into_iter().chain([self.objects_path()]).collect();
        sync::each(&files, sync::file_sync)?;
        sync::each(&folders, sync::folder_sync)
    }

    /// Where an object's own file is, when it has one.
    pub(super) fn object_path(&self, id: ObjectId) -> PathBuf {
        let digits = id.to_string();
        self.objects_path().join(&digits[..2]).join(&digits[2..])
    }

    pub(super) fn objects_path(&self) -> PathBuf {
        self.repo().common_dir().join("objects")
    }
}
