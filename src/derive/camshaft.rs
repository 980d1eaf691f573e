//! Valve events from the cam card and the installed centreline, and the compression left when the inlet closes.
//!
//! Durations at 0.050 in (1.27 mm) of follower lift, which makers have in common, and advertised ones at the lift that
//! stands beside them are told apart and never mixed. A card that states events instead of durations is read the other
//! way round.

use crate::derive::Ground;
use crate::derive::Missing;
use crate::derive::figure::Gathering;
use crate::derive::figure::Label;
use crate::derive::figure::Outcome;
use crate::derive::figure::combined;
use crate::derive::geometry;
use crate::engine::EngineError;
use crate::engine::cam::Events;
use crate::engine::cam::Lobe;
use crate::engine::cam::lobe_separation_deg;
use crate::engine::cam::overlap_deg;
use crate::engine::inlet_closing::ratio_at_inlet_closing;
use crate::engine::piston::CrankMechanism;
use crate::quantity::QuantityKind;
use crate::quantity::parse_reading;
use crate::statistics::budget::Budgeted;

/// 0.050 in, at which makers state durations alike, in metres.
pub(super) const STATED_LIFT_M: f64 = 0.050 * 0.0254;

/// At which lift a duration is stated.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum At {
    /// 0.050 in.
    FiftyThou,
    /// The maker's advertised lift.
    Advertised,
}

/// One of the two valves.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Valve {
    /// The inlet.
    Inlet,
    /// The exhaust.
    Exhaust,
}

impl Valve {
    /// Its word in inputs and titles.
    pub(super) fn word(self) -> &'static str {
        match self {
            Self::Inlet => "inlet",
            Self::Exhaust => "exhaust",
        }
    }
}

/// An event of a lobe in degrees.
type Event = fn(&Lobe) -> Result<f64, EngineError>;

/// Valve events of one side.
pub(super) fn figures(ground: &Ground<'_>) -> Vec<Outcome> {
    let mut all = at_lift(ground, At::FiftyThou);
    all.push(exhaust_centre(ground));
    all.push(separation(ground));
    all.push(advance(ground));
    all.extend([Valve::Inlet, Valve::Exhaust].into_iter().flat_map(|valve| of_events(ground, valve)));
    let mut ratios = ratios(ground).into_iter();
    all.extend(ratios.next());
    if is_advertised(ground) {
        all.extend(at_lift(ground, At::Advertised));
    }
    all.extend(ratios);
    all
}

/// The compression ratios from where the inlet valve closes.
pub(super) fn ratios(ground: &Ground<'_>) -> Vec<Outcome> {
    let advertised = is_advertised(ground).then_some(At::Advertised);
    [At::FiftyThou].into_iter().chain(advertised).map(|at| left_compression(ground, at)).collect()
}

fn is_advertised(ground: &Ground<'_>) -> bool {
    let given = |valve: Valve| ground.input(&duration_means(valve, At::Advertised)).is_ok();
    given(Valve::Inlet) || given(Valve::Exhaust)
}

fn at_lift(ground: &Ground<'_>, at: At) -> Vec<Outcome> {
    let angle = |name: &str, title: &str| {
        let (suffix, lift) = words(ground, at);
        Label::new(&format!("{name}{suffix}"), &format!("{title} {lift}"), QuantityKind::Angle, "deg")
    };
    let one = |label: Label, valve: Valve, event: Event| {
        let mut gathering = Gathering::new(ground);
        let found = lobe(&mut gathering, valve, at);
        gathering.finish(label, found.map(|found| of_lobe(&found, event)))
    };
    vec![
        one(angle("inlet-opens", "inlet opens before top"), Valve::Inlet, |lobe| {
            Ok(lobe.inlet_events()?.opens_before_deg)
        }),
        one(angle("inlet-closes", "inlet closes after bottom"), Valve::Inlet, |lobe| {
            Ok(lobe.inlet_events()?.closes_after_deg)
        }),
        one(angle("exhaust-opens", "exhaust opens before bottom"), Valve::Exhaust, |lobe| {
            Ok(lobe.exhaust_events()?.opens_before_deg)
        }),
        one(angle("exhaust-closes", "exhaust closes after top"), Valve::Exhaust, |lobe| {
            Ok(lobe.exhaust_events()?.closes_after_deg)
        }),
        both(ground, angle("overlap", "overlap"), at, overlap_deg),
    ]
}

