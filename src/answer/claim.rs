//! A claim, how it stands, and its verdict.

use serde::Serialize;

use crate::answer::WeighAnswer;

/// One term of a claim.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct ClaimTerm {
    /// Its name, as `correct` takes it.
    pub name: &'static str,
    /// What is claimed.
    pub says: String,
    /// What was claimed first, where that was another.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub first: Option<String>,
}

/// One mended term, with the reason.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct ClaimMended {
    /// The term.
    pub set: String,
    /// What is claimed since.
    pub to: String,
    /// What was claimed before.
    pub was: String,
    /// Why.
    pub because: String,
    /// Who.
    pub by: String,
    /// When, by their own word.
    pub on: String,
}

/// That a claim no longer stands.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct ClaimWithdrawn {
    /// Why.
    pub because: String,
    /// Who.
    pub by: String,
    /// When, by their own word.
    pub on: String,
}

/// A commit that wrote a version of a claim.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct ClaimVersionLine {
    /// The commit, short.
    pub commit: String,
    /// When it was made, by its own word.
    pub on: String,
    /// Who made it.
    pub by: String,
    /// The first line of its message.
    pub says: String,
    /// How many of the pulls weighed were in the book then.
    pub pulls_there: usize,
}

/// How a claim and its pulls lie in time.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct ClaimTiming {
    /// `before`, `afterwards`, or `no-pulls-yet`.
    pub written: &'static str,
    /// In words, with what would prove it to others.
    pub says: String,
    /// Terms that were changed once pulls were in the book.
    pub changed_afterwards: Vec<String>,
    /// Terms that were altered in the record itself and not by a correction.
    pub altered: Vec<String>,
    /// Every version, oldest first.
    pub versions: Vec<ClaimVersionLine>,
}

/// A claim with its standing and verdict.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct ClaimAnswer {
    /// Its tag.
    pub claim: String,
    /// The claim in one sentence.
    pub says: String,
    /// Who states it.
    pub by: String,
    /// The day it was stated, by its own word.
    pub on: String,
    /// Whom it is made to.
    #[serde(rename = "for", skip_serializing_if = "Option::is_none")]
    pub made_to: Option<String>,
    /// What is claimed.
    pub terms: Vec<ClaimTerm>,
    /// What was mended.
    pub corrected: Vec<ClaimMended>,
    /// That it no longer stands.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub withdrawn: Option<ClaimWithdrawn>,
    /// A remark.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub note: Option<String>,
    /// How it and its pulls lie in time.
    pub timing: ClaimTiming,
    /// What the pulls are not as the claim says they are.
    pub outside: Vec<String>,
    /// `shown`, `provisional`, `not shown`, `contradicted`, `outside its scope`, `refused`, `withdrawn` or `no pulls yet`.
    pub verdict: &'static str,
    /// The verdict in one sentence.
    pub verdict_says: String,
    /// What holds it back.
    pub reasons: Vec<String>,
    /// The weighing, once there are pulls.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub weighing: Option<WeighAnswer>,
    /// Files with pending edits.
    pub pending: Vec<String>,
    /// The commit answered from.
    pub commit: String,
    /// What to do next.
    pub next: String,
}

impl ClaimAnswer {
    /// Whether it is shown: nothing less will do.
    pub fn is_shown(&self) -> bool {
        self.verdict == SHOWN
    }
}

/// The verdict of a claim that is shown.
pub const SHOWN: &str = "shown";
/// Of one that may not be weighed.
pub const REFUSED: &str = "refused";
