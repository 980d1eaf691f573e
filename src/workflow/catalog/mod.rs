//! The catalog of a book: rows that answer `find` without reading every record, brought up to date from git.
//!
//! A shelf is a sort of row; its rows lie in chunks, one for each folder of records. With each chunk it is kept on which
//! other records its rows rest, whether these are there or not, as the library noted while they were made. At another
//! commit the files that differ are looked up: a chunk none of whose records is among them stands, one whose folder alone
//! changed is looked into, and only records that are not as they were are read again. What cannot be kept, or cannot be
//! told from a row (a record that does not hold), is answered from the records.

mod alike;
pub(crate) mod chunk;
mod made;
mod pull_rows;
pub(crate) mod rows;

use std::collections::BTreeMap;
use std::collections::BTreeSet;

use memchr::memmem::Finder;
use serde::Deserialize;
use serde::Serialize;

use crate::store::Book;
use crate::store::Catalog;
use crate::store::CatalogTrouble;
use crate::store::CommitId;
use crate::store::ContentId;
use crate::store::EntryKind;
use crate::store::RowChange;
use crate::store::RowCheck;
use crate::store::row_check;
use crate::workflow::Failure;
use crate::workflow::Library;
use crate::workflow::catalog::chunk::Chunk;
use crate::workflow::catalog::chunk::Source;
use crate::workflow::catalog::chunk::decode;
use crate::workflow::catalog::chunk::encode;
use crate::workflow::catalog::chunk::sources_of;
use crate::workflow::catalog::made::Chunks;
use crate::workflow::catalog::made::Made;
use crate::workflow::library::part_key;
use crate::workflow::library::pull_key;
use crate::workflow::wear::Counts;

/// Goes up when rows are made otherwise from the same records, or are kept in another form.
const FORM: u32 = 5;
/// The shelf of what is known of the other shelves.
const ROOTS: &str = "roots";
/// The shelf of what the rows of a shelf rest on.
const NEEDS: &str = "needs";

/// Told how much of a long work is done, and how much there is.
pub type Told<'t> = &'t dyn Fn(&str, u64, Option<u64>);

/// A sort of row.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Shelf {
    /// What pulls say of themselves, but for what follows.
    Pulls,
    /// Conditions that are read from a pull's raw files.
    Means,
    /// Derived figures of pulls.
    Ratios,
    /// What builds say of themselves.
    Builds,
    /// Parts in their newest state.
    Parts,
    /// What the events of pulls touch.
    PullEvents,
    /// What the events of builds touch.
    BuildEvents,
    /// What the events of parts touch.
    PartEvents,
}

impl Shelf {
    fn name(self) -> &'static str {
        match self {
            Self::Pulls => "pulls",
            Self::Means => "means",
            Self::Ratios => "ratios",
            Self::Builds => "builds",
            Self::Parts => "parts",
            Self::PullEvents => "pull-events",
            Self::BuildEvents => "build-events",
            Self::PartEvents => "part-events",
        }
    }

    /// Whether its rows are of pulls.
    fn is_of_pulls(self) -> bool {
        matches!(self, Self::Pulls | Self::Means | Self::Ratios | Self::PullEvents)
    }

    /// The shelves that are made with it when there is nothing of either: what they say comes from the same reading.
    fn company(self) -> impl Iterator<Item = Self> {
        let together = [Self::Pulls, Self::Ratios, Self::PullEvents, Self::Means];
        together.into_iter().filter(move |other| self.is_of_pulls() && *other != self)
    }

    /// The folder whose entries are its chunks.
    fn folder(self) -> &'static str {
        match self {
            Self::Parts | Self::PartEvents => "parts",
            _ => "builds",
        }
    }
}

/// What is known of a shelf.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
struct Root {
    read_by: String,
    commit: String,
    /// Chunk by chunk, by name: the check of its row, and whether a record of it does not hold.
    chunks: Vec<(String, RowCheck, bool)>,
    /// How many rows all of them have.
    rows: usize,
}

/// Which chunks of a shelf are wanted.
#[derive(Debug, Clone, Copy)]
pub(crate) enum Wanted<'w> {
    All,
    /// Those that may have a row with all words of one of the lists; all where the shelf has no more rows than that.
    With {
        words: &'w [Vec<&'w str>],
        above: usize,
    },
    /// Those at some places.
    At(&'w BTreeSet<usize>),
}

