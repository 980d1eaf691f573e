//! A text table to batches of numbers, by a columns record, in bounded memory.
//!
//! One thread fetches, decodes, cuts blocks behind whole rows and gathers; two read the blocks.

use std::io::Read;
use std::sync::mpsc::{Receiver, SyncSender, sync_channel};

use crate::raw::assemble::{Assembler, Depth};
use crate::raw::block::{ChannelPlan, Parsed, Plan, parse_block, shortened, strip_comment};
use crate::raw::error::RawError;
use crate::raw::guess::PreambleLine;
use crate::raw::number::Marks;
use crate::raw::preamble::preamble_line;
use crate::raw::source::Source;
use crate::raw::split::Splitter;
use crate::raw::summary::{Batch, Summary};
use crate::record::columns::Column;
use crate::record::columns::Columns;
use crate::record::columns::Decimal;
use crate::record::columns::Delimiter;
use crate::record::columns::Skip;
use crate::record::columns::Thousands;
use crate::record::columns::TimeForm;

/// Lines above the table that are kept; of more, the first stay.
const KEPT_PREAMBLE: usize = 10_000;

/// Reads a delimited or fixed-width text table.
pub(super) fn read_text(
    input: &mut dyn Read,
    columns: &Columns,
    depth: Depth,
    sink: &mut dyn FnMut(&Batch<'_>),
) -> Result<Summary, RawError> {
    let mut source = Source::new(input, &columns.layout);
    let head = find_header(&mut source, columns)?;
    let mut plan = plan(columns, &head)?;
    if let Some(row) = source.first_row()? {
        if plan.width.is_none() {
            let mut fields = Vec::new();
            source.splitter.fields(&row, &mut fields);
            plan.width = Some(fields.len());
            check_width(&plan)?;
        }
        plan.gutters = !source.splitter.straddles(&row);
    }
    let bases = vec![None; plan.channels.len()];
    let assembler = Assembler::new(columns, &plan, head.preamble, source.line, depth);
    run(source, &plan, bases, assembler, depth, sink)
}

/// Moves the line that an error names by the lines of blocks that were still being read when it came up.
fn later_by(error: RawError, lines: u64) -> RawError {
    match error {
        RawError::QuoteOpen { line } => RawError::QuoteOpen { line: line + lines },
        RawError::LineTooLong { line, limit } => RawError::LineTooLong { line: line + lines, limit },
        other => other,
    }
}

/// What stands above the first row.
struct Head {
    preamble: Vec<PreambleLine>,
    /// Empty where the file has no header.
    header: Vec<String>,
    units: Vec<String>,
}

fn find_header(source: &mut Source<'_>, columns: &Columns) -> Result<Head, RawError> {
    let layout = &columns.layout;
    let mut head = Head { preamble: Vec::new(), header: Vec::new(), units: Vec::new() };
    let wanted: Vec<&str> = columns.channels.iter().filter_map(|c| c.header.as_deref()).collect();
    let mut window: Vec<(u64, Vec<u8>)> = Vec::new();
    let mut anything = false;
    match layout.skip {
        Skip::Lines(lines) => {
            while source.line < lines as u64 {
                let line = source.line + 1;
                match source.take_row()? {
                    Some(row) => keep_preamble(&mut head.preamble, line, &row),
                    None => break,
                }
            }
            while window.len() < layout.header_rows {
                let line = source.line + 1;
                let Some(row) = source.take_row()? else {
                    break;
                };
                if !is_blank(&row, &source.splitter) {
                    window.push((line, row));
                }
            }
            if source.line == 0 && source.first_row()?.is_none() {
                return Err(RawError::Empty);
            }
            head.header = joined_header(&window, &source.splitter, &wanted);
        }
        Skip::ToHeader => loop {
            let line = source.line + 1;
            let Some(row) = source.take_row()? else {
                let found = match head.preamble.first() {
                    None => "an empty file".to_owned(),
                    Some(first) => format!("{} lines, the first of them {:?}", source.line, first.value),
                };
                if !anything {
                    return Err(RawError::Empty);
                }
                let expected = wanted.join(", ");
                return Err(RawError::HeaderMissing { expected, found });
            };
            if is_blank(&row, &source.splitter) {
                continue;
            }
            anything = true;
            window.push((line, row));
            if window.len() > layout.header_rows {
                let (line, row) = window.remove(0);
                keep_preamble(&mut head.preamble, line, &row);
            }
            if window.len() == layout.header_rows {
                let header = joined_header(&window, &source.splitter, &wanted);
                if wanted.iter().all(|w| header.iter().any(|h| h == w)) {
                    head.header = header;
                    break;
                }
            }
        },
    }
    if layout.unit_row {
        while let Some(row) = source.take_row()? {
            if !is_blank(&row, &source.splitter) {
                head.units = source.splitter.texts(strip_comment(&row));
                break;
            }
        }
    }
    Ok(head)
}

fn keep_preamble(preamble: &mut Vec<PreambleLine>, line: u64, row: &[u8]) {
    if preamble.len() < KEPT_PREAMBLE && !row.iter().all(u8::is_ascii_whitespace) {
        preamble.push(preamble_line(line, &shortened(row)));
    }
}

fn is_blank(row: &[u8], splitter: &Splitter) -> bool {
    let mut fields = Vec::new();
    splitter.fields(row, &mut fields);
    fields.iter().all(std::ops::Range::is_empty)
}

/// The header's texts, its rows joined by a space; in text parted by spaces, two spaces part headers of several words.
pub(super) fn joined_header(window: &[(u64, Vec<u8>)], splitter: &Splitter, wanted: &[&str]) -> Vec<String> {
    let by_fields = join(window, |row| splitter.texts(row));
    let fits = |header: &[String]| wanted.iter().all(|w| header.iter().any(|h| h == w));
    if matches!(splitter, Splitter::Spaces { .. }) && !fits(&by_fields) {
        let by_gaps = join(window, gap_fields);
        if fits(&by_gaps) {
            return by_gaps;
        }
    }
    by_fields
}

fn join(window: &[(u64, Vec<u8>)], split: impl Fn(&[u8]) -> Vec<String>) -> Vec<String> {
    let mut header: Vec<String> = Vec::new();
    for (_, row) in window {
        for (field, text) in split(strip_comment(row)).into_iter().enumerate() {
            match header.get_mut(field) {
                None => header.push(text),
                Some(above) if above.is_empty() => *above = text,
                Some(_) if text.is_empty() => {}
                Some(above) => {
                    above.push(' ');
                    above.push_str(&text);
                }
            }
        }
    }
    header
}

/// Fields parted by two or more spaces or a tab.
pub(super) fn gap_fields(row: &[u8]) -> Vec<String> {
    let text = String::from_utf8_lossy(row).replace('\t', "  ");
    text.split("  ").map(str::trim).filter(|t| !t.is_empty()).map(str::to_owned).collect()
}

/// Binds the record's channels to the fields of a row.
fn plan(columns: &Columns, head: &Head) -> Result<Plan, RawError> {
    let layout = &columns.layout;
    if columns.channels.is_empty() {
        return Err(RawError::Record { because: "it lists no channels".to_owned() });
    }
    if layout.delimiter == Delimiter::Spaces
        && layout.thousands == Thousands::Space
        && layout.starts.is_empty()
    {
        return Err(RawError::Record {
            because: "a space cannot both part fields and group digits".to_owned(),
        });
    }
    let width = head.header.iter().rposition(|t| !t.is_empty()).map(|n| n + 1);
    let mut by_field: Vec<Option<usize>> = Vec::new();
    let mut channels = Vec::new();
    for (index, column) in columns.channels.iter().enumerate() {
        let field = field_of(column, &head.header)?;
        if by_field.len() <= field {
            by_field.resize(field + 1, None);
        }
        if by_field[field].is_some() {
            let because = format!("two channels read column {}", field + 1);
            return Err(RawError::Record { because });
        }
        by_field[field] = Some(index);
        let scale = if column.reversed { -column.scale } else { column.scale };
        channels.push(ChannelPlan {
            factor: (scale.to_bits() != 1.0_f64.to_bits()).then_some(scale),
            time: column.time.filter(|form: &TimeForm| form.counts_from_first()),
        });
    }
    let marks = Marks { decimal: layout.decimal, thousands: layout.thousands };
    let clash = match layout.decimal {
        Decimal::Comma => layout.thousands == Thousands::Comma,
        _ => layout.thousands == Thousands::Point,
    };
    if clash {
        return Err(RawError::Record {
            because: "one mark cannot be both decimal and thousands mark".to_owned(),
        });
    }
    let plan = Plan {
        splitter: Splitter::new(layout),
        marks,
        missing: layout.missing.iter().map(|w| w.trim().to_lowercase()).collect(),
        sentinels: layout.missing.iter().filter_map(|w| marks.number(w.trim().as_bytes())).collect(),
        channels,
        by_field,
        width,
        header: head.header.clone(),
        units: head.units.clone(),
        gutters: false,
    };
    check_width(&plan)?;
    Ok(plan)
}

fn check_width(plan: &Plan) -> Result<(), RawError> {
    match plan.width {
        Some(width) if plan.by_field.len() > width => {
            Err(RawError::ColumnMissing { position: plan.by_field.len(), found: width })
        }
        _ => Ok(()),
    }
}

fn field_of(column: &Column, header: &[String]) -> Result<usize, RawError> {
    let by_position = column.position.map(|position| position.saturating_sub(1));
    let Some(wanted) = &column.header else {
        return by_position
            .ok_or_else(|| RawError::Record { because: format!("channel {} names no column", column.name) });
    };
    if header.is_empty() {
        return by_position.ok_or_else(|| RawError::HeaderMissing {
            expected: wanted.clone(),
            found: "a file without a header".to_owned(),
        });
    }
    if let Some(field) = by_position {
        return match header.get(field) {
            Some(found) if found == wanted => Ok(field),
            found => Err(RawError::HeaderMissing {
                expected: format!("{wanted} at position {}", field + 1),
                found: found.cloned().unwrap_or_else(|| format!("{} columns", header.len())),
            }),
        };
    }
    let mut places = header.iter().enumerate().filter(|(_, h)| *h == wanted).map(|(field, _)| field);
    match (places.next(), places.count()) {
        (Some(field), 0) => Ok(field),
        (Some(_), more) => Err(RawError::HeaderRepeated { header: wanted.clone(), times: more + 1 }),
        (None, _) => Err(RawError::HeaderMissing { expected: wanted.clone(), found: header.join(", ") }),
    }
}

struct Job {
    text: Vec<u8>,
    parsed: Parsed,
}

/// Reads block after block: the first ones here, until every time channel has its first time, the rest on two threads
/// unless the numbers alone are wanted.
fn run(
    mut source: Source<'_>,
    plan: &Plan,
    mut bases: Vec<Option<i128>>,
    mut assembler: Assembler<'_>,
    depth: Depth,
    sink: &mut dyn FnMut(&Batch<'_>),
) -> Result<Summary, RawError> {
    let mut job = Job { text: Vec::new(), parsed: Parsed::default() };
    loop {
        if !source.next_block(&mut job.text)? {
            return assembler.finish();
        }
        parse_block(plan, &mut bases, &job.text, &mut job.parsed);
        source.line += u64::from(job.parsed.line_count);
        assembler.take(&mut job.parsed, sink);
        let open = plan.channels.iter().zip(&bases).any(|(c, base)| c.time.is_some() && base.is_none());
        if (!open && depth == Depth::Whole) || source.ended() {
            break;
        }
    }
    if source.ended() {
        return assembler.finish();
    }
    std::thread::scope(|scope| {
        let mut lanes: Vec<(SyncSender<Job>, Receiver<Job>)> = Vec::new();
        for _ in 0..2 {
            let (to_worker, jobs) = sync_channel::<Job>(1);
            let (done, from_worker) = sync_channel::<Job>(2);
            let mut bases = bases.clone();
            scope.spawn(move || {
                for mut job in jobs {
                    parse_block(plan, &mut bases, &job.text, &mut job.parsed);
                    if done.send(job).is_err() {
                        break;
                    }
                }
            });
            lanes.push((to_worker, from_worker));
        }
        let mut spare = vec![job];
        let mut sent = 0_usize;
        let mut taken = 0_usize;
        let mut more = true;
        let mut failed = None;
        while more || taken < sent {
            while more && sent - taken < 4 {
                let mut job =
                    spare.pop().unwrap_or_else(|| Job { text: Vec::new(), parsed: Parsed::default() });
                match source.next_block(&mut job.text) {
                    Ok(another) => more = another,
                    Err(error) => {
                        more = false;
                        failed = Some((error, source.line));
                    }
                }
                if more {
                    lanes[sent % 2].0.send(job).map_err(|_| lost_worker())?;
                    sent += 1;
                }
            }
            if taken < sent {
                let mut job = lanes[taken % 2].1.recv().map_err(|_| lost_worker())?;
                taken += 1;
                source.line += u64::from(job.parsed.line_count);
                assembler.take(&mut job.parsed, sink);
                spare.push(job);
            }
        }
        match failed {
            Some((error, line)) => Err(later_by(error, source.line - line)),
            None => Ok(()),
        }
    })
    .and_then(|()| assembler.finish())
}

fn lost_worker() -> RawError {
    RawError::Input(std::io::Error::other("a reading thread ended early"))
}
