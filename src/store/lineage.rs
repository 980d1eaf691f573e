//! Commits and trees shown to somebody without the book: which bytes a path had in which commit, by hashes alone.
//!
//! An object is shown by the bytes that git hashes, under its id and kind: `git hash-object -t commit FILE` prints the id of
//! `ID.commit`. The reading opens no repository: it is handed bytes, hashes each of them (SHA-1 with the check for known
//! collisions), and follows first parents from the tip as far as they are shown.

use std::collections::{BTreeMap, BTreeSet};

use gix::ObjectId;
use gix::objs::Kind;

use super::{Author, Book, CommitId, Error, Snapshot, Time};
use crate::finding::{Finding, Place};

/// Most commits that are followed.
const MOST_COMMITS: usize = 200_000;

impl Book {
    /// The commits of the first-parent line from a commit down to the first, and of each of `at` the trees on the way to the paths named with it, by id and kind (`ID.commit`, `ID.tree`).
    ///
    /// # Errors
    ///
    /// [`Error::Git`]; a commit that is not on the line is passed over.
    pub fn lineage(
        &self,
        tip: CommitId,
        at: &[(CommitId, BTreeSet<String>)],
    ) -> Result<BTreeMap<String, Vec<u8>>, Error> {
        let mut objects = BTreeMap::new();
        let mut next = Some(tip.0);
        while let Some(id) = next {
            self.show(id, &mut objects)?;
            for (_, paths) in at.iter().filter(|(commit, _)| commit.0 == id) {
                self.show_trees(CommitId(id), paths, &mut objects)?;
            }
            let commit = self.repo().find_commit(id).map_err(Error::git("walk the history"))?;
            next = commit.parent_ids().next().map(|parent| parent.detach());
        }
        Ok(objects)
    }

    /// Everything that HEAD leads to, as one file that `git clone` reads.
    ///
    /// # Errors
    ///
    /// [`Error::Unsupported`] where git is not there or says no.
    pub fn bundle(&self) -> Result<Vec<u8>, Error> {
        let said = |found: String| Error::Unsupported {
            what: "git bundle",
            found,
            expected: "git, to bundle the whole history",
        };
        // One thread: the same book gives the same bytes.
        let output = std::process::Command::new("git")
            .arg("-C")
            .arg(self.root())
            .args(["-c", "pack.threads=1", "bundle", "create", "--quiet", "-", "HEAD"])
            .output()
            .map_err(|error| said(error.to_string()))?;
        if output.status.success() {
            return Ok(output.stdout);
        }
        Err(said(String::from_utf8_lossy(&output.stderr).trim().to_owned()))
    }

    fn show(&self, id: ObjectId, objects: &mut BTreeMap<String, Vec<u8>>) -> Result<(), Error> {
        let object = self.repo().find_object(id).map_err(Error::git("read an object"))?;
        objects.insert(format!("{id}.{}", object.kind), object.data.clone());
        Ok(())
    }

    fn show_trees(
        &self,
        commit: CommitId,
        paths: &BTreeSet<String>,
        objects: &mut BTreeMap<String, Vec<u8>>,
    ) -> Result<(), Error> {
        let snapshot: Snapshot = self.snapshot(commit)?;
        self.show(snapshot.tree(), objects)?;
        let mut folders = BTreeSet::new();
        for path in paths {
            folders.extend(path.match_indices('/').map(|(at, _)| &path[..at]));
            folders.insert(path.as_str());
        }
        for folder in folders {
            if let Some(entry) =
                snapshot.entry(folder)?.filter(|entry| entry.kind == super::EntryKind::Folder)
            {
                self.show(entry.id.0, objects)?;
            }
        }
        Ok(())
    }
}

/// One commit that was shown.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct ShownCommit {
    /// Its id, in full.
    pub id: String,
    tree: String,
    parent: Option<String>,
    /// Who made it.
    pub author: Author,
    /// When it was made, by its own word.
    pub time: Time,
    /// The first line of its message.
    pub subject: String,
    /// Whether it carries a signature; it is not checked here.
    pub signed: bool,
}

impl ShownCommit {
    /// The digits that people use.
    pub fn short(&self) -> String {
        self.id.get(..12).unwrap_or(&self.id).to_owned()
    }
}

/// What stands in a folder of a commit: name, whether it is a folder, and the id of its content.
pub type ShownEntries = BTreeMap<String, (bool, String)>;

/// Commits and trees that were shown, each found to have the id that it is named by.
#[derive(Debug, Clone, Default)]
pub struct Shown {
    /// From the tip down.
    pub commits: Vec<ShownCommit>,
    trees: BTreeMap<String, ShownEntries>,
}

