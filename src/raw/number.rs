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

/// Cuts spaces and no-break spaces off both ends.
#[inline]
pub(super) fn trim(mut cell: &[u8]) -> &[u8] {
    loop {
        match cell {
            [b' ' | b'\t', rest @ ..] => cell = rest,
            [rest @ .., b' ' | b'\t'] => cell = rest,
            [0xc2, 0xa0, rest @ ..] => cell = rest,
            [rest @ .., 0xc2, 0xa0] => cell = rest,
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

    proptest! {
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
