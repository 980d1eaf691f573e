//! How many pulls and how long each part has run since its state began, up to a pull.
//!
//! Wear is counted, not recorded. Counting reads every pull, so the counts of each build folder are kept in the
//! store's cache under the name git gives that folder's content, and the day of each session under that of its
//! manifest: what has not changed is not read again. What is laid over the commit is read each time and not kept.

use std::collections::BTreeMap;

use serde::Deserialize;
use serde::Serialize;

use crate::check::Side;
use crate::check::Wear;
use crate::record::Answer;
use crate::record::Effective;
use crate::record::Moment;
use crate::workflow::Failure;
use crate::workflow::Library;
use crate::workflow::names::order_of;

/// The kept file; the number goes up when its form changes.
const CACHE: &str = "wear-2";

/// The pulls of one session on one build with the same parts on the engine: how many and for how long.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
struct Row {
    session: String,
    /// Which of the folder's sets of parts.
    set: usize,
    pulls: u32,
    /// The bits of the seconds, so that what is kept is the same to the last one.
    seconds: u64,
}

#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
struct Folder {
    /// Git's name for the folder's content.
    content: String,
    /// The parts that were on the engine, by `tag/state`.
    sets: Vec<Vec<String>>,
    rows: Vec<Row>,
}

#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
struct Day {
    /// Git's name for the session's manifest.
    content: String,
    /// The session's day as written; none where the manifest does not hold.
    on: Option<String>,
}

/// Everything counted, by build folder, and the days of the sessions.
#[derive(Debug, Default, PartialEq, Serialize, Deserialize)]
pub(super) struct Counts {
    /// What manifests were read by: the program's version and the book's own schemas.
    read_by: String,
    folders: BTreeMap<String, Folder>,
    days: BTreeMap<String, Day>,
}

impl Counts {
    /// Counts the pulls of a book, or takes what was kept where nothing changed since.
    ///
    /// # Errors
    /// The store's.
    pub(super) fn of(library: &Library) -> Result<Self, Failure> {
        library.aside(|| Self::counted(library))
    }

    fn counted(library: &Library) -> Result<Self, Failure> {
        let read_by = read_by(library)?;
        let cache = library.snapshot().cache();
        // Schemas that are not committed read manifests in their own way.
        let own_reading = library.covers("schema/");
        let kept: Option<Self> = cache.read(CACHE).and_then(|bytes| serde_json::from_slice(&bytes).ok());
        let kept = kept.filter(|kept| kept.read_by == read_by && !own_reading).unwrap_or_default();
        let mut known_folders = kept.folders;
        let mut known_days = kept.days;
        let mut counts = Self { read_by, ..Self::default() };
        let mut over = Self::default();
        let mut fresh = false;
        let committed = content_by_name(library, "builds")?;
        for name in library.names("builds")? {
            let content = committed.get(&name).cloned().unwrap_or_default();
            if own_reading || content.is_empty() || library.covers(&format!("builds/{name}/")) {
                over.folders.insert(name.clone(), count(library, &name, String::new())?.0);
                // What is kept of the commit stays kept.
                if let Some(folder) = known_folders.remove(&name) {
                    counts.folders.insert(name, folder);
                }
                continue;
            }
            let folder = match known_folders.remove(&name).filter(|folder| folder.content == content) {
                Some(folder) => folder,
                None => match count(library, &name, content)? {
                    (folder, Whole::Yes) => {
                        fresh = true;
                        folder
                    }
                    (folder, Whole::No) => {
                        over.folders.insert(name, folder);
                        continue;
                    }
                },
            };
            counts.folders.insert(name, folder);
        }
        let committed = content_by_name(library, "sessions")?;
        for tag in library.tags("sessions")? {
            let file = format!("{tag}.yaml");
            let content = committed.get(&file).cloned().unwrap_or_default();
            if own_reading || content.is_empty() || library.covers(&format!("sessions/{file}")) {
                over.days.insert(tag.clone(), day(library, &tag, String::new()).0);
                if let Some(day) = known_days.remove(&tag) {
                    counts.days.insert(tag, day);
                }
                continue;
            }
            let day = match known_days.remove(&tag).filter(|day| day.content == content) {
                Some(day) => day,
                None => match day(library, &tag, content) {
                    (day, Whole::Yes) => {
                        fresh = true;
                        day
                    }
                    (day, Whole::No) => {
                        over.days.insert(tag, day);
                        continue;
                    }
                },
            };
            counts.days.insert(tag, day);
        }
        let gone = library.overlay().is_empty() && !(known_folders.is_empty() && known_days.is_empty());
        if (fresh || gone)
            && !own_reading
            && let Ok(bytes) = serde_json::to_vec(&counts)
        {
            cache.keep(CACHE, &bytes);
        }
        counts.folders.extend(over.folders);
        counts.days.extend(over.days);
        Ok(counts)
    }

