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
        let same = line.moved_by.is_empty() && line.base.is_some() && side(&line.base) == side(&line.test);
        let mut text = if same {
            format!("{}: {} on both sides", line.title, side(&line.base))
        } else {
            format!("{}: {} -> {}", line.title, side(&line.base), side(&line.test))
        };
        if let Some(difference) = line.difference.as_ref().filter(|_| !same) {
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
        for figure in line.base.iter().chain(&line.test) {
            for beyond in &figure.beyond {
                page.line(6, Tone::Doubt, beyond);
            }
        }
        let mut not_measured: Vec<&InputLine> = Vec::new();
        for input in line.base.iter().chain(&line.test).flat_map(|figure| &figure.not_measured) {
            if !not_measured.iter().any(|known| known.item == input.item && known.how == input.how) {
                not_measured.push(input);
            }
        }
        if !not_measured.is_empty() {
            page.line(6, Tone::Plain, &format!("not measured: {}", inputs(&not_measured)));
        }
        for (word, barred) in [("base", &line.base_barred), ("test", &line.test_barred)] {
            if let Some(barred) = barred {
                page.line(6, Tone::Doubt, &format!("on the {word} side: {}", barred_words(barred)));
            }
        }
    }
    let both: Vec<&FigureLine> = lines.iter().flat_map(|line| line.base.iter().chain(&line.test)).collect();
    notes(page, &both);
}

/// What is to be said of figures, each thing once.
fn notes(page: &mut Page, figures: &[&FigureLine]) {
    let mut rough: Vec<&str> = Vec::new();
    let mut said: Vec<&str> = Vec::new();
    for figure in figures {
        let inputs = figure.measured.iter().chain(&figure.not_measured);
        for input in inputs.filter(|input| input.last_digit) {
            if !rough.contains(&input.item.as_str()) {
                rough.push(&input.item);
            }
        }
        for note in &figure.notes {
            if !said.contains(&note.as_str()) {
                said.push(note);
            }
        }
    }
    for note in said {
        page.line(2, Tone::Faint, &format!("Note: {note}."));
    }
    if !rough.is_empty() {
        let text = format!("Note: half the last digit stands for the uncertainty of {}.", rough.join(", "));
        page.line(2, Tone::Faint, &text);
    }
}

fn inputs(inputs: &[&InputLine]) -> String {
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
        let others: Vec<&InputLine> = line.not_measured.iter().collect();
        let worst = if others.is_empty() {
            "from measured figures".to_owned()
        } else if others.iter().all(|input| input.how == line.worst_input) {
            let items: Vec<&str> = others.iter().map(|input| input.item.as_str()).collect();
            format!("no better than {}: {}", line.worst_input, items.join(", "))
        } else {
            format!("no better than {}: {}", line.worst_input, inputs(&others))
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
    notes(page, &lines.iter().collect::<Vec<_>>());
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

/// How a side came to the correction, in words.
pub(super) fn basis_words(line: &BasisLine) -> String {
    format!("{}: file {}; times {} ({})", line.side, line.carries, line.factor.text, line.how)
}

/// What a side's correction rests on, in words.
pub(super) fn basis_inputs(line: &BasisLine) -> Option<String> {
    let from: Vec<String> = line
        .inputs
        .iter()
        .map(|input| {
            let item = input.item.trim_start_matches("conditions.");
            let rough = if input.last_digit { ", to half its last digit" } else { "" };
            format!("{item} {} ({}{rough})", input.text, input.how)
        })
        .collect();
    (!from.is_empty()).then(|| format!("from {}", from.join("; ")))
}

/// How both sides came to one correction.
pub(super) fn basis(page: &mut Page, lines: &[BasisLine]) {
    for line in lines {
        page.line(0, Tone::Plain, &basis_words(line));
        if let Some(inputs) = basis_inputs(line) {
            page.line(2, Tone::Faint, &inputs);
        }
        for beyond in &line.beyond {
            page.line(2, Tone::Doubt, beyond);
        }
        for note in &line.notes {
            page.line(2, Tone::Faint, note);
        }
    }
}
