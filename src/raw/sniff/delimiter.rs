//! Delimiters that may as well be marks inside numbers.

use std::borrow::Cow;

use crate::raw::block::statistic_word;
use crate::raw::error::RawError;
use crate::raw::guess::{Choice, Question};
use crate::raw::sniff::header::{self, Heading};
use crate::raw::sniff::look::is_number;
use crate::raw::sniff::table::{self, Row, Table};
use crate::raw::split::Splitter;
use crate::record::columns::Delimiter;

/// The answer that the delimiter also stands inside numbers.
pub(super) const INSIDE: &str = "delimiter=inside";

/// The question whether commas (or spaces) that part fields also stand inside numbers, where nothing settles it, and
/// whether every row taken whole would be one number.
pub(super) fn inside_numbers(table: &Table<'_>, heading: &Heading) -> Option<(Question, bool)> {
    let mark = match table.delimiter? {
        Delimiter::Comma => "comma",
        Delimiter::Spaces => "space",
        _ => return None,
    };
    if table.width < 2 {
        return None;
    }
    let header = heading.header.iter().rposition(|t| !t.is_empty()).map_or(0, |n| n + 1);
    let rows = || table.rows[table.first..].iter().filter(|r| r.is_data());
    let taken_whole = |row: &Row<'_>| String::from_utf8_lossy(row.bytes).trim().to_owned();
    let whole_rows = rows().all(|r| is_number(&taken_whole(r)));
    let pairs = || {
        let digits =
            |text: &Cow<'_, str>| !text.is_empty() && text.bytes().all(|b| b.is_ascii_digit() || b == b'-');
        mark == "comma" && table.width.is_multiple_of(2) && rows().all(|r| r.texts.iter().all(digits))
    };
    let row = if header > 0 && mark == "comma" {
        // The label of a row of means may stand in front of the first column.
        rows().find(|r| r.filled() > header && r.texts.first().is_none_or(|t| statistic_word(t).is_none()))?
    } else if header == 0 && (whole_rows || pairs()) {
        rows().next()?
    } else {
        return None;
    };
    let shown = taken_whole(row);
    let (line, fields) = (row.line, row.filled());
    let says = if header > 0 {
        format!(
            "line {line} is {shown}: {fields} fields under {header} headers; does a {mark} also stand inside numbers?"
        )
    } else {
        format!("line {line} is {shown}: does the {mark} part two numbers, or does it stand inside one?")
    };
    let parts = if header > 0 {
        format!("every {mark} parts fields; rows with more than {header} fields are not read")
    } else {
        format!("every {mark} parts fields: {} columns", table.width)
    };
    let inside = if whole_rows {
        format!("each line is one number: a column of {} rows", rows().count())
    } else {
        "the file cannot be read safely as it is".to_owned()
    };
    let choices = vec![
        Choice { word: "delimiter=parts".to_owned(), means: parts },
        Choice { word: INSIDE.to_owned(), means: inside },
    ];
    Some((Question { code: "delimiter-inside-number", says, choices }, whole_rows))
}

/// The refusal of a file whose delimiter stands inside its numbers.
pub(super) fn unsafe_export() -> RawError {
    let because = "the delimiter also stands inside numbers; export the file again with a semicolon or tab between fields";
    RawError::NoTable { because: because.to_owned() }
}

/// The sample as a table of one column.
pub(super) fn one_column(text: &[u8]) -> Option<(Table<'_>, Heading)> {
    let splitter = Splitter::Byte { delimiter: b'\t', quotes: true };
    let rows = table::rows(text, &splitter);
    let mut table =
        Table { splitter, delimiter: Some(Delimiter::Tab), rows, first: 0, width: 1, table_rows: 0 };
    table::settle(&mut table)?;
    let heading = header::find(&table);
    Some((table, heading))
}
