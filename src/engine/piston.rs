//! Where the piston is, how fast it moves and how hard it is pulled.
//!
//! Source: J. Heywood, *Internal Combustion Engine Fundamentals* (1988), 2.2 (from memory); the crank is
//! centred on the bore.

use std::f64::consts::PI;

use super::EngineError;
use super::cylinder::rod_ratio;
use super::error::{finite, not_negative, positive, within};

/// Stroke and rod of a crank mechanism whose bore is centred on the crankshaft and whose pin is not offset.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct CrankMechanism {
    stroke_m: f64,
    rod_length_m: f64,
}

/// Piston speed at its greatest within a stroke, and where.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Greatest {
    /// Speed, m/s.
    pub speed_m_per_s: f64,
    /// Crank angle after top dead centre, degrees.
    pub angle_deg: f64,
}

impl CrankMechanism {
    /// A crank mechanism.
    ///
    /// # Errors
    /// A stroke that is not above zero, or a rod no longer than half the stroke.
    pub fn new(stroke_m: f64, rod_length_m: f64) -> Result<Self, EngineError> {
        rod_ratio(rod_length_m, stroke_m)?;
        Ok(Self { stroke_m, rod_length_m })
    }

    /// Stroke, m.
    #[must_use]
    pub fn stroke_m(&self) -> f64 {
        self.stroke_m
    }

    /// Distance of the piston from top dead centre, m: x = a(1 − cos θ) + l − √(l² − a²sin²θ), θ after top
    /// dead centre, a = S/2.
    ///
    /// # Errors
    /// An angle that is not finite.
    pub fn position_m(&self, angle_deg: f64) -> Result<f64, EngineError> {
        let (a, l) = (self.stroke_m / 2.0, self.rod_length_m);
        let angle = radians(angle_deg)?;
        let sine = a * libm::sin(angle);
        // l − √(l² − s²) without cancellation.
        Ok(a * (1.0 - libm::cos(angle)) + sine * sine / (l + (l * l - sine * sine).sqrt()))
    }

    /// Crank angle after top dead centre, degrees from 0 to 180, at which the piston stands `position_m`
    /// below top dead centre.
    ///
    /// # Errors
    /// A position outside the stroke.
    pub fn angle_deg(&self, position_m: f64) -> Result<f64, EngineError> {
        let stroke = self.stroke_m;
        let x =
            within("piston position", position_m, "m", |x| (0.0..=stroke).contains(&x), "within the stroke")?;
        let (a, l) = (stroke / 2.0, self.rod_length_m);
        // Triangle of crank, rod and the line between crankshaft and pin, by the law of cosines.
        let line = a + l - x;
        let cosine = (a * a + line * line - l * l) / (2.0 * a * line);
        Ok(libm::acos(cosine.clamp(-1.0, 1.0)) * 180.0 / PI)
    }

    /// Piston speed, m/s, downwards positive: v = aω·sin θ·[1 + cos θ/√(R² − sin²θ)], R = l/a.
    ///
    /// # Errors
    /// An angle that is not finite, or a negative speed.
    pub fn speed_m_per_s(&self, angle_deg: f64, speed_rpm: f64) -> Result<f64, EngineError> {
        let (sine, cosine) = libm::sincos(radians(angle_deg)?);
        let omega = angular_speed(speed_rpm)?;
        let ratio = 2.0 * self.rod_length_m / self.stroke_m;
        Ok(self.stroke_m / 2.0 * omega * sine * (1.0 + cosine / (ratio * ratio - sine * sine).sqrt()))
    }

    /// Piston acceleration, m/s², downwards positive; at top dead centre aω²(1 + a/l), at bottom −aω²(1 −
    /// a/l).
    ///
    /// # Errors
    /// As [`CrankMechanism::speed_m_per_s`].
    pub fn acceleration_m_per_s2(&self, angle_deg: f64, speed_rpm: f64) -> Result<f64, EngineError> {
        let (sine, cosine) = libm::sincos(radians(angle_deg)?);
        let omega = angular_speed(speed_rpm)?;
        let ratio = 2.0 * self.rod_length_m / self.stroke_m;
        let root = (ratio * ratio - sine * sine).sqrt();
        let bend =
            (cosine * cosine - sine * sine) / root + sine * sine * cosine * cosine / (root * root * root);
        Ok(self.stroke_m / 2.0 * omega * omega * (cosine + bend))
    }

    /// The greatest piston speed and the angle where it falls.
    ///
    /// # Errors
    /// A negative or infinite speed.
    pub fn greatest_speed(&self, speed_rpm: f64) -> Result<Greatest, EngineError> {
        // Acceleration falls through zero once between 0° and 90°.
        let (mut lower, mut upper) = (0.0, 90.0);
        for _ in 0..60 {
            let middle = (lower + upper) / 2.0;
            if self.acceleration_m_per_s2(middle, 60.0)? > 0.0 {
                lower = middle;
            } else {
                upper = middle;
            }
        }
        Ok(Greatest { speed_m_per_s: self.speed_m_per_s(lower, speed_rpm)?, angle_deg: lower })
    }

    /// Volume above the piston less the clearance volume, m³, with the given bore.
    ///
    /// # Errors
    /// An angle that is not finite, or a bore that is not above zero.
    pub fn uncovered_volume_m3(&self, angle_deg: f64, bore_m: f64) -> Result<f64, EngineError> {
        Ok(super::cylinder::circle_area_m2(bore_m)? * self.position_m(angle_deg)?)
    }
}

