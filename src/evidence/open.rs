//! Opening a dossier: structure first, then seal and hashes, and only then a byte of it is handed out.
//!
//! Nothing is unpacked and nothing is kept: a file that is asked for is read from the archive once more and hashed once
//! more, so an archive that changes under the reader's hands cannot show one thing to the check and another to the reader.

use std::collections::BTreeMap;
use std::io::{self, Read, Seek};

use sha2::Digest;
use sha2::Sha256;

use crate::evidence::Limits;
use crate::evidence::NotOpened;
use crate::evidence::archive::{Archive, Broken, Entry, EntryReader, read_directory};
use crate::evidence::bag::{
    DECLARATION, DECLARATION_TEXT, INFORMATION, Lists, MANIFEST, PAYLOAD, SEALED, TAG_MANIFEST,
    fault_of_tag_file, is_stamp, read_information, read_manifest, signature_of,
};
use crate::evidence::name::{escaped, hexadecimal};
use crate::evidence::signature::{Role, Seal, check};
use crate::evidence::signers::Signers;
use crate::evidence::stamp::{self, Stamp};
use crate::finding::Finding;
use crate::finding::Place;

/// Longest signature and longest declaration, in bytes.
const SIGNATURE: u64 = 16 << 10;
/// Longest list of facts, in bytes.
const FACTS: u64 = 256 << 10;
/// Longest answer of a time-stamping service, with its chain of certificates, in bytes.
const ANSWER: u64 = 64 << 10;
/// Most signatures, and most answers of time-stamping services.
const SIGNATURES: usize = 32;
/// Findings of one kind that are told one by one.
const MOST_TOLD: usize = 100;

/// A payload file.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct PayloadFile {
    /// SHA-256, which the sealed manifest lists and the bytes were found to have.
    pub sha256: String,
    /// Length in bytes.
    pub length: u64,
}

/// A dossier whose structure, seal and hashes hold. Its key may still be one that the reader does not list.
pub struct Opened<R> {
    pub(super) archive: Archive<R>,
    limits: Limits,
    /// SHA-256 of each file beside the payload, as it was checked.
    pub(super) tags: BTreeMap<String, String>,
    /// The name of the folder at the top, the claim's.
    pub claim: String,
    /// SHA-256 of the tag manifest, which stands for the whole dossier.
    pub seal: String,
    /// The facts for people, label and value, in their order.
    pub information: Vec<(String, String)>,
    /// The payload by paths below `data/`.
    pub payload: BTreeMap<String, PayloadFile>,
    /// The signatures that hold, the shop's and witnesses'.
    pub signatures: Vec<Seal>,
    /// What time-stamping services answered for this seal, kept and not relied on.
    pub stamps: Vec<Stamp>,
    /// What remains to be said: errors where the signing key is none that is listed, else doubts.
    pub findings: Vec<Finding>,
}

impl<R> std::fmt::Debug for Opened<R> {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_struct("Opened").field("claim", &self.claim).field("seal", &self.seal).finish_non_exhaustive()
    }
}

/// Why a payload file cannot be had after all.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum PayloadError {
    /// The dossier holds no such file, or one that is too long to be read whole, or it no longer holds what was checked.
    #[error("{0}")]
    Refused(Finding),
    /// It could not be read.
    #[error("the dossier could not be read: {0}")]
    Unreadable(#[from] io::Error),
}

