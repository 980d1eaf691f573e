//! A new book: a git repository, set up beside its place and put there whole, and its first commit.

use std::fs;
use std::path::Path;

use super::path::{Standing, standing};
use super::{Author, Book, Error, LockHolder, Time, path, sync};

/// Where a repository is set up before it goes to its place.
const SCAFFOLD: &str = ".mulebook-new";
/// Added to the repository's own settings: git too shall sync what it writes.
const SETTINGS: &str = "[core]\n\tfsync = all\n";

impl Book {
    /// Makes a book of a folder that is absent, empty, or free of what a book needs: a git repository whose first
    /// commit holds these files (path and bytes).
    ///
    /// # Errors
    ///
    /// [`Error::AlreadyBook`]; [`Error::InTheWay`] when one of the files, or a git repository, is there already.
    /// After an error the folder is as it was.
    pub fn create(
        root: &Path,
        files: &[(String, Vec<u8>)],
        author: &Author,
        time: Time,
        message: &str,
    ) -> Result<Self, Error> {
        let root = std::path::absolute(root).map_err(Error::io("find", root))?;
        let made = make_root(&root)?;
        let book =
            lock_folder(&root).and_then(|_held| Self::create_locked(&root, files, author, time, message));
        if matches!(&book, Err(error) if !stands(error)) {
            // Only folders that are empty go: what is in them is not ours.
            for folder in root.ancestors().take(made) {
                let _ = fs::remove_dir(folder);
            }
        }
        book
    }

    fn create_locked(
        root: &Path,
        files: &[(String, Vec<u8>)],
        author: &Author,
        time: Time,
        message: &str,
    ) -> Result<Self, Error> {
        let unfinished = is_unfinished(root)?;
        refuse_in_the_way(root, files, unfinished)?;
        let scaffold = root.join(SCAFFOLD);
        remove_all(&scaffold)?;
        let book = if unfinished {
            Self::open(root)?
        } else {
            Self::set_up(root, &scaffold).inspect_err(|_| {
                let _ = remove_all(&scaffold);
            })?
        };
        if let Err(error) = book.first_commit(files, author, time, message) {
            if !stands(&error) && matches!(book.head_commit(), Ok(None)) {
                let _ = remove_all(&root.join(".git"));
            }
            return Err(error);
        }
        sync::remove(&book.state_path().join("creating"))?;
        sync::folder_sync(&book.state_path())?;
        Ok(book)
    }

    /// The repository, put in place whole.
    fn set_up(root: &Path, scaffold: &Path) -> Result<Self, Error> {
        sync::make_folder(scaffold)?;
        gix::ThreadSafeRepository::init_opts(
            scaffold,
            gix::create::Kind::WithWorktree,
            gix::create::Options::default(),
            gix::open::Options::isolated(),
        )
        .map_err(Error::git("set up a git repository"))?;
        let git = scaffold.join(".git");
        let settings = git.join("config");
        let mut text = fs::read(&settings).map_err(Error::io("read", &settings))?;
        text.extend_from_slice(SETTINGS.as_bytes());
        sync::replace(&settings, &text)?;
        let state = git.join("mulebook");
        sync::make_folder(&state)?;
        sync::write_new(&state.join("creating"), b"", sync::Mode::Record)?;
        sync_tree(&git)?;
        sync::rename(&git, &root.join(".git"))?;
        fs::remove_dir(scaffold)
            .map_err(Error::io("remove", scaffold))
            .and_then(|()| sync::folder_sync(root))
            .and_then(|()| Self::open(root))
            .inspect_err(|_| {
                let _ = remove_all(&root.join(".git"));
            })
    }

    fn first_commit(
        &self,
        files: &[(String, Vec<u8>)],
        author: &Author,
        time: Time,
        message: &str,
    ) -> Result<(), Error> {
        let since = "just now".to_owned();
        let who = LockHolder { process: std::process::id(), since, command: "new".to_owned() };
        let mut writing = self.write(who)?;
        if writing.base().is_some() {
            return Err(Error::AlreadyBook { path: self.root().to_owned() });
        }
        for (path, bytes) in files {
            writing.put(path, bytes)?;
        }
        writing.commit(message, author, time).map(|_| ())
    }
}

