//! Figures: entries, how each is known, and their values by the schema's kind.

use std::collections::BTreeMap;

use crate::finding::Finding;
use crate::manifest::bind::Binder;
use crate::manifest::node::Content;
use crate::manifest::node::Node;
use crate::manifest::node::Style;
use crate::quantity::parse_reading;
use crate::record::Cleared;
use crate::record::Doubted;
use crate::record::Entry;
use crate::record::FieldSpec;
use crate::record::Figure;
use crate::record::Holds;
use crate::record::Known;
use crate::record::RawFile;
use crate::record::Value;

const WAYS: [&str; 5] = ["measured", "listed", "assumed", "unknown", "calculated"];

/// Whether a measured entry must say by whom and when, or its record does.
#[derive(Clone, Copy, PartialEq, Eq)]
pub(super) enum Signed {
    /// Each entry says so itself.
    Itself,
    /// The pull says so.
    ByRecord,
}

/// What the name of a file beside a figure is.
pub const FILE_NAME: &str =
    "a name of at most 255 bytes, without a folder, a backslash or control characters";
const LONGEST_NAME: usize = 255;

/// Why a name is none for a file beside a figure, in words that may be shown; none where it is one.
pub fn file_name_refused(name: &str) -> Option<String> {
    let refused = name.is_empty()
        || name.len() > LONGEST_NAME
        || matches!(name, "." | "..")
        || name.chars().any(|c| c.is_control() || matches!(c, '/' | '\\' | '\u{2028}' | '\u{2029}'));
    let mut shown = String::new();
    for c in name.chars().take(SHOWN) {
        match c.is_control() || matches!(c, '\u{2028}' | '\u{2029}') {
            true => shown.extend(c.escape_default()),
            false => shown.push(c),
        }
    }
    refused.then(|| format!("`{shown}{}`", if name.chars().count() > SHOWN { "…" } else { "" }))
}

/// Characters of such a name that are shown.
const SHOWN: usize = 60;

/// A value as the schema's field holds it.
///
/// # Errors
/// What does not hold, with found, expected and the units or words that would do; the place is left to the caller.
pub fn parse_value(text: &str, holds: &Holds) -> Result<Value, Finding> {
    match holds {
        Holds::Text => Ok(Value::Text(text.to_owned())),
        Holds::Choice(choices) => {
            if choices.iter().any(|choice| choice == text) {
                Ok(Value::Text(text.to_owned()))
            } else {
                Err(Finding::error("not-a-choice", "this word is not one of the choices")
                    .found(format!("`{text}`"))
                    .expected(choices.join(", ")))
            }
        }
        Holds::Quantity { kind, .. } => {
            parse_reading(text, *kind, None).map(Value::Quantity).map_err(|error| {
                Finding::error(error.code(), "this does not read as a figure of its kind")
                    .found(error.found())
                    .expected(error.expected())
                    .next(error.hint())
            })
        }
    }
}

