//! New records: an empty book, a part, a build, a session, a cell, an instrument.

use std::path::Path;

use crate::answer::Entered;
use crate::answer::Written;
use crate::check::Side;
use crate::finding::Finding;
use crate::manifest::built_in_files;
use crate::manifest::emit::Piece;
use crate::manifest::node::Node;
use crate::record::is_tag;
use crate::store::Book;
use crate::workflow::Context;
use crate::workflow::Draft;
use crate::workflow::Failure;
use crate::workflow::gather;
use crate::workflow::input;
use crate::workflow::input::FigureInput;
use crate::workflow::input::Target;
use crate::workflow::library::build_path;

/// No end-of-line conversion and no filters: bytes stay as they are, wherever the book is cloned.
const ATTRIBUTES: &str = "* -text -filter -ident\n";
const IGNORED: &str = "/raw-large/\n.mulebook-*\n";

/// Makes an empty book with templates that explain themselves.
///
/// # Errors
/// The folder is a book already or holds files in the way.
pub fn new_book(root: &Path, name: &str, zone: &str, context: &Context) -> Result<(Book, Entered), Failure> {
    let who = context.person.as_deref();
    let mut files = scaffold();
    files.push(("book.yaml".to_owned(), book_page(name, zone).into()));
    files.push(("people.yaml".to_owned(), people_page(who, &context.author.name).into()));
    let book = Book::create(root, &files, &context.author, context.time(), &format!("New book: {name}"))?;
    let commit = book.head()?.commit().short();
    let written = Written {
        commit,
        files: files.into_iter().map(|(path, _)| path).filter(|path| !path.starts_with(".schema/")).collect(),
        doubts: Vec::new(),
        recovered: None,
    };
    let entered = Entered {
        did: format!("Made the book `{name}`."),
        notes: vec![
            "Files are plain YAML; any editor that reads JSON Schema checks them while you type.".to_owned(),
        ],
        written,
        next: "cd into it, then `mulebook part short-block TAG` for the engine".to_owned(),
    };
    Ok((book, entered))
}

/// The files that every book begins with, its own page aside.
pub(super) fn scaffold() -> Vec<(String, Vec<u8>)> {
    let mut files: Vec<(String, Vec<u8>)> =
        vec![(".gitattributes".to_owned(), ATTRIBUTES.into()), (".gitignore".to_owned(), IGNORED.into())];
    for (schema, text) in built_in_files() {
        files.push((format!(".schema/{schema}.json"), text.into()));
    }
    files
}

fn book_page(name: &str, zone: &str) -> String {
    let quoted = crate::manifest::emit::document(&[("name".to_owned(), Piece::text(name))]);
    format!(
        "# yaml-language-server: $schema=.schema/book.json\n\
         # What holds for the whole book.\n\
         format: 1\n\
         {quoted}\
         zone: \"{zone}\"          # days begin and end by it\n\
         # The unit a bare number takes on the command line, by kind of quantity or by field:\n\
         # units: {{length: mm, chamber-volume: cc, pressure-absolute: kPa}}\n\
         # Raw files up to this size are kept in git; larger ones lie beside it, in raw-large/:\n\
         # raw-limit: 4 MB\n\
         # What this book demands beyond the shipped fields before it compares:\n\
         # documented: [\"role:ignition\", \"setting:plug-gap\"]\n"
    )
}

fn people_page(person: Option<&str>, name: &str) -> String {
    let head = "# yaml-language-server: $schema=.schema/people.json\n\
                # Who stands behind the initials in `by:`.\n";
    match person {
        Some(person) if is_tag(person) => {
            let entry = Piece::Block(vec![(
                person.to_owned(),
                Piece::Line(vec![("name".to_owned(), Piece::text(name))]),
            )]);
            format!("{head}{}", crate::manifest::emit::document(&[("people".to_owned(), entry)]))
        }
        _ => format!("{head}people: {{}}\n"),
    }
}

