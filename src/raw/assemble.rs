//! Blocks in the file's order to segments, batches, channel summaries and doubts.

use std::ops::Range;

use crate::finding::Finding;
use crate::finding::Place;
use crate::raw::block::{Event, Mark, Parsed, Plan};
use crate::raw::checks::Checks;
use crate::raw::error::RawError;
use crate::raw::guess::PreambleLine;
use crate::raw::midnight::Midnight;
use crate::raw::preamble::preamble_line;
use crate::raw::restart;
use crate::raw::statistics::Running;
use crate::raw::summary::{Batch, ChannelSummary, Segment, Summary};
use crate::record::channel::ChannelQuantity;
use crate::record::columns::Column;
use crate::record::columns::Columns;
use crate::record::columns::SegmentRule;

/// Doubts of one kind that are spelled out; the rest are counted in one more.
const SPELLED_OUT: usize = 5;

/// Lines of text between and below the rows that are kept.
const KEPT_LINES: usize = 1_000;

/// How much is made of what is read.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Depth {
    /// Numbers, summaries of the channels and doubts; text is read on threads of its own.
    Whole,
    /// The numbers alone, read on the calling thread.
    Numbers,
}

/// Gathers what the blocks hold.
pub(super) struct Assembler<'a> {
    columns: &'a [Column],
    rule: &'a SegmentRule,
    /// The channel that parts segments: time, or the one that the rule names.
    parting: Option<usize>,
    time: Option<usize>,
    speed: Option<usize>,
    preamble: Vec<PreambleLine>,
    /// Lines of text since the last row.
    waiting: Vec<PreambleLine>,
    footer: Vec<PreambleLine>,
    /// Lines before the block at hand.
    line: u64,
    /// Whether something stood since the last row at which the rule parts.
    parted: bool,
    segments: Vec<Segment>,
    /// The channels in the segment at hand, and over the whole file up to it.
    here: Vec<Running>,
    before: Vec<Running>,
    last_parting: f64,
    start_time: f64,
    midnight: Midnight,
    /// None where the numbers alone are wanted: then channels are not summed up either.
    checks: Option<Checks>,
    doubts: Vec<Finding>,
    counts: Counts,
    time_zero: Option<String>,
    lines: Vec<u64>,
}

/// How often each kind of trouble came up.
#[derive(Default)]
struct Counts {
    text_cells: Vec<u64>,
    short: u64,
    extra: u64,
    between: u64,
}

impl<'a> Assembler<'a> {
    pub(super) fn new(
        columns: &'a Columns,
        plan: &Plan,
        preamble: Vec<PreambleLine>,
        line: u64,
        depth: Depth,
    ) -> Self {
        let channels = plan.channels.len();
        let of = |quantity| columns.channels.iter().position(|c| c.quantity == quantity);
        let time = of(ChannelQuantity::Time);
        let parting = match &columns.layout.segments {
            SegmentRule::TimeRestarts => time,
            SegmentRule::Channel(name) => columns.channels.iter().position(|c| c.name == *name),
            _ => None,
        };
        Self {
            columns: &columns.channels,
            rule: &columns.layout.segments,
            parting,
            time,
            speed: of(ChannelQuantity::Speed),
            preamble,
            waiting: Vec::new(),
            footer: Vec::new(),
            line,
            parted: false,
            segments: Vec::new(),
            here: vec![Running::default(); channels],
            before: vec![Running::default(); channels],
            last_parting: f64::NAN,
            start_time: f64::NAN,
            midnight: Midnight::new(&columns.channels),
            checks: (depth == Depth::Whole).then(|| Checks::new(&columns.channels)),
            doubts: Vec::new(),
            counts: Counts { text_cells: vec![0; channels], ..Counts::default() },
            time_zero: None,
            lines: Vec::new(),
        }
    }