impl Shown {
    /// Reads objects by id and kind, and follows first parents from a tip.
    ///
    /// # Errors
    ///
    /// Everything that does not hold: an object of another id, one that cannot be read, no tip.
    pub fn read(tip: &str, objects: &BTreeMap<String, Vec<u8>>) -> Result<Self, Vec<Finding>> {
        let (mut shown, mut wrong) = (Self::default(), Vec::new());
        let mut commits = BTreeMap::new();
        for (name, content) in objects {
            match object(name, content) {
                Ok((Kind::Commit, id)) => match commit(id, content) {
                    Some(commit) => drop(commits.insert(id.to_owned(), commit)),
                    None => wrong.push(broken(id, "a commit that cannot be read")),
                },
                Ok((_, id)) => match tree(content) {
                    Some(entries) => drop(shown.trees.insert(id.to_owned(), entries)),
                    None => wrong.push(broken(id, "a tree that git would not take")),
                },
                Err(found) => wrong.push(broken(name, found)),
            }
        }
        let mut next = Some(tip.to_owned());
        while let Some(commit) = next.and_then(|id| commits.remove(&id)) {
            next = commit.parent.clone();
            shown.commits.push(commit);
            if shown.commits.len() > MOST_COMMITS {
                wrong.push(broken(tip, "more commits than are followed"));
                break;
            }
        }
        if shown.commits.is_empty() {
            wrong.push(broken(tip, "the commit that was gathered from is not shown"));
        }
        if wrong.is_empty() { Ok(shown) } else { Err(wrong) }
    }

    /// What stands in a folder of a commit (`""` for the book's own); empty where the commit has no such folder, none where
    /// the trees that would tell are not shown.
    pub fn folder(&self, commit: &ShownCommit, folder: &str) -> Option<ShownEntries> {
        let mut tree = self.trees.get(&commit.tree)?;
        for name in folder.split('/').filter(|name| !name.is_empty()) {
            match tree.get(name) {
                Some((true, id)) => tree = self.trees.get(id)?,
                _ => return Some(ShownEntries::new()),
            }
        }
        Some(tree.clone())
    }

    /// The id of a file's content in a commit: the inner `None` where it has none, the outer where that is not shown.
    pub fn file(&self, commit: &ShownCommit, path: &str) -> Option<Option<String>> {
        let (folder, name) = path.rsplit_once('/').unwrap_or(("", path));
        let entries = self.folder(commit, folder)?;
        Some(entries.get(name).filter(|(is_folder, _)| !is_folder).map(|(_, id)| id.clone()))
    }
}

fn broken(id: &str, found: &str) -> Finding {
    let id: String = id.chars().filter(char::is_ascii_alphanumeric).take(40).collect();
    Finding::error("history-broken", "the history that is shown does not hold")
        .at(Place::file(format!("history/{id}")))
        .found(found.to_owned())
}

