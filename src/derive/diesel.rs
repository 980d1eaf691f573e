//! Correction factors by the kind of engine: of its air alone where a spark ignites, of air, charging and fuel where
//! compression does.
//!
//! A standard has a formula for either; which of them holds is told by the engine's own record (`ignition`), not by
//! the name of the standard.

use crate::derive::Ground;
use crate::derive::Input;
use crate::derive::Missing;
use crate::derive::air;
use crate::derive::air::Weather;
use crate::derive::air::weather;
use crate::derive::figure::Gathering;
use crate::derive::figure::combined;
use crate::derive::geometry;
use crate::derive::running;
use crate::engine::Beyond;
use crate::engine::EngineError;
use crate::engine::correction::Factor;
use crate::engine::correction::Limits;
use crate::engine::correction::TemperatureScale;
use crate::engine::correction::diesel::Charging;
use crate::engine::correction::diesel::DieselEdition;
use crate::engine::correction::diesel::Fuelling;
use crate::engine::correction::diesel::LIMITS;
use crate::engine::correction::spark::SparkStandard;
use crate::engine::shaft::WorkingCycle;
use crate::quantity::QuantityKind;
use crate::statistics::budget::Budgeted;

/// A correction factor with what it rests on.
#[derive(Debug, Clone)]
pub(super) struct Found {
    pub(super) value: Budgeted,
    pub(super) formula: &'static str,
    pub(super) inputs: Vec<Input>,
    pub(super) notes: Vec<String>,
    pub(super) beyond: Vec<Beyond>,
}

/// Why there is no factor.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Lack {
    pub(super) missing: Vec<Missing>,
    pub(super) why: Option<String>,
}

impl Lack {
    fn because(why: impl ToString) -> Self {
        Self { missing: Vec::new(), why: Some(why.to_string()) }
    }
}

/// Whether the engine's record says that compression ignites its fuel; a record that is silent means a spark.
pub fn ignites_by_compression(ground: &Ground<'_>) -> bool {
    ground.word("ignition").is_ok_and(|(word, _)| word == "compression")
}

/// The factor of a standard for this side's air, and for its fuel where compression ignites it.
///
/// # Errors
/// What is missing, or that the standard has no formula for such an engine.
pub(super) fn factor(ground: &Ground<'_>, standard: SparkStandard) -> Result<Found, Lack> {
    let air = weather(ground).map_err(|missing| Lack { missing, why: None });
    if !ignites_by_compression(ground) {
        let air = air?;
        let (value, beyond, formula) = air.factor(standard).map_err(Lack::because)?;
        let mut notes = air.notes.clone();
        if standard.limits().is_none() {
            notes.push(format!("no limits of {} are known to this program", standard.name()));
        }
        return Ok(Found { value, formula, inputs: air.inputs, notes, beyond });
    }
    let edition = edition(standard).ok_or_else(|| {
        Lack::because(format!("no formula of {} for compression ignition is known here", standard.name()))
    })?;
    let mut gathering = Gathering::new(ground);
    let engine = engine(&mut gathering);
    match (air, engine) {
        (Ok(air), Some(Ok(engine))) => compression(gathering, &air, &engine, edition),
        (_, Some(Err(error))) => Err(Lack::because(error)),
        (air, None) => {
            let mut missing = air.err().map(|lack| lack.missing).unwrap_or_default();
            missing.append(&mut gathering.missing);
            Err(Lack { missing, why: None })
        }
        (Err(lack), _) => Err(lack),
    }
}

/// The limits that a standard sets for this kind of engine, as far as the program knows them.
pub(super) fn limits(ground: &Ground<'_>, standard: SparkStandard) -> Option<Limits> {
    match ignites_by_compression(ground) {
        true => edition(standard).map(|_| LIMITS),
        false => standard.limits(),
    }
}

/// The edition whose constants a standard's formula for compression ignition takes.
fn edition(standard: SparkStandard) -> Option<DieselEdition> {
    match standard {
        SparkStandard::SaeJ1349(_) | SparkStandard::Iso1585 | SparkStandard::JisD1001 => {
            Some(DieselEdition::SaeJis)
        }
        SparkStandard::UnR85 => Some(DieselEdition::UnR85),
        _ => None,
    }
}

