//! `keep`.

use clap::Args;

use crate::cli::Said;
use crate::cli::Surroundings;
use crate::cli::make::entered;
use crate::workflow::Failure;
use crate::workflow::book_schemas;
use crate::workflow::keep;

/// Check hand-edited manifests and commit them; nothing that does not hold is kept
#[derive(Debug, Args)]
#[command(
    after_help = "Example:\n  mulebook keep -m \"flow sheet copied from the binder\"\n  mulebook keep --schemas        after a newer program was installed"
)]
pub(super) struct Keep {
    /// What was edited and why, for the history
    #[arg(long, short)]
    message: Option<String>,

    /// Take over this program's schemas instead: reads every record by them, one commit
    #[arg(long, conflicts_with = "message")]
    schemas: bool,
}

impl Keep {
    pub(super) fn run(self, surroundings: &Surroundings) -> Result<Said, Failure> {
        let book = surroundings.book()?;
        let context = surroundings.context("keep", Some(&book))?;
        if self.schemas {
            return Ok(entered(&book_schemas::take_over(&book, &context)?, surroundings));
        }
        Ok(entered(&keep::keep(&book, &context, self.message.as_deref())?, surroundings))
    }
}
