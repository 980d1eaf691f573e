//! Small things that can be made again, kept to save time: never the only copy, never a reason to fail.

use std::fs;
use std::path::PathBuf;

use super::path::{Standing, standing};
use super::{Book, Snapshot, sync};

/// Length of the check at the end of a kept file, in bytes.
const CHECK: usize = 4;

/// Where a book keeps what can be made again.
///
/// What comes out is what went in, byte for byte, or nothing; whether it still fits the book is for the caller to tell,
/// by a key inside it.
#[derive(Debug, Clone)]
pub struct Cache {
    state: PathBuf,
}

impl Book {
    /// What can be made again.
    pub fn cache(&self) -> Cache {
        Cache { state: self.state_path() }
    }

    /// What was kept under a name, `None` when nothing is or it is damaged.
    pub fn cache_read(&self, name: &str) -> Option<Vec<u8>> {
        self.cache().read(name)
    }

    /// Keeps bytes under a name (letters, digits, `-`, `.`); whether that worked is of no consequence.
    pub fn cache_write(&self, name: &str, bytes: &[u8]) {
        self.cache().keep(name, bytes);
    }
}

impl Snapshot {
    /// What can be made again, for the whole book.
    pub fn cache(&self) -> Cache {
        Cache { state: self.git_folder().join("mulebook") }
    }
}

impl Cache {
    /// What was kept under a name, `None` when nothing is or it is damaged.
    pub fn read(&self, name: &str) -> Option<Vec<u8>> {
        let mut bytes = fs::read(self.path(name)?).ok()?;
        let (body, check) = bytes.split_last_chunk::<CHECK>()?;
        if crc32fast::hash(body).to_le_bytes() != *check {
            return None;
        }
        bytes.truncate(body.len());
        Some(bytes)
    }

    /// Keeps bytes under a name (letters, digits, `-`, `.`); whether that worked is of no consequence.
    pub fn keep(&self, name: &str, bytes: &[u8]) {
        let _ = self.attempt(name, bytes);
    }

    /// The clock of the disk that the book is on, in seconds since 1970; `None` where nothing may be written.
    pub(super) fn now(&self) -> Option<i64> {
        const CLOCK: &str = "clock";
        self.attempt(CLOCK, &[])?;
        let path = self.path(CLOCK)?;
        let modified = fs::metadata(&path).ok()?.modified().ok()?;
        let _ = sync::remove(&path);
        i64::try_from(modified.duration_since(std::time::UNIX_EPOCH).ok()?.as_secs()).ok()
    }

    fn attempt(&self, name: &str, bytes: &[u8]) -> Option<()> {
        let path = self.path(name)?;
        let folder = path.parent()?;
        for needed in [self.state.as_path(), folder] {
            match standing(needed).ok()? {
                Standing::Folder => {}
                Standing::Nothing => drop(sync::make_folder(needed).ok()?),
                Standing::File(_) | Standing::Other(_) => return None,
            }
        }
        // Two processes may keep the same thing at once: each writes its own file, the last one in place stays.
        let beside = path.with_file_name(format!("{name}.{}.new", std::process::id()));
        let mut whole = Vec::with_capacity(bytes.len() + CHECK);
        whole.extend_from_slice(bytes);
        whole.extend_from_slice(&crc32fast::hash(bytes).to_le_bytes());
        let kept = fs::write(&beside, whole).and_then(|()| fs::rename(&beside, &path));
        if kept.is_err() {
            let _ = sync::remove(&beside);
        }
        kept.ok()
    }

    fn path(&self, name: &str) -> Option<PathBuf> {
        let fit = name.starts_with(|c: char| c.is_ascii_alphanumeric())
            && name.bytes().all(|b| b.is_ascii_alphanumeric() || matches!(b, b'-' | b'.'));
        fit.then(|| self.state.join("cache").join(name))
    }
}
