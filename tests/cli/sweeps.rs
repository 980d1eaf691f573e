//! Weighing pulls of unlike sweep rates, with holes, crossings and combinations that were run and cannot be compared:
//! logs made for the purpose, with a known truth, beside the demo's own.

use serde_json::Value as Json;

use super::bench::Bench;

/// Rotating inertia of the demo's cell, kg·m².
const INERTIA: f64 = 0.31;

/// A sweep to be logged.
#[derive(Clone, Copy)]
struct Sweep {
    /// How fast, rpm/s.
    rate: f64,
    /// The torque that its bench leaves out belongs to this inertia, kg·m².
    inertia: f64,
    /// Added to the engine's torque at 5500 rpm, N·m.
    gain: f64,
    /// And for every 1000 rpm above it.
    slope: f64,
    /// A stretch of speeds without a row.
    hole: (f64, f64),
    /// Which of several repeats it is; they scatter.
    repeat: u32,
}

const PLAIN: Sweep = Sweep { rate: 300.0, inertia: 0.0, gain: 0.0, slope: 0.0, hole: (0.0, 0.0), repeat: 0 };

/// Fractions that look drawn by lot and are always the same.
fn scatter(number: u32) -> f64 {
    let x = f64::from(number) * 0.754_877_666;
    2.0 * (x - x.floor()) - 1.0
}

impl Sweep {
    /// As the console of the demo's cell writes it.
    fn log(&self) -> String {
        let mut text = String::from(
            "Time (s),Engine Speed (rpm),Torque (N·m),Power (kW),Oil Temp (°C),Coolant Temp (°C),Fuel Flow (kg/h),\
             Lambda,Barometer (kPa),Air Temp (°C),Humidity (%)\n",
        );
        let lost = self.inertia * self.rate * std::f64::consts::PI / 30.0;
        let offset = 0.35 * scatter(self.repeat + 1);
        let sweep = 5000.0 / self.rate;
        for row in 0_u32.. {
            let time = f64::from(row) * 0.05;
            let (speed, torque) = if time < 1.5 {
                (2950.0, 61.0)
            } else if time < 1.5 + sweep {
                let speed = 3000.0 + self.rate * (time - 1.5);
                let x = speed / 1000.0;
                let steady = 60.0 + 50.0 * x - 4.2 * x * x + self.gain + self.slope * (x - 5.5) + offset;
                (speed, steady - lost)
            } else if time < 3.5 + sweep {
                (8000.0 - 2000.0 * (time - 1.5 - sweep), 2.0)
            } else {
                break;
            };
            if speed > self.hole.0 && speed < self.hole.1 {
                continue;
            }
            let small = scatter(97 * row + self.repeat);
            text.push_str(&format!(
                "{time:.2},{:.0},{:.1},,{:.1},{:.1},{:.2},{:.3},{:.2},{:.1},{:.1}\n",
                speed + small,
                torque + small,
                85.5 + 0.1 * small,
                78.9 + 0.1 * small,
                5.8 + 0.02 * small,
                0.94 + 0.003 * small,
                98.35 + 0.01 * small,
                17.8 + 0.1 * small,
                49.3 + 0.1 * small
            ));
        }
        text
    }
}

/// Enters pulls of the spare head on 9 May, in the order given: numbers 5, 6, 7 …
fn enter(bench: &Bench, sweeps: &[Sweep]) {
    for (number, sweep) in sweeps.iter().enumerate() {
        let sweep = Sweep { repeat: u32::try_from(number).expect("a few"), ..*sweep };
        bench.put(&format!("made-{number}.csv"), &sweep.log());
        let (file, rate) = (format!("../made-{number}.csv"), format!("rate={} rpm/s", sweep.rate));
        let at = format!("2026-05-09T13:{:02}:00+02:00", number * 5);
        let run = [
            "pull",
            &file,
            "--session",
            "0509a",
            "--build",
            "b8",
            "--columns",
            "tower-1",
            "--correction",
            "observed",
            "--set",
            "kind=sweep",
            "--set",
            &rate,
            "--set",
            "from=3000 rpm",
            "--set",
            "to=8000 rpm",
            "--at",
            &at,
        ];
        bench.run(&run).done();
    }
}

