//! The history that goes with a dossier: commits and trees from the tip to each record, so that which record had which
//! bytes in which commit follows from hashes; and what it shows to somebody without the book.

use std::collections::BTreeMap;
use std::collections::BTreeSet;
use std::io::Read;
use std::io::Seek;

use chrono::DateTime;
use chrono::FixedOffset;

use crate::evidence::HISTORY_FOLDER;
use crate::evidence::Opened;
use crate::evidence::PayloadError;
use crate::evidence::Receipt;
use crate::finding::Finding;
use crate::finding::Place;
use crate::manifest::Schemas;
use crate::store::Book;
use crate::store::CommitId;
use crate::store::ContentId;
use crate::store::EntryKind;
use crate::store::Shown;
use crate::store::ShownCommit;
use crate::store::Time;
use crate::workflow::Failure;
use crate::workflow::FailureKind;
use crate::workflow::claim_standing;
use crate::workflow::claim_standing::Version;
use crate::workflow::dossier_gather::Gathered;
use crate::workflow::dossier_index::EARLIER;
use crate::workflow::dossier_index::Index;
use crate::workflow::library::claim_path;
use crate::workflow::receipt::RECEIPTS;

/// Names the newest commit.
const TIP_FILE: &str = "history/tip";
/// Records that were changed and are told one by one.
const MOST_TOLD: usize = 12;

/// What goes into the payload, and what it tells of what does not.
pub(super) struct Proof {
    pub(super) files: BTreeMap<String, Vec<u8>>,
    /// Names of records that are not inside and can be read off the trees, sorted.
    pub(super) discloses: Vec<String>,
}

/// The commits and trees that show every record inside at the tip and wherever it changed, the claim's older versions, and
/// which pulls were in the book with each of these.
///
/// # Errors
/// The store's.
pub(super) fn prove(book: &Book, gathered: &Gathered) -> Result<Proof, Failure> {
    let tip = gathered.library.commit();
    let inside: BTreeSet<String> = gathered
        .records
        .iter()
        .filter(|(_, record)| !record.withheld)
        .map(|(path, _)| path.clone())
        .collect();
    let mut at: BTreeMap<CommitId, BTreeSet<String>> = BTreeMap::new();
    at.insert(tip, inside.iter().cloned().chain(pull_folders(book, tip)?).collect());
    let claim = claim_path(&gathered.claim.tag);
    // What stood in the book when each receipt was given, so that its holder sees what came before it.
    for receipt in receipts(book, gathered)? {
        let shown = at.entry(receipt).or_default();
        shown.insert(claim.clone());
        shown.extend(pull_folders(book, receipt)?);
    }
    let mut files = BTreeMap::new();
    for (path, changes) in book.logs(&inside)? {
        for change in changes.into_iter().filter(|change| !change.removed) {
            let shown = at.entry(change.commit).or_default();
            shown.insert(path.clone());
            if path == claim {
                shown.extend(pull_folders(book, change.commit)?);
                let snapshot = book.snapshot(change.commit)?;
                if let (Some(id), Some(bytes)) = (snapshot.id_of(&path)?, snapshot.read(&path)?) {
                    files.insert(earlier(&id.to_string()), bytes);
                }
            }
        }
    }
    let at: Vec<(CommitId, BTreeSet<String>)> = at.into_iter().collect();
    for (name, bytes) in book.lineage(tip, &at)? {
        files.insert(format!("{HISTORY_FOLDER}{name}"), bytes);
    }
    files.insert(TIP_FILE.to_owned(), format!("{tip}\n").into_bytes());
    Ok(Proof { files, discloses: disclosed(book, tip, &at, &inside)? })
}

/// The commits of the receipts that the book gave.
fn receipts(book: &Book, gathered: &Gathered) -> Result<Vec<CommitId>, Failure> {
    let Some(kept) = gathered.library.snapshot().read(RECEIPTS)? else { return Ok(Vec::new()) };
    let found = Receipt::find(RECEIPTS, &String::from_utf8_lossy(&kept)).unwrap_or_default();
    let commits = found.iter().filter_map(|receipt| CommitId::parse(&receipt.commit.to_string()));
    // One that this copy of the book does not have shows nothing.
    Ok(commits.filter(|commit| book.snapshot(*commit).is_ok()).collect())
}

/// Where a kept version of the claim stands, by git's name for its bytes.
fn earlier(id: &str) -> String {
    format!("{EARLIER}{id}.yaml")
}

