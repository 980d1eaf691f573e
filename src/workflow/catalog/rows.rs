//! Records to finished rows: everything that can be asked of a pull, a build or a part, as `find` would find it.

use std::collections::BTreeSet;

use crate::check;
use crate::check::Side;
use crate::record::Answer;
use crate::record::Kinds;
use crate::record::Known;
use crate::record::Outcome;
use crate::record::Part;
use crate::record::Value;
use crate::record::Whereabouts;
use crate::store::Book;
use crate::workflow::Failure;
use crate::workflow::Library;
use crate::workflow::catalog::Shelf;
use crate::workflow::catalog::alike::Alike;
use crate::workflow::catalog::chunk::Fitted;
use crate::workflow::catalog::chunk::Plain;
use crate::workflow::catalog::chunk::Row;
use crate::workflow::catalog::chunk::Saying;
use crate::workflow::catalog::chunk::Word;
use crate::workflow::catalog::pull_rows;
use crate::workflow::gather;
use crate::workflow::library::UNASSIGNED;
use crate::workflow::library::build_path;
use crate::workflow::library::part_key;
use crate::workflow::library::pull_key;
use crate::workflow::sought;
use crate::workflow::sought::Said;
use crate::workflow::trail_touches;
use crate::workflow::wear::Ran;

/// What a shelf has of a record.
pub(super) struct Found {
    /// None where it has no row.
    pub(super) row: Option<Row>,
    /// The record, or one that it rests on, does not hold.
    pub(super) faulty: bool,
    /// What it alone rests on, as [`Library::relying`] tells.
    pub(super) relied: BTreeSet<String>,
}

/// What shelves have of a record.
pub(super) struct Rows {
    /// Shelf by shelf as they were asked for.
    pub(super) found: Vec<Found>,
    /// What all of them rest on.
    pub(super) relied: BTreeSet<String>,
    /// What a pull wears.
    pub(super) ran: Option<Ran>,
}

impl Found {
    pub(super) fn of((row, relied): (Result<Option<Row>, Failure>, BTreeSet<String>)) -> Self {
        let faulty = row.is_err();
        Self { row: row.unwrap_or_default(), faulty, relied }
    }
}

/// The rows of the record at a path, on shelves of records of its sort.
pub(super) fn of(book: &Book, library: &Library, shelves: &[Shelf], path: &str, alike: &mut Alike) -> Rows {
    if shelves.iter().all(|shelf| shelf.is_of_pulls()) {
        return pull_rows::of(book, library, shelves, path, alike);
    }
    let rows = shelves.iter().map(|shelf| {
        let row = || match shelf {
            Shelf::Builds => of_build(library, path),
            Shelf::Parts => Ok(library.part_at(path)?.and_then(|part| of_part(library, &part))),
            _ => Ok(Some(touching(path, trail_touches::of(library, path)?))),
        };
        Found::of(library.relying(row))
    });
    Rows { found: rows.collect(), relied: BTreeSet::new(), ran: None }
}

fn of_build(library: &Library, path: &str) -> Result<Option<Row>, Failure> {
    let name = path.split('/').nth(1).unwrap_or_default();
    let Some(build) = library.shared_build(name)? else { return Ok(None) };
    let side = gather::shared_build_side(library, build)?;
    let mut said = sought::of_configuration(&side, library.kinds());
    said.extend(sought::ratios(&side, library));
    Ok(Some(Row { plain: plain(&side, library.kinds()), alike: None, fitted: fitted(&side), said }))
}

/// The row of a record whose events touch these.
pub(super) fn touching(path: &str, touched: BTreeSet<String>) -> Row {
    let nothing = || Saying { said: Word::Nothing, words: None };
    let plain = Plain {
        name: path.to_owned(),
        on: None,
        by: None,
        session: None,
        cell: None,
        of: None,
        remark: None,
        doubted: false,
    };
    let said = touched.into_iter().map(|key| (key, nothing()));
    Row { plain, alike: None, fitted: Vec::new(), said: said.collect() }
}

/// What every row has, of a side.
pub(crate) fn plain(side: &Side, kinds: &Kinds) -> Plain<String> {
    plainly(side, !check::doubts_of(side, kinds).is_empty())
}

pub(super) fn plainly(side: &Side, doubted: bool) -> Plain<String> {
    let (build, pull) = (side.build.as_ref(), side.pull.as_ref());
    let on = match pull {
        Some(_) => side.moment(),
        None => build.map(|build| &build.since),
    };
    let aside = match &side.effective.outcome {
        aside @ Outcome::SetAside(_) if pull.is_some() => Some(aside.to_string()),
        _ => None,
    };
    Plain {
        name: side.name.clone(),
        on: on.map(|on| on.day().to_string()),
        by: match pull {
            Some(pull) => pull.by.clone(),
            None => build.and_then(|build| build.by.clone()),
        },
        session: pull.map(|pull| pull.session.clone()),
        cell: side.cell.as_ref().map(|cell| cell.tag.clone()),
        of: match pull {
            Some(_) => build.map(|build| build.name.clone()),
            None => build.map(|build| build.engine.clone()),
        },
        remark: aside,
        doubted,
    }
}