impl Wanted<'_> {
    /// Whether the chunk at a place is wanted, of a shelf with so many rows.
    fn of(self, rows: usize) -> impl Fn(usize, &[u8]) -> bool {
        let words: Option<Vec<Vec<Finder<'_>>>> = match self {
            Self::With { words, above } if rows > above => {
                Some(words.iter().map(|words| words.iter().map(Finder::new).collect()).collect())
            }
            _ => None,
        };
        move |place, body| match (self, &words) {
            (Self::At(places), _) => places.contains(&place),
            // Words stand in a row as they are written.
            (_, Some(words)) => words.iter().any(|words| words.iter().all(|word| word.find(body).is_some())),
            _ => true,
        }
    }
}

/// What the rows of each chunk rest on beyond themselves.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
struct Needs {
    names: Vec<String>,
    chunks: Vec<(String, Vec<u32>)>,
}

/// How many records were read to bring a shelf up to date.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub struct Read {
    /// Records whose rows were made.
    pub rows: usize,
    /// Chunks that were looked into.
    pub chunks: usize,
}

/// A record's path, and git's name for what the commit has there.
type RecordFile = (String, Option<ContentId>);

/// A shelf as the library's commit has it.
pub(crate) struct Rows {
    /// Chunk by chunk; empty where it is not wanted.
    bodies: Vec<Vec<u8>>,
    rows: usize,
    needs: Needs,
    /// What it took.
    pub(crate) read: Read,
}

impl Rows {
    /// The rows of a shelf, at least in those of its chunks that are wanted; none where the records themselves must be
    /// asked.
    ///
    /// # Errors
    /// The store's.
    pub(crate) fn of(
        book: &Book,
        library: &Library,
        shelf: Shelf,
        wanted: Wanted<'_>,
        told: Told<'_>,
    ) -> Result<Option<Self>, Failure> {
        let Some(catalog) = library.snapshot().catalog() else { return Ok(None) };
        match Kept::load(&catalog, library, shelf, wanted) {
            Ok(kept) => Self::brought_up(book, library, shelf, catalog, kept, told),
            Err(CatalogTrouble::Busy) => Ok(None),
            Err(CatalogTrouble::Damaged) => match catalog.renewed() {
                Some(catalog) => Self::brought_up(book, library, shelf, catalog, Kept::default(), told),
                None => Ok(None),
            },
        }
    }

    fn brought_up(
        book: &Book,
        library: &Library,
        shelf: Shelf,
        mut catalog: Catalog,
        kept: Kept,
        told: Told<'_>,
    ) -> Result<Option<Self>, Failure> {
        let commit = library.commit();
        if kept.commit == Some(commit) {
            return Ok(kept.rows());
        }
        let changed = kept.commit.and_then(|before| library.snapshot().files_unlike(before));
        let kept = if changed.is_some() { kept } else { Kept::default() };
        let changed = Changed::of(library, &changed.unwrap_or_default())?;
        let kept = if shelf == Shelf::Means && changed.lost_raw { Kept::default() } else { kept };
        let needs = kept.needs.by_chunk();
        let mut old: BTreeMap<String, KeptChunk> =
            kept.chunks.into_iter().map(|chunk| (chunk.name.clone(), chunk)).collect();
        let mut stands: BTreeMap<String, Made> = BTreeMap::new();
        let mut work = Vec::new();
        for entry in library.snapshot().list(shelf.folder())? {
            let content = entry.id.to_bytes();
            let known = old.remove(&entry.name);
            let rests_on = needs.get(entry.name.as_str());
            let hit = rests_on.is_some_and(|rests_on| rests_on.iter().any(|key| changed.keys.contains(*key)));
            let again = hit
                || changed.folders.contains(&entry.name)
                || known.as_ref().is_some_and(|known| known.faulty);
            match known {
                Some(known) if !again && content_of(&known.body) == Some(content.as_slice()) => {
                    let needs = rests_on.into_iter().flatten().map(|key| (*key).to_owned()).collect();
                    let KeptChunk { body, seal, .. } = known;
                    stands.insert(entry.name, Made { body, seal, needs, faulty: false, read: 0 });
                }
                Some(known) if !again => work.push(made::Work {
                    name: entry.name,
                    content,
                    before: Some(known.body),
                    needs: rests_on.into_iter().flatten().map(|key| (*key).to_owned()).collect(),
                }),
                _ => {
                    work.push(made::Work { name: entry.name, content, before: None, needs: BTreeSet::new() })
                }
            }
        }
        let mut read = Read { rows: 0, chunks: work.len() };
        let mut changes = Vec::new();
        let mut shelves = vec![shelf];
        if kept.commit.is_none() {
            let is_bare = |other: &Shelf| {
                Kept::load(&catalog, library, *other, Wanted::All).is_ok_and(|kept| kept.commit.is_none())
            };
            shelves.extend(shelf.company().filter(is_bare));
        }
        let mut beside: Vec<BTreeMap<String, Made>> =
            shelves.iter().skip(1).map(|_| BTreeMap::new()).collect();
        let mut worn = Vec::new();
        let folders = work.len();
        for Chunks { name, made, worn: of_folder } in made::all(book, library, &shelves, work, told)? {
            worn.extend(of_folder);
            let mut chunks = made.into_iter();
            if let Some(own) = chunks.next() {
                read.rows += own.read;
                changes.push(put(shelf, &name, own.body.clone()));
                stands.insert(name.clone(), own);
            }
            beside.iter_mut().zip(chunks).for_each(|(shelf, made)| drop(shelf.insert(name.clone(), made)));
        }
        if shelf.is_of_pulls()
            && kept.commit.is_none()
            && worn.len() == folders
            && library.overlay().is_empty()
        {
            Counts::keep_all(library, &worn)?;
        }
        // A shelf at a time: together they take much room.
        for (shelf, chunks) in shelves.iter().skip(1).zip(beside) {
            keep_beside(library, &mut catalog, *shelf, chunks)?;
        }
        // Folders that are there were taken out.
        changes.extend(old.into_keys().map(|key| RowChange {
            shelf: shelf.name().to_owned(),
            key,
            body: None,
        }));
        let kept = Kept::of(commit, stands);
        changes.extend(kept.changes(library, shelf)?);
        catalog.change(&changes);
        Ok(kept.rows().map(|rows| Self { read, ..rows }))
    }

