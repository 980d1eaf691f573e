//! Pressures, temperatures, flows, densities and viscosities.

use super::{FOOT_M, GRAVITY, HOUR_S, INCH_MM, POUND_FORCE_N, POUND_KG, row};
use crate::quantity::kind::QuantityKind::{
    self, Density, KinematicViscosity, MassFlow, PressureAbsolute, PressureDifference, PressureGauge,
    Temperature, TemperatureDifference, VolumeFlow,
};
use crate::quantity::unit::Unit;

/// Gauge or absolute is not in the unit: the kind says it.
const PRESSURE: &[QuantityKind] = &[PressureAbsolute, PressureGauge, PressureDifference];
const ABSOLUTE: &[QuantityKind] = &[PressureAbsolute];
const GAUGE: &[QuantityKind] = &[PressureGauge];
const DIFFERENCE: &[QuantityKind] = &[PressureDifference];
const TEMPERATURE: &[QuantityKind] = &[Temperature];
const TEMPERATURE_STEP: &[QuantityKind] = &[TemperatureDifference];
const VOLUME_FLOW: &[QuantityKind] = &[VolumeFlow];
const MASS_FLOW: &[QuantityKind] = &[MassFlow];
const DENSITY: &[QuantityKind] = &[Density];
const VISCOSITY: &[QuantityKind] = &[KinematicViscosity];

/// A pound-force on a square millimetre-inch: the numerator of the psi over `INCH_MM` squared, in pascals.
const PSI_NUMERATOR: f64 = POUND_FORCE_N * 1e6;
const SQUARE_INCH_MM2: f64 = INCH_MM * INCH_MM;