/// What `part` is asked to write.
#[derive(Debug, Clone, Default)]
pub struct PartRequest {
    /// Its kind; the `from` part's when left out.
    pub kind: Option<String>,
    /// Its tag.
    pub tag: String,
    /// Another part whose listed figures are copied; measured ones never are.
    pub from: Option<String>,
    /// A longer name.
    pub name: Option<String>,
    /// Serial number.
    pub serial: Option<String>,
    /// Batch.
    pub batch: Option<String>,
    /// How it came.
    pub how: Option<String>,
    /// Since when it is in this state.
    pub since: Option<String>,
    /// Cylinders, for an engine.
    pub cylinders: Option<u32>,
    /// Roles an engine never has.
    pub never: Vec<String>,
    /// Figures as `NAME=VALUE`.
    pub set: Vec<String>,
    /// The instrument of measured figures.
    pub with: Option<String>,
    /// Who.
    pub by: Option<String>,
}

/// Writes a part.
///
/// # Errors
/// The kind is not known, the tag is taken, or a figure does not hold.
pub fn part(book: &Book, context: &Context, request: &PartRequest) -> Result<Entered, Failure> {
    let mut draft = Draft::open(book, context)?;
    need_tag(&request.tag)?;
    let source = match &request.from {
        Some(from) => Some(
            draft
                .library()
                .part_path(from)?
                .ok_or(crate::workflow::names::no_part(draft.library(), from)?)?,
        ),
        None => None,
    };
    let source_root = match &source {
        Some(path) => draft.library().tree(path)?,
        None => None,
    };
    let kind = request
        .kind
        .clone()
        .or_else(|| source.as_ref().and_then(|path| path.split('/').nth(1).map(str::to_owned)))
        .ok_or_else(|| Failure::usage(Finding::error("kind-missing", "the kind of part is not said")))?;
    let kinds = draft.library().kinds().clone();
    let Some(spec) = kinds.part(&kind) else {
        return Err(Failure::usage(
            Finding::error("unknown-kind", "no schema describes this kind of part")
                .found(format!("`{kind}`"))
                .expected(kinds.parts.keys().cloned().collect::<Vec<_>>().join(", ")),
        ));
    };
    if draft.library().part_path(&request.tag)?.is_some() {
        return Err(taken(&request.tag));
    }
    let mut entries =
        vec![("part".to_owned(), Piece::word(&request.tag)), ("kind".to_owned(), Piece::word(&kind))];
    let texts = [("name", &request.name), ("serial", &request.serial), ("batch", &request.batch)];
    for (key, value) in texts {
        if let Some(value) = value {
            entries.push((key.to_owned(), Piece::text(value)));
        }
    }
    if let Some(cylinders) = request.cylinders {
        entries.push(("cylinders".to_owned(), Piece::Whole(i64::from(cylinders))));
    }
    if !request.never.is_empty() {
        let roles = request.never.iter().map(Piece::word).collect();
        entries.push((
            "never".to_owned(),
            Piece::List(vec![Piece::Line(vec![
                ("roles".to_owned(), Piece::Row(roles)),
                ("by".to_owned(), Piece::word(input::person(context, request.by.as_deref())?)),
                ("on".to_owned(), Piece::word(context.today())),
            ])]),
        ));
    }
    let since = match &request.since {
        Some(since) => input::checked_moment(since)?,
        None => context.today(),
    };
    let mut figures: Vec<(String, Piece)> = source_root.as_ref().map(copied_figures).unwrap_or_default();
    let copied = figures.len();
    for assignment in &request.set {
        let (name, value) = input::assignment(assignment)?;
        let known = spec.figures.iter().map(|field| (field.name.as_str(), field.aliases.as_slice()));
        let field = match input::known_name(&name, known) {
            Some(own) => spec.figure(own),
            None if spec.open => None,
            None => return Err(unknown_figure(&name, spec)),
        };
        let mut told = FigureInput::typed(&value);
        told.with.clone_from(&request.with);
        told.by.clone_from(&request.by);
        let own = field.map_or(name, |field| field.name.clone());
        let piece = input::figure_piece(draft.library(), context, field, &told)?;
        figures.retain(|(other, _)| *other != own);
        figures.push((own, piece));
    }
    let state = vec![
        ("state".to_owned(), Piece::word("a")),
        ("since".to_owned(), Piece::word(since)),
        ("how".to_owned(), Piece::text(request.how.as_deref().unwrap_or("as it came"))),
        ("figures".to_owned(), Piece::Block(figures)),
    ];
    entries.push(("states".to_owned(), Piece::List(vec![Piece::Block(state)])));
    let path = format!("parts/{kind}/{}.yaml", request.tag);
    let schema = if kind == "generic" { "part-generic" } else { &kind };
    draft.put_new(&path, schema, &entries)?;
    let library = draft.library();
    let part = library.part(&request.tag)?.ok_or_else(|| taken(&request.tag))?;
    let asked: Vec<String> = spec
        .figures
        .iter()
        .filter(|field| field.demand != crate::record::Demand::Welcome)
        .filter(|field| part.resolve(spec, "a", &field.name, None).standing().is_none())
        .map(|field| field.name.clone())
        .collect();
    let mut notes = Vec::new();
    if copied > 0 {
        notes.push(format!(
            "Copied {copied} listed figures from {}; measured ones are this part's own and were not copied.",
            request.from.as_deref().unwrap_or_default()
        ));
    }
    if !asked.is_empty() {
        notes.push(format!("A comparison may ask for: {}.", asked.join(", ")));
    }
    let written = draft.commit(context, &format!("Write down part {} ({kind})", request.tag))?;
    let next = match asked.first() {
        Some(field) => format!("mulebook measure {}/a {field} \"…\" --with INSTRUMENT", request.tag),
        None => format!("mulebook build NAME --set {kind}={}/a", request.tag),
    };
    Ok(Entered { did: format!("Wrote down {} as {path}.", request.tag), notes, written, next })
}

