//! The kinds of quantity a record may hold.

use std::fmt;

use super::error::{QuantityError, mismatch, quoted};
use super::table;
use super::unit::Unit;

/// Exponents of the SI base units that occur in the trade.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Dimension {
    /// Exponent of the metre.
    pub length: i8,
    /// Exponent of the kilogram.
    pub mass: i8,
    /// Exponent of the second.
    pub time: i8,
    /// Exponent of the kelvin.
    pub temperature: i8,
    /// Exponent of the ampere.
    pub current: i8,
}

/// What sort of thing a figure tells: two figures can be compared only when their kinds agree.
///
/// A kind is finer than a dimension: torque is not energy, gauge pressure is not absolute pressure, and a difference of
/// temperature is not a temperature.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
#[non_exhaustive]
pub enum QuantityKind {
    /// A length, in metres.
    Length,
    /// An area, in square metres.
    Area,
    /// A volume, in cubic metres.
    Volume,
    /// An angle, in radians; a cam's duration is one, in crank degrees.
    Angle,
    /// A place in the crank's turn, in radians after top dead centre.
    ///
    /// Bottom dead centre is the one that follows, half a turn on: 44° ABDC is 224° after top dead centre. Which of the
    /// two top dead centres of a four-stroke cycle is meant is the field's affair.
    Timing,
    /// A mass, in kilograms.
    Mass,
    /// A force, in newtons.
    Force,
    /// A spring's rate, in newtons per metre.
    SpringRate,
    /// A torque, in newton metres.
    Torque,
    /// An energy, in joules.
    Energy,
    /// A power, in watts.
    Power,
    /// A rotational speed, in radians per second, so that torque times speed is power.
    RotationalSpeed,
    /// How fast a sweep changes the speed, in radians per second squared.
    SweepRate,
    /// A velocity, in metres per second.
    Velocity,
    /// An acceleration, in metres per second squared.
    Acceleration,
    /// A pressure above a perfect vacuum, in pascals.
    PressureAbsolute,
    /// A pressure above the surrounding air, in pascals.
    PressureGauge,
    /// A difference of two pressures, in pascals; a mean effective pressure is one.
    PressureDifference,
    /// A temperature above absolute zero, in kelvins.
    Temperature,
    /// A difference of two temperatures, in kelvins.
    TemperatureDifference,
    /// Volume per time, in cubic metres per second.
    VolumeFlow,
    /// Mass per time, in kilograms per second.
    MassFlow,
    /// Mass per volume, in kilograms per cubic metre.
    Density,
    /// Fuel per energy delivered, in kilograms per joule.
    SpecificFuelConsumption,
    /// Energy per mass, as of a fuel, in joules per kilogram.
    SpecificEnergy,
    /// A share of a whole, 0 to 1: relative humidity, leak-down.
    Fraction,
    /// Mass of water vapour per mass of dry air.
    HumidityRatio,
    /// A plain number: compression ratio, rocker ratio.
    Ratio,
    /// Air over the air that would just burn the fuel.
    Lambda,
    /// Mass of air per mass of fuel.
    AirFuelRatio,
    /// Kinematic viscosity, in square metres per second.
    KinematicViscosity,
    /// A length of time, in seconds.
    Duration,
    /// A voltage, in volts.
    Voltage,
    /// An electric current, in amperes.
    Current,
    /// A moment of inertia, in kilogram square metres.
    Inertia,
    /// How many.
    Count,
}

impl QuantityKind {
    /// Every kind.
    pub const ALL: [Self; 36] = [
        Self::Length,
        Self::Area,
        Self::Volume,
        Self::Angle,
        Self::Timing,
        Self::Mass,
        Self::Force,
        Self::SpringRate,
        Self::Torque,
        Self::Energy,
        Self::Power,
        Self::RotationalSpeed,
        Self::SweepRate,
        Self::Velocity,
        Self::Acceleration,
        Self::PressureAbsolute,
        Self::PressureGauge,
        Self::PressureDifference,
        Self::Temperature,
        Self::TemperatureDifference,
        Self::VolumeFlow,
        Self::MassFlow,
        Self::Density,
        Self::SpecificFuelConsumption,
        Self::SpecificEnergy,
        Self::Fraction,
        Self::HumidityRatio,
        Self::Ratio,
        Self::Lambda,
        Self::AirFuelRatio,
        Self::KinematicViscosity,
        Self::Duration,
        Self::Voltage,
        Self::Current,
        Self::Inertia,
        Self::Count,
    ];

