//! What went into a dossier, and the receipts that go before it.

use serde::Serialize;

use crate::answer::Written;

/// A pull of the sessions involved, used or not.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct PullUseLine {
    /// The pull.
    pub pull: String,
    /// `base`, `test`, `scatter` for one that only says something of scatter, `no`.
    pub used: &'static str,
    /// Why it is not used.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub why: Option<String>,
}

/// A run number of a session that no pull has.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct RunGapLine {
    /// The session.
    pub session: String,
    /// The number.
    pub order: u32,
    /// Why, as somebody said; none where nobody did.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub because: Option<String>,
}

/// A record or raw file that the dossier names and does not hold.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct KeptBackLine {
    /// The record's path, or the raw file's name.
    pub what: String,
    /// SHA-256 of its bytes.
    pub sha256: String,
    /// `withheld`, or `not here` for a raw file that this copy of the book does not have.
    pub why: &'static str,
}

/// A dossier as it was written.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct DossierAnswer {
    /// The claim.
    pub claim: String,
    /// The file.
    pub file: String,
    /// SHA-256 of the tag manifest, which stands for the whole dossier.
    pub seal: String,
    /// Whether it was signed.
    pub signed: bool,
    /// Payload files.
    pub files: usize,
    /// Their bytes.
    pub bytes: u64,
    /// Length of the zip file.
    pub archive: u64,
    /// The claim's verdict.
    pub verdict: &'static str,
    /// In one sentence.
    pub verdict_says: String,
    /// Whether every figure came out again from what is inside, tried before it was written.
    pub recomputable: bool,
    /// Records inside.
    pub records: usize,
    /// Raw files inside.
    pub raw_files: usize,
    /// What it names and does not hold.
    pub kept_back: Vec<KeptBackLine>,
    /// Every pull of the sessions involved.
    pub pulls: Vec<PullUseLine>,
    /// Run numbers that no pull has.
    pub run_gaps: Vec<RunGapLine>,
    /// Names of records that are not inside and that the history shows all the same.
    pub discloses: Vec<String>,
    /// The commit that was gathered from.
    pub commit: String,
    /// What to do next.
    pub next: String,
}

/// A dossier with a countersignature put beside its seal.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct CountersignAnswer {
    /// The claim.
    pub claim: String,
    /// The file that was written.
    pub file: String,
    /// The dossier that was countersigned, which stays as it is.
    pub of: String,
    /// SHA-256 of the tag manifest, which stands for the whole dossier and is what was signed.
    pub seal: String,
    /// The keys that sealed it, as `ssh-keygen -l` shows them; whose they are was not looked at.
    pub sealed_by: Vec<String>,
    /// The witness's key, as `ssh-keygen -l` shows it.
    pub fingerprint: String,
    /// Where the countersignature stands in the zip file.
    pub countersignature: String,
    /// Length of the zip file.
    pub archive: u64,
    /// What a countersignature proves and what it does not.
    pub says: String,
    /// What to do next.
    pub next: String,
}

/// A receipt as it was made and kept.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct ReceiptAnswer {
    /// Its number, from 1.
    pub number: u32,
    /// The line to hand over.
    pub receipt: String,
    /// The commit that it is of, short.
    pub of: String,
    /// Where the book keeps it.
    pub file: String,
    /// What was written.
    #[serde(flatten)]
    pub written: Written,
    /// What to do next.
    pub next: String,
}
