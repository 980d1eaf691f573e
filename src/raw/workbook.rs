//! Workbooks (`.xlsx`): one sheet, cell by cell.

use std::io::{Cursor, Read};

use calamine::{Cell, DataRef, Reader, Xlsx, XlsxCellReader};

use crate::raw::assemble::Depth;
use crate::raw::error::RawError;
use crate::raw::guess::{Choice, Guess, Question};
use crate::raw::read::read_text;
use crate::raw::sheet::{RowSource, RowText, as_text, read_whole, write_number, write_text};
use crate::raw::sniff::sniff_text;
use crate::raw::summary::{Batch, Summary};
use crate::record::columns::Columns;
use crate::record::columns::Delimiter;
use crate::record::columns::FileFormat;
use crate::record::columns::Layout;

/// The largest workbook read, in bytes: its decoder needs the whole file.
const LARGEST: u64 = 32 << 20;

/// The most that a workbook's parts beside its sheets may unpack to, in bytes.
const MOST_UNPACKED: u64 = 128 << 20;

/// Bytes of a sheet's text that are looked at for a guess.
const SAMPLE: u64 = 1 << 20;

/// The most columns a sheet of the format has.
const MOST_COLUMNS: u32 = 16_384;

/// The most empty rows written between two that are not; a sheet with more is cut into at this place.
const MOST_EMPTY_ROWS: u32 = 1 << 20;

type Book = Xlsx<Cursor<Vec<u8>>>;

/// Guesses which sheet is meant and what it holds. `bytes` is the whole file.
pub(super) fn sniff(bytes: &[u8], answers: &[&str]) -> Result<Guess, RawError> {
    let mut book = open(bytes.to_vec())?;
    let mut guesses: Vec<(String, Guess)> = Vec::new();
    let mut refusal = None;
    for sheet in book.sheet_names() {
        let mut sample = Vec::new();
        let rows = SheetRows::new(&mut book, &sheet)?;
        RowText::new(rows).take(SAMPLE).read_to_end(&mut sample).map_err(|e| damaged(&e))?;
        let whole = (sample.len() as u64) < SAMPLE;
        match sniff_text(&sample, whole, answers) {
            Ok(guess) => guesses.push((sheet, guess)),
            Err(error) => refusal = refusal.or(Some(error)),
        }
    }
    let word = |sheet: &str| format!("sheet={sheet}");
    let answered = guesses.iter().position(|(sheet, _)| answers.contains(&word(sheet).as_str()));
    let choices: Vec<Choice> = guesses
        .iter()
        .map(|(sheet, guess)| Choice {
            word: word(sheet),
            means: guess.columns.iter().map(|c| c.name.as_str()).collect::<Vec<_>>().join(", "),
        })
        .collect();
    if guesses.is_empty() {
        return Err(refusal.unwrap_or(RawError::Empty));
    }
    let several = guesses.len() > 1 && answered.is_none();
    let (sheet, mut guess) = guesses.swap_remove(answered.unwrap_or(0));
    guess.format = FileFormat::Workbook;
    guess.layout = Layout {
        format: FileFormat::Workbook,
        delimiter: Delimiter::Comma,
        sheet: Some(sheet),
        ..guess.layout
    };
    if several {
        let says =
            format!("the workbook holds {} sheets with numbers: which one is the pull?", choices.len());
        guess.questions.insert(0, Question { code: "which-sheet", says, choices });
    }
    Ok(guess)
}

/// Reads one sheet by a columns record; its lines are the sheet's rows.
pub(super) fn read(
    input: &mut dyn Read,
    columns: &Columns,
    depth: Depth,
    sink: &mut dyn FnMut(&Batch<'_>),
) -> Result<Summary, RawError> {
    let bytes =
        read_whole(input, LARGEST)?.ok_or(RawError::TooLarge { format: "workbook", limit: LARGEST })?;
    let mut book = open(bytes)?;
    let names = book.sheet_names();
    let sheet = match &columns.layout.sheet {
        Some(sheet) if names.contains(sheet) => sheet.clone(),
        Some(sheet) => {
            let because = format!("the workbook has no sheet {sheet}; it has {}", names.join(", "));
            return Err(RawError::Record { because });
        }
        None => names.first().cloned().ok_or(RawError::Empty)?,
    };
    let mut text = RowText::new(SheetRows::new(&mut book, &sheet)?);
    read_text(&mut text, &as_text(columns), depth, sink).map_err(|error| match error {
        RawError::Input(error) => damaged(&error),
        other => other,
    })
}

fn open(bytes: Vec<u8>) -> Result<Book, RawError> {
    bounded(&bytes)?;
    calamine::open_workbook_from_rs(Cursor::new(bytes)).map_err(|e: calamine::XlsxError| damaged(&e))
}

/// Refuses a workbook whose parts beside its sheets unpack to more than fits: the decoder takes in shared strings and
/// styles whole, and a small file can hold gigabytes of them. What an entry says of its own size is not believed.
fn bounded(bytes: &[u8]) -> Result<(), RawError> {
    let mut archive = zip::ZipArchive::new(Cursor::new(bytes)).map_err(|e| damaged(&e))?;
    let mut unpacked = 0;
    for at in 0..archive.len() {
        let entry = archive.by_index(at).map_err(|e| damaged(&e))?;
        if entry.name().is_ok_and(|name| name.starts_with("xl/worksheets/sheet")) {
            continue;
        }
        let left = MOST_UNPACKED - unpacked;
        unpacked +=
            std::io::copy(&mut entry.take(left + 1), &mut std::io::sink()).map_err(|e| damaged(&e))?;
        if unpacked > MOST_UNPACKED {
            let because = format!("it unpacks to more than {MOST_UNPACKED} bytes beside its sheets");
            return Err(RawError::Decoder { format: "workbook", because });
        }
    }
    Ok(())
}

fn damaged(error: &dyn std::fmt::Display) -> RawError {
    RawError::Decoder { format: "workbook", because: error.to_string() }
}

/// The rows of a sheet, the empty ones included, so that lines and rows agree.
struct SheetRows<'a> {
    cells: XlsxCellReader<'a, Cursor<Vec<u8>>>,
    /// The first cell of the next row, already fetched: row, column, text.
    next: Option<(u32, u32, Vec<u8>)>,
    row: u32,
}

