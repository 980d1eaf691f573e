//! One writer at a time: the book's lock.
//!
//! The lock is the operating system's, on the open file, so it vanishes with the process that held it, however that
//! ended. What the holder wrote down beside it is only for people to read.

use std::fs::{self, File, OpenOptions, TryLockError};
use std::io::Write;
use std::path::Path;
use std::time::Duration;

use super::{Error, sync};

/// How long to sleep between tries for the lock.
const PAUSE: Duration = Duration::from_millis(10);

/// Who asks for the lock, so that others can be told.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct LockHolder {
    /// Process number.
    pub process: u32,
    /// Since when, as text for people.
    pub since: String,
    /// The command, as text for people and for the journal.
    pub command: String,
}

/// The held lock; dropping it lets go.
#[derive(Debug)]
pub(super) struct Lock {
    file: File,
}

impl Drop for Lock {
    fn drop(&mut self) {
        // Said outright: closing alone would leave it to a child process that was just being started.
        let _ = self.file.unlock();
    }
}

/// Takes the lock in a folder that is there, trying for as long as `wait`.
///
/// # Errors
///
/// [`Error::Busy`] when another process or thread holds it to the end.
pub(super) fn take(folder: &Path, holder: &LockHolder, wait: Duration) -> Result<Lock, Error> {
    let path = folder.join("lock");
    let note = folder.join("holder");
    let mut options = OpenOptions::new();
    options.read(true).write(true).create(true).truncate(false);
    #[cfg(unix)]
    {
        use std::os::unix::fs::OpenOptionsExt;
        options.mode(0o644);
    }
    let file = options.open(&path).map_err(Error::io("open", &path))?;
    let mut left = wait;
    loop {
        match file.try_lock() {
            Ok(()) => break,
            Err(TryLockError::WouldBlock) if left.is_zero() => return Err(busy(&note)),
            Err(TryLockError::WouldBlock) => {
                let pause = PAUSE.min(left);
                std::thread::sleep(pause);
                left = left.saturating_sub(pause);
            }
            Err(TryLockError::Error(source)) => return Err(Error::io("lock", &path)(source)),
        }
    }
    // Only for people, so neither synced nor a reason to stop.
    let _ = sync::remove(&note);
    let text = format!("{}\n{}\n{}\n", holder.process, holder.since, holder.command);
    let _ = sync::create(&note, sync::Mode::Record).map(|mut file| file.write_all(text.as_bytes()));
    Ok(Lock { file })
}

fn busy(note: &Path) -> Error {
    let text = fs::read_to_string(note).unwrap_or_default();
    let mut lines = text.lines().map(|line| line.chars().filter(|c| !c.is_control()).collect::<String>());
    let mut next = || lines.next().filter(|line| !line.is_empty()).unwrap_or_else(|| "unknown".to_owned());
    Error::Busy { process: next(), since: next() }
}