/// Opens a dossier from anywhere, at a moment (seconds since 1970, UTC) that decides which signers are in force.
///
/// `progress` is told how many bytes of the payload have been hashed.
///
/// # Errors
///
/// Everything that was found wrong, in one go as far as it can be told apart; or the failure of reading.
pub fn open<R: Read + Seek>(
    file: R,
    limits: &Limits,
    signers: &Signers,
    at: i64,
    progress: &mut dyn FnMut(u64),
) -> Result<Opened<R>, NotOpened> {
    let mut archive = read_directory(file, limits)?;
    let (claim, tags, payload) = sorted(&archive)?;
    let mut found = archive.doubts.clone();
    let mut wrong = Vec::new();
    let texts = tag_texts(&mut archive, &tags, limits)?;
    let text = |name: &str| texts.get(name).map(Vec::as_slice).unwrap_or_default();
    check_tags(&texts, &mut wrong);
    let signatures = check_signatures(&texts, (signers, at), &mut wrong, &mut found);
    let stamps = check_stamps(&texts, &mut wrong, &mut found);
    let listed = read_manifest(text(MANIFEST), Lists::Payload);
    let payload = match listed {
        Ok(listed) => check_payload(&mut archive, &payload, &listed, &mut wrong, progress)?,
        Err(faults) => {
            wrong.extend(faults);
            BTreeMap::new()
        }
    };
    if text(DECLARATION) != DECLARATION_TEXT.as_bytes() {
        wrong.push(
            Finding::error("bag-declaration", "the declaration of the bag is not that of BagIt 1.0 in UTF-8")
                .at(Place::file(DECLARATION))
                .expected(DECLARATION_TEXT.trim_end().replace('\n', ", then ")),
        );
    }
    let sum = payload.values().fold(0_u64, |sum, file| sum.saturating_add(file.length));
    let information = match read_information(text(INFORMATION), (sum, payload.len())) {
        Ok(information) => information,
        // With files missing or added the count is wrong as well, which is then no news.
        Err(faults) => {
            wrong.extend(
                faults
                    .into_iter()
                    .filter(|fault| fault.code != "bag-count" || wrong.is_empty())
                    .collect::<Vec<_>>(),
            );
            Vec::new()
        }
    };
    if !wrong.is_empty() {
        let more = wrong.len().saturating_sub(MOST_TOLD);
        wrong.truncate(MOST_TOLD);
        if more > 0 {
            wrong.push(Finding::error("dossier-more", format!("{more} more findings are not listed")));
        }
        return Err(NotOpened::Refused(wrong));
    }
    let seal = hexadecimal(&Sha256::digest(text(TAG_MANIFEST)));
    let hash = |(name, bytes): (String, Vec<u8>)| (name, hexadecimal(&Sha256::digest(bytes)));
    Ok(Opened {
        archive,
        limits: *limits,
        claim,
        seal,
        tags: texts.into_iter().map(hash).collect(),
        information,
        payload,
        signatures,
        stamps,
        findings: found,
    })
}

fn missing(name: &str) -> Finding {
    Finding::error("bag-file-missing", "a file that every dossier has is missing")
        .at(Place::file(escaped(name)))
}

type Sorted = (String, BTreeMap<String, Entry>, BTreeMap<String, Entry>);

/// The name of the one folder at the top, the files beside the payload, and the payload, by names below that folder.
fn sorted<R>(archive: &Archive<R>) -> Result<Sorted, NotOpened> {
    let mut tops: Vec<&str> =
        archive.files.keys().map(|name| name.split_once('/').map_or("", |(top, _)| top)).collect();
    tops.dedup();
    let [top] = tops.as_slice() else {
        return Err(NotOpened::Refused(vec![
            Finding::error("archive-top", "the zip file holds more than one folder at the top, or none")
                .found(escaped(&tops.join(", ")))
                .expected("one folder, called after the claim"),
        ]));
    };
    if top.is_empty() {
        return Err(NotOpened::Refused(vec![
            Finding::error("archive-top", "files stand at the top of the zip file")
                .expected("one folder, called after the claim"),
        ]));
    }
    let (mut tags, mut payload, mut wrong) = (BTreeMap::new(), BTreeMap::new(), Vec::new());
    for (name, entry) in &archive.files {
        let inside = &name[top.len() + 1..];
        if inside.starts_with(PAYLOAD) {
            payload.insert(inside.to_owned(), entry.clone());
        } else if let Some((code, message)) = fault_of_tag_file(inside) {
            wrong.push(Finding::error(code, message).at(Place::file(escaped(inside))));
        } else {
            tags.insert(inside.to_owned(), entry.clone());
        }
    }
    if payload.is_empty() {
        wrong.push(Finding::error("bag-empty", "the dossier holds no payload").at(Place::file(PAYLOAD)));
    }
    if wrong.is_empty() { Ok(((*top).to_owned(), tags, payload)) } else { Err(NotOpened::Refused(wrong)) }
}

/// The files beside the payload, by name.
type Texts = BTreeMap<String, Vec<u8>>;

/// Reads every file beside the payload once, so that what is checked is what is hashed.
fn tag_texts<R: Read + Seek>(
    archive: &mut Archive<R>,
    tags: &BTreeMap<String, Entry>,
    limits: &Limits,
) -> Result<Texts, NotOpened> {
    let needed = [DECLARATION, INFORMATION, MANIFEST, TAG_MANIFEST];
    let missing = needed.into_iter().filter(|name| !tags.contains_key(*name)).map(missing);
    let mut wrong: Vec<Finding> = missing.collect();
    for (kind, of_kind) in
        [("signatures", (|name| signature_of(name).is_some()) as fn(&str) -> bool), ("time stamps", is_stamp)]
    {
        let count = tags.keys().filter(|name| of_kind(name)).count();
        if count > SIGNATURES {
            wrong.push(
                Finding::error(
                    "signature-too-many",
                    format!("the dossier holds more {kind} than are checked"),
                )
                .found(count.to_string())
                .expected(format!("at most {SIGNATURES}")),
            );
        }
    }
    if !wrong.is_empty() {
        return Err(NotOpened::Refused(wrong));
    }
    let mut texts = Texts::new();
    for (name, entry) in tags {
        let most = match name.as_str() {
            INFORMATION => FACTS,
            MANIFEST => limits.list(),
            name if is_stamp(name) => ANSWER,
            _ => SIGNATURE,
        };
        match whole(archive, entry, most) {
            Ok(bytes) => drop(texts.insert(name.clone(), bytes)),
            Err(NotOpened::Refused(findings)) => wrong.extend(findings),
            Err(other) => return Err(other),
        }
    }
    if wrong.is_empty() { Ok(texts) } else { Err(NotOpened::Refused(wrong)) }
}

