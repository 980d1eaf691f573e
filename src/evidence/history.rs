//! The history of the book: git's commit and tree objects, believed for their hashes alone. No repository is opened, so
//! replacement objects, grafts, alternates, settings, filters and hooks of somebody else's repository have nowhere to stand.
//!
//! Each object is a file of the payload, `history/<id>.commit` or `history/<id>.tree`, with its bytes as git hashes them:
//! `git hash-object -t commit FILE` prints the id. `history/tip` holds the id of the newest commit. Object ids are SHA-1, the
//! form that every git host takes; files made to collide under it are detected (as git itself does), and a record is held to
//! its SHA-256 in the manifest as well.

use std::collections::{BTreeMap, BTreeSet};
use std::fmt;
use std::io::{Read, Seek};

use gix::objs::CommitRef;
use gix::objs::CommitRefIter;
use gix::objs::Kind;
use gix::objs::TreeRef;
use gix::objs::tree::EntryKind;

use crate::evidence::description::HISTORY_FOLDER;
use crate::evidence::name::{escaped, escaped_bytes, is_hexadecimal};
use crate::evidence::open::{Opened, PayloadError};
use crate::evidence::signature::{GIT_NAMESPACE, Role, Seal, holds, read_armour};
use crate::evidence::signers::Signers;
use crate::finding::Finding;
use crate::finding::Place;

const SHA1: gix::hash::Kind = gix::hash::Kind::Sha1;
/// Longest commit or tree that is read, in bytes.
const LONGEST_OBJECT: u64 = 16 << 20;

/// The id of a git object: SHA-1 over its kind, length and bytes.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct ObjectId(gix::ObjectId);

impl fmt::Display for ObjectId {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        fmt::Display::fmt(&self.0, f)
    }
}

impl fmt::Debug for ObjectId {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        fmt::Display::fmt(&self.0, f)
    }
}

impl ObjectId {
    /// An id from its 40 lower-case hexadecimal digits.
    pub fn parse(text: &str) -> Option<Self> {
        is_hexadecimal(text, 40).then(|| gix::ObjectId::from_hex(text.as_bytes()).ok().map(Self))?
    }

    /// The id of a file's bytes.
    ///
    /// # Errors
    ///
    /// A finding where the bytes were made to collide with others under SHA-1.
    pub fn of_file(bytes: &[u8]) -> Result<Self, Finding> {
        Self::of(Kind::Blob, bytes)
    }

    fn of(kind: Kind, bytes: &[u8]) -> Result<Self, Finding> {
        gix::objs::compute_hash(SHA1, kind, bytes).map(Self).map_err(|_| {
            Finding::error("history-collision", "bytes were made to have the SHA-1 of other bytes")
                .next("do not rely on this history: somebody prepared two files under one id")
        })
    }
}

/// The two kinds of object that a history is made of.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum ObjectKind {
    /// A commit.
    Commit,
    /// The listing of a folder.
    Tree,
}

impl ObjectKind {
    /// The path in the payload of an object of this kind.
    pub fn path(self, id: &str) -> String {
        format!("{HISTORY_FOLDER}{id}.{}", self.ending())
    }

    fn ending(self) -> &'static str {
        match self {
            ObjectKind::Commit => "commit",
            ObjectKind::Tree => "tree",
        }
    }
}

/// The path in the payload of the file that names the newest commit.
pub const TIP_FILE: &str = "history/tip";

/// A commit, as its bytes say.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Commit {
    /// Its id.
    pub id: ObjectId,
    /// The commits it was made on, the first being the line of the book.
    pub parents: Vec<ObjectId>,
    /// The author's name.
    pub author: String,
    /// The committer's time by the committer's own clock: seconds since 1970, UTC.
    pub seconds: i64,
    /// The zone that it was written in: seconds east of Greenwich.
    pub offset: i32,
    /// The first line of its message.
    pub subject: String,
    /// Its own bytes, as git hashes them.
    pub bytes: Vec<u8>,
    tree: ObjectId,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Held {
    File(ObjectId),
    Folder(ObjectId),
    Other,
}

/// What stands at a path in a commit.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum At {
    /// A file of this id.
    File(ObjectId),
    /// Nothing.
    Nothing,
    /// A folder, a link or another repository.
    NotAFile,
    /// Unknown: the dossier does not hold the listing of a folder on the way.
    NotShown,
}

/// A commit after which something else stands at a path than after its first parent.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Changed<'h> {
    /// The commit.
    pub commit: &'h Commit,
    /// What stands there after it.
    pub at: At,
    /// Whether the dossier shows what stood there before; otherwise the change may be older.
    pub certain: bool,
}

