//! `form`.

use std::io::BufRead;
use std::io::Read;
use std::io::Write;
use std::path::Path;
use std::path::PathBuf;

use clap::Args;

use crate::answer::FormAnswer;
use crate::answer::FormEntered;
use crate::answer::FormKeyed;
use crate::cli::Said;
use crate::cli::Surroundings;
use crate::finding::Finding;
use crate::render;
use crate::store::Book;
use crate::workflow::Context;
use crate::workflow::Failure;
use crate::workflow::Library;
use crate::workflow::form;
use crate::workflow::form::FormRequest;
use crate::workflow::page;

/// Print a numbered paper form for a record, or key one back
#[derive(Debug, Args)]
#[command(
    after_help = "Examples:\n  mulebook form cylinder-head               a blank form, by the kind's schema\n  mulebook form measure h2/b --html h2.html   what can be measured of a part, to print\n  mulebook form pull 0412a                  the next pull of a session\n  mulebook form build --of b3               what a record says, as it would be keyed\n  mulebook form cylinder-head --fill head.txt   keyed back; `-` for standard input\n  mulebook form measure h2/b --fill         asks line by line\n\nWhat is keyed is NUMBER = VALUE, a line each (`12 = 33.0 mm`, `14 = .041`, `15 = ? 64 cc; by eye`). Blank lines stay\nblank. The record that is written is the one that part, build, session, cell, instrument, pull, flow, measure or rework\nwould have written.\n\nKinds: every kind of part, the book's own too; build, session, cell, instrument, pull, flow, measure, rework."
)]
pub(super) struct Form {
    /// The kind of part, or build, session, cell, instrument, pull, flow, measure, rework
    kind: String,
    /// What its first line says: a tag; for measure what is measured, for pull the session
    subject: Option<String>,
    /// Fill it in with what a record says
    #[arg(long, value_name = "RECORD", conflicts_with = "fill")]
    of: Option<String>,
    /// Key back a form that was filled in; without a file the lines are asked for
    #[arg(long, value_name = "FILE", num_args = 0..=1, conflicts_with = "html")]
    fill: Option<Option<PathBuf>>,
    /// Write it for the browser and for paper; a file that is there is not replaced
    #[arg(long, value_name = "FILE")]
    html: Option<PathBuf>,
}

impl Form {
    pub(super) fn run(self, surroundings: &Surroundings) -> Result<Said, Failure> {
        let book = surroundings.book()?;
        let request = FormRequest { kind: self.kind, subject: self.subject, of: self.of };
        let look = surroundings.look();
        if let Some(file) = &self.fill {
            let context = surroundings.context("form", Some(&book))?;
            let (name, text) = match file {
                Some(file) => read(file)?,
                None => ("what was answered".to_owned(), ask(&book, &context, &request, surroundings)?),
            };
            let keyed = form::fill(&book, &context, &request, (&name, &text), Path::new(""));
            let keyed = keyed.inspect_err(|_| {
                if file.is_none() {
                    // Nobody is to answer forty lines twice.
                    let words = "Nothing was entered. What was answered, to be mended and given to --fill:\n";
                    surroundings.say_beforehand(&render::clean(&format!("{words}{text}")));
                }
            })?;
            if recovered(&keyed) {
                surroundings.told_recovery();
            }
            return Ok(Said::done(render::form_keyed(&keyed, look), render::json("form-keyed", &keyed)));
        }
        let answer = form::form(&book, &request)?;
        let json = render::json("form", &answer);
        let Some(file) = &self.html else {
            return Ok(Said::done(render::form(&answer, look), json));
        };
        let mut command = vec!["form".to_owned(), request.kind.clone()];
        command.extend(request.subject.clone());
        command.extend(request.of.iter().flat_map(|of| ["--of".to_owned(), of.clone()]));
        command.push("--json".to_owned());
        let mark = page::mark(&book, answer.form.clone(), &answer.commit, &command, &json, (&[], None))?;
        let written = page::write(file, "form", &mark, &render::form_page(&answer, &mark))?;
        Ok(Said::done(render::page_written(&written, look), render::json("page", &written)))
    }
}

fn recovered(keyed: &FormKeyed) -> bool {
    let written = match &keyed.entered {
        FormEntered::Record(entered) => Some(&entered.written),
        FormEntered::Pull(entered) => entered.taken_in.written.as_ref(),
        FormEntered::Flow(entered) => entered.taken_in.written.as_ref(),
    };
    written.is_some_and(|written| written.recovered.is_some())
}

/// The form's text, and what it is called in findings.
fn read(file: &Path) -> Result<(String, String), Failure> {
    if file.as_os_str() != "-" {
        return Ok((file.display().to_string(), form::text_of(file)?));
    }
    let mut bytes = Vec::new();
    std::io::stdin().lock().take(form::LONGEST + 1).read_to_end(&mut bytes).map_err(|error| {
        Failure::fault(
            Finding::error("form-unread", format!("standard input could not be read: {error}"))
                .next("give the form as a file"),
        )
    })?;
    Ok(("standard input".to_owned(), form::text(bytes, "standard input")?))
}

/// Asks for each line in turn; a value that cannot stand there is asked for again.
fn ask(
    book: &Book,
    context: &Context,
    request: &FormRequest,
    surroundings: &Surroundings,
) -> Result<String, Failure> {
    if surroundings.json() {
        return Err(Failure::usage(
            Finding::error("cannot-ask", "--fill without a file asks a person; it does not go with --json")
                .next("name the file, or `-`"),
        ));
    }
    let library = Library::at_head(book)?;
    let answer = form::form(book, request)?;
    let mut input = std::io::stdin().lock();
    let mut text = format!("form = {}\n", answer.form);
    for section in &answer.sections {
        show(&format!("\n{}\n", section.title))?;
        for line in &section.lines {
            loop {
                let Some(value) = answered(&answer, line, &mut input)? else { return Ok(text) };
                let held = if value.is_empty() {
                    Ok(())
                } else {
                    form::check(&library, context, &answer.kind, (section.section, line), &value)
                };
                match held {
                    Ok(()) => {
                        let value =
                            if value.is_empty() { line.value.clone().unwrap_or_default() } else { value };
                        text.push_str(&format!("{} = {value}\n", line.number));
                        break;
                    }
                    Err(failure) => show(&render::failure(&failure.findings, render::Look::default()))?,
                }
            }
        }
    }
    Ok(text)
}

/// The answer to one line, none at the end of the input.
fn answered(
    answer: &FormAnswer,
    line: &crate::answer::FormLine,
    input: &mut impl BufRead,
) -> Result<Option<String>, Failure> {
    let count = answer.sections.iter().map(|section| section.lines.len()).sum::<usize>();
    let words = if line.words.is_empty() { String::new() } else { format!(" ({})", line.words.join(", ")) };
    let stands = line.value.as_ref().map(|value| format!(" [{value}]")).unwrap_or_default();
    show(&format!("{} of {count} {}{words}{stands}: ", line.number, line.label()))?;
    let mut said = String::new();
    let read = input.read_line(&mut said).map_err(cannot_ask)?;
    if read == 0 {
        show("\n")?;
        return Ok(None);
    }
    Ok(Some(said.trim().to_owned()))
}

fn show(text: &str) -> Result<(), Failure> {
    let mut out = std::io::stdout().lock();
    out.write_all(render::clean(text).as_bytes()).and_then(|()| out.flush()).map_err(cannot_ask)
}

fn cannot_ask(error: std::io::Error) -> Failure {
    Finding::error("cannot-ask", format!("the terminal could not be read or written: {error}")).into()
}
