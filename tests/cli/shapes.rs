//! The documented shapes of the JSON answers.

use std::collections::BTreeMap;
use std::fs;
use std::path::Path;

use jsonschema::Retrieve;
use jsonschema::Uri;
use serde_json::Value as Json;

const BASE: &str = "mulebook:///answers/";

#[derive(Clone)]
struct Shelf(BTreeMap<String, Json>);

impl Shelf {
    fn read() -> Self {
        let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("schema/answers");
        let mut schemas = BTreeMap::new();
        for entry in fs::read_dir(folder).expect("the answers' schemas are here") {
            let path = entry.expect("a readable folder").path();
            let name = path.file_stem().and_then(|stem| stem.to_str()).expect("a plain name").to_owned();
            let text = fs::read_to_string(&path).expect("a readable schema");
            let schema = serde_json::from_str(&text).unwrap_or_else(|error| panic!("{name}: {error}"));
            schemas.insert(name, schema);
        }
        Self(schemas)
    }
}

impl Retrieve for Shelf {
    fn retrieve(&self, uri: &Uri<String>) -> Result<Json, Box<dyn std::error::Error + Send + Sync>> {
        let name = uri.path().as_str().rsplit('/').next().unwrap_or_default();
        let name = name.strip_suffix(".json").unwrap_or(name);
        self.0.get(name).cloned().ok_or_else(|| format!("there is no schema `{name}`").into())
    }
}

/// What of an answer does not hold against the schema of its shape.
pub(crate) fn faults(shape: &str, answer: &Json) -> Vec<String> {
    let shelf = Shelf::read();
    let schema =
        shelf.0.get(shape).unwrap_or_else(|| panic!("schema/answers/{shape}.json is missing")).clone();
    let validator = jsonschema::options()
        .with_base_uri(format!("{BASE}{shape}.json"))
        .with_retriever(shelf)
        .build(&schema)
        .unwrap_or_else(|error| panic!("{shape}: {error}"));
    validator.iter_errors(answer).map(|error| format!("{}: {error}", error.instance_path())).collect()
}

#[test]
fn a_field_more_or_less_or_of_another_type_is_refused() {
    let good = serde_json::json!({"answer": "error", "version": 1, "findings": [
        {"code": "no-book", "severity": "error", "message": "no book is here"}]});
    assert_eq!(faults("error", &good), Vec::<String>::new());
    let mut more = good.clone();
    more["extra"] = true.into();
    let mut inner = good.clone();
    inner["findings"][0]["line"] = 3.into();
    let mut less = good.clone();
    less["findings"][0].as_object_mut().expect("an object").remove("message");
    let mut version = good.clone();
    version["version"] = 2.into();
    for bad in [more, inner, less, version] {
        assert_ne!(faults("error", &bad), Vec::<String>::new(), "{bad}");
    }
}

#[test]
fn every_field_of_every_shape_is_described() {
    fn look(at: &str, schema: &Json, bare: &mut Vec<String>) {
        match schema {
            Json::Object(map) => {
                if let Some(Json::Object(fields)) = map.get("properties") {
                    for (name, field) in fields {
                        if field.get("description").and_then(Json::as_str).is_none_or(str::is_empty) {
                            bare.push(format!("{at}.{name}"));
                        }
                    }
                }
                for (key, value) in map {
                    look(&format!("{at}.{key}"), value, bare);
                }
            }
            Json::Array(items) => items.iter().for_each(|item| look(at, item, bare)),
            _ => {}
        }
    }
    let mut bare = Vec::new();
    for (name, schema) in &Shelf::read().0 {
        assert_eq!(schema["$schema"], "https://json-schema.org/draft/2020-12/schema", "{name}");
        look(name, schema, &mut bare);
    }
    assert!(bare.is_empty(), "{bare:#?}");
}
