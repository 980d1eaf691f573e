//! What went into a dossier, and what one proves, as text.

use crate::answer::ClaimAnswer;
use crate::answer::CountersignAnswer;
use crate::answer::DossierAnswer;
use crate::answer::KeptBackLine;
use crate::answer::PullUseLine;
use crate::answer::ReceiptAnswer;
use crate::answer::RunGapLine;
use crate::answer::VerifyAnswer;
use crate::answer::WeighAnswer;
use crate::render::Look;
use crate::render::Page;
use crate::render::claim;
use crate::render::finding::finding;
use crate::render::page::Tone;
use crate::render::weigh;

/// Names that are told one by one before the rest is only counted.
const MOST_NAMES: usize = 20;

/// What the history will show of records that are not inside, before anything is written; nothing where it shows none.
pub fn disclosure(names: &[String], look: Look) -> String {
    let mut page = Page::new(look);
    if !names.is_empty() {
        page.line(
            0,
            Tone::Doubt,
            &format!(
                "The history inside shows, to whoever is handed the dossier, commit messages with their authors and {} names of \
                 what is not inside: {}",
                names.len(),
                some_of(names)
            ),
        );
    }
    page.finish()
}

fn some_of(names: &[String]) -> String {
    let more = names.len().saturating_sub(MOST_NAMES);
    let mut words = names.iter().take(MOST_NAMES).map(String::as_str).collect::<Vec<_>>().join(", ");
    if more > 0 {
        words.push_str(&format!(" and {more} more"));
    }
    words
}

/// A dossier as it was written.
pub fn dossier(answer: &DossierAnswer, look: Look) -> String {
    let mut page = Page::new(look);
    page.line(
        0,
        Tone::Heading,
        &format!("Wrote {}, the dossier of the claim {}.", answer.file, answer.claim),
    );
    page.line(2, Tone::Plain, &answer.verdict_says);
    page.line(
        2,
        Tone::Plain,
        &format!(
            "{} records and {} raw files, {} files in all, {} bytes; gathered from commit {}",
            answer.records, answer.raw_files, answer.files, answer.archive, answer.commit
        ),
    );
    page.line(2, Tone::Faint, &format!("seal {}", answer.seal));
    let signed = if answer.signed { "Signed." } else { "Not signed: it convinces nobody yet." };
    page.line(2, if answer.signed { Tone::Plain } else { Tone::Doubt }, signed);
    let again = if answer.recomputable {
        "Every figure was worked out again from what is inside, and came out the same."
    } else {
        "Its verdict cannot be worked out again from what is inside: what is kept back was needed."
    };
    page.line(2, if answer.recomputable { Tone::Plain } else { Tone::Doubt }, again);
    kept_back(&mut page, &answer.kept_back);
    pulls(&mut page, &answer.pulls, &answer.run_gaps);
    if !answer.discloses.is_empty() {
        page.gap();
        page.line(
            0,
            Tone::Faint,
            &format!("The history names what is not inside: {}", some_of(&answer.discloses)),
        );
    }
    page.gap();
    page.verbatim(0, Tone::Faint, &format!("Next: {}", answer.next));
    page.finish()
}

fn kept_back(page: &mut Page, lines: &[KeptBackLine]) {
    if lines.is_empty() {
        return;
    }
    page.heading("Kept back: named, not inside");
    for line in lines {
        page.line(2, Tone::Doubt, &format!("{} ({}), SHA-256 {}", line.what, line.why, line.sha256));
    }
}

fn pulls(page: &mut Page, lines: &[PullUseLine], gaps: &[RunGapLine]) {
    page.heading("Every pull of the sessions involved");
    for line in lines {
        let used = match line.used {
            "base" => "base",
            "test" => "test",
            "scatter" => "only for what it says of scatter",
            _ => "not used",
        };
        let why = line.why.as_ref().map(|why| format!(": {why}")).unwrap_or_default();
        page.line(2, Tone::Plain, &format!("{}  {used}{why}", line.pull));
    }
    for gap in gaps {
        let because = gap.because.as_deref().unwrap_or("nobody says why");
        page.line(2, Tone::Doubt, &format!("{} has no pull {}: {because}", gap.session, gap.order));
    }
    if gaps.is_empty() {
        page.line(2, Tone::Faint, "no run number is left out");
    }
}

