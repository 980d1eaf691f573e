//! Compression from the point where the inlet valve closes.

use super::EngineError;
use super::cylinder::circle_area_m2;
use super::error::{positive, within};
use super::piston::CrankMechanism;

/// Compression ratio from inlet closing: 1 + (π/4·B²·x)/V_c, with x the piston's distance from top dead
/// centre when the inlet closes.
///
/// No standard says at which lift the valve counts as closed: the caller stores the lift beside the angle.
/// Common practice, no source.
///
/// # Errors
/// A closing angle beyond 0 to 180 degrees after bottom dead centre, or a volume or bore that is not above
/// zero.
pub fn ratio_at_inlet_closing(
    crank: &CrankMechanism,
    bore_m: f64,
    clearance_m3: f64,
    closing_after_bottom_deg: f64,
) -> Result<f64, EngineError> {
    let closing = within(
        "inlet closing after bottom dead centre",
        closing_after_bottom_deg,
        "deg",
        |angle| (0.0..180.0).contains(&angle),
        "from 0 to below 180",
    )?;
    let left = crank.position_m(180.0 - closing)?;
    Ok(1.0 + circle_area_m2(bore_m)? * left / positive("clearance volume", clearance_m3, "m³")?)
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    const INCH: f64 = 0.0254;

    #[test]
    fn later_closing_leaves_less() {
        // Reference table of docs/engine.md: 4.155 × 3.75 in, rod 6.000 in, 81.3 cc.
        let crank = CrankMechanism::new(3.75 * INCH, 6.0 * INCH).unwrap();
        for (angle, ratio) in [(44.0, 10.201_636), (60.0, 9.298_549), (66.0, 8.891_122), (72.0, 8.448_910)] {
            let found = ratio_at_inlet_closing(&crank, 4.155 * INCH, 81.3e-6, angle).unwrap();
            assert!((found - ratio).abs() < 1e-6, "{angle}: {found}");
        }
        assert!(ratio_at_inlet_closing(&crank, 0.1, 8e-5, 180.0).is_err());
        assert!(ratio_at_inlet_closing(&crank, 0.1, 0.0, 60.0).is_err());
    }

    proptest! {
        #[test]
        fn never_above_the_static_ratio(angle in 0.0..179.0_f64) {
            let crank = CrankMechanism::new(0.09, 0.15).unwrap();
            let found = ratio_at_inlet_closing(&crank, 0.1, 8e-5, angle).unwrap();
            let whole = ratio_at_inlet_closing(&crank, 0.1, 8e-5, 0.0).unwrap();
            prop_assert!(found <= whole && found >= 1.0);
        }
    }
}
