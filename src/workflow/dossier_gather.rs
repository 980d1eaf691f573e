//! Everything that a claim's verdict rests on, gathered from the book: every record that was read on the way, those that
//! they name, and the raw files.

use std::collections::BTreeMap;
use std::collections::BTreeSet;

use crate::answer::ClaimAnswer;
use crate::answer::KeptBackLine;
use crate::answer::PullUseLine;
use crate::answer::RunGapLine;
use crate::answer::WeighAnswer;
use crate::answer::Weighed;
use crate::finding::Finding;
use crate::record::Claim;
use crate::record::Pull;
use crate::record::RawFile;
use crate::store::Book;
use crate::workflow::Failure;
use crate::workflow::Library;
use crate::workflow::claim::no_claim;
use crate::workflow::claim_standing;
use crate::workflow::claim_standing::Version;
use crate::workflow::dossier_index::RawStanding;
use crate::workflow::dossier_index::SCHEMA_COPIES;
use crate::workflow::figure_files;
use crate::workflow::gate;
use crate::workflow::gate::Sort;
use crate::workflow::gate::sort_of;
use crate::workflow::names::in_session;
use crate::workflow::run_gaps;

/// The fewest digits of a SHA-256 that name a raw file.
const SHORTEST_HASH: usize = 6;

/// A raw file that a record inside names.
#[derive(Debug, Clone)]
pub(super) struct RawPiece {
    pub(super) name: String,
    pub(super) bytes: u64,
    pub(super) standing: RawStanding,
    /// The records whose figures it shows, where nothing but figures names it.
    pub(super) shows: BTreeSet<String>,
}

/// What goes into a dossier.
pub(super) struct Gathered {
    pub(super) library: Library,
    pub(super) claim: Claim,
    pub(super) answer: ClaimAnswer,
    pub(super) versions: Vec<Version>,
    /// Records by path; `None` is withheld.
    pub(super) records: BTreeMap<String, Record>,
    pub(super) raw: BTreeMap<String, RawPiece>,
    pub(super) pulls: Vec<PullUseLine>,
    pub(super) run_gaps: Vec<RunGapLine>,
}

/// A record with its bytes.
#[derive(Debug, Clone)]
pub(super) struct Record {
    pub(super) bytes: Vec<u8>,
    pub(super) withheld: bool,
}

impl Gathered {
    /// What is named and not inside, records first.
    pub(super) fn kept_back(&self) -> Vec<KeptBackLine> {
        let records = self.records.iter().filter(|(_, record)| record.withheld).map(|(path, record)| {
            KeptBackLine { what: path.clone(), sha256: crate::store::digest(&record.bytes), why: "withheld" }
        });
        let raw = self.raw.iter().filter_map(|(sha256, piece)| {
            let why = match piece.standing {
                RawStanding::Withheld => "withheld",
                RawStanding::NotHere => "not here",
                RawStanding::Inside | RawStanding::NotNeeded => return None,
            };
            Some(KeptBackLine { what: piece.name.clone(), sha256: sha256.clone(), why })
        });
        records.chain(raw).collect()
    }
}