/// What a figure's name ends in, and the lift in words.
fn words(ground: &Ground<'_>, at: At) -> (&'static str, String) {
    match at {
        At::FiftyThou => ("", "at 0.050 in".to_owned()),
        At::Advertised => {
            let lift = [Valve::Inlet, Valve::Exhaust]
                .into_iter()
                .find_map(|valve| ground.input(&duration_means(valve, at)).ok()?.circumstance);
            ("-advertised", lift.map_or("as advertised".to_owned(), |lift| format!("at {lift}")))
        }
    }
}

fn duration_means(valve: Valve, at: At) -> String {
    let lift = match at {
        At::FiftyThou => "050",
        At::Advertised => "advertised",
    };
    format!("cam-duration-{}-{lift}", valve.word())
}

/// Duration and centreline of a lobe as installed, in radians, at its stated lift in metres.
struct Found {
    duration: Budgeted,
    centreline: Budgeted,
    at_lift_m: f64,
}

fn lobe_of(duration: f64, centreline: f64, at_lift_m: f64) -> Lobe {
    Lobe { at_lift_m, duration_deg: duration.to_degrees(), centreline_deg: centreline.to_degrees() }
}

/// An event in radians, as records hold angles.
fn of_lobe(found: &Found, event: Event) -> Result<Budgeted, EngineError> {
    Budgeted::combine(&[&found.duration, &found.centreline], |x| {
        Ok(event(&lobe_of(x[0], x[1], found.at_lift_m))?.to_radians())
    })
}

fn lobe(gathering: &mut Gathering<'_, '_>, valve: Valve, at: At) -> Option<Found> {
    let duration = duration(gathering, valve, at);
    let centreline = match valve {
        Valve::Inlet => gathering.one("installed-centreline"),
        Valve::Exhaust => exhaust_centreline(gathering),
    };
    let at_lift_m = match at {
        At::FiftyThou => STATED_LIFT_M,
        At::Advertised => advertised_lift_m(gathering.ground, valve).unwrap_or(f64::MIN_POSITIVE),
    };
    Some(Found { duration: duration?, centreline: centreline?, at_lift_m })
}

/// The lift, in metres, that stands beside an advertised duration.
pub(super) fn advertised_lift_m(ground: &Ground<'_>, valve: Valve) -> Option<f64> {
    let input = ground.input(&duration_means(valve, At::Advertised)).ok()?;
    let lift = parse_reading(input.circumstance.as_deref()?, QuantityKind::Length, None).ok()?;
    Some(lift.mean().si()).filter(|lift| (0.0..STATED_LIFT_M).contains(lift))
}

/// The duration as the card states it, else by the events on the card.
fn duration(gathering: &mut Gathering<'_, '_>, valve: Valve, at: At) -> Option<Budgeted> {
    let ground = gathering.ground;
    let means = duration_means(valve, at);
    if at == At::FiftyThou && ground.input(&means).is_err() && has_events(ground, valve) {
        gathering.notes.push(format!("{} duration worked out from the events on the card", valve.word()));
        return card_lobe(gathering, valve)?
            .map_or_else(|error| gathering.cannot(error), |lobe| Some(lobe.0));
    }
    gathering.one(&means)
}

fn event_means(valve: Valve) -> [String; 2] {
    ["opens", "closes"].map(|event| format!("card-{}-{event}", valve.word()))
}

fn has_events(ground: &Ground<'_>, valve: Valve) -> bool {
    event_means(valve).iter().all(|means| ground.input(means).is_ok())
}

/// Events as records count them (radians after top dead centre) to events as the relations do.
pub(super) fn events(valve: Valve, opens: f64, closes: f64) -> Events {
    let (opens, closes) = (opens.to_degrees(), closes.to_degrees());
    match valve {
        Valve::Inlet => {
            Events { at_lift_m: STATED_LIFT_M, opens_before_deg: -opens, closes_after_deg: closes - 180.0 }
        }
        Valve::Exhaust => {
            Events { at_lift_m: STATED_LIFT_M, opens_before_deg: 180.0 - opens, closes_after_deg: closes }
        }
    }
}

/// Duration and centreline, in radians, that follow from the events on the card.
fn card_lobe(
    gathering: &mut Gathering<'_, '_>,
    valve: Valve,
) -> Option<Result<(Budgeted, Budgeted), EngineError>> {
    let [opens, closes] = event_means(valve);
    let values = gathering.all(&[&opens, &closes])?;
    let of = |what: fn(&Lobe) -> f64| {
        combined(&values, |x| {
            let events = events(valve, x[0], x[1]);
            let lobe = match valve {
                Valve::Inlet => Lobe::from_inlet_events(events)?,
                Valve::Exhaust => Lobe::from_exhaust_events(events)?,
            };
            Ok(what(&lobe).to_radians())
        })
    };
    Some(of(|lobe| lobe.duration_deg).and_then(|duration| Ok((duration, of(|lobe| lobe.centreline_deg)?))))
}

