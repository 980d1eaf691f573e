//! What a write is about to do, written down before it does it.
//!
//! The journal is one JSON line and a line with that line's SHA-256. It is put in place whole, synced, before the first
//! change to the work tree, the index or a reference, and removed, synced, after the last.

use std::fs;
use std::path::{Path, PathBuf};

use serde::{Deserialize, Serialize};
use sha2::{Digest, Sha256};

use super::vault::{hexadecimal, is_digest};
use super::{CommitId, ContentId, Error, path, sync};

const VERSION: u32 = 1;

/// The plan of one write.
#[derive(Debug, Clone, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct Journal {
    pub(super) version: u32,
    pub(super) command: String,
    pub(super) process: u32,
    pub(super) since: String,
    /// The reference to move, `HEAD` when it is detached.
    pub(super) reference: String,
    pub(super) old: Option<String>,
    pub(super) new: String,
    /// Who and when, as a line of the reference's log has it.
    pub(super) signature: String,
    pub(super) subject: String,
    pub(super) files: Vec<Planned>,
    /// Folders that were missing, outermost first.
    pub(super) folders: Vec<String>,
    /// SHA-256 of large raw files that were not here.
    pub(super) large: Vec<String>,
    /// Whether the commit concludes a merge.
    pub(super) merge: bool,
}

/// One file of the plan; contents by their git names.
#[derive(Debug, Clone, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct Planned {
    pub(super) path: String,
    /// The file beside it that holds the new bytes until they go in place.
    pub(super) stage: Option<String>,
    /// What the last commit holds.
    pub(super) old: Option<String>,
    /// What the work tree holds, and may be replaced.
    pub(super) on_disk: Option<String>,
    /// What the new commit holds.
    pub(super) new: Option<String>,
    pub(super) executable: bool,
    /// Whether it is a raw file, read-only on disk.
    pub(super) raw: bool,
}

impl Planned {
    pub(super) fn on_disk(&self) -> Option<ContentId> {
        self.on_disk.as_deref().and_then(ContentId::parse)
    }

    pub(super) fn new_id(&self) -> Option<ContentId> {
        self.new.as_deref().and_then(ContentId::parse)
    }

    pub(super) fn mode(&self) -> sync::Mode {
        match (self.raw, self.executable) {
            (true, _) => sync::Mode::ReadOnly,
            (_, true) => sync::Mode::Executable,
            _ => sync::Mode::Record,
        }
    }
}

impl Journal {
    pub(super) fn version() -> u32 {
        VERSION
    }

    pub(super) fn new_id(&self) -> Result<CommitId, Error> {
        CommitId::parse(&self.new).ok_or(Error::Git {
            operation: "read the journal",
            detail: format!("{} is not the name of a commit", self.new),
        })
    }

    /// Puts the journal in place, synced.
    pub(super) fn write(&self, folder: &Path) -> Result<(), Error> {
        let mut text = serde_json::to_string(self)
            .map_err(|error| Error::Git { operation: "write the journal", detail: error.to_string() })?;
        let check = hexadecimal(&Sha256::digest(text.as_bytes()));
        text.push('\n');
        text.push_str(&check);
        text.push('\n');
        sync::replace(&place(folder), text.as_bytes())
    }

    /// Reads the journal an interrupted write left, `None` when there is none.
    ///
    /// # Errors
    ///
    /// [`Error::JournalDamaged`] when it is not whole or names a path that no write could have planned.
    pub(super) fn read(folder: &Path) -> Result<Option<Self>, Error> {
        let place = place(folder);
        let text = match fs::read_to_string(&place) {
            Ok(text) => text,
            Err(error) if error.kind() == std::io::ErrorKind::NotFound => return Ok(None),
            Err(error) => return Err(Error::io("read", &place)(error)),
        };
        let (line, check) =
            text.trim_end().split_once('\n').ok_or_else(|| damaged(folder, "half a journal"))?;
        if hexadecimal(&Sha256::digest(line.as_bytes())) != check {
            return Err(damaged(folder, "a journal whose check does not hold"));
        }
        let journal: Self = serde_json::from_str(line)
            .map_err(|error| damaged(folder, &format!("a journal that cannot be read ({error})")))?;
        if journal.version != VERSION {
            return Err(damaged(folder, &format!("a journal of version {}", journal.version)));
        }
        journal.check(folder)?;
        Ok(Some(journal))
    }

    /// Removes the journal, synced.
    pub(super) fn clear(folder: &Path) -> Result<(), Error> {
        sync::remove(&place(folder))?;
        sync::folder_sync(folder)
    }

    /// A journal comes from the disk like anything else: nothing outside the book may be named by it.
    fn check(&self, folder: &Path) -> Result<(), Error> {
        for file in &self.files {
            path::check(&file.path)?;
            if let Some(stage) = &file.stage {
                path::check(stage)?;
                let beside = path::folder_of(stage) == path::folder_of(&file.path);
                if !beside || !stage.rsplit('/').next().is_some_and(|name| name.starts_with(STAGE)) {
                    return Err(damaged(folder, "a journal that names a file it did not write"));
                }
            }
        }
        self.folders.iter().try_for_each(|inside| path::check(inside))?;
        let plain_reference = self.reference == "HEAD"
            || (self.reference.starts_with("refs/") && path::check(&self.reference).is_ok());
        let commits = CommitId::parse(&self.new).is_some()
            && self.old.as_deref().is_none_or(|old| CommitId::parse(old).is_some());
        if !commits || !plain_reference || !self.large.iter().all(|name| is_digest(name)) {
            return Err(damaged(
                folder,
                "a journal that names something else than commits, a branch and raw files",
            ));
        }
        Ok(())
    }
}

/// How the names of files begin that wait beside the one they will replace.
pub(super) const STAGE: &str = ".mulebook-";

fn place(folder: &Path) -> PathBuf {
    folder.join("journal")
}

fn damaged(folder: &Path, found: &str) -> Error {
    Error::JournalDamaged { path: place(folder), found: found.to_owned() }
}
