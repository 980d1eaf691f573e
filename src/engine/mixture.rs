//! Air-fuel ratio and lambda, by fuel.
//!
//! Source: J. Heywood, *Internal Combustion Engine Fundamentals* (1988), 3.4 (from memory): air as O₂ + 3.773
//! N₂, 28.962 g/mol.

use super::EngineError;
use super::error::{not_negative, positive, within};

/// Moles of air that hold a mole of oxygen.
const AIR_PER_OXYGEN: f64 = 4.773;
/// Molar mass of air, g/mol.
const AIR_G_PER_MOL: f64 = 28.962;

/// Atoms in a mean molecule of fuel.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct FuelFormula {
    /// Carbon.
    pub carbon: f64,
    /// Hydrogen.
    pub hydrogen: f64,
    /// Oxygen.
    pub oxygen: f64,
    /// Nitrogen.
    pub nitrogen: f64,
}

impl FuelFormula {
    /// Molar mass, g/mol.
    #[must_use]
    pub fn molar_mass_g(&self) -> f64 {
        12.011 * self.carbon + 1.008 * self.hydrogen + 15.999 * self.oxygen + 14.007 * self.nitrogen
    }

    /// Stoichiometric air-fuel ratio by mass: 28.962·4.773·(x + y/4 − z/2)/M for C_x H_y O_z N_w.
    ///
    /// # Errors
    /// Negative counts, or a molecule that needs no air.
    pub fn stoichiometric_ratio(&self) -> Result<f64, EngineError> {
        for count in [self.carbon, self.hydrogen, self.oxygen, self.nitrogen] {
            not_negative("atoms in the fuel", count, "")?;
        }
        let oxygen = positive(
            "oxygen needed",
            self.carbon + self.hydrogen / 4.0 - self.oxygen / 2.0,
            "mol per mol of fuel",
        )?;
        Ok(AIR_G_PER_MOL * AIR_PER_OXYGEN * oxygen / self.molar_mass_g())
    }
}

/// A fuel whose stoichiometric ratio is known here; a fuel batch's own figure, where there is one, comes
/// before these.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
#[non_exhaustive]
pub enum Fuel {
    /// Petrol as CH₁.₈₇ (Heywood table D.4): 14.60.
    Petrol,
    /// Petrol by the trade's convention, as lambda meters are scaled: 14.7.
    PetrolOfTheTrade,
    /// Ethanol C₂H₆O.
    Ethanol,
    /// Methanol CH₄O.
    Methanol,
    /// Nitromethane CH₃NO₂.
    Nitromethane,
    /// Propane C₃H₈.
    Propane,
    /// Methane CH₄.
    Methane,
    /// Light diesel fuel as CH₁.₈ (Heywood table D.4).
    Diesel,
}

impl Fuel {
    /// Stoichiometric air-fuel ratio by mass.
    ///
    /// ```
    /// use mulebook::engine::mixture::Fuel;
    /// // Heywood table D.4 (from memory) and superbikeschool.com topic 3673: methanol 6.47, ethanol 9.00,
    /// // propane 15.67, nitromethane 1.7.
    /// for (fuel, ratio) in [
    ///     (Fuel::Petrol, 14.6), (Fuel::Methanol, 6.47), (Fuel::Ethanol, 9.0), (Fuel::Propane, 15.67),
    ///     (Fuel::Methane, 17.23), (Fuel::Nitromethane, 1.7), (Fuel::Diesel, 14.5),
    /// ] {
    ///     assert!((fuel.stoichiometric_ratio() - ratio).abs() < 6e-3, "{fuel:?}");
    /// }
    /// ```
    #[must_use]
    pub fn stoichiometric_ratio(self) -> f64 {
        let formula = |carbon, hydrogen, oxygen, nitrogen| FuelFormula { carbon, hydrogen, oxygen, nitrogen };
        let of = |formula: FuelFormula| {
            let oxygen = formula.carbon + formula.hydrogen / 4.0 - formula.oxygen / 2.0;
            AIR_G_PER_MOL * AIR_PER_OXYGEN * oxygen / formula.molar_mass_g()
        };
        match self {
            Self::Petrol => of(formula(1.0, 1.87, 0.0, 0.0)),
            Self::PetrolOfTheTrade => 14.7,
            Self::Ethanol => of(formula(2.0, 6.0, 1.0, 0.0)),
            Self::Methanol => of(formula(1.0, 4.0, 1.0, 0.0)),
            Self::Nitromethane => of(formula(1.0, 3.0, 2.0, 1.0)),
            Self::Propane => of(formula(3.0, 8.0, 0.0, 0.0)),
            Self::Methane => of(formula(1.0, 4.0, 0.0, 0.0)),
            Self::Diesel => of(formula(1.0, 1.8, 0.0, 0.0)),
        }
    }

    /// Lower heating value, J/kg, of the mean fuel of its kind (Heywood table D.4 and, for nitromethane,
    /// racing practice; from memory).
    #[must_use]
    pub fn lower_heating_value_j_per_kg(self) -> f64 {
        match self {
            Self::Petrol | Self::PetrolOfTheTrade => 44.0e6,
            Self::Ethanol => 26.9e6,
            Self::Methanol => 20.0e6,
            Self::Nitromethane => 10.9e6,
            Self::Propane => 46.4e6,
            Self::Methane => 50.0e6,
            Self::Diesel => 42.5e6,
        }
    }
}

