//! What must hold for any raw file: what is written comes back to the last bit, and no bytes make the reader fall over.
#![expect(clippy::unwrap_used, reason = "a test that cannot go on fails")]

use std::io::Read;

use mulebook::raw::{self, RawError};
use mulebook::record::channel::ChannelQuantity;
use mulebook::record::columns::{
    Column, Columns, Decimal, Delimiter, Encoding, FileFormat, Layout, SegmentRule, Skip, Thousands,
};
use proptest::prelude::*;

/// A table with a shape to write it in.
#[derive(Debug, Clone)]
struct Written {
    values: Vec<Vec<Option<f64>>>,
    layout: Layout,
    ending: &'static str,
    preamble: usize,
    quoted: bool,
    bom: bool,
    padding: usize,
    trailing: bool,
}

fn shape() -> impl Strategy<Value = Written> {
    let value = prop_oneof![
        8 => (-100_000_i64..100_000_000, 0_u32..6).prop_map(|(n, digits)| Some(n as f64 / 10_f64.powi(digits as i32))),
        2 => proptest::num::f64::NORMAL.prop_map(Some),
        1 => Just(None),
    ];
    let delimiter = prop_oneof![
        Just(Delimiter::Comma),
        Just(Delimiter::Semicolon),
        Just(Delimiter::Tab),
        Just(Delimiter::Pipe),
        Just(Delimiter::Spaces),
    ];
    let encoding = prop_oneof![
        Just(Encoding::Utf8),
        Just(Encoding::Utf16Le),
        Just(Encoding::Utf16Be),
        Just(Encoding::Windows1252),
    ];
    let thousands = prop_oneof![
        Just(Thousands::Off),
        Just(Thousands::Comma),
        Just(Thousands::Point),
        Just(Thousands::Space),
        Just(Thousands::Apostrophe),
    ];
    let ending = prop_oneof![Just("\n"), Just("\r\n"), Just("\r")];
    (1_usize..6).prop_flat_map(move |width| {
        let rows = prop::collection::vec(prop::collection::vec(value.clone(), width), 1..30);
        let flags = (any::<bool>(), any::<bool>(), 0_usize..4, any::<bool>(), 0_usize..5, any::<bool>());
        (rows, delimiter.clone(), encoding.clone(), thousands.clone(), ending.clone(), flags, any::<bool>())
            .prop_map(|(values, delimiter, encoding, thousands, ending, flags, comma)| {
                let (quoted, bom, padding, trailing, preamble, skip_to_header) = flags;
                let decimal = if comma { Decimal::Comma } else { Decimal::Point };
                let clash = (decimal == Decimal::Comma && thousands == Thousands::Comma)
                    || (decimal == Decimal::Point && thousands == Thousands::Point)
                    || (delimiter == Delimiter::Spaces && thousands == Thousands::Space);
                let layout = Layout {
                    format: FileFormat::Delimited,
                    encoding,
                    delimiter,
                    decimal,
                    thousands: if clash { Thousands::Off } else { thousands },
                    skip: if skip_to_header { Skip::ToHeader } else { Skip::Lines(preamble) },
                    ..Layout::default()
                };
                // Marks that part fields must be quoted when they stand in a number.
                let inside = (delimiter == Delimiter::Comma
                    && (comma || layout.thousands == Thousands::Comma))
                    || delimiter == Delimiter::Spaces;
                Written { values, layout, ending, preamble, quoted: quoted || inside, bom, padding, trailing }
            })
    })
}

fn grouped(whole: &str, mark: &str) -> String {
    let mut out = String::new();
    for (index, digit) in whole.chars().enumerate() {
        if index > 0 && (whole.len() - index).is_multiple_of(3) {
            out.push_str(mark);
        }
        out.push(digit);
    }
    out
}

