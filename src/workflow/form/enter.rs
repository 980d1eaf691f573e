//! A form that was keyed back, entered by the command of its record.

use std::path::Path;

use crate::answer::FormEntered;
use crate::answer::Section;
use crate::finding::Finding;
use crate::store::Book;
use crate::workflow::Context;
use crate::workflow::Failure;
use crate::workflow::enter as pulls;
use crate::workflow::flow;
use crate::workflow::form::Layout;
use crate::workflow::form::keyed::Filled;
use crate::workflow::input::FigureInput;
use crate::workflow::make_build;
use crate::workflow::make_part;
use crate::workflow::make_place;
use crate::workflow::measure;
use crate::workflow::rework;
use crate::workflow::take_in::Offered;

/// What was filled in, by name.
struct Sheet<'f>(&'f [Filled]);

impl Sheet<'_> {
    /// A line of the record itself.
    fn own(&self, name: &str) -> Option<String> {
        self.all(name).into_iter().next()
    }

    /// The same where the form has several lines of the name.
    fn all(&self, name: &str) -> Vec<String> {
        let own = self.0.iter().filter(|line| line.section == Section::About && line.name == name);
        own.map(|line| line.value.clone()).collect()
    }

    /// A line that the record cannot do without.
    fn needed(&self, name: &str) -> Result<String, Failure> {
        self.own(name).ok_or_else(|| {
            Failure::fault(
                Finding::error("form-line-blank", "the form does not say what it is of")
                    .found(format!("`{name}` is blank"))
                    .expected("a tag or a name"),
            )
        })
    }

    /// A line that is ticked or not.
    fn ticked(&self, name: &str) -> Result<bool, Failure> {
        match self.own(name).map(|value| value.to_lowercase()).as_deref() {
            None | Some("no" | "n") => Ok(false),
            Some("yes" | "y" | "x") => Ok(true),
            Some(other) => Err(Failure::fault(
                Finding::error("not-a-choice", format!("`{name}` is ticked or not"))
                    .found(format!("`{other}`"))
                    .expected("yes or no"),
            )),
        }
    }

    /// A whole number.
    fn count<T: std::str::FromStr>(&self, name: &str) -> Result<Option<T>, Failure> {
        let Some(value) = self.own(name) else { return Ok(None) };
        value.parse().map(Some).map_err(|_| {
            Failure::fault(
                Finding::error("form-number", format!("`{name}` takes a whole number"))
                    .found(format!("`{value}`")),
            )
        })
    }

    /// The lines of a section in the words of `--set`, with `prefix` before each name.
    fn set(&self, section: Section, prefix: &str) -> Vec<String> {
        let lines = self.0.iter().filter(|line| line.section == section);
        match section {
            // Each of these says its name itself.
            Section::Changed | Section::Fields => lines.map(|line| line.value.clone()).collect(),
            _ => lines.map(|line| format!("{prefix}{}={}", line.name, line.value)).collect(),
        }
    }

    /// Several sections in the order in which they were keyed.
    fn sets(&self, sections: &[Section]) -> Vec<String> {
        let lines = self.0.iter().filter(|line| sections.contains(&line.section));
        let words = |line: &Filled| match line.section {
            Section::Fields => line.value.clone(),
            _ => format!("{}={}", line.name, line.value),
        };
        lines.map(words).collect()
    }

    /// The files named, and before them the table that was written by hand.
    fn offered(&self, folder: &Path) -> Vec<Offered> {
        let rows: Vec<&str> = self
            .0
            .iter()
            .filter(|line| line.section == Section::Table)
            .map(|line| line.value.as_str())
            .collect();
        let table = (!rows.is_empty()).then(|| Offered::Typed((rows.join("\n") + "\n").into_bytes()));
        let files = self.all("file").into_iter().map(|file| Offered::File(folder.join(file)));
        let origin = self.own("derived-from").map(|file| Offered::File(folder.join(file)));
        table.into_iter().chain(files).chain(origin).collect()
    }
}

