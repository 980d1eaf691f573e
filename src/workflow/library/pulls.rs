//! Where the pulls of a book lie.

use std::collections::BTreeMap;

use crate::workflow::Failure;
use crate::workflow::Library;
use crate::workflow::library::folder_index;
use crate::workflow::library::folder_index::FolderIndex;

impl Library {
    /// Where each pull's manifest is, by id.
    ///
    /// # Errors
    /// The store's.
    pub fn pull_paths(&self) -> Result<&BTreeMap<String, String>, Failure> {
        if let Some(paths) = self.pull_paths.get() {
            return Ok(paths);
        }
        let paths = if self.covers("builds/") {
            let mut paths = BTreeMap::new();
            for build in self.names("builds")? {
                let folder = format!("builds/{build}/pulls");
                for id in self.tags(&folder)? {
                    paths.insert(id.clone(), format!("{folder}/{id}.yaml"));
                }
            }
            paths
        } else {
            self.pull_index()?.paths()
        };
        Ok(self.pull_paths.get_or_init(|| paths))
    }

    /// Whether there is any pull.
    ///
    /// # Errors
    /// The store's.
    pub(in crate::workflow) fn holds_pulls(&self) -> Result<bool, Failure> {
        if self.covers("builds/") {
            return Ok(!self.pull_paths()?.is_empty());
        }
        Ok(!self.pull_index()?.is_empty())
    }

    fn pull_index(&self) -> Result<&FolderIndex, Failure> {
        if let Some(index) = self.pull_index.get() {
            return Ok(index);
        }
        let index = FolderIndex::of(&self.snapshot, folder_index::PULLS)?;
        Ok(self.pull_index.get_or_init(|| index))
    }

    /// Where a pull's manifest is.
    ///
    /// # Errors
    /// The store's.
    pub fn pull_path(&self, id: &str) -> Result<Option<String>, Failure> {
        if let Some(paths) = self.pull_paths.get() {
            return Ok(paths.get(id).cloned());
        }
        if self.covers("builds/") {
            return Ok(self.pull_paths()?.get(id).cloned());
        }
        Ok(self.pull_index()?.folder(id).map(|build| format!("builds/{build}/pulls/{id}.yaml")))
    }

    /// The ids and paths of the pulls whose id begins so, sorted.
    ///
    /// # Errors
    /// The store's.
    pub fn pulls_beginning(&self, prefix: &str) -> Result<BTreeMap<String, String>, Failure> {
        if !self.covers("builds/") {
            return Ok(self.pull_index()?.beginning(prefix));
        }
        let paths = self.pull_paths()?.range(prefix.to_owned()..);
        Ok(paths
            .take_while(|(id, _)| id.starts_with(prefix))
            .map(|(id, path)| (id.clone(), path.clone()))
            .collect())
    }

    /// The folders of `builds/` in which a pull of that id lies; more than one only where something was copied by hand.
    ///
    /// # Errors
    /// The store's.
    pub(crate) fn pull_folders(&self, id: &str) -> Result<Vec<String>, Failure> {
        Ok(self.pull_index()?.folders(id))
    }
}
