//! A claim as text: what is claimed, how it stands in time, and the verdict with what holds it back.

use crate::answer::ClaimAnswer;
use crate::answer::WeighAnswer;
use crate::render::Look;
use crate::render::Page;
use crate::render::gaps::doubts;
use crate::render::gaps::pending;
use crate::render::page::Tone;
use crate::render::weigh;

/// The claim, its terms, its standing and its verdict.
pub fn claim(answer: &ClaimAnswer, look: Look) -> String {
    let mut page = Page::new(look);
    head(&mut page, answer);
    page.heading("What is claimed");
    terms(&mut page, answer);
    page.heading("Written when");
    timing(&mut page, answer);
    page.heading("Verdict");
    verdict(&mut page, answer);
    if let Some(WeighAnswer::Weighed(weighed)) = &answer.weighing {
        doubts(&mut page, &weighed.doubts);
    }
    pending(&mut page, &answer.pending);
    page.gap();
    page.verbatim(0, Tone::Faint, &format!("Next: {}", answer.next));
    page.finish()
}

/// The claim in few lines, and below it the whole weighing.
pub fn claim_weighed(answer: &ClaimAnswer, look: Look) -> String {
    let mut page = Page::new(look);
    head(&mut page, answer);
    page.line(0, Tone::Plain, &format!("Claim {}: {}.", answer.claim, answer.timing.says));
    let of_the_weighing = match &answer.weighing {
        Some(WeighAnswer::Weighed(weighed)) => weighed.ruling.verdict == answer.verdict,
        Some(_) => true,
        None => false,
    };
    // The weighing says it itself, unless something of the claim stands in the way.
    if !of_the_weighing {
        verdict(&mut page, answer);
    }
    let mut text = page.finish();
    if let Some(weighing) = &answer.weighing {
        text.push('\n');
        text.push_str(&weigh::weigh(weighing, look));
    }
    text
}

/// What is claimed, by whom and to whom.
pub(super) fn head(page: &mut Page, answer: &ClaimAnswer) {
    page.line(0, Tone::Heading, &answer.says);
    let made_to = answer.made_to.as_ref().map(|to| format!(", for {to}")).unwrap_or_default();
    page.line(
        0,
        Tone::Faint,
        &format!(
            "Claim {}, stated by {} on {}{made_to}; at commit {}",
            answer.claim, answer.by, answer.on, answer.commit
        ),
    );
    if let Some(withdrawn) = &answer.withdrawn {
        page.line(
            0,
            Tone::Bad,
            &format!("Withdrawn by {} on {}: {}", withdrawn.by, withdrawn.on, withdrawn.because),
        );
    }
}

/// The terms, and what was mended of them.
pub(super) fn terms(page: &mut Page, answer: &ClaimAnswer) {
    let width = answer.terms.iter().map(|term| term.name.len()).max().unwrap_or(0);
    for term in &answer.terms {
        let first = term.first.as_ref().map(|first| format!(" (at first: {first})")).unwrap_or_default();
        page.pair(2, term.name, width, &format!("{}{first}", term.says));
    }
    for mended in &answer.corrected {
        page.line(
            2,
            Tone::Doubt,
            &format!(
                "{} corrected to {} by {} on {}, was {}: {}",
                mended.set, mended.to, mended.by, mended.on, mended.was, mended.because
            ),
        );
    }
    if let Some(note) = &answer.note {
        page.line(2, Tone::Plain, note);
    }
}

/// How the claim and its pulls lie in time.
pub(super) fn timing(page: &mut Page, answer: &ClaimAnswer) {
    let timing = &answer.timing;
    let tone = if timing.written == "before" { Tone::Plain } else { Tone::Doubt };
    page.line(2, tone, &timing.says);
    for altered in &timing.altered {
        page.line(2, Tone::Bad, &format!("altered in the record itself, not by a correction: {altered}"));
    }
    for version in &timing.versions {
        page.line(
            2,
            Tone::Faint,
            &format!("{} {} by {}: {}", version.on, version.commit, version.by, version.says),
        );
    }
}

/// The verdict with what holds it back.
pub(super) fn verdict(page: &mut Page, answer: &ClaimAnswer) {
    let tone = if answer.is_shown() { Tone::Heading } else { Tone::Doubt };
    page.line(2, tone, &answer.verdict_says);
    for outside in &answer.outside {
        page.line(4, Tone::Bad, outside);
    }
    for reason in &answer.reasons {
        page.line(4, Tone::Doubt, reason);
    }
}
