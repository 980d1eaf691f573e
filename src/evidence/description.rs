//! What the dossier is about, for programs that read RO-Crate: parts in their states, work, measurements, pulls, instruments,
//! people and software, as the entities and actions of RO-Crate 1.3 (profile: the core alone).
//!
//! The crate says what things mean; that no byte was changed is the bag's matter. The records in the payload win over it.

use std::collections::{BTreeMap, BTreeSet};

use serde_json::Map;
use serde_json::Value;
use serde_json::json;

use crate::evidence::name::escaped;
use crate::finding::Finding;

/// Where it stands in the payload.
pub const CRATE_FILE: &str = "ro-crate-metadata.json";
/// Objects of the history stand below it; a crate need not list every file, and these mean nothing by themselves.
pub const HISTORY_FOLDER: &str = "history/";

const CONTEXT: &str = "https://w3id.org/ro/crate/1.3/context";
const CONFORMS_TO: &str = "https://w3id.org/ro/crate/1.3";

/// What the dossier is about.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Description {
    /// A short name.
    pub name: String,
    /// What it shows, in a sentence or two.
    pub text: String,
    /// The day of the claim, ISO 8601; not the day of sealing, which would make every copy differ.
    pub published: String,
    /// On what terms it is handed over.
    pub terms: String,
    /// People, instruments, software, states of parts, builds.
    pub things: Vec<Thing>,
    /// Work, measurements, pulls.
    pub actions: Vec<Action>,
    /// What payload files are, by their paths; a file that is not named here gets its path for a name.
    pub files: BTreeMap<String, FileNote>,
}

/// What a payload file is.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct FileNote {
    /// What it is, in a few words.
    pub name: String,
    /// Its media type (`text/csv`); `None` to go by the name's ending.
    pub format: Option<String>,
}

/// What kind of thing.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
#[non_exhaustive]
pub enum ThingKind {
    /// A person.
    Person,
    /// What was measured with.
    Instrument,
    /// A part in one state: other work done is another thing.
    PartState,
    /// An engine as it was put together.
    Build,
    /// A place with its dynamometer or flow bench.
    Cell,
    /// A program.
    Software,
}

/// A thing that the dossier speaks of.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Thing {
    /// Its name in the book, with its kind (`part h2/b`); any text that no other thing has.
    pub id: String,
    /// What kind of thing it is.
    pub kind: ThingKind,
    /// What people call it.
    pub name: String,
    /// What else there is to say: serial number, maker, version, address.
    pub details: Details,
    /// What it is made of: a build of its states.
    pub parts: Vec<String>,
    /// The state that it came from by work.
    pub from: Option<String>,
}

/// What else there is to say of a thing.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Details {
    /// Serial or stamped number.
    pub serial: Option<String>,
    /// Who made it.
    pub maker: Option<String>,
    /// Version of a program.
    pub version: Option<String>,
    /// Address of a program's page.
    pub url: Option<String>,
    /// A sentence.
    pub note: Option<String>,
}

/// Something that somebody did.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Action {
    /// Its name in the book, with its kind (`pull b1/p3`).
    pub id: String,
    /// What people call it.
    pub name: String,
    /// When it began and ended, ISO 8601, as far as known.
    pub started: Option<String>,
    /// When it ended.
    pub ended: Option<String>,
    /// Who did it: ids of people.
    pub agent: Option<String>,
    /// With what: ids of instruments, cells, software.
    pub instruments: Vec<String>,
    /// On what: ids of states and builds, paths of payload files.
    pub objects: Vec<String>,
    /// What came of it: ids of states, paths of payload files.
    pub results: Vec<String>,
    /// A sentence.
    pub note: Option<String>,
}

/// A payload file as the crate lists it.
pub(super) struct Listed<'a> {
    pub(super) path: &'a str,
    pub(super) sha256: &'a str,
    pub(super) length: u64,
}

/// A local name: `#` and the id, with everything but letters, digits and a few marks as its code.
fn local(id: &str) -> String {
    use std::fmt::Write;
    id.bytes().fold("#".to_owned(), |mut text, byte| {
        match byte {
            b'a'..=b'z' | b'A'..=b'Z' | b'0'..=b'9' | b'.' | b'_' | b'-' | b'/' => {
                text.push(char::from(byte))
            }
            b' ' => text.push('-'),
            _ => {
                let _ = write!(text, "%{byte:02X}");
            }
        }
        text
    })
}

fn reference(id: &str) -> Value {
    json!({ "@id": id })
}

fn format_of(path: &str) -> &'static str {
    match path.rsplit_once('.').map(|(_, ending)| ending) {
        Some("yaml") => "application/yaml",
        Some("json") => "application/json",
        Some("csv") => "text/csv",
        Some("txt" | "log") => "text/plain",
        Some("html") => "text/html",
        _ => "application/octet-stream",
    }
}

fn put(entity: &mut Map<String, Value>, label: &str, value: Option<impl Into<Value>>) {
    if let Some(value) = value {
        entity.insert(label.to_owned(), value.into());
    }
}

