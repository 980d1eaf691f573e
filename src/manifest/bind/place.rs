//! The manifests of the place and the sitting: book, people, instruments, cells, sessions.

use std::collections::BTreeMap;

use crate::finding::Finding;
use crate::manifest::bind::Binder;
use crate::manifest::bind::Bound;
use crate::manifest::bind::figure::Signed;
use crate::manifest::node::Node;
use crate::record::BookPage;
use crate::record::BookSigner;
use crate::record::Calibration;
use crate::record::Cell;
use crate::record::Doubted;
use crate::record::Figure;
use crate::record::Instrument;
use crate::record::Kinds;
use crate::record::Person;
use crate::record::Scope;
use crate::record::Session;
use crate::record::StatedUncertainty;

/// Raw files are kept in git up to this many bytes unless the book says otherwise.
const RAW_LIMIT: u64 = 4 << 20;

/// Reads `book.yaml`.
pub fn book(file: &str, root: &Node, kinds: &Kinds) -> Bound<BookPage> {
    let mut binder = Binder::new(file, kinds);
    let record = binder.book(root);
    binder.finish(record)
}

/// Reads `people.yaml`.
pub fn people(file: &str, root: &Node, kinds: &Kinds) -> Bound<BTreeMap<String, Person>> {
    let mut binder = Binder::new(file, kinds);
    let mut people = BTreeMap::new();
    for (key, value) in root.get("people").map(Node::entries).unwrap_or_default() {
        let tag = key.text().unwrap_or_default().to_owned();
        if let Some(name) = binder.needs(value, "name") {
            let email = binder.may(value, "email");
            people.insert(tag.clone(), Person { tag, name, email });
        }
    }
    binder.finish(Some(people))
}

/// Reads an instrument.
pub fn instrument(file: &str, root: &Node, kinds: &Kinds) -> Bound<Instrument> {
    let mut binder = Binder::new(file, kinds);
    let record = binder.instrument(root);
    binder.finish(record)
}

/// Reads a cell.
pub fn cell(file: &str, root: &Node, kinds: &Kinds) -> Bound<Cell> {
    let mut binder = Binder::new(file, kinds);
    let tag = binder.tag(root, "cell");
    let mut figures = BTreeMap::new();
    for spec in &kinds.cell {
        if let Some(value) = root.get(&spec.name) {
            let figure = binder.figure(value, &spec.name, Signed::Itself, Some(spec));
            figures.insert(spec.name.clone(), figure);
        }
    }
    let fitted = root.get("instruments").map(Node::entries).unwrap_or_default();
    let mut instruments: BTreeMap<String, String> = fitted
        .iter()
        .filter_map(|(name, tag)| Some((name.text()?.to_owned(), tag.text()?.to_owned())))
        .collect();
    // The load cell reads torque, wherever of the two it is named.
    if let Some(tag) = root.get("load-cell").and_then(Node::text) {
        instruments.entry("torque".to_owned()).or_insert_with(|| tag.to_owned());
    }
    let note = binder.may(root, "note");
    binder.finish(tag.map(|tag| Cell { tag, figures, instruments, note }))
}

/// Reads a session.
pub fn session(file: &str, root: &Node, kinds: &Kinds) -> Bound<Session> {
    let mut binder = Binder::new(file, kinds);
    let record = binder.session(root);
    binder.finish(record)
}

