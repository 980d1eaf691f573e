//! Takes a written figure apart: numbers, unit, what follows `±`. Knows the shapes, not the units' meaning.

use super::error::{QuantityError, is_hidden, mismatch, quoted};
use super::number::{Number, is_proper_fraction, is_whole, not_a_number, number_length};
use super::unit::is_spelling;

/// The most values in one figure: one for each valve of the largest engine, and to spare.
const MOST_VALUES: usize = 64;
/// The longest figure, in bytes: 64 numbers of 34 digits with their signs and spaces, and a unit.
const LONGEST_FIGURE: usize = 4096;
/// The largest coverage factor that anyone states.
const LARGEST_COVERAGE: f64 = 10.0;
/// How people write plus or minus.
const PLUS_MINUS: [&str; 5] = ["±", "+/-", "+/−", "+-", "+−"];

/// A figure taken apart.
pub(super) struct Parts<'a> {
    pub(super) numbers: Vec<Number>,
    /// The text between the numbers and `±` or the end; may be empty.
    pub(super) unit: &'a str,
    pub(super) limit: Option<Limit>,
}

/// What follows `±`.
pub(super) struct Limit {
    pub(super) number: Number,
    /// May be empty.
    pub(super) unit: String,
    pub(super) coverage: Option<f64>,
}

/// Takes a figure apart: numbers, unit, `±`.
pub(super) fn take_apart(text: &str) -> Result<Parts<'_>, QuantityError> {
    check_characters(text)?;
    let (body, limit) = split_at_plus_minus(text)?;
    let (numbers, unit) = numbers_and_unit(body)?;
    let limit = limit.map(limit_after).transpose()?;
    Ok(Parts { numbers, unit, limit })
}

/// Takes an uncertainty that stands alone apart: `±0.2 cc`, `±0.2 cc k=2`.
pub(super) fn take_limit_apart(text: &str) -> Result<Limit, QuantityError> {
    check_characters(text)?;
    match split_at_plus_minus(text)? {
        (before, Some(after)) if before.trim().is_empty() => limit_after(after),
        _ => Err(QuantityError::Uncertainty(mismatch(
            quoted(text),
            "an uncertainty such as ±0.2 cc",
            "begin with ± or +/-",
        ))),
    }
}

fn check_characters(text: &str) -> Result<(), QuantityError> {
    if text.trim().is_empty() {
        return Err(QuantityError::Empty(mismatch(
            "no text",
            "a number and its unit",
            "write unknown with a reason if it is not known",
        )));
    }
    if text.len() > LONGEST_FIGURE {
        return Err(QuantityError::TooManyValues(mismatch(
            format!("{} bytes of text", text.len()),
            format!("at most {LONGEST_FIGURE}"),
            "a series of values belongs in a raw file",
        )));
    }
    if let Some(hidden) = text.chars().find(|character| is_hidden(*character)) {
        return Err(QuantityError::HiddenCharacter(mismatch(
            format!("U+{:04X} in {}", u32::from(hidden), quoted(text)),
            "characters that can be seen, and spaces",
            "type the figure again by hand",
        )));
    }
    let unusual = |character: &char| {
        character.is_numeric() && !character.is_ascii_digit() && !matches!(character, '²' | '³' | '₂' | '¹')
    };
    if let Some(digit) = text.chars().find(unusual) {
        return Err(QuantityError::UnusualDigit(mismatch(
            format!("{digit:?} in {}", quoted(text)),
            "digits 0 to 9",
            "write a fraction as 1/2 and every digit as 0 to 9",
        )));
    }
    let mut before = ' ';
    for (index, character) in text.char_indices() {
        if character == ',' && before.is_ascii_digit() {
            return Err(comma(text, index));
        }
        before = character;
    }
    Ok(())
}

