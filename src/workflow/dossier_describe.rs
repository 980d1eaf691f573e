//! What a dossier is about, for programs that read RO-Crate: drawn from the records inside, and from those alone.

use std::collections::BTreeMap;
use std::collections::BTreeSet;

use crate::evidence::Action;
use crate::evidence::Description;
use crate::evidence::Details;
use crate::evidence::FileNote;
use crate::evidence::Thing;
use crate::evidence::ThingKind;
use crate::record::Answer;
use crate::record::Known;
use crate::record::Moment;
use crate::record::Part;
use crate::record::Pull;
use crate::workflow::Failure;
use crate::workflow::dossier::PROGRAM;
use crate::workflow::dossier_gather::Gathered;
use crate::workflow::dossier_index::CLAIM_FILE;
use crate::workflow::dossier_index::INDEX_FILE;
use crate::workflow::dossier_index::Index;
use crate::workflow::dossier_index::PAGE_FILE;
use crate::workflow::dossier_index::RAW;
use crate::workflow::dossier_index::RawStanding;
use crate::workflow::dossier_index::TEXT_FILE;
use crate::workflow::gate::Sort;
use crate::workflow::gate::sort_of;

/// This program, as a thing.
const SOFTWARE: &str = "software mulebook";

/// Describes what is inside.
///
/// # Errors
/// A record does not hold.
pub(super) fn description(gathered: &Gathered, index: &Index) -> Result<Description, Failure> {
    let library = &gathered.library;
    let claim = &gathered.claim;
    let mut told = Told::default();
    told.thing(Thing {
        id: SOFTWARE.to_owned(),
        kind: ThingKind::Software,
        name: "Mulebook".to_owned(),
        details: Details {
            version: Some(PROGRAM.to_owned()),
            url: Some("https://mulebook.example/".to_owned()),
            ..Details::default()
        },
        parts: Vec::new(),
        from: None,
    });
    let inside: Vec<&String> =
        gathered.records.iter().filter(|(_, record)| !record.withheld).map(|(path, _)| path).collect();
    if inside.iter().any(|path| *path == "people.yaml") {
        for (tag, person) in library.people()? {
            told.plain(format!("person {tag}"), ThingKind::Person, person.name, Details::default());
        }
    }
    let (mut parts, mut pulls): (Vec<Part>, Vec<Pull>) = (Vec::new(), Vec::new());
    for path in &inside {
        let stem = path.rsplit('/').next().and_then(|file| file.strip_suffix(".yaml")).unwrap_or_default();
        match sort_of(path) {
            Sort::Instrument => {
                if let Some(found) = library.instrument(stem)? {
                    let details = Details { serial: found.serial, note: found.note, ..Details::default() };
                    told.plain(format!("instrument {stem}"), ThingKind::Instrument, found.what, details);
                }
            }
            Sort::Cell => {
                told.plain(format!("cell {stem}"), ThingKind::Cell, stem.to_owned(), Details::default());
            }
            Sort::Part(_) => parts.extend(library.part(stem)?),
            Sort::Pull(_) => pulls.extend(library.pull_at(path)?),
            _ => {}
        }
    }
    parts.iter().for_each(|part| told.states(part));
    for path in &inside {
        if let Sort::Build(name) = sort_of(path)
            && let Some(build) = library.build(&name)?
        {
            let on = build.parts.values().filter_map(|answer| match answer {
                Answer::Part(part) => Some(format!("part {part}")),
                _ => None,
            });
            let parts = on.filter(|id| told.ids.contains(id)).collect();
            told.thing(Thing {
                id: format!("build {name}"),
                kind: ThingKind::Build,
                name: format!("build {name} of {}", build.engine),
                details: Details { note: build.note, ..Details::default() },
                parts,
                from: None,
            });
        }
    }
    parts.iter().for_each(|part| told.deeds(part));
    let files: BTreeSet<&str> = index
        .raw
        .iter()
        .filter(|line| line.standing == RawStanding::Inside)
        .map(|line| line.sha256.as_str())
        .collect();
    for pull in &pulls {
        let cell = library.session(&pull.session)?.map(|session| session.cell.clone());
        told.pull(pull, cell.as_deref(), &files);
    }
    told.action(Action {
        id: format!("weighing {}", claim.tag),
        name: format!("weighing of {}", claim.tag),
        instruments: vec![SOFTWARE.to_owned()],
        // What shows a figure was looked at by people, not by the weighing.
        objects: files
            .iter()
            .filter(|sha256| gathered.raw.get(**sha256).is_none_or(|piece| piece.shows.is_empty()))
            .map(|sha256| format!("{RAW}{sha256}"))
            .collect(),
        results: vec![CLAIM_FILE.to_owned(), TEXT_FILE.to_owned(), PAGE_FILE.to_owned()],
        ..Action::default()
    });
    Ok(Description {
        name: format!("Dossier of the claim {}", claim.tag),
        text: format!("{} Verdict: {}.", claim.says, gathered.answer.verdict),
        published: claim.on.day().to_string(),
        terms: "For whom it was made; everything else as agreed with the shop.".to_owned(),
        things: told.things,
        actions: told.actions,
        files: notes(index),
    })
}

