//! Why a raw file cannot be read as a table.

/// A raw file, or a columns record for it, that cannot be followed.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum RawError {
    /// The bytes could not be fetched.
    #[error("the raw file could not be read to its end")]
    Input(#[from] std::io::Error),
    /// The file holds no bytes, or nothing but blank lines.
    #[error("the file is empty; it can be kept as evidence, but there is nothing to read in it")]
    Empty,
    /// The bytes are something else than a table.
    #[error(
        "this is {what}, not a table; it is kept as it is, as evidence, and no channels are read from it"
    )]
    NotTable {
        /// What the bytes look like.
        what: String,
    },
    /// Text in which no table was found.
    #[error(
        "no table found: {because}; give a columns record, or keep the file as evidence without channels"
    )]
    NoTable {
        /// What was looked for and not found.
        because: String,
    },
    /// A line longer than the reader holds.
    #[error("line {line} is longer than {limit} bytes; is the line ending or the encoding right?")]
    LineTooLong {
        /// The line, counted from 1.
        line: u64,
        /// The longest line read, in bytes.
        limit: usize,
    },
    /// A quoted field that does not end.
    #[error(
        "the quote opened on line {line} never closes; say quote: none in the columns record if \" is only text"
    )]
    QuoteOpen {
        /// The line of the opening quote.
        line: u64,
    },
    /// The record's header is not in the file.
    #[error("column {expected} is not in this file; found {found}; is this the right columns record?")]
    HeaderMissing {
        /// The header that the record names.
        expected: String,
        /// What stands there instead.
        found: String,
    },
    /// The same header stands more than once and the record does not say which is meant.
    #[error("column {header} stands {times} times; say which by position in the columns record")]
    HeaderRepeated {
        /// The header.
        header: String,
        /// How often it stands.
        times: usize,
    },
    /// The record asks for a column beyond the table's last.
    #[error("the record asks for column {position}, but the table has {found}")]
    ColumnMissing {
        /// The position asked for, counted from 1.
        position: usize,
        /// How many columns there are.
        found: usize,
    },
    /// The columns record contradicts itself or this reader's means.
    #[error("the columns record cannot be followed: {because}")]
    Record {
        /// What is wrong with it.
        because: String,
    },
    /// A workbook or Parquet file that its decoder refuses.
    #[error("the {format} file is damaged or of a kind not read here: {because}")]
    Decoder {
        /// The format's name.
        format: &'static str,
        /// What the decoder says.
        because: String,
    },
    /// The head of a file that can only be looked at whole.
    #[error("a workbook or Parquet file can only be looked at whole; hand over all of its bytes")]
    NeedsWhole,
    /// A format whose decoder needs the whole file, in a file beyond the limit for that.
    #[error(
        "the file is larger than the {limit} bytes that a {format} file may have here; export it as delimited text"
    )]
    TooLarge {
        /// The format's name.
        format: &'static str,
        /// The limit, in bytes.
        limit: u64,
    },
}
