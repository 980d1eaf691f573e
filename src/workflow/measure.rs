//! Enter a figure of a part, build or pull; open a new state; mend a wrong record, visibly.

use std::collections::BTreeMap;

use crate::answer::Entered;
use crate::finding::Finding;
use crate::manifest::emit::Piece;
use crate::record::Effective;
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
use crate::workflow::input::FigureInput;
use crate::workflow::input::Target;
use crate::workflow::library::UNASSIGNED;
use crate::workflow::library::build_path;
use crate::workflow::names;
use crate::workflow::names::Named;

/// Enters a measurement, or another way of knowing a figure, at a part's state, a build or a pull.
///
/// # Errors
/// Nothing is called so, the field is not known there, or the value does not hold.
pub fn measure(
    book: &Book,
    context: &Context,
    target: &str,
    field: &str,
    told: &FigureInput,
) -> Result<Entered, Failure> {
    let mut draft = Draft::open(book, context)?;
    let named = names::any(draft.library(), target)?;
    let (path, steps, place) = match &named {
        Named::Part { tag, letter } => at_part(draft.library(), tag, letter.as_deref(), field)?,
        Named::Build(name) => at_build(draft.library(), name, field)?,
        Named::Pull(id) => at_pull(draft.library(), id, field)?,
        Named::Session(_) | Named::Cell(_) | Named::Instrument(_) => {
            return Err(Failure::usage(
                Finding::error("not-measured-here", "figures belong to a part's state, a build or a pull")
                    .found(format!("`{target}`"))
                    .next("edit the file by hand and `mulebook keep` it"),
            ));
        }
    };
    let spec = place.spec.clone();
    let piece = input::figure_piece(draft.library(), context, spec.as_ref(), told)?;
    let mut document = draft.document(&path)?;
    let steps: Vec<&str> = steps.iter().map(String::as_str).collect();
    let had = document.root().at(&steps).is_some_and(|node| !node.is_null());
    if had {
        document.append(&steps, &piece)?;
    } else {
        document.set(&steps, &piece)?;
    }
    draft.put(&path, document.text())?;
    let mut notes = vec![format!("Wrote {}: {}", place.name, echoed(&piece))];
    if had {
        notes.push(
            "The earlier entry stays; the newest that is neither doubted nor corrected stands.".to_owned(),
        );
    }
    if spec.as_ref().is_some_and(|spec| spec.instrument)
        && told.way == input::Way::Measured
        && told.with.is_none()
    {
        notes.push(
            "No instrument is named: for this figure that is itself a gap (`--with INSTRUMENT`).".to_owned(),
        );
    }
    notes.extend(place.notes);
    let written = draft.commit(context, &format!("Enter {} of {}", place.name, place.of))?;
    Ok(Entered { did: format!("Entered {} of {}.", place.name, place.of), notes, written, next: place.next })
}

struct Where {
    of: String,
    name: String,
    spec: Option<FieldSpec>,
    notes: Vec<String>,
    next: String,
}

type Place = (String, Vec<String>, Where);

fn at_part(library: &Library, tag: &str, letter: Option<&str>, field: &str) -> Result<Place, Failure> {
    let path = library.part_path(tag)?.ok_or(names::no_part(library, tag)?)?;
    let part = library.part(tag)?.ok_or(names::no_part(library, tag)?)?;
    let letter = match letter {
        Some(letter) => letter.to_owned(),
        None => part.newest().map(|state| state.letter.clone()).unwrap_or_default(),
    };
    let at = part.states.iter().position(|state| state.letter == letter).unwrap_or_default();
    let kind = library.kinds().part(&part.kind);
    let spec = kind.and_then(|kind| {
        input::known_name(
            field,
            kind.figures.iter().map(|spec| (spec.name.as_str(), spec.aliases.as_slice())),
        )
        .and_then(|name| kind.figure(name))
    });
    if spec.is_none() && !kind.is_some_and(|kind| kind.open) {
        let known =
            kind.map(|kind| kind.figures.iter().map(|spec| spec.name.clone()).collect::<Vec<_>>().join(", "));
        return Err(Failure::usage(
            Finding::error("unknown-field", format!("a {} has no such figure", part.kind))
                .found(format!("`{field}`"))
                .expected(known.unwrap_or_default()),
        ));
    }
    let name = spec.map_or(field, |spec| spec.name.as_str()).to_owned();
    let mut notes = Vec::new();
    if !part.is_newest(&letter) {
        notes.push(format!(
            "State {letter} is gone since {}: only `--unknown` or `--calculated` can be true of it.",
            newest_words(&part)
        ));
    }
    let users = history::builds_with(library, |named| named.tag == tag && named.letter == letter)?;
    if !users.is_empty() {
        notes.push(format!(
            "It documents the pulls of {} too, marked as measured afterwards.",
            users.join(", ")
        ));
    }
    let steps = vec!["states".to_owned(), at.to_string(), "figures".to_owned(), name.clone()];
    let next = format!("mulebook gaps {}", users.first().map_or("BUILD", String::as_str));
    Ok((path, steps, Where { of: format!("{tag}/{letter}"), name, spec: spec.cloned(), notes, next }))
}

