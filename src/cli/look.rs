//! `look`.

use std::path::PathBuf;

use clap::Args;

use crate::cli::Said;
use crate::cli::Surroundings;
use crate::render;
use crate::workflow::Failure;
use crate::workflow::look;

/// See what would be read from a raw file; enters nothing
#[derive(Debug, Args)]
#[command(
    after_help = "Example:\n  mulebook look run-07.csv\n  mulebook look run-07.csv --read decimal=comma"
)]
pub(super) struct Look {
    /// The file
    file: PathBuf,
    /// Follow this columns record to the letter
    #[arg(long, value_name = "NAME")]
    columns: Option<String>,
    /// The answer to a question about the file (may be given several times)
    #[arg(long, value_name = "WORD")]
    read: Vec<String>,
}

impl Look {
    pub(super) fn run(self, surroundings: &Surroundings) -> Result<Said, Failure> {
        let book = surroundings.book_if_any()?;
        let answer = look::look(book.as_ref(), &self.file, self.columns.as_deref(), &self.read)?;
        Ok(Said::done(render::look(&answer, surroundings.look()), render::json("look", &answer)))
    }
}