    /// The kind of this name, as schemas write it (`pressure-absolute`).
    pub fn parse(name: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|kind| kind.name() == name)
    }

    /// The name that schemas use.
    pub fn name(self) -> &'static str {
        self.entry().0
    }

    /// The name for people, with its article left out (`absolute pressure`).
    pub fn title(self) -> &'static str {
        self.entry().1
    }

    /// The exponents of the SI base units.
    pub fn dimension(self) -> Dimension {
        let (_, _, [length, mass, time, temperature, current]) = self.entry();
        Dimension { length, mass, time, temperature, current }
    }

    /// The units in which this kind may be written, the trade's first choices first.
    pub fn units(self) -> Vec<&'static Unit> {
        table::all().filter(|unit| unit.serves(self)).collect()
    }

    /// The unit in which [`super::Quantity::si`] counts.
    pub fn si_unit(self) -> &'static Unit {
        table::all()
            .find(|unit| unit.serves(self) && unit.is_si())
            .expect("the table has an SI unit for every kind, which a test holds")
    }

    /// The kind of the difference of two values: a temperature difference for temperatures, an angle for timings, and
    /// the kind itself where a difference is nothing else.
    #[must_use]
    pub fn difference(self) -> Self {
        match self {
            Self::Temperature => Self::TemperatureDifference,
            Self::PressureAbsolute | Self::PressureGauge => Self::PressureDifference,
            Self::Timing => Self::Angle,
            other => other,
        }
    }

    /// Whether a plain number without any unit says it all.
    pub fn is_plain_number(self) -> bool {
        matches!(self, Self::Ratio | Self::Count)
    }

    /// Whether the scale has a lowest point at zero SI: absolute zero, a perfect vacuum.
    pub fn is_absolute(self) -> bool {
        matches!(self, Self::Temperature | Self::PressureAbsolute)
    }

    /// Stands if `other` is this kind.
    ///
    /// # Errors
    ///
    /// [`QuantityError::KindMismatch`] names both kinds.
    pub fn require(self, other: Self) -> Result<(), QuantityError> {
        if self == other {
            return Ok(());
        }
        let hint = match (self, other) {
            (Self::PressureAbsolute, Self::PressureGauge) => {
                "add the station pressure to the gauge pressure first"
            }
            (Self::PressureGauge, Self::PressureAbsolute) => {
                "take the station pressure from the absolute pressure first"
            }
            (Self::Temperature, Self::TemperatureDifference)
            | (Self::TemperatureDifference, Self::Temperature) => {
                "a difference of temperature is counted from another temperature, not from absolute zero"
            }
            _ => "only figures of one kind go together",
        };
        Err(QuantityError::KindMismatch(mismatch(other.title(), self.title(), hint)))
    }

    /// The spellings to offer in a message, at most this kind's first dozen.
    pub(super) fn offered_units(self) -> String {
        let symbols: Vec<&str> =
            self.units().into_iter().map(Unit::symbol).filter(|symbol| !symbol.is_empty()).take(12).collect();
        if symbols.is_empty() { "a plain number".to_owned() } else { symbols.join(", ") }
    }

    /// Name, title, and the exponents of metre, kilogram, second, kelvin, ampere.
    #[rustfmt::skip] // a table reads in columns
    fn entry(self) -> (&'static str, &'static str, [i8; 5]) {
        match self {
            Self::Length => ("length", "length", [1, 0, 0, 0, 0]),
            Self::Area => ("area", "area", [2, 0, 0, 0, 0]),
            Self::Volume => ("volume", "volume", [3, 0, 0, 0, 0]),
            Self::Angle => ("angle", "angle", [0, 0, 0, 0, 0]),
            Self::Timing => ("timing", "timing at the crank", [0, 0, 0, 0, 0]),
            Self::Mass => ("mass", "mass", [0, 1, 0, 0, 0]),
            Self::Force => ("force", "force", [1, 1, -2, 0, 0]),
            Self::SpringRate => ("spring-rate", "spring rate", [0, 1, -2, 0, 0]),
            Self::Torque => ("torque", "torque", [2, 1, -2, 0, 0]),
            Self::Energy => ("energy", "energy", [2, 1, -2, 0, 0]),
            Self::Power => ("power", "power", [2, 1, -3, 0, 0]),
            Self::RotationalSpeed => ("rotational-speed", "rotational speed", [0, 0, -1, 0, 0]),
            Self::SweepRate => ("sweep-rate", "sweep rate", [0, 0, -2, 0, 0]),
            Self::Velocity => ("velocity", "velocity", [1, 0, -1, 0, 0]),
            Self::Acceleration => ("acceleration", "acceleration", [1, 0, -2, 0, 0]),
            Self::PressureAbsolute => ("pressure-absolute", "absolute pressure", [-1, 1, -2, 0, 0]),
            Self::PressureGauge => ("pressure-gauge", "gauge pressure", [-1, 1, -2, 0, 0]),
            Self::PressureDifference => ("pressure-difference", "pressure difference", [-1, 1, -2, 0, 0]),
            Self::Temperature => ("temperature", "temperature", [0, 0, 0, 1, 0]),
            Self::TemperatureDifference => ("temperature-difference", "temperature difference", [0, 0, 0, 1, 0]),
            Self::VolumeFlow => ("volume-flow", "volume flow", [3, 0, -1, 0, 0]),
            Self::MassFlow => ("mass-flow", "mass flow", [0, 1, -1, 0, 0]),
            Self::Density => ("density", "density", [-3, 1, 0, 0, 0]),
            Self::SpecificFuelConsumption => ("specific-fuel-consumption", "specific fuel consumption", [-2, 0, 2, 0, 0]),
            Self::SpecificEnergy => ("specific-energy", "specific energy", [2, 0, -2, 0, 0]),
            Self::Fraction => ("fraction", "fraction", [0, 0, 0, 0, 0]),
            Self::HumidityRatio => ("humidity-ratio", "humidity ratio", [0, 0, 0, 0, 0]),
            Self::Ratio => ("ratio", "ratio", [0, 0, 0, 0, 0]),
            Self::Lambda => ("lambda", "lambda", [0, 0, 0, 0, 0]),
            Self::AirFuelRatio => ("air-fuel-ratio", "air-fuel ratio", [0, 0, 0, 0, 0]),
            Self::KinematicViscosity => ("kinematic-viscosity", "kinematic viscosity", [2, 0, -1, 0, 0]),
            Self::Duration => ("duration", "duration", [0, 0, 1, 0, 0]),
            Self::Voltage => ("voltage", "voltage", [2, 1, -3, 0, -1]),
            Self::Current => ("current", "electric current", [0, 0, 0, 0, 1]),
            Self::Inertia => ("inertia", "moment of inertia", [2, 1, 0, 0, 0]),
            Self::Count => ("count", "count", [0, 0, 0, 0, 0]),
        }
    }
}

