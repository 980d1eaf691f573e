//! What the gate asks of files as files: of raw files that they are here and that nobody edits or removes one, of records
//! that every system can keep them apart.

use crate::finding::Finding;
use crate::finding::Place;
use crate::manifest::node::Node;
use crate::record::NamedFigure;
use crate::record::RawFile;
use crate::store::RawCheck;
use crate::store::RawPlace;
use crate::store::digest;
use crate::workflow::Failure;
use crate::workflow::Library;
use crate::workflow::gate::Gate;

impl Gate<'_> {
    /// The photos and scans that show a record's figures.
    pub(super) fn files_shown(&mut self, path: &str, figures: &[NamedFigure<'_>]) -> Result<(), Failure> {
        for entry in figures.iter().flat_map(|(_, figure)| &figure.entries) {
            for file in &entry.files {
                self.file_shown(path, entry.line, file)?;
            }
        }
        Ok(())
    }

    /// One that an edit names anew is in the book, with the bytes that are said; one that was named before may be missing
    /// in this copy of the book, as any large raw file may. Bytes that do not hold are told by those who read them.
    fn file_shown(&mut self, path: &str, line: usize, file: &RawFile) -> Result<(), Failure> {
        let here = self.book.raw().open(&file.sha256)?.map(|reader| reader.length());
        if here == Some(file.bytes) || self.taken.contains(&file.sha256) {
            return Ok(());
        }
        let place = Place::file(path).line(line.max(1)).field("files");
        let before = self.library.snapshot().read(path)?.unwrap_or_default();
        let known = memchr::memmem::find(&before, file.sha256.as_bytes()).is_some();
        let finding = match self.book.raw().check(&file.sha256)? {
            RawCheck::Damaged { .. } => return Ok(()),
            RawCheck::Good { bytes } => {
                Finding::error("file-length", "the file beside this figure is not as long as is said here")
                    .found(format!("`bytes: {}`", file.bytes))
                    .expected(format!("{bytes} bytes, as the book has {}", file.file))
                    .next("mend `bytes:` in the record")
            }
            RawCheck::Missing if known => {
                Finding::note("raw-not-here", "this file beside a figure is not in this copy of the book")
                    .found(format!("{} (SHA-256 {})", file.file, file.sha256))
            }
            RawCheck::Missing => Finding::error(
                "file-not-kept",
                "the file beside this figure is not in the book",
            )
            .found(format!("no bytes of SHA-256 {}", file.sha256))
            .expected(format!("those of {}", file.file))
            .next(
                "`mulebook measure TARGET FIGURE --photo FILE` takes a file in and writes this line itself",
            ),
        };
        self.findings.push(finding.at(place));
        Ok(())
    }

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