/// Figures of another part's newest state that hold for a part of the same make: the listed ones.
fn copied_figures(root: &Node) -> Vec<(String, Piece)> {
    let Some(state) = root.get("states").and_then(|states| states.items().last().cloned()) else {
        return Vec::new();
    };
    let figures = state.get("figures").map(|figures| figures.entries().to_vec()).unwrap_or_default();
    figures
        .iter()
        .filter_map(|(key, value)| {
            let entry = if value.items().is_empty() { value } else { value.items().last()? };
            let listed = entry.get("listed")?.text()?;
            let source = entry.get("source")?.text()?;
            let piece = Piece::Line(vec![
                ("listed".to_owned(), Piece::word(listed)),
                ("source".to_owned(), Piece::text(source)),
            ]);
            Some((key.text()?.to_owned(), piece))
        })
        .collect()
}

fn unknown_figure(name: &str, spec: &crate::record::PartKind) -> Failure {
    Failure::usage(
        Finding::error("unknown-field", format!("a {} has no such figure", spec.title.to_lowercase()))
            .found(format!("`{name}`"))
            .expected(spec.figures.iter().map(|field| field.name.clone()).collect::<Vec<_>>().join(", ")),
    )
}

fn taken(tag: &str) -> Failure {
    Finding::error("tag-twice", "a part has this tag already")
        .found(format!("`{tag}`"))
        .next("a tag names one thing: choose another")
        .into()
}

fn need_tag(tag: &str) -> Result<(), Failure> {
    if is_tag(tag) {
        return Ok(());
    }
    Err(Failure::usage(
        Finding::error("not-a-tag", "this cannot name a record")
            .found(format!("`{tag}`"))
            .expected("letters, digits, `.`, `_` and `-`, 64 at most, starting with a letter or digit"),
    ))
}

/// What `build` is asked to write.
#[derive(Debug, Clone, Default)]
pub struct BuildRequest {
    /// Its name.
    pub name: String,
    /// Its engine; the `from` build's when left out.
    pub engine: Option<String>,
    /// The build it differs from.
    pub from: Option<String>,
    /// Since when it is together; today unless said.
    pub since: Option<String>,
    /// Roles, settings and fits as `NAME=VALUE`.
    pub set: Vec<String>,
    /// The instrument of measured settings.
    pub with: Option<String>,
    /// Off and on again, with nothing else changed.
    pub refit: bool,
    /// Who.
    pub by: Option<String>,
    /// A remark.
    pub note: Option<String>,
}