fn written_number(value: f64, layout: &Layout) -> String {
    let plain = format!("{value}");
    let (sign, body) = plain.strip_prefix('-').map_or(("", plain.as_str()), |rest| ("-", rest));
    let (whole, fraction) = body.split_once('.').unwrap_or((body, ""));
    let mark = match layout.thousands {
        Thousands::Comma => ",",
        Thousands::Point => ".",
        Thousands::Space => "\u{a0}",
        Thousands::Apostrophe => "'",
        _ => "",
    };
    let decimal = if layout.decimal == Decimal::Comma { "," } else { "." };
    let tail = if fraction.is_empty() { String::new() } else { format!("{decimal}{fraction}") };
    format!("{sign}{}{tail}", grouped(whole, mark))
}

fn bytes_of(written: &Written) -> Vec<u8> {
    let layout = &written.layout;
    let mark = match layout.delimiter {
        Delimiter::Semicolon => ";",
        Delimiter::Tab => "\t",
        Delimiter::Pipe => "|",
        Delimiter::Spaces => " ",
        _ => ",",
    };
    let spaces = layout.delimiter == Delimiter::Spaces;
    let mut text = String::new();
    for line in 0..written.preamble {
        text.push_str(&format!("remark {line}{}", written.ending));
    }
    let width = written.values[0].len();
    let header: Vec<String> = (0..width).map(|n| format!("channel_{n}")).collect();
    text.push_str(&header.join(mark));
    text.push_str(written.ending);
    for row in &written.values {
        let cells: Vec<String> = row
            .iter()
            .map(|value| match value {
                None => "---".to_owned(),
                Some(value) => {
                    let number = written_number(*value, layout);
                    let quoted = if written.quoted { format!("\"{number}\"") } else { number };
                    format!("{}{quoted}", " ".repeat(written.padding))
                }
            })
            .collect();
        text.push_str(&cells.join(mark));
        if written.trailing && !spaces {
            text.push_str(mark);
        }
        text.push_str(written.ending);
    }
    match layout.encoding {
        Encoding::Utf16Le => {
            let mark: &[u8] = if written.bom { b"\xff\xfe" } else { b"" };
            mark.iter().copied().chain(text.encode_utf16().flat_map(u16::to_le_bytes)).collect()
        }
        Encoding::Utf16Be => {
            let mark: &[u8] = if written.bom { b"\xfe\xff" } else { b"" };
            mark.iter().copied().chain(text.encode_utf16().flat_map(u16::to_be_bytes)).collect()
        }
        Encoding::Windows1252 => text.chars().map(|c| u8::try_from(u32::from(c)).unwrap()).collect(),
        _ => {
            let mark: &[u8] = if written.bom { b"\xef\xbb\xbf" } else { b"" };
            mark.iter().copied().chain(text.into_bytes()).collect()
        }
    }
}

fn columns(width: usize, layout: Layout) -> Columns {
    let channels =
        (0..width).map(|n| Column::by_header(format!("channel_{n}"), ChannelQuantity::Other, None)).collect();
    Columns { name: "any".to_owned(), layout, channels, note: None }
}

fn read_back(bytes: &[u8], columns: &Columns) -> Result<Vec<Vec<f64>>, RawError> {
    let mut values = vec![Vec::new(); columns.channels.len()];
    raw::read(&mut { bytes }, columns, &mut |batch| {
        for (all, more) in values.iter_mut().zip(batch.columns) {
            all.extend_from_slice(more);
        }
    })?;
    Ok(values)
}

