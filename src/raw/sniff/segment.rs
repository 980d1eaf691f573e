//! Whether a file holds several pulls, and what parts them.

use crate::raw::restart::Restarts;
use crate::raw::sniff::header::repeats;
use crate::raw::sniff::look::Look;
use crate::raw::sniff::table::Table;
use crate::record::columns::SegmentRule;

/// Rows that a group between blank lines must have to be a pull of its own.
const GROUP: usize = 3;

/// The times (or, for a `Run` column, the values) of the rows, as read with the guessed columns.
pub(super) struct Passage<'a> {
    /// Time of each row.
    pub(super) time: Option<&'a [f64]>,
    /// Speed of each row.
    pub(super) speed: Option<&'a [f64]>,
    /// Run number of each row, with the channel's name.
    pub(super) run: Option<(&'a str, &'a [f64])>,
}

/// The rule that parts the pulls, if there is more than one.
pub(super) fn rule(table: &Table<'_>, header: &[String], passage: &Passage<'_>) -> SegmentRule {
    if repeats(table, header) > 0 {
        return SegmentRule::HeaderRepeats;
    }
    if let Some((name, run)) = passage.run
        && changes(run)
    {
        return SegmentRule::Channel(name.to_owned());
    }
    if passage.time.is_some_and(restarts) {
        return SegmentRule::TimeRestarts;
    }
    if grouped_by(table, |table, index| names_a_run(&table.rows[index].texts)) {
        return SegmentRule::TextLine;
    }
    let speed_restarts = passage.speed.is_some_and(restarts);
    if speed_restarts && grouped_by(table, |table, index| table.rows[index].is_blank()) {
        return SegmentRule::BlankLine;
    }
    SegmentRule::Off
}

fn restarts(values: &[f64]) -> bool {
    let mut restarts = Restarts::new();
    values.iter().for_each(|value| restarts.push(*value));
    restarts.part_pulls()
}

/// Whether a run number changes, each standing for several rows.
fn changes(run: &[f64]) -> bool {
    let held: Vec<u64> = run.iter().filter(|v| !v.is_nan()).map(|v| v.to_bits()).collect();
    let changes = held.windows(2).filter(|w| w[0] != w[1]).count();
    changes > 0 && (changes + 1) * GROUP <= held.len()
}

/// Whether lines of a kind part the rows into two or more groups of several rows.
fn grouped_by(table: &Table<'_>, parts: impl Fn(&Table<'_>, usize) -> bool) -> bool {
    let mut groups = 0_usize;
    let mut rows = 0_usize;
    let mut parted = false;
    for index in table.first..table.rows.len() {
        if table.rows[index].is_data() {
            rows += 1;
        } else if parts(table, index) {
            parted = true;
            groups += usize::from(rows >= GROUP);
            rows = 0;
        }
    }
    groups += usize::from(rows >= GROUP);
    parted && groups >= 2
}

/// Whether a line is the heading of a pull (`Run 2`).
pub(super) fn names_a_run<T: AsRef<str>>(texts: &[T]) -> bool {
    let first = texts.iter().map(AsRef::as_ref).find(|text| !text.is_empty()).unwrap_or_default();
    // Most rows begin with a number.
    if !first.bytes().any(|byte| byte.is_ascii_alphabetic()) {
        return false;
    }
    let first = first.to_lowercase();
    let held = texts.iter().filter(|text| !text.as_ref().is_empty()).count();
    let looks_like = ["run", "pull", "test", "sweep", "lauf", "segment", "pass"];
    let begins = first.trim_start_matches(['#', '*', '-', '=', '[', ' ']);
    held <= 2
        && looks_like.iter().any(|word| begins.starts_with(word))
        && super::look::look(&first) == Look::Text
}
