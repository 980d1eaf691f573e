//! Reading the whole book to see whether it still holds what it says: objects, references, raw files.

use std::collections::{BTreeMap, BTreeSet};
use std::fs;

use gix::ObjectId;
use gix::objs::Kind;

use super::path::{Standing, standing};
use super::vault::{RawPlace, digest_of, is_digest};
use super::{Book, EntryKind, Error, RawCheck, path};
use crate::finding::Finding;
use crate::finding::Place;

/// What a whole reading of the book found.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Verification {
    /// Commits read.
    pub commits: usize,
    /// Folders and files of all commits read, each content once.
    pub objects: usize,
    /// Raw files hashed.
    pub raw_files: usize,
    /// Bytes of raw files hashed.
    pub raw_bytes: u64,
    /// What does not hold; empty when everything does.
    pub findings: Vec<Finding>,
}

const RESTORE: &str = "restore it from another copy of the book (a clone or a backup)";

impl Book {
    /// Reads everything: each reference, each object reachable from one, each raw file kept, and each raw file in
    /// `named` (SHA-256 and where it is named), which tells what large files are missing.
    ///
    /// # Errors
    ///
    /// [`Error`] only when the reading itself fails; damage is a finding.
    pub fn verify(
        &self,
        named: &BTreeMap<String, String>,
        progress: &mut dyn FnMut(&Verification),
    ) -> Result<Verification, Error> {
        let mut state = Verification::default();
        let mut open = self.tips(&mut state)?;
        let mut seen = BTreeSet::new();
        let mut once_in_git = BTreeSet::new();
        while let Some((id, named_by)) = open.pop() {
            if !seen.insert(id) {
                continue;
            }
            match self.whole_object(id) {
                Ok(None) => state.findings.push(
                    Finding::error("object-missing", format!("git object {id} is missing"))
                        .expected(format!("it, since {named_by} names it"))
                        .next(RESTORE),
                ),
                Ok(Some((kind, bytes))) => {
                    self.follow(id, kind, &bytes, &named_by, &mut open, &mut state);
                    if kind == Kind::Blob
                        && let Some((_, path)) = named_by.split_once(": ")
                        && let Some(name) = raw_name(path)
                    {
                        once_in_git.insert(name.to_owned());
                    }
                }
                Err(found) => state.findings.push(
                    Finding::error("object-damaged", format!("git object {id} of {named_by} is damaged"))
                        .found(found)
                        .expected("bytes that hash to its name")
                        .next(RESTORE),
                ),
            }
            progress(&state);
        }
        self.verify_raw(named, &once_in_git, &mut state, progress)?;
        Ok(state)
    }

    /// What every reference leads to.
    fn tips(&self, state: &mut Verification) -> Result<Vec<(ObjectId, String)>, Error> {
        let mut tips = Vec::new();
        let broken = |name: &str, found: String| {
            Finding::error("reference-broken", format!("the reference {name} cannot be read"))
                .found(found)
                .expected("the name of a commit")
                .next("`git reflog` shows where it stood")
        };
        match self.target().map(|target| target.old) {
            Ok(Some(id)) => tips.push((id, "HEAD".to_owned())),
            Ok(None) => {}
            Err(error) => state.findings.push(broken("HEAD", error.to_string())),
        }
        let platform = self.repo().references().map_err(Error::git("list the references"))?;
        for reference in platform.all().map_err(Error::git("list the references"))? {
            match reference {
                Ok(reference) => {
                    let name = reference.name().as_bstr().to_string();
                    match reference.inner.target {
                        gix::refs::Target::Object(id) => tips.push((id, name)),
                        gix::refs::Target::Symbolic(to) => {
                            if !matches!(self.repo().try_find_reference(&to), Ok(Some(_))) {
                                state
                                    .findings
                                    .push(broken(&name, format!("a pointer to {to}, which is not there")));
                            }
                        }
                    }
                }
                Err(error) => state.findings.push(broken("under refs/", error.to_string())),
            }
        }
        Ok(tips)
    }

    /// An object's kind and bytes once they hash to its name; `Err` says what is wrong with them.
    fn whole_object(&self, id: ObjectId) -> Result<Option<(Kind, Vec<u8>)>, String> {
        match self.repo().try_find_object(id) {
            Ok(None) if id == ObjectId::empty_tree(self.repo().object_hash()) => {
                Ok(Some((Kind::Tree, Vec::new())))
            }
            Ok(None) => Ok(None),
            Err(error) => Err(error.to_string()),
            Ok(Some(mut object)) => {
                let bytes = std::mem::take(&mut object.data);
                match gix::objs::compute_hash(self.repo().object_hash(), object.kind, &bytes) {
                    Ok(found) if found == id => Ok(Some((object.kind, bytes))),
                    Ok(found) => Err(format!("bytes that hash to {found}")),
                    Err(error) => Err(error.to_string()),
                }
            }
        }
    }

