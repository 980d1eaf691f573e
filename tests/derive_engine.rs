//! Every group of derived figures through records, against the reference table of `docs/engine.md` and published values.

#[path = "support/book_in_memory.rs"]
mod book_in_memory;

use std::collections::BTreeMap;

use book_in_memory::Book;
use mulebook::check::Side;
use mulebook::derive::Asked;
use mulebook::derive::Basis;
use mulebook::derive::ChannelMean;
use mulebook::derive::Grade;
use mulebook::derive::Means;
use mulebook::derive::bring;
use mulebook::derive::contradictions;
use mulebook::quantity::QuantityKind;
use mulebook::quantity::Unit;

const BUILD: &str = "build: b1\nengine: e1\nsince: 2026-03-02\nparts: {short-block: e1/a, cylinder-head: h1/a, head-gasket: g1/a, camshaft: c1/a, valvetrain: v1/a, intake: i1/a, fuel: f1/a}\n";

/// Figures of a part's only state, measured, a line each.
fn part(tag: &str, kind: &str, figures: &[(&str, &str)]) -> String {
    let lines: String =
        figures.iter().map(|(name, value)| format!("      {name}: {}\n", entry(value))).collect();
    let own = if kind == "short-block" { "cylinders: 8\n" } else { "" };
    let figures = if lines.is_empty() { " {}\n".to_owned() } else { format!("\n{lines}") };
    format!("part: {tag}\nkind: {kind}\n{own}states:\n  - state: a\n    figures:{figures}")
}

/// A value as measured, or an entry as it stands.
fn entry(value: &str) -> String {
    match value.starts_with('{') {
        true => value.to_owned(),
        false => format!("{{measured: {value}, by: mk, taken: 2026-03-01}}"),
    }
}

/// The engine of the reference table: 4.155 × 3.750 in, rods of 6.000 in, 81.3 cc of clearance, valve of 2.08 in.
fn engine() -> Book {
    let mut book = Book::new();
    book.part(&part(
        "e1",
        "short-block",
        &[
            ("bore", "4.155 in"),
            ("stroke", "3.750 in"),
            ("rod-length", "6.000 in"),
            ("deck-clearance", "0.005 in"),
            ("piston-volume", "4.680662 cc"),
            ("cycle", "four-stroke"),
        ],
    ))
    .part(&part(
        "h1",
        "cylinder-head",
        &[
            ("chamber-volume", "66.2 cc"),
            ("inlet-valve", "2.080 in"),
            ("inlet-throat", "1.872 in"),
            ("inlet-stem", "0.3125 in"),
            ("inlet-valves-per-cylinder", "1"),
        ],
    ))
    .part(&part("g1", "head-gasket", &[("bore", "4.200 in"), ("thickness", "0.041 in")]))
    .part(&part(
        "c1",
        "camshaft",
        &[
            ("inlet-duration", "236.0 deg"),
            ("exhaust-duration", "242.0 deg"),
            ("lobe-separation", "110.0 deg"),
            ("inlet-lift", "0.400 in"),
        ],
    ))
    .part(&part("v1", "valvetrain", &[("rocker-ratio", "1.500")]))
    .part(&part("i1", "intake", &[("runner-diameter", "2.000 in")]))
    .part(&part("f1", "fuel", &[("family", "petrol-14.7")]));
    book
}

fn settings(text: &str) -> String {
    format!("{BUILD}settings: {{{text}}}\n")
}

/// Centreline and lash as in the reference table of the camshaft.
const SET: &str = "installed-centreline: {measured: 106.0 deg ATDC, by: mk, taken: 2026-03-02}, valve-lash-inlet: {measured: 0.022 in, by: mk, taken: 2026-03-02}";

fn value(book: &Book, side: &Side, name: &str, unit: &str) -> f64 {
    let derived = book.figure(side, name);
    match Unit::parse(unit, derived.label.kind) {
        Ok(unit) => unit.from_si(derived.value.value()),
        Err(_) => derived.value.value(),
    }
}

fn near(found: f64, expected: f64, within: f64, what: &str) {
    assert!((found - expected).abs() <= within, "{what}: {found}, {expected}");
}

#[test]
fn the_piston_moves_as_the_reference_table_says() {
    let book = engine();
    let mut side = book.side(&book.build(&settings(SET)), None);
    assert!(book.outcomes(&side).iter().flatten().all(|found| found.label.name != "mean-piston-speed"));
    side.asked = Asked { speed_rpm: Some(7000.0), crank_deg: vec![20.0, 45.0, 72.0, 90.0] };
    for (name, unit, expected, within) in [
        ("mean-piston-speed", "m/s", 22.225_000, 1e-6),
        ("greatest-piston-speed", "m/s", 36.589_148, 1e-6),
        ("piston-acceleration-top", "m/s²", 33_588.268_5, 1e-3),
        ("piston-acceleration-bottom", "m/s²", -17_593.854_9, 1e-3),
        ("piston-acceleration-90", "m/s²", -8_418.841_2, 1e-3),
        ("piston-position-20", "in", 0.147_446, 1e-6),
        ("piston-position-45", "in", 0.697_492, 1e-6),
        ("piston-position-72", "in", 1.566_711, 1e-6),
        ("piston-position-90", "in", 2.175_493, 1e-6),
        ("rod-ratio", "", 1.6, 1e-12),
    ] {
        near(value(&book, &side, name, unit), expected, within, name);
    }
    // Half the last digits of stroke and rod are all that is known of their errors.
    assert!(book.figure(&side, "piston-position-90").value.standard_uncertainty() > 0.0);
}

