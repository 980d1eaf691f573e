//! Short names as people type them between two pulls: a unique prefix, `last`, an order number, a range.

use std::collections::BTreeMap;

use crate::finding::Finding;
use crate::record::Moment;
use crate::record::PartState;
use crate::workflow::Failure;
use crate::workflow::Library;
use crate::workflow::library::claim_path;
use crate::workflow::library::flow_path;

/// Names given where several begin alike.
const MOST_NAMED: usize = 8;

/// A record that a name was found to mean.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Named {
    /// A pull by id.
    Pull(String),
    /// A build.
    Build(String),
    /// A part, in a state where one was named.
    Part {
        /// Its tag.
        tag: String,
        /// The state's letter.
        letter: Option<String>,
    },
    /// A session.
    Session(String),
    /// An instrument.
    Instrument(String),
    /// A cell.
    Cell(String),
    /// A flow sheet.
    Flow(String),
    /// A claim.
    Claim(String),
}

impl Named {
    /// Its name or tag.
    fn name(&self) -> &str {
        match self {
            Self::Part { tag, .. } => tag,
            Self::Pull(name)
            | Self::Build(name)
            | Self::Session(name)
            | Self::Instrument(name)
            | Self::Cell(name)
            | Self::Flow(name)
            | Self::Claim(name) => name,
        }
    }
}

/// Finds a pull or a build by a name as typed.
///
/// # Errors
/// Nothing, or more than one thing, is meant.
pub fn pull_or_build(library: &Library, name: &str) -> Result<Named, Failure> {
    if library.build(name)?.is_some() {
        return Ok(Named::Build(name.to_owned()));
    }
    match pull(library, name) {
        Ok(id) => Ok(Named::Pull(id)),
        Err(error) => {
            let builds = library.build_names()?;
            let some_pulls = error.findings.first().is_some_and(|finding| finding.code == AMBIGUOUS);
            match by_prefix(name, builds.iter().map(String::as_str)) {
                Prefix::One(build) if !some_pulls => Ok(Named::Build(build)),
                Prefix::Several(builds) if !some_pulls => Err(ambiguous("build", name, &builds)),
                _ => Err(error),
            }
        }
    }
}

/// Finds a build: its name, or a beginning that no other has.
///
/// # Errors
/// Nothing, or more than one build, is meant.
pub fn build(library: &Library, name: &str) -> Result<String, Failure> {
    if library.build(name)?.is_some() {
        return Ok(name.to_owned());
    }
    let builds = library.build_names()?;
    match by_prefix(name, builds.iter().map(String::as_str)) {
        Prefix::One(build) => Ok(build),
        Prefix::Several(builds) => Err(ambiguous("build", name, &builds)),
        Prefix::None => Err(Finding::error("not-found", "there is no build of this name")
            .found(format!("`{name}`"))
            .expected(if builds.is_empty() {
                "no build is in the book yet".to_owned()
            } else {
                builds.join(", ")
            })
            .into()),
    }
}

/// Finds a part: its tag, or a beginning that no other has.
///
/// # Errors
/// Nothing, or more than one part, is meant.
pub fn part(library: &Library, tag: &str) -> Result<String, Failure> {
    if library.part_path(tag)?.is_some() {
        return Ok(tag.to_owned());
    }
    match by_prefix(tag, library.part_tags()?.iter().map(String::as_str)) {
        Prefix::One(tag) => Ok(tag),
        Prefix::Several(tags) => Err(ambiguous("part", tag, &tags)),
        Prefix::None => Err(no_part(library, tag)?),
    }
}

/// The code of a name that several things begin with.
const AMBIGUOUS: &str = "ambiguous";

fn ambiguous(what: &str, name: &str, found: &[String]) -> Failure {
    Finding::error(AMBIGUOUS, format!("more than one {what} begins so"))
        .found(format!("`{name}`"))
        .expected(found.join(", "))
        .into()
}

/// Finds a pull: its id, a unique beginning of it, `last`, or its order number in the newest session.
///
/// # Errors
/// Nothing, or more than one pull, is meant.
pub fn pull(library: &Library, name: &str) -> Result<String, Failure> {
    if library.pull_path(name)?.is_some() {
        return Ok(name.to_owned());
    }
    if !library.holds_pulls()? {
        return Err(Finding::error("not-found", "the book has no pull yet")
            .next("enter one with `mulebook pull FILE`")
            .into());
    }
    if name == "last" {
        return newest(library)?.map_or_else(|| Err(nothing(library, name)?), Ok);
    }
    let of_session = |session: &str| -> Result<BTreeMap<u32, String>, Failure> {
        Ok(in_session(&library.pulls_beginning(&format!("{session}-"))?, session))
    };
    if let Ok(order) = name.parse::<u32>()
        && let Some(session) = newest_session(library)?
    {
        return of_session(&session)?.remove(&order).map_or_else(|| Err(nothing(library, name)?), Ok);
    }
    // `0412a-7` as people say `0412a-07`.
    if let Some((session, order)) = name.rsplit_once('-')
        && let Ok(order) = order.parse::<u32>()
        && let Some(id) = of_session(session)?.remove(&order)
    {
        return Ok(id);
    }
    match by_prefix(name, library.pulls_beginning(name)?.keys().map(String::as_str)) {
        Prefix::One(id) => Ok(id),
        Prefix::Several(ids) => Err(ambiguous("pull", name, &ids)),
        Prefix::None => Err(nothing(library, name)?),
    }
}

