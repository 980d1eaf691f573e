//! The dossier: one zip file that somebody else can check, written to anything that takes bytes and read from anything that
//! gives them.
//!
//! In: payload files by safe paths, facts, a description, somebody who signs; or the bytes of a dossier from elsewhere, the
//! reader's own list of signers and a moment. Out: the zip file; or an [`Opened`] dossier whose bytes are those that were
//! checked, or everything that is wrong with it. It refuses to touch the disk, to unpack anything, to follow a link, to fetch
//! anything, to open a repository, and to read what records mean: what goes in and what follows from it is the business of
//! those who call.
//!
//! # The file
//!
//! ```text
//! CLAIM.zip
//!   CLAIM/bagit.txt, bag-info.txt      a bag (BagIt 1.0, RFC 8493), facts for people
//!   CLAIM/manifest-sha256.txt          every payload file
//!   CLAIM/tagmanifest-sha256.txt       the three above: one short text that seals everything
//!   CLAIM/tagmanifest-sha256.txt.sig   an SSH signature over it, under the namespace [`NAMESPACE`]
//!   CLAIM/tagmanifest-sha256.txt.NAME.sig   further signatures, a witness's under [`WITNESS_NAMESPACE`]
//!   CLAIM/tagmanifest-sha256.txt.tsr, .NAME.tsr   answers of time-stamping services (RFC 3161), kept and shown
//!   CLAIM/data/...                     the payload, an RO-Crate 1.3 by its ro-crate-metadata.json
//! ```
//!
//! # Writing and reading
//!
//! [`write()`] takes [`Contents`]; [`safe_path`] makes paths that may stand in it. [`open()`] checks structure, seal and every
//! hash; then [`Opened::read`] and [`Opened::stream`] hand out payload files, hashed again as they are read. A dossier that
//! is whole but signed by nobody the reader lists is opened too, with errors among its findings: whether to look into it is
//! for the caller to say, and [`Opened::sealed_by`] tells. [`countersign()`] puts a witness's signature beside its seal. [`History::of`] then reads the commits and trees that a dossier
//! carries, and [`Receipt::find`], [`chain_findings`] and [`history_findings`] hold receipts against them. What no opening can find out is said by [`Mechanism`].
mod archive;
mod bag;
mod countersign;
mod description;
mod history;
mod limits;
mod mechanism;
mod name;
mod open;
mod receipt;
mod signature;
mod signers;
mod stamp;
mod write;

pub use countersign::{Countersigned, countersign};
pub use description::{Action, CRATE_FILE, Description, Details, FileNote, HISTORY_FOLDER, Thing, ThingKind};
pub use history::{At, Changed, Commit, History, HistoryError, ObjectId, ObjectKind, TIP_FILE};
pub use limits::Limits;
pub use mechanism::Mechanism;
pub use name::{escaped, fault_of_path, safe_path};
pub use open::{Opened, PayloadError, PayloadFile, PayloadStream, open};
pub use receipt::{RECEIPT, Receipt, chain_findings, history_findings};
pub use signature::{GIT_NAMESPACE, NAMESPACE, Role, Seal, WITNESS_NAMESPACE, key_of};
pub use signers::{Signers, Standing, fingerprint};
pub use stamp::Stamp;
pub use write::{Contents, Opening, Payload, Sealer, WriteError, Written, write};

use crate::finding::Finding;

/// Why a dossier was not opened.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum NotOpened {
    /// It is damaged, or was changed, or is no dossier: everything that was found wrong.
    #[error("{} things are wrong with the dossier", .0.len())]
    Refused(Vec<Finding>),
    /// It could not be read.
    #[error("the dossier could not be read: {0}")]
    Unreadable(#[from] std::io::Error),
}