/// Stoichiometric ratio of a blend: the mean of its parts by mass.
///
/// Each part is its stoichiometric ratio and its share of the mass.
///
/// # Errors
/// Shares that do not add to one within 1e-6, or a ratio that is not above zero.
pub fn blend_ratio(parts: &[(f64, f64)]) -> Result<f64, EngineError> {
    let mut whole = 0.0;
    let mut ratio = 0.0;
    for &(own, share) in parts {
        let share = within("share of the blend", share, "", |share| (0.0..=1.0).contains(&share), "0 to 1")?;
        whole += share;
        ratio += positive("stoichiometric ratio", own, "")? * share;
    }
    within("sum of the shares", whole, "", |whole| (whole - 1.0).abs() <= 1e-6, "1")?;
    Ok(ratio)
}

/// Share by mass, from 0 to 1, of a part given by its share by volume, with both densities, kg/m³.
///
/// # Errors
/// A share outside 0 to 1, or a density that is not above zero.
pub fn mass_share(
    volume_share: f64,
    density_kg_per_m3: f64,
    other_density_kg_per_m3: f64,
) -> Result<f64, EngineError> {
    let share = within("share by volume", volume_share, "", |share| (0.0..=1.0).contains(&share), "0 to 1")?;
    let own = share * positive("density", density_kg_per_m3, "kg/m³")?;
    Ok(own / (own + (1.0 - share) * positive("density", other_density_kg_per_m3, "kg/m³")?))
}

/// Air-fuel ratio by mass from the two flows.
///
/// # Errors
/// A negative air flow, or a fuel flow that is not above zero.
pub fn air_fuel_ratio(air_kg_per_s: f64, fuel_kg_per_s: f64) -> Result<f64, EngineError> {
    Ok(not_negative("air flow", air_kg_per_s, "kg/s")? / positive("fuel flow", fuel_kg_per_s, "kg/s")?)
}

/// Lambda: air-fuel ratio over the stoichiometric one; above one is lean. Its inverse is the equivalence
/// ratio φ.
///
/// ```
/// use mulebook::engine::mixture::{Fuel, lambda};
/// // Reference table of docs/engine.md: 12.5:1 on the trade's petrol is lambda 0.850340.
/// let found = lambda(12.5, Fuel::PetrolOfTheTrade.stoichiometric_ratio()).expect("a mixture");
/// assert!((found - 0.850340).abs() < 1e-6);
/// ```
///
/// # Errors
/// A ratio that is not above zero.
pub fn lambda(air_fuel_ratio: f64, stoichiometric_ratio: f64) -> Result<f64, EngineError> {
    Ok(positive("air-fuel ratio", air_fuel_ratio, "")?
        / positive("stoichiometric ratio", stoichiometric_ratio, "")?)
}

/// Air-fuel ratio by mass from lambda; the inverse of [`lambda`].
///
/// # Errors
/// A number that is not above zero.
pub fn air_fuel_ratio_of_lambda(lambda: f64, stoichiometric_ratio: f64) -> Result<f64, EngineError> {
    Ok(positive("lambda", lambda, "")? * positive("stoichiometric ratio", stoichiometric_ratio, "")?)
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    #[test]
    fn formulas_and_blends() {
        let formula = FuelFormula { carbon: 1.0, hydrogen: 4.0, oxygen: 0.0, nitrogen: 0.0 };
        // brighthub.com article 15235 (methane): 17.2.
        assert!((formula.stoichiometric_ratio().unwrap() - 17.2).abs() < 0.05);
        assert!(
            (formula.stoichiometric_ratio().unwrap() - Fuel::Methane.stoichiometric_ratio()).abs() < 1e-12
        );
        // superbikeschool.com topic 3673: E85 9.7 to 9.8 by mass of 85 % ethanol on 14.7 petrol.
        let e85 = blend_ratio(&[(Fuel::Ethanol.stoichiometric_ratio(), 0.85), (14.7, 0.15)]).unwrap();
        assert!((e85 - 9.8).abs() < 0.1);
        assert!((mass_share(0.85, 789.0, 745.0).unwrap() - 0.857_2).abs() < 1e-4);
        assert!(blend_ratio(&[(14.7, 0.5)]).is_err());
        assert!(
            FuelFormula { carbon: 0.0, hydrogen: 0.0, oxygen: 1.0, nitrogen: 0.0 }
                .stoichiometric_ratio()
                .is_err()
        );
        assert!(lambda(0.0, 14.7).is_err());
    }

    proptest! {
        #[test]
        fn lambda_inverts(ratio in 8.0..20.0_f64, stoichiometric in 1.5..18.0_f64) {
            let back = air_fuel_ratio_of_lambda(lambda(ratio, stoichiometric).unwrap(), stoichiometric).unwrap();
            prop_assert!((back / ratio - 1.0).abs() < 1e-14);
            prop_assert!((air_fuel_ratio(ratio * 0.01, 0.01).unwrap() / ratio - 1.0).abs() < 1e-14);
        }
    }
}
