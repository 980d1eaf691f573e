use super::bench::Bench;
use super::shown;

fn names(bench: &Bench, arguments: &[&str]) -> Vec<String> {
    let mut all = vec!["find", "--json"];
    all.extend(arguments);
    let found = bench.run(&all).json();
    let rows = found["rows"].as_array().expect("rows");
    rows.iter().map(|row| row["name"].as_str().expect("a name").to_owned()).collect()
}

#[test]
fn the_book_answers_what_it_is_asked() {
    let bench = Bench::demo();
    shown!(bench, "with", &["find", "pulls", "--with", "h2/b", "--where", "spacer != none"]);
    shown!(
        bench,
        "builds",
        &["find", "builds", "--with", "intake=trumpets-90", "--where", "compression-ratio > 11.5"]
    );
    shown!(
        bench,
        "parts",
        &["find", "parts", "--kind", "header", "--where", "header.primary-length > 750 mm"]
    );
    shown!(
        bench,
        "csv",
        &["find", "pulls", "--session", "0509a", "--where", "ignition-timing > 28 deg", "--csv"]
    );
    shown!(
        bench,
        "untold",
        &["find", "pulls", "--where", "cylinder-head.inlet-port-volume > 1 cc", "--session", "0509a"]
    );
    shown!(bench, "none", &["find", "pulls", "--since", "2027"]);
    shown!(bench, "unknown-kind", &["find", "parts", "--kind", "flux"]);
    shown!(bench, "unknown-name", &["find", "pulls", "--where", "colour = red"]);
    shown!(bench, "no-operator", &["find", "pulls", "--where", "spacer"]);
    shown!(bench, "no-value", &["find", "pulls", "--where", "spacer ="]);
    shown!(bench, "words", &["find", "pulls", "--where", "spacer > sp-12"]);
    shown!(bench, "unknown-role", &["find", "pulls", "--with", "hood=h2"]);
    shown!(bench, "unknown-part", &["find", "pulls", "--with", "h22"]);
    shown!(bench, "not-a-date", &["find", "pulls", "--since", "April"]);
    shown!(bench, "not-for-these", &["find", "parts", "--with", "h2"]);
}

/// More advance is more, whichever way the crank turns; a day may be a month; a channel of the raw file is a condition.
#[test]
fn numbers_are_compared_as_people_mean_them() {
    let bench = Bench::demo();
    let all = names(&bench, &["pulls"]);
    assert_eq!(all.len(), 24);
    let early = names(&bench, &["pulls", "--where", "timing > 30 deg"]);
    let late = names(&bench, &["pulls", "--where", "ignition-timing <= 30 deg BTDC"]);
    assert!(!early.is_empty() && !late.is_empty(), "{early:?} {late:?}");
    let mut both: Vec<String> = early.iter().chain(&late).cloned().collect();
    both.sort();
    assert_eq!(both, all, "each is one or the other");
    assert_eq!(names(&bench, &["pulls", "--since", "2026-05", "--until", "2026-05"]).len(), 4);
    assert_eq!(names(&bench, &["pulls", "--since", "2026", "--until", "2026"]).len(), 24);
    assert_eq!(names(&bench, &["pulls", "--until", "2026-04-11"]).len(), 10);
    assert_eq!(names(&bench, &["pulls", "--who", "jo"]).len(), 10);
    assert_eq!(
        names(&bench, &["pulls", "--with", "spacer=none", "--with", "h2"]).len()
            + names(&bench, &["pulls", "--with", "h2", "--where", "spacer != none"]).len(),
        20
    );
    let warm = names(&bench, &["pulls", "--where", "air-temperature >= 17.5 degC"]);
    let cool = names(&bench, &["pulls", "--where", "air-temperature < 17.5 degC"]);
    assert!(
        warm.contains(&"0411a-03".to_owned()) && cool.contains(&"0411a-01".to_owned()),
        "{warm:?} {cool:?}"
    );
    assert_eq!(warm.len() + cool.len(), 24);
    assert_eq!(names(&bench, &["builds", "--where", "compression-ratio = 11.6..11.8"]), ["b4", "b5", "b6"]);
    // From where the inlet valve closes, by either name.
    for name in ["dynamic-compression-ratio", "compression-ratio-at-inlet-closing"] {
        assert_eq!(
            names(&bench, &["builds", "--where", &format!("{name} = 10.1..10.3")]),
            ["b4", "b5", "b6"]
        );
    }
    // A figure asked of one role is not another role's of the same name; a query of `weigh` sees the channels too.
    assert_eq!(names(&bench, &["parts", "--where", "spacer.height > 1 mm"]), ["sp-12/a"]);
    let weighed = bench.run(&[
        "weigh",
        "--base",
        "session=0411a,header=long-1,air-temperature=16..18 degC",
        "--test",
        "0411a-04..06",
        "--json",
    ]);
    let base = weighed.json()["base"].to_string();
    assert!(base.contains("0411a-03") && !base.contains("0411a-09"), "{base}");
}
