//! What a cut from the deck of a head or block takes away and moves.
//!
//! The shift of the intake follows from plane geometry, worked out here: heads that come closer to the
//! crankshaft by c carry their intake faces along the bank's axis. It gives the trade's table for 90°
//! engines: 1.00, 1.10, 1.23 and 1.41 times the cut at 0°, 5°, 10° and 15°.

use std::f64::consts::PI;

use super::EngineError;
use super::error::{finite, not_negative, positive, within};

/// Chamber volume taken by a flat cut: area of the chamber at the deck × cut, in cubic metres.
///
/// Good while the chamber's outline hardly changes over the depth of the cut; a measured volume replaces it.
///
/// # Errors
/// An area that is not above zero, or a negative cut.
pub fn flat_cut_volume_m3(chamber_area_m2: f64, cut_m: f64) -> Result<f64, EngineError> {
    Ok(positive("chamber area at the deck", chamber_area_m2, "m²")? * not_negative("cut", cut_m, "m")?)
}

/// Flat cut that takes a wanted volume from the chamber, in metres; the inverse of [`flat_cut_volume_m3`].
///
/// # Errors
/// An area that is not above zero, or a negative volume.
pub fn cut_for_volume_m(chamber_area_m2: f64, volume_m3: f64) -> Result<f64, EngineError> {
    Ok(not_negative("volume to take", volume_m3, "m³")?
        / positive("chamber area at the deck", chamber_area_m2, "m²")?)
}

/// Chamber volume taken by an angled cut: area × depth of the cut at the middle of the chamber's area (exact
/// for a plane cut of a straight-walled chamber, by Pappus' theorem).
///
/// The cut is `deep_edge_m` at one edge of the head's width and `shallow_edge_m` at the other; `share` is
/// where the middle of the chamber lies between the deep edge (0) and the shallow one (1).
///
/// # Errors
/// An area that is not above zero, a negative cut, or a share outside 0 to 1.
pub fn angled_cut_volume_m3(
    chamber_area_m2: f64,
    deep_edge_m: f64,
    shallow_edge_m: f64,
    share: f64,
) -> Result<f64, EngineError> {
    let deep = not_negative("cut at the deep edge", deep_edge_m, "m")?;
    let shallow = not_negative("cut at the shallow edge", shallow_edge_m, "m")?;
    let share =
        within("place of the chamber", share, "", |share| (0.0..=1.0).contains(&share), "from 0 to 1")?;
    flat_cut_volume_m3(chamber_area_m2, deep + (shallow - deep) * share)
}

/// Depth at the deep edge of an angled cut that turns the head by an angle over its width: W·tan α, in
/// metres.
///
/// The trade's short form is 0.0175·W·α with α in degrees (Circle Track magazine, 2003-12).
///
/// # Errors
/// A width that is not above zero, or an angle outside 0 to 45 degrees.
pub fn angled_cut_depth_m(width_m: f64, angle_deg: f64) -> Result<f64, EngineError> {
    let angle =
        within("angle of the cut", angle_deg, "deg", |a| (0.0..45.0).contains(&a), "from 0 to below 45")?;
    Ok(positive("width of the head", width_m, "m")? * libm::tan(angle * PI / 180.0))
}

/// What a cut asks of the intake of a V engine.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct IntakeShift {
    /// Metal to take from each intake face so that the manifold fits again, m.
    pub face_cut_m: f64,
    /// How far the manifold then comes down, m: what its ends must clear on the block.
    pub manifold_drop_m: f64,
    /// How far ports and bolt holes lie apart along the face if nothing is done, m.
    pub port_offset_m: f64,
}

