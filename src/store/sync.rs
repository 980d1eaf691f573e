//! Writing that is on the disk when it returns: files, folders, and their order.
//!
//! A file is safe once its bytes and the folder that names it are both synced. A failed sync is never tried again on
//! the same file: the system may have dropped the bytes, so the whole write counts as lost.

use std::fs::{self, File, OpenOptions};
use std::io::{ErrorKind, Write};
use std::path::{Path, PathBuf};

use super::Error;

/// How many files it takes before syncing them from several threads pays: a sync takes as long as starting many threads.
const ENOUGH_TO_SHARE: usize = 3;
/// How many syncs run at once; a journalling file system commits them together.
const AT_ONCE: usize = 8;

/// Permission bits of a new file, before the process's mask.
#[derive(Clone, Copy, PartialEq, Eq)]
pub(super) enum Mode {
    Record,
    Executable,
    ReadOnly,
}

/// Opens a file that must not exist yet.
pub(super) fn create(path: &Path, mode: Mode) -> Result<File, Error> {
    let mut options = OpenOptions::new();
    options.write(true).create_new(true);
    #[cfg(unix)]
    {
        use std::os::unix::fs::OpenOptionsExt;
        options.mode(match mode {
            Mode::Record => 0o644,
            Mode::Executable => 0o755,
            Mode::ReadOnly => 0o444,
        });
    }
    #[cfg(not(unix))]
    let _ = mode;
    options.open(path).map_err(Error::io("create", path))
}

/// Writes a file that must not exist yet, and syncs its bytes (not its folder).
pub(super) fn write_new(path: &Path, bytes: &[u8], mode: Mode) -> Result<(), Error> {
    let mut file = create(path, mode)?;
    file.write_all(bytes).map_err(Error::io("write", path))?;
    file.sync_all().map_err(Error::io("sync", path))
}

/// Puts bytes in place of a file, whole or not at all, through a synced file beside it.
pub(super) fn replace(path: &Path, bytes: &[u8]) -> Result<(), Error> {
    let beside = path.with_extension("new");
    remove(&beside)?;
    write_new(&beside, bytes, Mode::Record)?;
    rename(&beside, path)?;
    if let Some(folder) = path.parent() {
        folder_sync(folder)?;
    }
    Ok(())
}

/// Renames without syncing the folder.
pub(super) fn rename(from: &Path, to: &Path) -> Result<(), Error> {
    fs::rename(from, to).map_err(Error::io("put in place", to))
}

/// Removes a file; one that is not there is no error.
pub(super) fn remove(path: &Path) -> Result<(), Error> {
    match fs::remove_file(path) {
        Ok(()) => Ok(()),
        Err(error) if matches!(error.kind(), ErrorKind::NotFound | ErrorKind::NotADirectory) => Ok(()),
        Err(error) => Err(Error::io("remove", path)(error)),
    }
}

/// Syncs a file that is already written.
pub(super) fn file_sync(path: &Path) -> Result<(), Error> {
    File::open(path).and_then(|file| file.sync_all()).map_err(Error::io("sync", path))
}

/// Syncs a folder, so that the names in it last.
pub(super) fn folder_sync(path: &Path) -> Result<(), Error> {
    #[cfg(unix)]
    match File::open(path).and_then(|folder| folder.sync_all()) {
        Ok(()) => Ok(()),
        // Some network file systems cannot sync a folder and say so.
        Err(error) if matches!(error.kind(), ErrorKind::InvalidInput | ErrorKind::Unsupported) => Ok(()),
        Err(error) => Err(Error::io("sync", path)(error)),
    }
    #[cfg(not(unix))]
    {
        let _ = path;
        Ok(())
    }
}

/// Syncs many paths, from several threads when there are many.
pub(super) fn each(paths: &[PathBuf], one: fn(&Path) -> Result<(), Error>) -> Result<(), Error> {
    if paths.len() < ENOUGH_TO_SHARE {
        return paths.iter().try_for_each(|path| one(path));
    }
    let share = paths.len().div_ceil(AT_ONCE);
    std::thread::scope(|scope| {
        let workers: Vec<_> = paths
            .chunks(share)
            .map(|some| scope.spawn(move || some.iter().try_for_each(|path| one(path))))
            .collect();
        workers.into_iter().try_for_each(|worker| match worker.join() {
            Ok(result) => result,
            Err(panic) => std::panic::resume_unwind(panic),
        })
    })
}

/// Makes the folders of `inside` under `root` that are missing, each synced into its parent.
///
/// Returns the paths inside the book of those it made, outermost first.
pub(super) fn make_folders(root: &Path, inside: &str) -> Result<Vec<String>, Error> {
    let mut made = Vec::new();
    let mut place = root.to_owned();
    let mut path = String::new();
    for name in inside.split('/').filter(|name| !name.is_empty()) {
        let parent = place.clone();
        place.push(name);
        if !path.is_empty() {
            path.push('/');
        }
        path.push_str(name);
        if make_folder(&place)? {
            folder_sync(&parent)?;
            made.push(path.clone());
        }
    }
    Ok(made)
}

/// Makes one folder; says whether it was missing.
pub(super) fn make_folder(path: &Path) -> Result<bool, Error> {
    let mut builder = fs::DirBuilder::new();
    #[cfg(unix)]
    {
        use std::os::unix::fs::DirBuilderExt;
        builder.mode(0o755);
    }
    match builder.create(path) {
        Ok(()) => Ok(true),
        Err(error) if error.kind() == ErrorKind::AlreadyExists => Ok(false),
        Err(error) => Err(Error::io("make the folder", path)(error)),
    }
}
