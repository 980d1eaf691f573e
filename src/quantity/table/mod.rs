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
    Unit { symbol, ucum, numerator, denominator, origin: 0.0, kinds, aliases }
}

impl Unit {
    /// The same row on a scale that begins elsewhere: `origin` is added before scaling.
    const fn counted_from(mut self, origin: f64) -> Self {
        self.origin = origin;
        self
    }
}

#[cfg(test)]
mod tests {
    use std::collections::BTreeMap;

    use super::*;
    use crate::quantity::{Quantity, QuantityKind as Kind};

    fn converted(value: f64, from: &str, to: &str, kind: Kind) -> f64 {
        Quantity::spelled(value, from, kind)
            .and_then(|quantity| quantity.in_spelled(to))
            .unwrap_or_else(|error| panic!("{from} to {to}: {error}"))
    }

    fn assert_relative(found: f64, expected: f64, tolerance: f64, what: &str) {
        let relative = ((found - expected) / expected).abs();
        assert!(relative <= tolerance, "{what}: found {found}, expected {expected}");
    }

    #[test]
    fn exact_factors_are_those_of_their_definitions() {
        // Products of the 1959 yard and pound, g0 (1901), 550 ft·lbf/s and 75 kgf·m/s, worked out by hand in decimals.
        for (unit, kind, expected, tolerance) in [
            ("in", Kind::Length, 0.0254, 1e-15),
            ("thou", Kind::Length, 2.54e-5, 1e-15),
            ("ft", Kind::Length, 0.3048, 1e-15),
            ("in³", Kind::Volume, 16.387_064e-6, 1e-15),
            ("lb", Kind::Mass, 0.453_592_37, 1e-15),
            ("lbf", Kind::Force, 4.448_221_615_260_5, 1e-15),
            ("lb-ft", Kind::Torque, 1.355_817_948_331_400_4, 1e-15),
            ("ft-lbf", Kind::Energy, 1.355_817_948_331_400_4, 1e-15),
            ("hp", Kind::Power, 745.699_871_582_270_2, 1e-15),
            ("PS", Kind::Power, 735.498_75, 1e-15),
            ("psi", Kind::PressureGauge, 6_894.757_293_168_4, 1e-14),
            ("cfm", Kind::VolumeFlow, 4.719_474_432e-4, 1e-15),
            ("inH2O", Kind::PressureDifference, 249.088_91, 1e-15),
            ("mmHg", Kind::PressureAbsolute, 133.322_387_415, 1e-15),
        ] {
            let found = Unit::parse(unit, kind).map(Unit::factor).unwrap();
            assert_relative(found, expected, tolerance, unit);
        }
    }

    #[test]
    fn conventional_columns_are_those_of_nist_sp_811() {
        // NIST SP 811 (2008), appendix B.8; the inHg row was seen in an excerpt, the others are from memory.
        for (unit, expected) in [
            ("inHg", 3_386.389),
            ("inHg 32F", 3_386.38),
            ("inHg 60F", 3_376.85),
            ("inH2O 39.2F", 249.082),
            ("inH2O 60F", 248.84),
        ] {
            let found = converted(1.0, unit, "Pa", Kind::PressureAbsolute);
            assert_relative(found, expected, 1e-12, unit);
        }
        assert_relative(
            converted(28.0, "inH2O", "Pa", Kind::PressureDifference),
            6_974.489_48,
            1e-12,
            "28 inH2O",
        );
        // Ratios of the figures above, worked out apart.
        assert_relative(converted(99.0, "kPa", "inHg", Kind::PressureAbsolute), 29.234_680, 5e-8, "99 kPa");
        assert_relative(
            converted(99.0, "kPa", "inHg 60F", Kind::PressureAbsolute),
            29.317_263,
            5e-8,
            "99 kPa at 60 degF",
        );
        assert_relative(
            converted(29.92, "inHg", "kPa", Kind::PressureAbsolute),
            101.320_759,
            5e-9,
            "29.92 inHg",
        );
    }

