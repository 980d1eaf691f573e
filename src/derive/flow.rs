//! What a flow sheet means: flow less leakage by the plate, at one test pressure and of standard air, discharge
//! coefficients that name their area and convention, gas speed, and means over a range of lifts.

use std::collections::BTreeSet;

use crate::derive::Grade;
use crate::derive::Ground;
use crate::derive::Input;
use crate::derive::Means;
use crate::derive::air;
use crate::derive::camshaft::Valve;
use crate::derive::figure::Barred;
use crate::derive::figure::Derived;
use crate::derive::figure::Gathering;
use crate::derive::figure::Label;
use crate::derive::figure::Outcome;
use crate::derive::figure::combined;
use crate::derive::figure::in_group;
use crate::derive::input::FLOW_COEFFICIENT;
use crate::derive::valve;
use crate::engine::Beyond;
use crate::engine::EngineError;
use crate::engine::cylinder::circle_area_m2;
use crate::engine::discharge::Drop;
use crate::engine::discharge::FlowConvention;
use crate::engine::discharge::ReferenceArea;
use crate::engine::discharge::discharge_coefficient;
use crate::engine::flow_bench::BenchKind;
use crate::engine::flow_bench::exhaust_to_inlet_ratio;
use crate::engine::flow_bench::flow_at_head_m3_per_s;
use crate::engine::flow_bench::flow_at_pressure;
use crate::engine::flow_bench::flow_of_standard_air_m3_per_s;
use crate::engine::flow_bench::flow_without_leakage_m3_per_s;
use crate::engine::flow_bench::mass_flow_kg_per_s;
use crate::engine::flow_bench::plate_factor;
use crate::engine::lift_range;
use crate::engine::port::bench_velocity_m_per_s;
use crate::engine::valve::curtain_area_m2;
use crate::quantity::QuantityKind;
use crate::record::PortSide;
use crate::statistics::budget::Budgeted;

/// Standard air of flow benches here: pressure in Pa and temperature in K, dry (a choice of this program).
const STANDARD_AIR: (f64, f64) = (101_325.0, 293.15);
/// Lifts closer than this are one, in m.
const SAME_LIFT_M: f64 = 1e-6;

/// A value that was worked out, or why not; none where something is missing.
type Value = Option<Result<Budgeted, EngineError>>;

/// A flow sheet's readings on the ground of its records.
#[derive(Debug, Clone)]
pub struct FlowBench<'a> {
    /// Its conditions and parts; its channels are those of no lift.
    pub ground: Ground<'a>,
    /// Which side was flowed.
    pub side: PortSide,
    /// The readings at each lift in m, lifts rising: `lift`, `flow` and, where it was read, `test-pressure`.
    pub lifts: &'a [(f64, Means)],
    /// The test pressure that flows are brought to, in Pa.
    pub to_pa: f64,
}

/// The figures of a flow sheet at each lift, in the order in which they are told.
const FIGURES: [&str; 11] = [
    "flow",
    "flow-at-pressure",
    "flow-standard-air",
    "lift-over-diameter",
    "discharge-coefficient-curtain-incompressible",
    "discharge-coefficient-curtain-compressible",
    "discharge-coefficient-valve-incompressible",
    "discharge-coefficient-valve-compressible",
    "discharge-coefficient-throat-incompressible",
    "discharge-coefficient-throat-compressible",
    "bench-gas-speed",
];
/// Those that a mean over lifts is taken of.
const OF_MEANS: [&str; 4] = ["flow", "flow-at-pressure", "flow-standard-air", ON_VALVE];
/// The coefficient that stands for a head.
const ON_VALVE: &str = "discharge-coefficient-valve-incompressible";

