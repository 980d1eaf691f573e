//! Valve events from the cam card and the installed centreline, and the compression left when the inlet closes.
//!
//! Durations are those at 0.050 in (1.27 mm) of follower lift, the lift that makers have in common; advertised ones are
//! never mixed in.

use crate::derive::Ground;
use crate::derive::figure::Gathering;
use crate::derive::figure::Label;
use crate::derive::figure::Outcome;
use crate::derive::geometry;
use crate::engine::EngineError;
use crate::engine::cam::Lobe;
use crate::engine::cam::lobe_separation_deg;
use crate::engine::cam::overlap_deg;
use crate::engine::inlet_closing::ratio_at_inlet_closing;
use crate::engine::piston::CrankMechanism;
use crate::quantity::QuantityKind;
use crate::statistics::budget::Budgeted;

/// 0.050 in, at which the durations are stated, in metres.
const STATED_LIFT_M: f64 = 0.050 * 0.0254;

/// Valve events of one side.
pub(super) fn figures(ground: &Ground<'_>) -> Vec<Outcome> {
    let angle = |name: &str, title: &str| Label::new(name, title, QuantityKind::Angle, "deg");
    let inlet = |label: Label, event: fn(&Lobe) -> Result<f64, EngineError>| {
        let mut gathering = Gathering::new(ground);
        let found = inlet(&mut gathering);
        gathering.finish(label, found.map(|found| of_lobe(&found, event)))
    };
    let exhaust = |label: Label, event: fn(&Lobe) -> Result<f64, EngineError>| {
        let mut gathering = Gathering::new(ground);
        let found = exhaust(&mut gathering);
        gathering.finish(label, found.map(|found| of_lobe(&found, event)))
    };
    vec![
        inlet(angle("inlet-opens", "inlet opens before top, at 0.050 in"), |lobe| {
            Ok(lobe.inlet_events()?.opens_before_deg)
        }),
        inlet(angle("inlet-closes", "inlet closes after bottom, at 0.050 in"), |lobe| {
            Ok(lobe.inlet_events()?.closes_after_deg)
        }),
        exhaust(angle("exhaust-opens", "exhaust opens before bottom, at 0.050 in"), |lobe| {
            Ok(lobe.exhaust_events()?.opens_before_deg)
        }),
        exhaust(angle("exhaust-closes", "exhaust closes after top, at 0.050 in"), |lobe| {
            Ok(lobe.exhaust_events()?.closes_after_deg)
        }),
        both(ground, angle("overlap", "overlap at 0.050 in"), overlap_deg),
        separation(ground, angle("lobe-separation", "lobe separation")),
        left_compression(ground),
    ]
}

/// Duration and centreline of a lobe, degrees.
struct Found {
    duration: Budgeted,
    centreline: Budgeted,
}

fn lobe(duration_deg: f64, centreline_deg: f64) -> Lobe {
    Lobe { at_lift_m: STATED_LIFT_M, duration_deg, centreline_deg }
}

/// An event in radians, as records hold angles.
fn of_lobe(found: &Found, event: fn(&Lobe) -> Result<f64, EngineError>) -> Result<Budgeted, EngineError> {
    Budgeted::combine(&[&found.duration, &found.centreline], |x| {
        Ok(event(&lobe(x[0].to_degrees(), x[1].to_degrees()))?.to_radians())
    })
}

fn inlet(gathering: &mut Gathering<'_, '_>) -> Option<Found> {
    let (duration, centreline) =
        (gathering.one("cam-duration-inlet-050"), gathering.one("installed-centreline"));
    Some(Found { duration: duration?, centreline: centreline? })
}

/// The exhaust lobe; its centreline as measured, else from the card's lobe separation and the inlet's centreline.
fn exhaust(gathering: &mut Gathering<'_, '_>) -> Option<Found> {
    let duration = gathering.one("cam-duration-exhaust-050");
    let centreline = exhaust_centreline(gathering);
    Some(Found { duration: duration?, centreline: centreline? })
}