/// The folders that tell which pulls a commit holds.
fn pull_folders(book: &Book, commit: CommitId) -> Result<Vec<String>, Failure> {
    let snapshot = book.snapshot(commit)?;
    let builds = snapshot.list("builds")?.into_iter().filter(|entry| entry.kind == EntryKind::Folder);
    let folders = builds.map(|entry| format!("builds/{}/pulls", entry.name));
    Ok(folders.chain(["builds".to_owned()]).collect())
}

/// What can be read off the trees shown for the tip, and is not inside.
fn disclosed(
    book: &Book,
    tip: CommitId,
    at: &[(CommitId, BTreeSet<String>)],
    inside: &BTreeSet<String>,
) -> Result<Vec<String>, Failure> {
    let snapshot = book.snapshot(tip)?;
    let mut names = BTreeSet::new();
    let mut folders: BTreeSet<String> = BTreeSet::from([String::new()]);
    for (commit, paths) in at {
        if *commit == tip {
            for path in paths {
                folders.extend(path.match_indices('/').map(|(end, _)| path[..end].to_owned()));
                folders.insert(path.clone());
            }
        }
    }
    for folder in &folders {
        if !folder.is_empty() && snapshot.entry(folder)?.is_none_or(|entry| entry.kind != EntryKind::Folder) {
            continue;
        }
        for entry in snapshot.list(folder)? {
            let path = if folder.is_empty() { entry.name } else { format!("{folder}/{}", entry.name) };
            if !inside.contains(&path) && !folders.contains(&path) {
                names.insert(path);
            }
        }
    }
    Ok(names.into_iter().collect())
}

/// What the history of a dossier shows.
#[derive(Default)]
pub(super) struct History {
    shown: Option<Shown>,
    /// The kept versions of the claim, oldest first.
    pub(super) versions: Vec<Version>,
    /// The pulls that the tip holds.
    pub(super) pulls: BTreeSet<String>,
    /// What follows from it, a line each.
    pub(super) proven: Vec<String>,
    /// How many receipts it was held against.
    pub(super) receipts: usize,
}

impl History {
    /// Whether the dossier has one.
    pub(super) fn is_here(&self) -> bool {
        self.shown.is_some()
    }

    /// Says of each receipt, which holds, what of the claim was in the book when it was given.
    pub(super) fn hold_receipts(&mut self, receipts: &[Receipt], tag: &str) {
        self.receipts = receipts.len();
        let Some(shown) = &self.shown else { return };
        let path = claim_path(tag);
        let now = shown.commits.first().and_then(|tip| shown.file(tip, &path)).flatten();
        for receipt in receipts {
            let id = receipt.commit.to_string();
            let Some(commit) = shown.commits.iter().find(|commit| commit.id == id) else { continue };
            let claim = match shown.file(commit, &path) {
                Some(Some(there)) if Some(&there) == now.as_ref() => "the claim as it stands",
                Some(Some(_)) => "the claim in an earlier form",
                Some(None) => "no claim yet",
                None => "what is not shown of the claim",
            };
            let pulls = match pulls_in(shown, commit) {
                Some(pulls) => format!("{} of the book's pulls", pulls.len()),
                None => "pulls that are not shown".to_owned(),
            };
            self.proven.push(format!(
                "your receipt {} is of commit {}, which the history holds: {claim}, and {pulls}",
                receipt.number,
                commit.short()
            ));
        }
    }
}

/// Reads the history of a dossier and holds every record inside against it.
///
/// # Errors
/// An object that is not what its id says, or a record that the commit named does not hold.
pub(super) fn read<R: Read + Seek>(
    opened: &mut Opened<R>,
    index: &Index,
    records: &BTreeMap<String, Vec<u8>>,
) -> Result<History, Failure> {
    let paths: Vec<String> =
        opened.payload.keys().filter(|path| path.starts_with(HISTORY_FOLDER)).cloned().collect();
    if paths.is_empty() {
        return Ok(History::default());
    }
    let mut objects = BTreeMap::new();
    for path in paths.into_iter().filter(|path| path != TIP_FILE) {
        let bytes = opened.read(&path).map_err(|error| match error {
            PayloadError::Refused(finding) => Failure::damaged(finding),
            other => Finding::error("dossier-unreadable", other.to_string()).into(),
        })?;
        objects.insert(path.trim_start_matches(HISTORY_FOLDER).to_owned(), bytes);
    }
    let damaged = |findings| Failure { kind: FailureKind::Damaged, findings };
    let shown = Shown::read(&index.commit, &objects).map_err(damaged)?;
    let Some(tip) = shown.commits.first() else { return Ok(History::default()) };
    let mut wrong = Vec::new();
    for (path, bytes) in records {
        let id = ContentId::of(bytes)?.to_string();
        if shown.file(tip, path) != Some(Some(id)) {
            wrong.push(
                Finding::error(
                    "record-not-in-history",
                    "the commit that was gathered from does not hold this record so",
                )
                .at(Place::file(path)),
            );
        }
    }
    if !wrong.is_empty() {
        return Err(damaged(wrong));
    }
    let versions = versions(opened, &shown, &index.claim)?;
    let pulls = pulls_in(&shown, tip).unwrap_or_default();
    let proven = proven(&shown, records.keys());
    Ok(History { versions, pulls, proven, shown: Some(shown), receipts: 0 })
}

