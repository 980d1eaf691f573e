//! One cell of text to one number, exactly or not at all.

use crate::record::columns::Decimal;
use crate::record::columns::Thousands;

/// Words that never are a value, whatever the columns record says (compared without case).
pub(super) const MISSING_WORDS: [&str; 19] = [
    "nan", "-nan", "n/a", "na", "#n/a", "#na", "null", "none", "nil", "-", "--", "---", "----", "*", "?",
    "#div/0!", "#value!", "#ref!", "#null!",
];

/// Powers of ten that a double holds exactly.
const POWERS: [f64; 23] = [
    1e0, 1e1, 1e2, 1e3, 1e4, 1e5, 1e6, 1e7, 1e8, 1e9, 1e10, 1e11, 1e12, 1e13, 1e14, 1e15, 1e16, 1e17, 1e18,
    1e19, 1e20, 1e21, 1e22,
];

/// The longest cell that can be a number, in bytes; longer ones are text. The smallest double takes some 770 digits.
const LONGEST: usize = 1100;

/// How numbers are written in a file.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Marks {
    pub(super) decimal: Decimal,
    pub(super) thousands: Thousands,
}

impl Marks {
    /// The decimal mark as a byte.
    pub(super) fn decimal_byte(self) -> u8 {
        if self.decimal == Decimal::Comma { b',' } else { b'.' }
    }

    /// Whether numbers are written as the language of machines has them: a decimal point and nothing else.
    fn are_plain(self) -> bool {
        self.decimal == Decimal::Point && self.thousands == Thousands::Off
    }

    /// The cell's number, correctly rounded, or `None` where the cell is not wholly a number so written.
    pub(super) fn number(self, cell: &[u8]) -> Option<f64> {
        if self.are_plain() && !cell.starts_with(MINUS_SIGN) {
            return plain(cell);
        }
        let mut digits = [0_u8; LONGEST];
        let length = self.plainly(cell, &mut digits)?;
        plain(digits.get(..length)?)
    }

    /// Writes the cell with a decimal point and without thousands marks.
    pub(super) fn plainly(self, cell: &[u8], out: &mut [u8; LONGEST]) -> Option<usize> {
        if cell.len() > LONGEST {
            return None;
        }
        let decimal = self.decimal_byte();
        let mut length = 0;
        let mut rest = cell;
        // Digits since the last thousands mark; `None` before the first mark.
        let mut group: Option<usize> = None;
        let mut whole_digits = 0;
        let mut in_whole = true;
        if let Some(after) = rest.strip_prefix(MINUS_SIGN) {
            rest = after;
            out[0] = b'-';
            length = 1;
        }
        while let Some((&byte, after)) = rest.split_first() {
            let next = if byte.is_ascii_digit() {
                if in_whole {
                    whole_digits += 1;
                    group = group.map(|n| n + 1);
                }
                byte
            } else if byte == decimal && in_whole {
                in_whole = false;
                b'.'
            } else if in_whole && let Some(width) = self.thousands_mark(rest) {
                let full = match group {
                    None => (1..=3).contains(&whole_digits),
                    Some(digits) => digits == 3,
                };
                if !full {
                    return None;
                }
                group = Some(0);
                rest = rest.get(width..)?;
                continue;
            } else if matches!(byte, b'+' | b'-' | b'e' | b'E') {
                if matches!(byte, b'e' | b'E') {
                    in_whole = false;
                }
                byte
            } else {
                return None;
            };
            *out.get_mut(length)? = next;
            length += 1;
            rest = after;
        }
        (group.is_none() || group == Some(3)).then_some(length)
    }

    fn thousands_mark(self, rest: &[u8]) -> Option<usize> {
        let marks: &[&[u8]] = match self.thousands {
            Thousands::Comma => &[b","],
            Thousands::Point => &[b"."],
            // A space, a no-break space, a narrow no-break space, a thin space.
            Thousands::Space => &[b" ", b"\xc2\xa0", b"\xe2\x80\xaf", b"\xe2\x80\x89"],
            Thousands::Apostrophe => &[b"'", b"\xe2\x80\x99"],
            _ => &[],
        };
        marks.iter().find(|mark| rest.starts_with(mark)).map(|mark| mark.len())
    }
}

/// The typographic minus sign, in UTF-8.
const MINUS_SIGN: &[u8] = b"\xe2\x88\x92";

