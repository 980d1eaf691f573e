//! The planted truth: every number that the demo's raw files are made from.
//!
//! All of it is invented. Effects are written in per cent of the torque of the base set-up (head h2 as bought, header
//! long-1, intake trumpets-90, no spacer, 31 deg BTDC) at the rpm of [`NODES_RPM`], and lie on straight lines between.

/// Where the scatter starts. It was picked among others so that the draws look ordinary: their spread is near the planted
/// one, no pull lies beyond 0.6 %, and the careless comparison of README.md misleads as it would on average.
pub(crate) const SEED: u32 = 256;

/// Cylinders, bore and stroke in mm: π/4 · 8.6² · 8.6 · 4 = 1998.2 cc.
pub(crate) const CYLINDERS: f64 = 4.0;
pub(crate) const BORE_MM: f64 = 86.0;
pub(crate) const STROKE_MM: f64 = 86.0;
/// Gasket: bore and thickness as it lies clamped, in mm.
pub(crate) const GASKET_BORE_MM: f64 = 88.0;
pub(crate) const GASKET_THICKNESS_MM: f64 = 1.10;
/// Piston below the deck at top dead centre, in mm, and what its dome takes away, in cc.
pub(crate) const DECK_CLEARANCE_MM: f64 = 0.25;
pub(crate) const PISTON_VOLUME_CC: f64 = -5.0;

/// True chamber volumes in cc, cylinders 1 to 4.
pub(crate) const CHAMBERS_CC: [(&str, [f64; 4]); 3] = [
    ("h1/a", [45.87, 45.81, 45.98, 45.90]),
    ("h2/a", [44.82, 44.91, 44.73, 44.78]),
    ("h2/b", [43.61, 43.70, 43.52, 43.57]),
];
/// The skim that made h2/b of h2/a, in mm.
pub(crate) const SKIM_MM: f64 = 0.25;
/// Ratio of specific heats in the air-standard Otto efficiency 1 − r^(1−γ), the published rule for the skim's effect.
pub(crate) const GAMMA: f64 = 1.3;

/// Where the curves below are given, in rpm.
pub(crate) const NODES_RPM: [f64; 11] =
    [3000.0, 3500.0, 4000.0, 4500.0, 5000.0, 5500.0, 6000.0, 6500.0, 7000.0, 7500.0, 8000.0];
/// Torque of the base set-up at standard air, in N·m; a cubic runs through the points.
#[rustfmt::skip] // a table reads in columns
pub(crate) const BASE_TORQUE_NM: [f64; 11] =
    [172.0, 180.5, 188.0, 196.5, 206.0, 213.5, 217.8, 217.2, 211.0, 199.5, 184.0];

/// Effects of parts against the base set-up, in per cent at [`NODES_RPM`].
#[rustfmt::skip] // a table reads in columns
pub(crate) const PART_EFFECTS_PERCENT: [(&str, [f64; 11]); 5] = [
    // Stepped primaries: gain from the middle up, a little lost at the bottom.
    ("step-1",   [-0.4, -0.1,  0.5,  1.2,  1.9,  2.4,  2.6,  2.5,  2.2,  1.6,  1.0]),
    // Short primaries: gain at the top, lose low down.
    ("short-1",  [-3.6, -3.4, -3.0, -2.3, -1.5, -0.7,  0.1,  1.0,  1.8,  2.4,  2.7]),
    // Plenum: gains low down, loses at the top.
    ("plenum-1", [ 1.2,  1.5,  1.7,  1.2,  0.6,  0.0, -0.6, -1.1, -1.6, -2.0, -2.4]),
    // Ports of the spare head; its larger chambers are reckoned apart.
    ("h1",       [ 0.0, -0.1, -0.2, -0.3, -0.5, -0.6, -0.8, -0.9, -1.1, -1.3, -1.5]),
    // Spacer: a longer tract.
    ("sp-12",    [ 1.5,  2.0,  2.4,  2.3,  1.9,  1.3,  0.6,  0.0, -0.6, -1.1, -1.5]),
];
/// What header and intake do together beyond their sum, in per cent at [`NODES_RPM`].
#[rustfmt::skip] // a table reads in columns
pub(crate) const TOGETHER_PERCENT: [(&str, &str, [f64; 11]); 2] = [
    ("step-1",  "plenum-1", [0.0, -0.1, -0.3, -0.6, -0.9, -1.2, -1.3, -1.2, -1.0, -0.7, -0.4]),
    // Never run; kept so that a forecast for the empty cell can be held against it.
    ("short-1", "plenum-1", [0.2,  0.3,  0.5,  0.7,  0.8,  0.9,  0.9,  0.8,  0.6,  0.4,  0.2]),
];

