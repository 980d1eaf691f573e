//! Textbook models of how far a documented difference could move an engine's torque.
//!
//! These are bounds and orders of magnitude, each with its source; they stand beside a measured gain and
//! never alter it. A book's own pulls that isolate the difference replace them.

use super::EngineError;
use super::error::{finite, not_negative, positive, within};

/// Efficiency of the ideal Otto cycle, η = 1 − r^(1 − γ) (J. Heywood 1988, 5.6, from memory).
///
/// ```
/// use mulebook::engine::sensitivity::otto_efficiency;
/// // victorylibrary.com, Otto cycle table for γ 1.4: 8.5 .575, 10 .602, 11 .617, 12 .630.
/// for (ratio, efficiency) in [(8.5, 0.575), (10.0, 0.602), (11.0, 0.617), (12.0, 0.630)] {
///     assert!((otto_efficiency(ratio, 1.4).expect("a ratio") - efficiency).abs() < 6e-4);
/// }
/// ```
///
/// # Errors
/// A compression ratio or heat ratio that is not above one.
pub fn otto_efficiency(compression_ratio: f64, heat_ratio: f64) -> Result<f64, EngineError> {
    let r = within("compression ratio", compression_ratio, "", |r| r > 1.0, "above 1")?;
    let gamma = within("ratio of specific heats", heat_ratio, "", |g| g > 1.0, "above 1")?;
    Ok(-libm::expm1((1.0 - gamma) * libm::log(r)))
}

/// Ratio of ideal efficiencies of two compression ratios: an upper bound of what the change can give, as heat
/// loss and friction take part of it above about 10:1 (J. Caton, Texas A&M).
///
/// # Errors
/// As [`otto_efficiency`].
pub fn compression_gain(from_ratio: f64, to_ratio: f64, heat_ratio: f64) -> Result<f64, EngineError> {
    Ok(otto_efficiency(to_ratio, heat_ratio)? / otto_efficiency(from_ratio, heat_ratio)?)
}

/// Share of the best torque that is left off the best spark timing: 1 − k·Δθ² (generic form; k is fitted on
/// the engine itself).
///
/// # Errors
/// A curvature that is negative, an angle that is not finite, or so far off that nothing would be left.
pub fn torque_off_best_timing(off_deg: f64, curvature_per_deg2: f64) -> Result<f64, EngineError> {
    let curvature = not_negative("curvature of torque over timing", curvature_per_deg2, "1/deg²")?;
    let off = finite("timing off the best", off_deg, "deg")?;
    positive("torque left", 1.0 - curvature * off * off, "of the best")
}

/// Relative torque over the equivalence ratio φ from a fit to R. Stone's figures: −1.1536φ² + 2.6954φ −
/// 0.5695 over its peak (secondary text; it names the variable λ, which cannot be meant).
///
/// # Errors
/// An equivalence ratio outside 0.7 to 1.5, where the fit was not made.
pub fn torque_of_mixture(equivalence_ratio: f64) -> Result<f64, EngineError> {
    let phi =
        within("equivalence ratio", equivalence_ratio, "", |phi| (0.7..=1.5).contains(&phi), "0.7 to 1.5")?;
    let curve = |phi: f64| (-1.1536 * phi + 2.6954) * phi - 0.5695;
    Ok(curve(phi) / curve(2.6954 / (2.0 * 1.1536)))
}

/// Ratio of air drawn at two inlet temperatures, √(T_from/T_to) (J. Heywood 1988, 6.2, from memory); kelvin.
///
/// # Errors
/// A temperature that is not above zero.
pub fn air_of_temperature(from_k: f64, to_k: f64) -> Result<f64, EngineError> {
    Ok((positive("temperature", from_k, "K")? / positive("temperature", to_k, "K")?).sqrt())
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    #[test]
    fn compression() {
        // victorylibrary.com: 10 to 12 +4.65 %, 5 to 6 +7.79 %; reference table of docs/engine.md: 65 against
        // 68 cc 1.009479 at γ 1.3.
        assert!((compression_gain(10.0, 12.0, 1.4).unwrap() - 1.0465).abs() < 5e-5);
        assert!((compression_gain(5.0, 6.0, 1.4).unwrap() - 1.0779).abs() < 1.5e-4);
        assert!((compression_gain(11.026_823, 11.402_359, 1.3).unwrap() - 1.009_479).abs() < 1e-6);
        assert!((compression_gain(9.0, 10.0, 1.3).unwrap() - 1.033_342).abs() < 1e-6);
        assert!(otto_efficiency(1.0, 1.4).is_err());
    }

    #[test]
    fn timing_mixture_and_air() {
        // Reference table of docs/engine.md.
        assert!((torque_off_best_timing(10.0, 4e-4).unwrap() - 0.960).abs() < 1e-12);
        assert!((torque_of_mixture(1.0).unwrap() - 0.967_503).abs() < 1e-6);
        assert!((torque_of_mixture(1.168_256).unwrap() - 1.0).abs() < 1e-9);
        assert!((air_of_temperature(290.0, 300.0).unwrap() - 0.983_192).abs() < 1e-6);
        assert!(torque_of_mixture(2.0).is_err());
        assert!(torque_off_best_timing(100.0, 4e-4).is_err());
    }

    proptest! {
        #[test]
        fn more_compression_gives_less_and_less(r in 5.0..15.0_f64, gamma in 1.2..1.4_f64) {
            let (first, second) = (compression_gain(r, r + 1.0, gamma).unwrap(), compression_gain(r + 1.0, r + 2.0, gamma).unwrap());
            prop_assert!(first > second && second > 1.0);
        }
    }
}
