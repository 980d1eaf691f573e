//! A form keyed back: `NUMBER = VALUE` or `NAME = VALUE`, a line each, as typed between two pulls; what is blank stays
//! blank.

use std::path::Path;

use crate::answer::FormKeyed;
use crate::answer::FormLine;
use crate::answer::KeyedLine;
use crate::answer::Section;
use crate::finding::Finding;
use crate::finding::Place;
use crate::record::FieldSpec;
use crate::record::is_tag;
use crate::store::Book;
use crate::store::Source;
use crate::workflow::Context;
use crate::workflow::Failure;
use crate::workflow::Library;
use crate::workflow::form::FormRequest;
use crate::workflow::form::Layout;
use crate::workflow::form::enter;
use crate::workflow::form::lines;
use crate::workflow::input;
use crate::workflow::input::FigureInput;

/// The line that says which form it is.
const FORM: &str = "form";
/// The longest form taken in, in bytes.
pub const LONGEST: u64 = 1 << 20;
/// Rows of a table that may be keyed in all; a longer table is a file.
const MOST_ROWS: u32 = 5_000;
/// Why a guess is assumed, where the paper does not say it.
const GUESS: &str = "a guess, marked so on the paper";

/// A line with something on it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Filled {
    pub(super) section: Section,
    pub(super) number: u32,
    pub(super) name: String,
    pub(super) value: String,
}

/// What a text says before anybody looks which form it is on.
struct Raw<'t> {
    line: usize,
    /// The number it begins with.
    number: Option<u32>,
    /// What stands before the `=`, without the number.
    label: Option<&'t str>,
    value: &'t str,
}

/// Keys a form back: enters what was filled in, as the record's own command would.
///
/// # Errors
/// A line that the form does not have, a value that does not hold, or what the record's own command refuses; nothing is
/// entered then.
pub fn fill(
    book: &Book,
    context: &Context,
    request: &FormRequest,
    (name, text): (&str, &str),
    folder: &Path,
) -> Result<FormKeyed, Failure> {
    let library = Library::at_head(book)?;
    let (raws, mut findings) = raws(name, text);
    let first = raws.iter().find(|raw| raw.number == Some(1) || matches!(raw.label, Some("at" | "part")));
    let subject = first.map(|raw| raw.value.to_owned()).filter(|value| !value.is_empty());
    let subject = subject.or_else(|| request.subject.clone());
    let layout = lines::layout(&library, &request.kind, subject.as_deref())?;
    let mut filled: Vec<Filled> = Vec::new();
    for raw in &raws {
        match one(&layout, raw) {
            Ok(Some(line)) => match filled.iter().find(|known| known.number == line.number) {
                Some(known) => findings.push(
                    Finding::error("form-line-twice", "this line of the form is keyed twice")
                        .at(Place::file(name).line(raw.line))
                        .found(format!("{} = {} and {}", line.number, known.value, line.value))
                        .next("a second reading of the same figure is entered with `mulebook measure`"),
                ),
                None => filled.push(line),
            },
            Ok(None) => {}
            Err(finding) => findings.push(finding.at(Place::file(name).line(raw.line))),
        }
    }
    if findings.is_empty() && filled.is_empty() {
        findings.push(
            Finding::error("form-blank", "nothing is filled in")
                .at(Place::file(name))
                .expected("NUMBER = VALUE, a line each"),
        );
    }
    if !findings.is_empty() {
        return Err(Failure::faults(findings));
    }
    // A subject named beside the form fills its first line, where the paper leaves it blank.
    if let (Some(subject), Some((section, line))) = (&request.subject, layout.lines().next())
        && !filled.iter().any(|known| known.number == line.number)
    {
        let (number, name) = (line.number, line.name.clone());
        filled.insert(0, Filled { section, number, name, value: subject.clone() });
    }
    let blank = layout.lines().filter(|(section, _)| *section != Section::Table).count();
    let written = filled.iter().filter(|line| line.section != Section::Table).count();
    let entered = enter::enter(book, context, &layout, &filled, folder)?;
    let lines = filled
        .into_iter()
        .map(|line| KeyedLine { number: line.number, name: line.name, value: line.value })
        .collect();
    Ok(FormKeyed {
        form: layout.form,
        kind: request.kind.clone(),
        lines,
        blank: blank.saturating_sub(written),
        entered,
    })
}

