//! The state of the air that an engine breathes.

use super::EngineError;
use super::error::{positive, within};
use super::humidity::{Damp, MOLAR_MASS_RATIO, vapour_pressure_pa};
use super::vapour::Saturation;

/// Gas constant of dry air, J/(kg·K).
pub const DRY_AIR_GAS_CONSTANT: f64 = 287.055;
/// Gas constant of water vapour, J/(kg·K).
pub const VAPOUR_GAS_CONSTANT: f64 = 461.523;
/// Zero of the Celsius scale, K (exact).
pub const CELSIUS_ZERO_K: f64 = 273.15;

/// Air at the engine's inlet: station pressure (never reduced to sea level), temperature and vapour pressure.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Air {
    station_pressure_pa: f64,
    temperature_k: f64,
    vapour_pressure_pa: f64,
}

impl Air {
    /// Air by its vapour pressure.
    ///
    /// # Errors
    /// A pressure or temperature that is not above zero, or a vapour pressure outside zero to the station
    /// pressure.
    pub fn new(
        station_pressure_pa: f64,
        temperature_k: f64,
        vapour_pressure_pa: f64,
    ) -> Result<Self, EngineError> {
        let station_pressure_pa = positive("station pressure", station_pressure_pa, "Pa")?;
        Ok(Self {
            station_pressure_pa,
            temperature_k: positive("air temperature", temperature_k, "K")?,
            vapour_pressure_pa: within(
                "vapour pressure",
                vapour_pressure_pa,
                "Pa",
                |e| (0.0..station_pressure_pa).contains(&e),
                "0 or more and below the station pressure",
            )?,
        })
    }

    /// Air by what the weather station reads.
    ///
    /// # Errors
    /// As [`Air::new`] and [`vapour_pressure_pa`].
    pub fn from_weather(
        station_pressure_pa: f64,
        temperature_c: f64,
        damp: Damp,
        saturation: Saturation,
    ) -> Result<Self, EngineError> {
        let vapour = vapour_pressure_pa(damp, temperature_c, station_pressure_pa, saturation)?;
        Self::new(station_pressure_pa, temperature_c + CELSIUS_ZERO_K, vapour)
    }

    /// Station pressure, Pa.
    #[must_use]
    pub fn station_pressure_pa(&self) -> f64 {
        self.station_pressure_pa
    }

    /// Temperature, K.
    #[must_use]
    pub fn temperature_k(&self) -> f64 {
        self.temperature_k
    }

    /// Temperature, °C.
    #[must_use]
    pub fn temperature_c(&self) -> f64 {
        self.temperature_k - CELSIUS_ZERO_K
    }

    /// Vapour pressure, Pa.
    #[must_use]
    pub fn vapour_pressure_pa(&self) -> f64 {
        self.vapour_pressure_pa
    }

    /// Pressure of the dry air, p_d = p − e, Pa.
    #[must_use]
    pub fn dry_pressure_pa(&self) -> f64 {
        self.station_pressure_pa - self.vapour_pressure_pa
    }

    /// Density as a mixture of ideal gases, kg/m³: p_d/(R_a·T) + e/(R_v·T).
    #[must_use]
    pub fn density_kg_per_m3(&self) -> f64 {
        (self.dry_pressure_pa() / DRY_AIR_GAS_CONSTANT + self.vapour_pressure_pa / VAPOUR_GAS_CONSTANT)
            / self.temperature_k
    }

    /// Density of the dry air alone, kg/m³: what carries the oxygen.
    #[must_use]
    pub fn dry_density_kg_per_m3(&self) -> f64 {
        self.dry_pressure_pa() / (DRY_AIR_GAS_CONSTANT * self.temperature_k)
    }

    /// Humidity ratio, kg of vapour to a kg of dry air: 0.621945·e/p_d.
    #[must_use]
    pub fn humidity_ratio(&self) -> f64 {
        MOLAR_MASS_RATIO * self.vapour_pressure_pa / self.dry_pressure_pa()
    }
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    #[test]
    fn warm_damp_air() {
        // Reference table of docs/engine.md: 30 °C, 100 kPa, 50 %: 1.1399275 kg/m³ (ideal gases, IF97).
        let air = Air::from_weather(1e5, 30.0, Damp::Relative(0.5), Saturation::IapwsIf97).unwrap();
        assert!((air.vapour_pressure_pa() - 2123.344).abs() < 1e-3);
        assert!((air.dry_pressure_pa() - 97_876.656).abs() < 1e-3);
        assert!((air.density_kg_per_m3() - 1.139_927_5).abs() < 1e-6, "{}", air.density_kg_per_m3());
        // Real moist air (CoolProp 8.0.0) holds 0.0135531 kg/kg: the enhancement factor of about 1.0045 is
        // left out here.
        assert!((air.humidity_ratio() * 1.0045 / 0.013_553_1 - 1.0).abs() < 5e-4);
    }

    #[test]
    fn air_that_cannot_be_is_refused() {
        assert!(Air::new(1e5, 0.0, 0.0).is_err());
        assert!(Air::new(1e5, 300.0, 1e5).is_err());
        assert!(Air::new(f64::NAN, 300.0, 0.0).is_err());
    }

    proptest! {
        #[test]
        fn vapour_makes_air_lighter(p in 8e4..1.1e5_f64, t in 275.0..315.0_f64, e in 0.0..4e3_f64) {
            let here = Air::new(p, t, e).unwrap();
            prop_assert!(Air::new(p, t, e + 100.0).unwrap().density_kg_per_m3() < here.density_kg_per_m3());
            prop_assert!(Air::new(p, t + 1.0, e).unwrap().density_kg_per_m3() < here.density_kg_per_m3());
            prop_assert!(here.dry_density_kg_per_m3() <= here.density_kg_per_m3());
        }
    }
}
