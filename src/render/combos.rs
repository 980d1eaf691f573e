//! Combinations as text.

use crate::answer::CellLine;
use crate::answer::CombosAnswer;
use crate::answer::EffectLine;
use crate::answer::InteractionLine;
use crate::answer::WithInterval;
use crate::render::Look;
use crate::render::Page;
use crate::render::gaps::doubts;
use crate::render::gaps::pending;
use crate::render::page::Tone;

/// Which combinations were run and what each is worth.
pub fn combos(answer: &CombosAnswer, look: Look) -> String {
    let mut page = Page::new(look);
    let (row, column) = (&answer.reference.0, &answer.reference.1);
    page.line(0, Tone::Faint, &format!("brought to {}, at commit {}", answer.correction, answer.commit));
    page.line(
        0,
        Tone::Heading,
        &format!(
            "{} by {}: {}, {}, and what each brings against {row} with {column}.",
            answer.row_role, answer.column_role, answer.figure, answer.unit
        ),
    );
    depends(&mut page, answer);
    page.gap();
    for cell in &answer.cells {
        page.line(
            2,
            if cell.pulls > 0 { Tone::Plain } else { Tone::Faint },
            &format!("{} with {}: {}", cell.row, cell.column, cell_words(answer, cell)),
        );
    }
    effects(&mut page, answer);
    page.heading("What it rests on");
    if let Some(pull) = answer.pull_scatter {
        page.line(2, Tone::Plain, &format!("pull to pull {pull:.2} {}", answer.unit));
    }
    match answer.refit_scatter {
        Some(refit) => page.line(2, Tone::Plain, &format!("refit to refit {refit:.2} {}", answer.unit)),
        None => page.line(2, Tone::Doubt, "nobody refitted: the intervals speak of these assemblies only"),
    }
    page.line(
        2,
        Tone::Plain,
        "pulls are compared within a session with everything else as it was; that adds alike to every combination is \
         taken for granted",
    );
    for note in &answer.notes {
        page.line(2, Tone::Plain, note);
    }
    if !answer.complete.is_empty() {
        page.heading("To complete the picture");
        for line in &answer.complete {
            page.line(2, Tone::Plain, line);
        }
    }
    left_out(&mut page, answer);
    doubts(&mut page, &answer.doubts);
    pending(&mut page, &answer.pending);
    page.finish()
}

fn depends(page: &mut Page, answer: &CombosAnswer) {
    let tone = match answer.depends {
        "best" | "amount" => Tone::Heading,
        "not shown" => Tone::Plain,
        _ => Tone::Doubt,
    };
    page.line(0, tone, &depends_words(answer));
}

/// Whether what the rows bring depends on the columns, in a sentence.
pub(super) fn depends_words(answer: &CombosAnswer) -> String {
    let (row, column) = (&answer.row_role, &answer.column_role);
    let by = answer.by.as_ref().map(|by| plus_minus(by, answer)).unwrap_or_default();
    match answer.depends {
        "best" => format!("Which {row} is best depends on the {column}: {by}."),
        "amount" => format!("How much a change of {row} brings depends on the {column}: {by}."),
        "not shown" => {
            format!("That what the {row} brings depends on the {column} is not shown by these pulls.")
        }
        _ => {
            format!("Whether what the {row} brings depends on the {column} cannot be told from these pulls.")
        }
    }
}

/// What a change brings, in words.
pub(super) fn effect_words(effect: &EffectLine, answer: &CombosAnswer) -> String {
    let beside = effect.beside.as_ref().map_or_else(String::new, |beside| format!(" beside {beside}"));
    format!("{} to {}{beside}: {}", effect.from, effect.to, interval(&effect.difference, answer))
}

fn plus_minus(by: &InteractionLine, answer: &CombosAnswer) -> String {
    let half = (by.difference.upper - by.difference.lower) / 2.0;
    let (more, beside, than) = if by.difference.value < 0.0 {
        (-by.difference.value, &by.than_beside, &by.beside)
    } else {
        (by.difference.value, &by.beside, &by.than_beside)
    };
    format!(
        "{more:.1} ±{half:.1} {} ({} to {} beside {beside} more than beside {than})",
        answer.unit, by.from, by.to
    )
}

