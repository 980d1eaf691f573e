//! The list of pulls that the demo enters, and the planted truth in numbers.

use std::fmt::Write;

use serde_json::Value;
use serde_json::json;

use super::random::Scatter;
use super::schedule::BUILDS;
use super::schedule::PULLS;
use super::schedule::Pull;
use super::schedule::SILENT_ON_SPACER;
use super::schedule::Shape;
use super::trace;
use super::truth;
use super::truth::SetUp;

/// `pulls.yaml`: one mapping for each pull, in the order of entry.
pub(crate) fn pulls_yaml() -> String {
    let mut text = String::from(
        "# The pulls in the order they are entered; README.md says what each key means. Written by the demo's generator.\n",
    );
    for pull in &PULLS {
        entry(&mut text, pull);
    }
    text
}

fn entry(text: &mut String, pull: &Pull) {
    let sitting = pull.sitting();
    // Writing into a string cannot fail.
    let _ = writeln!(text, "- file: {}", pull.file());
    if let Some(segment) = pull.segment {
        let _ = writeln!(text, "  segment: {segment}");
    }
    let _ = write!(
        text,
        "  session: {}\n  order: {}\n  build: {}\n  at: {}T{}:00+02:00\n  by: {}\n  outcome: kept\n",
        pull.session, pull.order, pull.build, sitting.day, pull.at, sitting.by
    );
    let mut with = Vec::new();
    if matches!(pull.shape, Shape::UnitRow | Shape::Preamble) {
        let [air_c, station_kpa, humidity_percent] = pull.weather();
        let _ = write!(
            text,
            "  conditions:\n    air-temperature: \"{air_c:.1} degC\"\n    station-pressure: \"{station_kpa:.2} kPa\"\n    \
             humidity: \"{humidity_percent:.0} %\"\n"
        );
        with.extend(["air-temperature", "station-pressure", "humidity"].map(|name| (name, "weather-1")));
    }
    if turned(pull) {
        let _ = writeln!(text, "  changed:\n    ignition-timing: \"{} deg BTDC\"", pull.timing_deg);
        with.push(("ignition-timing", "lamp-1"));
    }
    if !with.is_empty() {
        text.push_str("  with:\n");
        for (name, instrument) in with {
            let _ = writeln!(text, "    {name}: {instrument}");
        }
    }
    text.push_str(
        "  run: {kind: sweep, rate: 300 rpm/s, from: 3000 rpm, to: 8000 rpm}\n  correction: observed\n",
    );
    if let Some(note) = pull.note {
        let _ = writeln!(text, "  note: \"{note}\"");
    }
}

/// Whether the timing is not the usual one.
fn turned(pull: &Pull) -> bool {
    (pull.timing_deg - truth::USUAL_TIMING_DEG).abs() > 0.5
}

/// `truth.json`: what a later check may hold the program's answers against.
pub(crate) fn truth_json() -> String {
    let swap = |header: &'static str, intake: &'static str| SetUp { header, intake, ..truth::BASE };
    let on = |intake: &'static str| {
        json!({
            "step-1": gain(swap("long-1", intake), swap("step-1", intake)),
            "short-1": gain(swap("long-1", intake), swap("short-1", intake)),
        })
    };
    let with = |change: fn(&mut SetUp)| {
        let mut test = truth::BASE;
        change(&mut test);
        gain(truth::BASE, test)
    };
    let (from, to) = truth::WINDOW_RPM;
    let value = json!({
        "about": "Planted truths of the demo. Gains are of torque at standard air (SAE J1349), free of drift and scatter; \
                  means are over the window on an even grid of rpm.",
        "engine": {
            "cylinders": truth::CYLINDERS,
            "bore-mm": truth::BORE_MM,
            "stroke-mm": truth::STROKE_MM,
            "displacement-cc": digits(truth::CYLINDERS * truth::swept_cc(), 2),
            "peak-torque-base": peak(truth::BASE, false),
            "peak-power-base": peak(truth::BASE, true),
            "mean-torque-base-nm": digits(mean_torque(truth::BASE), 3),
        },
        "window-rpm": [from, to],
        "heads": heads(),
        "header-gain-over-long-1": {"trumpets-90": on("trumpets-90"), "plenum-1": on("plenum-1")},
        "intake-gain-of-plenum-1-over-trumpets-90": {
            "long-1": gain(swap("long-1", "trumpets-90"), swap("long-1", "plenum-1")),
            "step-1": gain(swap("step-1", "trumpets-90"), swap("step-1", "plenum-1")),
            "short-1": gain(swap("short-1", "trumpets-90"), swap("short-1", "plenum-1")),
        },
        "never-run": {"header": "short-1", "intake": "plenum-1"},
        "skim": {
            "part": "h2", "from": "a", "to": "b", "cut-mm": truth::SKIM_MM,
            "torque-percent": digits((truth::compression_factor("h2/b") - 1.0) * 100.0, 4),
            "rule": format!("air-standard Otto efficiency, gamma {}", truth::GAMMA),
        },
        "head-gain-of-h1-over-h2a": with(|set_up| set_up.head = "h1/a"),
        "spacer": {
            "part": "sp-12",
            "gain": with(|set_up| set_up.spacer = true),
            "build-without-the-line": SILENT_ON_SPACER,
            "on-at": ids(|pull| pull.spacer),
            "off-at": ids(|pull| pull.build == SILENT_ON_SPACER && !pull.spacer),
        },
        "timing": {
            "at": ids(turned),
            "noted-deg-btdc": 28.0, "build-deg-btdc": truth::USUAL_TIMING_DEG,
            "torque-percent": digits((truth::timing_factor(28.0) - 1.0) * 100.0, 4),
        },
        "drift-percent-per-pull": truth::DRIFT_PERCENT_PER_PULL,
        "standard-deviations-percent": {
            "session": truth::SESSION_DEVIATION_PERCENT,
            "refit": truth::REFIT_DEVIATION_PERCENT,
            "pull": truth::PULL_DEVIATION_PERCENT,
        },
        "wave": {"percent": truth::WAVE_PERCENT, "length-rpm": truth::WAVE_RPM},
        "sample-noise": {"torque-nm": truth::TORQUE_NOISE_NM, "speed-rpm": truth::SPEED_NOISE_RPM},
        "to-measure": {
            "part": "h2", "state": "b", "figure": "chamber-volume", "value": burette("h2/b"),
            "with": "burette-1", "by": "jo", "taken": "2026-05-23",
        },
        "pulls": PULLS.iter().map(told).collect::<Vec<_>>(),
    });
    let mut text = serde_json::to_string_pretty(&value).expect("numbers and text always make JSON");
    text.push('\n');
    text
}