fn comma(text: &str, index: usize) -> QuantityError {
    let (left, right) = text.split_at(index);
    let right = right.trim_start_matches(',');
    let hint = if right.starts_with(|next: char| next.is_ascii_digit()) {
        let whole = left.rsplit(|c: char| !c.is_ascii_digit()).next().unwrap_or("");
        let tail: String = right.chars().take_while(char::is_ascii_digit).collect();
        let pointed = format!("{whole}.{tail}");
        if tail.len() == 3 {
            format!("use the decimal point: {pointed}, or no separator: {whole}{tail}")
        } else {
            format!("use the decimal point: {pointed}")
        }
    } else {
        "put a space, and no comma, between values".to_owned()
    };
    QuantityError::Comma(mismatch(quoted(text), "numbers with a decimal point", hint))
}

fn split_at_plus_minus(text: &str) -> Result<(&str, Option<&str>), QuantityError> {
    let first = PLUS_MINUS
        .into_iter()
        .filter_map(|mark| text.find(mark).map(|at| (at, mark)))
        .min_by_key(|(at, _)| *at);
    let Some((at, mark)) = first else {
        return Ok((text, None));
    };
    let (before, marked) = text.split_at(at);
    let after = marked.strip_prefix(mark).unwrap_or(marked);
    if PLUS_MINUS.into_iter().any(|mark| after.contains(mark)) {
        return Err(QuantityError::Uncertainty(mismatch(
            quoted(text),
            "one ± for all values",
            "write ± once, behind the last value",
        )));
    }
    Ok((before, Some(after)))
}

fn numbers_and_unit(body: &str) -> Result<(Vec<Number>, &str), QuantityError> {
    let mut numbers = Vec::new();
    let mut rest = body.trim();
    let mut mixed = false;
    let mut lone_whole = false;
    loop {
        // A code that begins with a digit (75.m.kgf/s) is a unit once a number stands before it.
        if rest.is_empty() || (!numbers.is_empty() && is_spelling(rest)) {
            break;
        }
        let length = number_length(rest);
        if length == 0 {
            break;
        }
        let (mut token, mut after) = rest.split_at(length);
        if is_whole(token)
            && let Some(fraction) = fraction_behind_space(after)
        {
            (token, after) = rest.split_at(length + fraction);
            mixed = true;
        } else if is_whole(token) {
            lone_whole = true;
        }
        if numbers.len() == MOST_VALUES {
            return Err(QuantityError::TooManyValues(mismatch(
                format!("more than {MOST_VALUES} values"),
                format!("at most {MOST_VALUES}"),
                "a series of values belongs in a raw file",
            )));
        }
        refuse_range(body, token, after)?;
        if after.starts_with(['.', '+', '-', '−', '_']) {
            return Err(not_a_number(body));
        }
        numbers.push(Number::parse(token)?);
        rest = after.trim_start();
    }
    if numbers.is_empty() {
        return Err(no_number(body));
    }
    if rest.starts_with("/-") || rest.starts_with("/+") {
        return Err(QuantityError::Uncertainty(mismatch(
            quoted(body.trim()),
            "one limit for both sides",
            "write the middle of the interval and ± half its width",
        )));
    }
    if mixed && lone_whole {
        return Err(QuantityError::Ambiguous(mismatch(
            quoted(body.trim()),
            "values that can be told apart",
            "join a whole number to its fraction with a hyphen: 1-11/32",
        )));
    }
    Ok((numbers, rest))
}

/// Length of ` 11/32` at the start of the text, if a fraction below one follows a space: it belongs to the whole number
/// before it.
fn fraction_behind_space(after: &str) -> Option<usize> {
    let trimmed = after.trim_start();
    let space = after.len() - trimmed.len();
    let length = number_length(trimmed);
    let fraction = trimmed.get(..length)?;
    (space > 0 && is_proper_fraction(fraction)).then_some(space + length)
}

