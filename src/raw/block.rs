//! A block of whole rows to columns of numbers, and what stands in it that is no row.
//!
//! Blocks are independent of each other, so that two threads can work at once.

use std::ops::Range;

use memchr::{memchr, memchr3};

use crate::raw::number::{MISSING_WORDS, Marks, leading, trim};
use crate::raw::split::{Splitter, field_text, line_end};
use crate::raw::time::{picoseconds, seconds_between};
use crate::record::columns::Thousands;
use crate::record::columns::TimeForm;

/// Everything that reading a row needs, fixed before the first row.
#[derive(Debug)]
pub(super) struct Plan {
    pub(super) splitter: Splitter,
    pub(super) marks: Marks,
    /// Words that stand for no value, in lower case.
    pub(super) missing: Vec<String>,
    /// Numbers that stand for no value.
    pub(super) sentinels: Vec<f64>,
    pub(super) channels: Vec<ChannelPlan>,
    /// The channel of each field of a row.
    pub(super) by_field: Vec<Option<usize>>,
    /// How many fields a row has at most, where known.
    pub(super) width: Option<usize>,
    /// The header, to know it when it stands again.
    pub(super) header: Vec<String>,
    /// The unit row, likewise.
    pub(super) units: Vec<String>,
    /// Whether fixed columns have blanks between them, so that what runs across an edge is a number cut in two.
    pub(super) gutters: bool,
}

/// How one channel's cells are read.
#[derive(Debug, Clone, Copy)]
pub(super) struct ChannelPlan {
    /// The file's numbers are multiplied by this; `None` leaves every bit alone.
    pub(super) factor: Option<f64>,
    /// How time is written, where it counts from the file's first time.
    pub(super) time: Option<TimeForm>,
}

/// What stands in a block and is no plain row.
#[derive(Debug, Clone, PartialEq)]
pub(super) enum Event {
    /// One or more blank lines.
    Blank,
    /// The header again.
    Header,
    /// A line of text.
    Line { text: String },
    /// A row of means, maxima or the like.
    Statistic { word: &'static str, text: String, values: Vec<Option<(f64, u32)>> },
    /// Text where the channel has numbers, in the row that follows.
    TextCell { channel: usize, text: String },
    /// The row that follows lacks fields.
    Short { fields: usize },
    /// A row with more fields than the table has columns, or, parted by spaces, with fewer; it is not read.
    Extra { fields: usize, text: String },
}

/// An event and where it stands.
#[derive(Debug, Clone)]
pub(super) struct Mark {
    /// The row, in the block, before which (or in which) it stands.
    pub(super) row: usize,
    /// Lines from the block's first.
    pub(super) line: u32,
    pub(super) event: Event,
}

/// What a block holds.
#[derive(Debug, Default)]
pub(super) struct Parsed {
    pub(super) columns: Vec<Vec<f64>>,
    /// Each row's line, from the block's first.
    pub(super) lines: Vec<u32>,
    pub(super) marks: Vec<Mark>,
    /// Cells of text in each channel, also those beyond the events kept.
    pub(super) text_cells: Vec<u64>,
    /// Lines in the block.
    pub(super) line_count: u32,
    /// Events that were counted and not kept.
    pub(super) dropped: u64,
    /// The first cell of each time channel as written.
    pub(super) first_times: Vec<Option<String>>,
}

/// Events of one kind kept in a block; the rest are counted.
const KEPT_EVENTS: usize = 2_000;

/// Characters of a line kept in an event.
const KEPT_CHARACTERS: usize = 200;

/// Words that begin a row of statistics.
const STATISTIC_WORDS: [(&str, &str); 20] = [
    ("average", "mean"),
    ("averages", "mean"),
    ("avg", "mean"),
    ("avg.", "mean"),
    ("mean", "mean"),
    ("mean value", "mean"),
    ("mittelwert", "mean"),
    ("moyenne", "mean"),
    ("media", "mean"),
    ("maximum", "max"),
    ("max", "max"),
    ("max.", "max"),
    ("peak", "max"),
    ("minimum", "min"),
    ("min", "min"),
    ("min.", "min"),
    ("total", "sum"),
    ("sum", "sum"),
    ("std", "spread"),
    ("stdev", "spread"),
];

/// The statistic that a row's first word names.
pub(super) fn statistic_word(text: &str) -> Option<&'static str> {
    let lower = text.trim().trim_end_matches(':').to_lowercase();
    STATISTIC_WORDS.iter().find(|(word, _)| *word == lower).map(|(_, meaning)| *meaning)
}

