//! How many pulls and how long each part has run since its state began, up to a pull.
//!
//! Wear is counted, not recorded. Counting reads every pull, so the counts of each build folder are kept in the
//! store's cache under the name git gives that folder's content: what has not changed is not read again. What is laid
//! over the commit is read each time and not kept.

use std::cell::OnceCell;
use std::collections::BTreeMap;

use serde::Deserialize;
use serde::Serialize;

use crate::check::Side;
use crate::check::Wear;
use crate::record::Answer;
use crate::record::Effective;
use crate::record::Pull;
use crate::workflow::Failure;
use crate::workflow::Library;
use crate::workflow::library::UNASSIGNED;
use crate::workflow::library::Whole;
use crate::workflow::names::order_of;
use crate::workflow::threads;
use crate::workflow::threads::MANY;

/// The kept file; the number goes up when its form changes.
const CACHE: &str = "wear-3";

/// The pulls of one session on one build with the same parts on the engine: how many and for how long.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
struct Row {
    /// Which of the sessions.
    session: u32,
    /// Which of the folder's sets of parts.
    set: u32,
    pulls: u32,
    /// Kept to the last bit.
    seconds: f64,
}

#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
struct Folder {
    name: String,
    /// Git's name for the folder's content.
    content: String,
    /// Which parts were on the engine.
    sets: Vec<Vec<u32>>,
    rows: Vec<Row>,
}

/// Everything counted, by build folder.
#[derive(Debug, Default, PartialEq, Serialize, Deserialize)]
pub(super) struct Counts {
    /// What manifests were read by.
    read_by: String,
    /// Git's name for the content of all folders.
    content: String,
    /// Parts by `tag/state`, in the order in which they were met; and sessions.
    parts: Vec<String>,
    sessions: Vec<String>,
    /// By name.
    folders: Vec<Folder>,
}

/// Names in the order in which they were met, each found again by itself.
#[derive(Debug, Default)]
struct Numbers {
    names: Vec<String>,
    of: BTreeMap<String, u32>,
}

impl Numbers {
    fn number(&mut self, name: &str) -> u32 {
        if let Some(known) = self.of.get(name) {
            return *known;
        }
        let next = u32::try_from(self.names.len()).unwrap_or(u32::MAX);
        self.names.push(name.to_owned());
        self.of.insert(name.to_owned(), next);
        next
    }
}

