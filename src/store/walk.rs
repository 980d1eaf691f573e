//! Every object that a reference leads to, read, hashed and followed.

use std::collections::{BTreeMap, BTreeSet};

use gix::ObjectId;
use gix::objs::Kind;

use super::snapshot::entries_of;
use super::{Book, Entry, EntryKind, Error, Snapshot, path};

/// What the walk comes by.
pub(super) enum Met<'a> {
    /// An object whose bytes hash to its name.
    Whole { kind: Kind, named_by: &'a str },
    /// One that is missing (`found` is none), or whose bytes are not what its name says.
    Broken { id: ObjectId, found: Option<&'a str>, named_by: &'a str },
    /// One whose bytes are what its name says and no commit, folder or tag all the same.
    Unreadable { id: ObjectId, found: &'a str, named_by: &'a str },
}

/// An object to read, and what names it.
pub(super) type Tip = (ObjectId, String);

/// An object's kind and bytes.
pub(super) type Bytes = (Kind, Vec<u8>);

/// A reference, and in words why it cannot be read.
pub(super) struct BrokenReference {
    pub(super) name: String,
    pub(super) found: String,
}

impl Book {
    /// What every reference leads to, by the reference's name, and the references that lead nowhere.
    pub(super) fn tips(&self) -> Result<(Vec<Tip>, Vec<BrokenReference>), Error> {
        let (mut tips, mut broken) = (Vec::new(), Vec::new());
        let mut lost = |name: &str, found: String| {
            broken.push(BrokenReference { name: name.to_owned(), found: self.short(&found) });
        };
        match self.target().map(|target| target.old) {
            Ok(Some(id)) => tips.push((id, "HEAD".to_owned())),
            Ok(None) => {}
            Err(error) => lost("HEAD", error.to_string()),
        }
        let platform = self.repo().references().map_err(Error::git("list the references"));
        let all = platform.as_ref().ok().map(|platform| platform.all());
        match (platform.as_ref().err(), all) {
            (Some(error), _) => lost("under refs/", error.to_string()),
            (None, Some(Err(error))) => lost("under refs/", error.to_string()),
            (None, None) => {}
            (None, Some(Ok(all))) => {
                for reference in all {
                    match reference {
                        Ok(reference) => {
                            let name = reference.name().as_bstr().to_string();
                            match reference.inner.target {
                                gix::refs::Target::Object(id) => tips.push((id, name)),
                                gix::refs::Target::Symbolic(to) => {
                                    if !matches!(self.repo().try_find_reference(&to), Ok(Some(_))) {
                                        lost(&name, format!("a pointer to {to}, which is not there"));
                                    }
                                }
                            }
                        }
                        Err(error) => lost("under refs/", error.to_string()),
                    }
                }
            }
        }
        Ok((tips, broken))
    }

