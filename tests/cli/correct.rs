use super::bench::Bench;
use super::kept;
use super::shown;

#[test]
fn a_wrong_record_is_mended_visibly() {
    let bench = Bench::shop();
    shown!(
        bench,
        "role-of-a-run-of-pulls",
        &["correct", "0412a-01..02", "--set", "spacer=sp-25/a", "--because", "seen in the photograph"]
    );
    kept!("correct-role-file", bench.read("builds/b1/pulls/0412a-02.yaml"));
    shown!(
        bench,
        "setting",
        &[
            "correct",
            "0412a-01",
            "--set",
            "ignition-timing=30 deg BTDC",
            "--with",
            "lamp-1",
            "--because",
            "lamp read again"
        ]
    );
    shown!(
        bench,
        "outcome",
        &[
            "correct",
            "0412a-02",
            "--set",
            "outcome=throttle not fully open",
            "--because",
            "seen in the trace"
        ]
    );
    shown!(
        bench,
        "standard",
        &["correct", "0412a-01", "--set", "correction=sae-j1349", "--because", "the console's page says so"]
    );
    shown!(bench, "run", &["correct", "0412a-01", "--set", "run.rate=300 rpm/s", "--because", "left out"]);
    shown!(
        bench,
        "condition",
        &[
            "correct",
            "0412a-01",
            "--set",
            "conditions.air-temperature=20.4 degC",
            "--because",
            "typed wrongly"
        ]
    );
    shown!(
        bench,
        "build-record",
        &["correct", "b1", "--set", "spacer=none", "--because", "asked those who built it"]
    );
    shown!(
        bench,
        "part",
        &["correct", "h2", "--set", "serial=0418", "--because", "read again under the light"]
    );
    bench.run(&["build", "b2", "--from", "b1", "--set", "cylinder-head=h3/a"]).done();
    shown!(
        bench,
        "moved-to-its-build",
        &["correct", "0412a-02", "--set", "build=b2", "--because", "the other head was on"]
    );
    assert!(bench.book().join("builds/b2/pulls/0412a-02.yaml").exists());
    assert!(!bench.book().join("builds/b1/pulls/0412a-02.yaml").exists());
}

#[test]
fn the_reason_for_correcting_a_part_stays_in_the_book() {
    let bench = Bench::shop();
    bench.run(&["correct", "h2", "--set", "serial=0418", "--because", "read again under the light"]).done();
    let kept = bench.read("parts/cylinder-head/h2.yaml") + &bench.git(&["log", "-1", "--format=%B"]);
    assert!(kept.contains("read again under the light"), "{kept}");
    assert!(kept.contains("0417"), "what stood there stays visible: {kept}");
}

#[test]
fn a_correction_that_does_not_hold_is_refused() {
    let bench = Bench::shop();
    shown!(bench, "no-reason", &["correct", "0412a-01", "--set", "spacer=none", "--because", ""]);
    shown!(bench, "nothing-called-so", &["correct", "zz", "--set", "spacer=none", "--because", "x"]);
    shown!(bench, "bad-range", &["correct", "0412a-02..01", "--set", "spacer=none", "--because", "x"]);
    shown!(bench, "unknown-name", &["correct", "0412a-01", "--set", "spcer=none", "--because", "x"]);
    shown!(bench, "unknown-part", &["correct", "0412a-01", "--set", "spacer=sp-26/a", "--because", "x"]);
    shown!(bench, "unknown-build", &["correct", "0412a-01", "--set", "build=b9", "--because", "x"]);
    shown!(bench, "of-a-cell", &["correct", "tower", "--set", "altitude=300 m", "--because", "x"]);
    shown!(bench, "figure-of-a-part", &["correct", "h2", "--set", "chamber-volume=48 cc", "--because", "x"]);
    shown!(bench, "same-as-it-was", &["correct", "h2", "--set", "serial=0417", "--because", "x"]);
    shown!(
        bench,
        "weather-of-a-build",
        &["correct", "b1", "--set", "conditions.air-temperature=20 degC", "--because", "x"]
    );
    shown!(
        bench,
        "unit",
        &["correct", "0412a-01", "--set", "conditions.air-temperature=20 mm", "--because", "x"]
    );
}
