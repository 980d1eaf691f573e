//! Bringing a pull's torque and power to one basis: as observed, or corrected to one standard.
//!
//! corrected = observed × factor for power and torque alike, so a file that carries one correction is brought to
//! another by the ratio of the two factors of the same air (`engine::correction::convert`). A factor that the file
//! states stands before one worked out from the weather.

use std::collections::BTreeMap;

use crate::derive::Ground;
use crate::derive::Input;
use crate::derive::Missing;
use crate::derive::budget::FACTOR_IN_FILE;
use crate::derive::diesel;
use crate::derive::diesel::Found;
use crate::derive::diesel::Lack;
use crate::derive::input::remarks;
use crate::engine::Beyond;
use crate::engine::EngineError;
use crate::engine::correction::Limits;
use crate::engine::correction::spark::SparkStandard;
use crate::quantity::QuantityKind;
use crate::quantity::Reading;
use crate::quantity::parse_reading;
use crate::record::Correcting;
use crate::statistics::budget::Budgeted;

/// What torque and power are brought to.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Basis {
    /// As the load cell read.
    Observed,
    /// Corrected to a standard.
    Standard(SparkStandard),
}

impl Brought {
    /// The factor at a speed: between two speeds of the sweep on the line between them.
    pub fn factor_at(&self, speed_rpm: u32) -> f64 {
        let below = self.by_speed.range(..=speed_rpm).next_back();
        let above = self.by_speed.range(speed_rpm..).next();
        match (below, above) {
            (Some((&low, &a)), Some((&high, &b))) if high > low => {
                a + (b - a) * f64::from(speed_rpm - low) / f64::from(high - low)
            }
            (Some((_, &factor)), _) | (_, Some((_, &factor))) => factor,
            (None, None) => self.factor.value(),
        }
    }

    /// Whether the error of an input is not known, so that the interval is wider than it says.
    pub fn is_understated(&self) -> bool {
        self.inputs.iter().any(|input| input.unknown_error.is_some())
    }
}

impl Basis {
    /// The basis of a name as records write it: `observed`, `sae-j1349`, `stp`.
    pub fn named(text: &str) -> Option<Self> {
        match text.trim() {
            "observed" => Some(Self::Observed),
            other => SparkStandard::named(other).map(Self::Standard),
        }
    }

    /// Its name.
    pub fn name(self) -> &'static str {
        match self {
            Self::Observed => "observed",
            Self::Standard(standard) => standard.name(),
        }
    }

    /// The names that are understood.
    pub fn names() -> String {
        let standards: Vec<&str> = SparkStandard::ALL.iter().map(|standard| standard.name()).collect();
        format!("observed, {}", standards.join(", "))
    }
}

/// A pull's figures brought to a basis.
#[derive(Debug, Clone, PartialEq)]
pub struct Brought {
    /// What the file's torque and power are multiplied by; over the sweep, where it differs by speed.
    pub factor: Budgeted,
    /// The factor near each speed of the sweep in rpm, where the fuel makes it differ by speed.
    pub by_speed: BTreeMap<u32, f64>,
    /// What the file carries, in words.
    pub carries: String,
    /// How the factor came about, in words.
    pub how: String,
    /// What it was worked out from.
    pub inputs: Vec<Input>,
    /// What lies outside a standard's limits.
    pub beyond: Vec<Beyond>,
    /// What else is to be said of it.
    pub notes: Vec<String>,
}

/// Why a pull's figures cannot be brought to a basis.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Unbrought {
    /// What the file carries, in words.
    pub carries: String,
    /// The conditions that nobody gives.
    pub missing: Vec<Missing>,
    /// Why, where nothing is missing.
    pub why: Option<String>,
}

/// Brings a pull's torque and power to a basis.
///
/// # Errors
/// What is missing: the weather, the factor that the file carries, or a correction that is known at all.
pub fn bring(ground: &Ground<'_>, to: Basis) -> Result<Brought, Unbrought> {
    let mut brought = brought(ground, to)?;
    brought.notes.extend(remarks(&brought.inputs));
    if diesel::ignites_by_compression(ground) && !brought.inputs.is_empty() {
        brought.by_speed = ground
            .by_speed
            .iter()
            .filter_map(|(speed, means)| {
                Some((*speed, self::brought(&ground.near(means), to).ok()?.factor.value()))
            })
            .collect();
        if !brought.by_speed.is_empty() {
            brought.notes.push(
                "compression ignition: the factor goes with the fuel at each speed; the one shown is of the means over the sweep"
                    .to_owned(),
            );
        }
    }
    Ok(brought)
}

