//! The rows above the numbers: header, unit row, preamble.

use crate::raw::block::strip_comment;
use crate::raw::read::{gap_fields, joined_header};
use crate::raw::sniff::look::Look;
use crate::raw::sniff::segment::names_a_run;
use crate::raw::sniff::table::{Row, Table};
use crate::raw::sniff::vocabulary::{is_unit, quantity, tidy, words};
use crate::raw::split::Splitter;
use crate::record::channel::ChannelQuantity;

/// Blank lines that may stand between header and numbers.
const BLANKS: usize = 2;

/// What stands above the numbers.
#[derive(Debug, Default)]
pub(super) struct Heading {
    /// The header's texts, field by field; empty where there is none.
    pub(super) header: Vec<String>,
    /// Rows of header.
    pub(super) header_rows: usize,
    /// The unit row's texts, where there is one.
    pub(super) units: Option<Vec<String>>,
    /// Index of the first row that belongs to header or numbers; what stands above is preamble.
    pub(super) top: usize,
}

/// Finds header and unit row above the table's first row.
pub(super) fn find(table: &Table<'_>) -> Heading {
    let mut heading = Heading { top: table.first, ..Heading::default() };
    let above = |from: usize| {
        let mut index = from;
        let mut blanks = 0;
        while index > 0 {
            index -= 1;
            let row = &table.rows[index];
            // A heading of the first pull may stand between header and numbers.
            if !(row.is_blank() || from == table.first && names_a_run(&row.texts)) {
                return Some(index);
            }
            blanks += 1;
            if blanks > BLANKS {
                break;
            }
        }
        None
    };
    let Some(nearest) = above(table.first).filter(|index| may_head(&table.rows[*index], table)) else {
        return heading;
    };
    let next = above(nearest).filter(|index| may_head(&table.rows[*index], table));
    let (mut header_index, unit_index) = match next {
        Some(next) if is_unit_row(&table.rows[nearest], &table.splitter) => (next, Some(nearest)),
        _ => (nearest, None),
    };
    let last = header_index;
    let alone = texts(&table.rows[last..=last], table);
    if let Some(second) = above(header_index).filter(|index| may_head(&table.rows[*index], table)) {
        let both = texts(&table.rows[second..=last], table);
        if tells_more(&both, &alone) {
            header_index = second;
        }
    }
    let used: Vec<&Row<'_>> = table.rows[header_index..=last].iter().filter(|r| !r.is_blank()).collect();
    heading.header = texts(&table.rows[header_index..=last], table);
    heading.header_rows = used.len();
    heading.units = unit_index.map(|index| table.splitter.texts(strip_comment(table.rows[index].bytes)));
    heading.top = header_index;
    heading
}

fn texts(rows: &[Row<'_>], table: &Table<'_>) -> Vec<String> {
    let window: Vec<(u64, Vec<u8>)> =
        rows.iter().filter(|r| !r.is_blank()).map(|r| (r.line, r.bytes.to_vec())).collect();
    let mut header = joined_header(&window, &table.splitter, &[]);
    if matches!(table.splitter, Splitter::Spaces { .. }) && header.len() != table.width {
        let by_gaps: Vec<Vec<String>> =
            window.iter().map(|(_, row)| gap_fields(strip_comment(row))).collect();
        if let [only] = by_gaps.as_slice()
            && only.len() == table.width
        {
            header.clone_from(only);
        }
    }
    header
}

/// Whether a row could be a header or unit row of the table.
fn may_head(row: &Row<'_>, table: &Table<'_>) -> bool {
    let texts = table.splitter.texts(strip_comment(row.bytes));
    let held: Vec<&String> = texts.iter().filter(|t| !t.is_empty()).collect();
    let numbers = row.looks.iter().filter(|l| l.is_value()).count();
    if held.is_empty() || numbers * 2 >= held.len() {
        return false;
    }
    let first = held.first().map_or("", |t| t.as_str());
    if first.ends_with([':', '=']) || (held.len() <= 2 && first.contains(": ")) {
        return false;
    }
    if table.width == 1 {
        return held.len() == 1 && first.chars().count() <= 60 && !first.contains([':', '=']);
    }
    if matches!(table.splitter, Splitter::Spaces { .. }) {
        return texts.len() == table.width || gap_fields(strip_comment(row.bytes)).len() == table.width;
    }
    if held.len() == 2 && table.width == 2 {
        // A pair above a table of two columns may as well be a condition.
        let known = |t: &String| quantity(t, None) != ChannelQuantity::Other || is_unit(t);
        let bracket = |t: &String| t.contains(['(', '[']);
        return held.iter().any(|t| known(t) || bracket(t))
            || row.texts.len() == 2 && held.iter().all(|t| words(t).len() <= 3);
    }
    held.len() * 2 >= table.width && row.filled() <= table.width + 1
}

/// Whether most of a row's texts are units, and none is the name of a quantity.
fn is_unit_row(row: &Row<'_>, splitter: &Splitter) -> bool {
    let texts = splitter.texts(strip_comment(row.bytes));
    let mut units = 0_usize;
    let mut others = 0_usize;
    for text in texts.iter().filter(|t| !t.is_empty()) {
        let bare = tidy(text);
        if bare.is_empty() || row_placeholder(&bare) {
            continue;
        }
        if is_unit(text) {
            units += 1;
        } else if text.starts_with(['[', '(']) {
            // An unknown unit in brackets is still a unit.
            units += 1;
        } else if quantity(text, None) == ChannelQuantity::Other {
            others += 1;
        } else {
            return false;
        }
    }
    units > 0 && units >= others * 3
}

fn row_placeholder(text: &str) -> bool {
    matches!(text.to_lowercase().as_str(), "-" | "--" | "---" | "n/a" | "none" | "#")
}

/// Whether two header rows together name more than the lower one alone.
fn tells_more(both: &[String], alone: &[String]) -> bool {
    let known = |header: &[String]| {
        header.iter().filter(|h| !h.is_empty() && quantity(h, None) != ChannelQuantity::Other).count()
    };
    let distinct = |header: &[String]| {
        let held: Vec<&String> = header.iter().filter(|h| !h.is_empty()).collect();
        let set: std::collections::BTreeSet<&String> = held.iter().copied().collect();
        set.len()
    };
    both.len() >= alone.len() && (known(both) > known(alone) || distinct(both) > distinct(alone))
}

/// Rows between the first row of numbers and the end that repeat the header.
pub(super) fn repeats(table: &Table<'_>, header: &[String]) -> usize {
    if header.is_empty() {
        return 0;
    }
    let filled = |list: &[String]| list.iter().rposition(|t| !t.is_empty()).map_or(0, |n| n + 1);
    let wanted = &header[..filled(header)];
    table.rows[table.first..]
        .iter()
        .filter(|row| !row.looks.contains(&Look::Number))
        .filter(|row| {
            let texts = table.splitter.texts(strip_comment(row.bytes));
            texts[..filled(&texts)] == *wanted
        })
        .count()
}
