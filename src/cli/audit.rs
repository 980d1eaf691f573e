//! `audit`.

use clap::Args;

use crate::cli::DAMAGED;
use crate::cli::Said;
use crate::cli::Surroundings;
use crate::render;
use crate::workflow::Failure;
use crate::workflow::audit;

/// Read everything in the book: every hash, object, reference, schema and record
#[derive(Debug, Args)]
#[command(after_help = "Example:\n  mulebook audit\n\nExit code 4 means that something does not hold.")]
pub(super) struct Audit {}

impl Audit {
    pub(super) fn run(self, surroundings: &Surroundings) -> Result<Said, Failure> {
        let book = surroundings.book()?;
        let context = surroundings.context("audit", Some(&book))?;
        let answer = audit::audit(&book, &context)?;
        let code = if answer.damage.is_empty() { 0 } else { DAMAGED };
        Ok(Said {
            text: render::audit(&answer, surroundings.look()),
            json: render::json("audit", &answer),
            code,
        })
    }
}
