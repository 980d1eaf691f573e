//! What was doubted or cleared, and what rests on it, as text.

use crate::answer::DoubtAnswer;
use crate::answer::DoubtRests;
use crate::render::Look;
use crate::render::Page;
use crate::render::entry::written;
use crate::render::page::Tone;

/// A doubt, and everything that rests on it.
pub fn doubt(answer: &DoubtAnswer, look: Look) -> String {
    let mut page = Page::new(look);
    page.line(0, Tone::Heading, &answer.did);
    for note in &answer.notes {
        page.line(2, Tone::Plain, note);
    }
    let rested = if answer.cleared { "rested on it" } else { "rest on it" };
    let groups = [
        ("Builds", &answer.builds),
        ("Pulls", &answer.pulls),
        ("Flow sheets", &answer.flow),
        ("Claims", &answer.claims),
    ];
    if groups.iter().all(|(_, list)| list.is_empty()) {
        page.line(2, Tone::Plain, "Nothing in the book rests on it.");
    }
    for (title, list) in groups {
        if !list.is_empty() {
            page.heading(&format!("{title} that {rested}"));
            names(&mut page, list);
        }
    }
    if !answer.comparisons.is_empty() {
        page.heading(&format!("Comparisons that {rested}"));
        for line in &answer.comparisons {
            let common = if line.common { ": the same on both sides" } else { "" };
            page.line(
                2,
                Tone::Plain,
                &format!("{} against {} ({}){common}", line.base, line.test, line.set_up),
            );
        }
        page.line(2, Tone::Faint, "and every other comparison with one of these pulls on one side");
    }
    page.gap();
    written(&mut page, &answer.written);
    page.verbatim(0, Tone::Faint, &format!("Next: {}", answer.next));
    page.finish()
}

/// Records that say the same, together.
fn names(page: &mut Page, list: &[DoubtRests]) {
    let mut groups: Vec<(&[String], Vec<&str>)> = Vec::new();
    for line in list {
        match groups.iter_mut().find(|(says, _)| *says == line.says.as_slice()) {
            Some((_, names)) => names.push(&line.name),
            None => groups.push((&line.says, vec![&line.name])),
        }
    }
    for (says, names) in groups {
        page.line(2, Tone::Plain, &names.join(", "));
        for line in says {
            page.line(6, Tone::Plain, line);
        }
    }
}
