//! Text to a [`Reading`].

use super::error::{QuantityError, mismatch, quoted};
use super::kind::QuantityKind;
use super::reading::Reading;
use super::scan::take_apart;
use super::uncertainty::{Uncertainty, width_unit};
use super::unit::Unit;
use super::value::Quantity;

/// Reads a figure as people write it: `68.0 cc`, `48.1 48.0 48.3 48.2 ±0.2 cc`, `1-11/32 in`, `31 deg BTDC`.
///
/// A number without its unit takes the unit `bare`, and without `bare` is refused, except where the kind is a plain
/// number. The unit stands once, behind the values or behind the uncertainty; `21.4 degC ±0.5 K` is also read.
///
/// A whole number before a fraction always belongs to it (`1 11/32` is one value). `±` states a limit, unless a coverage
/// factor `k=2` stands behind it.
///
/// ```
/// use mulebook::quantity::{QuantityKind, Unit, parse_reading};
///
/// let chambers = parse_reading("48.1 48.0 48.3 48.2 ±0.2 cc", QuantityKind::Volume, None)?;
/// assert_eq!(chambers.numbers().len(), 4);
/// assert_eq!(chambers.to_string(), "48.1 48.0 48.3 48.2 ±0.2 cc");
///
/// let gasket = parse_reading("1.250 in", QuantityKind::Length, None)?;
/// assert_eq!(gasket.show_in(Unit::parse("mm", QuantityKind::Length)?)?, "31.75 mm");
///
/// let refused = parse_reading("48,1 cc", QuantityKind::Volume, None).unwrap_err();
/// assert_eq!(refused.hint(), "use the decimal point: 48.1");
/// # Ok::<(), mulebook::quantity::QuantityError>(())
/// ```
///
/// # Errors
///
/// A [`QuantityError`] with what was found, what was expected and what to write instead.
pub fn parse_reading(
    text: &str,
    kind: QuantityKind,
    bare: Option<&'static Unit>,
) -> Result<Reading, QuantityError> {
    let parts = take_apart(text)?;
    let limit_unit = parts.limit.as_ref().map_or("", |limit| limit.unit.as_str());
    let unit_written = !(parts.unit.is_empty() && limit_unit.is_empty());
    let unit = if !parts.unit.is_empty() {
        unit_of(parts.unit, kind)?
    } else if !limit_unit.is_empty() {
        unit_of(limit_unit, kind)?
    } else {
        bare_unit(text, kind, bare)?
    };
    let uncertainty = match &parts.limit {
        None => None,
        Some(limit) => {
            let stated = Uncertainty::from_limit(limit);
            let other = !parts.unit.is_empty() && !limit_unit.is_empty();
            let uncertainty = if other {
                let factor = width_unit(limit_unit, kind)?.factor() / unit.factor();
                stated.scaled(factor.abs())
            } else {
                stated
            };
            Some(uncertainty)
        }
    };
    let values = parts
        .numbers
        .iter()
        .map(|number| Quantity::of(number.value(), unit, kind))
        .collect::<Result<Vec<_>, _>>()?;
    Ok(Reading {
        text: text.trim().to_owned(),
        kind,
        numbers: parts.numbers,
        unit,
        unit_written,
        uncertainty,
        values,
    })
}

/// The unit, or which words behind it are too many.
fn unit_of(text: &str, kind: QuantityKind) -> Result<&'static Unit, QuantityError> {
    Unit::parse(text, kind).map_err(|refusal| {
        if !matches!(refusal, QuantityError::UnknownUnit(_)) {
            return refusal;
        }
        let longest = text
            .char_indices()
            .filter(|(_, character)| character.is_whitespace() || matches!(character, ';' | '(' | ','))
            .filter_map(|(at, _)| {
                let unit = Unit::parse(text.get(..at)?, kind).ok()?;
                Some((unit, text.get(at..)?))
            })
            .next_back();
        match longest {
            Some((unit, words)) => QuantityError::TrailingWords(mismatch(
                format!("{} behind the unit {unit}", quoted(words.trim())),
                "nothing behind the unit, or ± and its limit",
                "write values first and the unit once; words belong in the note",
            )),
            None => refusal,
        }
    })
}

