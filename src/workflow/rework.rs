//! Open a new state of a part by work done on it, and say what the work voided.

use crate::answer::Entered;
use crate::finding::Finding;
use crate::manifest::emit::Piece;
use crate::record::FieldSpec;
use crate::record::Part;
use crate::record::Voids;
use crate::record::WorkSpec;
use crate::store::Book;
use crate::workflow::Context;
use crate::workflow::Draft;
use crate::workflow::Failure;
use crate::workflow::Library;
use crate::workflow::history;
use crate::workflow::input;
use crate::workflow::milling;
use crate::workflow::names;
use std::collections::BTreeMap;

/// What `rework` is asked to write.
#[derive(Debug, Clone, Default)]
pub struct ReworkRequest {
    /// The part's tag.
    pub part: String,
    /// The work, by the schema's word.
    pub op: String,
    /// What the work asks for, as `NAME=VALUE` (`cut=0.40 mm`).
    pub details: Vec<String>,
    /// The new state's letter; the next one unless said.
    pub letter: Option<String>,
    /// The day; today unless said.
    pub on: Option<String>,
    /// Who.
    pub by: Option<String>,
    /// A remark.
    pub note: Option<String>,
}

/// Opens a new state of a part by work done on it, and says what the work voided.
///
/// # Errors
/// The work is not known for this kind of part, or a detail does not hold.
pub fn rework(book: &Book, context: &Context, request: &ReworkRequest) -> Result<Entered, Failure> {
    let mut draft = Draft::open(book, context)?;
    let library = draft.library();
    let tag = names::part(library, request.part.split('/').next().unwrap_or_default())?;
    let path = library.part_path(&tag)?.ok_or(names::no_part(library, &tag)?)?;
    let part = library.part(&tag)?.ok_or(names::no_part(library, &tag)?)?;
    let kinds = library.kinds().clone();
    let kind = kinds.part(&part.kind).ok_or_else(|| {
        Failure::fault(
            Finding::error("unknown-kind", "no schema describes this kind of part").found(part.kind.clone()),
        )
    })?;
    let Some(spec) = kind.work(&request.op) else {
        return Err(Failure::usage(
            Finding::error(
                "unknown-work",
                "this kind of part knows no such work, so what it voids is not known",
            )
            .found(format!("`{}`", request.op))
            .expected(
                kind.work
                    .iter()
                    .map(|work| format!("{} ({})", work.op, work.title))
                    .collect::<Vec<_>>()
                    .join(", "),
            ),
        ));
    };
    let letter = match &request.letter {
        Some(letter) => letter.clone(),
        None => next_letter(&part).ok_or_else(|| {
            Failure::usage(
                Finding::error("letter-missing", "the next state's letter does not follow from the last")
                    .next("say it with `--state`"),
            )
        })?,
    };
    let on = match &request.on {
        Some(on) => input::checked_moment(on)?,
        None => context.today(),
    };
    let mut work = vec![("op".to_owned(), Piece::word(&request.op))];
    work.extend(details(library, spec, &request.details)?);
    work.push(("by".to_owned(), Piece::word(input::person(context, request.by.as_deref())?)));
    if let Some(note) = &request.note {
        work.push(("note".to_owned(), Piece::text(note)));
    }
    let state = Piece::Block(vec![
        ("state".to_owned(), Piece::word(&letter)),
        ("since".to_owned(), Piece::word(&on)),
        ("work".to_owned(), Piece::List(vec![Piece::Line(work)])),
        ("figures".to_owned(), Piece::Line(Vec::new())),
    ]);
    let mut document = draft.document(&path)?;
    document.append(&["states"], &state)?;
    let mut notes = what_is_voided(library, &part, kind, spec)?;
    notes.extend(milling::offers(
        library,
        &milling::Cut { part: &part, kind, letter: &letter, op: &request.op, details: &request.details },
    )?);
    draft.put(&path, document.text())?;
    let written = draft.commit(context, &format!("Rework {tag}: {}, now {tag}/{letter}", spec.title))?;
    Ok(Entered {
        did: format!("{tag} is now {tag}/{letter} ({}).", spec.title),
        notes,
        written,
        next: format!("mulebook build NAME --from BUILD --set {}={tag}/{letter}", part.kind),
    })
}

fn details(library: &Library, spec: &WorkSpec, given: &[String]) -> Result<Vec<(String, Piece)>, Failure> {
    let mut values = BTreeMap::new();
    for assignment in given {
        let (name, value) = input::assignment(assignment)?;
        if !spec.asks.iter().any(|(ask, _)| *ask == name) {
            return Err(Failure::usage(
                Finding::error("unknown-field", format!("`{}` does not ask for this", spec.op))
                    .found(format!("`{name}`"))
                    .expected(spec.asks.iter().map(|(ask, _)| ask.clone()).collect::<Vec<_>>().join(", ")),
            ));
        }
        values.insert(name, value);
    }
    let mut pieces = Vec::new();
    for (ask, holds) in &spec.asks {
        let Some(value) = values.get(ask) else { continue };
        let field = FieldSpec::plain(ask, holds.clone());
        pieces.push((ask.clone(), input::value_piece(library, Some(&field), value)?));
    }
    Ok(pieces)
}

/// The letter after the last: `b` after `a`; `aa` after `z`.
fn next_letter(part: &Part) -> Option<String> {
    let last = part.newest()?.letter.clone();
    let bytes = last.as_bytes();
    if !bytes.iter().all(u8::is_ascii_lowercase) {
        return last.parse::<u32>().ok().map(|number| (number + 1).to_string());
    }
    let (&end, head) = bytes.split_last()?;
    if end == b'z' {
        return Some("a".repeat(bytes.len() + 1));
    }
    let mut next = String::from_utf8(head.to_vec()).ok()?;
    next.push(char::from(end + 1));
    Some(next)
}

/// The figures that the work voids, and the fits and settings of builds that use the part.
fn what_is_voided(
    library: &Library,
    part: &Part,
    kind: &crate::record::PartKind,
    spec: &WorkSpec,
) -> Result<Vec<String>, Failure> {
    let letter = part.newest().map(|state| state.letter.clone()).unwrap_or_default();
    let mut voided = Vec::new();
    let mut kept = 0;
    for field in &kind.figures {
        if part.resolve(kind, &letter, &field.name, None).standing().is_some() {
            if field.voided_by.contains(&spec.op) {
                voided.push(field.name.clone());
            } else {
                kept += 1;
            }
        }
    }
    let mut notes = Vec::new();
    if voided.is_empty() {
        notes.push(format!("Voided nothing that was documented; {kept} figures carry over."));
    } else {
        notes.push(format!(
            "Voided until measured again: {}. {kept} other figures carry over.",
            voided.join(", ")
        ));
    }
    let users = history::builds_with(library, |named| named.tag == part.tag)?;
    if !spec.voids.is_empty() && !users.is_empty() {
        let reach: Vec<String> = spec
            .voids
            .iter()
            .map(|voids| match voids {
                Voids::Setting(name) => name.clone(),
                Voids::Fit { pair, name: Some(name) } => format!("{pair}.{name}"),
                Voids::Fit { pair, name: None } => format!("all fits {pair}"),
                Voids::AllFits => "all fits".to_owned(),
            })
            .collect();
        notes.push(format!(
            "It also changes {}: a build written from {} will not copy them.",
            reach.join(", "),
            users.join(", ")
        ));
    }
    Ok(notes)
}
