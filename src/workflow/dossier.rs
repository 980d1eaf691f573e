//! Gather a claim's evidence into one file that a sponsor can check with no book at hand.

use std::collections::BTreeMap;
use std::io::BufWriter;
use std::io::Read;
use std::path::Path;
use std::path::PathBuf;

use crate::answer::ClaimAnswer;
use crate::answer::DossierAnswer;
use crate::evidence;
use crate::evidence::Contents;
use crate::evidence::Payload;
use crate::evidence::Sealer;
use crate::evidence::WriteError;
use crate::evidence::safe_path;
use crate::finding::Finding;
use crate::store::Book;
use crate::store::Outward;
use crate::store::SigningKey;
use crate::store::digest;
use crate::workflow::Context;
use crate::workflow::Failure;
use crate::workflow::dossier_describe;
use crate::workflow::dossier_gather;
use crate::workflow::dossier_gather::Gathered;
use crate::workflow::dossier_history;
use crate::workflow::dossier_index::BUNDLE_FILE;
use crate::workflow::dossier_index::CLAIM_FILE;
use crate::workflow::dossier_index::FORM;
use crate::workflow::dossier_index::INDEX_FILE;
use crate::workflow::dossier_index::Index;
use crate::workflow::dossier_index::PAGE_FILE;
use crate::workflow::dossier_index::RAW;
use crate::workflow::dossier_index::RECORDS;
use crate::workflow::dossier_index::RawLine;
use crate::workflow::dossier_index::RawStanding;
use crate::workflow::dossier_index::RecordLine;
use crate::workflow::dossier_index::SCHEMA_COPIES;
use crate::workflow::dossier_index::SCHEMAS;
use crate::workflow::dossier_index::TEXT_FILE;
use crate::workflow::dossier_index::is_schema_copy;
use crate::workflow::recompute;
use crate::workflow::recompute::RawSource;

/// Version of this program.
pub(super) const PROGRAM: &str = env!("CARGO_PKG_VERSION");

/// What `dossier` is asked.
#[derive(Debug, Clone)]
pub struct DossierRequest {
    /// The claim.
    pub claim: String,
    /// The file to write; one that is there is not replaced.
    pub out: PathBuf,
    /// Records and raw files to keep back.
    pub withhold: Vec<String>,
    /// Put a git bundle of everything inside.
    pub whole_history: bool,
    /// Where a private folder may be made for trying the recomputation.
    pub temporary: PathBuf,
}

/// A dossier that is ready to be written: what it will disclose can be said before it is.
pub struct Prepared {
    gathered: Gathered,
    history: dossier_history::Proof,
    recomputable: bool,
    /// Everything that was ever committed, where that was asked for.
    bundle: Option<Vec<u8>>,
}

impl Prepared {
    /// The claim with its verdict, to be shown inside as text, JSON and page.
    pub fn claim(&self) -> &ClaimAnswer {
        &self.gathered.answer
    }

    /// Names of records that are not inside and that the history shows all the same.
    pub fn discloses(&self) -> &[String] {
        &self.history.discloses
    }
}

/// The claim as the outer rooms have rendered it.
#[derive(Debug, Clone)]
pub struct Rendered {
    /// As JSON.
    pub json: String,
    /// As text.
    pub text: String,
    /// As a page.
    pub page: String,
}

/// Gathers what a claim rests on, and tries whether its figures come out again from that alone.
///
/// # Errors
/// The claim cannot be weighed, a record does not hold, or what was gathered gives other figures than the book.
pub fn prepare(book: &Book, context: &Context, request: &DossierRequest) -> Result<Prepared, Failure> {
    (context.progress)("gathering", 0, None);
    let gathered = dossier_gather::gather(book, &request.claim, &request.withhold)?;
    let history = dossier_history::prove(book, &gathered)?;
    (context.progress)("working it out again", 0, None);
    let again = try_again(book, context, &gathered, &request.temporary);
    let kept_back = !gathered.kept_back().is_empty();
    let recomputable = match again {
        Ok(moved) if moved.is_empty() => true,
        // Something that is kept back may well have been needed: `verify` will say so.
        Ok(_) | Err(_) if kept_back => false,
        Ok(moved) => {
            return Err(Finding::error(
                "not-recomputable",
                "what was gathered gives other figures than the book: the dossier is not written",
            )
            .found(moved.iter().take(3).map(ToString::to_string).collect::<Vec<_>>().join("; "))
            .next("this is a fault of the program: please report it")
            .into());
        }
        Err(failure) => return Err(failure),
    };
    if request.whole_history && kept_back {
        return Err(Failure::usage(
            Finding::error("withheld-and-whole", "the whole history holds what is to be kept back")
                .next("leave --withhold or --whole-history out"),
        ));
    }
    let bundle = if request.whole_history { Some(book.bundle()?) } else { None };
    Ok(Prepared { gathered, history, recomputable, bundle })
}

