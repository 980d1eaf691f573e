//! The lines of a verification that only restate what opening the dossier found.

use std::collections::BTreeSet;

use chrono::DateTime;

use crate::answer::ClaimAnswer;
use crate::answer::KeptBackLine;
use crate::answer::MechanismLine;
use crate::answer::SignatureLine;
use crate::answer::TimeStampLine;
use crate::answer::VerifyAnswer;
use crate::evidence;
use crate::evidence::Mechanism;
use crate::evidence::Opened;
use crate::evidence::Role;
use crate::evidence::Standing;
use crate::workflow::dossier_history::History;
use crate::workflow::dossier_index::Index;
use crate::workflow::dossier_index::RawStanding;

/// The signatures of a dossier and whose they are by the reader's list.
pub(super) fn signatures<R>(opened: &Opened<R>) -> Vec<SignatureLine> {
    let line = |seal: &evidence::Seal| SignatureLine {
        file: seal.file.clone(),
        role: match seal.role {
            Role::Shop => "shop",
            Role::Witness => "witness",
        },
        fingerprint: seal.fingerprint.clone(),
        algorithm: seal.algorithm.clone(),
        principals: match &seal.standing {
            Standing::Listed { principals } => principals.clone(),
            _ => Vec::new(),
        },
        listed: seal.is_listed(),
    };
    opened.signatures.iter().map(line).collect()
}

/// What time-stamping services answered for a dossier.
pub(super) fn time_stamps<R>(opened: &Opened<R>) -> Vec<TimeStampLine> {
    let line = |stamp: &evidence::Stamp| TimeStampLine {
        file: stamp.file.clone(),
        states: DateTime::from_timestamp(stamp.seconds, 0).map_or_else(
            || format!("{} s after 1970", stamp.seconds),
            |time| time.format("%Y-%m-%dT%H:%M:%SZ").to_string(),
        ),
        service: stamp.service.clone(),
        policy: stamp.policy.clone(),
    };
    opened.stamps.iter().map(line).collect()
}

/// What the dossier names without holding it.
pub(super) fn kept_back(index: &Index) -> Vec<KeptBackLine> {
    let records = index.records.iter().filter(|line| line.file.is_none()).map(|line| KeptBackLine {
        what: line.path.clone(),
        sha256: line.sha256.clone(),
        why: "withheld",
    });
    let raw = index.raw.iter().filter_map(|line| {
        let why = match line.standing {
            RawStanding::Withheld => "withheld",
            RawStanding::NotHere => "not here",
            RawStanding::Inside | RawStanding::NotNeeded => return None,
        };
        Some(KeptBackLine { what: line.name.clone(), sha256: line.sha256.clone(), why })
    });
    records.chain(raw).collect()
}

/// Each mechanism, whether it is there, and what it proves.
pub(super) fn mechanisms<R>(opened: &Opened<R>, history: &History) -> Vec<MechanismLine> {
    Mechanism::ALL
        .into_iter()
        .map(|mechanism| MechanismLine {
            mechanism: mechanism.name(),
            here: match mechanism {
                Mechanism::Manifest => true,
                Mechanism::Signature => opened.sealed_by().is_some(),
                Mechanism::Countersignature => {
                    opened.signatures.iter().any(|seal| seal.role == Role::Witness && seal.is_listed())
                }
                Mechanism::History => history.is_here(),
                Mechanism::SignedCommit => history.signed.iter().any(|line| line.listed),
                Mechanism::Receipt => !history.receipts.is_empty(),
                Mechanism::TimeStamp => !opened.stamps.is_empty(),
            },
            says: mechanism.sentence().to_owned(),
        })
        .collect()
}

/// What is proven, in words; nothing that rests on somebody's word.
pub(super) fn proven<R>(
    opened: &Opened<R>,
    history: &History,
    answer: &VerifyAnswer,
    here: Option<&ClaimAnswer>,
) -> Vec<String> {
    let mut lines = vec![format!(
        "all {} files of the payload are, bit for bit, those that were sealed ({})",
        opened.payload.len(),
        opened.seal.get(..12).unwrap_or_default()
    )];
    for line in answer.signatures.iter().filter(|line| line.listed) {
        let role = if line.role == "shop" { "signed" } else { "countersigned" };
        lines.push(format!("{role} by the key {} of {}", line.fingerprint, line.principals.join(", ")));
    }
    let recomputed = &answer.recomputed;
    if recomputed.done && recomputed.moved_count == 0 {
        lines.push(format!(
            "every figure follows from the raw bytes and the records inside: {} numbers worked out again here, none moved",
            recomputed.figures
        ));
    }
    if let Some(found) = here.filter(|found| found.timing.written == "before" && history.is_here()) {
        lines.push(format!("the order of the book's commits: {}", found.timing.says));
    }
    lines.extend(history.proven.iter().cloned());
    let of_claim = answer.pulls.iter().filter(|line| matches!(line.used, "base" | "test"));
    let of_claim: BTreeSet<&str> = of_claim.map(|line| line.pull.as_str()).collect();
    lines.extend(history.receipts.iter().map(|receipt| receipt.says(&of_claim)));
    lines
}

/// What rests on the shop's word, in words.
pub(super) fn shop_says(answer: &VerifyAnswer) -> Vec<String> {
    let grounds = &answer.grounds;
    let mut lines = vec![format!(
        "that parts, settings and conditions were as recorded: {} answers, {} measured figures, {} from channels of raw files",
        grounds.answered, grounds.measured, grounds.by_channel
    )];
    lines.push("that the raw files are as the bench wrote them, and that no other pulls were run".to_owned());
    lines.push("every date and time, of records and of commits".to_owned());
    lines
}