/// Reads a block. `bases` holds the first time of each channel; where still unknown it is taken from this block.
pub(super) fn parse_block(plan: &Plan, bases: &mut [Option<i128>], text: &[u8], out: &mut Parsed) {
    out.columns.resize_with(plan.channels.len(), Vec::new);
    out.columns.iter_mut().for_each(Vec::clear);
    out.lines.clear();
    out.marks.clear();
    out.text_cells.clear();
    out.text_cells.resize(plan.channels.len(), 0);
    out.first_times.clear();
    out.first_times.resize(plan.channels.len(), None);
    out.line_count = 0;
    out.dropped = 0;
    let mut reader = RowReader {
        plan,
        decimal: plan.marks.decimal_byte(),
        bases,
        out,
        values: vec![f64::NAN; plan.channels.len()],
        texts: Vec::new(),
        numbers: 0,
        missing: 0,
        last_filled: 0,
        cut_in_two: false,
    };
    match plan.splitter {
        Splitter::Byte { delimiter, quotes }
            if plan.marks.thousands == Thousands::Off
                && plan.marks.decimal_byte() != delimiter
                && !(quotes && memchr(b'"', text).is_some()) =>
        {
            reader.plain_rows(text, delimiter);
        }
        _ => reader.split_rows(text),
    }
}

struct RowReader<'p> {
    plan: &'p Plan,
    /// The decimal mark.
    decimal: u8,
    bases: &'p mut [Option<i128>],
    out: &'p mut Parsed,
    values: Vec<f64>,
    /// Cells of text in this row: channel and place in the block.
    texts: Vec<(usize, Range<usize>)>,
    /// Cells of this row that are numbers.
    numbers: usize,
    /// Cells of this row that say "no value".
    missing: usize,
    /// Fields of this row up to the last that holds anything.
    last_filled: usize,
    /// Whether something in this row runs across the edge of two fixed columns.
    cut_in_two: bool,
}

