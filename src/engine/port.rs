//! Speed of the gas in a port, and the Mach index of an inlet valve.

use super::EngineError;
use super::air::DRY_AIR_GAS_CONSTANT;
use super::cylinder::circle_area_m2;
use super::error::{not_negative, positive, within};

/// Mean speed at a section on the bench: flow over area, m/s.
///
/// # Errors
/// A negative flow, or an area that is not above zero.
pub fn bench_velocity_m_per_s(flow_m3_per_s: f64, section_m2: f64) -> Result<f64, EngineError> {
    Ok(not_negative("flow", flow_m3_per_s, "m³/s")? / positive("section", section_m2, "m²")?)
}

/// Mean speed at a section in the running engine by the piston's sweep, m/s: S_p·(π/4·B²)/A, as if the gas
/// kept its density.
///
/// # Errors
/// A negative piston speed, or a bore or section that is not above zero.
pub fn running_velocity_m_per_s(
    mean_piston_speed_m_per_s: f64,
    bore_m: f64,
    section_m2: f64,
) -> Result<f64, EngineError> {
    let piston = not_negative("mean piston speed", mean_piston_speed_m_per_s, "m/s")?;
    Ok(piston * circle_area_m2(bore_m)? / positive("section", section_m2, "m²")?)
}

/// Speed of sound √(γRT) in dry air with γ 1.4, m/s.
///
/// ```
/// use mulebook::engine::port::speed_of_sound_m_per_s;
/// // At 300 K: 347.2 m/s (R 287.055 J/(kg·K)).
/// assert!((speed_of_sound_m_per_s(300.0).expect("a temperature") - 347.222).abs() < 1e-3);
/// ```
///
/// # Errors
/// A temperature that is not above zero.
pub fn speed_of_sound_m_per_s(temperature_k: f64) -> Result<f64, EngineError> {
    Ok((1.4 * DRY_AIR_GAS_CONSTANT * positive("temperature", temperature_k, "K")?).sqrt())
}

/// An inlet valve in its cylinder, for the Mach index.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct InletValve {
    /// Cylinder bore, m.
    pub bore_m: f64,
    /// Inlet valve diameter, m.
    pub valve_diameter_m: f64,
    /// Mean flow coefficient over the opening, on the valve head's area.
    pub mean_flow_coefficient: f64,
}

impl InletValve {
    /// Mach index Z = (B/D_v)²·S_p/(C_i·c).
    ///
    /// Volumetric efficiency falls fast above about 0.6 (C. Taylor, *The Internal-Combustion Engine in Theory
    /// and Practice* 1, 6, from memory); 0.5 with a mean effective area (JSME mechanical engineering
    /// encyclopedia, 1002813).
    ///
    /// # Errors
    /// Sizes, coefficient or speed of sound that are not above zero, a coefficient above one, or a negative
    /// piston speed.
    pub fn mach_index(&self, mean_piston_speed_m_per_s: f64, sound_m_per_s: f64) -> Result<f64, EngineError> {
        let piston = not_negative("mean piston speed", mean_piston_speed_m_per_s, "m/s")?;
        Ok(self.ratio()? * piston / positive("speed of sound", sound_m_per_s, "m/s")?)
    }

    /// Engine speed, rpm, at which the Mach index reaches `index`; the inverse of [`InletValve::mach_index`].
    ///
    /// # Errors
    /// As [`InletValve::mach_index`], or a stroke that is not above zero.
    pub fn speed_at_index_rpm(
        &self,
        index: f64,
        stroke_m: f64,
        sound_m_per_s: f64,
    ) -> Result<f64, EngineError> {
        let piston = positive("Mach index", index, "")? * positive("speed of sound", sound_m_per_s, "m/s")?
            / self.ratio()?;
        Ok(piston * 30.0 / positive("stroke", stroke_m, "m")?)
    }

    fn ratio(&self) -> Result<f64, EngineError> {
        let coefficient = within(
            "mean flow coefficient",
            self.mean_flow_coefficient,
            "",
            |c| c > 0.0 && c <= 1.0,
            "above 0, at most 1",
        )?;
        let ratio =
            positive("bore", self.bore_m, "m")? / positive("valve diameter", self.valve_diameter_m, "m")?;
        Ok(ratio * ratio / coefficient)
    }
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    const INCH: f64 = 0.0254;

    #[test]
    fn gas_speed_and_mach_index() {
        // Reference table of docs/engine.md: 4.155 in bore, 2.08 in valve, 22.225 m/s mean piston speed, 300
        // K.
        let valve =
            |c| InletValve { bore_m: 4.155 * INCH, valve_diameter_m: 2.08 * INCH, mean_flow_coefficient: c };
        let sound = speed_of_sound_m_per_s(300.0).unwrap();
        assert!((sound - 347.221_975).abs() < 1e-5);
        for (coefficient, index) in [(0.30, 0.851_390), (0.35, 0.729_763), (0.40, 0.638_543)] {
            assert!((valve(coefficient).mach_index(22.225, sound).unwrap() - index).abs() < 1e-6);
        }
        assert!((valve(0.35).speed_at_index_rpm(0.6, 3.75 * INCH, sound).unwrap() - 5755.29).abs() < 5e-3);
        let section = circle_area_m2(2.08 * INCH).unwrap();
        assert!((running_velocity_m_per_s(22.225, 4.155 * INCH, section).unwrap() - 88.686_427).abs() < 1e-6);
        // calculatoratoz.com Calc-32045 (arithmetic check only): (0.85/0.02)²·0.011/(11.8·3.4) = 0.495233;
        // here the coefficient goes into c.
        let odd = InletValve { bore_m: 0.85, valve_diameter_m: 0.02, mean_flow_coefficient: 1.0 };
        assert!((odd.mach_index(0.011, 11.8 * 3.4).unwrap() - 0.495_233).abs() < 1e-6);
    }

    proptest! {
        #[test]
        fn index_and_speed_invert(rpm in 1000.0..9000.0_f64, c in 0.2..0.6_f64) {
            let valve = InletValve { bore_m: 0.1, valve_diameter_m: 0.05, mean_flow_coefficient: c };
            let piston = super::super::piston::mean_speed_m_per_s(0.09, rpm).unwrap();
            let index = valve.mach_index(piston, 345.0).unwrap();
            prop_assert!((valve.speed_at_index_rpm(index, 0.09, 345.0).unwrap() / rpm - 1.0).abs() < 1e-12);
        }
    }
}
