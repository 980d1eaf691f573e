//! `correct`.

use std::path::PathBuf;

use clap::Args;

use crate::cli::Said;
use crate::cli::Surroundings;
use crate::cli::make::entered;
use crate::workflow::Failure;
use crate::workflow::correct;
use crate::workflow::correct::CorrectRequest;

/// Mend a wrong record, visibly: the old value stays and the reason is kept
#[derive(Debug, Args)]
#[command(
    after_help = "Examples:\n  mulebook correct 0412a-04..06 --set spacer=sp-25/a --because \"seen in the photograph\"\n  mulebook correct 0412a-07 --set build=b4 --because \"entered before the build was written down\"\n  mulebook correct 0412a-07 --set outcome=\"throttle not fully open\" --because \"seen in the trace\"\n  mulebook correct 0412a --set skipped=run-05 --because \"throttle cable came off, no file\"\n  mulebook correct h2a-in1-1 --set bore-fixture=\"86 mm\" --because \"the other sleeve was on\"\n\nWhat can be set: a role, a setting, a fit, a condition, run.NAME, build, correction, outcome; of a flow sheet a condition, part, side, port, cylinder, bench, on; of a claim any of its terms; of a part batch, serial, name, where, note; of a session skipped (a run number without a pull)."
)]
pub(super) struct Correct {
    /// A pull, a run of pulls (0412a-04..06), a build, a flow sheet, a claim, a part or a session
    record: String,
    /// What is right (may be given several times)
    #[arg(long, value_name = "NAME=VALUE", required = true)]
    set: Vec<String>,
    /// Why the record was wrong
    #[arg(long, value_name = "WHY")]
    because: String,
    /// The instrument, for a measured value
    #[arg(long, value_name = "INSTRUMENT")]
    with: Option<String>,
    /// A photo, scan or the like that shows the figure that is right: kept in the book beside it (may be given several
    /// times; for one figure of one record)
    #[arg(long, value_name = "FILE")]
    photo: Vec<PathBuf>,
}

impl Correct {
    pub(super) fn run(self, surroundings: &Surroundings) -> Result<Said, Failure> {
        let book = surroundings.book()?;
        let context = surroundings.context("correct", Some(&book))?;
        let request = CorrectRequest {
            target: self.record,
            set: self.set,
            with: self.with,
            by: surroundings.person(),
            because: self.because,
            photos: self.photo,
        };
        let answer = correct::correct(&book, &context, &request)?;
        Ok(entered(&answer, surroundings))
    }
}
