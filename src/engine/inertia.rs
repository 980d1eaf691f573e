//! Torque that speeding up takes from a sweep.

use std::f64::consts::PI;

use super::EngineError;
use super::error::{finite, not_negative};
use super::shaft::angular_speed;

/// Torque, N·m, that speeds up a rotating inertia: I·α, α = 2π/60·(rpm/s); negative while slowing down.
///
/// ```
/// use mulebook::engine::inertia::inertia_torque_nm;
/// // Reference table of docs/engine.md: 0.35 kg·m² at 300 rpm/s is 10.995574 N·m.
/// assert!((inertia_torque_nm(0.35, 300.0).expect("a sweep") - 10.995574).abs() < 1e-6);
/// ```
///
/// # Errors
/// A negative inertia, or a rate that is not finite.
pub fn inertia_torque_nm(inertia_kg_m2: f64, rate_rpm_per_s: f64) -> Result<f64, EngineError> {
    Ok(not_negative("rotating inertia", inertia_kg_m2, "kg·m²")?
        * finite("sweep rate", rate_rpm_per_s, "rpm/s")?
        * 2.0
        * PI
        / 60.0)
}

/// Steady torque, N·m, behind a sweep's reading: measured + I·α, with I the inertia on the engine's side of
/// where the torque is sensed.
///
/// # Errors
/// A torque or rate that is not finite, or a negative inertia.
pub fn steady_torque_nm(
    measured_nm: f64,
    inertia_kg_m2: f64,
    rate_rpm_per_s: f64,
) -> Result<f64, EngineError> {
    Ok(finite("measured torque", measured_nm, "N·m")? + inertia_torque_nm(inertia_kg_m2, rate_rpm_per_s)?)
}

/// Power, W, that the sweep takes at a speed: I·α·ω.
///
/// # Errors
/// As [`inertia_torque_nm`], or a negative speed.
pub fn inertia_power_w(inertia_kg_m2: f64, rate_rpm_per_s: f64, speed_rpm: f64) -> Result<f64, EngineError> {
    Ok(inertia_torque_nm(inertia_kg_m2, rate_rpm_per_s)? * angular_speed(speed_rpm)?)
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    #[test]
    fn sweeps() {
        // Reference table of docs/engine.md: 300 rpm/s is 8.109919 lbf·ft, 10.036813 hp at 6500 rpm; 600
        // rpm/s twice that.
        let torque = inertia_torque_nm(0.35, 300.0).unwrap();
        assert!((torque / 1.355_817_948_331_400_4 - 8.109_919).abs() < 1e-6);
        assert!((inertia_power_w(0.35, 300.0, 6500.0).unwrap() / 745.699_871_58 - 10.036_813).abs() < 1e-6);
        assert!((inertia_power_w(0.35, 600.0, 6500.0).unwrap() / 745.699_871_58 - 20.073_626).abs() < 2e-6);
        assert!(inertia_torque_nm(-1.0, 300.0).is_err());
    }

    proptest! {
        #[test]
        fn two_rates_agree_when_the_inertia_is_right(steady in 50.0..900.0_f64, inertia in 0.0..1.0_f64, rate in -900.0..900.0_f64) {
            let measured = steady - inertia_torque_nm(inertia, rate).unwrap();
            prop_assert!((steady_torque_nm(measured, inertia, rate).unwrap() - steady).abs() < 1e-9);
        }
    }
}