impl RowReader<'_> {
    fn begin(&mut self) {
        self.values.fill(f64::NAN);
        self.texts.clear();
        self.numbers = 0;
        self.missing = 0;
        self.last_filled = 0;
    }

    /// Rows of plain numbers between single bytes: one pass, no copies.
    fn plain_rows(&mut self, text: &[u8], delimiter: u8) {
        let mut at = 0;
        while at < text.len() {
            let start = at;
            self.begin();
            let mut field = 0;
            loop {
                let channel = self.plan.by_field.get(field).copied().flatten();
                let before = self.numbers;
                let end = match channel {
                    Some(channel) => self.plain_cell(text, at, delimiter, channel),
                    None => memchr3(delimiter, b'\n', b'\r', &text[at..]).map_or(text.len(), |n| at + n),
                };
                // A cell that was a number holds something: no need to look again.
                if self.numbers > before || (end > at && !trim(&text[at..end]).is_empty()) {
                    self.last_filled = field + 1;
                }
                field += 1;
                at = end;
                if text.get(at) == Some(&delimiter) {
                    at += 1;
                } else {
                    break;
                }
            }
            let row_end = at;
            at = line_end(text, at).next;
            self.finish(&text[start..row_end], start, field);
            self.out.line_count += 1;
        }
    }

    /// Reads the cell at `at` and says where it ends.
    #[inline]
    fn plain_cell(&mut self, text: &[u8], at: usize, delimiter: u8, channel: usize) -> usize {
        let how = self.plan.channels[channel];
        if how.time.is_none() {
            let mut from = at;
            while text.get(from) == Some(&b' ') && delimiter != b' ' {
                from += 1;
            }
            if let Some((value, used)) = leading(&text[from..], self.decimal) {
                let end = from + used;
                match text.get(end) {
                    None | Some(b'\n' | b'\r') => {
                        self.number(channel, value);
                        return end;
                    }
                    Some(byte) if *byte == delimiter => {
                        self.number(channel, value);
                        return end;
                    }
                    Some(_) => {}
                }
            }
        }
        let end = memchr3(delimiter, b'\n', b'\r', &text[at..]).map_or(text.len(), |n| at + n);
        self.cell(text, at..end, channel);
        end
    }

    fn split_rows(&mut self, text: &[u8]) {
        let mut ranges = Vec::new();
        let mut at = 0;
        while at < text.len() {
            // Blocks are cut behind whole rows; only a quote left open at the end of a file is left, and the row then
            // ends with its line.
            let row = self.plan.splitter.row_end(text, at).unwrap_or_else(|| line_end(text, at));
            self.begin();
            self.plan.splitter.fields(&text[at..row.end], &mut ranges);
            self.cut_in_two = self.plan.gutters && self.plan.splitter.straddles(&text[at..row.end]);
            for (field, range) in ranges.iter().enumerate() {
                let range = at + range.start..at + range.end;
                if !range.is_empty() {
                    self.last_filled = field + 1;
                }
                if let Some(channel) = self.plan.by_field.get(field).copied().flatten() {
                    self.cell(text, range, channel);
                }
            }
            self.finish(&text[at..row.end], at, ranges.len());
            self.out.line_count =
                self.out.line_count.saturating_add(u32::try_from(row.lines).unwrap_or(u32::MAX));
            at = row.next;
        }
    }

    #[inline]
    fn number(&mut self, channel: usize, value: f64) {
        if !self.plan.sentinels.is_empty()
            && self.plan.sentinels.iter().any(|s| s.to_bits() == value.to_bits())
        {
            self.missing += 1;
            return;
        }
        self.numbers += 1;
        self.values[channel] = match self.plan.channels[channel].factor {
            None => value,
            Some(factor) => value * factor,
        };
    }

    fn cell(&mut self, text: &[u8], range: Range<usize>, channel: usize) {
        let cell = trim(&text[range.clone()]);
        if cell.is_empty() {
            return;
        }
        if let Some(form) = self.plan.channels[channel].time {
            if let Some(instant) = picoseconds(form, cell) {
                if self.bases[channel].is_none() {
                    self.bases[channel] = Some(instant);
                    self.out.first_times[channel] = Some(field_text(cell).into_owned());
                }
                let base = self.bases[channel].unwrap_or(instant);
                self.numbers += 1;
                self.values[channel] = seconds_between(base, instant);
                return;
            }
        } else if let Some(value) = self.plan.marks.number(cell) {
            self.number(channel, value);
            return;
        }
        if self.is_missing(cell) {
            self.missing += 1;
        } else {
            self.texts.push((channel, range));
        }
    }

    fn is_missing(&self, cell: &[u8]) -> bool {
        if cell.len() > 40 {
            return false;
        }
        let lower = String::from_utf8_lossy(cell).to_lowercase();
        MISSING_WORDS.contains(&lower.as_str()) || self.plan.missing.contains(&lower)
    }

    fn mark(&mut self, event: Event) {
        if self.out.marks.len() >= KEPT_EVENTS
            && !matches!(event, Event::Header | Event::Blank | Event::Statistic { .. })
        {
            self.out.dropped += 1;
            return;
        }
        self.out.marks.push(Mark { row: self.out.lines.len(), line: self.out.line_count, event });
    }

    /// Decides what the row is and keeps it.
    fn finish(&mut self, row: &[u8], start: usize, fields: usize) {
        if self.last_filled == 0 {
            let again = self
                .out
                .marks
                .last()
                .is_some_and(|m| m.event == Event::Blank && m.row == self.out.lines.len());
            if !again {
                self.mark(Event::Blank);
            }
            return;
        }
        let odd = !self.texts.is_empty()
            || self.numbers == 0
            || row.first().is_some_and(|b| b.is_ascii_alphabetic() || matches!(b, b'#' | b'"'));
        if odd && self.is_no_row(row, start, fields) {
            return;
        }
        let uneven = |width: usize| match self.plan.splitter {
            // Nothing tells which field is empty where only spaces part them.
            Splitter::Spaces { .. } => fields != width,
            _ => self.last_filled > width,
        };
        if self.cut_in_two || self.plan.width.is_some_and(uneven) {
            let text = shortened(row);
            self.mark(Event::Extra { fields: self.last_filled, text });
            return;
        }
        let short = self.plan.by_field.len() > fields;
        if short {
            self.mark(Event::Short { fields });
        }
        let texts = std::mem::take(&mut self.texts);
        for (channel, range) in &texts {
            self.out.text_cells[*channel] += 1;
            let cell = &row[range.start - start..range.end - start];
            self.mark(Event::TextCell { channel: *channel, text: shortened(cell) });
        }
        self.texts = texts;
        for (column, value) in self.out.columns.iter_mut().zip(&self.values) {
            column.push(*value);
        }
        self.out.lines.push(self.out.line_count);
    }

    /// Whether the row is text, the header again or a statistic; it is then kept as an event.
    fn is_no_row(&mut self, row: &[u8], start: usize, fields: usize) -> bool {
        let listed = self.plan.channels.len();
        let width = self.plan.width.unwrap_or(self.plan.by_field.len());
        if self.numbers == 0 {
            let texts = self.plan.splitter.texts(strip_comment(row));
            if !self.plan.header.is_empty() && same_header(&texts, &self.plan.header) {
                self.mark(Event::Header);
                return true;
            }
            if !self.plan.units.is_empty() && same_header(&texts, &self.plan.units) {
                return true;
            }
            if self.texts.is_empty() && self.missing > 0 && (fields > 1 || width == 1) {
                return false;
            }
            let event = self.statistic(row).unwrap_or_else(|| Event::Line { text: shortened(row) });
            self.mark(event);
            return true;
        }
        if let Some(event) = self.statistic(row) {
            self.mark(event);
            return true;
        }
        let _ = start;
        let comment = matches!(row.first(), Some(b'#'));
        let lone = fields == 1 && width > 1;
        let sparse =
            !self.texts.is_empty() && self.numbers <= self.texts.len() && self.last_filled * 2 <= listed;
        if comment || lone || sparse {
            self.mark(Event::Line { text: shortened(row) });
            return true;
        }
        false
    }

    fn statistic(&self, row: &[u8]) -> Option<Event> {
        let texts = self.plan.splitter.texts(row);
        let word = statistic_word(texts.iter().find(|t| !t.is_empty())?)?;
        let mut values = vec![None; self.plan.channels.len()];
        // The label may stand in front of the first column instead of in it.
        let filled = texts.iter().rposition(|text| !text.is_empty()).map_or(0, |last| last + 1);
        let shift = usize::from(self.plan.width.is_some_and(|width| filled == width + 1));
        for (field, text) in texts.iter().skip(shift).enumerate() {
            let Some(channel) = self.plan.by_field.get(field).copied().flatten() else {
                continue;
            };
            if self.plan.channels[channel].time.is_some() {
                continue;
            }
            let Some(value) = self.plan.marks.number(text.as_bytes()) else {
                continue;
            };
            let decimals =
                text.rsplit_once(['.', ',']).map_or(0, |(_, d)| u32::try_from(d.len()).unwrap_or(0));
            values[channel] = Some((value * self.plan.channels[channel].factor.unwrap_or(1.0), decimals));
        }
        Some(Event::Statistic { word, text: shortened(row), values })
    }
}

/// Cuts a comment mark off the front of a line.
pub(super) fn strip_comment(row: &[u8]) -> &[u8] {
    let cut = trim(row);
    for mark in [b"#".as_slice(), b"%", b"//"] {
        if let Some(rest) = cut.strip_prefix(mark) {
            return trim(rest);
        }
    }
    row
}

fn same_header(texts: &[String], header: &[String]) -> bool {
    let filled = |list: &[String]| list.iter().rposition(|t| !t.is_empty()).map_or(0, |n| n + 1);
    texts[..filled(texts)] == header[..filled(header)]
}

/// A line's text, cut where it is long.
pub(super) fn shortened(row: &[u8]) -> String {
    let text = String::from_utf8_lossy(row);
    let text = text.trim();
    match text.char_indices().nth(KEPT_CHARACTERS) {
        None => text.to_owned(),
        Some((at, _)) => format!("{}…", &text[..at]),
    }
}
