//! The records of a book at one commit, or with edits laid over it, read when asked for.

mod briefs;
pub(in crate::workflow) mod folder_index;
mod memo;
pub(super) mod pulls;
mod records;

use std::cell::OnceCell;
use std::cell::RefCell;
use std::collections::BTreeMap;
use std::collections::BTreeSet;
use std::sync::Arc;

use crate::finding::Finding;
use crate::finding::Place;
use crate::manifest::Schemas;
use crate::manifest::bind;
use crate::manifest::node::Node;
use crate::manifest::yaml;
use crate::record::BookPage;
use crate::record::FlowSheet;
use crate::record::Kinds;
use crate::record::PartState;
use crate::record::PortSide;
use crate::record::columns::Columns;
use crate::store::Book;
use crate::store::CommitId;
use crate::store::EntryKind;
use crate::store::Snapshot;
use crate::workflow::Failure;
use crate::workflow::library::briefs::SessionDays;
use crate::workflow::library::folder_index::FolderIndex;
use crate::workflow::library::memo::Memo;

/// The folder of pulls that have no build yet.
pub const UNASSIGNED: &str = "unassigned";

/// The records of a book.
pub struct Library {
    snapshot: Snapshot,
    overlay: BTreeMap<String, Option<Vec<u8>>>,
    schemas: Schemas,
    kinds: Arc<Kinds>,
    page: BookPage,
    touched: RefCell<BTreeSet<String>>,
    /// Whether files that are read are counted as touched.
    counts_touched: bool,
    pull_paths: OnceCell<BTreeMap<String, String>>,
    /// The pulls of the commit alone.
    pull_index: OnceCell<FolderIndex>,
    part_index: OnceCell<FolderIndex>,
    session_days: OnceCell<SessionDays>,
    memo: Option<Memo>,
    relied: RefCell<Option<BTreeSet<String>>>,
}

impl Library {
    /// The book as its last commit holds it.
    ///
    /// # Errors
    /// The book cannot be read, or its own page or schemas do not hold.
    pub fn at_head(book: &Book) -> Result<Self, Failure> {
        Self::new(book.head()?, BTreeMap::new())
    }

    /// The book as a commit holds it.
    ///
    /// # Errors
    /// As [`Library::at_head`].
    pub fn at(book: &Book, commit: CommitId) -> Result<Self, Failure> {
        Self::new(book.snapshot(commit)?, BTreeMap::new())
    }

    /// The book as the work tree stands, pending edits included.
    ///
    /// # Errors
    /// As [`Library::at_head`].
    pub fn with_pending(book: &Book) -> Result<Self, Failure> {
        let mut overlay = BTreeMap::new();
        for pending in book.pending_all()? {
            overlay.insert(pending.path.clone(), book.work_file(&pending.path)?);
        }
        Self::new(book.head()?, overlay)
    }

    /// A snapshot with files laid over it; `None` takes a file away.
    ///
    /// # Errors
    /// As [`Library::at_head`].
    pub fn new(snapshot: Snapshot, overlay: BTreeMap<String, Option<Vec<u8>>>) -> Result<Self, Failure> {
        let mut added = Vec::new();
        let mut own: BTreeSet<String> = snapshot
            .list("schema")?
            .into_iter()
            .filter(|entry| entry.kind != EntryKind::Folder)
            .map(|entry| entry.name)
            .collect();
        own.extend(overlay.keys().filter_map(|path| path.strip_prefix("schema/")).map(str::to_owned));
        for name in own.into_iter().filter(|name| name.ends_with(".json")) {
            let path = format!("schema/{name}");
            let bytes = match overlay.get(&path) {
                Some(bytes) => bytes.clone(),
                None => snapshot.read(&path)?,
            };
            added.extend(bytes.map(|bytes| (name, bytes)));
        }
        let schemas = Schemas::load(&added).map_err(Failure::faults)?;
        let mut library = Self {
            kinds: Arc::clone(schemas.kinds()),
            snapshot,
            overlay,
            schemas,
            page: BookPage::default(),
            touched: RefCell::new(BTreeSet::new()),
            counts_touched: true,
            pull_paths: OnceCell::new(),
            pull_index: OnceCell::new(),
            part_index: OnceCell::new(),
            session_days: OnceCell::new(),
            memo: None,
            relied: RefCell::new(None),
        };
        let page = library.required("book.yaml", "the book's own page", bind::book)?;
        if page.format != FORMAT {
            return Err(Finding::error(
                "book-format",
                "this book is of another format than this program writes",
            )
            .at(Place::file("book.yaml").field("format"))
            .found(page.format.to_string())
            .expected(FORMAT.to_string())
            .next("use the program that wrote it, or a newer one")
            .into());
        }
        if !page.demands.is_empty() {
            Arc::make_mut(&mut library.kinds).demand_more(&page.demands).map_err(Failure::fault)?;
        }
        library.page = page;
        Ok(library)
    }

    /// What the schemas say, with the book's own demands.
    pub fn kinds(&self) -> &Kinds {
        &self.kinds
    }

