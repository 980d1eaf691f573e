//! Check a dossier with no book at hand: structure, seal and hashes first, on the very bytes that are read later; then
//! records, references and history; then every figure is worked out again by this program's own method.

use std::collections::BTreeMap;
use std::collections::BTreeSet;
use std::io::Read;
use std::io::Seek;
use std::path::Path;
use std::path::PathBuf;

use serde_json::Value as Json;

use crate::answer::ClaimAnswer;
use crate::answer::MovedFigureLine;
use crate::answer::RecomputedLine;
use crate::answer::VerifyAnswer;
use crate::answer::WeighAnswer;
use crate::evidence;
use crate::evidence::Limits;
use crate::evidence::NotOpened;
use crate::evidence::Opened;
use crate::evidence::PayloadError;
use crate::evidence::Receipt;
use crate::evidence::Signers;
use crate::finding::Finding;
use crate::finding::Place;
use crate::record::Moment;
use crate::store::Source;
use crate::workflow::Context;
use crate::workflow::Failure;
use crate::workflow::Library;
use crate::workflow::demands;
use crate::workflow::dossier::PROGRAM;
use crate::workflow::dossier::Rendered;
use crate::workflow::dossier_gather::sessions;
use crate::workflow::dossier_history;
use crate::workflow::dossier_history::History;
use crate::workflow::dossier_history::SHORT;
use crate::workflow::dossier_index::CLAIM_FILE;
use crate::workflow::dossier_index::FORM;
use crate::workflow::dossier_index::INDEX_FILE;
use crate::workflow::dossier_index::Index;
use crate::workflow::dossier_index::PAGE_FILE;
use crate::workflow::dossier_index::RAW;
use crate::workflow::dossier_index::RawStanding;
use crate::workflow::dossier_index::TEXT_FILE;
use crate::workflow::dossier_index::is_known;
use crate::workflow::dossier_index::is_schema_copy;
use crate::workflow::figure_files;
use crate::workflow::gate;
use crate::workflow::gate::Sort;
use crate::workflow::gate::sort_of;
use crate::workflow::grounds;
use crate::workflow::recompute;
use crate::workflow::recompute::Moved;
use crate::workflow::recompute::RawSource;
use crate::workflow::recompute::Scratch;
use crate::workflow::verify_lines::kept_back;
use crate::workflow::verify_lines::mechanisms;
use crate::workflow::verify_lines::proven;
use crate::workflow::verify_lines::shop_says;
use crate::workflow::verify_lines::signatures;
use crate::workflow::verify_lines::time_stamps;

/// Longest list of signers, in bytes.
const LONGEST_LIST: usize = 1 << 20;
/// Figures that came out otherwise and are told one by one.
const MOST_MOVED: usize = 20;
/// What a missing record is called by those who look for it.
const MISSING: [&str; 3] = ["reference-missing", "instrument-unknown", "person-unknown"];

/// What `verify` is asked.
#[derive(Debug, Clone)]
pub struct VerifyRequest {
    /// The dossier.
    pub file: PathBuf,
    /// The reader's own list of signers.
    pub signers: PathBuf,
    /// Keys that are no longer trusted.
    pub revoked: Option<PathBuf>,
    /// Receipts that the reader was handed.
    pub receipts: Option<PathBuf>,
    /// The moment that decides which signers are in force, seconds since 1970, UTC.
    pub at: i64,
    /// Where a private folder may be made.
    pub temporary: PathBuf,
}

/// Checks a dossier.
///
/// # Errors
/// It is damaged, signed by nobody listed, or no dossier; a list of signers that cannot be read. A claim that is not
/// shown, or that cannot be worked out again, is an answer. `render` shows a claim as the outer rooms do: what the dossier
/// shows of its claim is held against it.
pub fn verify(
    context: &Context,
    request: &VerifyRequest,
    render: &dyn Fn(&ClaimAnswer) -> Rendered,
) -> Result<VerifyAnswer, Failure> {
    let signers = signers(request)?;
    let file = Source::open(&request.file)?;
    let mut progress = |done| (context.progress)("hashing", done, None);
    let opened = evidence::open(file, &Limits::default(), &signers, request.at, &mut progress);
    let mut opened = match opened {
        Ok(opened) => opened,
        Err(NotOpened::Refused(findings)) => return Err(damaged(findings)),
        Err(error) => {
            return Err(Finding::error("dossier-unreadable", error.to_string())
                .found(request.file.display().to_string())
                .into());
        }
    };
    // Nobody's dossier is read any further: what it says could be anybody's.
    if opened.sealed_by().is_none() {
        return Err(damaged(opened.findings.iter().filter(|finding| finding.is_error()).cloned().collect()));
    }
    let mut checking = Checking { context, request, render, findings: opened.findings.clone() };
    let (index, listed) = checking.index(&mut opened)?;
    let records = checking.records(&mut opened, &index)?;
    let (mut history, doubts) = dossier_history::read(&mut opened, &index, &records, &signers)?;
    checking.findings.extend(doubts);
    checking.receipts(&index, &mut history)?;
    let scratch = checking.lay_out(&mut opened, &index, &records)?;
    checking.gate(&scratch, &records, &index)?;
    checking.answer(opened, index, listed, history, &scratch)
}

