//! A pull's manifest.

use std::collections::BTreeMap;

use crate::finding::Finding;
use crate::manifest::bind::Binder;
use crate::manifest::bind::Bound;
use crate::manifest::bind::build::figure_spec;
use crate::manifest::bind::build::plain_target;
use crate::manifest::bind::figure::Signed;
use crate::manifest::bind::parse_value;
use crate::manifest::node::Node;
use crate::record::Change;
use crate::record::Correcting;
use crate::record::Kinds;
use crate::record::Outcome;
use crate::record::Pull;
use crate::record::RawFile;
use crate::record::RecordedDoubt;

/// Reads a pull.
pub fn pull(file: &str, root: &Node, kinds: &Kinds) -> Bound<Pull> {
    let mut binder = Binder::new(file, kinds);
    let record = binder.pull(root);
    binder.finish(record)
}

impl Binder<'_> {
    fn pull(&mut self, root: &Node) -> Option<Pull> {
        let id = self.tag(root, "pull");
        let session = self.tag(root, "session");
        let order = match root.get("order") {
            Some(order) => self.whole(order, "order"),
            None => self.needs(root, "order").and(None),
        };
        if let (Some(id), Some(session), Some(order)) = (&id, &session, order)
            && id
                .strip_prefix(session.as_str())
                .and_then(|rest| rest.strip_prefix('-'))
                .and_then(|n| n.parse().ok())
                != Some(order)
        {
            let place = self.place(root.get("pull").unwrap_or(root), "pull");
            self.push(
                Finding::error("pull-number", "a pull's number is its session and its order, for ever")
                    .at(place)
                    .found(format!("`{id}` in session `{session}`, order {order}"))
                    .expected(format!("`{session}-{order:02}`")),
            );
        }
        let kinds = self.kinds;
        let changed = self.changes(root.get("changed"));
        let conditions = self
            .figures(root.get("conditions"), "conditions", Signed::ByRecord, |name| kinds.condition(name));
        let run = self.run(root.get("run"));
        let correction = root.get("correction").and_then(|node| self.correcting(node));
        let raw = self.raw_files(root);
        let doubts = self.recorded_doubts(root);
        Some(Pull {
            id: id?,
            build: self.may(root, "build"),
            session: session?,
            order: order?,
            fit_up: root.get("fit-up").and_then(|count| self.whole(count, "fit-up")),
            refit_after: self.may(root, "refit-after"),
            at: self.may_moment(root, "at"),
            by: self.may(root, "by"),
            outcome: self.outcome(root.get("outcome")),
            changed,
            conditions,
            run,
            correction,
            raw,
            ran: self.may(root, "ran"),
            typed: root.get("typed").is_some_and(|flag| self.flag(flag, "typed")),
            doubts,
            corrected: self.corrections(root.get("corrected"), None),
            note: self.may(root, "note"),
        })
    }

    fn changes(&mut self, node: Option<&Node>) -> BTreeMap<String, Change> {
        let kinds = self.kinds;
        let mut changes = BTreeMap::new();
        for (key, value) in node.map(Node::entries).unwrap_or_default() {
            let name = plain_target(key.text().unwrap_or_default());
            let field = format!("changed.{name}");
            if kinds.role(name).is_some() {
                if let Some(answer) = self.answer(value, &field) {
                    changes.insert(name.to_owned(), Change::Role(answer));
                }
            } else if let Some(spec) = figure_spec(kinds, name) {
                let figure = self.figure(value, &field, Signed::ByRecord, Some(spec));
                changes.insert(name.to_owned(), Change::Figure(figure));
            } else {
                let known = kinds.roles.iter().map(|role| role.name.as_str());
                let known = known.chain(kinds.settings.iter().map(|setting| setting.name.as_str()));
                self.unknown_name(key, "changed", "role or setting", known);
            }
        }
        changes
    }

    fn run(&mut self, node: Option<&Node>) -> BTreeMap<String, String> {
        let kinds = self.kinds;
        let mut run = BTreeMap::new();
        for (key, value) in node.map(Node::entries).unwrap_or_default() {
            let name = key.text().unwrap_or_default();
            let field = format!("run.{name}");
            let Some(spec) = kinds.run_field(name) else {
                self.unknown_name(
                    key,
                    "run",
                    "field of a run",
                    kinds.run.iter().map(|field| field.name.as_str()),
                );
                continue;
            };
            if let Some(why) = value.get("unknown").and_then(|why| self.text(why, &field)) {
                run.insert(name.to_owned(), format!("unknown: {why}"));
                continue;
            }
            let Some(text) = value.text() else {
                self.text(value, &field);
                continue;
            };
            if !matches!(text, "none")
                && let Err(finding) = parse_value(text, &spec.holds)
            {
                let place = self.place(value, &field);
                self.push(finding.at(place));
            }
            run.insert(name.to_owned(), text.to_owned());
        }
        run
    }

    fn outcome(&mut self, node: Option<&Node>) -> Outcome {
        match node.and_then(|node| node.get("set-aside")) {
            Some(why) => Outcome::SetAside(self.text(why, "outcome.set-aside").unwrap_or_default()),
            None => Outcome::Kept,
        }
    }

    fn correcting(&mut self, node: &Node) -> Option<Correcting> {
        if let Some(unknown) = node.get("unknown") {
            return self.text(unknown, "correction.unknown").map(Correcting::Unknown);
        }
        if let Some(standard) = node.get("standard") {
            let factor = node.get("factor").and_then(Node::text).map(str::to_owned);
            return self
                .text(standard, "correction.standard")
                .map(|name| Correcting::Standard { name, factor });
        }
        match node.text() {
            Some("observed") => Some(Correcting::Observed),
            Some(name) => Some(Correcting::Standard { name: name.to_owned(), factor: None }),
            None => None,
        }
    }

    /// The raw files behind a record.
    pub(super) fn raw_files(&mut self, root: &Node) -> Vec<RawFile> {
        let raw = root.get("raw").map(Node::items).unwrap_or_default();
        let files: Vec<RawFile> = raw.iter().filter_map(|item| self.raw_file(item, "raw")).collect();
        let known = |name: &str| files.iter().any(|file| file.file == name && file.derived_from.is_none());
        for (item, file) in raw.iter().zip(&files) {
            if let Some(origin) = file.derived_from.as_deref().filter(|origin| !known(origin)) {
                let place = self.place(item, "raw.derived-from");
                self.push(
                    Finding::error("reference-missing", "the record holds no such file to be derived from")
                        .at(place)
                        .found(format!("`{origin}`"))
                        .expected("the name of another raw file of this record")
                        .next(
                            "keep the original beside its export: `--derived-from FILE` when it is taken in",
                        ),
                );
            }
        }
        files
    }

    /// What was doubtful about a record's files when it was entered.
    pub(super) fn recorded_doubts(&mut self, root: &Node) -> Vec<RecordedDoubt> {
        let doubts = root.get("doubts").map(Node::items).unwrap_or_default();
        doubts
            .iter()
            .filter_map(|item| {
                Some(RecordedDoubt { code: self.needs(item, "code")?, says: self.needs(item, "says")? })
            })
            .collect()
    }

    pub(super) fn raw_file(&mut self, node: &Node, field: &str) -> Option<RawFile> {
        let sha256 = self.needs(node, "sha256")?;
        if sha256.len() != 64
            || !sha256.bytes().all(|byte| byte.is_ascii_digit() || (b'a'..=b'f').contains(&byte))
        {
            let place = self.place(node, &format!("{field}.sha256"));
            self.push(
                Finding::error("not-a-digest", "this is not a SHA-256")
                    .at(place)
                    .found(format!("`{sha256}`"))
                    .expected("64 digits 0-9 and a-f"),
            );
            return None;
        }
        Some(RawFile {
            file: self.needs(node, "file")?,
            sha256,
            bytes: node.get("bytes").and_then(|bytes| bytes.to_json().as_u64()).unwrap_or_default(),
            columns: self.may(node, "columns"),
            segment: node
                .get("segment")
                .and_then(|segment| self.whole(segment, "raw.segment"))
                .map(|n| n as usize),
            derived_from: self.may(node, "derived-from"),
        })
    }
}
