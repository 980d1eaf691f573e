//! Ask the book: pulls, builds, parts, flow sheets and claims by part, figure, setting, condition, day and person.
//!
//! Rows come from the catalog where there is one, else from the records; both are judged by the same words.

mod asked;
mod catalogued;
mod recorded;

use std::collections::BTreeSet;

use crate::answer::FindAnswer;
use crate::answer::FindRow;
use crate::answer::FindUntold;
use crate::store::Book;
use crate::store::Pending;
use crate::workflow::AsOf;
use crate::workflow::Failure;
use crate::workflow::catalog::Told;
use crate::workflow::find::asked::Asked;
use crate::workflow::find::asked::Found;
use crate::workflow::find::catalogued::OfRows;

/// What is to be found.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Sort {
    /// Dyno runs.
    Pulls,
    /// Engine configurations.
    Builds,
    /// Parts, in their newest state.
    Parts,
    /// Flow-bench sheets.
    Flow,
    /// Claims.
    Claims,
}

/// What is asked.
#[derive(Debug, Clone)]
pub struct FindRequest {
    /// What is to be found.
    pub sort: Sort,
    /// Parts that were on: `h2`, `h2/b`, or `intake=int-2`.
    pub with: Vec<String>,
    /// Conditions.
    pub conditions: Vec<String>,
    /// From this day, month or year on.
    pub since: Option<String>,
    /// Up to this day, month or year.
    pub until: Option<String>,
    /// By whom.
    pub by: Option<String>,
    /// In that session.
    pub session: Option<String>,
    /// In that cell.
    pub cell: Option<String>,
    /// Of that kind of part.
    pub kind: Option<String>,
    /// Which version of the book is asked.
    pub as_of: AsOf,
}

/// The rows found, and for each condition the records that say nothing of it.
struct Taken {
    rows: Vec<FindRow>,
    untold: Vec<FindUntold>,
    /// The names of those on which something proved doubtful.
    doubted: BTreeSet<String>,
}

impl Taken {
    fn new(asked: &Asked) -> Self {
        let untold = asked.conditions.iter();
        let untold = untold.map(|condition| FindUntold { name: condition.text.clone(), records: Vec::new() });
        Self { rows: Vec::new(), untold: untold.collect(), doubted: BTreeSet::new() }
    }

    /// Takes a record unless it says otherwise than one of the conditions.
    fn take(&mut self, (row, answers, doubted): Found) {
        if answers.contains(&Some(false)) {
            return;
        }
        self.doubted.extend(doubted.then(|| row.name.clone()));
        match answers.iter().position(Option::is_none) {
            None => self.rows.push(row),
            Some(first) => self.untold[first].records.push(row.name),
        }
    }

    /// How many were taken.
    fn count(&self) -> usize {
        self.rows.len() + self.untold.iter().map(|untold| untold.records.len()).sum::<usize>()
    }
}

/// Records whose files `find` looks at for pending edits, whether or not they were found. To ask the disk for the size and
/// times of more takes longer than all else that an answer does.
const MOST_LOOKED_AT: usize = 20_000;

/// Where rows are to come from.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum From {
    /// The catalog, which is brought up to date first; the records where there can be none.
    Catalog,
    /// The records alone.
    Records,
}

impl From {
    /// Where rows of a version of the book come from: the catalog has those of the present alone.
    pub(super) fn of(as_of: &AsOf) -> Self {
        if *as_of == AsOf::Present { Self::Catalog } else { Self::Records }
    }
}

/// Finds records.
///
/// # Errors
/// A condition or name means nothing, or does not go with what is to be found.
pub fn find(book: &Book, request: FindRequest) -> Result<FindAnswer, Failure> {
    find_in(book, request, From::Catalog, &|_, _, _| ())
}

/// Finds records where it is said, and tells how far that has come.
///
/// # Errors
/// As [`find`].
pub fn find_in(book: &Book, request: FindRequest, from: From, told: Told<'_>) -> Result<FindAnswer, Failure> {
    find_looking(book, request, from, MOST_LOOKED_AT, told)
}

/// Finds records, and with more rows in the catalog than `most_looked_at` looks for pending edits only in the files of those
/// that were found.
///
/// # Errors
/// As [`find`].
pub fn find_looking(
    book: &Book,
    request: FindRequest,
    from: From,
    most_looked_at: usize,
    told: Told<'_>,
) -> Result<FindAnswer, Failure> {
    let as_of = request.as_of.clone();
    let library = as_of.library(book)?;
    let asked = Asked::read(&library, request)?;
    let found = match from {
        From::Catalog if as_of == AsOf::Present => {
            catalogued::find(book, &library, &asked, most_looked_at, told)?
        }
        From::Catalog => None,
        From::Records => None,
    };
    let (taken, pending, not_looked_at) = match found {
        Some(OfRows { taken, pending, not_looked_at }) => {
            (taken, pending.into_iter().map(|Pending { path, .. }| path).collect(), not_looked_at)
        }
        None => {
            let taken = recorded::find(book, &library, &asked, told)?;
            (taken, as_of.pending_among(book, &library)?, 0)
        }
    };
    let Taken { mut rows, mut untold, doubted } = taken;
    rows.sort_by(|a, b| (&a.on, &a.name).cmp(&(&b.on, &b.name)));
    untold.iter_mut().for_each(|untold| untold.records.sort());
    untold.retain(|untold| !untold.records.is_empty());
    Ok(FindAnswer {
        finds: asked.request.sort.word(),
        next: match (asked.request.sort, rows.first()) {
            (Sort::Parts, Some(row)) => {
                let tag = row.name.split('/').next().unwrap_or_default();
                format!("mulebook trail {tag}   the life of one of them")
            }
            (Sort::Claims, Some(row)) => format!("mulebook claim {}   the claim and its verdict", row.name),
            (Sort::Flow, Some(row)) => format!("mulebook diff {} OTHER   two sheets side by side", row.name),
            (_, Some(row)) => format!("mulebook sheet {}   all of one of them", row.name),
            (_, None) => "mulebook find pulls   all that there are".to_owned(),
        },
        columns: asked.conditions.iter().map(|condition| condition.sought.name.clone()).collect(),
        asked: asked.words(),
        doubted: rows.iter().map(|row| row.name.clone()).filter(|name| doubted.contains(name)).collect(),
        rows,
        untold,
        pending,
        not_looked_at,
        commit: library.commit().short(),
    })
}

impl Sort {
    fn word(self) -> &'static str {
        match self {
            Self::Pulls => "pulls",
            Self::Builds => "builds",
            Self::Parts => "parts",
            Self::Flow => "flow",
            Self::Claims => "claims",
        }
    }
}