/// A day or time as seconds since 1970; a bare day is its beginning in UTC.
pub fn moment(text: &str) -> Option<i64> {
    let moment = Moment::parse(text).ok()?;
    let day = || moment.day().and_hms_opt(0, 0, 0).map(|midnight| midnight.and_utc().timestamp());
    moment.instant().map(|instant| instant.timestamp()).or_else(day)
}

fn damaged(findings: Vec<Finding>) -> Failure {
    Failure { kind: crate::workflow::FailureKind::Damaged, findings }
}

fn of_payload(error: PayloadError) -> Failure {
    match error {
        PayloadError::Refused(finding) => damaged(vec![finding]),
        other => Finding::error("dossier-unreadable", other.to_string()).into(),
    }
}

fn signers(request: &VerifyRequest) -> Result<Signers, Failure> {
    let name = |path: &Path| path.file_name().and_then(|name| name.to_str()).unwrap_or("signers").to_owned();
    let list = text(&request.signers)?;
    let revoked =
        request.revoked.as_deref().map(|path| Ok::<_, Failure>((name(path), text(path)?))).transpose()?;
    let revoked = revoked.as_ref().map(|(name, text)| (name.as_str(), text.as_str()));
    let signers = Signers::parse(&name(&request.signers), &list, revoked).map_err(Failure::faults)?;
    if signers.is_empty() {
        return Err(Finding::error("signers-empty", "the list of signers holds nobody")
            .found(request.signers.display().to_string())
            .expected("a line for each key that you trust: shop@shop.example ssh-ed25519 AAAA…")
            .next("write the key that the shop gave you by another way into it")
            .into());
    }
    Ok(signers)
}

/// A short text of the reader's own.
pub(super) fn text(path: &Path) -> Result<String, Failure> {
    let mut source = Source::open(path)?;
    let bytes = source.head(LONGEST_LIST).map_err(|error| {
        Failure::from(
            Finding::error("not-read", format!("this file could not be read: {error}"))
                .found(path.display().to_string()),
        )
    })?;
    String::from_utf8(bytes).map_err(|_| {
        Finding::error("not-text", "this file is not text in UTF-8").found(path.display().to_string()).into()
    })
}

/// What shows a figure of a record inside and is not in the list: it would be missed by nobody.
fn unlisted(library: &Library, paths: &BTreeSet<String>, index: &Index) -> Vec<Finding> {
    let mut wrong = Vec::new();
    for path in paths {
        // Of other engines than those weighed, pulls and builds leave theirs in the book.
        let may_stay = matches!(sort_of(path), Sort::Pull(_) | Sort::Build(_));
        for shown in figure_files::of_record(library, path).unwrap_or_default() {
            let listed = index.raw.iter().find(|line| line.sha256 == shown.file.sha256);
            if listed.is_none_or(|line| line.standing == RawStanding::NotNeeded && !may_stay) {
                wrong.push(
                    Finding::error(
                        "dossier-list",
                        "the list leaves out what shows a figure of a record inside",
                    )
                    .at(Place::file(INDEX_FILE))
                    .found(evidence::escaped(&format!("{}: {}", shown.figure, shown.file.file)))
                    .expected(format!("SHA-256 {} in the list", shown.file.sha256)),
                );
            }
        }
    }
    wrong
}

struct Checking<'a> {
    context: &'a Context,
    request: &'a VerifyRequest,
    render: &'a dyn Fn(&ClaimAnswer) -> Rendered,
    findings: Vec<Finding>,
}

