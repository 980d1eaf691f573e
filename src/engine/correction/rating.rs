//! Adjustment of a rating to other ambient conditions, ISO 3046-1.
//!
//! This is for declaring power at a site, not for comparing dyno runs. Source: GOST 10150-2014, page 34,
//! which carries ISO 3046-1's formula and example; exponents from memory.

use super::TemperatureScale;
use crate::engine::EngineError;
use crate::engine::air::Air;
use crate::engine::error::{finite, positive, within};

/// Exponents of one kind of engine.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct RatingKind {
    /// Share of humidity that counts, a.
    pub humidity: f64,
    /// Exponent of pressure, m.
    pub pressure: f64,
    /// Exponent of air temperature, n.
    pub temperature: f64,
    /// Exponent of charge coolant temperature, s.
    pub coolant: f64,
}

impl RatingKind {
    /// Spark ignition, naturally aspirated: a 1, m 1, n 0.5, s 0 (from memory).
    pub const SPARK_NATURAL: Self = Self { humidity: 1.0, pressure: 1.0, temperature: 0.5, coolant: 0.0 };
    /// Compression ignition, naturally aspirated, limited by air: a 1, m 1, n 0.75, s 0 (from memory).
    pub const DIESEL_NATURAL: Self = Self { humidity: 1.0, pressure: 1.0, temperature: 0.75, coolant: 0.0 };
}

/// Air and charge coolant at a place.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct RatingPlace {
    /// The air.
    pub air: Air,
    /// Temperature of the charge cooler's coolant, K; used only where s is not zero.
    pub coolant_k: f64,
}

/// Ratio of indicated power k = ((p_x − aφ_x p_sx)/(p_r − aφ_r p_sr))^m·(T_r/T_x)^n·(T_cr/T_cx)^s.
///
/// # Errors
/// Coolant temperatures that are not above zero, or exponents so large that no ratio is left.
pub fn indicated_ratio(
    kind: RatingKind,
    site: &RatingPlace,
    reference: &RatingPlace,
    scale: TemperatureScale,
) -> Result<f64, EngineError> {
    let useful = |place: &RatingPlace| {
        place.air.station_pressure_pa() - kind.humidity * place.air.vapour_pressure_pa()
    };
    let warm = scale.ratio(&site.air, reference.air.temperature_c());
    let coolant = positive("coolant temperature at the reference", reference.coolant_k, "K")?
        / positive("coolant temperature at the site", site.coolant_k, "K")?;
    let ratio = libm::pow(useful(site) / useful(reference), kind.pressure)
        * libm::pow(warm, -kind.temperature)
        * libm::pow(coolant, kind.coolant);
    finite("ratio of indicated power", ratio, "")
}

/// Power adjustment α = k − 0.7·(1 − k)·(1/η_m − 1).
///
/// ```
/// use mulebook::engine::correction::rating::power_adjustment;
/// // GOST 10150-2014, page 34: k 1.056, mechanical efficiency 0.85: 1.063; 991 kW becomes 1053 kW.
/// let alpha = power_adjustment(1.056, 0.85).expect("an engine");
/// assert!((alpha - 1.063).abs() < 5e-4 && (991.0 * alpha - 1053.0).abs() < 0.5);
/// ```
///
/// # Errors
/// A ratio that is not above zero, or a mechanical efficiency outside 0 to 1.
pub fn power_adjustment(indicated_ratio: f64, mechanical_efficiency: f64) -> Result<f64, EngineError> {
    let k = positive("ratio of indicated power", indicated_ratio, "")?;
    let efficiency = within(
        "mechanical efficiency",
        mechanical_efficiency,
        "",
        |e| e > 0.0 && e <= 1.0,
        "above 0, at most 1",
    )?;
    Ok(k - 0.7 * (1.0 - k) * (1.0 / efficiency - 1.0))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::engine::humidity::Damp;
    use crate::engine::vapour::Saturation;

    fn place(kilopascal: f64, celsius: f64, damp: f64, coolant_k: f64) -> RatingPlace {
        let air = Air::from_weather(kilopascal * 1e3, celsius, Damp::Relative(damp), Saturation::IapwsIf97)
            .unwrap();
        RatingPlace { air, coolant_k }
    }

    #[test]
    fn sites() {
        // Reference table of docs/engine.md; reference 100 kPa, 25 °C, 30 %.
        let reference = place(100.0, 25.0, 0.3, 298.0);
        let hot = place(95.0, 30.0, 0.6, 298.0);
        let k = indicated_ratio(RatingKind::SPARK_NATURAL, &hot, &reference, TemperatureScale::WholeDegrees)
            .unwrap();
        assert!((k - 0.925_662).abs() < 5e-6, "{k}");
        assert!((power_adjustment(k, 0.80).unwrap() - 0.912_653).abs() < 5e-6);
        let turbo = RatingKind { humidity: 0.0, pressure: 0.7, temperature: 1.2, coolant: 1.0 };
        let high = place(69.0, 50.0, 0.0, 310.0);
        let k = indicated_ratio(turbo, &high, &reference, TemperatureScale::WholeDegrees).unwrap();
        assert!((k - 0.673_078).abs() < 1e-6, "{k}");
        assert!((power_adjustment(k, 0.90).unwrap() - 0.647_651).abs() < 1e-6);
        assert!(power_adjustment(1.0, 0.0).is_err());
    }
}