/// Kind and id of an object that has the id and kind it is named by.
fn object<'n>(name: &'n str, content: &[u8]) -> Result<(Kind, &'n str), &'static str> {
    let (id, kind) = name.split_once('.').ok_or("a file that is no object")?;
    let kind = match kind {
        "commit" => Kind::Commit,
        "tree" => Kind::Tree,
        _ => return Err("a file that is no commit and no tree"),
    };
    let found = gix::objs::compute_hash(gix::hash::Kind::Sha1, kind, content)
        .map_err(|_| "an object made to collide with another")?;
    let named = ObjectId::from_hex(id.as_bytes()).is_ok_and(|named| is_id(id) && named == found);
    if named { Ok((kind, id)) } else { Err("an object of another id") }
}

fn is_id(text: &str) -> bool {
    text.len() == 40 && text.bytes().all(|byte| matches!(byte, b'0'..=b'9' | b'a'..=b'f'))
}

fn commit(id: &str, content: &[u8]) -> Option<ShownCommit> {
    let text = String::from_utf8_lossy(content);
    let (head, message) = text.split_once("\n\n").unwrap_or((&text, ""));
    let field = |name: &str| head.lines().find_map(|line| line.strip_prefix(name)?.strip_prefix(' '));
    let tree = field("tree").filter(|id| is_id(id))?.to_owned();
    let parent = match field("parent") {
        Some(parent) => Some(parent).filter(|id| is_id(id)).map(str::to_owned).map(Some)?,
        None => None,
    };
    let (author, _) = person(field("author")?)?;
    let (_, time) = person(field("committer")?)?;
    Some(ShownCommit {
        id: id.to_owned(),
        tree,
        parent,
        author,
        time,
        subject: message.lines().next().unwrap_or_default().to_owned(),
        signed: field("gpgsig").is_some(),
    })
}

/// `Name <address> 1775840400 +0200`.
fn person(line: &str) -> Option<(Author, Time)> {
    let (name, rest) = line.split_once('<')?;
    let (email, when) = rest.rsplit_once('>')?;
    let (seconds, zone) = when.trim().split_once(' ')?;
    let digits = zone.strip_prefix(['+', '-']).filter(|digits| digits.len() == 4 && digits.is_ascii())?;
    let minutes: i32 = digits[..2].parse::<i32>().ok()? * 60 + digits[2..].parse::<i32>().ok()?;
    let sign = if zone.starts_with('-') { -60 } else { 60 };
    Some((
        Author { name: name.trim().to_owned(), email: email.to_owned() },
        Time { seconds: seconds.parse().ok()?, offset: sign * minutes },
    ))
}

/// The entries of a tree; none where git would not take it.
fn tree(mut content: &[u8]) -> Option<ShownEntries> {
    let mut entries = ShownEntries::new();
    while !content.is_empty() {
        let space = content.iter().position(|byte| *byte == b' ')?;
        let zero = content.iter().position(|byte| *byte == 0).filter(|zero| *zero > space)?;
        let mode = str::from_utf8(&content[..space]).ok()?;
        let name = str::from_utf8(&content[space + 1..zero]).ok()?.to_owned();
        let id = content.get(zero + 1..zero + 21)?;
        let hexadecimal = ObjectId::try_from(id).ok()?.to_string();
        let is_folder = matches!(mode, "40000" | "040000");
        let bad = name.is_empty()
            || name.contains('/')
            || [".", "..", ".git"].contains(&name.to_lowercase().as_str());
        if bad || entries.insert(name, (is_folder, hexadecimal)).is_some() {
            return None;
        }
        content = &content[zero + 21..];
    }
    Some(entries)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn shown(kind: &str, content: &[u8]) -> (String, Vec<u8>) {
        let of = Kind::from_bytes(kind.as_bytes()).expect("a kind");
        let id = gix::objs::compute_hash(gix::hash::Kind::Sha1, of, content).expect("a hash");
        (format!("{id}.{kind}"), content.to_vec())
    }

    fn id(object: &(String, Vec<u8>)) -> &str {
        object.0.split('.').next().expect("an id")
    }

    fn entry(mode: &str, name: &str, id: &str) -> Vec<u8> {
        let mut bytes = format!("{mode} {name}\0").into_bytes();
        bytes.extend_from_slice(ObjectId::from_hex(id.as_bytes()).expect("an id").as_slice());
        bytes
    }

    /// `git hash-object` and `git cat-file` gave the ids: an empty tree is 4b825dc642cb6eb9a060e54bf8d69288fbee4904.
    #[test]
    fn a_commit_tells_its_files_by_hashes() {
        let empty = shown("tree", b"");
        assert_eq!(id(&empty), "4b825dc642cb6eb9a060e54bf8d69288fbee4904");
        let file = shown("blob", b"a\n");
        let root =
            shown("tree", &[entry("100644", "a", id(&file)), entry("40000", "b", id(&empty))].concat());
        let text = format!(
            "tree {}\nauthor A <a@b> 10 +0200\ncommitter C <c@d> 20 -0130\n\nSay so\n\nmore\n",
            id(&root)
        );
        let tip = shown("commit", text.as_bytes());
        let all: BTreeMap<_, _> = [empty, root, tip.clone()].into();
        let read = Shown::read(id(&tip), &all).expect("it holds");
        let commit = &read.commits[0];
        assert_eq!((commit.time.seconds, commit.time.offset, commit.subject.as_str()), (20, -5400, "Say so"));
        assert_eq!(read.file(commit, "a"), Some(Some(id(&file).to_owned())));
        assert_eq!(read.file(commit, "b/c"), Some(None));
        // One byte changed, an object of another kind, no tip.
        for (name, bytes) in &all {
            let mut bent = all.clone();
            let mut changed = bytes.clone();
            changed.push(b'x');
            bent.insert(name.clone(), changed);
            assert!(Shown::read(id(&tip), &bent).is_err(), "{name}");
        }
        let mut blob = all.clone();
        blob.insert(file.0.clone(), file.1.clone());
        assert!(Shown::read(id(&tip), &blob).is_err());
        assert!(Shown::read(&"0".repeat(40), &all).is_err());
    }

    /// Evidence notes, hostile case 100.
    #[test]
    fn a_tree_that_git_would_not_take_is_refused() {
        let id = "4b825dc642cb6eb9a060e54bf8d69288fbee4904";
        for names in [&["..", "x"][..], &[".git", "x"], &[".GIT"], &["a/b"], &[""], &["x", "x"]] {
            let content: Vec<u8> = names.iter().flat_map(|name| entry("100644", name, id)).collect();
            assert!(tree(&content).is_none(), "{names:?}");
        }
        assert!(tree(b"100644 a\0short").is_none());
    }
}
