//! Lengths, areas, volumes, angles, timings, plain numbers and times.

use super::{FOOT_M, HOUR_S, INCH_MM, TURN, row};
use crate::quantity::kind::QuantityKind::{
    self, AirFuelRatio, Angle, Area, Count, Duration, Fraction, HumidityRatio, Lambda, Length, Ratio, Timing,
    Volume,
};
use crate::quantity::unit::Unit;

const HALF_TURN: f64 = std::f64::consts::PI;
const LENGTH: &[QuantityKind] = &[Length];
const AREA: &[QuantityKind] = &[Area];
const VOLUME: &[QuantityKind] = &[Volume];
const ANGLE: &[QuantityKind] = &[Angle];
const TIMING: &[QuantityKind] = &[Timing];
const DURATION: &[QuantityKind] = &[Duration];
const HUMIDITY: &[QuantityKind] = &[HumidityRatio];

/// A cubic inch in cubic millimetres.
const CUBIC_INCH_MM3: f64 = INCH_MM * INCH_MM * INCH_MM;

#[rustfmt::skip] // a table reads in columns
pub(super) static UNITS: &[Unit] = &[
    row("mm", "mm", 1.0, 1e3, LENGTH, "MM|millimetre|millimetres|millimeter|millimeters"),
    row("in", "[in_i]", INCH_MM, 1e3, LENGTH, "\"|''|inch|inches|in (int.)"),
    row("thou", "[mil_i]", INCH_MM, 1e6, LENGTH, "mil|mils|thousandths"),
    row("cm", "cm", 1.0, 1e2, LENGTH, "centimetre|centimetres"),
    row("m", "m", 1.0, 1.0, LENGTH, "metre|metres|meter|meters"),
    row("µm", "um", 1.0, 1e6, LENGTH, "micron|microns|micrometre"),
    row("ft", "[ft_i]", FOOT_M, 1.0, LENGTH, "'|foot|feet"),
    row("km", "km", 1e3, 1.0, LENGTH, "kilometre|kilometres"),

    row("in²", "[in_i]2", INCH_MM * INCH_MM, 1e6, AREA, "in2|sq in|square inch|square inches|[sin_i]"),
    row("cm²", "cm2", 1.0, 1e4, AREA, "cm2|sq cm"),
    row("mm²", "mm2", 1.0, 1e6, AREA, "mm2|sq mm"),
    row("m²", "m2", 1.0, 1.0, AREA, "m2|sq m"),

    row("cc", "cm3", 1.0, 1e6, VOLUME, "cm³|ccm|cu cm|ccs"),
    row("mL", "mL", 1.0, 1e6, VOLUME, "ml|millilitre|millilitres"),
    row("in³", "[in_i]3", CUBIC_INCH_MM3, 1e9, VOLUME, "in3|cu in|cuin|CID|ci|cubic inch|cubic inches|[cin_i]"),
    row("L", "L", 1.0, 1e3, VOLUME, "l|ltr|litre|litres|liter|liters|dm3"),
    row("m³", "m3", 1.0, 1.0, VOLUME, "m3"),
    // The US gallon is 231 cubic inches; a quart is a quarter of it.
    row("qt", "[qt_us]", 231.0 * CUBIC_INCH_MM3, 4e9, VOLUME, "quart|quarts|US qt"),
    row("gal", "[gal_us]", 231.0 * CUBIC_INCH_MM3, 1e9, VOLUME, "gallon|gallons|US gal"),
    row("mm³", "mm3", 1.0, 1e9, VOLUME, "mm3"),

    row("deg", "deg", HALF_TURN, 180.0, ANGLE, "°|degree|degrees|deg{crank}|deg crank|° crank|crank deg|deg cam|° cam|CAD"),
    row("rad", "rad", 1.0, 1.0, ANGLE, "radian|radians"),
    row("turn", "circ", TURN, 1.0, ANGLE, "turns|rev"),

    row("deg BTDC", "deg{BTDC}", -HALF_TURN, 180.0, TIMING, "° BTDC|BTDC|degrees BTDC|deg before TDC|° before TDC"),
    row("deg ATDC", "deg{ATDC}", HALF_TURN, 180.0, TIMING, "° ATDC|ATDC|degrees ATDC|deg after TDC|° after TDC"),
    row("deg BBDC", "deg{BBDC}", -HALF_TURN, 180.0, TIMING, "° BBDC|BBDC|degrees BBDC|deg before BDC|° before BDC").counted_from(-180.0),
    row("deg ABDC", "deg{ABDC}", HALF_TURN, 180.0, TIMING, "° ABDC|ABDC|degrees ABDC|deg after BDC|° after BDC").counted_from(180.0),
    row("rad ATDC", "rad{ATDC}", 1.0, 1.0, TIMING, ""),

    row("%", "%", 1.0, 1e2, &[Fraction], "percent|per cent|pct|% RH|%rh"),
    // A share written 0 to 1 says so in words, since 0.6 and 60 % are too easily taken for each other.
    row("fraction", "{fraction}", 1.0, 1.0, &[Fraction], "of 1"),
    row("g/kg", "g/kg", 1.0, 1e3, HUMIDITY, ""),
    // 7000 grains are a pound.
    row("gr/lb", "[gr]/[lb_av]", 1.0, 7e3, HUMIDITY, "grains/lb"),
    row("kg/kg", "kg/kg", 1.0, 1.0, HUMIDITY, ""),
    row("", "1", 1.0, 1.0, &[Ratio, Count], ":1|to 1|pcs|off"),
    row("lambda", "{lambda}", 1.0, 1.0, &[Lambda], "λ|1"),
    row("AFR", "g/g", 1.0, 1.0, &[AirFuelRatio], ":1|to 1|A/F|1|{AFR}|kg/kg|lb/lb"),

    row("s", "s", 1.0, 1.0, DURATION, "sec|secs|second|seconds"),
    row("min", "min", 60.0, 1.0, DURATION, "mins|minute|minutes"),
    row("h", "h", HOUR_S, 1.0, DURATION, "hr|hrs|hour|hours"),
    row("ms", "ms", 1.0, 1e3, DURATION, "msec|millisecond|milliseconds"),
];
