//! `trail`.

use clap::Args;

use crate::answer::TrailAnswer;
use crate::cli::Said;
use crate::cli::Surroundings;
use crate::render;
use crate::store::Book;
use crate::workflow::Failure;
use crate::workflow::trail;

/// Follow a part, build, pull, figure, instrument or raw file through its life: who, when true, when written
#[derive(Debug, Args)]
#[command(
    after_help = "Examples:\n  mulebook trail h2                       states, work, measurements, builds and pulls of a part\n  mulebook trail h2 chamber-volume        one figure: every entry, what voided it, what corrected it\n  mulebook trail 0412a-07                 a pull, and what was corrected since\n  mulebook trail burette-1                what was measured with it, and its calibrations\n  mulebook trail run-07.csv               the pulls that rest on a file (or the beginning of its SHA-256)"
)]
pub(super) struct Trail {
    /// A part (h2, or h2/b), build, pull, session, instrument, columns record, or raw file
    about: String,
    /// One figure, setting, fit or condition of it
    figure: Option<String>,
}

impl Trail {
    /// The life that is asked for.
    pub(super) fn answer(&self, book: &Book) -> Result<TrailAnswer, Failure> {
        trail::trail(book, &self.about, self.figure.as_deref())
    }

    /// The words of a command line that asks the same and answers as JSON.
    pub(super) fn words(&self) -> Vec<String> {
        let words = ["trail", &self.about].into_iter().chain(self.figure.as_deref());
        words.chain(["--json"]).map(str::to_owned).collect()
    }

    pub(super) fn run(self, surroundings: &Surroundings) -> Result<Said, Failure> {
        let book = surroundings.book()?;
        let answer = self.answer(&book)?;
        Ok(Said::done(render::trail(&answer, surroundings.look()), render::json("trail", &answer)))
    }
}
