//! Reading the whole book to see whether it still holds what it says: objects, references, raw files.

use std::collections::{BTreeMap, BTreeSet};
use std::fs;

use gix::objs::Kind;

use super::path::{Standing, standing};
use super::vault::{RawPlace, digest_of, is_digest};
use super::walk::Met;
use super::{Book, Error, RawCheck, path};
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

const RESTORE: &str =
    "`mulebook mend --from COPY` restores it from another copy of the book (a clone or a backup)";
const MEND: &str = "`mulebook mend` puts it right";

impl Book {
    /// Reads everything: each reference, each object reachable from one, each pack, the index, each raw file kept, and
    /// each raw file in `named` (SHA-256 and where it is named), which tells what large files are missing.
    ///
    /// A finding about something that the last commit holds is placed at its path there.
    ///
    /// # Errors
    ///
    /// [`Error`] only when the reading itself fails; damage is a finding.
    pub fn verify(
        &self,
        named: &BTreeMap<String, Place>,
        progress: &mut dyn FnMut(&Verification),
    ) -> Result<Verification, Error> {
        let mut state = Verification::default();
        let (tips, broken) = self.tips()?;
        state.findings.extend(broken.into_iter().map(|broken| {
            Finding::error("reference-broken", format!("the reference {} cannot be read", broken.name))
                .found(broken.found)
                .expected("the name of a commit")
                .next("`mulebook mend` sets it to where its log says it stood; `git reflog` shows that too")
        }));
        state.findings.extend(self.branches_off_their_log()?);
        let mut damaged = Vec::new();
        let mut once_in_git = BTreeSet::new();
        self.walk(tips, &mut |met| {
            match met {
                Met::Whole { kind, named_by } => {
                    state.objects += 1;
                    state.commits += usize::from(kind == Kind::Commit);
                    if kind == Kind::Blob
                        && let Some((_, path)) = named_by.split_once(": ")
                        && let Some(name) = raw_name(path)
                    {
                        once_in_git.insert(name.to_owned());
                    }
                }
                Met::Broken { id, found: None, named_by } => damaged.push((
                    id,
                    Finding::error("object-missing", format!("git object {id} is missing"))
                        .expected(format!("it, since {named_by} names it"))
                        .next(RESTORE),
                )),
                Met::Broken { id, found: Some(found), named_by } => damaged.push((
                    id,
                    Finding::error("object-damaged", format!("git object {id} of {named_by} is damaged"))
                        .found(found)
                        .expected("bytes that hash to its name")
                        .next(RESTORE),
                )),
                Met::Unreadable { id, found, named_by } => damaged.push((
                    id,
                    Finding::error("object-damaged", format!("git object {id} of {named_by} cannot be read"))
                        .found(found)
                        .next(RESTORE),
                )),
            }
            progress(&state);
            Ok(None)
        })?;
        let places = self.places_of(&damaged.iter().map(|(id, _)| *id).collect());
        state.findings.extend(damaged.into_iter().map(|(id, finding)| {
            match places.get(&id).and_then(|places| places.first()) {
                Some(place) => finding.at(Place::file(place)),
                None => finding,
            }
        }));
        state.findings.extend(self.packs_that_do_not_hold()?.into_iter().map(|(pack, found)| {
            Finding::error("pack-damaged", "a pack of git objects does not hold")
                .at(Place::file(pack))
                .found(found)
                .expected("bytes that hash to the digest at their end")
                .next("`mulebook mend` takes what is whole out of it; `--from COPY` restores the rest")
        }));
        if let Err(error) = self.index() {
            state.findings.push(
                Finding::error("index-damaged", "git's index cannot be read")
                    .at(Place::file(".git/index"))
                    .found(self.short(&error.to_string()))
                    .next("`mulebook mend` makes it again from the last commit"),
            );
        }
        self.verify_raw(named, &once_in_git, &mut state, progress)?;
        Ok(state)
    }

    fn verify_raw(
        &self,
        named: &BTreeMap<String, Place>,
        once_in_git: &BTreeSet<String>,
        state: &mut Verification,
        progress: &mut dyn FnMut(&Verification),
    ) -> Result<(), Error> {
        let mut in_git = BTreeSet::new();
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
                // Told of the bytes in git; those in the work tree come below.
                if found == name {
                    in_git.insert(name.to_owned());
                } else {
                    state.findings.push(damaged(&inside, &found, name, RESTORE));
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
                Ok(RawCheck::Damaged { path, found }) => {
                    let next = if in_git.contains(&name) { MEND } else { RESTORE };
                    state.findings.push(damaged(&path, &found, &name, next));
                }
                Ok(RawCheck::Missing) => {
                    let said = "`mulebook mend --from COPY` fetches it from the copy of the book that took it in, or leave it out of what is claimed";
                    let finding = if once_in_git.contains(&name) {
                        Finding::error("raw-missing", format!("the raw file {name} is not here"))
                            .expected("it, since an earlier commit held it")
                            .next(RESTORE)
                    } else {
                        Finding::note("raw-not-here", format!("the large raw file {name} is not here"))
                            .next(said)
                    };
                    state.findings.push(finding.at(named.get(&name).cloned().unwrap_or_default()));
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

fn damaged(path: &str, found: &str, expected: &str, next: &str) -> Finding {
    Finding::error("raw-damaged", "a raw file's bytes are not those it was kept with")
        .at(Place::file(path))
        .found(format!("SHA-256 {found}"))
        .expected(format!("SHA-256 {expected}"))
        .next(next)
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