#[test]
fn events_follow_from_durations_and_durations_from_events() {
    let book = engine();
    let side = book.side(&book.build(&settings(SET)), None);
    for (name, expected) in [
        ("inlet-opens", 12.0),
        ("inlet-closes", 44.0),
        ("exhaust-opens", 55.0),
        ("exhaust-closes", 7.0),
        ("overlap", 19.0),
        ("lobe-separation", 110.0),
        ("cam-advance", 4.0),
    ] {
        near(value(&book, &side, name, "deg"), expected, 1e-9, name);
    }
    near(value(&book, &side, "compression-ratio-at-inlet-closing", ""), 10.201_636, 1e-4, "closing at 44");
    // The other way round: 10/40/50/10 mean 230 and 240 degrees, 107.5 apart (cal7.calculator.city).
    let mut by_events = engine();
    by_events.part(&part(
        "c1",
        "camshaft",
        &[
            ("inlet-opens", "10.0 deg BTDC"),
            ("inlet-closes", "40.0 deg ABDC"),
            ("exhaust-opens", "50.0 deg BBDC"),
            ("exhaust-closes", "10.0 deg ATDC"),
        ],
    ));
    let set = SET.replace("106.0", "105.0");
    let side = by_events.side(&by_events.build(&settings(&set)), None);
    for (name, expected) in [
        ("inlet-duration-of-events", 230.0),
        ("exhaust-duration-of-events", 240.0),
        ("inlet-centreline-of-events", 105.0),
        ("exhaust-centreline-of-events", 110.0),
        ("lobe-separation", 107.5),
        ("inlet-opens", 10.0),
        ("exhaust-closes", 10.0),
    ] {
        near(value(&by_events, &side, name, "deg"), expected, 1e-9, name);
    }
}

#[test]
fn advertised_durations_are_told_with_their_lift_and_never_mixed() {
    let mut book = engine();
    let card = |at: &str| {
        part(
            "c1",
            "camshaft",
            &[
                ("inlet-duration", "236.0 deg"),
                ("exhaust-duration", "242.0 deg"),
                ("lobe-separation", "110.0 deg"),
                ("inlet-duration-advertised", "{listed: 280.0 deg, at: 0.006 in, source: \"card\"}"),
                ("exhaust-duration-advertised", &format!("{{listed: 286.0 deg{at}, source: \"card\"}}")),
            ],
        )
    };
    book.part(&card(", at: 0.006 in"));
    let side = book.side(&book.build(&settings(SET)), None);
    for (name, expected) in [
        ("inlet-opens-advertised", 34.0),
        ("inlet-closes-advertised", 66.0),
        ("exhaust-opens-advertised", 77.0),
        ("exhaust-closes-advertised", 29.0),
        ("overlap-advertised", 63.0),
    ] {
        near(value(&book, &side, name, "deg"), expected, 1e-9, name);
    }
    assert!(book.figure(&side, "inlet-opens-advertised").label.title.contains("0.006 in"));
    near(value(&book, &side, "compression-ratio-at-inlet-closing-advertised", ""), 8.891_122, 1e-4, "at 66");
    book.part(&card(""));
    let barred = book.barred(&book.side(&book.build(&settings(SET)), None), "overlap-advertised");
    assert!(barred.missing[0].why.contains("at which lift"), "{barred:?}");
    book.part(&card(", at: 0.004 in"));
    let barred = book.barred(&book.side(&book.build(&settings(SET)), None), "overlap-advertised");
    assert!(barred.cannot.is_some(), "two lifts are never mixed: {barred:?}");
}

#[test]
fn a_card_that_contradicts_itself_is_told() {
    let told = |figures: &[(&str, &str)], set: &str| {
        let mut book = engine();
        book.part(&part("c1", "camshaft", figures));
        let side = book.side(&book.build(&settings(set)), None);
        contradictions(&side.ground(book.schemas.kinds()))
    };
    let whole = [
        ("inlet-duration", "236.0 deg"),
        ("exhaust-duration", "242.0 deg"),
        ("recommended-centreline", "106.0 deg ATDC"),
        ("lobe-separation", "110.0 deg"),
        ("inlet-opens", "12.0 deg BTDC"),
        ("inlet-closes", "44.0 deg ABDC"),
        ("exhaust-opens", "55.0 deg BBDC"),
        ("exhaust-closes", "7.0 deg ATDC"),
    ];
    assert_eq!(told(&whole, SET), Vec::<String>::new());
    let mut misprint = whole;
    misprint[5].1 = "54.0 deg ABDC";
    let found = told(&misprint, SET);
    assert!(found.len() == 1 && found[0].contains("camshaft.inlet-closes says 54.0 deg ABDC"), "{found:?}");
    assert!(found[0].contains("10.0°"), "{found:?}");
    // 246° at a lower lift cannot be shorter than what stands at 0.050 in.
    let short = [("inlet-duration", "252.0 deg"), ("inlet-duration-advertised", "246.0 deg")];
    assert!(told(&short, SET)[0].contains("no longer than"), "{:?}", told(&short, SET));
    // As installed: 106 and 112 are 109 apart, the card says 110.
    let set = format!("{SET}, exhaust-centreline: {{measured: 112.0 deg BTDC, by: mk, taken: 2026-03-02}}");
    let found = told(&[("lobe-separation", "110.0 deg")], &set);
    assert!(found.len() == 1 && found[0].contains("109.0°"), "{found:?}");
    let set = set.replace("112.0 deg", "114.0 deg");
    assert_eq!(told(&[("lobe-separation", "110.0 deg")], &set), Vec::<String>::new());
}

