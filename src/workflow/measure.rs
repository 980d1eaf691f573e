//! Enter a figure of a part, build, pull, flow sheet or cell, with how it is known.

use std::path::PathBuf;

use crate::answer::Entered;
use crate::finding::Finding;
use crate::manifest::emit::Piece;
use crate::manifest::node::Node;
use crate::record::FieldSpec;
use crate::record::Part;
use crate::store::Book;
use crate::workflow::Context;
use crate::workflow::Draft;
use crate::workflow::Failure;
use crate::workflow::Library;
use crate::workflow::figure_files;
use crate::workflow::flow_conditions;
use crate::workflow::history;
use crate::workflow::input;
use crate::workflow::input::FigureInput;
use crate::workflow::input::Target;
use crate::workflow::library::build_path;
use crate::workflow::library::flow_path;
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
    measure_shown(book, context, target, field, told, &[])
}

/// The same, with photos that show the reading.
///
/// # Errors
/// As [`measure`]; a photo cannot be taken in.
pub fn measure_shown(
    book: &Book,
    context: &Context,
    target: &str,
    field: &str,
    told: &FigureInput,
    photos: &[PathBuf],
) -> Result<Entered, Failure> {
    let mut draft = Draft::open(book, context)?;
    let place = put(&mut draft, context, target, field, told, photos)?;
    let written = draft.commit(context, &format!("Enter {} of {}", place.name, place.of))?;
    let did = format!("Entered {} of {}.", place.name, place.of);
    Ok(Entered { did, notes: place.notes, written, next: place.next })
}

/// Enters several figures of one target together: all of them, or none.
///
/// # Errors
/// As [`measure`]; there is no figure.
pub fn measure_all(
    book: &Book,
    context: &Context,
    target: &str,
    figures: &[(String, FigureInput)],
) -> Result<Entered, Failure> {
    let mut draft = Draft::open(book, context)?;
    let (mut names, mut notes, mut last) = (Vec::new(), Vec::new(), None);
    for (field, told) in figures {
        let place = put(&mut draft, context, target, field, told, &[])?;
        names.push(place.name.clone());
        for note in &place.notes {
            if !notes.contains(note) {
                notes.push(note.clone());
            }
        }
        last = Some(place);
    }
    let Some(place) = last else {
        return Err(Failure::usage(Finding::error("value-missing", "no figure is filled in")));
    };
    let names = names.join(", ");
    let written = draft.commit(context, &format!("Enter {names} of {}", place.of))?;
    let did = format!("Entered {names} of {}.", place.of);
    Ok(Entered { did, notes, written, next: place.next })
}

/// Puts a figure into a write under way; what is to be said of it is in the place's notes.
fn put(
    draft: &mut Draft<'_>,
    context: &Context,
    target: &str,
    field: &str,
    told: &FigureInput,
    photos: &[PathBuf],
) -> Result<Where, Failure> {
    let named = names::any(draft.library(), target)?;
    let (path, steps, mut place) = place_of(draft.library(), &named, field)?;
    let mut document = draft.document(&path)?;
    let mut told = told.clone();
    let mut notes = Vec::new();
    if told.as_last {
        notes.push(as_last(document.root(), &steps, &place, &mut told)?);
    }
    let mut piece = input::figure_piece(draft.library(), context, place.spec.as_ref(), &told)?;
    let said = echoed(&piece);
    if !photos.is_empty() {
        let (files, left_out) = figure_files::take(draft, context, photos, &[])?;
        notes.extend(left_out);
        notes.push(format!("Kept beside it: {}", figure_files::words(&files)));
        if let Piece::Line(entries) = &mut piece {
            entries.push(("files".to_owned(), Piece::Row(figure_files::pieces(&files))));
        }
    }
    let steps: Vec<&str> = steps.iter().map(String::as_str).collect();
    let had = document.root().at(&steps).is_some_and(|node| !node.is_null());
    if had {
        document.append(&steps, &piece)?;
    } else {
        document.set(&steps, &piece)?;
    }
    draft.put(&path, document.text())?;
    notes.push(format!("Wrote {}: {}", place.name, said));
    if had {
        notes.push(
            "The earlier entry stays; the newest that is neither doubted nor corrected stands.".to_owned(),
        );
    }
    let instrument = place.spec.as_ref().is_some_and(|spec| spec.instrument);
    if instrument && told.way == input::Way::Measured && told.with.is_none() {
        notes.push(
            "No instrument is named: for this figure that is itself a gap (`--with INSTRUMENT`).".to_owned(),
        );
    }
    notes.append(&mut place.notes);
    Ok(Where { notes, ..place })
}

