//! What a dossier proves, what it only says, and whether its figures came out again.

use serde::Serialize;

use crate::answer::ClaimAnswer;
use crate::answer::KeptBackLine;
use crate::answer::PullUseLine;
use crate::answer::RunGapLine;
use crate::finding::Finding;

/// A signature that holds.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct SignatureLine {
    /// The file that holds it.
    pub file: String,
    /// `shop` or `witness`.
    pub role: &'static str,
    /// The key, as `ssh-keygen -l` shows it.
    pub fingerprint: String,
    /// The kind of key.
    pub algorithm: String,
    /// The names on its line in the reader's own list; none where it is not listed.
    pub principals: Vec<String>,
    /// Whether it is listed and in force.
    pub listed: bool,
}

/// Commits of the history that one key signed, by signatures that hold.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct SignedCommitsLine {
    /// The key, as `ssh-keygen -l` shows it.
    pub fingerprint: String,
    /// The names on its line in the reader's own list; none where it is not listed for commits.
    pub principals: Vec<String>,
    /// Whether it is listed for commits.
    pub listed: bool,
    /// The commits, short, oldest first.
    pub commits: Vec<String>,
}

/// What a time-stamping service answered for this dossier: kept and shown, not relied on.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct TimeStampLine {
    /// The file that holds it.
    pub file: String,
    /// The time that it states, UTC.
    pub states: String,
    /// What the service calls itself; none where it does not say.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub service: Option<String>,
    /// The policy under which it was made, as an object identifier.
    pub policy: String,
}

/// A figure that came out otherwise.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct MovedFigureLine {
    /// Where it stands in the answer.
    pub at: String,
    /// What the dossier says.
    pub said: String,
    /// What came out here.
    pub found: String,
}

/// How the recomputation went.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct RecomputedLine {
    /// Whether it could be done at all.
    pub done: bool,
    /// Numbers that were held against each other.
    pub figures: usize,
    /// Those that came out otherwise, the first of them.
    pub moved: Vec<MovedFigureLine>,
    /// How many came out otherwise.
    pub moved_count: usize,
    /// Version of the program that made the dossier.
    pub theirs: String,
    /// Version of this program.
    pub ours: String,
    /// Why it could not be done.
    pub why_not: Vec<Finding>,
}

/// One means of proof.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct MechanismLine {
    /// Its name.
    pub mechanism: &'static str,
    /// Whether this dossier, or what came with it, has it.
    pub here: bool,
    /// What it proves and what it does not.
    pub says: String,
}

/// How many items of both sides are known in which way.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize)]
pub struct GroundsLine {
    /// Measured by the shop before the pull that they speak for.
    pub measured: usize,
    /// Carried by a channel of a raw file.
    pub by_channel: usize,
    /// Plain answers: which part, which choice.
    pub answered: usize,
    /// Only listed, assumed or calculated, a line each.
    pub only_said: Vec<String>,
    /// Measured after the pull that they speak for, a line each.
    pub afterwards: Vec<String>,
    /// Nobody knows, a line each.
    pub unknown: Vec<String>,
    /// Records that were corrected, a line each.
    pub corrected: Vec<String>,
}

/// A dossier checked.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct VerifyAnswer {
    /// The file.
    pub file: String,
    /// The claim's tag.
    pub claim: String,
    /// The claim in one sentence, as the dossier says it.
    pub says: String,
    /// `holds`, `not shown`, or `not recomputed`.
    pub outcome: &'static str,
    /// The outcome in one sentence.
    pub outcome_says: String,
    /// The verdict that came out here; none where nothing did.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub verdict: Option<&'static str>,
    /// SHA-256 of the tag manifest, which stands for the whole dossier.
    pub seal: String,
    /// The signatures that hold.
    pub signatures: Vec<SignatureLine>,
    /// The commits shown that are signed, a line for each key; those of no line are not.
    pub signed_commits: Vec<SignedCommitsLine>,
    /// What time-stamping services answered for it.
    pub time_stamps: Vec<TimeStampLine>,
    /// The facts for people.
    pub information: Vec<(String, String)>,
    /// What is proven, a line each.
    pub proven: Vec<String>,
    /// What the shop only says, a line each.
    pub shop_says: Vec<String>,
    /// How what both sides rest on is known.
    pub grounds: GroundsLine,
    /// How the recomputation went.
    pub recomputed: RecomputedLine,
    /// What the dossier names and does not hold.
    pub kept_back: Vec<KeptBackLine>,
    /// Every pull of the sessions involved.
    pub pulls: Vec<PullUseLine>,
    /// Run numbers that no pull has.
    pub run_gaps: Vec<RunGapLine>,
    /// Pulls of these sessions that the history shows and the dossier does not hold.
    pub pulls_not_inside: Vec<String>,
    /// The means of proof, each with what it proves and does not.
    pub mechanisms: Vec<MechanismLine>,
    /// What is doubtful.
    pub findings: Vec<Finding>,
    /// The claim as it was worked out here.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub claim_here: Option<ClaimAnswer>,
    /// What to do next.
    pub next: String,
}
