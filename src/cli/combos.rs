//! `combos`.

use clap::Args;
use clap::ValueEnum;

use crate::cli::Said;
use crate::cli::Surroundings;
use crate::cli::as_of::AsOfArgs;
use crate::cli::weigh::Figure;
use crate::cli::weigh::window;
use crate::render;
use crate::workflow::Failure;
use crate::workflow::combos;

/// Which combinations of two things were run, what each is worth, and which pulls would complete the picture
#[derive(Debug, Args)]
#[command(
    after_help = "Examples:\n  mulebook combos --rows header --cols intake --window 4000..6500\n  mulebook combos --rows port-volume --row-band \"10 cc\" --cols header\n  mulebook combos --rows header --cols intake --figure mean-power 0412a engine=mule-1\n\nRows and columns are roles, or figures, settings and conditions in bands. What cannot be compared is left out with its\nreason. A combination that was never run gets a prediction, and it is called one. The method: docs/weighing.md."
)]
pub(super) struct Combos {
    /// Pulls, ranges, builds, sessions or queries (header=long-1); the whole book unless said
    #[arg(value_name = "PULLS")]
    pulls: Vec<String>,
    /// What makes the rows: a role (header), a figure (port-volume), a setting or a condition
    #[arg(long, value_name = "NAME")]
    rows: String,
    /// What makes the columns, named alike
    #[arg(long, value_name = "NAME")]
    cols: String,
    /// Width of the bands of a figure in the rows; a round width with four bands at most unless said
    #[arg(long, value_name = "AMOUNT")]
    row_band: Option<String>,
    /// Width of the bands of a figure in the columns
    #[arg(long, value_name = "AMOUNT")]
    col_band: Option<String>,
    /// Lowest and highest speed in rpm
    #[arg(long, value_name = "LOW..HIGH", value_parser = window)]
    window: Option<(u32, u32)>,
    /// The figure
    #[arg(long, value_enum, default_value_t = Figure::MeanTorque)]
    figure: Figure,
    /// Bring torque and power to this correction; the book's own unless said
    #[arg(long, value_name = "STANDARD")]
    correct_to: Option<String>,
    /// Distance of the grid points, in rpm
    #[arg(long, value_name = "RPM", default_value_t = 100, value_parser = clap::value_parser!(u32).range(10..=2000))]
    step: u32,
    #[command(flatten)]
    as_of: AsOfArgs,
}

impl Combos {
    /// What is asked.
    pub(super) fn request(self) -> combos::CombosRequest {
        combos::CombosRequest {
            rows: self.rows,
            columns: self.cols,
            row_band: self.row_band,
            column_band: self.col_band,
            pulls: self.pulls,
            window: self.window,
            figure: self.figure.of_the_curve(),
            correct_to: self.correct_to,
            step_rpm: self.step,
            as_of: self.as_of.as_of(),
        }
    }

    /// The words of a command line that asks the same and answers as JSON.
    pub(super) fn words(&self) -> Vec<String> {
        let mut words = vec!["combos".to_owned()];
        words.extend(self.pulls.iter().cloned());
        let figure = self.figure.to_possible_value().map(|figure| figure.get_name().to_owned());
        let flags = [
            ("--rows", Some(self.rows.clone())),
            ("--cols", Some(self.cols.clone())),
            ("--row-band", self.row_band.clone()),
            ("--col-band", self.col_band.clone()),
            ("--window", self.window.map(|(low, high)| format!("{low}..{high}"))),
            ("--figure", figure),
            ("--correct-to", self.correct_to.clone()),
            ("--step", Some(self.step.to_string())),
        ];
        for (flag, value) in flags {
            words.extend(value.into_iter().flat_map(|value| [flag.to_owned(), value]));
        }
        words.extend(self.as_of.words());
        words.push("--json".to_owned());
        words
    }

    pub(super) fn run(self, surroundings: &Surroundings) -> Result<Said, Failure> {
        let book = surroundings.book()?;
        let as_of = self.as_of.as_of();
        let known = as_of.known(&book)?;
        let request = self.request();
        let answer = combos::combos(&book, &request)?;
        let look = surroundings.look();
        Ok(Said::known(known.as_ref(), look, &render::combos(&answer, look), ("combos", &answer)))
    }
}