/// A history whose every object has the hash it is called by, and belongs to the tip.
#[derive(Debug, Clone)]
pub struct History {
    /// The newest commit.
    pub tip: ObjectId,
    commits: BTreeMap<ObjectId, Commit>,
    trees: BTreeMap<ObjectId, BTreeMap<String, Held>>,
    /// What was found that forbids nothing.
    pub findings: Vec<Finding>,
}

impl History {
    /// Reads the history that a dossier carries; `None` when it carries none.
    ///
    /// # Errors
    ///
    /// Objects that are not what they are called, that no commit leads to, or that git itself would not take.
    pub fn of<R: Read + Seek>(dossier: &mut Opened<R>) -> Result<Option<Self>, HistoryError> {
        let paths: Vec<(String, u64)> = dossier
            .payload
            .iter()
            .filter(|(path, _)| path.starts_with(HISTORY_FOLDER))
            .map(|(path, file)| (path.clone(), file.length))
            .collect();
        if paths.is_empty() {
            return Ok(None);
        }
        let mut objects = Vec::new();
        for (path, length) in paths {
            if length > LONGEST_OBJECT {
                return Err(HistoryError::Refused(vec![
                    object_fault(&path, "an object of the history is longer than is read")
                        .found(format!("{length} bytes"))
                        .expected(format!("at most {LONGEST_OBJECT}")),
                ]));
            }
            let bytes = dossier.read(&path).map_err(|error| match error {
                PayloadError::Refused(finding) => HistoryError::Refused(vec![finding]),
                PayloadError::Unreadable(error) => HistoryError::Unreadable(error),
            })?;
            objects.push((path, bytes));
        }
        Self::read(objects).map(Some).map_err(HistoryError::Refused)
    }

    /// Reads a history from the files of a payload below `history/`.
    ///
    /// # Errors
    ///
    /// As [`History::of`].
    pub fn read(objects: impl IntoIterator<Item = (String, Vec<u8>)>) -> Result<Self, Vec<Finding>> {
        let (mut commits, mut trees, mut tip, mut wrong) =
            (BTreeMap::new(), BTreeMap::new(), None, Vec::new());
        for (path, bytes) in objects {
            if path == TIP_FILE {
                tip = str::from_utf8(&bytes).ok().and_then(|text| ObjectId::parse(text.strip_suffix('\n')?));
                continue;
            }
            let named = path.strip_prefix(HISTORY_FOLDER).and_then(|name| name.split_once('.'));
            let named = named.and_then(|(id, ending)| Some((ObjectId::parse(id)?, ending)));
            let read = match named {
                Some((id, "commit")) => named_so(&path, id, Kind::Commit, &bytes)
                    .and_then(|()| commit(&path, id, bytes))
                    .map(|commit| drop(commits.insert(id, commit))),
                Some((id, "tree")) => named_so(&path, id, Kind::Tree, &bytes)
                    .and_then(|()| tree(&path, &bytes))
                    .map(|tree| drop(trees.insert(id, tree))),
                _ => {
                    Err(Finding::error("history-stray", "a file stands in the history that is no part of it")
                        .at(Place::file(escaped(&path)))
                        .expected("`tip`, or an id with `.commit` or `.tree`"))
                }
            };
            wrong.extend(read.err());
        }
        let Some(tip) = tip.filter(|tip| commits.contains_key(tip)) else {
            wrong.push(
                Finding::error(
                    "history-tip",
                    "the history does not say which commit is the newest, or does not hold it",
                )
                .at(Place::file(TIP_FILE)),
            );
            return Err(wrong);
        };
        let history = Self { tip, commits, trees, findings: Vec::new() };
        if wrong.is_empty() {
            wrong.extend(history.strays());
        }
        if wrong.is_empty() { Ok(Self { findings: history.doubts(), ..history }) } else { Err(wrong) }
    }

    /// Objects that the tip does not lead to.
    fn strays(&self) -> Vec<Finding> {
        let mut reached = BTreeSet::new();
        let mut next = vec![self.tip];
        while let Some(id) = next.pop() {
            if let Some(commit) = self.commits.get(&id)
                && reached.insert(id)
            {
                next.extend(&commit.parents);
            }
        }
        let mut folders = BTreeSet::new();
        let mut next: Vec<ObjectId> = self.commits.values().map(|commit| commit.tree).collect();
        while let Some(id) = next.pop() {
            if let Some(tree) = self.trees.get(&id)
                && folders.insert(id)
            {
                next.extend(tree.values().filter_map(|held| match held {
                    Held::Folder(id) => Some(*id),
                    _ => None,
                }));
            }
        }
        let stray = |kind: ObjectKind, id: &ObjectId| {
            Finding::error("history-stray", "an object of the history does not belong to its newest commit")
                .at(Place::file(kind.path(&id.to_string())))
        };
        let commits =
            self.commits.keys().filter(|id| !reached.contains(id)).map(|id| stray(ObjectKind::Commit, id));
        let trees =
            self.trees.keys().filter(|id| !folders.contains(id)).map(|id| stray(ObjectKind::Tree, id));
        commits.chain(trees).collect()
    }

