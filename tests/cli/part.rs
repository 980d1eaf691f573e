use super::bench::Bench;
use super::kept;
use super::shown;

#[test]
fn a_part_is_written_down() {
    let bench = Bench::shop();
    shown!(
        bench,
        "head",
        &[
            "part",
            "cylinder-head",
            "h4",
            "--serial",
            "0417",
            "--how",
            "bought new",
            "--set",
            "inlet-valve=listed: 33.0 mm; seller's sheet",
            "--set",
            "chamber-volume=48.1 48.0 48.3 48.2 ±0.2 cc",
            "--with",
            "burette-1"
        ]
    );
    kept!("part-head-file", bench.read("parts/cylinder-head/h4.yaml"));
    shown!(bench, "from", &["part", "--from", "h4", "h5"]);
    kept!("part-from-file", bench.read("parts/cylinder-head/h5.yaml"));
    shown!(
        bench,
        "engine",
        &["part", "short-block", "mule-2", "--cylinders", "4", "--never", "blower", "--never", "spacer"]
    );
    shown!(bench, "gasket", &["part", "head-gasket", "hg-1", "--batch", "B7", "--since", "2026-03-01"]);
    shown!(bench, "generic", &["part", "generic", "strap-1", "--set", "width=20 mm"]);
}

#[test]
fn a_part_that_does_not_hold_is_refused() {
    let bench = Bench::shop();
    shown!(bench, "unknown-kind", &["part", "flux-capacitor", "f1"]);
    shown!(bench, "kind-missing", &["part", "h9"]);
    shown!(bench, "tag-taken", &["part", "header", "h2"]);
    shown!(bench, "not-a-tag", &["part", "header", "../h9"]);
    shown!(bench, "unknown-figure", &["part", "header", "h9", "--set", "colour=red"]);
    shown!(bench, "no-source", &["part", "cylinder-head", "h9", "--set", "chamber-volume=listed: 48 cc"]);
    shown!(bench, "not-an-assignment", &["part", "cylinder-head", "h9", "--set", "chamber-volume"]);
    shown!(bench, "from-nothing", &["part", "cylinder-head", "h9", "--from", "h22"]);
    shown!(bench, "not-a-day", &["part", "header", "h9", "--since", "yesterday"]);
    shown!(bench, "empty-text", &["part", "header", "h9", "--set", "layout="]);
    shown!(bench, "never-of-no-engine", &["part", "header", "h9", "--never", "blower"]);
}
