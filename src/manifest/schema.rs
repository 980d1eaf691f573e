//! The schemas: those built in, those a book adds, and what their annotations compile to.

use std::collections::BTreeMap;
use std::sync::Arc;
use std::sync::OnceLock;

use serde_json::Map;
use serde_json::Value as Json;

use crate::finding::Finding;
use crate::finding::Place;
use crate::quantity::QuantityKind;
use crate::quantity::Unit;
use crate::quantity::parse_reading;
use crate::record::AlarmSpec;
use crate::record::Course;
use crate::record::Demand;
use crate::record::FieldSpec;
use crate::record::FitSpec;
use crate::record::Holds;
use crate::record::Kinds;
use crate::record::PartKind;
use crate::record::RoleSpec;
use crate::record::Voids;
use crate::record::WorkSpec;

/// The schemas of a book, parsed and compiled. A copy shares both with the first.
#[derive(Debug, Clone)]
pub struct Schemas {
    documents: Arc<BTreeMap<String, Json>>,
    kinds: Arc<Kinds>,
}

/// The built-in schemas alone, compiled once in a process: most books add none.
static BUILT_IN: OnceLock<Result<Schemas, Vec<Finding>>> = OnceLock::new();

impl Schemas {
    /// The built-in schemas with those a book adds, each as file name and bytes.
    ///
    /// # Errors
    /// Findings for a file that is not JSON, takes a built-in name, or has an annotation that does not hold.
    pub fn load(added: &[(String, Vec<u8>)]) -> Result<Self, Vec<Finding>> {
        if added.is_empty() {
            return BUILT_IN.get_or_init(|| Self::compile(added)).clone();
        }
        Self::compile(added)
    }

    fn compile(added: &[(String, Vec<u8>)]) -> Result<Self, Vec<Finding>> {
        let mut documents = BTreeMap::new();
        let mut findings = Vec::new();
        for (name, text) in super::built_in::FILES {
            match serde_json::from_str(text) {
                Ok(document) => drop(documents.insert((*name).to_owned(), document)),
                Err(error) => findings.push(not_json(&format!("{name}.json"), &error)),
            }
        }
        for (file, bytes) in added {
            let name = file.strip_suffix(".json").unwrap_or(file).to_owned();
            match serde_json::from_slice(bytes) {
                Ok(_) if documents.contains_key(&name) => findings.push(
                    Finding::error("schema-name-taken", format!("`{name}` is a built-in schema"))
                        .at(Place::file(format!("schema/{file}")))
                        .next("give the book's own kind another name"),
                ),
                Ok(document) => drop(documents.insert(name, document)),
                Err(error) => findings.push(not_json(&format!("schema/{file}"), &error)),
            }
        }
        let kinds = Compiler { documents: &documents, findings: &mut findings, file: String::new() }.kinds();
        if findings.is_empty() {
            Ok(Self { documents: Arc::new(documents), kinds: Arc::new(kinds) })
        } else {
            Err(findings)
        }
    }

    /// What the annotations compile to.
    pub fn kinds(&self) -> &Arc<Kinds> {
        &self.kinds
    }

    /// The schema documents by name, for validators and for the copies that editors read.
    pub fn documents(&self) -> &Arc<BTreeMap<String, Json>> {
        &self.documents
    }
}

/// The built-in schema files as name and text, for the copies in a book.
pub fn built_in_files() -> impl Iterator<Item = (&'static str, &'static str)> {
    super::built_in::FILES.iter().copied()
}

fn not_json(file: &str, error: &serde_json::Error) -> Finding {
    Finding::error("schema-not-json", format!("this schema is not JSON: {error}"))
        .at(Place::file(file).line(error.line()).column(error.column()))
        .next("mend the file in the editor; a schema is JSON, version 2020-12 of JSON Schema")
}

struct Compiler<'a> {
    documents: &'a BTreeMap<String, Json>,
    findings: &'a mut Vec<Finding>,
    file: String,
}

