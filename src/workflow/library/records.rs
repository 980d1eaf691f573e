//! The records of a book by name.

use std::collections::BTreeMap;
use std::sync::Arc;

use crate::manifest::bind;
use crate::record::Build;
use crate::record::Cell;
use crate::record::Claim;
use crate::record::FlowSheet;
use crate::record::Instrument;
use crate::record::Part;
use crate::record::Person;
use crate::record::Pull;
use crate::record::Session;
use crate::record::columns::Columns;
use crate::workflow::Failure;
use crate::workflow::Library;
use crate::workflow::library::UNASSIGNED;
use crate::workflow::library::build_path;
use crate::workflow::library::claim_path;
use crate::workflow::library::columns_of;
use crate::workflow::library::columns_path;
use crate::workflow::library::flow_path;
use crate::workflow::library::folder_index;
use crate::workflow::library::folder_index::FolderIndex;
use crate::workflow::library::part_key;
use crate::workflow::library::pull_key;

impl Library {
    /// Everybody in people.yaml.
    ///
    /// # Errors
    /// The file cannot be read.
    pub fn people(&self) -> Result<BTreeMap<String, Person>, Failure> {
        Ok(self.record("people.yaml", bind::people)?.unwrap_or_default())
    }

    /// The path of a part's manifest.
    ///
    /// # Errors
    /// The store's.
    pub fn part_path(&self, tag: &str) -> Result<Option<String>, Failure> {
        if let Some(known) = self.memo.as_ref().and_then(|memo| memo.part_paths.borrow().get(tag).cloned()) {
            return Ok(known);
        }
        let found = if self.covers("parts/") {
            let file = format!("{tag}.yaml");
            let mut found = None;
            for kind in self.names("parts")? {
                let folder = format!("parts/{kind}");
                if self.holds(&folder, &file)? {
                    found = Some(format!("{folder}/{file}"));
                    break;
                }
            }
            found
        } else {
            self.part_index()?.first(tag).map(|kind| format!("parts/{kind}/{tag}.yaml"))
        };
        if let Some(memo) = &self.memo {
            memo.part_paths.borrow_mut().insert(tag.to_owned(), found.clone());
        }
        Ok(found)
    }

    fn part_index(&self) -> Result<&FolderIndex, Failure> {
        if let Some(index) = self.part_index.get() {
            return Ok(index);
        }
        let index = FolderIndex::of(&self.snapshot, folder_index::PARTS)?;
        Ok(self.part_index.get_or_init(|| index))
    }

    /// Where each part's manifest is, by tag.
    ///
    /// # Errors
    /// The store's.
    pub(in crate::workflow) fn part_paths(&self) -> Result<BTreeMap<String, String>, Failure> {
        let mut paths = BTreeMap::new();
        for kind in self.names("parts")? {
            let folder = format!("parts/{kind}");
            for tag in self.tags(&folder)? {
                let path = format!("{folder}/{tag}.yaml");
                // Of two files of one name the first one is meant, as in `part_path`.
                paths.entry(tag).or_insert(path);
            }
        }
        Ok(paths)
    }

    /// The folders of `parts/` in which a part of that tag lies, where there is more than one.
    ///
    /// # Errors
    /// The store's.
    pub(crate) fn part_folders(&self, tag: &str) -> Result<Vec<String>, Failure> {
        let file = format!("{tag}.yaml");
        let mut folders = Vec::new();
        for kind in self.names("parts")? {
            if self.holds(&format!("parts/{kind}"), &file)? {
                folders.push(kind);
            }
        }
        if folders.len() < 2 {
            folders.clear();
        }
        Ok(folders)
    }

    /// A part.
    ///
    /// # Errors
    /// Its manifest does not hold.
    pub fn part(&self, tag: &str) -> Result<Option<Part>, Failure> {
        Ok(self.shared_part(tag)?.map(Arc::unwrap_or_clone))
    }

    /// A part that is not altered; where records are remembered, the same one each time.
    ///
    /// # Errors
    /// Its manifest does not hold.
    pub(in crate::workflow) fn shared_part(&self, tag: &str) -> Result<Option<Arc<Part>>, Failure> {
        self.rely(|| part_key(tag));
        let Some(path) = self.part_path(tag)? else { return Ok(None) };
        let read = || Ok(self.record(&path, bind::part)?.map(Arc::new));
        self.once(&path, |memo| &memo.parts, read)
    }

    /// The part whose manifest is at a path.
    ///
    /// # Errors
    /// Its manifest does not hold.
    pub(crate) fn part_at(&self, path: &str) -> Result<Option<Part>, Failure> {
        self.rely(|| path.to_owned());
        self.record(path, bind::part)
    }

    /// The tags of all parts.
    ///
    /// # Errors
    /// The store's.
    pub fn part_tags(&self) -> Result<Vec<String>, Failure> {
        let mut tags = Vec::new();
        for kind in self.names("parts")? {
            tags.extend(self.tags(&format!("parts/{kind}"))?);
        }
        tags.sort();
        tags.dedup();
        Ok(tags)
    }

