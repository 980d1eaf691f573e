//! Cells of a workbook or Parquet file as tab-parted text, so that one reader decides what a row is.
//!
//! Numbers are written in the shortest form that reads back to the same bits, so nothing is lost on the way.

use std::io::Read;

use crate::raw::error::RawError;
use crate::record::columns::Columns;
use crate::record::columns::Delimiter;
use crate::record::columns::Encoding;
use crate::record::columns::FileFormat;

/// Makes rows of text one by one.
pub(super) trait RowSource {
    /// Appends the next row with its line ending; false once there is none.
    fn next_row(&mut self, out: &mut Vec<u8>) -> Result<bool, String>;
}

/// The rows of a source as a stream of bytes.
pub(super) struct RowText<S> {
    source: S,
    text: Vec<u8>,
    at: usize,
    ended: bool,
}

impl<S: RowSource> RowText<S> {
    pub(super) fn new(source: S) -> Self {
        Self { source, text: Vec::new(), at: 0, ended: false }
    }
}

impl<S: RowSource> Read for RowText<S> {
    fn read(&mut self, buffer: &mut [u8]) -> std::io::Result<usize> {
        if self.at == self.text.len() {
            self.text.clear();
            self.at = 0;
            while !self.ended && self.text.len() < 64 << 10 {
                let more = self.source.next_row(&mut self.text).map_err(std::io::Error::other)?;
                self.ended = !more;
            }
        }
        let count = (self.text.len() - self.at).min(buffer.len());
        buffer[..count].copy_from_slice(&self.text[self.at..self.at + count]);
        self.at += count;
        Ok(count)
    }
}

/// Writes one cell of text, quoted where it must be.
pub(super) fn write_text(out: &mut Vec<u8>, text: &str) {
    let plain = text.replace(['\t', '\n', '\r'], " ");
    if plain.contains('"') {
        out.push(b'"');
        out.extend_from_slice(plain.replace('"', "\"\"").as_bytes());
        out.push(b'"');
    } else {
        out.extend_from_slice(plain.as_bytes());
    }
}

/// Writes a number so that it reads back to the same bits; one that is not finite is no value.
pub(super) fn write_number(out: &mut Vec<u8>, value: f64) {
    if value.is_finite() {
        out.extend_from_slice(value.to_string().as_bytes());
    } else {
        out.extend_from_slice(b"NaN");
    }
}

/// The record under which the text of such a file is read.
pub(super) fn as_text(columns: &Columns) -> Columns {
    let mut columns = columns.clone();
    columns.layout.format = FileFormat::Delimited;
    columns.layout.encoding = Encoding::Utf8;
    columns.layout.delimiter = Delimiter::Tab;
    columns
}

/// Runs a decoder that other people wrote on bytes that anyone may have made: should it panic, the file is refused.
pub(super) fn guarded<T>(
    format: &'static str,
    decode: impl FnOnce() -> Result<T, RawError>,
) -> Result<T, RawError> {
    std::panic::catch_unwind(std::panic::AssertUnwindSafe(decode))
        .unwrap_or_else(|_| Err(RawError::Decoder { format, because: "its decoder gave up".to_owned() }))
}

/// Reads a file to its end, or only beyond `limit` far enough to know it.
pub(super) fn read_whole(input: &mut dyn Read, limit: u64) -> std::io::Result<Option<Vec<u8>>> {
    let mut bytes = Vec::new();
    input.take(limit + 1).read_to_end(&mut bytes)?;
    Ok((bytes.len() as u64 <= limit).then_some(bytes))
}
