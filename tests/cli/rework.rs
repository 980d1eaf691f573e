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
