//! Rows from the catalog.

use std::collections::BTreeSet;

use crate::store::Book;
use crate::store::Pending;
use crate::workflow::Failure;
use crate::workflow::Library;
use crate::workflow::catalog::Rows;
use crate::workflow::catalog::Shelf;
use crate::workflow::catalog::Told;
use crate::workflow::catalog::Wanted;
use crate::workflow::catalog::chunk::Chunk;
use crate::workflow::catalog::chunk::Column;
use crate::workflow::catalog::chunk::Saying;
use crate::workflow::catalog::chunk::Word;
use crate::workflow::find::Sort;
use crate::workflow::find::Taken;
use crate::workflow::find::asked::Asked;
use crate::workflow::find::asked::With;
use crate::workflow::find::asked::told;
use crate::workflow::find::recorded;
use crate::workflow::sought::Sought;

/// What a record says of one thing, in its own row and in the two shelves beside it.
type Columns<'c> = [Option<&'c Column<&'c str, Saying<&'c str>>>; 3];

/// What the rows say.
pub(super) struct OfRows {
    pub(super) taken: Taken,
    /// The pending edits that would change the answer.
    pub(super) pending: Vec<Pending>,
    /// How many records' files were not looked at for edits.
    pub(super) not_looked_at: usize,
}

/// A row by the place of its chunk and its own in it.
type Place = (usize, usize);

/// Finds records among the rows of the catalog; none where the records themselves must be asked. With more than
/// `most_looked_at` records only the files of those that were found are looked at for pending edits.
///
/// # Errors
/// The store's.
pub(super) fn find(
    book: &Book,
    library: &Library,
    asked: &Asked,
    most_looked_at: usize,
    progress: Told<'_>,
) -> Result<Option<OfRows>, Failure> {
    let shelf = match asked.request.sort {
        Sort::Pulls => Shelf::Pulls,
        Sort::Builds => Shelf::Builds,
        Sort::Parts => Shelf::Parts,
        Sort::Flow | Sort::Claims => return Ok(None),
    };
    let any = |test: fn(&Sought) -> bool| {
        shelf == Shelf::Pulls && asked.conditions.iter().any(|condition| test(&condition.sought))
    };
    let mut beside = Vec::new();
    beside.extend(any(Sought::is_condition).then_some(Shelf::Means));
    beside.extend(any(Sought::is_derived).then_some(Shelf::Ratios));
    // What is read to bring rows up to date does not count as read for this answer: the rows say on what they rest.
    let rows_of = |shelf, wanted| library.aside(|| Rows::of(book, library, shelf, wanted, progress));
    let words = [asked.words_of_rows()];
    let Some(own) = rows_of(shelf, Wanted::With { words: &words, above: most_looked_at })? else {
        return Ok(None);
    };
    let Some(chunks) = own.chunks_with(&words[0]) else { return Ok(None) };
    let places: BTreeSet<usize> = chunks.iter().map(|(place, _)| *place).collect();
    let mut shelves = Vec::new();
    for shelf in beside {
        match rows_of(shelf, Wanted::At(&places))? {
            Some(rows) => shelves.push(rows),
            None => return Ok(None),
        }
    }
    let beside = shelves.as_slice();
    let count = own.count_of_rows();
    if count > most_looked_at {
        let Some((taken, places)) = take_from(book, library, asked, (&own, chunks), beside)? else {
            return Ok(None);
        };
        let Some(files) = own.files_of(library, &places)? else { return Ok(None) };
        let pending = book.looking(&files).pending()?;
        return Ok(Some(OfRows { taken, pending, not_looked_at: count.saturating_sub(places.len()) }));
    }
    let Some(files) = own.files(library)? else { return Ok(None) };
    // The work tree is looked at while the rows are.
    let (taken, pending) = std::thread::scope(|scope| {
        let looking = book.looking(&files);
        let looking = scope.spawn(move || looking.pending());
        let taken = take_from(book, library, asked, (&own, chunks), beside);
        (taken, looking.join())
    });
    let pending = pending.unwrap_or_else(|panic| std::panic::resume_unwind(panic))?;
    Ok(taken?.map(|(taken, _)| OfRows { taken, pending, not_looked_at: 0 }))
}