#[test]
fn lash_and_rocker_make_the_lift_and_the_areas() {
    let mut book = engine();
    let side = book.side(&book.build(&settings(SET)), None);
    // 0.400 × 1.5 − 0.022 in.
    near(value(&book, &side, "inlet-valve-lift", "in"), 0.578, 1e-9, "lift");
    near(value(&book, &side, "inlet-throat-area", "in²"), 2.675_638, 1e-6, "throat");
    near(value(&book, &side, "inlet-lift-of-equal-areas", "in"), 0.52, 1e-9, "equal areas");
    let area = std::f64::consts::PI * 2.08 * 0.578;
    near(value(&book, &side, "inlet-curtain-area", "in²"), area, 1e-6, "curtain");
    let barred = book.barred(&side, "inlet-smallest-area");
    let paths: Vec<&str> = barred.missing.iter().map(|missing| missing.path.as_str()).collect();
    assert_eq!(paths, ["cylinder-head.inlet-seat-width", "cylinder-head.inlet-seat-angle"]);
    // Measured at the valve, the lift goes before what lobe and rocker make, and a difference between them is told.
    book.part(&part("v1", "valvetrain", &[("rocker-ratio", "1.500"), ("lift-at-valve-inlet", "0.560 in")]));
    let side = book.side(&book.build(&settings(SET)), None);
    near(value(&book, &side, "inlet-valve-lift", "in"), 0.560, 1e-9, "lift as measured");
    near(value(&book, &side, "inlet-rocker-ratio-as-found", ""), (0.560 + 0.022) / 0.400, 1e-9, "rocker");
    let found = contradictions(&side.ground(book.schemas.kinds()));
    assert!(found.iter().any(|told| told.contains("inlet valve's lift")), "{found:?}");
}

#[test]
fn the_seat_bounds_the_area() {
    let mut book = engine();
    book.part(&part(
        "h1",
        "cylinder-head",
        &[
            ("inlet-valve", "50.00 mm"),
            ("inlet-throat", "45.00 mm"),
            ("inlet-stem", "8.00 mm"),
            ("inlet-valves-per-cylinder", "2"),
            ("inlet-seat-width", "1.50 mm"),
            ("inlet-seat-angle", "45.0 deg"),
        ],
    ));
    let side = book.side(&book.build(&settings(SET)), None);
    // At 14.7 mm of lift the port less the stem is what is left (Heywood 6.3.2, from memory), of two valves.
    let port = 2.0 * std::f64::consts::PI / 4.0 * (4.5 * 4.5 - 0.8 * 0.8);
    near(value(&book, &side, "inlet-smallest-area", "cm²"), port, 1e-6, "port");
}

/// The air of the reference: 30 °C, 100 kPa, 50 %.
const AIR: &str = "air-temperature: {measured: 30.00 degC, by: mk, taken: 2026-04-12}, station-pressure: {measured: 100.000 kPa, by: mk, taken: 2026-04-12}, humidity: {measured: 50.0 %, by: mk, taken: 2026-04-12}";

fn pull(correction: &str, conditions: &str) -> String {
    format!(
        "pull: 0412a-01\nbuild: b1\nsession: 0412a\norder: 1\nby: mk\noutcome: kept\nconditions: {{{conditions}}}\nrun: {{kind: sweep, rate: 300 rpm/s, to: 7000 rpm}}\ncorrection: {correction}\nraw: []\n"
    )
}

fn mean(kind: QuantityKind, value: f64, unit: &str) -> ChannelMean {
    let mean_si = Unit::parse(unit, kind).expect("a unit").to_si(value);
    ChannelMean {
        kind,
        mean_si,
        deviation_si: 0.0,
        rows: 100,
        file: "run.csv".to_owned(),
        text: format!("{value} {unit}"),
        place: String::new(),
        instrument: None,
        offset_si: None,
    }
}

/// Means of a sweep: torque, speed, the power of both, and what else.
fn channels(torque_nm: f64, rpm: f64, others: &[(&str, ChannelMean)]) -> Means {
    let mut means = Means::new();
    let watts = torque_nm * rpm * std::f64::consts::PI / 30.0;
    means.insert("torque".to_owned(), mean(QuantityKind::Torque, torque_nm, "N·m"));
    means.insert("speed".to_owned(), mean(QuantityKind::RotationalSpeed, rpm, "rpm"));
    means.insert("power".to_owned(), mean(QuantityKind::Power, watts, "W"));
    means.extend(others.iter().map(|(word, mean)| ((*word).to_owned(), mean.clone())));
    means
}

