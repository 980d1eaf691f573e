//! Gaps as text: what is missing, why it counts, and the command that closes it.

use crate::answer::GapLine;
use crate::answer::GapsAnswer;
use crate::answer::RefusedPairs;
use crate::answer::RunGap;
use crate::render::Look;
use crate::render::Page;
use crate::render::alarm::alarms;
use crate::render::derived::bars;
use crate::render::derived::contradictions;
use crate::render::page::Tone;

/// Gaps shown in full; the rest is counted, so that a refusal fits one screen.
const MOST: usize = 7;
/// The same over many pulls, where each gap takes more lines; and pulls that do not come to one correction.
const MOST_SHARED: usize = 4;
const MOST_LACKING: usize = 4;

/// Run numbers of a session that no pull has.
fn runs(page: &mut Page, session: &str, missing: &[RunGap]) {
    let open = missing.iter().filter(|run| run.because.is_none()).count();
    let words = match (missing.len(), open) {
        (0, _) => "no run number is left out.".to_owned(),
        (1, 0) => "one run number has no pull; somebody says why.".to_owned(),
        (1, _) => "one run number has no pull, and nobody says why.".to_owned(),
        (count, open) => format!("{count} run numbers have no pull; of {open} nobody says why."),
    };
    page.line(0, Tone::Heading, &format!("{session}: {words}"));
    for run in missing {
        match &run.because {
            Some(because) => page.line(2, Tone::Plain, &format!("{}: {because}", run.run)),
            None => page.line(2, Tone::Bad, &format!("{}: nobody wrote it down", run.run)),
        }
        if let Some(close) = &run.close {
            page.verbatim(6, Tone::Plain, close);
        }
    }
}

/// What is not documented.
pub fn gaps(answer: &GapsAnswer, look: Look) -> String {
    let mut page = Page::new(look);
    let about = answer.about.join(" against ");
    if let Some(missing) = &answer.runs {
        runs(&mut page, &about, missing);
        pending(&mut page, &answer.pending);
        page.gap();
        page.verbatim(0, Tone::Faint, &format!("Next: {}", answer.next));
        return page.finish();
    }
    match answer.gaps.len() {
        0 => page.line(
            0,
            Tone::Heading,
            &format!("{about}: everything that a comparison asks for is documented."),
        ),
        1 => page.line(0, Tone::Heading, &format!("{about}: one thing is not documented.")),
        count => page.line(0, Tone::Heading, &format!("{about}: {count} things are not documented.")),
    }
    list(&mut page, &answer.gaps, usize::MAX, answer.about.len() > 1);
    if !answer.common.is_empty() {
        page.heading("Missing on both sides alike, so it cannot explain a difference");
        for gap in &answer.common {
            page.line(2, Tone::Plain, &gap.item);
        }
    }
    if !answer.soft.is_empty() {
        page.heading("Only listed, assumed, calculated or unknown");
        for soft in &answer.soft {
            page.line(2, Tone::Plain, soft);
        }
    }
    if !answer.weak.is_empty() {
        page.heading("Derived figures that are known no better than what nobody measured");
        for weak in &answer.weak {
            let side = if answer.about.len() > 1 { format!(" ({})", weak.side) } else { String::new() };
            let from = weak.not_measured.join(", ");
            let text = format!("{}{side}: {}, {}: {from}", weak.title, weak.text, weak.worst_input);
            page.line(2, Tone::Plain, &text);
        }
    }
    contradictions(&mut page, &answer.contradictions);
    doubts(&mut page, &answer.doubts);
    alarms(&mut page, &answer.alarms, answer.about.len() > 1);
    bars(&mut page, &answer.bars, answer.about.len() > 1);
    pending(&mut page, &answer.pending);
    page.gap();
    page.verbatim(0, Tone::Faint, &format!("Next: {}", answer.next));
    page.finish()
}

/// What proved doubtful and was neither measured again nor cleared.
pub(super) fn doubts(page: &mut Page, doubts: &[String]) {
    if !doubts.is_empty() {
        page.heading("In doubt, until measured again or cleared");
        for doubt in doubts {
            page.line(2, Tone::Bad, doubt);
        }
    }
}

/// A refusal's gaps, at most one screen of them.
pub(super) fn refusal_gaps(page: &mut Page, gaps: &[GapLine]) {
    list(page, gaps, MOST, true);
    if gaps.len() > MOST {
        page.line(2, Tone::Plain, &format!("and {} more", gaps.len() - MOST));
    }
}

/// What bars the pairs among many pulls, at most one screen of it.
pub(super) fn refused_pairs(page: &mut Page, across: &RefusedPairs) {
    for line in across.correction_words() {
        page.line(2, Tone::Plain, &line);
    }
    for lack in across.lacks.iter().take(MOST_LACKING) {
        page.line(2, Tone::Bad, &lack.words());
    }
    more(page, 2, across.lacks.len(), MOST_LACKING, "pulls");
    for gap in across.gaps.iter().take(MOST_SHARED) {
        page.line(2, Tone::Bad, &gap.item);
        page.line(6, Tone::Plain, &gap.why);
        page.line(6, Tone::Plain, &gap.says);
        for close in gap.close.iter().take(1) {
            page.verbatim(6, Tone::Faint, close);
        }
        more(page, 6, gap.close.len(), 1, "commands like it, one for each record: --json or a page has them");
    }
    more(page, 2, across.gaps.len(), MOST_SHARED, "things that bar fewer pairs");
}

fn more(page: &mut Page, indent: usize, count: usize, shown: usize, what: &str) {
    if count > shown {
        page.line(indent, Tone::Plain, &format!("and {} more {what}", count - shown));
    }
}

fn list(page: &mut Page, gaps: &[GapLine], most: usize, with_sides: bool) {
    for gap in gaps.iter().take(most) {
        let side = match gap.side {
            _ if !with_sides => "",
            "both" => "  (on both sides)",
            "base" => "  (on the base side)",
            _ => "  (on the test side)",
        };
        page.line(2, Tone::Bad, &format!("{}{side}", gap.item));
        page.line(6, Tone::Plain, &gap.why);
        if let Some(other) = &gap.other {
            page.line(6, Tone::Plain, &format!("the other side says {other}"));
        }
        for close in &gap.close {
            page.verbatim(6, Tone::Faint, close);
        }
    }
}

/// Gaps of a pull just entered, in a line or two.
pub(super) fn short_gaps(page: &mut Page, gaps: &[GapLine]) {
    if gaps.is_empty() {
        page.line(2, Tone::Plain, "Everything that a comparison asks for is documented.");
        return;
    }
    let names: Vec<&str> = gaps.iter().take(8).map(|gap| gap.item.as_str()).collect();
    let more = if gaps.len() > names.len() {
        format!(" and {} more", gaps.len() - names.len())
    } else {
        String::new()
    };
    page.line(2, Tone::Doubt, &format!("Not documented yet: {}{more}.", names.join(", ")));
}

/// Files with pending edits that would change an answer.
pub(super) fn pending(page: &mut Page, files: &[String]) {
    if !files.is_empty() {
        page.gap();
        page.line(
            0,
            Tone::Doubt,
            &format!("Answered from the last commit; pending edits would change it: {}. `--pending` answers from them.", files.join(", ")),
        );
    }
}