impl fmt::Display for QuantityKind {
    fn fmt(&self, formatter: &mut fmt::Formatter<'_>) -> fmt::Result {
        formatter.write_str(self.title())
    }
}

impl std::str::FromStr for QuantityKind {
    type Err = QuantityError;

    fn from_str(name: &str) -> Result<Self, QuantityError> {
        Self::parse(name).ok_or_else(|| {
            let names: Vec<&str> = Self::ALL.into_iter().map(Self::name).collect();
            QuantityError::KindMismatch(mismatch(
                quoted(name),
                "the name of a quantity kind",
                format!("one of {}", names.join(", ")),
            ))
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_kind_is_found_by_its_name() {
        for kind in QuantityKind::ALL {
            assert_eq!(QuantityKind::parse(kind.name()), Some(kind));
            assert_eq!(kind.name().parse::<QuantityKind>(), Ok(kind));
        }
        assert_eq!(QuantityKind::parse("pressure"), None);
    }

    #[test]
    fn every_kind_has_a_unit_of_its_own_dimension_in_si() {
        for kind in QuantityKind::ALL {
            assert!(!kind.units().is_empty(), "{kind:?}");
            assert!(kind.si_unit().is_si(), "{kind:?}");
            for unit in kind.units() {
                assert_eq!(unit.dimension(), kind.dimension(), "{kind:?} {unit:?}");
            }
        }
    }

    #[test]
    fn a_difference_of_a_difference_is_a_difference() {
        for kind in QuantityKind::ALL {
            let difference = kind.difference();
            assert_eq!(difference.difference(), difference);
            assert_eq!(difference.dimension(), kind.dimension());
        }
    }
}
