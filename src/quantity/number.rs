//! One number as written: its text, its value, and how fine its last digit is.

use super::error::{QuantityError, mismatch, quoted};

/// The most significant digits a number may have: those of the widest decimal format (IEEE 754 decimal128).
const MOST_DIGITS: usize = 34;
/// The largest power of ten of any digit: far above any figure, and squares and sums still stay finite.
const LARGEST_POWER: i32 = 100;
/// The most digits of a fraction's parts.
const MOST_FRACTION_DIGITS: usize = 6;

/// A number kept to the digit, as it was written.
#[derive(Debug, Clone, PartialEq)]
pub struct Number {
    text: String,
    value: f64,
    half_last_digit: f64,
}

impl Number {
    /// Reads a decimal (`.041`, `-1.250`, `1.2e3`) or a fraction of the rule (`11/32`, `1-11/32`, `1 11/32`).
    ///
    /// # Errors
    ///
    /// [`QuantityError::NotANumber`] for anything else, [`QuantityError::OutOfRange`] beyond 1e100 or finer than
    /// 1e-100, [`QuantityError::TooManyDigits`] beyond 34 digits.
    pub fn parse(text: &str) -> Result<Self, QuantityError> {
        let text = text.trim();
        let length = number_length(text);
        let whole_and_fraction = text.split_once(char::is_whitespace);
        if let Some((whole, fraction)) = whole_and_fraction
            && is_whole(whole)
            && is_proper_fraction(fraction.trim())
        {
            return Self::fraction(text, whole, fraction.trim());
        }
        if length == 0 || length < text.len() {
            return Err(not_a_number(text));
        }
        let unsigned = text.trim_start_matches(['+', '-', '−']);
        match unsigned.split_once('-') {
            Some((_, fraction)) if fraction.contains('/') => {
                let whole = text.trim_end_matches(fraction).trim_end_matches('-');
                Self::fraction(text, whole, fraction)
            }
            _ if text.contains('/') => {
                let sign = text.trim_end_matches(unsigned);
                Self::fraction(text, &format!("{sign}0"), unsigned)
            }
            _ => Self::decimal(text),
        }
    }

    /// The text as written.
    pub fn text(&self) -> &str {
        &self.text
    }

    /// The value, correctly rounded to the nearest double.
    pub fn value(&self) -> f64 {
        self.value
    }

    /// Half of the last digit's place: 0.0005 for `1.250`, 0.5 for `1200`, 50 for `1.2e3`.
    ///
    /// A fraction is read off a divided rule, to the nearest mark: half of its division, 1/64 for `11/32`.
    pub fn half_last_digit(&self) -> f64 {
        self.half_last_digit
    }

    fn decimal(text: &str) -> Result<Self, QuantityError> {
        let plain = text.replace('−', "-");
        let (mantissa, exponent) = plain.split_once(['e', 'E']).unwrap_or((&plain, "0"));
        let exponent: i32 = exponent.parse().map_err(|_| out_of_range(text))?;
        let decimals = mantissa.split_once('.').map_or(0, |(_, decimals)| decimals.len());
        let digits = mantissa.chars().filter(char::is_ascii_digit).skip_while(|digit| *digit == '0').count();
        // Digits first: then the places below fit an i32 with room to spare.
        if digits > MOST_DIGITS || decimals > MOST_DIGITS + LARGEST_POWER.unsigned_abs() as usize {
            return Err(QuantityError::TooManyDigits(mismatch(
                format!("{} with {} digits", quoted(text), digits.max(decimals)),
                format!("at most {MOST_DIGITS} digits"),
                "write what the instrument showed",
            )));
        }
        let last_place = i32::try_from(decimals).ok().and_then(|decimals| exponent.checked_sub(decimals));
        let first_place = i32::try_from(digits).ok().and_then(|digits| last_place?.checked_add(digits));
        let (Some(last_place), Some(first_place)) = (last_place, first_place) else {
            return Err(out_of_range(text));
        };
        if last_place < -LARGEST_POWER || first_place > LARGEST_POWER || last_place > LARGEST_POWER {
            return Err(out_of_range(text));
        }
        let value: f64 = plain.parse().map_err(|_| not_a_number(text))?;
        let half_last_digit: f64 = format!("5e{}", last_place - 1).parse().map_err(|_| out_of_range(text))?;
        Ok(Self { text: text.to_owned(), value, half_last_digit })
    }