    #[test]
    fn codes_of_ucum_have_the_values_of_ucum() {
        // UCUM 2.2, essence file: its own mercury column is 133.3220 kPa to the metre.
        for (code, kind, expected) in [
            ("[HP]", Kind::Power, 745.699_87),
            ("75.m.kgf/s", Kind::Power, 735.498_75),
            ("kW", Kind::Power, 1000.0),
            ("[lbf_av].[ft_i]", Kind::Torque, 1.355_817_95),
            ("N.m", Kind::Torque, 1.0),
            ("cm3", Kind::Volume, 1e-6),
            ("mL", Kind::Volume, 1e-6),
            ("[in_i]", Kind::Length, 0.0254),
            ("[mil_i]", Kind::Length, 2.54e-5),
            ("mm", Kind::Length, 1e-3),
            ("[in_i'Hg]", Kind::PressureAbsolute, 3_386.378_8),
            ("[in_i'H2O]", Kind::PressureDifference, 249.088_91),
            ("kPa", Kind::PressureAbsolute, 1000.0),
            ("[psi]", Kind::PressureGauge, 6_894.757_29),
            ("bar", Kind::PressureGauge, 1e5),
            ("[cft_i]/min", Kind::VolumeFlow, 4.719_474_432e-4),
            ("[ft_i]3/min", Kind::VolumeFlow, 4.719_474_432e-4),
            ("deg", Kind::Angle, std::f64::consts::PI / 180.0),
            ("deg{crank}", Kind::Angle, std::f64::consts::PI / 180.0),
            ("{lambda}", Kind::Lambda, 1.0),
            ("1", Kind::Lambda, 1.0),
            ("g/g", Kind::AirFuelRatio, 1.0),
            ("g/s", Kind::MassFlow, 1e-3),
            ("[lb_av]/h", Kind::MassFlow, 0.453_592_37 / 3600.0),
            ("[lb_av]/[HP]/h", Kind::SpecificFuelConsumption, 0.453_592_37 / 3600.0 / 745.699_871_6),
            ("g/kW/h", Kind::SpecificFuelConsumption, 1.0 / 3.6e9),
        ] {
            let found = Unit::parse(code, kind).map(Unit::factor).unwrap();
            // The codes' values are printed to eight or nine digits.
            assert_relative(found, expected, 5e-9, code);
        }
        // UCUM counts turns as plain numbers, 1/60 per second; here they are angles, so that torque × speed is power.
        for code in ["/min", "1/min", "{rev}/min"] {
            assert_relative(converted(1.0, code, "/s", Kind::RotationalSpeed), 1.0 / 60.0, 1e-15, code);
        }
        assert_relative(converted(1.0, "[degF]", "K", Kind::Temperature), 460.67 / 1.8, 1e-15, "[degF]");
        assert_relative(converted(1.0, "Cel", "K", Kind::Temperature), 274.15, 1e-15, "Cel");
    }

    #[test]
    fn torque_times_speed_is_power() {
        let power = |torque, unit, speed| {
            let torque = Quantity::spelled(torque, unit, Kind::Torque).unwrap();
            let speed = Quantity::spelled(speed, "rpm", Kind::RotationalSpeed).unwrap();
            Quantity::new(Kind::Power, torque.si() * speed.si()).unwrap()
        };
        // 33000/2π and 30000/π, to the digits that mathematics gives them.
        let horsepower = power(5_252.113_122_032_5, "lb-ft", 1.0).in_spelled("hp").unwrap();
        assert_relative(horsepower, 1.0, 1e-13, "5252");
        let kilowatts = power(9_549.296_585_513_7, "N·m", 1.0).in_spelled("kW").unwrap();
        assert_relative(kilowatts, 1.0, 1e-13, "9549");
        let metric = power(7_023.495_702_024_6, "N·m", 1.0).in_spelled("PS").unwrap();
        assert_relative(metric, 1.0, 1e-13, "7023");
        // 500 N·m at 6000 rpm is 100π kW.
        let pull = power(500.0, "Nm", 6000.0);
        for (unit, expected) in [("kW", 314.159_265), ("hp", 421.294_514), ("PS", 427.137_728)] {
            assert_relative(pull.in_spelled(unit).unwrap(), expected, 2e-9, unit);
        }
        assert_relative(converted(1.0, "hp", "PS", Kind::Power), 1.013_869_665_4, 5e-11, "hp in PS");
    }

