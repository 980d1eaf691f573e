//! What rests on a file of the book: the pulls, builds, flow sheets and claims that a damaged file touches.
//!
//! Read from what can still be read; a record that cannot is damage of its own, and told as that.

use std::collections::BTreeMap;
use std::collections::BTreeSet;

use serde_json::Value as Json;

use crate::answer::TouchedLine;
use crate::record::Answer;
use crate::record::Change;
use crate::record::Pull;
use crate::workflow::Library;
use crate::workflow::figure_files;
use crate::workflow::figure_files::FigureFile;
use crate::workflow::gate::Sort;
use crate::workflow::gate::sort_of;
use crate::workflow::library::UNASSIGNED;

/// What is touched, by sort of record.
#[derive(Debug, Clone, Default)]
struct Touched {
    pulls: BTreeSet<String>,
    builds: BTreeSet<String>,
    flow: BTreeSet<String>,
    claims: BTreeSet<String>,
    figures: BTreeSet<String>,
    all: bool,
}

/// Which record names which, as far as they can be read.
pub(super) struct Relations<'l> {
    library: &'l Library,
    pulls: Vec<(Pull, String)>,
    /// Parts that a build names, by build.
    parts: BTreeMap<String, BTreeSet<String>>,
    /// Every text that a claim holds.
    claims: BTreeMap<String, BTreeSet<String>>,
    /// Files beside figures, with the record that names each.
    shown: Vec<(String, FigureFile)>,
}

impl<'l> Relations<'l> {
    /// Reads every pull, build and claim that can be read.
    pub(super) fn read(library: &'l Library) -> Self {
        let mut pulls = Vec::new();
        for (id, path) in library.pull_paths().cloned().unwrap_or_default() {
            if let Ok(Some(pull)) = library.pull(&id) {
                pulls.push((pull, path));
            }
        }
        let mut parts = BTreeMap::new();
        for name in library.build_names().unwrap_or_default() {
            let Ok(Some(build)) = library.build(&name) else { continue };
            let mut tags = BTreeSet::from([build.engine.clone()]);
            tags.extend(build.parts.values().filter_map(part_of));
            parts.insert(name, tags);
        }
        let mut claims = BTreeMap::new();
        for tag in library.tags("claims").unwrap_or_default() {
            let mut words = BTreeSet::new();
            if let Ok(Some(root)) = library.tree(&format!("claims/{tag}.yaml")) {
                texts(&root.to_json(), &mut words);
            }
            claims.insert(tag, words);
        }
        let mut shown = Vec::new();
        for path in figure_files::records(library).unwrap_or_default() {
            let files = figure_files::of_record(library, &path).unwrap_or_default();
            shown.extend(files.into_iter().map(|file| (path.clone(), file)));
        }
        Self { library, pulls, parts, claims, shown }
    }

    /// What rests on a file or folder; none where nothing does.
    pub(super) fn resting_on(&self, path: &str) -> Option<TouchedLine> {
        let mut touched = Touched::default();
        match sort_of(path) {
            Sort::Pull(folder) => {
                touched.pulls.insert(stem(path));
                if folder != UNASSIGNED {
                    touched.builds.insert(folder);
                }
            }
            Sort::Build(name) => self.of_builds(&mut touched, |build| *build == name),
            Sort::Part(_) => {
                let tag = stem(path);
                self.of_builds(&mut touched, |build| {
                    self.parts.get(build).is_some_and(|parts| parts.contains(&tag))
                });
                self.of_pulls(&mut touched, |pull| {
                    pull.changed.values().any(|change| match change {
                        Change::Role(answer) => part_of(answer).as_ref() == Some(&tag),
                        Change::Figure(_) => false,
                    })
                });
                self.of_flow(&mut touched, "part", |value| {
                    value.split('/').next().is_some_and(|named| named == tag)
                });
            }
            Sort::Session => {
                let tag = stem(path);
                self.of_pulls(&mut touched, |pull| pull.session == tag);
            }
            Sort::Cell => {
                let tag = stem(path);
                let sessions = self.sessions_in(&tag);
                self.of_pulls(&mut touched, |pull| sessions.contains(&pull.session));
            }
            Sort::Columns => {
                let tag = stem(path);
                self.of_pulls(&mut touched, |pull| {
                    pull.raw.iter().any(|raw| raw.columns.as_ref() == Some(&tag))
                });
                self.of_flow(&mut touched, "columns", |value| value == tag);
            }
            Sort::Instrument => {
                let tag = stem(path);
                for build in self.parts.keys() {
                    let path = crate::workflow::library::build_path(build);
                    if self.says(&path, "with", &|value| value == tag) {
                        touched.builds.insert(build.clone());
                    }
                }
                for (pull, path) in &self.pulls {
                    if self.says(path, "with", &|value| value == tag) {
                        touched.pulls.insert(pull.id.clone());
                    }
                }
                self.of_flow(&mut touched, "with", |value| value == tag);
                self.of_flow(&mut touched, "bench", |value| value == tag);
            }
            Sort::Flow => drop(touched.flow.insert(stem(path))),
            Sort::Claim => drop(touched.claims.insert(stem(path))),
            Sort::Book | Sort::People | Sort::Schema => touched.all = true,
            Sort::Other => match path.split('/').collect::<Vec<_>>().as_slice() {
                ["raw" | "raw-large", _, sha256] => {
                    self.of_pulls(&mut touched, |pull| pull.raw.iter().any(|raw| raw.sha256 == *sha256));
                    self.of_flow(&mut touched, "sha256", |value| value == *sha256);
                    for (path, shown) in self.shown.iter().filter(|(_, shown)| shown.file.sha256 == *sha256) {
                        touched.figure(path, &shown.figure);
                    }
                }
                // A folder: what lies in it cannot be told one by one.
                ["builds", build, ..] => {
                    touched.builds.insert((*build).to_owned());
                    self.of_builds(&mut touched, |name| name == build);
                }
                [folder] if RECORDS.contains(folder) => touched.all = true,
                ["parts", _] => touched.all = true,
                _ => return None,
            },
        }
        self.claims_on(&mut touched);
        touched.line(path)
    }

