//! `claim`.

use clap::Args;

use crate::answer::CLAIM_REFUSED;
use crate::answer::ClaimAnswer;
use crate::cli::NOT_SHOWN;
use crate::cli::REFUSED;
use crate::cli::Said;
use crate::cli::Surroundings;
use crate::cli::make::entered;
use crate::cli::weigh::Figure;
use crate::cli::weigh::window;
use crate::finding::Finding;
use crate::render;
use crate::workflow::Failure;
use crate::workflow::claim;
use crate::workflow::claim_standing;
use crate::workflow::weigh::figure_of;

/// State a gain so that it can be checked, before its pulls or after; show a claim and its verdict; take one back
#[derive(Debug, Args)]
#[command(
    after_help = "Examples:\n  mulebook claim header-gain --says \"The stepped header gains at least 2 N·m\" --subject header \\\n      --base session=0412a,header=long-1 --test session=0412a,header=step-1 --least \"2 N·m\" \\\n      --window 3000..8000 --engine mule-1 --with intake=trumpets-90/a --tuning same-settings\n  mulebook claim header-gain              what is claimed, since when, and the verdict\n  mulebook claim header-gain --check      the same; exit code 5 unless it is shown\n  mulebook claim header-gain --withdraw --because \"the spacer was left in\"\n\nA side is pulls, ranges, builds, sessions, or the query that will choose them. A claim kept before its pulls is written\nbefore by the book's own clock. It is never edited: `mulebook correct NAME --set TERM=VALUE --because \"…\"` changes a term visibly."
)]
pub(super) struct Claim {
    /// Its short tag
    name: String,
    /// The claim in one sentence; with it a claim is stated, without it one is shown
    #[arg(long, value_name = "SENTENCE", requires_all = ["base", "test"])]
    says: Option<String>,
    /// What it is measured from: pulls, ranges, builds, sessions, or a query
    #[arg(long, value_name = "PULLS", num_args = 1.., requires = "says")]
    base: Vec<String>,
    /// The side with the part under test, named alike
    #[arg(long, value_name = "PULLS", num_args = 1.., requires = "says")]
    test: Vec<String>,
    /// What is under test: a role, a setting, a figure, or a fit
    #[arg(long, value_name = "ROLE", requires = "says")]
    subject: Option<String>,
    /// The least gain, with its unit
    #[arg(long, value_name = "AMOUNT", requires = "says")]
    least: Option<String>,
    /// For a claim that there is no difference larger than this
    #[arg(long, value_name = "AMOUNT", requires = "says", conflicts_with = "least")]
    within: Option<String>,
    /// The figure; mean torque unless said, mean power where an amount is given as a power
    #[arg(long, value_enum, requires = "says")]
    figure: Option<Figure>,
    /// Lowest and highest speed in rpm; all that the pulls share unless said
    #[arg(long, value_name = "LOW..HIGH", value_parser = window, requires = "says")]
    window: Option<(u32, u32)>,
    /// One grid speed instead of a window, in rpm
    #[arg(long, value_name = "RPM", conflicts_with = "window", requires = "says")]
    at: Option<u32>,
    /// The correction it is stated in; the book's own unless said
    #[arg(long, value_name = "STANDARD", requires = "says")]
    correct_to: Option<String>,
    /// With what it is claimed, in words
    #[arg(long, value_name = "WORDS", requires = "says")]
    scope: Option<String>,
    /// On this engine
    #[arg(long, value_name = "TAG", requires = "says")]
    engine: Option<String>,
    /// In this cell
    #[arg(long, value_name = "TAG", requires = "says")]
    cell: Option<String>,
    /// With this part in this role (may be given several times)
    #[arg(long, value_name = "ROLE=PART/STATE", requires = "says")]
    with: Vec<String>,
    /// At which settings
    #[arg(long, value_enum, requires = "says")]
    tuning: Option<Tuning>,
    /// Distance of the grid points, in rpm
    #[arg(long, value_name = "RPM", default_value_t = 100, value_parser = clap::value_parser!(u32).range(10..=2000))]
    step: u32,
    /// Smooth all curves alike over this width in rpm
    #[arg(long, value_name = "RPM", requires = "says", value_parser = clap::value_parser!(u32).range(20..=4000))]
    smooth: Option<u32>,
    /// Whom it is made to
    #[arg(long = "for", value_name = "WHOM", requires = "says")]
    made_to: Option<String>,
    /// A remark
    #[arg(long, requires = "says")]
    note: Option<String>,
    /// Exit with 5 unless the claim is shown
    #[arg(long, conflicts_with = "says")]
    check: bool,
    /// Take the claim back; it stays visible
    #[arg(long, conflicts_with_all = ["says", "check"], requires = "because")]
    withdraw: bool,
    /// Why it is taken back
    #[arg(long, value_name = "WHY", requires = "withdraw")]
    because: Option<String>,
}

/// At which settings a gain is claimed.
#[derive(Debug, Clone, Copy, clap::ValueEnum)]
pub(super) enum Tuning {
    /// The same on both sides
    SameSettings,
    /// Each side as it ran best
    EachAtItsBest,
}

impl Claim {
    pub(super) fn run(self, surroundings: &Surroundings) -> Result<Said, Failure> {
        let book = surroundings.book()?;
        let by = surroundings.person();
        if self.withdraw {
            let context = surroundings.context("claim", Some(&book))?;
            let because = self.because.unwrap_or_default();
            let answer = claim::withdraw(&book, &context, &self.name, by.as_deref(), &because)?;
            return Ok(entered(&answer, surroundings));
        }
        let Some(says) = self.says else {
            let answer = claim_standing::claim(&book, &self.name)?;
            let code = if self.check { code(&answer) } else { 0 };
            let text = render::claim(&answer, surroundings.look());
            return Ok(Said { text, json: render::json("claim", &answer), code });
        };
        if says.trim().is_empty() {
            return Err(Failure::usage(
                Finding::error("empty-value", "the claim says nothing")
                    .next("say in one sentence what is claimed"),
            ));
        }
        let amounts = [&self.least, &self.within].map(Option::as_deref);
        let figure = self.figure.map_or_else(|| figure_of(&amounts), Figure::of_the_curve);
        let request = claim::ClaimRequest {
            tag: self.name,
            says,
            made_to: self.made_to,
            subject: self.subject,
            scope: self.scope,
            engine: self.engine,
            cell: self.cell,
            with: self.with,
            tuning: self.tuning.map(|tuning| match tuning {
                Tuning::SameSettings => claim::Tuning::SameSettings,
                Tuning::EachAtItsBest => claim::Tuning::EachAtItsBest,
            }),
            base: self.base,
            test: self.test,
            figure,
            window: self.window,
            at: self.at,
            least: self.least,
            within: self.within,
            correct_to: self.correct_to,
            step_rpm: self.step,
            smooth_rpm: self.smooth,
            by,
            note: self.note,
        };
        let context = surroundings.context("claim", Some(&book))?;
        Ok(entered(&claim::claim(&book, &context, &request)?, surroundings))
    }
}

/// The exit code of a claim that was to be checked.
pub(super) fn code(answer: &ClaimAnswer) -> u8 {
    match answer.verdict {
        _ if answer.is_shown() => 0,
        CLAIM_REFUSED => REFUSED,
        _ => NOT_SHOWN,
    }
}