/// Ignition: torque falls off as 1 − k·(θ − θ best)², in deg BTDC.
pub(crate) const BEST_TIMING_DEG: f64 = 33.0;
pub(crate) const TIMING_FALL_PER_DEG2: f64 = 4.0e-4;
/// What the builds are set to.
pub(crate) const USUAL_TIMING_DEG: f64 = 31.0;

/// Drift of the whole bench and engine through a session, in per cent for each pull after the first.
pub(crate) const DRIFT_PERCENT_PER_PULL: f64 = -0.15;
/// Standard deviations in per cent of torque: from session to session, from one assembly to the next, from pull to pull.
pub(crate) const SESSION_DEVIATION_PERCENT: f64 = 0.20;
pub(crate) const REFIT_DEVIATION_PERCENT: f64 = 0.20;
pub(crate) const PULL_DEVIATION_PERCENT: f64 = 0.28;
/// A slow wave in each pull's curve: its height in per cent and its length in rpm; its phase is drawn.
pub(crate) const WAVE_PERCENT: f64 = 0.12;
pub(crate) const WAVE_RPM: f64 = 1400.0;
/// Noise of each sample: torque in N·m, speed in rpm.
pub(crate) const TORQUE_NOISE_NM: f64 = 0.6;
pub(crate) const SPEED_NOISE_RPM: f64 = 2.0;

/// The window over which truth.json states means, in rpm.
pub(crate) const WINDOW_RPM: (f64, f64) = (4000.0, 7500.0);

/// What was truly on the engine, whether anybody wrote it down or not.
#[derive(Debug, Clone, Copy)]
pub(crate) struct SetUp {
    pub(crate) head: &'static str,
    pub(crate) header: &'static str,
    pub(crate) intake: &'static str,
    pub(crate) spacer: bool,
    pub(crate) timing_deg: f64,
}

/// The set-up that every effect is told against.
pub(crate) const BASE: SetUp = SetUp {
    head: "h2/a",
    header: "long-1",
    intake: "trumpets-90",
    spacer: false,
    timing_deg: USUAL_TIMING_DEG,
};

/// Swept volume of one cylinder in cc.
pub(crate) fn swept_cc() -> f64 {
    std::f64::consts::FRAC_PI_4 * BORE_MM * BORE_MM * STROKE_MM / 1000.0
}

/// The mean true chamber volume of a head in cc.
pub(crate) fn chamber_cc(head: &str) -> f64 {
    CHAMBERS_CC
        .iter()
        .find(|(name, _)| *name == head)
        .map(|(_, volumes)| volumes.iter().sum::<f64>() / CYLINDERS)
        .expect("every head of the schedule has chambers")
}

/// Compression ratio with a head: 1 + swept volume / clearance volume.
pub(crate) fn compression_ratio(head: &str) -> f64 {
    let disc_cc = |bore: f64, height: f64| std::f64::consts::FRAC_PI_4 * bore * bore * height / 1000.0;
    let clearance = chamber_cc(head)
        + disc_cc(GASKET_BORE_MM, GASKET_THICKNESS_MM)
        + disc_cc(BORE_MM, DECK_CLEARANCE_MM)
        + PISTON_VOLUME_CC;
    1.0 + swept_cc() / clearance
}

