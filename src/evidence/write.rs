//! Writing a dossier: read every file once to know it, then lay out bag, seal and archive in one pass.

use std::collections::BTreeMap;
use std::fmt;
use std::io::{self, Cursor, Read, Write};

use chrono::DateTime;
use chrono::FixedOffset;
use sha2::Digest;
use sha2::Sha256;

use crate::evidence::Limits;
use crate::evidence::archive::{ArchiveWriter, Changed, Measured, measure};
use crate::evidence::bag::{
    DECLARATION, DECLARATION_TEXT, INFORMATION, MANIFEST, PAYLOAD, TAG_MANIFEST, information_text,
    manifest_text,
};
use crate::evidence::description::{CRATE_FILE, Description, Listed, crate_text};
use crate::evidence::name::{escaped, fault_of_part, fault_of_path, hexadecimal};
use crate::evidence::signature::{NAMESPACE, holds, read_armour};
use crate::finding::Finding;
use crate::finding::Place;

/// Where the bytes of a payload file come from. They are read twice, so each reading begins at the beginning.
pub trait Payload {
    /// Opens the file for one reading.
    ///
    /// # Errors
    ///
    /// That of opening it.
    fn open(&self) -> io::Result<Box<dyn Read + '_>>;
}

impl Payload for Vec<u8> {
    fn open(&self) -> io::Result<Box<dyn Read + '_>> {
        Ok(Box::new(Cursor::new(self)))
    }
}

impl Payload for String {
    fn open(&self) -> io::Result<Box<dyn Read + '_>> {
        Ok(Box::new(Cursor::new(self.as_bytes())))
    }
}

/// Opens a payload file by a function.
pub struct Opening<F>(pub F);

impl<F: Fn() -> io::Result<Box<dyn Read>>> Payload for Opening<F> {
    fn open(&self) -> io::Result<Box<dyn Read + '_>> {
        (self.0)()
    }
}

/// Signs bytes under a namespace.
pub trait Sealer {
    /// An armoured SSH signature over the bytes.
    ///
    /// # Errors
    ///
    /// Why there is none, in plain words.
    fn seal(&mut self, namespace: &str, bytes: &[u8]) -> Result<String, String>;
}

/// What goes into a dossier.
#[derive(Default)]
pub struct Contents<'a> {
    /// The claim's name, after which the one folder at the top is called.
    pub claim: String,
    /// The payload by paths below `data/` ([`super::safe_path`] makes such paths). The crate's metadata are added.
    pub payload: BTreeMap<String, Box<dyn Payload + 'a>>,
    /// Facts for people, label and value, for `bag-info.txt`: the labels that RFC 8493 reserves (`Source-Organization`,
    /// `Contact-Name`, `External-Description`, `External-Identifier`) and any other. Day and count are added.
    pub information: Vec<(String, String)>,
    /// What it is about.
    pub description: Description,
}

impl fmt::Debug for Contents<'_> {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let paths: Vec<&String> = self.payload.keys().collect();
        f.debug_struct("Contents")
            .field("claim", &self.claim)
            .field("payload", &paths)
            .finish_non_exhaustive()
    }
}

/// What was written.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Written {
    /// SHA-256 of the tag manifest: the one figure that stands for the whole dossier.
    pub seal: String,
    /// Payload files, the crate's metadata with them.
    pub files: usize,
    /// Their bytes together.
    pub bytes: u64,
    /// Length of the zip file.
    pub archive: u64,
    /// Whether it was signed.
    pub signed: bool,
}

/// Why a dossier was not written. What has been written by then is no dossier and is to be thrown away.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum WriteError {
    /// What was to go in may not.
    #[error("{0}")]
    Refused(Finding),
    /// A payload file could not be read.
    #[error("{path} could not be read: {source}")]
    Source {
        /// Its path in the payload.
        path: String,
        /// What came of the reading.
        source: io::Error,
    },
    /// The file could not be written.
    #[error("the dossier could not be written: {0}")]
    Out(io::Error),
    /// There is no signature.
    #[error("the dossier was not signed: {0}")]
    Sealer(String),
}

fn refused<T>(finding: Finding) -> Result<T, WriteError> {
    Err(WriteError::Refused(finding))
}

