//! The index, the work tree and the raw files: made again from the last commit, or fetched from a copy by their hash.

use std::collections::BTreeMap;

use super::mend::put_aside;
use super::path::{Standing, locate, standing};
use super::vault::{RawPlace, digest_of, is_digest};
use super::{Book, BookCopy, ContentId, Entry, EntryKind, Error, Mended, Mending, intake, path, sync};

/// What `git add` would call a file that a command of this store is bringing in place.
const BESIDE: &str = "mend";

impl Mending {
    /// Makes the index again where it cannot be read, puts files of the last commit back that are gone from the work
    /// tree, and raw files whose bytes are not those they were kept with. A file with other bytes than the commit's is
    /// an edit, and left; so is a removal that was staged, and everything while a merge or the like is under way or
    /// git holds its lock on the index: then nothing is done, and `false` is returned.
    ///
    /// # Errors
    ///
    /// [`Error::Io`]; [`Error::Git`] when the last commit cannot be read.
    pub fn work_tree(&mut self) -> Result<bool, Error> {
        if self.book.refuse_in_progress(false).is_err() {
            return Ok(false);
        }
        let Some(_held) = self.book.lock_index_to_mend()? else { return Ok(false) };
        self.mend_index()?;
        let head = self.book.head()?;
        let index = self.book.index_to_look_at()?;
        let mut back = Vec::new();
        for (inside, entry) in head.files_that_can_be_read() {
            let executable = match entry.kind {
                EntryKind::File => false,
                EntryKind::Executable => true,
                _ => continue,
            };
            let key: &gix::bstr::BStr = inside.as_str().into();
            let staged = index.entry_by_path_and_stage(key, gix::index::entry::Stage::Unconflicted);
            let Ok(place) = locate(self.book.root(), &inside) else { continue };
            let is_raw = inside
                .rsplit('/')
                .next()
                .is_some_and(|name| is_digest(name) && RawPlace::InGit.path(name) == inside);
            let stands = standing(&place)?;
            let wanted = match &stands {
                Standing::Nothing => staged.is_some_and(|staged| staged.id == entry.id.0),
                Standing::File(_) => is_raw && self.book.disk_id(&inside)? != Some(entry.id),
                _ => is_raw,
            };
            if !wanted {
                continue;
            }
            // What the commit has must itself be what its name says.
            let Ok(bytes) = head.content(entry.id) else { continue };
            if !holds(&inside, &entry, &bytes, is_raw)? {
                continue;
            }
            let aside = match stands {
                Standing::Nothing => None,
                _ => Some(put_aside(self.book.root(), self.book.repo().git_dir(), &place)?),
            };
            let mode = match (is_raw, executable) {
                (true, _) => sync::Mode::ReadOnly,
                (_, true) => sync::Mode::Executable,
                _ => sync::Mode::Record,
            };
            self.put_in_place(&inside, &bytes, mode)?;
            let what = if is_raw { "raw file" } else { "work file" };
            self.mended.push(Mended {
                path: inside.clone(),
                what,
                from: "the last commit".to_owned(),
                aside,
            });
            back.push((inside, Some(entry.id), executable));
        }
        if !back.is_empty() {
            self.book.update_index(&back)?;
        }
        Ok(true)
    }

    fn mend_index(&mut self) -> Result<(), Error> {
        if self.book.index().is_ok() {
            return Ok(());
        }
        let place = self.book.repo().index_path();
        let aside = match standing(&place)? {
            Standing::Nothing => None,
            _ => Some(put_aside(self.book.root(), self.book.repo().git_dir(), &place)?),
        };
        // Where there is no file of it, it is made from the last commit; this brings the files' times into it.
        let head = self.book.head()?;
        let entries: Vec<(String, Option<ContentId>, bool)> = head
            .files("")?
            .into_iter()
            .filter(|(_, entry)| matches!(entry.kind, EntryKind::File | EntryKind::Executable))
            .filter(|(inside, _)| path::check(inside).is_ok())
            .map(|(inside, entry)| (inside, Some(entry.id), entry.kind == EntryKind::Executable))
            .collect();
        self.book.update_index(&entries)?;
        self.mended.push(Mended {
            path: ".git/index".to_owned(),
            what: "index",
            from: "the last commit".to_owned(),
            aside,
        });
        Ok(())
    }