impl Compiler<'_> {
    fn kinds(mut self) -> Kinds {
        let mut kinds = Kinds::default();
        let documents = self.documents;
        for (name, document) in documents {
            self.file = format!("{name}.json");
            let version = document.get("x-version").and_then(Json::as_u64).unwrap_or(1);
            kinds.versions.insert(name.clone(), u32::try_from(version).unwrap_or(u32::MAX));
            match (document.get("x-record").and_then(Json::as_str), name.as_str()) {
                (Some("part"), "part") => {}
                (Some("part"), _) => {
                    let kind = self.part_kind(name, document);
                    kinds.parts.insert(kind.name.clone(), kind);
                }
                (Some("build"), "build") => self.build(document, &mut kinds),
                (Some("pull"), "pull") => {
                    kinds.conditions = self.fields_at(document, "/properties/conditions/properties");
                    kinds.run = self.fields_at(document, "/properties/run/properties");
                }
                (Some("cell"), "cell") => kinds.cell = self.figures_among(document),
                (Some("session"), "session") => kinds.session = self.figures_among(document),
                (Some("flow"), "flow") => {
                    kinds.flow = self.fields_at(document, "/properties/conditions/properties");
                }
                _ => {}
            }
        }
        kinds
    }

    fn part_kind(&mut self, name: &str, document: &Json) -> PartKind {
        let kind = document.pointer("/properties/kind/const").and_then(Json::as_str).unwrap_or(name);
        let work_definition = document.pointer("/$defs/work");
        PartKind {
            name: kind.to_owned(),
            title: string(document, "title").unwrap_or(name).to_owned(),
            version: document
                .get("x-version")
                .and_then(Json::as_u64)
                .and_then(|v| u32::try_from(v).ok())
                .unwrap_or(1),
            answers: strings(document.get("x-answers")),
            by_instance: flag(document, "x-instance"),
            engine: flag(document, "x-engine"),
            open: document
                .pointer("/$defs/figures/additionalProperties")
                .is_some_and(|more| more != &Json::Bool(false)),
            figures: self.fields_at(document, "/$defs/figures/properties"),
            work: work_definition.map(|work| self.works(work)).unwrap_or_default(),
        }
    }

    fn works(&mut self, definition: &Json) -> Vec<WorkSpec> {
        let details = definition.get("properties").and_then(Json::as_object).cloned().unwrap_or_default();
        let Some(works) = definition.get("x-work").and_then(Json::as_object) else {
            return Vec::new();
        };
        works
            .iter()
            .map(|(op, work)| WorkSpec {
                op: op.clone(),
                title: string(work, "title").unwrap_or(op).to_owned(),
                asks: strings(work.get("asks"))
                    .into_iter()
                    .map(|ask| {
                        let holds = details
                            .get(&ask)
                            .map_or(Holds::Text, |detail| self.holds(&ask, &self.merged(detail)));
                        (ask, holds)
                    })
                    .collect(),
                voids: self.voids(work.get("x-voids")),
            })
            .collect()
    }

    fn voids(&mut self, targets: Option<&Json>) -> Vec<Voids> {
        let mut voids = Vec::new();
        for target in strings(targets) {
            match target.split_once(':') {
                Some(("setting", name)) => voids.push(Voids::Setting(name.to_owned())),
                Some(("fit", "*")) => voids.push(Voids::AllFits),
                Some(("fit", fit)) => {
                    let (pair, name) =
                        fit.split_once('.').map_or((fit, None), |(pair, name)| (pair, Some(name)));
                    voids.push(Voids::Fit { pair: pair.to_owned(), name: name.map(str::to_owned) });
                }
                _ => self.annotation(
                    "x-voids",
                    &target,
                    "`fit:<role>+<role>.<name>`, `fit:*` or `setting:<name>`",
                ),
            }
        }
        voids
    }

    fn build(&mut self, document: &Json, kinds: &mut Kinds) {
        let roles = document.pointer("/properties/parts/properties").and_then(Json::as_object);
        for (name, role) in roles.into_iter().flatten() {
            let role = self.merged(role);
            kinds.roles.push(RoleSpec {
                name: name.clone(),
                title: map_string(&role, "title").unwrap_or(name).to_owned(),
                description: map_string(&role, "description").unwrap_or_default().to_owned(),
                kinds: strings(role.get("x-kinds")),
                neighbours: strings(role.get("x-neighbours")),
                demand: self.demand(name, role.get("x-documented")),
                order: role.get("x-order").and_then(Json::as_i64).unwrap_or(i64::MAX),
                aliases: strings(role.get("x-alias")),
            });
        }
        kinds.roles.sort_by_key(|role| role.order);
        kinds.settings = self.fields_at(document, "/properties/settings/properties");
        let fits = document.pointer("/properties/fits/properties").and_then(Json::as_object);
        for (pair, fit) in fits.into_iter().flatten() {
            let fields = fit.get("properties").and_then(Json::as_object);
            let fields = fields.into_iter().flatten().map(|(name, field)| self.field(name, field)).collect();
            let alarms = fit.get("x-alarms").and_then(Json::as_array).into_iter().flatten();
            let alarms = alarms.filter_map(|rule| self.alarm(rule)).collect();
            kinds.fits.push(FitSpec { pair: pair.clone(), fields, alarms });
        }
        kinds.refit_voids = self.voids(document.pointer("/x-refit/x-voids"));
    }

    /// A rule between the two roles of a pair.
    fn alarm(&mut self, rule: &Json) -> Option<AlarmSpec> {
        let said = |key: &str| string(rule, key).map(str::to_owned);
        let (name, says, of, source) = (said("name"), said("says"), said("of"), said("source"));
        let limits = [said("at-least"), said("at-most")];
        let not = strings(rule.get("not"));
        let (Some(name), Some(says), Some(of), Some(source)) = (name, says, of, source) else {
            self.annotation("x-alarms", &rule.to_string(), "name, says, of and source");
            return None;
        };
        if limits.iter().all(Option::is_none) && not.is_empty() {
            self.annotation("x-alarms", &name, "a limit: at-least, at-most or not");
            return None;
        }
        let [at_least, at_most] = limits;
        Some(AlarmSpec {
            name,
            says,
            of,
            less: strings(rule.get("less")),
            size: flag(rule, "size"),
            at_least,
            at_most,
            not,
            settled_by: strings(rule.get("settled-by")),
            source,
        })
    }

    fn fields_at(&mut self, document: &Json, pointer: &str) -> Vec<FieldSpec> {
        let fields = document.pointer(pointer).and_then(Json::as_object);
        fields.into_iter().flatten().map(|(name, field)| self.field(name, field)).collect()
    }

    /// The top-level properties that are figures.
    fn figures_among(&mut self, document: &Json) -> Vec<FieldSpec> {
        let fields = document.get("properties").and_then(Json::as_object);
        fields
            .into_iter()
            .flatten()
            .filter(|(_, field)| {
                string(field, "$ref").is_some_and(|target| target.starts_with("figure.json"))
            })
            .map(|(name, field)| self.field(name, field))
            .collect()
    }

    fn field(&mut self, name: &str, field: &Json) -> FieldSpec {
        let field = self.merged(field);
        let holds = self.holds(name, &field);
        let range = self.range(name, &field, &holds);
        FieldSpec {
            name: name.to_owned(),
            title: map_string(&field, "title").unwrap_or(name).to_owned(),
            description: map_string(&field, "description").unwrap_or_default().to_owned(),
            each: map_string(&field, "x-each").map(str::to_owned),
            demand: self.demand(name, field.get("x-documented")),
            measured: map_flag(&field, "x-measured"),
            instrument: map_flag(&field, "x-instrument"),
            course: if map_flag(&field, "x-drifts") { Course::Drifting } else { Course::Fixed },
            means: map_string(&field, "x-means").map(str::to_owned),
            voided_by: strings(field.get("x-voided-by")),
            range,
            aliases: strings(field.get("x-alias")),
            channel: map_string(&field, "x-channel").map(str::to_owned),
            answered_by: strings(field.get("x-answered-by")),
            needs: strings(field.get("x-needs")),
            role: map_string(&field, "x-role").map(str::to_owned),
            holds,
        }
    }

    /// A property with what its references say beneath its own words.
    fn merged(&self, property: &Json) -> Map<String, Json> {
        let mut merged = property.as_object().cloned().unwrap_or_default();
        let mut next = merged.get("$ref").and_then(Json::as_str).map(str::to_owned);
        let mut own = self.file.strip_suffix(".json").unwrap_or(&self.file).to_owned();
        for _ in 0..8 {
            let Some(target) = next.take() else { break };
            let (file, pointer) = target.split_once('#').unwrap_or((&target, ""));
            if matches!(file, "figure.json" | "part-state.json" | "notation.json") {
                break;
            }
            if !file.is_empty() {
                file.strip_suffix(".json").unwrap_or(file).clone_into(&mut own);
            }
            let Some(referred) = self.documents.get(&own).and_then(|document| document.pointer(pointer))
            else {
                break;
            };
            for (key, value) in referred.as_object().into_iter().flatten() {
                merged.entry(key.clone()).or_insert_with(|| value.clone());
            }
            next = string(referred, "$ref").map(str::to_owned);
        }
        merged
    }

    fn holds(&mut self, name: &str, field: &Map<String, Json>) -> Holds {
        let choices = strings(field.get("x-choices").or_else(|| field.get("enum")));
        let Some(quantity) = map_string(field, "x-quantity") else {
            return if choices.is_empty() { Holds::Text } else { Holds::Choice(choices) };
        };
        let Some(kind) = QuantityKind::parse(quantity) else {
            self.annotation("x-quantity", &format!("{name}: {quantity}"), "a kind of quantity");
            return Holds::Text;
        };
        let unit = map_string(field, "x-unit").unwrap_or("1");
        match Unit::parse(unit, kind) {
            Ok(unit) => Holds::Quantity { kind, unit },
            Err(error) => {
                self.annotation("x-unit", &format!("{name}: {unit}"), &error.to_string());
                Holds::Text
            }
        }
    }

    fn range(&mut self, name: &str, field: &Map<String, Json>, holds: &Holds) -> Option<(f64, f64)> {
        let limits = strings(field.get("x-range"));
        let Holds::Quantity { kind, unit } = holds else {
            return None;
        };
        match limits.as_slice() {
            [] => None,
            [low, high] => {
                let read =
                    |text: &str| parse_reading(text, *kind, Some(*unit)).map(|reading| reading.mean().si());
                match (read(low), read(high)) {
                    (Ok(low), Ok(high)) if low < high => Some((low, high)),
                    _ => {
                        self.annotation(
                            "x-range",
                            &format!("{name}: {low} to {high}"),
                            "two readings, the lower first",
                        );
                        None
                    }
                }
            }
            _ => {
                self.annotation("x-range", name, "two readings");
                None
            }
        }
    }

    fn demand(&mut self, name: &str, documented: Option<&Json>) -> Demand {
        match documented {
            None => Demand::Welcome,
            Some(Json::String(word)) if word == "always" => Demand::Always,
            Some(Json::String(word)) if word == "welcome" => Demand::Welcome,
            Some(other) => match other.pointer("/when/role").and_then(Json::as_str) {
                Some(role) => Demand::WhenRole(role.to_owned()),
                None => {
                    self.annotation("x-documented", name, "always, welcome or {\"when\": {\"role\": …}}");
                    Demand::Welcome
                }
            },
        }
    }

    fn annotation(&mut self, keyword: &str, found: &str, expected: &str) {
        self.findings.push(
            Finding::error("schema-annotation", format!("`{keyword}` does not hold"))
                .at(Place::file(self.file.clone()).field(keyword))
                .found(found)
                .expected(expected)
                .next("see docs/schemas.md for the annotations"),
        );
    }
}

fn string<'a>(value: &'a Json, key: &str) -> Option<&'a str> {
    value.get(key).and_then(Json::as_str)
}

fn flag(value: &Json, key: &str) -> bool {
    value.get(key).and_then(Json::as_bool).unwrap_or(false)
}

fn map_string<'a>(value: &'a Map<String, Json>, key: &str) -> Option<&'a str> {
    value.get(key).and_then(Json::as_str)
}

fn map_flag(value: &Map<String, Json>, key: &str) -> bool {
    value.get(key).and_then(Json::as_bool).unwrap_or(false)
}

fn strings(value: Option<&Json>) -> Vec<String> {
    value.and_then(Json::as_array).into_iter().flatten().filter_map(Json::as_str).map(str::to_owned).collect()
}
