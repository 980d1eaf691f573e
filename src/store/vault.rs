//! The raw files: kept as they came, found by SHA-256, never edited.
//!
//! A small raw file is an ordinary file of the book, `raw/ab/<sha256>`; a large one lies in `raw-large/ab/<sha256>`,
//! which git ignores, since git objects cannot be streamed. Both are read-only on disk.

use std::fmt;
use std::fs::File;
use std::io::{self, Cursor, Read, Seek, SeekFrom};
use std::path::{Path, PathBuf};

use sha2::{Digest, Sha256};

use super::path::{Standing, locate, standing};
use super::{CommitId, Error, Snapshot};

/// Bytes read at once; larger buffers were no faster.
pub(super) const BUFFER: usize = 256 * 1024;

/// The largest raw file kept in git unless the book says otherwise, in bytes.
pub const DEFAULT_IN_GIT: u64 = 4 * 1024 * 1024;

/// Where a raw file's bytes are kept.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum RawPlace {
    /// In git, at `raw/ab/<sha256>`.
    InGit,
    /// Beside git, at `raw-large/ab/<sha256>`.
    Large,
}

impl RawPlace {
    /// The path inside the book of the raw file with this digest.
    pub fn path(self, sha256: &str) -> String {
        let shelf = match self {
            RawPlace::InGit => "raw",
            RawPlace::Large => "raw-large",
        };
        format!("{shelf}/{}/{sha256}", sha256.get(..2).unwrap_or_default())
    }
}

/// A raw file as taken in.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct RawFile {
    /// SHA-256 of its bytes, 64 lower-case hexadecimal digits.
    pub sha256: String,
    /// Its length in bytes.
    pub bytes: u64,
    /// Where it is kept.
    pub place: RawPlace,
    /// Whether the book had it before.
    pub already: bool,
}

/// What a look at a raw file's bytes found.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum RawCheck {
    /// The bytes hash to their name.
    Good {
        /// Their length.
        bytes: u64,
    },
    /// The bytes hash to something else.
    Damaged {
        /// Path inside the book.
        path: String,
        /// What they hash to.
        found: String,
    },
    /// The bytes are not here.
    Missing,
}

/// The raw files of a book.
pub struct Vault {
    root: PathBuf,
    repo: gix::Repository,
}

impl fmt::Debug for Vault {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.debug_struct("Vault").field("root", &self.root).finish_non_exhaustive()
    }
}

/// Reads the bytes of a raw file, wherever they are kept.
///
/// One that [`Vault::open`] gave hashes what is read from the beginning on, and ends in an error where bytes read to
/// their end are not those the file was kept with.
#[derive(Debug)]
pub struct RawReader {
    source: Source,
    length: u64,
    proof: Option<Proof>,
}

/// What was read so far, against what should come out.
#[derive(Debug)]
struct Proof {
    sha256: String,
    path: String,
    hash: Sha256,
    hashed: u64,
    position: u64,
}

impl Proof {
    /// Takes note of bytes read; at the end of the file, whether they prove themselves.
    fn read(&mut self, bytes: &[u8]) -> io::Result<()> {
        if self.position == 0 && self.hashed > 0 {
            (self.hash, self.hashed) = (Sha256::new(), 0);
        }
        if bytes.is_empty() && self.position == self.hashed {
            let found = hexadecimal(&self.hash.clone().finalize());
            if found != self.sha256 {
                let (path, expected) = (self.path.clone(), format!("SHA-256 {}", self.sha256));
                let found = format!("SHA-256 {found}");
                return Err(io::Error::new(
                    io::ErrorKind::InvalidData,
                    Error::Damaged { path, found, expected },
                ));
            }
        }
        if self.position == self.hashed {
            self.hash.update(bytes);
            self.hashed += bytes.len() as u64;
        }
        self.position += bytes.len() as u64;
        Ok(())
    }
}

#[derive(Debug)]
enum Source {
    Disk(File),
    Git(Cursor<Vec<u8>>),
}

impl RawReader {
    /// A reader of a plain file at a path.
    pub(super) fn of_file(path: &Path) -> Result<Self, Error> {
        let file = File::open(path).map_err(Error::io("open", path))?;
        let length = file.metadata().map_err(Error::io("read", path))?.len();
        Ok(Self { source: Source::Disk(file), length, proof: None })
    }

    /// The same reader, which proves the bytes it reads to their end.
    fn proving(self, sha256: &str, path: String) -> Self {
        let proof = Proof { sha256: sha256.to_owned(), path, hash: Sha256::new(), hashed: 0, position: 0 };
        Self { proof: Some(proof), ..self }
    }

    /// The length in bytes.
    pub fn length(&self) -> u64 {
        self.length
    }
}

impl Read for RawReader {
    fn read(&mut self, buffer: &mut [u8]) -> io::Result<usize> {
        let count = match &mut self.source {
            Source::Disk(file) => file.read(buffer),
            Source::Git(bytes) => bytes.read(buffer),
        }?;
        if let Some(proof) = self.proof.as_mut().filter(|_| !buffer.is_empty()) {
            proof.read(&buffer[..count])?;
        }
        Ok(count)
    }
}

impl Seek for RawReader {
    fn seek(&mut self, position: SeekFrom) -> io::Result<u64> {
        let now = match &mut self.source {
            Source::Disk(file) => file.seek(position),
            Source::Git(bytes) => bytes.seek(position),
        }?;
        if let Some(proof) = &mut self.proof {
            proof.position = now;
        }
        Ok(now)
    }
}

