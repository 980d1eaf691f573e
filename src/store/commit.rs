//! The commit itself: every check, then every step in its order.

use std::fs;
use std::path::Path;

use gix::ObjectId;
use gix::objs::Kind;

use super::index::IndexLock;
use super::journal::{Journal, Planned, STAGE};
use super::objects::{TreeChange, Written};
use super::reference::Target;
use super::vault::RawPlace;
use super::writing::{Content, Expected};
use super::{Book, CommitForm, CommitId, ContentId, EntryKind, Error, Step, Writing, path, sync};

/// What git has commits signed under.
const GIT_NAMESPACE: &str = "git";

impl Writing<'_> {
    /// Commits with all a commit can say: see [`CommitForm`].
    ///
    /// # Errors
    ///
    /// Any [`Error`]; after each but [`Error::Unfinished`] the book is as it was.
    pub fn commit_as(mut self, form: CommitForm<'_>) -> Result<CommitId, Error> {
        let book = self.book;
        self.large.values_mut().try_for_each(super::intake::Taken::settle)?;
        book.refuse_in_progress(!form.merged.is_empty())?;
        let index_lock = book.lock_index()?;
        match self.under_index_lock(&form) {
            Ok(commit) => Ok(commit),
            Err(error) => {
                if matches!(error, Error::Stopped { .. } | Error::Unfinished { .. }) {
                    IndexLock::leave(index_lock);
                }
                Err(error)
            }
        }
    }

    fn under_index_lock(&self, form: &CommitForm<'_>) -> Result<CommitId, Error> {
        let book = self.book;
        self.reached(Step::IndexLocked)?;
        let target = book.target()?;
        let base = self.base.as_ref().map(|base| base.commit().0);
        if target.old != base {
            let text = |id: Option<ObjectId>| id.map_or_else(|| "no commit".to_owned(), |id| id.to_string());
            return Err(Error::Moved { found: text(target.old), expected: text(base) });
        }
        let mut written = Written::default();
        let files = self.plan(&mut written, !form.merged.is_empty())?;
        let new = self.store_commit(&mut written, &files, form)?;
        book.sync_objects(&written)?;
        self.reached(Step::ObjectsSynced)?;

        let mut journal = self.journal(&target, new, files, form)?;
        let state = book.state_folder()?;
        journal.folders = self.missing_folders(&journal)?;
        journal.write(&state)?;
        let moved =
            self.reached(Step::JournalWritten).and_then(|()| self.stage_and_move(&target, new.0, &journal));
        if let Err(error) = moved {
            return Err(if matches!(error, Error::Stopped { .. }) {
                error
            } else {
                self.give_up(&journal, new, error)
            });
        }
        match book.complete(&journal, &mut |step| self.reached(step)) {
            Ok(_) => Ok(new),
            Err(error @ Error::Stopped { .. }) => Err(error),
            Err(cause) => Err(Error::Unfinished { commit: new, cause: Box::new(cause) }),
        }
    }

    /// Undoes a write that failed, unless the branch has moved after all (its folder could not be synced).
    fn give_up(&self, journal: &Journal, new: CommitId, error: Error) -> Error {
        match self.book.reference(&journal.reference) {
            Ok(now) if now != Some(new.0) => {
                // Should this fail too, the journal stays and the next command tries again.
                let _ = self.book.undo(journal);
                error
            }
            _ => Error::Unfinished { commit: new, cause: Box::new(error) },
        }
    }

    /// Checks every change against the last commit, the index and the work tree, and stores the new contents.
    fn plan(&self, written: &mut Written, concluding: bool) -> Result<Vec<Planned>, Error> {
        let index = self.book.index_to_look_at()?;
        let mut files = Vec::new();
        for (number, (inside, change)) in self.changes.iter().enumerate() {
            let entry = self.base.as_ref().map(|base| base.entry(inside)).transpose()?.flatten();
            let (old, executable) = match &entry {
                None => (None, false),
                Some(entry) => match entry.kind {
                    EntryKind::File => (Some(entry.id), false),
                    EntryKind::Executable => (Some(entry.id), true),
                    EntryKind::Folder => return Err(not_plain(inside, "a folder")),
                    EntryKind::Link => return Err(not_plain(inside, "a symbolic link")),
                    EntryKind::Submodule => return Err(not_plain(inside, "another repository")),
                },
            };
            self.refuse_file_as_folder(inside)?;
            let on_disk = self.book.disk_id(inside)?;
            let new = match &change.content {
                Content::Bytes(bytes) => Some(self.book.store(written, Kind::Blob, bytes)?),
                Content::Taken(spool) => {
                    let bytes = fs::read(spool).map_err(Error::io("read", spool))?;
                    Some(self.book.store(written, Kind::Blob, &bytes)?)
                }
                Content::Gone => None,
            }
            .map(ContentId);
            let expected = match change.expected {
                Expected::Head => old,
                Expected::Seen(seen) => seen,
            };
            // Bytes that already stand as they shall be lose nothing, whoever wrote them.
            if on_disk != expected && on_disk != new {
                return Err(Error::PendingEdit { path: inside.clone() });
            }
            refuse_staged(&index, inside, old, new, concluding)?;
            let stages = on_disk != new;
            files.push(Planned {
                path: inside.clone(),
                stage: stages.then(|| self.stage_path(inside, number)),
                old: old.map(|id| id.to_string()),
                on_disk: on_disk.map(|id| id.to_string()),
                new: new.map(|id| id.to_string()),
                executable,
                raw: matches!(change.content, Content::Taken(_)),
            });
        }
        Ok(files)
    }

    fn store_commit(
        &self,
        written: &mut Written,
        files: &[Planned],
        form: &CommitForm<'_>,
    ) -> Result<CommitId, Error> {
        let book = self.book;
        let empty = ObjectId::empty_tree(book.repo().object_hash());
        let base_tree = self.base.as_ref().map_or(empty, |base| base.tree());
        let changes: Vec<TreeChange<'_>> = files
            .iter()
            .filter(|file| file.new != file.old)
            .map(|file| TreeChange { path: &file.path, content: file.new_id(), executable: file.executable })
            .collect();
        let tree = book.store_tree(written, base_tree, &changes)?;
        if tree == base_tree && form.merged.is_empty() && self.base.is_some() {
            return Err(Error::NothingChanged);
        }
        let signature = form.author.signature(form.time)?;
        let mut message = form.message.replace('\0', "");
        if !message.ends_with('\n') {
            message.push('\n');
        }
        let mut commit = gix::objs::Commit {
            tree,
            parents: self
                .base
                .iter()
                .map(|base| base.commit().0)
                .chain(form.merged.iter().map(|id| id.0))
                .collect(),
            author: signature.clone(),
            committer: signature,
            encoding: None,
            message: message.into(),
            extra_headers: Vec::new(),
        };
        let signed = match (form.signer, book.signing_key()) {
            (Some(sign), _) => Some(sign(&bytes_of(&commit)?)),
            (None, Some(key)) => Some(key.sign(GIT_NAMESPACE, &bytes_of(&commit)?)),
            (None, None) => None,
        };
        if let Some(signed) = signed.transpose().map_err(|detail| Error::Signer { detail })? {
            commit.extra_headers.push(("gpgsig".into(), signed.trim_end().into()));
        }
        book.store(written, Kind::Commit, &bytes_of(&commit)?).map(CommitId)
    }

    fn journal(
        &self,
        target: &Target,
        new: CommitId,
        files: Vec<Planned>,
        form: &CommitForm<'_>,
    ) -> Result<Journal, Error> {
        let mut signature = Vec::new();
        form.author
            .signature(form.time)?
            .to_ref(&mut gix::date::parse::TimeBuf::default())
            .write_to(&mut signature)
            .map_err(Error::io("write", Path::new("the journal")))?;
        let mut large = Vec::new();
        for name in self.large.keys() {
            if self.book.raw().open_on_disk(name, RawPlace::Large)?.is_none() {
                large.push(name.clone());
            }
        }
        Ok(Journal {
            version: Journal::version(),
            command: self.who.command.clone(),
            process: self.who.process,
            since: self.who.since.clone(),
            reference: target.name.clone(),
            old: target.old.map(|id| id.to_string()),
            new: new.to_string(),
            signature: String::from_utf8_lossy(&signature).into_owned(),
            subject: form.message.lines().next().unwrap_or_default().replace(['\t', '\0'], " "),
            files,
            folders: Vec::new(),
            large,
            merge: !form.merged.is_empty(),
        })
    }

    fn missing_folders(&self, journal: &Journal) -> Result<Vec<String>, Error> {
        let staged = journal.files.iter().filter_map(|file| file.stage.as_deref());
        let large: Vec<String> = journal.large.iter().map(|name| RawPlace::Large.path(name)).collect();
        let mut missing = std::collections::BTreeSet::new();
        for inside in staged.chain(large.iter().map(String::as_str)) {
            let folder = path::folder_of(inside);
            for (end, _) in folder.match_indices('/').chain([(folder.len(), "")]) {
                if end > 0 && !self.book.root().join(&folder[..end]).exists() {
                    missing.insert(folder[..end].to_owned());
                }
            }
        }
        Ok(missing.into_iter().collect())
    }

    fn stage_and_move(&self, target: &Target, new: ObjectId, journal: &Journal) -> Result<(), Error> {
        for name in &journal.large {
            if let Some(taken) = self.large.get(name) {
                self.place_large(name, &taken.path)?;
            }
        }
        self.reached(Step::RawPlaced)?;
        self.stage(journal)?;
        self.reached(Step::FilesStaged)?;
        self.book.move_reference(target, new, &mut || self.reached(Step::ReferenceLocked))?;
        self.reached(Step::ReferenceMoved)
    }

    fn stage(&self, journal: &Journal) -> Result<(), Error> {
        let root = self.book.root();
        for folder in &journal.folders {
            sync::make_folders(root, folder)?;
        }
        let mut places = Vec::new();
        for file in &journal.files {
            let Some(stage) = &file.stage else { continue };
            let place = path::locate(root, stage)?;
            use std::io::Write;
            let fault = |error| Error::io("write", &place)(error);
            match self.changes.get(&file.path).map(|change| &change.content) {
                Some(Content::Taken(spool)) => {
                    if fs::rename(spool, &place).is_err() {
                        let bytes = fs::read(spool).map_err(Error::io("read", spool))?;
                        sync::create(&place, file.mode())?.write_all(&bytes).map_err(fault)?;
                    }
                }
                Some(Content::Bytes(bytes)) => {
                    sync::create(&place, file.mode())?.write_all(bytes).map_err(fault)?
                }
                // An empty file shows that the folder may be changed, before anything is.
                Some(Content::Gone) | None => drop(sync::create(&place, file.mode())?),
            }
            places.push(place);
        }
        sync::each(&places, sync::file_sync)?;
        let folders: std::collections::BTreeSet<_> =
            places.iter().filter_map(|place| place.parent()).collect();
        folders.into_iter().try_for_each(sync::folder_sync)
    }

    fn place_large(&self, name: &str, spool: &Path) -> Result<(), Error> {
        let inside = RawPlace::Large.path(name);
        sync::make_folders(self.book.root(), path::folder_of(&inside))?;
        let place = path::locate(self.book.root(), &inside)?;
        // A link never replaces what is there; where links are not to be had, the plan has seen that nothing is.
        if fs::hard_link(spool, &place).is_err() && fs::rename(spool, &place).is_err() {
            let mut source = fs::File::open(spool).map_err(Error::io("open", spool))?;
            let mut copy = sync::create(&place, sync::Mode::ReadOnly)?;
            std::io::copy(&mut source, &mut copy).map_err(Error::io("write", &place))?;
            copy.sync_all().map_err(Error::io("sync", &place))?;
        }
        sync::folder_sync(place.parent().unwrap_or(&place))
    }

    fn stage_path(&self, inside: &str, number: usize) -> String {
        let name = format!("{STAGE}{}-{number}.part", std::process::id());
        match path::folder_of(inside) {
            "" => name,
            folder => format!("{folder}/{name}"),
        }
    }

    /// A path may not lead through what the last commit holds as a file.
    fn refuse_file_as_folder(&self, inside: &str) -> Result<(), Error> {
        let Some(base) = &self.base else { return Ok(()) };
        for (end, _) in inside.match_indices('/') {
            match base.entry(&inside[..end])? {
                None => break,
                Some(entry) if entry.kind == EntryKind::Folder => {}
                Some(_) => {
                    let path = inside[..end].to_owned();
                    return Err(Error::NotPlain { path, found: "a file", expected: "a folder" });
                }
            }
        }
        Ok(())
    }
}

