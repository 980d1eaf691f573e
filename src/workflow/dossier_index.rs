//! The list of a dossier: which payload file is which record or raw file of the book, and what is kept back.

use std::collections::BTreeMap;
use std::collections::BTreeSet;

use serde::Deserialize;
use serde::Serialize;

use crate::evidence::CRATE_FILE;
use crate::evidence::HISTORY_FOLDER;
use crate::evidence::PayloadFile;
use crate::evidence::escaped;
use crate::finding::Finding;
use crate::finding::Place;
use crate::workflow::gate::Sort;
use crate::workflow::gate::sort_of;

/// Version of the list that this program writes and reads.
pub(super) const FORM: u32 = 1;
/// Where it stands in the payload.
pub(super) const INDEX_FILE: &str = "dossier.json";
/// The claim with its verdict and every figure, as `claim --json` answers.
pub(super) const CLAIM_FILE: &str = "claim.json";
/// The same for people.
pub(super) const TEXT_FILE: &str = "claim.txt";
/// The same as a page.
pub(super) const PAGE_FILE: &str = "claim.html";
/// Records stand below it, under the paths that they have in the book.
pub(super) const RECORDS: &str = "records/";
/// Everything that was ever committed, as git bundles it; it is for git, and never opened here.
pub(super) const BUNDLE_FILE: &str = "book.bundle";
/// Kept versions of the claim stand below it, under the names that git gives to their bytes.
pub(super) const EARLIER: &str = "earlier/";
/// Raw files stand below it, under their SHA-256.
pub(super) const RAW: &str = "raw/";

/// Where a book keeps the schemas that its records were kept under.
pub(super) const SCHEMA_COPIES: &str = ".schema";

/// Where they stand in the payload.
pub(super) const SCHEMAS: &str = "schemas";

/// The list.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct Index {
    /// Version of this list.
    pub(super) dossier: u32,
    /// Version of the program that wrote it.
    pub(super) program: String,
    /// The book's name.
    pub(super) book: String,
    /// The commit that was gathered from.
    pub(super) commit: String,
    /// The claim's tag.
    pub(super) claim: String,
    /// Records by their paths in the book.
    pub(super) records: Vec<RecordLine>,
    /// Raw files that records inside name.
    pub(super) raw: Vec<RawLine>,
}

/// A record.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct RecordLine {
    /// Its path in the book.
    pub(super) path: String,
    /// SHA-256 of its bytes.
    pub(super) sha256: String,
    /// Its path in the payload; none where it is withheld.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub(super) file: Option<String>,
}

/// A raw file.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct RawLine {
    /// SHA-256 of its bytes.
    pub(super) sha256: String,
    /// Its name when it was taken in.
    pub(super) name: String,
    /// Its length in bytes.
    pub(super) bytes: u64,
    /// Why it is inside or not.
    pub(super) standing: RawStanding,
}

/// Why a raw file is inside or not.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub(super) enum RawStanding {
    /// It is inside.
    Inside,
    /// The shop keeps it back.
    Withheld,
    /// The shop's copy of the book does not have it.
    NotHere,
    /// It is of another engine: the verdict does not rest on it.
    NotNeeded,
}

impl Index {
    /// The payload files that it names.
    pub(super) fn files(&self) -> impl Iterator<Item = String> + '_ {
        let records = self.records.iter().filter_map(|line| line.file.clone());
        let raw = self.raw.iter().filter(|line| line.standing == RawStanding::Inside);
        records.chain(raw.map(|line| format!("{RAW}{}", line.sha256)))
    }

    /// What it says and the payload does not hold.
    pub(super) fn against(&self, payload: &BTreeMap<String, PayloadFile>) -> Vec<Finding> {
        let mut wrong = Vec::new();
        let mut seen = BTreeSet::new();
        let refuse = |message: &str, what: &str| {
            Finding::error("dossier-list", message.to_owned())
                .at(Place::file(INDEX_FILE))
                .found(escaped(what))
        };
        let held = |file: &str, sha256: &str, wrong: &mut Vec<Finding>| match payload.get(file) {
            Some(found) if found.sha256 == sha256 => {}
            Some(_) => wrong.push(refuse("a file has another SHA-256 than the list says", file)),
            None => wrong.push(refuse("the list names a file that is not inside", file)),
        };
        for line in &self.records {
            if (matches!(sort_of(&line.path), Sort::Other) && !is_schema_copy(&line.path))
                || line.path.len() > LONGEST_PATH
            {
                wrong.push(refuse("the list names what is no record of a book", &line.path));
            } else if !seen.insert(line.path.to_lowercase()) {
                wrong.push(refuse("the list names one record twice", &line.path));
            }
            if let Some(file) = &line.file {
                held(file, &line.sha256, &mut wrong);
            }
        }
        for line in &self.raw {
            if !is_digest(&line.sha256) {
                wrong.push(refuse("this is no SHA-256", &line.sha256));
            } else if !seen.insert(line.sha256.clone()) {
                wrong.push(refuse("the list names one raw file twice", &line.sha256));
            }
            if line.standing == RawStanding::Inside {
                held(&format!("{RAW}{}", line.sha256), &line.sha256, &mut wrong);
            }
        }
        wrong
    }
}

/// Whether a path is that of a schema as the shop's program had it, and so no record.
pub(super) fn is_schema_copy(path: &str) -> bool {
    let name = path.strip_prefix(SCHEMA_COPIES).and_then(|rest| rest.strip_prefix('/'));
    name.is_some_and(|name| name.ends_with(".json") && !name.contains('/'))
}

/// Longest path of a record, in bytes.
const LONGEST_PATH: usize = 400;

fn is_digest(text: &str) -> bool {
    text.len() == 64 && text.bytes().all(|byte| matches!(byte, b'0'..=b'9' | b'a'..=b'f'))
}

/// Whether a payload file is one of those that every dossier may have beside records and raw files.
pub(super) fn is_known(path: &str) -> bool {
    [INDEX_FILE, CLAIM_FILE, TEXT_FILE, PAGE_FILE, CRATE_FILE, BUNDLE_FILE].contains(&path)
        || path.starts_with(HISTORY_FOLDER)
        || path.starts_with(EARLIER)
}