/// The claim as the dossier says it.
struct Listed {
    claim: Json,
}

impl Checking<'_> {
    /// The list of what is what, held against the payload.
    fn index<R: Read + Seek>(&mut self, opened: &mut Opened<R>) -> Result<(Index, Listed), Failure> {
        let bytes = opened.read(INDEX_FILE).map_err(of_payload)?;
        let index: Index = serde_json::from_slice(&bytes).map_err(|error| {
            let finding = Finding::error("dossier-list", "the list of the dossier does not hold")
                .at(Place::file(INDEX_FILE).line(error.line()).column(error.column()));
            damaged(vec![finding.found(error.to_string())])
        })?;
        if index.dossier != FORM {
            return Err(Finding::error(
                "dossier-form",
                "this dossier is of another form than this program reads",
            )
            .at(Place::file(INDEX_FILE).field("dossier"))
            .found(index.dossier.to_string())
            .expected(FORM.to_string())
            .next("use the program that wrote it, or a newer one")
            .into());
        }
        let mut wrong = index.against(&opened.payload);
        if index.claim != opened.claim {
            wrong.push(
                Finding::error("dossier-list", "the list is of another claim than the dossier")
                    .at(Place::file(INDEX_FILE))
                    .found(evidence::escaped(&index.claim))
                    .expected(evidence::escaped(&opened.claim)),
            );
        }
        if !wrong.is_empty() {
            return Err(damaged(wrong));
        }
        let held: BTreeSet<String> = index.files().collect();
        for path in opened.payload.keys().filter(|path| !held.contains(*path) && !is_known(path)) {
            self.findings.push(
                Finding::doubt("file-of-no-record", "no record of the dossier names this file")
                    .at(Place::file(evidence::escaped(path))),
            );
        }
        let bytes = opened.read(CLAIM_FILE).map_err(of_payload)?;
        let claim: Json = serde_json::from_slice(&bytes).map_err(|error| {
            let finding =
                Finding::error("dossier-claim", "the claim's answer is not JSON").at(Place::file(CLAIM_FILE));
            damaged(vec![finding.found(error.to_string())])
        })?;
        Ok((index, Listed { claim }))
    }

    /// The records inside, by their paths in the book.
    fn records<R: Read + Seek>(
        &mut self,
        opened: &mut Opened<R>,
        index: &Index,
    ) -> Result<BTreeMap<String, Vec<u8>>, Failure> {
        let mut records = BTreeMap::new();
        for line in &index.records {
            if let Some(file) = &line.file {
                records.insert(line.path.clone(), opened.read(file).map_err(of_payload)?);
            }
        }
        Ok(records)
    }

    /// The reader's receipts: unbroken among themselves, and each of a commit that the history holds.
    fn receipts(&mut self, index: &Index, history: &mut History) -> Result<(), Failure> {
        let Some(path) = &self.request.receipts else { return Ok(()) };
        let name = path.file_name().and_then(|name| name.to_str()).unwrap_or("receipts");
        let receipts = Receipt::find(name, &text(path)?).map_err(damaged)?;
        let mut found = evidence::chain_findings(&receipts);
        found.extend(history.hold_receipts(&receipts, &index.claim));
        let (wrong, doubts): (Vec<_>, Vec<_>) = found.into_iter().partition(Finding::is_error);
        if !wrong.is_empty() {
            return Err(damaged(wrong));
        }
        self.findings.extend(doubts);
        Ok(())
    }

    /// A private book made from what was checked.
    fn lay_out<R: Read + Seek>(
        &self,
        opened: &mut Opened<R>,
        index: &Index,
        records: &BTreeMap<String, Vec<u8>>,
    ) -> Result<Scratch, Failure> {
        let inside = index.raw.iter().filter(|line| line.standing == RawStanding::Inside);
        let inside: Vec<String> = inside.map(|line| line.sha256.clone()).collect();
        recompute::lay_out(self.context, &self.request.temporary, records, &inside, &mut OfDossier(opened))
    }

    /// Every record through the gate that every book's records go through.
    fn gate(
        &mut self,
        scratch: &Scratch,
        records: &BTreeMap<String, Vec<u8>>,
        index: &Index,
    ) -> Result<(), Failure> {
        let library = Library::at_head(&scratch.book).map_err(|failure| damaged(failure.findings))?;
        self.findings.extend(demands::dropped(records));
        let paths: BTreeSet<String> = records.keys().filter(|path| !is_schema_copy(path)).cloned().collect();
        let withheld = index.records.iter().any(|line| line.file.is_none());
        let unlisted = unlisted(&library, &paths, index);
        if !unlisted.is_empty() {
            return Err(damaged(unlisted));
        }
        match gate::check(&scratch.book, &library, &paths, &BTreeSet::new()) {
            Ok(doubts) => {
                // That a raw file is not inside is told with its standing. What to do next is for the shop, in its book.
                let doubts = doubts.into_iter().filter(|doubt| doubt.code != "raw-not-here");
                self.findings.extend(doubts.map(|doubt| Finding { next: None, ..doubt }));
                Ok(())
            }
            Err(failure) => {
                let (missing, wrong): (Vec<_>, Vec<_>) =
                    failure.findings.into_iter().partition(|finding| MISSING.contains(&finding.code));
                if !wrong.is_empty() || !withheld {
                    return Err(damaged(missing.into_iter().chain(wrong).collect()));
                }
                // What is kept back is missed where it is named.
                self.findings.extend(missing);
                Ok(())
            }
        }
    }

    /// Text and page that do not show what the claim's own figures say. Another version may word it otherwise: that is
    /// no more than a doubt.
    fn shown_otherwise<R: Read + Seek>(
        &mut self,
        opened: &mut Opened<R>,
        found: &ClaimAnswer,
        index: &Index,
    ) -> Result<Vec<Moved>, Failure> {
        let rendered = (self.render)(found);
        let mut moved = Vec::new();
        for (path, ours) in [(TEXT_FILE, &rendered.text), (PAGE_FILE, &rendered.page)] {
            if opened.read(path).map_err(of_payload)? == ours.as_bytes() {
                continue;
            }
            if index.program == PROGRAM {
                moved.push(Moved {
                    at: path.to_owned(),
                    said: "a text of its own".to_owned(),
                    found: "another text for the same figures".to_owned(),
                });
            } else {
                self.findings.push(
                    Finding::doubt("worded-otherwise", "this program words the same figures otherwise")
                        .at(Place::file(path))
                        .found(format!("version {}", index.program))
                        .expected(PROGRAM),
                );
            }
        }
        Ok(moved)
    }

    fn answer<R: Read + Seek>(
        mut self,
        mut opened: Opened<R>,
        index: Index,
        listed: Listed,
        history: History,
        scratch: &Scratch,
    ) -> Result<VerifyAnswer, Failure> {
        (self.context.progress)("working it out again", 0, None);
        let library = Library::at_head(&scratch.book).map_err(|failure| damaged(failure.findings))?;
        let again = scratch.claim(&index.claim, &history.versions);
        let mut recomputed = RecomputedLine {
            done: false,
            figures: 0,
            moved: Vec::new(),
            moved_count: 0,
            theirs: index.program.clone(),
            ours: PROGRAM.to_owned(),
            why_not: Vec::new(),
        };
        let mut here = None;
        match again {
            Ok(mut found) => {
                // As it was said: the commit is that of the shop's book, not of the private one.
                found.commit = index.commit.chars().take(SHORT).collect();
                if let Some(WeighAnswer::Weighed(weighed)) = &mut found.weighing {
                    weighed.commit.clone_from(&found.commit);
                }
                let json = serde_json::to_value(&found)
                    .map_err(|error| Finding::error("not-recomputable", error.to_string()))?;
                let (mut moved, figures) = recompute::moved(&listed.claim, &json);
                if moved.is_empty() {
                    moved.extend(self.shown_otherwise(&mut opened, &found, &index)?);
                }
                recomputed.done = matches!(found.weighing, Some(WeighAnswer::Weighed(_)));
                recomputed.figures = figures;
                recomputed.moved_count = moved.len();
                recomputed.moved = moved
                    .into_iter()
                    .take(MOST_MOVED)
                    .map(|moved| MovedFigureLine { at: moved.at, said: moved.said, found: moved.found })
                    .collect();
                here = Some(found);
            }
            Err(failure) => recomputed.why_not = failure.findings,
        }
        let mut answer = VerifyAnswer {
            file: self.request.file.display().to_string(),
            claim: index.claim.clone(),
            says: listed.claim["says"].as_str().unwrap_or_default().to_owned(),
            outcome: "",
            outcome_says: String::new(),
            verdict: here.as_ref().map(|found| found.verdict),
            seal: opened.seal.clone(),
            signatures: signatures(&opened),
            signed_commits: history.signed.clone(),
            time_stamps: time_stamps(&opened),
            information: opened.information.clone(),
            proven: Vec::new(),
            shop_says: Vec::new(),
            grounds: Default::default(),
            kept_back: kept_back(&index),
            pulls: Vec::new(),
            run_gaps: Vec::new(),
            pulls_not_inside: Vec::new(),
            mechanisms: mechanisms(&opened, &history),
            recomputed,
            findings: Vec::new(),
            claim_here: None,
            next: String::new(),
        };
        if let Some(WeighAnswer::Weighed(weighed)) = here.as_ref().and_then(|found| found.weighing.as_ref()) {
            (answer.pulls, answer.run_gaps) = sessions(&library, weighed)?;
            let pulls: Vec<String> = weighed.base.iter().chain(&weighed.test).cloned().collect();
            let (grounds, wrong) = grounds::of(&library, &pulls)?;
            let (errors, doubts): (Vec<_>, Vec<_>) = wrong.into_iter().partition(Finding::is_error);
            if !errors.is_empty() {
                return Err(damaged(errors));
            }
            self.findings.extend(doubts);
            answer.grounds = grounds;
            let inside: BTreeSet<&str> = answer.pulls.iter().map(|line| line.pull.as_str()).collect();
            answer.pulls_not_inside = history
                .pulls
                .iter()
                .filter(|id| {
                    let of_these = answer.pulls.iter().any(|line| session_of(&line.pull) == session_of(id));
                    of_these && !inside.contains(id.as_str())
                })
                .cloned()
                .collect();
        }
        answer.proven = proven(&opened, &history, &answer, here.as_ref());
        answer.shop_says = shop_says(&answer);
        outcome(&mut answer, here.as_ref());
        answer.findings = self.findings;
        answer.claim_here = here;
        Ok(answer)
    }
}

