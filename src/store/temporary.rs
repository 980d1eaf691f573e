//! A folder of our own for the length of one command, readable by nobody else and gone when it is dropped.

use std::path::{Path, PathBuf};

use super::Error;

/// A private folder.
#[derive(Debug)]
pub struct Temporary {
    folder: tempfile::TempDir,
}

impl Temporary {
    /// Makes a fresh private folder (mode 0700 where there are modes) inside another.
    ///
    /// # Errors
    ///
    /// [`Error::Io`].
    pub fn make(inside: &Path) -> Result<Self, Error> {
        let folder = tempfile::Builder::new().prefix("mulebook-").tempdir_in(inside);
        Ok(Self { folder: folder.map_err(Error::io("make a folder in", inside))? })
    }

    /// A path inside it.
    pub fn join(&self, name: &str) -> PathBuf {
        self.folder.path().join(name)
    }
}
