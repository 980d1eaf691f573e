//! Branches as their files and logs tell of them, read without git so that a damaged book can be asked too.

use std::collections::{BTreeMap, BTreeSet};
use std::fs;
use std::path::Path;
use std::time::Duration;

use gix::ObjectId;
use gix::objs::Kind;

use super::path::{self, Standing, standing};
use super::{Book, Error};
use crate::finding::Finding;

/// How long a move of a branch by git may be under way: it writes the log first.
const UNDER_WAY: Duration = Duration::from_millis(200);

impl Book {
    /// Branches that do not stand where their log says they were put last, nor further on: such as one whose file was
    /// lost while git still has it, older, among its packed references.
    pub(super) fn branches_off_their_log(&self) -> Result<Vec<Finding>, Error> {
        let mut off = self.off_their_log()?;
        if !off.is_empty() {
            std::thread::sleep(UNDER_WAY);
            let still = self.off_their_log()?;
            off.retain(|branch| still.contains(branch));
        }
        Ok(off.into_iter().map(|branch| branch.finding()).collect())
    }

    fn off_their_log(&self) -> Result<Vec<OffItsLog>, Error> {
        let git = self.repo().common_dir();
        let mut logs = BTreeSet::new();
        names_below(git, "logs/refs/heads", &mut logs);
        let mut off = Vec::new();
        for log in logs {
            let name = log.trim_start_matches("logs/").to_owned();
            // The log before the branch: this program moves the branch first, so the branch is never behind.
            let Some(last) = last_of_log(git, &name) else { continue };
            let stands = self.reference(&name).unwrap_or(None);
            // Where the branch cannot be read, or its commit, that is told already.
            if stands == Some(last)
                || stands.is_none() && git.join(&name).exists()
                || !matches!(self.whole_object(last), Ok(Some((Kind::Commit, _))))
            {
                continue;
            }
            let further = match stands {
                Some(stands) => match self.descends(stands, last) {
                    Ok(further) => further,
                    Err(_) => continue,
                },
                None => false,
            };
            if !further {
                let behind = stands.is_none_or(|stands| self.descends(last, stands).unwrap_or(false));
                off.push(OffItsLog { name, stands, last, behind });
            }
        }
        Ok(off)
    }
}

/// A branch that is not where its log says it was put last.
#[derive(PartialEq, Eq)]
struct OffItsLog {
    name: String,
    stands: Option<ObjectId>,
    last: ObjectId,
    /// Whether what its log names comes after where it stands, so that going there loses nothing.
    behind: bool,
}

impl OffItsLog {
    fn finding(self) -> Finding {
        let short = self.name.trim_start_matches("refs/heads/").to_owned();
        let next = if self.behind {
            "`mulebook mend` sets it there; nothing that it holds now is lost".to_owned()
        } else {
            format!(
                "`git log {}` shows that line; `git branch rescued {0}` keeps it, and nothing is lost",
                self.last
            )
        };
        Finding::error(
            "reference-moved",
            format!("the branch {short} is not where its log says it was put last"),
        )
        .found(self.stands.map_or_else(|| "no such branch".to_owned(), |id| id.to_string()))
        .expected(format!("{} or a commit after it", self.last))
        .next(next)
    }
}

/// A line of packed references.
pub(super) fn packed_line(line: &str) -> Option<(String, ObjectId)> {
    let (id, name) = line.split_once(' ')?;
    let id = ObjectId::from_hex(id.as_bytes()).ok()?;
    (name.starts_with("refs/") && path::check(name).is_ok()).then(|| (name.to_owned(), id))
}

/// The branches by full name and where they stand; none where that cannot be read. A branch of which only the log is
/// left counts: git removes a branch's log with it.
pub(super) fn branches(git: &Path) -> BTreeMap<String, Option<ObjectId>> {
    let mut found = BTreeMap::new();
    for (name, id) in
        fs::read_to_string(git.join("packed-refs")).unwrap_or_default().lines().filter_map(packed_line)
    {
        if name.starts_with("refs/heads/") {
            found.insert(name, Some(id));
        }
    }
    let mut loose = BTreeSet::new();
    names_below(git, "refs/heads", &mut loose);
    for name in loose {
        let text = fs::read_to_string(git.join(&name)).unwrap_or_default();
        let id = ObjectId::from_hex(text.trim_end().as_bytes()).ok();
        found.insert(name, id);
    }
    let mut logs = BTreeSet::new();
    names_below(git, "logs/refs/heads", &mut logs);
    for log in logs {
        let name = log.trim_start_matches("logs/").to_owned();
        found.entry(name).or_insert(None);
    }
    found
}

fn names_below(git: &Path, folder: &str, found: &mut BTreeSet<String>) {
    for entry in fs::read_dir(git.join(folder)).into_iter().flatten().flatten() {
        let Ok(name) = entry.file_name().into_string() else { continue };
        let inside = format!("{folder}/{name}");
        match standing(&entry.path()) {
            Ok(Standing::Folder) => names_below(git, &inside, found),
            Ok(Standing::File(_)) if !name.ends_with(".lock") && path::check(&inside).is_ok() => {
                found.insert(inside);
            }
            _ => {}
        }
    }
}

/// Where a reference's log says it stood last: the last whole line's second name.
pub(super) fn last_of_log(git: &Path, name: &str) -> Option<ObjectId> {
    let bytes = fs::read(git.join("logs").join(name)).ok()?;
    let text = String::from_utf8_lossy(&bytes);
    text.lines().rev().find_map(|line| {
        let mut words = line.split(' ');
        let before = words.next()?;
        let after = ObjectId::from_hex(words.next()?.as_bytes()).ok()?;
        (before.len() == after.to_string().len()).then_some(after)
    })
}
