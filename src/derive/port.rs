//! How fast the gas goes through the inlet while the engine runs.

use crate::derive::Ground;
use crate::derive::air::speed_of_sound;
use crate::derive::camshaft::Valve;
use crate::derive::figure::Gathering;
use crate::derive::figure::Label;
use crate::derive::figure::Outcome;
use crate::derive::figure::combined;
use crate::derive::geometry;
use crate::derive::piston;
use crate::derive::piston::Speed;
use crate::derive::valve;
use crate::engine::EngineError;
use crate::engine::cylinder::circle_area_m2;
use crate::engine::port::InletValve;
use crate::engine::port::running_velocity_m_per_s;
use crate::quantity::QuantityKind;
use crate::statistics::budget::Budgeted;

/// The Mach index above which volumetric efficiency falls fast (C. Taylor, from memory).
const INDEX_OF_CHOKING: f64 = 0.6;

/// Gas speeds of one side.
pub(super) fn figures(ground: &Ground<'_>) -> Vec<Outcome> {
    let mut all = Vec::new();
    if let Some(speed) = piston::speed(ground) {
        let at = piston::words(&speed);
        let velocity = |name: &str, title: &str| {
            Label::new(name, &format!("mean gas speed in {title} at {at}"), QuantityKind::Velocity, "m/s")
        };
        all.push(through(ground, velocity("gas-speed-runner", "the runner"), &speed, &|gathering| {
            let runner = gathering.one("runner-diameter")?;
            Some(combined(&[runner], |x| circle_area_m2(x[0])))
        }));
        all.push(through(ground, velocity("gas-speed-throat", "the inlet throats"), &speed, &|gathering| {
            valve::throat_of(gathering, Valve::Inlet)
        }));
        if ground.is_pull {
            all.push(mach_index(ground, &speed, &at));
            all.push(choking_speed(ground));
        }
    }
    all
}

/// The mean speed of the gas at a section, by the piston's sweep.
fn through(
    ground: &Ground<'_>,
    label: Label,
    speed: &Speed,
    section: &dyn Fn(&mut Gathering<'_, '_>) -> Option<Result<Budgeted, EngineError>>,
) -> Outcome {
    let mut gathering = Gathering::new(ground);
    let piston = piston::mean_speed_of(&mut gathering, speed);
    let (bore, area) = (mean_bore(&mut gathering), section(&mut gathering));
    let value = piston.zip(bore).zip(area).map(|((piston, bore), area)| {
        combined(&[piston?, bore?, area?], |x| running_velocity_m_per_s(x[0], x[1], x[2]))
    });
    gathering.finish(label, value)
}

fn mean_bore(gathering: &mut Gathering<'_, '_>) -> Option<Result<Budgeted, EngineError>> {
    let cylinders = gathering.cylinders();
    gathering.each("bore", cylinders).map(|bore| Ok(geometry::mean(&bore)?))
}

/// Bore, diameter of one valve that is as large as all of a cylinder's, and the mean flow coefficient.
fn inlet_valve(gathering: &mut Gathering<'_, '_>) -> Option<Result<Vec<Budgeted>, EngineError>> {
    let bore = mean_bore(gathering);
    let valve = gathering.one("inlet-valve-diameter");
    let count = gathering.count("inlet-valves-per-cylinder");
    let coefficient = gathering.one("mean-flow-coefficient");
    let (bore, valve, count, coefficient) = (bore?, valve?, count?, coefficient?);
    Some(bore.and_then(|bore| {
        let as_one = combined(&[valve], |x| Ok(x[0] * count.sqrt()))?;
        Ok(vec![bore, as_one, coefficient])
    }))
}

fn valve_of(x: &[f64]) -> InletValve {
    InletValve { bore_m: x[0], valve_diameter_m: x[1], mean_flow_coefficient: x[2] }
}

fn mach_index(ground: &Ground<'_>, speed: &Speed, at: &str) -> Outcome {
    let label = Label::new("mach-index", &format!("inlet Mach index at {at}"), QuantityKind::Ratio, "");
    let mut gathering = Gathering::new(ground);
    let (valve, piston) = (inlet_valve(&mut gathering), piston::mean_speed_of(&mut gathering, speed));
    let sound = speed_of_sound(&mut gathering);
    let value = valve.zip(piston).zip(sound).map(|((valve, piston), sound)| {
        let mut values = valve?;
        values.extend([piston?, sound?]);
        combined(&values, |x| valve_of(x).mach_index(x[3], x[4]))
    });
    gathering.finish(label, value)
}

fn choking_speed(ground: &Ground<'_>) -> Outcome {
    let label = Label::new(
        "speed-at-mach-index",
        "speed at an inlet Mach index of 0.6",
        QuantityKind::RotationalSpeed,
        "rpm",
    );
    let mut gathering = Gathering::new(ground);
    let (valve, stroke) = (inlet_valve(&mut gathering), gathering.one("stroke"));
    let sound = speed_of_sound(&mut gathering);
    let value = valve.zip(stroke).zip(sound).map(|((valve, stroke), sound)| {
        let mut values = valve?;
        values.extend([stroke, sound?]);
        let rpm = std::f64::consts::PI / 30.0;
        combined(&values, |x| Ok(valve_of(x).speed_at_index_rpm(INDEX_OF_CHOKING, x[3], x[4])? * rpm))
    });
    gathering.finish(label, value)
}
