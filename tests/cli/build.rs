use super::bench::Bench;
use super::kept;
use super::shown;

#[test]
fn a_build_is_written_down_and_another_from_it() {
    let bench = Bench::shop();
    shown!(
        bench,
        "first",
        &[
            "build",
            "b5",
            "--engine",
            "mule-1",
            "--set",
            "short-block=mule-1",
            "--set",
            "cylinder-head=h2/a",
            "--set",
            "spacer=none",
            "--set",
            "ignition-timing=assumed: 31 deg BTDC; as on the sheet",
            "--set",
            "cylinder-head+intake.port-offset=0.4 mm"
        ]
    );
    kept!("build-first-file", bench.read("builds/b5/build.yaml"));
    shown!(
        bench,
        "from",
        &["build", "b6", "--from", "b5", "--set", "cylinder-head=h3/a", "--note", "the other head"]
    );
    kept!("build-from-file", bench.read("builds/b6/build.yaml"));
    shown!(bench, "refit", &["build", "b7", "--from", "b5", "--refit"]);
    shown!(
        bench,
        "unknown-role",
        &["build", "b8", "--from", "b5", "--set", "intake=unknown: nobody kept it"]
    );
}

#[test]
fn a_build_that_does_not_hold_is_refused() {
    let bench = Bench::shop();
    shown!(bench, "no-engine", &["build", "b9"]);
    shown!(bench, "from-nothing", &["build", "b9", "--from", "b8"]);
    shown!(bench, "name-taken", &["build", "b1", "--engine", "mule-1"]);
    shown!(bench, "reserved-name", &["build", "unassigned", "--engine", "mule-1"]);
    shown!(bench, "not-a-tag", &["build", "b 9", "--engine", "mule-1"]);
    shown!(bench, "engine-is-a-head", &["build", "b9", "--engine", "h2"]);
    shown!(bench, "engine-missing", &["build", "b9", "--engine", "mule-9"]);
    shown!(bench, "part-missing", &["build", "b9", "--from", "b1", "--set", "cylinder-head=h22/a"]);
    shown!(bench, "state-missing", &["build", "b9", "--from", "b1", "--set", "cylinder-head=h2/c"]);
    shown!(bench, "wrong-kind", &["build", "b9", "--from", "b1", "--set", "spacer=h2/a"]);
    shown!(bench, "before-its-part", &["build", "b9", "--from", "b1", "--since", "2026-02-01"]);
    shown!(bench, "near-miss", &["build", "b9", "--from", "b1", "--set", "ignition-timng=30 deg BTDC"]);
    shown!(bench, "far-miss", &["build", "b9", "--from", "b1", "--set", "zzz=1"]);
    shown!(bench, "weather", &["build", "b9", "--from", "b1", "--set", "conditions.air-temperature=20 degC"]);
    shown!(bench, "timing-unit", &["build", "b9", "--from", "b1", "--set", "ignition-timing=31 mm"]);
}

/// Openings that were found to stand apart are told again wherever the two come together.
#[test]
fn parts_that_do_not_go_together_are_told_before_bolting_on() {
    let bench = Bench::demo().at("2026-05-24T10:00:00+02:00");
    let arguments =
        ["build", "b9", "--from", "b5", "--set", "ignition-timing=30 deg BTDC", "--with", "lamp-1"];
    shown!(bench, "fit-alarm", &arguments);
}
