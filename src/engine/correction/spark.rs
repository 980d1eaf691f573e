//! Correction of spark-ignition engines.

use super::{Factor, Limits, TemperatureScale};
use crate::engine::EngineError;
use crate::engine::air::Air;
use crate::engine::error::positive;

/// 29.92 inches of mercury of 3386.389 Pa (conventional), the reference of the 60 °F practice.
const PRACTICE_60F_PA: f64 = 29.92 * 3386.389;

/// How the fixed mechanical efficiency of 85 % enters SAE J1349.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
#[non_exhaustive]
pub enum J1349Form {
    /// 1.18·c_a − 0.18, as printed.
    #[default]
    Printed,
    /// c_a/0.85 − (1/0.85 − 1), unrounded.
    Unrounded,
}

/// The pressure that DIN 70020 is taken with; sources conflict.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
#[non_exhaustive]
pub enum DinPressure {
    /// Total station pressure (a handbook quoted at second hand).
    #[default]
    Total,
    /// Dry pressure (forum text naming 0 % humidity).
    Dry,
}

/// A standard or practice for spark-ignition engines.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
#[non_exhaustive]
pub enum SparkStandard {
    /// SAE J1349: 25 °C, 99 kPa dry; friction as 15 % of the indicated power.
    SaeJ1349(J1349Form),
    /// The older SAE practice ("STP", SAE J607): 60 °F, 29.92 inHg dry, applied to brake values.
    Sae60Fahrenheit,
    /// ISO 1585: 25 °C, 99 kPa dry.
    Iso1585,
    /// UN Regulation 85 and 80/1269/EEC as amended by 88/195/EEC: the formula of ISO 1585.
    UnR85,
    /// JIS D 1001, whose 1993 edition names ISO 1585 as its counterpart: the formula of ISO 1585.
    JisD1001,
    /// DIN 70020 (withdrawn): 20 °C, 101.3 kPa.
    Din70020(DinPressure),
}

impl SparkStandard {
    /// The standards with their usual choices.
    pub const ALL: [Self; 6] = [
        Self::SaeJ1349(J1349Form::Printed),
        Self::Sae60Fahrenheit,
        Self::Iso1585,
        Self::UnR85,
        Self::JisD1001,
        Self::Din70020(DinPressure::Total),
    ];