/// The whole of one file, which is not longer than `most`.
fn whole<R: Read + Seek>(archive: &mut Archive<R>, entry: &Entry, most: u64) -> Result<Vec<u8>, NotOpened> {
    if entry.length > most {
        return Err(NotOpened::Refused(vec![too_long(&entry.name, entry.length, most)]));
    }
    let mut bytes = Vec::new();
    match archive.reader(entry)?.read_to_end(&mut bytes) {
        Ok(_) => Ok(bytes),
        Err(error) => Err(told(entry, error)),
    }
}

fn too_long(name: &str, length: u64, most: u64) -> Finding {
    Finding::error("file-too-long", "a file is longer than one of its kind may be")
        .at(Place::file(escaped(name)))
        .found(format!("{length} bytes"))
        .expected(format!("at most {most}"))
}

/// A failed reading as a finding, where it is the archive's fault.
fn told(entry: &Entry, error: io::Error) -> NotOpened {
    match error.get_ref().and_then(|inner| inner.downcast_ref::<Broken>()) {
        Some(broken) => NotOpened::Refused(vec![
            entry
                .finding(broken.code, "a file of the zip file does not unpack to what the zip file declares")
                .found(broken.found.clone())
                .expected(broken.expected.clone()),
        ]),
        None => NotOpened::Unreadable(error),
    }
}

/// The tag manifest lists the three files that it must, and they have the hashes it lists.
fn check_tags(texts: &Texts, wrong: &mut Vec<Finding>) {
    let text = |name: &str| texts.get(name).map(Vec::as_slice).unwrap_or_default();
    let listed = match read_manifest(text(TAG_MANIFEST), Lists::Tags) {
        Ok(listed) => listed,
        Err(faults) => return wrong.extend(faults),
    };
    for name in SEALED {
        let found = hexadecimal(&Sha256::digest(text(name)));
        match listed.get(name) {
            Some(expected) if *expected == found => {}
            Some(expected) => wrong.push(differs(name, &found, expected)),
            None => wrong.push(
                Finding::error("bag-not-sealed", "the tag manifest does not list a file that it must")
                    .at(Place::file(TAG_MANIFEST))
                    .expected(name),
            ),
        }
    }
}

fn differs(name: &str, found: &str, expected: &str) -> Finding {
    Finding::error("bag-hash", "a file is not the one that was sealed")
        .at(Place::file(escaped(name)))
        .found(format!("SHA-256 {found}"))
        .expected(expected.to_owned())
}

fn check_signatures(
    texts: &Texts,
    (signers, at): (&Signers, i64),
    wrong: &mut Vec<Finding>,
    found: &mut Vec<Finding>,
) -> Vec<Seal> {
    let message = texts.get(TAG_MANIFEST).map(Vec::as_slice).unwrap_or_default();
    let mut seals = Vec::new();
    for (name, bytes) in texts.iter().filter(|(name, _)| signature_of(name).is_some()) {
        match check(name, bytes, message, signers, at) {
            Ok((seal, findings)) => {
                seals.push(seal);
                found.extend(findings);
            }
            Err(fault) => wrong.push(fault),
        }
    }
    if wrong.is_empty() && !seals.iter().any(|seal| seal.role == Role::Shop) {
        found.push(
            Finding::error(
                "signature-missing",
                "nobody signed the dossier: whoever changed it could have sealed it again",
            )
            .at(Place::file(format!("{TAG_MANIFEST}.sig")))
            .next("ask the shop for the signed dossier"),
        );
    }
    seals
}

fn check_stamps(texts: &Texts, wrong: &mut Vec<Finding>, found: &mut Vec<Finding>) -> Vec<Stamp> {
    let message = texts.get(TAG_MANIFEST).map(Vec::as_slice).unwrap_or_default();
    let mut stamps = Vec::new();
    for (name, bytes) in texts.iter().filter(|(name, _)| is_stamp(name)) {
        match stamp::read(name, bytes, message) {
            Ok(stamp) => stamps.push(stamp),
            Err(finding) if finding.is_error() => wrong.push(finding),
            Err(finding) => found.push(finding),
        }
    }
    stamps
}