impl Book {
    /// Refuses in the middle of git's longer operations; a merge is let pass when the caller concludes it.
    pub(super) fn refuse_in_progress(&self, merge_passes: bool) -> Result<(), Error> {
        use gix::state::InProgress;
        let operation = match self.repo().state() {
            None => return Ok(()),
            Some(InProgress::Merge) if merge_passes => return Ok(()),
            Some(InProgress::Merge) => "merge",
            Some(InProgress::ApplyMailbox | InProgress::ApplyMailboxRebase) => "am",
            Some(InProgress::Bisect) => return Ok(()),
            Some(InProgress::CherryPick | InProgress::CherryPickSequence) => "cherry-pick",
            Some(InProgress::Rebase | InProgress::RebaseInteractive) => "rebase",
            Some(InProgress::Revert | InProgress::RevertSequence) => "revert",
        };
        Err(Error::InProgress { operation })
    }
}

/// An index entry may stand as in the last commit or as it shall be; anything else the user staged.
fn refuse_staged(
    index: &gix::index::File,
    inside: &str,
    old: Option<ContentId>,
    new: Option<ContentId>,
    concluding: bool,
) -> Result<(), Error> {
    use gix::index::entry::{Flags, Stage};
    let key: &gix::bstr::BStr = inside.into();
    let conflicted = index.entry_range(key).is_some_and(|range| {
        range.into_iter().any(|position| index.entry(position).stage() != Stage::Unconflicted)
    });
    let staged = index
        .entry_by_path_and_stage(key, Stage::Unconflicted)
        .filter(|entry| !entry.flags.contains(Flags::INTENT_TO_ADD))
        .map(|entry| ContentId(entry.id));
    if concluding || (!conflicted && (staged == old || staged == new)) {
        return Ok(());
    }
    Err(Error::Staged { path: inside.to_owned() })
}

fn bytes_of(commit: &gix::objs::Commit) -> Result<Vec<u8>, Error> {
    let mut bytes = Vec::new();
    gix::objs::WriteTo::write_to(commit, &mut bytes)
        .map_err(|error| Error::Git { operation: "write a commit", detail: error.to_string() })?;
    Ok(bytes)
}

fn not_plain(path: &str, found: &'static str) -> Error {
    Error::NotPlain { path: path.to_owned(), found, expected: "a plain file" }
}
