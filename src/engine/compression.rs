//! Clearance volume and static compression ratio.

use super::EngineError;
use super::cylinder::{circle_area_m2, swept_volume_m3};
use super::error::{finite, not_negative, positive, within};

/// What lies above the piston at top dead centre, for one cylinder.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Clearance {
    /// Cylinder bore, m.
    pub bore_m: f64,
    /// Chamber in the head, valves and plug in place, m³.
    pub chamber_m3: f64,
    /// Bore of the head gasket, m.
    pub gasket_bore_m: f64,
    /// Compressed thickness of the head gasket, m.
    pub gasket_thickness_m: f64,
    /// How far the piston's flat stands below the deck at top dead centre, m; negative where it stands above.
    pub deck_clearance_m: f64,
    /// Dish and valve reliefs less dome, m³: what the crown adds to the clearance; negative for a dome.
    pub crown_m3: f64,
    /// Diameter of the piston's top land, m, and its height from the crown's edge to the top ring, m, where
    /// the crevice is counted.
    pub top_land: Option<TopLand>,
}

/// The land above the top ring.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct TopLand {
    /// Diameter, m.
    pub diameter_m: f64,
    /// Height from the crown's edge to the top ring, m.
    pub height_m: f64,
}

/// The clearance volume and what it is made of, in cubic metres.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ClearanceParts {
    /// Chamber in the head.
    pub chamber_m3: f64,
    /// Gasket: π/4·B_g²·t.
    pub gasket_m3: f64,
    /// Cylinder above the piston's flat: π/4·B²·deck.
    pub deck_m3: f64,
    /// Dish and reliefs less dome.
    pub crown_m3: f64,
    /// Crevice round the top land: π/4·(B² − D²)·h.
    pub crevice_m3: f64,
    /// Their sum.
    pub total_m3: f64,
}

impl Clearance {
    /// Clearance volume V_c = chamber + π/4·B_g²·t + π/4·B²·deck + dish − dome + π/4·(B² − D²)·h.
    ///
    /// Source: Circle Track magazine, 2004-05 (compression ratio); crevice as an annulus.
    ///
    /// # Errors
    /// A size that is not above zero, a gasket bore below nine tenths of the cylinder's, a top land not
    /// within the bore, or a sum that is not above zero.
    pub fn parts(&self) -> Result<ClearanceParts, EngineError> {
        let bore_area = circle_area_m2(positive("bore", self.bore_m, "m")?)?;
        let gasket_bore = within(
            "gasket bore",
            self.gasket_bore_m,
            "m",
            |gasket| gasket > 0.9 * self.bore_m,
            "about the cylinder bore or more",
        )?;
        let gasket_m3 = circle_area_m2(gasket_bore)?
            * not_negative("compressed gasket thickness", self.gasket_thickness_m, "m")?;
        let deck_m3 = bore_area * finite("deck clearance", self.deck_clearance_m, "m")?;
        let crown_m3 = finite("crown volume", self.crown_m3, "m³")?;
        let chamber_m3 = not_negative("chamber volume", self.chamber_m3, "m³")?;
        let crevice_m3 = match self.top_land {
            Some(land) => {
                let diameter = within(
                    "top land diameter",
                    land.diameter_m,
                    "m",
                    |diameter| diameter > 0.0 && diameter <= self.bore_m,
                    "above 0 and no more than the bore",
                )?;
                (bore_area - circle_area_m2(diameter)?) * not_negative("top land height", land.height_m, "m")?
            }
            None => 0.0,
        };
        let total_m3 = chamber_m3 + gasket_m3 + deck_m3 + crown_m3 + crevice_m3;
        Ok(ClearanceParts {
            chamber_m3,
            gasket_m3,
            deck_m3,
            crown_m3,
            crevice_m3,
            total_m3: positive("clearance volume", total_m3, "m³")?,
        })
    }

    /// Quench (squish) distance between the piston's flat and the head: deck clearance + compressed gasket,
    /// in metres.
    ///
    /// # Errors
    /// A distance that is not above zero: the piston would touch the head.
    pub fn quench_m(&self) -> Result<f64, EngineError> {
        positive("quench distance", self.deck_clearance_m + self.gasket_thickness_m, "m")
    }

    /// Static compression ratio with the given stroke.
    ///
    /// # Errors
    /// As [`Clearance::parts`] and [`static_ratio`].
    pub fn ratio(&self, stroke_m: f64) -> Result<f64, EngineError> {
        static_ratio(swept_volume_m3(self.bore_m, stroke_m)?, self.parts()?.total_m3)
    }
}

