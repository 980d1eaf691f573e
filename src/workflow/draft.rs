//! A write under way: records read under the lock, edits laid over them, checked together, committed as one.

use std::collections::BTreeMap;
use std::collections::BTreeSet;
use std::io::Read;

use crate::answer::Written;
use crate::finding::Finding;
use crate::manifest::emit;
use crate::manifest::emit::Piece;
use crate::manifest::splice::Document;
use crate::record::BookSigner;
use crate::store::Book;
use crate::store::CommitForm;
use crate::store::Edit;
use crate::store::Outcome;
use crate::store::Pending;
use crate::store::RawFile;
use crate::store::RawReader;
use crate::store::Recovery;
use crate::store::Signer;
use crate::store::Writing;
use crate::workflow::Context;
use crate::workflow::Failure;
use crate::workflow::Library;
use crate::workflow::book_schemas;
use crate::workflow::gate;
use crate::workflow::gate_files::name_twin;
use crate::workflow::wanted_signature::WantedSignature;

/// A write under way.
pub struct Draft<'b> {
    book: &'b Book,
    writing: Writing<'b>,
    library: Library,
    changed: BTreeSet<String>,
    taken: BTreeSet<String>,
    /// Whose commits the book wanted signed before this write: a write cannot excuse itself.
    signers: Vec<BookSigner>,
}

impl<'b> Draft<'b> {
    /// Takes the book's lock and reads the book as it stands under it.
    ///
    /// # Errors
    /// The book is being written by another, cannot be read, or was kept under other schemas.
    pub fn open(book: &'b Book, context: &Context) -> Result<Self, Failure> {
        let draft = Self::open_under_any_schemas(book, context)?;
        book_schemas::hold(draft.library.snapshot())?;
        Ok(draft)
    }

    /// As [`Draft::open`], also where the book's schemas are not this program's.
    ///
    /// # Errors
    /// The book is being written by another, or cannot be read.
    pub(super) fn open_under_any_schemas(book: &'b Book, context: &Context) -> Result<Self, Failure> {
        let writing = book.write(context.holder())?;
        let library = match writing.base() {
            Some(base) => Library::new(book.snapshot(base.commit())?, BTreeMap::new())?,
            None => Library::at_head(book)?,
        };
        let signers = library.page().signers.clone();
        Ok(Self { book, writing, library, changed: BTreeSet::new(), taken: BTreeSet::new(), signers })
    }

    /// The book with everything put so far.
    pub fn library(&self) -> &Library {
        &self.library
    }

    /// The file's document for editing. A pending edit of it stops the command.
    ///
    /// # Errors
    /// The file is not in the book, holds pending edits, or is not YAML.
    pub fn document(&self, path: &str) -> Result<Document, Failure> {
        self.refuse_pending(path)?;
        match self.library.read(path)? {
            Some(bytes) => Ok(Document::read(path, &bytes)?),
            None => Err(Finding::error("not-found", format!("{path} is not in the book")).into()),
        }
    }

    fn refuse_pending(&self, path: &str) -> Result<(), Failure> {
        if self.changed.contains(path) {
            return Ok(());
        }
        match self.book.pending(&[path])?.first() {
            None => Ok(()),
            Some(pending) => {
                let how = match pending.edit {
                    Edit::Added => "is there and not yet kept",
                    Edit::Modified => "has edits that are not kept",
                    Edit::Removed => "is gone from the work tree",
                    Edit::Replaced => "is no plain file any more",
                };
                Err(Finding::error("pending-edit", format!("{path} {how}"))
                    .next("keep it first with `mulebook keep`, or take the edit back with `git checkout`")
                    .into())
            }
        }
    }

    /// Puts a file.
    ///
    /// # Errors
    /// The path holds pending edits, or is no path of a book.
    pub fn put(&mut self, path: &str, text: &str) -> Result<(), Failure> {
        self.refuse_pending(path)?;
        self.writing.put(path, text.as_bytes())?;
        self.library.lay(path, Some(text.as_bytes().to_vec()));
        self.changed.insert(path.to_owned());
        Ok(())
    }

    /// Puts a new manifest with the modeline that editors read.
    ///
    /// # Errors
    /// As [`Draft::put`]; a record of this name is there already.
    pub fn put_new(&mut self, path: &str, schema: &str, entries: &[(String, Piece)]) -> Result<(), Failure> {
        if self.library.read(path)?.is_some() {
            return Err(Finding::error("name-taken", "a record of this name is in the book already")
                .found(path.to_owned())
                .next("choose another name; a record that was wrong is corrected with `mulebook correct`")
                .into());
        }
        // A file system that folds case would show the other's file under this name, as an edit.
        if let Some(twin) = name_twin(&self.library, path)? {
            return Err(twin.into());
        }
        let up = "../".repeat(path.matches('/').count());
        let text =
            format!("# yaml-language-server: $schema={up}.schema/{schema}.json\n{}", emit::document(entries));
        self.put(path, &text)
    }

