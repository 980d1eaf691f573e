//! Paper forms: the lines of a record by its schema, blank or as a record fills them, and keyed back through the
//! commands that enter such a record.

mod enter;
mod keyed;
mod lines;
mod of;

pub use keyed::LONGEST;
pub use keyed::check;
pub use keyed::fill;
pub use keyed::text;
pub use keyed::text_of;

use crate::answer::FormAnswer;
use crate::answer::FormLine;
use crate::answer::FormSection;
use crate::answer::Section;
use crate::finding::Finding;
use crate::store::Book;
use crate::store::digest;
use crate::workflow::Failure;
use crate::workflow::Library;
use crate::workflow::names;

/// Digits behind a form's number that change with its lines.
const MARK: usize = 4;

/// The lines of a form.
pub(super) struct Layout {
    form: String,
    kind: String,
    title: String,
    schema: u32,
    sections: Vec<FormSection>,
}

impl Layout {
    fn new(kind: &str, title: &str, schema: u32, sections: Vec<FormSection>) -> Self {
        let sections: Vec<FormSection> =
            sections.into_iter().filter(|section| !section.lines.is_empty()).collect();
        let mut names = String::new();
        for section in &sections {
            for line in &section.lines {
                names.push_str(&format!("{:?} {}\n", section.section, line.name));
            }
        }
        let mark = digest(names.as_bytes());
        let form = format!("{kind}-{schema}-{}", mark.get(..MARK).unwrap_or(&mark));
        let (kind, title) = (kind.to_owned(), title.to_owned());
        let mut layout = Self { form, kind, title, schema, sections };
        let lines = layout.sections.iter_mut().flat_map(|section| section.lines.iter_mut());
        for (number, line) in (1..).zip(lines) {
            line.number = number;
        }
        layout
    }

    fn lines(&self) -> impl Iterator<Item = (Section, &FormLine)> {
        self.sections.iter().flat_map(|section| section.lines.iter().map(|line| (section.section, line)))
    }

    fn last(&self) -> u32 {
        self.lines().last().map_or(0, |(_, line)| line.number)
    }
}

/// What `form` is asked.
#[derive(Debug, Clone, Default)]
pub struct FormRequest {
    /// The kind of record: a kind of part, `build`, `session`, `cell`, `instrument`, `pull`, `flow`, `measure`, `rework`.
    pub kind: String,
    /// What its first line says: a tag, the part that is measured, the session of a pull.
    pub subject: Option<String>,
    /// The record that fills it in.
    pub of: Option<String>,
}

/// A form, blank or filled in.
///
/// # Errors
/// No schema is called so, or what it is about is not in the book.
pub fn form(book: &Book, request: &FormRequest) -> Result<FormAnswer, Failure> {
    let library = Library::at_head(book)?;
    // A filled-in form of a part's work or of a figure is laid out by the part it is of.
    let about = request.subject.as_deref().or(request.of.as_deref());
    let layout = lines::layout(&library, &request.kind, about)?;
    let mut notes = Vec::new();
    let mut answer = FormAnswer {
        form: layout.form.clone(),
        kind: layout.kind.clone(),
        title: layout.title.clone(),
        schema: layout.schema,
        book: library.page().name.clone(),
        commit: library.commit().short(),
        of: request.of.clone(),
        notes: Vec::new(),
        next: match about.filter(|_| matches!(request.kind.as_str(), "measure" | "rework")) {
            Some(about) => format!("mulebook form {} {about} --fill FILE", request.kind),
            None => format!("mulebook form {} --fill FILE", request.kind),
        },
        sections: layout.sections.clone(),
    };
    match (&request.of, &request.subject) {
        (Some(_), Some(subject)) => {
            return Err(Failure::usage(
                Finding::error("form-of-both", "a form is of a record, or blank and about something")
                    .found(format!("`{subject}` and `--of`"))
                    .next("leave one of the two out"),
            ));
        }
        (Some(record), None) => {
            answer.sections = of::filled(book, &library, &layout, record, &mut notes)?;
        }
        (None, Some(subject)) => begin(&library, &mut answer, subject, &mut notes)?,
        (None, None) => {}
    }
    answer.notes = notes;
    Ok(answer)
}

/// Writes what is known beforehand: what the form is about; of a pull its number and what the last one had.
fn begin(
    library: &Library,
    answer: &mut FormAnswer,
    subject: &str,
    notes: &mut Vec<String>,
) -> Result<(), Failure> {
    let mut write = |name: &str, value: String| {
        let mut lines = answer.sections.iter_mut().flat_map(|section| section.lines.iter_mut());
        if let Some(line) = lines.find(|line| line.name == name) {
            line.value = Some(value);
        }
    };
    if answer.kind == "pull" {
        let next = names::in_session(library.pull_paths()?, subject);
        let last = next.iter().next_back();
        write("number", last.map_or(1, |(number, _)| number + 1).to_string());
        if let Some((_, last)) = last {
            notes.push(format!("The pull before it is {last}."));
        }
        write("session", subject.to_owned());
        return Ok(());
    }
    let first = answer.sections.iter().flat_map(|section| &section.lines).next();
    if let Some(first) = first.map(|line| line.name.clone()) {
        let mut lines = answer.sections.iter_mut().flat_map(|section| section.lines.iter_mut());
        if let Some(line) = lines.find(|line| line.name == first) {
            line.value = Some(subject.to_owned());
        }
    }
    Ok(())
}