fn effects(page: &mut Page, answer: &CombosAnswer) {
    let line = |effect: &EffectLine| effect_words(effect, answer);
    if !answer.main_effects.is_empty() {
        page.heading("Main effects: over all that each was run beside, as if neither depended on the other");
        for effect in &answer.main_effects {
            page.line(2, Tone::Plain, &line(effect));
        }
    }
    if !answer.effects.is_empty() {
        page.heading(&format!("What a change of {} brings, where it can be told", answer.row_role));
        for effect in &answer.effects {
            page.line(2, Tone::Plain, &line(effect));
        }
    }
    if answer.interactions.is_empty() {
        return;
    }
    page.heading("How much more it brings beside one than beside another (interaction)");
    for found in &answer.interactions {
        page.line(2, Tone::Plain, &interaction_words(found, answer));
    }
    let further = answer.interactions_in_all.saturating_sub(answer.interactions.len());
    if further > 0 {
        page.line(
            2,
            Tone::Faint,
            &format!("{further} more can be told only by a longer way round, and is not printed"),
        );
    }
}

/// How much more a change brings beside one than beside another, in words.
pub(super) fn interaction_words(found: &InteractionLine, answer: &CombosAnswer) -> String {
    format!(
        "{} to {} brings {} beside {} than beside {}",
        found.from,
        found.to,
        more(&found.difference, answer),
        found.beside,
        found.than_beside
    )
}

fn left_out(page: &mut Page, answer: &CombosAnswer) {
    if answer.left_out.is_empty() {
        return;
    }
    page.heading("Left out");
    let mut groups: Vec<(&str, Vec<&str>)> = Vec::new();
    for line in &answer.left_out {
        match groups.iter_mut().find(|(why, _)| *why == line.why) {
            Some((_, pulls)) => pulls.push(&line.pull),
            None => groups.push((&line.why, vec![&line.pull])),
        }
    }
    for (why, pulls) in groups {
        page.line(2, Tone::Doubt, &format!("{}: {why}", pulls.join(", ")));
    }
}

pub(super) fn cell_words(answer: &CombosAnswer, cell: &CellLine) -> String {
    let runs = format!(
        "{} pull{} in {} fit-up{}",
        cell.pulls,
        if cell.pulls == 1 { "" } else { "s" },
        cell.fit_ups,
        if cell.fit_ups == 1 { "" } else { "s" }
    );
    let figure = cell.figure.map_or_else(String::new, |figure| {
        format!("{:.2} {} ({:.2} to {:.2})", figure.value, answer.unit, figure.lower, figure.upper)
    });
    if (&cell.row, &cell.column) == (&answer.reference.0, &answer.reference.1) {
        return format!("{figure}; the reference ({runs})");
    }
    let prediction = cell.prediction.as_ref().map_or_else(String::new, |prediction| {
        format!("; a prediction, if neither depends on the other: {}", interval(prediction, answer))
    });
    match (&cell.difference, cell.pulls) {
        (Some(difference), _) => format!("{figure}; brings {} ({runs})", interval(difference, answer)),
        (None, 0) if !cell.left_out.is_empty() => {
            format!("run, and left out: {}{prediction}", cell.left_out.join("; "))
        }
        (None, 0) => format!("never run{prediction}"),
        (None, _) => format!("{figure}; joined with the reference by no common pulls ({runs})"),
    }
}

fn interval(number: &WithInterval, answer: &CombosAnswer) -> String {
    format!("{:+.2} {} ({:+.2} to {:+.2})", number.value, answer.unit, number.lower, number.upper)
}

fn more(number: &WithInterval, answer: &CombosAnswer) -> String {
    let word = if number.value < 0.0 { "less" } else { "more" };
    format!("{:.2} {} {word} ({:+.2} to {:+.2})", number.value.abs(), answer.unit, number.lower, number.upper)
}