/// What a dossier proves, what it only says, and the verdict.
pub fn verify(answer: &VerifyAnswer, look: Look) -> String {
    let mut page = Page::new(look);
    let tone = if answer.outcome == "holds" { Tone::Heading } else { Tone::Bad };
    page.line(0, tone, &answer.outcome_says);
    page.line(0, Tone::Plain, &format!("Claimed: {}", answer.says));
    page.line(0, Tone::Faint, &answer.file);
    page.verbatim(0, Tone::Faint, &format!("seal {}", answer.seal));
    list(&mut page, "Proven", &answer.proven, Tone::Plain);
    recomputed(&mut page, answer);
    list(&mut page, "What the shop only says", &answer.shop_says, Tone::Plain);
    some(&mut page, "only listed, assumed or calculated", &answer.grounds.only_said);
    some(&mut page, "corrected", &answer.grounds.corrected);
    if !answer.time_stamps.is_empty() {
        page.heading("What time-stamping services state, kept and not relied on");
    }
    for stamp in &answer.time_stamps {
        let service = stamp.service.as_deref().unwrap_or("a service that does not say its name");
        let words = format!(
            "this dossier existed at {}, says {service} under the policy {}; its signature was not checked here ({})",
            stamp.states, stamp.policy, stamp.file
        );
        page.line(2, Tone::Plain, &words);
    }
    list(&mut page, "Measured afterwards", &answer.grounds.afterwards, Tone::Plain);
    list(&mut page, "Unknown", &answer.grounds.unknown, Tone::Doubt);
    kept_back(&mut page, &answer.kept_back);
    if !answer.pulls.is_empty() {
        pulls(&mut page, &answer.pulls, &answer.run_gaps);
        for pull in &answer.pulls_not_inside {
            page.line(2, Tone::Bad, &format!("{pull}  is in the book's history and not inside"));
        }
    }
    if let Some(found) = &answer.claim_here {
        verdict(&mut page, found);
    }
    if !answer.findings.is_empty() {
        page.heading("Doubtful");
        for found in &answer.findings {
            finding(&mut page, 2, found);
        }
    }
    page.heading("What each means of proof shows, and what it does not");
    for line in &answer.mechanisms {
        let here = if line.here { "" } else { " (not here)" };
        page.line(2, Tone::Faint, &format!("{}{here}: {}", line.mechanism, line.says));
    }
    page.gap();
    page.verbatim(0, Tone::Faint, &format!("Next: {}", answer.next));
    page.finish()
}

fn list(page: &mut Page, title: &str, lines: &[String], tone: Tone) {
    page.heading(title);
    if lines.is_empty() {
        page.line(2, Tone::Faint, "nothing");
    }
    for line in lines {
        page.line(2, tone, line);
    }
}

/// Lines of one sort below the list they belong to.
fn some(page: &mut Page, title: &str, lines: &[String]) {
    if lines.is_empty() {
        return;
    }
    page.line(2, Tone::Plain, &format!("{title}:"));
    for line in lines {
        page.line(4, Tone::Plain, line);
    }
}

fn recomputed(page: &mut Page, answer: &VerifyAnswer) {
    let recomputed = &answer.recomputed;
    if recomputed.theirs != recomputed.ours {
        page.line(
            2,
            Tone::Doubt,
            &format!("made by version {}; this is version {}", recomputed.theirs, recomputed.ours),
        );
    }
    for moved in &recomputed.moved {
        page.line(2, Tone::Bad, &format!("{}: said {}, found {}", moved.at, moved.said, moved.found));
    }
    let more = recomputed.moved_count.saturating_sub(recomputed.moved.len());
    if more > 0 {
        page.line(2, Tone::Bad, &format!("and {more} more that came out otherwise"));
    }
    for found in &recomputed.why_not {
        finding(page, 2, found);
    }
}

fn verdict(page: &mut Page, found: &ClaimAnswer) {
    page.heading("Verdict, as worked out here");
    claim::verdict(page, found);
    if let Some(WeighAnswer::Weighed(weighed)) = &found.weighing {
        page.line(4, Tone::Plain, &weighed.speaks_of);
        if weighed.asked > 0 {
            page.line(
                4,
                Tone::Plain,
                &format!(
                    "of the {} items that could differ between two pulls, {} only assumed or unknown",
                    weighed.asked, weighed.weak
                ),
            );
        }
    }
}

/// A claim as it stands in a dossier: all of it, and below it the whole weighing.
pub fn claim_document(answer: &ClaimAnswer) -> String {
    let look = Look::default();
    let mut text = claim::claim(answer, look);
    if let Some(weighing) = &answer.weighing {
        text.push('\n');
        text.push_str(&weigh::weigh(weighing, look));
    }
    text
}

/// A dossier that was countersigned.
pub fn countersigned(answer: &CountersignAnswer, look: Look) -> String {
    let mut page = Page::new(look);
    page.line(
        0,
        Tone::Heading,
        &format!(
            "Wrote {}: the dossier of the claim {} as it is, countersigned by the key {}.",
            answer.file, answer.claim, answer.fingerprint
        ),
    );
    page.line(2, Tone::Plain, &format!("The countersignature {}.", answer.says));
    page.line(
        2,
        Tone::Plain,
        &format!(
            "Sealed by the key {}: whose it is was not looked at here, nor were any figures worked out again.",
            answer.sealed_by.join(", ")
        ),
    );
    page.line(2, Tone::Faint, &format!("seal {}", answer.seal));
    page.line(
        2,
        Tone::Faint,
        &format!("{} in {}, {} bytes", answer.countersignature, answer.file, answer.archive),
    );
    page.gap();
    page.verbatim(0, Tone::Faint, &format!("Next: {}", answer.next));
    page.finish()
}

/// A receipt: the line by itself, to be copied, and what it is for.
pub fn receipt(answer: &ReceiptAnswer, look: Look) -> String {
    let mut page = Page::new(look);
    page.verbatim(0, Tone::Heading, &answer.receipt);
    page.line(
        2,
        Tone::Plain,
        &format!("Receipt {} of commit {}, kept in {}.", answer.number, answer.of, answer.file),
    );
    page.line(
        2,
        Tone::Plain,
        "To whoever is handed it today it proves that the book held this history today; to others only if they believe who \
         was handed it.",
    );
    page.line(0, Tone::Faint, &format!("Commit {}.", answer.written.commit));
    page.verbatim(0, Tone::Faint, &format!("Next: {}", answer.next));
    page.finish()
}