fn newest_words(part: &Part) -> String {
    part.newest().map_or_else(String::new, |state| {
        let since = state.since.as_ref().map(|since| format!(" ({since})")).unwrap_or_default();
        format!("state {}{since}", state.letter)
    })
}

fn at_build(library: &Library, name: &str, field: &str) -> Result<Place, Failure> {
    let (steps, own, spec) = configuration_field(library, field)?;
    let next = format!("mulebook gaps {name}");
    Ok((
        build_path(name),
        steps,
        Where { of: format!("build {name}"), name: own, spec, notes: Vec::new(), next },
    ))
}

fn configuration_field(
    library: &Library,
    field: &str,
) -> Result<(Vec<String>, String, Option<FieldSpec>), Failure> {
    let kinds = library.kinds();
    match input::target(kinds, field)? {
        Target::Setting(name) => {
            Ok((vec!["settings".to_owned(), name.clone()], name.clone(), kinds.setting(&name).cloned()))
        }
        Target::Fit(pair, fit) => {
            let spec =
                kinds.fit(&pair).and_then(|spec| spec.fields.iter().find(|field| field.name == fit)).cloned();
            Ok((vec!["fits".to_owned(), pair.clone(), fit.clone()], format!("{pair}.{fit}"), spec))
        }
        _ => Err(Failure::usage(
            Finding::error("not-measured-here", "a build takes settings and fits as figures")
                .found(format!("`{field}`"))
                .next("a role is corrected with `mulebook correct`; weather belongs to a pull"),
        )),
    }
}

fn at_pull(library: &Library, id: &str, field: &str) -> Result<Place, Failure> {
    let path = library.pull_paths()?.get(id).cloned().unwrap_or_default();
    let kinds = library.kinds();
    let next = format!("mulebook gaps {id}");
    if let Target::Condition(name) = input::target(kinds, field)? {
        let spec = kinds.condition(&name).cloned();
        let steps = vec!["conditions".to_owned(), name.clone()];
        return Ok((path, steps, Where { of: format!("pull {id}"), name, spec, notes: Vec::new(), next }));
    }
    // A setting or fit of the build documents every pull of that build; a pull's own is said with `correct`.
    let pull = library.pull(id)?;
    match pull.as_ref().and_then(|pull| pull.effective_build()) {
        Some(build) => {
            let (path, steps, mut place) = at_build(library, build, field)?;
            place.notes.push(format!("It stands in build {build} and speaks for its pulls; for this pull alone: `mulebook correct {id} --set {field}=…`."));
            place.next = next;
            Ok((path, steps, place))
        }
        None => Err(Failure::usage(
            Finding::error("no-build", "the pull has no build yet, so settings have no place")
                .next(format!("`mulebook correct {id} --set build=NAME --because \"…\"`")),
        )),
    }
}

fn echoed(piece: &Piece) -> String {
    match piece {
        Piece::Line(entries) => entries
            .iter()
            .map(|(key, value)| match value {
                Piece::Word(text) | Piece::Text(text) | Piece::Number(text) => format!("{key} {text}"),
                Piece::Whole(whole) => format!("{key} {whole}"),
                _ => key.clone(),
            })
            .collect::<Vec<_>>()
            .join(", "),
        Piece::Word(text) | Piece::Text(text) => text.clone(),
        _ => String::new(),
    }
}

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
    let tag = request.part.split('/').next().unwrap_or_default().to_owned();
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
    let notes = what_is_voided(library, &part, kind, spec)?;
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

