//! Masses, forces, torques, powers, speeds, inertia and electricity.

use super::{FOOT_M, GRAVITY, HORSEPOWER_W, HOUR_S, INCH_MM, POUND_FORCE_N, POUND_KG, TURN, row};
use crate::quantity::kind::QuantityKind::{
    self, Acceleration, Current, Energy, Force, Inertia, Mass, Power, RotationalSpeed, SpecificEnergy,
    SpecificFuelConsumption, SpringRate, SweepRate, Torque, Velocity, Voltage,
};
use crate::quantity::unit::Unit;

const MASS: &[QuantityKind] = &[Mass];
const FORCE: &[QuantityKind] = &[Force];
const SPRING_RATE: &[QuantityKind] = &[SpringRate];
const TORQUE: &[QuantityKind] = &[Torque];
const ENERGY: &[QuantityKind] = &[Energy];
const POWER: &[QuantityKind] = &[Power];
const SPEED: &[QuantityKind] = &[RotationalSpeed];
const SWEEP: &[QuantityKind] = &[SweepRate];
const VELOCITY: &[QuantityKind] = &[Velocity];
const ACCELERATION: &[QuantityKind] = &[Acceleration];
const SPECIFIC_FUEL: &[QuantityKind] = &[SpecificFuelConsumption];
const SPECIFIC_ENERGY: &[QuantityKind] = &[SpecificEnergy];
const INERTIA: &[QuantityKind] = &[Inertia];

