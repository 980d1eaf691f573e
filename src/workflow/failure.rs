//! Why a use case stopped, in the forms the user and the exit code need.

use crate::finding::Finding;
use crate::raw::RawError;
use crate::store;

/// What kind of stop it is; the exit code follows from it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum FailureKind {
    /// Bad input, or the disk.
    Fault,
    /// The arguments do not say what is wanted.
    Usage,
    /// A hash, object or signature does not hold.
    Damaged,
}

/// Why a use case stopped; nothing was changed.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Failure {
    /// What kind of stop.
    pub kind: FailureKind,
    /// Everything that was found, errors first.
    pub findings: Vec<Finding>,
}

impl Failure {
    /// A fault told by one finding.
    pub fn fault(finding: Finding) -> Self {
        Self { kind: FailureKind::Fault, findings: vec![finding] }
    }

    /// A fault told by several findings.
    pub fn faults(findings: Vec<Finding>) -> Self {
        Self { kind: FailureKind::Fault, findings }
    }

    /// Arguments that do not say what is wanted.
    pub fn usage(finding: Finding) -> Self {
        Self { kind: FailureKind::Usage, findings: vec![finding] }
    }

    /// Evidence that does not hold.
    pub fn damaged(finding: Finding) -> Self {
        Self { kind: FailureKind::Damaged, findings: vec![finding] }
    }
}

impl From<Finding> for Failure {
    fn from(finding: Finding) -> Self {
        Self::fault(finding)
    }
}

impl From<store::Error> for Failure {
    fn from(error: store::Error) -> Self {
        let (kind, code) = match &error {
            // What git cannot read back is as damaged as a raw file whose hash does not hold.
            store::Error::Damaged { .. } => (FailureKind::Damaged, "evidence-damaged"),
            store::Error::Git { operation, .. } if operation.starts_with("read") => {
                (FailureKind::Damaged, "evidence-damaged")
            }
            store::Error::NotABook { .. } => (FailureKind::Fault, "no-book"),
            store::Error::Busy { .. }
            | store::Error::IndexBusy { .. }
            | store::Error::ReferenceBusy { .. } => (FailureKind::Fault, "book-busy"),
            store::Error::PendingEdit { .. } => (FailureKind::Fault, "pending-edit"),
            store::Error::NothingChanged => (FailureKind::Fault, "nothing-changed"),
            _ => (FailureKind::Fault, "store"),
        };
        Self { kind, findings: vec![Finding::error(code, error.to_string())] }
    }
}

impl From<RawError> for Failure {
    fn from(error: RawError) -> Self {
        let error = match error {
            // The bytes were read and are not those that were kept.
            RawError::Input(input) => match input.downcast::<store::Error>() {
                Ok(damage) => return damage.into(),
                Err(input) => RawError::Input(input),
            },
            other => other,
        };
        let mut message = error.to_string();
        if let Some(cause) = std::error::Error::source(&error) {
            message.push_str(&format!(": {cause}"));
        }
        Self::fault(Finding::error("raw-file", message))
    }
}
