//! The gate that every write goes through: schemas, forms, names, references and history of what was touched.

use std::collections::BTreeSet;

use crate::derive::Basis;
use crate::finding::Finding;
use crate::finding::Place;
use crate::manifest::Validators;
use crate::manifest::bind;
use crate::manifest::node::Node;
use crate::record::Answer;
use crate::record::Build;
use crate::record::Change;
use crate::record::Corrected;
use crate::record::Figure;
use crate::record::FlowSheet;
use crate::record::Kinds;
use crate::record::Part;
use crate::record::PartState;
use crate::record::Pull;
use crate::store::Book;
use crate::workflow::Failure;
use crate::workflow::Library;
use crate::workflow::derived;
use crate::workflow::fit_alarms;
use crate::workflow::gate_claim;
use crate::workflow::history;
use crate::workflow::library::UNASSIGNED;
use crate::workflow::library::columns_of;
use crate::workflow::wanted_signature;

/// What a path of the book is for.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) enum Sort {
    /// `book.yaml`.
    Book,
    /// `people.yaml`.
    People,
    /// A part of a kind.
    Part(String),
    /// A build.
    Build(String),
    /// A pull in a build's folder.
    Pull(String),
    /// A session.
    Session,
    /// A cell.
    Cell,
    /// An instrument.
    Instrument,
    /// A columns record.
    Columns,
    /// A flow sheet.
    Flow,
    /// A claim.
    Claim,
    /// One of the book's own schemas.
    Schema,
    /// Anything else: notes, photos, the program's own files.
    Other,
}

/// What a path is for.
pub(super) fn sort_of(path: &str) -> Sort {
    let steps: Vec<&str> = path.split('/').collect();
    match steps.as_slice() {
        ["book.yaml"] => Sort::Book,
        ["people.yaml"] => Sort::People,
        ["parts", kind, file] if file.ends_with(".yaml") => Sort::Part((*kind).to_owned()),
        ["builds", build, "build.yaml"] => Sort::Build((*build).to_owned()),
        ["builds", build, "pulls", file] if file.ends_with(".yaml") => Sort::Pull((*build).to_owned()),
        ["sessions", file] if file.ends_with(".yaml") => Sort::Session,
        ["cells", file] if file.ends_with(".yaml") => Sort::Cell,
        ["instruments", file] if file.ends_with(".yaml") => Sort::Instrument,
        ["columns", file] if file.ends_with(".yaml") => Sort::Columns,
        ["flow", file] if file.ends_with(".yaml") => Sort::Flow,
        ["claims", file] if file.ends_with(".yaml") => Sort::Claim,
        ["schema", file] if file.ends_with(".json") => Sort::Schema,
        _ => Sort::Other,
    }
}

/// The records at these paths, checked together with all they touch. Doubts are returned; errors are a failure.
///
/// `library` holds the new state; its snapshot the old one. `taken` are raw files that this write brings, by SHA-256.
///
/// # Errors
/// Everything that does not hold, all at once.
pub(super) fn check(
    book: &Book,
    library: &Library,
    paths: &BTreeSet<String>,
    taken: &BTreeSet<String>,
) -> Result<Vec<Finding>, Failure> {
    let mut gate =
        Gate { book, library, taken, validators: Validators::new(library.schemas()), findings: Vec::new() };
    for path in paths {
        gate.path(path)?;
    }
    let mut told: Vec<Finding> = Vec::new();
    for finding in gate.findings {
        if !told.contains(&finding) {
            told.push(finding);
        }
    }
    let (errors, doubts): (Vec<_>, Vec<_>) = told.into_iter().partition(Finding::is_error);
    if errors.is_empty() { Ok(doubts) } else { Err(Failure::faults(errors)) }
}

pub(super) struct Gate<'a> {
    pub(super) book: &'a Book,
    pub(super) library: &'a Library,
    pub(super) taken: &'a BTreeSet<String>,
    validators: Validators,
    pub(super) findings: Vec<Finding>,
}

