//! Lines to fields: where a row ends and where its fields lie.

use std::borrow::Cow;
use std::ops::Range;

use memchr::{memchr, memchr2};

use crate::raw::number::trim;
use crate::record::columns::Delimiter;
use crate::record::columns::FileFormat;
use crate::record::columns::Layout;
use crate::record::columns::Quote;

/// The longest row read, in bytes; also the longest quoted field.
pub(super) const LONGEST_ROW: usize = 1 << 20;

/// How a row is parted into fields.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) enum Splitter {
    /// By one byte.
    Byte { delimiter: u8, quotes: bool },
    /// By any run of spaces and tabs.
    Spaces { quotes: bool },
    /// At character columns, counted from 0.
    Fixed(Vec<usize>),
}

/// Where a row ends.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct RowEnd {
    /// One past the row's last byte, line ending not counted.
    pub(super) end: usize,
    /// The first byte of the next row.
    pub(super) next: usize,
    /// How many lines the row takes.
    pub(super) lines: usize,
    /// Whether a line ending was seen; the last row of a file may lack one.
    pub(super) closed: bool,
}

impl Splitter {
    pub(super) fn new(layout: &Layout) -> Self {
        let quotes = layout.quote == Quote::Double;
        if layout.format == FileFormat::FixedWidth {
            return Self::Fixed(layout.starts.clone());
        }
        match layout.delimiter {
            Delimiter::Spaces => Self::Spaces { quotes },
            other => Self::Byte { delimiter: delimiter_byte(other), quotes },
        }
    }

    pub(super) fn quotes(&self) -> bool {
        matches!(self, Self::Byte { quotes: true, .. } | Self::Spaces { quotes: true })
    }

    fn parts(&self, byte: u8) -> bool {
        match self {
            Self::Byte { delimiter, .. } => byte == *delimiter,
            Self::Spaces { .. } => matches!(byte, b' ' | b'\t'),
            Self::Fixed(_) => false,
        }
    }

    /// Where the row that starts at `from` ends; `None` where a quoted field runs past the text.
    pub(super) fn row_end(&self, text: &[u8], from: usize) -> Option<RowEnd> {
        let first = line_end(text, from);
        if !self.quotes() || memchr(b'"', &text[from..first.end]).is_none() {
            return Some(first);
        }
        let mut at = from;
        let mut fresh = true;
        let mut lines = 1;
        loop {
            match text.get(at) {
                None => {
                    return Some(RowEnd { end: at, next: at, lines, closed: false });
                }
                Some(b'\n' | b'\r') => {
                    let end = line_end(text, at);
                    return Some(RowEnd { lines, ..end });
                }
                Some(b'"') if fresh => {
                    let close = self.closing_quote(text, at + 1)?;
                    lines += count_lines(&text[at..close]);
                    at = close + 1;
                    fresh = false;
                }
                Some(byte) if self.parts(*byte) => {
                    fresh = true;
                    at += 1;
                }
                // Spaces in front of a quote do not count.
                Some(b' ') => at += 1,
                Some(_) => {
                    fresh = false;
                    at += 1;
                }
            }
        }
    }

    /// The quote that closes a field opened before `from`: one that a delimiter, a line ending or nothing follows.
    fn closing_quote(&self, text: &[u8], from: usize) -> Option<usize> {
        let mut at = from;
        loop {
            at += memchr(b'"', text.get(at..)?)?;
            if text.get(at + 1) == Some(&b'"') {
                at += 2;
                continue;
            }
            let after = text[at + 1..].iter().find(|b| **b != b' ' || self.parts(b' '));
            match after {
                None | Some(b'\n' | b'\r') => return Some(at),
                Some(byte) if self.parts(*byte) => return Some(at),
                Some(_) => at += 1,
            }
        }
    }

    /// The fields of one row, without their quotes and outer spaces.
    pub(super) fn fields(&self, row: &[u8], out: &mut Vec<Range<usize>>) {
        out.clear();
        match self {
            Self::Fixed(starts) => fixed_fields(row, starts, out),
            Self::Spaces { quotes } => {
                let mut at = skip_spaces(row, 0);
                while at < row.len() {
                    if *quotes
                        && row[at] == b'"'
                        && let Some(close) = self.closing_quote(row, at + 1)
                    {
                        out.push(at + 1..close);
                        at = skip_spaces(row, close + 1);
                        continue;
                    }
                    let end = memchr2(b' ', b'\t', &row[at..]).map_or(row.len(), |n| at + n);
                    out.push(at..end);
                    at = skip_spaces(row, end);
                }
            }
            Self::Byte { delimiter, quotes } => {
                let mut at = 0;
                loop {
                    let start = skip_blanks(row, at);
                    let quoted = (*quotes && row.get(start) == Some(&b'"'))
                        .then(|| self.closing_quote(row, start + 1))
                        .flatten();
                    let from = quoted.map_or(at, |close| close + 1);
                    let end = memchr(*delimiter, &row[from..]).map(|n| from + n);
                    out.push(match quoted {
                        Some(close) => start + 1..close,
                        None => trimmed(row, at..end.unwrap_or(row.len())),
                    });
                    match end {
                        Some(end) => at = end + 1,
                        None => break,
                    }
                }
            }
        }
    }

    /// Whether, in fixed columns, something runs across the edge of two fields.
    pub(super) fn straddles(&self, row: &[u8]) -> bool {
        let Self::Fixed(starts) = self else {
            return false;
        };
        let text = String::from_utf8_lossy(row);
        let held: Vec<bool> = text.chars().map(|c| !c.is_whitespace()).collect();
        let at = |column: usize| held.get(column).copied().unwrap_or(false);
        starts.iter().skip(1).any(|start| at(*start) && start.checked_sub(1).is_some_and(at))
    }

