//! A part's manifest.

use std::collections::BTreeMap;

use crate::finding::Finding;
use crate::manifest::bind::Binder;
use crate::manifest::bind::Bound;
use crate::manifest::bind::figure::Signed;
use crate::manifest::bind::parse_value;
use crate::manifest::node::Node;
use crate::record::Kinds;
use crate::record::Never;
use crate::record::Part;
use crate::record::PartKind;
use crate::record::State;
use crate::record::Whereabouts;
use crate::record::Work;

/// Reads a part.
pub fn part(file: &str, root: &Node, kinds: &Kinds) -> Bound<Part> {
    let mut binder = Binder::new(file, kinds);
    let record = binder.part(root);
    binder.finish(record)
}

impl Binder<'_> {
    fn part(&mut self, root: &Node) -> Option<Part> {
        let tag = self.tag(root, "part");
        let kind_name = self.needs(root, "kind");
        let kinds = self.kinds;
        let kind = kind_name.as_deref().and_then(|name| kinds.part(name));
        if let (Some(name), None) = (&kind_name, kind) {
            let place = self.place(root.get("kind").unwrap_or(root), "kind");
            self.push(
                Finding::error("unknown-kind", "no schema describes this kind of part")
                    .at(place)
                    .found(format!("`{name}`"))
                    .expected(kinds.parts.keys().cloned().collect::<Vec<_>>().join(", "))
                    .next("add its schema to the book's schema/ folder, or use the kind `generic`"),
            );
        }
        let states = self.states(root, kind);
        Some(Part {
            tag: tag?,
            kind: kind_name?,
            name: self.may(root, "name"),
            serial: self.may(root, "serial"),
            batch: self.may(root, "batch"),
            whereabouts: self.whereabouts(root.get("where")),
            never: root
                .get("never")
                .map(Node::items)
                .unwrap_or_default()
                .iter()
                .filter_map(|item| self.never(item))
                .collect(),
            cylinders: root.get("cylinders").and_then(|count| self.whole(count, "cylinders")),
            states: states?,
            corrected: self.corrections(root.get("corrected"), kind.map(|kind| kind.figures.as_slice())),
            note: self.may(root, "note"),
        })
    }

    fn never(&mut self, node: &Node) -> Option<Never> {
        let roles = node.get("roles").map(Node::items).unwrap_or_default();
        Some(Never {
            roles: roles.iter().filter_map(|role| self.text(role, "never.roles")).collect(),
            by: self.needs(node, "by")?,
            on: self.needs_moment(node, "on")?,
        })
    }

    fn whereabouts(&mut self, node: Option<&Node>) -> Whereabouts {
        let Some(node) = node else {
            return Whereabouts::Here;
        };
        let (word, on) = match node.entries().first() {
            Some((key, value)) => (key.text().unwrap_or_default(), self.moment(value, "where")),
            None => (node.text().unwrap_or_default(), None),
        };
        match word {
            "sold" | "returned" => Whereabouts::Sold(on),
            "lent" => Whereabouts::Lent(on),
            "scrapped" | "lost" => Whereabouts::Scrapped(on),
            "consumed" => Whereabouts::Consumed,
            _ => Whereabouts::Here,
        }
    }

    fn states(&mut self, root: &Node, kind: Option<&PartKind>) -> Option<Vec<State>> {
        let items = root.get("states").map(Node::items).unwrap_or_default();
        let mut states: Vec<State> = Vec::new();
        for (number, item) in items.iter().enumerate() {
            let path = format!("states.{number}");
            let letter = self.tag(item, "state")?;
            if states.iter().any(|state| state.letter == letter) {
                let place = self.place(item, &path);
                self.push(
                    Finding::error("state-twice", "this condition letter is taken")
                        .at(place)
                        .found(format!("`{letter}`"))
                        .next("give the new state the next letter"),
                );
            }
            let work = item.get("work").map(Node::items).unwrap_or_default();
            states.push(State {
                letter,
                since: self.may_moment(item, "since"),
                how: self.may(item, "how"),
                work: work.iter().filter_map(|work| self.work(work, &path, kind)).collect(),
                figures: self.figures(
                    item.get("figures"),
                    &format!("{path}.figures"),
                    Signed::Itself,
                    |name| kind.and_then(|kind| kind.figure(name)),
                ),
                line: item.line,
            });
        }
        if states.is_empty() {
            let place = self.place(root, "states");
            self.push(
                Finding::error("field-missing", "a part has at least one state")
                    .at(place)
                    .next("add a state `a`"),
            );
            return None;
        }
        for pair in states.windows(2) {
            if let [Some(before), Some(after)] = [&pair[0].since, &pair[1].since]
                && before.is_after(after)
            {
                let place = self.place(root, "states");
                self.push(
                    Finding::error("states-out-of-order", "a state began before the one it follows")
                        .at(place.line(pair[1].line))
                        .found(format!(
                            "{} since {after}, {} since {before}",
                            pair[1].letter, pair[0].letter
                        )),
                );
            }
        }
        Some(states)
    }

    fn work(&mut self, node: &Node, path: &str, kind: Option<&PartKind>) -> Option<Work> {
        let op = self.needs(node, "op")?;
        let spec = kind.and_then(|kind| kind.work(&op));
        if let (Some(kind), None) = (kind, spec) {
            let place = self.place(node, &format!("{path}.work"));
            self.push(
                Finding::error(
                    "unknown-work",
                    "this kind of part knows no such work, so what it voids is not known",
                )
                .at(place)
                .found(format!("`{op}`"))
                .expected(kind.work.iter().map(|work| work.op.clone()).collect::<Vec<_>>().join(", ")),
            );
        }
        let mut details = BTreeMap::new();
        for (key, value) in node.entries() {
            let key = key.text().unwrap_or_default();
            if matches!(key, "op" | "by" | "on" | "note") {
                continue;
            }
            let Some(text) = value.text() else { continue };
            if let Some((_, holds)) = spec.and_then(|spec| spec.asks.iter().find(|(ask, _)| ask == key))
                && let Err(finding) = parse_value(text, holds)
            {
                let place = self.place(value, &format!("{path}.work.{key}"));
                self.push(finding.at(place));
            }
            details.insert(key.to_owned(), text.to_owned());
        }
        Some(Work {
            op,
            details,
            by: self.may(node, "by"),
            on: self.may_moment(node, "on"),
            note: self.may(node, "note"),
        })
    }
}
