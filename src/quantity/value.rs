//! One value in SI, with its kind.

use super::error::{QuantityError, mismatch};
use super::kind::QuantityKind;
use super::show::unsigned_zero;
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
                ("absolute zero", "is it a difference of temperature, or another unit?")
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

    /// The value in a unit with this many decimals, and the unit: `31.75 mm`.
    ///
    /// # Errors
    ///
    /// Those of [`Quantity::in_unit`].
    pub fn show_in(&self, unit: &Unit, decimals: usize) -> Result<String, QuantityError> {
        let value = self.in_unit(unit)?;
        let space = if unit.joins_number() { "" } else { " " };
        let number = unsigned_zero(format!("{value:.decimals$}"));
        Ok(format!("{number}{space}{unit}"))
    }

    /// This less the other: of two temperatures a temperature difference, of two absolute pressures a pressure
    /// difference, of two timings an angle.
    ///
    /// A difference may also be taken from an absolute value, and leaves an absolute value.
    ///
    /// ```
    /// use mulebook::quantity::{Quantity, QuantityKind};
    ///
    /// let oil = Quantity::spelled(212.0, "degF", QuantityKind::Temperature)?;
    /// let air = Quantity::spelled(20.0, "degC", QuantityKind::Temperature)?;
    /// let rise = oil.minus(&air)?;
    /// assert_eq!(rise.kind(), QuantityKind::TemperatureDifference);
    /// assert!((rise.si() - 80.0).abs() < 1e-12);
    /// assert!(oil.plus(&air).is_err());
    /// # Ok::<(), mulebook::quantity::QuantityError>(())
    /// ```
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

#[cfg(test)]
mod tests {
    use super::*;
    use crate::quantity::QuantityKind as Kind;

    fn of(value: f64, unit: &str, kind: Kind) -> Quantity {
        Quantity::spelled(value, unit, kind).unwrap()
    }

    #[test]
    fn temperatures_differ_by_a_difference_and_never_add() {
        let warm = of(77.0, "degF", Kind::Temperature);
        let cold = of(20.0, "degC", Kind::Temperature);
        let step = warm.minus(&cold).unwrap();
        assert_eq!(step.kind(), Kind::TemperatureDifference);
        assert!((step.in_spelled("degC").unwrap() - 5.0).abs() < 1e-12);
        assert!((step.in_spelled("degF").unwrap() - 9.0).abs() < 1e-12);
        assert_eq!(cold.plus(&step).unwrap().kind(), Kind::Temperature);
        assert_eq!(warm.minus(&step).unwrap().kind(), Kind::Temperature);
        assert_eq!(step.plus(&step).unwrap().kind(), Kind::TemperatureDifference);
        for refused in [warm.plus(&cold), step.plus(&warm), step.minus(&warm)] {
            assert_eq!(refused.unwrap_err().code(), "kind-mismatch");
        }
    }

    #[test]
    fn gauge_and_absolute_pressure_meet_only_through_the_air() {
        let boost = of(10.0, "psi", Kind::PressureGauge);
        let air = of(98.61, "kPa", Kind::PressureAbsolute);
        for refused in [boost.minus(&air), air.minus(&boost), air.plus(&boost), boost.plus(&air)] {
            assert_eq!(refused.unwrap_err().code(), "kind-mismatch");
        }
        assert_eq!(air.si_of(Kind::PressureGauge).unwrap_err().code(), "kind-mismatch");
        let absolute = boost.gauge_to_absolute(&air).unwrap();
        assert_eq!(absolute.kind(), Kind::PressureAbsolute);
        // 98.61 kPa and ten times the psi of 6.894757293168 kPa.
        assert!((absolute.in_spelled("kPa").unwrap() - 167.557_572_931_68).abs() < 1e-9);
        assert_eq!(air.gauge_to_absolute(&boost).unwrap_err().code(), "kind-mismatch");
        assert_eq!(absolute.minus(&air).unwrap().kind(), Kind::PressureDifference);
        let vacuum = of(-50.0, "kPa", Kind::PressureGauge);
        assert_eq!(vacuum.gauge_to_absolute(&air).unwrap().kind(), Kind::PressureAbsolute);
    }