#[test]
fn channels_give_pressure_consumption_filling_and_mixture() {
    let book = engine();
    let mut side = book.side(&book.build(&settings(SET)), Some(book.pull(&pull("observed", AIR))));
    // 500 lbf·ft of 406.774006 in³ is 12.779884 bar (reference table); 0.5 lb/(hp·h) is 304.14 g/(kW·h) by the units.
    let torque = 500.0 * 1.355_817_948_331_400_4;
    let watts = torque * 6000.0 * std::f64::consts::PI / 30.0;
    let fuel = 0.5 * 0.453_592_37 * watts / 745.699_871_582_270_2;
    let others = [
        ("fuel-flow", mean(QuantityKind::MassFlow, fuel, "kg/h")),
        ("air-flow", mean(QuantityKind::MassFlow, fuel * 12.5, "kg/h")),
    ];
    side.channel_means = channels(torque, 6000.0, &others);
    near(value(&book, &side, "mean-effective-pressure", "bar"), 12.779_884, 1e-5, "bmep");
    near(value(&book, &side, "specific-fuel-consumption", "g/kWh"), 304.14, 5e-3, "fuel");
    near(value(&book, &side, "specific-air-consumption", "g/kWh"), 304.14 * 12.5, 0.1, "air");
    near(value(&book, &side, "air-fuel-ratio", ""), 12.5, 1e-9, "air-fuel ratio");
    // 12.5 of 14.7 (reference table); the trade's ratio is of the family, and is said to be.
    near(value(&book, &side, "lambda", ""), 0.850_340, 1e-6, "lambda");
    let notes = book.figure(&side, "lambda").notes;
    assert!(notes.iter().any(|note| note.contains("in general")), "{notes:?}");
    // Air of 1.1399275 kg/m³ (reference table), 6.6658 l, 3000 fillings a minute.
    let swept = 8.0 * 833.228_958e-6;
    let filling = fuel * 12.5 / 3600.0 / (1.139_927_5 * swept * 50.0);
    near(value(&book, &side, "volumetric-efficiency", ""), filling, 1e-5, "filling");
    // 44 MJ/kg of petrol in general (Heywood table D.4, from memory).
    near(value(&book, &side, "thermal-efficiency", ""), watts / (fuel / 3600.0 * 44e6), 1e-6, "efficiency");
    // Nobody says what an instrument is off by: the interval is wider than shown, and every figure says so.
    assert!(book.figure(&side, "specific-fuel-consumption").is_understated());
    // A meter of lambda goes before the flows; a fuel's own ratio before its family's.
    side.channel_means.insert("lambda".to_owned(), mean(QuantityKind::Lambda, 0.88, "lambda"));
    near(value(&book, &side, "lambda", ""), 0.88, 1e-12, "lambda as read");
}

#[test]
fn consumption_is_of_the_observed_torque_and_volume_flow_needs_a_density() {
    let mut book = engine();
    let stp = "{standard: stp, factor: 1.0400}";
    let build = book.build(&settings(SET));
    let mut side = book.side(&build, Some(book.pull(&pull(stp, AIR))));
    side.channel_means =
        channels(520.0, 6000.0, &[("fuel-flow", mean(QuantityKind::VolumeFlow, 2.0, "L/min"))]);
    near(value(&book, &side, "mean-power", "kW"), 314.159_265, 1e-5, "500 N·m at 6000 rpm");
    let barred = book.barred(&side, "specific-fuel-consumption");
    assert!(barred.missing.iter().any(|missing| missing.path == "fuel.density"), "{barred:?}");
    book.part(&part("f1", "fuel", &[("density", "750.0 kg/m³")]));
    let mut side = book.side(&build, Some(book.pull(&pull(stp, AIR))));
    side.channel_means =
        channels(520.0, 6000.0, &[("fuel-flow", mean(QuantityKind::VolumeFlow, 2.0, "L/min"))]);
    // 2 l/min at 750 kg/m³ are 90 kg/h.
    near(
        value(&book, &side, "specific-fuel-consumption", "g/kWh"),
        90_000.0 / 314.159_265,
        1e-4,
        "by volume",
    );
    // A correction that nobody knows leaves no observed torque.
    let mut side = book.side(&build, Some(book.pull(&pull("{unknown: \"lost\"}", AIR))));
    side.channel_means = channels(520.0, 6000.0, &[]);
    let barred = book.barred(&side, "mean-power");
    assert!(barred.cannot.is_some_and(|why| why.contains("which correction")));
}

#[test]
fn the_inertia_of_a_sweep_is_worked_out_with_the_cell() {
    let book = engine();
    let mut side = book.side(&book.build(&settings(SET)), Some(book.pull(&pull("observed", AIR))));
    side.channel_means = channels(500.0, 6000.0, &[]);
    assert_eq!(book.barred(&side, "inertia-torque").missing[0].why, "no cell is named");
    let cell = |said: &str| {
        format!("cell: tower\ninertia: {{calculated: 0.350 ±0.035 kg·m² k=2, from: \"coast-down\"}}\n{said}")
    };
    side.cell = Some(book.cell(&cell("")));
    // 0.35 kg·m² at 300 rpm/s: 10.995574 N·m (reference table).
    let found = book.figure(&side, "inertia-torque");
    near(found.value.value(), 10.995_574, 1e-6, "inertia");
    assert_eq!(found.grade(), Grade::Assumed, "the rate is what was set, not what was read");
    assert_eq!(book.barred(&side, "steady-torque").missing[0].path, "tower.inertia-torque");
    side.cell = Some(book.cell(&cell("inertia-torque: {listed: left-out, source: \"handbook\"}\n")));
    near(book.figure(&side, "steady-torque").value.value(), 510.995_574, 1e-6, "left out");
    side.cell = Some(book.cell(&cell("inertia-torque: {listed: credited, source: \"handbook\"}\n")));
    near(book.figure(&side, "steady-torque").value.value(), 500.0, 1e-9, "credited");
}

