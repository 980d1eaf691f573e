//! What the bench's sensors saw during one pull, sample by sample.

use super::random::Scatter;
use super::schedule::Pull;
use super::schedule::Shape;
use super::truth;

/// Held before the throttle opens, in s, and how long it takes to open.
const PRE_LOAD_S: f64 = 2.0;
const OPENING_S: f64 = 0.6;
/// Held at full load before the sweep begins, in s.
const SETTLING_S: f64 = 0.8;
/// The sweep: from, to, and its rate in rpm/s. It runs a little past 8000 so that the window is full.
const FROM_RPM: f64 = 3000.0;
const TO_RPM: f64 = 8050.0;
pub(crate) const RATE_RPM_PER_S: f64 = 300.0;
/// Recorded after the load is let go, in s, while the engine slows at this rate.
const COAST_S: f64 = 2.8;
const COAST_RPM_PER_S: f64 = 1150.0;
/// Speed and torque of the pre-load.
const PRE_LOAD_RPM: f64 = 2950.0;
const PRE_LOAD_NM: f64 = 62.0;
/// 30000/π: kW from N·m and rpm.
const NM_RPM_PER_KW: f64 = 9_549.296_585_513_72;

/// One row of the log, in SI-like units.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Row {
    pub(crate) time_s: f64,
    pub(crate) rpm: f64,
    pub(crate) torque_nm: f64,
    pub(crate) oil_c: f64,
    pub(crate) coolant_c: f64,
    pub(crate) fuel_kg_per_h: f64,
    pub(crate) lambda: f64,
    pub(crate) station_kpa: f64,
    pub(crate) air_c: f64,
    pub(crate) humidity_percent: f64,
}

/// Power in kW as a logger works it out from what it read.
pub(crate) fn power_kw(torque_nm: f64, rpm: f64) -> f64 {
    torque_nm * rpm / NM_RPM_PER_KW
}

/// The scatter that was drawn for a pull, in per cent of torque.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Drawn {
    pub(crate) session: f64,
    pub(crate) assembly: f64,
    pub(crate) pull: f64,
}

/// Draws a pull's scatter: the same for all pulls of a session, of an assembly, and its own.
pub(crate) fn drawn(pull: &Pull) -> Drawn {
    let one = |what: String, deviation: f64| Scatter::of(&what).normal(deviation);
    let together = format!("{} {} {}", pull.session, pull.build, pull.assembly);
    Drawn {
        session: one(format!("session {}", pull.session), truth::SESSION_DEVIATION_PERCENT),
        assembly: one(format!("assembly {together}"), truth::REFIT_DEVIATION_PERCENT),
        pull: one(format!("pull {}", pull.id()), truth::PULL_DEVIATION_PERCENT),
    }
}

/// The factor from true torque at standard air to what the load cell saw, without noise.
pub(crate) fn observed_factor(pull: &Pull) -> f64 {
    let [air_c, station_kpa, humidity_percent] = pull.weather();
    let scatter = drawn(pull);
    let drift = truth::DRIFT_PERCENT_PER_PULL * f64::from(pull.order - 1);
    let percent = drift + scatter.session + scatter.assembly + scatter.pull;
    (1.0 + percent / 100.0) / truth::air_factor(air_c, station_kpa, humidity_percent)
}

/// All rows of a pull.
pub(crate) fn rows(pull: &Pull) -> Vec<Row> {
    let samples_per_s = if pull.shape == Shape::TwoRuns { 10.0 } else { 20.0 };
    let sweep_s = (TO_RPM - FROM_RPM) / RATE_RPM_PER_S;
    let start_s = PRE_LOAD_S + OPENING_S + SETTLING_S;
    let release_s = start_s + sweep_s;
    let mut scatter = Scatter::of(&format!("samples {}", pull.id()));
    let phase = 2.0 * std::f64::consts::PI * scatter.even();
    let scale = observed_factor(pull);
    let [air_c, station_kpa, humidity_percent] = pull.weather();
    let full = |rpm: f64| {
        let wave = libm::sin(2.0 * std::f64::consts::PI * rpm / truth::WAVE_RPM + phase);
        truth::torque_nm(pull.set_up(), rpm) * scale * (1.0 + truth::WAVE_PERCENT / 100.0 * wave)
    };

    let mut rows = Vec::new();
    let mut count = 0_u32;
    loop {
        let time_s = f64::from(count) / samples_per_s;
        count += 1;
        if time_s > release_s + COAST_S {
            return rows;
        }
        let (rpm, torque, load) = if time_s < PRE_LOAD_S {
            (PRE_LOAD_RPM, PRE_LOAD_NM, 0.3)
        } else if time_s < PRE_LOAD_S + OPENING_S {
            let along = (time_s - PRE_LOAD_S) / OPENING_S;
            let eased = along * along * (3.0 - 2.0 * along);
            let rpm = PRE_LOAD_RPM + (FROM_RPM - PRE_LOAD_RPM) * eased;
            (rpm, PRE_LOAD_NM + (full(FROM_RPM) - PRE_LOAD_NM) * eased, eased)
        } else if time_s < start_s {
            (FROM_RPM, full(FROM_RPM), 1.0)
        } else if time_s < release_s {
            let rpm = FROM_RPM + RATE_RPM_PER_S * (time_s - start_s);
            (rpm, full(rpm), 1.0)
        } else {
            let since = time_s - release_s;
            let left = libm::exp(-since / 0.12);
            (TO_RPM - COAST_RPM_PER_S * since, 1.5 + (full(TO_RPM) - 1.5) * left, left)
        };
        // Specific consumption is best near peak torque, in g/kWh.
        let away = (rpm - 5600.0) / 2500.0;
        let consumption = 284.0 + 19.0 * away * away;
        let burnt = (power_kw(torque, rpm) * consumption / 1000.0).max(0.6);
        let warmed = ((time_s - PRE_LOAD_S) / (release_s - PRE_LOAD_S)).clamp(0.0, 1.0);
        let rich = 0.872 + 0.012 * libm::cos(rpm / 900.0);
        rows.push(Row {
            time_s,
            rpm: rpm + scatter.normal(truth::SPEED_NOISE_RPM),
            torque_nm: torque + scatter.normal(truth::TORQUE_NOISE_NM),
            oil_c: pull.oil_c + 3.5 * warmed + scatter.normal(0.06),
            coolant_c: pull.coolant_c + 4.0 * warmed + scatter.normal(0.08),
            fuel_kg_per_h: burnt * (1.0 + scatter.normal(0.004)),
            lambda: rich * load + 0.98 * (1.0 - load) + scatter.normal(0.003),
            station_kpa: station_kpa + scatter.normal(0.004),
            air_c: air_c + 0.2 * (warmed - 0.5) + scatter.normal(0.05),
            humidity_percent: humidity_percent + scatter.normal(0.15),
        });
    }
}