    #[test]
    fn torque_is_not_energy_and_lambda_is_not_a_ratio() {
        for (left, right) in [
            (of(1.0, "N·m", Kind::Torque), of(1.0, "J", Kind::Energy)),
            (of(1.0, "lambda", Kind::Lambda), of(1.0, "AFR", Kind::AirFuelRatio)),
            (of(1.0, "", Kind::Ratio), of(1.0, "", Kind::Count)),
            (of(1.0, "m/s", Kind::Velocity), of(1.0, "m/s²", Kind::Acceleration)),
        ] {
            assert_eq!(left.minus(&right).unwrap_err().code(), "kind-mismatch");
            assert_eq!(left.plus(&right).unwrap_err().code(), "kind-mismatch");
        }
    }

    #[test]
    fn no_quantity_is_infinite_or_below_absolute_zero() {
        for si in [f64::NAN, f64::INFINITY, f64::NEG_INFINITY] {
            assert_eq!(Quantity::new(Kind::Length, si).unwrap_err().code(), "number-out-of-range");
        }
        assert_eq!(Quantity::spelled(-460.0, "degF", Kind::Temperature).unwrap_err().code(), "below-zero");
        assert_eq!(Quantity::spelled(-1.0, "kPa", Kind::PressureAbsolute).unwrap_err().code(), "below-zero");
        assert!(Quantity::spelled(-459.67, "degF", Kind::Temperature).is_ok());
        assert!(Quantity::spelled(-1.0, "kPa", Kind::PressureDifference).is_ok());
        let cold = of(1.0, "K", Kind::Temperature);
        let step = of(2.0, "K", Kind::TemperatureDifference);
        assert_eq!(cold.minus(&step).unwrap_err().code(), "below-zero");
    }

    #[test]
    fn timings_of_all_four_references_share_one_circle() {
        // 12 BTDC to 44 ABDC is open for 12 + 180 + 44 degrees, and 55 BBDC to 7 ATDC for 55 + 180 + 7 of the next turn.
        let opens = of(12.0, "deg BTDC", Kind::Timing);
        let closes = of(44.0, "deg ABDC", Kind::Timing);
        let duration = closes.minus(&opens).unwrap();
        assert_eq!(duration.kind(), Kind::Angle);
        assert!((duration.in_spelled("deg").unwrap() - 236.0).abs() < 1e-12);
        let exhaust_opens = of(55.0, "deg BBDC", Kind::Timing);
        assert!((exhaust_opens.in_spelled("deg ATDC").unwrap() - 125.0).abs() < 1e-12);
        let exhaust_closes = of(7.0, "deg ATDC", Kind::Timing);
        assert!((exhaust_closes.in_spelled("deg BTDC").unwrap() + 7.0).abs() < 1e-12);
        let more_advance = of(33.0, "deg BTDC", Kind::Timing).minus(&of(31.0, "deg BTDC", Kind::Timing));
        assert!((more_advance.unwrap().in_spelled("deg").unwrap() + 2.0).abs() < 1e-12);
    }

    #[test]
    fn a_value_is_shown_with_the_decimals_asked_for() {
        let bore = of(1.25, "in", Kind::Length);
        assert_eq!(bore.show_in(Unit::parse("mm", Kind::Length).unwrap(), 2).unwrap(), "31.75 mm");
        let leak = of(4.0, "%", Kind::Fraction);
        assert_eq!(leak.show_in(Unit::parse("%", Kind::Fraction).unwrap(), 0).unwrap(), "4%");
        let ratio = of(11.25, "", Kind::Ratio);
        assert_eq!(ratio.show_in(Unit::parse("", Kind::Ratio).unwrap(), 1).unwrap(), "11.2");
    }
}