impl Gate<'_> {
    fn path(&mut self, path: &str) -> Result<(), Failure> {
        let sort = sort_of(path);
        if matches!(sort, Sort::Other | Sort::Schema) {
            return self.raw_unedited(path);
        }
        let Some(bytes) = self.library.read(path)? else {
            return self.removed(path, &sort);
        };
        self.refuse_twin(path)?;
        let root = match crate::manifest::yaml::read(path, &bytes) {
            Ok(root) => root,
            Err(finding) => {
                self.findings.push(finding);
                return Ok(());
            }
        };
        let schema = match &sort {
            Sort::Part(kind) => kind_schema(kind),
            Sort::Book => "book".to_owned(),
            Sort::People => "people".to_owned(),
            Sort::Build(_) => "build".to_owned(),
            Sort::Pull(_) => "pull".to_owned(),
            Sort::Session => "session".to_owned(),
            Sort::Cell => "cell".to_owned(),
            Sort::Instrument => "instrument".to_owned(),
            Sort::Columns => "columns".to_owned(),
            Sort::Flow => "flow".to_owned(),
            Sort::Claim => "claim".to_owned(),
            Sort::Other | Sort::Schema => return Ok(()),
        };
        let against_schema = self.validators.check(&schema, path, &root);
        let before = self.findings.len();
        self.bound(path, &sort, &root)?;
        // Where the binder explains the same line in the trade's words, the schema's own words say nothing more.
        let told: BTreeSet<_> = self.findings[before..].iter().map(line_of).collect();
        self.findings.extend(against_schema.into_iter().filter(|finding| !told.contains(&line_of(finding))));
        history::unaltered(self.library, path, &sort, &root, &mut self.findings)
    }

    fn bound(&mut self, path: &str, sort: &Sort, root: &Node) -> Result<(), Failure> {
        let kinds = self.library.kinds();
        let stem = path.rsplit('/').next().and_then(|file| file.strip_suffix(".yaml")).unwrap_or_default();
        match sort {
            Sort::Book => {
                let page = self.take(bind::book(path, root, kinds));
                self.findings.extend(page.iter().flat_map(wanted_signature::findings));
                // A page that asks for what cannot be worked out would bar every comparison.
                if let Some(name) = page.and_then(|page| page.correction)
                    && Basis::named(&name).is_none()
                {
                    self.findings.push(derived::page_correction_unknown(&name));
                }
            }
            Sort::People => drop(self.take(bind::people(path, root, kinds))),
            Sort::Instrument => {
                if let Some(record) = self.take(bind::instrument(path, root, kinds)) {
                    self.named_as(path, root, "instrument", &record.tag, stem);
                }
            }
            Sort::Cell => {
                if let Some(record) = self.take(bind::cell(path, root, kinds)) {
                    self.named_as(path, root, "cell", &record.tag, stem);
                    self.figures(path, record.figures.values())?;
                    self.files_shown(path, &record.all_figures())?;
                }
            }
            Sort::Session => {
                if let Some(record) = self.take(bind::session(path, root, kinds)) {
                    self.named_as(path, root, "session", &record.tag, stem);
                    self.exists(
                        path,
                        root,
                        "cell",
                        &format!("cells/{}.yaml", record.cell),
                        &record.cell,
                        "`mulebook cell`",
                    )?;
                    self.person(path, record.by.as_deref())?;
                    self.files_shown(path, &record.all_figures())?;
                }
            }
            Sort::Part(kind) => {
                if let Some(record) = self.take(bind::part(path, root, kinds)) {
                    self.named_as(path, root, "part", &record.tag, stem);
                    self.named_as(path, root, "kind", &record.kind, kind);
                    self.part(path, &record)?;
                    self.files_shown(path, &record.all_figures())?;
                }
            }
            Sort::Build(name) => {
                if let Some(record) = self.take(bind::build(path, root, kinds)) {
                    self.named_as(path, root, "build", &record.name, name);
                    self.build(path, root, &record)?;
                    self.files_shown(path, &record.all_figures())?;
                    self.findings.extend(fit_alarms::of_build(self.library, path, &record));
                }
            }
            Sort::Pull(folder) => {
                if let Some(record) = self.take(bind::pull(path, root, kinds)) {
                    self.named_as(path, root, "pull", &record.id, stem);
                    self.pull(path, root, folder, &record)?;
                    self.files_shown(path, &record.all_figures())?;
                }
            }
            Sort::Columns => match columns_of(path, root) {
                Ok(columns) => self.named_as(path, root, "columns", &columns.name, stem),
                Err(findings) => self.findings.extend(findings),
            },
            Sort::Flow => {
                if let Some(record) = self.take(bind::flow(path, root, kinds)) {
                    self.named_as(path, root, "flow", &record.tag, stem);
                    self.flow(path, root, &record)?;
                    self.files_shown(path, &record.all_figures())?;
                }
            }
            Sort::Claim => {
                if let Some(record) = self.take(bind::claim(path, root, kinds)) {
                    self.named_as(path, root, "claim", &record.tag, stem);
                    for (role, answer) in &record.terms.scope.parts {
                        self.filled(path, root.get("scope").map_or(1, |node| node.line), role, answer, None)?;
                    }
                    self.person(path, Some(&record.by))?;
                    self.findings.extend(gate_claim::findings(self.book, self.library, path, root, &record)?);
                }
            }
            Sort::Other | Sort::Schema => {}
        }
        Ok(())
    }

    fn take<T>(&mut self, (record, findings): bind::Bound<T>) -> Option<T> {
        self.findings.extend(findings);
        record
    }

    fn named_as(&mut self, path: &str, root: &Node, field: &str, found: &str, expected: &str) {
        if found != expected {
            let line = root.get(field).map_or(1, |node| node.line);
            self.findings.push(
                Finding::error("name-and-path", "a record is called as its file is")
                    .at(Place::file(path).line(line).field(field))
                    .found(format!("`{found}`"))
                    .expected(format!("`{expected}`"))
                    .next("rename one of the two"),
            );
        }
    }

    pub(super) fn exists(
        &mut self,
        path: &str,
        root: &Node,
        field: &str,
        at: &str,
        name: &str,
        make: &str,
    ) -> Result<(), Failure> {
        if self.library.read(at)?.is_none() {
            let line = root.get(field).map_or(1, |node| node.line);
            self.findings.push(
                Finding::error("reference-missing", format!("there is no {field} of this name"))
                    .at(Place::file(path).line(line).field(field))
                    .found(format!("`{name}`"))
                    .expected(format!("a record at {at}"))
                    .next(format!("write it down first with {make}, or mend the name")),
            );
        }
        Ok(())
    }

    fn person(&mut self, path: &str, by: Option<&str>) -> Result<(), Failure> {
        if let Some(by) = by
            && !self.library.people()?.contains_key(by)
        {
            let finding = Finding::doubt("person-unknown", format!("nobody is called `{by}` in people.yaml"))
                .at(Place::file(path).field("by"))
                .next("add them there, so that months later somebody knows who it was");
            if !self.findings.contains(&finding) {
                self.findings.push(finding);
            }
        }
        Ok(())
    }

    fn figures<'f>(&mut self, path: &str, figures: impl Iterator<Item = &'f Figure>) -> Result<(), Failure> {
        for entry in figures.flat_map(|figure| &figure.entries) {
            if let Some(with) = &entry.with
                && self.library.read(&format!("instruments/{with}.yaml"))?.is_none()
            {
                let finding =
                    Finding::doubt("instrument-unknown", format!("there is no instrument `{with}`"))
                        .at(Place::file(path).line(entry.line.max(1)).field("with"))
                        .next(format!("write it down with `mulebook instrument {with}`"));
                self.findings.push(finding);
            }
            self.person(path, entry.by.as_deref())?;
        }
        Ok(())
    }

    fn part(&mut self, path: &str, part: &Part) -> Result<(), Failure> {
        if let Some(other) = self.library.part_path(&part.tag)?.filter(|other| other != path) {
            self.findings.push(
                Finding::error("tag-twice", "another part has this tag")
                    .at(Place::file(path).field("part"))
                    .found(format!("`{}`, also {other}", part.tag))
                    .next("a tag names one thing: give one of them another"),
            );
        }
        for state in &part.states {
            self.figures(path, state.figures.values())?;
            for entry in state.figures.values().flat_map(|figure| &figure.entries) {
                if let (Some(taken), Some(since)) = (&entry.taken, &state.since)
                    && since.is_after(taken)
                    && !state.work.is_empty()
                {
                    self.findings.push(
                        Finding::error("taken-before-state", "this was taken before its state began")
                            .at(Place::file(path).line(entry.line.max(1)))
                            .found(format!("taken {taken}, state {} since {since}", state.letter))
                            .next("put it under the state it was taken in; what the work cannot change carries over by itself"),
                    );
                }
            }
        }
        Ok(())
    }

    fn build(&mut self, path: &str, root: &Node, build: &Build) -> Result<(), Failure> {
        if build.name == UNASSIGNED {
            self.findings.push(
                Finding::error("name-taken", "the folder `unassigned` holds pulls without a build")
                    .at(Place::file(path).field("build"))
                    .next("choose another name"),
            );
        }
        match self.part_as_told(&build.engine) {
            None => {}
            Some(None) => self.findings.push(
                Finding::error("reference-missing", "no part has the engine's tag")
                    .at(Place::file(path)
                        .line(root.get("engine").map_or(1, |node| node.line))
                        .field("engine"))
                    .found(format!("`{}`", build.engine))
                    .expected("the tag of a short block or block")
                    .next(format!("write it down first: `mulebook part short-block {}`", build.engine)),
            ),
            Some(Some(engine))
                if self.library.kinds().part(&engine.kind).is_some_and(|kind| !kind.engine) =>
            {
                self.findings.push(
                    Finding::error("not-an-engine", "this part cannot stand for an engine")
                        .at(Place::file(path).field("engine"))
                        .found(format!("`{}`, a {}", engine.tag, engine.kind))
                        .expected("a short block or a block"),
                );
            }
            Some(Some(_)) => {}
        }
        let parts = root.get("parts");
        for (role, answer) in &build.parts {
            let line = parts.and_then(|parts| parts.get(role)).map_or(1, |node| node.line);
            self.filled(path, line, role, answer, Some(build))?;
        }
        for correction in &build.corrected {
            if let Corrected::Role(answer) = &correction.to {
                self.filled(path, 1, &correction.set, answer, None)?;
            }
        }
        self.figures(path, build.settings.values())?;
        self.figures(path, build.fits.values().flat_map(|fits| fits.values()))?;
        self.person(path, build.by.as_deref())
    }

    /// A part that another record names; none where its own manifest does not hold, which is told once.
    fn part_as_told(&mut self, tag: &str) -> Option<Option<Part>> {
        match self.library.part(tag) {
            Ok(part) => Some(part),
            Err(failure) => {
                let fresh: Vec<Finding> =
                    failure.findings.into_iter().filter(|finding| !self.findings.contains(finding)).collect();
                self.findings.extend(fresh);
                None
            }
        }
    }

    fn filled(
        &mut self,
        path: &str,
        line: usize,
        role: &str,
        answer: &Answer,
        build: Option<&Build>,
    ) -> Result<(), Failure> {
        let Answer::Part(named) = answer else {
            return Ok(());
        };
        let place = Place::file(path).line(line).field(if role.is_empty() {
            "part".to_owned()
        } else {
            format!("parts.{role}")
        });
        let Some(found) = self.part_as_told(&named.tag) else { return Ok(()) };
        let Some(part) = found else {
            self.findings.push(
                Finding::error("reference-missing", "no part has this tag")
                    .at(place)
                    .found(format!("`{}`", named.tag))
                    .next(format!("write it down first: `mulebook part KIND {}`", named.tag)),
            );
            return Ok(());
        };
        let Some(state) = part.state(&named.letter) else {
            let letters: Vec<_> = part.states.iter().map(|state| state.letter.clone()).collect();
            self.findings.push(
                Finding::error("reference-missing", format!("{} has no such state", part.tag))
                    .at(place)
                    .found(format!("`{}`", named.letter))
                    .expected(letters.join(", ")),
            );
            return Ok(());
        };
        if let Some(spec) = self.library.kinds().role(role)
            && !fills(&part, &spec.kinds, role, self.library.kinds())
        {
            self.findings.push(
                Finding::error("wrong-kind", format!("a {} does not fill the role `{role}`", part.kind))
                    .at(place.clone())
                    .found(format!("`{named}`"))
                    .expected(spec.kinds.join(" or ")),
            );
        }
        if let (Some(since), Some(build)) = (&state.since, build)
            && since.is_after(&build.since)
        {
            self.findings.push(
                Finding::error("state-after-build", "the build is from before this state began")
                    .at(place)
                    .found(format!("{named} since {since}, build {} since {}", build.name, build.since))
                    .next("name the state the part was in then, or mend the date"),
            );
        }
        Ok(())
    }

    fn pull(&mut self, path: &str, root: &Node, folder: &str, pull: &Pull) -> Result<(), Failure> {
        let session = format!("sessions/{}.yaml", pull.session);
        self.exists(path, root, "session", &session, &pull.session, "`mulebook session`")?;
        let expected = pull.effective_build().unwrap_or(UNASSIGNED);
        if expected != folder {
            self.findings.push(
                Finding::error("name-and-path", "a pull lies in its build's folder")
                    .at(Place::file(path).line(root.get("build").map_or(1, |node| node.line)).field("build"))
                    .found(format!("builds/{folder}"))
                    .expected(format!("builds/{expected}"))
                    .next(format!(
                        "`mulebook correct {} --set build=NAME --because \"…\"` moves it",
                        pull.id
                    )),
            );
        }
        if let Some(build) = pull.effective_build() {
            let at = crate::workflow::library::build_path(build);
            self.exists(path, root, "build", &at, build, "`mulebook build`")?;
        }
        if let Some(other) = self.library.pull_paths()?.get(&pull.id).filter(|other| *other != path) {
            self.findings.push(
                Finding::error("tag-twice", "another pull has this number")
                    .at(Place::file(path).field("pull"))
                    .found(format!("`{}`, also {other}", pull.id))
                    .next("pull numbers stand for ever: give the later one the next free order"),
            );
        }
        self.raw_files(path, root, &pull.raw)?;
        for (role, change) in &pull.changed {
            match change {
                Change::Role(answer) => self.filled(path, 1, role, answer, None)?,
                Change::Figure(figure) => self.figures(path, std::iter::once(figure))?,
            }
        }
        for correction in &pull.corrected {
            if let Corrected::Role(answer) = &correction.to {
                self.filled(path, 1, &correction.set, answer, None)?;
            }
        }
        self.figures(path, pull.conditions.values())?;
        self.person(path, pull.by.as_deref())
    }

    fn flow(&mut self, path: &str, root: &Node, sheet: &FlowSheet) -> Result<(), Failure> {
        for part in std::iter::once(&sheet.part).chain(&sheet.with_part) {
            self.filled(
                path,
                root.get("part").map_or(1, |node| node.line),
                "",
                &Answer::Part(part.clone()),
                None,
            )?;
        }
        if let Some(bench) = &sheet.bench {
            let at = format!("instruments/{bench}.yaml");
            self.exists(path, root, "bench", &at, bench, "`mulebook instrument`")?;
        }
        self.raw_files(path, root, &sheet.raw)?;
        self.figures(path, sheet.conditions.values())?;
        self.person(path, Some(&sheet.by))
    }

    fn removed(&mut self, path: &str, sort: &Sort) -> Result<(), Failure> {
        let stem = path.rsplit('/').next().and_then(|file| file.strip_suffix(".yaml")).unwrap_or_default();
        let users = match sort {
            Sort::Part(_) => history::builds_with(self.library, |part: &PartState| part.tag == stem)?,
            Sort::Pull(_) if !self.library.pull_paths()?.contains_key(stem) => {
                vec!["the session's run order".to_owned()]
            }
            Sort::Build(name) => self.library.pulls_of(name)?,
            Sort::Claim => vec!["whoever was told of the claim".to_owned()],
            _ => Vec::new(),
        };
        if !users.is_empty() {
            self.findings.push(
                Finding::error(
                    "still-used",
                    "this record is part of the book's history and cannot be removed",
                )
                .at(Place::file(path))
                .found(format!(
                    "{} rest on it: {}",
                    users.len(),
                    users.iter().take(6).cloned().collect::<Vec<_>>().join(", ")
                ))
                .next(format!(
                    "bring it back with `git checkout -- {path}`; a pull that does not count is set aside, a claim is withdrawn"
                )),
            );
        }
        Ok(())
    }
}

/// Whether a part fills a role: by its kind, or as an assembly that answers it.
fn fills(part: &Part, kinds: &[String], role: &str, all: &Kinds) -> bool {
    kinds.contains(&part.kind)
        || all.part(&part.kind).is_some_and(|kind| kind.answers.iter().any(|answered| answered == role))
}

/// The schema of a kind: `part-generic` for the generic kind, else the kind's own name.
fn kind_schema(kind: &str) -> String {
    if kind == "generic" { "part-generic".to_owned() } else { kind.to_owned() }
}

fn line_of(finding: &Finding) -> Option<usize> {
    finding.place.as_ref().and_then(|place| place.line)
}