    /// The wear of a side's parts, by `tag/state`.
    ///
    /// # Errors
    /// The store's.
    pub(super) fn wear(&self, library: &Library, side: &Side) -> Result<BTreeMap<String, Wear>, Failure> {
        let Some(pull) = &side.pull else {
            return Ok(BTreeMap::new());
        };
        let mut wear: BTreeMap<String, Wear> =
            parts_of(&side.effective).into_iter().map(|part| (part, Wear::default())).collect();
        if let Some(session) = &side.session {
            let mut earlier: BTreeMap<&str, bool> = BTreeMap::new();
            for (tag, day) in &self.days {
                let on = day.on.as_deref().and_then(|on| Moment::parse(on).ok());
                let before = on.is_some_and(|on| {
                    on.order(&session.on).then_with(|| tag.as_str().cmp(&session.tag)).is_lt()
                });
                earlier.insert(tag, before);
            }
            for folder in self.folders.values() {
                let mut totals = vec![(0_u32, 0.0_f64); folder.sets.len()];
                for row in &folder.rows {
                    let before = earlier.get(row.session.as_str()).is_some_and(|before| *before);
                    if before
                        && row.session != pull.session
                        && let Some(total) = totals.get_mut(row.set)
                    {
                        total.0 = total.0.saturating_add(row.pulls);
                        total.1 += f64::from_bits(row.seconds);
                    }
                }
                for (set, (pulls, seconds)) in folder.sets.iter().zip(totals).filter(|(_, total)| total.0 > 0)
                {
                    for part in set {
                        if let Some(wear) = wear.get_mut(part) {
                            wear.pulls = wear.pulls.saturating_add(pulls);
                            wear.seconds += seconds;
                        }
                    }
                }
            }
        }
        let mut builds = BTreeMap::new();
        for (id, path) in library.pulls_beginning(&format!("{}-", pull.session))? {
            if order_of(&id).is_none_or(|order| order > pull.order) {
                continue;
            }
            let Ok(Some(other)) = library.pull_at(&path) else {
                continue;
            };
            let build = other.effective_build().map(|name| {
                builds.entry(name.to_owned()).or_insert_with(|| library.build(name).ok().flatten()).as_ref()
            });
            for part in parts_of(&Effective::of_pull(&other, build.flatten())) {
                if let Some(wear) = wear.get_mut(&part) {
                    wear.pulls += 1;
                    wear.seconds += seconds(other.ran.as_deref());
                }
            }
        }
        Ok(wear)
    }
}

/// What decides how manifests are read.
fn read_by(library: &Library) -> Result<String, Failure> {
    let own = library.snapshot().id_of("schema")?.map(|id| id.to_string()).unwrap_or_default();
    let versions: Vec<String> =
        library.kinds().versions.iter().map(|(name, version)| format!("{name}-{version}")).collect();
    Ok(format!("{} {own} {}", env!("CARGO_PKG_VERSION"), versions.join(" ")))
}

/// Git's names for the content of a folder's entries.
fn content_by_name(library: &Library, folder: &str) -> Result<BTreeMap<String, String>, Failure> {
    let entries = library.snapshot().list(folder)?;
    Ok(entries.into_iter().map(|entry| (entry.name, entry.id.to_string())).collect())
}

/// Whether all bytes were at hand: an object that is missing now may be there again later, under the same name.
enum Whole {
    Yes,
    No,
}

impl Whole {
    fn of(library: &Library, path: &str) -> Self {
        if library.read(path).is_ok() { Self::Yes } else { Self::No }
    }
}

fn day(library: &Library, tag: &str, content: String) -> (Day, Whole) {
    let session = library.session(tag).ok().flatten();
    let whole = match session {
        Some(_) => Whole::Yes,
        None => Whole::of(library, &format!("sessions/{tag}.yaml")),
    };
    (Day { content, on: session.map(|session| session.on.to_string()) }, whole)
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

/// Counts the pulls in a build's folder.
fn count(library: &Library, name: &str, content: String) -> Result<(Folder, Whole), Failure> {
    let build = library.build(name).ok().flatten();
    let mut whole = match build {
        Some(_) => Whole::Yes,
        None => Whole::of(library, &crate::workflow::library::build_path(name)),
    };
    let mut folder = Folder { content, ..Folder::default() };
    for id in library.pulls_of(name)? {
        let path = format!("builds/{name}/pulls/{id}.yaml");
        let Ok(Some(pull)) = library.pull_at(&path) else {
            if matches!(Whole::of(library, &path), Whole::No) {
                whole = Whole::No;
            }
            continue;
        };
        let ran = seconds(pull.ran.as_deref());
        let parts = parts_of(&Effective::of_pull(&pull, build.as_ref()));
        let set = folder.sets.iter().position(|set| *set == parts).unwrap_or_else(|| {
            folder.sets.push(parts);
            folder.sets.len() - 1
        });
        match folder.rows.iter_mut().find(|row| row.session == pull.session && row.set == set) {
            Some(row) => {
                row.pulls += 1;
                row.seconds = (f64::from_bits(row.seconds) + ran).to_bits();
            }
            None => folder.rows.push(Row { session: pull.session, set, pulls: 1, seconds: ran.to_bits() }),
        }
    }
    Ok((folder, whole))
}