fn bits(values: &[f64]) -> Vec<Option<u64>> {
    values.iter().map(|v| (!v.is_nan()).then(|| v.to_bits())).collect()
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 400, ..ProptestConfig::default() })]

    #[test]
    fn a_table_in_any_shape_comes_back_to_the_last_bit(written in shape()) {
        let width = written.values[0].len();
        let columns = columns(width, written.layout.clone());
        let found = read_back(&bytes_of(&written), &columns);
        let found = found.unwrap();
        for channel in 0..width {
            let expected: Vec<Option<u64>> = written.values.iter().map(|row| row[channel].map(f64::to_bits)).collect();
            prop_assert_eq!(bits(&found[channel]), expected);
        }
    }

    /// Sniffing may ask or refuse; where it does neither, no number may come out other than it was written.
    #[test]
    fn sniffing_never_misreads(written in shape()) {
        // Without one number, a remark that ends in one is all that looks like a table.
        prop_assume!(written.values.iter().flatten().any(Option::is_some));
        let bytes = bytes_of(&written);
        let Ok(guess) = raw::sniff(&bytes, "any.csv", true, &[]) else {
            return Ok(());
        };
        if !guess.questions.is_empty() {
            return Ok(());
        }
        let columns = guess.into_columns("guessed");
        let Ok(found) = read_back(&bytes, &columns) else {
            return Ok(());
        };
        for (column, values) in columns.channels.iter().zip(&found) {
            let named = column.header.as_deref().and_then(|h| h.strip_prefix("channel_")?.parse().ok());
            let Some(channel) = named.or(column.position.map(|p| p - 1)).filter(|n: &usize| *n < written.values[0].len())
            else {
                continue;
            };
            // Sentinels among random numbers may be taken for missing; a number is never another number.
            let mut written_values = written.values.iter().map(|row| row[channel]);
            for value in values.iter().filter(|v| !v.is_nan()) {
                prop_assert!(
                    written_values.any(|w| w.is_some_and(|w| w.to_bits() == value.to_bits())),
                    "{value} was not written, or not in this order"
                );
            }
        }
    }

    #[test]
    fn no_bytes_make_it_fall_over(bytes in prop::collection::vec(any::<u8>(), 0..600)) {
        if let Ok(guess) = raw::sniff(&bytes, "any", true, &[]) {
            let columns = guess.into_columns("any");
            let _ = read_back(&bytes, &columns);
        }
        let _ = raw::sniff(&bytes, "any", false, &[]);
    }

    #[test]
    fn no_damage_to_a_workbook_makes_it_fall_over(places in prop::collection::vec((any::<prop::sample::Index>(), any::<u8>()), 1..6)) {
        let mut bytes = include_bytes!("fixtures/raw/sheet.xlsx").to_vec();
        for (place, byte) in places {
            let at = place.index(bytes.len());
            bytes[at] = byte;
        }
        if let Ok(guess) = raw::sniff(&bytes, "any.xlsx", true, &[]) {
            let columns = guess.into_columns("any");
            let _ = read_back(&bytes, &columns);
        }
    }

    #[test]
    fn no_text_makes_it_fall_over(text in "[0-9.,;:\\-+eE \t\r\n\"'#a-dNµ°(\\[\\])%/|]{0,400}", spaces in any::<bool>()) {
        let bytes = text.as_bytes();
        if let Ok(guess) = raw::sniff(bytes, "any.csv", true, &[]) {
            let columns = guess.into_columns("any");
            let _ = read_back(bytes, &columns);
        }
        let layout = Layout {
            delimiter: if spaces { Delimiter::Spaces } else { Delimiter::Semicolon },
            header_rows: 0,
            segments: SegmentRule::BlankLine,
            ..Layout::default()
        };
        let channels = vec![
            Column::by_position(1, "a", ChannelQuantity::Time, Some("s")),
            Column::by_position(2, "b", ChannelQuantity::Speed, Some("rpm")),
        ];
        let _ = read_back(bytes, &Columns { name: "any".to_owned(), layout, channels, note: None });
    }
}

/// Rows across many blocks, in every line ending, with quotes now and then.
#[test]
fn blocks_are_cut_behind_whole_rows() {
    for (ending, quotes) in [("\n", false), ("\r", false), ("\r\n", false), ("\n", true), ("\r\n", true)] {
        let mut text = format!("channel_0,note,channel_1{ending}");
        let mut expected = (Vec::new(), Vec::new());
        for row in 0..120_000_u32 {
            let (a, b) = (f64::from(row) / 8.0, f64::from(row % 977) / 4.0);
            let note = if quotes && row % 1000 == 7 {
                format!("\"two{ending}lines, \"\"{row}\"\"\"")
            } else {
                "steady".to_owned()
            };
            text.push_str(&format!("{a},{note},{b}{ending}"));
            expected.0.push(a);
            expected.1.push(b);
        }
        assert!(text.len() > 2 << 20);
        let found = read_back(text.as_bytes(), &columns(2, Layout::default())).unwrap();
        assert_eq!(bits(&found[0]), bits(&expected.0));
        assert_eq!(bits(&found[1]), bits(&expected.1));
    }
}