    /// What rests on a file beside a figure: the figure itself stands.
    pub(super) fn resting_on_figure(&self, path: &str, figure: &str) -> Option<TouchedLine> {
        let mut touched = Touched::default();
        touched.figure(path, figure);
        self.claims_on(&mut touched);
        touched.line(path)
    }

    fn of_builds(&self, touched: &mut Touched, wanted: impl Fn(&String) -> bool) {
        for build in self.parts.keys().filter(|build| wanted(build)) {
            touched.builds.insert(build.clone());
            touched.pulls.extend(self.library.pulls_of(build).unwrap_or_default());
        }
        let of_build =
            |pull: &&(Pull, String)| pull.0.effective_build().is_some_and(|b| wanted(&b.to_owned()));
        touched.pulls.extend(self.pulls.iter().filter(of_build).map(|(pull, _)| pull.id.clone()));
    }

    fn of_pulls(&self, touched: &mut Touched, wanted: impl Fn(&Pull) -> bool) {
        for (pull, _) in self.pulls.iter().filter(|(pull, _)| wanted(pull)) {
            touched.pulls.insert(pull.id.clone());
            touched.builds.extend(pull.effective_build().map(str::to_owned));
        }
    }

    fn of_flow(&self, touched: &mut Touched, key: &str, wanted: impl Fn(&str) -> bool) {
        for tag in self.library.tags("flow").unwrap_or_default() {
            if self.says(&crate::workflow::library::flow_path(&tag), key, &wanted) {
                touched.flow.insert(tag);
            }
        }
    }

    fn sessions_in(&self, cell: &str) -> BTreeSet<String> {
        let tags = self.library.tags("sessions").unwrap_or_default();
        tags.into_iter()
            .filter(|tag| {
                self.library.session(tag).is_ok_and(|session| session.is_some_and(|s| s.cell == cell))
            })
            .collect()
    }

    /// Claims that name a touched pull, build or flow sheet, or anything where all is touched.
    fn claims_on(&self, touched: &mut Touched) {
        for (tag, words) in &self.claims {
            let named = [&touched.pulls, &touched.builds, &touched.flow];
            if touched.all || named.iter().any(|names| names.iter().any(|name| words.contains(name))) {
                touched.claims.insert(tag.clone());
            }
        }
    }

    /// Whether a record says something under a key, at any depth.
    fn says(&self, path: &str, key: &str, wanted: &dyn Fn(&str) -> bool) -> bool {
        fn look(value: &Json, key: &str, wanted: &dyn Fn(&str) -> bool) -> bool {
            match value {
                Json::Object(map) => map.iter().any(|(name, inner)| {
                    (name == key && inner.as_str().is_some_and(wanted)) || look(inner, key, wanted)
                }),
                Json::Array(list) => list.iter().any(|inner| look(inner, key, wanted)),
                _ => false,
            }
        }
        self.library.tree(path).is_ok_and(|root| root.is_some_and(|root| look(&root.to_json(), key, wanted)))
    }
}

/// Folders whose records cannot be told one by one when the folder itself is damaged.
const RECORDS: [&str; 10] =
    ["builds", "parts", "sessions", "cells", "instruments", "columns", "flow", "claims", "raw", "schema"];

impl Touched {
    /// A figure by what shows it, and the record it stands in where results rest on that whole.
    fn figure(&mut self, path: &str, figure: &str) {
        self.figures.insert(figure.to_owned());
        match sort_of(path) {
            Sort::Pull(_) => drop(self.pulls.insert(stem(path))),
            Sort::Build(name) => drop(self.builds.insert(name)),
            Sort::Flow => drop(self.flow.insert(stem(path))),
            _ => {}
        }
    }

    fn line(self, path: &str) -> Option<TouchedLine> {
        let nothing = self.pulls.is_empty()
            && self.builds.is_empty()
            && self.flow.is_empty()
            && self.claims.is_empty()
            && self.figures.is_empty()
            && !self.all;
        (!nothing).then(|| TouchedLine {
            file: path.to_owned(),
            pulls: self.pulls.into_iter().collect(),
            builds: self.builds.into_iter().collect(),
            flow: self.flow.into_iter().collect(),
            claims: self.claims.into_iter().collect(),
            figures: self.figures.into_iter().collect(),
            whole_book: self.all,
        })
    }
}

fn part_of(answer: &Answer) -> Option<String> {
    match answer {
        Answer::Part(part) => Some(part.tag.clone()),
        _ => None,
    }
}

fn stem(path: &str) -> String {
    let file = path.rsplit('/').next().unwrap_or_default();
    file.strip_suffix(".yaml").unwrap_or(file).to_owned()
}

/// Every text in a value, and the words of it: a claim may name pulls in a list or in a line.
fn texts(value: &Json, found: &mut BTreeSet<String>) {
    match value {
        Json::String(text) => {
            found.extend(text.split([' ', ',']).map(str::to_owned));
        }
        Json::Array(list) => list.iter().for_each(|inner| texts(inner, found)),
        Json::Object(map) => map.values().for_each(|inner| texts(inner, found)),
        _ => {}
    }
}