/// The versions of the claim that are shown together with the pulls that were in the book then.
fn versions<R: Read + Seek>(
    opened: &mut Opened<R>,
    shown: &Shown,
    tag: &str,
) -> Result<Vec<Version>, Failure> {
    let schemas = Schemas::load(&[]).map_err(Failure::faults)?;
    let path = claim_path(tag);
    let mut versions: Vec<Version> = Vec::new();
    let mut last: Option<String> = None;
    for commit in shown.commits.iter().rev() {
        let Some(id) = shown.file(commit, &path) else { continue };
        if id == last {
            continue;
        }
        last.clone_from(&id);
        let Some((id, there)) = id.zip(pulls_in(shown, commit)) else { continue };
        // Believed for its hash: the commit says which bytes they are.
        let Ok(bytes) = opened.read(&earlier(&id)) else { continue };
        if ContentId::of(&bytes)?.to_string() != id {
            continue;
        }
        versions.push(Version {
            commit: commit.short(),
            time: commit.time,
            author: commit.author.name.clone(),
            subject: commit.subject.clone(),
            claim: claim_standing::read(schemas.kinds(), &path, &bytes),
            there,
        });
    }
    Ok(versions)
}

/// The pulls that a commit holds; none where its trees are not all shown.
fn pulls_in(shown: &Shown, commit: &ShownCommit) -> Option<BTreeSet<String>> {
    let mut pulls = BTreeSet::new();
    for (build, (is_folder, _)) in shown.folder(commit, "builds")? {
        if is_folder {
            let files = shown.folder(commit, &format!("builds/{build}/pulls"))?;
            pulls.extend(files.keys().filter_map(|file| file.strip_suffix(".yaml")).map(str::to_owned));
        }
    }
    Some(pulls)
}

/// How long the history is, and which of the records were changed on the way.
fn proven<'r>(shown: &Shown, records: impl Iterator<Item = &'r String>) -> Vec<String> {
    let (Some(tip), Some(oldest)) = (shown.commits.first(), shown.commits.last()) else { return Vec::new() };
    let mut lines = vec![format!(
        "every record inside is the one of commit {}, {} commits after {}: by hashes from the tip down, their dates ({} to {}) \
         being the shop's own word",
        tip.short(),
        shown.commits.len() - 1,
        oldest.short(),
        day(oldest.time),
        day(tip.time)
    )];
    let mut changed = Vec::new();
    for path in records {
        let mut versions: Vec<String> = Vec::new();
        for id in shown.commits.iter().rev().filter_map(|commit| shown.file(commit, path).flatten()) {
            if versions.last() != Some(&id) {
                versions.push(id);
            }
        }
        if versions.len() > 1 {
            changed.push(format!("{path} ({} versions)", versions.len()));
        }
    }
    if !changed.is_empty() {
        let more = changed.len().saturating_sub(MOST_TOLD);
        let count = changed.len();
        changed.truncate(MOST_TOLD);
        let more = if more > 0 { format!(" and {more} more") } else { String::new() };
        lines.push(format!(
            "{count} records were changed after they were first kept: {}{more}",
            changed.join(", ")
        ));
    }
    lines
}

fn day(time: Time) -> String {
    let zone = FixedOffset::east_opt(time.offset);
    let moment = DateTime::from_timestamp(time.seconds, 0).zip(zone);
    moment
        .map_or_else(String::new, |(moment, zone)| moment.with_timezone(&zone).format("%Y-%m-%d").to_string())
}