impl Thing {
    fn entity(&self, links: &Links<'_>) -> Result<Value, Finding> {
        let kind = match self.kind {
            ThingKind::Person => "Person",
            ThingKind::Instrument | ThingKind::PartState | ThingKind::Build => "IndividualProduct",
            ThingKind::Cell => "Place",
            ThingKind::Software => "SoftwareApplication",
        };
        let mut entity = Map::new();
        entity.insert("@id".to_owned(), local(&self.id).into());
        entity.insert("@type".to_owned(), kind.into());
        entity.insert("name".to_owned(), self.name.as_str().into());
        entity.insert("identifier".to_owned(), self.id.as_str().into());
        let details = &self.details;
        put(&mut entity, "serialNumber", details.serial.as_deref());
        put(&mut entity, "manufacturer", details.maker.as_deref());
        put(&mut entity, "version", details.version.as_deref());
        put(&mut entity, "url", details.url.as_deref());
        put(&mut entity, "description", details.note.as_deref());
        if !self.parts.is_empty() {
            entity.insert("hasPart".to_owned(), links.all(&self.parts)?);
        }
        put(&mut entity, "isBasedOn", self.from.as_ref().map(|from| links.one(from)).transpose()?);
        Ok(Value::Object(entity))
    }
}

impl Action {
    fn entity(&self, links: &Links<'_>) -> Result<Value, Finding> {
        let mut entity = Map::new();
        entity.insert("@id".to_owned(), local(&self.id).into());
        entity.insert("@type".to_owned(), "CreateAction".into());
        entity.insert("name".to_owned(), self.name.as_str().into());
        put(&mut entity, "description", self.note.as_deref());
        put(&mut entity, "startTime", self.started.as_deref());
        put(&mut entity, "endTime", self.ended.as_deref());
        put(&mut entity, "agent", self.agent.as_ref().map(|agent| links.one(agent)).transpose()?);
        for (label, ids) in
            [("instrument", &self.instruments), ("object", &self.objects), ("result", &self.results)]
        {
            if !ids.is_empty() {
                entity.insert(label.to_owned(), links.all(ids)?);
            }
        }
        Ok(Value::Object(entity))
    }
}

/// What may be referred to.
struct Links<'a> {
    things: BTreeSet<&'a str>,
    files: BTreeSet<&'a str>,
}

impl Links<'_> {
    fn one(&self, id: &str) -> Result<Value, Finding> {
        if self.things.contains(id) {
            Ok(reference(&local(id)))
        } else if self.files.contains(id) {
            Ok(reference(id))
        } else {
            Err(Finding::error(
                "crate-reference",
                "the description refers to something that it does not describe",
            )
            .found(escaped(id))
            .expected("a described thing or a payload file"))
        }
    }

    fn all(&self, ids: &[String]) -> Result<Value, Finding> {
        ids.iter().map(|id| self.one(id)).collect::<Result<Vec<_>, _>>().map(Value::Array)
    }
}

/// The metadata file of the crate.
pub(super) fn crate_text(description: &Description, files: &[Listed<'_>]) -> Result<String, Finding> {
    let listed: Vec<&Listed<'_>> =
        files.iter().filter(|file| !file.path.starts_with(HISTORY_FOLDER)).collect();
    let ids = description.things.iter().map(|thing| thing.id.as_str());
    let links = Links {
        things: ids.clone().chain(description.actions.iter().map(|action| action.id.as_str())).collect(),
        files: files.iter().map(|file| file.path).collect(),
    };
    if links.things.len() != description.things.len() + description.actions.len() {
        return Err(Finding::error("crate-reference", "the description gives one id to two things"));
    }
    let mentioned: Vec<Value> = ids
        .chain(description.actions.iter().map(|action| action.id.as_str()))
        .map(|id| reference(&local(id)))
        .collect();
    let mut graph = vec![
        json!({ "@id": CRATE_FILE, "@type": "CreativeWork", "about": { "@id": "./" }, "conformsTo": { "@id": CONFORMS_TO } }),
        json!({
            "@id": "./", "@type": "Dataset", "name": description.name, "description": description.text,
            "datePublished": description.published, "license": { "@id": "#terms" },
            "hasPart": listed.iter().map(|file| reference(file.path)).collect::<Vec<_>>(), "mentions": mentioned,
        }),
        json!({ "@id": "#terms", "@type": "CreativeWork", "name": "Terms", "description": description.terms }),
    ];
    for thing in &description.things {
        graph.push(thing.entity(&links)?);
    }
    for action in &description.actions {
        graph.push(action.entity(&links)?);
    }
    for file in listed {
        let note = description.files.get(file.path);
        graph.push(json!({
            "@id": file.path, "@type": "File", "name": note.map_or(file.path, |note| note.name.as_str()),
            "encodingFormat": note.and_then(|note| note.format.as_deref()).unwrap_or_else(|| format_of(file.path)),
            "contentSize": file.length.to_string(), "sha256": file.sha256,
        }));
    }
    let text = serde_json::to_string_pretty(&json!({ "@context": CONTEXT, "@graph": graph }));
    text.map(|text| text + "\n").map_err(|error| {
        Finding::error("crate-reference", "the description cannot be written").found(error.to_string())
    })
}
