//! A witness's signature put beside the seal of a dossier that somebody else made: every other file stays as it is.

use std::collections::BTreeMap;
use std::io::{self, Read, Seek, Write};

use crate::evidence::archive::{ArchiveWriter, Changed, Measured, measure};
use crate::evidence::bag::{PAYLOAD, TAG_MANIFEST, signature_of};
use crate::evidence::name::escaped;
use crate::evidence::open::Opened;
use crate::evidence::signature::{Role, Seal, WITNESS_NAMESPACE, check};
use crate::evidence::signers::Signers;
use crate::evidence::write::{Sealer, WriteError};
use crate::finding::Finding;
use crate::finding::Place;

/// The names that countersignatures are given: `tagmanifest-sha256.txt.witness-1.sig`, up to the most that are read.
const MOST: usize = 31;

/// What was added.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Countersigned {
    /// The file that holds the countersignature, below the folder at the top.
    pub file: String,
    /// The witness's key, as `ssh-keygen -l` shows it.
    pub fingerprint: String,
    /// Length of the new zip file.
    pub archive: u64,
}

/// Writes a dossier that was opened once more, with a countersignature over its tag manifest. Files are hashed again on the
/// way: what was not checked does not get through.
///
/// # Errors
///
/// The dossier is signed by nobody, is signed by this very key, holds its countersignature already, or has changed since it was
/// opened; a failing sealer; a failing writer.
pub fn countersign<R: Read + Seek>(
    opened: &mut Opened<R>,
    sealer: &mut dyn Sealer,
    out: &mut dyn Write,
    progress: &mut dyn FnMut(u64),
) -> Result<Countersigned, WriteError> {
    if !opened.signatures.iter().any(|seal| seal.role == Role::Shop) {
        return refused(
            "signature-missing",
            "nobody signed the dossier: there is no seal to stand beside",
            "ask the shop for the signed dossier",
        );
    }
    let tags = tag_manifest(opened)?;
    let name = (1..=MOST).map(|number| format!("{TAG_MANIFEST}.witness-{number}.sig"));
    let signatures = opened.tags.keys().filter(|name| signature_of(name).is_some()).count();
    let Some(file) =
        name.into_iter().find(|name| !opened.tags.contains_key(name)).filter(|_| signatures <= MOST)
    else {
        return refused(
            "signature-too-many",
            "the dossier holds as many signatures as are checked",
            "sign the dossier as the shop sent it",
        );
    };
    let armour = sealer.seal(WITNESS_NAMESPACE, &tags).map_err(WriteError::Sealer)?;
    let unusable = |finding: Finding| WriteError::Sealer(finding.to_string());
    let seal = check(&file, armour.as_bytes(), &tags, &Signers::none(), 0).map_err(unusable)?.0;
    beside(opened, &seal)?;

    let mut bag: BTreeMap<String, Option<String>> = BTreeMap::new();
    bag.extend(opened.tags.iter().map(|(name, sha256)| (name.clone(), Some(sha256.clone()))));
    bag.extend(
        opened.payload.iter().map(|(path, file)| (format!("{PAYLOAD}{path}"), Some(file.sha256.clone()))),
    );
    bag.insert(file.clone(), None);
    let mut archive = ArchiveWriter::new(out);
    let mut done = 0;
    for (name, sha256) in &bag {
        let place = format!("{}/{name}", opened.claim);
        let Some(sha256) = sha256 else {
            let measured = measure(&mut armour.as_bytes(), u64::MAX).map_err(WriteError::Out)?;
            archive.file(&place, &measured, &mut armour.as_bytes()).map_err(WriteError::Out)?;
            continue;
        };
        let measured = measured(opened, &place)?;
        if measured.sha256 != *sha256 {
            return Err(changed(name));
        }
        let source = |source| WriteError::Source { path: name.clone(), source };
        let entry = opened.archive.files.get(&place).cloned().ok_or_else(|| changed(name))?;
        let mut reader = opened.archive.reader(&entry).map_err(source)?;
        archive.file(&place, &measured, &mut reader).map_err(|error| {
            let other = error.get_ref().is_some_and(<dyn std::error::Error + Send + Sync>::is::<Changed>);
            if other { changed(name) } else { WriteError::Out(error) }
        })?;
        done += measured.length;
        progress(done);
    }
    let archive = archive.finish().map_err(WriteError::Out)?;
    Ok(Countersigned { file, fingerprint: seal.fingerprint, archive })
}

/// A witness is somebody else, and signs once.
fn beside<R>(opened: &Opened<R>, seal: &Seal) -> Result<(), WriteError> {
    match opened.signatures.iter().find(|there| there.fingerprint == seal.fingerprint) {
        None => Ok(()),
        Some(there) if there.role == Role::Shop => refused(
            "witness-is-signer",
            "this key sealed the dossier: it cannot be a witness of itself",
            "sign with the key of whoever was handed the dossier",
        ),
        Some(there) => Err(WriteError::Refused(
            Finding::error("countersigned-already", "this key has countersigned the dossier already")
                .at(Place::file(escaped(&there.file)))
                .next("nothing is to be done: the countersignature is inside"),
        )),
    }
}

fn tag_manifest<R: Read + Seek>(opened: &mut Opened<R>) -> Result<Vec<u8>, WriteError> {
    let mut bytes = Vec::new();
    let place = format!("{}/{TAG_MANIFEST}", opened.claim);
    let entry = opened.archive.files.get(&place).cloned().ok_or_else(|| changed(TAG_MANIFEST))?;
    let source = |source| WriteError::Source { path: TAG_MANIFEST.to_owned(), source };
    opened.archive.reader(&entry).and_then(|mut reader| reader.read_to_end(&mut bytes)).map_err(source)?;
    let measured = measure(&mut bytes.as_slice(), u64::MAX).map_err(source)?;
    if measured.sha256 == opened.seal { Ok(bytes) } else { Err(changed(TAG_MANIFEST)) }
}

fn measured<R: Read + Seek>(opened: &mut Opened<R>, place: &str) -> Result<Measured, WriteError> {
    let source = |source: io::Error| WriteError::Source { path: place.to_owned(), source };
    let entry = opened.archive.files.get(place).cloned().ok_or_else(|| changed(place))?;
    let mut reader = opened.archive.reader(&entry).map_err(source)?;
    measure(&mut reader, u64::MAX).map_err(source)
}

fn changed(name: &str) -> WriteError {
    WriteError::Refused(
        Finding::error("payload-changed", "the file changed since it was checked")
            .at(Place::file(escaped(name)))
            .next("copy the dossier to a place that nobody else writes to and try again"),
    )
}

fn refused<T>(code: &'static str, message: &str, next: &str) -> Result<T, WriteError> {
    Err(WriteError::Refused(Finding::error(code, message).next(next)))
}
