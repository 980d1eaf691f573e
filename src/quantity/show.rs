//! A [`Reading`] as text: as written, or in another unit.

use std::fmt;

use super::error::QuantityError;
use super::reading::Reading;
use super::uncertainty::Uncertainty;
use super::unit::Unit;

/// More decimals than this are written with an exponent.
const MOST_DECIMALS: usize = 15;
/// Values from here on are written with an exponent.
const LARGEST_WRITTEN_OUT: f64 = 1e15;

impl Reading {
    /// The text with its unit, to be kept in a record: a unit that was left out is added at the end.
    pub fn written_out(&self) -> String {
        if self.unit_written || self.unit.symbol().is_empty() {
            return self.text.clone();
        }
        format!("{} {}", self.text, self.unit)
    }

    /// The figure in another unit, with the digits that the writing supports; in its own unit, the text as written.
    ///
    /// The last decimal shown is the one whose step lies nearest, in the ratio, to the step that was written: 1.250 in
    /// (steps of 0.0254 mm) is 31.75 mm, 29.92 inHg (steps of 0.034 kPa) is 101.3 kPa. The step shown is never finer
    /// than the written one by more than √10.
    ///
    /// # Errors
    ///
    /// Those of [`super::Quantity::in_unit`].
    pub fn show_in(&self, unit: &Unit) -> Result<String, QuantityError> {
        if unit == self.unit {
            return Ok(self.written_out());
        }
        let values = self.values_in(unit)?;
        let mut shown = String::new();
        for (number, value) in self.numbers.iter().zip(values) {
            if !shown.is_empty() {
                shown.push(' ');
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
    let down_to = |place: f64| {
        (0..=MOST_DECIMALS)
            .zip(std::iter::successors(Some(0.0_f64), |place| Some(place - 1.0)))
            .find(|(_, candidate)| *candidate <= place)
            .map(|(decimals, _)| decimals)
    };
    if value.abs() < LARGEST_WRITTEN_OUT {
        match down_to(place) {
            Some(0) => {
                let step = libm::exp10(place);
                return unsigned_zero(format!("{:.0}", libm::round(value / step) * step));
            }
            Some(decimals) => return unsigned_zero(format!("{value:.decimals$}")),
            None => {}
        }
    }
    let leading = libm::floor(libm::log10(value.abs()));
    let decimals = down_to(place - leading).unwrap_or(MOST_DECIMALS);
    format!("{value:.decimals$e}")
}

/// The text without the sign that a rounded-away negative value leaves on a zero.
pub(super) fn unsigned_zero(text: String) -> String {
    match text.strip_prefix('-') {
        Some(digits) if !digits.contains(|digit: char| matches!(digit, '1'..='9')) => digits.to_owned(),
        _ => text,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::quantity::{QuantityKind as Kind, parse_reading};

    fn read(text: &str, kind: Kind) -> Reading {
        parse_reading(text, kind, None).unwrap_or_else(|error| panic!("{text}: {error}"))
    }

    fn unit(text: &str, kind: Kind) -> &'static Unit {
        Unit::parse(text, kind).unwrap()
    }

    #[test]
    fn a_figure_is_shown_in_another_unit_with_no_more_than_its_digits() {
        for (text, kind, other, shown) in [
            ("1.250 in", Kind::Length, "mm", "31.75 mm"),
            (".041 in", Kind::Length, "mm", "1.04 mm"),
            ("29.92 inHg", Kind::PressureAbsolute, "kPa", "101.3 kPa"),
            ("212 degF", Kind::Temperature, "degC", "100 degC"),
            ("68.0 cc", Kind::Volume, "in³", "4.15 in³"),
            ("500 lb-ft", Kind::Torque, "N·m", "678 N·m"),
            ("1.2e3 rpm", Kind::RotationalSpeed, "rev/s", "20 rev/s"),
            ("48.1 48.0 ±0.2 cc k=2", Kind::Volume, "in³", "2.94 2.93 ±0.012 in³ k=2"),
            ("12 deg BTDC", Kind::Timing, "deg ATDC", "-12 deg ATDC"),
            ("0.4 fraction", Kind::Fraction, "%", "40%"),
            ("-.001 mm", Kind::Length, "cm", "-0.0001 cm"),
            ("-.0 mm", Kind::Length, "cm", "0.00 cm"),
            ("-1e-2 mm", Kind::Length, "thou", "0 thou"),
            ("1e20 mm", Kind::Length, "m", "1e17 m"),
            ("1.250 in", Kind::Length, "in", "1.250 in"),
            ("+1.250 inch", Kind::Length, "in", "+1.250 inch"),
        ] {
            assert_eq!(read(text, kind).show_in(unit(other, kind)).unwrap(), shown, "{text}");
        }
        let refused = read("1 in", Kind::Length).show_in(unit("cc", Kind::Volume)).unwrap_err();
        assert_eq!(refused.code(), "wrong-unit");
    }
}
