//! `sheet`.

use clap::Args;

use crate::cli::Said;
use crate::cli::Surroundings;
use crate::render;
use crate::workflow::Failure;
use crate::workflow::sheet;

/// See the build sheet of a build or a pull: every part, figure, setting and fit, and what follows from them
#[derive(Debug, Args)]
#[command(
    after_help = "Examples:\n  mulebook sheet b3           the build, its derived figures and its pulls\n  mulebook sheet 0412a-07     what was on for this pull, with its weather\n  mulebook sheet              of the last pull"
)]
pub(super) struct Sheet {
    /// A build, or a pull's id, its beginning, an order number of the newest session, or `last`
    #[arg(default_value = "last")]
    about: String,
    /// Answer from the work tree, pending edits included
    #[arg(long)]
    pending: bool,
}

impl Sheet {
    pub(super) fn run(self, surroundings: &Surroundings) -> Result<Said, Failure> {
        let book = surroundings.book()?;
        let answer = sheet::sheet(&book, &self.about, self.pending)?;
        Ok(Said::done(render::sheet(&answer, surroundings.look()), render::json("sheet", &answer)))
    }
}
