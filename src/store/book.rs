//! A book: its folder, its git repository opened so that nothing of it can run, and its raw vault.

use std::fmt;
use std::path::{Path, PathBuf};
use std::time::Duration;

use gix::ObjectId;

use super::path::{Standing, standing};
use super::{CommitId, Error, LockHolder, Recovery, SigningKey, Snapshot, Vault, Writing, lock, sync};

/// How long a writer waits for another to finish, unless told otherwise.
const PATIENCE: Duration = Duration::from_secs(10);

/// Most bytes of unpacked objects that are remembered: after `git gc` folders are kept as differences from one another,
/// and what many rest on is unpacked once.
const UNPACKED: usize = 16 << 20;

/// A book on disk, opened.
///
/// Only the repository's own configuration is read, nothing it names is ever run (hooks, filters, monitors), and
/// replacement objects are ignored.
pub struct Book {
    root: PathBuf,
    repo: gix::Repository,
    vault: Vault,
    patience: Duration,
    signing_key: Option<SigningKey>,
    recovered: Option<Recovery>,
    unsettled: Option<Error>,
}

impl fmt::Debug for Book {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.debug_struct("Book").field("root", &self.root).finish_non_exhaustive()
    }
}

impl Book {
    /// Opens the book that a folder lies in, and brings what an interrupted command left to one side or the other
    /// when no other process is writing: see [`Book::recovered`] and [`Book::unsettled`].
    ///
    /// # Errors
    ///
    /// [`Error::NotABook`] when no folder upwards holds both `book.yaml` and `.git`.
    pub fn discover(start: &Path) -> Result<Self, Error> {
        let start = std::path::absolute(start).map_err(Error::io("find", start))?;
        let root = start
            .ancestors()
            .find(|folder| folder.join("book.yaml").is_file() && folder.join(".git").exists())
            .ok_or_else(|| Error::NotABook { start: start.clone() })?;
        let mut book = Self::open(root)?;
        match book.recover() {
            Ok(recovered) => book.recovered = recovered,
            Err(error) => book.unsettled = Some(error),
        }
        Ok(book)
    }

    /// Opens the repository at a folder as it stands.
    pub(super) fn open(root: &Path) -> Result<Self, Error> {
        let repo = Self::open_repository(&root.join(".git"))?;
        let borrowed = repo.common_dir().join("objects/info/alternates");
        if !matches!(standing(&borrowed)?, Standing::Nothing) {
            return Err(Error::Unsupported {
                what: "store of git objects",
                found: "borrowing from another repository (.git/objects/info/alternates)".to_owned(),
                expected: "one that holds all it names: `git repack -a -d`, then remove that file",
            });
        }
        let same = |a: &Path, b: &Path| {
            a == b || a.canonicalize().ok().is_some_and(|a| b.canonicalize().ok() == Some(a))
        };
        match repo.workdir() {
            Some(tree) if same(tree, root) => {}
            Some(tree) => {
                return Err(Error::Unsupported {
                    what: "work tree",
                    found: format!("elsewhere ({})", tree.display()),
                    expected: "the folder that holds .git (see core.worktree in .git/config)",
                });
            }
            None => {
                return Err(Error::Unsupported {
                    what: "repository",
                    found: "a bare one".to_owned(),
                    expected: "one with a work tree (see core.bare in .git/config)",
                });
            }
        }
        if let Some(format) = repo.config_snapshot().string("extensions.refStorage")
            && format.as_slice() != b"files"
        {
            return Err(Error::Unsupported {
                what: "storage of branches",
                found: format.to_string(),
                expected: "files (`git refs migrate --ref-format=files`)",
            });
        }
        let vault = Vault::new(root.to_owned(), repo.clone());
        Ok(Self {
            root: root.to_owned(),
            repo,
            vault,
            patience: PATIENCE,
            signing_key: None,
            recovered: None,
            unsettled: None,
        })
    }

    /// A repository, opened so that nothing of it is run and nothing beside its objects and references is believed.
    pub(super) fn open_repository(git: &Path) -> Result<gix::Repository, Error> {
        let options = gix::open::Options::isolated().config_overrides([
            "core.useReplaceRefs=false",
            "core.fsmonitor=false",
            "core.hooksPath=/dev/null",
            "core.excludesFile=/dev/null",
            // Made from the objects, and not to be believed before them.
            "core.commitGraph=false",
            "core.multiPackIndex=false",
        ]);
        let mut repo = gix::ThreadSafeRepository::open_opts(git, options)
            .map_err(Error::git("open the book's git repository"))?
            .to_thread_local();
        repo.objects
            .set_pack_cache(|| Box::new(gix::odb::pack::cache::lru::MemoryCappedHashmap::new(UNPACKED)));
        Ok(repo)
    }

