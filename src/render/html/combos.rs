//! Combinations on a page: the answer in a sentence, a table of small plots on one axis, effects, what is missing.

use maud::Markup;
use maud::html;

use super::interval::Drawn;
use super::interval::Shared;
use super::{document, list, plain, wide};
use crate::answer::CellLine;
use crate::answer::CombosAnswer;
use crate::answer::PageMark;
use crate::answer::WithInterval;
use crate::render::combos::{cell_words, depends_words, effect_words, interaction_words};

/// Which combinations were run and what each is worth, as a page.
pub fn combos_page(answer: &CombosAnswer, mark: &PageMark) -> String {
    let (row, column) = (&answer.reference.0, &answer.reference.1);
    let kicker = html! {
        (plain(&answer.row_role)) " by " (plain(&answer.column_role)) ", brought to " (plain(&answer.correction))
        ", at commit " span class="hash" { (answer.commit) }
    };
    let effects: Vec<String> =
        answer.main_effects.iter().map(|effect| effect_words(effect, answer)).collect();
    let beside: Vec<String> = answer.effects.iter().map(|effect| effect_words(effect, answer)).collect();
    let interactions: Vec<String> =
        answer.interactions.iter().map(|found| interaction_words(found, answer)).collect();
    let body = html! {
        p {
            "Shown is " (plain(&answer.figure)) ", " (plain(&answer.unit)) ", and what each combination brings against "
            strong { (plain(row)) " with " (plain(column)) } "."
        }
        h2 { "What is not known" }
        (not_known(answer))
        @if !answer.doubts.is_empty() {
            h2 { "In doubt, until measured again or cleared" }
            (list(&answer.doubts))
        }
        h2 { "Every combination" }
        (grid(answer))
        @if !effects.is_empty() {
            h2 { "Main effects: over all that each was run beside, as if neither depended on the other" }
            (list(&effects))
        }
        @if !beside.is_empty() {
            h2 { "What a change of " (plain(&answer.row_role)) " brings, where it can be told" }
            (list(&beside))
        }
        @if !interactions.is_empty() {
            h2 { "How much more it brings beside one than beside another (interaction)" }
            (list(&interactions))
        }
        h2 { "What it rests on" }
        (rests(answer))
        @if !answer.left_out.is_empty() {
            details {
                summary { "Pulls that are not in the table (" (answer.left_out.len()) ")" }
                (wide("Pulls that are not in the table", &html! {
                    table {
                        thead { tr { th scope="col" { "Pull" } th scope="col" { "Combination" } th scope="col" { "Why" } } }
                        tbody { @for line in &answer.left_out { tr {
                            th scope="row" { (plain(&line.pull)) }
                            td { (plain(line.row.as_deref().unwrap_or("-"))) " with " (plain(line.column.as_deref().unwrap_or("-"))) }
                            td { (plain(&line.why)) }
                        } } }
                    }
                }))
            }
        }
    };
    document(mark, &depends_words(answer), &kicker, &body)
}

fn not_known(answer: &CombosAnswer) -> Markup {
    let never: Vec<String> = answer
        .cells
        .iter()
        .filter(|cell| cell.pulls == 0)
        .map(|cell| format!("{} with {}: {}", cell.row, cell.column, cell_words(answer, cell)))
        .collect();
    html! {
        @if never.is_empty() { p { "Every combination of these was run." } } @else { div class="unknown" { (list(&never)) } }
        @if answer.refit_scatter.is_none() {
            p { "Nobody refitted: the intervals speak of these assemblies only." }
        }
        @if !answer.complete.is_empty() {
            h3 { "To complete the picture" }
            (list(&answer.complete))
        }
    }
}

/// Rows by columns, each cell a small plot on one axis with its words.
fn grid(answer: &CombosAnswer) -> Markup {
    let shown = |cell: &CellLine| cell.difference.or(cell.prediction);
    let all: Vec<WithInterval> = answer.cells.iter().filter_map(shown).collect();
    let axis = Shared::over(&all);
    let mut rows: Vec<&str> = Vec::new();
    let mut columns: Vec<&str> = Vec::new();
    for cell in &answer.cells {
        if !rows.contains(&cell.row.as_str()) {
            rows.push(&cell.row);
        }
        if !columns.contains(&cell.column.as_str()) {
            columns.push(&cell.column);
        }
    }
    let find =
        |row: &str, column: &str| answer.cells.iter().find(|cell| cell.row == row && cell.column == column);
    wide(
        "Every combination",
        &html! {
            table class="grid" {
                caption {
                    "Difference from the reference, " (plain(&answer.unit)) ", with its 95 % interval; the upright line is zero. "
                    "Full mark: measured. Hollow mark, dashed: a prediction, not a result."
                }
                thead { tr {
                    th scope="col" { (plain(&answer.row_role)) }
                    @for column in &columns { th scope="col" { (plain(column)) } }
                } }
                tbody {
                    @for row in &rows { tr {
                        th scope="row" { (plain(row)) }
                        @for column in &columns {
                            td class="drawn" {
                                @match find(row, column) {
                                    Some(cell) => (one(answer, cell, axis.as_ref())),
                                    None => "-",
                                }
                            }
                        }
                    } }
                    @if let Some(axis) = &axis { tr {
                        td {}
                        @for _ in &columns { td class="drawn" { (axis.axis(&answer.unit)) } }
                    } }
                }
            }
        },
    )
}

fn one(answer: &CombosAnswer, cell: &CellLine, axis: Option<&Shared>) -> Markup {
    let words = cell_words(answer, cell);
    let title = format!("{} with {}: {words}", cell.row, cell.column);
    let drawn = axis.and_then(|axis| {
        let measured = cell.difference.map(|number| axis.draw(&number, Drawn::Point, &title));
        measured.or_else(|| cell.prediction.map(|number| axis.draw(&number, Drawn::Predicted, &title)))
    });
    html! {
        @if let Some(drawn) = drawn { (drawn) }
        span class="known" { (plain(&words)) }
    }
}

fn rests(answer: &CombosAnswer) -> Markup {
    let mut lines: Vec<String> = Vec::new();
    lines.extend(answer.pull_scatter.map(|pull| format!("pull to pull {pull:.2} {}", answer.unit)));
    lines.extend(answer.refit_scatter.map(|refit| format!("refit to refit {refit:.2} {}", answer.unit)));
    lines.push(
        "pulls are compared within a session with everything else as it was; that adds alike to every combination is \
         taken for granted"
            .to_owned(),
    );
    lines.extend(answer.notes.clone());
    list(&lines)
}
