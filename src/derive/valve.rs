//! Lift at the valve and the areas that it opens, for each cylinder.

use crate::derive::Ground;
use crate::derive::Input;
use crate::derive::camshaft::Valve;
use crate::derive::figure::Gathering;
use crate::derive::figure::Label;
use crate::derive::figure::Outcome;
use crate::derive::figure::combined;
use crate::derive::figure::of;
use crate::engine::EngineError;
use crate::engine::valve::Seat;
use crate::engine::valve::curtain_area_m2;
use crate::engine::valve::lift_of_equal_areas_m;
use crate::engine::valve::throat_area_m2;
use crate::engine::valve_lift::LashAt;
use crate::engine::valve_lift::net_lift_m;
use crate::engine::valve_lift::rocker_ratio;
use crate::quantity::QuantityKind;
use crate::statistics::budget::Budgeted;

/// Lifts and areas of one side.
pub(super) fn figures(ground: &Ground<'_>) -> Vec<Outcome> {
    [Valve::Inlet, Valve::Exhaust].into_iter().flat_map(|valve| of_valve(ground, valve)).collect()
}

fn of_valve(ground: &Ground<'_>, valve: Valve) -> Vec<Outcome> {
    let word = valve.word();
    let area = |name: &str, title: &str| {
        Label::new(&format!("{word}-{name}"), &format!("{word} {title}"), QuantityKind::Area, "cm²")
    };
    let head = format!("{word}-valve-diameter");
    let mut all = vec![lift(ground, valve)];
    all.extend(rocker_as_found(ground, valve));
    all.extend([
        at_full_lift(ground, area("curtain-area", "curtain area at full lift"), valve, &[&head], |x| {
            curtain_area_m2(x[1], x[0])
        }),
        throat(ground, area("throat-area", "throat area less the stem"), valve),
        at_full_lift(
            ground,
            area("smallest-area", "smallest seat area at full lift"),
            valve,
            &[
                &head,
                &format!("{word}-seat-width"),
                &format!("{word}-seat-angle"),
                &format!("{word}-throat-diameter"),
                &format!("{word}-stem-diameter"),
            ],
            |x| {
                let seat = Seat {
                    valve_diameter_m: x[1],
                    // The band is measured along its face; the relation takes it in the plane of the head.
                    seat_width_m: x[2] * libm::cos(x[3]),
                    angle_deg: x[3].to_degrees(),
                    port_diameter_m: x[4],
                    stem_diameter_m: x[5],
                };
                Ok(seat.smallest_area_m2(x[0])?.0)
            },
        ),
        of(
            ground,
            Label::new(
                &format!("{word}-lift-of-equal-areas"),
                &format!("{word} lift of equal curtain and valve area"),
                QuantityKind::Length,
                "mm",
            ),
            &[&head],
            |x| lift_of_equal_areas_m(x[0]),
        ),
    ]);
    all
}

fn lift_label(valve: Valve) -> Label {
    let word = valve.word();
    Label::new(
        &format!("{word}-valve-lift"),
        &format!("{word} valve lift, less the lash"),
        QuantityKind::Length,
        "mm",
    )
}

/// The lift at the valve: as measured there, else from lobe, rocker and lash.
pub(super) fn lift(ground: &Ground<'_>, valve: Valve) -> Outcome {
    if ground.input(&format!("valve-lift-{}", valve.word())).is_ok() {
        return lift_as_measured(ground, valve);
    }
    lift_by_lobe(ground, valve)
}

pub(super) fn lift_as_measured(ground: &Ground<'_>, valve: Valve) -> Outcome {
    of(ground, lift_label(valve), &[&format!("valve-lift-{}", valve.word())], |x| Ok(x[0]))
}

pub(super) fn lift_by_lobe(ground: &Ground<'_>, valve: Valve) -> Outcome {
    let [lobe, rocker, lash] = train(ground, valve);
    of(ground, lift_label(valve), &[&lobe, &rocker, &lash], |x| {
        net_lift_m(x[0], x[1], x[2].max(0.0), LashAt::Valve)
    })
}

/// The inputs of the train from lobe to valve; the exhaust has a rocker ratio of its own only where that differs.
fn train(ground: &Ground<'_>, valve: Valve) -> [String; 3] {
    let word = valve.word();
    let own = valve == Valve::Exhaust && ground.input("rocker-ratio-exhaust").is_ok();
    let rocker = if own { "rocker-ratio-exhaust" } else { "rocker-ratio" };
    [format!("lobe-lift-{word}"), rocker.to_owned(), format!("valve-lash-{word}")]
}

/// The rocker ratio that a lift measured at the valve means, where one was.
fn rocker_as_found(ground: &Ground<'_>, valve: Valve) -> Option<Outcome> {
    let word = valve.word();
    let measured = format!("valve-lift-{word}");
    ground.input(&measured).ok()?;
    let label = Label::new(
        &format!("{word}-rocker-ratio-as-found"),
        &format!("{word} rocker ratio by the lift measured"),
        QuantityKind::Ratio,
        "",
    );
    let [lobe, _, lash] = train(ground, valve);
    Some(of(ground, label, &[&measured, &lobe, &lash], |x| {
        rocker_ratio(x[0], x[1], x[2].max(0.0), LashAt::Valve)
    }))
}

/// An area of one valve at its full lift, times the valves of a cylinder; the lift comes first among the values.
fn at_full_lift(
    ground: &Ground<'_>,
    label: Label,
    valve: Valve,
    means: &[&str],
    relation: impl Fn(&[f64]) -> Result<f64, EngineError>,
) -> Outcome {
    let mut gathering = Gathering::new(ground);
    let lift = gathering.outcome(lift(ground, valve));
    let values = gathering.all(means);
    let count = gathering.count(&format!("{}-valves-per-cylinder", valve.word()));
    let value = lift.zip(values).zip(count).map(|((lift, values), count)| {
        let mut all = vec![lift];
        all.extend(values);
        combined(&all, |x| Ok(count * relation(x)?))
    });
    gathering.finish(label, value)
}

/// The throat area less the stem of all valves of a cylinder.
fn throat(ground: &Ground<'_>, label: Label, valve: Valve) -> Outcome {
    let mut gathering = Gathering::new(ground);
    let value = throat_of(&mut gathering, valve);
    gathering.finish(label, value)
}

/// The same, by whatever gathers it.
pub(super) fn throat_of(
    gathering: &mut Gathering<'_, '_>,
    valve: Valve,
) -> Option<Result<Budgeted, EngineError>> {
    let word = valve.word();
    let values = gathering.all(&[&format!("{word}-throat-diameter"), &format!("{word}-stem-diameter")]);
    let count = gathering.count(&format!("{word}-valves-per-cylinder"));
    values.zip(count).map(|(values, count)| combined(&values, |x| Ok(count * throat_area_m2(x[0], x[1])?)))
}

impl Gathering<'_, '_> {
    /// The value of another figure, whose inputs and lacks become this one's.
    pub(super) fn outcome(&mut self, outcome: Outcome) -> Option<Budgeted> {
        match outcome {
            Ok(derived) => {
                derived.inputs.iter().for_each(|input| self.rests_on(input));
                Some(derived.value)
            }
            Err(barred) => {
                barred.missing.into_iter().for_each(|missing| self.lack(missing));
                barred.cannot.and_then(|why| self.cannot(why))
            }
        }
    }

    /// A number of things, which is known without error.
    pub(super) fn count(&mut self, means: &str) -> Option<f64> {
        let input: Input = self.input(means)?;
        input.values.first().copied()
    }
}
