//! What the gate asks of files as files: of raw files that they are here and that nobody edits or removes one, of records
//! that every system can keep them apart.

use crate::finding::Finding;
use crate::finding::Place;
use crate::manifest::node::Node;
use crate::record::RawFile;
use crate::store::RawPlace;
use crate::store::digest;
use crate::workflow::Failure;
use crate::workflow::Library;
use crate::workflow::gate::Gate;

impl Gate<'_> {
    /// The raw files that a record names, with their columns records.
    pub(super) fn raw_files(&mut self, path: &str, root: &Node, files: &[RawFile]) -> Result<(), Failure> {
        for raw in files {
            if let Some(columns) = &raw.columns {
                let at = crate::workflow::library::columns_path(columns);
                self.exists(path, root, "columns", &at, columns, "`mulebook pull FILE --name-columns NAME`")?;
            }
            let in_git = RawPlace::InGit.path(&raw.sha256);
            let here = self.taken.contains(&raw.sha256)
                || self.library.snapshot().exists(&in_git)?
                || self.book.raw().open(&raw.sha256)?.is_some();
            if !here {
                self.findings.push(
                    Finding::note("raw-not-here", "this raw file is not in this copy of the book")
                        .at(Place::file(path).field("raw"))
                        .found(format!("{} (SHA-256 {})", raw.file, raw.sha256)),
                );
            }
        }
        Ok(())
    }

    /// A raw file is evidence: its bytes are those it is named by, and it stays.
    pub(super) fn raw_unedited(&mut self, path: &str) -> Result<(), Failure> {
        let Some(name) = path.rsplit('/').next().filter(|name| RawPlace::InGit.path(name) == path) else {
            return Ok(());
        };
        let found = match self.library.read(path)? {
            Some(bytes) => format!("SHA-256 {}", digest(&bytes)),
            None => "no file".to_owned(),
        };
        if found != format!("SHA-256 {name}") {
            self.findings.push(
                Finding::error("raw-edited", "a raw file is evidence: it is neither edited nor removed")
                    .at(Place::file(path))
                    .found(found)
                    .expected(format!("SHA-256 {name}"))
                    .next(
                        "`mulebook mend` puts it back as it was kept; a changed file is taken in as another",
                    ),
            );
        }
        Ok(())
    }

    /// Two names of a folder that some file systems take for one.
    pub(super) fn refuse_twin(&mut self, path: &str) -> Result<(), Failure> {
        self.findings.extend(name_twin(self.library, path)?);
        Ok(())
    }
}

/// Some file systems take names that differ by case alone for one name: the second would lie over the first.
///
/// # Errors
/// The store's.
pub(super) fn name_twin(library: &Library, path: &str) -> Result<Option<Finding>, Failure> {
    let mut folder = String::new();
    for name in path.split('/') {
        let folded = name.to_lowercase();
        let same = |other: &String| other != name && other.to_lowercase() == folded;
        if let Some(twin) = library.names(&folder)?.into_iter().find(same) {
            return Ok(Some(
                Finding::error("name-twin", "this name differs from another by case alone")
                    .at(Place::file(path))
                    .found(format!("`{name}` beside `{twin}`"))
                    .next("choose another name: on some systems the two are one file"),
            ));
        }
        folder = if folder.is_empty() { name.to_owned() } else { format!("{folder}/{name}") };
    }
    Ok(None)
}
