//! What can go wrong with a book on disk, each with what was found, what was expected and the next step.

use std::io;
use std::path::{Path, PathBuf};

use super::CommitId;

/// Why the store could not do what was asked.
///
/// A write that returns an error has changed nothing, except [`Error::Unfinished`], whose commit stands.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum Error {
    /// The operating system refused a read or a write.
    #[error("could not {operation} {}: {source}", path.display())]
    Io {
        /// What was tried, as a verb (`read`, `sync`).
        operation: &'static str,
        /// The file or folder it was tried on.
        path: PathBuf,
        /// The system's own reason.
        source: io::Error,
    },
    /// The git repository could not be read or written.
    #[error("could not {operation}: {detail}; `mulebook audit` says what is damaged")]
    Git {
        /// What was tried.
        operation: &'static str,
        /// What the git library said, outermost first.
        detail: String,
    },
    /// The disk did not let the git repository be read or written: that says nothing of what it holds.
    #[error(
        "could not {operation}: {detail}; nothing of the book is known to be damaged: see that the disk can be read and has room, then run it again"
    )]
    GitDisk {
        /// What was tried.
        operation: &'static str,
        /// What the git library said, outermost first.
        detail: String,
    },
    /// No folder from here upwards is a book.
    #[error("no book at or above {}; expected a folder with book.yaml and .git; start one with `mulebook new`", start.display())]
    NotABook {
        /// Where the search began.
        start: PathBuf,
    },
    /// The folder is a book already.
    #[error("{} is a book already; choose another folder or work in this one", path.display())]
    AlreadyBook {
        /// The folder.
        path: PathBuf,
    },
    /// Something stands where a new file or folder should go.
    #[error("{found} is in the way at {}; expected nothing there; move it aside or choose another folder", path.display())]
    InTheWay {
        /// Where it stands.
        path: PathBuf,
        /// What stands there (`a file`, `a git repository`).
        found: &'static str,
    },
    /// A path is not one a book may hold.
    #[error(
        "the path {path:?} {found}; expected names joined by `/`, inside the book, that every system can store"
    )]
    UnsafePath {
        /// The path as given.
        path: String,
        /// What is wrong with it, as a predicate.
        found: &'static str,
    },
    /// Something other than a plain file or folder stands on a record's path; nothing is written through it.
    #[error(
        "{path} is {found}; expected {expected}; links are never followed inside a book: replace it by what it stands for"
    )]
    NotPlain {
        /// Path inside the book.
        path: String,
        /// What was found (`a symbolic link`).
        found: &'static str,
        /// What was expected (`a plain file`).
        expected: &'static str,
    },
    /// Another process is writing.
    #[error("the book is being written by process {process} since {since}; try again when it is done")]
    Busy {
        /// Its process number, as it wrote it down (`unknown` when it did not).
        process: String,
        /// Since when, as it wrote it down.
        since: String,
    },
    /// Git's own lock on the index is held.
    #[error(
        "git holds {}; wait for the git command that is running, or, when none is, remove that file",
        path.display()
    )]
    IndexBusy {
        /// The lock file.
        path: PathBuf,
    },
    /// Git's own lock on the branch is held.
    #[error(
        "git holds {}; wait for the git command that is running, or, when none is, remove that file",
        path.display()
    )]
    ReferenceBusy {
        /// The lock file.
        path: PathBuf,
    },
    /// The file holds an edit that is not committed.
    #[error(
        "{path} holds an edit that is not kept yet; look at it with `git diff`, then `mulebook keep` or undo it"
    )]
    PendingEdit {
        /// Path inside the book.
        path: String,
    },
    /// The user staged another change of the file.
    #[error("{path} has a staged change; commit it, or take it back with `git restore --staged {path}`")]
    Staged {
        /// Path inside the book.
        path: String,
    },
    /// The branch moved while the command was at work; nothing was changed.
    #[error(
        "the branch moved to {found} while this was prepared on {expected}; nothing was changed: run it again"
    )]
    Moved {
        /// Where it stands now.
        found: String,
        /// Where it stood.
        expected: String,
    },
    /// A merge, rebase or the like is under way.
    #[error(
        "a {operation} is under way in this book; finish it or leave it with `git {operation} --abort`, then run this again"
    )]
    InProgress {
        /// Git's name for it (`merge`, `rebase`).
        operation: &'static str,
    },
    /// There is no commit yet.
    #[error("the book at {} has no commit yet; begin with `mulebook new`", path.display())]
    NoCommit {
        /// The book's folder.
        path: PathBuf,
    },
    /// A commit that would change nothing.
    #[error("nothing to write: every file already stands as given")]
    NothingChanged,
    /// A kind of repository this store cannot work on.
    #[error("the book's {what} is {found}; expected {expected}")]
    Unsupported {
        /// Which property.
        what: &'static str,
        /// What it is.
        found: String,
        /// What is supported.
        expected: &'static str,
    },
    /// Kept bytes are not what their name says.
    #[error(
        "{path} is damaged: found {found}, expected {expected}; `mulebook mend` puts it right from what this copy holds, `mulebook mend --from COPY` from another (a clone or a backup)"
    )]
    Damaged {
        /// Path inside the book or its git folder.
        path: String,
        /// What was found.
        found: String,
        /// What was expected.
        expected: String,
    },
    /// What an interrupted command wrote down cannot be read, so it can be neither undone nor finished.
    #[error(
        "{} is damaged: found {found}, expected a whole journal of version 1; nothing was changed: \
         look at `git status`, set right what it shows, then remove that file",
        path.display()
    )]
    JournalDamaged {
        /// The journal.
        path: PathBuf,
        /// What was found.
        found: String,
    },
    /// A name or address that git cannot record.
    #[error(
        "the author {found:?} cannot be recorded; expected a name and an address without `<`, `>` or line breaks"
    )]
    Author {
        /// Name and address as given.
        found: String,
    },
    /// The signer did not sign.
    #[error("the commit was not signed: {detail}; nothing was changed")]
    Signer {
        /// What the signer said.
        detail: String,
    },
    /// The commit stands, but the work tree or index could not be brought up to it yet.
    #[error(
        "commit {commit} stands, but its files are not all in place ({cause}); the next command finishes it"
    )]
    Unfinished {
        /// The commit that stands.
        commit: CommitId,
        /// What stopped it.
        cause: Box<Error>,
    },
    /// An observer of the steps stopped the write where it stood, as a power cut would.
    #[error("stopped after the step {step}; the next command recovers")]
    Stopped {
        /// The last step done.
        step: &'static str,
    },
}

