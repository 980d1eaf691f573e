//! `page`.

use std::path::PathBuf;

use clap::Args;

use crate::answer::DiffAnswer;
use crate::cli::REFUSED;
use crate::cli::Said;
use crate::cli::Surroundings;
use crate::render;
use crate::workflow::Failure;
use crate::workflow::compare;
use crate::workflow::compare::DiffRequest;
use crate::workflow::page;
use crate::workflow::sheet;
use crate::workflow::sheet::SheetRequest;

/// Write a page for the browser and for paper: a build sheet, or what differs between two, with its curves
#[derive(Debug, Args)]
#[command(
    after_help = "Examples:\n  mulebook page 0412a-07                      the sheet of a pull, as sheet-0412a-07.html\n  mulebook page 0412a-03 0412a-07 --out header.html   what differs, with both curves\n\nOne file with everything in it: no network, no script needed. What `diff` refuses, no page shows (exit code 3)."
)]
pub(super) struct Page {
    /// A pull or build; the base, where two are named
    about: String,
    /// The test
    test: Option<String>,
    /// The file to write; one that is there is not replaced
    #[arg(long, short, value_name = "FILE")]
    out: Option<PathBuf>,
    /// The role under test, where two are named
    #[arg(long, value_name = "ROLE", requires = "test")]
    subject: Option<String>,
    /// The correction that torque and power are brought to; the book's own unless said
    #[arg(long, value_name = "STANDARD", requires = "test")]
    correct_to: Option<String>,
}

impl Page {
    pub(super) fn run(self, surroundings: &Surroundings) -> Result<Said, Failure> {
        let book = surroundings.book()?;
        let (shows, name, commit, html) = match self.test {
            None => {
                let request = SheetRequest { about: self.about, step_rpm: 500, ..SheetRequest::default() };
                let answer = sheet::of_side(&book, &request)?;
                (
                    "sheet",
                    format!("sheet-{}.html", answer.name),
                    answer.commit.clone(),
                    render::sheet_page(&answer),
                )
            }
            Some(test) => {
                let request = DiffRequest {
                    base: self.about,
                    test,
                    subject: self.subject,
                    step_rpm: 100,
                    correct_to: self.correct_to,
                    pending: false,
                };
                let answer = compare::diff(&book, &request)?;
                let DiffAnswer::Compared(compared) = &answer else {
                    let text = render::diff(&answer, surroundings.look());
                    return Ok(Said { text, json: render::json("diff", &answer), code: REFUSED });
                };
                let name = format!("diff-{}-{}.html", compared.base, compared.test);
                ("diff", name, compared.commit.clone(), render::diff_page(compared))
            }
        };
        let file = self.out.unwrap_or_else(|| PathBuf::from(name));
        let answer = page::write(&file, shows, &commit, &html)?;
        Ok(Said::done(render::page_written(&answer, surroundings.look()), render::json("page", &answer)))
    }
}