/// Writes a build, from another where one is named: only what differs is asked for. A voided setting or fit is never
/// copied; it is listed.
///
/// # Errors
/// Names that are not in the book, or values that do not hold.
pub fn build(book: &Book, context: &Context, request: &BuildRequest) -> Result<Entered, Failure> {
    let mut draft = Draft::open(book, context)?;
    need_tag(&request.name)?;
    let library = draft.library();
    let base = match &request.from {
        Some(from) => Some(library.build(from)?.ok_or_else(|| not_there("build", from))?),
        None => None,
    };
    let engine =
        request.engine.clone().or_else(|| base.as_ref().map(|base| base.engine.clone())).ok_or_else(
            || {
                Failure::usage(
                    Finding::error("engine-missing", "the engine is not said").next("add `--engine TAG`"),
                )
            },
        )?;
    let mut parts: Vec<(String, Piece)> = Vec::new();
    let mut settings: Vec<(String, Piece)> = Vec::new();
    let mut fits: Vec<((String, String), Piece)> = Vec::new();
    for assignment in &request.set {
        let (name, value) = input::assignment(assignment)?;
        match input::target(library.kinds(), &name)? {
            Target::Role(role) => parts.push((role, input::answer_piece(library, &value)?)),
            Target::Setting(setting) => {
                let piece = told_piece(library, context, library.kinds().setting(&setting), &value, request)?;
                settings.push((setting, piece));
            }
            Target::Fit(pair, fit) => {
                let spec = library
                    .kinds()
                    .fit(&pair)
                    .and_then(|spec| spec.fields.iter().find(|field| field.name == fit));
                let piece = told_piece(library, context, spec, &value, request)?;
                fits.push(((pair, fit), piece));
            }
            Target::Condition(_) | Target::Run(_) => {
                return Err(Failure::usage(
                    Finding::error("not-of-a-build", "this belongs to a pull, not to a build")
                        .found(format!("`{name}`")),
                ));
            }
        }
    }
    let changed: Vec<String> = parts.iter().map(|(role, _)| role.clone()).collect();
    let mut notes = Vec::new();
    if let Some(base) = &base {
        let path = build_path(&base.name);
        let root = library.tree(&path)?.ok_or_else(|| not_there("build", &base.name))?;
        let side = gather::build_side(library, base)?;
        copy_base(
            library,
            &side,
            &root,
            request.refit,
            &changed,
            &mut parts,
            &mut settings,
            &mut fits,
            &mut notes,
        );
    }
    // The engine's own record fills its role unless something else was said.
    if let Some(part) = library.part(&engine)?
        && let Some(role) = library.kinds().roles.iter().find(|role| role.name == part.kind)
        && !parts.iter().any(|(named, _)| *named == role.name)
        && let Some(state) = part.newest()
    {
        parts.push((role.name.clone(), Piece::word(format!("{engine}/{}", state.letter))));
    }
    let order = |name: &str| library.kinds().roles.iter().position(|role| role.name == name);
    parts.sort_by_key(|(role, _)| order(role));
    let since = match &request.since {
        Some(since) => input::checked_moment(since)?,
        None => context.today(),
    };
    let mut entries = vec![
        ("build".to_owned(), Piece::word(&request.name)),
        ("engine".to_owned(), Piece::word(engine)),
        ("since".to_owned(), Piece::word(since)),
        ("by".to_owned(), Piece::word(input::person(context, request.by.as_deref())?)),
    ];
    if let Some(base) = &base {
        entries.push(("from".to_owned(), Piece::word(&base.name)));
    }
    if request.refit {
        entries.push(("refit".to_owned(), Piece::Flag(true)));
    }
    if let Some(note) = &request.note {
        entries.push(("note".to_owned(), Piece::text(note)));
    }
    entries.push(("parts".to_owned(), Piece::Block(parts)));
    entries.push(("settings".to_owned(), Piece::Block(settings)));
    let mut by_pair: Vec<(String, Vec<(String, Piece)>)> = Vec::new();
    for ((pair, fit), piece) in fits {
        match by_pair.iter_mut().find(|(known, _)| *known == pair) {
            Some((_, figures)) => figures.push((fit, piece)),
            None => by_pair.push((pair, vec![(fit, piece)])),
        }
    }
    if !by_pair.is_empty() {
        let fits = by_pair.into_iter().map(|(pair, figures)| (pair, Piece::Block(figures))).collect();
        entries.push(("fits".to_owned(), Piece::Block(fits)));
    }
    let path = build_path(&request.name);
    draft.put_new(&path, "build", &entries)?;
    let record = draft.library().build(&request.name)?.ok_or_else(|| not_there("build", &request.name))?;
    let side = gather::build_side(draft.library(), &record)?;
    let gaps = crate::check::gaps_of(&side, draft.library().kinds());
    if !gaps.is_empty() {
        let names: Vec<String> = gaps.iter().take(8).map(|gap| gap.item.path()).collect();
        let more = gaps.len().saturating_sub(names.len());
        notes.push(format!(
            "Not documented yet: {}{}.",
            names.join(", "),
            if more > 0 { format!(" and {more} more") } else { String::new() }
        ));
    }
    let written = draft.commit(context, &format!("Put together build {}", request.name))?;
    let next = if gaps.is_empty() {
        format!("mulebook pull FILE --build {}", request.name)
    } else {
        format!("mulebook gaps {}   shows what closes each", request.name)
    };
    Ok(Entered { did: format!("Wrote down build {} as {path}.", request.name), notes, written, next })
}