    fn follow(
        &self,
        id: ObjectId,
        kind: Kind,
        bytes: &[u8],
        named_by: &str,
        open: &mut Vec<(ObjectId, String)>,
        state: &mut Verification,
    ) {
        let hash = self.repo().object_hash();
        let unreadable = |error: String| {
            Finding::error("object-damaged", format!("git object {id} of {named_by} cannot be read"))
                .found(error)
                .next(RESTORE)
        };
        state.objects += 1;
        match kind {
            Kind::Blob => {}
            Kind::Commit => {
                state.commits += 1;
                match gix::objs::CommitRef::from_bytes(bytes, hash) {
                    Ok(commit) => {
                        let short = id.to_hex_with_len(12);
                        open.extend(commit.parents().map(|parent| (parent, format!("commit {short}"))));
                        open.push((commit.tree(), format!("commit {short}")));
                    }
                    Err(error) => state.findings.push(unreadable(error.to_string())),
                }
            }
            Kind::Tree => match super::snapshot::read_folder(self.repo(), id) {
                Ok(entries) => {
                    let prefix =
                        named_by.split_once(": ").map(|(_, path)| format!("{path}/")).unwrap_or_default();
                    let commit = named_by.split(": ").next().unwrap_or(named_by);
                    for entry in entries.iter().filter(|entry| entry.kind != EntryKind::Submodule) {
                        open.push((entry.id.0, format!("{commit}: {prefix}{}", entry.name)));
                    }
                }
                Err(error) => state.findings.push(unreadable(error.to_string())),
            },
            Kind::Tag => match gix::objs::TagRef::from_bytes(bytes, hash) {
                Ok(tag) => open.push((tag.target(), named_by.to_owned())),
                Err(error) => state.findings.push(unreadable(error.to_string())),
            },
        }
    }

    fn verify_raw(
        &self,
        named: &BTreeMap<String, String>,
        once_in_git: &BTreeSet<String>,
        state: &mut Verification,
        progress: &mut dyn FnMut(&Verification),
    ) -> Result<(), Error> {
        let mut kept: BTreeSet<String> = named.keys().filter(|name| is_digest(name)).cloned().collect();
        // What cannot be read of the last commit has its finding from the walk already.
        if let Ok(head) = self.head() {
            for (inside, entry) in head.files("raw").unwrap_or_default() {
                let name = inside.rsplit('/').next().unwrap_or_default();
                if raw_name(&inside).is_none() {
                    state.findings.push(stray(&inside));
                    continue;
                }
                let Ok(bytes) = head.content(entry.id) else {
                    continue;
                };
                let (found, _) =
                    digest_of(&mut bytes.as_slice()).map_err(Error::io("read", inside.as_ref()))?;
                if found != name {
                    state.findings.push(damaged(&inside, &found, name));
                }
                kept.insert(name.to_owned());
            }
        }
        for place in [RawPlace::InGit, RawPlace::Large] {
            self.raw_on_disk(place, &mut kept, state)?;
        }
        for name in kept {
            match self.raw().check(&name) {
                Ok(RawCheck::Good { bytes }) => {
                    state.raw_files += 1;
                    state.raw_bytes += bytes;
                }
                Ok(RawCheck::Damaged { path, found }) => state.findings.push(damaged(&path, &found, &name)),
                Ok(RawCheck::Missing) => {
                    let said =
                        "copy it back from where the book was made, or leave it out of what is claimed";
                    let finding = if once_in_git.contains(&name) {
                        Finding::error("raw-missing", format!("the raw file {name} is not here"))
                            .expected("it, since an earlier commit held it")
                            .next(RESTORE)
                    } else {
                        Finding::note("raw-not-here", format!("the large raw file {name} is not here"))
                            .next(said)
                    };
                    let named_by = named.get(&name).cloned().unwrap_or_default();
                    state.findings.push(finding.at(Place::file(named_by)));
                }
                Err(error @ (Error::NotPlain { .. } | Error::Git { .. })) => {
                    state.findings.push(Finding::error("raw-damaged", error.to_string()));
                }
                Err(error) => return Err(error),
            }
            progress(state);
        }
        Ok(())
    }

    /// Adds the raw files that lie on disk, whether or not anything names them.
    fn raw_on_disk(
        &self,
        place: RawPlace,
        kept: &mut BTreeSet<String>,
        state: &mut Verification,
    ) -> Result<(), Error> {
        let shelf = match place {
            RawPlace::InGit => "raw",
            RawPlace::Large => "raw-large",
        };
        let top = path::locate(self.root(), shelf)?;
        if !matches!(standing(&top)?, Standing::Folder) {
            return Ok(());
        }
        for folder in list(&top)? {
            let inside = top.join(&folder);
            if !matches!(standing(&inside)?, Standing::Folder) {
                state.findings.push(stray(&format!("{shelf}/{folder}")));
                continue;
            }
            for name in list(&inside)? {
                let path = format!("{shelf}/{folder}/{name}");
                if is_digest(&name) && place.path(&name) == path {
                    kept.insert(name);
                } else {
                    state.findings.push(stray(&path));
                }
            }
        }
        Ok(())
    }
}

fn list(folder: &std::path::Path) -> Result<Vec<String>, Error> {
    let mut names = Vec::new();
    for entry in fs::read_dir(folder).map_err(Error::io("list", folder))? {
        names.push(entry.map_err(Error::io("list", folder))?.file_name().to_string_lossy().into_owned());
    }
    names.sort();
    Ok(names)
}

fn damaged(path: &str, found: &str, expected: &str) -> Finding {
    Finding::error("raw-damaged", "a raw file's bytes are not those it was kept with")
        .at(Place::file(path))
        .found(format!("SHA-256 {found}"))
        .expected(format!("SHA-256 {expected}"))
        .next(RESTORE)
}

/// The SHA-256 in the path of a raw file in git; nothing for any other path.
fn raw_name(path: &str) -> Option<&str> {
    let name = path.rsplit('/').next()?;
    (is_digest(name) && RawPlace::InGit.path(name) == path).then_some(name)
}

fn stray(path: &str) -> Finding {
    Finding::doubt("raw-stray", "a file that is no raw file lies among them")
        .at(Place::file(path))
        .expected("files named by their SHA-256")
        .next("move it out of the folder")
}