/// What fills the roles of a side.
pub(crate) fn fitted(side: &Side) -> Vec<(String, Fitted<String>)> {
    let of = |answer: &Answer| match answer {
        Answer::Part(part) => Fitted::Part(part.tag.clone(), part.letter.clone()),
        Answer::Nothing => Fitted::Nothing,
        Answer::Unknown(_) => Fitted::Unknown,
    };
    side.effective.roles.iter().map(|(role, held)| (role.clone(), of(&held.answer))).collect()
}

/// The row of a part in its newest state; none where it has no state.
pub(crate) fn of_part(library: &Library, part: &Part) -> Option<Row> {
    let state = part.newest()?;
    let kind = library.kinds().part(&part.kind);
    let gone = match part.whereabouts {
        Whereabouts::Here => None,
        Whereabouts::Sold(_) => Some("sold"),
        Whereabouts::Lent(_) => Some("lent"),
        Whereabouts::Scrapped(_) => Some("scrapped"),
        Whereabouts::Consumed => Some("used up"),
    };
    let plain = Plain {
        name: format!("{}/{}", part.tag, state.letter),
        on: state.since.as_ref().map(|since| since.day().to_string()),
        by: state.work.iter().find_map(|work| work.by.clone()),
        session: None,
        cell: None,
        of: Some(part.kind.clone()),
        remark: gone.map(str::to_owned),
        doubted: false,
    };
    let mut names: Vec<&String> = part.states.iter().flat_map(|state| state.figures.keys()).collect();
    names.sort();
    names.dedup();
    let said = names
        .into_iter()
        .filter_map(|name| {
            let resolved = part.resolve(kind?, &state.letter, name, None);
            let known = &resolved.standing()?.entry.known;
            Some((name.clone(), saying(known)))
        })
        .collect();
    Some(Row { plain, alike: None, fitted: Vec::new(), said })
}

fn saying(known: &Known) -> Saying<String> {
    let said = match known.value() {
        Some(Value::Quantity(reading)) => Word::Number(reading.mean().si()),
        Some(Value::Text(text)) => Word::Text(text.clone()),
        None => Word::Nothing,
    };
    let words = known.value().map(|value| format!("{} ({})", value.text(), known.word()));
    Saying { said, words }
}

impl Word<String> {
    /// As it is kept.
    pub(in crate::workflow) fn of(said: Said) -> Self {
        match said {
            Said::Text(text) => Self::Text(text),
            Said::Number(number) => Self::Number(number),
            Said::Nothing => Self::Nothing,
        }
    }
}

/// The files of records in a folder, with git's names for their content.
pub(super) struct Sources {
    pub(super) files: Vec<(String, Vec<u8>)>,
    /// What stands for records that another file of the same name stands before.
    pub(super) hidden: Vec<String>,
}

/// The files of records in a folder of a shelf.
///
/// # Errors
/// The store's.
pub(super) fn sources(library: &Library, shelf: Shelf, folder: &str) -> Result<Sources, Failure> {
    let place = match shelf {
        Shelf::Builds | Shelf::BuildEvents => {
            let path = build_path(folder);
            let own = folder != UNASSIGNED && library.holds(&format!("builds/{folder}"), "build.yaml")?;
            let entry = if own { library.snapshot().entry(&path)? } else { None };
            let files = entry.map(|entry| (path, entry.id.to_bytes())).into_iter().collect();
            return Ok(Sources { files, hidden: Vec::new() });
        }
        Shelf::Parts | Shelf::PartEvents => format!("parts/{folder}"),
        Shelf::Pulls | Shelf::Means | Shelf::Ratios | Shelf::PullEvents => format!("builds/{folder}/pulls"),
    };
    let mut found = Sources { files: Vec::new(), hidden: Vec::new() };
    for entry in library.snapshot().list(&place)? {
        let Some(name) = entry.name.strip_suffix(".yaml") else { continue };
        let path = format!("{place}/{}", entry.name);
        // Of two files of one name, the one that the name means.
        let (meant, key) = match shelf {
            // Every file of a part has a life.
            Shelf::PartEvents => (Some(path.clone()), part_key(name)),
            Shelf::Parts => (library.part_path(name)?, part_key(name)),
            _ => (library.pull_path(name)?, pull_key(name)),
        };
        if meant.as_ref() == Some(&path) {
            found.files.push((path, entry.id.to_bytes()));
        } else {
            found.hidden.push(key);
        }
    }
    Ok(found)
}
