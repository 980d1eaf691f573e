//! Which commits changed which file, kept in the catalog: the history is walked once, and then only its new commits.
//!
//! Records' files alone are kept (`*.yaml`), each in one of a fixed number of rows by the digest of its path, so that a row
//! that is missing is damage and not a file without a history.

use std::cmp::Ordering;
use std::collections::{BTreeMap, BTreeSet};
use std::rc::Rc;

use gix::ObjectId;
use sha2::{Digest, Sha256};

use super::{Book, Catalog, CatalogTrouble, CommitId, ContentId, Error, RowChange};

const SHELF: &str = "log";
/// The row of the commits themselves, from the first on.
const LINE: &str = "line";
/// Rows of files.
const ROWS: usize = 1024;
/// Commits from which on a share of the line is worth a thread of its own.
const LONG: usize = 256;
/// Folders that are remembered.
const MOST: usize = 64;
/// Bytes of a name that git gives.
const NAME: usize = 20;
/// Bytes of one change: the commit's place on the line, and the content it left.
const CHANGE: usize = 4 + NAME;

/// What a commit left at a path: its place on the line from the first commit, and the content, none where it took it away.
pub(super) type Left = (usize, Option<ContentId>);

/// The changes of files by path.
type Files = BTreeMap<String, Vec<Left>>;

/// Whether a path is of a file whose changes are kept.
pub(super) fn is_kept(path: &str) -> bool {
    path.ends_with(".yaml")
}

impl Book {
    /// The commits from the first to HEAD on the first-parent line, and what each left at these paths; `None` where
    /// the history must be walked.
    pub(super) fn kept_logs(
        &self,
        paths: &BTreeSet<String>,
    ) -> Result<Option<(Vec<CommitId>, Files)>, Error> {
        if !paths.iter().all(|path| is_kept(path)) {
            return Ok(None);
        }
        let Some(catalog) = self.catalog() else { return Ok(None) };
        match self.logs_in(catalog, paths) {
            Ok(found) => Ok(Some(found)),
            Err(Trouble::Catalog(CatalogTrouble::Busy)) => Ok(None),
            Err(Trouble::Catalog(CatalogTrouble::Damaged)) => {
                let Some(catalog) = self.catalog().and_then(Catalog::renewed) else { return Ok(None) };
                match self.logs_in(catalog, paths) {
                    Ok(found) => Ok(Some(found)),
                    Err(Trouble::Catalog(_)) => Ok(None),
                    Err(Trouble::Store(error)) => Err(error),
                }
            }
            Err(Trouble::Store(error)) => Err(error),
        }
    }

    fn logs_in(
        &self,
        mut catalog: Catalog,
        paths: &BTreeSet<String>,
    ) -> Result<(Vec<CommitId>, Files), Trouble> {
        let known = line_of(&catalog)?;
        let (line, further) = self.line_from(&known)?;
        let mut rows: BTreeMap<usize, Files> = BTreeMap::new();
        if further < line.len() {
            let mut changed = self.changed_by(&line, further)?;
            if further == 0 {
                (0..ROWS).for_each(|row| drop(rows.insert(row, Files::new())));
            }
            for row in changed.keys().map(|path| row_of(path)).collect::<BTreeSet<_>>() {
                if further > 0 {
                    rows.insert(row, row_in(&catalog, row)?);
                }
            }
            for (path, lefts) in std::mem::take(&mut changed) {
                rows.entry(row_of(&path)).or_default().entry(path).or_default().extend(lefts);
            }
            let mut changes: Vec<RowChange> =
                rows.iter().map(|(row, files)| change(&name_of(*row), bytes_of(files))).collect();
            changes.push(change(LINE, line.iter().flat_map(|commit| commit.0.as_bytes().to_vec()).collect()));
            catalog.change(&changes);
        }
        let mut by_row: BTreeMap<usize, Vec<&String>> = BTreeMap::new();
        for path in paths {
            by_row.entry(row_of(path)).or_default().push(path);
        }
        let mut found = Files::new();
        for (row, paths) in by_row {
            match rows.get(&row) {
                Some(files) => {
                    let of = |path: &String| Some((path.clone(), files.get(path)?.clone()));
                    found.extend(paths.into_iter().filter_map(of));
                }
                None => {
                    let is_wanted = |path: &[u8]| paths.iter().any(|wanted| wanted.as_bytes() == path);
                    let bytes = catalog.read(SHELF, &name_of(row))?.ok_or(CatalogTrouble::Damaged)?;
                    found.extend(files_of(&bytes, is_wanted).ok_or(CatalogTrouble::Damaged)?);
                }
            }
        }
        Ok((line, found))
    }

