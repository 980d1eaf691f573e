//! Every derived figure's uncertainty against drawing its inputs (JCGM 101:2008, clauses 5 to 8): the law of propagation
//! must give what distributions carried through the same records give, on one side and between two that share an
//! instrument.

#[path = "support/book_in_memory.rs"]
mod book_in_memory;

use std::collections::BTreeMap;

use book_in_memory::Book;
use mulebook::check::Side;
use mulebook::derive::Asked;
use mulebook::derive::ChannelMean;
use mulebook::derive::Means;
use mulebook::quantity::QuantityKind;
use mulebook::quantity::Unit;

/// Draws; the standard deviation of so many is known to about 2 %.
const DRAWS: usize = 900;
/// What is left to chance and to the curvature of the relations.
const WITHIN: f64 = 0.09;

/// Numbers from 0 to 1, by a linear congruence (D. Knuth, *The Art of Computer Programming* 2, 3.3.4, MMIX's constants).
struct Draw(u64);

impl Draw {
    fn within(&mut self, half: f64) -> f64 {
        self.0 = self.0.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        half * (2.0 * (self.0 >> 11) as f64 / (1_u64 << 53) as f64 - 1.0)
    }
}

/// An input: where it stands, its name there, its value, how far it may be off, and its unit.
type Given = (&'static str, &'static str, f64, f64, &'static str);

/// What is measured with a limit of its own, rectangular and drawn anew.
const GIVEN: [Given; 33] = [
    ("e1", "bore", 105.537, 0.01, "mm"),
    ("e1", "stroke", 95.25, 0.03, "mm"),
    ("e1", "rod-length", 152.4, 0.05, "mm"),
    ("e1", "deck-clearance", 0.127, 0.03, "mm"),
    ("e1", "piston-volume", 4.68, 0.3, "cc"),
    ("e1", "top-land-diameter", 104.775, 0.05, "mm"),
    ("e1", "top-land-height", 5.08, 0.1, "mm"),
    ("h1", "chamber-volume", 66.2, 0.5, "cc"),
    ("h1", "inlet-valve", 52.8, 0.1, "mm"),
    ("h1", "inlet-throat", 47.5, 0.1, "mm"),
    ("h1", "inlet-stem", 7.94, 0.05, "mm"),
    ("h1", "inlet-seat-width", 1.5, 0.1, "mm"),
    ("h1", "inlet-seat-angle", 45.0, 0.5, "deg"),
    ("h1", "exhaust-valve", 40.6, 0.1, "mm"),
    ("g1", "bore", 106.68, 0.1, "mm"),
    ("g1", "thickness", 1.04, 0.02, "mm"),
    ("c1", "inlet-duration", 236.0, 1.0, "deg"),
    ("c1", "exhaust-duration", 242.0, 1.0, "deg"),
    ("c1", "lobe-separation", 110.0, 0.5, "deg"),
    ("c1", "inlet-duration-advertised", 280.0, 1.0, "deg"),
    ("c1", "exhaust-duration-advertised", 286.0, 1.0, "deg"),
    ("c1", "inlet-lift", 10.16, 0.05, "mm"),
    ("c1", "exhaust-lift", 10.4, 0.05, "mm"),
    ("v1", "rocker-ratio", 1.5, 0.01, ""),
    ("i1", "runner-diameter", 50.8, 0.2, "mm"),
    ("f1", "stoichiometric-ratio", 14.6, 0.2, ""),
    ("f1", "heating-value", 43.5, 0.5, "MJ/kg"),
    ("settings", "installed-centreline", 106.0, 0.5, "deg ATDC"),
    ("settings", "valve-lash-inlet", 0.25, 0.05, "mm"),
    ("settings", "valve-lash-exhaust", 0.3, 0.05, "mm"),
    ("conditions", "air-temperature", 24.0, 1.0, "degC"),
    ("conditions", "station-pressure", 98.5, 0.1, "kPa"),
    ("conditions", "humidity", 45.0, 3.0, "%"),
];

/// Channels of the sweep and how far their instruments may be off, one error for the whole calibration.
const CHANNELS: [(&str, QuantityKind, f64, f64, &str); 5] = [
    ("torque", QuantityKind::Torque, 520.0, 2.0, "N·m"),
    ("speed", QuantityKind::RotationalSpeed, 5200.0, 5.0, "rpm"),
    ("fuel-flow", QuantityKind::MassFlow, 82.0, 0.8, "kg/h"),
    ("air-flow", QuantityKind::MassFlow, 1030.0, 15.0, "kg/h"),
    ("inertia", QuantityKind::Inertia, 0.35, 0.03, "kg·m²"),
];

/// The trade's unit beside each metric one, for writing the same figures in other units.
const OTHERS: [(&str, &str); 5] =
    [("mm", "in"), ("cc", "L"), ("degC", "degF"), ("kPa", "inHg"), ("MJ/kg", "BTU/lb")];

/// How a book is written.
#[derive(Clone, Copy, PartialEq)]
enum Written {
    /// With the limits of every input behind it.
    WithLimits,
    /// Values alone.
    Plain,
    /// Values alone, in the trade's units.
    InOtherUnits,
}

/// A value and its unit as they are written.
fn written(value: f64, unit: &str, how: Written) -> String {
    let other = OTHERS.iter().find(|(metric, _)| *metric == unit).filter(|_| how == Written::InOtherUnits);
    let kinds = [
        QuantityKind::Length,
        QuantityKind::Volume,
        QuantityKind::Temperature,
        QuantityKind::PressureAbsolute,
        QuantityKind::SpecificEnergy,
    ];
    let converted = other.and_then(|(metric, trade)| {
        kinds.into_iter().find_map(|kind| {
            let (from, to) = (Unit::parse(metric, kind).ok()?, Unit::parse(trade, kind).ok()?);
            Some(format!("{:.13} {}", to.from_si(from.to_si(value)), to.symbol()))
        })
    });
    converted.unwrap_or_else(|| format!("{value:.9} {unit}"))
}

/// A book with every input off by what `off` says.
fn book(off: &dyn Fn(&str, &str) -> f64, how: Written) -> (Book, Side) {
    let limits = how == Written::WithLimits;
    let entry = |place: &str, name: &str| {
        let (_, _, value, half, unit) =
            GIVEN.iter().find(|given| given.0 == place && given.1 == name).expect("a given");
        let at = if name.ends_with("advertised") { ", at: 0.006 in" } else { "" };
        let value = value + off(place, name);
        let text = if limits { format!("{value:.9} ±{half} {unit}") } else { written(value, unit, how) };
        format!("{name}: {{measured: {text}{at}, by: mk, taken: 2026-03-01}}")
    };
    let of = |place: &str| -> Vec<String> {
        GIVEN.iter().filter(|given| given.0 == place).map(|given| entry(place, given.1)).collect()
    };
    let mut book = Book::new();
    let counts = [
        "inlet-valves-per-cylinder: {measured: 1, by: mk, taken: 2026-03-01}".to_owned(),
        "exhaust-valves-per-cylinder: {measured: 1, by: mk, taken: 2026-03-01}".to_owned(),
    ];
    let cycle = ["cycle: {measured: four-stroke, by: mk, taken: 2026-03-01}".to_owned()];
    for (tag, kind, extra) in [
        ("e1", "short-block", &cycle[..]),
        ("h1", "cylinder-head", &counts[..]),
        ("g1", "head-gasket", &[]),
        ("c1", "camshaft", &[]),
        ("v1", "valvetrain", &[]),
        ("i1", "intake", &[]),
        ("f1", "fuel", &[]),
    ] {
        let own = if kind == "short-block" { "cylinders: 1\n" } else { "" };
        let lines: String = of(tag).iter().chain(extra).map(|line| format!("      {line}\n")).collect();
        book.part(&format!("part: {tag}\nkind: {kind}\n{own}states:\n  - state: a\n    figures:\n{lines}"));
    }
    for (word, kind, _, half, unit) in CHANNELS {
        book.instrument(&format!(
            "instrument: of-{word}\nwhat: \"meter\"\nuncertainty:\n  - {{of: {}, is: \"±{half} {unit}\", scope: calibration}}\n",
            kind.name()
        ));
    }
    let build = book.build(&format!(
        "build: b1\nengine: e1\nsince: 2026-03-02\nparts: {{short-block: e1/a, cylinder-head: h1/a, head-gasket: g1/a, camshaft: c1/a, valvetrain: v1/a, intake: i1/a, fuel: f1/a}}\nsettings:\n{}",
        of("settings").iter().map(|line| format!("  {line}\n")).collect::<String>()
    ));
    let pull = book.pull(&format!(
        "pull: 0412a-01\nbuild: b1\nsession: 0412a\norder: 1\nby: mk\noutcome: kept\nconditions:\n{}run: {{kind: sweep, rate: 300.0 rpm/s, to: 7000 rpm}}\ncorrection: observed\nraw: []\n",
        of("conditions").iter().map(|line| format!("  {line}\n")).collect::<String>()
    ));
    let mut side = book.side(&build, Some(pull));
    side.asked = Asked { speed_rpm: Some(7000.0), crank_deg: vec![50.0] };
    let at = |word: &str| {
        let (_, kind, value, _, unit) = CHANNELS.iter().find(|channel| channel.0 == word).expect("a channel");
        let unit = Unit::parse(unit, *kind).expect("a unit");
        (*kind, unit.to_si(value + off("channel", word)))
    };
    let mut means = Means::new();
    for (word, ..) in CHANNELS {
        let (kind, mean_si) = at(word);
        means.insert(word.to_owned(), channel(kind, mean_si, word));
    }
    // Power is of the same rows: torque at a speed that the counter knows.
    let rad = 5200.0 * std::f64::consts::PI / 30.0;
    means.insert("power".to_owned(), channel(QuantityKind::Power, at("torque").1 * rad, "power"));
    side.channel_means = means;
    let half = if limits { " ±0.03" } else { "" };
    side.cell = Some(book.cell(&format!(
        "cell: tower\ninertia: {{calculated: {:.9}{half} kg·m², from: \"coast-down\"}}\ninertia-torque: {{listed: left-out, source: \"handbook\"}}\n",
        at("inertia").1
    )));
    (book, side)
}

fn channel(kind: QuantityKind, mean_si: f64, word: &str) -> ChannelMean {
    ChannelMean {
        kind,
        mean_si,
        deviation_si: 0.0,
        rows: 400,
        file: "run.csv".to_owned(),
        text: String::new(),
        place: String::new(),
        instrument: Some(format!("of-{word}")),
        offset_si: None,
    }
}

fn values(book: &Book, side: &Side) -> BTreeMap<String, f64> {
    book.outcomes(side)
        .into_iter()
        .flatten()
        .filter(|derived| derived.label.cylinder.is_none())
        .map(|derived| (derived.label.name.clone(), derived.value.value()))
        .collect()
}

fn deviation(values: &[f64]) -> (f64, f64) {
    let count = values.len() as f64;
    let mean = values.iter().sum::<f64>() / count;
    let squares: f64 = values.iter().map(|value| (value - mean) * (value - mean)).sum();
    (mean, (squares / (count - 1.0)).sqrt())
}

#[test]
fn every_figure_s_uncertainty_agrees_with_drawing_its_inputs() {
    let (book_, side) = book(&|_, _| 0.0, Written::WithLimits);
    let stated: BTreeMap<String, (f64, f64)> = book_
        .outcomes(&side)
        .into_iter()
        .flatten()
        .filter(|derived| derived.label.cylinder.is_none())
        .map(|derived| {
            (derived.label.name.clone(), (derived.value.value(), derived.value.standard_uncertainty()))
        })
        .collect();
    assert!(stated.len() > 50, "{} figures", stated.len());
    let mut drawn: BTreeMap<String, Vec<f64>> = BTreeMap::new();
    let mut draw = Draw(20_260_412);
    for _ in 0..DRAWS {
        let mut offs: BTreeMap<(&str, &str), f64> =
            GIVEN.iter().map(|given| ((given.0, given.1), draw.within(given.3))).collect();
        offs.extend(CHANNELS.iter().map(|channel| (("channel", channel.0), draw.within(channel.3))));
        let off = |place: &str, name: &str| {
            offs.iter().find(|(key, _)| key.0 == place && key.1 == name).map_or(0.0, |(_, off)| *off)
        };
        let (book, side) = book(&off, Written::Plain);
        for (name, value) in values(&book, &side) {
            drawn.entry(name).or_default().push(value);
        }
    }
    for (name, (value, u)) in &stated {
        // The rate of the sweep and the speeds asked for are not drawn: half the last digit of a rate is 0.02 % of it.
        let (mean, found) = deviation(&drawn[name]);
        assert_eq!(drawn[name].len(), DRAWS, "{name} is derived in every draw");
        assert!((u / found - 1.0).abs() < WITHIN, "{name}: {u} by propagation, {found} by drawing");
        assert!((mean - value).abs() < 0.15 * u, "{name}: {value}, {mean} by drawing");
    }
}

#[test]
fn what_two_sides_share_cancels_as_drawing_says() {
    // One burette and one weather station on both sides: their calibration errors are drawn once for both, each
    // reading's own for itself (JCGM 101:2008, 6.4.8 for inputs in common; JCGM 100:2008, F.1.2.3).
    let (shared_cc, own_cc) = (0.4, 0.1);
    let (shared_kpa, own_kpa) = (0.15, 0.02);
    let side_of = |number: usize, cc: f64, kpa: f64| {
        let mut book = book(&|_, _| 0.0, Written::WithLimits).0;
        book.instrument(&format!(
            "instrument: burette-1\nwhat: \"burette\"\nuncertainty:\n  - {{of: volume, is: \"±{own_cc} cc\", scope: reading}}\n  - {{of: volume, is: \"±{shared_cc} cc\", scope: calibration}}\ncalibrations:\n  - {{on: 2026-01-01, by: \"mk\"}}\n"
        ))
        .instrument(&format!(
            "instrument: weather-1\nwhat: \"station\"\nuncertainty:\n  - {{of: pressure-absolute, is: \"±{own_kpa} kPa\", scope: reading}}\n  - {{of: pressure-absolute, is: \"±{shared_kpa} kPa\", scope: calibration}}\ncalibrations:\n  - {{on: 2026-01-01, by: \"mk\"}}\n"
        ))
        .part(&format!(
            "part: head-{number}\nkind: cylinder-head\nstates:\n  - state: a\n    figures:\n      chamber-volume: {{measured: {cc:.9} cc, with: burette-1, by: mk, taken: 2026-03-01}}\n"
        ));
        let build = book.build(&format!(
            "build: b{number}\nengine: e1\nsince: 2026-03-02\nparts: {{short-block: e1/a, cylinder-head: head-{number}/a, head-gasket: g1/a}}\n"
        ));
        let pull = book.pull(&format!(
            "pull: 0412a-0{number}\nbuild: b{number}\nsession: 0412a\norder: {number}\nby: mk\noutcome: kept\nconditions:\n  air-temperature: {{measured: 24.000000000 degC, by: mk, taken: 2026-03-01}}\n  vapour-pressure: {{measured: 1.000000000 kPa, by: mk, taken: 2026-03-01}}\n  station-pressure: {{measured: {kpa:.9} kPa, with: weather-1, by: mk, taken: 2026-03-01}}\nrun: {{kind: sweep}}\ncorrection: observed\nraw: []\n"
        ));
        let side = book.side(&build, Some(pull));
        (book, side)
    };
    let names = ["clearance-volume", "correction-factor-sae-j1349"];
    let figures = |side: (Book, Side)| names.map(|name| side.0.figure(&side.1, name));
    let (was, now) = (figures(side_of(1, 66.2, 98.5)), figures(side_of(2, 64.0, 97.1)));
    let mut draw = Draw(7);
    let mut drawn: [Vec<f64>; 2] = [Vec::new(), Vec::new()];
    for _ in 0..DRAWS {
        let (cc, kpa) = (draw.within(shared_cc), draw.within(shared_kpa));
        let mut one = |number: usize, volume: f64, pressure: f64| {
            figures(side_of(number, volume + cc + draw.within(own_cc), pressure + kpa + draw.within(own_kpa)))
        };
        let (was, now) = (one(1, 66.2, 98.5), one(2, 64.0, 97.1));
        for ((was, now), drawn) in was.iter().zip(&now).zip(&mut drawn) {
            drawn.push(now.value.value() - was.value.value());
        }
    }
    for (((was, now), drawn), name) in was.iter().zip(&now).zip(&drawn).zip(names) {
        let left = now.value.minus(&was.value).expect("a difference").standard_uncertainty();
        let (_, found) = deviation(drawn);
        assert!((left / found - 1.0).abs() < WITHIN, "{name}: {left} by propagation, {found} by drawing");
        let alone = was.value.standard_uncertainty();
        assert!(left < 0.5 * alone, "{name}: most of it is the instrument's and cancels: {left}, {alone}");
    }
}

#[test]
fn units_never_change_a_figure() {
    let nothing = |_: &str, _: &str| 0.0;
    let (metric, trade) = (book(&nothing, Written::Plain), book(&nothing, Written::InOtherUnits));
    let (metric, trade) = (values(&metric.0, &metric.1), values(&trade.0, &trade.1));
    assert!(metric.len() > 50 && metric.len() == trade.len());
    for (name, value) in &metric {
        let other = trade[name];
        // Thirteen decimals are written, and temperatures lose three digits to their zero.
        assert!((value - other).abs() <= 1e-9 * value.abs().max(1e-6), "{name}: {value} {other}");
    }
}

#[test]
fn figures_move_the_way_physics_does() {
    let at = |place: &'static str, name: &'static str, by: f64| {
        let (book, side) =
            book(&move |where_, what| if (where_, what) == (place, name) { by } else { 0.0 }, Written::Plain);
        values(&book, &side)
    };
    for (place, name, step, figure, rises) in [
        ("e1", "bore", 0.1, "compression-ratio", true),
        ("e1", "bore", 0.1, "displacement", true),
        ("e1", "stroke", 0.1, "mean-piston-speed", true),
        ("e1", "rod-length", 1.0, "piston-acceleration-top", false),
        ("e1", "deck-clearance", 0.05, "compression-ratio", false),
        ("e1", "deck-clearance", 0.05, "quench", true),
        ("h1", "chamber-volume", 1.0, "compression-ratio", false),
        ("g1", "thickness", 0.1, "compression-ratio", false),
        ("c1", "inlet-duration", 2.0, "compression-ratio-at-inlet-closing", false),
        ("c1", "inlet-duration", 2.0, "overlap", true),
        ("c1", "lobe-separation", 1.0, "overlap", false),
        ("settings", "installed-centreline", 1.0, "inlet-opens", false),
        ("settings", "installed-centreline", 1.0, "cam-advance", false),
        ("settings", "valve-lash-inlet", 0.05, "inlet-valve-lift", false),
        ("v1", "rocker-ratio", 0.05, "inlet-curtain-area", true),
        ("h1", "inlet-stem", 0.5, "inlet-throat-area", false),
        ("i1", "runner-diameter", 1.0, "gas-speed-runner", false),
        ("conditions", "station-pressure", 1.0, "correction-factor-sae-j1349", false),
        ("conditions", "air-temperature", 2.0, "correction-factor-iso-1585", true),
        ("conditions", "humidity", 10.0, "correction-factor-sae-j607", true),
        ("conditions", "humidity", 10.0, "air-density", false),
        ("channel", "fuel-flow", 0.001, "specific-fuel-consumption", true),
        ("channel", "fuel-flow", 0.001, "air-fuel-ratio", false),
        ("channel", "air-flow", 0.01, "volumetric-efficiency", true),
        ("channel", "torque", 5.0, "mean-effective-pressure", true),
        ("channel", "torque", 5.0, "specific-fuel-consumption", false),
    ] {
        let (before, after) = (at(place, name, 0.0)[figure], at(place, name, step)[figure]);
        assert_eq!(after > before, rises, "{figure} with more {name}: {before}, {after}");
        assert!((after - before).abs() > 0.0, "{figure} moves with {name}");
    }
}
