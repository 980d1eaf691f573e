//! A cam card that contradicts itself, or what stands installed.

use crate::derive::Ground;
use crate::derive::Input;
use crate::derive::LEVEL;
use crate::derive::camshaft::STATED_LIFT_M;
use crate::derive::camshaft::Valve;
use crate::derive::camshaft::advertised_lift_m;
use crate::derive::camshaft::events;
use crate::derive::camshaft::exhaust_centreline;
use crate::derive::figure::Gathering;
use crate::derive::figure::Outcome;
use crate::derive::figure::combined;
use crate::derive::valve;
use crate::engine::cam_card::CardContradiction;
use crate::engine::cam_card::CardFigure;
use crate::engine::cam_card::contradicting_durations;
use crate::engine::cam_card::read_card;
use crate::statistics::budget::Budgeted;

/// Figures that cannot all be right, a sentence each.
///
/// The figures of a card are sums of four unknowns, so that what too many of them say can be held against each other; a
/// duration must fall as the lift rises; the two centrelines as installed must stand as far apart as the card says; the
/// lift at the valve must be what lobe, rocker and lash make.
pub fn contradictions(ground: &Ground<'_>) -> Vec<String> {
    let mut all: Vec<String> = card(ground).into_iter().collect();
    all.extend([Valve::Inlet, Valve::Exhaust].into_iter().filter_map(|valve| durations(ground, valve)));
    all.extend(installed(ground));
    all.extend([Valve::Inlet, Valve::Exhaust].into_iter().filter_map(|valve| lift(ground, valve)));
    all
}

/// The card's figures at 0.050 in, by what each means, in degrees as the relations count them.
const CARD: [(&str, CardFigure); 8] = [
    ("cam-duration-inlet-050", CardFigure::InletDuration),
    ("cam-duration-exhaust-050", CardFigure::ExhaustDuration),
    ("card-centreline", CardFigure::InletCentreline),
    ("lobe-separation", CardFigure::Separation),
    ("card-inlet-opens", CardFigure::InletOpening),
    ("card-inlet-closes", CardFigure::InletClosing),
    ("card-exhaust-opens", CardFigure::ExhaustOpening),
    ("card-exhaust-closes", CardFigure::ExhaustClosing),
];

fn degrees(figure: CardFigure, value: f64) -> f64 {
    match figure {
        CardFigure::InletOpening => events(Valve::Inlet, value, 0.0).opens_before_deg,
        CardFigure::InletClosing => events(Valve::Inlet, 0.0, value).closes_after_deg,
        CardFigure::ExhaustOpening => events(Valve::Exhaust, value, 0.0).opens_before_deg,
        CardFigure::ExhaustClosing => events(Valve::Exhaust, 0.0, value).closes_after_deg,
        _ => value.to_degrees(),
    }
}

fn card(ground: &Ground<'_>) -> Option<String> {
    let mut stated: Vec<(CardFigure, f64)> = Vec::new();
    let mut inputs: Vec<(CardFigure, Input)> = Vec::new();
    let mut rounding = 0.0_f64;
    for (means, figure) in CARD {
        let Ok(input) = ground.input(means) else { continue };
        let Ok(value) = input.mean() else { continue };
        stated.push((figure, degrees(figure, value.value())));
        // A rectangular limit is √3 standard uncertainties; two figures' roundings meet in one sum.
        rounding = rounding.max(2.0 * 3.0_f64.sqrt() * value.standard_uncertainty().to_degrees());
        inputs.push((figure, input));
    }
    let reading = read_card(&stated, rounding).ok()?;
    let path = |figure: CardFigure| {
        inputs.iter().find(|(known, _)| *known == figure).map_or("", |(_, input)| input.path.as_str())
    };
    let text = |figure: CardFigure| {
        inputs.iter().find(|(known, _)| *known == figure).map_or("", |(_, input)| input.text.as_str())
    };
    match reading.contradictions.as_slice() {
        [] => None,
        [CardContradiction { figure, follows_deg: Some(follows), stated_deg }] => Some(format!(
            "the cam card contradicts itself: {} says {}, the other figures make it {:.1}° off that",
            path(*figure),
            text(*figure),
            (follows - stated_deg).abs()
        )),
        several => {
            let named: Vec<String> =
                several.iter().map(|one| format!("{} {}", path(one.figure), text(one.figure))).collect();
            Some(format!("the cam card contradicts itself; one of these is wrong: {}", named.join(", ")))
        }
    }
}

/// A duration that does not fall from the advertised lift to 0.050 in.
fn durations(ground: &Ground<'_>, valve: Valve) -> Option<String> {
    let input = |lift: &str| ground.input(&format!("cam-duration-{}-{lift}", valve.word())).ok();
    let (advertised, stated) = (input("advertised")?, input("050")?);
    let degrees = |input: &Input| Some(input.mean().ok()?.value().to_degrees());
    let low = advertised_lift_m(ground, valve).unwrap_or(0.0);
    let pairs =
        contradicting_durations(&[(low, degrees(&advertised)?), (STATED_LIFT_M, degrees(&stated)?)]).ok()?;
    (!pairs.is_empty()).then(|| {
        format!(
            "the cam card contradicts itself: {} {} at a lower lift is no longer than {} {} at 0.050 in",
            advertised.path, advertised.text, stated.path, stated.text
        )
    })
}

/// Centrelines as installed that stand otherwise apart than the card says.
fn installed(ground: &Ground<'_>) -> Option<String> {
    let input = |means: &str| ground.input(means).ok();
    let (inlet, exhaust, separation) =
        (input("installed-centreline")?, input("exhaust-centreline")?, input("lobe-separation")?);
    let centre = exhaust_centreline(&mut Gathering::new(ground))?;
    let values = [inlet.mean().ok()?, centre, separation.mean().ok()?];
    let found = combined(&values, |x| Ok((x[0] + x[1]) / 2.0)).ok()?.value();
    let apart = combined(&values, |x| Ok((x[0] + x[1]) / 2.0 - x[2])).ok()?;
    is_off(&apart)?.then(|| {
        format!(
            "{} {} and {} {} stand {:.1}° apart, {} says {}",
            inlet.path,
            inlet.text,
            exhaust.path,
            exhaust.text,
            found.to_degrees(),
            separation.path,
            separation.text
        )
    })
}

/// Whether a difference that should be nothing is more than its interval holds.
fn is_off(apart: &Budgeted) -> Option<bool> {
    Some(apart.value().abs() > apart.interval(LEVEL).ok()?.half_width())
}

/// A lift at the valve that lobe, rocker and lash do not make.
fn lift(ground: &Ground<'_>, which: Valve) -> Option<String> {
    let (Outcome::Ok(measured), Outcome::Ok(made)) =
        (valve::lift_as_measured(ground, which), valve::lift_by_lobe(ground, which))
    else {
        return None;
    };
    is_off(&measured.value.minus(&made.value).ok()?)?.then(|| {
        format!(
            "the {} valve's lift was measured as {:.2} mm; lobe, rocker and lash make {:.2} mm",
            which.word(),
            measured.value.value() * 1e3,
            made.value.value() * 1e3
        )
    })
}
