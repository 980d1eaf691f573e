//! Trees to records: one function for each record, all findings at once, nothing guessed.

mod build;
mod claim;
mod figure;
mod flow;
mod part;
mod place;
mod pull;

use crate::finding::Finding;
use crate::finding::Place;
use crate::manifest::node::Content;
use crate::manifest::node::Node;
use crate::manifest::node::Style;
use crate::record::Answer;
use crate::record::Kinds;
use crate::record::Moment;
use crate::record::PartState;
use crate::record::is_tag;

pub use build::build;
pub use claim::claim;
pub use figure::FILE_NAME;
pub use figure::file_name_refused;
pub use figure::parse_value;
pub use flow::flow;
pub use part::part;
pub use place::book;
pub use place::cell;
pub use place::instrument;
pub use place::people;
pub use place::session;
pub use pull::pull;

/// A record with what was found wrong or doubtful on the way; no record means at least one error.
pub type Bound<T> = (Option<T>, Vec<Finding>);

/// A manifest being read into a record: collects what is wrong and goes on.
pub(super) struct Binder<'a> {
    file: &'a str,
    kinds: &'a Kinds,
    findings: Vec<Finding>,
}

impl<'a> Binder<'a> {
    fn new(file: &'a str, kinds: &'a Kinds) -> Self {
        Self { file, kinds, findings: Vec::new() }
    }

    /// The record, unless an error was found on the way.
    fn finish<T>(self, record: Option<T>) -> Bound<T> {
        let errors = self.findings.iter().any(Finding::is_error);
        (record.filter(|_| !errors), self.findings)
    }

    fn place(&self, node: &Node, field: &str) -> Place {
        Place::file(self.file).line(node.line.max(1)).column(node.column.max(1)).field(field)
    }

    fn push(&mut self, finding: Finding) {
        self.findings.push(finding);
    }

    /// The text of a required field.
    fn needs(&mut self, node: &Node, key: &str) -> Option<String> {
        match node.get(key) {
            Some(value) => self.text(value, key),
            None => {
                let place = self.place(node, key);
                let finding = Finding::error("field-missing", format!("`{key}` is missing")).at(place);
                self.push(finding.next(format!("add `{key}:`")));
                None
            }
        }
    }

    /// The text of an optional field.
    fn may(&mut self, node: &Node, key: &str) -> Option<String> {
        node.get(key).and_then(|value| self.text(value, key))
    }

    /// A scalar meant as text. A plain number or `true` is refused, since YAML would not keep it to the letter.
    fn text(&mut self, node: &Node, field: &str) -> Option<String> {
        let Content::Scalar(text, style) = &node.content else {
            let place = self.place(node, field);
            self.push(
                Finding::error("wrong-type", "a single value was expected here").at(place).expected("text"),
            );
            return None;
        };
        if *style == Style::Plain && !node.to_json().is_string() {
            let place = self.place(node, field);
            self.push(
                Finding::error("wrong-type", "this reads as a number, not as text")
                    .at(place)
                    .found(format!("`{text}`"))
                    .expected("text")
                    .next(format!("quote it: \"{text}\"")),
            );
            return None;
        }
        Some(text.clone())
    }

    fn whole(&mut self, node: &Node, field: &str) -> Option<u32> {
        let whole = node.to_json().as_u64().and_then(|whole| u32::try_from(whole).ok());
        if whole.is_none() {
            let found = node.text().unwrap_or("a list or fields").to_owned();
            let place = self.place(node, field);
            self.push(
                Finding::error("wrong-type", "a whole number was expected here")
                    .at(place)
                    .found(format!("`{found}`")),
            );
        }
        whole
    }

    fn flag(&mut self, node: &Node, field: &str) -> bool {
        match node.to_json().as_bool() {
            Some(flag) => flag,
            None => {
                let place = self.place(node, field);
                self.push(Finding::error("wrong-type", "true or false was expected here").at(place));
                false
            }
        }
    }

    fn moment(&mut self, node: &Node, field: &str) -> Option<Moment> {
        let text = self.text(node, field)?;
        match Moment::parse(&text) {
            Ok(moment) => Some(moment),
            Err(expected) => {
                let place = self.place(node, field);
                self.push(
                    Finding::error("not-a-date", "this is not a day or time")
                        .at(place)
                        .found(format!("`{text}`"))
                        .expected(expected),
                );
                None
            }
        }
    }

    fn may_moment(&mut self, node: &Node, key: &str) -> Option<Moment> {
        node.get(key).and_then(|value| self.moment(value, key))
    }

    fn needs_moment(&mut self, node: &Node, key: &str) -> Option<Moment> {
        match node.get(key) {
            Some(value) => self.moment(value, key),
            None => {
                self.needs(node, key);
                None
            }
        }
    }

    fn tag(&mut self, node: &Node, key: &str) -> Option<String> {
        let tag = self.needs(node, key)?;
        if is_tag(&tag) {
            return Some(tag);
        }
        let place = self.place(node.get(key).unwrap_or(node), key);
        self.push(
            Finding::error("not-a-tag", "this cannot name a record")
                .at(place)
                .found(format!("`{tag}`"))
                .expected("letters, digits, `.`, `_` and `-`, 64 at most, starting with a letter or digit"),
        );
        None
    }

    /// `none`, `h2/b`, or `{unknown: "why"}`.
    fn answer(&mut self, node: &Node, field: &str) -> Option<Answer> {
        if let Some(unknown) = node.get("unknown") {
            return self.text(unknown, field).map(Answer::Unknown);
        }
        let text = node.text().unwrap_or_default();
        if text == "none" {
            return Some(Answer::Nothing);
        }
        match PartState::parse(text) {
            Some(part) => Some(Answer::Part(part)),
            None => {
                let place = self.place(node, field);
                let finding = Finding::error("not-a-part-state", "this does not say what fills the role")
                    .at(place)
                    .found(format!("`{text}`"))
                    .expected("`none`, a part with its state as h2/b, or {unknown: \"why\"}");
                self.push(if is_tag(text) && text != "unknown" {
                    finding.next(format!("name the state too: {text}/a"))
                } else {
                    finding
                });
                None
            }
        }
    }
}
