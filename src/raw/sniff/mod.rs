//! From the head of a file to a guess of its columns record.
//!
//! Each step uses all the evidence of the sample; where it leaves two readings, a question is raised, not a choice made.

mod clock;
mod column;
mod delimiter;
mod header;
mod look;
mod marks;
mod segment;
mod sentinel;
mod table;
mod units;
mod vocabulary;

pub(super) use column::name_and_unit;
pub(super) use vocabulary::is_unit;

use crate::finding::Finding;
use crate::finding::Place;
use crate::raw::assemble::Depth;
use crate::raw::binary;
use crate::raw::error::RawError;
use crate::raw::guess::{ColumnGuess, Guess, Question};
use crate::raw::preamble::preamble_line;
use crate::raw::read::read_text;
use crate::raw::sniff::header::Heading;
use crate::raw::sniff::look::{Look, look};
use crate::raw::sniff::marks::MarkEvidence;
use crate::raw::sniff::table::Table;
use crate::raw::split::Splitter;
use crate::raw::text::{decode, detect};
use crate::record::channel::ChannelQuantity;
use crate::record::columns::Delimiter;
use crate::record::columns::Encoding;
use crate::record::columns::FileFormat;
use crate::record::columns::Layout;
use crate::record::columns::Quote;
use crate::record::columns::Skip;
use crate::record::columns::TimeForm;

/// Guesses what a text table holds. `answers` are words of choices of earlier questions.
pub(super) fn sniff_text(sample: &[u8], whole: bool, answers: &[&str]) -> Result<Guess, RawError> {
    if sample.iter().all(u8::is_ascii_whitespace) {
        return Err(RawError::Empty);
    }
    let (encoding, encoding_doubt) = detect(sample, whole);
    let text = whole_lines(decode(sample, encoding), whole);
    if text.trim().is_empty() {
        return Err(RawError::Empty);
    }
    if let Some(what) = binary::control_characters(&text) {
        return Err(RawError::NotTable { what: what.to_owned() });
    }
    let (mut table, quotes) = table::find(text.as_bytes(), whole).ok_or_else(|| no_table(&text))?;
    let mut sniffer = Sniffer { answers, questions: Vec::new(), doubts: Vec::new() };
    if let Some(why) = encoding_doubt {
        sniffer.doubts.push(Finding::note("encoding-guessed", why).found(encoding.word()));
    }
    let mut starts = Vec::new();
    if matches!(table.splitter, Splitter::Spaces { .. })
        && let Some(fixed) = table::fixed_columns(&table)
    {
        let splitter = Splitter::Fixed(fixed.clone());
        let mut again = Table {
            rows: table::rows(text.as_bytes(), &splitter),
            splitter,
            delimiter: None,
            first: 0,
            width: fixed.len(),
            table_rows: 0,
        };
        if table::settle(&mut again).is_some() && again.table_rows > table.table_rows {
            table = again;
            starts = fixed;
        }
    }
    let mut heading = header::find(&table);
    on_its_side(&table, &heading)?;
    if let Some((question, whole_rows)) = delimiter::inside_numbers(&table, &heading)
        && sniffer.ask(question).as_deref() == Some(delimiter::INSIDE)
    {
        if !whole_rows {
            return Err(delimiter::unsafe_export());
        }
        (table, heading) = delimiter::one_column(text.as_bytes()).ok_or_else(|| no_table(&text))?;
    }
    let layout = Layout {
        format: if starts.is_empty() { FileFormat::Delimited } else { FileFormat::FixedWidth },
        encoding,
        delimiter: table.delimiter.unwrap_or(Delimiter::Comma),
        starts,
        quote: if quotes { Quote::Double } else { Quote::Off },
        header_rows: heading.header_rows,
        unit_row: heading.units.is_some(),
        skip: Skip::Lines(lines_above(&table, &heading)),
        ..Layout::default()
    };
    sniffer.finish(text.as_bytes(), layout, &table, &heading)
}

struct Sniffer<'a> {
    answers: &'a [&'a str],
    questions: Vec<Question>,
    doubts: Vec<Finding>,
}

