//! The line of commits that a book's present goes back to: known on a date, and who changed a file when.

use std::collections::{BTreeMap, BTreeSet};

use gix::ObjectId;

use super::snapshot::read_folder;
use super::{Author, Book, CommitId, EntryKind, Error, Snapshot, Time};

/// One commit that changed a path.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Change {
    /// The commit.
    pub commit: CommitId,
    /// Who made the change.
    pub author: Author,
    /// When it was committed, by its own word.
    pub time: Time,
    /// The first line of its message.
    pub subject: String,
    /// Whether the path is gone since.
    pub removed: bool,
}

/// A commit on the first-parent line.
struct Ancestor {
    commit: CommitId,
    seconds: i64,
}

impl Book {
    /// The last first-parent commit of HEAD that was known at a moment (seconds since 1970, UTC), `None` when the
    /// book did not exist yet.
    ///
    /// A commit counts from the latest committer time on the way from the root to it, so a clock that ran back never
    /// makes a later commit known before an earlier one.
    pub fn known_on(&self, end: i64) -> Result<Option<Snapshot>, Error> {
        let mut latest = i64::MIN;
        let mut known = None;
        for ancestor in self.line()?.iter().rev() {
            latest = latest.max(ancestor.seconds);
            if latest > end {
                break;
            }
            known = Some(ancestor.commit);
        }
        known.map(|commit| self.snapshot(commit)).transpose()
    }

    /// The commits of the first-parent line that changed a file or folder, newest first.
    pub fn log(&self, path: &str) -> Result<Vec<Change>, Error> {
        let line = self.line()?;
        let mut changes = Vec::new();
        let mut newer: Option<(CommitId, ObjectId, Option<super::ContentId>)> = None;
        for ancestor in &line {
            let snapshot = self.snapshot(ancestor.commit)?;
            // The same root folder means the same everything: no need to look the path up again.
            let id = match &newer {
                Some((_, tree, id)) if *tree == snapshot.tree() => *id,
                _ => snapshot.id_of(path)?,
            };
            if let Some((commit, _, after)) = newer
                && after != id
            {
                changes.push(self.change(commit, after.is_none())?);
            }
            newer = Some((ancestor.commit, snapshot.tree(), id));
        }
        if let Some((commit, _, Some(_))) = newer {
            changes.push(self.change(commit, false)?);
        }
        Ok(changes)
    }

    /// How often each entry of a folder was changed on the first-parent line, in commits newer than `since` where that
    /// is given; as many as [`Book::log`] of the entry lists. `None` when `since` is not on the line.
    pub fn edits_in(
        &self,
        folder: &str,
        since: Option<CommitId>,
    ) -> Result<Option<BTreeMap<String, usize>>, Error> {
        super::path::check(folder)?;
        let mut edits = BTreeMap::new();
        let mut newer: Option<(ObjectId, Option<ObjectId>)> = None;
        let mut count = |older: Option<ObjectId>, newer: Option<ObjectId>| {
            let entries = |folder: Option<ObjectId>| -> Result<BTreeMap<String, ObjectId>, Error> {
                let entries = folder.map(|folder| read_folder(self.repo(), folder)).transpose()?;
                Ok(entries.into_iter().flatten().map(|entry| (entry.name, entry.id.0)).collect())
            };
            let (older, newer) = (entries(older)?, entries(newer)?);
            let names: BTreeSet<&String> = older.keys().chain(newer.keys()).collect();
            for name in names.into_iter().filter(|name| older.get(*name) != newer.get(*name)) {
                *edits.entry(name.clone()).or_insert(0) += 1;
            }
            Ok(())
        };
        let mut next = self.head_commit()?;
        while let Some(id) = next {
            let commit = self.repo().find_commit(id).map_err(Error::git("walk the history"))?;
            let tree = commit.tree_id().map_err(Error::git("read a commit"))?.detach();
            let found = match newer {
                Some((above, found)) if above == tree => found,
                _ => self.folder_at(tree, folder)?,
            };
            if let Some((_, above)) = newer
                && above != found
            {
                count(found, above)?;
            }
            if since == Some(CommitId(id)) {
                return Ok(Some(edits));
            }
            newer = Some((tree, found));
            next = commit.parent_ids().next().map(|parent| parent.detach());
        }
        count(None, newer.and_then(|(_, found)| found))?;
        Ok(since.is_none().then_some(edits))
    }

    /// The name of a folder's content below a root folder.
    fn folder_at(&self, tree: ObjectId, folder: &str) -> Result<Option<ObjectId>, Error> {
        let mut place = tree;
        for name in folder.split('/') {
            let entries = read_folder(self.repo(), place)?;
            match entries.iter().find(|entry| entry.name == name && entry.kind == EntryKind::Folder) {
                Some(entry) => place = entry.id.0,
                None => return Ok(None),
            }
        }
        Ok(Some(place))
    }

    /// Whether a commit is another or one of its ancestors.
    pub(super) fn descends(&self, tip: ObjectId, from: ObjectId) -> Result<bool, Error> {
        let walk = self.repo().rev_walk([tip]).all().map_err(Error::git("walk the history"))?;
        for step in walk {
            if step.map_err(Error::git("walk the history"))?.id == from {
                return Ok(true);
            }
        }
        Ok(false)
    }

    fn change(&self, commit: CommitId, removed: bool) -> Result<Change, Error> {
        let found = self.repo().find_commit(commit.0).map_err(Error::git("read a commit"))?;
        let decoded = found.decode().map_err(Error::git("read a commit"))?;
        let author = decoded.author().map_err(Error::git("read a commit's author"))?;
        let time = found.time().map_err(Error::git("read a commit's time"))?;
        Ok(Change {
            commit,
            author: Author { name: author.name.to_string(), email: author.email.to_string() },
            time: Time { seconds: time.seconds, offset: time.offset },
            subject: decoded.message.to_string().lines().next().unwrap_or_default().to_owned(),
            removed,
        })
    }

    /// The first-parent line from HEAD to the root.
    fn line(&self) -> Result<Vec<Ancestor>, Error> {
        let mut line = Vec::new();
        let mut next = self.head_commit()?;
        while let Some(id) = next {
            let commit = self.repo().find_commit(id).map_err(Error::git("walk the history"))?;
            let seconds = commit.time().map_err(Error::git("read a commit's time"))?.seconds;
            next = commit.parent_ids().next().map(|parent| parent.detach());
            line.push(Ancestor { commit: CommitId(id), seconds });
        }
        Ok(line)
    }
}
