//! `page`.

use std::path::PathBuf;

use clap::Args;
use clap::Subcommand;

use crate::answer::DiffAnswer;
use crate::answer::FlowDiffAnswer;
use crate::answer::PageMark;
use crate::answer::Refused;
use crate::answer::SheetAnswer;
use crate::answer::WeighAnswer;
use crate::cli::REFUSED;
use crate::cli::Said;
use crate::cli::Surroundings;
use crate::cli::combos::Combos;
use crate::cli::trail::Trail;
use crate::cli::weigh::Weigh;
use crate::render;
use crate::store::Book;
use crate::workflow::AsOf;
use crate::workflow::Failure;
use crate::workflow::claim_standing;
use crate::workflow::combos;
use crate::workflow::compare::DiffRequest;
use crate::workflow::compare_flow;
use crate::workflow::compare_flow::Difference;
use crate::workflow::page;
use crate::workflow::page_booklet;
use crate::workflow::page_weigh;
use crate::workflow::page_weigh::Weighing;
use crate::workflow::sheet;
use crate::workflow::sheet::Laid;
use crate::workflow::sheet::SheetRequest;

/// Distance of the rows of a page's curves, rpm.
const STEP_RPM: u32 = 100;
/// That of a sheet's figures near each speed, as `sheet` has it.
const SHEET_STEP_RPM: u32 = 500;

/// Write a page for the browser and for paper: a sheet, what differs, a weighing, combinations, a life, a claim, a booklet
#[derive(Debug, Args)]
#[command(
    args_conflicts_with_subcommands = true,
    subcommand_negates_reqs = true,
    after_help = "Examples:\n  mulebook page 0412a-07                      the sheet of a pull with its curve, as sheet-0412a-07.html\n  mulebook page 0412a-07 --one-page           the same on one sheet of paper\n  mulebook page 0412a-03 0412a-07 --out header.html   what differs, with both curves\n  mulebook page weigh --base 0412a-01..03 0412a-09..10 --test 0412a-04..06\n  mulebook page combos --rows header --cols intake\n  mulebook page trail h2                      a part's life on a time line\n  mulebook page claim header-gain             a claim, its verdict and the weighing behind it\n  mulebook page --booklet engine=mule-1       every pull of it, with contents and an index of parts\n\nOne file with everything in it: no network, no script needed. Of what is refused, the page says the refusal and no figure\n(exit code 3)."
)]
pub(super) struct Page {
    /// A pull, build or flow sheet; the base, where two are named
    #[arg(required_unless_present = "booklet")]
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
    /// Only what fits one sheet of paper; the rest is counted
    #[arg(long)]
    one_page: bool,
    /// A booklet of one-page sheets of these pulls: pulls, ranges, builds, sessions or queries (engine=mule-1)
    #[arg(long, value_name = "PULLS", num_args = 1.., conflicts_with_all = ["about", "one_page"])]
    booklet: Vec<String>,
    #[command(subcommand)]
    of: Option<Of>,
}

