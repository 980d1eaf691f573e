//! What the shop's schemas demand to be documented, held against what this program demands.

use std::collections::BTreeMap;

use serde_json::Value as Json;

use crate::finding::Finding;
use crate::finding::Place;
use crate::manifest::built_in_files;
use crate::workflow::dossier_index::SCHEMA_COPIES;

/// The annotation that makes a field one that a comparison demands.
const DEMAND: &str = "x-documented";

/// Demands of this program that the shop's own copy of a schema does not make. They are made here all the same; that the
/// shop could keep records without them is worth knowing.
pub(super) fn dropped(records: &BTreeMap<String, Vec<u8>>) -> Vec<Finding> {
    let mut findings = Vec::new();
    for (name, text) in built_in_files() {
        let path = format!("{SCHEMA_COPIES}/{name}.json");
        let Some(theirs) = records.get(&path).filter(|bytes| bytes.as_slice() != text.as_bytes()) else {
            continue;
        };
        let (Ok(ours), theirs) = (serde_json::from_str::<Json>(text), serde_json::from_slice::<Json>(theirs))
        else {
            continue;
        };
        let theirs = theirs.unwrap_or(Json::Null);
        let mut fields = Vec::new();
        walk(&ours, &theirs, &mut Vec::new(), &mut fields);
        if !fields.is_empty() {
            findings.push(
                Finding::doubt("demand-dropped", "the shop's schema does not demand what this program does")
                    .at(Place::file(path))
                    .found(fields.join(", "))
                    .next("these fields are demanded here all the same"),
            );
        }
    }
    findings
}

/// Fields that ours always demands and theirs does not, by their names.
fn walk<'j>(ours: &'j Json, theirs: &Json, names: &mut Vec<&'j str>, fields: &mut Vec<String>) {
    let Json::Object(map) = ours else { return };
    let demanded = map.get(DEMAND).filter(|demand| *demand == "always");
    if demanded.is_some() && theirs.get(DEMAND) != demanded {
        let named: Vec<&str> = names.iter().copied().filter(|name| !KEYWORDS.contains(name)).collect();
        fields.push(named.join("."));
    }
    for (key, value) in map {
        names.push(key);
        walk(value, theirs.get(key).unwrap_or(&Json::Null), names, fields);
        names.pop();
    }
}

/// Words of JSON Schema on the way to a field, which say nothing of its name.
const KEYWORDS: [&str; 4] = ["properties", "$defs", "items", "additionalProperties"];

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_demand_that_the_shop_dropped_is_named() {
        let (name, text) = built_in_files().find(|(name, _)| *name == "build").expect("it is shipped");
        let path = format!("{SCHEMA_COPIES}/{name}.json");
        assert_eq!(dropped(&BTreeMap::from([(path.clone(), text.as_bytes().to_vec())])), Vec::new());
        let bent = text.replacen("\"x-documented\": \"always\"", "\"x-documented\": \"welcome\"", 1);
        assert_ne!(bent, text);
        let found = dropped(&BTreeMap::from([(path, bent.into_bytes())]));
        assert_eq!(found.len(), 1);
        assert!(found[0].found.as_ref().is_some_and(|found| !found.is_empty() && !found.contains(',')));
    }
}
