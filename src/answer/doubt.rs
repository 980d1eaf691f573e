//! What was doubted or cleared, and everything that rests on it.

use serde::Serialize;

use crate::answer::Written;

/// A build, pull or flow sheet that rests on what was doubted.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct DoubtRests {
    /// Its name.
    pub name: String,
    /// What of it does, a line each.
    pub says: Vec<String>,
}

/// A comparison that the book itself sets up, one side of which at least rests on what was doubted.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct DoubtComparison {
    /// The base: a build, or pulls.
    pub base: String,
    /// The test: a build, or pulls.
    pub test: String,
    /// How the book sets it up.
    pub set_up: String,
    /// Both sides rest on the same doubtful figure of the same part, so it cannot explain a difference of theirs.
    pub common: bool,
}

/// The answer of `doubt`.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct DoubtAnswer {
    /// What is in doubt, as commands name it.
    pub about: String,
    /// figure, instrument or session.
    pub of: &'static str,
    /// Whether the doubt was settled by this command.
    pub cleared: bool,
    /// In one line, what was done.
    pub did: String,
    /// What follows from it, a line each.
    pub notes: Vec<String>,
    /// The builds that rest on it.
    pub builds: Vec<DoubtRests>,
    /// The pulls.
    pub pulls: Vec<DoubtRests>,
    /// The flow sheets.
    pub flow: Vec<DoubtRests>,
    /// The comparisons that the book sets up.
    pub comparisons: Vec<DoubtComparison>,
    /// The claims.
    pub claims: Vec<DoubtRests>,
    /// What was written.
    #[serde(flatten)]
    pub written: Written,
    /// What to do next.
    pub next: String,
}