/// The shift of the intake faces of a V engine whose heads came down by `cut_m`.
///
/// With γ half the angle between the banks and φ the angle of the intake face from square to the deck
/// (leaning towards the flat of the valley): face cut = c·sin γ/cos(γ + φ); drop = c·cos φ/cos(γ + φ); port
/// offset along the face = c·cos φ.
///
/// ```
/// use mulebook::engine::milling::intake_shift;
/// // Trade table for a 90° engine with a 10° face: 1.23 times the cut from the face, 1.71 times from the
/// // ends.
/// let shift = intake_shift(1.0e-3, 90.0, 10.0).expect("a V engine");
/// assert!((shift.face_cut_m * 1e3 - 1.23).abs() < 5e-3);
/// assert!((shift.manifold_drop_m * 1e3 - 1.71).abs() < 1e-2);
/// ```
///
/// # Errors
/// A negative cut, banks outside 0 to 180 degrees apart, or a face at or beyond level (γ + φ not below 90
/// degrees, φ outside ±45).
pub fn intake_shift(
    cut_m: f64,
    bank_angle_deg: f64,
    face_angle_deg: f64,
) -> Result<IntakeShift, EngineError> {
    let cut = not_negative("cut", cut_m, "m")?;
    let bank = within(
        "angle between banks",
        bank_angle_deg,
        "deg",
        |a| (0.0..180.0).contains(&a),
        "from 0 to below 180",
    )?;
    let face =
        within("angle of the intake face", face_angle_deg, "deg", |a| a.abs() < 45.0, "between -45 and 45")?;
    let half = finite("half bank angle", bank / 2.0, "deg")? * PI / 180.0;
    let lean = face * PI / 180.0;
    within("lean of the intake face", bank / 2.0 + face, "deg", |a| a.abs() < 89.0, "below 89 from upright")?;
    let upright = libm::cos(half + lean);
    Ok(IntakeShift {
        face_cut_m: cut * libm::sin(half) / upright,
        manifold_drop_m: cut * libm::cos(lean) / upright,
        port_offset_m: cut * libm::cos(lean),
    })
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    #[test]
    fn trade_table_of_face_angles() {
        // Common practice, no source beyond trade tables: 90° engine, faces 0°, 5°, 10°, 15°, 20°.
        for (face, factor) in [(0.0, 1.0), (5.0, 1.1), (10.0, 1.23), (15.0, 1.4), (20.0, 1.7)] {
            let shift = intake_shift(1.0, 90.0, face).unwrap();
            assert!((shift.face_cut_m - factor).abs() < 0.03, "{face}: {}", shift.face_cut_m);
        }
        assert!((intake_shift(1.0, 90.0, 0.0).unwrap().manifold_drop_m - 1.414).abs() < 1e-3);
        // An engine in line keeps its face; the ports only come down.
        let inline = intake_shift(1.0, 0.0, 0.0).unwrap();
        assert!(inline.face_cut_m.abs() < 1e-15 && (inline.port_offset_m - 1.0).abs() < 1e-15);
        assert!(intake_shift(1.0, 170.0, 10.0).is_err());
        assert!(intake_shift(-1.0, 90.0, 10.0).is_err());
    }

    #[test]
    fn angled_cut() {
        // Circle Track magazine 2003-12: C = 0.0175·W·A; 6.5 in wide and 2° is 0.2275 in.
        let depth = angled_cut_depth_m(6.5, 2.0).unwrap();
        assert!((depth - 0.2275).abs() < 1e-3);
        let flat = flat_cut_volume_m3(0.004, 0.5e-3).unwrap();
        assert!((angled_cut_volume_m3(0.004, 1e-3, 0.0, 0.5).unwrap() - flat).abs() < 1e-18);
        assert!(angled_cut_volume_m3(0.004, 1e-3, 0.0, 1.5).is_err());
    }

    proptest! {
        #[test]
        fn cut_and_volume_invert(area in 1e-3..1e-2_f64, cut in 0.0..2e-3_f64) {
            let back = cut_for_volume_m(area, flat_cut_volume_m3(area, cut).unwrap()).unwrap();
            prop_assert!((back - cut).abs() < 1e-15);
        }

        #[test]
        fn more_lean_asks_for_more(cut in 1e-5..1e-3_f64, face in 0.0..20.0_f64) {
            let (here, more) = (intake_shift(cut, 90.0, face).unwrap(), intake_shift(cut, 90.0, face + 1.0).unwrap());
            prop_assert!(more.face_cut_m > here.face_cut_m);
        }
    }
}