fn name_of(names: &[String], number: u32) -> &str {
    usize::try_from(number).ok().and_then(|number| names.get(number)).map_or("", String::as_str)
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
        let read_by = library.read_by()?;
        let cache = library.snapshot().cache();
        // Schemas that are not committed read manifests in their own way.
        let own_reading = library.covers("schema/");
        let kept: Option<Self> = cache.read(CACHE).and_then(|bytes| postcard::from_bytes(&bytes).ok());
        let kept = kept.filter(|kept| kept.read_by == read_by && !own_reading).unwrap_or_default();
        let content = library.snapshot().id_of("builds")?.map(|id| id.to_string()).unwrap_or_default();
        if !own_reading && !content.is_empty() && kept.content == content && !library.covers("builds/") {
            return Ok(kept);
        }
        let known: BTreeMap<(&str, &str), &Folder> =
            kept.folders.iter().map(|of| ((of.name.as_str(), of.content.as_str()), of)).collect();
        let mut committed: BTreeMap<String, String> = BTreeMap::new();
        for entry in library.snapshot().list("builds")? {
            committed.insert(entry.name, entry.id.to_string());
        }
        // By name: git's name for the folder's content, none where something is laid over it.
        let mut names = Vec::new();
        for name in library.names("builds")? {
            let own = own_reading || library.covers(&format!("builds/{name}/"));
            let content = committed.get(&name).filter(|_| !own).cloned().unwrap_or_default();
            names.push((name, content));
        }
        let known =
            |name: &str, content: &str| known.get(&(name, content)).filter(|_| !content.is_empty()).copied();
        let new = names.iter().filter(|(name, content)| known(name, content).is_none()).cloned().collect();
        let mut new = count_all(library, new)?.into_iter();
        let (mut parts, mut sessions) = (Numbers::default(), Numbers::default());
        let mut folders = Vec::new();
        let mut whole = true;
        for (name, content) in &names {
            if let Some(folder) = known(name, content) {
                folders.push(kept.renumbered(folder, &mut parts, &mut sessions));
            } else if let Some((counts, of_folder)) = new.next() {
                whole &= of_folder == Whole::Yes;
                let counted = counts.folders.iter();
                folders.extend(counted.map(|folder| counts.renumbered(folder, &mut parts, &mut sessions)));
            }
        }
        let counts = Self { read_by, content, parts: parts.names, sessions: sessions.names, folders };
        if whole
            && library.overlay().is_empty()
            && let Ok(bytes) = postcard::to_stdvec(&counts)
        {
            cache.keep(CACHE, &bytes);
        }
        Ok(counts)
    }

    /// Keeps what was counted of every folder of a commit, while the catalog was made, for the next that asks.
    ///
    /// # Errors
    /// The store's.
    pub(super) fn keep_all(library: &Library, folders: &[Self]) -> Result<(), Failure> {
        let cache = library.snapshot().cache();
        if cache.read(CACHE).is_some() {
            return Ok(());
        }
        let (mut parts, mut sessions) = (Numbers::default(), Numbers::default());
        let mut again = |counts: &Self| -> Vec<Folder> {
            let folders = counts.folders.iter();
            folders.map(|folder| counts.renumbered(folder, &mut parts, &mut sessions)).collect()
        };
        let folders = folders.iter().flat_map(&mut again).collect();
        let content = library.snapshot().id_of("builds")?.map(|id| id.to_string()).unwrap_or_default();
        let read_by = library.read_by()?;
        let counts = Self { read_by, content, parts: parts.names, sessions: sessions.names, folders };
        if let Ok(bytes) = postcard::to_stdvec(&counts) {
            cache.keep(CACHE, &bytes);
        }
        Ok(())
    }

    /// A folder of these counts with the numbers that its parts and sessions have elsewhere.
    fn renumbered(&self, folder: &Folder, parts: &mut Numbers, sessions: &mut Numbers) -> Folder {
        let mut again = |set: &Vec<u32>| -> Vec<u32> {
            set.iter().map(|part| parts.number(name_of(&self.parts, *part))).collect()
        };
        let sets = folder.sets.iter().map(&mut again).collect();
        let rows = folder.rows.iter();
        let rows = rows
            .map(|row| Row { session: sessions.number(name_of(&self.sessions, row.session)), ..row.clone() });
        Folder { sets, rows: rows.collect(), ..folder.clone() }
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
            let days = library.session_days()?;
            let is_before = |tag: &String| {
                let on = days.of(tag).filter(|_| *tag != pull.session);
                on.is_some_and(|on| on.order(&session.on).then_with(|| tag.cmp(&session.tag)).is_lt())
            };
            // Asked of those sessions alone in which one of the parts ran.
            let known: Vec<OnceCell<bool>> = vec![OnceCell::new(); self.sessions.len()];
            let before = |number: u32| {
                let place = usize::try_from(number).unwrap_or(usize::MAX);
                let tag = known.get(place).zip(self.sessions.get(place));
                tag.is_some_and(|(known, tag)| *known.get_or_init(|| is_before(tag)))
            };
            let mut sums: Vec<Option<Wear>> =
                self.parts.iter().map(|part| wear.contains_key(part).then(Wear::default)).collect();
            let ran = |part: &u32| {
                let sum = usize::try_from(*part).ok().and_then(|part| sums.get(part));
                sum.is_some_and(Option::is_some)
            };
            let with_them: Vec<&Folder> =
                self.folders.iter().filter(|folder| folder.sets.iter().flatten().any(ran)).collect();
            for folder in with_them {
                let mut totals = vec![(0_u32, 0.0_f64); folder.sets.len()];
                for row in folder.rows.iter().filter(|row| before(row.session)) {
                    if let Some(total) = at(&mut totals, row.set) {
                        total.0 = total.0.saturating_add(row.pulls);
                        total.1 += row.seconds;
                    }
                }
                for (set, (pulls, seconds)) in folder.sets.iter().zip(totals).filter(|(_, total)| total.0 > 0)
                {
                    for part in set {
                        if let Some(Some(sum)) = at(&mut sums, *part) {
                            sum.pulls = sum.pulls.saturating_add(pulls);
                            sum.seconds += seconds;
                        }
                    }
                }
            }
            let sums = self.parts.iter().zip(sums);
            wear.extend(sums.filter_map(|(part, sum)| Some((part.clone(), sum?))));
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

/// What stands at a number; none where what was kept is not what it says.
fn at<T>(all: &mut [T], number: u32) -> Option<&mut T> {
    usize::try_from(number).ok().and_then(|number| all.get_mut(number))
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

/// Counts the pulls in folders of builds, each by itself.
fn count_all(library: &Library, folders: Vec<(String, String)>) -> Result<Vec<(Counts, Whole)>, Failure> {
    if folders.len() < MANY || !library.overlay().is_empty() {
        return folders.into_iter().map(|(name, content)| count(library, &name, content)).collect();
    }
    let elsewhere = library.snapshot().elsewhere();
    let begin = || Library::new(elsewhere.open()?, BTreeMap::new());
    threads::share(folders, begin, |library, (name, content)| count(library, &name, content), &|_| ())
}

/// Counts the pulls in a build's folder.
fn count(library: &Library, name: &str, content: String) -> Result<(Counts, Whole), Failure> {
    let build = library.build(name).ok().flatten();
    let mut whole = match build {
        Some(_) => Whole::Yes,
        None => Whole::of(library, &crate::workflow::library::build_path(name)),
    };
    let mut tally = Tally::of(name, content);
    for id in library.pulls_of(name)? {
        let path = format!("builds/{name}/pulls/{id}.yaml");
        match library.pull_at(&path) {
            Ok(Some(pull)) => tally.add(&Ran::with(&pull, &Effective::of_pull(&pull, build.as_ref()))),
            _ if Whole::of(library, &path) == Whole::No => whole = Whole::No,
            _ => {}
        }
    }
    Ok((tally.counts(), whole))
}

/// What a pull wears, and how long.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Ran {
    session: String,
    /// As `tag/state`.
    parts: Vec<String>,
    seconds: f64,
}

impl Ran {
    /// Of a pull on the build whose folder it lies in; none of any other.
    pub(super) fn of(side: &Side, folder: &str) -> Option<Self> {
        let at_home = side.build.as_ref().map_or(folder == UNASSIGNED, |build| build.name == folder);
        Some(Self::with(side.pull.as_ref().filter(|_| at_home)?, &side.effective))
    }

    fn with(pull: &Pull, effective: &Effective) -> Self {
        Self {
            session: pull.session.clone(),
            parts: parts_of(effective),
            seconds: seconds(pull.ran.as_deref()),
        }
    }
}

/// What the pulls of one folder wear, summed up in the order of their names.
#[derive(Debug)]
pub(super) struct Tally {
    folder: Folder,
    parts: Numbers,
    sessions: Numbers,
}

impl Tally {
    /// None yet, of a folder by its name and git's name for its content.
    pub(super) fn of(name: &str, content: String) -> Self {
        let folder = Folder { name: name.to_owned(), content, ..Folder::default() };
        Self { folder, parts: Numbers::default(), sessions: Numbers::default() }
    }

    pub(super) fn add(&mut self, ran: &Ran) {
        let on: Vec<u32> = ran.parts.iter().map(|part| self.parts.number(part)).collect();
        let folder = &mut self.folder;
        let set = folder.sets.iter().position(|set| *set == on).unwrap_or_else(|| {
            folder.sets.push(on);
            folder.sets.len() - 1
        });
        let (session, set) = (self.sessions.number(&ran.session), u32::try_from(set).unwrap_or(u32::MAX));
        match folder.rows.iter_mut().find(|row| row.session == session && row.set == set) {
            Some(row) => {
                row.pulls += 1;
                row.seconds += ran.seconds;
            }
            None => folder.rows.push(Row { session, set, pulls: 1, seconds: ran.seconds }),
        }
    }

    pub(super) fn counts(self) -> Counts {
        let Self { folder, parts, sessions } = self;
        Counts { parts: parts.names, sessions: sessions.names, folders: vec![folder], ..Counts::default() }
    }
}