    /// The book's folder.
    pub fn root(&self) -> &Path {
        &self.root
    }

    /// Has every commit of this book signed with a key from here on, as `git commit -S` does with `gpg.format` set to `ssh`.
    pub fn sign_with(&mut self, key: SigningKey) {
        self.signing_key = Some(key);
    }

    /// The key that commits are signed with, where one is named.
    pub fn signing_key(&self) -> Option<&SigningKey> {
        self.signing_key.as_ref()
    }

    /// What the opening found left of an interrupted command, and what became of it.
    pub fn recovered(&self) -> Option<&Recovery> {
        self.recovered.as_ref()
    }

    /// Why the opening could not clear up after an interrupted command (a folder that may only be read, a damaged
    /// journal); reading commits is safe all the same, and the next write says it again.
    pub fn unsettled(&self) -> Option<&Error> {
        self.unsettled.as_ref()
    }

    /// Sets how long a writer waits for another to finish; ten seconds unless set.
    pub fn wait_at_most(&mut self, patience: Duration) {
        self.patience = patience;
    }

    /// The book as the last commit holds it.
    ///
    /// # Errors
    ///
    /// [`Error::NoCommit`] when there is none.
    pub fn head(&self) -> Result<Snapshot, Error> {
        match self.head_commit()? {
            Some(id) => Snapshot::open(&self.repo, CommitId(id)),
            None => Err(Error::NoCommit { path: self.root.clone() }),
        }
    }

    /// The book as a commit holds it.
    pub fn snapshot(&self, commit: CommitId) -> Result<Snapshot, Error> {
        Snapshot::open(&self.repo, commit)
    }

    /// Finds a commit by anything git can name one by: digits, a tag, a branch, `HEAD~2`; `None` when it names none.
    pub fn find(&self, name: &str) -> Result<Option<CommitId>, Error> {
        let Ok(id) = self.repo.rev_parse_single(name) else {
            return Ok(None);
        };
        let Ok(object) = id.object() else { return Ok(None) };
        Ok(object.peel_to_commit().ok().map(|commit| CommitId(commit.id)))
    }

    /// The raw files.
    pub fn raw(&self) -> &Vault {
        &self.vault
    }

    /// Begins a write: takes the book's lock and clears up after an interrupted command.
    ///
    /// # Errors
    ///
    /// [`Error::Busy`] when another process still writes after the time to wait; [`Error::InProgress`] in the middle
    /// of a rebase or the like (a merge is refused at the commit, unless that concludes it).
    pub fn write(&self, who: LockHolder) -> Result<Writing<'_>, Error> {
        let held = lock::take(&self.state_folder()?, &who, self.patience)?;
        let recovered = self.recover_locked()?;
        Writing::begin(self, who, held, recovered)
    }

    /// Takes the lock for as long as the caller needs it, without waiting; `None` when another holds it.
    pub(super) fn lock_quietly(&self, command: &str) -> Result<Option<lock::Lock>, Error> {
        let who = LockHolder {
            process: std::process::id(),
            since: "just now".to_owned(),
            command: command.to_owned(),
        };
        match lock::take(&self.state_folder()?, &who, Duration::ZERO) {
            Ok(held) => Ok(Some(held)),
            Err(Error::Busy { .. }) => Ok(None),
            Err(error) => Err(error),
        }
    }

    /// The store's own folder inside `.git`, made when missing.
    pub(super) fn state_folder(&self) -> Result<PathBuf, Error> {
        let folder = self.state_path();
        match standing(&folder)? {
            Standing::Folder => return Ok(folder),
            Standing::Nothing => {}
            Standing::File(_) | Standing::Other(_) => {
                let path = ".git/mulebook".to_owned();
                return Err(Error::NotPlain { path, found: "a file or a link", expected: "a folder" });
            }
        }
        sync::make_folder(&folder)?;
        sync::folder_sync(self.repo.git_dir())?;
        Ok(folder)
    }

    /// Where the store's own folder is or would be.
    pub(super) fn state_path(&self) -> PathBuf {
        self.repo.git_dir().join("mulebook")
    }

    pub(super) fn repo(&self) -> &gix::Repository {
        &self.repo
    }

    /// The commit HEAD stands on, `None` before the first.
    pub(super) fn head_commit(&self) -> Result<Option<ObjectId>, Error> {
        let head = self.repo.head().map_err(Error::git("read HEAD"))?;
        if head.is_unborn() {
            return Ok(None);
        }
        head.into_peeled_id().map(|id| Some(id.detach())).map_err(Error::git("read HEAD"))
    }
}