    /// Where the clock ran back from one commit to the next.
    fn doubts(&self) -> Vec<Finding> {
        let back = self.line().into_iter().filter_map(|commit| {
            let before = commit.parents.first().and_then(|parent| self.commits.get(parent))?;
            (commit.seconds < before.seconds).then(|| {
                Finding::doubt("history-clock", "a commit is dated earlier than the one it was made on")
                    .at(Place::file(ObjectKind::Commit.path(&commit.id.to_string())))
            })
        });
        back.collect()
    }

    /// A commit that the dossier holds.
    pub fn commit(&self, id: ObjectId) -> Option<&Commit> {
        self.commits.get(&id)
    }

    /// The line of the book from the newest commit back by first parents, as far as the dossier holds it.
    pub fn line(&self) -> Vec<&Commit> {
        let mut line = Vec::new();
        let mut next = self.commits.get(&self.tip);
        while let Some(commit) = next {
            line.push(commit);
            next = commit.parents.first().and_then(|parent| self.commits.get(parent));
        }
        line
    }

    /// Whether the line leads back to the first commit of the book.
    pub fn is_whole(&self) -> bool {
        self.line().last().is_some_and(|oldest| oldest.parents.is_empty())
    }

    /// What stands at a path after a commit.
    pub fn at(&self, commit: &Commit, path: &str) -> At {
        let mut folder = commit.tree;
        let mut parts = path.split('/').peekable();
        while let Some(part) = parts.next() {
            let Some(tree) = self.trees.get(&folder) else { return At::NotShown };
            match (tree.get(part), parts.peek().is_some()) {
                (None, _) => return At::Nothing,
                (Some(Held::File(id)), false) => return At::File(*id),
                (Some(Held::Folder(id)), true) => folder = *id,
                (Some(Held::File(_)), true) => return At::Nothing,
                (Some(_), _) => return At::NotAFile,
            }
        }
        At::NotAFile
    }

    /// What stands in a folder after a commit, by name, and whether it is a folder itself; nothing where there is no such
    /// folder, `None` where the dossier does not hold the listings that would tell.
    pub fn folder(&self, commit: &Commit, path: &str) -> Option<BTreeMap<&str, bool>> {
        let mut tree = self.trees.get(&commit.tree)?;
        for part in path.split('/') {
            match tree.get(part) {
                Some(Held::Folder(id)) => tree = self.trees.get(id)?,
                _ => return Some(BTreeMap::new()),
            }
        }
        let entries = tree.iter().map(|(name, held)| (name.as_str(), matches!(held, Held::Folder(_))));
        Some(entries.collect())
    }

    /// The commits of the line that changed a path, newest first.
    pub fn changes(&self, path: &str) -> Vec<Changed<'_>> {
        let line = self.line();
        let mut changes = Vec::new();
        for (place, commit) in line.iter().enumerate() {
            let at = self.at(commit, path);
            let before = match line.get(place + 1) {
                Some(before) => self.at(before, path),
                None if commit.parents.is_empty() => At::Nothing,
                None => At::NotShown,
            };
            if at != before {
                changes.push(Changed { commit, at, certain: before != At::NotShown });
            }
        }
        changes
    }

    /// Whether a commit is another or was made before it and is among its ancestors.
    pub fn descends(&self, from: ObjectId, to: ObjectId) -> bool {
        let (mut seen, mut next) = (BTreeSet::new(), vec![from]);
        while let Some(id) = next.pop() {
            if id == to {
                return self.commits.contains_key(&id);
            }
            if seen.insert(id)
                && let Some(commit) = self.commits.get(&id)
            {
                next.extend(&commit.parents);
            }
        }
        false
    }

    /// The signature over a commit, checked at the commit's own time, as git does; `None` where it has none.
    ///
    /// # Errors
    ///
    /// The finding of a signature that does not hold or is of another kind.
    pub fn signature(&self, commit: &Commit, signers: &Signers) -> Option<Result<Seal, Finding>> {
        let file = ObjectKind::Commit.path(&commit.id.to_string());
        let unreadable = || {
            Finding::error("signature-unreadable", "the signature over a commit cannot be read")
                .at(Place::file(file.clone()))
        };
        let (armour, signed) = match CommitRefIter::signature(&commit.bytes, SHA1) {
            Ok(found) => found?,
            Err(_) => return Some(Err(unreadable())),
        };
        let mut armour = armour.to_vec();
        armour.push(b'\n');
        let checked = read_armour(&file, &armour).and_then(|(signature, _)| {
            holds(&file, &signature, &[GIT_NAMESPACE], &signed.to_bstring())?;
            let key = signature.public_key();
            Ok(Seal {
                file: file.clone(),
                role: Role::Shop,
                fingerprint: key.fingerprint(ssh_key::HashAlg::Sha256).to_string(),
                algorithm: key.algorithm().as_str().to_owned(),
                standing: signers.standing(key, GIT_NAMESPACE, commit.seconds),
            })
        });
        Some(checked)
    }
}

