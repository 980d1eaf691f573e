//! A photo found later, put beside the figure that it shows. The reading stays as it is: when it was taken, by whom and with
//! what; that the photo came later is what its commit says.

use std::path::PathBuf;

use crate::answer::Entered;
use crate::finding::Finding;
use crate::finding::Place;
use crate::manifest::emit::Piece;
use crate::manifest::node::Content;
use crate::manifest::node::Node;
use crate::record::Course;
use crate::record::Entry;
use crate::record::Figure;
use crate::store::Book;
use crate::workflow::Context;
use crate::workflow::Draft;
use crate::workflow::Failure;
use crate::workflow::Library;
use crate::workflow::figure_files;
use crate::workflow::gate::Sort;
use crate::workflow::gate::sort_of;
use crate::workflow::measure::place_of;
use crate::workflow::names;
use crate::workflow::trail_events::entry_words;

/// Puts photos beside an entry of a figure: the one that stands, or the one of that number.
///
/// # Errors
/// Nothing is called so, the figure has no such entry, the photos are there already, or one cannot be taken in.
pub fn add(
    book: &Book,
    context: &Context,
    target: &str,
    field: &str,
    number_said: Option<usize>,
    photos: &[PathBuf],
) -> Result<Entered, Failure> {
    let mut draft = Draft::open(book, context)?;
    let named = names::any(draft.library(), target)?;
    let (path, mut steps, place) = place_of(draft.library(), &named, field)?;
    let (of, name) = (place.of(), place.name());
    let figure = figure_at(draft.library(), &path, &steps)?;
    let (number, entry) = chosen(&figure, number_said).map_err(|finding| {
        let next = match figure.entries.len() {
            0 => format!("enter the reading and its photo together: `mulebook measure {target} {name} VALUE --photo FILE`"),
            count => format!("say which it shows: `--entry N`, 1 to {count}; `mulebook trail` tells them in order"),
        };
        Failure::usage(finding.at(Place::file(&path).field(name)).next(next))
    })?;
    let says = entry_words(&figure, entry);
    let (files, mut notes) = figure_files::take(&mut draft, context, photos, &entry.files)?;
    if files.is_empty() {
        return Err(Finding::error("nothing-changed", "these photos are beside the figure already")
            .found(notes.join(" "))
            .into());
    }
    let mut document = draft.document(&path)?;
    if number_said.is_none() && is_corrected(document.root(), &steps) {
        return Err(Failure::usage(
            Finding::error("figure-corrected", "this figure was corrected: what was first entered does not stand")
                .at(Place::file(&path).field(name))
                .next(format!(
                    "beside what is right: `mulebook correct {target} --set {field}=… --because \"…\" --photo FILE`; \
                     beside what was first entered: `--entry {number}`"
                )),
        ));
    }
    if document.root().at(&borrowed(&steps)).is_some_and(|node| matches!(node.content, Content::Sequence(..)))
    {
        steps.push((number - 1).to_string());
    }
    steps.push("files".to_owned());
    let at = borrowed(&steps);
    let pieces = figure_files::pieces(&files);
    match document.root().at(&at).is_some_and(|node| !node.items().is_empty()) {
        true => pieces.iter().try_for_each(|piece| document.append(&at, piece))?,
        false => document.set(&at, &Piece::Row(pieces))?,
    }
    draft.put(&path, document.text())?;
    notes.push(format!("Put beside {name}: {}", figure_files::words(&files)));
    notes.push(format!("It shows: {says}. The reading stays as it was entered."));
    let written =
        draft.commit(context, &format!("Put {} beside {name} of {of}", files_named(files.len())))?;
    Ok(Entered {
        did: format!("Put {} beside {name} of {of}.", files_named(files.len())),
        notes,
        written,
        next: match (sort_of(&path), of.rsplit(['/', ' ']).next()) {
            (Sort::Part(_), _) => {
                format!("mulebook trail {} {name}   when it was taken, and when the photo came", stem(&path))
            }
            (Sort::Build(_) | Sort::Pull(_), Some(tag)) => {
                format!("mulebook trail {tag} {name}   when it was taken, and when the photo came")
            }
            _ => format!("git log -p {path}   when it was taken, and when the photo came"),
        },
    })
}

/// The figure at a place of its record; one that nobody entered has no entries.
fn figure_at(library: &Library, path: &str, steps: &[String]) -> Result<Figure, Failure> {
    let stem = stem(path);
    let figure = match (sort_of(path), borrowed(steps).as_slice()) {
        (Sort::Part(_), [_, state, _, name]) => library.part(stem)?.and_then(|part| {
            let state = part.states.into_iter().nth(state.parse().ok()?)?;
            state.figures.get(*name).cloned()
        }),
        (Sort::Build(build), ["settings", name]) => {
            library.build(&build)?.and_then(|build| build.settings.get(*name).cloned())
        }
        (Sort::Build(build), [_, pair, name]) => {
            library.build(&build)?.and_then(|build| build.fits.get(*pair)?.get(*name).cloned())
        }
        (Sort::Pull(_), [_, name]) => {
            library.pull_at(path)?.and_then(|pull| pull.conditions.get(*name).cloned())
        }
        (Sort::Flow, [_, name]) => library.flow(stem)?.and_then(|sheet| {
            let first = sheet.first_conditions.get(*name);
            first.or_else(|| sheet.conditions.get(*name)).cloned()
        }),
        (Sort::Cell, [name]) => library.cell(stem)?.and_then(|cell| cell.figures.get(*name).cloned()),
        _ => None,
    };
    Ok(figure.unwrap_or_default())
}

/// The entry of that number, or the one that stands: the newest that is neither doubted nor corrected.
fn chosen(figure: &Figure, number: Option<usize>) -> Result<(usize, &Entry), Finding> {
    let refused =
        |found: String| Finding::error("no-such-entry", "the figure has no such entry").found(found);
    match number {
        Some(number) => number
            .checked_sub(1)
            .and_then(|index| figure.entries.get(index))
            .map(|entry| (number, entry))
            .ok_or_else(|| refused(format!("entry {number} of {}", figure.entries.len()))),
        None => {
            figure.standing(Course::Fixed, None).map(|found| (found.number, found.entry)).ok_or_else(|| {
                refused(match figure.entries.len() {
                    0 => "nothing entered here".to_owned(),
                    1 => "one entry, and it does not stand".to_owned(),
                    count => format!("{count} entries, and none of them stands"),
                })
            })
        }
    }
}

/// Whether a line under `corrected` sets the figure at a place.
fn is_corrected(root: &Node, steps: &[String]) -> bool {
    let set = match borrowed(steps).as_slice() {
        ["settings", name] => (*name).to_owned(),
        ["fits", pair, name] => format!("{pair}.{name}"),
        [of, name] => format!("{of}.{name}"),
        _ => return false,
    };
    let lines = root.get("corrected").map(Node::items).unwrap_or_default();
    lines.iter().any(|line| line.get("set").and_then(Node::text) == Some(set.as_str()))
}

fn stem(path: &str) -> &str {
    path.rsplit('/').next().and_then(|file| file.strip_suffix(".yaml")).unwrap_or_default()
}

fn borrowed(steps: &[String]) -> Vec<&str> {
    steps.iter().map(String::as_str).collect()
}

fn files_named(count: usize) -> String {
    if count == 1 { "a photo".to_owned() } else { format!("{count} photos") }
}
