//! A number with one point and three decimals that first comes up behind the head that was looked at.

use std::io::{self, BufRead, BufReader, Read};

use crate::finding::Finding;
use crate::finding::Place;
use crate::record::columns::Columns;
use crate::record::columns::Decimal;
use crate::record::columns::Delimiter;
use crate::record::columns::Encoding;
use crate::record::columns::FileFormat;
use crate::record::columns::Thousands;

/// The longest piece of a line that is looked at, in bytes; a longer line is looked at in pieces.
const LONGEST: u64 = 1 << 20;

/// Doubts a decimal point that was only assumed, as the head of the file showed no mark: every number with a point in
/// the whole file is one to three digits, a point and three more, which is also how thousands are written.
///
/// # Errors
/// The input cannot be read.
pub fn late_marks(input: &mut dyn Read, columns: &Columns) -> io::Result<Option<Finding>> {
    let layout = &columns.layout;
    let byte = match layout.delimiter {
        Delimiter::Semicolon => b';',
        Delimiter::Tab => b'\t',
        Delimiter::Pipe => b'|',
        _ => return Ok(None),
    };
    let plain = layout.format == FileFormat::Delimited
        && matches!(layout.encoding, Encoding::Utf8 | Encoding::Windows1252)
        && layout.decimal == Decimal::Point
        && layout.thousands == Thousands::Off;
    if !plain {
        return Ok(None);
    }
    let mut input = BufReader::new(input);
    let (mut line, mut first, mut text) = (1, None, Vec::new());
    loop {
        text.clear();
        if input.by_ref().take(LONGEST).read_until(b'\n', &mut text)? == 0 {
            break;
        }
        for (at, field) in text.split(|found| *found == byte).enumerate() {
            match shape(field.trim_ascii()) {
                Shape::Decided => return Ok(None),
                Shape::Either if first.is_none() => {
                    first = Some((line, at + 1, String::from_utf8_lossy(field.trim_ascii()).into_owned()));
                }
                _ => {}
            }
        }
        line += usize::from(text.ends_with(b"\n"));
    }
    Ok(first.map(|(line, column, cell)| {
        Finding::doubt(
            "mark-assumed",
            "behind the head of the file numbers come up whose point may part thousands; read as a decimal point",
        )
        .at(Place::default().line(line).column(column))
        .found(cell.clone())
        .expected(format!("{cell} or {}", cell.replace('.', "")))
        .next("if it parts thousands, say `thousands: point` in the layout of the columns record")
    }))
}

enum Shape {
    Either,
    Decided,
    NoPoint,
}

fn shape(cell: &[u8]) -> Shape {
    let digits = cell.strip_prefix(b"-").unwrap_or(cell);
    let Some(point) = digits.iter().position(|byte| *byte == b'.') else { return Shape::NoPoint };
    let (whole, decimals) = (&digits[..point], &digits[point + 1..]);
    let all_digits = |part: &[u8]| part.iter().all(u8::is_ascii_digit);
    if !all_digits(whole) || !all_digits(decimals) || whole.len() + decimals.len() == 0 {
        return Shape::NoPoint;
    }
    let either = (1..=3).contains(&whole.len()) && whole[0] != b'0' && decimals.len() == 3;
    if either { Shape::Either } else { Shape::Decided }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::record::columns::Layout;

    fn doubt(text: &str, delimiter: Delimiter) -> Option<(Option<usize>, Option<String>)> {
        let layout = Layout { delimiter, ..Layout::default() };
        let columns = Columns { name: "late".to_owned(), layout, channels: Vec::new(), note: None };
        let found = late_marks(&mut text.as_bytes(), &columns).unwrap()?;
        Some((found.place.and_then(|place| place.line), found.found))
    }

    #[test]
    fn a_late_group_of_three_is_doubted_unless_another_number_settles_it() {
        let head = "rpm;torque\n3000;180\n3100;181\n";
        let late = format!("{head}3200;1.234\n");
        assert_eq!(doubt(&late, Delimiter::Semicolon), Some((Some(4), Some("1.234".to_owned()))));
        assert_eq!(doubt(head, Delimiter::Semicolon), None);
        assert_eq!(doubt(&format!("{late}3300;18.2\n"), Delimiter::Semicolon), None);
        assert_eq!(doubt(&format!("{head}3200;0.234\n"), Delimiter::Semicolon), None);
        assert_eq!(doubt(&late.replace(';', ","), Delimiter::Comma), None);
    }
}