/// Whether a book stands in spite of an error, or another process is making one.
fn stands(error: &Error) -> bool {
    matches!(
        error,
        Error::Unfinished { .. } | Error::Stopped { .. } | Error::AlreadyBook { .. } | Error::Busy { .. }
    )
}

/// Lets one process at a time make a book of a folder.
fn lock_folder(root: &Path) -> Result<fs::File, Error> {
    let folder = fs::File::open(root).map_err(Error::io("open", root))?;
    match folder.try_lock() {
        Err(fs::TryLockError::WouldBlock) => {
            let unknown = || "unknown".to_owned();
            Err(Error::Busy { process: unknown(), since: unknown() })
        }
        // A system that cannot lock a folder: then the repository's going in place decides.
        Ok(()) | Err(fs::TryLockError::Error(_)) => Ok(folder),
    }
}

fn remove_all(folder: &Path) -> Result<(), Error> {
    match fs::remove_dir_all(folder) {
        Err(error) if error.kind() != std::io::ErrorKind::NotFound => Err(Error::io("remove", folder)(error)),
        _ => Ok(()),
    }
}

/// Whether the making of a book was interrupted here before its first commit; clears up after it.
fn is_unfinished(root: &Path) -> Result<bool, Error> {
    if !root.join(".git/mulebook/creating").exists() {
        return Ok(false);
    }
    let book = Book::open(root)?;
    book.recover()?;
    match book.head_commit()? {
        None => Ok(true),
        Some(_) => Err(Error::AlreadyBook { path: root.to_owned() }),
    }
}

fn refuse_in_the_way(root: &Path, files: &[(String, Vec<u8>)], unfinished: bool) -> Result<(), Error> {
    match standing(root)? {
        Standing::Nothing => {
            for (inside, _) in files {
                path::check(inside)?;
            }
            return Ok(());
        }
        Standing::Folder => {}
        Standing::File(_) => {
            return Err(Error::InTheWay { path: root.to_owned(), found: "a file" });
        }
        Standing::Other(found) => {
            return Err(Error::InTheWay { path: root.to_owned(), found });
        }
    }
    let git = root.join(".git");
    let repository = !matches!(standing(&git)?, Standing::Nothing);
    if repository && root.join("book.yaml").exists() && !unfinished {
        return Err(Error::AlreadyBook { path: root.to_owned() });
    }
    if repository && !unfinished {
        return Err(Error::InTheWay { path: git, found: "a git repository" });
    }
    for (inside, _) in files {
        let place = path::locate(root, inside)?;
        match standing(&place)? {
            Standing::Nothing => {}
            Standing::File(_) => {
                return Err(Error::InTheWay { path: place, found: "a file" });
            }
            Standing::Folder => {
                return Err(Error::InTheWay { path: place, found: "a folder" });
            }
            Standing::Other(found) => return Err(Error::InTheWay { path: place, found }),
        }
    }
    Ok(())
}

/// Makes the folder and those above it that are missing; returns how many.
fn make_root(root: &Path) -> Result<usize, Error> {
    let missing: Vec<&Path> = root.ancestors().take_while(|folder| !folder.exists()).collect();
    let mut made = 0;
    for folder in missing.iter().rev() {
        made += usize::from(sync::make_folder(folder)?);
        if let Some(parent) = folder.parent() {
            sync::folder_sync(parent)?;
        }
    }
    Ok(made)
}

/// Syncs every file and folder at and below a folder that only this process knows.
fn sync_tree(folder: &Path) -> Result<(), Error> {
    for entry in fs::read_dir(folder).map_err(Error::io("list", folder))? {
        let path = entry.map_err(Error::io("list", folder))?.path();
        if path.is_dir() {
            sync_tree(&path)?;
        } else {
            sync::file_sync(&path)?;
        }
    }
    sync::folder_sync(folder)
}
