//! A manifest against its JSON Schema, with each violation told in the manifest's own lines.

use std::collections::BTreeMap;
use std::sync::Arc;

use jsonschema::Retrieve;
use jsonschema::Uri;
use jsonschema::ValidationError;
use jsonschema::error::ValidationErrorKind;
use serde_json::Value as Json;

use crate::finding::Finding;
use crate::finding::Place;
use crate::manifest::node::Node;
use crate::manifest::schema::Schemas;

const BASE: &str = "mulebook:///schema/";
const MOST_FINDINGS: usize = 20;

struct Shelf(Arc<BTreeMap<String, Json>>);

impl Retrieve for Shelf {
    fn retrieve(&self, uri: &Uri<String>) -> Result<Json, Box<dyn std::error::Error + Send + Sync>> {
        let name = uri.path().as_str().rsplit('/').next().unwrap_or_default();
        let name = name.strip_suffix(".json").unwrap_or(name);
        self.0.get(name).cloned().ok_or_else(|| format!("there is no schema `{name}`").into())
    }
}

/// Validators for the schemas of a book, each built when first asked for.
pub struct Validators {
    documents: Arc<BTreeMap<String, Json>>,
    built: BTreeMap<String, Result<jsonschema::Validator, String>>,
}

impl Validators {
    /// Validators over these schemas.
    pub fn new(schemas: &Schemas) -> Self {
        Self { documents: Arc::clone(schemas.documents()), built: BTreeMap::new() }
    }

    /// What in the manifest does not hold against the schema of that name.
    pub fn check(&mut self, schema: &str, file: &str, root: &Node) -> Vec<Finding> {
        let validator = match self.validator(schema) {
            Ok(validator) => validator,
            Err(error) => {
                return vec![
                    Finding::error(
                        "schema-unusable",
                        format!("the schema `{schema}` cannot be used: {error}"),
                    )
                    .at(Place::file(file))
                    .next("mend the schema file; `mulebook audit` checks every schema"),
                ];
            }
        };
        let data = root.to_json();
        let mut findings: Vec<Finding> = Vec::new();
        for error in validator.iter_errors(&data) {
            let finding = told(file, root, &error);
            if !findings.contains(&finding) {
                findings.push(finding);
            }
            if findings.len() == MOST_FINDINGS {
                break;
            }
        }
        findings
    }

    fn validator(&mut self, schema: &str) -> Result<&jsonschema::Validator, &str> {
        let documents = &self.documents;
        self.built
            .entry(schema.to_owned())
            .or_insert_with(|| {
                let document =
                    documents.get(schema).ok_or_else(|| format!("there is no schema `{schema}`"))?;
                jsonschema::options()
                    .with_base_uri(format!("{BASE}{schema}.json"))
                    .with_retriever(Shelf(Arc::clone(documents)))
                    .build(document)
                    .map_err(|error| error.to_string())
            })
            .as_ref()
            .map_err(String::as_str)
    }
}