impl Binder<'_> {
    /// The figures of a mapping; `spec` gives a field's schema, none for a field that the schema leaves open.
    pub(super) fn figures<'s>(
        &mut self,
        node: Option<&Node>,
        path: &str,
        signed: Signed,
        spec: impl Fn(&str) -> Option<&'s FieldSpec>,
    ) -> BTreeMap<String, Figure> {
        let mut figures = BTreeMap::new();
        for (key, value) in node.map(Node::entries).unwrap_or_default() {
            let name = key.text().unwrap_or_default();
            let field = format!("{path}.{name}");
            figures.insert(name.to_owned(), self.figure(value, &field, signed, spec(name)));
        }
        figures
    }

    pub(super) fn figure(
        &mut self,
        node: &Node,
        field: &str,
        signed: Signed,
        spec: Option<&FieldSpec>,
    ) -> Figure {
        let entries = match &node.content {
            Content::Sequence(items, _) => items
                .iter()
                .enumerate()
                .filter_map(|(n, item)| self.entry(item, &format!("{field}.{n}"), signed, spec))
                .collect(),
            _ => self.entry(node, field, signed, spec).into_iter().collect(),
        };
        let figure = Figure { entries };
        self.check_corrections(&figure, node, field);
        figure
    }

    fn check_corrections(&mut self, figure: &Figure, node: &Node, field: &str) {
        for (index, entry) in figure.entries.iter().enumerate() {
            if entry
                .corrects
                .is_some_and(|number| number == 0 || number > figure.entries.len() || number == index + 1)
            {
                let place = self.place(node, field);
                self.push(
                    Finding::error("corrects-nothing", "this entry corrects one that is not there")
                        .at(place)
                        .found(format!("corrects: {}", entry.corrects.unwrap_or_default()))
                        .expected(format!(
                            "the number of another entry of this figure, 1 to {}",
                            figure.entries.len()
                        )),
                );
            }
        }
    }

    fn entry(&mut self, node: &Node, field: &str, signed: Signed, spec: Option<&FieldSpec>) -> Option<Entry> {
        // A comma, colon or # inside braces ends the text: what follows it becomes a key with nothing behind it.
        if let Some((stray, _)) = node.entries().iter().find(|(_, value)| value.is_null()) {
            let place = self.place(stray, field);
            self.push(
                Finding::error(
                    "unknown-field",
                    format!("`{}` is no field of a figure", stray.text().unwrap_or_default()),
                )
                .at(place)
                .next("a comma, colon or # ends the text here: quote it; numbers take a decimal point"),
            );
            return None;
        }
        let ways: Vec<&str> = WAYS.iter().copied().filter(|way| node.get(way).is_some()).collect();
        let &[way] = ways.as_slice() else {
            let place = self.place(node, field);
            let found = if ways.is_empty() {
                node.text().map_or_else(|| "none of them".to_owned(), |text| format!("`{text}`"))
            } else {
                ways.join(" and ")
            };
            let finding =
                Finding::error("how-known", "this figure does not say in exactly one way how it is known");
            let finding = finding
                .at(place)
                .found(found.clone())
                .expected("one of measured, listed, assumed, unknown, calculated");
            self.push(match node.text() {
                Some(text) => finding.next(format!("write for example {{listed: {text}, source: \"…\"}}")),
                None => finding,
            });
            return None;
        };
        let told = node.get(way)?;
        let known = match way {
            "unknown" => Known::Unknown { because: self.text(told, field)? },
            _ => {
                let value = self.value(told, field, spec);
                let mut said = |key| self.needs_in(node, key, field);
                match way {
                    "listed" => Known::Listed { source: said("source")?, value: value? },
                    "assumed" => Known::Assumed { because: said("because")?, value: value? },
                    "calculated" => Known::Calculated { from: said("from")?, value: value? },
                    _ => Known::Measured(value?),
                }
            }
        };
        let mut entry = Entry::new(known);
        entry.line = node.line;
        entry.with = self.may(node, "with");
        entry.by = self.may(node, "by");
        entry.taken = self.may_moment(node, "taken");
        entry.at = self.may(node, "at");
        entry.because = if way == "assumed" { None } else { self.may(node, "because") };
        entry.note = self.may(node, "note");
        entry.corrects =
            node.get("corrects").and_then(|number| self.whole(number, field)).map(|number| number as usize);
        entry.doubted = node.get("doubted").and_then(|doubted| self.doubted(doubted, field));
        entry.files = self.files(node, field);
        if way == "measured" && signed == Signed::Itself {
            self.needs_in(node, "by", field)?;
            self.needs_in(node, "taken", field)?;
        }
        Some(entry)
    }

    /// The photos, scans and the like that show an entry.
    fn files(&mut self, node: &Node, field: &str) -> Vec<RawFile> {
        let items = node.get("files").map(Node::items).unwrap_or_default();
        let mut files: Vec<RawFile> = Vec::new();
        let field = format!("{field}.files");
        for item in items {
            let Some(file) = self.raw_file(item, &field) else { continue };
            let place = self.place(item, &field);
            if let Some(why) = file_name_refused(&file.file) {
                self.push(
                    Finding::error("file-name", "this is no name of a file beside a figure")
                        .at(place)
                        .found(why)
                        .expected(FILE_NAME),
                );
            } else if files.iter().any(|other| other.sha256 == file.sha256) {
                self.push(
                    Finding::error("file-twice", "these bytes are named twice beside one figure")
                        .at(place)
                        .found(format!("`{}` (SHA-256 {})", file.file, file.sha256))
                        .next("leave one of the two lines out"),
                );
            } else {
                files.push(file);
            }
        }
        files
    }

    /// A mark of doubt, on an entry or on a time of an instrument or session.
    pub(super) fn doubted(&mut self, node: &Node, field: &str) -> Option<Doubted> {
        let because = self.needs_in(node, "because", field)?;
        let cleared = node.get("cleared").and_then(|cleared| {
            let because = self.needs_in(cleared, "because", field)?;
            Some(Cleared { because, by: self.may(cleared, "by"), on: self.may_moment(cleared, "on") })
        });
        Some(Doubted {
            because,
            by: self.may(node, "by"),
            on: self.may_moment(node, "on"),
            from: self.may_moment(node, "from"),
            until: self.may_moment(node, "until"),
            offset: self.may(node, "offset"),
            cleared,
            of_instrument: false,
        })
    }

    fn needs_in(&mut self, node: &Node, key: &str, field: &str) -> Option<String> {
        match node.get(key) {
            Some(value) => self.text(value, &format!("{field}.{key}")),
            None => {
                let place = self.place(node, field);
                let why = match key {
                    "by" | "taken" => "a measured figure says by whom and when",
                    "source" => "a listed figure says whose it is",
                    "from" => "a calculated figure says from what",
                    _ => "the reason is part of the figure",
                };
                self.push(
                    Finding::error("field-missing", format!("`{key}` is missing: {why}"))
                        .at(place)
                        .next(format!("add `{key}:` to the figure")),
                );
                None
            }
        }
    }

    fn value(&mut self, node: &Node, field: &str, spec: Option<&FieldSpec>) -> Option<Value> {
        let holds = spec.map_or(&Holds::Text, |spec| &spec.holds);
        let Content::Scalar(text, style) = &node.content else {
            let place = self.place(node, field);
            self.push(
                Finding::error("wrong-type", "a single value was expected here")
                    .at(place)
                    .next("write several readings in one line: 48.1 48.0 48.3 48.2 cc"),
            );
            return None;
        };
        if *style == Style::Plain && !matches!(holds, Holds::Quantity { .. }) {
            self.text(node, field)?;
        }
        match parse_value(text, holds) {
            Ok(value) => {
                self.doubt_range(node, field, &value, spec);
                Some(value)
            }
            Err(finding) => {
                let place = self.place(node, field);
                self.push(finding.at(place));
                None
            }
        }
    }

    fn doubt_range(&mut self, node: &Node, field: &str, value: &Value, spec: Option<&FieldSpec>) {
        let (Value::Quantity(reading), Some((low, high))) = (value, spec.and_then(|spec| spec.range)) else {
            return;
        };
        if reading.values().iter().any(|quantity| quantity.si() < low || quantity.si() > high) {
            let place = self.place(node, field);
            self.push(
                Finding::doubt("implausible", "this lies outside what is plausible for the field")
                    .at(place)
                    .found(format!("`{}`", reading.text()))
                    .next("check the unit and the decimal point; the value is kept as it stands"),
            );
        }
    }
}