/// Slow pulls against fast ones, turn by turn.
fn slow_and_fast(bench: &Bench, inertia: f64) {
    let (slow, fast) = (Sweep { inertia, ..PLAIN }, Sweep { inertia, rate: 600.0, ..PLAIN });
    enter(bench, &[slow, fast, fast, slow, slow, fast, fast, slow]);
}

fn weighed(bench: &Bench, more: &[&str]) -> Json {
    let sides = ["--base", "0509a-05,0509a-08..09,0509a-12", "--test", "0509a-06..07,0509a-10..11"];
    bench.run(&[&["weigh"], &sides[..], more, &["--json"]].concat()).done().json()
}

fn value(number: &Json) -> f64 {
    number.as_f64().unwrap_or_else(|| panic!("{number} is no number"))
}

fn reasons(answer: &Json) -> String {
    answer["ruling"]["reasons"].to_string()
}

/// What the faster sweeps hide more of, N·m.
fn hidden() -> f64 {
    INERTIA * 300.0 * std::f64::consts::PI / 30.0
}

fn record(bench: &Bench, file: &str, from: &str, to: &str) {
    bench.edit(file, from, to);
    bench.run(&["keep", "-m", "as the handbook has it"]).done();
}

#[test]
fn inertia_torque_is_added_back_where_it_is_documented() {
    let bench = Bench::demo().at("2026-05-09T15:00:00+02:00");
    record(
        &bench,
        "cells/tower.yaml",
        "inertia-torque: {listed: credited",
        "inertia-torque: {listed: left-out",
    );
    slow_and_fast(&bench, INERTIA);
    let answer = weighed(&bench, &["--window", "4000..7500"]);
    let gain = value(&answer["difference"]["value"]);
    assert!(gain.abs() < 0.6, "slow and fast sweeps of one engine are {gain} N·m apart");
    let says = answer["inertia"].as_str().unwrap_or_default();
    assert!(says.starts_with("swept at 300 to 600 rpm/s; inertia torque was added back"), "{says}");
    assert!(!reasons(&answer).contains("rate"), "{}", reasons(&answer));
    // The moment of inertia is known to ±0.03 kg·m² (rectangular): on 300 rpm/s between the sides that does not cancel.
    let open = 0.03 / 3.0_f64.sqrt() * hidden() / INERTIA;
    let left = value(&answer["systematic"]);
    assert!((left - open).abs() < 0.03 * open + 0.02, "{left} is not {open}");
    // As they were cut: the dwell before load came on, and the engine slowing down.
    for sweep in answer["sweeps"].as_array().expect("sweeps") {
        assert_eq!((sweep["from"].as_u64(), sweep["cut_before"].as_u64()), (Some(3000), Some(30)), "{sweep}");
        assert_eq!(sweep["cut_after"].as_u64(), Some(40), "{sweep}");
        let rate = value(&sweep["rate"]);
        assert!((rate - 300.0).abs() < 4.0 || (rate - 600.0).abs() < 8.0, "{sweep}");
    }
}

#[test]
fn inertia_torque_that_the_bench_credits_is_not_added_again() {
    let bench = Bench::demo().at("2026-05-09T15:00:00+02:00");
    slow_and_fast(&bench, 0.0);
    let answer = weighed(&bench, &["--window", "4000..7500"]);
    assert!(value(&answer["difference"]["value"]).abs() < 0.6, "{}", answer["difference"]);
    assert!(answer["inertia"].as_str().unwrap_or_default().contains("the bench credits inertia torque"));
    assert!(!reasons(&answer).contains("rate"), "{}", reasons(&answer));
}

