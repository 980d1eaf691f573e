//! Raw files: bytes to channels.
//!
//! In: the bytes as they came and a columns record that says what they mean, or only the head of the bytes, to guess
//! one. Out: batches of numbers, a [`Summary`], and doubts in plain words. A file of any size is read in bounded memory.
//! Refuses: to touch the disk, to change a number, to choose where two readings are possible (that is a
//! [`Question`]), and to call a channel of zeros or blanks a pass.

mod assemble;
mod binary;
mod block;
mod checks;
mod error;
mod guess;
mod late_marks;
mod midnight;
mod number;
#[cfg(feature = "parquet")]
mod parquet;
mod preamble;
mod read;
mod restart;
mod sheet;
mod sniff;
mod source;
mod split;
mod statistics;
mod summary;
mod text;
mod time;
mod workbook;

pub use binary::Opaque;
pub use binary::opaque;
pub use checks::sea_level_doubt;
pub use error::RawError;
pub use guess::{Choice, ColumnGuess, Guess, PreambleLine, Question};
pub use late_marks::late_marks;
pub use summary::{Batch, ChannelSummary, Segment, Summary};

use std::io::Read;

use crate::raw::assemble::Depth;
use crate::raw::binary::Kind;
use crate::record::columns::Columns;
use crate::record::columns::FileFormat;

/// The largest file that is looked at whole, in bytes: a workbook or Parquet file. Text has no limit.
pub const LARGEST_WHOLE: u64 = 256 << 20;

/// Guesses what a file holds from its head (up to 1 MiB is enough); `whole` says that the head is the whole file.
///
/// A workbook or Parquet file keeps its directory at its end and must be given whole.
///
/// `answers` are words of [`Choice`]s of questions that an earlier call raised; they are not asked again.
///
/// # Errors
/// Bytes that are no table, with the reason.
pub fn sniff(sample: &[u8], name: &str, whole: bool, answers: &[&str]) -> Result<Guess, RawError> {
    match binary::recognise(sample, name) {
        Some(Kind::Workbook) if whole => sheet::guarded("workbook", || workbook::sniff(sample, answers)),
        #[cfg(feature = "parquet")]
        Some(Kind::Parquet) if whole => sheet::guarded("Parquet", || parquet::sniff(sample, answers)),
        #[cfg(not(feature = "parquet"))]
        Some(Kind::Parquet) => {
            Err(RawError::NotTable { what: "a Parquet file, which this build does not read".to_owned() })
        }
        Some(Kind::Opaque(what)) => Err(RawError::NotTable { what: what.to_owned() }),
        Some(_) => Err(RawError::NeedsWhole),
        None => sniff::sniff_text(sample, whole, answers),
    }
}

/// Reads a file by a columns record, handing on the rows in batches.
///
/// Findings name lines and columns; the file's name is for the caller to add, who knows it.
///
/// # Errors
/// A file that the record does not fit, or that cannot be read at all.
pub fn read(
    input: &mut dyn Read,
    columns: &Columns,
    sink: &mut dyn FnMut(&Batch<'_>),
) -> Result<Summary, RawError> {
    read_to(input, columns, Depth::Whole, sink)
}

/// Reads the numbers of a file alone, on the calling thread and without looking for doubts: of a file that [`read`] went
/// through when it was taken in, where several are read at once. The batches hold the same rows.
///
/// # Errors
/// As [`read`].
pub fn numbers(
    input: &mut dyn Read,
    columns: &Columns,
    sink: &mut dyn FnMut(&Batch<'_>),
) -> Result<(), RawError> {
    read_to(input, columns, Depth::Numbers, sink).map(drop)
}

fn read_to(
    input: &mut dyn Read,
    columns: &Columns,
    depth: Depth,
    sink: &mut dyn FnMut(&Batch<'_>),
) -> Result<Summary, RawError> {
    match columns.layout.format {
        FileFormat::Delimited | FileFormat::FixedWidth => read::read_text(input, columns, depth, sink),
        FileFormat::Workbook => sheet::guarded("workbook", || workbook::read(input, columns, depth, sink)),
        #[cfg(feature = "parquet")]
        FileFormat::Parquet => sheet::guarded("Parquet", || parquet::read(input, columns, depth, sink)),
        #[cfg(not(feature = "parquet"))]
        FileFormat::Parquet => {
            Err(RawError::Record { because: "this build does not read Parquet files".to_owned() })
        }
    }
}
