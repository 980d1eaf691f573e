//! From a flow-bench reading to the flow at a stated pressure, of stated air, without leakage.
//!
//! Flow through a fixed head is taken as turbulent, so that Q ∝ √Δp at one density. Common practice, no
//! source; it fails at low lift and over large ratios of pressure, which are flagged.

use super::EngineError;
use super::error::{Beyond, beyond, not_negative, positive, within};

/// Ratio of test pressures beyond which flow at one no longer stands for flow at the other (common practice,
/// no source).
pub const PRESSURE_RATIO_LIMIT: f64 = 3.0;

/// A flow with what should be said of it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ConvertedFlow {
    /// Volume flow, m³/s.
    pub flow_m3_per_s: f64,
    /// Set when the conversion reached further than practice allows.
    pub beyond: Option<Beyond>,
}

/// Flow at another test pressure: Q₂ = Q₁·√(Δp₂/Δp₁).
///
/// ```
/// use mulebook::engine::flow_bench::flow_at_pressure;
/// // Common practice: 10 to 28 inches of water multiplies by 1.673.
/// let flow = flow_at_pressure(1.0, 10.0 * 249.08891, 28.0 * 249.08891).expect("a reading");
/// assert!((flow.flow_m3_per_s - 1.6733201).abs() < 1e-6);
/// ```
///
/// # Errors
/// A negative flow, or a pressure that is not above zero.
pub fn flow_at_pressure(flow_m3_per_s: f64, from_pa: f64, to_pa: f64) -> Result<ConvertedFlow, EngineError> {
    let flow = not_negative("flow", flow_m3_per_s, "m³/s")?;
    let ratio = positive("test pressure wanted", to_pa, "Pa")? / positive("test pressure", from_pa, "Pa")?;
    Ok(ConvertedFlow {
        flow_m3_per_s: flow * ratio.sqrt(),
        beyond: beyond(
            "ratio of test pressures",
            ratio,
            (1.0 / PRESSURE_RATIO_LIMIT, PRESSURE_RATIO_LIMIT),
            "",
            "common practice",
        ),
    })
}

/// What a bench measures against, which decides how the air's state enters its reading.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
#[non_exhaustive]
pub enum BenchKind {
    /// The bench reads true volume flow of the air it has: Q_std = Q·√(ρ/ρ_std).
    VolumeFlow,
    /// The bench compares the head with its own orifice, both in the same air: the state of the air cancels.
    Ratio,
}

/// Flow that the head would pass of standard air at the same test pressure, m³/s.
///
/// # Errors
/// A negative flow, or a density that is not above zero.
pub fn flow_of_standard_air_m3_per_s(
    bench: BenchKind,
    flow_m3_per_s: f64,
    density_kg_per_m3: f64,
    standard_density_kg_per_m3: f64,
) -> Result<f64, EngineError> {
    let flow = not_negative("flow", flow_m3_per_s, "m³/s")?;
    let density = positive("density of the air", density_kg_per_m3, "kg/m³")?;
    let standard = positive("density of standard air", standard_density_kg_per_m3, "kg/m³")?;
    Ok(match bench {
        BenchKind::VolumeFlow => flow * (density / standard).sqrt(),
        BenchKind::Ratio => flow,
    })
}

/// Flow through the head when the air at the bench's orifice is warmer: Q = Q_read·√(T_head/T_orifice),
/// temperatures in kelvin.
///
/// # Errors
/// A negative flow, or a temperature that is not above zero.
pub fn flow_at_head_m3_per_s(read_m3_per_s: f64, head_k: f64, orifice_k: f64) -> Result<f64, EngineError> {
    let ratio = positive("temperature at the head", head_k, "K")?
        / positive("temperature at the orifice", orifice_k, "K")?;
    Ok(not_negative("flow", read_m3_per_s, "m³/s")? * ratio.sqrt())
}

