//! The little that is asked of every record of a folder, without reading each of them at every command.
//!
//! It is kept in the store's cache under the name that git gives the folder's content, each record's part under that of
//! its manifest: what has not changed is not read again. What is laid over the commit is read each time and not kept.

use std::cell::Cell;
use std::collections::BTreeMap;

use serde::Deserialize;
use serde::Serialize;
use serde::de::DeserializeOwned;

use crate::record::FlowSheet;
use crate::record::Moment;
use crate::record::PartState;
use crate::record::PortSide;
use crate::workflow::Failure;
use crate::workflow::Library;
use crate::workflow::library::Whole;

/// A folder of `<tag>.yaml` files, with the file that is kept of it; its number goes up when its form changes.
#[derive(Debug, Clone, Copy)]
struct Of {
    folder: &'static str,
    cache: &'static str,
}

const SESSIONS: Of = Of { folder: "sessions", cache: "sessions-1" };
const FLOW: Of = Of { folder: "flow", cache: "flow-1" };

/// What is kept: for each tag git's name for the manifest, and what is asked of it.
#[derive(Debug, PartialEq, Serialize, Deserialize)]
struct Kept<S, T> {
    /// What manifests were read by.
    read_by: S,
    /// Git's name for the content of the folder.
    content: S,
    briefs: Vec<(S, S, Option<T>)>,
}

/// What is asked of a flow sheet before it is read: which part was flowed, from which side, and when.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
struct Flowed {
    tag: String,
    letter: String,
    inlet: bool,
    at: String,
}

/// The sessions of a book with their days, which are read as they are asked for: a large book has thousands.
#[derive(Debug, Default)]
pub(in crate::workflow) struct SessionDays {
    /// By tag: the day as written; none where the manifest does not hold.
    written: Vec<(String, Option<String>)>,
    /// Behind the session that was asked for last: whoever asks for many goes through them mostly in order.
    next: Cell<usize>,
}

impl SessionDays {
    /// Every session's tag, sorted, with its day; none where the manifest does not hold.
    pub(in crate::workflow) fn each(&self) -> impl Iterator<Item = (&str, Option<Moment>)> {
        self.written.iter().map(|(tag, on)| (tag.as_str(), moment(on.as_ref())))
    }

    /// The day of a session.
    pub(in crate::workflow) fn of(&self, tag: &str) -> Option<Moment> {
        let next = self.next.get();
        let place = match self.written.get(next) {
            Some((known, _)) if known == tag => next,
            _ => self.written.binary_search_by(|(known, _)| known.as_str().cmp(tag)).ok()?,
        };
        self.next.set(place + 1);
        moment(self.written[place].1.as_ref())
    }
}

fn moment(written: Option<&String>) -> Option<Moment> {
    Moment::parse(written?).ok()
}

/// The days of all sessions.
///
/// # Errors
/// The store's.
pub(super) fn session_days(library: &Library) -> Result<SessionDays, Failure> {
    let day = |tag: &str| Ok(library.session(tag).ok().flatten().map(|session| session.on.to_string()));
    Ok(SessionDays { written: of(library, SESSIONS, &day)?, next: Cell::new(0) })
}

/// The tags of the flow sheets of a part in a state from one side, oldest first.
///
/// # Errors
/// A manifest does not hold.
pub(super) fn flow_tags(library: &Library, part: &PartState, side: PortSide) -> Result<Vec<String>, Failure> {
    let flowed = |tag: &str| Ok(library.flow(tag)?.as_ref().map(Flowed::of));
    let mut found: Vec<(String, String)> = of(library, FLOW, &flowed)?
        .into_iter()
        .filter_map(|(name, flowed)| Some((name, flowed?)))
        .filter(|(_, flowed)| flowed.tag == part.tag && flowed.letter == part.letter)
        .filter(|(_, flowed)| flowed.inlet == (side == PortSide::Inlet))
        .map(|(name, flowed)| (flowed.at, name))
        .collect();
    // Stable: sheets of one time stay in the order of their tags.
    found.sort_by(|a, b| a.0.cmp(&b.0));
    Ok(found.into_iter().map(|(_, name)| name).collect())
}

impl Flowed {
    fn of(sheet: &FlowSheet) -> Self {
        Self {
            tag: sheet.part.tag.clone(),
            letter: sheet.part.letter.clone(),
            inlet: sheet.side == PortSide::Inlet,
            at: sheet.moment().to_string(),
        }
    }
}

fn of<T: Clone + PartialEq + Serialize + DeserializeOwned>(
    library: &Library,
    Of { folder, cache: name }: Of,
    brief: &dyn Fn(&str) -> Result<Option<T>, Failure>,
) -> Result<Vec<(String, Option<T>)>, Failure> {
    let content = library.snapshot().id_of(folder)?.map(|id| id.to_string()).unwrap_or_default();
    let covered = library.covers(&format!("{folder}/"));
    if content.is_empty() && !covered {
        return Ok(Vec::new());
    }
    let read_by = library.read_by()?;
    let cache = library.snapshot().cache();
    // Schemas that are not committed read manifests in their own way.
    let own_reading = library.covers("schema/");
    let bytes = cache.read(name).unwrap_or_default();
    let kept: Option<Kept<&str, T>> = postcard::from_bytes(&bytes).ok();
    let kept = kept.filter(|kept| kept.read_by == read_by && !own_reading);
    let kept = match kept {
        Some(kept) if kept.content == content && !covered => {
            return Ok(kept.briefs.into_iter().map(|(tag, _, brief)| (tag.to_owned(), brief)).collect());
        }
        kept => kept,
    };
    let known = kept.iter().flat_map(|kept| &kept.briefs);
    let known: BTreeMap<(&str, &str), &Option<T>> =
        known.map(|(tag, content, brief)| ((*tag, *content), brief)).collect();
    let mut committed: BTreeMap<String, String> = BTreeMap::new();
    for entry in library.snapshot().list(folder)? {
        if let Some(tag) = entry.name.strip_suffix(".yaml") {
            committed.insert(tag.to_owned(), entry.id.to_string());
        }
    }
    let (mut found, mut fresh, mut whole) = (Vec::new(), Vec::new(), true);
    for tag in library.tags(folder)? {
        let path = format!("{folder}/{tag}.yaml");
        let content = committed.get(&tag).filter(|_| !library.covers(&path));
        let brief = match content.and_then(|content| known.get(&(tag.as_str(), content.as_str()))) {
            Some(known) => (*known).clone(),
            None => {
                let brief = brief(&tag)?;
                whole &= brief.is_some() || Whole::of(library, &path) == Whole::Yes;
                brief
            }
        };
        fresh.extend(content.map(|content| (tag.clone(), content.clone(), brief.clone())));
        found.push((tag, brief));
    }
    if whole
        && library.overlay().is_empty()
        && let Ok(bytes) = postcard::to_stdvec(&Kept { read_by, content, briefs: fresh })
    {
        cache.keep(name, &bytes);
    }
    Ok(found)
}
