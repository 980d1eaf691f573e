//! Found records as an aligned table, or as CSV.

use unicode_width::UnicodeWidthStr;

use crate::answer::FindAnswer;
use crate::answer::FindRow;
use crate::answer::csv_cell;
use crate::render::Look;
use crate::render::Page;
use crate::render::clean;
use crate::render::gaps::pending;
use crate::render::page::Tone;

/// The headings of the columns that every row has.
const FIRST: [&str; 4] = ["name", "on", "of", "by"];

fn cells(row: &FindRow) -> Vec<String> {
    let said = |value: &Option<String>| value.clone().unwrap_or_else(|| "-".to_owned());
    let mut cells = vec![row.name.clone(), said(&row.on), said(&row.of), said(&row.by)];
    cells.extend(row.values.iter().map(said));
    cells
}

/// What was found, as text.
pub fn find(answer: &FindAnswer, look: Look) -> String {
    let mut page = Page::new(look);
    let asked =
        if answer.asked.is_empty() { String::new() } else { format!(": {}", answer.asked.join(", ")) };
    let what = if answer.finds == "flow" { "flow sheets" } else { answer.finds };
    let what = if answer.rows.len() == 1 { what.trim_end_matches('s') } else { what };
    page.line(0, Tone::Heading, &format!("{} {what}{asked}", answer.rows.len()));
    let mut table: Vec<Vec<String>> =
        vec![FIRST.iter().map(|&name| name.to_owned()).chain(answer.columns.iter().cloned()).collect()];
    table.extend(answer.rows.iter().map(cells));
    let widths: Vec<usize> = (0..FIRST.len() + answer.columns.len())
        .map(|column| table.iter().map(|row| clean(&row[column]).width()).max().unwrap_or(0))
        .collect();
    if !answer.rows.is_empty() {
        for (index, row) in table.iter().enumerate() {
            let mut line = String::new();
            for (cell, width) in row.iter().zip(&widths) {
                let cell = clean(cell);
                line.push_str(&format!("{cell}{}  ", " ".repeat(width.saturating_sub(cell.width()))));
            }
            let remark = index.checked_sub(1).and_then(|index| answer.rows[index].remark.as_ref());
            line.push_str(&remark.map(|remark| clean(remark)).unwrap_or_default());
            page.verbatim(2, if index == 0 { Tone::Faint } else { Tone::Plain }, line.trim_end());
        }
    }
    for untold in &answer.untold {
        page.gap();
        let words = format!("Nothing is known of `{}` for: {}", untold.name, untold.records.join(", "));
        page.line(0, Tone::Doubt, &words);
    }
    if !answer.doubted.is_empty() {
        page.gap();
        let words = format!("In doubt, as their sheets say: {}", answer.doubted.join(", "));
        page.line(0, Tone::Bad, &words);
    }
    pending(&mut page, &answer.pending);
    if answer.not_looked_at > 0 {
        page.gap();
        let words = format!(
            "Edits that are not kept were looked for only where something was found, not in {} further records of this large book: `--pending` reads those of all.",
            answer.not_looked_at
        );
        page.line(0, Tone::Faint, &words);
    }
    page.gap();
    page.verbatim(0, Tone::Faint, &format!("Next: {}", answer.next));
    page.finish()
}

/// What was found, as CSV (RFC 4180): an empty cell where nobody wrote it down, an apostrophe before what a spreadsheet would
/// take for a formula.
pub fn find_csv(answer: &FindAnswer) -> String {
    let line =
        |cells: &mut dyn Iterator<Item = &str>| cells.map(csv_cell).collect::<Vec<_>>().join(",") + "\r\n";
    let mut csv =
        line(&mut FIRST.into_iter().chain(answer.columns.iter().map(String::as_str)).chain(["remark"]));
    for row in &answer.rows {
        let first = [Some(&row.name), row.on.as_ref(), row.of.as_ref(), row.by.as_ref()];
        let all = first.into_iter().chain(row.values.iter().map(Option::as_ref)).chain([row.remark.as_ref()]);
        csv.push_str(&line(&mut all.map(|cell| cell.map_or("", String::as_str))));
    }
    csv
}