/// Takes from those chunks that may have what is asked for; none where the records themselves must be asked.
fn take_from(
    book: &Book,
    library: &Library,
    asked: &Asked,
    (own, chunks): (&Rows, Vec<(usize, Chunk<&str>)>),
    beside: &[Rows],
) -> Result<Option<(Taken, Vec<Place>)>, Failure> {
    if beside.iter().any(|rows| rows.count() != own.count()) {
        return Ok(None);
    }
    let mut others = Vec::new();
    for rows in beside {
        let Some(same) = chunks.iter().map(|(place, _)| rows.chunk(*place)).collect::<Option<Vec<_>>>()
        else {
            return Ok(None);
        };
        others.push(same);
    }
    let (places, own): (Vec<usize>, Vec<Chunk<&str>>) = chunks.into_iter().unzip();
    // A shelf made from the same commit has the same records at the same places.
    if others.iter().any(|other| !other.iter().map(names).eq(own.iter().map(names))) {
        return Ok(None);
    }
    let (taken, rows) = take(book, library, asked, &own, &others)?;
    let rows = rows.into_iter().filter_map(|(chunk, row)| Some((*places.get(chunk)?, row)));
    Ok(Some((taken, rows.collect())))
}

fn names<'c>(chunk: &Chunk<&'c str>) -> Vec<&'c str> {
    chunk.rows.iter().map(|row| row.name).collect()
}

fn take(
    book: &Book,
    library: &Library,
    asked: &Asked,
    own: &[Chunk<&str>],
    beside: &[Vec<Chunk<&str>>],
) -> Result<(Taken, Vec<Place>), Failure> {
    let mut taken = Taken::new(asked);
    let mut places = Vec::new();
    let keys: Vec<String> = asked.conditions.iter().map(|condition| condition.sought.key()).collect();
    let of_parts = asked.request.sort == Sort::Parts;
    for (place, chunk) in own.iter().enumerate() {
        let of_keys = columns(place, chunk, beside, &keys);
        for (at, plain) in chunk.rows.iter().enumerate() {
            let on = |with: &With| chunk.fitted(at).any(|(role, fitted)| with.meets(role, fitted));
            if !asked.plainly(plain) || !asked.with.iter().all(on) {
                continue;
            }
            let found: Option<Vec<_>> = if of_parts {
                let Some(figures) = asked.figures(library, plain.of.unwrap_or_default()) else { continue };
                columns(place, chunk, beside, &figures).iter().map(|columns| said(columns, at)).collect()
            } else {
                of_keys.iter().map(|columns| said(columns, at)).collect()
            };
            let found = match found {
                Some(told) => Some(asked.row(plain, &told)),
                // Its raw files must be read, or say that they cannot be.
                None => recorded::again(book, library, asked, plain.name)?,
            };
            let before = taken.count();
            found.into_iter().for_each(|found| taken.take(found));
            places.extend((taken.count() > before).then_some((place, at)));
        }
    }
    Ok((taken, places))
}

fn columns<'c>(
    place: usize,
    chunk: &'c Chunk<&'c str>,
    beside: &'c [Vec<Chunk<&'c str>>],
    keys: &[String],
) -> Vec<Columns<'c>> {
    let other = |shelf: usize, key: &str| beside.get(shelf)?.get(place)?.said(key);
    keys.iter().map(|key| [chunk.said(key), other(0, key), other(1, key)]).collect()
}

/// What a row says; none where only the record tells.
fn said(columns: &Columns<'_>, at: usize) -> Option<super::asked::Told> {
    let [own, first, second] = columns.map(|column| column.and_then(|column| column.value(at)));
    let elsewhere = first.or(second);
    match own {
        Some(Saying { said: Word::Channel, .. }) => elsewhere.and_then(|saying| told(Some(saying))),
        own => told(own.or(elsewhere)),
    }
}
