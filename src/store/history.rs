//! The line of commits that a book's present goes back to: known on a date, and who changed a file when.

use std::collections::{BTreeMap, BTreeSet};
use std::rc::Rc;

use gix::ObjectId;

use super::snapshot::read_folder;
use super::{Author, Book, CommitId, ContentId, EntryKind, Error, Snapshot, Time};

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
    /// What it left there; none where the path is gone since.
    pub content: Option<ContentId>,
    /// How many commits it lies before HEAD on the line.
    pub steps_back: usize,
}

/// A commit on the first-parent line.
struct Ancestor {
    commit: CommitId,
    seconds: i64,
}

type Held<'p> = Rc<BTreeMap<&'p str, ContentId>>;

/// What one commit holds at the paths that are followed.
#[derive(Default)]
struct Seen<'p> {
    tree: Option<ObjectId>,
    folders: BTreeMap<&'p str, (ObjectId, Held<'p>)>,
}

impl<'p> Seen<'p> {
    fn content(&self, path: &str) -> Option<ContentId> {
        self.folders.values().find_map(|(_, held)| held.get(path)).copied()
    }

    /// The paths that hold other contents than in an older commit.
    fn differing(&self, older: &Self) -> Vec<&'p str> {
        let mut differing = Vec::new();
        let folders: BTreeSet<&str> = self.folders.keys().chain(older.folders.keys()).copied().collect();
        for folder in folders {
            let (after, before) = (self.folders.get(folder), older.folders.get(folder));
            if after.map(|(id, _)| id) == before.map(|(id, _)| id) {
                continue;
            }
            let sides = [after, before];
            let paths: BTreeSet<&str> =
                sides.into_iter().flatten().flat_map(|(_, held)| held.keys().copied()).collect();
            let [new, old] = sides.map(|side| move |path: &str| side.and_then(|(_, held)| held.get(path)));
            differing.extend(paths.into_iter().filter(|path| new(path) != old(path)));
        }
        differing
    }
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
        let mut logs = self.logs(&BTreeSet::from([path.to_owned()]))?;
        Ok(logs.remove(path).unwrap_or_default())
    }

    /// The commits of the first-parent line that changed each of these files or folders, newest first: from the catalog
    /// where these are records' files, else in one walk.
    pub fn logs(&self, paths: &BTreeSet<String>) -> Result<BTreeMap<String, Vec<Change>>, Error> {
        let Some((line, left)) = self.kept_logs(paths)? else { return self.walked_logs(paths) };
        let mut commits: BTreeMap<CommitId, Change> = BTreeMap::new();
        let mut logs: BTreeMap<String, Vec<Change>> = BTreeMap::new();
        for (path, left) in left {
            let mut log = Vec::new();
            for (place, content) in left.into_iter().rev() {
                let Some(&commit) = line.get(place) else { continue };
                let change = match commits.get(&commit) {
                    Some(change) => change.clone(),
                    None => commits.entry(commit).or_insert(self.change(commit)?).clone(),
                };
                let steps_back = line.len() - 1 - place;
                log.push(Change { removed: content.is_none(), content, steps_back, ..change });
            }
            if !log.is_empty() {
                logs.insert(path, log);
            }
        }
        Ok(logs)
    }

    /// As [`Book::logs`], by walking the history and without the catalog.
    pub fn walked_logs(&self, paths: &BTreeSet<String>) -> Result<BTreeMap<String, Vec<Change>>, Error> {
        let mut folders: BTreeMap<&str, Vec<(&str, &str)>> = BTreeMap::new();
        for path in paths {
            let (folder, name) = path.rsplit_once('/').unwrap_or(("", path));
            folders.entry(folder).or_default().push((name, path));
        }
        let mut logs: BTreeMap<String, Vec<Change>> = BTreeMap::new();
        let mut newer: Option<(CommitId, Seen<'_>)> = None;
        let mut steps = 0;
        for (steps_back, ancestor) in self.line()?.iter().enumerate() {
            let seen = self.seen(ancestor.commit, &folders, newer.as_ref().map(|(_, seen)| seen))?;
            if let Some((commit, after)) = &newer {
                for path in after.differing(&seen) {
                    let content = after.content(path);
                    logs.entry(path.to_owned()).or_default().push(Change {
                        removed: content.is_none(),
                        content,
                        steps_back: steps,
                        ..self.change(*commit)?
                    });
                }
            }
            newer = Some((ancestor.commit, seen));
            steps = steps_back;
        }
        if let Some((commit, first)) = newer {
            for path in first.differing(&Seen::default()) {
                let content = first.content(path);
                let change = Change { content, steps_back: steps, ..self.change(commit)? };
                logs.entry(path.to_owned()).or_default().push(change);
            }
        }
        Ok(logs)
    }

    /// What a commit holds at the paths, folder by folder; a folder that is as in the newer commit is not read again.
    fn seen<'p>(
        &self,
        commit: CommitId,
        folders: &BTreeMap<&'p str, Vec<(&'p str, &'p str)>>,
        newer: Option<&Seen<'p>>,
    ) -> Result<Seen<'p>, Error> {
        let found = self.repo().find_commit(commit.0).map_err(Error::git("walk the history"))?;
        let tree = found.tree_id().map_err(Error::git("read a commit"))?.detach();
        let mut seen = Seen { tree: Some(tree), ..Seen::default() };
        if let Some(newer) = newer.filter(|newer| newer.tree == Some(tree)) {
            seen.folders.clone_from(&newer.folders);
            return Ok(seen);
        }
        for (&folder, names) in folders {
            let id = if folder.is_empty() { Some(tree) } else { self.folder_at(tree, folder)? };
            let Some(id) = id else { continue };
            let known = newer.and_then(|newer| newer.folders.get(folder)).filter(|(known, _)| *known == id);
            let held = match known {
                Some((_, held)) => Rc::clone(held),
                None => {
                    let entries = read_folder(self.repo(), id)?;
                    let of =
                        |name: &str| entries.iter().find(|entry| entry.name == name).map(|entry| entry.id);
                    Rc::new(names.iter().filter_map(|(name, path)| Some((*path, of(name)?))).collect())
                }
            };
            seen.folders.insert(folder, (id, held));
        }
        Ok(seen)
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

    fn change(&self, commit: CommitId) -> Result<Change, Error> {
        let found = self.repo().find_commit(commit.0).map_err(Error::git("read a commit"))?;
        let decoded = found.decode().map_err(Error::git("read a commit"))?;
        let author = decoded.author().map_err(Error::git("read a commit's author"))?;
        let time = found.time().map_err(Error::git("read a commit's time"))?;
        Ok(Change {
            commit,
            author: Author { name: author.name.to_string(), email: author.email.to_string() },
            time: Time { seconds: time.seconds, offset: time.offset },
            subject: decoded.message.to_string().lines().next().unwrap_or_default().to_owned(),
            removed: false,
            content: None,
            steps_back: 0,
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
