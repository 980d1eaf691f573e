//! What a record tells of its life: each event with when it was true, who did it, and what it touches.

use crate::record::Answer;
use crate::record::Build;
use crate::record::Change;
use crate::record::Claim;
use crate::record::Corrected;
use crate::record::Correction;
use crate::record::Doubted;
use crate::record::Effective;
use crate::record::Entry;
use crate::record::Figure;
use crate::record::Instrument;
use crate::record::Kinds;
use crate::record::Known;
use crate::record::Moment;
use crate::record::NamedFigure;
use crate::record::Part;
use crate::record::PartState;
use crate::record::Pull;
use crate::record::Session;
use crate::record::Value;
use crate::record::Whereabouts;
use crate::record::Work;

/// What an event is about.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) enum Touch {
    Part {
        tag: String,
        letter: Option<String>,
    },
    /// A figure, setting, fit or condition of the part, build or pull that is named.
    Figure {
        of: String,
        field: String,
    },
    Instrument(String),
    Build(String),
    Pull(String),
    Session(String),
    /// The bytes of that SHA-256.
    Raw(String),
    Columns(String),
    Claim(String),
}

/// Where the pulls stand in the words of an event that several pulls share.
pub(super) const PULLS: &str = "{pulls}";

/// One thing that happened or was found.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Event {
    /// The same in every version of its record.
    pub(super) key: String,
    pub(super) on: Option<Moment>,
    pub(super) what: &'static str,
    /// In words; pulls that tell the same are told together, in the place of [`PULLS`].
    pub(super) says: String,
    pub(super) by: Option<String>,
    pub(super) touches: Vec<Touch>,
    pub(super) pull: Option<String>,
}

fn event(key: impl Into<String>, what: &'static str, on: Option<&Moment>, says: impl Into<String>) -> Event {
    Event {
        key: key.into(),
        on: on.cloned(),
        what,
        says: says.into(),
        by: None,
        touches: Vec::new(),
        pull: None,
    }
}

/// An entry of a figure, in words.
pub(super) fn entry_words(figure: &Figure, entry: &Entry) -> String {
    let text = |value: &Value| value.text().to_owned();
    let mut words = match &entry.known {
        Known::Measured(value) => format!("measured {}", text(value)),
        Known::Listed { value, source } => format!("listed {} ({source})", text(value)),
        Known::Assumed { value, because } => format!("assumed {}: {because}", text(value)),
        Known::Unknown { because } => format!("unknown: {because}"),
        Known::Calculated { value, from } => format!("calculated {} from {from}", text(value)),
    };
    words.extend(entry.with.iter().map(|with| format!(" with {with}")));
    words.extend(entry.at.iter().filter(|at| Moment::parse(at).is_err()).map(|at| format!(" at {at}")));
    if let Some(number) = entry.corrects {
        let was = figure.entries.get(number.wrapping_sub(1)).and_then(|old| old.known.value());
        words.push_str(&format!("; corrects {}", was.map_or_else(|| format!("entry {number}"), text)));
    }
    words.extend(entry.because.iter().map(|because| format!(": {because}")));
    words.extend(entry.note.iter().map(|note| format!(" ({note})")));
    if !entry.files.is_empty() {
        let files: Vec<&str> = entry.files.iter().map(|file| file.file.as_str()).collect();
        words.push_str(&format!("; shown by {}", files.join(", ")));
    }
    words
}

/// The raw files that show an entry.
fn shown_by(entry: &Entry) -> impl Iterator<Item = Touch> + '_ {
    entry.files.iter().map(|file| Touch::Raw(file.sha256.clone()))
}