fn refuse_range(body: &str, token: &str, after: &str) -> Result<(), QuantityError> {
    let trimmed = after.trim_start();
    let spaced = trimmed.len() < after.len();
    let upper = ["to ", "..", "–", "—", "- ", "-", "−"]
        .into_iter()
        .find_map(|mark| trimmed.strip_prefix(mark).map(|upper| (mark, upper)));
    if is_spelling(trimmed) {
        return Ok(());
    }
    // ` -.005` is a second, negative value: a minus sign with a space before and none behind.
    let Some((mark, upper)) = upper.filter(|(mark, _)| !(spaced && matches!(*mark, "-" | "−"))) else {
        return Ok(());
    };
    let upper = upper.trim_start().trim_start_matches('.');
    let length = number_length(upper);
    if length == 0 {
        return Ok(());
    }
    let ends = [token, upper.get(..length).unwrap_or_default()].map(Number::parse);
    let hint = match ends {
        [Ok(low), Ok(high)] => {
            let half = (high.value() - low.value()).abs() / 2.0;
            let finest = low.half_last_digit().min(high.half_last_digit());
            let decimals = decimals_of(finest);
            format!(
                "write the values one after the other, or the middle and its limit: {:.decimals$} ±{half:.decimals$}",
                (low.value() + high.value()) / 2.0,
            )
        }
        _ => "write the values one after the other, or the middle and its limit".to_owned(),
    };
    Err(QuantityError::Range(mismatch(
        format!("{} with {}", quoted(body.trim()), quoted(mark.trim())),
        "one value, or several with spaces between them",
        hint,
    )))
}

/// Decimals that show half a digit of this size.
fn decimals_of(half_last_digit: f64) -> usize {
    (0..12_usize)
        .zip(std::iter::successors(Some(1.0_f64), |place| Some(place / 10.0)))
        .find(|(_, place)| *place <= half_last_digit)
        .map_or(12, |(decimals, _)| decimals)
}

fn no_number(body: &str) -> QuantityError {
    let body = body.trim();
    let letters: String = body
        .trim_start_matches(['+', '-', '−'])
        .chars()
        .take_while(|character| character.is_alphabetic() || *character == '∞')
        .collect();
    match letters.to_lowercase().as_str() {
        "nan" | "inf" | "infinity" | "∞" => QuantityError::OutOfRange(mismatch(
            quoted(body),
            "a finite number",
            "write unknown with a reason if it is not known",
        )),
        _ => not_a_number(body),
    }
}

fn limit_after(after: &str) -> Result<Limit, QuantityError> {
    let after = after.trim();
    let expected = "a number above zero, and k=2 behind it if it is an expanded uncertainty";
    let refused =
        |hint: &str| QuantityError::Uncertainty(mismatch(format!("± {}", quoted(after)), expected, hint));
    let length = number_length(after);
    if length == 0 {
        return Err(refused("write the limit behind ±, such as ±0.2"));
    }
    let (token, rest) = after.split_at(length);
    let number = Number::parse(token)?;
    if number.value() <= 0.0 || token.starts_with(['+', '-', '−']) {
        return Err(refused("leave ± out if the limit is not known"));
    }
    let (unit, coverage) = split_coverage(rest).map_err(refused)?;
    if number_length(unit.trim_start()) > 0 && !is_spelling(&unit) {
        return Err(refused("write one limit for all values, and the unit once, at the end"));
    }
    Ok(Limit { number, unit, coverage })
}

