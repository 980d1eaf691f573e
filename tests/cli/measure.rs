use super::bench::Bench;
use super::kept;
use super::shown;

#[test]
fn a_figure_is_entered_in_each_way() {
    let bench = Bench::shop();
    shown!(
        bench,
        "measured",
        &["measure", "h3/a", "chamber-volume", "43.6 43.6 43.5 43.6 ±0.2 cc", "--with", "burette-1"]
    );
    shown!(
        bench,
        "again",
        &[
            "measure",
            "h2",
            "chamber-volume",
            "48.0 cc",
            "--with",
            "burette-1",
            "--taken",
            "2026-05-20",
            "--note",
            "all four alike"
        ]
    );
    shown!(
        bench,
        "corrects",
        &[
            "measure",
            "h2/a",
            "chamber-volume",
            "52.0 cc",
            "--with",
            "burette-1",
            "--corrects",
            "1",
            "--because",
            "plate leaked"
        ]
    );
    shown!(
        bench,
        "unknown",
        &["measure", "h2/a", "inlet-port-volume", "--unknown", "no stand for this head here"]
    );
    shown!(bench, "listed", &["measure", "h2/a", "inlet-valve", "33.0 mm", "--listed", "seller's sheet"]);
    shown!(
        bench,
        "calculated",
        &["measure", "h2/a", "chamber-area", "48.0 ±0.5 cm²", "--calculated", "from the casting drawing"]
    );
    shown!(
        bench,
        "assumed",
        &["measure", "b1", "ignition-timing", "31 deg BTDC", "--assumed", "as last year", "--at", "6000 rpm"]
    );
    shown!(
        bench,
        "setting-through-a-pull",
        &["measure", "0412a-01", "ignition-timing", "30 deg BTDC", "--with", "lamp-1"]
    );
    shown!(bench, "condition", &["measure", "0412a-01", "conditions.station-pressure", "98.6 kPa"]);
    shown!(bench, "fit", &["measure", "b1", "cylinder-head+intake.port-offset", "0.4 mm"]);
    shown!(bench, "no-instrument", &["measure", "h3/a", "chamber-volume", "43.6 cc"]);
    shown!(
        bench,
        "instrument-unknown",
        &["measure", "h3/a", "chamber-volume", "43.6 cc", "--with", "burette-9", "--by", "zz"]
    );
    kept!("measure-file", bench.read("parts/cylinder-head/h2.yaml"));
}

#[test]
fn a_value_that_does_not_read_is_refused() {
    let bench = Bench::shop();
    let values = [
        "no-figure",
        "not-a-number",
        "number-out-of-range",
        "comma-in-figure",
        "range-as-figure",
        "no-unit",
        "unknown-unit",
        "wrong-unit",
        "trailing-words",
        "too-many-digits",
        "hidden-character",
        "unusual-digit",
        "bad-uncertainty",
    ];
    let typed = [
        "",
        "about right",
        "1e400 cc",
        "48,1 cc",
        "48-49 cc",
        "48.1 parsec³",
        "48.1 furlongs",
        "48.1 mm",
        "48.1 cc or so",
        "48.12345678901234567890123456789012345678901234567890 cc",
        "48.1\u{200b} cc",
        "４８ cc",
        "48.1 ±0 cc",
    ];
    for (code, value) in values.into_iter().zip(typed) {
        let said = bench.run(&["measure", "h3/a", "chamber-volume", value, "--json"]);
        assert_eq!(said.code, 1, "{code}: {said:?}");
        super::bench::checked(&format!("measure-value-{code}"), &said.out);
    }
    shown!(bench, "value-empty", &["measure", "h3/a", "chamber-volume", ""]);
    shown!(bench, "value-words", &["measure", "h3/a", "chamber-volume", "about right"]);
    shown!(bench, "value-comma", &["measure", "h3/a", "chamber-volume", "48,1 cc"]);
    shown!(bench, "value-range", &["measure", "h3/a", "chamber-volume", "48-49 cc"]);
    shown!(bench, "value-unit-unknown", &["measure", "h3/a", "chamber-volume", "48.1 furlongs"]);
    shown!(bench, "value-unit-wrong", &["measure", "h3/a", "chamber-volume", "48.1 mm"]);
    shown!(bench, "value-words-behind", &["measure", "h3/a", "chamber-volume", "48.1 cc or so"]);
    shown!(bench, "value-too-large", &["measure", "h3/a", "chamber-volume", "1e400 cc"]);
    shown!(
        bench,
        "value-too-many-digits",
        &["measure", "h3/a", "chamber-volume", "48.12345678901234567890123456789012345678901234567890 cc"]
    );
    shown!(bench, "value-hidden", &["measure", "h3/a", "chamber-volume", "48.1\u{200b} cc"]);
    shown!(bench, "value-other-digits", &["measure", "h3/a", "chamber-volume", "４８ cc"]);
    shown!(bench, "value-uncertainty", &["measure", "h3/a", "chamber-volume", "48.1 ±0 cc"]);
    shown!(bench, "value-below-zero", &["measure", "0412a-01", "conditions.air-temperature", "-300 degC"]);
    shown!(bench, "value-ambiguous", &["measure", "h3/a", "chamber-volume", "48.1.2 cc"]);
    shown!(
        bench,
        "value-implausible",
        &["measure", "h3/a", "chamber-volume", "4810 cc", "--with", "burette-1"]
    );
    let many = format!("{}cc", "48.1 ".repeat(65));
    shown!(bench, "value-too-many", &["measure", "h3/a", "chamber-volume", &many]);
    shown!(bench, "value-bare", &["measure", "h3/a", "chamber-volume", "48.1", "--with", "burette-1"]);
}

#[test]
fn a_place_that_takes_no_figure_is_refused() {
    let bench = Bench::shop();
    shown!(bench, "nothing-called-so", &["measure", "zz", "chamber-volume", "48 cc"]);
    shown!(bench, "no-such-state", &["measure", "h2/c", "chamber-volume", "48 cc"]);
    shown!(bench, "no-such-part", &["measure", "h22/a", "chamber-volume", "48 cc"]);
    shown!(bench, "no-such-figure", &["measure", "h2/a", "colour", "48 cc"]);
    shown!(bench, "of-a-session", &["measure", "0412a", "colour", "48 cc"]);
    shown!(bench, "role-of-a-build", &["measure", "b1", "spacer", "25 mm"]);
    shown!(
        bench,
        "corrects-nothing",
        &["measure", "h2/a", "chamber-volume", "48 cc", "--corrects", "7", "--because", "x"]
    );
    shown!(
        bench,
        "no-reason",
        &["measure", "h2/a", "chamber-volume", "48 cc", "--corrects", "1", "--because", " "]
    );
    shown!(bench, "no-value", &["measure", "h2/a", "chamber-volume"]);
    shown!(
        bench,
        "two-ways",
        &["measure", "h2/a", "chamber-volume", "48 cc", "--listed", "a", "--assumed", "b"]
    );
    bench.run(&["rework", "h2", "mill-deck", "--detail", "cut=0.40 mm"]).done();
    shown!(
        bench,
        "before-its-state",
        &["measure", "h2/b", "chamber-volume", "47 cc", "--taken", "2026-04-01", "--with", "burette-1"]
    );
}
