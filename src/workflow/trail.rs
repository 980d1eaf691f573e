//! The life of a part, build, pull, figure, instrument, columns record or raw file.
//!
//! Every version of every record that tells of it is read, oldest first: what a version adds was written by its commit,
//! what it alters is told with the old and the new.

use std::collections::BTreeMap;
use std::collections::BTreeSet;

use chrono::DateTime;
use chrono::FixedOffset;

use crate::answer::TrailAnswer;
use crate::answer::TrailEvent;
use crate::answer::TrailWritten;
use crate::finding::Finding;
use crate::manifest::bind;
use crate::manifest::yaml;
use crate::record::Build;
use crate::record::Moment;
use crate::store::Book;
use crate::store::Change;
use crate::workflow::AsOf;
use crate::workflow::Failure;
use crate::workflow::Library;
use crate::workflow::figure_files;
use crate::workflow::find::From;
use crate::workflow::gate::Sort;
use crate::workflow::gate::sort_of;
use crate::workflow::library::columns_path;
use crate::workflow::names;
use crate::workflow::names::Named;
use crate::workflow::trail_events as events;
use crate::workflow::trail_events::Event;
use crate::workflow::trail_events::PULLS;
use crate::workflow::trail_events::Touch;
use crate::workflow::trail_touches;

/// Where pulls without a build lie.
const UNASSIGNED: &str = "unassigned";
/// Characters of a day as written.
const DAY: usize = 10;
/// The fewest digits of a SHA-256 that name a raw file.
const SHORTEST_HASH: usize = 6;

/// Tells a life: of whatever `about` names, or of one figure, setting, fit or condition of it.
///
/// # Errors
/// The name means nothing, it has no such figure, or a record does not hold.
pub fn trail(book: &Book, about: &str, figure: Option<&str>, as_of: &AsOf) -> Result<TrailAnswer, Failure> {
    trail_in(book, about, figure, as_of, From::of(as_of))
}

/// Tells a life from the catalog where there is one, or from the records and the history alone.
///
/// # Errors
/// As [`trail`].
pub fn trail_in(
    book: &Book,
    about: &str,
    figure: Option<&str>,
    as_of: &AsOf,
    from: From,
) -> Result<TrailAnswer, Failure> {
    let library = as_of.library(book)?;
    let subject = Subject::named(&library, about, figure)?;
    let now = present(book, &library, &subject, from)?;
    let events = now.len();
    let paths: BTreeSet<String> = now.into_iter().chain(subject.record.clone()).collect();
    let places: BTreeSet<String> = paths.iter().flat_map(|path| places_of(path)).collect();
    let mut logs = match from {
        From::Catalog => book.logs(&places)?,
        From::Records => book.walked_logs(&places)?,
    };
    if *as_of != AsOf::Present {
        let newest = book.steps_back(library.commit())?.unwrap_or_default();
        for changes in logs.values_mut() {
            changes.retain(|change| change.steps_back >= newest);
        }
    }
    let mut lived = Vec::new();
    for path in &paths {
        lived.extend(versions(&library, path, &logs, &subject)?);
    }
    if lived.is_empty() && events == 0 {
        return Err(Finding::error("not-found", "the book tells nothing of it")
            .found(format!("`{}`", subject.title))
            .next("`mulebook sheet` shows what a build or pull has")
            .into());
    }
    let shown = told(lived, subject.of == "instrument");
    Ok(TrailAnswer {
        next: match (subject.of, &subject.record) {
            ("part", _) => format!("mulebook trail {about} FIGURE   the life of one figure"),
            ("claim", _) => format!("mulebook claim {}   the claim and its verdict", subject.title),
            ("pull" | "build", _) => format!("mulebook sheet {}   all of it as it stands", subject.title),
            (_, Some(record)) => format!("git log -p {record}   every version, word for word"),
            (_, None) => "mulebook audit   whether every byte in the book still holds".to_owned(),
        },
        about: subject.title,
        of: subject.of,
        events: shown,
        pending: as_of.pending_among(book, &library)?,
        commit: library.commit().short(),
    })
}

/// What a trail is asked for.
struct Subject {
    title: String,
    of: &'static str,
    touch: Vec<Touch>,
    /// Its own manifest, whose every version is read.
    record: Option<String>,
}

