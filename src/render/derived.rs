//! Derived figures as text: the number with its interval, what moved it, what it rests on, what bars it.

use crate::answer::BarredLine;
use crate::answer::BarsLine;
use crate::answer::BasisLine;
use crate::answer::DerivedLine;
use crate::answer::FigureLine;
use crate::answer::InputLine;
use crate::render::Page;
use crate::render::page::Tone;

/// Derived figures of two sides.
pub(super) fn derived(page: &mut Page, lines: &[DerivedLine]) {
    if lines.is_empty() {
        return;
    }
    page.heading("Derived from the records, with intervals of 95 %");
    for line in lines {
        let side = |figure: &Option<FigureLine>| {
            figure.as_ref().map_or_else(|| "not derived".to_owned(), |figure| figure.interval.text.clone())
        };
        let mut text = format!("{}: {} -> {}", line.title, side(&line.base), side(&line.test));
        if let Some(difference) = &line.difference {
            text.push_str(&format!("; difference {}", difference.text));
        }
        page.line(2, Tone::Plain, &text);
        for moved in &line.moved_by {
            page.line(
                6,
                Tone::Plain,
                &format!("{} moves it by {}: {} -> {}", moved.item, moved.text, moved.base, moved.test),
            );
        }
        let figures: Vec<&FigureLine> = line.base.iter().chain(&line.test).collect();
        remarks(page, &figures);
        for (word, barred) in [("base", &line.base_barred), ("test", &line.test_barred)] {
            for barred in barred {
                page.line(6, Tone::Doubt, &format!("on the {word} side: {}", barred_words(barred)));
            }
        }
    }
}

/// What is to be said of figures, each thing once.
fn remarks(page: &mut Page, figures: &[&FigureLine]) {
    let mut said: Vec<String> = Vec::new();
    let mut say = |page: &mut Page, tone: Tone, text: String| {
        if !said.contains(&text) {
            page.line(6, tone, &text);
            said.push(text);
        }
    };
    for figure in figures {
        if !figure.not_measured.is_empty() {
            say(page, Tone::Plain, format!("not measured: {}", inputs(&figure.not_measured)));
        }
        for beyond in &figure.beyond {
            say(page, Tone::Doubt, beyond.clone());
        }
        for note in &figure.notes {
            say(page, Tone::Faint, note.clone());
        }
    }
}

fn inputs(inputs: &[InputLine]) -> String {
    let words: Vec<String> = inputs.iter().map(|input| format!("{} ({})", input.item, input.how)).collect();
    words.join(", ")
}

/// Why a figure is barred, in words.
pub(super) fn barred_words(barred: &BarredLine) -> String {
    let mut reasons: Vec<String> =
        barred.missing.iter().map(|missing| format!("{} ({})", missing.item, missing.why)).collect();
    reasons.extend(barred.cannot.clone());
    reasons.join("; ")
}

/// Derived figures of one side; cylinders in one line.
pub(super) fn figures(page: &mut Page, lines: &[FigureLine]) {
    for line in lines.iter().filter(|line| line.cylinder.is_none()) {
        let worst = if line.not_measured.is_empty() {
            "from measured figures".to_owned()
        } else {
            format!("no better than {}: {}", line.worst_input, inputs(&line.not_measured))
        };
        page.line(2, Tone::Plain, &format!("{}: {} ({worst})", line.title, line.interval.text));
        let each: Vec<&str> = lines
            .iter()
            .filter(|other| other.figure == line.figure && other.cylinder.is_some())
            .map(|other| other.interval.text.as_str())
            .collect();
        if !each.is_empty() {
            page.line(6, Tone::Plain, &format!("by cylinder: {}", each.join(", ")));
        }
        for beyond in &line.beyond {
            page.line(6, Tone::Doubt, beyond);
        }
    }
    let mut notes: Vec<&String> = Vec::new();
    for note in lines.iter().flat_map(|line| &line.notes) {
        if !notes.contains(&note) {
            notes.push(note);
        }
    }
    for note in notes {
        page.line(2, Tone::Faint, note);
    }
}

/// Missing inputs and the derived figures that each bars.
pub(super) fn bars(page: &mut Page, lines: &[BarsLine], name_side: bool) {
    if lines.is_empty() {
        return;
    }
    page.heading("Missing for derived figures");
    for line in lines {
        let side = if name_side { format!(" ({})", line.side) } else { String::new() };
        page.line(2, Tone::Plain, &format!("{}{side}: {}", line.item, line.why));
        page.line(6, Tone::Faint, &format!("bars {}", line.bars.join("; ")));
    }
}

/// How both sides came to one correction.
pub(super) fn basis(page: &mut Page, lines: &[BasisLine]) {
    for line in lines {
        page.line(
            0,
            Tone::Plain,
            &format!("{}: file {}; times {} ({})", line.side, line.carries, line.factor.text, line.how),
        );
        if !line.inputs.is_empty() {
            let from: Vec<String> = line
                .inputs
                .iter()
                .map(|input| {
                    format!("{} {} ({})", input.item.trim_start_matches("conditions."), input.text, input.how)
                })
                .collect();
            page.line(2, Tone::Faint, &format!("from {}", from.join("; ")));
        }
        for beyond in &line.beyond {
            page.line(2, Tone::Doubt, beyond);
        }
        for note in &line.notes {
            page.line(2, Tone::Faint, note);
        }
    }
}
