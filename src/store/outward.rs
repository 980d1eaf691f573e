//! Files that leave the book: made anew, never in place of another.

use std::fs::{self, File, OpenOptions};
use std::io::{self, Write};
use std::path::{Path, PathBuf};

use super::Error;

/// A file outside the book that is being written.
#[derive(Debug)]
#[must_use = "a file that is dropped stays as far as it was written"]
pub struct Outward {
    path: PathBuf,
    file: File,
}

impl Outward {
    /// Makes a file in a folder, and the folder where it is missing.
    ///
    /// # Errors
    ///
    /// [`Error::InTheWay`] where something of this name is there already; [`Error::Io`].
    pub fn create(folder: &Path, name: &str) -> Result<Self, Error> {
        fs::create_dir_all(folder).map_err(Error::io("make", folder))?;
        let path = folder.join(name);
        let opened = OpenOptions::new().write(true).create_new(true).open(&path);
        let file = match opened {
            Err(error) if error.kind() == io::ErrorKind::AlreadyExists => {
                return Err(Error::InTheWay { path, found: "a file" });
            }
            opened => opened.map_err(Error::io("make", &path))?,
        };
        Ok(Self { path, file })
    }

    /// Takes the file away again: half of it would pass for the whole.
    pub fn discard(self) {
        drop(self.file);
        // That it cannot be taken away changes nothing of the failure that is told.
        drop(fs::remove_file(&self.path));
    }
}

impl Write for Outward {
    fn write(&mut self, bytes: &[u8]) -> io::Result<usize> {
        self.file.write(bytes)
    }

    fn flush(&mut self) -> io::Result<()> {
        self.file.flush()
    }
}
