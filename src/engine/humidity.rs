//! Vapour pressure of the air from what the weather station reads.

use super::EngineError;
use super::error::{positive, within};
use super::vapour::Saturation;

/// Ratio of the molar masses of water and dry air (ASHRAE Handbook, Fundamentals 2017, chapter 1, eq. 20).
pub const MOLAR_MASS_RATIO: f64 = 0.621_945;

/// How a wet-bulb reading becomes a vapour pressure; the methods differ by about 1 %.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
#[non_exhaustive]
pub enum WetBulbMethod {
    /// e = e_w(t_w) − 6.53e-4·(1 + 0.000944 t_w)·p·(t − t_w), aspirated (WMO-No. 8, annex 4.B, from memory).
    Wmo,
    /// e = e_w(t_w) − 6.60e-4·(1 + 0.00115 t_w)·p·(t − t_w) (coefficient 6.60e-4: American Meteorological
    /// Society glossary; second term from memory).
    Ams,
    /// Adiabatic saturation by the energy balance of the ASHRAE Handbook, Fundamentals 2017, chapter 1, eq.
    /// 33.
    AdiabaticSaturation,
}

/// What was read of the damp in the air.
#[derive(Debug, Clone, Copy, PartialEq)]
#[non_exhaustive]
pub enum Damp {
    /// Relative humidity as a fraction, 0 to 1 (not per cent).
    Relative(f64),
    /// Wet-bulb temperature, °C, and the method to use.
    WetBulb(f64, WetBulbMethod),
    /// Dew point, °C.
    DewPoint(f64),
    /// Vapour pressure, Pa, worked out elsewhere.
    VapourPressure(f64),
    /// Air taken as dry.
    Dry,
}

/// Vapour pressure of the air, Pa: φ·p_ws(t), p_ws(dew point), or by a wet-bulb method.
///
/// # Errors
/// A temperature outside the formula's range; a relative humidity outside 0 to 1; a wet bulb below 0 °C (the
/// methods hold over water, not ice); a wet bulb or dew point above the air's temperature; a wet bulb so low
/// that the air would be drier than dry.
pub fn vapour_pressure_pa(
    damp: Damp,
    air_c: f64,
    pressure_pa: f64,
    saturation: Saturation,
) -> Result<f64, EngineError> {
    let pressure = positive("station pressure", pressure_pa, "Pa")?;
    let vapour = match damp {
        Damp::Dry => 0.0,
        Damp::Relative(share) => {
            let share = within(
                "relative humidity",
                share,
                "(fraction)",
                |share| (0.0..=1.0).contains(&share),
                "0 to 1; per cent are hundredths",
            )?;
            share * saturation.pressure_pa(air_c)?
        }
        Damp::DewPoint(dew_c) => {
            not_above(dew_c, air_c, "dew point")?;
            saturation.pressure_pa(dew_c)?
        }
        Damp::VapourPressure(vapour) => within("vapour pressure", vapour, "Pa", |e| e >= 0.0, "0 or more")?,
        Damp::WetBulb(wet_c, method) => {
            not_above(wet_c, air_c, "wet bulb")?;
            within("wet bulb", wet_c, "°C", |t| t >= 0.0, "0 or more: over ice the formula does not hold")?;
            let found = wet_bulb(method, air_c, wet_c, pressure, saturation)?;
            if found < 0.0 {
                return Err(EngineError::Contradiction {
                    what: "wet and dry bulb",
                    detail: format!("{wet_c} and {air_c} °C would leave less than no vapour"),
                });
            }
            found
        }
    };
    within("vapour pressure", vapour, "Pa", |e| e < pressure, "below the station pressure")
}

/// Relative humidity, a fraction, of a vapour pressure.
///
/// # Errors
/// A temperature outside the formula's range, or a negative vapour pressure.
pub fn relative_humidity(vapour_pa: f64, air_c: f64, saturation: Saturation) -> Result<f64, EngineError> {
    Ok(within("vapour pressure", vapour_pa, "Pa", |e| e >= 0.0, "0 or more")?
        / saturation.pressure_pa(air_c)?)
}

