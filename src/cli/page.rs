//! `page`.

use std::path::PathBuf;

use clap::Args;
use clap::Subcommand;

use crate::answer::DiffAnswer;
use crate::answer::PageMark;
use crate::answer::Refused;
use crate::answer::WeighAnswer;
use crate::cli::REFUSED;
use crate::cli::Said;
use crate::cli::Surroundings;
use crate::cli::weigh::Weigh;
use crate::render;
use crate::store::Book;
use crate::workflow::Failure;
use crate::workflow::compare;
use crate::workflow::compare::DiffRequest;
use crate::workflow::page;
use crate::workflow::page_pull;
use crate::workflow::page_weigh;
use crate::workflow::page_weigh::Weighing;
use crate::workflow::sheet;
use crate::workflow::sheet::SheetRequest;

/// Distance of the rows of a page's curves, rpm.
const STEP_RPM: u32 = 100;
/// That of a sheet's figures near each speed, as `sheet` has it.
const SHEET_STEP_RPM: u32 = 500;

/// Write a page for the browser and for paper: a sheet, what differs between two, or a weighing
#[derive(Debug, Args)]
#[command(
    args_conflicts_with_subcommands = true,
    subcommand_negates_reqs = true,
    after_help = "Examples:\n  mulebook page 0412a-07                      the sheet of a pull with its curve, as sheet-0412a-07.html\n  mulebook page 0412a-03 0412a-07 --out header.html   what differs, with both curves\n  mulebook page weigh --base 0412a-01..03 0412a-09..10 --test 0412a-04..06\n\nOne file with everything in it: no network, no script needed. Of what is refused, the page says the refusal and no figure\n(exit code 3)."
)]
pub(super) struct Page {
    /// A pull or build; the base, where two are named
    #[arg(required = true)]
    about: Option<String>,
    /// The test
    test: Option<String>,
    /// The file to write; one that is there is not replaced
    #[arg(long, short, value_name = "FILE", global = true)]
    out: Option<PathBuf>,
    /// The role under test, where two are named
    #[arg(long, value_name = "ROLE", requires = "test")]
    subject: Option<String>,
    /// The correction that torque and power are brought to; the book's own unless said
    #[arg(long, value_name = "STANDARD", requires = "test")]
    correct_to: Option<String>,
    #[command(subcommand)]
    of: Option<Of>,
}

/// What else a page may be of, named as the command that answers it.
#[derive(Debug, Subcommand)]
enum Of {
    Weigh(Box<Weigh>),
}

/// A page before it is written.
struct Drawn {
    shows: &'static str,
    /// The file's name, where none is asked for.
    name: String,
    mark: PageMark,
    html: String,
    /// What the command says beside it, where the page is of a refusal: text and JSON.
    refused: Option<(String, String)>,
}

impl Page {
    pub(super) fn run(self, surroundings: &Surroundings) -> Result<Said, Failure> {
        let book = surroundings.book()?;
        let drawn = match (self.of, self.about, self.test) {
            (Some(Of::Weigh(weigh)), _, _) => of_weigh(&book, *weigh, surroundings)?,
            (None, Some(base), Some(test)) => {
                let request = DiffRequest {
                    base,
                    test,
                    subject: self.subject,
                    step_rpm: STEP_RPM,
                    correct_to: self.correct_to,
                    pending: false,
                };
                of_diff(&book, &request, surroundings)?
            }
            (None, about, _) => of_sheet(&book, about.unwrap_or_default())?,
        };
        let file = self.out.unwrap_or_else(|| PathBuf::from(drawn.name));
        let answer = page::write(&file, drawn.shows, &drawn.mark, &drawn.html)?;
        let written = render::page_written(&answer, surroundings.look());
        Ok(match drawn.refused {
            Some((text, json)) => Said { text: format!("{text}\n{written}"), json, code: REFUSED },
            None => Said::done(written, render::json("page", &answer)),
        })
    }
}

fn of_sheet(book: &Book, about: String) -> Result<Drawn, Failure> {
    let request = SheetRequest { about, step_rpm: SHEET_STEP_RPM, ..SheetRequest::default() };
    let answer = sheet::of_side(book, &request)?;
    let curve = page_pull::curve_of(book, &answer, STEP_RPM)?;
    let command = ["sheet", &answer.name, "--json"].map(str::to_owned);
    let about = format!("sheet of the {} {}", answer.of, answer.name);
    let mark = page::mark(book, about, &answer.commit, &command, &render::json("sheet", &answer))?;
    Ok(Drawn {
        shows: "sheet",
        name: format!("sheet-{}.html", answer.name),
        html: render::sheet_page(&answer, curve.as_ref(), &mark),
        mark,
        refused: None,
    })
}

fn of_diff(book: &Book, request: &DiffRequest, surroundings: &Surroundings) -> Result<Drawn, Failure> {
    let answer = compare::diff(book, request)?;
    let json = render::json("diff", &answer);
    let (base, test, commit) = match &answer {
        DiffAnswer::Compared(compared) => (&compared.base, &compared.test, &compared.commit),
        DiffAnswer::Refused(refused) => (&refused.base, &refused.test, &refused.commit),
    };
    let mut command = vec!["diff".to_owned(), base.clone(), test.clone(), "--json".to_owned()];
    for (flag, value) in [("--subject", &request.subject), ("--correct-to", &request.correct_to)] {
        command.extend(value.iter().flat_map(|value| [flag.to_owned(), value.clone()]));
    }
    let mark = page::mark(book, format!("{test} against {base}"), commit, &command, &json)?;
    let name = format!("diff-{base}-{test}.html");
    Ok(match &answer {
        DiffAnswer::Compared(compared) => {
            Drawn { shows: "diff", name, html: render::diff_page(compared, &mark), mark, refused: None }
        }
        DiffAnswer::Refused(refused) => {
            refusal(refused, name, mark, (render::diff(&answer, surroundings.look()), json))
        }
    })
}

fn of_weigh(book: &Book, weigh: Weigh, surroundings: &Surroundings) -> Result<Drawn, Failure> {
    let command = weigh.words();
    let request = weigh.request();
    let about = format!("{} against {}", request.test.join(" "), request.base.join(" "));
    let name = "weigh.html".to_owned();
    match page_weigh::weigh_for_page(book, &request)? {
        Weighing::Weighed(page) => {
            let answer = WeighAnswer::Weighed(Box::new(page.weighed.clone()));
            let json = render::json("weigh", &answer);
            let mark = page::mark(book, about, &page.weighed.commit, &command, &json)?;
            Ok(Drawn { shows: "weigh", name, html: render::weigh_page(&page, &mark), mark, refused: None })
        }
        Weighing::Refused(refused) => {
            let answer = WeighAnswer::Refused(refused);
            let json = render::json("weigh", &answer);
            let text = render::weigh(&answer, surroundings.look());
            let WeighAnswer::Refused(refused) = answer else { return Err(page::nothing_to_draw()) };
            let mark = page::mark(book, about, &refused.commit, &command, &json)?;
            Ok(refusal(&refused, name, mark, (text, json)))
        }
        Weighing::Planned => Err(page::nothing_to_draw()),
    }
}

fn refusal(refused: &Refused, name: String, mark: PageMark, said: (String, String)) -> Drawn {
    Drawn { shows: "refusal", name, html: render::refusal_page(refused, &mark), mark, refused: Some(said) }
}