/// One violation in plain words.
fn told(file: &str, root: &Node, error: &ValidationError<'_>) -> Finding {
    let pointer = error.instance_path().to_string();
    let path: Vec<String> =
        pointer.split('/').skip(1).map(|step| step.replace("~1", "/").replace("~0", "~")).collect();
    let steps: Vec<&str> = path.iter().map(String::as_str).collect();
    let node = (0..=steps.len()).rev().find_map(|depth| root.at(&steps[..depth])).unwrap_or(root);
    let at = |node: &Node, field: String| {
        let place = Place::file(file).line(node.line).column(node.column);
        if field.is_empty() { place } else { place.field(field) }
    };
    let field = path.join(".");
    let found = node.text().map_or_else(|| shape(node).to_owned(), |text| format!("`{text}`"));
    match error.kind() {
        ValidationErrorKind::AdditionalProperties { unexpected }
        | ValidationErrorKind::UnevaluatedProperties { unexpected } => {
            let key = unexpected.first().map_or("", String::as_str);
            let entry = node.entries().iter().find(|(name, _)| name.text() == Some(key));
            let place = entry.map_or(node, |(name, _)| name);
            let inside_braces = entry.is_some_and(|(_, value)| value.is_null());
            let next = if inside_braces {
                "a comma, colon or # ends the text here: quote it".to_owned()
            } else {
                "delete it, or see the record's schema in .schema/ for the fields it takes".to_owned()
            };
            let whole = if field.is_empty() { key.to_owned() } else { format!("{field}.{key}") };
            Finding::error("unknown-field", format!("`{key}` is no field of this record"))
                .at(at(place, whole))
                .next(next)
        }
        ValidationErrorKind::Required { property } => {
            let name = property.as_str().unwrap_or_default();
            Finding::error("field-missing", format!("`{name}` is missing"))
                .at(at(node, field))
                .next(format!("add `{name}:`"))
        }
        ValidationErrorKind::OneOfNotValid { .. } | ValidationErrorKind::OneOfMultipleValid { .. }
            if node.entries().iter().all(|(name, _)| name.text().is_some()) && !node.entries().is_empty() =>
        {
            Finding::error("how-known", "this figure does not say in exactly one way how it is known")
                .at(at(node, field))
                .found(
                    node.entries().iter().filter_map(|(name, _)| name.text()).collect::<Vec<_>>().join(", "),
                )
                .expected("one of measured, listed, assumed, unknown, calculated")
        }
        ValidationErrorKind::Enum { options } => {
            Finding::error("not-a-choice", "this word is not one of the choices")
                .at(at(node, field))
                .found(found)
                .expected(words(options))
        }
        ValidationErrorKind::Constant { expected_value } => {
            Finding::error("not-a-choice", "this word does not belong here")
                .at(at(node, field))
                .found(found)
                .expected(plain(expected_value))
        }
        ValidationErrorKind::Type { .. } => {
            let number_for_text = matches!(node.to_json(), Json::Number(_) | Json::Bool(_) | Json::Null);
            let finding = Finding::error("wrong-type", "another sort of value was expected here")
                .at(at(node, field))
                .found(found)
                .expected(type_words(&error.to_string()));
            if number_for_text {
                finding.next("quote it if it is text: serials, jets and part numbers are")
            } else {
                finding
            }
        }
        ValidationErrorKind::Pattern { pattern } => {
            Finding::error("wrong-form", "this is not written in the form the field takes")
                .at(at(node, field))
                .found(found)
                .expected(pattern_words(pattern))
        }
        ValidationErrorKind::MinLength { .. }
        | ValidationErrorKind::MinItems { .. }
        | ValidationErrorKind::MinProperties { .. } => Finding::error("empty-value", "nothing stands here")
            .at(at(node, field))
            .next("write the value, or delete the line"),
        _ => Finding::error("against-schema", error.to_string()).at(at(node, field)),
    }
}

fn shape(node: &Node) -> &'static str {
    match &node.content {
        crate::manifest::node::Content::Scalar(..) => "a value",
        crate::manifest::node::Content::Sequence(..) => "a list",
        crate::manifest::node::Content::Mapping(..) => "fields of its own",
    }
}

fn plain(value: &Json) -> String {
    value.as_str().map_or_else(|| value.to_string(), |text| format!("`{text}`"))
}

fn words(options: &Json) -> String {
    options.as_array().into_iter().flatten().map(plain).collect::<Vec<_>>().join(", ")
}

/// The library says `… is not of types "object", "array"`: the types are what was expected.
fn type_words(message: &str) -> String {
    let types = message.rsplit(" type").next().unwrap_or(message).trim_start_matches('s').trim();
    types
        .replace('"', "")
        .split(", ")
        .map(|word| match word {
            "object" => "fields in braces or below",
            "array" => "a list",
            "string" => "text",
            "integer" => "a whole number",
            "number" => "a number",
            "boolean" => "true or false",
            other => other,
        })
        .collect::<Vec<_>>()
        .join(" or ")
}

/// What a pattern of the shipped schemas asks for, in words.
fn pattern_words(pattern: &str) -> String {
    let words = [
        ("T([01]", "a day as 2026-04-12, or a time with its zone as 2026-04-12T15:20:00+02:00"),
        ("[0-9]{4}-(0", "a day as 2026-04-12"),
        ("(none|", "`none`, or a part with its state as h2/b"),
        ("{0,63}/", "a part with its state as h2/b"),
        ("[0-9a-f]{64}", "a SHA-256, 64 digits 0-9 and a-f"),
        ("^±", "± the limit with its unit, as ±0.2 cc"),
        ("[A-Za-z0-9][A-Za-z0-9._-]", "a short tag of letters, digits, dot, dash and underscore"),
        ("[a-z0-9][a-z0-9-]", "lower-case words joined by dashes"),
    ];
    words
        .iter()
        .find(|(part, _)| pattern.contains(part))
        .map_or_else(|| format!("the form {pattern}"), |(_, words)| (*words).to_owned())
}
