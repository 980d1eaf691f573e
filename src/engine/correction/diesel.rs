//! Correction of compression-ignition engines: α_c = f_a^f_m.

use super::{Factor, Limits, TemperatureScale};
use crate::engine::EngineError;
use crate::engine::air::Air;
use crate::engine::error::{not_negative, positive, within};
use crate::engine::shaft::WorkingCycle;

/// The limits of the diesel factor in every edition known here.
pub const LIMITS: Limits = Limits {
    factor: (0.9, 1.1),
    temperature_c: (10.0, 40.0),
    dry_pressure_pa: (80_000.0, 110_000.0),
    source: "standard as quoted in makers' service manuals",
};

/// How the engine is charged.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
#[non_exhaustive]
pub enum Charging {
    /// Naturally aspirated or mechanically supercharged: f_a = (99/p_d)·(T/298)^0.7.
    NaturalOrMechanical,
    /// Turbocharged without charge cooler or with one cooled by air: f_a = (99/p_d)^0.7·(T/298)^1.2 or ^1.5
    /// by edition.
    Turbocharged,
    /// Turbocharged with a charge cooler cooled by liquid: f_a = (99/p_d)^0.7·(T/298)^0.7.
    TurbochargedLiquidCooler,
}

/// Which edition's constants hold.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
#[non_exhaustive]
pub enum DieselEdition {
    /// SAE and JIS: exponent 1.2 of turbocharged engines; f_m 0.2 below q_c 37.2 (exponents and 37.2: maker's
    /// service manuals; 0.2 from memory).
    SaeJis,
    /// UN R85 and 88/195/EEC: exponent 1.5; f_m 0.3 below q_c 40 (from memory).
    UnR85,
}

/// What the engine factor f_m depends on.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Fuelling {
    /// Fuel flow, g/s.
    pub fuel_g_per_s: f64,
    /// Displacement, litres.
    pub displacement_l: f64,
    /// Engine speed, rpm.
    pub speed_rpm: f64,
    /// Working cycle.
    pub cycle: WorkingCycle,
    /// Absolute pressure after the compressor over that before it; 1 without.
    pub boost_ratio: f64,
}

impl Fuelling {
    /// Fuel delivered per cycle and litre, q, mg: 120000·(g/s)/(l·rpm) for four strokes, 60000 for two.
    ///
    /// ```
    /// use mulebook::engine::correction::diesel::Fuelling;
    /// use mulebook::engine::shaft::WorkingCycle;
    /// // Reference table of docs/engine.md: 10 g/s, 6.0 l, 2000 rpm gives q 100; boost 1.6 gives q_c 62.5.
    /// let fuelling = Fuelling {
    ///     fuel_g_per_s: 10.0, displacement_l: 6.0, speed_rpm: 2000.0, cycle: WorkingCycle::FourStroke, boost_ratio: 1.6,
    /// };
    /// assert!((fuelling.per_cycle_mg_per_l().expect("a running engine") - 100.0).abs() < 1e-12);
    /// assert!((fuelling.corrected_mg_per_l().expect("a running engine") - 62.5).abs() < 1e-12);
    /// ```
    ///
    /// # Errors
    /// A negative fuel flow, or a displacement or speed that is not above zero.
    pub fn per_cycle_mg_per_l(&self) -> Result<f64, EngineError> {
        let fuel = not_negative("fuel flow", self.fuel_g_per_s, "g/s")?;
        let swept = positive("displacement", self.displacement_l, "l")?
            * positive("engine speed", self.speed_rpm, "rpm")?;
        Ok(60_000.0 * self.cycle.revolutions() * fuel / swept)
    }

    /// The same over the boost ratio, q_c = q/r.
    ///
    /// # Errors
    /// As [`Fuelling::per_cycle_mg_per_l`], or a boost ratio below one.
    pub fn corrected_mg_per_l(&self) -> Result<f64, EngineError> {
        let ratio = within("boost ratio", self.boost_ratio, "", |r| r >= 1.0, "1 or more")?;
        Ok(self.per_cycle_mg_per_l()? / ratio)
    }
}