/// Mends wrong records visibly: for a pull, a run of pulls, a build or a part.
///
/// # Errors
/// Nothing is called so, a name is not known there, a value does not hold, or no reason is given.
pub fn correct(
    book: &Book,
    context: &Context,
    target: &str,
    set: &[String],
    with: Option<&str>,
    by: Option<&str>,
    because: &str,
) -> Result<Entered, Failure> {
    if because.trim().is_empty() {
        return Err(Failure::usage(
            Finding::error("reason-missing", "why the record was wrong is part of the correction")
                .next("add `--because \"…\"`"),
        ));
    }
    let mut draft = Draft::open(book, context)?;
    let targets: Vec<Named> = if target.contains("..") || target.contains(',') {
        names::pulls(draft.library(), target)?.into_iter().map(Named::Pull).collect()
    } else {
        vec![names::any(draft.library(), target)?]
    };
    let mut notes = Vec::new();
    for named in &targets {
        for assignment in set {
            let (name, value) = input::assignment(assignment)?;
            let edit = Edit { name: &name, value: &value, with, by, because };
            notes.push(correct_one(&mut draft, context, named, &edit)?);
        }
    }
    let written = draft.commit(context, &format!("Correct {target}: {}", set.join(", ")))?;
    Ok(Entered {
        did: format!("Corrected {target}; what stood there stays visible."),
        notes,
        written,
        next: format!("mulebook gaps {}", target.split("..").next().unwrap_or(target)),
    })
}

struct Edit<'e> {
    name: &'e str,
    value: &'e str,
    with: Option<&'e str>,
    by: Option<&'e str>,
    because: &'e str,
}

fn correct_one(
    draft: &mut Draft<'_>,
    context: &Context,
    named: &Named,
    edit: &Edit<'_>,
) -> Result<String, Failure> {
    let library = draft.library();
    let (path, who, effective) = match named {
        Named::Pull(id) => {
            let pull = library.pull(id)?.ok_or_else(|| gone(id))?;
            let build = match pull.effective_build() {
                Some(build) => library.build(build)?,
                None => None,
            };
            let path = library.pull_paths()?.get(id).cloned().unwrap_or_default();
            (path, format!("pull {id}"), Some(Effective::of_pull(&pull, build.as_ref())))
        }
        Named::Build(name) => {
            let build = library.build(name)?.ok_or_else(|| gone(name))?;
            (build_path(name), format!("build {name}"), Some(Effective::of_build(&build)))
        }
        Named::Part { tag, .. } => {
            let path = library.part_path(tag)?.ok_or_else(|| gone(tag))?;
            return correct_part(draft, tag, &path, edit);
        }
        _ => {
            return Err(Failure::usage(
                Finding::error("not-corrected-here", "pulls, builds and parts are corrected")
                    .next("edit the file by hand and `mulebook keep` it"),
            ));
        }
    };
    let (set, to, was) = correction(library, context, named, effective.as_ref(), edit)?;
    let line = Piece::Line(vec![
        ("set".to_owned(), Piece::word(&set)),
        ("to".to_owned(), to),
        ("was".to_owned(), Piece::text(&was)),
        ("because".to_owned(), Piece::text(edit.because)),
        ("by".to_owned(), Piece::word(input::person(context, edit.by)?)),
        ("on".to_owned(), Piece::word(context.today())),
    ]);
    let mut document = draft.document(&path)?;
    document.append(&["corrected"], &line)?;
    match (named, set.as_str()) {
        (Named::Pull(id), "build") => {
            let moved = format!("builds/{}/pulls/{id}.yaml", edit.value);
            draft.relocate(&path, &moved, document.text())?;
        }
        _ => draft.put(&path, document.text())?,
    }
    Ok(format!("{who}: {set} is {} (was {was}).", edit.value))
}

