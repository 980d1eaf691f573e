//! The book on disk: git objects and references, the raw files, the lock and the journal; and the key that signs.
//!
//! In: paths inside the book, bytes, who and when. Out: bytes as a commit or the work tree holds them, commits, and what
//! does not hold. It refuses to read what records mean, to take the time from a clock, to follow links inside a book, to
//! run anything a repository names (hooks, filters, monitors), to look at replacement objects or at anyone's own git
//! settings, and to write half of what it was asked.
//!
//! # A write
//!
//! Under the book's lock ([`Book::write`]) and git's lock on the index, [`Writing::commit`] goes through these steps;
//! each is synced to the disk, files before the folders that name them, before the next begins:
//!
//! 1. All checks. Blobs, trees and the commit are stored. Nothing names them: left behind, they are litter for git.
//! 2. The journal: what will change, from which bytes to which, and the commit. No change that shows comes before it.
//! 3. Large raw files are linked into place (never over another). New bytes of files are laid beside the files they
//!    will replace, in the same folder, so that a full disk or a folder that may not be written shows now.
//! 4. The branch moves from the old commit to the new, compared and swapped under git's own lock of it.
//! 5. The branch's log; the files go in place by renaming; the index entries of just these files follow.
//! 6. The journal is removed, then the lock on the index.
//!
//! Interrupted before 4, the branch does not lead to the journal's commit, and the next command takes everything back:
//! files beside, new folders, large raw files, locks. Interrupted after, it does, and the next command does 5 and 6
//! again, which may be repeated: each file is looked at first, and its bytes are at hand in git objects synced before
//! the branch moved. Either way a file is only ever replaced while it holds the bytes the journal says it held; one
//! edited in between is left and is a pending edit. Git cannot step in: the left-over lock on the index stops it, and
//! its text tells it from git's own lock, as the left-over lock of the branch is told by holding the journal's commit.
#![expect(
    clippy::disallowed_methods,
    clippy::disallowed_types,
    reason = "the only room that touches disk, git and processes"
)]
mod book;
mod branch_log;
mod cache;
mod catalog;
mod commit;
mod copy;
mod create;
mod error;
mod history;
mod id;
mod index;
mod intake;
mod journal;
mod key;
mod line;
mod lineage;
mod litter;
mod lock;
mod log_index;
mod looking;
mod mend;
mod mend_files;
mod mend_frame;
mod objects;
mod outward;
mod pack;
mod path;
mod pending;
mod recovery;
mod reference;
mod scratch;
mod snapshot;
mod source;
mod sync;
mod temporary;
mod vault;
mod verify;
mod walk;
mod writing;

pub use book::Book;
pub use cache::Cache;
pub use catalog::{Catalog, CatalogTrouble, RowChange, RowCheck, row_check};
pub use copy::BookCopy;
pub use error::Error;
pub use history::Change;
pub use id::{Author, CommitId, ContentId, Time};
pub use key::SigningKey;
pub use litter::Litter;
pub use lock::LockHolder;
pub use looking::Looking;
pub use mend::{Mended, Mending};
pub use outward::Outward;
pub use pending::{Edit, Pending};
pub use recovery::{Outcome, Recovery};
pub use scratch::Scratch;
pub use snapshot::{Elsewhere, Entry, EntryKind, Snapshot};
pub use source::Source;
pub use temporary::Temporary;
pub use vault::{DEFAULT_IN_GIT, RawCheck, RawFile, RawPlace, RawReader, Vault, digest};
pub use verify::Verification;
pub use writing::{CommitForm, Signer, Step, Writing};
