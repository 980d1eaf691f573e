//! `gaps`, and asking for them one by one.

use std::io::BufRead;
use std::io::Write;

use clap::Args;

use crate::answer::GapLine;
use crate::check::Close;
use crate::cli::Said;
use crate::cli::Surroundings;
use crate::cli::as_of::AsOfArgs;
use crate::finding::Finding;
use crate::render;
use crate::store::Book;
use crate::workflow::AsOf;
use crate::workflow::Context;
use crate::workflow::Failure;
use crate::workflow::correct;
use crate::workflow::correct::CorrectRequest;
use crate::workflow::flow_gaps;
use crate::workflow::input::FigureInput;
use crate::workflow::measure;

/// See what is not documented, and for which comparison it matters
#[derive(Debug, Args)]
#[command(
    after_help = "Examples:\n  mulebook gaps                       of the last pull\n  mulebook gaps 0412a-03 0412a-07     what bars this comparison\n  mulebook gaps 0412a-03 0412a-07 --fill   asks for each in turn"
)]
pub(super) struct Gaps {
    /// A pull, build or flow sheet, or two of them; the last pull unless said
    about: Vec<String>,
    /// Ask for each gap in turn
    #[arg(long, conflicts_with_all = ["known_on", "pending"])]
    fill: bool,
    #[command(flatten)]
    as_of: AsOfArgs,
}

impl Gaps {
    pub(super) fn run(self, surroundings: &Surroundings) -> Result<Said, Failure> {
        let book = surroundings.book()?;
        let as_of = self.as_of.as_of();
        let known = as_of.known(&book)?;
        if self.fill {
            if surroundings.json() {
                return Err(Failure::usage(Finding::error(
                    "cannot-ask",
                    "--fill asks a person; it does not go with --json",
                )));
            }
            let context = surroundings.context("gaps --fill", Some(&book))?;
            fill(&book, &context, &self.about)?;
        }
        let answer = flow_gaps::gaps(&book, &self.about, &as_of)?;
        let look = surroundings.look();
        Ok(Said::known(known.as_ref(), look, &render::gaps(&answer, look), ("gaps", &answer)))
    }
}

/// Asks for each gap in turn; every answer is a commit of its own, so that stopping half-way loses nothing.
fn fill(book: &Book, context: &Context, about: &[String]) -> Result<(), Failure> {
    let answer = flow_gaps::gaps(book, about, &AsOf::Present)?;
    let count = answer.gaps.len();
    let mut input = std::io::stdin().lock();
    let mut asked: Vec<Close> = Vec::new();
    for (number, gap) in answer.gaps.iter().enumerate() {
        for close in &gap.closes {
            if asked.contains(close) {
                continue;
            }
            asked.push(close.clone());
            loop {
                let question = question(gap, close, number + 1, count);
                let Some(line) = ask(&mut input, &question).map_err(cannot_ask)? else { return Ok(()) };
                if line.is_empty() {
                    break;
                }
                match enter(book, context, close, &line) {
                    Ok(()) => break,
                    Err(failure) => {
                        let text = render::failure(&failure.findings, render::Look::default());
                        ask_again(&text).map_err(cannot_ask)?;
                    }
                }
            }
        }
    }
    Ok(())
}

fn question(gap: &GapLine, close: &Close, number: usize, count: usize) -> String {
    let other = gap.other.as_ref().map(|other| format!(" The other side says {other}.")).unwrap_or_default();
    let (at, like) = match close {
        Close::Measure { at, gone: true, .. } => (at, "unknown: why, or calculated: VALUE; FROM"),
        Close::Measure { at, .. } => {
            (at, "VALUE @INSTRUMENT, listed: VALUE; SOURCE, assumed: VALUE; WHY, unknown: WHY")
        }
        Close::Correct { record, like, .. } => (record, *like),
    };
    render::clean(&format!(
        "\n({number} of {count}) {} at {at}: {}.{other}\n  {like}; Enter leaves it open\n> ",
        gap.item, gap.why
    ))
}

fn ask(input: &mut impl BufRead, question: &str) -> std::io::Result<Option<String>> {
    let mut out = std::io::stdout().lock();
    out.write_all(question.as_bytes())?;
    out.flush()?;
    let mut line = String::new();
    if input.read_line(&mut line)? == 0 {
        writeln!(out)?;
        return Ok(None);
    }
    Ok(Some(line.trim().to_owned()))
}

fn ask_again(text: &str) -> std::io::Result<()> {
    let mut out = std::io::stdout().lock();
    out.write_all(text.as_bytes())?;
    out.flush()
}

fn enter(book: &Book, context: &Context, close: &Close, line: &str) -> Result<(), Failure> {
    match close {
        Close::Measure { at, field, .. } => {
            let (line, with) = match line.rsplit_once(" @") {
                Some((value, instrument)) => (value.trim(), Some(instrument.trim().to_owned())),
                None => (line, None),
            };
            let told = FigureInput::typed(line).or(with.as_deref(), None, None);
            measure::measure(book, context, at, field, &told).map(drop)
        }
        Close::Correct { record, set, .. } => {
            let request = CorrectRequest {
                target: record.clone(),
                set: vec![format!("{set}={line}")],
                because: "filled in: it was not written down at the time".to_owned(),
                ..CorrectRequest::default()
            };
            correct::correct(book, context, &request).map(drop)
        }
    }
}

fn cannot_ask(error: std::io::Error) -> Failure {
    Finding::error("cannot-ask", format!("the terminal could not be read or written: {error}")).into()
}
