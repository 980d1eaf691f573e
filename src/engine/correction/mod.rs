//! Correction of power and torque to a reference state of the air, by named standard.
//!
//! In: the air at the inlet and, for diesels, fuel and boost. Out: a [`Factor`] with its formula, what it was
//! worked out from, and flags for whatever the standard does not cover. A factor outside its limits is given
//! and flagged, never clipped.

pub mod diesel;
pub mod rating;
pub mod spark;

use super::EngineError;
use super::air::{Air, CELSIUS_ZERO_K};
use super::error::{Beyond, beyond, finite, positive, within};

/// How temperatures are counted in a factor's ratio.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
#[non_exhaustive]
pub enum TemperatureScale {
    /// The thermodynamic scale: t + 273.15 over the reference + 273.15.
    #[default]
    Exact,
    /// The whole numbers printed in the standards: t + 273 over 298 (or 293; in °F, t + 460 over 520). Moves
    /// a factor by up to 2e-5.
    WholeDegrees,
}

impl TemperatureScale {
    /// The ratio of the air's temperature to a reference in °C.
    fn ratio(self, air: &Air, reference_c: f64) -> f64 {
        let zero = match self {
            Self::Exact => CELSIUS_ZERO_K,
            Self::WholeDegrees => 273.0,
        };
        (air.temperature_c() + zero) / (reference_c + zero)
    }

    /// The same in °F, for the 60 °F practice.
    fn ratio_fahrenheit(self, air: &Air, reference_f: f64) -> f64 {
        let zero = match self {
            Self::Exact => 459.67,
            Self::WholeDegrees => 460.0,
        };
        (air.temperature_c() * 1.8 + 32.0 + zero) / (reference_f + zero)
    }
}

/// The limits within which a standard lets its factor be used.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Limits {
    /// Lowest and highest factor.
    pub factor: (f64, f64),
    /// Lowest and highest air temperature, °C.
    pub temperature_c: (f64, f64),
    /// Lowest and highest dry air pressure, Pa.
    pub dry_pressure_pa: (f64, f64),
    /// Who draws the limits.
    pub source: &'static str,
}

impl Limits {
    /// What of a factor and its air lies outside.
    #[must_use]
    pub fn flags(&self, factor: f64, air: &Air) -> Vec<Beyond> {
        // A reading at the limit must not fall outside by the rounding of kelvin.
        let celsius = (air.temperature_c() * 1e9).round() / 1e9;
        [
            beyond("correction factor", factor, self.factor, "", self.source),
            beyond("air temperature", celsius, self.temperature_c, "°C", self.source),
            beyond("dry air pressure", air.dry_pressure_pa(), self.dry_pressure_pa, "Pa", self.source),
        ]
        .into_iter()
        .flatten()
        .collect()
    }
}

/// A correction factor: corrected = factor × observed, for power and torque alike.
#[derive(Debug, Clone, PartialEq)]
pub struct Factor {
    /// The factor.
    pub value: f64,
    /// The factor of the air alone, before any share for friction or fuel (c_a, α_a, f_a).
    pub air: f64,
    /// The formula, in plain symbols.
    pub formula: &'static str,
    /// What lies outside the standard's limits.
    pub beyond: Vec<Beyond>,
}

impl Factor {
    /// Corrected value of an observed power or torque.
    ///
    /// # Errors
    /// A value that is not finite.
    pub fn correct(&self, observed: f64) -> Result<f64, EngineError> {
        Ok(self.value * finite("observed value", observed, "")?)
    }

    /// Observed value behind a corrected power or torque.
    ///
    /// # Errors
    /// A value that is not finite, or a factor that is not above zero.
    pub fn observe(&self, corrected: f64) -> Result<f64, EngineError> {
        Ok(finite("corrected value", corrected, "")? / positive("correction factor", self.value, "")?)
    }
}

/// A value corrected one way, corrected another way: corrected·(to/from), both factors being of the same run.
///
/// ```
/// use mulebook::engine::correction::convert;
/// // 25 °C, 99 kPa dry: 500 with factor 1 (SAE J1349) is 520.02 with the 60 °F practice's 1.040047.
/// assert!((convert(500.0, 1.0, 1.040047).expect("factors") - 520.0235).abs() < 1e-9);
/// ```
///
/// # Errors
/// A value that is not finite, or a factor that is not above zero.
pub fn convert(corrected: f64, from_factor: f64, to_factor: f64) -> Result<f64, EngineError> {
    let ratio = positive("factor wanted", to_factor, "")? / positive("factor used", from_factor, "")?;
    Ok(finite("corrected value", corrected, "")? * ratio)
}

/// Corrected brake power or torque when the friction is known: P_c = (P_b + P_f)·c_a − P_f (SAE J1349, from
/// memory).
///
/// # Errors
/// Values that are not finite, a negative friction, or an air factor that is not above zero.
pub fn correct_with_friction(observed: f64, friction: f64, air_factor: f64) -> Result<f64, EngineError> {
    let friction = within("friction", friction, "", |f| f >= 0.0, "0 or more")?;
    Ok((finite("observed value", observed, "")? + friction) * positive("air factor", air_factor, "")?
        - friction)
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    #[test]
    fn friction_form() {
        // Reference table of docs/engine.md: brake 500, friction 90, c_a 1.019923: 511.754570.
        assert!((correct_with_friction(500.0, 90.0, 1.019_923).unwrap() - 511.754_570).abs() < 1e-5);
        // With the friction at 85 % mechanical efficiency it is the fixed form of the standard.
        let fixed = 1.019_923 / 0.85 - (1.0 / 0.85 - 1.0);
        assert!(
            (correct_with_friction(500.0, 500.0 * (1.0 / 0.85 - 1.0), 1.019_923).unwrap() / 500.0 - fixed)
                .abs()
                < 1e-12
        );
        assert!(convert(1.0, 0.0, 1.0).is_err());
        assert!(correct_with_friction(1.0, -1.0, 1.0).is_err());
    }

    proptest! {
        #[test]
        fn conversion_goes_there_and_back(value in 1.0..1000.0_f64, a in 0.8..1.3_f64, b in 0.8..1.3_f64) {
            prop_assert!((convert(convert(value, a, b).unwrap(), b, a).unwrap() - value).abs() < 1e-9);
            let factor = Factor { value: a, air: a, formula: "", beyond: Vec::new() };
            prop_assert!((factor.observe(factor.correct(value).unwrap()).unwrap() - value).abs() < 1e-9);
        }
    }
}