/// What the payload files are.
fn notes(index: &Index) -> BTreeMap<String, FileNote> {
    let note = |name: &str, format: Option<&str>| FileNote {
        name: name.to_owned(),
        format: format.map(str::to_owned),
    };
    let mut notes = BTreeMap::from([
        (INDEX_FILE.to_owned(), note("which file is which record or raw file", Some("application/json"))),
        (
            CLAIM_FILE.to_owned(),
            note("the claim with its verdict and every figure", Some("application/json")),
        ),
        (TEXT_FILE.to_owned(), note("the same as text", Some("text/plain"))),
        (PAGE_FILE.to_owned(), note("the same as a page", Some("text/html"))),
    ]);
    for line in &index.records {
        if let Some(file) = &line.file {
            notes.insert(file.clone(), note(&line.path, None));
        }
    }
    for line in index.raw.iter().filter(|line| line.standing == RawStanding::Inside) {
        let format = match line.name.rsplit_once('.').map(|(_, ending)| ending.to_ascii_lowercase()) {
            Some(ending) if ending == "csv" => "text/csv",
            Some(ending) if matches!(ending.as_str(), "txt" | "tsv" | "log") => "text/plain",
            Some(ending) if matches!(ending.as_str(), "jpg" | "jpeg") => "image/jpeg",
            Some(ending) if ending == "png" => "image/png",
            Some(ending) if ending == "pdf" => "application/pdf",
            _ => "application/octet-stream",
        };
        notes.insert(format!("{RAW}{}", line.sha256), note(&line.name, Some(format)));
    }
    notes
}

#[derive(Default)]
struct Told {
    ids: BTreeSet<String>,
    things: Vec<Thing>,
    actions: Vec<Action>,
}

impl Told {
    fn thing(&mut self, thing: Thing) {
        if self.ids.insert(thing.id.clone()) {
            self.things.push(thing);
        }
    }

    fn plain(&mut self, id: String, kind: ThingKind, name: String, details: Details) {
        self.thing(Thing { id, kind, name, details, parts: Vec::new(), from: None });
    }

    fn action(&mut self, action: Action) {
        if self.ids.insert(action.id.clone()) {
            self.actions.push(action);
        }
    }

    /// An id, where the dossier tells of it.
    fn known(&self, id: String) -> Option<String> {
        self.ids.contains(&id).then_some(id)
    }

    fn states(&mut self, part: &Part) {
        let mut before: Option<String> = None;
        for state in &part.states {
            let id = format!("part {}/{}", part.tag, state.letter);
            let name = part.name.clone().unwrap_or_else(|| format!("{} {}", part.kind, part.tag));
            self.thing(Thing {
                id: id.clone(),
                kind: ThingKind::PartState,
                name: format!("{name}, state {}", state.letter),
                details: Details {
                    serial: part.serial.clone(),
                    note: state.how.clone(),
                    ..Details::default()
                },
                parts: Vec::new(),
                from: before.filter(|_| !state.work.is_empty()),
            });
            before = Some(id);
        }
    }

    /// Work and measurements.
    fn deeds(&mut self, part: &Part) {
        let mut before: Option<String> = None;
        for state in &part.states {
            let here = format!("part {}/{}", part.tag, state.letter);
            for (number, work) in state.work.iter().enumerate() {
                let on = work.on.as_ref().or(state.since.as_ref()).map(Moment::to_string);
                let agent = work.by.as_ref().and_then(|by| self.known(format!("person {by}")));
                self.action(Action {
                    id: format!("work {}/{} {}", part.tag, state.letter, number + 1),
                    name: format!("{} on {}", work.op, part.tag),
                    ended: on,
                    agent,
                    objects: before.iter().cloned().collect(),
                    results: vec![here.clone()],
                    note: work.note.clone(),
                    ..Action::default()
                });
            }
            for (field, figure) in &state.figures {
                for (number, entry) in figure.entries.iter().enumerate() {
                    let Known::Measured(value) = &entry.known else { continue };
                    let agent = entry.by.as_ref().and_then(|by| self.known(format!("person {by}")));
                    let with = entry.with.as_ref().and_then(|with| self.known(format!("instrument {with}")));
                    self.action(Action {
                        id: format!("measurement {}/{} {field} {}", part.tag, state.letter, number + 1),
                        name: format!("{field} of {}/{}", part.tag, state.letter),
                        ended: entry.taken.as_ref().map(Moment::to_string),
                        agent,
                        instruments: with.into_iter().collect(),
                        objects: vec![here.clone()],
                        note: Some(value.text().to_owned()),
                        ..Action::default()
                    });
                }
            }
            before = Some(here);
        }
    }

    fn pull(&mut self, pull: &Pull, cell: Option<&str>, files: &BTreeSet<&str>) {
        let build = pull.effective_build().and_then(|build| self.known(format!("build {build}")));
        let cell = cell.and_then(|cell| self.known(format!("cell {cell}")));
        let agent = pull.by.as_ref().and_then(|by| self.known(format!("person {by}")));
        let raw = pull.raw.iter().filter(|file| files.contains(file.sha256.as_str()));
        self.action(Action {
            id: format!("pull {}", pull.id),
            name: format!("pull {}", pull.id),
            ended: pull.at.as_ref().map(Moment::to_string),
            agent,
            instruments: cell.into_iter().collect(),
            objects: build.into_iter().collect(),
            results: raw.map(|file| format!("{RAW}{}", file.sha256)).collect(),
            note: pull.note.clone(),
            ..Action::default()
        });
    }
}
