//! The manifests of `demo-data/book/` as the program itself reads them.

use std::collections::BTreeMap;
use std::collections::BTreeSet;
use std::fs;
use std::path::Path;
use std::sync::Arc;

use mulebook::check::Group;
use mulebook::check::Side;
use mulebook::check::gaps_of;
use mulebook::finding::Finding;
use mulebook::manifest::Schemas;
use mulebook::manifest::Validators;
use mulebook::manifest::bind;
use mulebook::manifest::node::Node;
use mulebook::manifest::yaml;
use mulebook::record::Build;
use mulebook::record::Effective;
use mulebook::record::Instrument;
use mulebook::record::Part;

/// The book's records, and whatever the program found wrong or doubtful.
#[derive(Default)]
pub(crate) struct Book {
    builds: Vec<Build>,
    parts: BTreeMap<String, Arc<Part>>,
    instruments: BTreeMap<String, Arc<Instrument>>,
    files: usize,
    findings: Vec<String>,
}

impl Book {
    /// Reads every manifest below a folder.
    pub(crate) fn read(root: &Path) -> Self {
        let schemas = Schemas::load(&[]).expect("the shipped schemas hold");
        let mut book = Self::default();
        let mut validators = Validators::new(&schemas);
        for place in manifests(root, root) {
            let bytes = fs::read(root.join(&place)).expect("a file that was just listed");
            book.files += 1;
            match yaml::read(&place, &bytes) {
                Ok(node) => book.take(&place, &node, &schemas, &mut validators),
                Err(finding) => book.note(&place, vec![finding]),
            }
        }
        book
    }

    fn take(&mut self, place: &str, node: &Node, schemas: &Schemas, validators: &mut Validators) {
        let kinds = schemas.kinds();
        let steps: Vec<&str> = place.split('/').collect();
        let (schema, found) = match steps[..] {
            ["parts", kind, _] => {
                let (part, found) = bind::part(place, node, kinds);
                self.parts.extend(part.map(|part| (part.tag.clone(), Arc::new(part))));
                (kind, found)
            }
            ["builds", ..] => {
                let (build, found) = bind::build(place, node, kinds);
                self.builds.extend(build);
                ("build", found)
            }
            ["instruments", file] => {
                let (instrument, found) = bind::instrument(place, node, kinds);
                let tag = file.trim_end_matches(".yaml").to_string();
                self.instruments.extend(instrument.map(|instrument| (tag, Arc::new(instrument))));
                ("instrument", found)
            }
            ["sessions", _] => ("session", bind::session(place, node, kinds).1),
            ["cells", _] => ("cell", bind::cell(place, node, kinds).1),
            ["claims", _] => ("claim", bind::claim(place, node, kinds).1),
            ["people.yaml"] => ("people", bind::people(place, node, kinds).1),
            _ => ("book", bind::book(place, node, kinds).1),
        };
        self.note(place, found);
        let against = validators.check(schema, place, node);
        self.note(place, against);
    }

    fn note(&mut self, place: &str, found: Vec<Finding>) {
        self.findings.extend(found.into_iter().map(|finding| format!("{place}: {finding}")));
    }

    /// What the program found, doubts too; how many files it read.
    pub(crate) fn findings(&self) -> (&[String], usize) {
        (&self.findings, self.files)
    }

    /// What is demanded of the builds and not documented, as `build: item`. Conditions and the run belong to pulls.
    pub(crate) fn gaps(&self) -> BTreeSet<String> {
        let schemas = Schemas::load(&[]).expect("the shipped schemas hold");
        let mut gaps = BTreeSet::new();
        for build in &self.builds {
            let side = Side {
                name: build.name.clone(),
                build: Some(Arc::new(build.clone())),
                pull: None,
                session: None,
                cell: None,
                effective: Effective::of_build(build),
                parts: self.parts.clone(),
                engine: self.parts.get(&build.engine).cloned(),
                instruments: self.instruments.clone(),
                channels: BTreeSet::new(),
                channel_means: BTreeMap::new(),
                by_speed: BTreeMap::new(),
                worked_out: BTreeMap::new(),
                asked: mulebook::derive::Asked::default(),
                refit_after: None,
                wear: BTreeMap::new(),
                doubts: mulebook::check::ChannelDoubts::default(),
            };
            for gap in gaps_of(&side, schemas.kinds()) {
                if !matches!(gap.item.group, Group::Condition | Group::Run | Group::Correction) {
                    gaps.insert(format!("{}: {}", build.name, gap.item.path()));
                }
            }
        }
        gaps
    }
}

/// Every YAML file below a folder, as a path from the root, in order.
fn manifests(root: &Path, folder: &Path) -> BTreeSet<String> {
    let mut found = BTreeSet::new();
    for entry in fs::read_dir(folder).expect("the demo's book is there") {
        let path = entry.expect("the folder can be listed").path();
        if path.is_dir() {
            found.extend(manifests(root, &path));
        } else if path.extension().is_some_and(|ending| ending == "yaml") {
            let place = path.strip_prefix(root).expect("it lies below the root");
            let steps: Vec<_> = place.iter().map(|step| step.to_string_lossy()).collect();
            found.insert(steps.join("/"));
        }
    }
    found
}