fn correction(
    library: &Library,
    context: &Context,
    named: &Named,
    effective: Option<&Effective>,
    edit: &Edit<'_>,
) -> Result<(String, Piece, String), Failure> {
    let kinds = library.kinds();
    let nothing = || "nothing".to_owned();
    let is_pull = matches!(named, Named::Pull(_));
    if is_pull && matches!(edit.name, "build" | "correction" | "outcome") {
        let was = match edit.name {
            "build" => match named {
                Named::Pull(id) => {
                    library.pull(id)?.and_then(|pull| pull.effective_build().map(str::to_owned))
                }
                _ => None,
            }
            .unwrap_or_else(nothing),
            "correction" => {
                effective.and_then(|e| e.correction.as_ref()).map_or_else(nothing, ToString::to_string)
            }
            _ => effective.map_or_else(nothing, |e| e.outcome.to_string()),
        };
        if edit.name == "build" && (library.build(edit.value)?.is_none() || edit.value == UNASSIGNED) {
            return Err(Finding::error("not-found", "there is no build of this name")
                .found(format!("`{}`", edit.value))
                .into());
        }
        return Ok((edit.name.to_owned(), Piece::text(edit.value), was));
    }
    let told = FigureInput {
        with: edit.with.map(str::to_owned),
        by: edit.by.map(str::to_owned),
        ..FigureInput::typed(edit.value)
    };
    match input::target(kinds, edit.name)? {
        Target::Role(role) => {
            let was = effective
                .and_then(|e| e.roles.get(&role))
                .map_or_else(nothing, |held| held.answer.to_string());
            Ok((role, input::answer_piece(library, edit.value)?, was))
        }
        Target::Setting(name) => {
            let was = effective
                .and_then(|e| e.settings.get(&name))
                .map_or_else(nothing, |held| figure_words(&held.figure));
            let piece = input::figure_piece(library, context, kinds.setting(&name), &told)?;
            Ok((name, piece, was))
        }
        Target::Fit(pair, fit) => {
            let key = (pair.clone(), fit.clone());
            let was = effective
                .and_then(|e| e.fits.get(&key))
                .map_or_else(nothing, |held| figure_words(&held.figure));
            let spec = kinds.fit(&pair).and_then(|spec| spec.fields.iter().find(|field| field.name == fit));
            Ok((format!("{pair}.{fit}"), input::figure_piece(library, context, spec, &told)?, was))
        }
        Target::Condition(name) if is_pull => {
            let was = effective
                .and_then(|e| e.conditions.get(&name))
                .map_or_else(nothing, |held| figure_words(&held.figure));
            let piece = input::figure_piece(library, context, kinds.condition(&name), &told)?;
            Ok((format!("conditions.{name}"), piece, was))
        }
        Target::Run(name) if is_pull => {
            let was = effective.and_then(|e| e.run.get(&name)).cloned().unwrap_or_else(nothing);
            Ok((format!("run.{name}"), input::run_piece(library, &name, edit.value)?, was))
        }
        Target::Condition(_) | Target::Run(_) => Err(Failure::usage(
            Finding::error("not-of-a-build", "this belongs to a pull, not to a build")
                .found(format!("`{}`", edit.name)),
        )),
    }
}

fn figure_words(figure: &crate::record::Figure) -> String {
    figure.entries.last().map_or_else(
        || "nothing".to_owned(),
        |entry| entry.known.value().map_or_else(|| "unknown".to_owned(), |value| value.text().to_owned()),
    )
}

/// A part's own fields: batch, serial, name, note, where. Figures are corrected by `measure --corrects`.
fn correct_part(draft: &mut Draft<'_>, tag: &str, path: &str, edit: &Edit<'_>) -> Result<String, Failure> {
    let piece = match edit.name {
        "batch" | "serial" | "name" | "note" => Piece::text(edit.value),
        "where" => Piece::word(edit.value),
        other => {
            return Err(Failure::usage(
                Finding::error("not-corrected-here", "of a part, batch, serial, name, where and note are corrected so")
                    .found(format!("`{other}`"))
                    .next(format!("a figure is corrected with `mulebook measure {tag}/STATE {other} \"…\" --corrects N --because \"…\"`")),
            ));
        }
    };
    let mut document = draft.document(path)?;
    let was = document.root().get(edit.name).and_then(|node| node.text()).unwrap_or("nothing").to_owned();
    if was == edit.value {
        return Err(Finding::error("nothing-changed", "this is what the record says already")
            .found(was)
            .into());
    }
    document.set(&[edit.name], &piece)?;
    draft.put(path, document.text())?;
    Ok(format!("part {tag}: {} is {} (was {was}; {}).", edit.name, edit.value, edit.because))
}

fn gone(name: &str) -> Failure {
    Finding::error("not-found", "this record is not in the book").found(format!("`{name}`")).into()
}
