//! Write down a build, from another where one is named: only what differs is asked for.

use crate::answer::Entered;
use crate::check::Side;
use crate::finding::Finding;
use crate::manifest::emit::Piece;
use crate::manifest::node::Node;
use crate::store::Book;
use crate::workflow::Context;
use crate::workflow::Draft;
use crate::workflow::Failure;
use crate::workflow::figure_files;
use crate::workflow::gather;
use crate::workflow::input;
use crate::workflow::input::FigureInput;
use crate::workflow::input::Target;
use crate::workflow::library::build_path;
use crate::workflow::make_place::need_tag;
use crate::workflow::names;

/// What `build` is asked to write.
#[derive(Debug, Clone, Default)]
pub struct BuildRequest {
    /// Its name.
    pub name: String,
    /// Its engine; the `from` build's when left out.
    pub engine: Option<String>,
    /// The build it differs from.
    pub from: Option<String>,
    /// It differs from the build of the last pull.
    pub as_last: bool,
    /// Since when it is together; today unless said.
    pub since: Option<String>,
    /// Roles, settings and fits as `NAME=VALUE`.
    pub set: Vec<String>,
    /// The instrument of measured settings.
    pub with: Option<String>,
    /// When measured settings were taken; now unless said.
    pub taken: Option<String>,
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
    let from = match (&request.from, request.as_last) {
        (None, true) => Some(last_build(library)?),
        (from, _) => from.clone(),
    };
    let base = match &from {
        Some(from) => {
            let from = names::build(library, from)?;
            Some(library.build(&from)?.ok_or_else(|| not_there("build", &from))?)
        }
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
        if request.as_last {
            let but =
                if changed.is_empty() { String::new() } else { format!(" but for {}", changed.join(", ")) };
            notes.push(format!("As last: {}{but}.", base.name));
        }
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

/// The build of the newest pull.
fn last_build(library: &crate::workflow::Library) -> Result<String, Failure> {
    let last = library.pull(&names::pull(library, "last")?)?;
    last.and_then(|pull| pull.effective_build().map(str::to_owned)).ok_or_else(|| {
        Failure::usage(
            Finding::error("no-last-build", "the last pull has no build to differ from")
                .next("name the build with `--from`"),
        )
    })
}

fn told_piece(
    library: &crate::workflow::Library,
    context: &Context,
    spec: Option<&crate::record::FieldSpec>,
    value: &str,
    request: &BuildRequest,
) -> Result<Piece, Failure> {
    let told = FigureInput::typed(value).or(
        request.with.as_deref(),
        request.by.as_deref(),
        request.taken.as_deref(),
    );
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
                if key == "files" {
                    // It is the same reading, so the same photos show it.
                    return Some((key, Piece::Row(figure_files::pieces_of(value))));
                }
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