/// Gathers what a claim rests on.
///
/// # Errors
/// No claim is called so, it cannot be weighed yet, or a record does not hold.
pub(super) fn gather(book: &Book, tag: &str, withhold: &[String]) -> Result<Gathered, Failure> {
    let library = Library::at_head(book)?;
    let claim = library.claim(tag)?.ok_or_else(|| no_claim(&library, tag))?;
    let claimed = claim_standing::pulls_of(book, &library, &claim.terms)?;
    let versions = claim_standing::versions(book, &library, tag, &claimed)?;
    let answer = claim_standing::judge(book, &library, &claim, &claimed, &versions)?;
    let weighed = match &answer.weighing {
        Some(WeighAnswer::Weighed(weighed)) => weighed.as_ref(),
        Some(_) => {
            return Err(Finding::error("nothing-to-show", "the claim's comparison is refused")
                .found(answer.verdict_says.clone())
                .next(format!("`mulebook weigh --claim {tag}` says what is not documented"))
                .into());
        }
        None => {
            return Err(Finding::error("nothing-to-show", "the claim has no pulls yet")
                .next("gather its dossier once they are in the book")
                .into());
        }
    };
    let (pulls, run_gaps) = sessions(&library, weighed)?;
    close_over(book, &library)?;
    let mut records = BTreeMap::new();
    let own = library.names("schema")?.into_iter().map(|name| format!("schema/{name}"));
    for path in library.touched().into_iter().chain(own) {
        if matches!(sort_of(&path), Sort::Other) {
            continue;
        }
        if let Some(bytes) = library.snapshot().read(&path)? {
            records.insert(path, Record { bytes, withheld: false });
        }
    }
    // The schemas that the shop's records were kept under: what they demand is held against what this program demands.
    for (path, entry) in library.snapshot().files(SCHEMA_COPIES)? {
        records.insert(path, Record { bytes: library.snapshot().content(entry.id)?, withheld: false });
    }
    let raw = raw_files(book, &library, &records, weighed)?;
    let mut gathered = Gathered { library, claim, answer, versions, records, raw, pulls, run_gaps };
    for name in withhold {
        keep_back(&mut gathered, name)?;
    }
    Ok(gathered)
}

/// Reads what the records name until nothing new is named: the gate looks at all of it, so what it looks at goes in.
fn close_over(book: &Book, library: &Library) -> Result<(), Failure> {
    let mut checked = BTreeSet::new();
    loop {
        let mut fresh = BTreeSet::new();
        for path in library.touched() {
            if !matches!(sort_of(&path), Sort::Other)
                && !checked.contains(&path)
                && library.snapshot().exists(&path)?
            {
                fresh.insert(path);
            }
        }
        if fresh.is_empty() {
            return Ok(());
        }
        gate::check(book, library, &fresh, &BTreeSet::new())?;
        checked.extend(fresh);
    }
}

/// Every pull of the sessions of both sides with what it is used for, and the run numbers that no pull has.
///
/// # Errors
/// A record does not hold.
pub(super) fn sessions(
    library: &Library,
    weighed: &Weighed,
) -> Result<(Vec<PullUseLine>, Vec<RunGapLine>), Failure> {
    let rests: BTreeMap<&str, &'static str> =
        weighed.rests.iter().map(|line| (line.pull.as_str(), line.side)).collect();
    let excluded: BTreeMap<&str, &str> =
        weighed.excluded.iter().map(|line| (line.pull.as_str(), line.why.as_str())).collect();
    let mut tags = BTreeSet::new();
    for id in weighed.base.iter().chain(&weighed.test) {
        tags.extend(library.pull(id)?.map(|pull| pull.session));
    }
    let (mut pulls, mut gaps) = (Vec::new(), Vec::new());
    for tag in tags {
        let there = in_session(library.pull_paths()?, &tag);
        for id in there.values() {
            // Read, so that it goes in whether it was used or not.
            library.pull(id)?;
            let why = excluded.get(id.as_str()).map(|why| (*why).to_owned());
            let (used, why) = match rests.get(id.as_str()) {
                Some(&"book") => ("scatter", why),
                Some(side) => (*side, None),
                None => ("no", why.or_else(|| Some("not named by the claim".to_owned()))),
            };
            pulls.push(PullUseLine { pull: id.clone(), used, why });
        }
        gaps.extend(run_gaps::orders(library, &tag)?);
    }
    Ok((pulls, gaps))
}

