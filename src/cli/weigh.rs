//! `weigh`.

use clap::Args;
use clap::ValueEnum;

use crate::answer::WeighAnswer;
use crate::cli::REFUSED;
use crate::cli::Said;
use crate::cli::Surroundings;
use crate::cli::as_of::AsOfArgs;
use crate::cli::claim;
use crate::render;
use crate::workflow::Failure;
use crate::workflow::claim_standing;
use crate::workflow::weigh;

/// Distance of the grid points unless said, rpm.
const STEP: u32 = 100;

/// Is the gain real, and what else could explain it; refused where something that could differ is undocumented
#[derive(Debug, Args)]
#[command(
    after_help = "Examples:\n  mulebook weigh --base 0412a-01..03 0412a-09..10 --test 0412a-04..06\n  mulebook weigh --base b1 --test b2 --figure mean-power --least \"4 hp\" --window 4000..6500\n  mulebook weigh --base b1 --test b2 --plan --detect \"3 N·m\"\n  mulebook weigh --plan --detect \"4 hp\"\n  mulebook weigh --claim header-gain\n  mulebook weigh --base session=0412a,header=long-1 --test session=0412a,header=step-1\n\nA side is pulls, ranges, builds, sessions, or a query (NAME=VALUE, joined by commas: a role, a setting, a figure, build,\nsession, engine, cell, by, on); only kept pulls count. Run the base again after the test, and refit it:\nwithout that a gain is provisional. Exit code 3 means refused. The method: docs/weighing.md."
)]
pub(super) struct Weigh {
    /// The base: pulls, ranges (0412a-01..03), builds, sessions, or a query (header=long-1,session=0412a)
    #[arg(long, value_name = "PULLS", num_args = 1.., required_unless_present_any = ["detect", "claim"], requires = "test")]
    base: Vec<String>,
    /// The test side, named alike
    #[arg(long, value_name = "PULLS", num_args = 1.., required_unless_present_any = ["detect", "claim"], requires = "base")]
    test: Vec<String>,
    /// Lowest and highest speed in rpm; all that the pulls share unless said
    #[arg(long, value_name = "LOW..HIGH", value_parser = window)]
    window: Option<(u32, u32)>,
    /// The figure; mean torque unless said, mean power where an amount is given as a power
    #[arg(long, value_enum)]
    figure: Option<Figure>,
    /// One grid speed instead of a window, in rpm
    #[arg(long, value_name = "RPM", conflicts_with = "window")]
    at: Option<u32>,
    /// The least gain to rule on, with its unit
    #[arg(long, value_name = "AMOUNT")]
    least: Option<String>,
    /// Rule on "no difference larger than this"
    #[arg(long, value_name = "AMOUNT")]
    within: Option<String>,
    /// Bring torque and power to this correction; the book's own unless said
    #[arg(long, value_name = "STANDARD")]
    correct_to: Option<String>,
    /// What is under test: a role, a setting, a figure, or a fit (cylinder-head+intake.port-offset)
    #[arg(long, value_name = "ROLE")]
    subject: Option<String>,
    /// Weigh what a claim says, as it says it; exit code 5 unless it is shown
    #[arg(long, value_name = "NAME", conflicts_with_all = ["base", "test", "window", "figure", "at", "least", "within", "correct_to", "subject", "plan", "detect", "engine", "cell", "step", "smooth", "pending"])]
    claim: Option<String>,
    /// Plan pulls and refits that would show a gain
    #[arg(long, requires = "detect")]
    plan: bool,
    /// The gain to plan for, with its unit
    #[arg(long, value_name = "AMOUNT", requires = "plan")]
    detect: Option<String>,
    /// The engine to plan for, where no sides are named and the book has several
    #[arg(long, value_name = "TAG", conflicts_with = "base")]
    engine: Option<String>,
    /// The cell to plan for, alike
    #[arg(long, value_name = "TAG", conflicts_with = "base")]
    cell: Option<String>,
    /// Distance of the grid points, in rpm
    #[arg(long, value_name = "RPM", default_value_t = STEP, value_parser = clap::value_parser!(u32).range(10..=2000))]
    step: u32,
    /// Smooth all curves alike over this width in rpm; nothing is smoothed unless asked
    #[arg(long, value_name = "RPM", value_parser = clap::value_parser!(u32).range(20..=4000))]
    smooth: Option<u32>,
    #[command(flatten)]
    as_of: AsOfArgs,
}