fn exhaust_centreline(gathering: &mut Gathering<'_, '_>) -> Option<Budgeted> {
    let ground = gathering.ground;
    let by_card = ground.input("exhaust-centreline").is_err() && ground.input("lobe-separation").is_ok();
    let worked_out = if by_card {
        let (separation, inlet) = (gathering.one("lobe-separation"), gathering.one("installed-centreline"));
        gathering
            .notes
            .push("exhaust centreline worked out from the card's lobe separation and the inlet's".to_owned());
        let (separation, inlet) = (separation?, inlet?);
        Budgeted::combine(&[&separation, &inlet], |x| Ok::<f64, EngineError>(2.0 * x[0] - x[1]))
    } else {
        // Records count from top dead centre onwards; the relations count the exhaust's centreline backwards.
        let exhaust = gathering.one("exhaust-centreline")?;
        let turn = std::f64::consts::TAU;
        Budgeted::combine(&[&exhaust], |x| {
            let before = -x[0];
            Ok::<f64, EngineError>(if before < 0.0 { before + turn } else { before })
        })
    };
    worked_out.map_or_else(|error| gathering.cannot(error), Some)
}

fn both(ground: &Ground<'_>, label: Label, event: fn(&Lobe, &Lobe) -> Result<f64, EngineError>) -> Outcome {
    let mut gathering = Gathering::new(ground);
    let found = inlet(&mut gathering);
    let mut second = Gathering::new(ground);
    let other = exhaust(&mut second);
    gathering.add(second);
    let value = found.zip(other).map(|(inlet, exhaust)| {
        let inputs = [&inlet.duration, &inlet.centreline, &exhaust.duration, &exhaust.centreline];
        Budgeted::combine(&inputs, |x| {
            let inlet = lobe(x[0].to_degrees(), x[1].to_degrees());
            Ok(event(&inlet, &lobe(x[2].to_degrees(), x[3].to_degrees()))?.to_radians())
        })
    });
    gathering.finish(label, value)
}

/// Separation from the two centrelines as installed, else as the card has it.
fn separation(ground: &Ground<'_>, label: Label) -> Outcome {
    if ground.input("exhaust-centreline").is_ok() && ground.input("installed-centreline").is_ok() {
        return both(ground, label, |inlet, exhaust| Ok(lobe_separation_deg(inlet, exhaust)));
    }
    let mut gathering = Gathering::new(ground);
    let value = gathering.one("lobe-separation").map(Ok);
    gathering.finish(label, value)
}

/// Compression ratio from the point where the inlet has closed to 0.050 in, with mean bore and clearance.
fn left_compression(ground: &Ground<'_>) -> Outcome {
    let label = Label::new(
        "compression-ratio-at-inlet-closing",
        "compression ratio at inlet closing (0.050 in)",
        QuantityKind::Ratio,
        "",
    );
    let mut gathering = Gathering::new(ground);
    let clearance = geometry::clearance(&mut gathering);
    let mut crank = Gathering::new(ground);
    let cylinders = crank.cylinders();
    let bore = crank.each("bore", cylinders);
    let (stroke, rod) = (crank.one("stroke"), crank.one("rod-length"));
    let found = inlet(&mut crank);
    gathering.add(crank);
    let value = match (clearance, bore, stroke, rod, found) {
        (Some(clearance), Some(bore), Some(stroke), Some(rod), Some(found)) => {
            Some(clearance.and_then(|clearance| {
                let (bore, clearance) = (geometry::mean(&bore)?, geometry::mean(&clearance)?);
                let inputs = [&stroke, &rod, &bore, &clearance, &found.duration, &found.centreline];
                Budgeted::combine(&inputs, |x| {
                    let crank = CrankMechanism::new(x[0], x[1])?;
                    let closing = lobe(x[4].to_degrees(), x[5].to_degrees()).inlet_events()?.closes_after_deg;
                    ratio_at_inlet_closing(&crank, x[2], x[3], closing)
                })
            }))
        }
        _ => None,
    };
    gathering.finish(label, value)
}