/// A form's text from a file.
///
/// # Errors
/// The file cannot be read, is too long, or is no text.
pub fn text_of(path: &Path) -> Result<String, Failure> {
    let name = path.display().to_string();
    let mut source = Source::open(path)?;
    let most = usize::try_from(LONGEST + 1).unwrap_or(usize::MAX);
    let bytes = source.head(most).map_err(|error| {
        Failure::fault(
            Finding::error("form-unread", format!("the form could not be read: {error}")).found(name.clone()),
        )
    })?;
    text(bytes, &name)
}

/// A form's text from bytes; `name` is what they came from.
///
/// # Errors
/// It is too long, or no text.
pub fn text(bytes: Vec<u8>, name: &str) -> Result<String, Failure> {
    let refuse = |why: &str, expected: String| {
        Failure::fault(Finding::error("form-unread", why).found(name.to_owned()).expected(expected))
    };
    if bytes.len() as u64 > LONGEST {
        return Err(refuse("this is too long for a form", format!("at most {LONGEST} bytes")));
    }
    String::from_utf8(bytes).map_err(|_| refuse("this is no text", "UTF-8".to_owned()))
}

/// Whether a value can stand on a line, asked as it is typed.
///
/// # Errors
/// It does not hold for the line's field.
pub fn check(
    library: &Library,
    context: &Context,
    kind: &str,
    (section, line): (Section, &FormLine),
    value: &str,
) -> Result<(), Failure> {
    let kinds = library.kinds();
    let kind = kind.strip_prefix("measure-").unwrap_or(kind);
    let found = |fields: &'_ [FieldSpec]| fields.iter().find(|field| field.name == line.name).cloned();
    let spec = match section {
        Section::Roles => return input::answer_piece(library, value).map(drop),
        Section::Run => return input::run_piece(library, &line.name, value).map(drop),
        Section::Settings => found(&kinds.settings),
        Section::Conditions if kind == "flow" => found(&kinds.flow),
        Section::Conditions => found(&kinds.conditions),
        Section::Figures => match kind {
            "cell" => found(&kinds.cell),
            "session" => found(&kinds.session),
            _ => kinds.part(kind).and_then(|part| found(&part.figures)),
        },
        Section::Fits => line.name.split_once('.').and_then(|(pair, name)| {
            kinds.fit(pair).and_then(|fit| fit.fields.iter().find(|field| field.name == name)).cloned()
        }),
        _ => return Ok(()),
    };
    let told = FigureInput::typed(&figure(value)).or(None, Some("x"), None);
    input::figure_piece(library, context, spec.as_ref(), &told).map(drop)
}

/// The lines of a text; what begins with `#` is the paper's own words.
fn raws<'t>(name: &str, text: &'t str) -> (Vec<Raw<'t>>, Vec<Finding>) {
    let (mut found, mut findings) = (Vec::new(), Vec::new());
    for (index, line) in text.lines().enumerate() {
        let line = line.trim_start_matches('\u{feff}').trim();
        if line.is_empty() || line.starts_with('#') {
            continue;
        }
        let digits = line.len() - line.trim_start_matches(|c: char| c.is_ascii_digit()).len();
        let (number, rest) = line.split_at(digits);
        let number = match (number.is_empty(), number.parse::<u32>()) {
            (true, _) => None,
            (false, Ok(number)) if rest.is_empty() || rest.starts_with([' ', '\t', '=', '\u{a0}']) => {
                Some(number)
            }
            _ => {
                findings.push(unclear(line).at(Place::file(name).line(index + 1)));
                continue;
            }
        };
        let (label, value) = match rest.split_once('=') {
            Some((label, value)) => (Some(label.trim()).filter(|label| !label.is_empty()), value),
            None if number.is_some() => (None, rest),
            None => {
                findings.push(unclear(line).at(Place::file(name).line(index + 1)));
                continue;
            }
        };
        found.push(Raw { line: index + 1, number, label, value: bare(value) });
    }
    (found, findings)
}