/// What a head's compression does to the torque, as a factor against the base set-up.
pub(crate) fn compression_factor(head: &str) -> f64 {
    let efficiency = |ratio: f64| 1.0 - libm::pow(ratio, 1.0 - GAMMA);
    efficiency(compression_ratio(head)) / efficiency(compression_ratio(BASE.head))
}

/// What the timing does to the torque, as a factor against the usual timing.
pub(crate) fn timing_factor(timing_deg: f64) -> f64 {
    let share = |deg: f64| 1.0 - TIMING_FALL_PER_DEG2 * (deg - BEST_TIMING_DEG) * (deg - BEST_TIMING_DEG);
    share(timing_deg) / share(USUAL_TIMING_DEG)
}

/// Torque at standard air in N·m of a set-up at a speed, free of drift and scatter.
pub(crate) fn torque_nm(set_up: SetUp, rpm: f64) -> f64 {
    let part = |name: &str| {
        PART_EFFECTS_PERCENT
            .iter()
            .find(|(known, _)| *known == name)
            .map_or(0.0, |(_, effect)| on_lines(effect, rpm))
    };
    let together: f64 = TOGETHER_PERCENT
        .iter()
        .filter(|(header, intake, _)| *header == set_up.header && *intake == set_up.intake)
        .map(|(_, _, effect)| on_lines(effect, rpm))
        .sum();
    let head = set_up.head.split('/').next().unwrap_or_default();
    let spacer = if set_up.spacer { "sp-12" } else { "" };
    let factor = |percent: f64| 1.0 + percent / 100.0;
    on_cubic(&BASE_TORQUE_NM, rpm)
        * factor(part(set_up.header))
        * factor(part(set_up.intake))
        * factor(together)
        * factor(part(head))
        * factor(part(spacer))
        * compression_factor(set_up.head)
        * timing_factor(set_up.timing_deg)
}

/// The node at or below a speed, and how far along to the next.
fn place(rpm: f64) -> (usize, f64) {
    let last = NODES_RPM.len() - 2;
    let index = (0..=last).rev().find(|&at| rpm >= NODES_RPM[at]).unwrap_or(0);
    let along = (rpm - NODES_RPM[index]) / (NODES_RPM[index + 1] - NODES_RPM[index]);
    (index, along)
}

fn on_lines(values: &[f64; 11], rpm: f64) -> f64 {
    let (index, along) = place(rpm);
    let along = along.clamp(0.0, 1.0);
    values[index] + along * (values[index + 1] - values[index])
}

/// A Catmull–Rom cubic: it runs through the points without corners.
fn on_cubic(values: &[f64; 11], rpm: f64) -> f64 {
    let (index, t) = place(rpm);
    let slope = |at: usize| {
        let (low, high) = (at.saturating_sub(1), (at + 1).min(values.len() - 1));
        let steps = (high - low) as f64;
        (values[high] - values[low]) / steps
    };
    let (from, to) = (values[index], values[index + 1]);
    let (leaving, reaching) = (slope(index), slope(index + 1));
    let (t2, t3) = (t * t, t * t * t);
    (2.0 * t3 - 3.0 * t2 + 1.0) * from
        + (t3 - 2.0 * t2 + t) * leaving
        + (3.0 * t2 - 2.0 * t3) * to
        + (t3 - t2) * reaching
}

/// The factor from observed torque to torque at standard air: SAE J1349 for spark ignition with its 85 % mechanical
/// efficiency, 1.18 · (99 kPa / dry pressure) · √(T / 298.15 K) − 0.18.
///
/// The vapour's pressure is Magnus's with the constants of WMO-No. 8; finer formulas move the factor by under 1e-4 here.
pub(crate) fn air_factor(air_c: f64, station_kpa: f64, humidity_percent: f64) -> f64 {
    let saturation_kpa = 0.6112 * libm::exp(17.62 * air_c / (243.12 + air_c));
    let dry_kpa = station_kpa - humidity_percent / 100.0 * saturation_kpa;
    1.18 * (99.0 / dry_kpa) * ((air_c + 273.15) / 298.15).sqrt() - 0.18
}