    /// The chunks that may have a row with each of these words, with their places; none where one is of another form,
    /// which only a program of the same version but other rows can have kept. Shelves of the same records have theirs at
    /// the same places.
    pub(crate) fn chunks_with(&self, words: &[&str]) -> Option<Vec<(usize, Chunk<&str>)>> {
        let words: Vec<Finder<'_>> = words.iter().map(Finder::new).collect();
        // Words stand in a row as they are written.
        let may_have = |body: &Vec<u8>| words.iter().all(|word| word.find(body).is_some());
        let places = self.bodies.iter().enumerate().filter(|(_, body)| may_have(body));
        places.map(|(place, _)| Some((place, self.chunk(place)?))).collect()
    }

    /// The chunk at a place; none where it is of another form.
    pub(crate) fn chunk(&self, place: usize) -> Option<Chunk<&str>> {
        decode::<Chunk<&str>>(self.bodies.get(place)?).filter(Chunk::is_whole)
    }

    /// How many chunks there are.
    pub(crate) fn count(&self) -> usize {
        self.bodies.len()
    }

    /// How many rows there are.
    pub(crate) fn count_of_rows(&self) -> usize {
        self.rows
    }

    /// The files that would be read without the catalog, sorted, with git's names for their content; none where a chunk
    /// is of another form.
    ///
    /// # Errors
    /// The store's.
    pub(crate) fn files(&self, library: &Library) -> Result<Option<Vec<RecordFile>>, Failure> {
        let mut files: Vec<RecordFile> = Vec::new();
        for body in &self.bodies {
            let Some(sources) = sources_of(body) else { return Ok(None) };
            files.extend(sources.into_iter().map(record_file));
        }
        self.with_needs(library, files, &mut self.needs.names.iter().map(String::as_str)).map(Some)
    }

    /// Of those files the ones on which some rows rest, each by the place of its chunk and its own in it, in order; none
    /// as there.
    ///
    /// # Errors
    /// The store's.
    pub(crate) fn files_of(
        &self,
        library: &Library,
        rows: &[(usize, usize)],
    ) -> Result<Option<Vec<RecordFile>>, Failure> {
        let mut files: Vec<RecordFile> = Vec::new();
        let mut needs: BTreeSet<u32> = BTreeSet::new();
        for of_chunk in rows.chunk_by(|a, b| a.0 == b.0) {
            let Some(&(place, _)) = of_chunk.first() else { continue };
            let (Some(sources), Some((_, of_them))) =
                (self.bodies.get(place).and_then(|body| sources_of(body)), self.needs.chunks.get(place))
            else {
                return Ok(None);
            };
            let own = of_chunk.iter().filter_map(|(_, row)| sources.get(*row).cloned());
            files.extend(own.map(record_file));
            needs.extend(of_them);
        }
        let names = needs.iter().filter_map(|at| self.needs.names.get(usize::try_from(*at).ok()?));
        self.with_needs(library, files, &mut names.map(String::as_str)).map(Some)
    }