/// A file of the bag: what was measured, and where its bytes come from.
type File<'c> = (Measured, &'c (dyn Payload + 'c));

/// Writes a dossier. The same contents on the same day, signed with the same Ed25519 key, give the same bytes; but for the
/// day in `bag-info.txt`, and what follows from it, so they do on any day.
///
/// `progress` is told the bytes done and the bytes to do, both counted over the two readings.
///
/// # Errors
///
/// Names, sizes and numbers that [`super::open()`] would refuse; sources that cannot be read or change between the readings;
/// a failing sealer; a failing writer.
pub fn write(
    contents: &Contents<'_>,
    sealer: Option<&mut dyn Sealer>,
    when: DateTime<FixedOffset>,
    out: &mut dyn Write,
    progress: &mut dyn FnMut(u64),
) -> Result<Written, WriteError> {
    let limits = Limits::default();
    check_names(contents)?;
    let mut payload = BTreeMap::new();
    let mut done = 0;
    for (path, source) in &contents.payload {
        let read = source.open().and_then(|mut source| measure(&mut source, limits.file));
        let measured = read.map_err(|source| WriteError::Source { path: path.clone(), source })?;
        if measured.length > limits.file {
            return refused(too_large(path, limits.file));
        }
        done += measured.length;
        if done > limits.total {
            return refused(too_large("data", limits.total));
        }
        progress(done);
        payload.insert(path.as_str(), (measured, source.as_ref()));
    }
    let listed: Vec<Listed<'_>> = payload
        .iter()
        .map(|(path, (measured, _))| Listed { path, sha256: &measured.sha256, length: measured.length })
        .collect();
    let metadata = crate_text(&contents.description, &listed).map_err(WriteError::Refused)?;
    if metadata.len() as u64 > limits.json {
        return refused(too_large(CRATE_FILE, limits.json));
    }
    payload.insert(CRATE_FILE, (known(&metadata)?, &metadata));
    if payload.len() as u64 + TAG_FILES > limits.entries {
        return refused(
            Finding::error("archive-too-many", "the dossier would hold more files than one may")
                .found(payload.len().to_string())
                .expected(format!("at most {}", limits.entries - TAG_FILES)),
        );
    }
    let bytes = payload.values().map(|(measured, _)| measured.length).sum();
    let files = payload.len();

    let day = when.format("%Y-%m-%d").to_string();
    let information =
        information_text(&contents.information, &day, bytes, files).map_err(WriteError::Refused)?;
    let names: Vec<String> = payload.keys().map(|path| format!("{PAYLOAD}{path}")).collect();
    let manifest = manifest_text(
        names.iter().map(String::as_str).zip(payload.values().map(|(measured, _)| measured.sha256.as_str())),
    );
    let declaration = DECLARATION_TEXT.to_owned();
    let hashes = [(INFORMATION, &information), (DECLARATION, &declaration), (MANIFEST, &manifest)]
        .map(|(name, text)| (name, hexadecimal(&Sha256::digest(text.as_bytes()))));
    let tags = manifest_text(hashes.iter().map(|(name, sha256)| (*name, sha256.as_str())));
    let signature = sealer.map(|sealer| sealed(sealer, &tags)).transpose()?;

    let signature_name = format!("{TAG_MANIFEST}.sig");
    let mut bag: BTreeMap<String, File<'_>> = names.into_iter().zip(payload.into_values()).collect();
    for (name, text) in [
        (DECLARATION, Some(&declaration)),
        (INFORMATION, Some(&information)),
        (MANIFEST, Some(&manifest)),
        (TAG_MANIFEST, Some(&tags)),
        (&signature_name, signature.as_ref()),
    ] {
        if let Some(text) = text {
            bag.insert(name.to_owned(), (known(text)?, text));
        }
    }
    let mut archive = ArchiveWriter::new(out);
    for (name, (measured, source)) in &bag {
        let failed = |error| WriteError::Source { path: name.clone(), source: error };
        let mut reader = source.open().map_err(failed)?;
        archive.file(&format!("{}/{name}", contents.claim), measured, &mut reader).map_err(|error| {
            let changed = error.get_ref().is_some_and(<dyn std::error::Error + Send + Sync>::is::<Changed>);
            if changed { failed(error) } else { WriteError::Out(error) }
        })?;
        done += measured.length;
        progress(done);
    }
    let archive = archive.finish().map_err(WriteError::Out)?;
    let seal = hexadecimal(&Sha256::digest(tags.as_bytes()));
    Ok(Written { seal, files, bytes, archive, signed: signature.is_some() })
}

/// Files of the bag beside the payload.
const TAG_FILES: u64 = 5;

fn too_large(path: &str, most: u64) -> Finding {
    Finding::error("archive-too-large", "the dossier would be larger than one may be")
        .at(Place::file(escaped(path)))
        .expected(format!("at most {most} bytes"))
}

fn known(text: &str) -> Result<Measured, WriteError> {
    measure(&mut text.as_bytes(), u64::MAX).map_err(WriteError::Out)
}

fn sealed(sealer: &mut dyn Sealer, tags: &str) -> Result<String, WriteError> {
    let armour = sealer.seal(NAMESPACE, tags.as_bytes()).map_err(WriteError::Sealer)?;
    // A signer that gives something else would leave a dossier that nobody can open.
    read_armour(TAG_MANIFEST, armour.as_bytes())
        .and_then(|(signature, _)| holds(TAG_MANIFEST, &signature, &[NAMESPACE], tags.as_bytes()))
        .map_err(|finding| WriteError::Sealer(finding.to_string()))?;
    Ok(armour)
}

fn check_names(contents: &Contents<'_>) -> Result<(), WriteError> {
    let refusal = |name: &str, fault: &str| {
        refused(
            Finding::error("archive-name", "a name may not stand in a dossier")
                .at(Place::file(escaped(name)))
                .found(fault.to_owned()),
        )
    };
    if let Some(fault) = fault_of_part(&contents.claim) {
        return refusal(&contents.claim, fault);
    }
    let mut folded = BTreeMap::new();
    for path in contents.payload.keys() {
        if let Some(fault) = fault_of_path(path) {
            return refusal(path, fault);
        }
        if path == CRATE_FILE {
            return refusal(path, "the name of the crate's own metadata");
        }
        for end in path.match_indices('/').map(|(at, _)| at).chain([path.len()]) {
            let (whole, above) = (end == path.len(), &path[..end]);
            let before = folded.insert(above.to_ascii_lowercase(), (above, whole));
            if before.is_some_and(|before| before != (above, false) || whole) {
                return refusal(
                    path,
                    "a name that differs from another only in capital letters, or is both file and folder",
                );
            }
        }
    }
    Ok(())
}