fn told_piece(
    library: &crate::workflow::Library,
    context: &Context,
    spec: Option<&crate::record::FieldSpec>,
    value: &str,
    request: &BuildRequest,
) -> Result<Piece, Failure> {
    let mut told = FigureInput::typed(value);
    told.with.clone_from(&request.with);
    told.by.clone_from(&request.by);
    input::figure_piece(library, context, spec, &told)
}

/// Copies what still holds from the base build and says what does not.
#[expect(clippy::too_many_arguments, reason = "one step of writing a build, over its own local state")]
fn copy_base(
    library: &crate::workflow::Library,
    side: &Side,
    root: &Node,
    refit: bool,
    changed: &[String],
    parts: &mut Vec<(String, Piece)>,
    settings: &mut Vec<(String, Piece)>,
    fits: &mut Vec<((String, String), Piece)>,
    notes: &mut Vec<String>,
) {
    let kinds = library.kinds();
    for (role, held) in &side.effective.roles {
        if !changed.contains(role) {
            parts.push((role.clone(), answer_of(&held.answer)));
        }
    }
    let new_parts: Vec<&str> = parts
        .iter()
        .filter(|(role, _)| changed.contains(role))
        .filter_map(|(_, piece)| match piece {
            Piece::Word(text) => text.split_once('/').map(|(tag, _)| tag),
            _ => None,
        })
        .collect();
    let voids = gather::voided_by(library, &new_parts, changed, refit);
    let mut dropped = Vec::new();
    for (name, piece) in pieces_of(root.get("settings")) {
        if settings.iter().any(|(own, _)| *own == name) {
            continue;
        }
        let known = kinds.setting(&name).is_some_and(|spec| side.setting_stands(spec, kinds));
        if !known || voids.settings.contains(&name) {
            dropped.push(name);
        } else {
            settings.push((name, piece));
        }
    }
    for (pair, node) in root.get("fits").map(Node::entries).unwrap_or_default() {
        let pair = pair.text().unwrap_or_default();
        for (name, piece) in pieces_of(Some(node)) {
            let key = (pair.to_owned(), name.clone());
            if fits.iter().any(|(own, _)| *own == key) {
                continue;
            }
            let touched = pair.split('+').any(|role| changed.iter().any(|changed| changed == role));
            if touched || voids.fits(pair, &name) {
                dropped.push(format!("{pair}.{name}"));
            } else {
                fits.push((key, piece));
            }
        }
    }
    if !dropped.is_empty() {
        notes.push(format!("Not copied, since what changed can have changed them: {}.", dropped.join(", ")));
    }
}

fn answer_of(answer: &crate::record::Answer) -> Piece {
    match answer {
        crate::record::Answer::Nothing => Piece::word("none"),
        crate::record::Answer::Part(part) => Piece::word(part.to_string()),
        crate::record::Answer::Unknown(why) => Piece::Line(vec![("unknown".to_owned(), Piece::text(why))]),
    }
}