impl<'a> SheetRows<'a> {
    fn new(book: &'a mut Book, sheet: &str) -> Result<Self, RawError> {
        let cells = book.worksheet_cells_reader(sheet).map_err(|e| damaged(&e))?;
        let mut rows = Self { cells, next: None, row: 0 };
        rows.next = rows.fetch().map_err(|e| damaged(&e))?;
        Ok(rows)
    }

    /// The next cell that holds anything.
    fn fetch(&mut self) -> Result<Option<(u32, u32, Vec<u8>)>, String> {
        while let Some(cell) = self.cells.next_cell().map_err(|e| e.to_string())? {
            let mut text = Vec::new();
            write_cell(&cell, &mut text);
            if !text.is_empty() {
                let (row, column) = cell.get_position();
                return Ok(Some((row, column, text)));
            }
        }
        Ok(None)
    }
}

impl RowSource for SheetRows<'_> {
    fn next_row(&mut self, out: &mut Vec<u8>) -> Result<bool, String> {
        let Some((row, _, _)) = &self.next else {
            return Ok(false);
        };
        if *row < self.row || *row - self.row > MOST_EMPTY_ROWS {
            return Err(format!("row {} stands out of order", row + 1));
        }
        if *row > self.row {
            self.row += 1;
            out.push(b'\n');
            return Ok(true);
        }
        let mut column = 0;
        while let Some((row, at, text)) = self.next.take() {
            if row != self.row {
                self.next = Some((row, at, text));
                break;
            }
            if at < column || at >= MOST_COLUMNS {
                return Err(format!("row {} holds a cell out of order", row + 1));
            }
            for _ in column..at {
                out.push(b'\t');
            }
            column = at;
            out.extend_from_slice(&text);
            self.next = self.fetch()?;
        }
        out.push(b'\n');
        self.row += 1;
        Ok(true)
    }
}

fn write_cell(cell: &Cell<DataRef<'_>>, out: &mut Vec<u8>) {
    match cell.get_value() {
        DataRef::Int(value) => out.extend_from_slice(value.to_string().as_bytes()),
        DataRef::Float(value) => write_number(out, *value),
        DataRef::String(text) => write_text(out, text),
        DataRef::SharedString(text) => write_text(out, text),
        DataRef::Bool(value) => out.extend_from_slice(if *value { b"TRUE" } else { b"FALSE" }),
        DataRef::DateTime(instant) => {
            let (year, month, day, hour, minute, second, milli) = instant.to_ymd_hms_milli();
            // A serial below one is a time of day without a date.
            let date = if instant.as_f64() < 1.0 {
                String::new()
            } else {
                format!("{year:04}-{month:02}-{day:02} ")
            };
            out.extend_from_slice(format!("{date}{hour:02}:{minute:02}:{second:02}.{milli:03}").as_bytes());
        }
        DataRef::DateTimeIso(text) | DataRef::DurationIso(text) => write_text(out, text),
        DataRef::Error(_) => out.extend_from_slice(b"#N/A"),
        DataRef::Empty => {}
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::io::Write;
    use zip::write::SimpleFileOptions;

    #[test]
    fn shared_strings_that_unpack_to_gigabytes_are_refused_before_they_are_taken_in() {
        let mut writer = zip::ZipWriter::new(Cursor::new(Vec::new()));
        writer.start_file("xl/sharedStrings.xml", SimpleFileOptions::default()).unwrap();
        let blank = vec![b' '; 1 << 20];
        for _ in 0..=(MOST_UNPACKED >> 20) {
            writer.write_all(&blank).unwrap();
        }
        let bytes = writer.finish().unwrap().into_inner();
        assert!(bytes.len() < 1 << 20);
        assert!(matches!(open(bytes), Err(RawError::Decoder { because, .. }) if because.contains("unpacks")));
    }
}
