//! What a column of a raw file measures: the channel's quantity and the words for it.

use std::fmt;

use crate::quantity::QuantityKind;
use crate::quantity::Unit;

/// The quantity of a channel: what was measured where, as far as the checks and curves need to know it.
///
/// Anything that has no name here is [`ChannelQuantity::Other`] and is kept as a named channel.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
#[non_exhaustive]
pub enum ChannelQuantity {
    /// Time, from a start or of the day.
    Time,
    /// Engine (or absorber) speed.
    Speed,
    /// Torque.
    Torque,
    /// Power.
    Power,
    /// Fuel flow, by mass or volume.
    FuelFlow,
    /// Air flow, by mass or volume.
    AirFlow,
    /// Fuel mass per brake work.
    SpecificFuelConsumption,
    /// Excess-air ratio.
    Lambda,
    /// Air mass over fuel mass; the fuel must be known to turn it into lambda.
    AirFuelRatio,
    /// Oil pressure.
    OilPressure,
    /// Fuel pressure.
    FuelPressure,
    /// Pressure or vacuum in the intake manifold.
    ManifoldPressure,
    /// Atmospheric pressure.
    Barometer,
    /// Pressure of water vapour in the air.
    VapourPressure,
    /// Pressure in the exhaust.
    ExhaustPressure,
    /// Temperature of the inlet or cell air.
    AirTemperature,
    /// Temperature of the coolant.
    WaterTemperature,
    /// Temperature of the oil.
    OilTemperature,
    /// Temperature of the fuel.
    FuelTemperature,
    /// Temperature of the exhaust gas, by cylinder where numbered.
    ExhaustTemperature,
    /// Relative humidity.
    Humidity,
    /// Blow-by flow.
    BlowBy,
    /// Position of the throttle.
    Throttle,
    /// Ignition timing before top dead centre.
    IgnitionTiming,
    /// A correction factor as written by the equipment.
    CorrectionFactor,
    /// Speed of the road wheel or roller.
    RoadSpeed,
    /// Valve lift on a flow bench.
    Lift,
    /// Flow through a port on a flow bench.
    Flow,
    /// Pressure across a port on a flow bench.
    TestPressure,
    /// Number or name of a run; the segment rule may use it.
    Run,
    /// Anything else: kept under its own name.
    Other,
}

/// Every quantity with its word, in the order of the enum.
const WORDS: [(ChannelQuantity, &str); 31] = [
    (ChannelQuantity::Time, "time"),
    (ChannelQuantity::Speed, "speed"),
    (ChannelQuantity::Torque, "torque"),
    (ChannelQuantity::Power, "power"),
    (ChannelQuantity::FuelFlow, "fuel-flow"),
    (ChannelQuantity::AirFlow, "air-flow"),
    (ChannelQuantity::SpecificFuelConsumption, "specific-fuel-consumption"),
    (ChannelQuantity::Lambda, "lambda"),
    (ChannelQuantity::AirFuelRatio, "air-fuel-ratio"),
    (ChannelQuantity::OilPressure, "oil-pressure"),
    (ChannelQuantity::FuelPressure, "fuel-pressure"),
    (ChannelQuantity::ManifoldPressure, "manifold-pressure"),
    (ChannelQuantity::Barometer, "barometer"),
    (ChannelQuantity::VapourPressure, "vapour-pressure"),
    (ChannelQuantity::ExhaustPressure, "exhaust-pressure"),
    (ChannelQuantity::AirTemperature, "air-temperature"),
    (ChannelQuantity::WaterTemperature, "water-temperature"),
    (ChannelQuantity::OilTemperature, "oil-temperature"),
    (ChannelQuantity::FuelTemperature, "fuel-temperature"),
    (ChannelQuantity::ExhaustTemperature, "exhaust-temperature"),
    (ChannelQuantity::Humidity, "humidity"),
    (ChannelQuantity::BlowBy, "blow-by"),
    (ChannelQuantity::Throttle, "throttle"),
    (ChannelQuantity::IgnitionTiming, "ignition-timing"),
    (ChannelQuantity::CorrectionFactor, "correction-factor"),
    (ChannelQuantity::RoadSpeed, "road-speed"),
    (ChannelQuantity::Lift, "lift"),
    (ChannelQuantity::Flow, "flow"),
    (ChannelQuantity::TestPressure, "test-pressure"),
    (ChannelQuantity::Run, "run"),
    (ChannelQuantity::Other, "other"),
];