/// The same by the means over the sweep alone, without the factors at each speed.
pub(super) fn brought(ground: &Ground<'_>, to: Basis) -> Result<Brought, Unbrought> {
    let carried = ground.effective.correction.as_ref();
    let carries =
        carried.map_or_else(|| "no correction that is written down".to_owned(), ToString::to_string);
    let refuse =
        |missing: Vec<Missing>, why: Option<String>| Unbrought { carries: carries.clone(), missing, why };
    let unclear = |error: EngineError| refuse(Vec::new(), Some(error.to_string()));
    let lacking = |lack: Lack| refuse(lack.missing, lack.why);
    let plain = |how: &str| -> Result<Brought, Unbrought> {
        Ok(Brought {
            factor: Budgeted::exact(1.0).map_err(EngineError::from).map_err(unclear)?,
            by_speed: BTreeMap::new(),
            carries: carries.clone(),
            how: how.to_owned(),
            inputs: Vec::new(),
            beyond: Vec::new(),
            notes: Vec::new(),
        })
    };
    let (name, written) = match carried {
        None | Some(Correcting::Unknown(_)) => {
            return Err(refuse(
                Vec::new(),
                Some("nobody knows which correction its file carries".to_owned()),
            ));
        }
        Some(Correcting::Observed) => {
            let mut brought = plain("as in the file")?;
            if let Basis::Standard(standard) = to {
                let found = diesel::factor(ground, standard).map_err(lacking)?;
                found.formula.clone_into(&mut brought.how);
                brought.factor = found.value.clone();
                brought.rests_on(found);
            }
            return Ok(brought);
        }
        Some(Correcting::Standard { name, factor }) => (name, factor),
    };
    let carried = SparkStandard::named(name);
    let stated = match written {
        Some(text) => Some(factor_as_written(text).ok_or_else(|| {
            refuse(Vec::new(), Some(format!("its factor `{text}` cannot be read as a number")))
        })?),
        None => None,
    };
    let of_carried = carried.map(|standard| diesel::factor(ground, standard));
    let mut brought = plain("as in the file, which carries this correction")?;
    let limits = carried.and_then(|carried| diesel::limits(ground, carried));
    check_stated(
        &mut brought,
        carried.zip(stated.as_ref()),
        limits,
        of_carried.as_ref().and_then(|found| found.as_ref().ok()),
    );
    if carried.is_some() && carried.map(Basis::Standard) == Some(to) {
        return Ok(brought);
    }
    let from = match (&stated, carried, of_carried) {
        (Some(stated), _, _) => {
            brought.how = format!("divided by the file's factor {}", stated.text());
            stated_value(ground, stated).map_err(unclear)?
        }
        (None, Some(carried), Some(Ok(found))) => {
            brought.how =
                format!("divided by the factor of {} for its weather, {}", carried.name(), found.formula);
            let value = found.value.clone();
            brought.rests_on(found);
            value
        }
        (None, Some(_), Some(Err(lack))) => {
            let mut missing = lack.missing;
            missing.push(factor_missing());
            return Err(refuse(missing, lack.why));
        }
        (None, _, _) => {
            let why = format!("its file gives no factor, and no formula of `{name}` is known here");
            return Err(refuse(Vec::new(), Some(why)));
        }
    };
    let Basis::Standard(standard) = to else {
        brought.factor = Budgeted::combine(&[&from], |x| positive_inverse(x[0])).map_err(unclear)?;
        return Ok(brought);
    };
    let found = diesel::factor(ground, standard).map_err(lacking)?;
    brought.factor =
        Budgeted::combine(&[&found.value, &from], |x| Ok::<f64, EngineError>(x[0] * positive_inverse(x[1])?))
            .map_err(unclear)?;
    brought.how.push_str(&format!(", times {}", found.formula));
    brought.rests_on(found);
    Ok(brought)
}

impl Brought {
    /// Takes over what a factor rests on and what is to be said of it.
    fn rests_on(&mut self, found: Found) {
        for input in found.inputs {
            if !self.inputs.iter().any(|known| known.means == input.means) {
                self.inputs.push(input);
            }
        }
        self.beyond.extend(found.beyond);
        for note in found.notes {
            if !self.notes.contains(&note) {
                self.notes.push(note);
            }
        }
    }
}

/// Holds the file's own factor against its standard's limits and against the weather, where both are there.
fn check_stated(
    brought: &mut Brought,
    stated: Option<(SparkStandard, &Reading)>,
    limits: Option<Limits>,
    worked_out: Option<&Found>,
) {
    let Some((carried, stated)) = stated else { return };
    let found = stated.mean().si();
    if let Some(limits) = limits
        && !(limits.factor.0..=limits.factor.1).contains(&found)
    {
        brought.beyond.push(Beyond {
            what: "correction factor in the file",
            found,
            lower: limits.factor.0,
            upper: limits.factor.1,
            unit: "",
            source: limits.source,
        });
    }
    if let Some(worked_out) = worked_out {
        let factor = &worked_out.value;
        let apart = (factor.value() - found).abs();
        let u = libm::hypot(factor.standard_uncertainty(), stated.standard_uncertainty().si);
        // Twice the combined standard uncertainty: about 95 % (JCGM 100:2008, 6.3.3).
        if apart > 2.0 * u {
            brought.notes.push(format!(
                "the file's factor {} is not what its weather gives for {}, {:.4}",
                stated.text(),
                carried.name(),
                factor.value()
            ));
        }
    }
}

fn factor_as_written(text: &str) -> Option<Reading> {
    let reading = parse_reading(text, QuantityKind::Ratio, Some(QuantityKind::Ratio.si_unit())).ok()?;
    (reading.mean().si() > 0.0).then_some(reading)
}

/// The stated factor, uncertain by half its last digit or by what stands behind ±.
fn stated_value(ground: &Ground<'_>, stated: &Reading) -> Result<Budgeted, EngineError> {
    let source = format!("{}{FACTOR_IN_FILE}", ground.name);
    Ok(Budgeted::from_source(stated.mean().si(), source, stated.standard_uncertainty().si)?)
}

fn positive_inverse(factor: f64) -> Result<f64, EngineError> {
    if factor > 0.0 && factor.is_finite() {
        return Ok(factor.recip());
    }
    Err(EngineError::OutOfDomain { what: "correction factor", found: factor, unit: "", expected: "above 0" })
}

fn factor_missing() -> Missing {
    Missing {
        means: "correction-factor".to_owned(),
        path: "correction".to_owned(),
        title: "factor in the file".to_owned(),
        why: "its file carries a correction, and the factor is not written down".to_owned(),
    }
}