fn bare_unit(
    text: &str,
    kind: QuantityKind,
    bare: Option<&'static Unit>,
) -> Result<&'static Unit, QuantityError> {
    if let Some(unit) = bare {
        unit.require(kind)?;
        return Ok(unit);
    }
    Unit::parse("", kind).map_err(|_| {
        QuantityError::NoUnit(mismatch(
            format!("{} without a unit", quoted(text.trim())),
            format!("a number and a unit of {}", kind.title()),
            format!("write one of: {}", kind.offered_units()),
        ))
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::quantity::{Number, QuantityKind as Kind, UncertaintyBasis};

    fn read(text: &str, kind: Kind) -> Reading {
        parse_reading(text, kind, None).unwrap_or_else(|error| panic!("{text}: {error}"))
    }

    fn unit(text: &str, kind: Kind) -> &'static Unit {
        Unit::parse(text, kind).unwrap()
    }

    fn values(reading: &Reading) -> Vec<f64> {
        reading.numbers().iter().map(Number::value).collect()
    }

    #[test]
    fn single_values_are_read_as_the_trade_writes_them() {
        for (text, kind, value, symbol) in [
            ("68.0 cc", Kind::Volume, 68.0, "cc"),
            ("64cc", Kind::Volume, 64.0, "cc"),
            ("350 CID", Kind::Volume, 350.0, "in³"),
            ("5.0 cu in", Kind::Volume, 5.0, "in³"),
            ("5 in³", Kind::Volume, 5.0, "in³"),
            (".041 in", Kind::Length, 0.041, "in"),
            ("-.005 in", Kind::Length, -0.005, "in"),
            ("−.005 in", Kind::Length, -0.005, "in"),
            ("0.25\"", Kind::Length, 0.25, "in"),
            ("0.25”", Kind::Length, 0.25, "in"),
            ("5 thou", Kind::Length, 5.0, "thou"),
            ("1.250 in", Kind::Length, 1.25, "in"),
            ("11/32 in", Kind::Length, 0.34375, "in"),
            ("1-11/32 in", Kind::Length, 1.34375, "in"),
            ("1 11/32 in", Kind::Length, 1.34375, "in"),
            ("1 11/32\"", Kind::Length, 1.34375, "in"),
            ("-1 11/32 in", Kind::Length, -1.34375, "in"),
            ("12 deg BTDC", Kind::Timing, 12.0, "deg BTDC"),
            ("12° BTDC", Kind::Timing, 12.0, "deg BTDC"),
            ("12 ° BTDC", Kind::Timing, 12.0, "deg BTDC"),
            ("12 BTDC", Kind::Timing, 12.0, "deg BTDC"),
            ("12 deg btdc", Kind::Timing, 12.0, "deg BTDC"),
            ("44 deg ABDC", Kind::Timing, 44.0, "deg ABDC"),
            ("236°", Kind::Angle, 236.0, "deg"),
            ("3/4 turn", Kind::Angle, 0.75, "turn"),
            ("29.92 inHg", Kind::PressureAbsolute, 29.92, "inHg"),
            ("29.92 inHg 60F", Kind::PressureAbsolute, 29.92, "inHg 60F"),
            ("1013 mbar", Kind::PressureAbsolute, 1013.0, "mbar"),
            ("986.1 hPa", Kind::PressureAbsolute, 986.1, "hPa"),
            ("760 mmHg", Kind::PressureAbsolute, 760.0, "mmHg"),
            ("29.92 [in_i'Hg]", Kind::PressureAbsolute, 29.92, "inHg UCUM"),
            ("28 inH2O", Kind::PressureDifference, 28.0, "inH2O"),
            ("6 psi", Kind::PressureGauge, 6.0, "psi"),
            ("6 psig", Kind::PressureGauge, 6.0, "psig"),
            ("-15 inHg", Kind::PressureGauge, -15.0, "inHg"),
            ("77 degF", Kind::Temperature, 77.0, "degF"),
            ("77°F", Kind::Temperature, 77.0, "degF"),
            ("77 F", Kind::Temperature, 77.0, "degF"),
            ("25 Cel", Kind::Temperature, 25.0, "degC"),
            ("25C", Kind::Temperature, 25.0, "degC"),
            ("298.15 K", Kind::Temperature, 298.15, "K"),
            ("500 lb-ft", Kind::Torque, 500.0, "lb-ft"),
            ("500 N.m", Kind::Torque, 500.0, "N·m"),
            ("568 hp", Kind::Power, 568.0, "hp"),
            ("100 75.m.kgf/s", Kind::Power, 100.0, "PS"),
            ("320 cfm", Kind::VolumeFlow, 320.0, "cfm"),
            ("151 L/s", Kind::VolumeFlow, 151.0, "L/s"),
            ("210 lb/h", Kind::MassFlow, 210.0, "lb/h"),
            ("26 g/s", Kind::MassFlow, 26.0, "g/s"),
            ("250 g/kWh", Kind::SpecificFuelConsumption, 250.0, "g/kWh"),
            ("0.45 lb/hp-h", Kind::SpecificFuelConsumption, 0.45, "lb/hp-h"),
            ("6000 rpm", Kind::RotationalSpeed, 6000.0, "rpm"),
            ("6000/min", Kind::RotationalSpeed, 6000.0, "rpm"),
            ("6000 1/min", Kind::RotationalSpeed, 6000.0, "rpm"),
            ("300 rpm/s", Kind::SweepRate, 300.0, "rpm/s"),
            ("10.2 cSt", Kind::KinematicViscosity, 10.2, "cSt"),
            ("40 %", Kind::Fraction, 40.0, "%"),
            ("40%", Kind::Fraction, 40.0, "%"),
            ("12.8 AFR", Kind::AirFuelRatio, 12.8, "AFR"),
            ("12.8:1", Kind::AirFuelRatio, 12.8, "AFR"),
            ("0.88 lambda", Kind::Lambda, 0.88, "lambda"),
            ("0.35 kg·m2", Kind::Inertia, 0.35, "kg·m²"),
            ("11.25:1", Kind::Ratio, 11.25, ""),
            ("11.25 to 1", Kind::Ratio, 11.25, ""),
            ("1.6", Kind::Ratio, 1.6, ""),
            ("3", Kind::Count, 3.0, ""),
            ("1 1/2 h", Kind::Duration, 1.5, "h"),
            ("90 min", Kind::Duration, 90.0, "min"),
        ] {
            let reading = read(text, kind);
            assert_eq!(values(&reading), [value], "{text}");
            assert_eq!(reading.unit().symbol(), symbol, "{text}");
            assert_eq!(reading.to_string(), text);
        }
    }

    #[test]
    fn several_values_share_a_unit_and_a_limit() {
        for text in [
            "48.1 48.0 48.3 48.2 ±0.2 cc",
            "48.1 48.0 48.3 48.2 cc ±0.2",
            "48.1 48.0 48.3 48.2 cc +/-0.2 cc",
            "48.1 48.0 48.3 48.2 +/- 0.2cc",
            "  48.1  48.0 48.3\u{a0}48.2 cc ± 200 mm³ ",
        ] {
            let reading = read(text, Kind::Volume);
            assert_eq!(values(&reading), [48.1, 48.0, 48.3, 48.2], "{text}");
            let Some(Uncertainty::Limit { half_width }) = reading.uncertainty() else {
                panic!("{text}: {:?}", reading.uncertainty());
            };
            assert!((half_width - 0.2).abs() < 1e-15, "{text}");
            assert_eq!(reading.standard_uncertainty().basis, UncertaintyBasis::Limit);
        }
        let lash = read("1-1/2 1 3/4 5/8 in", Kind::Length);
        assert_eq!(values(&lash), [1.5, 1.75, 0.625]);
        let deck = read("-.005 -.004 .001 0 in", Kind::Length);
        assert_eq!(values(&deck), [-0.005, -0.004, 0.001, 0.0]);
    }

    #[test]
    fn a_coverage_factor_makes_an_expanded_uncertainty() {
        for text in ["48.1 ±0.2 cc k=2", "48.1 ±0.2 k=2 cc", "48.1 cc ±0.2 cc (k = 2)", "48.1 cc ±0.2, k=2.0"]
        {
            // The comma stands behind a digit and is refused, the rest is one and the same.
            let expected = (!text.contains(',')).then_some(Uncertainty::Expanded { half_width: 0.2, k: 2.0 });
            let found =
                parse_reading(text, Kind::Volume, None).ok().and_then(|reading| reading.uncertainty());
            assert_eq!(found, expected, "{text}");
        }
        let stated = read("48.1 ±0.2 cc k=2", Kind::Volume).standard_uncertainty();
        assert!((stated.si - 0.1e-6).abs() < 1e-20);
        assert_eq!(stated.basis, UncertaintyBasis::Expanded);
    }

    #[test]
    fn a_bare_number_takes_the_field_s_unit_and_is_written_out_with_it() {
        let inch = unit("in", Kind::Length);
        let bare = parse_reading(".041", Kind::Length, Some(inch)).unwrap();
        assert_eq!((bare.text(), bare.written_out().as_str()), (".041", ".041 in"));
        let own = parse_reading("1.04 mm", Kind::Length, Some(inch)).unwrap();
        assert_eq!(own.written_out(), "1.04 mm");
        let limited = parse_reading("48.1 ±0.2 k=2", Kind::Volume, Some(unit("cc", Kind::Volume))).unwrap();
        assert_eq!(limited.written_out(), "48.1 ±0.2 k=2 cc");
        let wrong = parse_reading("48.1", Kind::Volume, Some(inch)).unwrap_err();
        assert_eq!(wrong.code(), "wrong-unit");
    }
}