/// The figures of a mapping as pieces: the newest entry of each.
fn pieces_of(node: Option<&Node>) -> Vec<(String, Piece)> {
    let entries = node.map(Node::entries).unwrap_or_default();
    entries
        .iter()
        .filter_map(|(key, value)| {
            let entry = value.items().last().unwrap_or(value);
            let pieces = entry.entries().iter().filter_map(|(key, value)| {
                let key = key.text()?.to_owned();
                let text = value.text()?;
                let piece =
                    if matches!(key.as_str(), "corrects" | "because") && entry.get("corrects").is_some() {
                        return None;
                    } else if matches!(
                        key.as_str(),
                        "measured" | "listed" | "assumed" | "calculated" | "with" | "by" | "taken" | "at"
                    ) {
                        Piece::word(text)
                    } else {
                        Piece::text(text)
                    };
                Some((key, piece))
            });
            Some((key.text()?.to_owned(), Piece::Line(pieces.collect())))
        })
        .collect()
}

fn not_there(what: &str, name: &str) -> Failure {
    Finding::error("not-found", format!("there is no {what} of this name")).found(format!("`{name}`")).into()
}

/// What `session` is asked to write.
#[derive(Debug, Clone, Default)]
pub struct SessionRequest {
    /// Its tag.
    pub tag: String,
    /// Its cell.
    pub cell: String,
    /// The day; today unless said.
    pub on: Option<String>,
    /// Who.
    pub by: Option<String>,
    /// The engine.
    pub engine: Option<String>,
    /// The warm-up recipe.
    pub warm_up: Option<String>,
    /// What is waited for between pulls.
    pub between: Option<String>,
    /// A remark.
    pub note: Option<String>,
}

/// Writes a session.
///
/// # Errors
/// The cell is not in the book, or the tag is taken.
pub fn session(book: &Book, context: &Context, request: &SessionRequest) -> Result<Entered, Failure> {
    let mut draft = Draft::open(book, context)?;
    need_tag(&request.tag)?;
    put_session(&mut draft, context, request)?;
    let written = draft.commit(context, &format!("Begin session {}", request.tag))?;
    Ok(Entered {
        did: format!("Began session {} in cell {}.", request.tag, request.cell),
        notes: Vec::new(),
        written,
        next: format!("mulebook pull FILE --session {} --build NAME", request.tag),
    })
}

/// Puts a session's manifest into a write under way.
///
/// # Errors
/// The tag is taken.
pub(super) fn put_session(
    draft: &mut Draft<'_>,
    context: &Context,
    request: &SessionRequest,
) -> Result<(), Failure> {
    let on = match &request.on {
        Some(on) => input::checked_moment(on)?,
        None => context.today(),
    };
    let mut entries = vec![
        ("session".to_owned(), Piece::word(&request.tag)),
        ("cell".to_owned(), Piece::word(&request.cell)),
        ("on".to_owned(), Piece::word(on)),
        ("by".to_owned(), Piece::word(input::person(context, request.by.as_deref())?)),
    ];
    if let Some(engine) = &request.engine {
        entries.push(("engine".to_owned(), Piece::word(engine)));
    }
    let texts = [("warm-up", &request.warm_up), ("between", &request.between), ("note", &request.note)];
    for (key, value) in texts {
        if let Some(value) = value {
            entries.push((key.to_owned(), Piece::text(value)));
        }
    }
    draft.put_new(&format!("sessions/{}.yaml", request.tag), "session", &entries)
}

/// Writes a cell with its figures.
///
/// # Errors
/// The tag is taken, or a figure does not hold.
pub fn cell(
    book: &Book,
    context: &Context,
    tag: &str,
    set: &[String],
    with: Option<&str>,
) -> Result<Entered, Failure> {
    let mut draft = Draft::open(book, context)?;
    need_tag(tag)?;
    let mut entries = vec![("cell".to_owned(), Piece::word(tag))];
    let kinds = draft.library().kinds().clone();
    for assignment in set {
        let (name, value) = input::assignment(assignment)?;
        match input::known_name(
            &name,
            kinds.cell.iter().map(|field| (field.name.as_str(), field.aliases.as_slice())),
        ) {
            Some(own) => {
                let spec = kinds.cell.iter().find(|field| field.name == own);
                let mut told = FigureInput::typed(&value);
                told.with = with.map(str::to_owned);
                entries.push((own.to_owned(), input::figure_piece(draft.library(), context, spec, &told)?));
            }
            None => entries.push((name, Piece::text(value))),
        }
    }
    let path = format!("cells/{tag}.yaml");
    draft.put_new(&path, "cell", &entries)?;
    let written = draft.commit(context, &format!("Write down cell {tag}"))?;
    Ok(Entered {
        did: format!("Wrote down cell {tag} as {path}."),
        notes: Vec::new(),
        written,
        next: format!("mulebook session TAG --cell {tag}"),
    })
}

