//! Where the table is: delimiter or fixed columns, first row, width.

use crate::raw::sniff::look::{Look, look};
use crate::raw::split::{RowEnd, Splitter, delimiter_byte};
use crate::record::columns::Delimiter;

/// Rows looked at for the shape of the table, at either end of the sample.
const SHAPE_ROWS: usize = 3_000;

/// One row of the sample.
#[derive(Debug, Clone)]
pub(super) struct Row {
    /// Line, counted from 1.
    pub(super) line: u64,
    /// The row's bytes.
    pub(super) bytes: Vec<u8>,
    /// Its fields, as text.
    pub(super) texts: Vec<String>,
    /// What each field looks like.
    pub(super) looks: Vec<Look>,
}

impl Row {
    fn new(line: u64, bytes: &[u8], splitter: &Splitter) -> Self {
        let texts = splitter.texts(bytes);
        let looks = texts.iter().map(|t| look(t)).collect();
        Self { line, bytes: bytes.to_vec(), texts, looks }
    }

    pub(super) fn is_blank(&self) -> bool {
        self.looks.iter().all(|l| *l == Look::Empty)
    }

    /// Fields up to the last that holds anything.
    pub(super) fn filled(&self) -> usize {
        self.looks.iter().rposition(|l| *l != Look::Empty).map_or(0, |n| n + 1)
    }

    fn count(&self, wanted: impl Fn(Look) -> bool) -> usize {
        self.looks.iter().filter(|l| wanted(**l)).count()
    }

    /// Whether at least half of what it holds are numbers and times.
    pub(super) fn is_data(&self) -> bool {
        let values = self.count(Look::is_value);
        let held = self.count(|l| l != Look::Empty && l != Look::Missing);
        values > 0 && values * 2 >= held
    }
}

/// The table found in a sample.
#[derive(Debug)]
pub(super) struct Table {
    pub(super) splitter: Splitter,
    /// `None` for fixed columns.
    pub(super) delimiter: Option<Delimiter>,
    pub(super) rows: Vec<Row>,
    /// Index of the first row of numbers.
    pub(super) first: usize,
    /// How many fields most rows have.
    pub(super) width: usize,
    /// How many rows of numbers have that width.
    pub(super) table_rows: usize,
}

/// Splits a sample into rows.
pub(super) fn rows(text: &[u8], splitter: &Splitter) -> Vec<Row> {
    let mut rows = Vec::new();
    let mut at = 0;
    let mut line = 1;
    while at < text.len() {
        let Some(RowEnd { end, next, lines, .. }) = splitter.row_end(text, at) else {
            break;
        };
        rows.push(Row::new(line, &text[at..end], splitter));
        line += lines as u64;
        at = next;
    }
    rows
}

/// Whether double quotes in the sample can be read as quotes: every one that opens closes.
pub(super) fn quotes_close(text: &[u8], delimiter: Delimiter, whole: bool) -> bool {
    let splitter = with_quotes(delimiter, true);
    let mut at = 0;
    while at < text.len() {
        match splitter.row_end(text, at) {
            Some(row) => at = row.next,
            None => return !whole && text.len() - at < 65_536,
        }
    }
    true
}

fn with_quotes(delimiter: Delimiter, quotes: bool) -> Splitter {
    match delimiter {
        Delimiter::Spaces => Splitter::Spaces { quotes },
        other => Splitter::Byte { delimiter: delimiter_byte(other), quotes },
    }
}

/// Finds the table; `None` where no line looks like a row of numbers.
pub(super) fn find(text: &[u8], whole: bool) -> Option<(Table, bool)> {
    let mut best: Option<(f64, Table, bool)> = None;
    let shape = ends(text);
    let order = [Delimiter::Tab, Delimiter::Semicolon, Delimiter::Pipe, Delimiter::Comma, Delimiter::Spaces];
    for delimiter in order {
        let quotes = quotes_close(text, delimiter, whole);
        let splitter = with_quotes(delimiter, quotes);
        let sample = rows(&shape, &splitter);
        let Some((width, _)) = usual_width(&sample, 2) else {
            continue;
        };
        let score: f64 = sample.iter().filter(|r| r.is_data() && r.texts.len() == width).map(row_score).sum();
        if best.as_ref().is_none_or(|(highest, ..)| score > *highest) {
            best = Some((
                score,
                Table {
                    splitter,
                    delimiter: Some(delimiter),
                    rows: Vec::new(),
                    first: 0,
                    width,
                    table_rows: 0,
                },
                quotes,
            ));
        }
    }
    let (mut table, quotes) = match best {
        Some((_, table, quotes)) => (table, quotes),
        None => {
            // One column: any delimiter does, as long as it does not stand in the numbers.
            let splitter = with_quotes(Delimiter::Tab, true);
            let sample = rows(&shape, &splitter);
            usual_width(&sample, 1)?;
            (
                Table {
                    splitter,
                    delimiter: Some(Delimiter::Tab),
                    rows: Vec::new(),
                    first: 0,
                    width: 1,
                    table_rows: 0,
                },
                true,
            )
        }
    };
    table.rows = rows(text, &table.splitter);
    settle(&mut table)?;
    Some((table, quotes))
}