fn ids(holds: impl Fn(&Pull) -> bool) -> Vec<String> {
    PULLS.iter().filter(|pull| holds(pull)).map(Pull::id).collect()
}

fn heads() -> Value {
    truth::CHAMBERS_CC
        .iter()
        .map(|(name, volumes)| {
            let about = json!({
                "chamber-volumes-cc": volumes,
                "mean-cc": digits(truth::chamber_cc(name), 4),
                "compression-ratio": digits(truth::compression_ratio(name), 4),
            });
            ((*name).to_string(), about)
        })
        .collect::<serde_json::Map<_, _>>()
        .into()
}

fn told(pull: &Pull) -> Value {
    let set_up = pull.set_up();
    let [air_c, station_kpa, humidity_percent] = pull.weather();
    let scatter = trace::drawn(pull);
    json!({
        "pull": pull.id(), "build": pull.build, "assembly": pull.assembly,
        "head": set_up.head, "header": set_up.header, "intake": set_up.intake,
        "spacer": set_up.spacer, "timing-deg-btdc": set_up.timing_deg,
        "air-degc": digits(air_c, 3), "station-kpa": digits(station_kpa, 3),
        "humidity-percent": digits(humidity_percent, 3),
        "factor-sae-j1349": digits(truth::air_factor(air_c, station_kpa, humidity_percent), 6),
        "drift-percent": digits(truth::DRIFT_PERCENT_PER_PULL * f64::from(pull.order - 1), 3),
        "drawn-percent": {
            "session": digits(scatter.session, 4), "assembly": digits(scatter.assembly, 4),
            "pull": digits(scatter.pull, 4),
        },
        "true-mean-torque-nm": digits(mean_torque(set_up), 3),
    })
}

/// What a burette good to ±0.2 cc shows, to a tenth.
fn burette(head: &str) -> String {
    let (_, volumes) =
        truth::CHAMBERS_CC.iter().find(|(name, _)| *name == head).expect("the head has chambers");
    let mut scatter = Scatter::of("burette");
    let read = volumes.map(|volume| format!("{:.1}", volume + scatter.normal(0.05)));
    format!("{} ±0.2 cc", read.join(" "))
}

/// The speeds of the window, every 50 rpm.
fn grid() -> impl Iterator<Item = f64> {
    let (from, to) = truth::WINDOW_RPM;
    (0..).map(move |step| from + 50.0 * f64::from(step)).take_while(move |rpm| *rpm <= to)
}

fn mean(of: impl Fn(f64) -> f64) -> f64 {
    let (sum, count) = grid().fold((0.0, 0.0), |(sum, count), rpm| (sum + of(rpm), count + 1.0));
    sum / count
}

fn mean_torque(set_up: SetUp) -> f64 {
    mean(|rpm| truth::torque_nm(set_up, rpm))
}

/// What the test set-up gains over the base: in the window's mean, and by rpm.
fn gain(base: SetUp, test: SetUp) -> Value {
    let (before, after) = (mean_torque(base), mean_torque(test));
    let at = |rpm: f64| {
        let percent = (truth::torque_nm(test, rpm) / truth::torque_nm(base, rpm) - 1.0) * 100.0;
        (format!("{rpm:.0}"), json!(digits(percent, 3)))
    };
    json!({
        "mean-nm": digits(after - before, 3),
        "mean-percent": digits((after / before - 1.0) * 100.0, 4),
        "percent-by-rpm": truth::NODES_RPM.iter().map(|rpm| at(*rpm)).collect::<serde_json::Map<_, _>>(),
    })
}

fn peak(set_up: SetUp, of_power: bool) -> Value {
    let height = |rpm: f64| {
        let torque = truth::torque_nm(set_up, rpm);
        if of_power { trace::power_kw(torque, rpm) } else { torque }
    };
    let best = (3000..=8000)
        .step_by(10)
        .map(f64::from)
        .max_by(|one, other| height(*one).total_cmp(&height(*other)))
        .expect("the range is not empty");
    json!({"rpm": best, "height": digits(height(best), 2), "unit": if of_power { "kW" } else { "N·m" }})
}

/// A number to so many decimals, so that the file shows what is meant.
fn digits(value: f64, decimals: i32) -> f64 {
    let steps = libm::pow(10.0, f64::from(decimals));
    let rounded = (value * steps).round() / steps;
    // No minus before a zero.
    rounded + 0.0
}

/// The truly fitted parts of every build, by role, for a look at the manifests.
pub(crate) fn fitted() -> impl Iterator<Item = (&'static str, [(&'static str, String); 3])> {
    BUILDS.iter().map(|build| {
        let parts = [
            ("cylinder-head", build.head.to_string()),
            ("header", format!("{}/a", build.header)),
            ("intake", format!("{}/a", build.intake)),
        ];
        (build.tag, parts)
    })
}