/// Flow less leakage, m³/s; the leakage is brought to the test pressure of the reading first.
///
/// # Errors
/// Negative flows, pressures that are not above zero, or leakage above the flow.
pub fn flow_without_leakage_m3_per_s(
    flow_m3_per_s: f64,
    test_pa: f64,
    leakage_m3_per_s: f64,
    leakage_pa: f64,
) -> Result<f64, EngineError> {
    let flow = not_negative("flow", flow_m3_per_s, "m³/s")?;
    let leak = flow_at_pressure(leakage_m3_per_s, leakage_pa, test_pa)?.flow_m3_per_s;
    within("leakage at the test pressure", leak, "m³/s", |leak| leak <= flow, "no more than the flow")?;
    Ok(flow - leak)
}

/// Factor of the day from a calibration plate: rated flow over indicated flow, both at one test pressure.
///
/// # Errors
/// A flow that is not above zero.
pub fn plate_factor(rated_m3_per_s: f64, indicated_m3_per_s: f64) -> Result<f64, EngineError> {
    Ok(positive("rated flow of the plate", rated_m3_per_s, "m³/s")?
        / positive("indicated flow of the plate", indicated_m3_per_s, "m³/s")?)
}

/// Exhaust flow over inlet flow, both at one test pressure and lift or as means over one lift range.
///
/// # Errors
/// A flow that is not above zero.
pub fn exhaust_to_inlet_ratio(exhaust_m3_per_s: f64, inlet_m3_per_s: f64) -> Result<f64, EngineError> {
    Ok(positive("exhaust flow", exhaust_m3_per_s, "m³/s")? / positive("inlet flow", inlet_m3_per_s, "m³/s")?)
}

/// Mass flow ṁ = ρ·Q, kg/s.
///
/// # Errors
/// A negative flow, or a density that is not above zero.
pub fn mass_flow_kg_per_s(flow_m3_per_s: f64, density_kg_per_m3: f64) -> Result<f64, EngineError> {
    Ok(not_negative("flow", flow_m3_per_s, "m³/s")?
        * positive("density of the air", density_kg_per_m3, "kg/m³")?)
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    const INCH_OF_WATER: f64 = 249.088_91;
    const CFM: f64 = 0.471_947_443_2e-3;

    #[test]
    fn pressures_leakage_and_temperature() {
        // Reference table of docs/engine.md.
        let factor = |from: f64, to: f64| flow_at_pressure(1.0, from, to).unwrap();
        assert!((factor(25.0, 28.0).flow_m3_per_s - 1.058_300_5).abs() < 1e-7);
        assert!((factor(20.0, 28.0).flow_m3_per_s - 1.183_216_0).abs() < 1e-7);
        assert!(factor(10.0, 28.0).beyond.is_none());
        assert!(factor(5.0, 28.0).beyond.is_some() && factor(28.0, 5.0).beyond.is_some());
        let clean =
            flow_without_leakage_m3_per_s(320.0 * CFM, 28.0 * INCH_OF_WATER, 4.0 * CFM, 10.0 * INCH_OF_WATER)
                .unwrap();
        assert!((clean / CFM - 313.306_720).abs() < 1e-6);
        assert!((flow_at_head_m3_per_s(1.0, 298.15, 303.15).unwrap() - 0.991_719).abs() < 1e-6);
        assert!(flow_without_leakage_m3_per_s(1.0, 1.0, 2.0, 1.0).is_err());
    }

    proptest! {
        #[test]
        fn pressure_conversion_inverts(flow in 0.0..0.5_f64, from in 500.0..9000.0_f64, to in 500.0..9000.0_f64) {
            let there = flow_at_pressure(flow, from, to).unwrap().flow_m3_per_s;
            let back = flow_at_pressure(there, to, from).unwrap().flow_m3_per_s;
            prop_assert!((back - flow).abs() < 1e-12);
        }

        #[test]
        fn standard_air_follows_the_bench(flow in 0.01..0.5_f64, density in 1.0..1.3_f64) {
            let volume = flow_of_standard_air_m3_per_s(BenchKind::VolumeFlow, flow, density, 1.204).unwrap();
            prop_assert_eq!(volume > flow, density > 1.204);
            let ratio = flow_of_standard_air_m3_per_s(BenchKind::Ratio, flow, density, 1.204).unwrap();
            prop_assert!((ratio - flow).abs() < 1e-15);
            // The pressure loss of the head at the same opening, ρQ²/2A², stays the test pressure.
            prop_assert!((1.204 * volume * volume - density * flow * flow).abs() < 1e-12);
        }
    }
}
