//! Arguments in, one workflow, one rendering out; a file for each command.
//!
//! In: arguments, environment, clock, terminal. Out: text or JSON on standard output, progress and failures on standard
//! error, an exit code: 0 done, 1 fault, 2 usage, 3 comparison refused, 4 evidence damaged, 5 claim not shown. It decides
//! nothing.
#![expect(
    clippy::disallowed_methods,
    reason = "the outermost room: clock, environment and current folder are read here and handed down"
)]

mod as_of;
mod audit;
mod claim;
mod combos;
mod correct;
mod demo;
mod diff;
mod dossier;
mod doubt;
mod find;
mod flow;
mod form;
mod gaps;
mod keep;
mod look;
mod make;
mod measure;
mod mend;
mod page;
mod pull;
mod sheet;
mod surroundings;
mod table;
mod trail;
mod typed;
mod weigh;

use std::ffi::OsString;
use std::io::Write;
use std::path::PathBuf;

use clap::Parser;
use clap::Subcommand;

use crate::answer::KnownLine;
use crate::finding::Finding;
use crate::render;
use crate::render::Look;
use crate::workflow::Failure;
use crate::workflow::FailureKind;

pub(crate) use surroundings::Surroundings;

/// Exit code of what failed.
const FAILED: u8 = 1;
/// Exit code of a refused comparison.
const REFUSED: u8 = 3;
/// Exit code of damaged evidence.
const DAMAGED: u8 = 4;
/// Exit code of a claim that was to be checked and is not shown.
const NOT_SHOWN: u8 = 5;

/// The record book of a test engine: what was on it, how each figure is known, what changed, and whether two pulls may
/// be compared.
#[derive(Debug, Parser)]
#[command(
    name = "mulebook",
    version,
    max_term_width = 100,
    after_help = "Try it:\n  mulebook demo               a worked book, from raw files to a comparison\n  mulebook new my-engine      an empty book\n\nEvery command takes --json, works with no network, and leaves nothing half-written.\nExit codes: 0 done, 1 fault, 2 usage, 3 comparison refused, 4 evidence damaged, 5 claim not shown."
)]
struct Arguments {
    #[command(flatten)]
    common: Common,
    #[command(subcommand)]
    command: Command,
}

/// What every command takes.
#[derive(Debug, clap::Args)]
pub(crate) struct Common {
    /// Answer as JSON with a documented shape
    #[arg(long, global = true)]
    json: bool,
    /// The book; the one around the current folder unless said
    #[arg(long, global = true, value_name = "DIR")]
    book: Option<PathBuf>,
    /// Who enters this, as people.yaml calls them (or set MULEBOOK_PERSON)
    #[arg(long, global = true, value_name = "INITIALS")]
    by: Option<String>,
    /// Sign the commit with this SSH key, or with the agent's where it is a public key (or set MULEBOOK_SIGNING_KEY)
    #[arg(long, global = true, value_name = "FILE")]
    key: Option<PathBuf>,
}

#[derive(Debug, Subcommand)]
enum Command {
    New(make::New),
    Demo(demo::Demo),
    Part(make::Part),
    Build(make::Build),
    Session(make::Session),
    Cell(make::Cell),
    Instrument(make::Instrument),
    Measure(measure::Measure),
    Rework(measure::Rework),
    Correct(correct::Correct),
    Doubt(doubt::Doubt),
    Look(look::Look),
    Pull(pull::Pull),
    Flow(flow::Flow),
    Form(form::Form),
    Table(table::Table),
    Keep(keep::Keep),
    Gaps(gaps::Gaps),
    Diff(diff::Diff),
    Weigh(weigh::Weigh),
    Combos(combos::Combos),
    Claim(claim::Claim),
    Dossier(dossier::Dossier),
    Verify(dossier::Verify),
    Sheet(sheet::Sheet),
    Page(page::Page),
    Trail(trail::Trail),
    Find(find::Find),
    Audit(audit::Audit),
    Mend(mend::Mend),
}

/// What a command has to say.
pub(crate) struct Said {
    /// For people.
    pub(crate) text: String,
    /// For programs.
    pub(crate) json: String,
    /// The exit code.
    pub(crate) code: u8,
}

impl Said {
    /// An answer that may have been asked as known on a date.
    pub(crate) fn known<T: serde::Serialize>(
        known: Option<&KnownLine>,
        look: Look,
        text: &str,
        (name, answer): (&str, &T),
    ) -> Self {
        Self::done(render::as_known(known, text, look), render::json_as_known(name, known, answer))
    }