/// Finds the pulls of a range (`0412a-04..06`, `0412a-04..0412a-06`) or a list (`0412a-04,0412a-07`), or one pull.
///
/// # Errors
/// As [`pull`]; a range that runs backwards or over two sessions.
pub fn pulls(library: &Library, name: &str) -> Result<Vec<String>, Failure> {
    let mut found = Vec::new();
    for piece in name.split(',') {
        match piece.split_once("..") {
            None => found.push(pull(library, piece)?),
            Some((from, to)) => {
                let from = pull(library, from)?;
                let session =
                    from.rsplit_once('-').map(|(session, _)| session.to_owned()).unwrap_or_default();
                let first = order_of(&from);
                let last = to.parse::<u32>().ok().or_else(|| {
                    to.strip_prefix(session.as_str())
                        .and_then(|rest| rest.strip_prefix('-'))
                        .and_then(|n| n.parse().ok())
                });
                let Some((first, last)) = first.zip(last).filter(|(first, last)| first <= last) else {
                    return Err(Finding::error("bad-range", "this is no run of pulls of one session")
                        .found(format!("`{piece}`"))
                        .expected(format!("for example {session}-04..06"))
                        .into());
                };
                let known = in_session(&library.pulls_beginning(&format!("{session}-"))?, &session);
                found.extend(known.range(first..=last).map(|(_, id)| id.clone()));
            }
        }
    }
    Ok(found)
}

/// Finds whatever a name means: a part (`h2`, `h2/b`), build, pull, session, instrument, cell, flow sheet or claim, by its
/// whole name or by a beginning that nothing else has.
///
/// # Errors
/// Nothing is called so.
pub fn any(library: &Library, name: &str) -> Result<Named, Failure> {
    if let Some(part) = PartState::parse(name) {
        let tag = self::part(library, &part.tag)?;
        let part = PartState { tag, ..part };
        return match library.part(&part.tag)? {
            Some(record) if record.state(&part.letter).is_some() => {
                Ok(Named::Part { tag: part.tag, letter: Some(part.letter) })
            }
            Some(record) => {
                Err(Finding::error("not-found", format!("{} has no state `{}`", part.tag, part.letter))
                    .expected(
                        record.states.iter().map(|state| state.letter.clone()).collect::<Vec<_>>().join(", "),
                    )
                    .into())
            }
            None => Err(no_part(library, &part.tag)?),
        };
    }
    if library.part_path(name)?.is_some() {
        return Ok(Named::Part { tag: name.to_owned(), letter: None });
    }
    if library.read(&format!("sessions/{name}.yaml"))?.is_some() {
        return Ok(Named::Session(name.to_owned()));
    }
    if library.read(&format!("instruments/{name}.yaml"))?.is_some() {
        return Ok(Named::Instrument(name.to_owned()));
    }
    if library.read(&format!("cells/{name}.yaml"))?.is_some() {
        return Ok(Named::Cell(name.to_owned()));
    }
    if library.read(&flow_path(name))?.is_some() {
        return Ok(Named::Flow(name.to_owned()));
    }
    if library.read(&claim_path(name))?.is_some() {
        return Ok(Named::Claim(name.to_owned()));
    }
    let mut failure = match pull_or_build(library, name) {
        Ok(named) => return Ok(named),
        Err(failure) => failure,
    };
    let is = |code: &str| failure.findings.iter().all(|finding| finding.code == code);
    match beginning(library, name)?.as_slice() {
        [only] if is("not-found") => return Ok(only.clone()),
        // A session and its pulls begin alike; less than a pull's number means the session.
        [Named::Session(session)] if is(AMBIGUOUS) => return Ok(Named::Session(session.clone())),
        several @ [_, _, ..] if is("not-found") => {
            let names = several.iter().take(MOST_NAMED).map(|named| named.name().to_owned());
            return Err(ambiguous("record", name, &names.collect::<Vec<_>>()));
        }
        _ => {}
    }
    if let Some(first) = failure.findings.first_mut().filter(|first| first.code == "not-found") {
        *first = Finding::error("not-found", "nothing in the book is called so")
            .found(format!("`{name}`"))
            .expected(
                "a part (h2), a part in a state (h2/b), a build, a pull, a session, a cell or an instrument",
            );
    }
    Err(failure)
}