    /// Files, with those that are needed by other names and what else was read for the answer.
    fn with_needs(
        &self,
        library: &Library,
        mut files: Vec<RecordFile>,
        needs: &mut dyn Iterator<Item = &str>,
    ) -> Result<Vec<RecordFile>, Failure> {
        let parts = library.part_paths()?;
        let further = needs.map(|name| match name.split_once(':') {
            Some(("part", tag)) => Ok(parts.get(tag).cloned()),
            Some(("pull", id)) => library.pull_path(id),
            _ => Ok(Some(name.to_owned())),
        });
        let touched = library.touched().into_iter().map(|path| Ok(Some(path)));
        for path in further.chain(touched) {
            let Some(path) = path? else { continue };
            let entry = library.snapshot().entry(&path)?.filter(|entry| entry.kind != EntryKind::Folder);
            files.push((path, entry.map(|entry| entry.id)));
        }
        // Chunks and the folders in them are in order, so there is little to sort.
        files.sort();
        files.dedup();
        Ok(files)
    }
}

fn record_file(source: Source<&str>) -> RecordFile {
    (source.path.to_owned(), ContentId::from_bytes(&source.content))
}

/// What differs from the commit that a shelf was made from.
struct Changed {
    /// As rows name what they rest on.
    keys: BTreeSet<String>,
    /// Folders to be looked into from the beginning.
    folders: BTreeSet<String>,
    /// A raw file that git held is gone.
    lost_raw: bool,
}

impl Changed {
    fn of(library: &Library, files: &[String]) -> Result<Self, Failure> {
        let mut changed = Self { keys: BTreeSet::new(), folders: BTreeSet::new(), lost_raw: false };
        for path in files {
            changed.keys.insert(path.clone());
            let steps: Vec<&str> = path.split('/').collect();
            match steps[..] {
                ["raw", ..] => changed.lost_raw |= !library.snapshot().exists(path)?,
                ["parts", _, file] => {
                    let tag = file.strip_suffix(".yaml").unwrap_or(file);
                    changed.keys.insert(part_key(tag));
                    // Another file of the same name may be the part now, or no longer.
                    changed.folders.extend(library.part_folders(tag)?);
                }
                ["builds", _, "pulls", file] => {
                    let id = file.strip_suffix(".yaml").unwrap_or(file);
                    changed.keys.insert(pull_key(id));
                    let folders = library.pull_folders(id)?;
                    if folders.len() > 1 {
                        changed.folders.extend(folders);
                    }
                }
                _ => {}
            }
        }
        Ok(changed)
    }
}

/// A shelf as it was kept, or as it is to be.
#[derive(Default)]
struct Kept {
    commit: Option<CommitId>,
    /// By name.
    chunks: Vec<KeptChunk>,
    rows: usize,
    needs: Needs,
}

/// A chunk as it was kept, or as it is to be.
struct KeptChunk {
    name: String,
    /// Empty where it is not wanted.
    body: Vec<u8>,
    /// The check of its row, where it is known.
    seal: Option<RowCheck>,
    /// Whether a record of it does not hold.
    faulty: bool,
}

impl Kept {
    /// What is kept of a shelf: of the library's commit those chunks that are wanted, of another all, to be brought up.
    fn load(
        catalog: &Catalog,
        library: &Library,
        shelf: Shelf,
        wanted: Wanted<'_>,
    ) -> Result<Self, CatalogTrouble> {
        let Some(root) = catalog.read(ROOTS, shelf.name())? else { return Ok(Self::default()) };
        let root: Root = decode(&root).ok_or(CatalogTrouble::Damaged)?;
        if read_by(library).ok().as_ref() != Some(&root.read_by) {
            return Ok(Self::default());
        }
        let needs = catalog.read(NEEDS, shelf.name())?.and_then(|needs| decode(&needs));
        let commit = CommitId::parse(&root.commit);
        let wanted = if commit == Some(library.commit()) { wanted } else { Wanted::All }.of(root.rows);
        let mut expected = root.chunks.into_iter();
        let mut chunks = Vec::new();
        let mut sound = true;
        catalog.each(shelf.name(), &mut |name, check, body| {
            match expected.next() {
                Some((known, seal, faulty)) if known == name && seal == check => {
                    let body = if wanted(chunks.len(), body) { body.to_vec() } else { Vec::new() };
                    chunks.push(KeptChunk { name: known, body, seal: Some(seal), faulty });
                }
                _ => sound = false,
            }
            sound
        })?;
        let whole = sound && expected.next().is_none();
        match needs.filter(|_| whole).zip(commit) {
            Some((needs, commit)) => Ok(Self { commit: Some(commit), chunks, rows: root.rows, needs }),
            None => Err(CatalogTrouble::Damaged),
        }
    }

