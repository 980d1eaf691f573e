//! Discharge coefficient of a port and valve, with the area and the convention named.
//!
//! Source: J. Heywood, *Internal Combustion Engine Fundamentals* (1988), 6.3.2 and appendix C (from memory).
//! At 28 inches of water the coefficients of the two conventions differ by nearly 4 %, those of the areas by
//! far more: a coefficient without both names says nothing.

use super::EngineError;
use super::error::{not_negative, positive, within};

/// The area on which a discharge coefficient rests.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
#[non_exhaustive]
pub enum ReferenceArea {
    /// Curtain, π·D_v·L.
    Curtain,
    /// Valve head, π/4·D_v².
    ValveHead,
    /// Throat less the stem, π/4·(D_t² − D_s²).
    Throat,
    /// Smallest geometric area of seat and port at the lift.
    Smallest,
}

/// How the ideal flow is worked out.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
#[non_exhaustive]
pub enum FlowConvention {
    /// ṁ = A·√(2ρΔp), ρ at the inlet.
    Incompressible,
    /// Isentropic nozzle, choked below the critical ratio of pressures.
    Compressible,
}

/// Air before a restriction and the pressure behind it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Drop {
    /// Absolute pressure before the restriction, Pa.
    pub upstream_pa: f64,
    /// Temperature before the restriction, K.
    pub upstream_k: f64,
    /// Pressure lost over the restriction, Pa.
    pub drop_pa: f64,
    /// Gas constant of the air, J/(kg·K).
    pub gas_constant_j_per_kg_k: f64,
    /// Ratio of specific heats.
    pub heat_ratio: f64,
}

impl Drop {
    /// Dry air (R 287.055 J/(kg·K), γ 1.4) at a pressure and temperature, losing `drop_pa`.
    #[must_use]
    pub fn of_dry_air(upstream_pa: f64, upstream_k: f64, drop_pa: f64) -> Self {
        Self {
            upstream_pa,
            upstream_k,
            drop_pa,
            gas_constant_j_per_kg_k: super::air::DRY_AIR_GAS_CONSTANT,
            heat_ratio: 1.4,
        }
    }

    /// Ratio of pressures below which the flow is choked: (2/(γ + 1))^(γ/(γ − 1)); 0.528282 for γ 1.4.
    ///
    /// # Errors
    /// A heat ratio that is not above one.
    pub fn critical_ratio(&self) -> Result<f64, EngineError> {
        let gamma = within("ratio of specific heats", self.heat_ratio, "", |g| g > 1.0, "above 1")?;
        Ok(libm::pow(2.0 / (gamma + 1.0), gamma / (gamma - 1.0)))
    }

    /// Ideal mass flow per area, kg/(s·m²).
    ///
    /// Compressible: p₀/√(RT₀)·r^(1/γ)·√(2γ/(γ − 1)·(1 − r^((γ − 1)/γ))), r the ratio of pressures, no lower
    /// than critical.
    ///
    /// # Errors
    /// A pressure, temperature or gas constant that is not above zero, or a drop that is not between zero and
    /// the pressure before.
    pub fn ideal_flux_kg_per_s_m2(&self, convention: FlowConvention) -> Result<f64, EngineError> {
        let p0 = positive("pressure before the restriction", self.upstream_pa, "Pa")?;
        let rt = positive("temperature before the restriction", self.upstream_k, "K")?
            * positive("gas constant", self.gas_constant_j_per_kg_k, "J/(kg·K)")?;
        let drop = within(
            "pressure drop",
            self.drop_pa,
            "Pa",
            |d| d > 0.0 && d < p0,
            "above 0 and below the pressure before",
        )?;
        let critical = self.critical_ratio()?;
        Ok(match convention {
            FlowConvention::Incompressible => (2.0 * p0 / rt * drop).sqrt(),
            FlowConvention::Compressible => {
                let gamma = self.heat_ratio;
                let log =
                    if 1.0 - drop / p0 > critical { libm::log1p(-drop / p0) } else { libm::log(critical) };
                let bracket = -libm::expm1(log * (gamma - 1.0) / gamma);
                p0 / rt.sqrt() * libm::exp(log / gamma) * (2.0 * gamma / (gamma - 1.0) * bracket).sqrt()
            }
        })
    }

    /// Ideal speed through the restriction without compressibility, √(2Δp/ρ), m/s.
    ///
    /// # Errors
    /// As [`Drop::ideal_flux_kg_per_s_m2`].
    pub fn ideal_speed_m_per_s(&self) -> Result<f64, EngineError> {
        let flux = self.ideal_flux_kg_per_s_m2(FlowConvention::Incompressible)?;
        Ok(flux * self.upstream_k * self.gas_constant_j_per_kg_k / self.upstream_pa)
    }
}

/// A discharge coefficient with all that it rests on.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct DischargeCoefficient {
    /// Real over ideal mass flow.
    pub value: f64,
    /// The area used.
    pub area: ReferenceArea,
    /// The ideal used.
    pub convention: FlowConvention,
}

