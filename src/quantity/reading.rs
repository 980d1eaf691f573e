//! A figure as it was written, and what it means.

use super::error::QuantityError;
use super::kind::QuantityKind;
use super::number::Number;
use super::uncertainty::{StandardUncertainty, Uncertainty, UncertaintyBasis};
use super::unit::{CrankReference, Unit};
use super::value::Quantity;

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
    pub(super) text: String,
    pub(super) kind: QuantityKind,
    pub(super) numbers: Vec<Number>,
    pub(super) unit: &'static Unit,
    pub(super) unit_written: bool,
    pub(super) uncertainty: Option<Uncertainty>,
    pub(super) values: Vec<Quantity>,
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
        Spread { smallest, largest, standard_deviation: self.standard_deviation() }
    }

    /// The standard uncertainty of one value, in SI: what was stated, or else half the coarsest last digit, taken as
    /// rectangular.
    ///
    /// It is not divided by the number of values, since they may belong to one cylinder each.
    pub fn standard_uncertainty(&self) -> StandardUncertainty {
        let uncertainty =
            self.uncertainty.unwrap_or(Uncertainty::Limit { half_width: self.half_last_digit() });
        let basis = self.uncertainty.map_or(UncertaintyBasis::LastDigit, |stated| stated.basis());
        StandardUncertainty { si: self.unit.width_to_si(uncertainty.standard()), basis }
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

    fn written_mean(&self) -> f64 {
        let count = self.numbers.len().max(1);
        let sum: f64 = self.numbers.iter().map(Number::value).sum();
        // u32 holds the count: no more than 64 numbers are read.
        let mean = sum / f64::from(u32::try_from(count).unwrap_or(u32::MAX));
        // Rounding must not carry the mean past the outermost value.
        let smallest = self.numbers.iter().map(Number::value).fold(f64::INFINITY, f64::min);
        let largest = self.numbers.iter().map(Number::value).fold(f64::NEG_INFINITY, f64::max);
        mean.max(smallest).min(largest)
    }

    fn standard_deviation(&self) -> Option<Quantity> {
        let count = u32::try_from(self.numbers.len()).ok().filter(|count| *count >= 2)?;
        let mean = self.written_mean();
        let squares: f64 =
            self.numbers.iter().map(|number| (number.value() - mean) * (number.value() - mean)).sum();
        let deviation = (squares / f64::from(count - 1)).sqrt();
        Quantity::new(self.kind.difference(), self.unit.width_to_si(deviation)).ok()
    }

    fn half_last_digit(&self) -> f64 {
        self.numbers.iter().map(Number::half_last_digit).fold(0.0, f64::max)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::quantity::{QuantityKind as Kind, parse_reading};

    fn read(text: &str, kind: Kind) -> Reading {
        parse_reading(text, kind, None).unwrap_or_else(|error| panic!("{text}: {error}"))
    }

    #[test]
    fn a_limit_of_a_temperature_is_a_difference() {
        let air = read("70 degF ±1 degF", Kind::Temperature);
        // 1 degF is 5/9 K; u = a/√3.
        assert!((air.standard_uncertainty().si - 5.0 / 9.0 / 3.0_f64.sqrt()).abs() < 1e-15);
        let air = read("70 degF ±1 K", Kind::Temperature);
        assert!((air.uncertainty().unwrap().half_width() - 1.8).abs() < 1e-15);
        let advance = read("31 deg BTDC ±1 deg", Kind::Timing);
        assert!((advance.standard_uncertainty().si - (1.0_f64 / 3.0_f64.sqrt()).to_radians()).abs() < 1e-15);
    }

    #[test]
    fn half_the_last_digit_stands_in_and_says_so() {
        let bore = read("1.250 in", Kind::Length).standard_uncertainty();
        assert!(bore.is_fallback());
        assert!((bore.si - 0.0005 * 0.0254 / 3.0_f64.sqrt()).abs() < 1e-18);
        // The coarsest of several digits.
        let mixed = read("48 48.25 cc", Kind::Volume).standard_uncertainty();
        assert!((mixed.si - 0.5e-6 / 3.0_f64.sqrt()).abs() < 1e-18);
        let rule = read("11/32 in", Kind::Length).standard_uncertainty();
        assert!((rule.si - 0.0254 / 64.0 / 3.0_f64.sqrt()).abs() < 1e-18);
    }

    #[test]
    fn the_mean_and_the_spread_are_those_of_the_values() {
        // 48.1 48.0 48.3 48.2: mean 48.15, squares .0025 + .0225 + .0225 + .0025, over 3.
        let reading = read("48.1 48.0 48.3 48.2 cc", Kind::Volume);
        let spread = reading.spread();
        assert!((reading.mean().si() - 48.15e-6).abs() < 1e-18);
        assert!((spread.smallest.si() - 48.0e-6).abs() < 1e-20);
        assert!((spread.largest.si() - 48.3e-6).abs() < 1e-20);
        let deviation = spread.standard_deviation.unwrap();
        assert!((deviation.si() - (0.05_f64 / 3.0).sqrt() * 1e-6).abs() < 1e-18);
        assert!(read("48.1 cc", Kind::Volume).spread().standard_deviation.is_none());
        let warm = read("20 21 22 degC", Kind::Temperature);
        assert!((warm.mean().si() - 294.15).abs() < 1e-12);
        let deviation = warm.spread().standard_deviation.unwrap();
        assert_eq!(deviation.kind(), Kind::TemperatureDifference);
        assert!((deviation.si() - 1.0).abs() < 1e-12);
    }

    #[test]
    fn equal_within_uncertainty_knows_units_and_limits() {
        let same = |left: &str, right: &str, kind| {
            let (left, right) = (read(left, kind), read(right, kind));
            assert_eq!(left.same_within_uncertainty(&right), right.same_within_uncertainty(&left));
            left.same_within_uncertainty(&right)
        };
        assert!(same("1.250 in", "31.75 mm", Kind::Length));
        assert!(same("29.92 inHg", "101.32 kPa", Kind::PressureAbsolute));
        assert!(!same("29.92 inHg", "29.92 inHg 60F", Kind::PressureAbsolute));
        assert!(!same("1.250 in", "1.251 in", Kind::Length));
        assert!(same("48.1 ±0.2 cc", "48.3 ±0.2 cc", Kind::Volume));
        assert!(!same("48.1 ±0.05 cc", "48.3 ±0.05 cc", Kind::Volume));
        assert!(same("48.1 48.2 cc", "48.1 48.2 cc", Kind::Volume));
        assert!(!same("48.1 48.2 cc", "48.1 48.2 48.3 cc", Kind::Volume));
        assert!(same("48.1 48.2 cc", "48.2 ±0.5 cc", Kind::Volume));
        assert!(!same("48.1 48.9 cc", "48.1 ±0.1 cc", Kind::Volume));
        let gauge = read("5 psi", Kind::PressureGauge);
        assert!(!gauge.same_within_uncertainty(&read("5 psi", Kind::PressureDifference)));
    }
}