/// The records, other than pulls and builds, that begin so.
fn beginning(library: &Library, name: &str) -> Result<Vec<Named>, Failure> {
    let begins = |tag: &String| !name.is_empty() && tag.starts_with(name);
    let mut found: Vec<Named> = library
        .part_tags()?
        .into_iter()
        .filter(begins)
        .map(|tag| Named::Part { tag, letter: None })
        .collect();
    /// What a tag of a folder names.
    type Naming = fn(String) -> Named;
    let folders: [(&str, Naming); 5] = [
        ("sessions", Named::Session),
        ("instruments", Named::Instrument),
        ("cells", Named::Cell),
        ("flow", Named::Flow),
        ("claims", Named::Claim),
    ];
    for (folder, named) in folders {
        found.extend(library.tags(folder)?.into_iter().filter(begins).map(named));
    }
    Ok(found)
}

/// The failure of a part that is not there, with the tags that look like it.
///
/// # Errors
/// The store's.
pub fn no_part(library: &Library, tag: &str) -> Result<Failure, Failure> {
    let tags = library.part_tags()?;
    let finding = Finding::error("not-found", "no part has this tag").found(format!("`{tag}`"));
    Ok(match closest(tag, &tags) {
        Some(near) => finding.next(format!("did you mean `{near}`?")),
        None => finding.next(format!("write it down first: `mulebook part KIND {tag}`")),
    }
    .into())
}

pub(super) fn closest<'t>(name: &str, known: &'t [String]) -> Option<&'t str> {
    known
        .iter()
        .map(|candidate| {
            (similar::TextDiff::from_chars(name, candidate.as_str()).ratio(), candidate.as_str())
        })
        .filter(|(ratio, _)| *ratio > 0.6)
        .max_by(|a, b| a.0.total_cmp(&b.0))
        .map(|(_, candidate)| candidate)
}

/// The newest session: by its day, then by its tag.
///
/// # Errors
/// The store's.
pub fn newest_session(library: &Library) -> Result<Option<String>, Failure> {
    Ok(sessions_by_day(library)?.pop().map(|(_, tag)| tag.to_owned()))
}

/// The last pull of the newest session that has one.
fn newest(library: &Library) -> Result<Option<String>, Failure> {
    for (_, tag) in sessions_by_day(library)?.into_iter().rev() {
        let paths = library.pulls_beginning(&format!("{tag}-"))?;
        if let Some(last) = in_session(&paths, tag).into_values().next_back() {
            return Ok(Some(last));
        }
    }
    Ok(None)
}

/// The sessions whose manifests hold, by day, then by tag; each of them decides which is the newest.
fn sessions_by_day(library: &Library) -> Result<Vec<(Moment, &str)>, Failure> {
    let mut sessions = Vec::new();
    for (tag, on) in library.session_days()?.each() {
        library.touch(&format!("sessions/{tag}.yaml"));
        sessions.extend(on.map(|on| (on, tag)));
    }
    sessions.sort_by(|a, b| a.0.order(&b.0).then_with(|| a.1.cmp(b.1)));
    Ok(sessions)
}

/// The pulls of a session by order.
pub fn in_session(paths: &BTreeMap<String, String>, session: &str) -> BTreeMap<u32, String> {
    let prefix = format!("{session}-");
    paths
        .range(prefix.clone()..)
        .take_while(|(id, _)| id.starts_with(&prefix))
        .filter_map(|(id, _)| id[prefix.len()..].parse().ok().map(|order| (order, id.clone())))
        .collect()
}

/// A pull's order, from its id.
pub fn order_of(id: &str) -> Option<u32> {
    id.rsplit_once('-').and_then(|(_, order)| order.parse().ok())
}

enum Prefix {
    None,
    One(String),
    Several(Vec<String>),
}

fn by_prefix<'n>(prefix: &str, names: impl Iterator<Item = &'n str>) -> Prefix {
    if prefix.is_empty() {
        return Prefix::None;
    }
    let mut found: Vec<String> = names.filter(|name| name.starts_with(prefix)).map(str::to_owned).collect();
    match found.len() {
        0 => Prefix::None,
        1 => Prefix::One(found.remove(0)),
        _ => {
            found.truncate(MOST_NAMED);
            Prefix::Several(found)
        }
    }
}

fn nothing(library: &Library, name: &str) -> Result<Failure, Failure> {
    let known: Vec<String> = library.pull_paths()?.keys().cloned().collect();
    let finding = Finding::error("not-found", "no pull is called so").found(format!("`{name}`"));
    Ok(match closest(name, &known) {
        Some(near) => finding.next(format!("did you mean `{near}`?")),
        None => finding.expected(
            "a pull's id or the beginning of one, `last`, or an order number of the newest session",
        ),
    }
    .into())
}