impl Sniffer<'_> {
    /// Raises a question, or gives the answer where it has one already.
    fn ask(&mut self, question: Question) -> Option<String> {
        let answer = question.choices.iter().find(|c| self.answers.contains(&c.word.as_str()));
        if let Some(choice) = answer {
            return Some(choice.word.clone());
        }
        self.questions.push(question);
        None
    }

    fn finish(
        mut self,
        sample: &[u8],
        mut layout: Layout,
        table: &Table<'_>,
        heading: &Heading,
    ) -> Result<Guess, RawError> {
        let mut evidence = MarkEvidence::default();
        let body = || table.rows[table.first..].iter().filter(|r| r.is_data());
        for row in body() {
            for (text, kind) in row.texts.iter().zip(&row.looks) {
                if *kind == Look::Number {
                    evidence.cell(text, row.line);
                }
            }
        }
        let (mut found, question) = evidence.decide(table.delimiter);
        if let Some(question) = question
            && let Some(answer) = self.ask(question).as_deref().and_then(marks::answered)
        {
            found = answer;
        }
        layout.decimal = found.decimal;
        layout.thousands = found.thousands;
        let mut columns = self.columns(table, heading);
        let text_columns: Vec<ColumnGuess> = {
            let (numbers, texts) = columns.into_iter().partition(|(_, is_text)| !*is_text);
            columns = numbers;
            texts.into_iter().map(|(guess, _)| guess).collect()
        };
        for guess in text_columns {
            self.doubts.push(
                Finding::note(
                    "text-column",
                    format!("{} holds text and is not read as a channel", guess.name),
                )
                .at(Place::default().field(guess.name.as_str())),
            );
        }
        let mut columns: Vec<ColumnGuess> = columns.into_iter().map(|(guess, _)| guess).collect();
        if columns.is_empty() {
            return Err(RawError::NoTable { because: "no column holds numbers".to_owned() });
        }
        mark_repeats(&mut columns);
        layout.missing = sentinel::words(body(), &columns, found, &mut self.doubts);
        if !heading.header.is_empty() && heading.top > 0 && header_is_first_of_its_kind(table, heading) {
            layout.skip = Skip::ToHeader;
        }
        let preamble = table.rows[..heading.top]
            .iter()
            .filter(|r| !r.is_blank())
            .map(|r| preamble_line(r.line, &String::from_utf8_lossy(r.bytes)))
            .collect();
        let mut guess = Guess {
            format: layout.format,
            layout,
            columns,
            questions: Vec::new(),
            doubts: Vec::new(),
            preamble,
        };
        let read = match self.read_sample(sample, &guess) {
            Ok(read) => read,
            // With a question open the first guess may fit nothing; the answer comes first.
            Err(_) if !self.questions.is_empty() => {
                guess.questions = self.questions;
                guess.doubts = self.doubts;
                return Ok(guess);
            }
            Err(error) => return Err(error),
        };
        let passage = passage(&guess, &read);
        guess.layout.segments = segment::rule(table, &heading.header, &passage);
        units::settle(&mut self, &mut guess, &read);
        let mut plain = guess.clone().into_columns("");
        plain.layout.encoding = Encoding::Utf8;
        let summary = read_text(&mut { sample }, &plain, Depth::Whole, &mut |_| ())?;
        // What is doubtful about a column's header or unit stands where they do.
        let heading_line = table.rows.get(heading.top).map_or(1, |row| row.line);
        for place in self.doubts.iter_mut().filter_map(|doubt| doubt.place.as_mut()) {
            place.line.get_or_insert(usize::try_from(heading_line).unwrap_or(usize::MAX));
        }
        self.doubts.extend(summary.doubts);
        guess.questions = self.questions;
        guess.doubts = self.doubts;
        Ok(guess)
    }

    /// Every column with whether it holds text.
    fn columns(&mut self, table: &Table<'_>, heading: &Heading) -> Vec<(ColumnGuess, bool)> {
        let header_width = heading.header.iter().rposition(|t| !t.is_empty()).map_or(0, |n| n + 1);
        let body: Vec<_> = table.rows[table.first..].iter().filter(|r| r.is_data()).collect();
        let held = body.iter().map(|r| r.filled()).max().unwrap_or(0);
        let width = if header_width > 0 { header_width } else { held.min(table.width) };
        let mut columns = Vec::new();
        for field in 0..width {
            let cells: Vec<(u64, &str, Look)> = body
                .iter()
                .filter_map(|r| r.texts.get(field).map(|t| (r.line, t.as_ref(), r.looks[field])))
                .collect();
            let header = heading.header.get(field).map(String::as_str);
            let blank_header = header.is_some_and(str::is_empty);
            let all_empty = cells.iter().all(|c| c.2 == Look::Empty);
            if blank_header && all_empty {
                continue;
            }
            let unit = heading.units.as_ref().and_then(|u| u.get(field)).map(String::as_str);
            let guessed = column::guess(header.filter(|h| !h.is_empty()), unit, field + 1, &cells);
            self.doubts.extend(guessed.doubts);
            let mut guess = guessed.guess;
            if let Some(answer) = guessed.question.and_then(|question| self.ask(question)) {
                apply(&mut guess, &answer);
            }
            let texts = cells.iter().filter(|c| c.2 == Look::Text).count();
            let values = cells.iter().filter(|c| c.2.is_value()).count();
            let times = cells.iter().filter(|c| c.2 == Look::Time).count();
            let wrong_time = guess.time.is_none() && times > 0 && times >= values;
            columns.push((guess, texts > values || wrong_time));
        }
        columns
    }

    /// Reads the sample with what is guessed so far, whole, to look at its numbers.
    fn read_sample(&self, sample: &[u8], guess: &Guess) -> Result<Vec<Vec<f64>>, RawError> {
        let mut columns = guess.clone().into_columns("");
        columns.layout.encoding = Encoding::Utf8;
        let mut read = vec![Vec::new(); guess.columns.len()];
        read_text(&mut { sample }, &columns, Depth::Whole, &mut |batch| {
            for (all, values) in read.iter_mut().zip(batch.columns) {
                all.extend_from_slice(values);
            }
        })?;
        Ok(read)
    }
}

