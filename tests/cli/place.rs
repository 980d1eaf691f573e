//! `session`, `cell` and `instrument`.

use super::bench::Bench;
use super::shown;

#[test]
fn a_session_begins() {
    let bench = Bench::shop();
    shown!(
        bench,
        "session",
        &[
            "session",
            "0413a",
            "--cell",
            "tower",
            "--engine",
            "mule-1",
            "--on",
            "2026-04-13",
            "--warm-up",
            "8 min at 2500 rpm, oil 85 °C",
            "--between",
            "oil at 85 °C again",
            "--note",
            "windy"
        ]
    );
    shown!(bench, "session-twice", &["session", "0413a", "--cell", "tower"]);
    shown!(bench, "session-no-cell", &["session", "0414a", "--cell", "barn"]);
    shown!(bench, "session-not-a-day", &["session", "0414a", "--cell", "tower", "--on", "12.4.2026"]);
}

#[test]
fn a_cell_is_written_down() {
    let bench = Bench::new();
    shown!(
        bench,
        "cell",
        &[
            "cell",
            "tower",
            "--set",
            "altitude=listed: 320 m; survey map",
            "--set",
            "absorber=eddy-current brake"
        ]
    );
    shown!(bench, "cell-twice", &["cell", "tower"]);
    shown!(
        bench,
        "cell-no-unit-of-length",
        &["cell", "barn", "--set", "altitude=listed: 320 kg; survey map"]
    );
    shown!(bench, "cell-unknown-field", &["cell", "barn", "--set", "smell=oil"]);
}

#[test]
fn an_instrument_is_written_down() {
    let bench = Bench::new();
    shown!(
        bench,
        "instrument",
        &[
            "instrument",
            "burette-1",
            "50 cc burette",
            "--serial",
            "B-17",
            "--uncertainty",
            "volume=±0.1 cc/reading",
            "--uncertainty",
            "volume=±0.05 cc/calibration",
            "--calibrated",
            "2026-01-15",
            "--calibrated-by",
            "county metrology",
            "--due",
            "2027-01-15"
        ]
    );
    shown!(
        bench,
        "instrument-unknown-quantity",
        &["instrument", "b2", "burette", "--uncertainty", "wetness=±0.1 cc"]
    );
    shown!(
        bench,
        "instrument-bad-uncertainty",
        &["instrument", "b2", "burette", "--uncertainty", "volume=0.1"]
    );
    shown!(bench, "instrument-bad-day", &["instrument", "b2", "burette", "--calibrated", "January"]);
}