impl<'a> FlowBench<'a> {
    /// The figures at each lift.
    pub fn at_lifts(&self) -> Vec<(f64, Vec<Outcome>)> {
        let all = |means| {
            let ground = self.ground.near(means);
            FIGURES.iter().filter_map(|name| self.figure(&ground, name)).collect()
        };
        self.lifts.iter().map(|(lift, means)| (*lift, all(means))).collect()
    }

    /// The flow at the pressure wanted, at each lift.
    pub fn at_pressure_shown(&self) -> Vec<(f64, Outcome)> {
        self.at_each("flow-at-pressure")
    }

    /// One figure at each lift.
    fn at_each(&self, name: &str) -> Vec<(f64, Outcome)> {
        let one =
            |(lift, means): &'a (f64, Means)| Some((*lift, self.figure(&self.ground.near(means), name)?));
        self.lifts.iter().filter_map(one).collect()
    }

    /// A figure at the lift that a ground is of; none where no figure is called so.
    fn figure(&self, ground: &Ground<'a>, name: &str) -> Option<Outcome> {
        let ratio = |title: &str| Label::new(name, title, QuantityKind::Ratio, "");
        let outcome =
            match name {
                "flow" => one(ground, flow_label(name, "flow less leakage, by the plate"), net),
                "flow-at-pressure" => self.at_pressure(ground),
                "flow-standard-air" => {
                    let label = flow_label(name, "flow of standard air at that pressure");
                    one(ground, label, |gathering| self.of_standard_air(gathering))
                }
                "lift-over-diameter" => one(ground, ratio("lift over valve diameter"), |gathering| {
                    let (lift, head) = (gathering.one("channel-lift"), self.valve_diameter(gathering));
                    Some(combined(&[lift?, head?], |x| Ok(x[0] / x[1])))
                }),
                "bench-gas-speed" => {
                    let title = "gas speed in the throat on the bench";
                    one(ground, Label::new(name, title, QuantityKind::Velocity, "m/s"), |gathering| {
                        let (flow, throat) = (net(gathering), valve::throat_of(gathering, self.valve()));
                        let (flow, throat) = (flow?, throat?);
                        Some(flow.and_then(|flow| {
                            combined(&[flow, throat?], |x| bench_velocity_m_per_s(x[0], x[1]))
                        }))
                    })
                }
                _ => {
                    let (on, word) = name.strip_prefix("discharge-coefficient-")?.split_once('-')?;
                    let reference = match on {
                        "curtain" => ReferenceArea::Curtain,
                        "valve" => ReferenceArea::ValveHead,
                        _ => ReferenceArea::Throat,
                    };
                    let convention = match word {
                        "compressible" => FlowConvention::Compressible,
                        _ => FlowConvention::Incompressible,
                    };
                    one(ground, ratio(&format!("discharge coefficient, {on} area, {word}")), |gathering| {
                        self.coefficient_of(gathering, reference, convention)
                    })
                }
            };
        in_group("flow", vec![outcome]).pop()
    }

    /// Means over a range of lifts, in m, of the flows and of the coefficient on the valve's area.
    pub fn over(&self, from_m: f64, to_m: f64) -> Vec<Outcome> {
        OF_MEANS.iter().filter_map(|name| mean_of(&self.at_each(name), from_m, to_m)).collect()
    }

    /// The mean flow coefficient on the valve's area over its whole range of lifts, as an input of other figures; none
    /// where it cannot be worked out.
    pub fn coefficient(&self) -> Option<Input> {
        let (from, to) = (self.lifts.first()?.0, self.lifts.last()?.0);
        let derived = mean_of(&self.at_each(ON_VALVE), from, to)?.ok()?;
        let text = format!(
            "{:.4}, mean from {:.1} to {:.1} mm of lift",
            derived.value.value(),
            from * 1e3,
            to * 1e3
        );
        let grade = derived.grade().max(Grade::Calculated);
        let place =
            ("flow sheet".to_owned(), "mean flow coefficient".to_owned(), self.ground.name.to_owned());
        Some(Input::worked_out(FLOW_COEFFICIENT, place, text, grade, &derived.value))
    }

