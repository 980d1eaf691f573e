//! Files that leave the book: made anew, never in place of another, and seen under their names only when they are whole.

use std::fs;
use std::io::{self, Write};
use std::path::{Path, PathBuf};

use tempfile::NamedTempFile;

use super::Error;
use super::sync;

/// A file outside the book that is being written, under a name of its own (`.mulebook-….part`) until it is kept.
#[derive(Debug)]
#[must_use = "a file that is dropped without being kept is taken away again"]
pub struct Outward {
    path: PathBuf,
    beside: NamedTempFile,
}

impl Outward {
    /// Begins a file in a folder, and makes the folder where it is missing.
    ///
    /// # Errors
    ///
    /// [`Error::InTheWay`] where something of this name is there already; [`Error::Io`].
    pub fn create(folder: &Path, name: &str) -> Result<Self, Error> {
        fs::create_dir_all(folder).map_err(Error::io("make", folder))?;
        let path = folder.join(name);
        if fs::symlink_metadata(&path).is_ok() {
            return Err(Error::InTheWay { path, found: "a file" });
        }
        let mut builder = tempfile::Builder::new();
        builder.prefix(".mulebook-").suffix(".part");
        // As any file that a program makes: for whom the shell's mask says, not for its owner alone.
        #[cfg(unix)]
        builder.permissions(std::os::unix::fs::PermissionsExt::from_mode(0o666));
        let beside = builder.tempfile_in(folder).map_err(Error::io("make a file in", folder))?;
        Ok(Self { path, beside })
    }

    /// Gives files their names, one after another; where one cannot have its own, none keeps it.
    ///
    /// # Errors
    ///
    /// [`Error::InTheWay`] where something took a name meanwhile; [`Error::Io`].
    pub fn keep(files: impl IntoIterator<Item = Self>) -> Result<(), Error> {
        let mut kept = Vec::new();
        for file in files {
            let path = file.path.clone();
            let done = file.keep_one();
            kept.push(path);
            if let Err(error) = done {
                if matches!(error, Error::InTheWay { .. }) {
                    kept.pop();
                }
                for path in &kept {
                    // That it cannot be taken away changes nothing of the failure that is told.
                    drop(fs::remove_file(path));
                }
                return Err(error);
            }
        }
        Ok(())
    }

    /// Synced before it has its name, so that a loss of power leaves it whole or not there.
    fn keep_one(self) -> Result<(), Error> {
        let Self { path, mut beside } = self;
        beside.flush().map_err(Error::io("write", &path))?;
        beside.as_file().sync_all().map_err(Error::io("sync", &path))?;
        if let Err(not_kept) = beside.persist_noclobber(&path) {
            if not_kept.error.kind() == io::ErrorKind::AlreadyExists || fs::symlink_metadata(&path).is_ok() {
                return Err(Error::InTheWay { path, found: "a file" });
            }
            // A stick's file system may know neither hard links nor renaming that spares what is there.
            not_kept.file.persist(&path).map_err(|not_kept| Error::io("name", &path)(not_kept.error))?;
        }
        match path.parent() {
            Some(folder) if folder.as_os_str().is_empty() => sync::folder_sync(Path::new(".")),
            Some(folder) => sync::folder_sync(folder),
            None => Ok(()),
        }
    }
}

impl Write for Outward {
    fn write(&mut self, bytes: &[u8]) -> io::Result<usize> {
        self.beside.write(bytes)
    }

    fn flush(&mut self) -> io::Result<()> {
        self.beside.flush()
    }
}