/// What the engine factor depends on.
struct Engine {
    charging: Charging,
    cycle: WorkingCycle,
    /// Mean fuel flow in kg/s, displacement in m³, speed in rad/s, ratio of pressures over the compressor.
    values: [Budgeted; 4],
}

fn engine(gathering: &mut Gathering<'_, '_>) -> Option<Result<Engine, EngineError>> {
    let fuel = running::fuel_flow(gathering);
    let displacement = geometry::displacement(gathering);
    let speed = gathering.one("channel-speed");
    let cycle = running::cycle(gathering);
    let boost = boost(gathering);
    let ground = gathering.ground;
    let charging = match (ground.has("turbocharger"), charge_cooler(gathering)) {
        (false, _) => Some(Charging::NaturalOrMechanical),
        (true, Some(true)) => Some(Charging::TurbochargedLiquidCooler),
        (true, Some(false)) => Some(Charging::Turbocharged),
        (true, None) => None,
    };
    let (fuel, displacement, speed, cycle, boost) = (fuel?, displacement?, speed?, cycle?, boost?);
    let charging = charging?;
    let made = || -> Result<Engine, EngineError> {
        Ok(Engine { charging, cycle, values: [fuel?, displacement?, speed, boost?] })
    };
    Some(made())
}

/// Whether a charge cooler is cooled by liquid; where one is fitted and nobody says, that is missing.
fn charge_cooler(gathering: &mut Gathering<'_, '_>) -> Option<bool> {
    if !gathering.ground.has("intercooler") {
        return Some(false);
    }
    gathering.word("charge-cooler").map(|word| word == "air-to-water")
}

/// Absolute pressure after the compressor over that before it: as the log has it, else as it was set; exactly 1 where
/// nothing charges the engine.
fn boost(gathering: &mut Gathering<'_, '_>) -> Option<Result<Budgeted, EngineError>> {
    let ground = gathering.ground;
    if !ground.has("turbocharger") && !ground.has("blower") {
        return Some(Budgeted::exact(1.0).map_err(EngineError::from));
    }
    let logged = ground.channels.get("manifold-pressure").map(|mean| mean.kind);
    let (means, is_absolute) = match logged {
        Some(QuantityKind::PressureAbsolute) => ("channel-manifold-pressure", true),
        Some(QuantityKind::PressureGauge) => ("channel-manifold-pressure", false),
        _ => ("boost-pressure", false),
    };
    let (after, before) = (gathering.one(means), air::station_pressure(gathering));
    let (after, before) = (after?, before?);
    Some(combined(&[after, before], |x| {
        let ratio = if is_absolute { x[0] / x[1] } else { 1.0 + x[0] / x[1] };
        Ok(ratio.max(1.0))
    }))
}

fn compression(
    gathering: Gathering<'_, '_>,
    air: &Weather,
    engine: &Engine,
    edition: DieselEdition,
) -> Result<Found, Lack> {
    let of = |x: &[f64]| -> Result<Factor, EngineError> {
        let fuelling = Fuelling {
            fuel_g_per_s: x[3] * 1e3,
            displacement_l: x[4] * 1e3,
            speed_rpm: x[5] * 30.0 / std::f64::consts::PI,
            cycle: engine.cycle,
            boost_ratio: x[6],
        };
        let corrected = fuelling.corrected_mg_per_l()?;
        edition.factor(&air.air(x)?, engine.charging, corrected, TemperatureScale::Exact)
    };
    let mut inputs: Vec<&Budgeted> = air.readings().to_vec();
    inputs.extend(&engine.values);
    let middle: Vec<f64> = inputs.iter().map(|input| input.value()).collect();
    let value =
        Budgeted::combine(&inputs, |x| Ok::<f64, EngineError>(of(x)?.value)).map_err(Lack::because)?;
    let factor = of(&middle).map_err(Lack::because)?;
    let mut notes = air.notes.clone();
    notes.extend(gathering.notes.iter().cloned());
    let mut rests = gathering;
    let mut inputs = air.inputs.clone();
    rests.inputs.retain(|input| !inputs.iter().any(|known| known.means == input.means));
    inputs.append(&mut rests.inputs);
    Ok(Found { value, formula: factor.formula, inputs, notes, beyond: factor.beyond })
}