#[test]
fn inertia_that_nobody_wrote_down_is_named_and_not_guessed() {
    let bench = Bench::demo().at("2026-05-09T15:00:00+02:00");
    let cell = bench.read("cells/tower.yaml");
    let line = cell.lines().find(|line| line.starts_with("inertia:")).expect("the demo has it").to_owned();
    record(&bench, "cells/tower.yaml", &format!("{line}\n"), "");
    record(
        &bench,
        "cells/tower.yaml",
        "inertia-torque: {listed: credited",
        "inertia-torque: {listed: left-out",
    );
    slow_and_fast(&bench, INERTIA);
    let answer = weighed(&bench, &["--window", "4000..7500"]);
    let gain = value(&answer["difference"]["value"]);
    assert!((gain + hidden()).abs() < 0.6, "{gain} is not what the faster sweeps hide, {}", hidden());
    let says = answer["inertia"].as_str().unwrap_or_default();
    assert!(says.ends_with("nobody knows the rotating inertia of the cell tower"), "{says}");
    assert!(reasons(&answer).contains("rate: 300 rpm/s to 600 rpm/s changed too"), "{}", reasons(&answer));
    // Pulls of one rate alone are alike in it.
    let alike =
        bench.run(&["weigh", "--base", "0509a-05,0509a-12", "--test", "0509a-08..09", "--json"]).json();
    let says = alike["inertia"].as_str().unwrap_or_default();
    assert!(says.ends_with("inertia torque is in both sides alike, and none was added"), "{says}");
}

#[test]
fn curves_cross_where_they_were_made_to_and_a_hole_is_left_out_of_all() {
    let bench = Bench::demo().at("2026-05-09T15:00:00+02:00");
    let test = Sweep { slope: 12.0, hole: (5130.0, 5280.0), ..PLAIN };
    enter(&bench, &[PLAIN, test, test, PLAIN, PLAIN, test, test, PLAIN]);
    let answer = weighed(&bench, &["--window", "3500..7500"]);
    assert_eq!(answer["left_out_speeds"], serde_json::json!([5200]));
    let crossings = answer["band"]["crossings"].as_array().expect("crossings");
    assert_eq!(crossings.len(), 1, "{crossings:?}");
    let (at, lower, upper) =
        (value(&crossings[0]["rpm"]), value(&crossings[0]["lower"]), value(&crossings[0]["upper"]));
    assert!(lower < 5500.0 && 5500.0 < upper && upper - lower < 1500.0, "{lower} to {upper}");
    assert!((at - 5500.0).abs() < 100.0, "{at}");
    // Ahead, behind and above are said only of a band that holds at all speeds at once.
    let simultaneous = answer["band"]["simultaneous"] == true;
    assert_eq!(simultaneous, value(&answer["band"]["degrees_of_freedom"]) >= 8.0);
    assert_eq!(simultaneous, crossings[0]["upward"] == true, "{}", crossings[0]);
    let standings: Vec<&str> = answer["band"]["ranges"]
        .as_array()
        .expect("ranges")
        .iter()
        .filter_map(|r| r["standing"].as_str())
        .collect();
    assert_eq!(standings, if simultaneous { vec!["behind", "undecided", "ahead"] } else { vec![] });
    for row in answer["band"]["rows"].as_array().expect("rows") {
        assert!(row["rpm"] != 5200, "an empty bin was filled");
        let difference = value(&row["test"]) - value(&row["base"]);
        assert!((difference - value(&row["value"])).abs() < 1e-9, "{row}");
    }
    // Smoothed on both sides alike, the straight difference of the curves stays.
    let smooth = weighed(&bench, &["--window", "3500..7500", "--smooth", "400"]);
    assert_eq!(smooth["smoothed"], 400);
    let (a, b) = (value(&answer["difference"]["value"]), value(&smooth["difference"]["value"]));
    assert!((a - b).abs() < 0.05 && (a - b).abs() > 0.0, "{a} {b}");
}

#[test]
fn a_combination_that_cannot_be_compared_is_left_out_with_its_reason() {
    let bench = Bench::demo().at("2026-05-09T15:00:00+02:00");
    bench
        .run(&["build", "b9", "--from", "b8", "--set", "intake=plenum-1/a", "--set", "header=short-1/a"])
        .done();
    bench.put("made.csv", &PLAIN.log());
    let pull = ["pull", "../made.csv", "--session", "0509a", "--build", "b9", "--columns", "tower-1"];
    bench
        .run(&[&pull[..], &["--correction", "observed", "--at", "2026-05-09T14:00:00+02:00"]].concat())
        .done();
    let table = bench
        .run(&["combos", "--rows", "header", "--cols", "intake", "--window", "4000..7500", "--json"])
        .done()
        .json();
    let cells = table["cells"].as_array().expect("cells");
    let cell = cells
        .iter()
        .find(|cell| cell["row"] == "short-1/a" && cell["column"] == "plenum-1/a")
        .expect("it was run");
    assert_eq!(cell["pulls"], 0);
    let why = cell["left_out"][0].as_str().unwrap_or_default();
    assert!(why.starts_with("not documented: "), "{cell}");
    assert!(cell["difference"].is_null() && !cell["prediction"].is_null());
    // The rest of the table stands, and the cheapest way to the whole is to write it down.
    assert_eq!(cells.iter().filter(|cell| cell["pulls"] != 0).count(), 5);
    let first = table["complete"][0].as_str().unwrap_or_default();
    assert!(first.starts_with("short-1/a with plenum-1/a was run: document 0509a-05"), "{first}");
}