/// The raw files that the records name: those of the engines weighed go in.
fn raw_files(
    book: &Book,
    library: &Library,
    records: &BTreeMap<String, Record>,
    weighed: &Weighed,
) -> Result<BTreeMap<String, RawPiece>, Failure> {
    let engine = |pull: &Pull| -> Result<Option<String>, Failure> {
        Ok(match pull.effective_build() {
            Some(build) => library.build(build)?.map(|build| build.engine),
            None => None,
        })
    };
    let mut engines = BTreeSet::new();
    for id in weighed.base.iter().chain(&weighed.test) {
        if let Some(pull) = library.pull(id)? {
            engines.extend(engine(&pull)?);
        }
    }
    let mut found: BTreeMap<String, RawPiece> = BTreeMap::new();
    let take =
        |found: &mut BTreeMap<String, RawPiece>, file: &RawFile, needed: bool| -> Result<(), Failure> {
            let standing = if !needed {
                RawStanding::NotNeeded
            } else if book.raw().open(&file.sha256)?.is_some() {
                RawStanding::Inside
            } else {
                RawStanding::NotHere
            };
            let piece =
                RawPiece { name: file.file.clone(), bytes: file.bytes, standing, shows: BTreeSet::new() };
            let entry = found.entry(file.sha256.clone()).or_insert_with(|| piece.clone());
            if entry.standing == RawStanding::NotNeeded {
                *entry = RawPiece { shows: std::mem::take(&mut entry.shows), ..piece };
            }
            Ok(())
        };
    for path in records.keys() {
        match sort_of(path) {
            Sort::Pull(_) => {
                let Some(pull) = library.pull_at(path)? else { continue };
                let needed = engine(&pull)?.is_some_and(|engine| engines.contains(&engine));
                for file in &pull.raw {
                    take(&mut found, file, needed)?;
                }
            }
            Sort::Flow => {
                let tag = path.trim_start_matches("flow/").trim_end_matches(".yaml");
                for file in library.flow(tag)?.iter().flat_map(|sheet| &sheet.raw) {
                    take(&mut found, file, true)?;
                }
            }
            _ => {}
        }
    }
    // What shows a figure goes with its record.
    let measured: BTreeSet<String> = found.keys().cloned().collect();
    for path in records.keys() {
        let needed = match sort_of(path) {
            Sort::Pull(_) => match library.pull_at(path)? {
                Some(pull) => engine(&pull)?.is_some_and(|engine| engines.contains(&engine)),
                None => false,
            },
            Sort::Build(name) => library.build(&name)?.is_some_and(|build| engines.contains(&build.engine)),
            _ => true,
        };
        for shown in figure_files::of_record(library, path)? {
            take(&mut found, &shown.file, needed)?;
            if let Some(piece) = found.get_mut(&shown.file.sha256)
                && !measured.contains(&shown.file.sha256)
            {
                piece.shows.insert(path.clone());
            }
        }
    }
    Ok(found)
}

/// Keeps a record or a raw file back; its hash stays.
fn keep_back(gathered: &mut Gathered, name: &str) -> Result<(), Failure> {
    if let Some(record) = gathered.records.get_mut(name) {
        if name == "book.yaml" || matches!(sort_of(name), Sort::Claim | Sort::Schema | Sort::Other) {
            return Err(Failure::usage(
                Finding::error("not-withheld", "without this nothing of the dossier could be read")
                    .found(format!("`{name}`")),
            ));
        }
        record.withheld = true;
        // What shows nothing but figures of records that are kept back is kept back with them.
        let withheld = |path: &String| gathered.records.get(path).is_some_and(|record| record.withheld);
        for piece in gathered.raw.values_mut() {
            if piece.standing == RawStanding::Inside
                && !piece.shows.is_empty()
                && piece.shows.iter().all(withheld)
            {
                piece.standing = RawStanding::Withheld;
            }
        }
        return Ok(());
    }
    let by_hash = name.len() >= SHORTEST_HASH && name.bytes().all(|byte| byte.is_ascii_hexdigit());
    let named: Vec<String> = gathered
        .raw
        .iter()
        .filter(|(sha256, piece)| piece.name == name || (by_hash && sha256.starts_with(&name.to_lowercase())))
        .map(|(sha256, _)| sha256.clone())
        .collect();
    if named.is_empty() {
        return Err(Failure::usage(
            Finding::error("not-in-the-dossier", "the dossier has nothing of this name to keep back")
                .found(format!("`{name}`"))
                .expected(
                    "the path of a record (parts/header/long-1.yaml), or a raw file by its name or SHA-256",
                ),
        ));
    }
    for sha256 in named {
        if let Some(piece) = gathered.raw.get_mut(&sha256) {
            piece.standing = RawStanding::Withheld;
        }
    }
    Ok(())
}