/// Mean piston speed, m/s: S_p = 2·S·N.
///
/// ```
/// use mulebook::engine::piston::mean_speed_m_per_s;
/// // Common practice: stroke (in) × rpm / 6 = ft/min; 3.75 in at 7000 rpm is 4375 ft/min.
/// let speed = mean_speed_m_per_s(3.75 * 0.0254, 7000.0).expect("a running engine");
/// assert!((speed / 0.3048 * 60.0 - 4375.0).abs() < 1e-9);
/// ```
///
/// # Errors
/// A stroke that is not above zero, or a negative speed.
pub fn mean_speed_m_per_s(stroke_m: f64, speed_rpm: f64) -> Result<f64, EngineError> {
    Ok(2.0 * positive("stroke", stroke_m, "m")? * not_negative("engine speed", speed_rpm, "rpm")? / 60.0)
}

fn radians(angle_deg: f64) -> Result<f64, EngineError> {
    Ok(finite("crank angle", angle_deg, "deg")? * PI / 180.0)
}

fn angular_speed(speed_rpm: f64) -> Result<f64, EngineError> {
    Ok(not_negative("engine speed", speed_rpm, "rpm")? * 2.0 * PI / 60.0)
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    const INCH: f64 = 0.0254;

    fn near(found: f64, expected: f64, tolerance: f64) {
        assert!((found - expected).abs() <= tolerance, "{found} is not {expected}");
    }

    #[test]
    fn long_stroke_at_seven_thousand() {
        // Reference table of docs/engine.md: stroke 3.75 in, rod 6.000 in, 7000 rpm.
        let crank = CrankMechanism::new(3.75 * INCH, 6.0 * INCH).unwrap();
        for (angle, inches) in
            [(20.0, 0.147_446), (45.0, 0.697_492), (72.0, 1.566_711), (90.0, 2.175_493), (180.0, 3.75)]
        {
            near(crank.position_m(angle).unwrap() / INCH, inches, 1e-6);
        }
        near(crank.acceleration_m_per_s2(0.0, 7000.0).unwrap(), 33_588.268_5, 1e-3);
        near(crank.acceleration_m_per_s2(180.0, 7000.0).unwrap(), -17_593.854_9, 1e-3);
        near(crank.acceleration_m_per_s2(90.0, 7000.0).unwrap(), -8_418.841_2, 1e-3);
        let greatest = crank.greatest_speed(7000.0).unwrap();
        near(greatest.speed_m_per_s, 36.589_148, 1e-6);
        near(greatest.angle_deg, 74.011_1, 1e-4);
    }

    #[test]
    fn textbook_engine() {
        // W. Pulkrabek, *Engineering Fundamentals of the Internal Combustion Engine*, example 2-1 (from
        // memory): 3 L square V6, rod 16.6 cm, 3600 rpm: bore 8.6 cm, mean speed 10.32 m/s; at 20° speed
        // 0.669 of the mean, position 0.325 cm.
        let stroke = 0.086_025_40;
        near(mean_speed_m_per_s(stroke, 3600.0).unwrap(), 10.32, 5e-3);
        let crank = CrankMechanism::new(stroke, 0.166).unwrap();
        near(crank.speed_m_per_s(20.0, 3600.0).unwrap() / 10.323_048, 0.668_572, 1e-6);
        near(crank.position_m(20.0).unwrap() * 100.0, 0.324_713, 1e-6);
    }

    #[test]
    fn impossible_cranks_are_refused() {
        assert!(CrankMechanism::new(0.1, 0.05).is_err());
        assert!(CrankMechanism::new(0.1, f64::NAN).is_err());
        let crank = CrankMechanism::new(0.1, 0.15).unwrap();
        assert!(crank.position_m(f64::INFINITY).is_err());
        assert!(crank.angle_deg(0.11).is_err());
        assert!(crank.speed_m_per_s(10.0, -1.0).is_err());
    }

    proptest! {
        #[test]
        fn angle_and_position_invert(angle in 0.1..179.9_f64, ratio in 1.3..2.5_f64) {
            let crank = CrankMechanism::new(0.09, 0.09 * ratio).unwrap();
            let back = crank.angle_deg(crank.position_m(angle).unwrap()).unwrap();
            prop_assert!((back - angle).abs() < 1e-6, "{back} is not {angle}");
        }

        #[test]
        fn speed_and_acceleration_are_the_slopes(angle in 1.0..359.0_f64, ratio in 1.3..2.5_f64, rpm in 500.0..9000.0_f64) {
            let crank = CrankMechanism::new(0.09, 0.09 * ratio).unwrap();
            let step = 0.01;
            let seconds = 2.0 * step / (6.0 * rpm);
            let slope = (crank.position_m(angle + step).unwrap() - crank.position_m(angle - step).unwrap()) / seconds;
            prop_assert!((slope - crank.speed_m_per_s(angle, rpm).unwrap()).abs() < 1e-4 * rpm / 100.0);
            let bend = (crank.speed_m_per_s(angle + step, rpm).unwrap() - crank.speed_m_per_s(angle - step, rpm).unwrap()) / seconds;
            let peak = crank.acceleration_m_per_s2(0.0, rpm).unwrap();
            prop_assert!((bend - crank.acceleration_m_per_s2(angle, rpm).unwrap()).abs() < 1e-5 * peak);
        }
    }
}
