//! The closed table of units, a file per field of the trade.
//!
//! Every row: symbol, UCUM code, numerator and denominator of the factor to SI, kinds, other spellings. Within a kind
//! the first row is the trade's first choice.
//!
//! Factors are products of these defining constants, all exact by definition: the inch is 25.4 mm and the pound
//! 0.45359237 kg (international yard and pound agreement, 1959); standard gravity is 9.80665 m/s² (3rd CGPM, 1901). Where
//! a unit is only conventional, the row names its source. UCUM has no code for some of the trade's units; their code is
//! then a product with a whole number, which UCUM allows.

mod gas;
mod geometry;
mod mechanics;

use super::kind::QuantityKind;
use super::unit::Unit;

/// Millimetres in an inch, exact by definition.
const INCH_MM: f64 = 25.4;
/// Kilograms in a pound, exact by definition.
const POUND_KG: f64 = 0.453_592_37;
/// Standard gravity in m/s², exact by definition.
const GRAVITY: f64 = 9.806_65;
/// Newtons in a pound-force.
const POUND_FORCE_N: f64 = POUND_KG * GRAVITY;
/// Seconds in an hour.
const HOUR_S: f64 = 3600.0;
/// Metres in a foot, exact by definition.
const FOOT_M: f64 = 0.3048;
/// One turn in radians.
const TURN: f64 = 2.0 * std::f64::consts::PI;
/// Watts in a mechanical horsepower, 550 ft·lbf/s.
const HORSEPOWER_W: f64 = 550.0 * FOOT_M * POUND_FORCE_N;

/// Every unit.
pub(super) fn all() -> impl Iterator<Item = &'static Unit> {
    geometry::UNITS.iter().chain(mechanics::UNITS).chain(gas::UNITS)
}

/// A row whose scale begins at zero.
const fn row(
    symbol: &'static str,
    ucum: &'static str,
    numerator: f64,
    denominator: f64,
    kinds: &'static [QuantityKind],
    aliases: &'static str,
) -> Unit {
    Unit {
        symbol,
        ucum,
        numerator,
        denominator,
        origin: 0.0,
        kinds,
        aliases,
    }
}

impl Unit {
    /// The same row on a scale that begins elsewhere: `origin` is added before scaling.
    const fn from_origin(mut self, origin: f64) -> Self {
        self.origin = origin;
        self
    }
}
