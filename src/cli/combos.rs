//! `combos`.

use clap::Args;

use crate::cli::Said;
use crate::cli::Surroundings;
use crate::cli::weigh::window;
use crate::render;
use crate::workflow::Failure;
use crate::workflow::combos;

/// Which combinations of two roles were run, what each is worth, and which pulls would complete the picture
#[derive(Debug, Args)]
#[command(
    after_help = "Examples:\n  mulebook combos --rows header --cols intake --window 4000..6500\n  mulebook combos --rows header --cols intake --power 0412a 0419a\n\nA combination that was never run gets a prediction, and it is called one."
)]
pub(super) struct Combos {
    /// Pulls, ranges, builds or sessions; the whole book unless said
    #[arg(value_name = "PULLS")]
    pulls: Vec<String>,
    /// The role whose parts are the rows
    #[arg(long, value_name = "ROLE")]
    rows: String,
    /// The role whose parts are the columns
    #[arg(long, value_name = "ROLE")]
    cols: String,
    /// Lowest and highest speed in rpm
    #[arg(long, value_name = "LOW..HIGH", value_parser = window)]
    window: Option<(u32, u32)>,
    /// Mean power instead of mean torque
    #[arg(long)]
    power: bool,
    /// Bring torque and power to this correction; the book's own unless said
    #[arg(long, value_name = "STANDARD")]
    correct_to: Option<String>,
    /// Distance of the grid points, in rpm
    #[arg(long, value_name = "RPM", default_value_t = 100, value_parser = clap::value_parser!(u32).range(10..=2000))]
    step: u32,
}

impl Combos {
    pub(super) fn run(self, surroundings: &Surroundings) -> Result<Said, Failure> {
        let book = surroundings.book()?;
        let figure =
            if self.power { combos::CurveFigure::MeanPower } else { combos::CurveFigure::MeanTorque };
        let request = combos::CombosRequest {
            rows: self.rows,
            columns: self.cols,
            pulls: self.pulls,
            window: self.window,
            figure,
            correct_to: self.correct_to,
            step_rpm: self.step,
        };
        let answer = combos::combos(&book, &request)?;
        Ok(Said::done(render::combos(&answer, surroundings.look()), render::json("combos", &answer)))
    }
}
