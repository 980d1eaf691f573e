//! Saturation pressure of water vapour, by named formula.
//!
//! All are over liquid water, of pure vapour: the enhancement of about 0.4 % by the air is left out, as is
//! usual with the engine standards. They differ by up to 0.3 %, which moves a correction factor by up to
//! 0.0002 on a hot, damp day: the record says which was used.

use super::EngineError;
use super::error::within;

/// A formula for the saturation pressure of water vapour.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
#[non_exhaustive]
pub enum Saturation {
    /// IAPWS Industrial Formulation 1997, region 4 (IAPWS R7-97(2012), eq. 30); 0.01 to 373.9 °C.
    IapwsIf97,
    /// Hyland & Wexler 1983 as in the ASHRAE Handbook, Fundamentals; 0 to 200 °C.
    HylandWexler,
    /// Magnus form of WMO-No. 8, annex 4.B: 611.2·exp(17.62t/(243.12 + t)); −45 to 60 °C.
    Magnus,
    /// A. Buck 1981 (J. Appl. Meteorol. 20, 1527): 611.21·exp(17.502t/(240.97 + t)); −20 to 50 °C.
    Buck1981,
    /// Buck Research manual 1996: 611.21·exp((18.678 − t/234.5)·t/(257.14 + t)); −20 to 50 °C here.
    Buck1996,
}

impl Saturation {
    /// Lowest and highest temperature, °C.
    #[must_use]
    pub fn range_c(self) -> (f64, f64) {
        match self {
            Self::IapwsIf97 => (0.0, 373.9),
            Self::HylandWexler => (0.0, 200.0),
            Self::Magnus => (-45.0, 60.0),
            Self::Buck1981 | Self::Buck1996 => (-20.0, 50.0),
        }
    }

    /// Saturation pressure, Pa, at a temperature, °C.
    ///
    /// ```
    /// use mulebook::engine::vapour::Saturation;
    /// // IAPWS R7-97(2012), table 35: 300 K, 0.353658941e-2 MPa.
    /// let found = Saturation::IapwsIf97.pressure_pa(300.0 - 273.15).expect("in range");
    /// assert!((found / 3536.58941 - 1.0).abs() < 1e-8);
    /// ```
    ///
    /// # Errors
    /// A temperature outside the formula's range.
    pub fn pressure_pa(self, temperature_c: f64) -> Result<f64, EngineError> {
        let (lower, upper) = self.range_c();
        let t = within(
            "temperature",
            temperature_c,
            "°C",
            |t| (lower..=upper).contains(&t),
            match self {
                Self::IapwsIf97 => "0 to 373.9 for IAPWS-IF97",
                Self::HylandWexler => "0 to 200 for Hyland-Wexler",
                Self::Magnus => "-45 to 60 for Magnus",
                Self::Buck1981 | Self::Buck1996 => "-20 to 50 for Buck",
            },
        )?;
        Ok(match self {
            Self::IapwsIf97 => if97_pa(t + 273.15),
            Self::HylandWexler => hyland_wexler_pa(t + 273.15),
            Self::Magnus => 611.2 * libm::exp(17.62 * t / (243.12 + t)),
            Self::Buck1981 => 611.21 * libm::exp(17.502 * t / (240.97 + t)),
            Self::Buck1996 => 611.21 * libm::exp((18.678 - t / 234.5) * t / (257.14 + t)),
        })
    }

    /// Dew point, °C, of a vapour pressure, Pa; the inverse of [`Saturation::pressure_pa`].
    ///
    /// # Errors
    /// A pressure outside what the formula gives over its range.
    pub fn dew_point_c(self, vapour_pa: f64) -> Result<f64, EngineError> {
        let (mut lower, mut upper) = self.range_c();
        let (least, most) = (self.pressure_pa(lower)?, self.pressure_pa(upper)?);
        let wanted = within(
            "vapour pressure",
            vapour_pa,
            "Pa",
            |p| (least..=most).contains(&p),
            "within the range of the saturation formula",
        )?;
        for _ in 0..80 {
            let middle = (lower + upper) / 2.0;
            if self.pressure_pa(middle)? < wanted {
                lower = middle;
            } else {
                upper = middle;
            }
        }
        Ok((lower + upper) / 2.0)
    }
}

