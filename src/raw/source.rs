//! The text of a file, row by row or in blocks of whole rows.

use std::io::Read;

use memchr::{memchr, memrchr};

use crate::raw::error::RawError;
use crate::raw::split::{LONGEST_ROW, RowEnd, Splitter, line_end};
use crate::raw::text::TextStream;
use crate::record::columns::Layout;

/// Bytes fetched at a time.
const BLOCK: usize = 512 << 10;

/// The text that is still to be read, and where it stands.
pub(super) struct Source<'a> {
    stream: TextStream<'a>,
    pub(super) splitter: Splitter,
    pending: Vec<u8>,
    /// Lines taken so far.
    pub(super) line: u64,
}

impl<'a> Source<'a> {
    pub(super) fn new(input: &'a mut dyn Read, layout: &Layout) -> Self {
        Self {
            stream: TextStream::new(input, layout.encoding),
            splitter: Splitter::new(layout),
            pending: Vec::new(),
            line: 0,
        }
    }

    /// Whether everything has been fetched.
    pub(super) fn ended(&self) -> bool {
        self.stream.ended()
    }

    /// Takes the next row whole; `None` at the end.
    pub(super) fn take_row(&mut self) -> Result<Option<Vec<u8>>, RawError> {
        loop {
            let row = self.splitter.row_end(&self.pending, 0);
            // A row is sure only once the byte after its end is known: CR may be half of CR LF.
            let sure = row.filter(|r| (r.closed && r.next < self.pending.len()) || self.stream.ended());
            if let Some(row) = sure {
                if row.next == 0 {
                    return Ok(None);
                }
                return Ok(Some(self.cut_row(row)));
            }
            if row.is_none() && (self.stream.ended() || self.pending.len() > LONGEST_ROW) {
                return Err(RawError::QuoteOpen { line: self.line + 1 });
            }
            if self.pending.len() > LONGEST_ROW {
                return Err(RawError::LineTooLong { line: self.line + 1, limit: LONGEST_ROW });
            }
            self.stream.fill(&mut self.pending, BLOCK)?;
        }
    }

    fn cut_row(&mut self, row: RowEnd) -> Vec<u8> {
        let text = self.pending[..row.end].to_vec();
        self.pending.drain(..row.next);
        self.line += row.lines as u64;
        text
    }

    /// The first row that holds anything, without taking it.
    pub(super) fn first_row(&mut self) -> Result<Option<Vec<u8>>, RawError> {
        loop {
            let mut at = 0;
            while let Some(row) = self.splitter.row_end(&self.pending, at) {
                if !row.closed && !self.stream.ended() {
                    break;
                }
                let text = &self.pending[at..row.end];
                let mut fields = Vec::new();
                self.splitter.fields(text, &mut fields);
                if fields.iter().any(|f| !f.is_empty()) {
                    return Ok(Some(text.to_vec()));
                }
                if row.next >= self.pending.len() {
                    break;
                }
                at = row.next;
            }
            if self.stream.ended() {
                return Ok(None);
            }
            if self.pending.len() > 2 * LONGEST_ROW {
                return Err(RawError::LineTooLong { line: self.line + 1, limit: LONGEST_ROW });
            }
            self.stream.fill(&mut self.pending, BLOCK)?;
        }
    }

    /// Moves whole rows into `block`; false once nothing is left.
    pub(super) fn next_block(&mut self, block: &mut Vec<u8>) -> Result<bool, RawError> {
        block.clear();
        loop {
            self.stream.fill(&mut self.pending, BLOCK)?;
            if self.stream.ended() {
                if self.splitter.quotes()
                    && memchr(b'"', &self.pending).is_some()
                    && self.quoted_cut() < self.pending.len()
                {
                    return Err(self.quote_open());
                }
                std::mem::swap(block, &mut self.pending);
                self.pending.clear();
                return Ok(!block.is_empty());
            }
            let cut = self.cut();
            if cut > 0 {
                let rest = self.pending.split_off(cut);
                std::mem::swap(block, &mut self.pending);
                self.pending = rest;
                return Ok(true);
            }
            if self.pending.len() > LONGEST_ROW + BLOCK {
                if self.splitter.row_end(&self.pending, 0).is_none() {
                    return Err(self.quote_open());
                }
                return Err(RawError::LineTooLong { line: self.line + 1, limit: LONGEST_ROW });
            }
        }
    }

    /// One past the last byte that surely ends a row.
    fn cut(&self) -> usize {
        let text = &self.pending;
        if self.splitter.quotes() && memchr(b'"', text).is_some() {
            return self.quoted_cut();
        }
        if let Some(at) = memrchr(b'\n', text) {
            return at + 1;
        }
        // A CR at the very end may be half of CR LF.
        let sure = text.len().saturating_sub(1);
        memrchr(b'\r', &text[..sure]).map_or(0, |at| at + 1)
    }

    fn quoted_cut(&self) -> usize {
        let mut at = 0;
        while at < self.pending.len() {
            match self.splitter.row_end(&self.pending, at) {
                Some(row) if row.closed && (row.next < self.pending.len() || self.stream.ended()) => {
                    at = row.next
                }
                Some(row) if self.stream.ended() => at = row.next,
                _ => break,
            }
        }
        at
    }

    /// The error for a quote that never closes. Its line counts from the last block that is done; see `later_by`.
    fn quote_open(&self) -> RawError {
        let cut = self.quoted_cut();
        let mut line = self.line + 1;
        let mut at = 0;
        while at < cut {
            at = line_end(&self.pending, at).next;
            line += 1;
        }
        RawError::QuoteOpen { line }
    }
}