    /// Fetches raw files that git does not hold and that are missing or damaged here; `named` says which there should
    /// be (SHA-256 and where it is named).
    ///
    /// # Errors
    ///
    /// [`Error::Io`] of this book; a copy that cannot be read has nothing to give.
    pub fn large_raw(
        &mut self,
        named: &BTreeMap<String, String>,
        copy: Option<&BookCopy>,
        progress: &mut dyn FnMut(u64),
    ) -> Result<(), Error> {
        let head = self.book.head()?;
        for (name, named_by) in named.iter().filter(|(name, _)| is_digest(name)) {
            if head.exists(&RawPlace::InGit.path(name))? {
                continue;
            }
            let inside = RawPlace::Large.path(name);
            let Ok(place) = locate(self.book.root(), &inside) else { continue };
            let stands = standing(&place)?;
            if let Standing::File(_) = stands
                && let Some((_, mut reader)) = self.book.raw().open_on_disk(name, RawPlace::Large)?
                && digest_of(&mut reader).map_err(Error::io("read", &place))?.0 == *name
            {
                continue;
            }
            let Some(mut reader) = copy.and_then(|copy| copy.raw(name)) else { continue };
            let incoming = self.book.state_folder()?.join("incoming");
            sync::make_folder(&incoming)?;
            let spool = incoming.join(format!("{BESIDE}-{name}"));
            sync::remove(&spool)?;
            let Ok(mut taken) = intake::copy(&spool, &mut reader, progress) else { continue };
            taken.settle()?;
            if taken.sha256 != *name {
                sync::remove(&spool)?;
                continue;
            }
            let aside = match stands {
                Standing::Nothing => None,
                _ => Some(put_aside(self.book.root(), self.book.repo().git_dir(), &place)?),
            };
            sync::make_folders(self.book.root(), path::folder_of(&inside))?;
            sync::rename(&spool, &place)?;
            sync::folder_sync(place.parent().unwrap_or(&place))?;
            let from = format!("the copy; {named_by} names it");
            self.mended.push(Mended { path: inside, what: "raw file", from, aside });
        }
        Ok(())
    }

    /// Puts a file where nothing stands, whole or not at all.
    fn put_in_place(&self, inside: &str, bytes: &[u8], mode: sync::Mode) -> Result<(), Error> {
        let root = self.book.root();
        sync::make_folders(root, path::folder_of(inside))?;
        let place = locate(root, inside)?;
        let beside = place.with_file_name(format!("{}{}.part", super::journal::STAGE, std::process::id()));
        sync::remove(&beside)?;
        sync::write_new(&beside, bytes, mode)?;
        sync::rename(&beside, &place)?;
        sync::folder_sync(place.parent().unwrap_or(root))
    }
}

/// Whether the bytes of a commit's entry hash to its name, and a raw file's to the name it is kept under.
fn holds(inside: &str, entry: &Entry, bytes: &[u8], is_raw: bool) -> Result<bool, Error> {
    if ContentId::of(bytes)? != entry.id {
        return Ok(false);
    }
    let (found, _) = digest_of(&mut { bytes }).map_err(Error::io("read", inside.as_ref()))?;
    Ok(!is_raw || inside.ends_with(&found))
}

impl Book {
    /// Removes kept files of the cache that do not hold; they are made again when they are wanted. Returns their paths.
    pub(super) fn clear_broken_cache(&self) -> Vec<String> {
        let folder = self.state_path().join("cache");
        let mut cleared = Vec::new();
        for entry in std::fs::read_dir(&folder).into_iter().flatten().flatten() {
            let Ok(name) = entry.file_name().into_string() else { continue };
            let kept = !name.ends_with(".new");
            if kept && self.cache_read(&name).is_none() && sync::remove(&entry.path()).is_ok() {
                cleared.push(self.inside(&entry.path()));
            }
        }
        cleared
    }
}

impl Mending {
    /// Clears what of the cache does not hold.
    pub fn cache(&mut self) {
        for path in self.book.clear_broken_cache() {
            let from = "nothing: it is made again when it is wanted".to_owned();
            self.mended.push(Mended { path, what: "cache", from, aside: None });
        }
    }
}
