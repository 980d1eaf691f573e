//! Where the piston stands and how it moves: at the end of a sweep or a speed asked for, and at crank angles asked for.

use crate::derive::Ground;
use crate::derive::Missing;
use crate::derive::camshaft;
use crate::derive::figure::Gathering;
use crate::derive::figure::Label;
use crate::derive::figure::Outcome;
use crate::derive::figure::combined;
use crate::derive::figure::of;
use crate::engine::EngineError;
use crate::engine::piston::CrankMechanism;
use crate::engine::piston::mean_speed_m_per_s;
use crate::quantity::QuantityKind;
use crate::quantity::parse_reading;
use crate::statistics::budget::Budgeted;

/// The inputs of the crank mechanism.
const CRANK: [&str; 2] = ["stroke", "rod-length"];

/// Piston figures of one side.
pub(super) fn figures(ground: &Ground<'_>) -> Vec<Outcome> {
    let velocity = |name: &str, title: String| Label::new(name, &title, QuantityKind::Velocity, "m/s");
    let acceleration =
        |name: &str, title: String| Label::new(name, &title, QuantityKind::Acceleration, "m/s²");
    let mut all = Vec::new();
    if let Some(speed) = speed(ground) {
        let crank = |label: Label, relation: fn(&CrankMechanism, f64) -> Result<f64, EngineError>| {
            with_speed(ground, label, &speed, relation)
        };
        let at = words(&speed);
        all.extend([
            mean_speed(ground, velocity("mean-piston-speed", format!("mean piston speed at {at}")), &speed),
            crank(
                velocity("greatest-piston-speed", format!("greatest piston speed at {at}")),
                |crank, rpm| Ok(crank.greatest_speed(rpm)?.speed_m_per_s),
            ),
            crank(
                acceleration("piston-acceleration-top", format!("piston acceleration at top, {at}")),
                |crank, rpm| crank.acceleration_m_per_s2(0.0, rpm),
            ),
            crank(
                acceleration("piston-acceleration-bottom", format!("piston acceleration at bottom, {at}")),
                |crank, rpm| crank.acceleration_m_per_s2(180.0, rpm),
            ),
        ]);
        all.extend(ground.asked.crank_deg.iter().flat_map(|&angle| moving(ground, angle, &speed)));
    }
    all.extend(ground.asked.crank_deg.iter().map(|&angle| position(ground, angle)));
    if ground.has_camshaft() {
        all.push(position_at_closing(ground));
    }
    all
}

/// The speed that figures of a moving piston are given at.
pub(super) type Speed = Result<(f64, String), Missing>;

pub(super) fn words(speed: &Speed) -> String {
    speed.as_ref().map_or_else(|_| "the end of the sweep".to_owned(), |(_, text)| text.clone())
}

/// The speed asked for, else that at which the sweep ended; none for a build when no speed is asked for.
pub(super) fn speed(ground: &Ground<'_>) -> Option<Speed> {
    if let Some(rpm) = ground.asked.speed_rpm {
        return Some(Ok((rpm, format!("{rpm} rpm"))));
    }
    if !ground.is_pull {
        return None;
    }
    let missing = |why: &str| Missing {
        means: "sweep-end".to_owned(),
        path: "run.to".to_owned(),
        title: "speed at the end of the sweep".to_owned(),
        why: why.to_owned(),
    };
    let Some(text) = ground.effective.run.get("to") else {
        return Some(Err(missing("nobody wrote it down")));
    };
    let rpm = parse_reading(text, QuantityKind::RotationalSpeed, None)
        .ok()
        .and_then(|reading| reading.mean().in_spelled("rpm").ok());
    Some(rpm.map(|rpm| (rpm, text.clone())).ok_or_else(|| missing("it is no speed that can be read")))
}

/// The mean piston speed, by whatever gathers it.
pub(super) fn mean_speed_of(
    gathering: &mut Gathering<'_, '_>,
    speed: &Speed,
) -> Option<Result<Budgeted, EngineError>> {
    let stroke = gathering.one("stroke");
    let (rpm, _) = gathering.said(speed)?;
    stroke.map(|stroke| Budgeted::combine(&[&stroke], |x| mean_speed_m_per_s(x[0], rpm)))
}

fn mean_speed(ground: &Ground<'_>, label: Label, speed: &Speed) -> Outcome {
    let mut gathering = Gathering::new(ground);
    let value = mean_speed_of(&mut gathering, speed);
    gathering.finish(label, value)
}

fn with_speed(
    ground: &Ground<'_>,
    label: Label,
    speed: &Speed,
    relation: impl Fn(&CrankMechanism, f64) -> Result<f64, EngineError>,
) -> Outcome {
    let mut gathering = Gathering::new(ground);
    let values = gathering.all(&CRANK);
    let value = gathering.said(speed).and_then(|(rpm, _)| {
        values.map(|values| combined(&values, |x| relation(&CrankMechanism::new(x[0], x[1])?, rpm)))
    });
    gathering.finish(label, value)
}

/// Speed and acceleration at a crank angle after top dead centre.
fn moving(ground: &Ground<'_>, angle: f64, speed: &Speed) -> [Outcome; 2] {
    let at = format!("{angle}° after top, {}", words(speed));
    let label = |name: &str, title: &str, kind: QuantityKind, unit: &'static str| {
        Label::new(&format!("{name}-{angle}"), &format!("{title} at {at}"), kind, unit)
    };
    [
        with_speed(
            ground,
            label("piston-speed", "piston speed", QuantityKind::Velocity, "m/s"),
            speed,
            |crank, rpm| crank.speed_m_per_s(angle, rpm),
        ),
        with_speed(
            ground,
            label("piston-acceleration", "piston acceleration", QuantityKind::Acceleration, "m/s²"),
            speed,
            |crank, rpm| crank.acceleration_m_per_s2(angle, rpm),
        ),
    ]
}

fn position(ground: &Ground<'_>, angle: f64) -> Outcome {
    let label = Label::new(
        &format!("piston-position-{angle}"),
        &format!("piston below top at {angle}° after top"),
        QuantityKind::Length,
        "mm",
    );
    of(ground, label, &CRANK, |x| CrankMechanism::new(x[0], x[1])?.position_m(angle))
}

/// How far below top the piston stands when the inlet has closed to 0.050 in.
fn position_at_closing(ground: &Ground<'_>) -> Outcome {
    let label = Label::new(
        "piston-position-at-inlet-closing",
        "piston below top as the inlet closes",
        QuantityKind::Length,
        "mm",
    );
    let mut gathering = Gathering::new(ground);
    let crank = gathering.all(&CRANK);
    let closing = camshaft::inlet_closing(&mut gathering);
    let value = crank.zip(closing).map(|(mut values, closing)| {
        values.push(closing?);
        combined(&values, |x| CrankMechanism::new(x[0], x[1])?.position_m(180.0 + x[2].to_degrees()))
    });
    gathering.finish(label, value)
}