/// What `instrument` is asked to write.
#[derive(Debug, Clone, Default)]
pub struct InstrumentRequest {
    /// Its tag.
    pub tag: String,
    /// What it is.
    pub what: String,
    /// Serial number.
    pub serial: Option<String>,
    /// Stated uncertainties as `QUANTITY=±LIMIT`, with the scope behind a slash: `volume=±0.2 cc/reading`.
    pub uncertainty: Vec<String>,
    /// The day of its last calibration.
    pub calibrated: Option<String>,
    /// Who calibrated it.
    pub calibrated_by: Option<String>,
    /// Until when that holds.
    pub due: Option<String>,
}

/// Writes an instrument.
///
/// # Errors
/// The tag is taken, or an uncertainty does not hold.
pub fn instrument(book: &Book, context: &Context, request: &InstrumentRequest) -> Result<Entered, Failure> {
    let mut draft = Draft::open(book, context)?;
    need_tag(&request.tag)?;
    let mut entries = vec![
        ("instrument".to_owned(), Piece::word(&request.tag)),
        ("what".to_owned(), Piece::text(&request.what)),
    ];
    if let Some(serial) = &request.serial {
        entries.push(("serial".to_owned(), Piece::text(serial)));
    }
    let mut stated = Vec::new();
    for assignment in &request.uncertainty {
        let (of, is) = input::assignment(assignment)?;
        let (is, scope) = match is.rsplit_once('/') {
            Some((is, scope)) if matches!(scope, "reading" | "session" | "calibration") => {
                (is.to_owned(), scope.to_owned())
            }
            _ => (is, "reading".to_owned()),
        };
        let Some(kind) = crate::quantity::QuantityKind::parse(&of) else {
            return Err(Failure::usage(
                Finding::error("unknown-quantity", "no kind of quantity is called so")
                    .found(format!("`{of}`"))
                    .expected(
                        crate::quantity::QuantityKind::ALL
                            .map(crate::quantity::QuantityKind::name)
                            .join(", "),
                    ),
            ));
        };
        crate::quantity::parse_uncertainty(&is, kind).map_err(|error| {
            Finding::error(error.code(), "an uncertainty was expected")
                .found(error.found())
                .expected(error.expected())
                .next(error.hint())
        })?;
        stated.push(Piece::Line(vec![
            ("of".to_owned(), Piece::word(of)),
            ("is".to_owned(), Piece::text(is)),
            ("scope".to_owned(), Piece::word(scope)),
        ]));
    }
    if !stated.is_empty() {
        entries.push(("uncertainty".to_owned(), Piece::List(stated)));
    }
    if let Some(on) = &request.calibrated {
        let mut calibration = vec![
            ("on".to_owned(), Piece::word(input::checked_moment(on)?)),
            ("by".to_owned(), Piece::text(request.calibrated_by.as_deref().unwrap_or("not said"))),
        ];
        if let Some(due) = &request.due {
            calibration.push(("due".to_owned(), Piece::word(input::checked_moment(due)?)));
        }
        entries.push(("calibrations".to_owned(), Piece::List(vec![Piece::Line(calibration)])));
    }
    let path = format!("instruments/{}.yaml", request.tag);
    draft.put_new(&path, "instrument", &entries)?;
    let written = draft.commit(context, &format!("Write down instrument {}", request.tag))?;
    Ok(Entered {
        did: format!("Wrote down instrument {} as {path}.", request.tag),
        notes: Vec::new(),
        written,
        next: format!("mulebook measure PART/STATE FIGURE \"…\" --with {}", request.tag),
    })
}