/// Discharge coefficient C_d = ṁ/(A·ideal flux).
///
/// # Errors
/// A negative mass flow, an area that is not above zero, or as [`Drop::ideal_flux_kg_per_s_m2`].
pub fn discharge_coefficient(
    mass_flow_kg_per_s: f64,
    drop: &Drop,
    area: ReferenceArea,
    area_m2: f64,
    convention: FlowConvention,
) -> Result<DischargeCoefficient, EngineError> {
    let flow = not_negative("mass flow", mass_flow_kg_per_s, "kg/s")?;
    let ideal = positive("reference area", area_m2, "m²")? * drop.ideal_flux_kg_per_s_m2(convention)?;
    Ok(DischargeCoefficient { value: flow / ideal, area, convention })
}

/// Mass flow that a coefficient and its area pass, kg/s; the inverse of [`discharge_coefficient`].
///
/// # Errors
/// A coefficient or area that is not above zero, or as [`Drop::ideal_flux_kg_per_s_m2`].
pub fn mass_flow_kg_per_s(
    coefficient: &DischargeCoefficient,
    drop: &Drop,
    area_m2: f64,
) -> Result<f64, EngineError> {
    Ok(positive("discharge coefficient", coefficient.value, "")?
        * positive("reference area", area_m2, "m²")?
        * drop.ideal_flux_kg_per_s_m2(coefficient.convention)?)
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    const TEST: f64 = 28.0 * 249.088_91;
    const SQUARE_INCH: f64 = 0.0254 * 0.0254;
    const CFM: f64 = 0.471_947_443_2e-3;

    #[test]
    fn twenty_eight_inches_of_water() {
        // Reference table of docs/engine.md: at 20 °C and 101.325 kPa, 107.631752 m/s and 147.13439 cfm/in².
        let drop = Drop::of_dry_air(101_325.0, 293.15, TEST);
        let speed = drop.ideal_speed_m_per_s().unwrap();
        assert!((speed - 107.631_752).abs() < 1e-4, "{speed}");
        assert!((speed * SQUARE_INCH / CFM - 147.134_39).abs() < 2e-4);
        let ratio = drop.ideal_flux_kg_per_s_m2(FlowConvention::Compressible).unwrap()
            / drop.ideal_flux_kg_per_s_m2(FlowConvention::Incompressible).unwrap();
        assert!((ratio - 0.962_422).abs() < 1e-6, "{ratio}");
        assert!((drop.critical_ratio().unwrap() - 0.528_282).abs() < 1e-6);
    }

    #[test]
    fn one_flow_three_coefficients() {
        // Reference table of docs/engine.md: 320 cfm at 28 in of water over curtain, valve head and throat.
        let drop = Drop::of_dry_air(101_325.0, 293.15, TEST);
        let density = 101_325.0 / (287.055 * 293.15);
        for (area, square_inches, expected) in [
            (ReferenceArea::Curtain, 3.920_708, 0.554_717),
            (ReferenceArea::ValveHead, 3.397_947, 0.640_058),
            (ReferenceArea::Throat, 2.675_638, 0.812_846),
        ] {
            let found = discharge_coefficient(
                320.0 * CFM * density,
                &drop,
                area,
                square_inches * SQUARE_INCH,
                FlowConvention::Incompressible,
            )
            .unwrap();
            assert!((found.value - expected).abs() < 2e-6, "{found:?}");
        }
        assert!(
            Drop::of_dry_air(1e5, 293.0, 1e5).ideal_flux_kg_per_s_m2(FlowConvention::Compressible).is_err()
        );
    }

    proptest! {
        #[test]
        fn compressible_runs_into_incompressible(drop_pa in 1.0..100.0_f64) {
            let drop = Drop::of_dry_air(1e5, 300.0, drop_pa);
            let a = drop.ideal_flux_kg_per_s_m2(FlowConvention::Compressible).unwrap();
            let b = drop.ideal_flux_kg_per_s_m2(FlowConvention::Incompressible).unwrap();
            prop_assert!((a / b - 1.0).abs() < 1e-3);
        }

        #[test]
        fn flow_rises_with_drop_and_chokes(drop_pa in 1e3..9.8e4_f64) {
            let of = |drop_pa| Drop::of_dry_air(1e5, 300.0, drop_pa).ideal_flux_kg_per_s_m2(FlowConvention::Compressible).unwrap();
            prop_assert!(of(drop_pa + 1e3) >= of(drop_pa) * (1.0 - 1e-14));
        }

        #[test]
        fn coefficient_and_flow_invert(flow in 1e-3..0.3_f64, drop_pa in 1e3..2e4_f64) {
            let drop = Drop::of_dry_air(1e5, 300.0, drop_pa);
            for convention in [FlowConvention::Compressible, FlowConvention::Incompressible] {
                let found = discharge_coefficient(flow, &drop, ReferenceArea::Curtain, 1e-3, convention).unwrap();
                prop_assert!((mass_flow_kg_per_s(&found, &drop, 1e-3).unwrap() - flow).abs() < 1e-12);
            }
        }
    }
}