    fn fraction(text: &str, whole: &str, fraction: &str) -> Result<Self, QuantityError> {
        let negative = whole.starts_with(['-', '−']);
        let whole = whole.trim_start_matches(['+', '-', '−']);
        let (numerator, denominator) = fraction.split_once('/').ok_or_else(|| not_a_number(text))?;
        if [whole, numerator, denominator].into_iter().any(|part| part.len() > MOST_FRACTION_DIGITS) {
            return Err(QuantityError::TooManyDigits(mismatch(
                quoted(text),
                format!("at most {MOST_FRACTION_DIGITS} digits in each part of a fraction"),
                "write it as a decimal",
            )));
        }
        let part = |part: &str| part.parse::<u32>().map_err(|_| not_a_number(text));
        let (whole, numerator, denominator) = (part(whole)?, part(numerator)?, part(denominator)?);
        if denominator == 0 {
            return Err(QuantityError::NotANumber(mismatch(
                quoted(text),
                "a fraction with something under the line",
                "write it as a decimal",
            )));
        }
        if whole > 0 && numerator >= denominator {
            return Err(QuantityError::Ambiguous(mismatch(
                quoted(text),
                "a whole number and a fraction below one",
                "write the fraction reduced, or as a decimal",
            )));
        }
        // Parts of six digits: numerator and denominator are exact in a double, so the quotient is correctly rounded.
        let denominator = f64::from(denominator);
        let magnitude = (f64::from(whole) * denominator + f64::from(numerator)) / denominator;
        Ok(Self {
            text: text.to_owned(),
            value: if negative { -magnitude } else { magnitude },
            half_last_digit: 0.5 / denominator,
        })
    }
}

/// How many bytes at the start of the text are one number, without a space in it; zero if none are.
pub(super) fn number_length(text: &str) -> usize {
    let bytes = text.as_bytes();
    let sign = if text.starts_with(['+', '-']) {
        1
    } else if text.starts_with('−') {
        '−'.len_utf8()
    } else {
        0
    };
    let whole = digits_from(bytes, sign);
    let mut end = sign + whole;
    let mut decimals = 0;
    let point = bytes.get(end) == Some(&b'.');
    if point {
        decimals = digits_from(bytes, end + 1);
        end += 1 + decimals;
    }
    if whole + decimals == 0 {
        return 0;
    }
    if !point {
        if let Some(fraction) = fraction_from(bytes, end) {
            return end + fraction;
        }
        if bytes.get(end) == Some(&b'-') {
            let numerator = digits_from(bytes, end + 1);
            if numerator > 0
                && let Some(fraction) = fraction_from(bytes, end + 1 + numerator)
            {
                return end + 1 + numerator + fraction;
            }
        }
    }
    if matches!(bytes.get(end), Some(b'e' | b'E')) {
        let signed = usize::from(matches!(bytes.get(end + 1), Some(b'+' | b'-')));
        let exponent = digits_from(bytes, end + 1 + signed);
        if exponent > 0 {
            end += 1 + signed + exponent;
        }
    }
    end
}

/// Whether the text is a whole number with or without a sign: what a mixed fraction begins with.
pub(super) fn is_whole(text: &str) -> bool {
    let digits = text.strip_prefix(['+', '-', '−']).unwrap_or(text);
    !digits.is_empty() && digits.bytes().all(|byte| byte.is_ascii_digit())
}

/// Whether the text is a fraction without a sign and without a whole number, below one.
pub(super) fn is_proper_fraction(text: &str) -> bool {
    let Some((numerator, denominator)) = text.split_once('/') else {
        return false;
    };
    let both = [numerator, denominator];
    both.into_iter().all(|part| is_whole(part) && part.starts_with(|first: char| first.is_ascii_digit()))
        && both.map(|part| part.parse::<u32>().unwrap_or(0)).is_sorted()
        && numerator != denominator
}