impl ChannelQuantity {
    /// The quantity's word in a columns record (`fuel-flow`).
    pub fn word(self) -> &'static str {
        WORDS.iter().find(|(quantity, _)| *quantity == self).map_or("other", |(_, word)| word)
    }

    /// The quantity that a word of a columns record names, if any.
    pub fn from_word(word: &str) -> Option<Self> {
        WORDS.iter().find(|(_, known)| *known == word).map(|(quantity, _)| *quantity)
    }

    /// The kinds of quantity that such a channel may hold, the usual one first; none for `time` written as a date, a
    /// run's number, and anything else.
    pub fn kinds(self) -> &'static [QuantityKind] {
        match self {
            Self::Time => &[QuantityKind::Duration],
            Self::Speed => &[QuantityKind::RotationalSpeed],
            Self::Torque => &[QuantityKind::Torque],
            Self::Power => &[QuantityKind::Power],
            Self::FuelFlow | Self::AirFlow => &[QuantityKind::MassFlow, QuantityKind::VolumeFlow],
            Self::SpecificFuelConsumption => &[QuantityKind::SpecificFuelConsumption],
            Self::Lambda => &[QuantityKind::Lambda],
            Self::AirFuelRatio => &[QuantityKind::AirFuelRatio],
            Self::OilPressure | Self::FuelPressure | Self::ExhaustPressure => &[
                QuantityKind::PressureGauge,
                QuantityKind::PressureAbsolute,
                QuantityKind::PressureDifference,
            ],
            Self::ManifoldPressure => &[
                QuantityKind::PressureAbsolute,
                QuantityKind::PressureGauge,
                QuantityKind::PressureDifference,
            ],
            Self::Barometer | Self::VapourPressure => &[QuantityKind::PressureAbsolute],
            Self::AirTemperature
            | Self::WaterTemperature
            | Self::OilTemperature
            | Self::FuelTemperature
            | Self::ExhaustTemperature => &[QuantityKind::Temperature],
            Self::Humidity => &[QuantityKind::Fraction, QuantityKind::HumidityRatio],
            Self::BlowBy => &[QuantityKind::VolumeFlow, QuantityKind::PressureDifference],
            Self::Throttle => &[QuantityKind::Fraction, QuantityKind::Angle],
            Self::IgnitionTiming => &[QuantityKind::Timing, QuantityKind::Angle],
            Self::CorrectionFactor => &[QuantityKind::Ratio],
            Self::RoadSpeed => &[QuantityKind::Velocity],
            Self::Lift => &[QuantityKind::Length],
            Self::Flow => &[QuantityKind::VolumeFlow],
            Self::TestPressure => &[QuantityKind::PressureDifference],
            Self::Run | Self::Other => &[],
        }
    }

    /// The unit that a spelling names for such a channel, and the kind of quantity that it makes of it.
    pub fn unit(self, spelling: &str) -> Option<(&'static Unit, QuantityKind)> {
        self.kinds().iter().find_map(|kind| Unit::parse(spelling, *kind).ok().map(|unit| (unit, *kind)))
    }

    /// Every quantity, in the order of the enum.
    pub fn all() -> impl Iterator<Item = Self> {
        WORDS.iter().map(|(quantity, _)| *quantity)
    }
}

impl fmt::Display for ChannelQuantity {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.word())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_word_names_one_quantity() {
        for quantity in ChannelQuantity::all() {
            assert_eq!(ChannelQuantity::from_word(quantity.word()), Some(quantity));
        }
        assert_eq!(ChannelQuantity::from_word("horses"), None);
    }
}