#[test]
fn gas_speeds_and_the_mach_index() {
    let book = engine();
    let mut side = book.side(&book.build(&settings(SET)), Some(book.pull(&pull("observed", AIR))));
    // S_p (B/D)² through the runner of 2.000 in: 22.225 m/s × (4.155/2)².
    near(value(&book, &side, "gas-speed-runner", "m/s"), 22.225 * 2.0775 * 2.0775, 1e-6, "runner");
    let throat = std::f64::consts::PI / 4.0 * 4.155 * 4.155 / 2.675_638 * 22.225;
    near(value(&book, &side, "gas-speed-throat", "m/s"), throat, 1e-4, "throat");
    let barred = book.barred(&side, "mach-index");
    assert_eq!(barred.missing[0].path, "flow sheet");
    // Z of the reference table is at 300 K: 0.729763 with C_i 0.35; the index goes with 1/√T.
    let coefficient = flow_coefficient(0.35);
    side.worked_out.insert(coefficient.means.clone(), coefficient);
    near(value(&book, &side, "mach-index", ""), 0.729_763 * (300.0_f64 / 303.15).sqrt(), 1e-5, "index");
    let rpm = 5755.29 * (303.15_f64 / 300.0).sqrt();
    near(value(&book, &side, "speed-at-mach-index", "rpm"), rpm, 0.02, "speed at 0.6");
}

/// An input that says what a flow sheet's mean flow coefficient is, made of a sheet with that one coefficient.
fn flow_coefficient(wanted: f64) -> mulebook::derive::Input {
    let (mut bench, kinds) = flow::bench_of(&engine(), &flow::conditions("as-read", "orifice"));
    let effective = std::mem::replace(&mut bench.effective, mulebook::record::Effective::empty());
    let area = std::f64::consts::PI / 4.0 * (2.08 * 0.0254_f64).powi(2);
    let density = 101_325.0 / (287.055 * 293.15);
    let flow = wanted * area * (2.0 * flow::TEST_PA / density).sqrt();
    let lifts: Vec<(f64, Means)> = [0.002, 0.010].map(|lift| (lift, flow::at(lift, flow))).to_vec();
    let ground = flow::ground(&bench, &kinds, &effective);
    let input = flow::sheet(&ground, &lifts, mulebook::record::PortSide::Inlet).coefficient();
    input.expect("everything that a coefficient needs")
}

/// Flow sheets.
mod flow {
    use mulebook::derive::FlowBench;
    use mulebook::derive::Ground;
    use mulebook::record::Effective;
    use mulebook::record::Kinds;
    use mulebook::record::PortSide;

    use super::*;

    /// Pressure of 28 conventional inches of water, in Pa.
    pub(crate) const TEST_PA: f64 = 28.0 * 249.088_91;

    pub(crate) struct Records {
        pub(crate) effective: Effective,
        parts: BTreeMap<String, std::sync::Arc<mulebook::record::Part>>,
        instruments: BTreeMap<String, std::sync::Arc<mulebook::record::Instrument>>,
        none: Means,
        no_speeds: BTreeMap<u32, Means>,
    }

    pub(crate) fn conditions(correction: &str, kind: &str) -> String {
        format!(
            "test-pressure: {{measured: 28.00 inH2O, by: mk, taken: 2026-03-01}}, correction: {{measured: {correction}, by: mk, taken: 2026-03-01}}, leakage: {{measured: 0.0000 cfm, by: mk, taken: 2026-03-01}}, calibration-plate: {{measured: 1.0000, by: mk, taken: 2026-03-01}}{kind}",
            kind = match kind {
                "" => String::new(),
                kind => format!(", bench-kind: {{measured: {kind}, by: mk, taken: 2026-03-01}}"),
            }
        )
    }

    /// A sheet's conditions on the ground of the engine's parts.
    pub(crate) fn bench_of(book: &Book, conditions: &str) -> (Records, Kinds) {
        let text = format!(
            "flow: s1\npart: h1/a\nside: inlet\non: 2026-03-01\nby: mk\nconditions: {{{conditions}}}\nraw: []\n"
        );
        let node = mulebook::manifest::yaml::read("flow.yaml", text.as_bytes()).expect("YAML");
        let (sheet, found) = mulebook::manifest::bind::flow("flow.yaml", &node, book.schemas.kinds());
        let sheet = sheet.unwrap_or_else(|| panic!("{found:#?}"));
        let mut kinds = Kinds::clone(book.schemas.kinds());
        kinds.conditions = kinds.flow.clone();
        let mut effective = Effective::of_build(
            &book.build("build: b1\nengine: e1\nsince: 2026-03-02\nparts: {cylinder-head: h1/a}\n"),
        );
        for (name, figure) in &sheet.conditions {
            let origin = mulebook::record::Origin::Pull;
            effective
                .conditions
                .insert(name.clone(), mulebook::record::Held { figure: figure.clone(), origin });
        }
        let records = Records {
            effective,
            parts: book.parts.clone(),
            instruments: book.instruments.clone(),
            none: Means::new(),
            no_speeds: BTreeMap::new(),
        };
        (records, kinds)
    }

    pub(crate) fn ground<'a>(records: &'a Records, kinds: &'a Kinds, effective: &'a Effective) -> Ground<'a> {
        Ground {
            name: "s1",
            build: None,
            is_pull: true,
            session: None,
            cell: None,
            kinds,
            effective,
            parts: &records.parts,
            engine: None,
            instruments: &records.instruments,
            moment: None,
            channels: &records.none,
            by_speed: &records.no_speeds,
            voided_settings: BTreeMap::new(),
            substitutes: BTreeMap::new(),
            asked: Asked::default(),
        }
    }

    pub(crate) fn sheet<'a>(ground: &Ground<'a>, lifts: &'a [(f64, Means)], side: PortSide) -> FlowBench<'a> {
        FlowBench { ground: ground.clone(), side, lifts, to_pa: TEST_PA }
    }

    /// Readings at one lift in m, flow in m³/s.
    pub(crate) fn at(lift_m: f64, flow_m3_per_s: f64) -> Means {
        Means::from([
            ("lift".to_owned(), mean(QuantityKind::Length, lift_m * 1e3, "mm")),
            ("flow".to_owned(), mean(QuantityKind::VolumeFlow, flow_m3_per_s, "m³/s")),
        ])
    }
}