#[test]
fn lines_are_named_right_across_blocks() {
    let mut text = "channel_0,channel_1\n".to_owned();
    let mut odd = Vec::new();
    for row in 0..200_000_usize {
        if row % 50_021 == 50_000 {
            odd.push(row + 2);
            text.push_str("1,overload\n");
        } else {
            text.push_str(&format!("{row},{}\n", row % 7));
        }
    }
    let columns = columns(2, Layout::default());
    let mut lines = Vec::new();
    let summary =
        raw::read(&mut text.as_bytes(), &columns, &mut |batch| lines.extend_from_slice(batch.lines)).unwrap();
    let found: Vec<usize> = summary.doubts.iter().filter_map(|f| f.place.as_ref()?.line).collect();
    assert_eq!(odd.len(), 3);
    assert_eq!(found[..3], odd);
    assert_eq!(lines.len(), 200_000);
    assert!(lines.iter().enumerate().all(|(row, line)| *line == row as u64 + 2));
}

/// Bytes without end and without a line ending.
struct Endless;

impl Read for Endless {
    fn read(&mut self, buffer: &mut [u8]) -> std::io::Result<usize> {
        buffer.fill(b'7');
        Ok(buffer.len())
    }
}

#[test]
fn a_line_without_end_is_refused() {
    let found = raw::read(&mut Endless, &columns(1, Layout::default()), &mut |_| ());
    assert!(matches!(found, Err(RawError::LineTooLong { line: 1, .. })), "{found:?}");
    let body = "channel_0\n1\n2\n".as_bytes().chain(Endless);
    let found = raw::read(&mut { body }, &columns(1, Layout::default()), &mut |_| ());
    assert!(matches!(found, Err(RawError::LineTooLong { line: 4, .. })), "{found:?}");
}

#[test]
fn an_open_quote_is_refused_with_its_line() {
    let mut text = "channel_0,channel_1\n".to_owned();
    for row in 0..200_000 {
        text.push_str(&format!("{row},1\n"));
    }
    text.push_str("\"open,2\n3,4\n");
    let found = raw::read(&mut text.as_bytes(), &columns(2, Layout::default()), &mut |_| ());
    assert!(matches!(found, Err(RawError::QuoteOpen { line: 200_002 })), "{found:?}");
}

#[test]
fn a_record_that_does_not_fit_is_refused() {
    let other = columns(2, Layout::default());
    let found = raw::read(&mut "channel_0,channel_7\n1,2\n".as_bytes(), &other, &mut |_| ());
    assert!(
        matches!(found, Err(RawError::HeaderMissing { ref expected, .. }) if expected == "channel_1"),
        "{found:?}"
    );
    let found = raw::read(&mut "channel_0,channel_1,channel_1\n1,2,3\n".as_bytes(), &other, &mut |_| ());
    assert!(matches!(found, Err(RawError::HeaderRepeated { times: 2, .. })), "{found:?}");
    let mut by_place = columns(1, Layout { header_rows: 0, ..Layout::default() });
    by_place.channels = vec![Column::by_position(4, "d", ChannelQuantity::Other, None)];
    let found = raw::read(&mut "1,2,3\n".as_bytes(), &by_place, &mut |_| ());
    assert!(matches!(found, Err(RawError::ColumnMissing { position: 4, found: 3 })), "{found:?}");
    let found = raw::read(&mut "".as_bytes(), &other, &mut |_| ());
    assert!(matches!(found, Err(RawError::Empty)), "{found:?}");
}