fn try_again(
    book: &Book,
    context: &Context,
    gathered: &Gathered,
    temporary: &Path,
) -> Result<Vec<recompute::Moved>, Failure> {
    let records: BTreeMap<String, Vec<u8>> = gathered
        .records
        .iter()
        .filter(|(_, record)| !record.withheld)
        .map(|(path, record)| (path.clone(), record.bytes.clone()))
        .collect();
    let inside = gathered.raw.iter().filter(|(_, piece)| piece.standing == RawStanding::Inside);
    let inside: Vec<String> = inside.map(|(sha256, _)| sha256.clone()).collect();
    let scratch = recompute::lay_out(context, temporary, &records, &inside, &mut OfBook(book))?;
    let again = scratch.claim(&gathered.claim.tag, &gathered.versions)?;
    recompute::moved_between(&gathered.answer, &again)
}

/// The raw files of the book itself.
struct OfBook<'b>(&'b Book);

impl RawSource for OfBook<'_> {
    fn with(
        &mut self,
        sha256: &str,
        take: &mut dyn FnMut(&mut dyn Read) -> Result<(), Failure>,
    ) -> Result<(), Failure> {
        match self.0.raw().open(sha256)? {
            Some(mut reader) => take(&mut reader),
            None => Err(Finding::error("raw-not-here", "a raw file went away while it was gathered")
                .found(sha256.to_owned())
                .into()),
        }
    }
}

/// Writes a prepared dossier to its file.
///
/// # Errors
/// The file is there already or cannot be written, or there is no signature; nothing half-written is left.
pub fn write(
    book: &Book,
    context: &Context,
    request: &DossierRequest,
    prepared: &Prepared,
    rendered: &Rendered,
    key: Option<&SigningKey>,
) -> Result<DossierAnswer, Failure> {
    let mut sealer = key.map(Signing);
    let sealer = sealer.as_mut().map(|sealer| sealer as &mut dyn Sealer);
    let gathered = &prepared.gathered;
    let index = index_of(gathered);
    let contents = contents(book, prepared, &index, rendered)?;
    let mut out = BufWriter::new(outward(&request.out)?);
    let mut progress = |done| (context.progress)("writing the dossier", done, None);
    let written = evidence::write(&contents, sealer, context.now, &mut out, &mut progress)
        .map_err(|error| not_written(error, &request.out))?;
    kept(out, &request.out)?;
    let signed = if written.signed { "" } else { "; sign it with --sign KEY: unsigned it convinces nobody" };
    Ok(DossierAnswer {
        claim: gathered.claim.tag.clone(),
        file: request.out.display().to_string(),
        seal: written.seal,
        signed: written.signed,
        files: written.files,
        bytes: written.bytes,
        archive: written.archive,
        verdict: gathered.answer.verdict,
        verdict_says: gathered.answer.verdict_says.clone(),
        recomputable: prepared.recomputable,
        records: index
            .records
            .iter()
            .filter(|line| line.file.is_some() && !is_schema_copy(&line.path))
            .count(),
        raw_files: index.raw.iter().filter(|line| line.standing == RawStanding::Inside).count(),
        kept_back: gathered.kept_back(),
        pulls: gathered.pulls.clone(),
        run_gaps: gathered.run_gaps.clone(),
        discloses: prepared.history.discloses.clone(),
        commit: gathered.library.commit().short(),
        next: format!("mulebook verify {} --signers FILE{signed}", request.out.display()),
    })
}

/// The file that a dossier is written to.
pub(super) fn outward(path: &Path) -> Result<Outward, Failure> {
    let folder = path.parent().filter(|folder| !folder.as_os_str().is_empty()).unwrap_or(Path::new("."));
    let Some(name) = path.file_name().and_then(|name| name.to_str()) else {
        return Err(Failure::usage(
            Finding::error("not-a-file-name", "the dossier needs the name of a file")
                .found(path.display().to_string())
                .expected("for example stepped-header.zip"),
        ));
    };
    Ok(Outward::create(folder, name)?)
}

/// Gives a dossier its name, now that it is whole.
pub(super) fn kept(out: BufWriter<Outward>, path: &Path) -> Result<(), Failure> {
    let file = out.into_inner().map_err(|error| not_written(WriteError::Out(error.into_error()), path))?;
    Ok(Outward::keep([file])?)
}

