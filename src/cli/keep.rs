//! `keep`.

use clap::Args;

use crate::cli::Said;
use crate::cli::Surroundings;
use crate::cli::make::entered;
use crate::workflow::Failure;
use crate::workflow::keep;

/// Check hand-edited manifests and commit them; nothing that does not hold is kept
#[derive(Debug, Args)]
#[command(after_help = "Example:\n  mulebook keep -m \"flow sheet copied from the binder\"")]
pub(super) struct Keep {
    /// What was edited and why, for the history
    #[arg(long, short)]
    message: Option<String>,
}

impl Keep {
    pub(super) fn run(self, surroundings: &Surroundings) -> Result<Said, Failure> {
        let book = surroundings.book()?;
        let context = surroundings.context("keep", Some(&book))?;
        Ok(entered(&keep::keep(&book, &context, self.message.as_deref())?, surroundings))
    }
}