impl Subject {
    fn named(library: &Library, about: &str, figure: Option<&str>) -> Result<Self, Failure> {
        let named = match names::any(library, about) {
            Ok(named) => named,
            Err(failure) => return Self::other(library, about)?.filter(|_| figure.is_none()).ok_or(failure),
        };
        let new = |title: String, of, touch, record| Self { title, of, touch: vec![touch], record };
        let whole = match named {
            Named::Part { tag, letter } => {
                let record = library.part_path(&tag)?;
                let title = letter.as_ref().map_or(tag.clone(), |letter| format!("{tag}/{letter}"));
                new(title, "part", Touch::Part { tag, letter }, record)
            }
            Named::Build(name) => {
                let record = Some(crate::workflow::library::build_path(&name));
                new(name.clone(), "build", Touch::Build(name), record)
            }
            Named::Pull(id) => {
                let record = library.pull_path(&id)?;
                new(id.clone(), "pull", Touch::Pull(id), record)
            }
            Named::Session(tag) => {
                let record = Some(format!("sessions/{tag}.yaml"));
                new(tag.clone(), "session", Touch::Session(tag), record)
            }
            Named::Instrument(tag) => {
                let record = Some(format!("instruments/{tag}.yaml"));
                new(tag.clone(), "instrument", Touch::Instrument(tag), record)
            }
            Named::Cell(tag) => return Err(not_followed("a cell", &tag, &format!("cells/{tag}.yaml"))),
            Named::Claim(tag) => {
                let record = Some(crate::workflow::library::claim_path(&tag));
                new(tag.clone(), "claim", Touch::Claim(tag), record)
            }
            Named::Flow(tag) => return Err(not_followed("a flow sheet", &tag, &format!("flow/{tag}.yaml"))),
        };
        let Some(field) = figure else { return Ok(whole) };
        let of = whole.title.split('/').next().unwrap_or_default().to_owned();
        Ok(Self {
            title: format!("{} {field}", whole.title),
            of: "figure",
            touch: vec![Touch::Figure { of, field: field.to_owned() }],
            ..whole
        })
    }

    /// A columns record or a raw file: by its name as it came, or the beginning of its SHA-256.
    fn other(library: &Library, about: &str) -> Result<Option<Self>, Failure> {
        let columns = columns_path(about);
        if library.read(&columns)?.is_some() {
            return Ok(Some(Self {
                title: about.to_owned(),
                of: "columns",
                touch: vec![Touch::Columns(about.to_owned())],
                record: Some(columns),
            }));
        }
        let hash = about.len() >= SHORTEST_HASH && about.bytes().all(|byte| byte.is_ascii_hexdigit());
        let mut found = BTreeMap::new();
        let lower = about.to_lowercase();
        for path in figure_files::records(library)? {
            if !library
                .read(&path)?
                .is_some_and(|bytes| holds(&bytes, about) || (hash && holds(&bytes, &lower)))
            {
                continue;
            }
            let raw = match sort_of(&path) {
                Sort::Pull(_) => library.pull_at(&path)?.into_iter().flat_map(|pull| pull.raw).collect(),
                _ => Vec::new(),
            };
            let shown = figure_files::of_record(library, &path)?.into_iter().map(|shown| shown.file);
            for raw in raw.into_iter().chain(shown) {
                if raw.file == about || (hash && raw.sha256.starts_with(&lower)) {
                    found.insert(raw.sha256, raw.file);
                }
            }
        }
        let mut title: Vec<String> =
            found.iter().map(|(sha256, file)| format!("{file} (SHA-256 {sha256})")).collect();
        title.dedup();
        Ok((!found.is_empty()).then(|| Self {
            title: title.join(", "),
            of: "file",
            touch: found.into_keys().map(Touch::Raw).collect(),
            record: None,
        }))
    }

    fn concerns(&self, event: &Event) -> bool {
        event.touches.iter().any(|touch| self.touch.iter().any(|wanted| meets(wanted, touch)))
    }
}

fn not_followed(what: &str, tag: &str, path: &str) -> Failure {
    Finding::error("no-trail", format!("{tag} is {what}: its life is that of its own file"))
        .next(format!("git log -p {path}"))
        .into()
}

/// Whether what an event touches is what is asked for: a part in any state where none is named.
fn meets(wanted: &Touch, touch: &Touch) -> bool {
    match (wanted, touch) {
        (Touch::Part { tag, letter }, Touch::Part { tag: other, letter: state }) => {
            tag == other && (letter.is_none() || state.is_none() || letter == state)
        }
        _ => wanted == touch,
    }
}

fn holds(bytes: &[u8], word: &str) -> bool {
    memchr::memmem::find(bytes, word.as_bytes()).is_some()
}