/// Enters what a form was filled in with. Files are looked for in `folder`.
///
/// # Errors
/// As the record's own command.
pub(super) fn enter(
    book: &Book,
    context: &Context,
    layout: &Layout,
    filled: &[Filled],
    folder: &Path,
) -> Result<FormEntered, Failure> {
    let sheet = Sheet(filled);
    let by = sheet.own("by");
    let entered = match layout.kind.as_str() {
        "build" => {
            let request = make_build::BuildRequest {
                name: sheet.needed("name")?,
                engine: sheet.own("engine"),
                from: sheet.own("from"),
                as_last: sheet.ticked("as-last")?,
                since: sheet.own("since"),
                set: sheet.sets(&[Section::Roles, Section::Settings, Section::Fits]),
                with: sheet.own("with"),
                taken: sheet.own("taken"),
                refit: sheet.ticked("refit")?,
                by,
                note: sheet.own("note"),
            };
            make_build::build(book, context, &request)?
        }
        "session" => {
            let request = make_place::SessionRequest {
                tag: sheet.needed("tag")?,
                cell: if sheet.ticked("as-last")? {
                    sheet.own("cell").unwrap_or_default()
                } else {
                    sheet.needed("cell")?
                },
                as_last: sheet.ticked("as-last")?,
                on: sheet.own("on"),
                by,
                engine: sheet.own("engine"),
                warm_up: sheet.own("warm-up"),
                between: sheet.own("between-pulls"),
                set: sheet.set(Section::Figures, ""),
                with: sheet.own("with"),
                note: sheet.own("note"),
            };
            make_place::session(book, context, &request)?
        }
        "cell" => {
            let request = make_place::CellRequest {
                tag: sheet.needed("tag")?,
                set: sheet.sets(&[Section::Figures, Section::Fields]),
                with: sheet.own("with"),
                by,
                taken: sheet.own("taken"),
            };
            make_place::cell(book, context, &request)?
        }
        "instrument" => {
            let stated = sheet.all("uncertainty").into_iter();
            let request = make_place::InstrumentRequest {
                tag: sheet.needed("tag")?,
                what: sheet.needed("what")?,
                serial: sheet.own("serial"),
                uncertainty: stated.map(|stated| assigned(&stated)).collect(),
                calibrated: sheet.own("calibrated"),
                calibrated_by: sheet.own("calibrated-by"),
                due: sheet.own("due"),
            };
            make_place::instrument(book, context, &request)?
        }
        "pull" => return pull(book, context, &sheet, folder),
        "flow" => return flow_sheet(book, context, &sheet, folder),
        kind if kind.starts_with("measure-") => {
            let figures = filled.iter().filter(|line| line.section != Section::About);
            let figures: Result<Vec<(String, FigureInput)>, Failure> = figures
                .map(|line| {
                    let (name, value) = match line.section {
                        Section::Fields => crate::workflow::input::assignment(&line.value)?,
                        _ => (line.name.clone(), line.value.clone()),
                    };
                    let told = FigureInput::typed(&value);
                    let (with, taken) = (sheet.own("with"), sheet.own("taken"));
                    Ok((name, told.or(with.as_deref(), by.as_deref(), taken.as_deref())))
                })
                .collect();
            measure::measure_all(book, context, &sheet.needed("at")?, &figures?)?
        }
        kind if kind.starts_with("rework-") => {
            let request = rework::ReworkRequest {
                part: sheet.needed("part")?,
                op: sheet.needed("work")?,
                details: sheet.set(Section::Details, ""),
                letter: sheet.own("state"),
                on: sheet.own("on"),
                by,
                note: sheet.own("note"),
            };
            rework::rework(book, context, &request)?
        }
        kind => {
            let never = sheet.own("never").unwrap_or_default();
            let never = never.split(',').map(str::trim).filter(|role| !role.is_empty());
            let request = make_part::PartRequest {
                kind: Some(kind.to_owned()),
                tag: sheet.needed("tag")?,
                from: sheet.own("from"),
                name: sheet.own("name"),
                serial: sheet.own("serial"),
                batch: sheet.own("batch"),
                how: sheet.own("how"),
                since: sheet.own("since"),
                cylinders: sheet.count("cylinders")?,
                never: never.map(str::to_owned).collect(),
                set: sheet.sets(&[Section::Figures, Section::Fields]),
                with: sheet.own("with"),
                taken: sheet.own("taken"),
                by,
            };
            make_part::part(book, context, &request)?
        }
    };
    Ok(FormEntered::Record(entered))
}

/// `WHAT: VALUE` as `WHAT=VALUE`.
fn assigned(text: &str) -> String {
    text.split_once(':')
        .map_or_else(|| text.to_owned(), |(what, is)| format!("{}={}", what.trim(), is.trim()))
}

fn pull(book: &Book, context: &Context, sheet: &Sheet<'_>, folder: &Path) -> Result<FormEntered, Failure> {
    let mut set = sheet.set(Section::Conditions, "conditions.");
    set.extend(sheet.set(Section::Run, "run."));
    let request = pulls::PullRequest {
        files: sheet.offered(folder),
        derived_from: sheet.own("derived-from").map(|file| folder.join(file)),
        session: sheet.own("session"),
        build: sheet.own("build"),
        as_last: sheet.ticked("as-last")?,
        columns: sheet.own("columns"),
        read: sheet.all("read"),
        order: sheet.count("number")?,
        skipped: sheet.own("skipped"),
        at: sheet.own("at"),
        by: sheet.own("by"),
        set,
        changed: sheet.set(Section::Changed, ""),
        with: sheet.all("with"),
        correction: sheet.own("correction"),
        set_aside: sheet.own("set-aside"),
        refit: sheet.ticked("refit")?,
        segment: sheet.count("segment")?,
        note: sheet.own("note"),
        ..pulls::PullRequest::default()
    };
    Ok(FormEntered::Pull(pulls::pull(book, context, &request)?))
}

fn flow_sheet(
    book: &Book,
    context: &Context,
    sheet: &Sheet<'_>,
    folder: &Path,
) -> Result<FormEntered, Failure> {
    // `COLUMN:SIDE:N` on paper, where an equals sign begins what is written.
    let port = |text: String| match text.split(':').collect::<Vec<_>>().as_slice() {
        [place, side, number] => format!("{place}={side}:{number}"),
        _ => text,
    };
    let request = flow::FlowRequest {
        files: sheet.offered(folder),
        derived_from: sheet.own("derived-from").map(|file| folder.join(file)),
        part: sheet.needed("part")?,
        with_part: sheet.all("with-part"),
        ports: sheet.all("port").into_iter().map(port).collect(),
        name: sheet.own("name"),
        bench: sheet.own("bench"),
        as_last: sheet.ticked("as-last")?,
        on: sheet.own("on"),
        by: sheet.own("by"),
        set: sheet.set(Section::Conditions, ""),
        with: sheet.all("with"),
        units: sheet.all("unit").iter().map(|unit| assigned(unit)).collect(),
        columns: sheet.own("columns"),
        read: sheet.all("read"),
        note: sheet.own("note"),
        ..flow::FlowRequest::default()
    };
    Ok(FormEntered::Flow(flow::flow(book, context, &request)?))
}