/// Applies an answer about one column (`Time.unit=ms`, `Clock.time=clock`).
fn apply(guess: &mut ColumnGuess, answer: &str) {
    let Some((key, value)) = answer.rsplit_once('=') else {
        return;
    };
    match key.rsplit_once('.') {
        Some((_, "unit")) => guess.unit = Some(value.to_owned()),
        Some((_, "time")) => guess.time = TimeForm::from_word(value).or(guess.time),
        _ => {}
    }
}

fn passage<'a>(guess: &'a Guess, read: &'a [Vec<f64>]) -> segment::Passage<'a> {
    let of = |quantity| guess.columns.iter().position(|c| c.quantity == quantity);
    segment::Passage {
        time: of(ChannelQuantity::Time).map(|n| read[n].as_slice()),
        speed: of(ChannelQuantity::Speed).map(|n| read[n].as_slice()),
        run: of(ChannelQuantity::Run).map(|n| (guess.columns[n].name.as_str(), read[n].as_slice())),
    }
}

/// Names repeated headers apart.
fn mark_repeats(columns: &mut [ColumnGuess]) {
    for index in 0..columns.len() {
        let earlier = columns[..index]
            .iter()
            .filter(|c| c.header == columns[index].header && c.header.is_some())
            .count();
        let later =
            columns[index + 1..].iter().any(|c| c.header == columns[index].header && c.header.is_some());
        columns[index].repeated = earlier > 0 || later;
        if earlier > 0 {
            let base = columns[index].name.clone();
            columns[index].name = format!("{base} {}", earlier + 1);
        }
        // Two headers may differ only by the unit.
        let mut number = 2;
        while columns[..index].iter().any(|c| c.name == columns[index].name) {
            let base = columns[index].header.clone().unwrap_or_else(|| columns[index].name.clone());
            columns[index].name = if number == 2 { base } else { format!("{base} {number}") };
            number += 1;
        }
    }
}

/// Lines above the header, or above the first row where there is none.
fn lines_above(table: &Table<'_>, heading: &Heading) -> usize {
    let line = table.rows.get(heading.top).map_or(1, |row| row.line);
    usize::try_from(line.saturating_sub(1)).unwrap_or(usize::MAX)
}

/// Whether skipping to the header would find this very header.
fn header_is_first_of_its_kind(table: &Table<'_>, heading: &Heading) -> bool {
    let wanted: Vec<&String> = heading.header.iter().filter(|h| !h.is_empty()).collect();
    !table.rows[..heading.top]
        .iter()
        .any(|row| wanted.iter().all(|w| row.texts.iter().any(|text| text == w.as_str())))
        && (heading.header_rows == 1 || matches!(table.splitter, Splitter::Byte { .. }))
}

/// Cuts an unfinished last line off a sample that is not the whole file.
fn whole_lines(mut text: String, whole: bool) -> String {
    if !whole && let Some(end) = text.rfind(['\n', '\r']) {
        text.truncate(end + 1);
    }
    text
}

/// Refuses a table that lies on its side: one channel per line.
fn on_its_side(table: &Table<'_>, heading: &Heading) -> Result<(), RawError> {
    if !heading.header.is_empty() || table.width < 3 {
        return Ok(());
    }
    let rows: Vec<_> = table.rows[table.first..].iter().filter(|r| r.is_data()).collect();
    let named = rows.iter().filter(|r| r.looks.first() == Some(&Look::Text)).count();
    let known = rows
        .iter()
        .filter(|r| {
            r.texts.first().is_some_and(|t| {
                let (name, unit) = column::name_and_unit(t);
                vocabulary::quantity(&name, unit.as_deref()) != ChannelQuantity::Other
            })
        })
        .count();
    if named == rows.len() && known >= 2 {
        let because =
            "the table lies on its side, one channel per line; turn rows into columns and export it again";
        return Err(RawError::NoTable { because: because.to_owned() });
    }
    Ok(())
}

fn no_table(text: &str) -> RawError {
    let lines = text.lines().filter(|l| !l.trim().is_empty()).count();
    let first: String =
        text.lines().find(|l| !l.trim().is_empty()).unwrap_or("").trim().chars().take(60).collect();
    let numbers =
        text.lines().flat_map(|l| l.split([',', ';', '\t', ' '])).filter(|c| look(c) == Look::Number).count();
    let because = if numbers == 0 {
        format!("no line of {lines} holds a number; the first is {first:?}")
    } else {
        format!("no line of {lines} is a row of numbers; the first is {first:?}")
    };
    RawError::NoTable { because }
}