    fn of(commit: CommitId, chunks: BTreeMap<String, Made>) -> Self {
        let mut names: BTreeMap<&String, u32> = BTreeMap::new();
        for made in chunks.values() {
            for need in &made.needs {
                names.insert(need, 0);
            }
        }
        names.values_mut().zip(0..).for_each(|(number, at)| *number = at);
        let numbers = |made: &Made| made.needs.iter().filter_map(|need| names.get(need).copied()).collect();
        let needs = Needs {
            chunks: chunks.iter().map(|(name, made)| (name.clone(), numbers(made))).collect(),
            names: names.keys().map(|name| (*name).clone()).collect(),
        };
        let rows = chunks.values().filter_map(|made| chunk::count_of(&made.body)).sum();
        let chunks = chunks.into_iter().map(|(name, made)| {
            let Made { body, seal, faulty, .. } = made;
            KeptChunk { name, body, seal, faulty }
        });
        let chunks = chunks.collect();
        Self { commit: Some(commit), chunks, rows, needs }
    }

    /// The rows that tell of the shelf as a whole.
    fn changes(&self, library: &Library, shelf: Shelf) -> Result<Vec<RowChange>, Failure> {
        let root = Root {
            read_by: read_by(library)?,
            commit: self.commit.map(|commit| commit.to_string()).unwrap_or_default(),
            chunks: self
                .chunks
                .iter()
                .map(|KeptChunk { name, body, seal, faulty }| {
                    let seal = seal.unwrap_or_else(|| row_check(shelf.name(), name, body));
                    (name.clone(), seal, *faulty)
                })
                .collect(),
            rows: self.rows,
        };
        let row = |to: &str, body| RowChange { shelf: to.to_owned(), key: shelf.name().to_owned(), body };
        Ok(vec![row(NEEDS, encode(&self.needs)), row(ROOTS, encode(&root))])
    }

    /// None where a record does not hold: its own words are what is to be said.
    fn rows(self) -> Option<Rows> {
        if self.chunks.iter().any(|chunk| chunk.faulty) {
            return None;
        }
        let bodies = self.chunks.into_iter().map(|chunk| chunk.body).collect();
        Some(Rows { bodies, rows: self.rows, needs: self.needs, read: Read::default() })
    }
}

impl Needs {
    fn by_chunk(&self) -> BTreeMap<&str, Vec<&str>> {
        let name = |at: &u32| self.names.get(usize::try_from(*at).ok()?).map(String::as_str);
        self.chunks.iter().map(|(chunk, at)| (chunk.as_str(), at.iter().filter_map(name).collect())).collect()
    }
}

/// Git's name for the folder that a kept chunk was made from: its first field, behind its length.
fn content_of(body: &[u8]) -> Option<&[u8]> {
    let (length, rest) = body.split_first()?;
    rest.get(..usize::from(*length))
}

/// Keeps a shelf that was made in the company of another.
fn keep_beside(
    library: &Library,
    catalog: &mut Catalog,
    shelf: Shelf,
    chunks: BTreeMap<String, Made>,
) -> Result<(), Failure> {
    // Long logs wait until somebody asks for what is in them.
    if shelf == Shelf::Means && chunks.values().any(|made| made.faulty) {
        return Ok(());
    }
    let kept = Kept::of(library.commit(), chunks);
    let mut changes = kept.changes(library, shelf)?;
    changes.extend(kept.chunks.into_iter().map(|KeptChunk { name, body, .. }| put(shelf, &name, body)));
    catalog.change(&changes);
    Ok(())
}

fn put(shelf: Shelf, name: &str, body: Vec<u8>) -> RowChange {
    RowChange { shelf: shelf.name().to_owned(), key: name.to_owned(), body: Some(body) }
}

/// What decides how records are read and told.
fn read_by(library: &Library) -> Result<String, Failure> {
    let page = library.snapshot().id_of("book.yaml")?.map(|id| id.to_string()).unwrap_or_default();
    Ok(format!("{FORM} {page} {}", library.read_by()?))
}

/// Brings every shelf of a book's catalog up to date, and says what was read for each.
///
/// # Errors
/// The book cannot be read.
pub fn bring_up(book: &Book, told: Told<'_>) -> Result<Vec<(&'static str, Read)>, Failure> {
    let library = Library::at_head(book)?.remembering();
    let mut read = Vec::new();
    for shelf in [Shelf::Pulls, Shelf::Means, Shelf::Ratios, Shelf::Builds, Shelf::Parts] {
        if let Some(rows) = Rows::of(book, &library, shelf, Wanted::All, told)? {
            read.push((shelf.name(), rows.read));
        }
    }
    Ok(read)
}
