//! Taking in a raw file: copied and hashed in one pass, in bounded memory, to a file no one can mistake for a record.

use std::fs::File;
use std::io::{self, Read, Write};
use std::path::{Path, PathBuf};
use std::sync::mpsc;
use std::thread::JoinHandle;

use sha2::{Digest, Sha256};

use super::vault::{BUFFER, hexadecimal};
use super::{Error, sync};

/// Buffers in flight between the reading and the hashing thread.
const IN_FLIGHT: usize = 4;

/// A raw file copied into the book's git folder, not yet part of the book.
#[derive(Debug)]
pub(super) struct Taken {
    pub(super) path: PathBuf,
    pub(super) sha256: String,
    pub(super) bytes: u64,
    /// The sync of its bytes, under way.
    syncing: Option<JoinHandle<io::Result<()>>>,
}

impl Taken {
    /// Waits until the bytes are on the disk. Nothing may name the file before.
    pub(super) fn settle(&mut self) -> Result<(), Error> {
        match self.syncing.take().map(JoinHandle::join) {
            None => Ok(()),
            Some(Ok(synced)) => synced.map_err(Error::io("sync", &self.path)),
            Some(Err(panic)) => std::panic::resume_unwind(panic),
        }
    }
}

/// Copies a reader to a new read-only file; a second thread hashes what the first has read.
///
/// Its sync goes on while the caller reads what was copied: see [`Taken::settle`]. On any error the new file is removed
/// again.
pub(super) fn copy(
    path: &Path,
    reader: &mut dyn Read,
    progress: &mut dyn FnMut(u64),
) -> Result<Taken, Error> {
    let mut file = sync::create(path, sync::Mode::ReadOnly)?;
    let copied = stream(&mut file, path, reader, progress);
    match copied {
        Ok(taken) => {
            let syncing = Some(std::thread::spawn(move || file.sync_all()));
            Ok(Taken { syncing, ..taken })
        }
        Err(error) => {
            let _ = sync::remove(path);
            Err(error)
        }
    }
}

fn stream(
    file: &mut File,
    path: &Path,
    reader: &mut dyn Read,
    progress: &mut dyn FnMut(u64),
) -> Result<Taken, Error> {
    let (full, to_hash) = mpsc::sync_channel::<(Vec<u8>, usize)>(IN_FLIGHT);
    let (empty, free) = mpsc::sync_channel::<Vec<u8>>(IN_FLIGHT);
    std::thread::scope(|scope| {
        let hashing = scope.spawn(move || {
            let mut hash = Sha256::new();
            for (buffer, count) in to_hash {
                hash.update(&buffer[..count]);
                // The reader is gone once it has read everything: then no one wants the buffer back.
                let _ = empty.try_send(buffer);
            }
            hexadecimal(&hash.finalize())
        });
        let mut bytes = 0;
        let copied = loop {
            let mut buffer = free.try_recv().unwrap_or_else(|_| vec![0; BUFFER]);
            let count = match reader.read(&mut buffer) {
                Ok(0) => break Ok(()),
                Ok(count) => count,
                Err(error) if error.kind() == io::ErrorKind::Interrupted => continue,
                Err(error) => break Err(Error::io("read", Path::new("the raw file to take in"))(error)),
            };
            if let Err(error) = file.write_all(&buffer[..count]) {
                break Err(Error::io("write", path)(error));
            }
            bytes += count as u64;
            progress(bytes);
            if full.send((buffer, count)).is_err() {
                break Ok(());
            }
        };
        drop(full);
        let sha256 = match hashing.join() {
            Ok(sha256) => sha256,
            Err(panic) => std::panic::resume_unwind(panic),
        };
        copied.map(|()| Taken { path: path.to_owned(), sha256, bytes, syncing: None })
    })
}
