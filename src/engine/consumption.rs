//! Fuel and air for the power made, and how full the cylinders were.
//!
//! Source: J. Heywood, *Internal Combustion Engine Fundamentals* (1988), 2.8 to 2.10 (from memory).

use super::EngineError;
use super::error::{not_negative, positive};
use super::shaft::WorkingCycle;

/// Brake specific consumption, kg/J: mass flow over power, for fuel or air alike (1 g/(kW·h) is 1/3.6e9
/// kg/J).
///
/// ```
/// use mulebook::engine::consumption::specific_consumption_kg_per_j;
/// // By the units: 0.5 lb/(hp·h) is 304.14 g/(kW·h) (0.45359237 kg, 745.69987 W).
/// let found = specific_consumption_kg_per_j(0.5 * 400.0 * 0.453_592_37 / 3600.0, 400.0 * 745.699_871_58).expect("power");
/// assert!((found * 3.6e9 - 304.14).abs() < 5e-3);
/// ```
///
/// # Errors
/// A negative flow, or a power that is not above zero.
pub fn specific_consumption_kg_per_j(flow_kg_per_s: f64, power_w: f64) -> Result<f64, EngineError> {
    Ok(not_negative("mass flow", flow_kg_per_s, "kg/s")? / positive("power", power_w, "W")?)
}

/// Power, W, that a mass flow makes at a specific consumption: shows which correction a printed power
/// carries, as fuel and specific consumption give the observed power.
///
/// # Errors
/// A negative flow, or a consumption that is not above zero.
pub fn power_from_consumption_w(flow_kg_per_s: f64, specific_kg_per_j: f64) -> Result<f64, EngineError> {
    Ok(not_negative("mass flow", flow_kg_per_s, "kg/s")?
        / positive("specific consumption", specific_kg_per_j, "kg/J")?)
}

/// Volumetric efficiency: air drawn over what the displacement holds at a stated density, ṁ·n/(ρ·V_d·N), n
/// the turns of a cycle.
///
/// The density names the reference: ambient air (overall) or the manifold's (of the head alone).
///
/// # Errors
/// A negative flow, or a density, displacement or speed that is not above zero.
pub fn volumetric_efficiency(
    air_kg_per_s: f64,
    density_kg_per_m3: f64,
    displacement_m3: f64,
    speed_rpm: f64,
    cycle: WorkingCycle,
) -> Result<f64, EngineError> {
    let drawn = not_negative("air flow", air_kg_per_s, "kg/s")? * cycle.revolutions();
    Ok(drawn / swept_flow(density_kg_per_m3, displacement_m3, speed_rpm)?)
}

/// Air flow, kg/s, at a volumetric efficiency; the inverse of [`volumetric_efficiency`].
///
/// # Errors
/// As [`volumetric_efficiency`].
pub fn air_flow_kg_per_s(
    efficiency: f64,
    density_kg_per_m3: f64,
    displacement_m3: f64,
    speed_rpm: f64,
    cycle: WorkingCycle,
) -> Result<f64, EngineError> {
    let share = not_negative("volumetric efficiency", efficiency, "")?;
    Ok(share * swept_flow(density_kg_per_m3, displacement_m3, speed_rpm)? / cycle.revolutions())
}

/// Brake thermal efficiency: power over fuel flow × lower heating value.
///
/// # Errors
/// A power, flow or heating value that is not above zero.
pub fn thermal_efficiency(
    power_w: f64,
    fuel_kg_per_s: f64,
    heating_value_j_per_kg: f64,
) -> Result<f64, EngineError> {
    let heat = positive("fuel flow", fuel_kg_per_s, "kg/s")?
        * positive("heating value", heating_value_j_per_kg, "J/kg")?;
    Ok(positive("power", power_w, "W")? / heat)
}

fn swept_flow(density: f64, displacement: f64, rpm: f64) -> Result<f64, EngineError> {
    Ok(positive("density of the air", density, "kg/m³")?
        * positive("displacement", displacement, "m³")?
        * positive("engine speed", rpm, "rpm")?
        / 60.0)
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    #[test]
    fn full_cylinders() {
        // W. Pulkrabek, *Engineering Fundamentals of the Internal Combustion Engine*, example 2-2 (from
        // memory): 3 l four-stroke at 3600 rpm, air 1.181 kg/m³; efficiency 0.925 draws 0.0983 kg/s.
        let flow = air_flow_kg_per_s(0.925, 1.181, 3e-3, 3600.0, WorkingCycle::FourStroke).unwrap();
        assert!((flow - 0.0983).abs() < 5e-5, "{flow}");
        assert!(volumetric_efficiency(0.1, 1.2, 3e-3, 0.0, WorkingCycle::FourStroke).is_err());
        assert!(specific_consumption_kg_per_j(0.1, -5.0).is_err());
    }

    proptest! {
        #[test]
        fn flows_invert(share in 0.1..1.3_f64, rpm in 500.0..9000.0_f64, power in 1e3..1e6_f64) {
            for cycle in [WorkingCycle::FourStroke, WorkingCycle::TwoStroke] {
                let flow = air_flow_kg_per_s(share, 1.15, 5e-3, rpm, cycle).unwrap();
                prop_assert!((volumetric_efficiency(flow, 1.15, 5e-3, rpm, cycle).unwrap() - share).abs() < 1e-12);
                let specific = specific_consumption_kg_per_j(flow, power).unwrap();
                prop_assert!((power_from_consumption_w(flow, specific).unwrap() / power - 1.0).abs() < 1e-12);
            }
        }
    }
}