/// The duration and the lobe centre that a card's events mean, where it states events.
fn of_events(ground: &Ground<'_>, valve: Valve) -> Vec<Outcome> {
    if !has_events(ground, valve) {
        return Vec::new();
    }
    let (word, side) = (valve.word(), if valve == Valve::Inlet { "after" } else { "before" });
    let one = |name: &str, title: String, which: fn((Budgeted, Budgeted)) -> Budgeted| {
        let label = Label::new(&format!("{word}-{name}-of-events"), &title, QuantityKind::Angle, "deg");
        let mut gathering = Gathering::new(ground);
        let value = card_lobe(&mut gathering, valve).map(|lobe| lobe.map(which));
        gathering.finish(label, value)
    };
    vec![
        one("duration", format!("{word} duration by the events on the card"), |lobe| lobe.0),
        one("centreline", format!("{word} lobe centre {side} top by those events"), |lobe| lobe.1),
    ]
}

/// The card's lobe separation: as stated, else by its events.
fn card_separation(gathering: &mut Gathering<'_, '_>) -> Option<Budgeted> {
    let ground = gathering.ground;
    let by_events = has_events(ground, Valve::Inlet) && has_events(ground, Valve::Exhaust);
    if ground.input("lobe-separation").is_ok() || !by_events {
        return gathering.one("lobe-separation");
    }
    gathering.notes.push("lobe separation worked out from the events on the card".to_owned());
    let (inlet, exhaust) = (card_lobe(gathering, Valve::Inlet)?, card_lobe(gathering, Valve::Exhaust)?);
    let half = inlet.and_then(|inlet| {
        let exhaust = exhaust?;
        combined(&[inlet.1, exhaust.1], |x| Ok((x[0] + x[1]) / 2.0))
    });
    half.map_or_else(|error| gathering.cannot(error), Some)
}

/// The exhaust's centreline before top: as measured, else from the card's lobe separation and the inlet's.
pub(super) fn exhaust_centreline(gathering: &mut Gathering<'_, '_>) -> Option<Budgeted> {
    let ground = gathering.ground;
    let worked_out = if ground.input("exhaust-centreline").is_err() && has_separation(ground) {
        let (separation, inlet) = (card_separation(gathering), gathering.one("installed-centreline"));
        gathering
            .notes
            .push("exhaust centreline worked out from the card's lobe separation and the inlet's".to_owned());
        combined(&[separation?, inlet?], |x| Ok(2.0 * x[0] - x[1]))
    } else {
        // Records count from top dead centre onwards; the relations count the exhaust's centreline backwards.
        let exhaust = gathering.one("exhaust-centreline")?;
        let turn = std::f64::consts::TAU;
        combined(&[exhaust], |x| {
            let before = -x[0];
            Ok(if before < 0.0 { before + turn } else { before })
        })
    };
    worked_out.map_or_else(|error| gathering.cannot(error), Some)
}

fn has_separation(ground: &Ground<'_>) -> bool {
    ground.input("lobe-separation").is_ok()
        || (has_events(ground, Valve::Inlet) && has_events(ground, Valve::Exhaust))
}

fn both(
    ground: &Ground<'_>,
    label: Label,
    at: At,
    event: fn(&Lobe, &Lobe) -> Result<f64, EngineError>,
) -> Outcome {
    let mut gathering = Gathering::new(ground);
    let found = lobe(&mut gathering, Valve::Inlet, at).zip(lobe(&mut gathering, Valve::Exhaust, at));
    if at == At::Advertised {
        for valve in [Valve::Inlet, Valve::Exhaust] {
            if advertised_lift_m(ground, valve).is_none()
                && let Ok(input) = ground.input(&duration_means(valve, at))
            {
                gathering.lack(Missing {
                    means: format!("{}-at", input.means),
                    path: input.path,
                    title: input.title,
                    why: "nobody says at which lift it is taken: `at: 0.006 in`".to_owned(),
                });
            }
        }
        if !gathering.missing.is_empty() {
            return gathering.finish(label, None);
        }
    }
    let value = found.map(|(inlet, exhaust)| {
        let inputs = [&inlet.duration, &inlet.centreline, &exhaust.duration, &exhaust.centreline];
        Budgeted::combine(&inputs, |x| {
            let inlet = lobe_of(x[0], x[1], inlet.at_lift_m);
            Ok(event(&inlet, &lobe_of(x[2], x[3], exhaust.at_lift_m))?.to_radians())
        })
    });
    gathering.finish(label, value)
}