/// Finds the first row and counts the rows of the usual width.
pub(super) fn settle(table: &mut Table) -> Option<()> {
    let (width, count) = usual_width(&table.rows, table.width.min(2))?;
    table.width = width;
    table.table_rows = count;
    let fits = |row: &Row| row.is_data() && row.texts.len() == width;
    table.first = (0..table.rows.len()).find(|index| {
        let after: Vec<&Row> = table.rows[*index..].iter().filter(|r| !r.is_blank()).take(6).collect();
        let fitting = after.iter().filter(|r| fits(r)).count();
        fits(&table.rows[*index]) && fitting * 2 >= after.len().min(count + 1)
    })?;
    Some(())
}

/// The head and tail of a long sample, cut at line ends.
fn ends(text: &[u8]) -> Vec<u8> {
    const MOST: usize = SHAPE_ROWS * 60;
    if text.len() <= 2 * MOST {
        return text.to_vec();
    }
    let mut shape = text[..MOST].to_vec();
    let head_end = memchr::memrchr2(b'\n', b'\r', &shape).map_or(0, |n| n + 1);
    shape.truncate(head_end);
    let tail = &text[text.len() - MOST..];
    let tail_start = memchr::memchr2(b'\n', b'\r', tail).map_or(tail.len(), |n| n + 1);
    shape.extend_from_slice(&tail[tail_start..]);
    shape
}

/// The number of fields that most rows of numbers have, if at least `least`, and how many rows have it.
fn usual_width(rows: &[Row], least: usize) -> Option<(usize, usize)> {
    let mut counts = std::collections::BTreeMap::new();
    for row in rows.iter().filter(|r| r.is_data() && r.texts.len() >= least) {
        *counts.entry(row.texts.len()).or_insert(0_usize) += 1;
    }
    counts.into_iter().max_by_key(|(width, count)| (*count, *width))
}

/// How much a row speaks for its delimiter: its values, weighed by how purely it holds values.
fn row_score(row: &Row) -> f64 {
    let count = |wanted: fn(Look) -> bool| f64::from(u32::try_from(row.count(wanted)).unwrap_or(u32::MAX));
    let values = count(Look::is_value);
    let held = count(|l| l != Look::Empty && l != Look::Missing);
    if held > 0.0 { values * (values / held) * (values / held) } else { 0.0 }
}

/// Finds fixed columns in text that spaces part unevenly: character columns that no row fills.
pub(super) fn fixed_columns(table: &Table) -> Option<Vec<usize>> {
    let lines: Vec<Vec<char>> = table.rows[table.first..]
        .iter()
        .filter(|r| r.is_data())
        .map(|r| String::from_utf8_lossy(&r.bytes).chars().collect())
        .collect();
    let uneven =
        table.rows[table.first..].iter().filter(|r| r.is_data() && r.texts.len() != table.width).count();
    if uneven == 0 || lines.len() < 3 || lines.iter().any(|l| l.contains(&'\t')) {
        return None;
    }
    let longest = lines.iter().map(Vec::len).max()?;
    let filled: Vec<bool> = (0..longest)
        .map(|column| lines.iter().any(|l| l.get(column).is_some_and(|c| !c.is_whitespace())))
        .collect();
    let mut starts = vec![0];
    for column in 1..longest {
        // A field begins right behind the field before, so that wider numbers to its left still belong to it.
        if !filled[column] && filled[column - 1] {
            starts.push(column);
        }
    }
    if filled.last() == Some(&false) {
        starts.pop();
    }
    (starts.len() >= table.width.max(2)).then_some(starts)
}
