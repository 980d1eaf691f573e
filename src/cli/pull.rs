//! `pull`.

use std::io::Write;
use std::path::PathBuf;

use clap::Args;

use crate::cli::Said;
use crate::cli::Surroundings;
use crate::cli::typed;
use crate::finding::Finding;
use crate::render;
use crate::workflow::Failure;
use crate::workflow::enter;
use crate::workflow::take_in::Offered;

/// Take in raw files as dyno pulls: keep the bytes, read, check, record, one commit
#[derive(Debug, Args)]
#[command(
    after_help = "Examples:\n  mulebook pull run-07.csv --build b3 --set air-temperature=\"21.4 degC\" --set kind=sweep --set rate=\"300 rpm/s\" \\\n      --correction observed --with weather-1\n  mulebook pull run-08.csv --as-last --set air-temperature=\"21.6 degC\"\n  mulebook pull run-09.csv photo.jpg --as-last --changed ignition-timing=\"28 deg BTDC\"\n  mulebook pull - sheet.jpg --build b3 < typed.txt    figures keyed in from paper, with its photograph\n  mulebook pull run-10.csv --derived-from run-10.mf4 --as-last    an export, and the logger's own file beside it\n\nA gap never blocks entering. Photos and files no reader knows are kept beside the table as evidence."
)]
pub(super) struct Pull {
    /// The raw files, as they came; `-` for a table typed or pasted on standard input
    #[arg(required = true)]
    files: Vec<PathBuf>,
    /// The file that the table was exported from, a logger's own; it is kept beside the table
    #[arg(long, value_name = "FILE")]
    derived_from: Option<PathBuf>,
    /// The session; the newest unless said
    #[arg(long, value_name = "TAG")]
    session: Option<String>,
    /// The cell, when this pull begins a session
    #[arg(long, value_name = "TAG")]
    cell: Option<String>,
    /// The build
    #[arg(long, value_name = "BUILD")]
    build: Option<String>,
    /// Copy what the last pull of the session had; never weather or temperatures
    #[arg(long)]
    as_last: bool,
    /// Do not ask whether it is as last
    #[arg(long, short)]
    yes: bool,
    /// Follow this columns record to the letter
    #[arg(long, value_name = "NAME")]
    columns: Option<String>,
    /// Keep guessed columns under this name
    #[arg(long, value_name = "NAME")]
    name_columns: Option<String>,
    /// The answer to a question about the file (may be given several times)
    #[arg(long, value_name = "WORD")]
    read: Vec<String>,
    /// Its place in the session; the next unless said
    #[arg(long, value_name = "N")]
    order: Option<u32>,
    /// Why the numbers before it have no pull
    #[arg(long, value_name = "WHY")]
    skipped: Option<String>,
    /// When it was run; now, for a session of today
    #[arg(long, value_name = "TIME")]
    at: Option<String>,
    /// A condition, or a field of the run (may be given several times)
    #[arg(long, value_name = "NAME=VALUE")]
    set: Vec<String>,
    /// Conditions from a YAML file of NAME: VALUE lines
    #[arg(long, value_name = "FILE")]
    conditions: Option<PathBuf>,
    /// What was changed by hand against the build (may be given several times)
    #[arg(long, value_name = "NAME=VALUE")]
    changed: Vec<String>,
    /// The instrument of the conditions, or NAME=INSTRUMENT for one of them
    #[arg(long, value_name = "INSTRUMENT")]
    with: Vec<String>,
    /// The correction in the file: observed, a standard, or a standard and its factor
    #[arg(long, value_name = "WHICH")]
    correction: Option<String>,
    /// It does not count, with the reason; it stays in the book
    #[arg(long, value_name = "WHY")]
    set_aside: Option<String>,
    /// The parts were off and on again since the last pull
    #[arg(long)]
    refit: bool,
    /// Only this segment of a file with several
    #[arg(long, value_name = "N")]
    segment: Option<usize>,
    /// A remark
    #[arg(long)]
    note: Option<String>,
}

impl Pull {
    pub(super) fn run(self, surroundings: &Surroundings) -> Result<Said, Failure> {
        let book = surroundings.book()?;
        let context = surroundings.context("pull", Some(&book))?;
        let yes = self.yes;
        let mut set = self.set;
        if let Some(file) = &self.conditions {
            set.extend(enter::conditions_from(file)?);
        }
        let mut request = enter::PullRequest {
            files: typed::offered(&self.files, self.derived_from.as_deref())?,
            derived_from: self.derived_from,
            session: self.session,
            cell: self.cell,
            build: self.build,
            as_last: self.as_last,
            columns: self.columns,
            name_columns: self.name_columns,
            read: self.read,
            order: self.order,
            skipped: self.skipped,
            at: self.at,
            by: surroundings.person(),
            set,
            changed: self.changed,
            with: self.with,
            correction: self.correction,
            set_aside: self.set_aside,
            refit: self.refit,
            segment: self.segment,
            note: self.note,
        };
        if request.as_last && !yes && surroundings.can_ask() {
            if request.files.iter().any(Offered::is_typed) {
                // Standard input is at its end: an empty line there is nobody's yes.
                return Err(Failure::usage(
                    Finding::error(
                        "cannot-ask",
                        "the table came in on standard input, so nobody can answer there",
                    )
                    .next("say `--yes`"),
                ));
            }
            let words = enter::as_last(&book, &request)?;
            if !words.is_empty() && !agreed(&words).map_err(cannot_ask)? {
                return Err(Failure::usage(
                    Finding::error("not-as-last", "nothing was entered")
                        .next("say what differs with `--changed NAME=VALUE` or `--build NAME`"),
                ));
            }
        }
        if request.skipped.is_none() && !yes && surroundings.can_ask() {
            let missing = enter::missing_runs(&book, &request)?;
            if !missing.is_empty() && !request.files.iter().any(Offered::is_typed) {
                request.skipped = where_are(&missing).map_err(cannot_ask)?;
            }
        }
        let answer = enter::pull(&book, &context, &request)?;
        if answer.taken_in.written.as_ref().is_some_and(|written| written.recovered.is_some()) {
            surroundings.told_recovery();
        }
        Ok(Said::done(render::pull_entered(&answer, surroundings.look()), render::json("pull", &answer)))
    }
}

fn cannot_ask(error: std::io::Error) -> Failure {
    Finding::error("cannot-ask", format!("the terminal could not be read: {error}"))
        .next("say `--yes`")
        .into()
}

fn agreed(words: &[String]) -> std::io::Result<bool> {
    let mut out = std::io::stdout().lock();
    writeln!(out, "Same as last:")?;
    for word in words {
        writeln!(out, "  {}", render::clean(word))?;
    }
    write!(out, "Is it so? [Y/n] ")?;
    out.flush()?;
    let mut line = String::new();
    std::io::stdin().read_line(&mut line)?;
    Ok(matches!(line.trim().to_lowercase().as_str(), "" | "y" | "yes"))
}

/// Asks where runs are that the console counted; an empty line leaves it open.
fn where_are(missing: &[String]) -> std::io::Result<Option<String>> {
    let mut out = std::io::stdout().lock();
    let runs = render::clean(&missing.join(", "));
    write!(
        out,
        "The session has no pull of {runs}. Where is it: scrapped, of another session, no file? Enter leaves it open.\n> "
    )?;
    out.flush()?;
    let mut line = String::new();
    std::io::stdin().read_line(&mut line)?;
    Ok(Some(line.trim().to_owned()).filter(|line| !line.is_empty()))
}
