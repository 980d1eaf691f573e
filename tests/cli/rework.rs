use super::bench::Bench;
use super::kept;
use super::shown;

#[test]
fn work_opens_a_state_and_says_what_it_voided() {
    let bench = Bench::shop();
    shown!(
        bench,
        "milled",
        &[
            "rework",
            "h2",
            "mill-deck",
            "--detail",
            "cut=0.40 mm",
            "--on",
            "2026-04-13",
            "--note",
            "gasket leaked"
        ]
    );
    kept!("rework-milled-file", bench.read("parts/cylinder-head/h2.yaml"));
    shown!(
        bench,
        "nothing-voided",
        &["rework", "h3", "mill-deck", "--detail", "cut=0.40 mm", "--on", "2026-04-13"]
    );
}

#[test]
fn work_that_is_not_known_is_refused() {
    let bench = Bench::shop();
    shown!(bench, "unknown-work", &["rework", "h2", "polish"]);
    shown!(bench, "unknown-detail", &["rework", "h2", "mill-deck", "--detail", "colour=red"]);
    shown!(bench, "bad-detail", &["rework", "h2", "mill-deck", "--detail", "cut=0.40 cc"]);
    shown!(bench, "no-part", &["rework", "h22", "mill-deck"]);
    shown!(bench, "letter-twice", &["rework", "h2", "mill-deck", "--detail", "cut=0.40 mm", "--state", "a"]);
    shown!(
        bench,
        "out-of-order",
        &["rework", "h2", "mill-deck", "--detail", "cut=0.40 mm", "--on", "2026-01-01"]
    );
    bench.run(&["rework", "h2", "mill-deck", "--detail", "cut=0.40 mm", "--state", "B-2"]).done();
    shown!(bench, "letter-missing", &["rework", "h2", "mill-deck", "--detail", "cut=0.40 mm"]);
}

/// A V engine's heads come down and inwards: the shift of the ports, the offset of a fit that was known and the cut that
/// lets the intake fit again are offered, each with its interval, and nothing is entered by itself.
#[test]
fn milling_offers_what_it_does_to_the_intake_face() {
    let bench = Bench::shop();
    for words in [
        &["measure", "mule-1/a", "bank-angle", "90.0 ±0.2 deg", "--listed", "drawing"][..],
        &["measure", "h2/a", "intake-face-angle", "10.0 ±0.2 deg", "--listed", "drawing"],
        &["measure", "h2/a", "chamber-area", "60.0 ±0.5 cm²"],
        &["part", "intake", "dual-1", "--since", "2026-03-01"],
        &["build", "b2", "--from", "b1", "--set", "intake=dual-1/a"],
        &["measure", "b2", "cylinder-head+intake.port-offset", "0.10 ±0.05 mm", "--with", "burette-1"],
    ] {
        bench.run(words).done();
    }
    let before = bench.head();
    let said = bench.run(&["rework", "h2", "mill-deck", "--detail", "cut=0.40 ±0.01 mm"]).done().out;
    kept!("rework-milled-intake", said);
    assert_eq!(bench.git(&["rev-list", "--count", &format!("{before}..HEAD")]).trim(), "1");
    for (folder, name) in [("parts/cylinder-head", "h2"), ("builds/b2", "build")] {
        let text = bench.read(&format!("{folder}/{name}.yaml"));
        assert!(!text.contains("calculated"), "nothing is entered by itself: {text}");
    }
    // Each offer is a command that the program takes; what it writes is calculated, never measured.
    bench.run(&["build", "b3", "--from", "b2", "--set", "cylinder-head=h2/b"]).done();
    let mut taken = 0;
    for command in said.lines().filter_map(|line| line.trim().strip_prefix("mulebook measure ")) {
        let words: Vec<&str> = command.split('"').collect();
        let [start, value, option, from, ""] = words[..] else { panic!("{command}") };
        let start = start.replace("BUILD", "b3");
        let mut arguments = vec!["measure"];
        arguments.extend(start.split_whitespace());
        arguments.push(value);
        arguments.extend(option.split_whitespace());
        arguments.push(from);
        bench.run(&arguments).done();
        taken += 1;
    }
    assert_eq!(taken, 2, "{said}");
    let (head, build) = (bench.read("parts/cylinder-head/h2.yaml"), bench.read("builds/b3/build.yaml"));
    assert!(head.contains("chamber-volume: {calculated: 45.70 45.60 45.90 45.80"), "{head}");
    // 0.10 mm before, and 0.40 mm·cos 10° = 0.394 mm along the face (docs/engine.md, 1.5); 0.40 mm·sin 45°/cos 55° =
    // 0.493 mm off it lets the intake fit again: 1.23 times the cut, as the trade's table for 90° engines has it.
    assert!(said.contains("0.39 ±0.01 mm k=2 along the intake face; 0.49 ±0.01 mm"), "{said}");
    assert!(build.contains("calculated: 0.49 ±0.06 mm k=2"), "{build}");
    assert!(
        build.contains("port-offset: {calculated:") && !build.contains("port-offset: {measured:"),
        "{build}"
    );
}

/// What milling does to the chambers is offered as a command that the program takes, and is never entered by itself.
#[test]
fn milling_offers_what_can_be_worked_out() {
    let bench = Bench::demo();
    let said = bench.run(&["rework", "h1", "mill-deck", "--detail", "cut=0.30 mm"]).done();
    kept!("rework-milled-offer", said.out);
    assert!(!bench.read("parts/cylinder-head/h1.yaml").contains("calculated"));
    let command = said.out.lines().find_map(|line| line.trim().strip_prefix("mulebook ")).expect("an offer");
    let words: Vec<&str> = command.split('"').collect();
    let [start, value, option, from, ""] = words[..] else { panic!("{command}") };
    let mut arguments: Vec<&str> = start.split_whitespace().collect();
    arguments.push(value);
    arguments.extend(option.split_whitespace());
    arguments.push(from);
    bench.run(&arguments).done();
    assert!(bench.read("parts/cylinder-head/h1.yaml").contains("calculated: 44.46"));
}