/// Static compression ratio CR = 1 + V_d/V_c.
///
/// ```
/// use mulebook::engine::compression::static_ratio;
/// use mulebook::engine::cylinder::swept_volume_m3;
/// // Common practice, no source: bore 4.155 in, stroke 3.75 in, 15.1 cc of other clearance, to ±0.015.
/// let swept = swept_volume_m3(4.155 * 0.0254, 3.75 * 0.0254).expect("a cylinder");
/// for (chamber_cc, ratio) in [(66.2, 11.26), (68.0, 11.02), (65.0, 11.39)] {
///     let found = static_ratio(swept, (chamber_cc + 15.1) * 1e-6).expect("a clearance");
///     assert!((found - ratio).abs() < 0.015);
/// }
/// ```
///
/// # Errors
/// A volume that is not above zero.
pub fn static_ratio(swept_m3: f64, clearance_m3: f64) -> Result<f64, EngineError> {
    Ok(1.0 + positive("swept volume", swept_m3, "m³")? / positive("clearance volume", clearance_m3, "m³")?)
}

/// Clearance volume that gives a static compression ratio: V_c = V_d/(CR − 1), in cubic metres.
///
/// # Errors
/// A swept volume that is not above zero, or a ratio that is not above one.
pub fn clearance_for_ratio_m3(swept_m3: f64, ratio: f64) -> Result<f64, EngineError> {
    let ratio = within("compression ratio", ratio, "", |ratio| ratio > 1.0, "above 1")?;
    Ok(positive("swept volume", swept_m3, "m³")? / (ratio - 1.0))
}

/// The ratios of an engine's cylinders: lowest, highest, and of the summed volumes.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct EngineRatio {
    /// Lowest ratio of a cylinder.
    pub lowest: f64,
    /// Highest ratio of a cylinder.
    pub highest: f64,
    /// Swept volume of the engine, m³.
    pub swept_m3: f64,
    /// Clearance volume of the engine, m³.
    pub clearance_m3: f64,
    /// Ratio of the summed volumes, 1 + ΣV_d/ΣV_c.
    pub overall: f64,
}

