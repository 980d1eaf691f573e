//! Another copy of a book, from which what was lost here may come back.

use std::fmt;
use std::path::Path;

use gix::ObjectId;

use super::vault::RawPlace;
use super::walk::{Bytes, whole_object_of};
use super::{Book, Error, RawReader, Vault};

/// A clone or a backup of a book: a folder with a work tree, or a bare repository. It is only read, nothing of it is
/// run, and nothing it holds is believed before its hash is checked.
pub struct BookCopy {
    repo: gix::Repository,
    vault: Option<Vault>,
}

impl fmt::Debug for BookCopy {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.debug_struct("BookCopy").field("git", &self.repo.git_dir()).finish_non_exhaustive()
    }
}

impl BookCopy {
    /// Opens a copy.
    ///
    /// # Errors
    ///
    /// [`Error::NotABook`] when the folder is no repository.
    pub fn open(folder: &Path) -> Result<Self, Error> {
        let absolute = std::path::absolute(folder).map_err(Error::io("find", folder))?;
        let inside = absolute.join(".git");
        let git = if inside.exists() { inside } else { absolute.clone() };
        let repo = Book::open_repository(&git).map_err(|_| Error::NotABook { start: absolute })?;
        let vault = repo.workdir().map(|root| Vault::new(root.to_owned(), repo.clone()));
        Ok(Self { repo, vault })
    }

    /// An object once its bytes hash to its name.
    pub(super) fn object(&self, id: ObjectId) -> Option<Bytes> {
        let loose = || {
            let folder = self.repo.common_dir().join("objects");
            loose_object(&folder, id, self.repo.object_hash())
        };
        whole_object_of(&self.repo, id).ok().flatten().or_else(loose)
    }

    /// The bytes of a raw file, wherever the copy keeps them; not hashed yet.
    pub(super) fn raw(&self, sha256: &str) -> Option<RawReader> {
        let vault = self.vault.as_ref()?;
        let large = vault.open_on_disk(sha256, RawPlace::Large).ok().flatten();
        let kept = || vault.open_on_disk(sha256, RawPlace::InGit).ok().flatten();
        large.or_else(kept).map(|(_, reader)| reader)
    }
}

/// An object that has a file of its own, once its bytes hash to its name: where a pack holds it too, and damaged, the
/// git library does not look further.
pub(super) fn loose_object(objects: &Path, id: ObjectId, hash: gix::hash::Kind) -> Option<Bytes> {
    let mut bytes = Vec::new();
    let store = gix::odb::loose::Store::at(objects, hash);
    let kind = store.try_find(&id, &mut bytes).ok().flatten()?.kind;
    let found = gix::objs::compute_hash(hash, kind, &bytes).ok()?;
    (found == id).then_some((kind, bytes))
}