    /// A build.
    ///
    /// # Errors
    /// Its manifest does not hold.
    pub fn build(&self, name: &str) -> Result<Option<Build>, Failure> {
        Ok(self.shared_build(name)?.map(Arc::unwrap_or_clone))
    }

    /// A build that is not altered; where records are remembered, the same one each time.
    ///
    /// # Errors
    /// Its manifest does not hold.
    pub(in crate::workflow) fn shared_build(&self, name: &str) -> Result<Option<Arc<Build>>, Failure> {
        let path = build_path(name);
        self.rely(|| path.clone());
        let read = || Ok(self.record(&path, bind::build)?.map(Arc::new));
        self.once(&path, |memo| &memo.builds, read)
    }

    /// The names of all builds.
    ///
    /// # Errors
    /// The store's.
    pub fn build_names(&self) -> Result<Vec<String>, Failure> {
        let mut names = Vec::new();
        for name in self.names("builds")? {
            if name != UNASSIGNED && self.names(&format!("builds/{name}"))?.contains("build.yaml") {
                names.push(name);
            }
        }
        Ok(names)
    }

    /// The ids of a build's pulls.
    ///
    /// # Errors
    /// The store's.
    pub fn pulls_of(&self, build: &str) -> Result<Vec<String>, Failure> {
        self.tags(&format!("builds/{build}/pulls"))
    }

    /// A pull.
    ///
    /// # Errors
    /// Its manifest does not hold.
    pub fn pull(&self, id: &str) -> Result<Option<Pull>, Failure> {
        self.rely(|| pull_key(id));
        match self.pull_path(id)? {
            Some(path) => self.pull_at(&path),
            None => Ok(None),
        }
    }

    /// The pull whose manifest is at a path.
    ///
    /// # Errors
    /// Its manifest does not hold.
    pub(crate) fn pull_at(&self, path: &str) -> Result<Option<Pull>, Failure> {
        self.rely(|| path.to_owned());
        self.record(path, bind::pull)
    }

    /// A session.
    ///
    /// # Errors
    /// Its manifest does not hold.
    pub fn session(&self, tag: &str) -> Result<Option<Arc<Session>>, Failure> {
        let path = format!("sessions/{tag}.yaml");
        self.rely(|| path.clone());
        self.once(&path, |memo| &memo.sessions, || Ok(self.record(&path, bind::session)?.map(Arc::new)))
    }

    /// A cell.
    ///
    /// # Errors
    /// Its manifest does not hold.
    pub fn cell(&self, tag: &str) -> Result<Option<Arc<Cell>>, Failure> {
        let path = format!("cells/{tag}.yaml");
        self.rely(|| path.clone());
        self.once(&path, |memo| &memo.cells, || Ok(self.record(&path, bind::cell)?.map(Arc::new)))
    }

    /// An instrument.
    ///
    /// # Errors
    /// Its manifest does not hold.
    pub fn instrument(&self, tag: &str) -> Result<Option<Instrument>, Failure> {
        Ok(self.shared_instrument(tag)?.map(Arc::unwrap_or_clone))
    }

    /// An instrument that is not altered; where records are remembered, the same one each time.
    ///
    /// # Errors
    /// Its manifest does not hold.
    pub(in crate::workflow) fn shared_instrument(
        &self,
        tag: &str,
    ) -> Result<Option<Arc<Instrument>>, Failure> {
        let path = format!("instruments/{tag}.yaml");
        self.rely(|| path.clone());
        let read = || Ok(self.record(&path, bind::instrument)?.map(Arc::new));
        self.once(&path, |memo| &memo.instruments, read)
    }

    /// A claim.
    ///
    /// # Errors
    /// Its manifest does not hold.
    pub fn claim(&self, tag: &str) -> Result<Option<Claim>, Failure> {
        self.record(&claim_path(tag), bind::claim)
    }

    /// A flow sheet.
    ///
    /// # Errors
    /// Its manifest does not hold.
    pub fn flow(&self, tag: &str) -> Result<Option<FlowSheet>, Failure> {
        self.record(&flow_path(tag), bind::flow)
    }

    /// Every flow sheet, by tag.
    ///
    /// # Errors
    /// A manifest does not hold.
    pub fn flow_sheets(&self) -> Result<Vec<FlowSheet>, Failure> {
        let mut sheets = Vec::new();
        for tag in self.tags("flow")? {
            sheets.extend(self.flow(&tag)?);
        }
        Ok(sheets)
    }

    /// A columns record.
    ///
    /// # Errors
    /// Its manifest does not hold.
    pub fn columns(&self, name: &str) -> Result<Option<Arc<Columns>>, Failure> {
        let path = columns_path(name);
        self.rely(|| path.clone());
        let read = || match self.tree(&path)? {
            Some(root) => columns_of(&path, &root).map(Arc::new).map(Some).map_err(Failure::faults),
            None => Ok(None),
        };
        self.once(&path, |memo| &memo.columns, read)
    }
}