const CFM: f64 = 0.471_947_443_2e-3;

/// The figures of one lift by name, in SI, and what bars the others.
fn at_lift(conditions: &str, lift_m: f64, flow_cfm: f64, to_pa: f64) -> (BTreeMap<String, f64>, Vec<String>) {
    let book = engine();
    let (mut records, kinds) = flow::bench_of(&book, conditions);
    let effective = std::mem::replace(&mut records.effective, mulebook::record::Effective::empty());
    let ground = flow::ground(&records, &kinds, &effective);
    let lifts = vec![(lift_m, flow::at(lift_m, flow_cfm * CFM))];
    let mut bench = flow::sheet(&ground, &lifts, mulebook::record::PortSide::Inlet);
    bench.to_pa = to_pa;
    let (mut found, mut barred) = (BTreeMap::new(), Vec::new());
    for outcome in bench.at_lifts().remove(0).1 {
        match outcome {
            Ok(derived) => drop(found.insert(derived.label.name.clone(), derived.value.value())),
            Err(why) => barred.extend(why.missing.iter().map(|missing| missing.path.clone())),
        }
    }
    (found, barred)
}

#[test]
fn a_flow_sheet_gives_coefficients_that_name_area_and_convention() {
    // The reference table's 320 cfm at 28 inches of water is of air with 1.2041 kg/m³: standard air here.
    let standard = flow::conditions("to-standard-air", "");
    let (found, _) = at_lift(&standard, 0.6 * 0.0254, 320.0, flow::TEST_PA);
    let coefficient =
        |area: &str, convention: &str| found[&format!("discharge-coefficient-{area}-{convention}")];
    near(coefficient("curtain", "incompressible"), 0.554_717, 2e-6, "curtain");
    near(coefficient("valve", "incompressible"), 0.640_058, 2e-6, "valve");
    near(coefficient("throat", "incompressible"), 0.812_846, 2e-6, "throat");
    let ratio = coefficient("throat", "incompressible") / coefficient("throat", "compressible");
    near(ratio, 0.962_422, 1e-6, "conventions");
    near(found["lift-over-diameter"], 0.288_462, 1e-6, "lift over diameter");
    near(found["bench-gas-speed"], 320.0 * CFM / (2.675_638 * 0.0254 * 0.0254), 1e-4, "gas speed");
}

#[test]
fn flow_is_less_leakage_by_the_plate_and_at_another_pressure() {
    let plain = flow::conditions("as-read", "orifice");
    let leaking = plain.replace("0.0000 cfm", "6.0000 cfm");
    let (found, _) = at_lift(&leaking, 0.010, 320.0, flow::TEST_PA);
    near(found["flow"] / CFM, 314.0, 1e-9, "320 less 6 (reference table)");
    let by_plate = plain.replace("1.0000", "0.9800");
    let (found, _) = at_lift(&by_plate, 0.010, 320.0, flow::TEST_PA);
    near(found["flow"] / CFM, 320.0 / 0.98, 1e-9, "the bench showed too little on its plate");
    // 25 to 28 inches of water is 1.0583005 (reference table); the air of an orifice bench cancels.
    let at_25 = plain.replace("28.00 inH2O", "25.00 inH2O");
    let (found, _) = at_lift(&at_25, 0.010, 100.0, flow::TEST_PA);
    near(found["flow-at-pressure"] / CFM, 105.830_05, 1e-5, "25 to 28");
    near(found["flow-standard-air"], found["flow-at-pressure"], 1e-12, "orifice");
    // A meter of volume flow needs the room's air: missing, it names itself.
    let meter = flow::conditions("as-read", "volume-meter");
    let (_, barred) = at_lift(&meter, 0.010, 100.0, flow::TEST_PA);
    assert!(barred.contains(&"conditions.station-pressure".to_owned()), "{barred:?}");
    let room = ", air-temperature: {measured: 20.00 degC, by: mk, taken: 2026-03-01}, station-pressure: {measured: 101.325 kPa, by: mk, taken: 2026-03-01}, humidity: {measured: 1 %, by: mk, taken: 2026-03-01}";
    let (found, _) = at_lift(&format!("{meter}{room}"), 0.010, 100.0, flow::TEST_PA);
    near(found["flow-standard-air"] / CFM, 100.0, 0.01, "nearly standard air");
    // 25 °C at the head, 30 °C at the orifice: 0.991719 of what it shows (reference table).
    let warm = ", air-temperature: {measured: 25.00 degC, by: mk, taken: 2026-03-01}, orifice-temperature: {measured: 30.00 degC, by: mk, taken: 2026-03-01}";
    let (found, _) = at_lift(&format!("{plain}{warm}"), 0.010, 100.0, flow::TEST_PA);
    near(found["flow"] / CFM, 99.1719, 1e-4, "orifice warmer than head");
    // Nobody says what kind of bench: nothing is guessed.
    let (found, barred) = at_lift(&flow::conditions("as-read", ""), 0.010, 100.0, flow::TEST_PA);
    assert!(!found.contains_key("flow-standard-air") && barred.contains(&"conditions.bench-kind".to_owned()));
}