fn wet_bulb(
    method: WetBulbMethod,
    air_c: f64,
    wet_c: f64,
    pressure: f64,
    saturation: Saturation,
) -> Result<f64, EngineError> {
    let at_wet = saturation.pressure_pa(wet_c)?;
    let gap = air_c - wet_c;
    Ok(match method {
        WetBulbMethod::Wmo => at_wet - 6.53e-4 * (1.0 + 0.000_944 * wet_c) * pressure * gap,
        WetBulbMethod::Ams => at_wet - 6.60e-4 * (1.0 + 0.001_15 * wet_c) * pressure * gap,
        WetBulbMethod::AdiabaticSaturation => {
            let saturated = MOLAR_MASS_RATIO * at_wet / (pressure - at_wet);
            let ratio = ((2501.0 - 2.326 * wet_c) * saturated - 1.006 * gap)
                / (2501.0 + 1.86 * air_c - 4.186 * wet_c);
            pressure * ratio / (MOLAR_MASS_RATIO + ratio)
        }
    })
}

fn not_above(found_c: f64, air_c: f64, what: &'static str) -> Result<(), EngineError> {
    if found_c > air_c {
        return Err(EngineError::Contradiction {
            what,
            detail: format!("{found_c} °C stands above the air's {air_c} °C"),
        });
    }
    Ok(())
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    #[test]
    fn wet_bulb_methods_side_by_side() {
        // Reference table of docs/engine.md (Magnus with WMO, IF97 with AMS, Hyland-Wexler with the energy
        // balance as psychrolib 2.5.0).
        let cases = [
            (30.0, 22.0, 100_000.0, [2104.166, 2103.853, 2128.879]),
            (25.0, 18.0, 98_000.0, [1603.559, 1602.524, 1621.481]),
        ];
        let ways = [
            (WetBulbMethod::Wmo, Saturation::Magnus),
            (WetBulbMethod::Ams, Saturation::IapwsIf97),
            (WetBulbMethod::AdiabaticSaturation, Saturation::HylandWexler),
        ];
        for (dry, wet, pressure, row) in cases {
            for ((method, saturation), expected) in ways.iter().zip(row) {
                let found =
                    vapour_pressure_pa(Damp::WetBulb(wet, *method), dry, pressure, *saturation).unwrap();
                assert!((found - expected).abs() < 2e-3, "{method:?}: {found} is not {expected}");
            }
        }
    }

    #[test]
    fn readings_that_cannot_be_are_refused() {
        let of = |damp| vapour_pressure_pa(damp, 20.0, 1e5, Saturation::Magnus);
        assert!(of(Damp::Relative(45.0)).is_err());
        assert!(of(Damp::DewPoint(21.0)).is_err());
        assert!(of(Damp::WetBulb(20.1, WetBulbMethod::Wmo)).is_err());
        assert!(of(Damp::WetBulb(-1.0, WetBulbMethod::Wmo)).is_err());
        assert!(of(Damp::WetBulb(1.0, WetBulbMethod::Ams)).is_err());
        assert!(of(Damp::VapourPressure(2e5)).is_err());
        assert!(vapour_pressure_pa(Damp::Dry, 20.0, 0.0, Saturation::Magnus).is_err());
    }

    proptest! {
        #[test]
        fn saturated_air_reads_the_same_every_way(t in 1.0..45.0_f64, p in 8e4..1.1e5_f64) {
            let full = Saturation::Magnus.pressure_pa(t).unwrap();
            for damp in [
                Damp::Relative(1.0),
                Damp::DewPoint(t),
                Damp::WetBulb(t, WetBulbMethod::Wmo),
                Damp::WetBulb(t, WetBulbMethod::Ams),
                Damp::WetBulb(t, WetBulbMethod::AdiabaticSaturation),
            ] {
                let found = vapour_pressure_pa(damp, t, p, Saturation::Magnus).unwrap();
                prop_assert!((found / full - 1.0).abs() < 1e-9, "{damp:?}");
            }
        }

        #[test]
        fn damper_is_more_vapour(t in 5.0..45.0_f64, share in 0.05..0.95_f64) {
            let of = |share| vapour_pressure_pa(Damp::Relative(share), t, 1e5, Saturation::IapwsIf97).unwrap();
            prop_assert!(of(share + 0.01) > of(share));
            prop_assert!((relative_humidity(of(share), t, Saturation::IapwsIf97).unwrap() - share).abs() < 1e-12);
        }
    }
}
