//! `demo`.

use std::path::PathBuf;

use clap::Args;

use crate::cli::Said;
use crate::cli::Surroundings;
use crate::render;
use crate::workflow::Failure;
use crate::workflow::demo;

/// Make a worked book: enter real files, see a refusal, mend it, compare
#[derive(Debug, Args)]
#[command(after_help = "Example:\n  mulebook demo\n  cd mulebook-demo && mulebook diff 0411a-01 0411a-04")]
pub(super) struct Demo {
    /// The folder for the demo book
    #[arg(default_value = "mulebook-demo")]
    dir: PathBuf,
}

impl Demo {
    pub(super) fn run(self, surroundings: &Surroundings) -> Result<Said, Failure> {
        let context = surroundings.context("demo", None)?;
        let answer = demo::demo(&self.dir, &context)?;
        Ok(Said::done(render::demo(&answer, surroundings.look()), render::json("demo", &answer)))
    }
}