impl Vault {
    pub(super) fn new(root: PathBuf, repo: gix::Repository) -> Self {
        Self { root, repo }
    }

    /// Opens the raw file with this SHA-256, `None` when its bytes are not here.
    ///
    /// Looks in the work tree, then beside git, then in the last commit (a work-tree copy may be missing). The bytes
    /// are hashed while they are read: a reading to their end fails where they are not those that were kept.
    ///
    /// # Errors
    ///
    /// [`Error::UnsafePath`] when the digest is not 64 lower-case hexadecimal digits; [`Error::NotPlain`] when a link
    /// stands in its place.
    pub fn open(&self, sha256: &str) -> Result<Option<RawReader>, Error> {
        for place in [RawPlace::InGit, RawPlace::Large] {
            if let Some((_, reader)) = self.open_on_disk(sha256, place)? {
                return Ok(Some(reader.proving(sha256, place.path(sha256))));
            }
        }
        let in_git = self.open_in_git(sha256)?;
        Ok(in_git.map(|reader| reader.proving(sha256, RawPlace::InGit.path(sha256))))
    }

    /// Hashes the bytes kept under a SHA-256, in bounded memory.
    pub fn check(&self, sha256: &str) -> Result<RawCheck, Error> {
        for place in [RawPlace::InGit, RawPlace::Large] {
            if let Some((path, reader)) = self.open_on_disk(sha256, place)? {
                return judge(sha256, place.path(sha256), &path, reader);
            }
        }
        match self.open_in_git(sha256)? {
            Some(reader) => {
                let path = RawPlace::InGit.path(sha256);
                judge(sha256, path.clone(), Path::new(&path), reader)
            }
            None => Ok(RawCheck::Missing),
        }
    }

    pub(super) fn open_on_disk(
        &self,
        sha256: &str,
        place: RawPlace,
    ) -> Result<Option<(PathBuf, RawReader)>, Error> {
        check_digest(sha256)?;
        let inside = place.path(sha256);
        let path = locate(&self.root, &inside)?;
        let found = match standing(&path)? {
            Standing::Nothing => return Ok(None),
            Standing::File(metadata) => {
                let file = File::open(&path).map_err(Error::io("open", &path))?;
                let length = metadata.len();
                return Ok(Some((path, RawReader { source: Source::Disk(file), length, proof: None })));
            }
            Standing::Folder => "a folder",
            Standing::Other(found) => found,
        };
        Err(Error::NotPlain { path: inside, found, expected: "a plain file" })
    }

    fn open_in_git(&self, sha256: &str) -> Result<Option<RawReader>, Error> {
        check_digest(sha256)?;
        let head = self.repo.head().map_err(Error::git("read HEAD"))?;
        if head.is_unborn() {
            return Ok(None);
        }
        let id = head.into_peeled_id().map_err(Error::git("read HEAD"))?.detach();
        let snapshot = Snapshot::open(&self.repo, CommitId(id))?;
        Ok(snapshot.read(&RawPlace::InGit.path(sha256))?.map(|bytes| RawReader {
            length: bytes.len() as u64,
            source: Source::Git(Cursor::new(bytes)),
            proof: None,
        }))
    }
}

/// Refuses what is not a SHA-256 as this store writes it.
pub(super) fn check_digest(sha256: &str) -> Result<(), Error> {
    if is_digest(sha256) {
        return Ok(());
    }
    Err(Error::UnsafePath {
        path: sha256.to_owned(),
        found: "is not the SHA-256 of a raw file (64 lower-case hexadecimal digits)",
    })
}

/// Whether a name is a SHA-256 as this store writes it.
pub(super) fn is_digest(name: &str) -> bool {
    name.len() == 64 && name.bytes().all(|b| matches!(b, b'0'..=b'9' | b'a'..=b'f'))
}

/// SHA-256 of bytes, in lower-case hexadecimal digits.
pub fn digest(bytes: &[u8]) -> String {
    hexadecimal(&Sha256::digest(bytes))
}

/// Lower-case hexadecimal digits of a digest.
pub(super) fn hexadecimal(digest: &[u8]) -> String {
    use fmt::Write;
    digest.iter().fold(String::with_capacity(digest.len() * 2), |mut text, byte| {
        let _ = write!(text, "{byte:02x}");
        text
    })
}

/// Hashes a reader to its end; returns the digest and the length.
pub(super) fn digest_of(reader: &mut dyn Read) -> io::Result<(String, u64)> {
    let mut hash = Sha256::new();
    let mut buffer = vec![0; BUFFER];
    let mut bytes = 0;
    loop {
        match reader.read(&mut buffer) {
            Ok(0) => return Ok((hexadecimal(&hash.finalize()), bytes)),
            Ok(count) => {
                hash.update(&buffer[..count]);
                bytes += count as u64;
            }
            Err(error) if error.kind() == io::ErrorKind::Interrupted => {}
            Err(error) => return Err(error),
        }
    }
}

fn judge(sha256: &str, inside: String, path: &Path, mut reader: RawReader) -> Result<RawCheck, Error> {
    let (found, bytes) = digest_of(&mut reader).map_err(Error::io("read", path))?;
    Ok(if found == sha256 { RawCheck::Good { bytes } } else { RawCheck::Damaged { path: inside, found } })
}
