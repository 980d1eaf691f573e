//! Units, figures as people write them, and their uncertainty.
//!
//! In: text such as `48.1 48.0 48.3 48.2 ±0.2 cc` and the [`QuantityKind`] that is expected, or plain numbers with a
//! [`Unit`]. Out: a [`Reading`], which keeps the text to the digit and knows what it means, and [`Quantity`], one
//! finite value in SI. Refuses: a unit of another kind, a number without its unit, anything that could be read in two
//! ways (a decimal comma, a range), and values that are not finite.
//!
//! A kind is more than a dimension: torque is not energy, gauge pressure is not absolute pressure, and a difference of
//! temperature is not a temperature. [`Quantity::minus`] of two temperatures gives a difference, [`Quantity::plus`]
//! adds a difference to a temperature, and nothing else mixes the two.

mod error;
mod kind;
mod number;
mod quantity;
mod reading;
mod scan;
mod table;
mod uncertainty;
mod unit;

pub use error::{Mismatch, QuantityError};
pub use kind::{Dimension, QuantityKind};
pub use number::Number;
pub use quantity::Quantity;
pub use reading::{Reading, Spread, parse_reading};
pub use uncertainty::{
    StandardUncertainty, StatedUncertainty, Uncertainty, UncertaintyBasis, parse_uncertainty,
};
pub use unit::{CrankReference, Unit};
