//! Parquet files: flat tables of numbers, row group by row group.

use std::io::Read;

use bytes::Bytes;
use parquet::file::reader::{FileReader, SerializedFileReader};
use parquet::record::Field;
use parquet::record::reader::RowIter;

use crate::raw::assemble::Depth;
use crate::raw::error::RawError;
use crate::raw::guess::Guess;
use crate::raw::read::read_text;
use crate::raw::sheet::{RowSource, RowText, as_text, read_whole, write_number, write_text};
use crate::raw::sniff::sniff_text;
use crate::raw::summary::{Batch, Summary};
use crate::record::columns::Columns;
use crate::record::columns::Delimiter;
use crate::record::columns::FileFormat;
use crate::record::columns::Layout;

/// The largest file read, in bytes: its decoder needs the whole file.
const LARGEST: u64 = crate::raw::LARGEST_WHOLE;

/// Bytes of the table's text that are looked at for a guess.
const SAMPLE: u64 = 1 << 20;

/// Guesses what a file holds. `bytes` is the whole file.
pub(super) fn sniff(bytes: &[u8], answers: &[&str]) -> Result<Guess, RawError> {
    let mut sample = Vec::new();
    let mut text = RowText::new(TableRows::new(bytes.to_vec())?);
    text.by_ref().take(SAMPLE).read_to_end(&mut sample).map_err(|e| damaged(&e))?;
    let whole = (sample.len() as u64) < SAMPLE;
    let mut guess = sniff_text(&sample, whole, answers)?;
    guess.format = FileFormat::Parquet;
    guess.layout = Layout { format: FileFormat::Parquet, delimiter: Delimiter::Comma, ..guess.layout };
    Ok(guess)
}

/// Reads a file by a columns record; the line of its first row is 2, below the names of the columns.
pub(super) fn read(
    input: &mut dyn Read,
    columns: &Columns,
    depth: Depth,
    sink: &mut dyn FnMut(&Batch<'_>),
) -> Result<Summary, RawError> {
    let bytes =
        read_whole(input, LARGEST)?.ok_or(RawError::TooLarge { format: "Parquet", limit: LARGEST })?;
    let mut text = RowText::new(TableRows::new(bytes)?);
    read_text(&mut text, &as_text(columns), depth, sink).map_err(|error| match error {
        RawError::Input(error) => damaged(&error),
        other => other,
    })
}

fn damaged(error: &dyn std::fmt::Display) -> RawError {
    RawError::Decoder { format: "Parquet", because: error.to_string() }
}

/// The names of the columns, then the rows.
struct TableRows {
    names: Option<Vec<String>>,
    rows: RowIter<'static>,
}

impl TableRows {
    fn new(bytes: Vec<u8>) -> Result<Self, RawError> {
        let reader = SerializedFileReader::new(Bytes::from(bytes)).map_err(|e| damaged(&e))?;
        let schema = reader.metadata().file_metadata().schema_descr_ptr();
        let names = schema.root_schema().get_fields().iter().map(|field| field.name().to_owned()).collect();
        let rows = RowIter::from_file_into(Box::new(reader));
        Ok(Self { names: Some(names), rows })
    }
}

impl RowSource for TableRows {
    fn next_row(&mut self, out: &mut Vec<u8>) -> Result<bool, String> {
        if let Some(names) = self.names.take() {
            for (index, name) in names.iter().enumerate() {
                if index > 0 {
                    out.push(b'\t');
                }
                write_text(out, name);
            }
            out.push(b'\n');
            return Ok(true);
        }
        let Some(row) = self.rows.next() else {
            return Ok(false);
        };
        let row = row.map_err(|e| e.to_string())?;
        for (index, (_, field)) in row.get_column_iter().enumerate() {
            if index > 0 {
                out.push(b'\t');
            }
            write_field(field, out);
        }
        out.push(b'\n');
        Ok(true)
    }
}

fn write_field(field: &Field, out: &mut Vec<u8>) {
    match field {
        Field::Null => out.extend_from_slice(b"NaN"),
        Field::Float(value) => write_number(out, f64::from(*value)),
        Field::Double(value) => write_number(out, *value),
        Field::Byte(value) => out.extend_from_slice(value.to_string().as_bytes()),
        Field::Short(value) => out.extend_from_slice(value.to_string().as_bytes()),
        Field::Int(value) => out.extend_from_slice(value.to_string().as_bytes()),
        // Stamps are whole numbers since an epoch; their digits tell milli- from microseconds.
        Field::Long(value) | Field::TimestampMillis(value) | Field::TimestampMicros(value) => {
            out.extend_from_slice(value.to_string().as_bytes());
        }
        Field::UByte(value) => out.extend_from_slice(value.to_string().as_bytes()),
        Field::UShort(value) => out.extend_from_slice(value.to_string().as_bytes()),
        Field::UInt(value) => out.extend_from_slice(value.to_string().as_bytes()),
        Field::ULong(value) => out.extend_from_slice(value.to_string().as_bytes()),
        Field::Str(text) => write_text(out, text),
        other => write_text(out, &other.to_string()),
    }
}