/// A number with a decimal point and no thousands marks, correctly rounded.
pub(super) fn plain(cell: &[u8]) -> Option<f64> {
    let (value, used) = leading(cell, b'.')?;
    (used == cell.len()).then_some(value)
}

/// The number at the start of `text`, with `mark` as its decimal mark, and how many bytes it takes; `None` where no
/// finite number stands there, or one that needs more care than one pass gives.
#[inline]
pub(super) fn leading(text: &[u8], mark: u8) -> Option<(f64, usize)> {
    let mut at = 0;
    let negative = match text.first() {
        Some(b'-') => {
            at = 1;
            true
        }
        Some(b'+') => {
            at = 1;
            false
        }
        _ => false,
    };
    if let Some(short) = text.get(at..).and_then(|rest| short(rest, mark)) {
        let magnitude = short.value();
        return Some((if negative { -magnitude } else { magnitude }, at + short.used));
    }
    let mut mantissa: u64 = 0;
    let mut digits = 0_usize;
    while let Some(digit) = text.get(at).map(|b| b.wrapping_sub(b'0')).filter(|d| *d < 10) {
        mantissa = mantissa.wrapping_mul(10).wrapping_add(u64::from(digit));
        digits += 1;
        at += 1;
    }
    let mut decimals = 0_usize;
    if text.get(at) == Some(&mark) {
        at += 1;
        while let Some(digit) = text.get(at).map(|b| b.wrapping_sub(b'0')).filter(|d| *d < 10) {
            mantissa = mantissa.wrapping_mul(10).wrapping_add(u64::from(digit));
            decimals += 1;
            at += 1;
        }
    }
    if digits + decimals == 0 {
        return None;
    }
    let exponent = matches!(text.get(at), Some(b'e' | b'E'));
    // Up to 19 digits fit the mantissa; below 2^53 it and the power of ten are exact doubles, so that one division
    // rounds once, which is correct rounding (Clinger 1990).
    if !exponent && digits + decimals <= 19 && mantissa <= 1 << 53 && decimals < POWERS.len() {
        #[expect(clippy::cast_precision_loss, reason = "at most 2^53, which a double holds exactly")]
        let magnitude = mantissa as f64 / POWERS[decimals];
        return Some((if negative { -magnitude } else { magnitude }, at));
    }
    if mark != b'.' {
        return None;
    }
    if exponent {
        let mut end = at + 1;
        if matches!(text.get(end), Some(b'+' | b'-')) {
            end += 1;
        }
        let first = end;
        while text.get(end).is_some_and(u8::is_ascii_digit) {
            end += 1;
        }
        if end == first {
            return None;
        }
        at = end;
    }
    let value: f64 = std::str::from_utf8(text.get(..at)?).ok()?.parse().ok()?;
    value.is_finite().then_some((value, at))
}

/// Digits with at most one mark among them, and how many bytes they take.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
struct Short {
    mantissa: u64,
    decimals: usize,
    used: usize,
}

impl Short {
    /// One division of two exact doubles, as in [`leading`].
    #[inline]
    fn value(self) -> f64 {
        #[expect(clippy::cast_precision_loss, reason = "at most 15 digits, which a double holds exactly")]
        let mantissa = self.mantissa as f64;
        mantissa / POWERS[self.decimals]
    }
}

/// The digit zero in each byte of a word.
const ZEROS: u64 = 0x3030_3030_3030_3030;
const ZEROS_16: u128 = 0x3030_3030_3030_3030_3030_3030_3030_3030;

