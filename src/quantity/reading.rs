//! A figure as it was written, and what it means.

use std::fmt;

use super::error::{QuantityError, mismatch, quoted};
use super::kind::QuantityKind;
use super::number::Number;
use super::quantity::Quantity;
use super::scan::take_apart;
use super::uncertainty::{StandardUncertainty, Uncertainty, UncertaintyBasis, width_unit};
use super::unit::{CrankReference, Unit};

/// Two figures count as equal within this many combined standard uncertainties (JCGM 100:2008, 6.3.3: k = 2 for about
/// 95 %).
const EQUAL_WITHIN: f64 = 2.0;
/// Slack for the rounding of conversions, relative to the values compared.
const ROUNDING: f64 = 1e-12;

/// A figure kept to the digit: one value or several (one per cylinder, or repeats), a unit, perhaps an uncertainty.
///
/// - There is at least one value, and every one is finite in SI and above any absolute zero.
/// - The unit belongs to the kind.
/// - Shown again, it is the text as written.
#[derive(Debug, Clone, PartialEq)]
pub struct Reading {
    text: String,
    kind: QuantityKind,
    numbers: Vec<Number>,
    unit: &'static Unit,
    unit_written: bool,
    uncertainty: Option<Uncertainty>,
    values: Vec<Quantity>,
}

/// How several values lie about their mean.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Spread {
    /// The smallest value.
    pub smallest: Quantity,
    /// The largest value.
    pub largest: Quantity,
    /// The sample standard deviation (n − 1), a difference; none of one value.
    pub standard_deviation: Option<Quantity>,
}

/// Reads a figure as people write it: `68.0 cc`, `48.1 48.0 48.3 48.2 ±0.2 cc`, `1-11/32 in`, `31 deg BTDC`.
///
/// A number without its unit takes the unit `bare`, and without `bare` is refused, except where the kind is a plain
/// number. The unit stands once, behind the values or behind the uncertainty; `21.4 degC ±0.5 K` is also read.
///
/// A whole number before a fraction always belongs to it (`1 11/32` is one value). `±` states a limit, unless a coverage
/// factor `k=2` stands behind it.
///
/// # Errors
///
/// A [`QuantityError`] with what was found, what was expected and what to write instead.
pub fn parse_reading(
    text: &str,
    kind: QuantityKind,
    bare: Option<&'static Unit>,
) -> Result<Reading, QuantityError> {
    let parts = take_apart(text)?;
    let limit_unit = parts.limit.as_ref().map_or("", |limit| limit.unit.as_str());
    let unit_written = !(parts.unit.is_empty() && limit_unit.is_empty());
    let unit = if !parts.unit.is_empty() {
        unit_of(parts.unit, kind)?
    } else if !limit_unit.is_empty() {
        unit_of(limit_unit, kind)?
    } else {
        bare_unit(text, kind, bare)?
    };
    let uncertainty = match &parts.limit {
        None => None,
        Some(limit) => {
            let stated = Uncertainty::from_limit(limit);
            let other = !parts.unit.is_empty() && !limit_unit.is_empty();
            let uncertainty = if other {
                let factor = width_unit(limit_unit, kind)?.factor() / unit.factor();
                stated.scaled(factor.abs())
            } else {
                stated
            };
            Some(uncertainty)
        }
    };
    let values = parts
        .numbers
        .iter()
        .map(|number| Quantity::of(number.value(), unit, kind))
        .collect::<Result<Vec<_>, _>>()?;
    Ok(Reading {
        text: text.trim().to_owned(),
        kind,
        numbers: parts.numbers,
        unit,
        unit_written,
        uncertainty,
        values,
    })
}

/// The unit, or which words behind it are too many.
fn unit_of(text: &str, kind: QuantityKind) -> Result<&'static Unit, QuantityError> {
    Unit::parse(text, kind).map_err(|refusal| {
        if !matches!(refusal, QuantityError::UnknownUnit(_)) {
            return refusal;
        }
        let longest = text
            .char_indices()
            .filter(|(_, character)| character.is_whitespace() || matches!(character, ';' | '(' | ','))
            .filter_map(|(at, _)| {
                let unit = Unit::parse(text.get(..at)?, kind).ok()?;
                Some((unit, text.get(at..)?))
            })
            .next_back();
        match longest {
            Some((unit, words)) => QuantityError::TrailingWords(mismatch(
                format!("{} behind the unit {unit}", quoted(words.trim())),
                "nothing behind the unit, or ± and its limit",
                "write values first and the unit once; words belong in the note",
            )),
            None => refusal,
        }
    })
}