fn unclear(line: &str) -> Finding {
    Finding::error("form-line-unclear", "this line does not say which line of the form it fills")
        .found(format!("`{line}`"))
        .expected("NUMBER = VALUE or NAME = VALUE; a line that begins with # is passed over")
}

/// A value without the rule that it was written over; one underscore may be part of a name.
fn bare(value: &str) -> &str {
    let value = value.trim();
    if value.chars().all(|c| c == '_') {
        return "";
    }
    let value = if value.ends_with("__") { value.trim_end_matches('_') } else { value };
    let value = if value.starts_with("__") { value.trim_start_matches('_') } else { value };
    value.trim()
}

/// The form's line that a line fills; none where it is blank.
fn one(layout: &Layout, raw: &Raw<'_>) -> Result<Option<Filled>, Finding> {
    let is_form = raw.number == Some(0) || (raw.number.is_none() && raw.label == Some(FORM));
    if is_form {
        if raw.value.is_empty() || raw.value == layout.form {
            return Ok(None);
        }
        return Err(Finding::error("form-unlike", "the lines of this form are not numbered so any more")
            .found(format!("`{}`", raw.value))
            .expected(format!("`{}`", layout.form))
            .next("key it by names (`inlet-valve = 33.0 mm`) without this line, or print the form anew"));
    }
    let found = match raw.number {
        Some(number) => layout.lines().find(|(_, line)| line.number == number),
        None => layout.lines().find(|(_, line)| raw.label.is_some_and(|label| is_called(line, label))),
    };
    let (section, name, number) = match (found, raw.number) {
        (Some((section, line)), _) => {
            if let Some(label) = raw.label.filter(|label| !is_called(line, label)) {
                return Err(Finding::error("form-line-unlike", "this line of the form is called otherwise")
                    .found(format!("`{label}`"))
                    .expected(format!("`{}`, which is line {}", line.label(), line.number))
                    .next(format!("a value with a `=` in it is keyed as `{} = VALUE`", line.number)));
            }
            (section, line.name.clone(), line.number)
        }
        // A table may be longer than the paper has rows.
        (None, Some(number))
            if number > layout.last()
                && number <= layout.last().saturating_add(MOST_ROWS)
                && layout.sections.iter().any(|section| section.section == Section::Table) =>
        {
            (Section::Table, "row".to_owned(), number)
        }
        _ => {
            let which = raw
                .number
                .map_or_else(|| format!("`{}`", raw.label.unwrap_or_default()), |number| number.to_string());
            return Err(Finding::error("form-line-missing", "the form has no such line")
                .found(which)
                .expected(format!("1 to {}, or a line's name", layout.last())));
        }
    };
    if raw.value.is_empty() {
        return Ok(None);
    }
    let value = match section {
        Section::Figures | Section::Settings | Section::Fits | Section::Conditions => figure(raw.value),
        _ => raw.value.to_owned(),
    };
    Ok(Some(Filled { section, number, name, value }))
}

fn is_called(line: &FormLine, label: &str) -> bool {
    label == line.name || label == line.title || label == line.label()
}

/// A figure as written by hand, in the words of the command line: `? 64 cc; by eye` is a guess, `64 cc @burette-1` names
/// the instrument.
pub(super) fn figure(value: &str) -> String {
    let (mut said, mut beside) = value.split_at(input::value_end(value));
    let mut with = String::new();
    if let Some((before, tag)) = said.trim_end().rsplit_once(" @").filter(|(_, tag)| is_tag(tag.trim())) {
        said = before.trim_end();
        with = format!(" | with {}", tag.trim());
    }
    let Some(guess) = said.strip_prefix('?').map(str::trim) else {
        return if with.is_empty() {
            value.to_owned()
        } else {
            format!("{said}{with} {beside}").trim_end().to_owned()
        };
    };
    let reasoned = guess.contains(';') || FigureInput::typed(value).way != input::Way::Measured;
    let why = if reasoned { String::new() } else { format!("; {GUESS}") };
    beside = beside.trim();
    format!("assumed: {guess}{why}{with} {beside}").trim_end().to_owned()
}