#[test]
fn means_over_lift_and_exhaust_to_inlet() {
    let book = engine();
    let (mut records, kinds) = flow::bench_of(&book, &flow::conditions("as-read", "orifice"));
    let effective = std::mem::replace(&mut records.effective, mulebook::record::Effective::empty());
    let ground = flow::ground(&records, &kinds, &effective);
    let readings = |share: f64| -> Vec<(f64, Means)> {
        [(0.002, 100.0), (0.004, 180.0), (0.010, 420.0)]
            .map(|(lift, flow)| (lift, self::flow::at(lift, flow * share * CFM)))
            .to_vec()
    };
    let (inlet, exhaust) = (readings(1.0), readings(0.75));
    let inlet = flow::sheet(&ground, &inlet, mulebook::record::PortSide::Inlet);
    let exhaust = flow::sheet(&ground, &exhaust, mulebook::record::PortSide::Exhaust);
    let over = inlet.over(0.002, 0.010);
    let mean = over.iter().flatten().find(|mean| mean.label.name == "mean-flow").expect("a mean");
    // Each lift is read anew: of three readings off by ±1 cfm each, the mean is off by less than one of them.
    let mut metered = engine();
    metered.instrument(
        "instrument: bench-1\nwhat: \"bench\"\nuncertainty:\n  - {of: volume-flow, is: \"±1 cfm\", scope: reading}\n",
    );
    let (mut off, kinds_too) = flow::bench_of(&metered, &flow::conditions("as-read", "orifice"));
    let effective_too = std::mem::replace(&mut off.effective, mulebook::record::Effective::empty());
    let metered_ground = flow::ground(&off, &kinds_too, &effective_too);
    let mut by_meter = readings(1.0);
    for (lift, means) in &mut by_meter {
        let flow = means.get_mut("flow").expect("a flow");
        (flow.instrument, flow.place) = (Some("bench-1".to_owned()), format!("{lift} m"));
    }
    let metered = flow::sheet(&metered_ground, &by_meter, mulebook::record::PortSide::Inlet);
    let found = metered.over(0.002, 0.010);
    let u = found.iter().flatten().find(|mean| mean.label.name == "mean-flow").expect("a mean");
    // Shares of the trapezoids: 0.125, 0.5, 0.375 (by hand); ±1 cfm is rectangular.
    let expected = CFM / 3.0_f64.sqrt() * (0.125_f64.powi(2) + 0.5_f64.powi(2) + 0.375_f64.powi(2)).sqrt();
    near(u.value.standard_uncertainty() / expected, 1.0, 1e-3, "each lift by itself");
    // A straight line's mean is its middle.
    near(mean.value.value() / CFM, 260.0, 1e-9, "mean");
    let ratio =
        mulebook::derive::exhaust_to_inlet(&exhaust, &inlet).expect("lifts in common").expect("flows");
    near(ratio.value.value(), 0.75, 1e-9, "exhaust to inlet");
    assert!(ratio.value.standard_uncertainty() < 1e-6, "what both sheets share cancels in their ratio");
}

#[test]
fn a_sea_level_pressure_needs_the_documented_altitude_of_the_cell() {
    let book = engine();
    let reduced =
        AIR.replace("station-pressure: {measured: 100.000", "sea-level-pressure: {measured: 101.325");
    let mut side = book.side(&book.build(&settings(SET)), Some(book.pull(&pull("observed", &reduced))));
    let j1349 = Basis::named("sae-j1349").expect("a standard");
    let lack = bring(&side.ground(book.schemas.kinds()), j1349).expect_err("no altitude");
    assert_eq!(lack.missing[0].title, "altitude", "{lack:?}");
    side.cell = Some(book.cell("cell: tower\naltitude: {listed: 609.6 m, source: \"map\"}\n"));
    // 2000 ft: 94.21290 kPa (reference table, ISO 2533).
    near(value(&book, &side, "station-pressure", "kPa"), 94.212_90, 1e-4, "2000 ft");
    let found = book.figure(&side, "dry-air-pressure");
    assert!(found.notes.iter().any(|note| note.contains("reduced to sea level")), "{found:?}");
    assert_eq!(found.grade(), Grade::Listed, "no better known than the altitude");
    assert!(bring(&side.ground(book.schemas.kinds()), j1349).is_ok());
    side.cell = Some(book.cell("cell: tower\naltitude: {unknown: \"no map\"}\n"));
    let lack = bring(&side.ground(book.schemas.kinds()), j1349).expect_err("altitude unknown");
    assert!(lack.missing[0].why.contains("no map"), "{lack:?}");
}

/// A six-litre engine that ignites by compression, as the reference table has it: 10 g/s at 2000 rpm.
fn diesel(figures: &[(&str, &str)], roles: &str) -> (Book, Side) {
    let mut book = engine();
    let mut own = vec![
        ("bore", "100.0000 mm"),
        ("stroke", "127.323954 mm"),
        ("cycle", "four-stroke"),
        ("ignition", "compression"),
    ];
    own.extend(figures);
    book.part(&part("e1", "short-block", &own).replace("cylinders: 8", "cylinders: 6"))
        .part(&part("t1", "turbocharger", &[]))
        .part(&part("i2", "intercooler", &[("type", "air-to-water")]));
    let text = format!(
        "build: b1\nengine: e1\nsince: 2026-03-02\nparts: {{short-block: e1/a{roles}}}\nsettings: {{boost-pressure: {{measured: 60.000 kPa, by: mk, taken: 2026-03-02}}}}\n"
    );
    let mut side = book.side(&book.build(&text), Some(book.pull(&pull("observed", AIR))));
    side.channel_means = channels(400.0, 2000.0, &[("fuel-flow", mean(QuantityKind::MassFlow, 10.0, "g/s"))]);
    (book, side)
}

