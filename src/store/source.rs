//! Files from outside the book, the work tree as it stands, and raw files that are taken but not yet committed.

use std::fs::{self, File, Metadata};
use std::io::{self, Cursor, Read, Seek, SeekFrom};
use std::path::Path;

use super::writing::Content;
use super::{Book, Error, RawReader, Writing, path};

/// A file outside the book, open for reading, or what was typed in place of one.
#[derive(Debug)]
pub struct Source {
    from: Behind,
    length: u64,
}

#[derive(Debug)]
enum Behind {
    File(File),
    Typed(Cursor<Vec<u8>>),
}

impl Source {
    /// Opens a plain file; links outside the book are followed, devices and folders are refused.
    ///
    /// # Errors
    ///
    /// [`Error::Io`]; [`Error::NotPlain`] for anything but a plain file.
    pub fn open(path: &Path) -> Result<Self, Error> {
        let plain = |metadata: &Metadata| match metadata.is_file() {
            true => Ok(()),
            false => Err(Error::NotPlain {
                path: path.display().to_string(),
                found: if metadata.is_dir() { "a folder" } else { "a device" },
                expected: "a plain file",
            }),
        };
        // Looked at before it is opened as well: to open a pipe is to wait for whoever writes into it.
        plain(&fs::metadata(path).map_err(Error::io("open", path))?)?;
        let file = File::open(path).map_err(Error::io("open", path))?;
        let metadata = file.metadata().map_err(Error::io("read", path))?;
        plain(&metadata)?;
        Ok(Self { from: Behind::File(file), length: metadata.len() })
    }

    /// Bytes that were typed or pasted, to be read as a file is.
    pub fn typed(bytes: Vec<u8>) -> Self {
        Self { length: bytes.len() as u64, from: Behind::Typed(Cursor::new(bytes)) }
    }

    /// The length in bytes when it was opened.
    pub fn length(&self) -> u64 {
        self.length
    }

    /// The first bytes, `most` of them; the next read starts at the beginning again.
    ///
    /// # Errors
    ///
    /// The error of the reading.
    pub fn head(&mut self, most: usize) -> io::Result<Vec<u8>> {
        let mut bytes = Vec::new();
        self.by_ref().take(most as u64).read_to_end(&mut bytes)?;
        match &mut self.from {
            Behind::File(file) => file.seek(SeekFrom::Start(0))?,
            Behind::Typed(typed) => typed.seek(SeekFrom::Start(0))?,
        };
        Ok(bytes)
    }
}

impl Read for Source {
    fn read(&mut self, buffer: &mut [u8]) -> io::Result<usize> {
        match &mut self.from {
            Behind::File(file) => file.read(buffer),
            Behind::Typed(typed) => typed.read(buffer),
        }
    }
}

impl Seek for Source {
    fn seek(&mut self, to: SeekFrom) -> io::Result<u64> {
        match &mut self.from {
            Behind::File(file) => file.seek(to),
            Behind::Typed(typed) => typed.seek(to),
        }
    }
}

impl Book {
    /// The bytes of a file as the work tree holds it, `None` when nothing stands there.
    ///
    /// # Errors
    ///
    /// [`Error::UnsafePath`]; [`Error::NotPlain`] for a link, a folder or a device; [`Error::Io`].
    pub fn work_file(&self, path: &str) -> Result<Option<Vec<u8>>, Error> {
        path::check(path)?;
        path::read(self.root(), path)
    }
}

impl Writing<'_> {
    /// Opens a raw file by its SHA-256: one that this write has taken, or one that the book has already.
    ///
    /// # Errors
    ///
    /// As [`super::Vault::open`].
    pub fn open_raw(&self, sha256: &str) -> Result<Option<RawReader>, Error> {
        let taken = self.large.get(sha256).map(|taken| taken.path.clone()).or_else(|| {
            self.changes.get(&super::RawPlace::InGit.path(sha256)).and_then(|change| match &change.content {
                Content::Taken(spool) => Some(spool.clone()),
                _ => None,
            })
        });
        match taken {
            Some(spool) => RawReader::of_file(&spool).map(Some),
            None => self.book.raw().open(sha256),
        }
    }
}
