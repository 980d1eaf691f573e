//! What the channels of a pull mean: mean effective pressure, consumption, mixture, filling, inertia.
//!
//! Over the sweep these are ratios of means, so that fuel over power is what was burned over the work that was done;
//! near one speed they are of the rows there. Torque is taken as observed: a correction that the file carries is taken
//! out first, since fuel and air were measured as they were.

use crate::derive::Basis;
use crate::derive::Derived;
use crate::derive::Ground;
use crate::derive::air;
use crate::derive::basis::brought;
use crate::derive::figure::Gathering;
use crate::derive::figure::Label;
use crate::derive::figure::Outcome;
use crate::derive::figure::combined;
use crate::derive::geometry;
use crate::engine::EngineError;
use crate::engine::consumption::specific_consumption_kg_per_j;
use crate::engine::consumption::thermal_efficiency;
use crate::engine::consumption::volumetric_efficiency;
use crate::engine::inertia::inertia_torque_nm;
use crate::engine::inertia::steady_torque_nm;
use crate::engine::mixture::Fuel;
use crate::engine::mixture::air_fuel_ratio;
use crate::engine::mixture::air_fuel_ratio_of_lambda;
use crate::engine::mixture::lambda;
use crate::engine::shaft::WorkingCycle;
use crate::engine::shaft::mean_effective_pressure_pa;
use crate::quantity::QuantityKind;
use crate::statistics::budget::Budgeted;

/// Density of water at 60 °F, kg/m³, to which specific gravities of fuels refer (from memory: 999.0).
const WATER_KG_PER_M3: f64 = 999.0;
/// From rad/s to rpm.
const RPM: f64 = 30.0 / std::f64::consts::PI;

/// A value that was worked out, or why not; none where something is missing.
type Value = Option<Result<Budgeted, EngineError>>;

/// What one side's channels mean; nothing for a build alone.
pub(super) fn figures(ground: &Ground<'_>) -> Vec<Outcome> {
    if ground.channels.is_empty() && ground.session.is_none() {
        return Vec::new();
    }
    let one = |label: Label, gather: fn(&mut Gathering<'_, '_>) -> Value| {
        let mut gathering = Gathering::new(ground);
        let value = gather(&mut gathering);
        gathering.finish(label, value)
    };
    let label = Label::new;
    let consumption =
        |name: &str, title: &str| label(name, title, QuantityKind::SpecificFuelConsumption, "g/kWh");
    vec![
        one(label("mean-power", "power as observed", QuantityKind::Power, "kW"), power),
        one(
            label(
                "mean-effective-pressure",
                "brake mean effective pressure as observed",
                QuantityKind::PressureDifference,
                "bar",
            ),
            effective_pressure,
        ),
        one(consumption("specific-fuel-consumption", "specific fuel consumption"), |gathering| {
            specific(gathering, fuel_flow)
        }),
        one(consumption("specific-air-consumption", "specific air consumption"), |gathering| {
            specific(gathering, air_flow)
        }),
        one(label("thermal-efficiency", "brake thermal efficiency", QuantityKind::Fraction, "%"), efficiency),
        one(
            label(
                "volumetric-efficiency",
                "volumetric efficiency, of the air at the inlet",
                QuantityKind::Fraction,
                "%",
            ),
            filling,
        ),
        one(label("air-fuel-ratio", "air-fuel ratio", QuantityKind::AirFuelRatio, "AFR"), mixture),
        one(label("lambda", "lambda", QuantityKind::Lambda, "lambda"), excess_air),
        one(
            label("inertia-torque", "torque that speeds up the rotating parts", QuantityKind::Torque, "N·m"),
            inertia,
        ),
        one(label("steady-torque", "torque with that of the inertia", QuantityKind::Torque, "N·m"), steady),
    ]
}

/// What one side's channels mean near a speed: the figures that stand, torque and power as observed included.
pub fn near_speed(ground: &Ground<'_>) -> Vec<Derived> {
    let torque = Label::new("torque", "torque as observed", QuantityKind::Torque, "N·m");
    let mut gathering = Gathering::new(ground);
    let value = self::torque(&mut gathering);
    let mut all: Vec<Derived> = gathering.finish(torque, value).into_iter().collect();
    all.extend(figures(ground).into_iter().filter_map(Result::ok));
    all
}

/// The working cycle, as the engine's record has it.
pub(super) fn cycle(gathering: &mut Gathering<'_, '_>) -> Option<WorkingCycle> {
    match gathering.word("firing")?.as_str() {
        "two-stroke" => Some(WorkingCycle::TwoStroke),
        _ => Some(WorkingCycle::FourStroke),
    }
}