impl Binder<'_> {
    fn book(&mut self, root: &Node) -> Option<BookPage> {
        let format = match root.get("format") {
            Some(format) => self.whole(format, "format"),
            None => self.needs(root, "format").and(None),
        };
        let zone = self.needs(root, "zone")?;
        let Some(zone_seconds) = zone_seconds(&zone) else {
            let place = self.place(root.get("zone").unwrap_or(root), "zone");
            self.push(
                Finding::error("not-a-zone", "this is not a distance from UTC")
                    .at(place)
                    .found(format!("`{zone}`"))
                    .expected("Z, or hours and minutes as +02:00"),
            );
            return None;
        };
        let units = root.get("units").map(Node::entries).unwrap_or_default();
        let demands = root.get("documented").map(Node::items).unwrap_or_default();
        let signers = root.get("signers").map(Node::items).unwrap_or_default();
        Some(BookPage {
            format: format?,
            name: self.needs(root, "name")?,
            zone_seconds,
            correction: self.may(root, "correction"),
            raw_limit: self.may(root, "raw-limit").and_then(|text| bytes(&text)).unwrap_or(RAW_LIMIT),
            units: units
                .iter()
                .filter_map(|(key, value)| Some((key.text()?.to_owned(), self.text(value, "units")?)))
                .collect(),
            demands: demands.iter().filter_map(|item| self.text(item, "documented")).collect(),
            signers: signers
                .iter()
                .filter_map(|item| {
                    Some(BookSigner {
                        who: self.needs(item, "who")?,
                        key: self.needs(item, "key")?,
                        from: self.may_moment(item, "from"),
                        until: self.may_moment(item, "until"),
                    })
                })
                .collect(),
        })
    }

    fn instrument(&mut self, root: &Node) -> Option<Instrument> {
        let uncertainty = root.get("uncertainty").map(Node::items).unwrap_or_default();
        let calibrations = root.get("calibrations").map(Node::items).unwrap_or_default();
        Some(Instrument {
            tag: self.tag(root, "instrument")?,
            what: self.needs(root, "what")?,
            serial: self.may(root, "serial"),
            uncertainty: uncertainty.iter().filter_map(|item| self.stated(item)).collect(),
            calibrations: calibrations
                .iter()
                .filter_map(|item| {
                    Some(Calibration {
                        on: self.needs_moment(item, "on")?,
                        by: self.needs(item, "by")?,
                        due: self.may_moment(item, "due"),
                        certificate: self.may(item, "certificate"),
                    })
                })
                .collect(),
            doubted: self.doubts(root),
            note: self.may(root, "note"),
        })
    }

    fn doubts(&mut self, root: &Node) -> Vec<Doubted> {
        let doubts = root.get("doubted").map(Node::items).unwrap_or_default();
        doubts.iter().filter_map(|item| self.doubted(item, "doubted")).collect()
    }

    fn stated(&mut self, node: &Node) -> Option<StatedUncertainty> {
        let scope = match self.needs(node, "scope")?.as_str() {
            "session" => Scope::Session,
            "calibration" => Scope::Calibration,
            _ => Scope::Reading,
        };
        Some(StatedUncertainty { of: self.needs(node, "of")?, is: self.needs(node, "is")?, scope })
    }

    fn session(&mut self, root: &Node) -> Option<Session> {
        let mut fields = BTreeMap::new();
        for (key, value) in root.entries() {
            let key = key.text().unwrap_or_default();
            if matches!(
                key,
                "session"
                    | "cell"
                    | "on"
                    | "by"
                    | "engine"
                    | "skipped"
                    | "skipped-runs"
                    | "doubted"
                    | "note"
                    | "corrected"
            ) {
                continue;
            }
            fields.insert(key.to_owned(), said(value));
        }
        let mut figures: BTreeMap<String, Figure> = BTreeMap::new();
        for spec in &self.kinds.session {
            if let Some(value) = root.get(&spec.name) {
                let figure = self.figure(value, &spec.name, Signed::ByRecord, Some(spec));
                figures.insert(spec.name.clone(), figure);
            }
        }
        let skipped = root.get("skipped").map(Node::items).unwrap_or_default();
        let runs = root.get("skipped-runs").map(Node::items).unwrap_or_default();
        Some(Session {
            tag: self.tag(root, "session")?,
            cell: self.tag(root, "cell")?,
            on: self.needs_moment(root, "on")?,
            by: self.may(root, "by"),
            engine: self.may(root, "engine"),
            fields,
            figures,
            doubted: self.doubts(root),
            skipped: skipped
                .iter()
                .filter_map(|item| {
                    let order = item.get("order").and_then(|order| self.whole(order, "skipped.order"))?;
                    Some((order, self.needs(item, "because")?))
                })
                .collect(),
            skipped_runs: runs
                .iter()
                .filter_map(|item| Some((self.needs(item, "run")?, self.needs(item, "because")?)))
                .collect(),
            note: self.may(root, "note"),
        })
    }
}

/// A field of a session in one line.
fn said(node: &Node) -> String {
    match node.text() {
        Some(text) => text.to_owned(),
        None if !node.items().is_empty() => node.items().iter().map(said).collect::<Vec<_>>().join(", "),
        None => node
            .entries()
            .iter()
            .map(|(key, value)| format!("{} {}", key.text().unwrap_or_default(), said(value)))
            .collect::<Vec<_>>()
            .join(", "),
    }
}

fn zone_seconds(zone: &str) -> Option<i32> {
    if zone == "Z" {
        return Some(0);
    }
    let sign = if zone.starts_with('-') { -1 } else { 1 };
    let (hours, minutes) = zone.strip_prefix(['+', '-'])?.split_once(':')?;
    if ![hours, minutes].iter().all(|two| two.len() == 2 && two.bytes().all(|digit| digit.is_ascii_digit())) {
        return None;
    }
    let (hours, minutes) = (hours.parse::<i32>().ok()?, minutes.parse::<i32>().ok()?);
    (hours < 24 && minutes < 60).then_some(sign * (hours * 3600 + minutes * 60))
}

fn bytes(text: &str) -> Option<u64> {
    let digits = text.trim_end_matches(|c: char| c.is_ascii_alphabetic()).trim();
    let unit = match text.trim_start_matches(|c: char| c.is_ascii_digit() || c == ' ') {
        "B" => 1,
        "kB" => 1000,
        "MB" => 1_000_000,
        "GB" => 1_000_000_000,
        _ => return None,
    };
    digits.parse::<u64>().ok()?.checked_mul(unit)
}
