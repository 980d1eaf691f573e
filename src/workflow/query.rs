//! Pulls asked for by what the records say of them: `header=long-1,session=0412a`.

use crate::check::Side;
use crate::finding::Finding;
use crate::record::Kinds;
use crate::record::Moment;
use crate::store::Book;
use crate::workflow::Failure;
use crate::workflow::Library;
use crate::workflow::condition::Condition;
use crate::workflow::derived;
use crate::workflow::gather;
use crate::workflow::names::Named;
use crate::workflow::sweep::Channels;

/// The forms of a query, for help and errors.
const FORMS: &str = "NAME=VALUE, joined by commas: header=long-1, ignition-timing=30..32 deg, on=2026-04-11";

/// One condition of a query.
enum Term {
    Build(String),
    Session(String),
    Engine(String),
    Cell(String),
    By(String),
    On(Moment, Moment),
    Said(Condition),
}

/// Whether a name on the command line is a query and no name of a record.
pub(super) fn is_query(name: &str) -> bool {
    name.contains('=')
}

/// Holds a query against what the records can say, without asking for pulls.
///
/// # Errors
/// A term that says nothing, or a value that cannot be read.
pub(super) fn check(library: &Library, query: &str) -> Result<(), Failure> {
    query.split(',').try_for_each(|term| Term::parse(library.kinds(), term).map(drop))
}

/// The pulls that a query means, in the order of the book.
///
/// # Errors
/// A term that says nothing, a value that cannot be read, or a query that no pull answers.
pub(super) fn pulls(book: &Book, library: &Library, query: &str) -> Result<Vec<String>, Failure> {
    let terms =
        query.split(',').map(|term| Term::parse(library.kinds(), term)).collect::<Result<Vec<_>, _>>()?;
    let mut found = Vec::new();
    for id in library.pull_paths()?.keys() {
        let mut side = gather::side(library, &Named::Pull(id.clone()))?;
        if terms.iter().any(Term::is_of_a_condition) {
            derived::add_channel_means(book, library, &mut side, Channels::OfConditions)?;
        }
        if terms.iter().all(|term| term.holds(&side, library.kinds())) {
            found.push(id.clone());
        }
    }
    if found.is_empty() {
        return Err(Failure::usage(
            Finding::error("not-found", "no pull of the book answers this query")
                .found(format!("`{query}`"))
                .expected(FORMS)
                .next("see what a pull says of itself with `mulebook sheet PULL`"),
        ));
    }
    Ok(found)
}

impl Term {
    /// Whether a channel of a raw file may answer it.
    fn is_of_a_condition(&self) -> bool {
        matches!(self, Self::Said(condition) if condition.sought.is_condition())
    }

    fn parse(kinds: &Kinds, term: &str) -> Result<Self, Failure> {
        let bad = |message: String| {
            Failure::usage(Finding::error("bad-query", message).found(format!("`{term}`")).expected(FORMS))
        };
        let Some((name, value)) = term.split_once('=').map(|(name, value)| (name.trim(), value.trim()))
        else {
            return Err(bad("a part of the query has no `=`".to_owned()));
        };
        if value.is_empty() {
            return Err(bad("a part of the query has no value".to_owned()));
        }
        let text = value.to_owned();
        match name {
            "build" => return Ok(Self::Build(text)),
            "session" => return Ok(Self::Session(text)),
            "engine" => return Ok(Self::Engine(text)),
            "cell" => return Ok(Self::Cell(text)),
            "by" => return Ok(Self::By(text)),
            "on" => {
                let (from, to) = value.split_once("..").unwrap_or((value, value));
                let day = |text: &str| {
                    Moment::parse(text).map_err(|expected| bad(format!("no day: expected {expected}")))
                };
                return Ok(Self::On(day(from)?, day(to)?));
            }
            _ => {}
        }
        Ok(Self::Said(Condition::parse(kinds, term)?))
    }

    fn holds(&self, side: &Side, kinds: &Kinds) -> bool {
        match self {
            Self::Build(name) => side.build.as_ref().is_some_and(|build| build.name == *name),
            Self::Session(tag) => side.pull.as_ref().is_some_and(|pull| pull.session == *tag),
            Self::Engine(tag) => side.build.as_ref().is_some_and(|build| build.engine == *tag),
            Self::Cell(tag) => side.cell.as_ref().is_some_and(|cell| cell.tag == *tag),
            Self::By(person) => side.pull.as_ref().and_then(|pull| pull.by.as_ref()) == Some(person),
            Self::On(from, to) => {
                side.moment().is_some_and(|moment| (from.day()..=to.day()).contains(&moment.day()))
            }
            Self::Said(condition) => condition.holds(&condition.sought.said(side, kinds).0) == Some(true),
        }
    }
}