    /// The standard's short name, as a record writes it.
    #[must_use]
    pub fn name(self) -> &'static str {
        match self {
            Self::SaeJ1349(J1349Form::Printed) => "SAE J1349",
            Self::SaeJ1349(J1349Form::Unrounded) => "SAE J1349 unrounded",
            Self::Sae60Fahrenheit => "SAE J607",
            Self::Iso1585 => "ISO 1585",
            Self::UnR85 => "UN R85",
            Self::JisD1001 => "JIS D 1001",
            Self::Din70020(DinPressure::Total) => "DIN 70020",
            Self::Din70020(DinPressure::Dry) => "DIN 70020 dry",
        }
    }

    /// The standard of a name or a trade name (`STP`, `60 F`, `EEC`), whatever its case, spaces and hyphens;
    /// with its usual choices, unless the name says another (`SAE J1349 unrounded`, `DIN 70020 dry`).
    ///
    /// A bare `SAE` is none of them: it means either of two.
    #[must_use]
    pub fn named(text: &str) -> Option<Self> {
        let plain = |text: &str| -> String {
            text.chars().filter(|letter| letter.is_alphanumeric()).flat_map(char::to_lowercase).collect()
        };
        let wanted = plain(text);
        match wanted.as_str() {
            "stp" | "std" | "j607" | "60f" | "sae60f" => Some(Self::Sae60Fahrenheit),
            "j1349" => Some(Self::SaeJ1349(J1349Form::Printed)),
            "eec" | "801269eec" | "eec801269" | "r85" | "ecer85" => Some(Self::UnR85),
            "jis" => Some(Self::JisD1001),
            "din" => Some(Self::Din70020(DinPressure::Total)),
            "din70020dry" => Some(Self::Din70020(DinPressure::Dry)),
            "saej1349unrounded" | "j1349unrounded" => Some(Self::SaeJ1349(J1349Form::Unrounded)),
            _ => Self::ALL.into_iter().find(|standard| plain(standard.name()) == wanted),
        }
    }

    /// Reference temperature, °C, and pressure, Pa (dry, but for DIN 70020 with total pressure).
    #[must_use]
    pub fn reference(self) -> (f64, f64) {
        match self {
            Self::SaeJ1349(_) | Self::Iso1585 | Self::UnR85 | Self::JisD1001 => (25.0, 99_000.0),
            Self::Sae60Fahrenheit => ((60.0 - 32.0) / 1.8, PRACTICE_60F_PA),
            Self::Din70020(_) => (20.0, 101_300.0),
        }
    }

    /// The limits that the standard sets, as far as the project knows them.
    #[must_use]
    pub fn limits(self) -> Option<Limits> {
        match self {
            Self::SaeJ1349(_) => Some(Limits {
                factor: (0.93, 1.07),
                temperature_c: (15.0, 35.0),
                dry_pressure_pa: (90_000.0, 105_000.0),
                source: "SAE J1349 (from memory)",
            }),
            Self::Iso1585 | Self::UnR85 | Self::JisD1001 => Some(Limits {
                factor: (0.93, 1.07),
                temperature_c: (15.0, 35.0),
                dry_pressure_pa: (80_000.0, 110_000.0),
                source: "ISO 1585 and 88/195/EEC (from memory)",
            }),
            // No limits of these are known to the project.
            Self::Sae60Fahrenheit | Self::Din70020(_) => None,
        }
    }

    /// The correction factor for the air at the inlet.
    ///
    /// ```
    /// use mulebook::engine::air::Air;
    /// use mulebook::engine::correction::TemperatureScale;
    /// use mulebook::engine::correction::spark::{J1349Form, SparkStandard};
    /// // At its reference state a standard corrects nothing.
    /// let air = Air::new(99_000.0, 298.15, 0.0).expect("air");
    /// let factor = SparkStandard::SaeJ1349(J1349Form::Printed).factor(&air, TemperatureScale::Exact).expect("a factor");
    /// assert!((factor.value - 1.0).abs() < 1e-12 && factor.beyond.is_empty());
    /// ```
    ///
    /// # Errors
    /// Air for which the formula gives no factor above zero.
    pub fn factor(self, air: &Air, scale: TemperatureScale) -> Result<Factor, EngineError> {
        let (reference_c, reference_pa) = self.reference();
        let dry = reference_pa / air.dry_pressure_pa();
        let warm = scale.ratio(air, reference_c);
        let (air_factor, formula) = match self {
            Self::SaeJ1349(J1349Form::Printed) => {
                (dry * warm.sqrt(), "1.18*ca - 0.18, ca = (99 kPa/pd)*(T/298)^0.5")
            }
            Self::SaeJ1349(J1349Form::Unrounded) => {
                (dry * warm.sqrt(), "ca/0.85 - (1/0.85 - 1), ca = (99 kPa/pd)*(T/298)^0.5")
            }
            Self::Sae60Fahrenheit => {
                (dry * scale.ratio_fahrenheit(air, 60.0).sqrt(), "(29.92 inHg/pd)*((F + 460)/520)^0.5")
            }
            Self::Iso1585 | Self::UnR85 | Self::JisD1001 => {
                (libm::pow(dry, 1.2) * libm::pow(warm, 0.6), "(99 kPa/pd)^1.2*(T/298)^0.6")
            }
            Self::Din70020(DinPressure::Total) => {
                (reference_pa / air.station_pressure_pa() * warm.sqrt(), "(101.3 kPa/p)*(T/293)^0.5, p total")
            }
            Self::Din70020(DinPressure::Dry) => (dry * warm.sqrt(), "(101.3 kPa/pd)*(T/293)^0.5, pd dry"),
        };
        let value = match self {
            Self::SaeJ1349(J1349Form::Printed) => 1.18 * air_factor - 0.18,
            Self::SaeJ1349(J1349Form::Unrounded) => air_factor / 0.85 - (1.0 / 0.85 - 1.0),
            _ => air_factor,
        };
        Ok(Factor {
            value: positive("correction factor", value, "")?,
            air: air_factor,
            formula,
            beyond: self.limits().map_or_else(Vec::new, |limits| limits.flags(value, air)),
        })
    }
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;
    use crate::engine::humidity::Damp;
    use crate::engine::vapour::Saturation;

    const ALL: [SparkStandard; 7] = [
        SparkStandard::SaeJ1349(J1349Form::Printed),
        SparkStandard::SaeJ1349(J1349Form::Unrounded),
        SparkStandard::Sae60Fahrenheit,
        SparkStandard::Iso1585,
        SparkStandard::UnR85,
        SparkStandard::JisD1001,
        SparkStandard::Din70020(DinPressure::Total),
    ];

    fn weather(celsius: f64, kilopascal: f64, damp: f64) -> Air {
        Air::from_weather(kilopascal * 1e3, celsius, Damp::Relative(damp), Saturation::IapwsIf97).unwrap()
    }

    fn factor(standard: SparkStandard, air: &Air) -> Factor {
        let scale = match standard {
            SparkStandard::Din70020(_) => TemperatureScale::WholeDegrees,
            _ => TemperatureScale::Exact,
        };
        standard.factor(air, scale).unwrap()
    }

    #[test]
    fn table_of_standards() {
        // Reference table of docs/engine.md (J1349 printed and unrounded, ISO 1585, 60 °F practice, DIN 70020
        // with total pressure).
        let inhg = |inches: f64| inches * 3.386_389;
        let fahrenheit = |f: f64| (f - 32.0) / 1.8;
        let rows = [
            (weather(30.0, 100.0, 0.5), [1.023_509, 1.023_439, 1.023_955, 1.060_768, 1.030_142]),
            (weather(20.0, 97.5, 0.6), [1.025_417, 1.025_341, 1.025_903, 1.062_450, 1.038_974]),
            (weather(35.0, 95.0, 0.8), [1.132_339, 1.131_944, 1.136_049, 1.156_691, 1.093_270]),
            (weather(10.0, 102.0, 0.3), [0.940_159, 0.940_338, 0.939_457, 0.987_303, 0.976_042]),
            (
                weather(fahrenheit(85.0), inhg(28.85), 0.85),
                [1.069_321, 1.069_113, 1.070_904, 1.101_146, 1.053_454],
            ),
            (
                weather(fahrenheit(55.0), inhg(30.10), 0.35),
                [0.948_059, 0.948_215, 0.947_414, 0.994_267, 0.981_491],
            ),
        ];
        let order = [ALL[0], ALL[1], ALL[3], ALL[2], ALL[6]];
        for (air, row) in rows {
            for (standard, expected) in order.iter().zip(row) {
                let found = factor(*standard, &air).value;
                assert!((found - expected).abs() < 1.1e-6, "{standard:?}: {found} is not {expected}");
            }
        }
    }

    #[test]
    fn published_sixty_fahrenheit_example() {
        // teamzr1.com, dyno correction standards: 85 °F, 85 %, 28.85 inHg gives 1.1005; 55 °F, 35 %, 30.10
        // inHg gives 0.994.
        let damp = weather((85.0 - 32.0) / 1.8, 28.85 * 3.386_389, 0.85);
        assert!((factor(SparkStandard::Sae60Fahrenheit, &damp).value - 1.1005).abs() < 1e-3);
        let cool = weather((55.0 - 32.0) / 1.8, 30.10 * 3.386_389, 0.35);
        assert!((factor(SparkStandard::Sae60Fahrenheit, &cool).value - 0.994).abs() < 5e-4);
    }

    #[test]
    fn what_a_standard_does_not_cover_is_flagged() {
        let hot = factor(ALL[0], &weather(35.0, 95.0, 0.8));
        assert_eq!(hot.beyond.iter().map(|flag| flag.what).collect::<Vec<_>>(), ["correction factor"]);
        let cold = factor(ALL[3], &weather(10.0, 102.0, 0.3));
        assert_eq!(cold.beyond.iter().map(|flag| flag.what).collect::<Vec<_>>(), ["air temperature"]);
        // At the limit itself, 15.0 °C, no flag stands for the rounding of kelvin.
        assert!(factor(ALL[3], &weather(15.0, 100.0, 0.3)).beyond.is_empty());
        let high = factor(ALL[3], &weather(25.0, 79.0, 0.0));
        assert!(high.beyond.iter().any(|flag| flag.what == "dry air pressure"));
    }

    #[test]
    fn names_find_their_standard() {
        for standard in SparkStandard::ALL {
            assert_eq!(SparkStandard::named(standard.name()), Some(standard));
        }
        assert_eq!(SparkStandard::named("sae-j1349"), Some(ALL[0]));
        assert_eq!(SparkStandard::named("stp"), Some(SparkStandard::Sae60Fahrenheit));
        assert_eq!(SparkStandard::named("SAE"), None);
        // A name may say which of two forms is meant.
        for standard in
            [SparkStandard::SaeJ1349(J1349Form::Unrounded), SparkStandard::Din70020(DinPressure::Dry)]
        {
            assert_eq!(SparkStandard::named(standard.name()), Some(standard));
        }
        assert_eq!(SparkStandard::named("din-70020-dry"), Some(SparkStandard::Din70020(DinPressure::Dry)));
    }

    #[test]
    fn sensitivities_at_the_reference() {
        // Reference table of docs/engine.md: −1.1919 % per kPa, +0.1979 % per K, both at the reference state.
        let of = |p: f64, t: f64| factor(ALL[0], &Air::new(p, t, 0.0).unwrap()).value;
        let pressure = (of(99_010.0, 298.15) - of(98_990.0, 298.15)) / 0.02;
        assert!((pressure * 100.0 + 1.1919).abs() < 1e-3);
        let temperature = (of(99_000.0, 298.16) - of(99_000.0, 298.14)) / 0.02;
        assert!((temperature * 100.0 - 0.1979).abs() < 1e-4);
    }

    proptest! {
        #[test]
        fn worse_air_asks_for_more(p in 85.0..104.0_f64, t in 5.0..40.0_f64, damp in 0.0..0.9_f64) {
            let air = weather(t, p, damp);
            for standard in ALL {
                let here = factor(standard, &air).value;
                prop_assert!(factor(standard, &weather(t, p - 0.5, damp)).value > here);
                prop_assert!(factor(standard, &weather(t + 0.5, p, damp)).value > here);
                if standard != ALL[6] {
                    prop_assert!(factor(standard, &weather(t, p, damp + 0.05)).value > here);
                }
                // The printed whole degrees move nothing by more than 1e-4.
                let (exact, whole) = (
                    standard.factor(&air, TemperatureScale::Exact).unwrap().value,
                    standard.factor(&air, TemperatureScale::WholeDegrees).unwrap().value,
                );
                prop_assert!((exact - whole).abs() < 1e-4);
            }
        }
    }
}
