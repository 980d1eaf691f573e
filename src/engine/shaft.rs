//! Torque, power and mean effective pressure at the crankshaft.

use std::f64::consts::PI;

use super::EngineError;
use super::error::{finite, not_negative, positive};

/// How many turns of the crankshaft a working cycle takes.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
#[non_exhaustive]
pub enum WorkingCycle {
    /// Two turns.
    FourStroke,
    /// One turn.
    TwoStroke,
}

impl WorkingCycle {
    /// Turns of the crankshaft in a cycle.
    #[must_use]
    pub fn revolutions(self) -> f64 {
        match self {
            Self::FourStroke => 2.0,
            Self::TwoStroke => 1.0,
        }
    }
}

/// Power, W: P = 2π·N·T.
///
/// ```
/// use mulebook::engine::shaft::power_w;
/// // By definition of the horsepower (550 ft·lbf/s): torque and power in hp are equal at 33000/2π = 5252.113
/// // rpm.
/// let (foot_pound, horsepower) = (1.355_817_948_331_400_4, 745.699_871_582_270_2);
/// let power = power_w(400.0 * foot_pound, 5252.113_122_032_5).expect("a running engine");
/// assert!((power / horsepower - 400.0).abs() < 1e-9);
/// ```
///
/// # Errors
/// A torque that is not finite, or a negative speed.
pub fn power_w(torque_nm: f64, speed_rpm: f64) -> Result<f64, EngineError> {
    Ok(finite("torque", torque_nm, "N·m")? * angular_speed(speed_rpm)?)
}

/// Torque, N·m, from power; the inverse of [`power_w`].
///
/// # Errors
/// A power that is not finite, or a speed that is not above zero.
pub fn torque_nm(power_w: f64, speed_rpm: f64) -> Result<f64, EngineError> {
    Ok(finite("power", power_w, "W")? / angular_speed(positive("engine speed", speed_rpm, "rpm")?)?)
}

/// Brake mean effective pressure, Pa: 2π·n·T/V_d, n the turns of a cycle.
///
/// # Errors
/// A torque that is not finite, or a displacement that is not above zero.
pub fn mean_effective_pressure_pa(
    torque_nm: f64,
    displacement_m3: f64,
    cycle: WorkingCycle,
) -> Result<f64, EngineError> {
    let swept = positive("displacement", displacement_m3, "m³")?;
    Ok(2.0 * PI * cycle.revolutions() * finite("torque", torque_nm, "N·m")? / swept)
}

/// Torque, N·m, from brake mean effective pressure; the inverse of [`mean_effective_pressure_pa`].
///
/// # Errors
/// A pressure that is not finite, or a displacement that is not above zero.
pub fn torque_from_pressure_nm(
    pressure_pa: f64,
    displacement_m3: f64,
    cycle: WorkingCycle,
) -> Result<f64, EngineError> {
    let swept = positive("displacement", displacement_m3, "m³")?;
    Ok(finite("mean effective pressure", pressure_pa, "Pa")? * swept / (2.0 * PI * cycle.revolutions()))
}

/// Torque, N·m, of a force on an arm that stands `off_level_deg` from square to the force: F·r·cos β.
///
/// # Errors
/// A force or angle that is not finite, or an arm that is not above zero.
pub fn arm_torque_nm(force_n: f64, arm_m: f64, off_level_deg: f64) -> Result<f64, EngineError> {
    let angle = finite("angle of the arm", off_level_deg, "deg")? * PI / 180.0;
    Ok(finite("force", force_n, "N")? * positive("arm", arm_m, "m")? * libm::cos(angle))
}

pub(super) fn angular_speed(speed_rpm: f64) -> Result<f64, EngineError> {
    Ok(not_negative("engine speed", speed_rpm, "rpm")? * 2.0 * PI / 60.0)
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    const FOOT_POUND: f64 = 1.355_817_948_331_400_4;

    #[test]
    fn powers_and_pressures() {
        // Reference table of docs/engine.md: 500 N·m at 6000 rpm is 314.159265 kW, 421.294514 hp, 427.137728
        // PS.
        let power = power_w(500.0, 6000.0).unwrap();
        assert!((power - 314_159.265).abs() < 1e-3);
        assert!((power / 745.699_871_582_270_2 - 421.294_514).abs() < 1e-6);
        assert!((power / 735.498_75 - 427.137_728).abs() < 1e-6);
        // 500 lbf·ft from 406.77401 in³: 12.779884 bar.
        let swept = 406.774_01 * 16.387_064e-6;
        let pressure =
            mean_effective_pressure_pa(500.0 * FOOT_POUND, swept, WorkingCycle::FourStroke).unwrap();
        assert!((pressure / 1e5 - 12.779_884).abs() < 1e-6, "{pressure}");
        assert!(
            (torque_from_pressure_nm(1e5, swept, WorkingCycle::FourStroke).unwrap() - 53.045_003).abs()
                < 1e-6
        );
        // C. Ferguson, *Internal Combustion Engines* (from memory): 75 kW at 2000 rpm and 12 bar needs 3.75
        // l.
        let torque = torque_nm(75_000.0, 2000.0).unwrap();
        assert!(
            (torque_from_pressure_nm(12e5, 3.75e-3, WorkingCycle::FourStroke).unwrap() - torque).abs() < 1e-9
        );
    }

    #[test]
    fn dead_weight_on_an_arm() {
        // Reference table of docs/engine.md: 100 lb at 24 in is 271.163590 N·m; 5° off level is −0.38 %.
        let level = arm_torque_nm(100.0 * 0.453_592_37 * 9.806_65, 24.0 * 0.0254, 0.0).unwrap();
        assert!((level - 271.163_590).abs() < 1e-6);
        assert!((arm_torque_nm(1.0, 1.0, 5.0).unwrap() - 0.9962).abs() < 1e-4);
        assert!(torque_nm(1.0, 0.0).is_err());
    }

    proptest! {
        #[test]
        fn torque_and_power_invert(torque in -100.0..2000.0_f64, rpm in 100.0..12_000.0_f64, swept in 1e-4..1e-2_f64) {
            prop_assert!((torque_nm(power_w(torque, rpm).unwrap(), rpm).unwrap() - torque).abs() < 1e-9);
            for cycle in [WorkingCycle::FourStroke, WorkingCycle::TwoStroke] {
                let pressure = mean_effective_pressure_pa(torque, swept, cycle).unwrap();
                prop_assert!((torque_from_pressure_nm(pressure, swept, cycle).unwrap() - torque).abs() < 1e-9);
            }
        }
    }
}