/// Mean fuel flow in kg/s: as measured by mass, else by volume and the fuel's density.
pub(super) fn fuel_flow(gathering: &mut Gathering<'_, '_>) -> Value {
    let ground = gathering.ground;
    let by_volume =
        ground.channels.get("fuel-flow").is_some_and(|mean| mean.kind == QuantityKind::VolumeFlow);
    let flow = gathering.one("channel-fuel-flow");
    if !by_volume {
        return flow.map(Ok);
    }
    let density = fuel_density(gathering);
    let (flow, density) = (flow?, density?);
    Some(density.and_then(|density| combined(&[flow, density], |x| Ok(x[0] * x[1]))))
}

fn fuel_density(gathering: &mut Gathering<'_, '_>) -> Value {
    if gathering.ground.input("fuel-density").is_err()
        && gathering.ground.input("fuel-specific-gravity").is_ok()
    {
        gathering.notes.push("fuel density from its specific gravity, of water at 60 °F".to_owned());
        let gravity = gathering.one("fuel-specific-gravity")?;
        return Some(combined(&[gravity], |x| Ok(x[0] * WATER_KG_PER_M3)));
    }
    gathering.one("fuel-density").map(Ok)
}

/// Mean air flow in kg/s: as measured by mass, else by volume at the density of the inlet air.
fn air_flow(gathering: &mut Gathering<'_, '_>) -> Value {
    let by_volume =
        gathering.ground.channels.get("air-flow").is_some_and(|mean| mean.kind == QuantityKind::VolumeFlow);
    let flow = gathering.one("channel-air-flow");
    if !by_volume {
        return flow.map(Ok);
    }
    let density = air::density(gathering);
    let (flow, density) = (flow?, density?);
    Some(density.and_then(|density| combined(&[flow, density], |x| Ok(x[0] * x[1]))))
}

/// Mean torque as the load cell read it: what the file carries is taken out.
fn torque(gathering: &mut Gathering<'_, '_>) -> Value {
    let torque = gathering.one("channel-torque");
    match brought(gathering.ground, Basis::Observed) {
        Ok(brought) => {
            brought.inputs.iter().for_each(|input| gathering.rests_on(input));
            torque.map(|torque| combined(&[torque, brought.factor], |x| Ok(x[0] * x[1])))
        }
        Err(unbrought) => {
            unbrought.missing.into_iter().for_each(|missing| gathering.lack(missing));
            unbrought.why.and_then(|why| gathering.cannot(why))
        }
    }
}

/// Mean power as observed: that of the rows, off by as much as their torque.
fn power(gathering: &mut Gathering<'_, '_>) -> Value {
    let channels = gathering.ground.channels;
    let torque = torque(gathering)?;
    let rows = channels.get("power").zip(channels.get("torque"));
    let mean_speed = rows.map(|(power, torque)| power.mean_si / torque.mean_si)?;
    Some(torque.and_then(|torque| combined(&[torque], |x| Ok(x[0] * mean_speed))))
}

fn effective_pressure(gathering: &mut Gathering<'_, '_>) -> Value {
    let (torque, displacement) = (torque(gathering), geometry::displacement(gathering));
    let cycle = cycle(gathering);
    let (torque, displacement, cycle) = (torque?, displacement?, cycle?);
    Some(torque.and_then(|torque| {
        combined(&[torque, displacement?], |x| mean_effective_pressure_pa(x[0], x[1], cycle))
    }))
}

fn specific(gathering: &mut Gathering<'_, '_>, flow: fn(&mut Gathering<'_, '_>) -> Value) -> Value {
    let (flow, power) = (flow(gathering), power(gathering));
    let (flow, power) = (flow?, power?);
    Some(flow.and_then(|flow| combined(&[flow, power?], |x| specific_consumption_kg_per_j(x[0], x[1]))))
}

fn efficiency(gathering: &mut Gathering<'_, '_>) -> Value {
    let (flow, power) = (fuel_flow(gathering), power(gathering));
    let value = of_fuel(gathering, "heating-value", Fuel::lower_heating_value_j_per_kg);
    let (flow, power, value) = (flow?, power?, value?);
    Some(flow.and_then(|flow| combined(&[power?, flow, value?], |x| thermal_efficiency(x[0], x[1], x[2]))))
}

fn filling(gathering: &mut Gathering<'_, '_>) -> Value {
    let (air, density) = (air_flow(gathering), air::density(gathering));
    let (displacement, speed) = (geometry::displacement(gathering), gathering.one("channel-speed"));
    let cycle = cycle(gathering);
    let (air, density, displacement, speed, cycle) = (air?, density?, displacement?, speed?, cycle?);
    Some(air.and_then(|air| {
        combined(&[air, density?, displacement?, speed], |x| {
            volumetric_efficiency(x[0], x[1], x[2], x[3] * RPM, cycle)
        })
    }))
}