/// The raw files of a dossier, hashed once more as they are handed over.
struct OfDossier<'o, R>(&'o mut Opened<R>);

impl<R: Read + Seek> RawSource for OfDossier<'_, R> {
    fn with(
        &mut self,
        sha256: &str,
        take: &mut dyn FnMut(&mut dyn Read) -> Result<(), Failure>,
    ) -> Result<(), Failure> {
        let mut stream = self.0.stream(&format!("{RAW}{sha256}")).map_err(of_payload)?;
        take(&mut stream)?;
        stream.finish().map_err(of_payload)
    }
}

fn session_of(pull: &str) -> &str {
    pull.rsplit_once('-').map_or(pull, |(session, _)| session)
}

fn outcome(answer: &mut VerifyAnswer, here: Option<&ClaimAnswer>) {
    let recomputed = &answer.recomputed;
    let (outcome, says) = match here {
        Some(found) if recomputed.done && recomputed.moved_count == 0 && found.is_shown() => (
            "holds",
            format!("The dossier is whole, signed by a key of your list, worked out again, and {}", lower(&found.verdict_says)),
        ),
        Some(found) if recomputed.done && recomputed.moved_count == 0 => (
            "not shown",
            format!("The dossier is whole and signed, and its figures came out again; but {}", lower(&found.verdict_says)),
        ),
        Some(_) if recomputed.done => (
            "not recomputed",
            format!(
                "The dossier is whole and signed; but {} of what it says came out otherwise here{}.",
                recomputed.moved_count,
                if recomputed.theirs == recomputed.ours {
                    String::new()
                } else {
                    format!(" (made by version {}, this is {})", recomputed.theirs, recomputed.ours)
                }
            ),
        ),
        _ => (
            "not recomputed",
            "The dossier is whole and signed; but its verdict cannot be worked out again from what is inside.".to_owned(),
        ),
    };
    answer.outcome = outcome;
    answer.outcome_says = says;
    answer.next = match outcome {
        "holds" => "compare the fingerprint with the one that the shop gave you by another way".to_owned(),
        _ if !answer.kept_back.is_empty() => {
            "ask the shop for what it keeps back, or weigh why it does".to_owned()
        }
        _ => "ask the shop about the lines above".to_owned(),
    };
}

fn lower(sentence: &str) -> String {
    let mut chars = sentence.chars();
    chars.next().map_or_else(String::new, |first| first.to_lowercase().chain(chars).collect())
}