/// Reads a number that ends, with the byte after it, within eight or sixteen bytes: all digits at once in one or two
/// machine words. `None` says nothing about what stands there; [`leading`] then looks at byte after byte.
#[inline]
fn short(text: &[u8], mark: u8) -> Option<Short> {
    if let Some(bytes) = text.first_chunk::<8>() {
        let word = u64::from_le_bytes(*bytes);
        if let Some((whole, end)) = extent(u128::from(no_digits(word)), bytes, mark) {
            let digits = end - usize::from(whole < end);
            if digits == 0 || matches!(bytes[end], b'e' | b'E') {
                return None;
            }
            let below = (1 << (8 * whole)) - 1;
            let joined = if whole < end { (word & below) | ((word >> 8) & !below) } else { word };
            // What follows the digits is shifted out; the zeros shifted in are leading ones.
            let aligned = (joined ^ ZEROS) << (64 - 8 * digits);
            return Some(Short { mantissa: eight_digits(aligned), decimals: digits - whole, used: end });
        }
    }
    let bytes = text.first_chunk::<16>()?;
    let word = u128::from_le_bytes(*bytes);
    let (low, high) = halves(word);
    let others = u128::from(no_digits(low)) | (u128::from(no_digits(high)) << 64);
    let (whole, end) = extent(others, bytes, mark)?;
    let digits = end - usize::from(whole < end);
    if digits == 0 || matches!(bytes[end], b'e' | b'E') {
        return None;
    }
    let below = (1 << (8 * whole)) - 1;
    let joined = if whole < end { (word & below) | ((word >> 8) & !below) } else { word };
    let (first, last) = halves((joined ^ ZEROS_16) << (128 - 8 * digits));
    let mantissa = eight_digits(first) * 100_000_000 + eight_digits(last);
    Some(Short { mantissa, decimals: digits - whole, used: end })
}

/// The high bit of each byte that is no digit.
#[inline]
fn no_digits(word: u64) -> u64 {
    let digits = word ^ ZEROS;
    // 0 to 9 stay below the high bit, 10 to 127 reach it, and no byte carries into the next.
    (((digits & 0x7f7f_7f7f_7f7f_7f7f) + 0x7676_7676_7676_7676) | digits) & 0x8080_8080_8080_8080
}

/// Where the digits before the mark end, and where the number does; the same where there is no mark.
#[inline]
fn extent(others: u128, bytes: &[u8], mark: u8) -> Option<(usize, usize)> {
    let place = |bits: u128| (bits != 0).then(|| bits.trailing_zeros() as usize / 8);
    let whole = place(others)?;
    if bytes.get(whole) != Some(&mark) {
        return Some((whole, whole));
    }
    place(others & (others - 1)).map(|end| (whole, end))
}

/// The value of eight digits, the first in the lowest byte, each byte 0 to 9: pairs, then fours, then all (the way of
/// D. Lemire, "Quickly parsing eight digits", 2018, from memory).
#[inline]
fn eight_digits(digits: u64) -> u64 {
    let pairs = digits.wrapping_mul(10).wrapping_add(digits >> 8);
    let outer = (pairs & 0x0000_00ff_0000_00ff).wrapping_mul(0x000f_4240_0000_0064);
    let inner = ((pairs >> 16) & 0x0000_00ff_0000_00ff).wrapping_mul(0x0000_2710_0000_0001);
    outer.wrapping_add(inner) >> 32
}

#[inline]
fn halves(word: u128) -> (u64, u64) {
    #[expect(clippy::cast_possible_truncation, reason = "the lower half is wanted")]
    let low = word as u64;
    let high = (word >> 64) as u64;
    (low, high)
}