/// The records that tell of a subject as the book stands.
fn present(
    book: &Book,
    library: &Library,
    subject: &Subject,
    from: From,
) -> Result<BTreeSet<String>, Failure> {
    library.aside(|| {
        let likely = match from {
            From::Catalog => {
                trail_touches::catalogued(book, library, &subject.touch, subject.record.as_deref())?
            }
            From::Records => None,
        };
        let likely = match likely {
            Some(likely) => likely.into_iter().collect(),
            None => trail_touches::all(library)?,
        };
        let mut paths = BTreeSet::new();
        for path in likely {
            if events_of(library, &path)?.iter().any(|event| subject.concerns(event)) {
                paths.insert(path);
            }
        }
        Ok(paths)
    })
}

/// What a manifest tells as the book stands.
///
/// # Errors
/// The store's.
pub(super) fn events_of(library: &Library, path: &str) -> Result<Vec<Event>, Failure> {
    let bytes = library.read(path)?.unwrap_or_default();
    Ok(read(library, path, &bytes))
}

/// What one version of a manifest tells; nothing where it does not hold.
fn read(library: &Library, path: &str, bytes: &[u8]) -> Vec<Event> {
    let Ok(root) = yaml::read(path, bytes) else { return Vec::new() };
    let kinds = library.kinds();
    match sort_of(path) {
        Sort::Part(_) => bind::part(path, &root, kinds).0.map(|part| events::of_part(&part, kinds)),
        Sort::Build(_) => bind::build(path, &root, kinds).0.map(|build| events::of_build(&build, kinds)),
        Sort::Pull(_) => bind::pull(path, &root, kinds).0.map(|pull| {
            let build: Option<Build> =
                pull.effective_build().and_then(|build| library.build(build).ok().flatten());
            events::of_pull(&pull, build.as_ref())
        }),
        Sort::Instrument => bind::instrument(path, &root, kinds).0.map(|found| events::of_instrument(&found)),
        Sort::Claim => bind::claim(path, &root, kinds).0.map(|claim| events::of_claim(&claim)),
        Sort::Session => bind::session(path, &root, kinds).0.map(|found| {
            let mut told = events::of_session(&found);
            told.extend(events::of_files(&found.all_figures()));
            told
        }),
        Sort::Cell => bind::cell(path, &root, kinds).0.map(|found| events::of_files(&found.all_figures())),
        Sort::Flow => bind::flow(path, &root, kinds).0.map(|found| events::of_files(&found.all_figures())),
        _ => None,
    }
    .unwrap_or_default()
}

/// The places where a record may have lain: a pull begins among those without a build.
fn places_of(path: &str) -> Vec<String> {
    let before = match sort_of(path) {
        Sort::Pull(build) if build != UNASSIGNED => {
            path.rsplit('/').next().map(|file| format!("builds/{UNASSIGNED}/pulls/{file}"))
        }
        _ => None,
    };
    before.into_iter().chain([path.to_owned()]).collect()
}

/// An event with the version that brought it.
struct Lived {
    event: Event,
    record: String,
    written: TrailWritten,
    seconds: i64,
    steps_back: usize,
}

/// Every event that the versions of a record tell of a subject, with the commit that first told it.
fn versions(
    library: &Library,
    path: &str,
    logs: &BTreeMap<String, Vec<Change>>,
    subject: &Subject,
) -> Result<Vec<Lived>, Failure> {
    let mut changes: Vec<(&String, &Change)> = places_of(path)
        .iter()
        .filter_map(|place| logs.get_key_value(place))
        .flat_map(|(place, changes)| changes.iter().map(move |change| (place, change)))
        .filter(|(_, change)| !change.removed)
        .collect();
    changes.sort_by_key(|(_, change)| std::cmp::Reverse(change.steps_back));
    let whole = subject.record.as_deref() == Some(path) && subject.of != "figure";
    let mut lived: Vec<Lived> = Vec::new();
    let mut known: BTreeMap<String, Event> = BTreeMap::new();
    for (place, change) in changes {
        let Some(content) = change.content else { continue };
        let bytes = library.snapshot().content(content)?;
        let mut now = read(library, place, &bytes);
        if matches!(sort_of(place), Sort::Columns | Sort::Session) && whole {
            now.push(events::record_written(&change.commit.to_string()));
        }
        let now: Vec<Event> =
            now.into_iter().filter(|event| event.what == "edit" || subject.concerns(event)).collect();
        let mut tell = |event: Event| {
            lived.push(Lived {
                written: written(change, event.on.as_ref()),
                event,
                record: path.to_owned(),
                seconds: change.time.seconds,
                steps_back: change.steps_back,
            });
        };
        let (kept, gone) = known
            .into_iter()
            .partition::<BTreeMap<_, _>, _>(|(key, _)| now.iter().any(|event| event.key == *key));
        known = kept;
        for was in gone.into_values() {
            let says = format!("no longer told: {}", was.says);
            tell(Event { says, ..edit(was) });
        }
        for mut event in now {
            if subject.of == "instrument" && event.pull.is_some() {
                // Its readings stand in the pulls; here it counts that they were taken.
                event.says.truncate(event.says.find(": ").unwrap_or(event.says.len()));
            }
            match known.insert(event.key.clone(), event.clone()) {
                None => tell(event),
                Some(was) if was.says != event.says => {
                    let says = format!("{}; before this edit: {}", event.says, was.says);
                    tell(Event { says, ..edit(event) });
                }
                Some(_) => {}
            }
        }
    }
    Ok(lived)
}