    #[test]
    fn mean_effective_pressure_comes_out_in_either_system() {
        // bmep = 4π·T/V for a four-stroke, 48π·T/V in psi, lbf·ft and in³. Eight cylinders of 4.155 × 3.75 in hold
        // 8·π/4·B²·S, so that 500 lbf·ft is 24000/(2·B²·S) psi: π cancels and the quotient can be worked out by hand.
        let torque = Quantity::spelled(500.0, "lb-ft", Kind::Torque).unwrap();
        let cubic_inches = 2.0 * std::f64::consts::PI * 4.155 * 4.155 * 3.75;
        let volume = Quantity::spelled(cubic_inches, "CID", Kind::Volume).unwrap();
        let pressure =
            Quantity::new(Kind::PressureDifference, 4.0 * std::f64::consts::PI * torque.si() / volume.si())
                .unwrap();
        assert_relative(pressure.in_spelled("psi").unwrap(), 24_000.0 / 129.480_187_5, 1e-13, "psi");
        assert_relative(pressure.in_spelled("psi").unwrap(), 185.356_543, 5e-9, "psi");
        assert_relative(pressure.in_spelled("bar").unwrap(), 12.779_884, 5e-8, "bar");
    }

    #[test]
    fn a_sweep_and_a_weight_on_the_arm_come_out_in_si() {
        // I·α with α = 2π/60 · 300 rpm/s and I = 0.35 kg·m².
        let sweep = Quantity::spelled(300.0, "rpm/s", Kind::SweepRate).unwrap();
        assert_relative(0.35 * sweep.si(), 10.995_574, 5e-8, "sweep");
        // 100 lb on a 24 in arm.
        let force = Quantity::spelled(100.0, "lb", Kind::Force).unwrap();
        let arm = Quantity::spelled(24.0, "in", Kind::Length).unwrap();
        assert_relative(force.si() * arm.si(), 271.163_590, 5e-9, "dead weight");
    }

    #[test]
    fn temperatures_meet_at_their_fixed_points_exactly() {
        for (value, from, to, expected) in [
            (32.0, "degF", "degC", 0.0),
            (212.0, "degF", "degC", 100.0),
            (-40.0, "degF", "degC", -40.0),
            (25.0, "degC", "K", 298.15),
            (60.0, "degF", "K", 519.67 * 5.0 / 9.0),
            (0.0, "degC", "degF", 32.0),
            (68.0, "degF", "degC", 20.0),
        ] {
            let found = converted(value, from, to, Kind::Temperature);
            assert!((found - expected).abs() < 1e-12 * 300.0, "{value} {from}: {found}");
        }
    }

    #[test]
    fn no_spelling_names_two_units_of_one_kind() {
        let mut known: BTreeMap<(Kind, &str), &Unit> = BTreeMap::new();
        for unit in all() {
            for kind in unit.kinds() {
                for spelling in [unit.symbol(), unit.ucum()].into_iter().chain(unit.aliases()) {
                    let earlier = known.insert((*kind, spelling), unit);
                    assert!(
                        earlier.is_none_or(|earlier| earlier == unit),
                        "{spelling} of {kind} names {earlier:?} and {unit:?}"
                    );
                }
            }
        }
    }

    #[test]
    fn every_symbol_code_and_alias_parses_to_its_own_unit() {
        for unit in all() {
            for kind in unit.kinds() {
                for spelling in [unit.symbol(), unit.ucum()].into_iter().chain(unit.aliases()) {
                    assert_eq!(Unit::parse(spelling, *kind), Ok(unit), "{spelling} of {kind}");
                }
            }
        }
    }
}