/// Cuts spaces and no-break spaces off both ends, and a byte order mark off the front.
#[inline]
pub(super) fn trim(mut cell: &[u8]) -> &[u8] {
    loop {
        match cell {
            [b' ' | b'\t', rest @ ..] => cell = rest,
            [rest @ .., b' ' | b'\t'] => cell = rest,
            [0xc2, 0xa0, rest @ ..] => cell = rest,
            [rest @ .., 0xc2, 0xa0] => cell = rest,
            // A byte order mark in the middle is left where files were joined.
            [0xef, 0xbb, 0xbf, rest @ ..] => cell = rest,
            _ => return cell,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn marks(decimal: Decimal, thousands: Thousands) -> Marks {
        Marks { decimal, thousands }
    }

    #[test]
    fn numbers_are_read_whole_or_not_at_all() {
        let plain_marks = marks(Decimal::Point, Thousands::Off);
        for (text, value) in [
            ("12.5", 12.5),
            ("-0.25", -0.25),
            ("+3", 3.0),
            (".5", 0.5),
            ("5.", 5.0),
            ("1e3", 1000.0),
            ("−7", -7.0),
        ] {
            assert_eq!(plain_marks.number(text.as_bytes()), Some(value), "{text}");
        }
        for text in [
            "", "-", ".", "1,234", "1.2.3", "12 5", "0x10", "1e", "1e999", "inf", "nan", "12.5 Nm", "1'000",
            "--1",
        ] {
            assert_eq!(plain_marks.number(text.as_bytes()), None, "{text}");
        }
    }

    #[test]
    fn thousands_marks_part_groups_of_three() {
        let german = marks(Decimal::Comma, Thousands::Point);
        assert_eq!(german.number(b"1.234,5"), Some(1234.5));
        assert_eq!(german.number(b"1.234.567"), Some(1_234_567.0));
        assert_eq!(german.number(b"12,5"), Some(12.5));
        assert_eq!(german.number(b"1.23"), None);
        assert_eq!(german.number(b"1234.567"), None);
        assert_eq!(german.number(b".123"), None);
        assert_eq!(german.number(b"1.2345"), None);
        assert_eq!(marks(Decimal::Comma, Thousands::Off).number(b"1.234"), None);
        assert_eq!(marks(Decimal::Point, Thousands::Comma).number(b"12,345.75"), Some(12345.75));
        assert_eq!(marks(Decimal::Comma, Thousands::Space).number("1\u{202f}234,5".as_bytes()), Some(1234.5));
        assert_eq!(marks(Decimal::Point, Thousands::Apostrophe).number(b"1'234.5"), Some(1234.5));
    }

    #[test]
    fn a_number_at_the_edge_of_a_machine_word_is_read_as_any_other() {
        for (text, value, used) in [
            ("1234567,", 1_234_567.0, 7),
            ("12345678,9", 12_345_678.0, 8),
            ("123.4567,", 123.4567, 8),
            ("123456.7", 123_456.7, 8),
            ("0.000001\n2", 0.000_001, 8),
            ("123456789012345,1", 123_456_789_012_345.0, 15),
            ("1234567.89012345,", 1_234_567.890_123_45, 16),
            ("12.5.7,,,", 12.5, 4),
            ("7.,,,,,,,", 7.0, 2),
            (".5,,,,,,,", 0.5, 2),
            ("1e3,,,,,,", 1000.0, 3),
            ("-0.25;;;;;;", -0.25, 5),
            ("5/8:;<=>?@", 5.0, 1),
            ("9\u{b9}\u{b2}\u{b3}\u{bc}", 9.0, 1),
        ] {
            assert_eq!(leading(text.as_bytes(), b'.'), Some((value, used)), "{text}");
        }
        for text in [".,,,,,,,,", ",1234567,", "abcdefgh", "-.,,,,,,,,,,,,,,,"] {
            assert_eq!(leading(text.as_bytes(), b'.'), None, "{text}");
        }
        assert_eq!(leading(b"3,25;1.5;", b','), Some((3.25, 4)));
        assert_eq!(leading(b"3.25;1,5;", b','), Some((3.0, 1)));
    }

    proptest! {
        #[test]
        fn what_follows_a_number_does_not_change_it(
            text in "[0-9]{0,10}(\\.[0-9]{0,10})?",
            after in "[,;\n /:@eE.]?[,;0-9.x ]{0,24}",
        ) {
            // Without room for a machine word, byte after byte is read: the two must agree.
            let whole = format!("{text}{after}");
            let end = leading(whole.as_bytes(), b'.').map_or(text.len(), |(_, used)| used);
            let alone: Option<f64> = whole.get(..end).and_then(|number| number.parse().ok());
            let found = leading(whole.as_bytes(), b'.').map(|(value, _)| value.to_bits());
            prop_assert_eq!(found, alone.filter(|_| found.is_some()).map(f64::to_bits));
            let next = whole.as_bytes().get(end);
            prop_assert!(found.is_none() || !next.is_some_and(u8::is_ascii_digit));
        }

        #[test]
        fn every_double_comes_back_to_the_last_bit(value in proptest::num::f64::NORMAL | proptest::num::f64::ZERO) {
            let text = format!("{value}");
            prop_assert_eq!(plain(text.as_bytes()).map(f64::to_bits), Some(value.to_bits()));
            let text = format!("{value:e}");
            prop_assert_eq!(plain(text.as_bytes()).map(f64::to_bits), Some(value.to_bits()));
        }

        #[test]
        fn decimals_round_as_the_standard_library_does(text in "-?[0-9]{1,24}(\\.[0-9]{0,24})?") {
            let expected: f64 = text.parse().unwrap();
            prop_assert_eq!(plain(text.as_bytes()).map(f64::to_bits), Some(expected.to_bits()));
        }
    }
}
