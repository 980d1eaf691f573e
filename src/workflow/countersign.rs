//! Countersign a dossier that somebody else sealed, with no book at hand: the same dossier, a witness's signature beside its seal.

use std::io::BufWriter;
use std::path::Path;
use std::path::PathBuf;

use crate::answer::CountersignAnswer;
use crate::evidence;
use crate::evidence::Limits;
use crate::evidence::Mechanism;
use crate::evidence::NotOpened;
use crate::evidence::Role;
use crate::evidence::Signers;
use crate::evidence::WriteError;
use crate::finding::Finding;
use crate::store::SigningKey;
use crate::store::Source;
use crate::workflow::Context;
use crate::workflow::Failure;
use crate::workflow::FailureKind;
use crate::workflow::dossier;
use crate::workflow::dossier::Signing;

/// What is to be countersigned.
#[derive(Debug, Clone)]
pub struct CountersignRequest {
    /// The dossier.
    pub file: PathBuf,
    /// The file to write; one that is there is not replaced. Beside the dossier unless said.
    pub out: Option<PathBuf>,
}

/// Checks that a dossier is whole and sealed, and writes it once more with a countersignature inside.
///
/// # Errors
/// It is damaged, signed by nobody, or no dossier; the key sealed it, or countersigned it already, or does not sign; the file
/// to be written is there already or cannot be written. Nothing is left then, and the dossier itself is never touched.
pub fn countersign(
    context: &Context,
    request: &CountersignRequest,
    key: &SigningKey,
) -> Result<CountersignAnswer, Failure> {
    let path = request.out.clone().unwrap_or_else(|| beside(&request.file));
    let file = Source::open(&request.file)?;
    let mut progress = |done| (context.progress)("hashing", done, None);
    // Whose the shop's key is, the witness finds out with `verify`: to have held these bytes is another matter.
    let opened = evidence::open(file, &Limits::default(), &Signers::none(), 0, &mut progress);
    let mut opened = match opened {
        Ok(opened) => opened,
        Err(NotOpened::Refused(findings)) => {
            return Err(Failure { kind: FailureKind::Damaged, findings });
        }
        Err(error) => {
            return Err(Finding::error("dossier-unreadable", error.to_string())
                .found(request.file.display().to_string())
                .into());
        }
    };
    let mut out = BufWriter::new(dossier::outward(&path)?);
    let mut progress = |done| (context.progress)("writing the dossier", done, None);
    let added = evidence::countersign(&mut opened, &mut Signing(key), &mut out, &mut progress);
    let added = added.map_err(|error| match error {
        WriteError::Refused(finding) if matches!(finding.code, "signature-missing" | "payload-changed") => {
            Failure::damaged(finding)
        }
        other => dossier::not_written(other, &path),
    })?;
    dossier::kept(out, &path)?;
    let sealed_by = opened.signatures.iter().filter(|seal| seal.role == Role::Shop);
    Ok(CountersignAnswer {
        claim: opened.claim.clone(),
        file: path.display().to_string(),
        of: request.file.display().to_string(),
        seal: opened.seal.clone(),
        sealed_by: sealed_by.map(|seal| seal.fingerprint.clone()).collect(),
        fingerprint: added.fingerprint,
        countersignature: format!("{}/{}", opened.claim, added.file),
        archive: added.archive,
        says: Mechanism::Countersignature.sentence().to_owned(),
        next: format!(
            "hand it back with your public key; mulebook verify {} --signers FILE   tells whose both signatures are",
            path.display()
        ),
    })
}

/// `x.zip` gives `x-countersigned.zip`.
fn beside(file: &Path) -> PathBuf {
    let stem = file.file_stem().and_then(|stem| stem.to_str()).unwrap_or("dossier");
    file.with_file_name(format!("{stem}-countersigned.zip"))
}