/// Which figure is weighed.
#[derive(Debug, Clone, Copy, ValueEnum)]
pub(super) enum Figure {
    /// Mean torque over the window
    MeanTorque,
    /// Mean power over the window
    MeanPower,
    /// Highest torque
    PeakTorque,
    /// Highest power
    PeakPower,
}

impl Figure {
    pub(super) fn of_the_curve(self) -> weigh::CurveFigure {
        match self {
            Self::MeanTorque => weigh::CurveFigure::MeanTorque,
            Self::MeanPower => weigh::CurveFigure::MeanPower,
            Self::PeakTorque => weigh::CurveFigure::PeakTorque,
            Self::PeakPower => weigh::CurveFigure::PeakPower,
        }
    }
}

pub(super) fn window(text: &str) -> Result<(u32, u32), String> {
    let expected = "expected LOW..HIGH in rpm, for example 4000..6500";
    let (low, high) = text.split_once("..").ok_or(expected)?;
    let low: u32 = low.trim().parse().map_err(|_| expected)?;
    let high: u32 = high.trim().parse().map_err(|_| expected)?;
    if low < high { Ok((low, high)) } else { Err(expected.to_owned()) }
}

impl Weigh {
    /// The claim that names what is weighed, where one does.
    pub(super) fn claim(&self) -> Option<&str> {
        self.claim.as_deref()
    }

    /// What is asked.
    pub(super) fn request(self) -> weigh::WeighRequest {
        let as_of = self.as_of.as_of();
        weigh::WeighRequest {
            base: self.base,
            test: self.test,
            window: self.window,
            figure: self.figure.map_or_else(
                || {
                    let amounts = [&self.least, &self.within, &self.detect];
                    weigh::figure_of(&amounts.map(Option::as_deref))
                },
                Figure::of_the_curve,
            ),
            at: self.at,
            least: self.least,
            within: self.within,
            correct_to: self.correct_to,
            subject: self.subject,
            detect: self.detect.filter(|_| self.plan),
            engine: self.engine,
            cell: self.cell,
            step_rpm: self.step,
            smooth_rpm: self.smooth,
            as_of,
            window_beforehand: false,
        }
    }

    /// The words of a command line that asks the same and answers as JSON.
    pub(super) fn words(&self) -> Vec<String> {
        let mut words = vec!["weigh".to_owned(), "--base".to_owned()];
        words.extend(self.base.iter().cloned());
        words.push("--test".to_owned());
        words.extend(self.test.iter().cloned());
        let figure = self.figure.and_then(|figure| figure.to_possible_value());
        let flags = [
            ("--window", self.window.map(|(low, high)| format!("{low}..{high}"))),
            ("--figure", figure.map(|figure| figure.get_name().to_owned())),
            ("--at", self.at.map(|at| at.to_string())),
            ("--least", self.least.clone()),
            ("--within", self.within.clone()),
            ("--correct-to", self.correct_to.clone()),
            ("--subject", self.subject.clone()),
            ("--detect", self.detect.clone()),
            ("--step", (self.step != STEP).then(|| self.step.to_string())),
            ("--smooth", self.smooth.map(|smooth| smooth.to_string())),
        ];
        for (flag, value) in flags {
            words.extend(value.into_iter().flat_map(|value| [flag.to_owned(), value]));
        }
        words.extend(self.as_of.words());
        let switches = [("--plan", self.plan), ("--json", true)];
        words.extend(switches.iter().filter(|(_, on)| *on).map(|(switch, _)| (*switch).to_owned()));
        words
    }

    pub(super) fn run(self, surroundings: &Surroundings) -> Result<Said, Failure> {
        let book = surroundings.book()?;
        if let Some(name) = self.claim {
            let answer = claim_standing::claim(&book, &name)?;
            let text = render::claim_weighed(&answer, surroundings.look());
            return Ok(Said { text, json: render::json("claim", &answer), code: claim::code(&answer) });
        }
        let request = self.request();
        let known = request.as_of.known(&book)?;
        let answer = weigh::weigh(&book, &request)?;
        let code = if matches!(answer, WeighAnswer::Refused(_)) { REFUSED } else { 0 };
        let look = surroundings.look();
        Ok(Said::known(known.as_ref(), look, &render::weigh(&answer, look), ("weigh", &answer)).ending(code))
    }
}
