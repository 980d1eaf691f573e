//! Viscosity of oil over temperature, and friction of the running gear.

use super::EngineError;
use super::error::{finite, not_negative, positive, within};

/// Viscosity-temperature line of an oil by ASTM D341: log₁₀ log₁₀(ν + 0.7) = A − B·log₁₀ T, ν in mm²/s (cSt),
/// T in K.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ViscosityLine {
    a: f64,
    b: f64,
}

impl ViscosityLine {
    /// The line through two points, each kinematic viscosity in mm²/s and temperature in °C; above 2 mm²/s,
    /// where the plain form of D341 holds.
    ///
    /// ```
    /// use mulebook::engine::oil::ViscosityLine;
    /// // olezol.com, viscosity calculator: 404 cSt at 40 °C and 28 at 100 °C give 132.126 at 60 °C.
    /// let line = ViscosityLine::through((404.0, 40.0), (28.0, 100.0)).expect("two points");
    /// assert!((line.viscosity_mm2_per_s(60.0).expect("in range") - 132.126).abs() < 1e-3);
    /// ```
    ///
    /// # Errors
    /// Viscosities not above 2 mm²/s, equal temperatures, or viscosity that rises with temperature.
    pub fn through(first: (f64, f64), second: (f64, f64)) -> Result<Self, EngineError> {
        let point = |(viscosity, celsius): (f64, f64)| -> Result<(f64, f64), EngineError> {
            let viscosity = within("kinematic viscosity", viscosity, "mm²/s", |v| v > 2.0, "above 2")?;
            let kelvin = positive("temperature", celsius + 273.15, "K")?;
            Ok((libm::log10(libm::log10(viscosity + 0.7)), libm::log10(kelvin)))
        };
        let ((w1, x1), (w2, x2)) = (point(first)?, point(second)?);
        let b = positive("fall of viscosity with temperature", (w1 - w2) / (x2 - x1), "")?;
        Ok(Self { a: w1 + b * x1, b })
    }

    /// Kinematic viscosity, mm²/s, at a temperature, °C.
    ///
    /// # Errors
    /// A temperature at or below absolute zero, or beyond where the line gives 2 mm²/s.
    pub fn viscosity_mm2_per_s(&self, celsius: f64) -> Result<f64, EngineError> {
        let kelvin = positive("temperature", celsius + 273.15, "K")?;
        let viscosity = libm::exp10(libm::exp10(self.a - self.b * libm::log10(kelvin))) - 0.7;
        within(
            "kinematic viscosity",
            viscosity,
            "mm²/s",
            |v| v > 2.0,
            "above 2, where ASTM D341's plain form holds",
        )
    }
}

/// Ratio of viscous friction at two viscosities, (ν_to/ν_from)^n; n from 0.24 to 0.5 is reported (from
/// memory), the caller states it.
///
/// # Errors
/// Viscosities that are not above zero, or an exponent outside 0 to 1.
pub fn viscous_friction_ratio(
    from_mm2_per_s: f64,
    to_mm2_per_s: f64,
    exponent: f64,
) -> Result<f64, EngineError> {
    let n = within("exponent", exponent, "", |n| (0.0..=1.0).contains(&n), "0 to 1")?;
    let ratio =
        positive("viscosity", to_mm2_per_s, "mm²/s")? / positive("viscosity", from_mm2_per_s, "mm²/s")?;
    Ok(libm::pow(ratio, n))
}

/// Constants of the Chen-Flynn friction model, in bar.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ChenFlynn {
    /// Constant part, bar.
    pub constant_bar: f64,
    /// Part of peak pressure.
    pub peak_pressure: f64,
    /// Part of mean piston speed, bar per m/s.
    pub speed: f64,
    /// Part of its square, bar per (m/s)².
    pub speed_squared: f64,
}

impl ChenFlynn {
    /// The constants of the paper, S. Chen & P. Flynn, SAE 650733 (from memory): 0.137 + 0.005·p_max +
    /// 0.162·S_p.
    pub const ORIGINAL: Self =
        Self { constant_bar: 0.137, peak_pressure: 0.005, speed: 0.162, speed_squared: 0.0 };

