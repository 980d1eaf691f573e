//! Station pressure from a barometer that is reduced to sea level.
//!
//! Source: International Standard Atmosphere (ISO 2533:1975; ICAO Doc 7488), troposphere: 288.15 K and
//! 101.325 kPa at sea level, 6.5 K/km.

use super::EngineError;
use super::error::{Beyond, beyond, positive, within};

/// Pressure of the standard atmosphere at sea level, Pa.
pub const SEA_LEVEL_PA: f64 = 101_325.0;
const SEA_LEVEL_K: f64 = 288.15;
const LAPSE_K_PER_M: f64 = 0.006_5;
/// g/(R·L) of the standard atmosphere.
const EXPONENT: f64 = 5.255_88;
/// Share of the standard atmosphere's pressure above which a station pressure looks reduced to sea level
/// (common practice, no source).
const PLAUSIBLE_ABOVE: f64 = 1.035;
/// Share below which no weather brings it (common practice, no source).
const PLAUSIBLE_BELOW: f64 = 0.94;

/// How the reading was reduced to sea level.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
#[non_exhaustive]
pub enum Reduction {
    /// Altimeter setting (QNH): the two pressures lie `altitude` apart on the scale of the standard
    /// atmosphere.
    AltimeterSetting,
    /// By the standard atmosphere's ratio of pressures at that altitude.
    StandardRatio,
}

/// Pressure of the standard atmosphere, Pa: 101325·(1 − 0.0065h/288.15)^5.25588.
///
/// ```
/// use mulebook::engine::altitude::standard_pressure_pa;
/// // ISO 2533:1975, table: 1000 m, 89874.6 Pa (from memory: 898.746 hPa).
/// assert!((standard_pressure_pa(1000.0).expect("in the troposphere") - 89_874.6).abs() < 1.0);
/// ```
///
/// # Errors
/// An altitude outside −500 to 11000 m.
pub fn standard_pressure_pa(altitude_m: f64) -> Result<f64, EngineError> {
    let h = within("altitude", altitude_m, "m", |h| (-500.0..=11_000.0).contains(&h), "-500 to 11000")?;
    Ok(SEA_LEVEL_PA * libm::pow(1.0 - LAPSE_K_PER_M * h / SEA_LEVEL_K, EXPONENT))
}

/// Altitude in the standard atmosphere, m; the inverse of [`standard_pressure_pa`].
///
/// # Errors
/// A pressure that is not above zero, or an altitude beyond the range.
pub fn standard_altitude_m(pressure_pa: f64) -> Result<f64, EngineError> {
    let ratio = positive("pressure", pressure_pa, "Pa")? / SEA_LEVEL_PA;
    let h = (1.0 - libm::pow(ratio, 1.0 / EXPONENT)) * SEA_LEVEL_K / LAPSE_K_PER_M;
    within("altitude", h, "m", |h| (-1500.0..=11_100.0).contains(&h), "-1500 to 11100")
}

/// Station pressure, Pa, from one reduced to sea level, at a documented altitude.
///
/// # Errors
/// An altitude or pressure outside the standard atmosphere's range.
pub fn station_pressure_pa(
    sea_level_pa: f64,
    altitude_m: f64,
    reduction: Reduction,
) -> Result<f64, EngineError> {
    match reduction {
        Reduction::StandardRatio => Ok(positive("sea-level pressure", sea_level_pa, "Pa")?
            * standard_pressure_pa(altitude_m)?
            / SEA_LEVEL_PA),
        Reduction::AltimeterSetting => standard_pressure_pa(standard_altitude_m(sea_level_pa)? + altitude_m),
    }
}

/// Sea-level pressure, Pa, from a station pressure; the inverse of [`station_pressure_pa`].
///
/// # Errors
/// As [`station_pressure_pa`].
pub fn sea_level_pressure_pa(
    station_pa: f64,
    altitude_m: f64,
    reduction: Reduction,
) -> Result<f64, EngineError> {
    match reduction {
        Reduction::StandardRatio => Ok(positive("station pressure", station_pa, "Pa")? * SEA_LEVEL_PA
            / standard_pressure_pa(altitude_m)?),
        Reduction::AltimeterSetting => standard_pressure_pa(standard_altitude_m(station_pa)? - altitude_m),
    }
}

/// A flag when a station pressure lies more than 3.5 % above or 6 % below the standard atmosphere at its
/// altitude: it looks reduced to sea level, or misread.
///
/// # Errors
/// As [`standard_pressure_pa`].
pub fn implausible_station_pressure(station_pa: f64, altitude_m: f64) -> Result<Option<Beyond>, EngineError> {
    let usual = standard_pressure_pa(altitude_m)?;
    let found = positive("station pressure", station_pa, "Pa")?;
    Ok(beyond(
        "station pressure at this altitude",
        found,
        (usual * PLAUSIBLE_BELOW, usual * PLAUSIBLE_ABOVE),
        "Pa",
        "common practice",
    ))
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    const FOOT: f64 = 0.3048;

    #[test]
    fn standard_atmosphere() {
        // Reference table of docs/engine.md.
        for (feet, kilopascal) in [(1000.0, 97.716_57), (2000.0, 94.212_90), (5000.0, 84.307_26)] {
            let found = standard_pressure_pa(feet * FOOT).unwrap() / 1000.0;
            assert!((found - kilopascal).abs() < 1e-4, "{feet}: {found}");
        }
        assert!(standard_pressure_pa(12_000.0).is_err());
    }

    #[test]
    fn a_sea_level_barometer_is_flagged() {
        assert!(implausible_station_pressure(101_325.0, 2000.0 * FOOT).unwrap().is_some());
        assert!(implausible_station_pressure(94_000.0, 2000.0 * FOOT).unwrap().is_none());
        assert!(implausible_station_pressure(102_500.0, 0.0).unwrap().is_none());
    }

    proptest! {
        #[test]
        fn reductions_invert(p in 9.6e4..1.045e5_f64, h in 0.0..3000.0_f64) {
            for reduction in [Reduction::AltimeterSetting, Reduction::StandardRatio] {
                let station = station_pressure_pa(p, h, reduction).unwrap();
                prop_assert!((sea_level_pressure_pa(station, h, reduction).unwrap() / p - 1.0).abs() < 1e-10);
                prop_assert!(station_pressure_pa(p, h + 10.0, reduction).unwrap() < station);
            }
            // On a standard day both reductions agree.
            let a = station_pressure_pa(SEA_LEVEL_PA, h, Reduction::AltimeterSetting).unwrap();
            let b = station_pressure_pa(SEA_LEVEL_PA, h, Reduction::StandardRatio).unwrap();
            prop_assert!((a / b - 1.0).abs() < 1e-10);
        }
    }
}