/// The altering of what was told; it is of the day on which it was written.
fn edit(of: Event) -> Event {
    Event { on: None, what: "edit", by: None, ..of }
}

fn written(change: &Change, on: Option<&Moment>) -> TrailWritten {
    let zone = FixedOffset::east_opt(change.time.offset);
    let moment = DateTime::from_timestamp(change.time.seconds, 0)
        .zip(zone)
        .map(|(moment, zone)| moment.with_timezone(&zone));
    TrailWritten {
        commit: change.commit.short(),
        on: moment.map(|moment| moment.to_rfc3339()).unwrap_or_default(),
        by: change.author.name.clone(),
        says: change.subject.clone(),
        days_after: on.zip(moment).map(|(on, moment)| (moment.date_naive() - on.day()).num_days()),
    }
}

/// Events in order of time, what several pulls tell alike told once: pulls in a row, or all of a day.
fn told(mut lived: Vec<Lived>, by_day: bool) -> Vec<TrailEvent> {
    let day = |lived: &Lived| {
        let written = DateTime::parse_from_rfc3339(&lived.written.on).ok();
        lived.event.on.as_ref().map(Moment::day).or(written.map(|moment| moment.date_naive()))
    };
    let instant = |lived: &Lived| {
        let instant = lived.event.on.as_ref().and_then(Moment::instant).map(|instant| instant.timestamp());
        // A day without an hour stands where it was written, if that was the same day; else before all of it.
        let same_day = lived.written.days_after.is_none_or(|days| days == 0);
        instant.unwrap_or(if same_day { lived.seconds } else { i64::MIN })
    };
    let order = |lived: &Lived| (day(lived), instant(lived), std::cmp::Reverse(lived.steps_back));
    lived.sort_by_key(order);
    let mut told: Vec<(TrailEvent, String)> = Vec::new();
    for Lived { event, record, written, .. } in lived {
        let on = event.on.as_ref().map(ToString::to_string);
        let day = |on: &Option<String>| on.as_ref().map(|on| on.chars().take(DAY).collect::<String>());
        let look_back = if by_day { told.len() } else { 1 };
        let alike = told.iter_mut().rev().take(look_back).find(|(last, says)| {
            *says == event.says
                && last.what == event.what
                && last.by == event.by
                && day(&last.on) == day(&on)
                && !last.pulls.is_empty()
        });
        if let Some(((last, _), pull)) = alike.zip(event.pull.as_ref()) {
            last.pulls.push(pull.clone());
            continue;
        }
        let shown = TrailEvent {
            on,
            what: event.what,
            says: String::new(),
            by: event.by,
            pulls: event.pull.into_iter().collect(),
            record,
            written,
        };
        told.push((shown, event.says));
    }
    told.into_iter()
        .map(|(event, says)| TrailEvent { says: says.replace(PULLS, &ranges(&event.pulls)), ..event })
        .collect()
}

/// Pulls as people write them: `0412a-04..06, 0412a-09`.
fn ranges(pulls: &[String]) -> String {
    let mut runs: Vec<(&str, u32, &str, u32)> = Vec::new();
    for pull in pulls {
        let (session, order) = pull.rsplit_once('-').unwrap_or((pull, ""));
        let number = order.parse().unwrap_or(0);
        match runs.last_mut() {
            Some((of, last, _, count)) if *of == session && *last + 1 == number => {
                *last = number;
                *count += 1;
            }
            _ => runs.push((session, number, pull, 1)),
        }
    }
    let words: Vec<String> = runs
        .into_iter()
        .map(|(_, last, first, count)| match count {
            1 => first.to_owned(),
            _ => format!("{first}..{last:02}"),
        })
        .collect();
    let word = if pulls.len() == 1 { "pull" } else { "pulls" };
    format!("{word} {}", words.join(", "))
}
