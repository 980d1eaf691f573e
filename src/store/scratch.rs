//! A folder inside the store's own, for files on their way into the book; gone when it is dropped.

use std::fs;
use std::path::PathBuf;

use super::{Book, Error, sync};

/// A scratch folder.
#[derive(Debug)]
pub struct Scratch {
    folder: PathBuf,
}

impl Book {
    /// Makes a scratch folder.
    ///
    /// # Errors
    ///
    /// [`Error::Io`].
    pub fn scratch(&self) -> Result<Scratch, Error> {
        let folder = self.state_folder()?.join(format!("scratch-{}", std::process::id()));
        sync::make_folder(&folder)?;
        Ok(Scratch { folder })
    }
}

impl Scratch {
    /// Puts a file into it; `name` is a plain file name.
    ///
    /// # Errors
    ///
    /// [`Error::UnsafePath`]; [`Error::Io`].
    pub fn put(&self, name: &str, bytes: &[u8]) -> Result<PathBuf, Error> {
        super::path::check(name)?;
        let path = self.folder.join(name);
        fs::write(&path, bytes).map_err(Error::io("write", &path))?;
        Ok(path)
    }
}

impl Drop for Scratch {
    fn drop(&mut self) {
        let _ = fs::remove_dir_all(&self.folder);
    }
}