#[rustfmt::skip] // a table reads in columns
pub(super) static UNITS: &[Unit] = &[
    row("g", "g", 1.0, 1e3, MASS, "gram|grams"),
    row("kg", "kg", 1.0, 1.0, MASS, "kilogram|kilograms|kilo"),
    row("lb", "[lb_av]", POUND_KG, 1.0, MASS, "lbs|lbm|pound|pounds"),
    // An ounce is a sixteenth of a pound.
    row("oz", "[oz_av]", POUND_KG, 16.0, MASS, "ounce|ounces"),

    row("N", "N", 1.0, 1.0, FORCE, "newton|newtons"),
    row("lbf", "[lbf_av]", POUND_FORCE_N, 1.0, FORCE, "lb|lbs|pound|pounds"),
    row("kN", "kN", 1e3, 1.0, FORCE, ""),
    row("kgf", "kgf", GRAVITY, 1.0, FORCE, "kp"),

    row("N/mm", "N/mm", 1e3, 1.0, SPRING_RATE, ""),
    row("lb/in", "[lbf_av]/[in_i]", POUND_FORCE_N * 1e3, INCH_MM, SPRING_RATE, "lbf/in|lbs/in|lb/inch|lbs/inch"),
    row("N/m", "N/m", 1.0, 1.0, SPRING_RATE, ""),
    row("kgf/mm", "kgf/mm", GRAVITY * 1e3, 1.0, SPRING_RATE, "kg/mm"),

    row("N·m", "N.m", 1.0, 1.0, TORQUE, "Nm|newton metre|newton metres"),
    row("lb-ft", "[lbf_av].[ft_i]", FOOT_M * POUND_FORCE_N, 1.0, TORQUE,
        "ft-lb|lbf·ft|ft·lbf|ft-lbs|lbs-ft|lbft|ftlb|ft-lbf|[ft_i].[lbf_av]|pound-feet|foot-pounds"),
    row("in-lb", "[lbf_av].[in_i]", INCH_MM * POUND_FORCE_N, 1e3, TORQUE, "lb-in|in-lbs|lbf·in|in·lbf|lbs-in|inch-pounds|[in_i].[lbf_av]"),
    row("kgf·m", "kgf.m", GRAVITY, 1.0, TORQUE, "kgfm|kgm|kg·m|m·kgf|mkg|mkp|kpm"),

    row("J", "J", 1.0, 1.0, ENERGY, "joule|joules"),
    row("kJ", "kJ", 1e3, 1.0, ENERGY, ""),
    row("MJ", "MJ", 1e6, 1.0, ENERGY, ""),
    row("kWh", "kW.h", 1e3 * HOUR_S, 1.0, ENERGY, "kW·h"),
    row("ft-lbf", "[ft_i].[lbf_av]", FOOT_M * POUND_FORCE_N, 1.0, ENERGY, "ft-lb|foot-pounds"),

    row("kW", "kW", 1e3, 1.0, POWER, "kilowatt|kilowatts"),
    row("hp", "[HP]", HORSEPOWER_W, 1.0, POWER, "HP|bhp|BHP|horsepower|hp(mech)"),
    // The metric horsepower is 75 kgf·m/s.
    row("PS", "75.m.kgf/s", 75.0 * GRAVITY, 1.0, POWER, "ps|cv|CV|ch|pk|hp(metric)|metric hp"),
    row("W", "W", 1.0, 1.0, POWER, "watt|watts"),

    row("rpm", "{rev}/min", TURN, 60.0, SPEED, "RPM|r/min|rev/min|revs/min|1/min|/min|min-1|min⁻¹|min^-1|U/min"),
    row("rad/s", "rad/s", 1.0, 1.0, SPEED, "rad/sec"),
    row("rev/s", "{rev}/s", TURN, 1.0, SPEED, "r/s|rps|1/s|/s"),

    row("rpm/s", "{rev}/min/s", TURN, 60.0, SWEEP, "RPM/s|rpm/sec|r/min/s|rev/min/s|/min/s|rpm per s|rpm per second"),
    row("rad/s²", "rad/s2", 1.0, 1.0, SWEEP, "rad/s2"),

    row("m/s", "m/s", 1.0, 1.0, VELOCITY, "m/sec"),
    row("ft/min", "[ft_i]/min", FOOT_M, 60.0, VELOCITY, "fpm|FPM"),
    row("ft/s", "[ft_i]/s", FOOT_M, 1.0, VELOCITY, "fps|ft/sec"),
    row("km/h", "km/h", 1e3, HOUR_S, VELOCITY, "kph|kmh"),
    // A mile is 5280 feet.
    row("mph", "[mi_i]/h", 5280.0 * FOOT_M, HOUR_S, VELOCITY, "mi/h"),

    row("m/s²", "m/s2", 1.0, 1.0, ACCELERATION, "m/s2"),
    row("gn", "[g]", GRAVITY, 1.0, ACCELERATION, "g0"),

    row("g/kWh", "g/(kW.h)", 1.0, 1e6 * HOUR_S, SPECIFIC_FUEL, "g/kW/h|g/(kW·h)|g/kW-h"),
    row("lb/hp-h", "[lb_av]/[HP]/h", POUND_KG, HORSEPOWER_W * HOUR_S, SPECIFIC_FUEL,
        "lb/hph|lb/(hp·h)|lb/hp/h|lb/hp-hr|lb/hphr|lb/(hp·hr)|lb/bhp-h|lb/bhp-hr|lb/(bhp·h)|lbs/hp-hr|[lb_av]/([HP].h)"),
    row("kg/J", "kg/J", 1.0, 1.0, SPECIFIC_FUEL, ""),

    row("MJ/kg", "MJ/kg", 1e6, 1.0, SPECIFIC_ENERGY, ""),
    row("kJ/kg", "kJ/kg", 1e3, 1.0, SPECIFIC_ENERGY, ""),
    // The international-table Btu per pound is 2326 J/kg exactly (5th International Conference on the Properties of Steam, 1956).
    row("Btu/lb", "2326.J/kg", 2326.0, 1.0, SPECIFIC_ENERGY, "BTU/lb|[Btu_IT]/[lb_av]"),
    row("J/kg", "J/kg", 1.0, 1.0, SPECIFIC_ENERGY, ""),

    row("kg·m²", "kg.m2", 1.0, 1.0, INERTIA, "kg·m2|kgm2|kgm²"),
    row("lb·ft²", "[lb_av].[ft_i]2", POUND_KG * FOOT_M * FOOT_M, 1.0, INERTIA, "lb-ft2|lbft2"),
    row("lb·in²", "[lb_av].[in_i]2", POUND_KG * INCH_MM * INCH_MM, 1e6, INERTIA, "lb-in2"),
    row("kg·cm²", "kg.cm2", 1.0, 1e4, INERTIA, "kg·cm2"),

    row("V", "V", 1.0, 1.0, &[Voltage], "volt|volts"),
    row("mV", "mV", 1.0, 1e3, &[Voltage], ""),
    row("A", "A", 1.0, 1.0, &[Current], "amp|amps|ampere|amperes"),
    row("mA", "mA", 1.0, 1e3, &[Current], ""),
];