    /// The line to HEAD, and from which place on it is not yet known.
    fn line_from(&self, known: &[CommitId]) -> Result<(Vec<CommitId>, usize), Trouble> {
        let mut newer = Vec::new();
        let mut next = self.head_commit()?;
        while let Some(id) = next {
            if known.last() == Some(&CommitId(id)) {
                let further = known.len();
                let line = known.iter().copied().chain(newer.into_iter().rev()).collect();
                return Ok((line, further));
            }
            newer.push(CommitId(id));
            let commit = self.repo().find_commit(id).map_err(Error::git("walk the history"))?;
            next = commit.parent_ids().next().map(|parent| parent.detach());
        }
        Ok((newer.into_iter().rev().collect(), 0))
    }

    /// What the commits from a place on left. A long line is shared out to as many threads as there are processors.
    fn changed_by(&self, line: &[CommitId], from: usize) -> Result<Files, Error> {
        let cores = std::thread::available_parallelism().map_or(1, usize::from);
        let share = (line.len() - from).div_ceil(cores);
        if share < LONG {
            return changed_on(self.repo(), line, from, line.len());
        }
        let git = self.repo().git_dir();
        let shares = (from..line.len()).step_by(share).map(|begin| (begin, line.len().min(begin + share)));
        let found: Vec<Result<Files, Error>> = std::thread::scope(|scope| {
            let work = |(begin, end): (usize, usize)| {
                scope.spawn(move || changed_on(&Self::open_repository(git)?, line, begin, end))
            };
            let working: Vec<_> = shares.map(work).collect();
            let outcome = |thread: std::thread::ScopedJoinHandle<'_, _>| {
                thread.join().unwrap_or_else(|panic| std::panic::resume_unwind(panic))
            };
            working.into_iter().map(outcome).collect()
        });
        let mut files = Files::new();
        for later in found {
            for (path, lefts) in later? {
                files.entry(path).or_default().extend(lefts);
            }
        }
        Ok(files)
    }
}

/// What the commits between two places on the line left.
fn changed_on(repo: &gix::Repository, line: &[CommitId], from: usize, end: usize) -> Result<Files, Error> {
    let tree_of = |commit: &CommitId| -> Result<ObjectId, Error> {
        let found = repo.find_commit(commit.0).map_err(Error::git("walk the history"))?;
        Ok(found.tree_id().map_err(Error::git("read a commit"))?.detach())
    };
    let before = from.checked_sub(1).and_then(|place| line.get(place));
    let mut before = before.map(&tree_of).transpose()?;
    let mut trees = Trees { repo, read: BTreeMap::new() };
    let mut files = Files::new();
    for (place, commit) in line.iter().enumerate().take(end).skip(from) {
        let tree = tree_of(commit)?;
        if before != Some(tree) {
            trees.unlike(before, Some(tree), &mut |path, content| {
                files.entry(path).or_default().push((place, content));
            })?;
        }
        before = Some(tree);
    }
    Ok(files)
}

/// Folders as they were read: what a commit left is what the next one is compared with.
struct Trees<'r> {
    repo: &'r gix::Repository,
    read: BTreeMap<ObjectId, Rc<Vec<u8>>>,
}

/// Entries of a folder by name: git's name for the content, and whether it is a folder.
type Entries = BTreeMap<String, (ContentId, bool)>;

impl Trees<'_> {
    fn bytes(&mut self, tree: Option<ObjectId>) -> Result<Rc<Vec<u8>>, Error> {
        let Some(tree) = tree.filter(|tree| *tree != ObjectId::empty_tree(tree.kind())) else {
            return Ok(Rc::default());
        };
        if let Some(known) = self.read.get(&tree) {
            return Ok(Rc::clone(known));
        }
        if self.read.len() >= MOST {
            self.read.clear();
        }
        let mut found = self.repo.find_tree(tree).map_err(Error::git("read a folder"))?;
        let bytes = Rc::new(std::mem::take(&mut found.data));
        self.read.insert(tree, Rc::clone(&bytes));
        Ok(bytes)
    }

    /// The entries that only one of two folders has so.
    fn differing(
        &mut self,
        before: Option<ObjectId>,
        after: Option<ObjectId>,
    ) -> Result<[Entries; 2], Error> {
        let bytes = [self.bytes(before)?, self.bytes(after)?];
        let hash = self.repo.object_hash();
        let [old, new] = [&bytes[0], &bytes[1]]
            .map(|bytes| gix::objs::TreeRef::from_bytes(bytes, hash).map_err(Error::git("read a folder")));
        let (old, new) = (old?.entries, new?.entries);
        let (mut old, mut new) = (old.iter().peekable(), new.iter().peekable());
        let mut found = [Entries::new(), Entries::new()];
        let of = |entry: &gix::objs::tree::EntryRef<'_>| {
            (entry.filename.to_string(), (ContentId(entry.oid.to_owned()), entry.mode.is_tree()))
        };
        // Both are in git's order; what is not is found on both sides, and told to be the same by the caller.
        loop {
            let order = match (old.peek(), new.peek()) {
                (None, None) => return Ok(found),
                (Some(_), None) => Ordering::Less,
                (None, Some(_)) => Ordering::Greater,
                (Some(old), Some(new)) => old.cmp(new),
            };
            let (gone, come) = match order {
                Ordering::Less => (old.next(), None),
                Ordering::Greater => (None, new.next()),
                Ordering::Equal => (old.next(), new.next()),
            };
            if gone != come {
                found[0].extend(gone.map(of));
                found[1].extend(come.map(of));
            }
        }
    }

    /// The kept paths at which two folders differ, with what the second has there.
    fn unlike(
        &mut self,
        before: Option<ObjectId>,
        after: Option<ObjectId>,
        found: &mut dyn FnMut(String, Option<ContentId>),
    ) -> Result<(), Error> {
        let mut open = vec![(String::new(), before, after)];
        while let Some((inside, before, after)) = open.pop() {
            let [before, after] = self.differing(before, after)?;
            let names: BTreeSet<&String> = before.keys().chain(after.keys()).collect();
            for name in names {
                let (old, new) = (before.get(name), after.get(name));
                if old == new || (inside.is_empty() && matches!(name.as_str(), "raw" | ".schema")) {
                    continue;
                }
                let path = if inside.is_empty() { name.clone() } else { format!("{inside}/{name}") };
                let content = |entry: Option<&(ContentId, bool)>| entry.map(|(content, _)| *content);
                if is_kept(&path) && content(old) != content(new) {
                    found(path.clone(), content(new));
                }
                let folder =
                    |entry: Option<&(ContentId, bool)>| entry.filter(|(_, is)| *is).map(|(id, _)| id.0);
                if folder(old) != folder(new) {
                    open.push((path, folder(old), folder(new)));
                }
            }
        }
        Ok(())
    }
}

