//! The demo's story, step by step.

use serde::Serialize;

use crate::answer::DiffAnswer;
use crate::answer::Entered;
use crate::answer::PullEntered;

/// What a step of the demo shows.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[serde(tag = "shows", rename_all = "kebab-case")]
pub enum DemoShown {
    /// A line.
    Words {
        /// The line.
        words: String,
    },
    /// A record entered.
    Entered(Entered),
    /// A pull entered.
    Pull(Box<PullEntered>),
    /// A comparison or its refusal.
    Diff(Box<DiffAnswer>),
}

/// One step of the demo.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct DemoStep {
    /// What happens, in a sentence or two.
    pub what: String,
    /// The command that does it, where it is one.
    pub command: Option<String>,
    /// What it shows.
    pub shown: DemoShown,
}

/// The demo as it went.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct DemoAnswer {
    /// The folder of the book.
    pub dir: String,
    /// The steps.
    pub steps: Vec<DemoStep>,
    /// Commands to try next.
    pub next: Vec<String>,
}
