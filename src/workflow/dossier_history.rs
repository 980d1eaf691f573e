//! The history that goes with a dossier: commits and trees from the tip to each record, so that which record had which
//! bytes in which commit follows from hashes; and what it shows to somebody without the book.

use std::collections::BTreeMap;
use std::collections::BTreeSet;
use std::io::Read;
use std::io::Seek;

use chrono::DateTime;
use chrono::FixedOffset;

use crate::answer::SignedCommitsLine;
use crate::evidence;
use crate::evidence::At;
use crate::evidence::Commit;
use crate::evidence::HISTORY_FOLDER;
use crate::evidence::HistoryError;
use crate::evidence::ObjectId;
use crate::evidence::Opened;
use crate::evidence::Receipt;
use crate::evidence::Signers;
use crate::evidence::Standing;
use crate::evidence::TIP_FILE;
use crate::finding::Finding;
use crate::finding::Place;
use crate::finding::Severity;
use crate::manifest::Schemas;
use crate::store::Book;
use crate::store::CommitId;
use crate::store::EntryKind;
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

/// Digits of a commit that people use.
pub(super) const SHORT: usize = 12;
/// Records that were changed and are told one by one.
const MOST_TOLD: usize = 12;
/// Signed commits that are told one by one.
const MOST_COMMITS: usize = 6;

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
    shown: Option<evidence::History>,
    /// The kept versions of the claim, oldest first.
    pub(super) versions: Vec<Version>,
    /// The pulls that the tip holds.
    pub(super) pulls: BTreeSet<String>,
    /// What follows from it, a line each.
    pub(super) proven: Vec<String>,
    /// Which commits of the line are signed, a line for each key.
    pub(super) signed: Vec<SignedCommitsLine>,
    /// The reader's receipts, held against it.
    pub(super) receipts: Vec<HeldReceipt>,
}

/// A receipt of a commit that the history holds, and what was in the book by then.
pub(super) struct HeldReceipt {
    number: u32,
    commit: String,
    claim: &'static str,
    /// Whether that is the claim as it is to be checked.
    as_it_stands: bool,
    pulls: Option<BTreeSet<String>>,
}

impl HeldReceipt {
    /// What it shows of a claim with these pulls, none of which are known where nothing was worked out.
    pub(super) fn says(&self, of_claim: &BTreeSet<&str>) -> String {
        let of = of_claim.len();
        let there =
            self.pulls.as_ref().map(|pulls| of_claim.iter().filter(|id| pulls.contains(**id)).count());
        let pulls = match (there, &self.pulls) {
            (Some(_), Some(pulls)) if of == 0 => format!("{} of the book's pulls", pulls.len()),
            (Some(0), _) if self.as_it_stands => {
                format!("none of its {of} pulls: it was written before them, and your receipt proves it")
            }
            (Some(0), _) => format!("none of its {of} pulls"),
            (Some(there), _) if there == of => format!("all of its {of} pulls"),
            (Some(there), _) => format!("{there} of its {of} pulls"),
            (None, _) => "pulls that are not shown".to_owned(),
        };
        format!(
            "your receipt {} is of commit {}, which the history holds: {}, and {pulls}",
            self.number, self.commit, self.claim
        )
    }
}

impl History {
    /// Whether the dossier has one.
    pub(super) fn is_here(&self) -> bool {
        self.shown.is_some()
    }

    /// What is wrong with the reader's receipts beside it; of those that hold, says what of the claim was in the book when
    /// they were given.
    pub(super) fn hold_receipts(&mut self, receipts: &[Receipt], tag: &str) -> Vec<Finding> {
        let Some(shown) = &self.shown else {
            return vec![
                Finding::error(
                    "receipt-not-contained",
                    "the dossier has no history that could hold a receipt",
                )
                .next("ask the shop for a dossier with its history"),
            ];
        };
        let wrong = evidence::history_findings(receipts, shown);
        if !wrong.is_empty() {
            return wrong;
        }
        let path = claim_path(tag);
        let now = shown.commit(shown.tip).map(|tip| shown.at(tip, &path));
        for receipt in receipts {
            let Some(commit) = shown.commit(receipt.commit) else { continue };
            let there = shown.at(commit, &path);
            let as_it_stands = matches!(there, At::File(_)) && now == Some(there);
            let claim = match there {
                At::File(_) if as_it_stands => "the claim as it stands",
                At::File(_) => "the claim in an earlier form",
                At::Nothing | At::NotAFile => "no claim yet",
                At::NotShown => "what is not shown of the claim",
            };
            self.receipts.push(HeldReceipt {
                number: receipt.number,
                commit: short(commit),
                claim,
                as_it_stands,
                pulls: pulls_in(shown, commit),
            });
        }
        wrong
    }
}