    /// Takes the next block.
    pub(super) fn take(&mut self, parsed: &mut Parsed, sink: &mut dyn FnMut(&Batch<'_>)) {
        self.midnight.pass(parsed, self.line + 1);
        let parsed = &*parsed;
        let mut row = 0;
        for mark in &parsed.marks {
            if !matches!(mark.event, Event::TextCell { .. } | Event::Short { .. }) {
                self.rows(parsed, row..mark.row, sink);
                row = mark.row;
            }
            self.event(mark);
        }
        self.rows(parsed, row..parsed.lines.len(), sink);
        for (total, more) in self.counts.text_cells.iter_mut().zip(&parsed.text_cells) {
            *total += more;
        }
        if self.time_zero.is_none() {
            self.time_zero = self.time.and_then(|t| parsed.first_times[t].clone());
        }
        self.line += u64::from(parsed.line_count);
    }

    fn event(&mut self, mark: &Mark) {
        let line = self.line + u64::from(mark.line) + 1;
        let parts = match &mark.event {
            Event::Blank => *self.rule == SegmentRule::BlankLine,
            Event::Header => *self.rule == SegmentRule::HeaderRepeats,
            Event::Line { text } => {
                if self.waiting.len() < KEPT_LINES {
                    self.waiting.push(preamble_line(line, text));
                }
                *self.rule == SegmentRule::TextLine
            }
            Event::Statistic { word, text, values } => {
                self.statistic(line, word, values);
                if self.footer.len() < KEPT_LINES {
                    self.footer.push(preamble_line(line, text));
                }
                false
            }
            Event::TextCell { channel, text } => {
                if self.spell_out("text-in-number", self.columns[*channel].name.as_str()) {
                    let name = &self.columns[*channel].name;
                    self.doubts.push(
                        Finding::doubt(
                            "text-in-number",
                            format!("text stands where {name} has numbers; read as missing"),
                        )
                        .at(Place::default().line(usize_of(line)).field(name.as_str()))
                        .found(format!("{text:?}"))
                        .next("add the word to missing: in the columns record if it stands for no value"),
                    );
                }
                false
            }
            Event::Short { fields } => {
                self.counts.short += 1;
                if self.counts.short <= SPELLED_OUT as u64 {
                    let message = "the row ends before the last column that is read; what lacks is missing";
                    self.doubts.push(
                        Finding::doubt("short-row", message)
                            .at(Place::default().line(usize_of(line)))
                            .found(format!("{fields} fields")),
                    );
                }
                false
            }
            Event::Extra { fields, text } => {
                self.counts.extra += 1;
                if self.counts.extra <= SPELLED_OUT as u64 {
                    let message = format!(
                        "the row has {fields} fields, which the table's columns do not fit; it is not read"
                    );
                    self.doubts.push(
                        Finding::doubt("uneven-row", message)
                            .at(Place::default().line(usize_of(line)))
                            .found(format!("{text:?}"))
                            .next("look for a delimiter inside a number or an unquoted text"),
                    );
                }
                false
            }
        };
        self.parted |= parts;
    }

    fn spell_out(&self, code: &str, field: &str) -> bool {
        let same = |f: &&Finding| {
            f.code == code
                && f.place.as_ref().and_then(|p| p.field.as_deref()).is_some_and(|name| name == field)
        };
        self.doubts.iter().filter(same).count() < SPELLED_OUT
    }

    fn rows(&mut self, parsed: &Parsed, rows: Range<usize>, sink: &mut dyn FnMut(&Batch<'_>)) {
        if rows.is_empty() {
            return;
        }
        if self.segments.is_empty() || self.parted {
            self.begin_segment();
        } else if !self.waiting.is_empty() {
            self.lines_between();
        }
        self.parted = false;
        let mut from = rows.start;
        if let Some(parting) = self.parting {
            for row in rows.clone() {
                let value = parsed.columns[parting][row];
                if value.is_nan() {
                    continue;
                }
                let breaks = if *self.rule == SegmentRule::TimeRestarts {
                    value < self.last_parting
                        && self.last_parting - value > restart::SHARE * (self.last_parting - self.start_time)
                } else {
                    !self.last_parting.is_nan() && value.to_bits() != self.last_parting.to_bits()
                };
                if breaks {
                    self.emit(parsed, from..row, sink);
                    if self.segments.last().is_some_and(|s| s.rows > 0) {
                        self.begin_segment();
                    }
                    from = row;
                }
                if self.start_time.is_nan() {
                    self.start_time = value;
                }
                self.last_parting = value;
            }
        }
        self.emit(parsed, from..rows.end, sink);
    }

    fn begin_segment(&mut self) {
        self.close_segment();
        self.last_parting = f64::NAN;
        self.start_time = f64::NAN;
        if let Some(checks) = &mut self.checks {
            checks.begin_segment();
        }
        self.segments.push(Segment {
            number: self.segments.len() + 1,
            first_line: 0,
            last_line: 0,
            rows: 0,
            time: None,
            speed: None,
            heading: std::mem::take(&mut self.waiting),
        });
    }

    fn close_segment(&mut self) {
        if let Some(segment) = self.segments.last_mut() {
            segment.time = self.time.and_then(|t| self.here[t].range());
            segment.speed = self.speed.and_then(|s| self.here[s].range());
        }
        for (before, here) in self.before.iter_mut().zip(&mut self.here) {
            before.join(here);
            *here = Running::default();
        }
    }

    fn lines_between(&mut self) {
        for line in std::mem::take(&mut self.waiting) {
            self.counts.between += 1;
            if self.counts.between <= SPELLED_OUT as u64 {
                let text =
                    if line.key.is_empty() { line.value } else { format!("{}: {}", line.key, line.value) };
                self.doubts.push(
                    Finding::doubt("line-not-read", "a line between the rows holds no row and is not read")
                        .at(Place::default().line(usize_of(line.line)))
                        .found(format!("{text:?}")),
                );
            }
        }
    }

    fn emit(&mut self, parsed: &Parsed, rows: Range<usize>, sink: &mut dyn FnMut(&Batch<'_>)) {
        if rows.is_empty() {
            return;
        }
        self.lines.clear();
        let base = self.line + 1;
        self.lines.extend(parsed.lines[rows.clone()].iter().map(|offset| base + u64::from(*offset)));
        let columns: Vec<&[f64]> = parsed.columns.iter().map(|c| &c[rows.clone()]).collect();
        if self.checks.is_some() {
            for (running, values) in self.here.iter_mut().zip(&columns) {
                running.add(values, &self.lines);
            }
        }
        if let Some(segment) = self.segments.last_mut() {
            if segment.rows == 0 {
                segment.first_line = self.lines.first().copied().unwrap_or(0);
            }
            segment.last_line = self.lines.last().copied().unwrap_or(0);
            segment.rows += self.lines.len() as u64;
        }
        let batch = Batch { segment: self.segments.len(), lines: &self.lines, columns: &columns };
        if let Some(checks) = &mut self.checks {
            checks.rows(&batch);
        }
        sink(&batch);
    }

    /// Holds a row of means, least or greatest values against the rows above it.
    fn statistic(&mut self, line: u64, word: &str, values: &[Option<(f64, u32)>]) {
        for (channel, stated) in values.iter().enumerate() {
            let Some((stated, decimals)) = *stated else {
                continue;
            };
            let mut whole = self.before[channel].clone();
            whole.join(&self.here[channel]);
            let of = |running: &Running| match word {
                "mean" => running.mean(),
                "max" => running.range().map(|r| r.1),
                "min" => running.range().map(|r| r.0),
                _ => None,
            };
            let Some(here) = of(&self.here[channel]) else {
                continue;
            };
            // One unit of the last digit, because equipment cuts as often as it rounds, and its mean is of unrounded
            // numbers.
            let tolerance = 1.01 * libm::pow(10.0, -f64::from(decimals)) + 1e-9 * here.abs();
            let near = |value: f64| (value - stated).abs() <= tolerance;
            if near(here) || of(&whole).is_some_and(near) {
                continue;
            }
            let name = &self.columns[channel].name;
            self.doubts.push(
                Finding::doubt(
                    "statistic-disagrees",
                    format!("the file's own {word} of {name} is not that of its rows"),
                )
                .at(Place::default().line(usize_of(line)).field(name.as_str()))
                .found(stated.to_string())
                .expected(format!("{here:.*}", decimals as usize + 1))
                .next("see whether rows are missing or a number was copied wrongly"),
            );
        }
    }

    /// Closes the last segment and sums up.
    pub(super) fn finish(mut self) -> Result<Summary, RawError> {
        self.close_segment();
        let rows: u64 = self.segments.iter().map(|s| s.rows).sum();
        if rows == 0 {
            let because = match self.waiting.first() {
                Some(line) => {
                    format!("no row of numbers stands in it; line {} holds {:?}", line.line, line.value)
                }
                None if self.counts.extra > 0 => {
                    "every row has another number of fields than the header".to_owned()
                }
                None => "no row stands below the header".to_owned(),
            };
            return Err(RawError::NoTable { because });
        }
        self.footer.append(&mut self.waiting);
        self.footer.sort_by_key(|line| line.line);
        self.counted();
        let channels: Vec<ChannelSummary> = self
            .columns
            .iter()
            .zip(&self.before)
            .map(|(column, running)| channel_summary(column, running))
            .collect();
        let first_row = self.segments.first().map_or(1, |segment| segment.first_line);
        let mut doubts = self.doubts;
        doubts.extend(self.midnight.note(self.columns));
        let mut restarts = false;
        if let Some(checks) = self.checks {
            restarts = *self.rule == SegmentRule::Off && checks.time_restarts();
            doubts.extend(checks.finish(self.columns, &self.before, first_row));
        }
        Ok(Summary {
            rows,
            segments: self.segments,
            channels,
            doubts,
            preamble: self.preamble,
            footer: self.footer,
            time_zero: self.time_zero,
            restarts,
        })
    }

    /// Says how many doubts of a kind there are beyond those spelled out.
    fn counted(&mut self) {
        let mut more = Vec::new();
        for (column, total) in self.columns.iter().zip(&self.counts.text_cells) {
            if *total > SPELLED_OUT as u64 {
                more.push(("text-in-number", *total, "cells of text", Some(column.name.clone())));
            }
        }
        let rest = [
            ("short-row", self.counts.short, "rows that end early"),
            ("uneven-row", self.counts.extra, "rows of another number of fields"),
            ("line-not-read", self.counts.between, "lines between the rows"),
        ];
        more.extend(rest.into_iter().filter(|r| r.1 > SPELLED_OUT as u64).map(|(c, n, w)| (c, n, w, None)));
        for (code, total, what, field) in more {
            let place = Place { field, ..Place::default() };
            self.doubts.push(
                Finding::doubt(code, format!("{total} {what} in all; the first {SPELLED_OUT} are named"))
                    .at(place),
            );
        }
    }
}

fn channel_summary(column: &Column, running: &Running) -> ChannelSummary {
    let range = running.range();
    ChannelSummary {
        name: column.name.clone(),
        quantity: column.quantity,
        unit: column.unit.clone(),
        count: running.count,
        missing: running.missing,
        min: range.map(|r| r.0),
        max: range.map(|r| r.1),
        mean: running.mean(),
        first: running.first,
        last: running.last,
    }
}

fn usize_of(line: u64) -> usize {
    usize::try_from(line).unwrap_or(usize::MAX)
}