    /// The schemas.
    pub fn schemas(&self) -> &Schemas {
        &self.schemas
    }

    /// The book's own page.
    pub fn page(&self) -> &BookPage {
        &self.page
    }

    /// The commit it stands on.
    pub fn commit(&self) -> CommitId {
        self.snapshot.commit()
    }

    /// The commit's own reading, without what is laid over it.
    pub fn snapshot(&self) -> &Snapshot {
        &self.snapshot
    }

    /// The files that were read, for naming pending edits that would change an answer.
    pub fn touched(&self) -> Vec<String> {
        self.touched.borrow().iter().cloned().collect()
    }

    /// What is laid over the commit.
    pub fn overlay(&self) -> &BTreeMap<String, Option<Vec<u8>>> {
        &self.overlay
    }

    /// The same library, but each part, build, session, cell, instrument and columns record is read once: for answers
    /// over many pulls, which share them.
    #[must_use]
    pub fn remembering(self) -> Self {
        Self { memo: Some(Memo::default()), ..self }
    }

    /// The same library where nobody asks which files were read.
    #[must_use]
    pub(super) fn uncounted(self) -> Self {
        Self { counts_touched: false, ..self }
    }

    /// Forgets the records that it remembers; where records lie it still knows.
    pub(super) fn forget(&mut self) {
        self.memo = self.memo.take().map(|_| Memo::default());
    }

    /// Does something and tells on which records its outcome rests, whether they are there or not: the paths of their
    /// manifests, and [`part_key`] and [`pull_key`] for those that may lie in any folder.
    pub(super) fn relying<T>(&self, work: impl FnOnce() -> T) -> (T, BTreeSet<String>) {
        let outer = self.relied.replace(Some(BTreeSet::new()));
        let outcome = work();
        let relied = self.relied.replace(outer).unwrap_or_default();
        (outcome, relied)
    }

    /// Counts what something that is remembered rests on.
    pub(super) fn rely_on(&self, keys: &BTreeSet<String>) {
        if let Some(relied) = self.relied.borrow_mut().as_mut() {
            relied.extend(keys.iter().cloned());
        }
    }

    fn rely(&self, key: impl FnOnce() -> String) {
        if let Some(relied) = self.relied.borrow_mut().as_mut() {
            relied.insert(key());
        }
    }

    /// Lays a file over the rest; `None` takes it away.
    pub fn lay(&mut self, path: &str, bytes: Option<Vec<u8>>) {
        self.overlay.insert(path.to_owned(), bytes);
        self.pull_paths = OnceCell::new();
        self.session_days = OnceCell::new();
        self.memo = self.memo.take().map(|_| Memo::default());
    }

    /// The bytes of a file.
    ///
    /// # Errors
    /// The store's.
    pub fn read(&self, path: &str) -> Result<Option<Vec<u8>>, Failure> {
        self.touch(path);
        match self.overlay.get(path) {
            Some(bytes) => Ok(bytes.clone()),
            None => Ok(self.snapshot.read(path)?),
        }
    }

    pub(super) fn touch(&self, path: &str) {
        if !self.counts_touched {
            return;
        }
        let mut touched = self.touched.borrow_mut();
        if !touched.contains(path) {
            touched.insert(path.to_owned());
        }
    }

    /// Whether something is laid over the commit at or below a path.
    pub(super) fn covers(&self, path: &str) -> bool {
        self.overlay.range(path.to_owned()..).next().is_some_and(|(first, _)| first.starts_with(path))
    }

    /// Does something whose reading is not to count as touched: its outcome is the same whether it is read or
    /// remembered.
    pub(super) fn aside<T>(&self, work: impl FnOnce() -> T) -> T {
        let before = self.touched.borrow().clone();
        let outcome = work();
        self.touched.replace(before);
        outcome
    }

    /// What decides how manifests are read: the program's version and the book's own schemas.
    ///
    /// # Errors
    /// The store's.
    pub(super) fn read_by(&self) -> Result<String, Failure> {
        let own = self.snapshot.id_of("schema")?.map(|id| id.to_string()).unwrap_or_default();
        let versions: Vec<String> =
            self.kinds.versions.iter().map(|(name, version)| format!("{name}-{version}")).collect();
        Ok(format!("{} {own} {}", env!("CARGO_PKG_VERSION"), versions.join(" ")))
    }

    /// The days of all sessions. Reading them does not count as touched.
    ///
    /// # Errors
    /// The store's.
    pub(super) fn session_days(&self) -> Result<&SessionDays, Failure> {
        if let Some(days) = self.session_days.get() {
            return Ok(days);
        }
        let days = self.aside(|| briefs::session_days(self))?;
        Ok(self.session_days.get_or_init(|| days))
    }

    /// The flow sheets of a part in a state from one side, newest first. Every sheet of the book counts as read: each
    /// might be one of these.
    ///
    /// # Errors
    /// A manifest does not hold.
    pub(super) fn flow_sheets_of(&self, part: &PartState, side: PortSide) -> Result<Vec<FlowSheet>, Failure> {
        let tags = self.aside(|| briefs::flow_tags(self, part, side))?;
        for tag in self.tags("flow")? {
            self.touch(&flow_path(&tag));
        }
        let mut sheets = Vec::new();
        for tag in tags.iter().rev() {
            sheets.extend(self.flow(tag)?);
        }
        Ok(sheets)
    }

