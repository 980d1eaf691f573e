//! One value in SI, with its kind.

use super::error::{QuantityError, mismatch};
use super::kind::QuantityKind;
use super::unit::Unit;

/// One value of one kind, in SI.
///
/// - It is finite.
/// - A temperature is not below absolute zero, an absolute pressure not below a perfect vacuum.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Quantity {
    kind: QuantityKind,
    si: f64,
}

impl Quantity {
    /// The value in SI: metres, pascals, kelvins, radians per second; see [`QuantityKind`].
    ///
    /// # Errors
    ///
    /// [`QuantityError::OutOfRange`] if it is not finite, [`QuantityError::BelowZero`] below absolute zero or vacuum.
    pub fn new(kind: QuantityKind, si: f64) -> Result<Self, QuantityError> {
        if !si.is_finite() {
            return Err(QuantityError::OutOfRange(mismatch(
                si.to_string(),
                format!("a finite {}", kind.title()),
                "look for a division by zero or a missing value",
            )));
        }
        if kind.is_absolute() && si < 0.0 {
            let (floor, hint) = if kind == QuantityKind::Temperature {
                (
                    "absolute zero",
                    "is it a difference of temperature, or another unit?",
                )
            } else {
                ("a perfect vacuum", "is it a gauge pressure?")
            };
            return Err(QuantityError::BelowZero(mismatch(
                format!("{si} {}", kind.si_unit()),
                format!("a value above {floor}"),
                hint,
            )));
        }
        Ok(Self { kind, si: si + 0.0 })
    }

    /// The value in `unit`.
    ///
    /// # Errors
    ///
    /// Those of [`Quantity::new`], and [`QuantityError::WrongUnit`] if the kind is not written in this unit.
    pub fn of(value: f64, unit: &Unit, kind: QuantityKind) -> Result<Self, QuantityError> {
        unit.require(kind)?;
        Self::new(kind, unit.to_si(value))
    }

    /// The value in the unit of this spelling.
    ///
    /// # Errors
    ///
    /// Those of [`Quantity::of`] and [`Unit::parse`].
    pub fn spelled(value: f64, unit: &str, kind: QuantityKind) -> Result<Self, QuantityError> {
        Self::of(value, Unit::parse(unit, kind)?, kind)
    }

    /// Its kind.
    pub fn kind(&self) -> QuantityKind {
        self.kind
    }

    /// Its value in SI; see [`QuantityKind`] for the unit.
    pub fn si(&self) -> f64 {
        self.si
    }

    /// Its value in SI, if it is of this kind.
    ///
    /// # Errors
    ///
    /// [`QuantityError::KindMismatch`] names both kinds.
    pub fn si_of(&self, kind: QuantityKind) -> Result<f64, QuantityError> {
        kind.require(self.kind)?;
        Ok(self.si)
    }

    /// Its value in a unit.
    ///
    /// # Errors
    ///
    /// [`QuantityError::WrongUnit`] if the kind is not written in this unit, [`QuantityError::OutOfRange`] if the value
    /// is too large to be written in it.
    pub fn in_unit(&self, unit: &Unit) -> Result<f64, QuantityError> {
        unit.require(self.kind)?;
        let value = unit.from_si(self.si);
        if value.is_finite() {
            return Ok(value);
        }
        Err(QuantityError::OutOfRange(mismatch(
            format!("{:e} {}", self.si, self.kind.si_unit()),
            format!("a value that can be written in {unit}"),
            "use a larger unit",
        )))
    }

    /// Its value in the unit of this spelling.
    ///
    /// # Errors
    ///
    /// Those of [`Unit::parse`] and [`Quantity::in_unit`].
    pub fn in_spelled(&self, unit: &str) -> Result<f64, QuantityError> {
        self.in_unit(Unit::parse(unit, self.kind)?)
    }

    /// This less the other: of two temperatures a temperature difference, of two absolute pressures a pressure
    /// difference, of two timings an angle.
    ///
    /// A difference may also be taken from an absolute value, and leaves an absolute value.
    ///
    /// # Errors
    ///
    /// [`QuantityError::KindMismatch`] if the kinds do not go together, and those of [`Quantity::new`].
    pub fn minus(&self, other: &Self) -> Result<Self, QuantityError> {
        if self.kind != other.kind && self.kind.difference() == other.kind {
            return Self::new(self.kind, self.si - other.si);
        }
        self.kind.require(other.kind)?;
        Self::new(self.kind.difference(), self.si - other.si)
    }

    /// This and a difference more: a temperature and a temperature difference give a temperature.
    ///
    /// # Errors
    ///
    /// [`QuantityError::KindMismatch`] if `other` is not the difference kind of this one (two temperatures cannot be
    /// added), and those of [`Quantity::new`].
    pub fn plus(&self, other: &Self) -> Result<Self, QuantityError> {
        self.kind.difference().require(other.kind)?;
        Self::new(self.kind, self.si + other.si)
    }

    /// A gauge pressure as an absolute one, by the absolute pressure of the air around the gauge.
    ///
    /// # Errors
    ///
    /// [`QuantityError::KindMismatch`] unless this is a gauge and `surroundings` an absolute pressure.
    pub fn gauge_to_absolute(&self, surroundings: &Self) -> Result<Self, QuantityError> {
        let gauge = self.si_of(QuantityKind::PressureGauge)?;
        let air = surroundings.si_of(QuantityKind::PressureAbsolute)?;
        Self::new(QuantityKind::PressureAbsolute, air + gauge)
    }
}