/// Why there is no history to be had.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum HistoryError {
    /// It does not hold.
    #[error("{} things are wrong with the history", .0.len())]
    Refused(Vec<Finding>),
    /// The dossier could not be read.
    #[error("the dossier could not be read: {0}")]
    Unreadable(std::io::Error),
}

fn object_fault(path: &str, message: &str) -> Finding {
    Finding::error("history-object", message).at(Place::file(escaped(path)))
}

fn named_so(path: &str, id: ObjectId, kind: Kind, bytes: &[u8]) -> Result<(), Finding> {
    let found = ObjectId::of(kind, bytes).map_err(|finding| finding.at(Place::file(escaped(path))))?;
    if found == id {
        return Ok(());
    }
    Err(object_fault(path, "an object of the history is not the one it is called after")
        .found(found.to_string())
        .expected(id.to_string()))
}

fn commit(path: &str, id: ObjectId, bytes: Vec<u8>) -> Result<Commit, Finding> {
    let unreadable = || object_fault(path, "a commit of the history cannot be read");
    let (tree, parents, author, time, subject) = {
        let read = CommitRef::from_bytes(&bytes, SHA1).map_err(|_| unreadable())?;
        let author = read.author().map_err(|_| unreadable())?;
        let committer = read.committer().map_err(|_| unreadable())?;
        let time = committer.time().map_err(|_| unreadable())?;
        let subject = String::from_utf8_lossy(read.message().title).trim_end().to_owned();
        let author = author.name.to_string();
        (ObjectId(read.tree()), read.parents().map(ObjectId).collect(), author, time, subject)
    };
    Ok(Commit { id, parents, author, seconds: time.seconds, offset: time.offset, subject, bytes, tree })
}

fn tree(path: &str, bytes: &[u8]) -> Result<BTreeMap<String, Held>, Finding> {
    let fault =
        |message: &str| Finding::error("history-tree", message.to_owned()).at(Place::file(escaped(path)));
    let read =
        TreeRef::from_bytes(bytes, SHA1).map_err(|_| fault("the listing of a folder cannot be read"))?;
    if !read.entries.is_sorted() {
        return Err(fault("the listing of a folder is not in git's order"));
    }
    let mut entries = BTreeMap::new();
    for entry in &read.entries {
        let told = |message: &str| fault(message).found(escaped_bytes(entry.filename));
        let name = str::from_utf8(entry.filename).map_err(|_| told("a name in the history is no text"))?;
        if is_unsafe(name) {
            return Err(told("a name in the history is one that git itself refuses"));
        }
        let id = ObjectId(entry.oid.to_owned());
        let held = match entry.mode.kind() {
            EntryKind::Blob | EntryKind::BlobExecutable => Held::File(id),
            EntryKind::Tree => Held::Folder(id),
            EntryKind::Link | EntryKind::Commit => Held::Other,
        };
        if entries.insert(name.to_owned(), held).is_some() {
            return Err(told("the listing of a folder holds a name twice"));
        }
    }
    Ok(entries)
}

/// Names that `git fsck` refuses, with those that other systems take for `.git`.
fn is_unsafe(name: &str) -> bool {
    let plain: String =
        name.chars().filter(|c| !('\u{200b}'..='\u{200f}').contains(c) && *c != '\u{feff}').collect();
    let plain = plain.trim_end_matches([' ', '.']).to_ascii_lowercase();
    name.is_empty()
        || name == "."
        || name == ".."
        || name.contains(['/', '\\', '\0'])
        || plain == ".git"
        || plain == "git~1"
}
