//! `diff`.

use clap::Args;

use crate::cli::REFUSED;
use crate::cli::Said;
use crate::cli::Surroundings;
use crate::cli::as_of::AsOfArgs;
use crate::render;
use crate::workflow::Failure;
use crate::workflow::compare;
use crate::workflow::compare_flow;
use crate::workflow::compare_flow::Difference;

/// See what changed between two pulls, builds or flow sheets; refused where something that could differ is undocumented
#[derive(Debug, Args)]
#[command(
    after_help = "Examples:\n  mulebook diff 0412a-03 0412a-07     what 07 differs in from 03\n  mulebook diff 3 last --subject header\n  mulebook diff 3 last --correct-to iso-1585\n  mulebook diff h2a-in2-1 h2b-in2-1     two flow sheets, by lift\n\nThe base comes first. Exit code 3 means refused; `mulebook gaps BASE TEST --fill` asks for what is missing."
)]
pub(super) struct Diff {
    /// The base: a pull's id, its beginning, an order number of the newest session, `last`, or a build
    base: String,
    /// The test side, named alike
    test: String,
    /// The role under test
    #[arg(long, value_name = "ROLE")]
    subject: Option<String>,
    /// Distance of the table's rows, in rpm
    #[arg(long, value_name = "RPM", default_value_t = 100, value_parser = clap::value_parser!(u32).range(10..=2000))]
    step: u32,
    /// Bring torque and power of both to this correction (observed, sae-j1349, stp, iso-1585 …); the book's own unless
    /// said
    #[arg(long, value_name = "STANDARD")]
    correct_to: Option<String>,
    #[command(flatten)]
    as_of: AsOfArgs,
}

impl Diff {
    pub(super) fn run(self, surroundings: &Surroundings) -> Result<Said, Failure> {
        let book = surroundings.book()?;
        let as_of = self.as_of.as_of();
        let known = as_of.known(&book)?;
        let request = compare::DiffRequest {
            base: self.base,
            test: self.test,
            subject: self.subject,
            step_rpm: self.step,
            correct_to: self.correct_to,
            as_of,
        };
        let answer = compare_flow::any(&book, &request)?;
        let (known, look) = (known.as_ref(), surroundings.look());
        let said = match &answer {
            Difference::Pulls(answer) => {
                Said::known(known, look, &render::diff(answer, look), ("diff", answer))
            }
            Difference::Flow(answer) => {
                Said::known(known, look, &render::flow_diff(answer, look), ("flow-diff", answer))
            }
        };
        Ok(said.ending(if answer.is_refused() { REFUSED } else { 0 }))
    }
}