#[test]
fn compression_ignition_is_corrected_by_air_charging_and_fuel() {
    // Reference table: 30 °C, 100 kPa, 50 %; fa by charging and edition. q is 100 mg/l, and q_c 62.5 with a boost ratio
    // of 1.6, so that f_m is 1.11; naturally aspirated it is beyond 65, and f_m is 1.2.
    let named = |name: &str| Basis::named(name).expect("a standard");
    let factor = |book: &Book, side: &Side, name: &str| {
        bring(&side.ground(book.schemas.kinds()), named(name)).expect("it can be brought")
    };
    for (roles, name, air, engine) in [
        ("", "sae-j1349", 1.023_327_f64, 1.2),
        ("", "iso-1585", 1.023_327, 1.2),
        (", turbocharger: t1/a", "sae-j1349", 1.028_350, 1.11),
        (", turbocharger: t1/a", "ece-r85", 1.033_496, 1.11),
        (", turbocharger: t1/a, intercooler: i2/a", "jis-d-1001", 1.019_830, 1.11),
    ] {
        let (book, side) = diesel(&[], roles);
        let found = factor(&book, &side, name);
        near(found.factor.value(), libm::pow(air, engine), 5e-5, &format!("{roles} {name}"));
        assert!(found.inputs.iter().any(|input| input.path == "channel fuel-flow"), "{found:?}");
    }
    // What the log shows in the manifold goes before what was set: 200 kPa over 100 kPa.
    let (book, mut side) = diesel(&[], ", turbocharger: t1/a");
    let manifold = mean(QuantityKind::PressureAbsolute, 200.0, "kPa");
    side.channel_means.insert("manifold-pressure".to_owned(), manifold);
    let found = factor(&book, &side, "sae-j1349");
    // q_c 100/2 = 50: f_m 0.66.
    near(found.factor.value(), libm::pow(1.028_350, 0.66), 5e-5, "manifold pressure of the log");
    // The older practice has no formula for it; without fuel there is no factor; both say so.
    let (book, mut side) = diesel(&[], "");
    let lack = bring(&side.ground(book.schemas.kinds()), named("stp")).expect_err("no formula");
    assert!(lack.why.is_some_and(|why| why.contains("compression ignition")));
    side.channel_means.remove("fuel-flow");
    let lack = bring(&side.ground(book.schemas.kinds()), named("iso-1585")).expect_err("no fuel");
    assert!(lack.missing.iter().any(|missing| missing.path == "channel fuel-flow"), "{lack:?}");
    // An intercooler of which nobody says how it is cooled bars the choice of formula.
    let (mut book, _) = diesel(&[], "");
    book.part(&part("i2", "intercooler", &[]));
    let build = book.build("build: b1\nengine: e1\nsince: 2026-03-02\nparts: {short-block: e1/a, turbocharger: t1/a, intercooler: i2/a}\nsettings: {boost-pressure: {measured: 60.000 kPa, by: mk, taken: 2026-03-02}}\n");
    let mut side = book.side(&build, Some(book.pull(&pull("observed", AIR))));
    side.channel_means = channels(400.0, 2000.0, &[("fuel-flow", mean(QuantityKind::MassFlow, 10.0, "g/s"))]);
    let lack = bring(&side.ground(book.schemas.kinds()), named("iso-1585")).expect_err("cooler unknown");
    assert!(lack.missing.iter().any(|missing| missing.path == "intercooler.type"), "{lack:?}");
}

#[test]
fn the_factor_of_compression_ignition_goes_with_the_fuel_at_each_speed() {
    let (book, mut side) = diesel(&[], "");
    let at =
        |grams: f64| channels(400.0, 2000.0, &[("fuel-flow", mean(QuantityKind::MassFlow, grams, "g/s"))]);
    // q_c of 40, 50 and 60 mg/l: f_m 0.3, 0.66 and 1.02.
    side.by_speed = BTreeMap::from([(1800, at(4.0)), (2000, at(5.0)), (2200, at(6.0))]);
    let found = bring(&side.ground(book.schemas.kinds()), Basis::named("iso-1585").expect("a standard"))
        .expect("it can be brought");
    let air = 1.023_327_f64;
    for (rpm, engine) in [(1800, 0.3), (2000, 0.66), (2200, 1.02)] {
        near(found.factor_at(rpm), libm::pow(air, engine), 5e-5, &format!("{rpm} rpm"));
    }
    // Between two speeds on the line between them, beyond them as at the last.
    near(found.factor_at(2100), (libm::pow(air, 0.66) + libm::pow(air, 1.02)) / 2.0, 5e-5, "2100 rpm");
    near(found.factor_at(3000), libm::pow(air, 1.02), 5e-5, "3000 rpm");
    assert!(found.notes.iter().any(|note| note.contains("each speed")), "{found:?}");
}

#[test]
fn a_rating_by_iso_3046_is_told_and_is_no_basis() {
    let book = engine();
    let conditions = AIR.replace("100.000 kPa", "95.000 kPa").replace("50.0 %", "60.0 %");
    let side = book.side(&book.build(&settings(SET)), Some(book.pull(&pull("observed", &conditions))));
    // Reference table: 95 kPa, 30 °C, 60 %: k 0.925662, α 0.912653 with an efficiency of 0.80 (temperatures as 303/298).
    near(value(&book, &side, "rating-iso-3046-1", ""), 0.912_653, 5e-5, "rating");
    assert_eq!(Basis::named("iso-3046-1"), None);
}