    fn valve(&self) -> Valve {
        match self.side {
            PortSide::Inlet => Valve::Inlet,
            PortSide::Exhaust => Valve::Exhaust,
        }
    }

    fn at_pressure(&self, ground: &Ground<'_>) -> Outcome {
        let mut gathering = Gathering::new(ground);
        let (flow, pressure) = (net(&mut gathering), test_pressure(&mut gathering));
        let beyond: Option<Beyond> = pressure
            .as_ref()
            .and_then(|pressure| flow_at_pressure(1.0, pressure.value(), self.to_pa).ok()?.beyond);
        let value = flow.zip(pressure).map(|(flow, pressure)| self.brought(&[flow?, pressure]));
        let label = flow_label("flow-at-pressure", "flow at the pressure shown");
        gathering
            .finish(label, value)
            .map(|derived| Derived { beyond: beyond.into_iter().collect(), ..derived })
    }

    fn brought(&self, values: &[Budgeted]) -> Result<Budgeted, EngineError> {
        combined(values, |x| Ok(flow_at_pressure(x[0], x[1], self.to_pa)?.flow_m3_per_s))
    }

    /// Flow of standard air at the pressure wanted; the air of a bench with its own orifice cancels.
    fn of_standard_air(&self, gathering: &mut Gathering<'_, '_>) -> Value {
        let (flow, pressure) = (net(gathering), test_pressure(gathering));
        let kind = kind(gathering);
        let (standard, _) = standard_density();
        let density = match kind {
            Some(BenchKind::VolumeFlow) => air::density_of_room(gathering),
            _ => Some(Budgeted::exact(standard).map_err(EngineError::from)),
        };
        gathering.notes.push("standard air is taken at 20 °C and 101.325 kPa, dry".to_owned());
        let (flow, pressure, kind, density) = (flow?, pressure?, kind?, density?);
        Some(flow.and_then(|flow| self.brought(&[flow, pressure])).and_then(|flow| {
            combined(&[flow, density?], |x| flow_of_standard_air_m3_per_s(kind, x[0], x[1], standard))
        }))
    }

    /// Valve diameter: as the sheet says, else as the part has it.
    fn valve_diameter(&self, gathering: &mut Gathering<'_, '_>) -> Option<Budgeted> {
        let own = gathering.ground.input("valve-diameter").is_ok();
        let of_part = format!("{}-valve-diameter", self.side);
        gathering.one(if own { "valve-diameter" } else { &of_part })
    }

    /// Discharge coefficient at the pressure of the reading, in standard air where the bench's figure is of that.
    fn coefficient_of(
        &self,
        gathering: &mut Gathering<'_, '_>,
        reference: ReferenceArea,
        convention: FlowConvention,
    ) -> Value {
        let (flow, pressure) = (net(gathering), test_pressure(gathering));
        let area = self.area(gathering, reference);
        let air = match kind(gathering) {
            Some(BenchKind::VolumeFlow) => room(gathering),
            Some(_) => standard_air(),
            None => None,
        };
        let (flow, pressure, area, air) = (flow?, pressure?, area?, air?);
        let exhaust = self.side == PortSide::Exhaust;
        Some(flow.and_then(|flow| {
            let [density, temperature] = air?;
            combined(&[flow, pressure, area?, density, temperature], |x| {
                let gas_constant = crate::engine::air::DRY_AIR_GAS_CONSTANT;
                // The room's own pressure; the air before an exhaust port stands above it by the test pressure.
                let room_pa = x[3] * gas_constant * x[4];
                let upstream_pa = if exhaust { room_pa + x[1] } else { room_pa };
                let drop = Drop::of_dry_air(upstream_pa, x[4], x[1]);
                let mass = mass_flow_kg_per_s(x[0], x[3])?;
                Ok(discharge_coefficient(mass, &drop, reference, x[2], convention)?.value)
            })
        }))
    }