    /// The fields of one row as text.
    pub(super) fn texts(&self, row: &[u8]) -> Vec<String> {
        let mut ranges = Vec::new();
        self.fields(row, &mut ranges);
        ranges.into_iter().map(|range| field_text(&row[range]).into_owned()).collect()
    }
}

/// A field's text: doubled quotes made single, runs of blanks made one space.
pub(super) fn field_text(field: &[u8]) -> Cow<'_, str> {
    // Most fields are one plain word, or a number.
    if field.iter().all(|b| b.is_ascii_graphic() && *b != b'"') {
        return String::from_utf8_lossy(field);
    }
    let text = String::from_utf8_lossy(field).replace("\"\"", "\"");
    Cow::Owned(text.split_whitespace().collect::<Vec<_>>().join(" "))
}

/// The byte of a delimiter that is one.
pub(super) fn delimiter_byte(delimiter: Delimiter) -> u8 {
    match delimiter {
        Delimiter::Semicolon => b';',
        Delimiter::Tab => b'\t',
        Delimiter::Pipe => b'|',
        Delimiter::Spaces => b' ',
        _ => b',',
    }
}

/// The end of the line that `from` lies in: LF, CR or CR LF.
pub(super) fn line_end(text: &[u8], from: usize) -> RowEnd {
    match memchr2(b'\n', b'\r', &text[from..]) {
        None => RowEnd { end: text.len(), next: text.len(), lines: 1, closed: false },
        Some(offset) => {
            let end = from + offset;
            let pair = text[end] == b'\r' && text.get(end + 1) == Some(&b'\n');
            RowEnd { end, next: end + if pair { 2 } else { 1 }, lines: 1, closed: true }
        }
    }
}

fn count_lines(text: &[u8]) -> usize {
    let mut at = 0;
    let mut lines = 0;
    loop {
        let end = line_end(text, at);
        if !end.closed {
            return lines;
        }
        lines += 1;
        at = end.next;
    }
}

fn skip_spaces(row: &[u8], mut at: usize) -> usize {
    while matches!(row.get(at), Some(b' ' | b'\t')) {
        at += 1;
    }
    at
}

fn skip_blanks(row: &[u8], mut at: usize) -> usize {
    while row.get(at) == Some(&b' ') {
        at += 1;
    }
    at
}

fn trimmed(row: &[u8], range: Range<usize>) -> Range<usize> {
    let field = &row[range.clone()];
    let cut = trim(field);
    // `trim` gives a part of `field`, so the difference of the addresses is its offset.
    let offset = cut.as_ptr() as usize - field.as_ptr() as usize;
    range.start + offset..range.start + offset + cut.len()
}

fn fixed_fields(row: &[u8], starts: &[usize], out: &mut Vec<Range<usize>>) {
    let bytes: Vec<usize> = match std::str::from_utf8(row) {
        Ok(text) if !row.is_ascii() => text.char_indices().map(|(at, _)| at).collect(),
        _ => Vec::new(),
    };
    let byte_of = |column: usize| {
        if bytes.is_empty() { column.min(row.len()) } else { bytes.get(column).copied().unwrap_or(row.len()) }
    };
    for (index, start) in starts.iter().enumerate() {
        let from = byte_of(*start);
        let to = starts.get(index + 1).map_or(row.len(), |next| byte_of(*next));
        out.push(trimmed(row, from..to.max(from)));
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn comma() -> Splitter {
        Splitter::Byte { delimiter: b',', quotes: true }
    }

    #[test]
    fn quotes_hold_delimiters_and_line_endings() {
        let text = b"\"a, \"\"b\"\"\nc\" , 2,\"\"\r\nnext";
        let row = comma().row_end(text, 0).unwrap();
        assert_eq!(&text[row.next..], b"next");
        assert_eq!(row.lines, 2);
        assert_eq!(comma().texts(&text[..row.end]), ["a, \"b\" c", "2", ""]);
        assert_eq!(comma().row_end(b"\"open,1\n2,3\n", 0), None);
    }

    #[test]
    fn a_quote_inside_a_field_is_text() {
        assert_eq!(comma().texts(b"Baro (\"Hg),4\" pipe"), ["Baro (\"Hg)", "4\" pipe"]);
        assert_eq!(comma().row_end(b"Baro (\"Hg),1\nx", 0).map(|r| r.next), Some(13));
    }

    #[test]
    fn spaces_and_fixed_columns() {
        let spaces = Splitter::Spaces { quotes: true };
        assert_eq!(spaces.texts(b"  1000   12.5\t\"no load\" "), ["1000", "12.5", "no load"]);
        let fixed = Splitter::Fixed(vec![0, 5, 10]);
        assert_eq!(fixed.texts("1000 12.5   9".as_bytes()), ["1000", "12.5", "9"]);
        assert_eq!(fixed.texts("1000      9".as_bytes()), ["1000", "", "9"]);
        assert_eq!(fixed.texts("°C   °F".as_bytes()), ["°C", "°F", ""]);
        assert_eq!(fixed.texts(b""), ["", "", ""]);
        assert!(!fixed.straddles(b"1000 12.5   9"));
        assert!(fixed.straddles(b"100012.5   9"));
    }

    #[test]
    fn all_line_endings() {
        let text = b"a\rb\nc\r\nd";
        let mut at = 0;
        let mut rows = Vec::new();
        while at < text.len() {
            let row = line_end(text, at);
            rows.push(&text[at..row.end]);
            at = row.next;
        }
        assert_eq!(rows, [b"a", b"b", b"c", b"d"]);
    }
}
