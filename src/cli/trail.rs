//! `trail`.

use clap::Args;

use crate::answer::TrailAnswer;
use crate::cli::Said;
use crate::cli::Surroundings;
use crate::cli::as_of::KnownOnArgs;
use crate::cli::weigh::window;
use crate::render;
use crate::store::Book;
use crate::workflow::AsOf;
use crate::workflow::Failure;
use crate::workflow::baseline;
use crate::workflow::baseline::BaselineRequest;
use crate::workflow::trail;

/// Follow a part, build, pull, figure, instrument or raw file through its life: who, when true, when written
#[derive(Debug, Args)]
#[command(
    after_help = "Examples:\n  mulebook trail h2                       states, work, measurements, builds and pulls of a part\n  mulebook trail h2 chamber-volume        one figure: every entry, what voided it, what corrected it\n  mulebook trail 0412a-07                 a pull, and what was corrected since\n  mulebook trail burette-1                what was measured with it, and its calibrations\n  mulebook trail mule-1 --baseline --window 4000..7500\n                                          the engine's own health, session by session\n  mulebook trail run-07.csv               the pulls that rest on a file (or the beginning of its SHA-256)"
)]
pub(super) struct Trail {
    /// A part (h2, or h2/b), build, pull, session, instrument, columns record, or raw file
    about: String,
    /// One figure, setting, fit or condition of it
    figure: Option<String>,
    /// Follow an engine's own health: one build of it across sessions
    #[arg(long, conflicts_with = "figure")]
    baseline: bool,
    /// The build to follow; the one run in most sessions unless said
    #[arg(long, value_name = "BUILD", requires = "baseline")]
    build: Option<String>,
    /// Lowest and highest speed in rpm; all that its pulls share unless said
    #[arg(long, value_name = "LOW..HIGH", value_parser = window, requires = "baseline")]
    window: Option<(u32, u32)>,
    /// Mean power instead of mean torque
    #[arg(long, requires = "baseline")]
    power: bool,
    #[command(flatten)]
    as_of: KnownOnArgs,
}

impl Trail {
    /// Whether an engine's own health is asked for.
    pub(super) fn is_of_baseline(&self) -> bool {
        self.baseline
    }

    /// Which version of the book is asked.
    pub(super) fn as_of(&self) -> AsOf {
        self.as_of.as_of()
    }

    /// The life that is asked for.
    pub(super) fn answer(&self, book: &Book, as_of: &AsOf) -> Result<TrailAnswer, Failure> {
        trail::trail(book, &self.about, self.figure.as_deref(), as_of)
    }

    /// The words of a command line that asks the same and answers as JSON.
    pub(super) fn words(&self) -> Vec<String> {
        let words = ["trail", &self.about].into_iter().chain(self.figure.as_deref());
        words.map(str::to_owned).chain(self.as_of.words()).chain(["--json".to_owned()]).collect()
    }

    pub(super) fn run(self, surroundings: &Surroundings) -> Result<Said, Failure> {
        let book = surroundings.book()?;
        let as_of = self.as_of();
        let known = as_of.known(&book)?;
        if self.baseline {
            let request = BaselineRequest {
                engine: self.about,
                build: self.build,
                window: self.window,
                power: self.power,
                as_of,
            };
            let answer = baseline::baseline(&book, &request)?;
            let look = surroundings.look();
            return Ok(Said::known(
                known.as_ref(),
                look,
                &render::baseline(&answer, look),
                ("baseline", &answer),
            ));
        }
        let answer = self.answer(&book, &as_of)?;
        let look = surroundings.look();
        Ok(Said::known(known.as_ref(), look, &render::trail(&answer, look), ("trail", &answer)))
    }
}