/// IAPWS R7-97(2012), table 34 and eqs. 29 to 30.
fn if97_pa(t: f64) -> f64 {
    let theta = t - 0.238_555_575_678_49 / (t - 650.175_348_447_98);
    let a = (theta + 1_167.052_145_276_7) * theta - 724_213.167_032_06;
    let b = (-17.073_846_940_092 * theta + 12_020.824_702_470) * theta - 3_232_555.032_233_3;
    let c = (14.915_108_613_530 * theta - 4_823.265_736_159_1) * theta + 405_113.405_420_57;
    let beta = 2.0 * c / (-b + (b * b - 4.0 * a * c).sqrt());
    beta * beta * beta * beta * 1e6
}

/// ASHRAE Handbook, Fundamentals 2017, chapter 1, eq. 6.
fn hyland_wexler_pa(t: f64) -> f64 {
    libm::exp(
        -5.800_220_6e3 / t + 1.391_499_3 - 4.864_023_9e-2 * t + 4.176_476_8e-5 * t * t
            - 1.445_209_3e-8 * t * t * t
            + 6.545_967_3 * libm::log(t),
    )
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;
    use Saturation::*;

    const ALL: [Saturation; 5] = [IapwsIf97, HylandWexler, Magnus, Buck1981, Buck1996];

    #[test]
    fn industrial_formulation_verifies() {
        // IAPWS R7-97(2012), table 35: 300 K, 500 K and 600 K.
        for (kelvin, megapascal) in [(300.0, 0.353_658_941e-2), (500.0, 2.638_897_76), (600.0, 12.344_314_6)]
        {
            let found = IapwsIf97.pressure_pa(kelvin - 273.15).unwrap() / 1e6;
            assert!((found / megapascal - 1.0).abs() < 5e-9, "{kelvin}: {found}");
        }
    }

    #[test]
    fn formulas_side_by_side() {
        // Reference table of docs/engine.md: computed there with iapws 1.5.5, psychrolib 2.5.0 and by hand.
        let table = [
            (10.0, [1228.1839, 1227.9953, 1226.0302, 1227.5981, 1227.8602]),
            (20.0, [2339.2148, 2338.8037, 2332.5960, 2337.2825, 2338.3400]),
            (25.0, [3169.7469, 3169.2165, 3160.0569, 3167.0345, 3168.5314]),
            (30.0, [4246.6883, 4246.0302, 4233.7239, 4243.5093, 4245.1257]),
            (40.0, [7384.4275, 7383.4600, 7367.4581, 7384.1753, 7382.3596]),
        ];
        for (t, row) in table {
            for (formula, expected) in ALL.iter().zip(row) {
                let found = formula.pressure_pa(t).unwrap();
                assert!((found - expected).abs() < 1e-4, "{formula:?} at {t}: {found} is not {expected}");
            }
        }
    }

    #[test]
    fn outside_the_range_is_refused() {
        assert!(IapwsIf97.pressure_pa(-1.0).is_err());
        assert!(Magnus.pressure_pa(61.0).is_err());
        assert!(Buck1981.pressure_pa(f64::NAN).is_err());
        assert!(HylandWexler.dew_point_c(1.0).is_err());
    }

    proptest! {
        #[test]
        fn dew_point_inverts_and_pressure_rises(t in 0.1..49.0_f64) {
            for formula in ALL {
                let pressure = formula.pressure_pa(t).unwrap();
                prop_assert!((formula.dew_point_c(pressure).unwrap() - t).abs() < 1e-9);
                prop_assert!(formula.pressure_pa(t + 0.1).unwrap() > pressure);
                // No formula strays more than 0.4 % from the industrial formulation.
                prop_assert!((pressure / IapwsIf97.pressure_pa(t).unwrap() - 1.0).abs() < 4e-3);
            }
        }
    }
}
