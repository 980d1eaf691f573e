//! Bringing an interrupted write to one side or the other: undone when the branch had not moved, finished when it had.

use std::collections::BTreeSet;
use std::fs;
use std::path::PathBuf;

use gix::ObjectId;

use super::index::IndexLock;
use super::journal::{Journal, Planned};
use super::path::{Standing, standing};
use super::vault::RawPlace;
use super::{Book, ContentId, Error, Snapshot, Step, path, sync};

/// What became of an interrupted command.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Outcome {
    /// As if it had never run.
    Undone,
    /// As if it had never stopped.
    Finished,
}

/// An interrupted command that was cleared up after.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Recovery {
    /// The command, as it was given to the lock.
    pub command: String,
    /// The process that ran it.
    pub process: u32,
    /// Since when it held the lock.
    pub since: String,
    /// What became of it.
    pub outcome: Outcome,
    /// The files it was writing.
    pub files: Vec<String>,
    /// Those among them that were edited since and left as they are, now pending edits.
    pub left: Vec<String>,
}

impl Book {
    /// Clears up after an interrupted command, if there was one and no other process is writing.
    ///
    /// # Errors
    ///
    /// [`Error::IndexBusy`] when git holds its lock on the index; [`Error::JournalDamaged`].
    pub fn recover(&self) -> Result<Option<Recovery>, Error> {
        if !self.needs_recovery() {
            return Ok(None);
        }
        match self.lock_quietly("recover")? {
            Some(_held) => self.recover_locked(),
            None => Ok(None),
        }
    }

    fn needs_recovery(&self) -> bool {
        self.state_path().join("journal").exists() || self.index_lock_is_left_over()
    }

    /// Clears up under the book's lock.
    pub(super) fn recover_locked(&self) -> Result<Option<Recovery>, Error> {
        let state = self.state_folder()?;
        self.clear_incoming();
        let Some(journal) = Journal::read(&state)? else {
            if self.index_lock_is_left_over() {
                drop(self.lock_index()?);
            }
            return Ok(None);
        };
        let index_lock = self.lock_index()?;
        let recovered = self.settle(&journal);
        if recovered.is_err() {
            IndexLock::leave(index_lock);
        }
        recovered.map(Some)
    }

    fn settle(&self, journal: &Journal) -> Result<Recovery, Error> {
        let new = journal.new_id()?.0;
        let moved = match self.reference(&journal.reference)? {
            Some(now) if now == new => true,
            Some(now) => Some(now.to_string()) != journal.old && self.descends(now, new)?,
            None => false,
        };
        let (outcome, left) = if moved {
            (Outcome::Finished, self.complete(journal, &mut |_| Ok(()))?)
        } else {
            self.undo(journal)?;
            (Outcome::Undone, Vec::new())
        };
        Ok(Recovery {
            command: journal.command.clone(),
            process: journal.process,
            since: journal.since.clone(),
            outcome,
            files: journal.files.iter().map(|file| file.path.clone()).collect(),
            left,
        })
    }

    /// Takes back everything a write did before the branch moved. Safe to repeat.
    pub(super) fn undo(&self, journal: &Journal) -> Result<(), Error> {
        let mut touched = BTreeSet::new();
        self.drop_reference_lock(&journal.reference, journal.new_id()?.0)?;
        for stage in journal.files.iter().filter_map(|file| file.stage.as_deref()) {
            let place = path::locate(self.root(), stage)?;
            // Anything but a file there is none of ours, and was what stopped the write.
            if matches!(standing(&place)?, Standing::File(_)) {
                sync::remove(&place)?;
            }
            touched.extend(place.parent().map(PathBuf::from));
        }
        for name in &journal.large {
            let place = path::locate(self.root(), &RawPlace::Large.path(name))?;
            sync::remove(&place)?;
            touched.extend(place.parent().map(PathBuf::from));
        }
        for folder in journal.folders.iter().rev() {
            let place = path::locate(self.root(), folder)?;
            // Only when empty: the user may have put something in it since.
            let _ = fs::remove_dir(&place);
            touched.extend(place.parent().map(PathBuf::from));
        }
        sync_those_left(touched)?;
        Journal::clear(&self.state_folder()?)
    }