enum Trouble {
    Catalog(CatalogTrouble),
    Store(Error),
}

impl From<CatalogTrouble> for Trouble {
    fn from(trouble: CatalogTrouble) -> Self {
        Self::Catalog(trouble)
    }
}

impl From<Error> for Trouble {
    fn from(error: Error) -> Self {
        Self::Store(error)
    }
}

fn row_of(path: &str) -> usize {
    let digest = Sha256::digest(path.as_bytes());
    usize::from(u16::from_be_bytes([digest[0], digest[1]])) % ROWS
}

fn name_of(row: usize) -> String {
    format!("{row:04}")
}

fn change(key: &str, body: Vec<u8>) -> RowChange {
    RowChange { shelf: SHELF.to_owned(), key: key.to_owned(), body: Some(body) }
}

fn line_of(catalog: &Catalog) -> Result<Vec<CommitId>, CatalogTrouble> {
    let bytes = catalog.read(SHELF, LINE)?.unwrap_or_default();
    let commits: Option<Vec<CommitId>> =
        bytes.chunks(NAME).map(|name| ObjectId::try_from(name).ok().map(CommitId)).collect();
    commits.ok_or(CatalogTrouble::Damaged)
}

fn row_in(catalog: &Catalog, row: usize) -> Result<Files, CatalogTrouble> {
    let bytes = catalog.read(SHELF, &name_of(row))?.ok_or(CatalogTrouble::Damaged)?;
    files_of(&bytes, |_| true).ok_or(CatalogTrouble::Damaged)
}

/// A row: for each file the length of its path, how often it changed, the path, and each change.
fn bytes_of(files: &Files) -> Vec<u8> {
    let mut bytes = Vec::new();
    let number = |number: usize| u32::try_from(number).unwrap_or(u32::MAX).to_le_bytes();
    for (path, lefts) in files {
        bytes.extend_from_slice(&number(path.len()));
        bytes.extend_from_slice(&number(lefts.len()));
        bytes.extend_from_slice(path.as_bytes());
        for (place, content) in lefts {
            bytes.extend_from_slice(&number(*place));
            match content {
                Some(content) => bytes.extend_from_slice(content.0.as_bytes()),
                None => bytes.extend_from_slice(&[0; NAME]),
            }
        }
    }
    bytes
}

/// The files of a row whose paths are wanted.
fn files_of(mut bytes: &[u8], is_wanted: impl Fn(&[u8]) -> bool) -> Option<Files> {
    let number = |bytes: &mut &[u8]| -> Option<usize> {
        let (four, rest) = bytes.split_first_chunk::<4>()?;
        *bytes = rest;
        usize::try_from(u32::from_le_bytes(*four)).ok()
    };
    let mut files = Files::new();
    while !bytes.is_empty() {
        let (length, count) = (number(&mut bytes)?, number(&mut bytes)?);
        let (path, rest) = bytes.split_at_checked(length)?;
        let (changes, rest) = rest.split_at_checked(count.checked_mul(CHANGE)?)?;
        bytes = rest;
        if !is_wanted(path) {
            continue;
        }
        let mut lefts = Vec::with_capacity(count);
        for change in changes.chunks_exact(CHANGE) {
            let mut change = change;
            let place = number(&mut change)?;
            let content = ObjectId::try_from(change).ok()?;
            lefts.push((place, (!content.is_null()).then_some(ContentId(content))));
        }
        files.insert(std::str::from_utf8(path).ok()?.to_owned(), lefts);
    }
    Some(files)
}
