//! Bore, stroke and what follows from them alone.

use std::f64::consts::PI;

use super::EngineError;
use super::error::{positive, within};

/// Area of a circle, π/4·D², in square metres.
///
/// # Errors
/// A diameter that is not above zero.
pub fn circle_area_m2(diameter_m: f64) -> Result<f64, EngineError> {
    let diameter = positive("diameter", diameter_m, "m")?;
    Ok(PI / 4.0 * diameter * diameter)
}

/// Swept volume of one cylinder, V_d = π/4·B²·S, in cubic metres (J. Heywood, *Internal Combustion Engine
/// Fundamentals*, 2.2, from memory).
///
/// ```
/// use mulebook::engine::cylinder::swept_volume_m3;
/// // oldbritts.com, compression sheet: 7.7 × 8.04 cm, printed 374.394 cc (with π as 3.1416).
/// let swept = swept_volume_m3(0.077, 0.0804).expect("a cylinder");
/// assert!((swept * 1e6 - 374.394).abs() < 2e-3);
/// ```
///
/// # Errors
/// A bore or stroke that is not above zero.
pub fn swept_volume_m3(bore_m: f64, stroke_m: f64) -> Result<f64, EngineError> {
    Ok(circle_area_m2(positive("bore", bore_m, "m")?)? * positive("stroke", stroke_m, "m")?)
}

/// Displacement of the engine, the sum over its cylinders, in cubic metres; bores may differ from cylinder to
/// cylinder.
///
/// # Errors
/// No cylinders, or a bore or stroke that is not above zero.
pub fn displacement_m3(bores_m: &[f64], stroke_m: f64) -> Result<f64, EngineError> {
    within("number of cylinders", bores_m.len() as f64, "", |count| count > 0.0, "at least one")?;
    bores_m.iter().map(|&bore| swept_volume_m3(bore, stroke_m)).sum()
}

/// Ratio of rod length, centre to centre, to stroke.
///
/// # Errors
/// A stroke that is not above zero, or a rod no longer than half the stroke (the crank could not turn).
pub fn rod_ratio(rod_length_m: f64, stroke_m: f64) -> Result<f64, EngineError> {
    let stroke = positive("stroke", stroke_m, "m")?;
    let rod = within("rod length", rod_length_m, "m", |rod| rod > stroke / 2.0, "more than half the stroke")?;
    Ok(rod / stroke)
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    const INCH: f64 = 0.0254;

    #[test]
    fn eight_cylinders() {
        // Reference table of docs/engine.md: 4.155 × 3.75 in is 833.228958 cc, eight of them
        // (π·4.155²·3.75·2) 406.774006 in³.
        let one = swept_volume_m3(4.155 * INCH, 3.75 * INCH).unwrap();
        assert!((one * 1e6 - 833.228_958).abs() < 1e-6);
        let all = displacement_m3(&[4.155 * INCH; 8], 3.75 * INCH).unwrap();
        assert!((all / INCH.powi(3) - 406.774_006).abs() < 1e-6);
        assert!((rod_ratio(6.0 * INCH, 3.75 * INCH).unwrap() - 1.6).abs() < 1e-12);
    }

    #[test]
    fn impossible_sizes_are_refused() {
        assert!(swept_volume_m3(0.0, 0.1).is_err());
        assert!(swept_volume_m3(0.1, f64::NAN).is_err());
        assert!(displacement_m3(&[], 0.1).is_err());
        assert!(rod_ratio(0.04, 0.1).is_err());
    }

    proptest! {
        #[test]
        fn more_bore_or_stroke_is_more_volume(bore in 0.02..0.3_f64, stroke in 0.02..0.3_f64) {
            let here = swept_volume_m3(bore, stroke).unwrap();
            prop_assert!(swept_volume_m3(bore * 1.01, stroke).unwrap() > here);
            prop_assert!(swept_volume_m3(bore, stroke * 1.01).unwrap() > here);
            // In inches or metres, the same volume.
            let inches = swept_volume_m3(bore / INCH * INCH, stroke / INCH * INCH).unwrap();
            prop_assert!((inches / here - 1.0).abs() < 1e-12);
        }
    }
}