fn bare_unit(
    text: &str,
    kind: QuantityKind,
    bare: Option<&'static Unit>,
) -> Result<&'static Unit, QuantityError> {
    if let Some(unit) = bare {
        unit.require(kind)?;
        return Ok(unit);
    }
    Unit::parse("", kind).map_err(|_| {
        QuantityError::NoUnit(mismatch(
            format!("{} without a unit", quoted(text.trim())),
            format!("a number and a unit of {}", kind.title()),
            format!("write one of: {}", kind.offered_units()),
        ))
    })
}

impl Reading {
    /// The text as written, without the space around it.
    pub fn text(&self) -> &str {
        &self.text
    }

    /// Its kind.
    pub fn kind(&self) -> QuantityKind {
        self.kind
    }

    /// The numbers as written; at least one.
    pub fn numbers(&self) -> &[Number] {
        &self.numbers
    }

    /// The unit of the numbers.
    pub fn unit(&self) -> &'static Unit {
        self.unit
    }

    /// The dead centre from which a timing is counted.
    pub fn crank_reference(&self) -> Option<CrankReference> {
        self.unit.crank_reference()
    }

    /// What was stated behind `±`, in steps of the unit.
    pub fn uncertainty(&self) -> Option<Uncertainty> {
        self.uncertainty
    }

    /// The values in SI; at least one.
    pub fn values(&self) -> &[Quantity] {
        &self.values
    }

    /// The values in a unit; in the reading's own unit exactly as written.
    ///
    /// # Errors
    ///
    /// Those of [`Quantity::in_unit`].
    pub fn values_in(&self, unit: &Unit) -> Result<Vec<f64>, QuantityError> {
        if unit == self.unit {
            return Ok(self.numbers.iter().map(Number::value).collect());
        }
        self.values.iter().map(|value| value.in_unit(unit)).collect()
    }

    /// The mean of the values.
    pub fn mean(&self) -> Quantity {
        Quantity::of(self.written_mean(), self.unit, self.kind)
            .expect("a mean lies between values that are finite and above any absolute zero")
    }

    /// How the values lie about their mean.
    pub fn spread(&self) -> Spread {
        let mean = self.mean();
        let mut smallest = mean;
        let mut largest = mean;
        if let [first, others @ ..] = self.values.as_slice() {
            (smallest, largest) = (*first, *first);
            for value in others {
                if value.si() < smallest.si() {
                    smallest = *value;
                }
                if value.si() > largest.si() {
                    largest = *value;
                }
            }
        }
        Spread {
            smallest,
            largest,
            standard_deviation: self.standard_deviation(),
        }
    }

    /// The standard uncertainty of one value, in SI: what was stated, or else half the coarsest last digit, taken as
    /// rectangular.
    ///
    /// It is not divided by the number of values, since they may belong to one cylinder each.
    pub fn standard_uncertainty(&self) -> StandardUncertainty {
        let uncertainty = self.uncertainty.unwrap_or(Uncertainty::Limit {
            half_width: self.half_last_digit(),
        });
        let basis = self
            .uncertainty
            .map_or(UncertaintyBasis::LastDigit, |stated| stated.basis());
        StandardUncertainty {
            si: self.unit.width_to_si(uncertainty.standard()),
            basis,
        }
    }

    /// Whether the two figures tell the same within twice their combined standard uncertainty.
    ///
    /// Values are compared one by one; a single value is compared with each value of a list. Figures of different kinds,
    /// and lists of different lengths, are not the same.
    pub fn same_within_uncertainty(&self, other: &Self) -> bool {
        if self.kind != other.kind {
            return false;
        }
        let combined = libm::hypot(self.standard_uncertainty().si, other.standard_uncertainty().si);
        let close = |left: &Quantity, right: &Quantity| {
            let slack = ROUNDING * left.si().abs().max(right.si().abs());
            (left.si() - right.si()).abs() <= EQUAL_WITHIN * combined + slack
        };
        match (self.values(), other.values()) {
            ([single], list) | (list, [single]) => list.iter().all(|value| close(single, value)),
            (left, right) if left.len() == right.len() => left.iter().zip(right).all(|(l, r)| close(l, r)),
            _ => false,
        }
    }

    /// The figure in another unit, with the digits that the writing supports; in its own unit, the text as written.
    ///
    /// The last decimal shown is the one whose step lies nearest, in the ratio, to the step that was written: 1.250 in
    /// (steps of 0.0254 mm) is 31.75 mm, 29.92 inHg (steps of 0.034 kPa) is 101.3 kPa. The step shown is never finer
    /// than the written one by more than √10.
    ///
    /// # Errors
    ///
    /// Those of [`Quantity::in_unit`].
    pub fn show_in(&self, unit: &Unit) -> Result<String, QuantityError> {
        if unit == self.unit && self.unit_written {
            return Ok(self.text.clone());
        }
        let values = self.values_in(unit)?;
        let mut shown = String::new();
        for (number, value) in self.numbers.iter().zip(values) {
            if !shown.is_empty() {
                shown.push(' ');
            }
            if unit == self.unit {
                shown.push_str(number.text());
                continue;
            }
            let step = unit.width_from_si(self.unit.width_to_si(2.0 * number.half_last_digit()));
            shown.push_str(&rounded(value, place_of(step)));
        }
        if let Some(uncertainty) = self.uncertainty {
            let half_width = unit.width_from_si(self.unit.width_to_si(uncertainty.half_width()));
            // Two significant digits (JCGM 100:2008, 7.2.6).
            let place = libm::floor(libm::log10(half_width)) - 1.0;
            shown.push_str(" ±");
            shown.push_str(&rounded(half_width, place));
        }
        if !unit.symbol().is_empty() {
            if !unit.joins_number() {
                shown.push(' ');
            }
            shown.push_str(unit.symbol());
        }
        if let Some(Uncertainty::Expanded { k, .. }) = self.uncertainty {
            shown.push_str(&format!(" k={k}"));
        }
        Ok(shown)
    }

    fn written_mean(&self) -> f64 {
        let count = self.numbers.len().max(1);
        let sum: f64 = self.numbers.iter().map(Number::value).sum();
        // u32 holds the count: no more than 64 numbers are read.
        let mean = sum / f64::from(u32::try_from(count).unwrap_or(u32::MAX));
        // Rounding must not carry the mean past the outermost value.
        let smallest = self
            .numbers
            .iter()
            .map(Number::value)
            .fold(f64::INFINITY, f64::min);
        let largest = self
            .numbers
            .iter()
            .map(Number::value)
            .fold(f64::NEG_INFINITY, f64::max);
        mean.max(smallest).min(largest)
    }

    fn standard_deviation(&self) -> Option<Quantity> {
        let count = u32::try_from(self.numbers.len())
            .ok()
            .filter(|count| *count >= 2)?;
        let mean = self.written_mean();
        let squares: f64 = self
            .numbers
            .iter()
            .map(|number| (number.value() - mean) * (number.value() - mean))
            .sum();
        let deviation = (squares / f64::from(count - 1)).sqrt();
        Quantity::new(self.kind.difference(), self.unit.width_to_si(deviation)).ok()
    }

    fn half_last_digit(&self) -> f64 {
        self.numbers
            .iter()
            .map(Number::half_last_digit)
            .fold(0.0, f64::max)
    }
}

impl fmt::Display for Reading {
    fn fmt(&self, formatter: &mut fmt::Formatter<'_>) -> fmt::Result {
        formatter.write_str(&self.text)
    }
}

/// The power of ten nearest to a step, in the ratio.
fn place_of(step: f64) -> f64 {
    libm::round(libm::log10(step))
}

/// A value rounded to a power of ten.
fn rounded(value: f64, place: f64) -> String {
    // Places lie within ±130: numbers within 1e±100 and factors within 1e±16.
    let decimals = (0..150_usize)
        .zip(std::iter::successors(Some(0.0_f64), |place| Some(place - 1.0)))
        .find(|(_, candidate)| *candidate <= place);
    match decimals {
        Some((0, _)) => {
            let step = libm::exp10(place);
            format!("{:.0}", libm::round(value / step) * step)
        }
        Some((decimals, _)) => format!("{value:.decimals$}"),
        None => format!("{value:e}"),
    }
}
