//! A form as text for paper, which an editor can fill in as well; and what was keyed back.

use unicode_width::UnicodeWidthStr;

use crate::answer::FormAnswer;
use crate::answer::FormEntered;
use crate::answer::FormKeyed;
use crate::answer::FormLine;
use crate::answer::LABEL;
use crate::render::Look;
use crate::render::Page;
use crate::render::cautions::CAUTIONS;
use crate::render::cautions::TITLE;
use crate::render::entry::entered;
use crate::render::entry::pull_entered;
use crate::render::flow::flow_entered;
use crate::render::page::Tone;

/// Columns of a sheet of paper.
const PAPER: usize = 80;
/// Columns of a line's number.
const NUMBER: usize = 4;

/// How values are written, and how a form is keyed back.
pub(super) const RULES: [&str; 7] = [
    "Write as spoken: .041, 64cc, 12 deg BTDC; one value for each cylinder side by side. A bare number takes the unit printed.",
    "Leave blank what is not known: blank stays undocumented. Known to be unknown: `unknown: why`.",
    "Not measured here: `listed: 33.0 mm; whose figure`, `assumed: 1.10 mm; why`, `calculated: 12.4; from what`.",
    "A guess has a question mark before it: `? 64 cc; by eye`.",
    "The instrument behind an at sign: `64.2 cc @burette-1`. Behind bars what else belongs to one figure: `| by mk`, `| taken 2026-03-03`, `| at 6000 rpm`, `| note ...`.",
    "*  the record needs it, or a comparison asks for it.  @  without its instrument it is a gap.",
    "Keyed back a line each as NUMBER = VALUE or NAME = VALUE; lines with # and blank ones are passed over.",
];

/// A form, 80 columns wide wherever it is shown: it is for paper, and what is filled in is keyed back as it stands.
pub fn form(answer: &FormAnswer, look: Look) -> String {
    let mut page = Page::new(Look { width: PAPER, ..look });
    let of = answer.of.as_ref().map(|of| format!(", filled in from {of}")).unwrap_or_default();
    said(&mut page, Tone::Heading, &format!("{}{of}", answer.title));
    said(&mut page, Tone::Faint, &format!("Book {}, commit {}", answer.book, answer.commit));
    page.verbatim(0, Tone::Plain, &row(0, "form", &answer.form));
    for note in &answer.notes {
        said(&mut page, Tone::Doubt, note);
    }
    for section in &answer.sections {
        page.gap();
        said(&mut page, Tone::Heading, &section.title);
        for line in &section.lines {
            let written = line.value.clone().unwrap_or_else(|| rule(line));
            page.verbatim(0, Tone::Plain, &row(line.number, &line.label(), &written));
            if !line.words.is_empty() {
                said(&mut page, Tone::Faint, &format!("       one of: {}", line.words.join(", ")));
            }
        }
    }
    page.gap();
    said(&mut page, Tone::Heading, "How to fill it in");
    for rule in RULES {
        said(&mut page, Tone::Plain, rule);
    }
    said(&mut page, Tone::Plain, &answer.next);
    page.gap();
    said(&mut page, Tone::Faint, &format!("{TITLE}:"));
    for caution in CAUTIONS {
        said(&mut page, Tone::Faint, caution);
    }
    page.finish()
}

/// The paper's own words, passed over when it is keyed back.
fn said(page: &mut Page, tone: Tone, text: &str) {
    let (lead, text) = text.split_at(text.len() - text.trim_start().len());
    let mut line = String::new();
    let room = PAPER - 2 - lead.len();
    for word in text.split_whitespace() {
        if !line.is_empty() && line.width() + 1 + word.width() > room {
            page.verbatim(0, tone, &format!("# {lead}{line}"));
            line.clear();
        }
        if !line.is_empty() {
            line.push(' ');
        }
        line.push_str(word);
    }
    page.verbatim(0, tone, &format!("# {lead}{line}"));
}

fn row(number: u32, label: &str, written: &str) -> String {
    let pad = LABEL.saturating_sub(label.width());
    format!("{number:>NUMBER$} {label}{:pad$} = {written}", "")
}

/// A rule to write on, to the edge of the paper.
fn rule(line: &FormLine) -> String {
    let begun = NUMBER + 1 + line.label().width().max(LABEL) + 3;
    "_".repeat(PAPER.saturating_sub(begun))
}

/// What was keyed back, line by line, then what was entered.
pub fn form_keyed(answer: &FormKeyed, look: Look) -> String {
    let mut page = Page::new(look);
    page.heading(&format!("Keyed back from form {}", answer.form));
    let width = answer.lines.iter().map(|line| line.name.width()).max().unwrap_or(0).min(32);
    for line in &answer.lines {
        page.hanging(
            2,
            NUMBER + width + 6,
            Tone::Plain,
            &format!("{:>NUMBER$} {:<width$}  {}", line.number, line.name, line.value),
        );
    }
    let lines = if answer.blank == 1 { "line stays" } else { "lines stay" };
    page.line(2, Tone::Faint, &format!("{} {lines} blank, which is no answer.", answer.blank));
    page.gap();
    page.finish()
        + &match &answer.entered {
            FormEntered::Record(answer) => entered(answer, look),
            FormEntered::Pull(answer) => pull_entered(answer, look),
            FormEntered::Flow(answer) => flow_entered(answer, look),
        }
}