    /// The same with another exit code.
    pub(crate) fn ending(self, code: u8) -> Self {
        Self { code, ..self }
    }

    /// A text and its JSON, done.
    pub(crate) fn done(text: String, json: String) -> Self {
        Self { text, json, code: 0 }
    }
}

/// Runs a command line; returns the exit code.
pub fn run(arguments: impl IntoIterator<Item = OsString>) -> u8 {
    let arguments = match Arguments::try_parse_from(arguments) {
        Ok(arguments) => arguments,
        Err(error) => {
            let code = if error.use_stderr() { 2 } else { 0 };
            let text = error.to_string();
            // A file name that the shell put in may hold anything.
            let clean = render::clean(&text);
            let printed = if clean == text { error.print() } else { say(&clean, error.use_stderr()) };
            return if printed.is_ok() { code } else { 1 };
        }
    };
    let json = arguments.common.json;
    let surroundings = Surroundings::read(arguments.common);
    let outcome = dispatch(arguments.command, &surroundings);
    let (code, text, to_stderr) = match outcome {
        Ok(said) => (said.code, if json { said.json } else { said.text }, false),
        Err(failure) => {
            let code = match failure.kind {
                FailureKind::Fault => FAILED,
                FailureKind::Usage => 2,
                FailureKind::Damaged => DAMAGED,
            };
            if json {
                (code, render::json("error", &Failed { findings: &failure.findings }), false)
            } else {
                (code, render::failure(&failure.findings, surroundings.look_of_errors()), true)
            }
        }
    };
    surroundings.end_progress();
    let untold = surroundings.untold();
    if !untold.is_empty() {
        // On standard error even beside JSON; that it cannot be shown there changes nothing of the answer.
        let _ = say(&render::failure(&untold, surroundings.look_of_errors()), true);
    }
    if say(&text, to_stderr).is_err() && code == 0 {
        // What was done is done; that it could not be told is not to pass for success.
        return 1;
    }
    code
}

#[derive(serde::Serialize)]
struct Failed<'a> {
    findings: &'a [Finding],
}

fn say(text: &str, to_stderr: bool) -> std::io::Result<()> {
    if to_stderr {
        let mut out = std::io::stderr().lock();
        out.write_all(text.as_bytes())?;
        out.flush()
    } else {
        let mut out = std::io::stdout().lock();
        out.write_all(text.as_bytes())?;
        out.flush()
    }
}

fn dispatch(command: Command, surroundings: &Surroundings) -> Result<Said, Failure> {
    match command {
        Command::New(args) => args.run(surroundings),
        Command::Demo(args) => args.run(surroundings),
        Command::Part(args) => args.run(surroundings),
        Command::Build(args) => args.run(surroundings),
        Command::Session(args) => args.run(surroundings),
        Command::Cell(args) => args.run(surroundings),
        Command::Instrument(args) => args.run(surroundings),
        Command::Measure(args) => args.run(surroundings),
        Command::Rework(args) => args.run(surroundings),
        Command::Correct(args) => args.run(surroundings),
        Command::Doubt(args) => args.run(surroundings),
        Command::Look(args) => args.run(surroundings),
        Command::Pull(args) => args.run(surroundings),
        Command::Flow(args) => args.run(surroundings),
        Command::Form(args) => args.run(surroundings),
        Command::Table(args) => args.run(surroundings),
        Command::Keep(args) => args.run(surroundings),
        Command::Gaps(args) => args.run(surroundings),
        Command::Diff(args) => args.run(surroundings),
        Command::Weigh(args) => args.run(surroundings),
        Command::Combos(args) => args.run(surroundings),
        Command::Claim(args) => args.run(surroundings),
        Command::Dossier(args) => args.run(surroundings),
        Command::Verify(args) => args.run(surroundings),
        Command::Sheet(args) => args.run(surroundings),
        Command::Page(args) => args.run(surroundings),
        Command::Trail(args) => args.run(surroundings),
        Command::Find(args) => args.run(surroundings),
        Command::Audit(args) => args.run(surroundings),
        Command::Mend(args) => args.run(surroundings),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use clap::CommandFactory;

    #[test]
    fn the_command_line_is_well_formed() {
        Arguments::command().debug_assert();
    }

    #[test]
    fn every_command_shows_an_example() {
        for command in Arguments::command().get_subcommands() {
            let help = command.clone().render_long_help().to_string();
            assert!(help.contains("Example"), "{}", command.get_name());
        }
    }
}