#[rustfmt::skip] // a table reads in columns
pub(super) static UNITS: &[Unit] = &[
    row("kPa", "kPa", 1e3, 1.0, PRESSURE, "kilopascal|kilopascals"),
    row("psi", "[psi]", PSI_NUMERATOR, SQUARE_INCH_MM2, PRESSURE, "lbf/in2|lb/in2|lb/sq in|lbs/sq in"),
    row("bar", "bar", 1e5, 1.0, PRESSURE, "bars"),
    row("mbar", "mbar", 1e2, 1.0, PRESSURE, "mb|millibar|millibars"),
    row("hPa", "hPa", 1e2, 1.0, PRESSURE, "hectopascal"),
    row("Pa", "Pa", 1.0, 1.0, PRESSURE, "pascal|pascals"),
    row("MPa", "MPa", 1e6, 1.0, PRESSURE, "megapascal"),
    // Conventional inch of mercury: NIST SP 811 (2008), appendix B.8, 3.386 389 E+03.
    row("inHg", "3386389.mPa", 3_386_389.0, 1e3, PRESSURE, "in Hg|inches Hg|\"Hg|in. Hg|inches of mercury"),
    // The other inches of mercury in the same table; misreading one for another moves a corrected power by 0.3 %.
    row("inHg 60F", "337685.cPa", 337_685.0, 1e2, PRESSURE, "inHg(60F)|inHg @ 60F|inHg@60F|inHg 60°F|inHg(60°F)|inHg 60 degF|in Hg 60F"),
    row("inHg 32F", "338638.cPa", 338_638.0, 1e2, PRESSURE, "inHg(32F)|inHg @ 32F|inHg@32F|inHg 32°F|inHg(32°F)|inHg 32 degF|in Hg 32F|inHg 0C"),
    // UCUM takes the metre of mercury as 133.3220 kPa, which is a fourth inch of mercury.
    row("inHg UCUM", "[in_i'Hg]", INCH_MM * 133.3220, 1.0, PRESSURE, ""),
    // Conventional millimetre of mercury: 13 595.1 kg/m³ × 9.80665 m/s² × 1 mm (BS 350: Part 1: 1974).
    row("mmHg", "133322387415.nPa", 13_595.1 * GRAVITY, 1e3, PRESSURE, "mm Hg|mm of mercury"),
    row("mmHg UCUM", "mm[Hg]", 133.3220, 1.0, PRESSURE, ""),
    row("Torr", "101325/760.Pa", 101_325.0, 760.0, PRESSURE, "torr"),
    // Conventional inch of water: 1000 kg/m³ × 9.80665 m/s² × 1 in = 249.08891 Pa; UCUM's has the same value.
    row("inH2O", "[in_i'H2O]", INCH_MM * GRAVITY, 1.0, PRESSURE, "in H2O|inches H2O|\"H2O|in. H2O|inWC|in WC|inches of water|iwg|in wg"),
    // Waters of stated temperature: NIST SP 811 (2008), appendix B.8 (from memory; the table was not at hand).
    row("inH2O 60F", "24884.cPa", 24_884.0, 1e2, PRESSURE, "inH2O(60F)|inH2O @ 60F|inH2O@60F|inH2O 60°F|inH2O(60°F)|inH2O 60 degF|in H2O 60F"),
    row("inH2O 39.2F", "249082.mPa", 249_082.0, 1e3, PRESSURE, "inH2O(39.2F)|inH2O @ 39.2F|inH2O 4C|inH2O(4C)|inH2O(4°C)|inH2O 39.2°F"),
    row("mmH2O", "mm[H2O]", GRAVITY, 1.0, PRESSURE, "mm H2O|mmWC|mm WC|mm of water"),
    row("cmH2O", "cm[H2O]", GRAVITY * 10.0, 1.0, PRESSURE, "cm H2O"),
    row("atm", "atm", 101_325.0, 1.0, PRESSURE, "atmospheres"),
    row("kgf/cm²", "kgf/cm2", GRAVITY * 1e4, 1.0, PRESSURE, "kg/cm2|at"),
    row("psia", "[psi]{absolute}", PSI_NUMERATOR, SQUARE_INCH_MM2, ABSOLUTE, "psi a|psi(a)|psi abs|psi absolute"),
    row("psig", "[psi]{gauge}", PSI_NUMERATOR, SQUARE_INCH_MM2, GAUGE, "psi g|psi(g)|psi gauge|psi gage"),
    row("psid", "[psi]{difference}", PSI_NUMERATOR, SQUARE_INCH_MM2, DIFFERENCE, "psi d|psi(d)|psi diff"),
    row("bara", "bar{absolute}", 1e5, 1.0, ABSOLUTE, "bar a|bar(a)|bar abs|bar absolute"),
    row("barg", "bar{gauge}", 1e5, 1.0, GAUGE, "bar g|bar(g)|bar gauge"),
    row("kPa abs", "kPa{absolute}", 1e3, 1.0, ABSOLUTE, "kPa a|kPa(a)|kPaa|kPa absolute"),
    row("kPa gauge", "kPa{gauge}", 1e3, 1.0, GAUGE, "kPa g|kPa(g)|kPag"),

    // 0 degC is 273.15 K; 0 degF is 459.67 steps of 5/9 K.
    row("degC", "Cel", 1.0, 1.0, TEMPERATURE, "°C|C|deg C|celsius|degrees C").counted_from(273.15),
    row("degF", "[degF]", 5.0, 9.0, TEMPERATURE, "°F|F|deg F|fahrenheit|degrees F").counted_from(459.67),
    row("K", "K", 1.0, 1.0, TEMPERATURE, "kelvin|kelvins|degK|°K"),
    row("degR", "5.K/9", 5.0, 9.0, TEMPERATURE, "°R|R|rankine|deg R"),

    row("K", "K", 1.0, 1.0, TEMPERATURE_STEP, "kelvin|kelvins"),
    row("degC", "K{degC}", 1.0, 1.0, TEMPERATURE_STEP, "°C|C|Cel|deg C|degrees C"),
    row("degF", "5.K{degF}/9", 5.0, 9.0, TEMPERATURE_STEP, "°F|F|[degF]|deg F|degrees F|5.K/9"),

    row("cfm", "[ft_i]3/min", FOOT_M * FOOT_M * FOOT_M, 60.0, VOLUME_FLOW, "CFM|ft3/min|ft³/min|cu ft/min|[cft_i]/min"),
    row("L/s", "L/s", 1.0, 1e3, VOLUME_FLOW, "l/s|dm3/s"),
    row("L/min", "L/min", 1.0, 6e4, VOLUME_FLOW, "l/min|lpm|LPM"),
    row("cc/min", "cm3/min", 1.0, 6e7, VOLUME_FLOW, "mL/min|ccm/min|cm³/min"),
    row("L/h", "L/h", 1.0, 1e3 * HOUR_S, VOLUME_FLOW, "l/h|lph|L/hr"),
    row("gal/h", "[gal_us]/h", 231.0 * SQUARE_INCH_MM2 * INCH_MM, 1e9 * HOUR_S, VOLUME_FLOW, "gph|GPH|gal/hr"),
    row("gal/min", "[gal_us]/min", 231.0 * SQUARE_INCH_MM2 * INCH_MM, 6e10, VOLUME_FLOW, "gpm|GPM"),
    row("m³/h", "m3/h", 1.0, HOUR_S, VOLUME_FLOW, "m3/h|m3/hr"),
    row("m³/s", "m3/s", 1.0, 1.0, VOLUME_FLOW, "m3/s"),

    row("g/s", "g/s", 1.0, 1e3, MASS_FLOW, "g/sec"),
    row("kg/h", "kg/h", 1.0, HOUR_S, MASS_FLOW, "kg/hr"),
    row("lb/h", "[lb_av]/h", POUND_KG, HOUR_S, MASS_FLOW, "lb/hr|lbs/h|lbs/hr|pph|PPH|lbm/h"),
    row("lb/min", "[lb_av]/min", POUND_KG, 60.0, MASS_FLOW, "lbs/min|lbm/min"),
    row("g/min", "g/min", 1.0, 6e4, MASS_FLOW, ""),
    row("kg/s", "kg/s", 1.0, 1.0, MASS_FLOW, "kg/sec"),

    row("kg/m³", "kg/m3", 1.0, 1.0, DENSITY, "kg/m3"),
    row("g/cc", "g/cm3", 1e3, 1.0, DENSITY, "g/cm³|g/mL|g/ml|kg/L|kg/l|kg/dm3"),
    row("g/L", "g/L", 1.0, 1.0, DENSITY, "g/l"),
    row("lb/ft³", "[lb_av]/[ft_i]3", POUND_KG, FOOT_M * FOOT_M * FOOT_M, DENSITY, "lb/ft3|lb/cu ft|lbm/ft3"),
    row("lb/gal", "[lb_av]/[gal_us]", POUND_KG * 1e9, 231.0 * SQUARE_INCH_MM2 * INCH_MM, DENSITY, "lbs/gal"),

    row("cSt", "mm2/s", 1.0, 1e6, VISCOSITY, "cst|mm²/s|centistokes"),
    row("m²/s", "m2/s", 1.0, 1.0, VISCOSITY, "m2/s"),
];