/// The unit text and the coverage factor of ` cc k=2`, `k=2 cc` or ` cc (k=2)`.
fn split_coverage(rest: &str) -> Result<(String, Option<f64>), &'static str> {
    let Some((before, behind)) = rest.split_once('=') else {
        return Ok((rest.trim().to_owned(), None));
    };
    let hint = "the coverage factor is written k=2";
    let before = before.trim_end().strip_suffix(['k', 'K']).ok_or(hint)?;
    if before.ends_with(|last: char| last.is_alphanumeric()) {
        return Err(hint);
    }
    let behind = behind.trim_start();
    let (factor, behind) = behind.split_at(number_length(behind));
    let coverage = Number::parse(factor).map_err(|_| hint)?.value();
    if !(coverage > 0.0 && coverage <= LARGEST_COVERAGE) {
        return Err("the coverage factor lies above 0 and at most 10");
    }
    let before = before.trim_end().trim_end_matches(['(', ',', ';']).trim();
    let behind = behind.trim_start().trim_start_matches([')', ',', ';']).trim();
    match (before.is_empty(), behind.is_empty()) {
        (false, false) => Err("write the unit once"),
        (true, _) => Ok((behind.to_owned(), Some(coverage))),
        (_, true) => Ok((before.to_owned(), Some(coverage))),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::quantity::{QuantityKind as Kind, parse_reading, parse_uncertainty};

    fn refusal(text: &str, kind: Kind) -> QuantityError {
        match parse_reading(text, kind, None) {
            Ok(reading) => panic!("{text:?} was read as {reading:?}"),
            Err(error) => error,
        }
    }

    #[test]
    fn each_refusal_has_its_own_code() {
        for (text, kind, code) in [
            ("", Kind::Length, "no-figure"),
            (" \u{a0} ", Kind::Length, "no-figure"),
            ("NaN mm", Kind::Length, "number-out-of-range"),
            ("-inf mm", Kind::Length, "number-out-of-range"),
            ("Infinity", Kind::Length, "number-out-of-range"),
            ("∞ mm", Kind::Length, "number-out-of-range"),
            ("1e400 mm", Kind::Length, "number-out-of-range"),
            ("48,1 cc", Kind::Volume, "comma-in-figure"),
            ("1,250 rpm", Kind::RotationalSpeed, "comma-in-figure"),
            ("48.1, 48.0 cc", Kind::Volume, "comma-in-figure"),
            ("48.1 ±0,2 cc", Kind::Volume, "comma-in-figure"),
            ("12 mm", Kind::Torque, "wrong-unit"),
            ("12 psig", Kind::PressureAbsolute, "wrong-unit"),
            ("31 deg", Kind::Timing, "wrong-unit"),
            ("12", Kind::Length, "no-unit"),
            ("12 ±0.1", Kind::Length, "no-unit"),
            ("12.8", Kind::AirFuelRatio, "no-unit"),
            ("12 furlongs", Kind::Length, "unknown-unit"),
            ("64 cc measured twice", Kind::Volume, "trailing-words"),
            ("64 cc 65 cc", Kind::Volume, "trailing-words"),
            ("64 cc k=2", Kind::Volume, "trailing-words"),
            ("-460 degF", Kind::Temperature, "below-zero"),
            ("-1 psia", Kind::PressureAbsolute, "below-zero"),
            ("20 -300 degC", Kind::Temperature, "below-zero"),
            ("12\tmm", Kind::Length, "hidden-character"),
            ("12\u{200b} mm", Kind::Length, "hidden-character"),
            ("\u{202e}12 mm", Kind::Length, "hidden-character"),
            ("12 mm\n13 mm", Kind::Length, "hidden-character"),
            ("١٢ mm", Kind::Length, "unusual-digit"),
            ("１２ mm", Kind::Length, "unusual-digit"),
            ("1½ in", Kind::Length, "unusual-digit"),
            ("0.30-0.35 mm", Kind::Length, "range-as-figure"),
            ("0.30 - 0.35 mm", Kind::Length, "range-as-figure"),
            ("0.30–0.35 mm", Kind::Length, "range-as-figure"),
            ("0.30..0.35 mm", Kind::Length, "range-as-figure"),
            ("0.30 to 0.35 mm", Kind::Length, "range-as-figure"),
            ("1-2 in", Kind::Length, "range-as-figure"),
            ("1 2 11/32 in", Kind::Length, "ambiguous-figure"),
            ("48.1 +0.2/-0.1 cc", Kind::Volume, "bad-uncertainty"),
            ("48.1 ± cc", Kind::Volume, "bad-uncertainty"),
            ("48.1 ±0 cc", Kind::Volume, "bad-uncertainty"),
            ("48.1 ±-0.2 cc", Kind::Volume, "bad-uncertainty"),
            ("48.1 ±0.2 ±0.3 cc", Kind::Volume, "bad-uncertainty"),
            ("48.1 ±0.2 0.3 cc", Kind::Volume, "bad-uncertainty"),
            ("48.1 ±0.2 cc k=0", Kind::Volume, "bad-uncertainty"),
            ("48.1 ±0.2 cc k=two", Kind::Volume, "bad-uncertainty"),
            ("48.1 ±0.2 cc p=95", Kind::Volume, "bad-uncertainty"),
            ("48.1 ±2 % cc", Kind::Volume, "unknown-unit"),
            ("48.1 cc ±2 %", Kind::Volume, "wrong-unit"),
            ("±0.2 cc", Kind::Volume, "not-a-number"),
            ("cc", Kind::Volume, "not-a-number"),
            ("about 48 cc", Kind::Volume, "not-a-number"),
            ("1.2.3 mm", Kind::Length, "not-a-number"),
            ("12345678901234567890123456789012345 mm", Kind::Length, "too-many-digits"),
        ] {
            assert_eq!(refusal(text, kind).code(), code, "{text:?}: {}", refusal(text, kind));
        }
    }

    #[test]
    fn every_refusal_shows_both_sides_and_the_way_out() {
        for text in ["", "48,1 cc", "12 mm", "48", "48 cx", "48 cc or so", "0.3-0.4 cc", "48 ±x cc", "\u{7}"]
        {
            let error = refusal(text, Kind::Volume);
            assert!(!error.found().is_empty() && !error.expected().is_empty() && !error.hint().is_empty());
            let message = error.to_string();
            assert!(message.contains(error.found()) && message.contains(error.expected()), "{message}");
            assert!(!message.contains('\u{7}') && !message.ends_with('.'), "{message}");
        }
    }

    #[test]
    fn hints_say_what_to_write_instead() {
        for (text, kind, hint) in [
            ("48,1 cc", Kind::Volume, "use the decimal point: 48.1"),
            ("6,500 rpm", Kind::RotationalSpeed, "use the decimal point: 6.500, or no separator: 6500"),
            ("0.30-0.35 mm", Kind::Length, "0.325 ±0.025"),
            ("48 litrs", Kind::Volume, "did you mean L?"),
            ("31 deg", Kind::Timing, "deg BTDC"),
            ("12 mm", Kind::Torque, "lb-ft"),
            ("12", Kind::Torque, "write one of: N·m, lb-ft"),
            ("12 psig", Kind::PressureAbsolute, "add the station pressure"),
        ] {
            let error = refusal(text, kind);
            assert!(error.hint().contains(hint), "{text}: {}", error.hint());
        }
    }

    #[test]
    fn a_figure_holds_sixty_four_values_and_no_more() {
        let values = |count: usize| format!("{}cc", "48.1 ".repeat(count));
        assert_eq!(parse_reading(&values(64), Kind::Volume, None).map(|r| r.numbers().len()), Ok(64));
        assert_eq!(refusal(&values(65), Kind::Volume).code(), "too-many-values");
        assert_eq!(refusal(&"48 ".repeat(5000), Kind::Volume).code(), "too-many-values");
    }

    #[test]
    fn an_uncertainty_may_stand_alone() {
        let stated = parse_uncertainty("±0.2 cc", Kind::Volume).unwrap();
        // A limit of 0.2 cc is u = 0.2/√3 cc (JCGM 100:2008, 4.3.7).
        assert!((stated.standard().si - 0.115_470_053_837_925e-6).abs() < 1e-18);
        let stated = parse_uncertainty("+/-0.1 kPa (k=2)", Kind::PressureAbsolute).unwrap();
        assert!((stated.standard().si - 50.0).abs() < 1e-12);
        let stated = parse_uncertainty("±1 degF", Kind::Temperature).unwrap();
        assert!((stated.unit().width_to_si(1.0) - 5.0 / 9.0).abs() < 1e-15);
        assert!(parse_uncertainty("± 1 deg", Kind::Timing).is_ok());
        for text in ["0.2 cc", "48 ±0.2 cc", "±0.2", "±cc", "", "±0.2 mm"] {
            assert!(parse_uncertainty(text, Kind::Volume).is_err(), "{text}");
        }
    }
}