/// What else a page may be of, named as the command that answers it.
#[derive(Debug, Subcommand)]
enum Of {
    Weigh(Box<Weigh>),
    Combos(Combos),
    Trail(Trail),
    /// A claim with its standing, its verdict and the weighing behind it
    #[command(after_help = "Example:\n  mulebook page claim header-gain")]
    Claim {
        /// The claim's short tag
        name: String,
    },
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

impl Drawn {
    fn of(shows: &'static str, name: String, mark: PageMark, html: String) -> Self {
        Self { shows, name, mark, html, refused: None }
    }
}

impl Page {
    pub(super) fn run(self, surroundings: &Surroundings) -> Result<Said, Failure> {
        let book = surroundings.book()?;
        let drawn = match (self.of, self.about, self.test) {
            (Some(Of::Weigh(weigh)), _, _) => match weigh.claim() {
                Some(name) => of_claim(&book, name, surroundings)?,
                None => of_weigh(&book, *weigh, surroundings)?,
            },
            (Some(Of::Combos(combos)), _, _) => of_combos(&book, combos)?,
            (Some(Of::Trail(trail)), _, _) => of_trail(&book, &trail)?,
            (Some(Of::Claim { name }), _, _) => of_claim(&book, &name, surroundings)?,
            (None, Some(base), Some(test)) => {
                let request = DiffRequest {
                    base,
                    test,
                    subject: self.subject,
                    step_rpm: STEP_RPM,
                    correct_to: self.correct_to,
                    as_of: AsOf::Present,
                };
                of_two(&book, &request, self.one_page, surroundings)?
            }
            (None, Some(about), None) => of_sheet(&book, about, self.one_page)?,
            (None, None, _) => of_booklet(&book, &self.booklet)?,
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

fn of_sheet(book: &Book, about: String, one_page: bool) -> Result<Drawn, Failure> {
    let request = SheetRequest { about, step_rpm: SHEET_STEP_RPM, ..SheetRequest::default() };
    let answer = match sheet::sheet(book, &request)? {
        Laid::Side(answer) => answer,
        Laid::Flow(answer) => {
            let about = format!("flow sheet {}", answer.flow);
            let json = render::json("flow-sheet", &*answer);
            let mark = page::mark(
                book,
                about,
                &answer.commit,
                &sheet_command(&answer.flow),
                &json,
                (&answer.pending, None),
            )?;
            let html = render::flow_sheet_page(&answer, &mark);
            return Ok(Drawn::of("flow-sheet", format!("flow-{}.html", answer.flow), mark, html));
        }
    };
    let about = format!("sheet of the {} {}", answer.of, answer.name);
    let json = render::json("sheet", &*answer);
    let mark = page::mark(
        book,
        about,
        &answer.commit,
        &sheet_command(&answer.name),
        &json,
        (&answer.pending, None),
    )?;
    let draw = if one_page { render::sheet_leaf_page } else { render::sheet_page };
    let html = draw(&answer, &mark);
    Ok(Drawn::of("sheet", format!("sheet-{}.html", answer.name), mark, html))
}

fn sheet_command(name: &str) -> [String; 3] {
    ["sheet", name, "--json"].map(str::to_owned)
}

fn of_two(
    book: &Book,
    request: &DiffRequest,
    one_page: bool,
    surroundings: &Surroundings,
) -> Result<Drawn, Failure> {
    let answer = compare_flow::any(book, request)?;
    let (json, text) = match &answer {
        Difference::Pulls(answer) => {
            (render::json("diff", answer), render::diff(answer, surroundings.look()))
        }
        Difference::Flow(answer) => {
            (render::json("flow-diff", answer), render::flow_diff(answer, surroundings.look()))
        }
    };
    let (base, test, commit, pending) = match &answer {
        Difference::Pulls(DiffAnswer::Compared(compared)) => {
            (&compared.base, &compared.test, &compared.commit, &compared.pending)
        }
        Difference::Flow(FlowDiffAnswer::Compared(compared)) => {
            (&compared.base, &compared.test, &compared.commit, &compared.pending)
        }
        Difference::Pulls(DiffAnswer::Refused(refused))
        | Difference::Flow(FlowDiffAnswer::Refused(refused)) => {
            (&refused.base, &refused.test, &refused.commit, &refused.pending)
        }
    };
    let mut command = vec!["diff".to_owned(), base.clone(), test.clone(), "--json".to_owned()];
    for (flag, value) in [("--subject", &request.subject), ("--correct-to", &request.correct_to)] {
        command.extend(value.iter().flat_map(|value| [flag.to_owned(), value.clone()]));
    }
    let mark = page::mark(book, format!("{test} against {base}"), commit, &command, &json, (pending, None))?;
    let name = format!("diff-{base}-{test}.html");
    Ok(match &answer {
        Difference::Pulls(DiffAnswer::Compared(compared)) => {
            let draw = if one_page { render::diff_leaf_page } else { render::diff_page };
            let html = draw(compared, &mark);
            Drawn::of("diff", name, mark, html)
        }
        Difference::Flow(FlowDiffAnswer::Compared(compared)) => {
            let html = render::flow_diff_page(compared, &mark);
            Drawn::of("flow-diff", name, mark, html)
        }
        Difference::Pulls(DiffAnswer::Refused(refused))
        | Difference::Flow(FlowDiffAnswer::Refused(refused)) => refusal(refused, name, mark, (text, json)),
    })
}

fn of_combos(book: &Book, combos: Combos) -> Result<Drawn, Failure> {
    let command = combos.words();
    let request = combos.request();
    if request.as_of == AsOf::Pending {
        return Err(page::nothing_pending());
    }
    let known = request.as_of.known(book)?;
    let answer = combos::combos(book, &request)?;
    let about = format!("{} by {}", answer.row_role, answer.column_role);
    let json = render::json_as_known("combos", known.as_ref(), &answer);
    let mark = page::mark(book, about, &answer.commit, &command, &json, (&answer.pending, known))?;
    let name = format!("combos-{}-{}.html", answer.row_role, answer.column_role);
    let html = render::combos_page(&answer, &mark);
    Ok(Drawn::of("combos", name, mark, html))
}

fn of_claim(book: &Book, name: &str, surroundings: &Surroundings) -> Result<Drawn, Failure> {
    let answer = claim_standing::claim(book, name)?;
    let command = ["claim", &answer.claim, "--json"].map(str::to_owned);
    let about = format!("claim {}", answer.claim);
    let json = render::json("claim", &answer);
    let mark = page::mark(book, about, &answer.commit, &command, &json, (&answer.pending, None))?;
    let html = render::claim_standing_page(&answer, &mark);
    let mut drawn = Drawn::of("claim", format!("claim-{}.html", answer.claim), mark, html);
    if let Some(WeighAnswer::Refused(_)) = answer.weighing {
        drawn.refused = Some((render::claim(&answer, surroundings.look()), json));
    }
    Ok(drawn)
}

fn of_trail(book: &Book, trail: &Trail) -> Result<Drawn, Failure> {
    if trail.is_of_baseline() {
        return Err(page::no_baseline_page());
    }
    let as_of = trail.as_of();
    let known = as_of.known(book)?;
    let answer = trail.answer(book, &as_of)?;
    let about = format!("life of {}", answer.about);
    let json = render::json_as_known("trail", known.as_ref(), &answer);
    let mark = page::mark(book, about, &answer.commit, &trail.words(), &json, (&answer.pending, known))?;
    let html = render::trail_page(&answer, &mark);
    Ok(Drawn::of("trail", "trail.html".to_owned(), mark, html))
}

fn of_booklet(book: &Book, asked: &[String]) -> Result<Drawn, Failure> {
    let json = |sheet: &SheetAnswer| render::json("sheet", sheet);
    let (booklet, mark) = page_booklet::gather(book, asked, SHEET_STEP_RPM, &json)?;
    let html = render::booklet_page(&booklet, &mark);
    Ok(Drawn::of("booklet", "booklet.html".to_owned(), mark, html))
}

fn of_weigh(book: &Book, weigh: Weigh, surroundings: &Surroundings) -> Result<Drawn, Failure> {
    let command = weigh.words();
    let request = weigh.request();
    if request.as_of == AsOf::Pending {
        return Err(page::nothing_pending());
    }
    let about = format!("{} against {}", request.test.join(" "), request.base.join(" "));
    let name = "weigh.html".to_owned();
    let known = request.as_of.known(book)?;
    match page_weigh::weigh_for_page(book, &request)? {
        Weighing::Weighed(page) => {
            let answer = WeighAnswer::Weighed(Box::new(page.weighed.clone()));
            let json = render::json_as_known("weigh", known.as_ref(), &answer);
            let pending = &page.weighed.pending;
            let mark = page::mark(book, about, &page.weighed.commit, &command, &json, (pending, known))?;
            let html = render::weigh_page(&page, &mark);
            Ok(Drawn::of("weigh", name, mark, html))
        }
        Weighing::Refused(refused) => {
            let answer = WeighAnswer::Refused(refused);
            let json = render::json_as_known("weigh", known.as_ref(), &answer);
            let look = surroundings.look();
            let text = render::as_known(known.as_ref(), &render::weigh(&answer, look), look);
            let WeighAnswer::Refused(refused) = answer else { return Err(page::nothing_to_draw()) };
            let pending = &refused.pending;
            let mark = page::mark(book, about, &refused.commit, &command, &json, (pending, known))?;
            Ok(refusal(&refused, name, mark, (text, json)))
        }
        Weighing::Planned => Err(page::nothing_to_draw()),
    }
}

fn refusal(refused: &Refused, name: String, mark: PageMark, said: (String, String)) -> Drawn {
    Drawn { shows: "refusal", name, html: render::refusal_page(refused, &mark), mark, refused: Some(said) }
}