/// Air over fuel: of the two flows, else as a meter showed it, else from lambda.
fn mixture(gathering: &mut Gathering<'_, '_>) -> Value {
    let has = |word: &str| gathering.ground.channels.contains_key(word);
    if has("air-flow") && has("fuel-flow") {
        let (air, fuel) = (air_flow(gathering), fuel_flow(gathering));
        let (air, fuel) = (air?, fuel?);
        return Some(air.and_then(|air| combined(&[air, fuel?], |x| air_fuel_ratio(x[0], x[1]))));
    }
    if has("air-fuel-ratio") {
        return gathering.one("channel-air-fuel-ratio").map(Ok);
    }
    let lambda = gathering.one("channel-lambda");
    let stoichiometric = stoichiometric(gathering);
    let (lambda, stoichiometric) = (lambda?, stoichiometric?);
    Some(stoichiometric.and_then(|stoichiometric| {
        combined(&[lambda, stoichiometric], |x| air_fuel_ratio_of_lambda(x[0], x[1]))
    }))
}

/// Lambda as a meter showed it, else from the air-fuel ratio.
fn excess_air(gathering: &mut Gathering<'_, '_>) -> Value {
    let has = |word: &str| gathering.ground.channels.contains_key(word);
    let by_ratio = has("air-fuel-ratio") || (has("air-flow") && has("fuel-flow"));
    if has("lambda") || !by_ratio {
        return gathering.one("channel-lambda").map(Ok);
    }
    let (ratio, stoichiometric) = (mixture(gathering), stoichiometric(gathering));
    let (ratio, stoichiometric) = (ratio?, stoichiometric?);
    Some(ratio.and_then(|ratio| combined(&[ratio, stoichiometric?], |x| lambda(x[0], x[1]))))
}

fn stoichiometric(gathering: &mut Gathering<'_, '_>) -> Value {
    of_fuel(gathering, "stoichiometric-ratio", Fuel::stoichiometric_ratio)
}

/// A property of the fuel: its own figure, else that of its family.
fn of_fuel(gathering: &mut Gathering<'_, '_>, means: &str, of_family: fn(Fuel) -> f64) -> Value {
    let ground = gathering.ground;
    let family = ground.word("fuel-family").ok().and_then(|(word, at)| Some((family(&word)?, word, at)));
    if ground.input(means).is_err()
        && let Some((fuel, word, at)) = family
    {
        let value = of_family(fuel);
        gathering
            .notes
            .push(format!("{} of {word} in general ({at}), not of this batch", means.replace('-', " ")));
        return Some(Budgeted::exact(value).map_err(EngineError::from));
    }
    gathering.one(means).map(Ok)
}

/// The fuel that a record's word for its family means.
fn family(word: &str) -> Option<Fuel> {
    match word {
        "petrol" => Some(Fuel::Petrol),
        "petrol-14.7" => Some(Fuel::PetrolOfTheTrade),
        "ethanol" => Some(Fuel::Ethanol),
        "methanol" => Some(Fuel::Methanol),
        "nitromethane" => Some(Fuel::Nitromethane),
        "propane" => Some(Fuel::Propane),
        "methane" => Some(Fuel::Methane),
        "diesel" => Some(Fuel::Diesel),
        _ => None,
    }
}

fn inertia(gathering: &mut Gathering<'_, '_>) -> Value {
    let values = gathering.all(&["rotating-inertia", "sweep-rate"]);
    let said = gathering.ground.cell_word("inertia-torque");
    gathering.notes.push(match said.as_deref() {
        Some("credited") => "the bench adds the torque of the inertia to what it shows".to_owned(),
        Some("left-out") => "the bench leaves the torque of the inertia out of what it shows".to_owned(),
        _ => "nobody says whether the bench adds the torque of the inertia to what it shows".to_owned(),
    });
    Some(combined(&values?, |x| inertia_torque_nm(x[0], x[1] * RPM)))
}

/// The torque of the steady engine, where the cell's record says whether the bench adds the inertia's.
fn steady(gathering: &mut Gathering<'_, '_>) -> Value {
    let said = gathering.ground.cell_word("inertia-torque");
    let torque = torque(gathering);
    match said.as_deref() {
        Some("credited") => {
            gathering.notes.push("the bench adds the torque of the inertia to what it shows".to_owned());
            torque
        }
        Some("left-out") => {
            let values = gathering.all(&["rotating-inertia", "sweep-rate"]);
            let (torque, mut values) = (torque?, values?);
            Some(torque.and_then(|torque| {
                values.insert(0, torque);
                combined(&values, |x| steady_torque_nm(x[0], x[1], x[2] * RPM))
            }))
        }
        _ => {
            gathering.lack(gathering.ground.cell_missing("inertia-torque"));
            None
        }
    }
}
