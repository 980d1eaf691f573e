//! How many pulls and how long each part has run since its state began, up to a pull.
//!
//! Wear is counted, not recorded. Counting reads every pull, so the counts of each build folder are kept in the
//! store's cache under the name git gives that folder's content: a folder that has not changed is not read again.

use std::collections::BTreeMap;

use serde::Deserialize;
use serde::Serialize;

use crate::check::Side;
use crate::check::Wear;
use crate::record::Answer;
use crate::record::Effective;
use crate::record::Moment;
use crate::store::Book;
use crate::workflow::Failure;
use crate::workflow::Library;
use crate::workflow::names::order_of;

const CACHE: &str = "wear-1";

/// The pulls of one session on one build: by the parts on the engine, how many and for how long.
#[derive(Debug, Clone, Serialize, Deserialize)]
struct Row {
    session: String,
    /// By `tag/state`: pulls as order and seconds.
    parts: BTreeMap<String, (u32, f64)>,
}

#[derive(Debug, Clone, Serialize, Deserialize)]
struct Folder {
    id: String,
    rows: Vec<Row>,
}

type Folders = BTreeMap<String, Folder>;

/// Counts the wear of a side's parts, by `tag/state`.
///
/// # Errors
/// The store's.
pub(super) fn of(book: &Book, library: &Library, side: &Side) -> Result<BTreeMap<String, Wear>, Failure> {
    let Some(pull) = &side.pull else {
        return Ok(BTreeMap::new());
    };
    let parts: Vec<String> = side
        .effective
        .roles
        .values()
        .filter_map(|held| match &held.answer {
            Answer::Part(part) => Some(part.to_string()),
            _ => None,
        })
        .collect();
    let mut wear: BTreeMap<String, Wear> = parts.iter().map(|part| (part.clone(), Wear::default())).collect();
    let folders = folders(book, library)?;
    let own = side.session.as_ref().map(|session| (session.on.clone(), session.tag.clone()));
    let mut days: BTreeMap<&str, Option<Moment>> = BTreeMap::new();
    for row in folders.values().flat_map(|folder| &folder.rows) {
        if row.session == pull.session {
            continue;
        }
        if !days.contains_key(row.session.as_str()) {
            let day = library.session(&row.session).ok().flatten().map(|session| session.on);
            days.insert(&row.session, day);
        }
        let earlier = match (&own, days.get(row.session.as_str()).and_then(Option::as_ref)) {
            (Some((on, tag)), Some(day)) => day.order(on).then_with(|| row.session.as_str().cmp(tag)).is_lt(),
            _ => false,
        };
        if !earlier {
            continue;
        }
        for (part, (pulls, seconds)) in &row.parts {
            if let Some(wear) = wear.get_mut(part) {
                wear.pulls += pulls;
                wear.seconds += seconds;
            }
        }
    }
    for (id, path) in library.pull_paths()? {
        let in_session = id.strip_prefix(&pull.session).is_some_and(|rest| rest.starts_with('-'));
        if !in_session || order_of(id).is_none_or(|order| order > pull.order) || path.is_empty() {
            continue;
        }
        let Ok(Some(other)) = library.pull(id) else {
            continue;
        };
        let build = match other.effective_build() {
            Some(build) => library.build(build).ok().flatten(),
            None => None,
        };
        for part in parts_of(&Effective::of_pull(&other, build.as_ref())) {
            if let Some(wear) = wear.get_mut(&part) {
                wear.pulls += 1;
                wear.seconds += seconds(other.ran.as_deref());
            }
        }
    }
    Ok(wear)
}

fn parts_of(effective: &Effective) -> Vec<String> {
    effective
        .roles
        .values()
        .filter_map(|held| match &held.answer {
            Answer::Part(part) => Some(part.to_string()),
            _ => None,
        })
        .collect()
}

fn seconds(ran: Option<&str>) -> f64 {
    ran.and_then(|ran| {
        crate::quantity::parse_reading(ran, crate::quantity::QuantityKind::Duration, None).ok()
    })
    .map_or(0.0, |reading| reading.mean().si())
}

/// The counts of every build folder, from the cache where the folder has not changed.
fn folders(book: &Book, library: &Library) -> Result<Folders, Failure> {
    let cached: Folders =
        book.cache_read(CACHE).and_then(|bytes| serde_json::from_slice(&bytes).ok()).unwrap_or_default();
    let mut folders = Folders::new();
    let mut fresh = false;
    for entry in library.snapshot().list("builds")? {
        let id = entry.id.to_string();
        match cached.get(&entry.name).filter(|folder| folder.id == id) {
            Some(folder) => drop(folders.insert(entry.name, folder.clone())),
            None => {
                fresh = true;
                let rows = count(library, &entry.name)?;
                folders.insert(entry.name, Folder { id, rows });
            }
        }
    }
    if (fresh || cached.len() != folders.len())
        && let Ok(bytes) = serde_json::to_vec(&folders)
    {
        book.cache_write(CACHE, &bytes);
    }
    Ok(folders)
}

fn count(library: &Library, name: &str) -> Result<Vec<Row>, Failure> {
    let build = library.build(name).ok().flatten();
    let mut rows: Vec<Row> = Vec::new();
    for id in library.pulls_of(name)? {
        let Ok(Some(pull)) = library.pull(&id) else {
            continue;
        };
        let ran = seconds(pull.ran.as_deref());
        let at = rows.iter().position(|row| row.session == pull.session).unwrap_or_else(|| {
            rows.push(Row { session: pull.session.clone(), parts: BTreeMap::new() });
            rows.len() - 1
        });
        for part in parts_of(&Effective::of_pull(&pull, build.as_ref())) {
            let count = rows[at].parts.entry(part).or_insert((0, 0.0));
            count.0 += 1;
            count.1 += ran;
        }
    }
    Ok(rows)
}
