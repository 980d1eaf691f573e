//! Small things that can be made again, kept to save time: never the only copy, never a reason to fail.

use std::fs;

use sha2::{Digest, Sha256};

use super::{Book, sync};

/// Length of the check at the end of a kept file, in bytes.
const CHECK: usize = 32;

impl Book {
    /// What was kept under a name, `None` when nothing is or it is damaged.
    pub fn cache_read(&self, name: &str) -> Option<Vec<u8>> {
        let mut bytes = fs::read(self.cache_path(name)?).ok()?;
        let body = bytes.len().checked_sub(CHECK)?;
        if Sha256::digest(&bytes[..body]).as_slice() != &bytes[body..] {
            return None;
        }
        bytes.truncate(body);
        Some(bytes)
    }

    /// Keeps bytes under a name (letters, digits, `-`, `.`); whether that worked is of no consequence.
    pub fn cache_write(&self, name: &str, bytes: &[u8]) {
        let _ = self.cache_try(name, bytes);
    }

    fn cache_try(&self, name: &str, bytes: &[u8]) -> Option<()> {
        let path = self.cache_path(name)?;
        self.state_folder().ok()?;
        sync::make_folder(path.parent()?).ok()?;
        // Two processes may keep the same thing at once: each writes its own file, the last one in place stays.
        let beside = path.with_file_name(format!("{name}.{}.new", std::process::id()));
        let mut whole = Vec::with_capacity(bytes.len() + CHECK);
        whole.extend_from_slice(bytes);
        whole.extend_from_slice(Sha256::digest(bytes).as_slice());
        let kept = fs::write(&beside, whole).and_then(|()| fs::rename(&beside, &path));
        if kept.is_err() {
            let _ = sync::remove(&beside);
        }
        kept.ok()
    }

    fn cache_path(&self, name: &str) -> Option<std::path::PathBuf> {
        let fit = name.starts_with(|c: char| c.is_ascii_alphanumeric())
            && name.bytes().all(|b| b.is_ascii_alphanumeric() || matches!(b, b'-' | b'.'));
        fit.then(|| self.state_path().join("cache").join(name))
    }
}