/// What a record tells by the files beside its figures alone: of a cell, a flow sheet or a session.
pub(super) fn of_files(figures: &[NamedFigure<'_>]) -> Vec<Event> {
    let mut events = Vec::new();
    for (name, figure) in figures {
        let shown = |event: &Event| event.touches.iter().any(|touch| matches!(touch, Touch::Raw(_)));
        let told = entries(name, name, figure, &[]).into_iter().filter(shown);
        events.extend(told.map(|mut event| {
            event.touches.retain(|touch| matches!(touch, Touch::Raw(_)));
            event
        }));
    }
    events
}

/// The entries of a figure; `title` names it, `prefix` makes its keys differ from those of others.
fn entries(prefix: &str, title: &str, figure: &Figure, touches: &[Touch]) -> Vec<Event> {
    let mut events = Vec::new();
    for (index, entry) in figure.entries.iter().enumerate() {
        let with = entry.with.iter().map(|with| Touch::Instrument(with.clone()));
        let touches: Vec<Touch> = touches.iter().cloned().chain(with).chain(shown_by(entry)).collect();
        let key = format!("{prefix}:{index}");
        let words = format!("{title}: {}", entry_words(figure, entry));
        events.push(Event {
            by: entry.by.clone(),
            touches: touches.clone(),
            ..event(
                key.clone(),
                if entry.corrects.is_some() { "correction" } else { "figure" },
                entry.moment().as_ref(),
                words,
            )
        });
        if let Some(doubted) = &entry.doubted {
            let value = entry.known.value().map(Value::text).unwrap_or_default();
            events.extend(doubt(&key, &format!("{title}: {value}"), doubted, &touches));
        }
    }
    events
}

/// A mark of doubt, and what settled it.
fn doubt(key: &str, title: &str, doubted: &Doubted, touches: &[Touch]) -> Vec<Event> {
    let mut words = format!("{title} is doubted");
    words.extend(doubted.from.iter().map(|from| format!(" from {from}")));
    words.extend(doubted.until.iter().map(|until| format!(" until {until}")));
    words.push_str(&format!(": {}", doubted.because));
    words.extend(doubted.offset.iter().map(|offset| format!("; {offset} is added")));
    let marked = Event {
        by: doubted.by.clone(),
        touches: touches.to_vec(),
        ..event(format!("{key}:doubt"), "doubt", doubted.on.as_ref(), words)
    };
    let cleared = doubted.cleared.as_ref().map(|cleared| Event {
        by: cleared.by.clone(),
        touches: touches.to_vec(),
        ..event(
            format!("{key}:cleared"),
            "doubt",
            cleared.on.as_ref(),
            format!("{title} is in doubt no more: {}", cleared.because),
        )
    });
    std::iter::once(marked).chain(cleared).collect()
}

/// What a session's own record tells.
pub(super) fn of_session(session: &Session) -> Vec<Event> {
    let here = [Touch::Session(session.tag.clone())];
    let title = format!("what was read in session {}", session.tag);
    let marks = session.doubted.iter().enumerate();
    marks.flat_map(|(index, doubted)| doubt(&format!("session:{index}"), &title, doubted, &here)).collect()
}

fn corrected(correction: &Correction) -> String {
    match &correction.to {
        Corrected::Role(answer) => answer.to_string(),
        Corrected::Text(text) => text.clone(),
        Corrected::Figure(figure) => {
            figure.entries.last().map(|entry| entry_words(figure, entry)).unwrap_or_default()
        }
    }
}

/// The corrections of a record that `owner` names; what it was and became touches the parts concerned.
fn corrections(of: &str, said: &str, list: &[Correction], touches: &[Touch]) -> Vec<Event> {
    let events = list.iter().enumerate().map(|(index, correction)| {
        let mut touches = touches.to_vec();
        touches.push(Touch::Figure { of: of.to_owned(), field: correction.set.clone() });
        if let Corrected::Role(Answer::Part(part)) = &correction.to {
            touches.push(part_touch(part));
        }
        if let Corrected::Figure(figure) = &correction.to {
            touches.extend(figure.entries.iter().flat_map(shown_by));
        }
        touches.extend(PartState::parse(&correction.was).as_ref().map(part_touch));
        let was = if correction.was.is_empty() { "nothing" } else { &correction.was };
        let words = format!(
            "{said}{} is {}, was {was}: {}",
            correction.set,
            corrected(correction),
            correction.because
        );
        Event {
            by: Some(correction.by.clone()),
            touches,
            ..event(format!("correction:{index}"), "correction", Some(&correction.on), words)
        }
    });
    events.collect()
}

fn part_touch(part: &PartState) -> Touch {
    Touch::Part { tag: part.tag.clone(), letter: Some(part.letter.clone()) }
}

/// What a part's manifest tells.
pub(super) fn of_part(part: &Part, kinds: &Kinds) -> Vec<Event> {
    let kind = kinds.part(&part.kind);
    let title = |field: &str| {
        kind.and_then(|kind| kind.figure(field)).map_or(field, |spec| &spec.title).to_lowercase()
    };
    let mut events = Vec::new();
    for state in &part.states {
        let letter = &state.letter;
        let here = Touch::Part { tag: part.tag.clone(), letter: Some(letter.clone()) };
        let how = state.how.as_ref().map(|how| format!(": {how}")).unwrap_or_default();
        events.push(Event {
            touches: vec![here.clone()],
            ..event(
                format!("state:{letter}"),
                "state",
                state.since.as_ref(),
                format!("{}/{letter} begins{how}", part.tag),
            )
        });
        for (index, work) in state.work.iter().enumerate() {
            let voided: Vec<&crate::record::FieldSpec> = kind
                .map(|kind| kind.figures.iter().filter(|spec| spec.voided_by.contains(&work.op)).collect())
                .unwrap_or_default();
            let figure = |field: &str| Touch::Figure { of: part.tag.clone(), field: field.to_owned() };
            let mut words = format!("{}/{letter}: {}", part.tag, work_words(work, kind));
            if !voided.is_empty() {
                let names: Vec<String> = voided.iter().map(|spec| spec.title.to_lowercase()).collect();
                words.push_str(&format!("; can have changed {}", names.join(", ")));
            }
            events.push(Event {
                by: work.by.clone(),
                touches: voided.iter().map(|spec| figure(&spec.name)).chain([here.clone()]).collect(),
                ..event(
                    format!("state:{letter}:work:{index}"),
                    "work",
                    work.on.as_ref().or(state.since.as_ref()),
                    words,
                )
            });
        }
        for (field, figure) in &state.figures {
            let touches = [here.clone(), Touch::Figure { of: part.tag.clone(), field: field.clone() }];
            let title = format!("{}/{letter}, {}", part.tag, title(field));
            events.extend(entries(&format!("state:{letter}:{field}"), &title, figure, &touches));
        }
    }
    let whole = Touch::Part { tag: part.tag.clone(), letter: None };
    let left = match &part.whereabouts {
        Whereabouts::Here => None,
        Whereabouts::Sold(on) => Some(("sold", on.as_ref())),
        Whereabouts::Lent(on) => Some(("lent", on.as_ref())),
        Whereabouts::Scrapped(on) => Some(("scrapped", on.as_ref())),
        Whereabouts::Consumed => Some(("used up", None)),
    };
    events.extend(
        left.map(|(how, on)| Event { touches: vec![whole.clone()], ..event("where", "state", on, how) }),
    );
    events.extend(corrections(&part.tag, "", &part.corrected, &[whole]));
    events
}

fn work_words(work: &Work, kind: Option<&crate::record::PartKind>) -> String {
    let spec = kind.and_then(|kind| kind.work(&work.op));
    let mut words = spec.map_or_else(|| work.op.clone(), |spec| spec.title.clone());
    for (name, value) in &work.details {
        words.push_str(&format!(", {name} {value}"));
    }
    words.extend(work.note.iter().map(|note| format!(" ({note})")));
    words
}

/// What a build's manifest tells.
pub(super) fn of_build(build: &Build, kinds: &Kinds) -> Vec<Event> {
    let name = &build.name;
    let here = Touch::Build(name.clone());
    let from = build.from.as_ref().map(|from| format!(" from {from}")).unwrap_or_default();
    let refit = if build.refit { ", the same parts put together again" } else { "" };
    let says = format!("build {name} of {}{from}{refit}", build.engine);
    let engine = Touch::Part { tag: build.engine.clone(), letter: None };
    let mut events = vec![Event {
        by: build.by.clone(),
        touches: vec![here.clone(), engine],
        ..event("build", "build", Some(&build.since), says)
    }];
    for (role, answer) in &build.parts {
        if let Answer::Part(part) = answer {
            let title = kinds.role(role).map_or(role.as_str(), |spec| &spec.title).to_lowercase();
            let words = format!("{part} goes on as {title}, build {name}");
            events.push(Event {
                by: build.by.clone(),
                touches: vec![part_touch(part)],
                ..event(format!("role:{role}"), "build", Some(&build.since), words)
            });
        }
    }
    for (field, figure) in &build.settings {
        let touches = [here.clone(), Touch::Figure { of: name.clone(), field: field.clone() }];
        events.extend(entries(
            &format!("setting:{field}"),
            &format!("build {name}, {field}"),
            figure,
            &touches,
        ));
    }
    for (pair, fits) in &build.fits {
        for (field, figure) in fits {
            let path = format!("{pair}.{field}");
            let touches = [here.clone(), Touch::Figure { of: name.clone(), field: path.clone() }];
            events.extend(entries(
                &format!("fit:{path}"),
                &format!("build {name}, {path}"),
                figure,
                &touches,
            ));
        }
    }
    events.extend(corrections(name, &format!("build {name}: "), &build.corrected, &[here]));
    events
}

/// What a pull's manifest tells; `effective` is what was on the engine.
pub(super) fn of_pull(pull: &Pull, effective: &Effective) -> Vec<Event> {
    let here = Touch::Pull(pull.id.clone());
    let mut touches = vec![here.clone(), Touch::Session(pull.session.clone())];
    touches.extend(pull.effective_build().map(|build| Touch::Build(build.to_owned())));
    touches.extend(effective.roles.values().filter_map(|held| match &held.answer {
        Answer::Part(part) => Some(part_touch(part)),
        _ => None,
    }));
    for raw in &pull.raw {
        touches.push(Touch::Raw(raw.sha256.clone()));
        touches.extend(raw.columns.clone().map(Touch::Columns));
    }
    let on_build = pull
        .build
        .as_ref()
        .map_or_else(|| " without a build".to_owned(), |build| format!(" on build {build}"));
    let fit_up = pull.fit_up.map(|number| format!(", fit-up {number}")).unwrap_or_default();
    let outcome = match &pull.outcome {
        crate::record::Outcome::Kept => String::new(),
        aside @ crate::record::Outcome::SetAside(_) => format!(", {aside}"),
    };
    let of_pull = |event: Event| Event { pull: Some(pull.id.clone()), ..event };
    let mut events = vec![of_pull(Event {
        by: pull.by.clone(),
        touches,
        ..event("pull", "pull", pull.at.as_ref(), format!("{PULLS}{on_build}{fit_up}{outcome}"))
    })];
    let figure = |prefix: &str, field: &str, figure: &Figure| {
        let touches = [here.clone(), Touch::Figure { of: pull.id.clone(), field: field.to_owned() }];
        entries(&format!("{prefix}:{field}"), &format!("{PULLS}, {field}"), figure, &touches)
    };
    for (field, change) in &pull.changed {
        match change {
            Change::Figure(changed) => {
                events.extend(figure("changed", field, changed).into_iter().map(of_pull))
            }
            Change::Role(answer) => {
                let mut touches = vec![here.clone()];
                if let Answer::Part(part) = answer {
                    touches.push(part_touch(part));
                }
                events.push(of_pull(Event {
                    by: pull.by.clone(),
                    touches,
                    ..event(
                        format!("changed:{field}"),
                        "build",
                        pull.at.as_ref(),
                        format!("{PULLS}: {field} is {answer}"),
                    )
                }));
            }
        }
    }
    for (field, condition) in &pull.conditions {
        events.extend(figure("condition", field, condition).into_iter().map(of_pull));
    }
    let said = format!("{PULLS}: ");
    events.extend(corrections(&pull.id, &said, &pull.corrected, &[here]).into_iter().map(of_pull));
    events
}

/// What an instrument's manifest tells.
pub(super) fn of_instrument(instrument: &Instrument) -> Vec<Event> {
    let here = vec![Touch::Instrument(instrument.tag.clone())];
    let calibrations = instrument.calibrations.iter().enumerate().map(|(index, calibration)| {
        let mut words = "calibrated".to_owned();
        words
            .extend(calibration.certificate.iter().map(|certificate| format!(", certificate {certificate}")));
        words.extend(calibration.due.iter().map(|due| format!(", due again {due}")));
        Event {
            by: Some(calibration.by.clone()),
            touches: here.clone(),
            ..event(format!("calibration:{index}"), "calibration", Some(&calibration.on), words)
        }
    });
    let stated = instrument.uncertainty.iter().map(|stated| {
        let words = format!("stated uncertainty of {}: {} ({})", stated.of, stated.is, stated.scope.word());
        Event {
            touches: here.clone(),
            ..event(format!("uncertainty:{}:{}", stated.of, stated.scope.word()), "state", None, words)
        }
    });
    let doubts = instrument.doubted.iter().enumerate().flat_map(|(index, doubted)| {
        doubt(&format!("instrument:{index}"), &format!("what {} read", instrument.tag), doubted, &here)
    });
    calibrations.chain(stated).chain(doubts).collect()
}

/// What a claim's manifest tells.
pub(super) fn of_claim(claim: &Claim) -> Vec<Event> {
    let here = Touch::Claim(claim.tag.clone());
    let mut events = vec![Event {
        by: Some(claim.by.clone()),
        touches: vec![here.clone()],
        ..event("claim", "claim", Some(&claim.on), format!("claimed: {}", claim.says))
    }];
    for (name, says) in claim.first_terms.told() {
        events.push(Event {
            by: Some(claim.by.clone()),
            touches: vec![here.clone()],
            ..event(format!("term:{name}"), "claim", Some(&claim.on), format!("{name}: {says}"))
        });
    }
    events.extend(corrections(&claim.tag, "", &claim.corrected, std::slice::from_ref(&here)));
    events.extend(claim.withdrawn.iter().map(|withdrawn| Event {
        by: Some(withdrawn.by.clone()),
        touches: vec![here.clone()],
        ..event("withdrawn", "claim", Some(&withdrawn.on), format!("withdrawn: {}", withdrawn.because))
    }));
    events
}

/// A version of a record whose life is that of its text; `commit` wrote it.
pub(super) fn record_written(commit: &str) -> Event {
    event(commit, "edit", None, "the record is written")
}
