//! Which records tell of a subject: from the catalog, else from every record.

use std::collections::BTreeSet;

use crate::record::Effective;
use crate::record::Pull;
use crate::store::Book;
use crate::workflow::Failure;
use crate::workflow::Library;
use crate::workflow::catalog::Rows;
use crate::workflow::catalog::Shelf;
use crate::workflow::catalog::Wanted;
use crate::workflow::figure_files;
use crate::workflow::gate::Sort;
use crate::workflow::gate::sort_of;
use crate::workflow::library::build_path;
use crate::workflow::trail;
use crate::workflow::trail_events;
use crate::workflow::trail_events::Touch;

/// What the events of a record touch beyond the record itself, in words that may be looked up.
///
/// # Errors
/// The store's.
pub(super) fn of(library: &Library, path: &str) -> Result<BTreeSet<String>, Failure> {
    let own = path.rsplit('/').next().and_then(|file| file.strip_suffix(".yaml")).unwrap_or_default();
    let events = trail::events_of(library, path)?;
    let touches = events.iter().flat_map(|event| &event.touches);
    Ok(touches.filter(|touch| !is_own(touch, path, own)).filter_map(word).collect())
}

/// The same of a pull that was read.
pub(super) fn of_pull(pull: &Pull, effective: &Effective) -> BTreeSet<String> {
    let events = trail_events::of_pull(pull, effective);
    events.iter().flat_map(|event| &event.touches).filter_map(word).collect()
}

/// Whether a touch is of the record itself.
fn is_own(touch: &Touch, path: &str, own: &str) -> bool {
    match touch {
        Touch::Part { tag, .. } => tag == own && matches!(sort_of(path), Sort::Part(_)),
        _ => false,
    }
}

/// Figures and pulls are touched by their own record alone, raw files are looked for in every record.
fn word(touch: &Touch) -> Option<String> {
    match touch {
        Touch::Part { tag, letter: None } => Some(format!("part:{tag}")),
        Touch::Part { tag, letter: Some(letter) } => Some(format!("part:{tag}/{letter}")),
        Touch::Instrument(tag) => Some(format!("instrument:{tag}")),
        Touch::Build(name) => Some(format!("build:{name}")),
        Touch::Session(tag) => Some(format!("session:{tag}")),
        Touch::Columns(name) => Some(format!("columns:{name}")),
        Touch::Figure { .. } | Touch::Pull(_) | Touch::Raw(_) | Touch::Claim(_) => None,
    }
}

/// The records, parts first, whose events touch one of these as the book stands; `own` is the record that they are of.
/// None where every record must be asked.
///
/// # Errors
/// The store's.
pub(super) fn catalogued(
    book: &Book,
    library: &Library,
    wanted: &[Touch],
    own: Option<&str>,
) -> Result<Option<BTreeSet<String>>, Failure> {
    if wanted.iter().any(|touch| matches!(touch, Touch::Raw(_))) {
        return Ok(None);
    }
    // Those that the record itself may be the only one to touch.
    let mut found = BTreeSet::new();
    found.extend(own.filter(|path| is_told(path)).map(str::to_owned));
    for touch in wanted {
        let name = match touch {
            Touch::Figure { of, .. } => of,
            Touch::Pull(id) => id,
            _ => continue,
        };
        let build = library.holds(&format!("builds/{name}"), "build.yaml")?.then(|| build_path(name));
        found.extend([library.part_path(name)?, build, library.pull_path(name)?].into_iter().flatten());
    }
    if wanted.iter().all(|touch| word(touch).is_none()) {
        return Ok(Some(found));
    }
    let name_of = |touch: &Touch| match touch {
        Touch::Part { tag, .. } => Some(tag.clone()),
        other => word(other),
    };
    let names: Vec<String> = wanted.iter().filter_map(name_of).collect();
    let words: Vec<Vec<&str>> = names.iter().map(|name| vec![name.as_str()]).collect();
    for shelf in [Shelf::PartEvents, Shelf::BuildEvents, Shelf::PullEvents] {
        let with = Wanted::With { words: &words, above: 0 };
        let Some(rows) = Rows::of(book, library, shelf, with, &|_, _, _| ())? else { return Ok(None) };
        for touch in wanted {
            let Some(name) = name_of(touch) else { continue };
            let Some(chunks) = rows.chunks_with(&[&name]) else { return Ok(None) };
            for (_, chunk) in &chunks {
                let keys: Vec<&str> = match touch {
                    // In any state, where none is named.
                    Touch::Part { tag, letter: None } => {
                        let of = |key: &&str| {
                            let name = key.strip_prefix("part:");
                            name.is_some_and(|name| name.split_once('/').map_or(name, |(tag, _)| tag) == tag)
                        };
                        chunk.keys().filter(of).collect()
                    }
                    Touch::Part { tag, letter: Some(letter) } => {
                        let (whole, state) = (format!("part:{tag}"), format!("part:{tag}/{letter}"));
                        chunk.keys().filter(|key| **key == whole || **key == state).collect()
                    }
                    other => {
                        let word = word(other).unwrap_or_default();
                        chunk.keys().filter(|key| **key == word).collect()
                    }
                };
                for column in keys.into_iter().filter_map(|key| chunk.said(key)) {
                    let touched = chunk.rows.iter().enumerate().filter(|(at, _)| column.value(*at).is_some());
                    found.extend(touched.map(|(_, row)| row.name.to_owned()));
                }
            }
        }
    }
    Ok(Some(found))
}

/// Whether records of its sort are asked at all.
fn is_told(path: &str) -> bool {
    matches!(sort_of(path), Sort::Part(_) | Sort::Build(_) | Sort::Pull(_))
}

/// The records that may tell of anything, read one by one.
///
/// # Errors
/// The store's.
pub(super) fn all(library: &Library) -> Result<Vec<String>, Failure> {
    figure_files::records(library)
}