#[test]
fn what_instruments_leave_open_cancels_only_where_instrument_calibration_and_zero_are_shared() {
    let bench = Bench::demo();
    let systematic = |base: &str, test: &str| {
        let answer = bench.run(&["weigh", "--base", base, "--test", test, "--json"]).done().json();
        (value(&answer["systematic"]), answer["unstated"].as_str().map(str::to_owned))
    };
    // One session: the same load cell with one calibration and one zero, the same weather station.
    let (within, _) = systematic("b1", "b2");
    assert!(within < 0.01, "{within}");
    // Two sessions of one calibration: ±0.8 N·m (rectangular) on each side's zero, brought to the standard.
    let (across, unstated) = systematic("b1", "b4");
    let zeros = 0.8 / 3.0_f64.sqrt() * 2.0_f64.sqrt();
    assert!((across - zeros).abs() < 0.05 && unstated.is_none(), "{across} is not {zeros}");
    // The zero's own uncertainty stated beside it, the calibration cancels and the zeros do not.
    let calibration = "  - {of: torque, is: \"±0.8 N·m\", scope: calibration}";
    let zero = "  - {of: torque, is: \"±0.1 N·m\", scope: session}";
    record(&bench, "instruments/load-1.yaml", calibration, &format!("{calibration}\n{zero}"));
    let (told_apart, _) = systematic("b1", "b4");
    assert!((told_apart - zeros / 8.0).abs() < 0.05, "{told_apart} is not {}", zeros / 8.0);
    // Nobody states anything of it: said, since nothing of it is in the interval.
    record(&bench, "instruments/load-1.yaml", &format!("{calibration}\n{zero}\n"), "");
    let (_, unstated) = systematic("b1", "b4");
    assert!(unstated.is_some_and(|words| words.contains("nobody states its uncertainty (`load-1`)")));
}

#[test]
fn heads_are_compared_by_the_volume_of_their_ports() {
    let bench = Bench::demo().at("2026-05-10T10:00:00+02:00");
    for (head, volume) in [("h2/a", "41.0 cc"), ("h2/b", "41.2 cc"), ("h1/a", "44.5 cc")] {
        bench.run(&["measure", head, "port-volume", volume, "--with", "burette-1"]).done();
    }
    let table = |band: &[&str]| {
        let asked = [&["combos", "--rows", "port-volume", "--cols", "header"], band, &["--json"]].concat();
        bench.run(&asked).done().json()
    };
    let rows = |table: &Json| -> Vec<String> {
        let cells = table["cells"].as_array().expect("cells").iter();
        let mut rows: Vec<String> =
            cells.filter_map(|cell| cell["row"].as_str().map(str::to_owned)).collect();
        rows.dedup();
        rows
    };
    let own = table(&[]);
    assert_eq!(own["row_role"], "inlet-port-volume");
    assert_eq!(rows(&own), ["41 to 42 cc", "44 to 45 cc"]);
    assert_eq!(rows(&table(&["--row-band", "5 cc"])), ["40 to 45 cc"]);
    // Head h1 was run in a session of its own, so nothing joins its figures with the others': no difference, no effect.
    let apart =
        own["cells"].as_array().and_then(|cells| cells.iter().find(|cell| cell["row"] == "44 to 45 cc"));
    let apart = apart.expect("it was run");
    assert!(!apart["figure"].is_null() && apart["difference"].is_null(), "{apart}");
    assert!(
        own["main_effects"].as_array().expect("effects").iter().all(|effect| effect["to"] != "44 to 45 cc")
    );
}