fn check_payload<R: Read + Seek>(
    archive: &mut Archive<R>,
    present: &BTreeMap<String, Entry>,
    listed: &BTreeMap<String, String>,
    wrong: &mut Vec<Finding>,
    progress: &mut dyn FnMut(u64),
) -> Result<BTreeMap<String, PayloadFile>, NotOpened> {
    for name in listed.keys().filter(|name| !present.contains_key(*name)) {
        wrong.push(
            Finding::error("bag-file-missing", "a file that the manifest lists is missing")
                .at(Place::file(escaped(name))),
        );
    }
    let mut files = BTreeMap::new();
    let mut done = 0;
    for (name, entry) in present {
        let Some(expected) = listed.get(name) else {
            wrong.push(
                Finding::error("bag-unlisted", "a file of the payload is not listed in the manifest")
                    .at(Place::file(escaped(name))),
            );
            continue;
        };
        let hashed = archive.reader(entry)?.finish();
        match hashed {
            Ok(found) if found == *expected => {
                let inside = name.strip_prefix(PAYLOAD).unwrap_or(name).to_owned();
                files.insert(inside, PayloadFile { sha256: found, length: entry.length });
            }
            Ok(found) => wrong.push(differs(name, &found, expected)),
            Err(error) => match told(entry, error) {
                NotOpened::Refused(faults) => wrong.extend(faults),
                other => return Err(other),
            },
        }
        done += entry.length;
        progress(done);
    }
    Ok(files)
}

impl<R> Opened<R> {
    /// The shop's signature by a key that the reader lists, if there is one.
    pub fn sealed_by(&self) -> Option<&Seal> {
        self.signatures.iter().find(|seal| seal.role == Role::Shop && seal.is_listed())
    }
}

impl<R: Read + Seek> Opened<R> {
    /// The whole of a payload file: YAML up to 1 MiB, JSON up to 32 MiB, anything else up to 64 MiB.
    ///
    /// # Errors
    ///
    /// See [`PayloadError`].
    pub fn read(&mut self, path: &str) -> Result<Vec<u8>, PayloadError> {
        let most = self.limits.of(path);
        let mut stream = self.stream(path)?;
        if stream.length > most {
            return Err(PayloadError::Refused(too_long(path, stream.length, most)));
        }
        let mut bytes = Vec::new();
        stream.read_to_end(&mut bytes)?;
        stream.finish()?;
        Ok(bytes)
    }

    /// A payload file of any length, to be read in pieces. What was read counts only once [`PayloadStream::finish`] has
    /// said that it is what was sealed.
    ///
    /// # Errors
    ///
    /// See [`PayloadError`].
    pub fn stream(&mut self, path: &str) -> Result<PayloadStream<'_, R>, PayloadError> {
        let known =
            self.payload.get(path).zip(self.archive.files.get(&format!("{}/{PAYLOAD}{path}", self.claim)));
        let Some((file, entry)) = known else {
            return Err(PayloadError::Refused(
                Finding::error("payload-missing", "the dossier holds no such file")
                    .at(Place::file(escaped(path))),
            ));
        };
        let (sha256, length, entry) = (file.sha256.clone(), file.length, entry.clone());
        let reader = self.archive.reader(&entry)?;
        Ok(PayloadStream { path: path.to_owned(), reader, sha256, length })
    }
}

/// A payload file being read and hashed.
pub struct PayloadStream<'a, R> {
    path: String,
    reader: EntryReader<'a, R>,
    sha256: String,
    /// Length in bytes.
    pub length: u64,
}

impl<R: Read> Read for PayloadStream<'_, R> {
    fn read(&mut self, out: &mut [u8]) -> io::Result<usize> {
        self.reader.read(out)
    }
}

impl<R: Read + Seek> PayloadStream<'_, R> {
    /// Reads what is left and says whether all that was read is what was sealed.
    ///
    /// # Errors
    ///
    /// See [`PayloadError`].
    pub fn finish(self) -> Result<(), PayloadError> {
        let found = self.reader.finish()?;
        if found == self.sha256 {
            return Ok(());
        }
        Err(PayloadError::Refused(
            Finding::error("payload-changed", "the file changed since it was checked")
                .at(Place::file(escaped(&self.path)))
                .found(format!("SHA-256 {found}"))
                .expected(self.sha256)
                .next("copy the dossier to a place that nobody else writes to and check it there"),
        ))
    }
}