/// Reads the history of a dossier and holds every record inside against it; the findings forbid nothing.
///
/// # Errors
/// An object that is not what its id says, or a record that the commit named does not hold.
pub(super) fn read<R: Read + Seek>(
    opened: &mut Opened<R>,
    index: &Index,
    records: &BTreeMap<String, Vec<u8>>,
    signers: &Signers,
) -> Result<(History, Vec<Finding>), Failure> {
    let damaged = |findings| Failure { kind: FailureKind::Damaged, findings };
    let shown = match evidence::History::of(opened) {
        Ok(Some(shown)) => shown,
        Ok(None) => return Ok((History::default(), Vec::new())),
        Err(HistoryError::Refused(findings)) => return Err(damaged(findings)),
        Err(error) => return Err(Finding::error("dossier-unreadable", error.to_string()).into()),
    };
    let tip = shown.commit(shown.tip).filter(|tip| tip.id.to_string() == index.commit);
    let Some(tip) = tip else {
        return Err(Failure::damaged(
            Finding::error("history-tip", "the history is not that of the commit that was gathered from")
                .at(Place::file(TIP_FILE))
                .found(shown.tip.to_string())
                .expected(evidence::escaped(&index.commit))
                .next("ask the shop for a dossier made anew"),
        ));
    };
    let mut wrong = Vec::new();
    for (path, bytes) in records {
        let id = ObjectId::of_file(bytes).map_err(Failure::damaged)?;
        if shown.at(tip, path) != At::File(id) {
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
    let mut findings = shown.findings.clone();
    let mut proven = proven(&shown, tip, records.keys());
    let signed = signed(&shown, signers, &mut proven, &mut findings)?;
    let versions = versions(opened, &shown, &index.claim)?;
    let pulls = pulls_in(&shown, tip).unwrap_or_default();
    Ok((History { versions, pulls, proven, signed, shown: Some(shown), receipts: Vec::new() }, findings))
}

/// Which commits of the line are signed and by whom; what a listed key signed is told in a line. A signature that does not hold is damage,
/// one of another kind or by an unlisted key a doubt that is told once.
fn signed(
    shown: &evidence::History,
    signers: &Signers,
    proven: &mut Vec<String>,
    findings: &mut Vec<Finding>,
) -> Result<Vec<SignedCommitsLine>, Failure> {
    let line = shown.line();
    let mut keys: BTreeMap<(String, Vec<String>), Vec<String>> = BTreeMap::new();
    let mut doubts: BTreeMap<&'static str, (Finding, usize)> = BTreeMap::new();
    for commit in line.iter().rev() {
        let doubt = match shown.signature(commit, signers) {
            None => continue,
            Some(Ok(seal)) => {
                let principals = match seal.standing {
                    Standing::Listed { principals } => principals,
                    _ => Vec::new(),
                };
                let listed = !principals.is_empty();
                keys.entry((seal.fingerprint.clone(), principals)).or_default().push(short(commit));
                if listed {
                    continue;
                }
                Finding::doubt(
                    "commit-signer-unlisted",
                    "a commit is signed by a key that your list does not hold for commits",
                )
                .at(Place::file(seal.file))
                .found(seal.fingerprint)
                .next("add the key with the namespace `git`, if you know whose it is")
            }
            Some(Err(finding)) if finding.code == "signature-broken" => {
                return Err(Failure::damaged(finding));
            }
            Some(Err(finding)) => Finding { severity: Severity::Doubt, ..finding },
        };
        doubts.entry(doubt.code).or_insert((doubt, 0)).1 += 1;
    }
    for (doubt, count) in doubts.into_values() {
        findings.push(if count > 1 {
            Finding { message: format!("{} ({count} commits)", doubt.message), ..doubt }
        } else {
            doubt
        });
    }
    let mut signed = Vec::new();
    for ((fingerprint, principals), commits) in keys {
        if !principals.is_empty() {
            proven.push(format!(
                "{} of the {} commits shown are signed by the key {fingerprint} of {}: {}",
                commits.len(),
                line.len(),
                principals.join(", "),
                first_of(&commits)
            ));
        }
        signed.push(SignedCommitsLine { listed: !principals.is_empty(), fingerprint, principals, commits });
    }
    Ok(signed)
}

/// Some of many ids, oldest first, and how many more there are.
fn first_of(commits: &[String]) -> String {
    let named = commits.iter().take(MOST_COMMITS).map(String::as_str).collect::<Vec<_>>().join(", ");
    match commits {
        [_, .., last] if commits.len() > MOST_COMMITS => {
            format!("{named} and {} more, up to {last}", commits.len() - MOST_COMMITS)
        }
        _ => named,
    }
}

/// The versions of the claim that are shown together with the pulls that were in the book then.
fn versions<R: Read + Seek>(
    opened: &mut Opened<R>,
    shown: &evidence::History,
    tag: &str,
) -> Result<Vec<Version>, Failure> {
    let schemas = Schemas::load(&[]).map_err(Failure::faults)?;
    let path = claim_path(tag);
    let mut versions: Vec<Version> = Vec::new();
    let mut last = At::Nothing;
    for commit in shown.line().into_iter().rev() {
        let at = shown.at(commit, &path);
        if at == At::NotShown || at == last {
            continue;
        }
        last = at;
        let (At::File(id), Some(there)) = (at, pulls_in(shown, commit)) else { continue };
        // Believed for its hash: the commit says which bytes they are.
        let Ok(bytes) = opened.read(&earlier(&id.to_string())) else { continue };
        if ObjectId::of_file(&bytes).map_err(Failure::damaged)? != id {
            continue;
        }
        versions.push(Version {
            commit: short(commit),
            time: Time { seconds: commit.seconds, offset: commit.offset },
            author: commit.author.clone(),
            subject: commit.subject.clone(),
            claim: claim_standing::read(schemas.kinds(), &path, &bytes),
            there,
        });
    }
    Ok(versions)
}

/// The pulls that a commit holds; none where its trees are not all shown.
fn pulls_in(shown: &evidence::History, commit: &Commit) -> Option<BTreeSet<String>> {
    let mut pulls = BTreeSet::new();
    for (build, is_folder) in shown.folder(commit, "builds")? {
        if is_folder {
            let files = shown.folder(commit, &format!("builds/{build}/pulls"))?;
            pulls.extend(files.keys().filter_map(|file| file.strip_suffix(".yaml")).map(str::to_owned));
        }
    }
    Some(pulls)
}

/// The digits of a commit's id that people use.
fn short(commit: &Commit) -> String {
    commit.id.to_string().chars().take(SHORT).collect()
}

/// How long the history is, and which of the records were changed on the way.
fn proven<'r>(
    shown: &evidence::History,
    tip: &Commit,
    records: impl Iterator<Item = &'r String>,
) -> Vec<String> {
    let line = shown.line();
    let Some(oldest) = line.last() else { return Vec::new() };
    let first = if shown.is_whole() { "the book's first" } else { "what came before it is not shown" };
    let mut lines = vec![format!(
        "every record inside is the one of commit {}, {} commits after {} ({first}): by hashes from the tip down, their dates ({} \
         to {}) being the shop's own word",
        short(tip),
        line.len() - 1,
        short(oldest),
        day(oldest),
        day(tip)
    )];
    let mut changed = Vec::new();
    for path in records {
        let mut versions: Vec<At> = Vec::new();
        for at in line.iter().rev().map(|commit| shown.at(commit, path)) {
            if matches!(at, At::File(_)) && versions.last() != Some(&at) {
                versions.push(at);
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

fn day(commit: &Commit) -> String {
    let zone = FixedOffset::east_opt(commit.offset);
    let moment = DateTime::from_timestamp(commit.seconds, 0).zip(zone);
    moment
        .map_or_else(String::new, |(moment, zone)| moment.with_timezone(&zone).format("%Y-%m-%d").to_string())
}