/// Separation from the two centrelines as installed, else as the card has it.
fn separation(ground: &Ground<'_>) -> Outcome {
    let label = Label::new("lobe-separation", "lobe separation", QuantityKind::Angle, "deg");
    let mut gathering = Gathering::new(ground);
    let installed =
        ground.input("exhaust-centreline").is_ok() && ground.input("installed-centreline").is_ok();
    let value = if installed {
        let centrelines = gathering.one("installed-centreline").zip(exhaust_centreline(&mut gathering));
        centrelines.map(|(inlet, exhaust)| {
            combined(&[inlet, exhaust], |x| {
                let (inlet, exhaust) = (lobe_of(1.0, x[0], 0.0), lobe_of(1.0, x[1], 0.0));
                Ok(lobe_separation_deg(&inlet, &exhaust).to_radians())
            })
        })
    } else {
        card_separation(&mut gathering).map(Ok)
    };
    gathering.finish(label, value)
}

/// Where the exhaust lobe is fully open, as installed.
fn exhaust_centre(ground: &Ground<'_>) -> Outcome {
    let label =
        Label::new("exhaust-centreline", "exhaust lobe centre before top", QuantityKind::Angle, "deg");
    let mut gathering = Gathering::new(ground);
    let value = exhaust_centreline(&mut gathering).map(Ok);
    gathering.finish(label, value)
}

/// How far the camshaft is advanced: the lobe separation less the inlet's centreline as installed.
fn advance(ground: &Ground<'_>) -> Outcome {
    let label = Label::new("cam-advance", "camshaft advanced by", QuantityKind::Angle, "deg");
    let mut gathering = Gathering::new(ground);
    let (inlet, exhaust) = (gathering.one("installed-centreline"), exhaust_centreline(&mut gathering));
    let value = inlet.zip(exhaust).map(|(inlet, exhaust)| {
        combined(&[inlet, exhaust], |x| {
            let (inlet, exhaust) = (lobe_of(1.0, x[0], 0.0), lobe_of(1.0, x[1], 0.0));
            Ok(crate::engine::cam::advance_deg(&inlet, &exhaust).to_radians())
        })
    });
    gathering.finish(label, value)
}

/// Where the inlet closes to 0.050 in, in radians after bottom dead centre, by whatever gathers it.
pub(super) fn inlet_closing(gathering: &mut Gathering<'_, '_>) -> Option<Result<Budgeted, EngineError>> {
    closing_at(gathering, At::FiftyThou)
}

fn closing_at(gathering: &mut Gathering<'_, '_>, at: At) -> Option<Result<Budgeted, EngineError>> {
    let found = lobe(gathering, Valve::Inlet, at)?;
    Some(of_lobe(&found, |lobe| Ok(lobe.inlet_events()?.closes_after_deg)))
}

/// Compression ratio from the point where the inlet has closed to the stated lift, with mean bore and clearance.
fn left_compression(ground: &Ground<'_>, at: At) -> Outcome {
    let (suffix, lift) = words(ground, at);
    let label = Label::new(
        &format!("compression-ratio-at-inlet-closing{suffix}"),
        &format!("compression ratio, inlet closed {lift}"),
        QuantityKind::Ratio,
        "",
    );
    let mut gathering = Gathering::new(ground);
    let clearance = geometry::clearance(&mut gathering);
    let cylinders = gathering.cylinders();
    let bore = gathering.each("bore", cylinders);
    let crank = gathering.all(&["stroke", "rod-length"]);
    let closing = closing_at(&mut gathering, at);
    let value = match (clearance, bore, crank, closing) {
        (Some(clearance), Some(bore), Some(mut values), Some(closing)) => {
            Some(clearance.and_then(|clearance| {
                values.extend([geometry::mean(&bore)?, geometry::mean(&clearance)?, closing?]);
                combined(&values, |x| {
                    let crank = CrankMechanism::new(x[0], x[1])?;
                    ratio_at_inlet_closing(&crank, x[2], x[3], x[4].to_degrees())
                })
            }))
        }
        _ => None,
    };
    gathering.finish(label, value)
}
