//! Commits and trees for somebody without the book, by which each path's bytes in each commit follow from hashes alone.
//!
//! An object is the bytes that git hashes, under its id and kind: `git hash-object -t commit FILE` prints the id of
//! `ID.commit`. Nothing here reads them back: that is done where no repository is at hand.

use std::collections::{BTreeMap, BTreeSet};

use gix::ObjectId;

use super::{Book, CommitId, Error, Snapshot};

impl Book {
    /// The commits of the first-parent line from a commit down to the first, and of each of `at` the trees on the way to
    /// the paths named with it, by id and kind (`ID.commit`, `ID.tree`).
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
