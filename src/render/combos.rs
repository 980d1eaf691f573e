//! Combinations as text.

use crate::answer::CellLine;
use crate::answer::CombosAnswer;
use crate::answer::WithInterval;
use crate::render::Look;
use crate::render::Page;
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
            "{} by {}: {}, {}, against {row} with {column}.",
            answer.row_role, answer.column_role, answer.figure, answer.unit
        ),
    );
    page.gap();
    for cell in &answer.cells {
        page.line(
            2,
            Tone::Plain,
            &format!("{} with {}: {}", cell.row, cell.column, cell_words(answer, cell)),
        );
    }
    if !answer.effects.is_empty() {
        page.heading("What a change brings, where it can be told");
        for effect in &answer.effects {
            page.line(
                2,
                Tone::Plain,
                &format!(
                    "{} to {} beside {}: {}",
                    effect.from,
                    effect.to,
                    effect.beside,
                    interval(&effect.difference, answer)
                ),
            );
        }
    }
    if !answer.interactions.is_empty() {
        page.heading("Which is best may depend on the other");
        for found in &answer.interactions {
            page.line(
                2,
                Tone::Plain,
                &format!(
                    "{} to {} brings {} beside {} than beside {}",
                    found.from,
                    found.to,
                    more(&found.difference, answer),
                    found.beside,
                    found.than_beside
                ),
            );
        }
    }
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
    if !answer.complete.is_empty() {
        page.heading("To complete the picture");
        for line in &answer.complete {
            page.line(2, Tone::Plain, line);
        }
    }
    if !answer.left_out.is_empty() {
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
    page.finish()
}

fn cell_words(answer: &CombosAnswer, cell: &CellLine) -> String {
    let runs = format!(
        "{} pull{} in {} fit-up{}",
        cell.pulls,
        if cell.pulls == 1 { "" } else { "s" },
        cell.fit_ups,
        if cell.fit_ups == 1 { "" } else { "s" }
    );
    if (&cell.row, &cell.column) == (&answer.reference.0, &answer.reference.1) {
        return format!("the reference ({runs})");
    }
    match (&cell.difference, &cell.prediction, cell.pulls) {
        (Some(difference), _, _) => format!("{} ({runs})", interval(difference, answer)),
        (None, Some(prediction), 0) => format!(
            "never run; a prediction, if neither depends on the other: {}",
            interval(prediction, answer)
        ),
        (None, _, 0) => "never run".to_owned(),
        _ => format!("run, and joined with the reference by no common pulls ({runs})"),
    }
}

fn interval(number: &WithInterval, answer: &CombosAnswer) -> String {
    format!("{:+.2} {} ({:+.2} to {:+.2})", number.value, answer.unit, number.lower, number.upper)
}

fn more(number: &WithInterval, answer: &CombosAnswer) -> String {
    let word = if number.value < 0.0 { "less" } else { "more" };
    format!("{:.2} {} {word} ({:+.2} to {:+.2})", number.value.abs(), answer.unit, number.lower, number.upper)
}
