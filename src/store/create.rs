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
        let unfinished = is_unfinished(&root);
        refuse_in_the_way(&root, files, unfinished)?;
        let made = make_root(&root)?;
        let book = match Self::set_up(&root, unfinished).and_then(|book| {
            book.first_commit(files, author, time, message)?;
            Ok(book)
        }) {
            Ok(book) => book,
            Err(error) => {
                if !matches!(error, Error::Unfinished { .. } | Error::Stopped { .. }) {
                    let _ = fs::remove_dir_all(root.join(".git"));
                    let _ = fs::remove_dir_all(root.join(SCAFFOLD));
                    for folder in root.ancestors().take(made) {
                        let _ = fs::remove_dir(folder);
                    }
                }
                return Err(error);
            }
        };
        sync::remove(&book.state_path().join("creating"))?;
        sync::folder_sync(&book.state_path())?;
        Ok(book)
    }

    /// The repository, put in place whole.
    fn set_up(root: &Path, unfinished: bool) -> Result<Self, Error> {
        if unfinished {
            return Self::open(root);
        }
        let scaffold = root.join(SCAFFOLD);
        if scaffold.exists() {
            fs::remove_dir_all(&scaffold).map_err(Error::io("remove", &scaffold))?;
        }
        sync::make_folder(&scaffold)?;
        gix::ThreadSafeRepository::init_opts(
            &scaffold,
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
        fs::remove_dir(&scaffold).map_err(Error::io("remove", &scaffold))?;
        sync::folder_sync(root)?;
        Self::open(root)
    }

    fn first_commit(
        &self,
        files: &[(String, Vec<u8>)],
        author: &Author,
        time: Time,
        message: &str,
    ) -> Result<(), Error> {
        let since = "just now".to_owned();
        let who = LockHolder {
            process: std::process::id(),
            since,
            command: "new".to_owned(),
        };
        let mut writing = self.write(who)?;
        if writing.base().is_some() {
            return Err(Error::AlreadyBook {
                path: self.root().to_owned(),
            });
        }
        for (path, bytes) in files {
            writing.put(path, bytes)?;
        }
        writing.commit(message, author, time).map(|_| ())
    }
}

/// Whether the making of a book was interrupted here before its first commit.
fn is_unfinished(root: &Path) -> bool {
    root.join(".git/mulebook/creating").exists()
        && Book::open(root).is_ok_and(|book| matches!(book.head_commit(), Ok(None)))
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
            return Err(Error::InTheWay {
                path: root.to_owned(),
                found: "a file",
            });
        }
        Standing::Other(found) => {
            return Err(Error::InTheWay {
                path: root.to_owned(),
                found,
            });
        }
    }
    let git = root.join(".git");
    let repository = !matches!(standing(&git)?, Standing::Nothing);
    if repository && root.join("book.yaml").exists() && !unfinished {
        return Err(Error::AlreadyBook {
            path: root.to_owned(),
        });
    }
    if repository && !unfinished {
        return Err(Error::InTheWay {
            path: git,
            found: "a git repository",
        });
    }
    for (inside, _) in files {
        let place = path::locate(root, inside)?;
        match standing(&place)? {
            Standing::Nothing => {}
            Standing::File(_) => {
                return Err(Error::InTheWay {
                    path: place,
                    found: "a file",
                });
            }
            Standing::Folder => {
                return Err(Error::InTheWay {
                    path: place,
                    found: "a folder",
                });
            }
            Standing::Other(found) => return Err(Error::InTheWay { path: place, found }),
        }
    }
    Ok(())
}

/// Makes the folder and those above it that are missing; returns how many.
fn make_root(root: &Path) -> Result<usize, Error> {
    let missing: Vec<&Path> = root.ancestors().take_while(|folder| !folder.exists()).collect();
    for folder in missing.iter().rev() {
        sync::make_folder(folder)?;
        if let Some(parent) = folder.parent() {
            sync::folder_sync(parent)?;
        }
    }
    Ok(missing.len())
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