impl Error {
    /// Wraps a system error with what was tried on which path.
    pub(super) fn io(operation: &'static str, path: &Path) -> impl FnOnce(io::Error) -> Error {
        let path = path.to_owned();
        move |source| Error::Io { operation, path, source }
    }

    /// Wraps an error of the git library with what was tried.
    pub(super) fn git<E: std::error::Error + 'static>(operation: &'static str) -> impl FnOnce(E) -> Error {
        move |error| {
            let refused = of_disk(&error).is_some_and(|error| {
                use io::ErrorKind::{IsADirectory, NotADirectory, NotFound};
                // What is not there, or is something else, is damage.
                error.raw_os_error().is_some()
                    && ![NotFound, NotADirectory, IsADirectory].contains(&error.kind())
            });
            let mut detail = error.to_string();
            let mut cause = error.source();
            while let Some(inner) = cause {
                let text = inner.to_string();
                if !detail.contains(&text) {
                    detail.push_str(": ");
                    detail.push_str(&text);
                }
                cause = inner.source();
            }
            let detail = without_machine_paths(&detail);
            if refused { Error::GitDisk { operation, detail } } else { Error::Git { operation, detail } }
        }
    }
}

/// What the disk said, where that is the cause of an error.
pub(super) fn of_disk<'e>(error: &'e (dyn std::error::Error + 'static)) -> Option<&'e io::Error> {
    std::iter::successors(Some(error), |error| error.source()).find_map(|cause| cause.downcast_ref())
}

/// A text in which paths into a git folder begin at that folder.
fn without_machine_paths(text: &str) -> String {
    let mut out = String::with_capacity(text.len());
    let mut rest = text;
    while let Some(at) = rest.find("/.git/") {
        let before = &rest[..at];
        // A quoted path may hold spaces; one that is not quoted ends at a space.
        let quote = before.rfind(['"', '\'']).map(|quote| quote + 1);
        let word = before.rfind(char::is_whitespace).map(|space| space + 1);
        let quoted = quote.filter(|&quote| before[quote..].starts_with('/'));
        let start = quoted.or(word).or(quote).unwrap_or(0);
        out.push_str(&before[..start]);
        rest = &rest[at + 1..];
        // Over this one, to the next.
        out.push_str(&rest[..5]);
        rest = &rest[5..];
    }
    out.push_str(rest);
    out
}

#[cfg(test)]
mod tests {
    use super::without_machine_paths;

    #[test]
    fn paths_into_a_git_folder_begin_there() {
        for (text, short) in [
            ("at \"/home/a b/book/.git/objects/ab/cd\": no", "at \".git/objects/ab/cd\": no"),
            ("of /book/.git/HEAD", "of .git/HEAD"),
            ("'/a/.git/x' and /b/.git/y", "'.git/x' and .git/y"),
            ("/a/.git/x", ".git/x"),
            ("nothing", "nothing"),
            (".git/refs", ".git/refs"),
        ] {
            assert_eq!(without_machine_paths(text), short);
        }
    }
}