impl DieselEdition {
    /// Engine factor f_m = 0.036·q_c − 1.14, constant outside its range.
    ///
    /// # Errors
    /// A negative q_c.
    pub fn engine_factor(self, corrected_mg_per_l: f64) -> Result<f64, EngineError> {
        let q = not_negative("corrected fuel per cycle", corrected_mg_per_l, "mg/l")?;
        let (start, least) = match self {
            Self::SaeJis => (37.2, 0.2),
            Self::UnR85 => (40.0, 0.3),
        };
        Ok(match q {
            q if q < start => least,
            q if q > 65.0 => 1.2,
            q => 0.036 * q - 1.14,
        })
    }

    /// The correction factor α_c = f_a^f_m for the air at the inlet.
    ///
    /// Limits: 0.9 to 1.1, 10 to 40 °C, 80 to 110 kPa dry (maker's service manuals quoting the standard).
    ///
    /// # Errors
    /// A negative q_c.
    pub fn factor(
        self,
        air: &Air,
        charging: Charging,
        corrected_mg_per_l: f64,
        scale: TemperatureScale,
    ) -> Result<Factor, EngineError> {
        let dry = 99_000.0 / air.dry_pressure_pa();
        let warm = scale.ratio(air, 25.0);
        let (pressure_exponent, temperature_exponent, formula) = match (charging, self) {
            (Charging::NaturalOrMechanical, _) => (1.0, 0.7, "fa^fm, fa = (99 kPa/pd)*(T/298)^0.7"),
            (Charging::Turbocharged, Self::SaeJis) => (0.7, 1.2, "fa^fm, fa = (99 kPa/pd)^0.7*(T/298)^1.2"),
            (Charging::Turbocharged, Self::UnR85) => (0.7, 1.5, "fa^fm, fa = (99 kPa/pd)^0.7*(T/298)^1.5"),
            (Charging::TurbochargedLiquidCooler, _) => (0.7, 0.7, "fa^fm, fa = (99 kPa/pd)^0.7*(T/298)^0.7"),
        };
        let air_factor = libm::pow(dry, pressure_exponent) * libm::pow(warm, temperature_exponent);
        let value = libm::pow(air_factor, self.engine_factor(corrected_mg_per_l)?);
        Ok(Factor { value, air: air_factor, formula, beyond: LIMITS.flags(value, air) })
    }
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;
    use crate::engine::humidity::Damp;
    use crate::engine::vapour::Saturation;

    #[test]
    fn charging_and_edition() {
        // Reference table of docs/engine.md: 30 °C, 100 kPa, 50 %, q_c 50 (f_m 0.66), temperatures as
        // 303/298.
        let air = Air::from_weather(1e5, 30.0, Damp::Relative(0.5), Saturation::IapwsIf97).unwrap();
        for (edition, charging, fa, alpha) in [
            (DieselEdition::SaeJis, Charging::NaturalOrMechanical, 1.023_327, 1.015_336),
            (DieselEdition::SaeJis, Charging::Turbocharged, 1.028_350, 1.018_622),
            (DieselEdition::UnR85, Charging::Turbocharged, 1.033_496, 1.021_983),
            (DieselEdition::SaeJis, Charging::TurbochargedLiquidCooler, 1.019_830, 1.013_044),
        ] {
            let found = edition.factor(&air, charging, 50.0, TemperatureScale::WholeDegrees).unwrap();
            assert!((found.air - fa).abs() < 1.1e-6 && (found.value - alpha).abs() < 1.1e-6, "{found:?}");
            assert!(found.beyond.is_empty());
        }
    }

    #[test]
    fn engine_factor_is_clamped_by_edition() {
        let near = |edition: DieselEdition, q, expected: f64| {
            assert!((edition.engine_factor(q).unwrap() - expected).abs() < 1e-12);
        };
        near(DieselEdition::SaeJis, 30.0, 0.2);
        near(DieselEdition::UnR85, 30.0, 0.3);
        near(DieselEdition::SaeJis, 80.0, 1.2);
        near(DieselEdition::UnR85, 50.0, 0.66);
        assert!(DieselEdition::UnR85.engine_factor(-1.0).is_err());
    }

    proptest! {
        #[test]
        fn engine_factor_never_falls(q in 0.0..100.0_f64) {
            for edition in [DieselEdition::SaeJis, DieselEdition::UnR85] {
                // At its start the range joins to within the rounding of the printed constants.
                prop_assert!(edition.engine_factor(q + 0.1).unwrap() >= edition.engine_factor(q).unwrap() - 1e-3);
            }
        }
    }
}