    /// Friction mean effective pressure, bar: A + B·p_max + C·S_p + D·S_p².
    ///
    /// # Errors
    /// A negative pressure or speed, or a constant that is not finite.
    pub fn pressure_bar(&self, peak_bar: f64, mean_piston_speed_m_per_s: f64) -> Result<f64, EngineError> {
        let peak = not_negative("peak pressure", peak_bar, "bar")?;
        let speed = not_negative("mean piston speed", mean_piston_speed_m_per_s, "m/s")?;
        let constant = |value| finite("constant of the friction model", value, "");
        let per_speed = constant(self.speed)? + constant(self.speed_squared)? * speed;
        Ok(constant(self.constant_bar)? + constant(self.peak_pressure)? * peak + per_speed * speed)
    }
}

/// Motored friction mean effective pressure of petrol engines, bar: 0.97 + 0.15·n + 0.05·n², n in 1000 rpm
/// (D. Barnes-Moss 1975, from memory).
///
/// # Errors
/// A negative speed.
pub fn barnes_moss_bar(speed_rpm: f64) -> Result<f64, EngineError> {
    let n = not_negative("engine speed", speed_rpm, "rpm")? / 1000.0;
    Ok(0.97 + (0.15 + 0.05 * n) * n)
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    #[test]
    fn viscosities() {
        // olezol.com: 32 at 40 °C and 5.4 at 100 °C give 8.5 at 80 °C; reference table of docs/engine.md for
        // the second oil.
        let thin = ViscosityLine::through((32.0, 40.0), (5.4, 100.0)).unwrap();
        assert!((thin.viscosity_mm2_per_s(80.0).unwrap() - 8.533).abs() < 1e-3);
        let thick = ViscosityLine::through((66.0, 40.0), (10.2, 100.0)).unwrap();
        for (celsius, viscosity) in [(80.0, 16.627_577), (90.0, 12.859_351), (95.0, 11.419_218)] {
            assert!((thick.viscosity_mm2_per_s(celsius).unwrap() - viscosity).abs() < 1e-3);
        }
        // 80 to 95 °C: −8.6 % to −17 % of the viscous part for exponents 0.24 and 0.5.
        let (hot, cold) =
            (thick.viscosity_mm2_per_s(95.0).unwrap(), thick.viscosity_mm2_per_s(80.0).unwrap());
        assert!((viscous_friction_ratio(cold, hot, 0.24).unwrap() - 0.914).abs() < 1e-3);
        assert!((viscous_friction_ratio(cold, hot, 0.5).unwrap() - 0.83).abs() < 2e-3);
        assert!(ViscosityLine::through((32.0, 100.0), (5.4, 40.0)).is_err());
        assert!(ViscosityLine::through((32.0, 40.0), (5.4, 40.0)).is_err());
        assert!(ViscosityLine::through((32.0, 40.0), (1.0, 100.0)).is_err());
    }

    #[test]
    fn friction() {
        // Reference table of docs/engine.md: 80 bar, 22.225 m/s.
        let model = ChenFlynn { constant_bar: 0.4, peak_pressure: 0.005, speed: 0.09, speed_squared: 9e-4 };
        assert!((model.pressure_bar(80.0, 22.225).unwrap() - 3.244_806).abs() < 1e-6);
        assert!((ChenFlynn::ORIGINAL.pressure_bar(80.0, 22.225).unwrap() - 4.137_450).abs() < 1e-6);
        assert!((barnes_moss_bar(6000.0).unwrap() - 3.67).abs() < 1e-12);
        assert!(barnes_moss_bar(-1.0).is_err());
    }

    proptest! {
        #[test]
        fn the_line_passes_its_points_and_falls(v40 in 20.0..400.0_f64, share in 0.05..0.4_f64) {
            let v100 = (v40 * share).max(2.5);
            let line = ViscosityLine::through((v40, 40.0), (v100, 100.0)).unwrap();
            prop_assert!((line.viscosity_mm2_per_s(40.0).unwrap() / v40 - 1.0).abs() < 1e-9);
            prop_assert!((line.viscosity_mm2_per_s(100.0).unwrap() / v100 - 1.0).abs() < 1e-9);
            prop_assert!(line.viscosity_mm2_per_s(60.0).unwrap() > line.viscosity_mm2_per_s(80.0).unwrap());
        }
    }
}