    /// Reads every object that the tips lead to, each once. Where one is broken, `met` may hand over its bytes from
    /// elsewhere, and the walk goes on through them.
    pub(super) fn walk(
        &self,
        mut open: Vec<Tip>,
        met: &mut dyn FnMut(Met<'_>) -> Result<Option<Bytes>, Error>,
    ) -> Result<(), Error> {
        let mut seen = BTreeSet::new();
        while let Some((id, named_by)) = open.pop() {
            if !seen.insert(id) {
                continue;
            }
            let (kind, bytes) = match self.whole_object(id) {
                Ok(Some(whole)) => whole,
                broken => {
                    let found = broken.err();
                    let met = met(Met::Broken { id, found: found.as_deref(), named_by: &named_by })?;
                    let Some(whole) = met else { continue };
                    whole
                }
            };
            met(Met::Whole { kind, named_by: &named_by })?;
            if let Err(found) = self.follow(id, kind, &bytes, &named_by, &mut open) {
                met(Met::Unreadable { id, found: &found, named_by: &named_by })?;
            }
        }
        Ok(())
    }

    /// An object's kind and bytes once they hash to its name; `Err` says what is wrong with them.
    pub(super) fn whole_object(&self, id: ObjectId) -> Result<Option<Bytes>, String> {
        if id == ObjectId::empty_tree(self.repo().object_hash()) {
            return Ok(Some((Kind::Tree, Vec::new())));
        }
        whole_object_of(self.repo(), id).map_err(|found| self.short(&found))
    }

    fn follow(
        &self,
        id: ObjectId,
        kind: Kind,
        bytes: &[u8],
        named_by: &str,
        open: &mut Vec<(ObjectId, String)>,
    ) -> Result<(), String> {
        let hash = self.repo().object_hash();
        match kind {
            Kind::Blob => {}
            Kind::Commit => {
                let short = id.to_hex_with_len(12);
                let commit =
                    gix::objs::CommitRef::from_bytes(bytes, hash).map_err(|error| error.to_string())?;
                open.extend(commit.parents().map(|parent| (parent, format!("commit {short}"))));
                open.push((commit.tree(), format!("commit {short}")));
            }
            Kind::Tree => {
                let prefix =
                    named_by.split_once(": ").map(|(_, path)| format!("{path}/")).unwrap_or_default();
                let commit = named_by.split(": ").next().unwrap_or(named_by);
                let entries = entries_of(bytes, hash).map_err(|error| error.to_string())?;
                for entry in entries.iter().filter(|entry| entry.kind != EntryKind::Submodule) {
                    open.push((entry.id.0, format!("{commit}: {prefix}{}", entry.name)));
                }
            }
            Kind::Tag => {
                let tag = gix::objs::TagRef::from_bytes(bytes, hash).map_err(|error| error.to_string())?;
                open.push((tag.target(), named_by.to_owned()));
            }
        }
        Ok(())
    }

    /// Where in the last commit these objects stand, as far as its folders can be read.
    pub(super) fn places_of(&self, wanted: &BTreeSet<ObjectId>) -> BTreeMap<ObjectId, Vec<String>> {
        let mut places: BTreeMap<ObjectId, Vec<String>> = BTreeMap::new();
        if wanted.is_empty() {
            return places;
        }
        let Ok(head) = self.head() else { return places };
        head.each_that_can_be_read(&mut |place, entry| {
            if wanted.contains(&entry.id.0) {
                places.entry(entry.id.0).or_default().push(place.to_owned());
            }
        });
        places.values_mut().for_each(|places| places.sort());
        places
    }

    /// A text without the machine's way to the book in it.
    pub(super) fn short(&self, text: &str) -> String {
        let root = format!("{}/", self.root().display());
        text.replace(&root, "")
    }
}

impl Snapshot {
    /// Every file and folder that can be reached through folders that can be read.
    fn each_that_can_be_read(&self, found: &mut dyn FnMut(&str, &Entry)) {
        let mut open = vec![(String::new(), self.tree())];
        while let Some((inside, tree)) = open.pop() {
            let Ok(entries) = self.folder(tree) else { continue };
            for entry in entries.iter() {
                let place =
                    if inside.is_empty() { entry.name.clone() } else { format!("{inside}/{}", entry.name) };
                found(&place, entry);
                if entry.kind == EntryKind::Folder && path::check(&place).is_ok() {
                    open.push((place, entry.id.0));
                }
            }
        }
    }

    /// The files that can be reached through folders that can be read, sorted by path.
    pub(super) fn files_that_can_be_read(&self) -> Vec<(String, Entry)> {
        let mut files = Vec::new();
        self.each_that_can_be_read(&mut |place, entry| {
            if entry.kind != EntryKind::Folder {
                files.push((place.to_owned(), entry.clone()));
            }
        });
        files.sort_by(|a, b| a.0.cmp(&b.0));
        files
    }
}

/// An object of a repository once its bytes hash to its name; `Err` says what is wrong with them.
pub(super) fn whole_object_of(repo: &gix::Repository, id: ObjectId) -> Result<Option<Bytes>, String> {
    match repo.try_find_object(id) {
        Ok(None) => Ok(None),
        Err(error) => Err(error.to_string()),
        Ok(Some(mut object)) => {
            let bytes = std::mem::take(&mut object.data);
            match gix::objs::compute_hash(repo.object_hash(), object.kind, &bytes) {
                Ok(found) if found == id => Ok(Some((object.kind, bytes))),
                Ok(found) => Err(format!("bytes that hash to {found}")),
                Err(error) => Err(error.to_string()),
            }
        }
    }
}
