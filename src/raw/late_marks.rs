//! A number with one point and three decimals that first comes up behind the head that was looked at.

use std::io::{self, Read};

use crate::finding::Finding;
use crate::finding::Place;
use crate::raw::number::trim;
use crate::raw::split::line_end;
use crate::raw::text::TextStream;
use crate::record::columns::Columns;
use crate::record::columns::Decimal;
use crate::record::columns::Delimiter;
use crate::record::columns::FileFormat;
use crate::record::columns::Thousands;

/// Bytes fetched at a time.
const PIECE: usize = 256 << 10;

/// The longest piece of a line that is looked at, in bytes; a longer line is looked at in pieces.
const LONGEST: usize = 1 << 20;

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
        && layout.decimal == Decimal::Point
        && layout.thousands == Thousands::Off;
    if !plain {
        return Ok(None);
    }
    let mut stream = TextStream::new(input, layout.encoding);
    let (mut line, mut first, mut text) = (1, None, Vec::new());
    loop {
        stream.fill(&mut text, PIECE)?;
        let mut at = 0;
        while at < text.len() {
            let end = line_end(&text, at);
            // A line is sure to end only where something follows: CR may be half of CR LF.
            let sure = stream.ended() || (end.closed && end.next < text.len());
            // A longer line is looked at in pieces.
            if !sure && text.len() - at < LONGEST {
                break;
            }
            for (place, field) in text[at..end.end].split(|found| *found == byte).enumerate() {
                match shape(trim(field)) {
                    Shape::Decided => return Ok(None),
                    Shape::Either if first.is_none() => {
                        first = Some((line, place + 1, String::from_utf8_lossy(trim(field)).into_owned()));
                    }
                    _ => {}
                }
            }
            line += usize::from(end.closed);
            at = end.next;
        }
        text.drain(..at);
        if stream.ended() {
            break;
        }
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
    use crate::record::columns::Encoding;
    use crate::record::columns::Layout;

    fn doubt(text: &str, delimiter: Delimiter) -> Option<(Option<usize>, Option<String>)> {
        doubt_of(text.as_bytes(), Layout { delimiter, ..Layout::default() })
    }

    fn doubt_of(mut bytes: &[u8], layout: Layout) -> Option<(Option<usize>, Option<String>)> {
        let columns = Columns { name: "late".to_owned(), layout, channels: Vec::new(), note: None };
        let found = late_marks(&mut bytes, &columns).unwrap()?;
        Some((found.place.and_then(|place| place.line), found.found))
    }

    #[test]
    fn every_encoding_and_line_ending_is_looked_at() {
        let expected = Some((Some(40_003), Some("1.234".to_owned())));
        for ending in ["\n", "\r\n", "\r"] {
            let mut text = format!("rpm;torque °{ending}3000;180{ending}");
            text.push_str(&format!("3100;181{ending}").repeat(40_000));
            text.push_str(&format!("3200;1.234{ending}"));
            let wide = |bytes: fn(u16) -> [u8; 2], mark: [u8; 2]| {
                mark.into_iter().chain(text.encode_utf16().flat_map(bytes)).collect::<Vec<u8>>()
            };
            for (encoding, bytes) in [
                (Encoding::Utf8, text.clone().into_bytes()),
                (Encoding::Utf16Le, wide(u16::to_le_bytes, [0xff, 0xfe])),
                (Encoding::Utf16Be, wide(u16::to_be_bytes, [0xfe, 0xff])),
                (Encoding::Windows1252, text.replace('°', "\u{1}").into_bytes()),
            ] {
                let layout = Layout { delimiter: Delimiter::Semicolon, encoding, ..Layout::default() };
                assert_eq!(doubt_of(&bytes, layout), expected, "{encoding:?} {ending:?}");
            }
        }
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