/// The compression of a whole engine, cylinder by cylinder.
///
/// # Errors
/// No cylinders, or as [`Clearance::ratio`].
pub fn engine_ratio(cylinders: &[Clearance], stroke_m: f64) -> Result<EngineRatio, EngineError> {
    within("number of cylinders", cylinders.len() as f64, "", |count| count > 0.0, "at least one")?;
    let (mut lowest, mut highest) = (f64::INFINITY, 0.0_f64);
    let (mut swept_m3, mut clearance_m3) = (0.0, 0.0);
    for cylinder in cylinders {
        let ratio = cylinder.ratio(stroke_m)?;
        lowest = lowest.min(ratio);
        highest = highest.max(ratio);
        swept_m3 += swept_volume_m3(cylinder.bore_m, stroke_m)?;
        clearance_m3 += cylinder.parts()?.total_m3;
    }
    Ok(EngineRatio {
        lowest,
        highest,
        swept_m3,
        clearance_m3,
        overall: static_ratio(swept_m3, clearance_m3)?,
    })
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;
    use crate::statistics::budget::{Budgeted, Shape};

    const INCH: f64 = 0.0254;

    fn cylinder() -> Clearance {
        Clearance {
            bore_m: 4.155 * INCH,
            chamber_m3: 66.2e-6,
            gasket_bore_m: 4.200 * INCH,
            gasket_thickness_m: 0.041 * INCH,
            deck_clearance_m: 0.005 * INCH,
            crown_m3: 4.680_662e-6,
            top_land: None,
        }
    }

    #[test]
    fn built_up_clearance() {
        // Reference table of docs/engine.md.
        let parts = cylinder().parts().unwrap();
        assert!((parts.gasket_m3 * 1e6 - 9.308_366).abs() < 1e-6);
        assert!((parts.deck_m3 * 1e6 - 1.110_972).abs() < 1e-6);
        assert!((parts.total_m3 * 1e6 - 81.3).abs() < 1e-5);
        assert!((cylinder().ratio(3.75 * INCH).unwrap() - 11.248_819).abs() < 2e-6);
        assert!((cylinder().quench_m().unwrap() / INCH - 0.046).abs() < 1e-12);
        let mut with_crevice = cylinder();
        with_crevice.top_land = Some(TopLand { diameter_m: 4.125 * INCH, height_m: 0.200 * INCH });
        assert!((with_crevice.parts().unwrap().crevice_m3 * 1e6 - 0.639_400).abs() < 1e-6);
        assert!((with_crevice.ratio(3.75 * INCH).unwrap() - 11.168_844).abs() < 2e-6);
    }

    #[test]
    fn magazine_example() {
        // Circle Track magazine 2004-05: 4.00 × 3.48 in, chamber 70 cc, reliefs 5 cc, deck .050 in, gasket
        // .020 in: 9.01.
        let small = Clearance {
            bore_m: 4.0 * INCH,
            chamber_m3: 70e-6,
            gasket_bore_m: 4.0 * INCH,
            gasket_thickness_m: 0.020 * INCH,
            deck_clearance_m: 0.050 * INCH,
            crown_m3: 5e-6,
            top_land: None,
        };
        assert!((small.ratio(3.48 * INCH).unwrap() - 9.01).abs() < 0.005);
        // W. Pulkrabek, *Engineering Fundamentals of the Internal Combustion Engine*, example 2-1 (from
        // memory): 0.5 L, 9.5:1, V_c 58.8 cc.
        assert!((clearance_for_ratio_m3(0.5e-3, 9.5).unwrap() * 1e6 - 58.823_529).abs() < 1e-6);
    }

    #[test]
    fn engine_of_unequal_chambers() {
        let mut second = cylinder();
        second.chamber_m3 = 68e-6;
        let both = engine_ratio(&[cylinder(), second], 3.75 * INCH).unwrap();
        assert!((both.highest - 11.248_819).abs() < 2e-6 && (both.lowest - 11.026_823).abs() < 2e-6);
        assert!(both.lowest < both.overall && both.overall < both.highest);
        assert!(engine_ratio(&[], 0.09).is_err());
    }

    #[test]
    fn impossible_clearances_are_refused() {
        let refuse = |change: &dyn Fn(&mut Clearance)| {
            let mut broken = cylinder();
            change(&mut broken);
            assert!(broken.parts().is_err(), "{broken:?}");
        };
        refuse(&|c| c.crown_m3 = -100e-6);
        refuse(&|c| c.gasket_bore_m = 0.05);
        refuse(&|c| c.top_land = Some(TopLand { diameter_m: 0.2, height_m: 0.01 }));
        refuse(&|c| c.chamber_m3 = f64::INFINITY);
        let mut touching = cylinder();
        touching.deck_clearance_m = -0.050 * INCH;
        assert!(touching.quench_m().is_err());
        assert!(clearance_for_ratio_m3(1e-3, 1.0).is_err());
    }

    fn budgeted_ratio(chamber: &Budgeted, rest: &Budgeted, bore: &Budgeted, stroke: &Budgeted) -> Budgeted {
        Budgeted::combine(&[bore, stroke, chamber, rest], |x| {
            static_ratio(swept_volume_m3(x[0], x[1])?, x[2] + x[3])
        })
        .unwrap()
    }

    #[test]
    fn uncertainty_of_the_ratio() {
        // Reference table of docs/engine.md: law of propagation, checked there by 2 million draws (mean
        // 11.24925, s 0.06310).
        let of = |value: f64, name: &str, u: f64| Budgeted::from_source(value, name, u).unwrap();
        let (bore, stroke) =
            (of(4.155 * INCH, "bore", 0.0005 * INCH), of(3.75 * INCH, "stroke", 0.001 * INCH));
        let rest = of(15.1e-6, "rest", 0.4e-6);
        let ratio = budgeted_ratio(&of(66.2e-6, "chamber", 0.3e-6), &rest, &bore, &stroke);
        assert!((ratio.standard_uncertainty() - 0.063_138_3).abs() < 1e-7);
        let terms: Vec<f64> = ["bore", "stroke", "chamber", "rest"]
            .iter()
            .map(|n| ratio.contributions()[*n].amount.abs())
            .collect();
        for (found, expected) in terms.iter().zip([0.002_466_6, 0.002_733_0, 0.037_818_5, 0.050_424_7]) {
            assert!((found - expected).abs() < 1e-7);
        }
        let assumed = Shape::Rectangular.standard_uncertainty(1.5e-6).unwrap();
        let ratio = budgeted_ratio(&of(66.2e-6, "chamber", assumed), &rest, &bore, &stroke);
        assert!((ratio.standard_uncertainty() - 0.120_311_6).abs() < 1e-6);
        // Two chambers on one short block: bore, stroke and the rest nearly cancel, the chambers' own
        // readings stay.
        let other = budgeted_ratio(&of(68e-6, "other chamber", 0.3e-6), &rest, &bore, &stroke);
        let first = budgeted_ratio(&of(66.2e-6, "chamber", 0.3e-6), &rest, &bore, &stroke);
        let gain = first.minus(&other).unwrap();
        assert!(gain.contributions()["rest"].amount.abs() < 0.003);
        assert!(gain.standard_uncertainty() < 0.054);
    }

    proptest! {
        #[test]
        fn ratio_and_clearance_invert(swept in 1e-5..2e-3_f64, ratio in 1.5..30.0_f64) {
            let clearance = clearance_for_ratio_m3(swept, ratio).unwrap();
            prop_assert!((static_ratio(swept, clearance).unwrap() / ratio - 1.0).abs() < 1e-12);
        }

        #[test]
        fn more_clearance_is_less_ratio(extra in 0.1..20.0_f64, deck in -0.5..2.0_f64) {
            let mut here = cylinder();
            here.deck_clearance_m = deck * 1e-3;
            let mut more = here;
            more.chamber_m3 += extra * 1e-6;
            prop_assert!(more.ratio(0.095).unwrap() < here.ratio(0.095).unwrap());
            let mut thicker = here;
            thicker.gasket_thickness_m += extra * 1e-4;
            prop_assert!(thicker.ratio(0.095).unwrap() < here.ratio(0.095).unwrap());
        }
    }
}