/// Takes what is not said from the newest entry of the figure, of this state of a part or the nearest before it that has
/// one; says what was taken.
fn as_last(root: &Node, steps: &[String], place: &Where, told: &mut FigureInput) -> Result<String, Failure> {
    let mut steps = steps.to_vec();
    let last = loop {
        let at: Vec<&str> = steps.iter().map(String::as_str).collect();
        if let Some(figure) = root.at(&at).filter(|figure| !figure.is_null()) {
            break figure.items().last().unwrap_or(figure);
        }
        let earlier = match steps.as_slice() {
            [first, state, ..] if first == "states" => state.parse::<usize>().ok(),
            _ => None,
        };
        let Some(earlier) = earlier.and_then(|state| state.checked_sub(1)) else {
            return Err(Failure::usage(
                Finding::error("no-last-figure", "this figure has no entry to take anything from")
                    .found(format!("{} of {}", place.name, place.of))
                    .next("say it: `--with INSTRUMENT`, `--at WHERE`"),
            ));
        };
        steps[1] = earlier.to_string();
    };
    let text = |key: &str| last.get(key).and_then(Node::text).map(str::to_owned);
    let mut taken = Vec::new();
    if let (None, Some(with)) = (&told.with, text("with")) {
        taken.push(format!("with {with}"));
        told.with = Some(with);
    }
    // A time read at belongs to the reading itself.
    let at = text("at").filter(|at| crate::record::Moment::parse(at).is_err());
    if let (None, Some(at)) = (&told.at, at) {
        taken.push(format!("at {at}"));
        told.at = Some(at);
    }
    let taken = if taken.is_empty() { "nothing".to_owned() } else { taken.join(", ") };
    Ok(format!("As last: {taken}. The value is never copied."))
}

/// Where a figure is written: its manifest, the path in it, and what is to be said of it.
///
/// # Errors
/// No such figure belongs there.
pub(super) fn place_of(library: &Library, named: &Named, field: &str) -> Result<Place, Failure> {
    match named {
        Named::Part { tag, letter } => at_part(library, tag, letter.as_deref(), field),
        Named::Build(name) => at_build(library, name, field),
        Named::Pull(id) => at_pull(library, id, field),
        Named::Flow(tag) => at_flow(library, tag, field),
        Named::Cell(tag) => at_cell(library, tag, field),
        Named::Session(tag) | Named::Instrument(tag) | Named::Claim(tag) => Err(Failure::usage(
            Finding::error(
                "not-measured-here",
                "figures belong to a part's state, a build, a pull or a cell",
            )
            .found(format!("`{tag}`"))
            .next("edit the file by hand and `mulebook keep` it"),
        )),
    }
}

/// Where a figure is written, in words.
pub(super) struct Where {
    of: String,
    name: String,
    spec: Option<FieldSpec>,
    notes: Vec<String>,
    next: String,
}

impl Where {
    /// What it is a figure of: `h2/b`, `build b3`, `pull 0412a-07`, `cell tower`.
    pub(super) fn of(&self) -> &str {
        &self.of
    }

    /// Its name there.
    pub(super) fn name(&self) -> &str {
        &self.name
    }

    /// Its schema's field, where its schema names it.
    pub(super) fn spec(&self) -> Option<&FieldSpec> {
        self.spec.as_ref()
    }
}

/// The manifest, the path in it, and the rest in words.
pub(super) type Place = (String, Vec<String>, Where);

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

fn at_cell(library: &Library, tag: &str, field: &str) -> Result<Place, Failure> {
    let fields = &library.kinds().cell;
    let own =
        input::known_name(field, fields.iter().map(|spec| (spec.name.as_str(), spec.aliases.as_slice())));
    let Some(spec) = own.and_then(|name| fields.iter().find(|spec| spec.name == name)) else {
        return Err(Failure::usage(
            Finding::error("unknown-field", "a cell has no such figure")
                .found(format!("`{field}`"))
                .expected(fields.iter().map(|spec| spec.name.as_str()).collect::<Vec<_>>().join(", ")),
        ));
    };
    let next = "mulebook gaps".to_owned();
    Ok((
        format!("cells/{tag}.yaml"),
        vec![spec.name.clone()],
        Where {
            of: format!("cell {tag}"),
            name: spec.name.clone(),
            spec: Some(spec.clone()),
            notes: Vec::new(),
            next,
        },
    ))
}

fn at_flow(library: &Library, tag: &str, field: &str) -> Result<Place, Failure> {
    let name = flow_conditions::condition_name(library, field)?;
    let spec = library.kinds().flow_field(&name).cloned();
    let steps = vec!["conditions".to_owned(), name.clone()];
    let next = format!("mulebook gaps {tag}");
    Ok((
        flow_path(tag),
        steps,
        Where { of: format!("flow sheet {tag}"), name, spec, notes: Vec::new(), next },
    ))
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
