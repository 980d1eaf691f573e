//! `doubt`.

use clap::Args;

use crate::cli::Said;
use crate::cli::Surroundings;
use crate::render;
use crate::workflow::Failure;
use crate::workflow::doubt;

/// Mark a figure, an instrument or a session as doubtful, and see everything that rests on it
#[derive(Debug, Args)]
#[command(
    after_help = "Examples:\n  mulebook doubt h2/a chamber-volume --because \"the plate leaked\"\n  mulebook doubt burette-1 --from 2026-03-01 --until 2026-03-31 --offset \"-0.4 ±0.1 cc\" --because \"weighed water: it reads high\"\n  mulebook doubt 0412a --because \"the load arm had slipped\"\n  mulebook doubt burette-1 --clear --because \"the old certificate was found\"\n\nWithout an offset what was read does not stand until it is measured again or cleared; with one it is added openly,\nwith its uncertainty. The bytes of raw files stay as they came. Sheets, comparisons and weighings say so."
)]
pub(super) struct Doubt {
    /// An instrument, a session, or what has the figure: a part's state (h2/a), a build, a pull, a cell
    about: String,
    /// The figure
    figure: Option<String>,
    /// What speaks against it; with --clear, what settled it
    #[arg(long, value_name = "WHY")]
    because: String,
    /// The number of the figure's entry; the one that stands unless said
    #[arg(long, value_name = "N", requires = "figure")]
    entry: Option<usize>,
    /// The first day or time in doubt, of an instrument or session
    #[arg(long, value_name = "DAY")]
    from: Option<String>,
    /// The last day or time in doubt
    #[arg(long, value_name = "DAY")]
    until: Option<String>,
    /// What is to be added to what was read, with its unit and uncertainty
    #[arg(long, value_name = "OFFSET", allow_hyphen_values = true)]
    offset: Option<String>,
    /// Settle it: what was doubted stands again
    #[arg(long, conflicts_with_all = ["from", "until", "offset"])]
    clear: bool,
}

impl Doubt {
    pub(super) fn run(self, surroundings: &Surroundings) -> Result<Said, Failure> {
        let book = surroundings.book()?;
        let context = surroundings.context("doubt", Some(&book))?;
        let request = doubt::DoubtRequest {
            about: self.about,
            figure: self.figure,
            entry: self.entry,
            from: self.from,
            until: self.until,
            offset: self.offset,
            because: self.because,
            clear: self.clear,
            by: surroundings.person(),
        };
        let answer = doubt::doubt(&book, &context, &request)?;
        Ok(Said::done(render::doubt(&answer, surroundings.look()), render::json("doubt", &answer)))
    }
}