    /// Does everything a write does after the branch moved, or what of it is left to do. Safe to repeat.
    ///
    /// Returns the files that someone edited in the meantime, which are left alone.
    pub(super) fn complete(
        &self,
        journal: &Journal,
        reached: &mut dyn FnMut(Step) -> Result<(), Error>,
    ) -> Result<Vec<String>, Error> {
        let new = journal.new_id()?;
        let old = journal.old.as_deref().and_then(|old| ObjectId::from_hex(old.as_bytes()).ok());
        self.drop_reference_lock(&journal.reference, new.0)?;
        self.log_move(
            &journal.reference,
            old,
            new.0,
            &format!("{}\tcommit: {}", journal.signature, journal.subject),
        )?;

        let head = self.head()?;
        let mut left = Vec::new();
        let mut entries = Vec::new();
        let mut touched = BTreeSet::new();
        for file in &journal.files {
            let place = path::locate(self.root(), &file.path)?;
            let stage = file.stage.as_deref().map(|stage| path::locate(self.root(), stage)).transpose()?;
            touched.extend(place.parent().map(PathBuf::from));
            // Someone may have committed or switched branches since: then the file is theirs.
            let still_ours = head.id_of(&file.path)? == file.new_id();
            if still_ours {
                if !self.place(&head, file, &place, stage.as_deref())? {
                    left.push(file.path.clone());
                }
                entries.push((file.path.clone(), file.new_id(), file.executable));
            }
            if let Some(stage) = &stage {
                sync::remove(stage)?;
            }
            // Here and not where the file goes, so that a second try finds its folder too.
            if still_ours && file.new_id().is_none() {
                self.remove_empty_folders(path::folder_of(&file.path));
            }
            reached(Step::FilePlaced)?;
        }
        sync_those_left(touched)?;
        reached(Step::FilesPlaced)?;
        self.update_index(&entries)?;
        reached(Step::IndexWritten)?;
        if journal.merge {
            for name in ["MERGE_HEAD", "MERGE_MODE", "MERGE_MSG", "AUTO_MERGE"] {
                sync::remove(&self.repo().git_dir().join(name))?;
            }
        }
        Journal::clear(&self.state_folder()?)?;
        reached(Step::JournalRemoved)?;
        Ok(left)
    }

    /// Puts one file in place; `false` when someone edited it since the plan.
    fn place(
        &self,
        head: &Snapshot,
        file: &Planned,
        place: &std::path::Path,
        stage: Option<&std::path::Path>,
    ) -> Result<bool, Error> {
        let now = match self.disk_id(&file.path) {
            Ok(now) => now,
            Err(Error::NotPlain { .. }) => return Ok(false),
            Err(error) => return Err(error),
        };
        if now == file.new_id() {
            return Ok(true);
        }
        if now != file.on_disk() {
            return Ok(false);
        }
        let Some(id) = file.new_id() else {
            sync::remove(place)?;
            return Ok(true);
        };
        let ready = match stage {
            Some(stage) => {
                fs::read(stage).is_ok_and(|bytes| ContentId::of(&bytes).is_ok_and(|found| found == id))
            }
            None => false,
        };
        match stage {
            Some(stage) if ready => sync::rename(stage, place)?,
            _ => {
                let beside =
                    place.with_file_name(format!("{}{}.part", super::journal::STAGE, std::process::id()));
                sync::make_folders(self.root(), path::folder_of(&file.path))?;
                sync::remove(&beside)?;
                sync::write_new(&beside, &head.content(id)?, file.mode())?;
                sync::rename(&beside, place)?;
            }
        }
        Ok(true)
    }

    /// Git knows no empty folders: one that lost its last file goes, as git would have it.
    fn remove_empty_folders(&self, mut folder: &str) {
        while !folder.is_empty() {
            if fs::remove_dir(self.root().join(folder)).is_err() {
                return;
            }
            folder = path::folder_of(folder);
        }
    }

    /// Removes raw files that were being taken in. Needs the book's lock; what stays is of no consequence.
    pub(super) fn clear_incoming(&self) {
        let folder = self.state_path().join("incoming");
        if let Ok(entries) = fs::read_dir(&folder) {
            for entry in entries.flatten() {
                let _ = fs::remove_file(entry.path());
            }
        }
    }
}

/// Syncs folders; one that is gone took its names with it into its parent, the next that stands is synced instead.
fn sync_those_left(folders: BTreeSet<PathBuf>) -> Result<(), Error> {
    let standing: BTreeSet<PathBuf> = folders
        .iter()
        .filter_map(|folder| folder.ancestors().find(|place| place.is_dir()))
        .map(PathBuf::from)
        .collect();
    sync::each(&standing.into_iter().collect::<Vec<_>>(), sync::folder_sync)
}
