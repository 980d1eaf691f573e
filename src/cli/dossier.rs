//! `dossier` and `verify`.

use std::path::Path;
use std::path::PathBuf;

use clap::Args;

use crate::answer::ClaimAnswer;
use crate::cli::NOT_SHOWN;
use crate::cli::Said;
use crate::cli::Surroundings;
use crate::finding::Finding;
use crate::render;
use crate::workflow::Failure;
use crate::workflow::countersign;
use crate::workflow::countersign::CountersignRequest;
use crate::workflow::dossier;
use crate::workflow::dossier::DossierRequest;
use crate::workflow::dossier::Rendered;
use crate::workflow::receipt;
use crate::workflow::verify;
use crate::workflow::verify::VerifyRequest;

/// Gather a claim's evidence into one file that a sponsor can check with no book at hand
#[derive(Debug, Args)]
#[command(
    after_help = "Examples:\n  mulebook dossier stepped-header --out stepped-header.zip --sign ~/.ssh/id_ed25519\n  mulebook dossier --receipt\n  mulebook dossier stepped-header --out for-them.zip --withhold parts/camshaft/cams-5.yaml\n  mulebook dossier --countersign stepped-header.zip --sign ~/.ssh/id_ed25519\n\nInside: every record and raw file that the verdict rests on, with the pulls behind its noise and its budget; the claim with\nits weighing as text, JSON and page; the commits and trees that show which record had which bytes in which commit. What\nis withheld keeps its hash. Other names in those trees are disclosed: which, is said before anything is written.\n\nA witness countersigns with no book at hand: --countersign checks that a dossier is whole and sealed, and writes it once more\nwith a signature of the witness's own key beside the seal. It proves that the witness had exactly these files; not when,\nand not that they are true."
)]
pub(super) struct Dossier {
    /// The claim
    #[arg(required_unless_present_any = ["receipt", "countersign"])]
    claim: Option<String>,
    /// The file to write; one that is there is not replaced. NAME.zip, or NAME-countersigned.zip, unless said
    #[arg(long, short, value_name = "FILE")]
    out: Option<PathBuf>,
    /// Sign it with this SSH key
    #[arg(long, value_name = "KEY")]
    sign: Option<PathBuf>,
    /// Keep a record (by its path) or a raw file (by its name or SHA-256) back; its hash stays (may be given several times)
    #[arg(long, value_name = "WHAT")]
    withhold: Vec<String>,
    /// Put the whole book's history inside as a git bundle: everything that was ever committed is disclosed
    #[arg(long)]
    whole_history: bool,
    /// Print a numbered line of the book as it stands, to hand or mail to the sponsor on test day, and keep it
    #[arg(long, conflicts_with_all = ["claim", "out", "sign", "withhold", "whole_history"])]
    receipt: bool,
    /// As a witness: put a signature of your own beside the seal of this dossier; needs --sign, and no book
    #[arg(long, value_name = "FILE", requires = "sign", conflicts_with_all = ["claim", "withhold", "whole_history", "receipt"])]
    countersign: Option<PathBuf>,
}

impl Dossier {
    pub(super) fn run(self, surroundings: &Surroundings) -> Result<Said, Failure> {
        if let Some(file) = self.countersign {
            let sign = self.sign.as_deref().ok_or_else(|| no_key(&file))?;
            let context = surroundings.context("dossier", None)?;
            let request = CountersignRequest { file, out: self.out };
            let answer = countersign::countersign(&context, &request, &surroundings.sealer(sign)?)?;
            return Ok(Said::done(
                render::countersigned(&answer, surroundings.look()),
                render::json("countersign", &answer),
            ));
        }
        let book = surroundings.book()?;
        let context = surroundings.context("dossier", Some(&book))?;
        let Some(claim) = self.claim else {
            let answer = receipt::receipt(&book, &context)?;
            return Ok(Said::done(
                render::receipt(&answer, surroundings.look()),
                render::json("receipt", &answer),
            ));
        };
        let out = self.out.unwrap_or_else(|| PathBuf::from(format!("{claim}.zip")));
        let request = DossierRequest {
            claim,
            out,
            withhold: self.withhold,
            whole_history: self.whole_history,
            temporary: surroundings.temporary(),
        };
        let key = self.sign.as_deref().map(|key| surroundings.sealer(key)).transpose()?;
        let prepared = dossier::prepare(&book, &context, &request)?;
        surroundings.say_beforehand(&render::disclosure(prepared.discloses(), surroundings.look_of_errors()));
        let rendered = rendered(prepared.claim());
        let answer = dossier::write(&book, &context, &request, &prepared, &rendered, key.as_ref())?;
        Ok(Said::done(render::dossier(&answer, surroundings.look()), render::json("dossier", &answer)))
    }
}

fn no_key(file: &Path) -> Failure {
    Failure::usage(
        Finding::error("empty-value", "a countersignature needs a key")
            .found(file.display().to_string())
            .next("name it with --sign KEY"),
    )
}

/// A claim as text, JSON and page.
fn rendered(claim: &ClaimAnswer) -> Rendered {
    Rendered {
        json: render::json("claim", claim),
        text: render::claim_document(claim),
        page: render::claim_page(claim),
    }
}

/// Check a dossier with no book at hand: whole, signed by a key of your own list, worked out again, shown
#[derive(Debug, Args)]
#[command(
    after_help = "Example:\n  mulebook verify stepped-header.zip --signers signers\n\nThe list is yours, one line a key, as for ssh-keygen: shop@shop.example ssh-ed25519 AAAA…; get the key by another way than\nthe dossier. Nothing is unpacked, fetched or run. Exit codes: 0 signed by a listed key, whole, worked out again and shown;\n4 damaged, unsigned or signed by nobody listed; 5 not shown, or not to be worked out again."
)]
pub(super) struct Verify {
    /// The dossier
    file: PathBuf,
    /// Your own list of signers
    #[arg(long, value_name = "FILE")]
    signers: PathBuf,
    /// Keys that are no longer trusted, a public key on each line
    #[arg(long, value_name = "FILE")]
    revoked: Option<PathBuf>,
    /// Receipts that you were handed: a file of lines, or the mails they came in
    #[arg(long, value_name = "FILE")]
    receipts: Option<PathBuf>,
    /// The moment that decides which signers are in force; now unless said
    #[arg(long, value_name = "DATE")]
    at: Option<String>,
}

impl Verify {
    pub(super) fn run(self, surroundings: &Surroundings) -> Result<Said, Failure> {
        let context = surroundings.context("verify", None)?;
        let at = match &self.at {
            None => context.now.timestamp(),
            Some(text) => verify::moment(text).ok_or_else(|| {
                Failure::usage(
                    Finding::error("not-a-date", "this is not a day or time")
                        .found(format!("`{text}`"))
                        .expected("2026-06-01, or 2026-06-01T10:00:00+02:00"),
                )
            })?,
        };
        let request = VerifyRequest {
            file: self.file,
            signers: self.signers,
            revoked: self.revoked,
            receipts: self.receipts,
            at,
            temporary: surroundings.temporary(),
        };
        let answer = verify::verify(&context, &request, &rendered)?;
        let code = if answer.outcome == "holds" { 0 } else { NOT_SHOWN };
        Ok(Said {
            text: render::verify(&answer, surroundings.look()),
            json: render::json("verify", &answer),
            code,
        })
    }
}