    fn area(&self, gathering: &mut Gathering<'_, '_>, reference: ReferenceArea) -> Value {
        if reference == ReferenceArea::Throat {
            return valve::throat_of(gathering, self.valve());
        }
        let (head, lift) = (self.valve_diameter(gathering), gathering.one("channel-lift"));
        let count = gathering.count(&format!("{}-valves-per-cylinder", self.side));
        let (head, lift, count) = (head?, lift?, count?);
        Some(combined(&[head, lift], |x| {
            Ok(count
                * match reference {
                    ReferenceArea::Curtain => curtain_area_m2(x[0], x[1])?,
                    _ => circle_area_m2(x[0])?,
                })
        }))
    }
}

/// Exhaust flow over inlet flow of two sheets at one test pressure, over the lifts that both have.
///
/// None where the two share no range of lifts, or either has no flow.
pub fn exhaust_to_inlet(exhaust: &FlowBench<'_>, inlet: &FlowBench<'_>) -> Option<Outcome> {
    let range = common_range(exhaust, inlet)?;
    let flow = |bench: &FlowBench<'_>| mean_of(&bench.at_each("flow-at-pressure"), range.0, range.1);
    let (out, into) = (flow(exhaust)?, flow(inlet)?);
    let label = Label::new(
        "exhaust-to-inlet",
        &format!("exhaust to inlet, {}", range_words(range)),
        QuantityKind::Ratio,
        "",
    );
    let mut gathering = Gathering::new(&inlet.ground);
    let values = (gathering.outcome(out), gathering.outcome(into));
    let value = values
        .0
        .zip(values.1)
        .map(|(out, into)| combined(&[out, into], |x| exhaust_to_inlet_ratio(x[0], x[1])));
    in_group("flow", vec![gathering.finish(label, value)]).pop()
}

/// The range of lifts, in m, that two sheets both cover.
pub fn common_range(a: &FlowBench<'_>, b: &FlowBench<'_>) -> Option<(f64, f64)> {
    let from = a.lifts.first()?.0.max(b.lifts.first()?.0);
    let to = a.lifts.last()?.0.min(b.lifts.last()?.0);
    (to - from > SAME_LIFT_M).then_some((from, to))
}

fn range_words((from_m, to_m): (f64, f64)) -> String {
    format!("mean from {:.1} to {:.1} mm", from_m * 1e3, to_m * 1e3)
}

/// The mean of a figure over a range of lifts; what bars it at one lift bars the mean.
fn mean_of(at: &[(f64, Outcome)], from_m: f64, to_m: f64) -> Option<Outcome> {
    let first = label_of(&at.first()?.1);
    let label = Label {
        name: format!("mean-{}", first.name),
        title: format!("{}, {}", first.title, range_words((from_m, to_m))),
        ..first.clone()
    };
    let mut found: Vec<&Derived> = Vec::new();
    for (_, outcome) in at {
        match outcome {
            Ok(derived) => found.push(derived),
            Err(barred) => return Some(Err(Barred { label, ..barred.clone() })),
        }
    }
    let lifts: Vec<f64> = at.iter().map(|(lift_m, _)| *lift_m).collect();
    let mean = lift_range::weights(&lifts, from_m, to_m).and_then(|weights| {
        let parts = weights.into_iter().zip(found.iter().map(|derived| &derived.value));
        Ok(Budgeted::weighted(parts)?)
    });
    let value = match mean {
        Ok(value) => value,
        Err(error) => {
            return Some(Err(Barred { label, missing: Vec::new(), cannot: Some(error.to_string()) }));
        }
    };
    let mut derived = Derived { label, value, inputs: Vec::new(), notes: Vec::new(), beyond: Vec::new() };
    let mut known = BTreeSet::new();
    for one in found {
        for input in &one.inputs {
            if known.insert((&input.path, &input.at)) {
                derived.inputs.push(input.clone());
            }
        }
        for note in &one.notes {
            if !derived.notes.contains(note) {
                derived.notes.push(note.clone());
            }
        }
        for beyond in &one.beyond {
            if !derived.beyond.contains(beyond) {
                derived.beyond.push(*beyond);
            }
        }
    }
    Some(Ok(derived))
}