    /// The names in a folder, files and folders alike, sorted.
    ///
    /// # Errors
    /// The store's.
    pub fn names(&self, folder: &str) -> Result<BTreeSet<String>, Failure> {
        let mut names: BTreeSet<String> =
            self.snapshot.list(folder)?.into_iter().map(|entry| entry.name).collect();
        let prefix = format!("{folder}/");
        for (path, bytes) in &self.overlay {
            let Some(rest) = path.strip_prefix(&prefix) else {
                continue;
            };
            match (rest.split_once('/'), bytes) {
                (Some((inner, _)), Some(_)) => drop(names.insert(inner.to_owned())),
                (None, Some(_)) => drop(names.insert(rest.to_owned())),
                (None, None) => drop(names.remove(rest)),
                (Some(_), None) => {}
            }
        }
        Ok(names)
    }

    /// Whether a folder has an entry of that name.
    ///
    /// # Errors
    /// The store's.
    pub(super) fn holds(&self, folder: &str, name: &str) -> Result<bool, Failure> {
        if self.covers(&format!("{folder}/")) {
            return Ok(self.names(folder)?.contains(name));
        }
        Ok(self.snapshot.holds(folder, name)?)
    }

    /// The tags in a folder of `<tag>.yaml` files.
    ///
    /// # Errors
    /// The store's.
    pub fn tags(&self, folder: &str) -> Result<Vec<String>, Failure> {
        Ok(self
            .names(folder)?
            .iter()
            .filter_map(|name| name.strip_suffix(".yaml"))
            .map(str::to_owned)
            .collect())
    }

    /// The tree of a manifest.
    ///
    /// # Errors
    /// The store's, or that it cannot be read as YAML.
    pub fn tree(&self, path: &str) -> Result<Option<Node>, Failure> {
        match self.read(path)? {
            Some(bytes) => Ok(Some(yaml::read(path, &bytes)?)),
            None => Ok(None),
        }
    }

    fn record<T>(
        &self,
        path: &str,
        bind: impl Fn(&str, &Node, &Kinds) -> bind::Bound<T>,
    ) -> Result<Option<T>, Failure> {
        let Some(root) = self.tree(path)? else {
            return Ok(None);
        };
        match bind(path, &root, &self.kinds) {
            (Some(record), _) => Ok(Some(record)),
            (None, findings) => {
                Err(Failure::faults(findings.into_iter().filter(Finding::is_error).collect()))
            }
        }
    }

    fn required<T>(
        &self,
        path: &str,
        what: &str,
        bind: impl Fn(&str, &Node, &Kinds) -> bind::Bound<T>,
    ) -> Result<T, Failure> {
        self.record(path, bind)?.ok_or_else(|| {
            Finding::error("not-found", format!("{what} is not in the book"))
                .at(Place::file(path))
                .next("`mulebook audit` tells what else is missing")
                .into()
        })
    }
}

/// Whether all bytes were at hand: an object that is missing now may be there again later, under the same name.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Whole {
    /// They were.
    Yes,
    /// One was not.
    No,
}

impl Whole {
    /// Whether those of a manifest are.
    pub(super) fn of(library: &Library, path: &str) -> Self {
        if library.read(path).is_ok() { Self::Yes } else { Self::No }
    }
}

/// Version of the book's form that this program writes.
pub const FORMAT: u32 = 1;

/// What stands for a part wherever its manifest lies.
pub(super) fn part_key(tag: &str) -> String {
    format!("part:{tag}")
}

/// What stands for a pull wherever its manifest lies.
pub(super) fn pull_key(id: &str) -> String {
    format!("pull:{id}")
}

/// Where a build's manifest is.
pub fn build_path(name: &str) -> String {
    format!("builds/{name}/build.yaml")
}

/// Where a claim is.
pub fn claim_path(tag: &str) -> String {
    format!("claims/{tag}.yaml")
}

/// Where a flow sheet is.
pub fn flow_path(tag: &str) -> String {
    format!("flow/{tag}.yaml")
}

/// Where a columns record is.
pub fn columns_path(name: &str) -> String {
    format!("columns/{name}.yaml")
}

/// Reads a columns record, its findings placed in the manifest's lines.
///
/// # Errors
/// What does not hold.
pub fn columns_of(path: &str, root: &Node) -> Result<Columns, Vec<Finding>> {
    Columns::from_value(&root.to_json()).map_err(|findings| {
        findings
            .into_iter()
            .map(|finding| {
                let field = finding.place.as_ref().and_then(|place| place.field.clone()).unwrap_or_default();
                let steps: Vec<&str> = field.split('.').collect();
                let line = (0..=steps.len())
                    .rev()
                    .find_map(|depth| root.at(&steps[..depth]))
                    .map_or(1, |node| node.line);
                finding.at(Place::file(path).line(line).field(field))
            })
            .collect()
    })
}