    /// All edits in the work tree.
    ///
    /// # Errors
    /// The store's.
    pub(super) fn pending_all(&self) -> Result<Vec<Pending>, Failure> {
        Ok(self.writing.pending_all()?)
    }

    /// Takes a pending edit as it stands in the work tree.
    ///
    /// # Errors
    /// The store's.
    pub fn put_pending(&mut self, path: &str, bytes: Option<Vec<u8>>) -> Result<(), Failure> {
        match &bytes {
            Some(bytes) => self.writing.put_over(path, Some(bytes), bytes)?,
            None => self.writing.remove_over(path, None)?,
        }
        self.library.lay(path, bytes);
        self.changed.insert(path.to_owned());
        Ok(())
    }

    /// Compiles the book's own schemas again after pending edits of them were put.
    ///
    /// # Errors
    /// A schema does not hold.
    pub fn reload_schemas(&mut self) -> Result<(), Failure> {
        let touched = |path: &String| path.starts_with("schema/") || path == "book.yaml";
        if self.changed.iter().any(touched) {
            let snapshot = self.book.snapshot(self.library.commit())?;
            self.library = Library::new(snapshot, self.library.overlay().clone())?;
        }
        Ok(())
    }

    /// Moves a file's record to another path, with new text.
    ///
    /// # Errors
    /// As [`Draft::put`].
    pub fn relocate(&mut self, from: &str, to: &str, text: &str) -> Result<(), Failure> {
        self.refuse_pending(from)?;
        self.writing.remove(from)?;
        self.library.lay(from, None);
        self.put(to, text)
    }

    /// Takes in a raw file.
    ///
    /// # Errors
    /// The store's.
    pub fn take_raw(
        &mut self,
        reader: &mut dyn Read,
        progress: &mut dyn FnMut(u64),
    ) -> Result<RawFile, Failure> {
        let limit = self.library.page().raw_limit;
        let raw = self.writing.take_raw(reader, limit, progress)?;
        self.taken.insert(raw.sha256.clone());
        Ok(raw)
    }

    /// Opens a raw file, taken just now or in the book already.
    ///
    /// # Errors
    /// The store's.
    pub fn open_raw(&self, sha256: &str) -> Result<Option<RawReader>, Failure> {
        Ok(self.writing.open_raw(sha256)?)
    }

    /// Checks what was put and commits it.
    ///
    /// # Errors
    /// Everything that does not hold; nothing is changed then.
    pub fn commit(self, context: &Context, message: &str) -> Result<Written, Failure> {
        let doubts = gate::check(self.book, &self.library, &self.changed, &self.taken)?;
        self.commit_checked(context, message, doubts)
    }

    /// Commits what was put; the caller has checked it.
    ///
    /// # Errors
    /// The store's; nothing is changed then.
    pub fn commit_checked(
        self,
        context: &Context,
        message: &str,
        doubts: Vec<Finding>,
    ) -> Result<Written, Failure> {
        let recovered = self.writing.recovered().or(self.book.recovered()).map(recovered_words);
        let zone = self.library.page().zone_seconds;
        let wanted = WantedSignature::of(&self.signers, zone, context)?;
        let sign = |bytes: &[u8]| match &wanted {
            Some(wanted) => wanted.sign(self.book.signing_key(), bytes),
            None => Err("nobody is to sign".to_owned()),
        };
        let commit = self.writing.commit_as(CommitForm {
            message,
            author: &context.author,
            time: context.time(),
            merged: &[],
            signer: wanted.as_ref().map(|_| &sign as &Signer<'_>),
        })?;
        Ok(Written { commit: commit.short(), files: self.changed.into_iter().collect(), doubts, recovered })
    }
}

/// How many files are named before the rest is only counted.
const NAMED: usize = 6;

/// What an interrupted command had left, in words.
pub fn recovered_words(recovery: &Recovery) -> String {
    let outcome = match recovery.outcome {
        Outcome::Undone => "was taken back",
        Outcome::Finished => "was finished",
    };
    let mut words = format!("an interrupted `{}` {outcome}: {}", recovery.command, some_of(&recovery.files));
    if !recovery.left.is_empty() {
        words.push_str(&format!("; edited since and left as they are: {}", some_of(&recovery.left)));
    }
    words
}

fn some_of(paths: &[String]) -> String {
    let mut words = paths.iter().take(NAMED).map(String::as_str).collect::<Vec<_>>().join(", ");
    if paths.len() > NAMED {
        words.push_str(&format!(" and {} more", paths.len() - NAMED));
    }
    words
}