fn label_of(outcome: &Outcome) -> &Label {
    match outcome {
        Ok(derived) => &derived.label,
        Err(barred) => &barred.label,
    }
}

fn one(ground: &Ground<'_>, label: Label, gather: impl Fn(&mut Gathering<'_, '_>) -> Value) -> Outcome {
    let mut gathering = Gathering::new(ground);
    let value = gather(&mut gathering);
    gathering.finish(label, value)
}

fn flow_label(name: &str, title: &str) -> Label {
    Label::new(name, title, QuantityKind::VolumeFlow, "cfm")
}

/// The pressure across the port: as read beside the flow, else as the sheet has it.
fn test_pressure(gathering: &mut Gathering<'_, '_>) -> Option<Budgeted> {
    let beside = gathering.ground.channels.contains_key("test-pressure");
    gathering.one(if beside { "channel-test-pressure" } else { "test-pressure" })
}

/// Flow as read, less the leakage, over what the bench showed on its plate; brought to the head's temperature where
/// that of the orifice was read.
fn net(gathering: &mut Gathering<'_, '_>) -> Value {
    let values = gathering.all(&["channel-flow", "leakage", "calibration-plate"]);
    let warmth = ["air-temperature", "orifice-temperature"];
    let warm = warmth.iter().all(|means| gathering.ground.input(means).is_ok());
    let temperatures = if warm { gathering.all(&warmth) } else { Some(Vec::new()) };
    let (mut values, temperatures) = (values?, temperatures?);
    values.extend(temperatures);
    Some(combined(&values, |x| {
        // Leakage was read at the test pressure itself.
        let clean = flow_without_leakage_m3_per_s(x[0], 1.0, x[1].max(0.0), 1.0)? * plate_factor(1.0, x[2])?;
        match (x.get(3), x.get(4)) {
            (Some(head), Some(orifice)) => flow_at_head_m3_per_s(clean, *head, *orifice),
            _ => Ok(clean),
        }
    }))
}

/// What the figures on the sheet are read from; a sheet that is corrected to standard air needs none.
fn kind(gathering: &mut Gathering<'_, '_>) -> Option<BenchKind> {
    if gathering.ground.condition_word("correction").as_deref() == Some("to-standard-air") {
        return Some(BenchKind::Ratio);
    }
    match gathering.ground.condition_word("bench-kind").as_deref() {
        Some("orifice") => Some(BenchKind::Ratio),
        Some(_) => Some(BenchKind::VolumeFlow),
        None => {
            gathering.lack(gathering.ground.condition_missing("bench-kind"));
            None
        }
    }
}

fn standard_density() -> (f64, f64) {
    let (pascal, kelvin) = STANDARD_AIR;
    (pascal / (crate::engine::air::DRY_AIR_GAS_CONSTANT * kelvin), kelvin)
}

/// Density and temperature of standard air.
fn standard_air() -> Option<Result<[Budgeted; 2], EngineError>> {
    let (density, kelvin) = standard_density();
    let exact = |value| Budgeted::exact(value).map_err(EngineError::from);
    Some(exact(density).and_then(|density| Ok([density, exact(kelvin)?])))
}

/// Density and temperature of the room's air.
fn room(gathering: &mut Gathering<'_, '_>) -> Option<Result<[Budgeted; 2], EngineError>> {
    let (density, temperature) = (air::density_of_room(gathering), gathering.one("air-temperature"));
    let (density, temperature) = (density?, temperature?);
    Some(density.map(|density| [density, temperature]))
}