/// `/` and digits.
fn fraction_from(bytes: &[u8], start: usize) -> Option<usize> {
    let denominator = digits_from(bytes, start + 1);
    (bytes.get(start) == Some(&b'/') && denominator > 0).then_some(1 + denominator)
}

fn digits_from(bytes: &[u8], start: usize) -> usize {
    bytes.iter().skip(start).take_while(|byte| byte.is_ascii_digit()).count()
}

pub(super) fn not_a_number(text: &str) -> QuantityError {
    QuantityError::NotANumber(mismatch(
        quoted(text),
        "a number such as .041, 1.250 or 1-11/32",
        "write the number first, then its unit",
    ))
}

fn out_of_range(text: &str) -> QuantityError {
    QuantityError::OutOfRange(mismatch(
        quoted(text),
        format!("a number with no digit beyond 1e{LARGEST_POWER} or 1e-{LARGEST_POWER}"),
        "look for a slip in the exponent",
    ))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn read(text: &str) -> Result<(f64, f64), &'static str> {
        Number::parse(text)
            .map(|number| (number.value(), number.half_last_digit()))
            .map_err(|error| error.code())
    }

    #[test]
    fn a_decimal_knows_half_of_its_last_digit() {
        assert_eq!(read("1.250"), Ok((1.25, 0.0005)));
        assert_eq!(read("1200"), Ok((1200.0, 0.5)));
        assert_eq!(read("1.2e3"), Ok((1200.0, 50.0)));
        assert_eq!(read(".041"), Ok((0.041, 0.0005)));
        assert_eq!(read("-.005"), Ok((-0.005, 0.0005)));
        assert_eq!(read("−.005"), Ok((-0.005, 0.0005)));
        assert_eq!(read("+68."), Ok((68.0, 0.5)));
        assert_eq!(read("2.5E-3"), Ok((0.0025, 0.000_05)));
        assert_eq!(read("0.000"), Ok((0.0, 0.0005)));
    }

    #[test]
    fn a_fraction_is_read_to_half_of_its_division() {
        assert_eq!(read("11/32"), Ok((0.34375, 1.0 / 64.0)));
        assert_eq!(read("1-11/32"), Ok((1.34375, 1.0 / 64.0)));
        assert_eq!(read("1 11/32"), Ok((1.34375, 1.0 / 64.0)));
        assert_eq!(read("-1-11/32"), Ok((-1.34375, 1.0 / 64.0)));
        assert_eq!(read("-1 1/2"), Ok((-1.5, 0.25)));
        assert_eq!(read("-3/8"), Ok((-0.375, 1.0 / 16.0)));
        assert_eq!(read("35/32"), Ok((1.09375, 1.0 / 64.0)));
        assert_eq!(read("1/3"), Ok((1.0 / 3.0, 1.0 / 6.0)));
    }

    #[test]
    fn what_is_no_number_is_refused() {
        for text in
            ["", "-", ".", "+.", "1.2.3", "1e", "e5", "1/", "/2", "1/0", "1--2", "0x10", "1 2", "1_000"]
        {
            assert_eq!(read(text), Err("not-a-number"), "{text}");
        }
        assert_eq!(read("1 35/32"), Err("not-a-number"));
        assert_eq!(read("1-35/32"), Err("ambiguous-figure"));
    }

    #[test]
    fn sizes_have_limits() {
        for text in ["1e400", "1e101", "1e-101", "1e-400", "0e400", "1e99999999999", "-1e400", "1.5e-100"] {
            assert_eq!(read(text), Err("number-out-of-range"), "{text}");
        }
        assert_eq!(read("12345678901234567890123456789012345"), Err("too-many-digits"));
        assert!(read("1234567890123456789012345678901234").is_ok());
        assert_eq!(read("1/1234567"), Err("too-many-digits"));
    }

    #[test]
    fn values_are_correctly_rounded() {
        // 2^53 + 1 lies half way between two doubles and goes to the even one (IEEE 754).
        assert_eq!(read("9007199254740993"), Ok((9_007_199_254_740_992.0, 0.5)));
        assert_eq!(read("9007199254740993.1").map(|(value, _)| value), Ok(9_007_199_254_740_994.0));
    }
}