/// Why a dossier was not written.
pub(super) fn not_written(error: WriteError, path: &Path) -> Failure {
    match error {
        WriteError::Refused(finding) => finding.into(),
        other => {
            Finding::error("dossier-not-written", other.to_string()).found(path.display().to_string()).into()
        }
    }
}

/// A key of somebody's, at work.
pub(super) struct Signing<'k>(pub(super) &'k SigningKey);

impl Sealer for Signing<'_> {
    fn seal(&mut self, namespace: &str, bytes: &[u8]) -> Result<String, String> {
        self.0.sign(namespace, bytes)
    }
}

/// Which payload file is which.
fn index_of(gathered: &Gathered) -> Index {
    Index {
        dossier: FORM,
        program: PROGRAM.to_owned(),
        book: gathered.library.page().name.clone(),
        commit: gathered.library.commit().to_string(),
        claim: gathered.claim.tag.clone(),
        records: gathered
            .records
            .iter()
            .map(|(path, record)| RecordLine {
                path: path.clone(),
                sha256: digest(&record.bytes),
                file: (!record.withheld).then(|| match path.strip_prefix(SCHEMA_COPIES) {
                    // Folders of a dossier do not begin with a dot.
                    Some(name) => safe_path(&format!("{SCHEMAS}{name}")),
                    None => safe_path(&format!("{RECORDS}{path}")),
                }),
            })
            .collect(),
        raw: gathered
            .raw
            .iter()
            .map(|(sha256, piece)| RawLine {
                sha256: sha256.clone(),
                name: piece.name.clone(),
                bytes: piece.bytes,
                standing: piece.standing,
            })
            .collect(),
    }
}

fn contents<'c>(
    book: &'c Book,
    prepared: &'c Prepared,
    index: &Index,
    rendered: &Rendered,
) -> Result<Contents<'c>, Failure> {
    let gathered = &prepared.gathered;
    let mut payload: BTreeMap<String, Box<dyn Payload + 'c>> = BTreeMap::new();
    for line in &index.records {
        if let (Some(file), Some(record)) = (&line.file, gathered.records.get(&line.path)) {
            payload.insert(file.clone(), Box::new(record.bytes.clone()));
        }
    }
    for line in index.raw.iter().filter(|line| line.standing == RawStanding::Inside) {
        payload
            .insert(format!("{RAW}{}", line.sha256), Box::new(OfVault { book, sha256: line.sha256.clone() }));
    }
    let mut list = serde_json::to_string_pretty(index).map_err(|error| {
        Finding::error("dossier-not-written", format!("the list cannot be written: {error}"))
    })?;
    list.push('\n');
    payload.insert(INDEX_FILE.to_owned(), Box::new(list));
    payload.insert(CLAIM_FILE.to_owned(), Box::new(rendered.json.clone()));
    payload.insert(TEXT_FILE.to_owned(), Box::new(rendered.text.clone()));
    payload.insert(PAGE_FILE.to_owned(), Box::new(rendered.page.clone()));
    for (path, bytes) in &prepared.history.files {
        payload.insert(path.clone(), Box::new(bytes.clone()));
    }
    if let Some(bundle) = &prepared.bundle {
        payload.insert(BUNDLE_FILE.to_owned(), Box::new(bundle.clone()));
    }
    let claim = &gathered.claim;
    let mut information = vec![
        ("External-Identifier".to_owned(), format!("{} of {}", claim.tag, gathered.library.page().name)),
        ("External-Description".to_owned(), one_line(&claim.says)),
        ("Verdict".to_owned(), gathered.answer.verdict.to_owned()),
        ("Book-Commit".to_owned(), gathered.library.commit().to_string()),
        ("Program".to_owned(), format!("mulebook {PROGRAM}")),
    ];
    for line in gathered.kept_back() {
        information.push((
            "Kept-Back".to_owned(),
            one_line(&format!("{} ({}), SHA-256 {}", line.what, line.why, line.sha256)),
        ));
    }
    Ok(Contents {
        claim: claim.tag.clone(),
        payload,
        information,
        description: dossier_describe::description(gathered, index)?,
    })
}

/// A text for a list that is read by lines.
fn one_line(text: &str) -> String {
    text.split_whitespace().collect::<Vec<_>>().join(" ")
}

/// A raw file of the book, read when it is needed.
struct OfVault<'b> {
    book: &'b Book,
    sha256: String,
}

impl Payload for OfVault<'_> {
    fn open(&self) -> std::io::Result<Box<dyn Read + '_>> {
        match self.book.raw().open(&self.sha256) {
            Ok(Some(reader)) => Ok(Box::new(reader)),
            Ok(None) => Err(std::io::Error::other("the raw file went away while it was gathered")),
            Err(error) => Err(std::io::Error::other(error.to_string())),
        }
    }
}
