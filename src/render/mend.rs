//! What an audit found and what was put right, as text.

use crate::answer::AuditAnswer;
use crate::answer::MendAnswer;
use crate::answer::TouchedLine;
use crate::finding::Finding;
use crate::render::Look;
use crate::render::Page;
use crate::render::finding::finding;
use crate::render::page::Tone;

/// How many names of a sort are told before the rest is only counted.
const NAMED: usize = 8;

/// What an audit found.
pub fn audit(answer: &AuditAnswer, look: Look) -> String {
    let mut page = Page::new(look);
    verdict(&mut page, answer.damage.len());
    page.line(
        2,
        Tone::Plain,
        &format!(
            "Read {} commits, {} git objects, {} records, {} raw files ({} bytes), at commit {}.",
            answer.commits, answer.objects, answer.records, answer.raw_files, answer.raw_bytes, answer.commit
        ),
    );
    damage(&mut page, &answer.damage, &answer.touched);
    if !answer.not_here.is_empty() {
        page.heading("Not in this copy of the book (no damage)");
        for file in &answer.not_here {
            page.line(2, Tone::Plain, file);
        }
    }
    if !answer.doubts.is_empty() {
        page.heading("Doubts and notes");
        for doubt in &answer.doubts {
            finding(&mut page, 2, doubt);
        }
    }
    page.gap();
    page.line(0, Tone::Faint, &format!("Next: {}", answer.next));
    page.finish()
}

/// What was put right, what lies about, and what still does not hold.
pub fn mend(answer: &MendAnswer, look: Look) -> String {
    let mut page = Page::new(look);
    match answer.mended.as_slice() {
        [] => page.line(0, Tone::Heading, "Nothing was put right."),
        [_] => page.line(0, Tone::Heading, "Put one thing right:"),
        several => page.line(0, Tone::Heading, &format!("Put {} things right:", several.len())),
    }
    for mended in &answer.mended {
        let aside =
            mended.aside.as_ref().map(|aside| format!("; what stood there is {aside}")).unwrap_or_default();
        page.line(2, Tone::Plain, &format!("{} {}: from {}{aside}", mended.what, mended.path, mended.from));
    }
    if let Some(recovered) = &answer.recovered {
        page.line(2, Tone::Doubt, &format!("First, {recovered}."));
    }
    if !answer.left.is_empty() {
        page.heading("Left as it is");
        for left in &answer.left {
            page.line(2, Tone::Plain, left);
        }
    }
    if !answer.litter.is_empty() {
        page.heading("Left lying about by interrupted commands, no part of any record");
        for litter in &answer.litter {
            let end = match (&litter.stays, litter.cleaned) {
                (_, true) => "; removed".to_owned(),
                (Some(stays), _) => format!("; stays: {stays}"),
                (None, _) => String::new(),
            };
            page.line(
                2,
                Tone::Plain,
                &format!("{}: {}, {} bytes{end}", litter.path, litter.what, litter.bytes),
            );
        }
    }
    page.gap();
    verdict(&mut page, answer.damage.len());
    damage(&mut page, &answer.damage, &answer.touched);
    page.gap();
    page.line(0, Tone::Faint, &format!("Next: {}", answer.next));
    page.finish()
}

fn verdict(page: &mut Page, damaged: usize) {
    match damaged {
        0 => page.line(0, Tone::Heading, "The book holds what it says."),
        1 => page.line(0, Tone::Bad, "One thing does not hold."),
        several => page.line(0, Tone::Bad, &format!("{several} things do not hold.")),
    }
}

/// Each damage, and under it what rests on the file.
fn damage(page: &mut Page, damage: &[Finding], touched: &[TouchedLine]) {
    for found in damage {
        finding(page, 0, found);
        let Some(place) = &found.place else { continue };
        // A file beside a figure is told at the figure, which only its own line speaks of.
        let figure = place.field.as_ref().filter(|_| found.code == "raw-missing");
        let of_figure = |line: &TouchedLine| figure.is_none_or(|figure| line.figures.contains(figure));
        for line in touched.iter().filter(|line| line.file == place.file && of_figure(line)) {
            page.pair(2, "touches", 8, &touched_words(line));
        }
    }
}

fn touched_words(line: &TouchedLine) -> String {
    let sorts = [
        ("pull", "pulls", &line.pulls),
        ("build", "builds", &line.builds),
        ("flow sheet", "flow sheets", &line.flow),
        ("claim", "claims", &line.claims),
        ("what shows", "what shows", &line.figures),
    ];
    let mut words: Vec<String> = Vec::new();
    if line.whole_book {
        words.push("the whole book".to_owned());
    }
    for (one, several, names) in sorts {
        let more = match names.len().checked_sub(NAMED) {
            Some(more) if more > 0 => format!(" and {more} more"),
            _ => String::new(),
        };
        let named = names.iter().take(NAMED).map(String::as_str).collect::<Vec<_>>().join(", ");
        match names.len() {
            0 => {}
            1 => words.push(format!("{one} {named}")),
            _ => words.push(format!("{several} {named}{more}")),
        }
    }
    words.join("; ")
}
