//! What has been learned since a sheet was known: the same sheet then and now, item by item.

use std::collections::BTreeMap;

use chrono::FixedOffset;

use crate::answer::Learned;
use crate::answer::LearnedLine;
use crate::answer::LearnedWords;
use crate::answer::RepeatLine;
use crate::answer::SheetAnswer;
use crate::answer::SheetLine;
use crate::answer::SheetPull;
use crate::finding::Finding;
use crate::store::Book;
use crate::workflow::AsOf;
use crate::workflow::Failure;
use crate::workflow::Library;
use crate::workflow::library::build_path;
use crate::workflow::names;
use crate::workflow::names::Named;

/// The day on which a build or pull was first written down, in the book's zone: what is known since is counted from it.
///
/// # Errors
/// The name means nothing.
pub fn first_known(book: &Book, about: &str) -> Result<AsOf, Failure> {
    let library = Library::at_head(book)?;
    if library.flow(about)?.is_some() {
        return Err(not_of_flow(about));
    }
    let path = match names::pull_or_build(&library, about)? {
        Named::Build(name) => Some(build_path(&name)),
        Named::Pull(id) => library.pull_path(&id)?,
        _ => None,
    };
    let first = path.map(|path| book.log(&path)).transpose()?.and_then(|changes| changes.into_iter().last());
    let zone = FixedOffset::east_opt(library.page().zone_seconds);
    let moment = first.and_then(|change| chrono::DateTime::from_timestamp(change.time.seconds, 0)).zip(zone);
    match moment {
        Some((moment, zone)) => Ok(AsOf::known_on(moment.with_timezone(&zone).date_naive().to_string())),
        None => Err(Finding::error("not-known-yet", "it is not in any commit yet")
            .found(about.to_owned())
            .next("keep it first with `mulebook keep`")
            .into()),
    }
}

/// A flow sheet is read once, and what is learned of it stands in its own life.
pub(super) fn not_of_flow(about: &str) -> Failure {
    Failure::usage(
        Finding::error("not-for-these", "then and now are told of builds and pulls, not of a flow sheet")
            .found(about.to_owned())
            .next(format!(
                "`git log -p flow/{about}.yaml` shows what was changed of it, `--known-on DAY` the sheet of a day"
            )),
    )
}

/// What differs between the same sheet then and now.
pub(super) fn learned(then: &SheetAnswer, now: &SheetAnswer) -> Learned {
    let mut items = Vec::new();
    let (was, is) = (lines(then), lines(now));
    let order = now_then(is.iter().map(|(item, _)| *item), was.iter().map(|(item, _)| *item));
    let (was, is): (BTreeMap<_, _>, BTreeMap<_, _>) = (was.into_iter().collect(), is.into_iter().collect());
    for item in order {
        let (then, now) = (was.get(item).copied(), is.get(item).copied());
        if then == now {
            continue;
        }
        items.push(LearnedLine {
            item: item.to_owned(),
            title: now.or(then).map(|line| line.title.clone()).unwrap_or_default(),
            then: then.cloned(),
            now: now.cloned(),
        });
    }
    Learned {
        then: then.commit.clone(),
        now: now.commit.clone(),
        items,
        record: words(&record(then), &record(now)),
        derived: words(&derived(then), &derived(now)),
    }
}

/// Every name once, those of now first and in their order.
fn now_then<'n>(now: impl Iterator<Item = &'n str>, then: impl Iterator<Item = &'n str>) -> Vec<&'n str> {
    let mut order: Vec<&str> = Vec::new();
    for name in now.chain(then) {
        if !order.contains(&name) {
            order.push(name);
        }
    }
    order
}

fn lines(sheet: &SheetAnswer) -> Vec<(&str, &SheetLine)> {
    let roles = sheet.roles.iter().flat_map(|role| std::iter::once(&role.role).chain(&role.figures));
    let others = sheet.settings.iter().chain(&sheet.fits).chain(&sheet.conditions).chain(&sheet.run);
    roles.chain(others).map(|line| (line.item.as_str(), line)).collect()
}

type Words = Vec<(String, String)>;

/// The record's own lines: build, remarks, pulls and parts.
fn record(sheet: &SheetAnswer) -> Words {
    let mut words: Words = Vec::new();
    words.extend(sheet.build.iter().map(|build| ("build".to_owned(), build.clone())));
    words.extend(sheet.notes.iter().map(|note| (format!("remark: {note}"), "written down".to_owned())));
    words.extend(sheet.pulls.iter().map(|pull| (format!("pull {}", pull.pull), pull_words(pull))));
    words.extend(sheet.repeat.iter().filter_map(part_words));
    words
}

fn pull_words(pull: &SheetPull) -> String {
    let correction = pull.correction.iter().map(|correction| format!(", {correction}"));
    pull.outcome.clone() + &correction.collect::<String>()
}

fn part_words(line: &RepeatLine) -> Option<(String, String)> {
    let part = line.part.as_ref()?;
    Some((format!("{} {part}", line.title), line.says.clone()))
}

fn derived(sheet: &SheetAnswer) -> Words {
    sheet.derived.iter().map(|line| (line.title.clone(), line.interval.text.clone())).collect()
}

fn words(then: &Words, now: &Words) -> Vec<LearnedWords> {
    let order =
        now_then(now.iter().map(|(name, _)| name.as_str()), then.iter().map(|(name, _)| name.as_str()));
    let find = |words: &Words, name: &str| {
        words.iter().find(|(known, _)| known == name).map(|(_, text)| text.clone())
    };
    order
        .into_iter()
        .map(|name| LearnedWords { title: name.to_owned(), then: find(then, name), now: find(now, name) })
        .filter(|line| line.then != line.now)
        .collect()
}
