//! Where the table is: delimiter or fixed columns, first row, width.

use std::borrow::Cow;
use std::ops::Range;

use crate::raw::sniff::look::{Look, look};
use crate::raw::split::{RowEnd, Splitter, delimiter_byte, field_text};
use crate::record::columns::Delimiter;

/// Rows looked at for the shape of the table, at either end of the sample.
const SHAPE_ROWS: usize = 1_000;

/// One row of the sample.
#[derive(Debug, Clone)]
pub(super) struct Row<'t> {
    /// Line, counted from 1.
    pub(super) line: u64,
    /// The row's bytes.
    pub(super) bytes: &'t [u8],
    /// Its fields, as text.
    pub(super) texts: Vec<Cow<'t, str>>,
    /// What each field looks like.
    pub(super) looks: Vec<Look>,
}

impl<'t> Row<'t> {
    /// `ranges` is room to work in.
    fn new(line: u64, bytes: &'t [u8], splitter: &Splitter, ranges: &mut Vec<Range<usize>>) -> Self {
        splitter.fields(bytes, ranges);
        let texts: Vec<Cow<'t, str>> = ranges.iter().map(|range| field_text(&bytes[range.clone()])).collect();
        let looks = texts.iter().map(|t| look(t)).collect();
        Self { line, bytes, texts, looks }
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
pub(super) struct Table<'t> {
    pub(super) splitter: Splitter,
    /// `None` for fixed columns.
    pub(super) delimiter: Option<Delimiter>,
    pub(super) rows: Vec<Row<'t>>,
    /// Index of the first row of numbers.
    pub(super) first: usize,
    /// How many fields most rows have.
    pub(super) width: usize,
    /// How many rows of numbers have that width.
    pub(super) table_rows: usize,
}

/// Splits a sample into rows.
pub(super) fn rows<'t>(text: &'t [u8], splitter: &Splitter) -> Vec<Row<'t>> {
    let mut rows = Vec::new();
    let mut ranges = Vec::new();
    let mut at = 0;
    let mut line = 1;
    while at < text.len() {
        let Some(RowEnd { end, next, lines, .. }) = splitter.row_end(text, at) else {
            break;
        };
        rows.push(Row::new(line, &text[at..end], splitter, &mut ranges));
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

/// A way of parting the sample, and how well it does.
struct Candidate {
    delimiter: Delimiter,
    splitter: Splitter,
    quotes: bool,
    width: usize,
    /// Rows of its width that hold nothing but values.
    pure: usize,
    score: f64,
    /// Whether its rows hold nothing but values, and its mark never stands inside a number.
    certain: bool,
}

impl Candidate {
    fn new(delimiter: Delimiter, shape: &[u8], quotes: bool, least: usize) -> Option<Self> {
        let splitter = with_quotes(delimiter, quotes);
        // A mark that never stands there parts nothing.
        if let Splitter::Byte { delimiter, .. } = splitter
            && least > 1
            && memchr::memchr(delimiter, shape).is_none()
        {
            return None;
        }
        let sample = rows(shape, &splitter);
        let (width, count) = usual_width(&sample, least)?;
        let fitting = || sample.iter().filter(|r| r.is_data() && r.texts.len() == width);
        let pure = fitting().filter(|r| !r.looks.contains(&Look::Text)).count();
        let hard = matches!(delimiter, Delimiter::Tab | Delimiter::Semicolon | Delimiter::Pipe);
        Some(Self {
            delimiter,
            quotes,
            width,
            pure,
            score: fitting().map(row_score).sum(),
            certain: hard && width > 1 && pure * 100 >= count * 95,
            splitter,
        })
    }
}

/// Finds the table and whether quotes can be read as quotes; `None` where no line looks like a row of numbers.
pub(super) fn find(text: &[u8], whole: bool) -> Option<(Table<'_>, bool)> {
    let shape = ends(text);
    let order = [Delimiter::Tab, Delimiter::Semicolon, Delimiter::Pipe, Delimiter::Comma, Delimiter::Spaces];
    let mut candidates: Vec<Candidate> = order
        .into_iter()
        .filter_map(|d| Candidate::new(d, &shape, quotes_close(text, d, whole), 2))
        .collect();
    // One column: a tab parts the fields as well as anything that does not stand in the numbers.
    let alone = Candidate::new(Delimiter::Tab, &shape, true, 1).filter(|c| c.width == 1);
    candidates.extend(alone);
    // Remarks such as `run 3`, which spaces part into a row of two, do not count against a mark that is certain.
    let most = candidates.iter().map(|c| c.pure).max()?;
    let rank = |c: &Candidate| (c.certain && c.pure * 2 >= most, c.score);
    // The first of equals stands.
    let best = candidates.into_iter().reduce(|best, next| {
        let ((a, x), (b, y)) = (rank(&best), rank(&next));
        if (b, y) > (a, x) { next } else { best }
    })?;
    let mut table = Table {
        rows: rows(text, &best.splitter),
        splitter: best.splitter,
        delimiter: Some(best.delimiter),
        first: 0,
        width: best.width,
        table_rows: 0,
    };
    settle(&mut table)?;
    Some((table, best.quotes))
}

/// Finds the first row and counts the rows of the usual width.
pub(super) fn settle(table: &mut Table<'_>) -> Option<()> {
    let (width, count) = usual_width(&table.rows, table.width.min(2))?;
    table.width = width;
    table.table_rows = count;
    let fits = |row: &Row<'_>| row.is_data() && row.texts.len() == width;
    table.first = (0..table.rows.len()).find(|index| {
        let after: Vec<&Row<'_>> = table.rows[*index..].iter().filter(|r| !r.is_blank()).take(6).collect();
        let fitting = after.iter().filter(|r| fits(r)).count();
        let row = &table.rows[*index];
        fits(row)
            && fitting * 2 >= after.len().min(count + 1)
            && !is_remark(row, &table.rows[*index + 1..], width)
    })?;
    Some(())
}

/// Whether a row that looks like one of the table, such as `run 3`, is a remark above the header: it has text where the
/// rows below the next header have none.
fn is_remark(row: &Row<'_>, below: &[Row<'_>], width: usize) -> bool {
    if !row.looks.contains(&Look::Text) {
        return false;
    }
    let heads = |r: &&Row<'_>| !r.is_blank() && r.count(Look::is_value) == 0 && r.filled() * 2 >= width;
    let mut rest = below.iter().take(1000).skip_while(|r| !heads(r)).skip(1);
    let fitting: Vec<&Row<'_>> =
        rest.by_ref().filter(|r| r.is_data() && r.looks.len() == width).take(50).collect();
    let texts = |field: usize| fitting.iter().filter(|r| r.looks[field] == Look::Text).count();
    let odd =
        |field: &usize| row.looks.get(*field) == Some(&Look::Text) && texts(*field) * 2 <= fitting.len();
    !fitting.is_empty() && (0..width).any(|field| odd(&field))
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

/// The number of fields, at least `least`, that the rows of numbers have whose values weigh most together, and how many
/// rows have it.
fn usual_width(rows: &[Row<'_>], least: usize) -> Option<(usize, usize)> {
    let mut widths: std::collections::BTreeMap<usize, (f64, usize)> = std::collections::BTreeMap::new();
    for row in rows.iter().filter(|r| r.is_data() && r.texts.len() >= least) {
        let (score, count) = widths.entry(row.texts.len()).or_default();
        *score += row_score(row);
        *count += 1;
    }
    let heaviest = widths.into_iter().max_by(|(_, (a, _)), (_, (b, _))| a.total_cmp(b))?;
    Some((heaviest.0, heaviest.1.1))
}

/// How much a row speaks for its delimiter: its values, weighed by how purely it holds values.
fn row_score(row: &Row<'_>) -> f64 {
    let count = |wanted: fn(Look) -> bool| f64::from(u32::try_from(row.count(wanted)).unwrap_or(u32::MAX));
    let values = count(Look::is_value);
    let held = count(|l| l != Look::Empty && l != Look::Missing);
    // A quote inside a cell of text was cut by the wrong delimiter.
    let cut = row.looks.iter().zip(&row.texts).any(|(l, text)| *l == Look::Text && text.contains('"'));
    if held > 0.0 && !cut { values * (values / held) * (values / held) } else { 0.0 }
}

/// Finds fixed columns in text that spaces part unevenly: character columns that no row fills.
pub(super) fn fixed_columns(table: &Table<'_>) -> Option<Vec<usize>> {
    let lines: Vec<Vec<char>> = table.rows[table.first..]
        .iter()
        .filter(|r| r.is_data())
        .map(|r| String::from_utf8_lossy(r.bytes).chars().collect())
        .collect();
    let uneven =
        table.rows[table.first..].iter().filter(|r| r.is_data() && r.texts.len() != table.width).count();
    if uneven == 0 || lines.len() < 3 || lines.iter().any(|l| l.contains(&'\t')) {
        return None;
    }
    let longest = lines.iter().map(Vec::len).max()?;
    let filled: Vec<bool> =
        (0..longest).map(|column| lines.iter().any(|l| l.get(column).is_some_and(|c| *c != ' '))).collect();
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
