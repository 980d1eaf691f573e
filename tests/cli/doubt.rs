use super::bench::Bench;
use super::shown;

fn names(list: &serde_json::Value) -> Vec<String> {
    let rows = list.as_array().expect("a list").iter();
    rows.map(|row| row["name"].as_str().expect("a name").to_owned()).collect()
}

/// A figure that proved wrong does not stand, everything that rests on it says so, and it ends when it is measured again.
#[test]
fn a_doubted_figure_does_not_stand_until_it_is_measured_again() {
    let bench = Bench::demo().at("2026-05-24T10:00:00+02:00");
    bench.put("book/claims/step.yaml", CLAIM);
    bench.run(&["keep", "-m", "the claim"]).done();
    shown!(bench, "figure", &["doubt", "h2/b", "chamber-volume", "--because", "the plate leaked"]);
    let gap = bench.run(&["gaps", "b5"]).out;
    let words = gap.split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(
        words.contains("43.6 43.6 43.5 43.6 ±0.2 cc stood here, but it is in doubt: the plate leaked"),
        "{gap}"
    );
    assert_eq!(bench.run(&["diff", "0411a-01", "0418a-05"]).code, 3);
    assert!(
        bench.run(&["sheet", "0418a-05"]).done().out.contains("In doubt, until measured again or cleared")
    );
    let found = bench.run(&["find", "pulls", "--with", "h2/b", "--json"]).json();
    assert_eq!(found["doubted"].as_array().map(Vec::len), found["rows"].as_array().map(Vec::len), "{found}");
    let told = bench.run(&["trail", "h2", "chamber-volume"]).out;
    let words = told.split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(words.contains("is doubted: the plate leaked"), "{told}");
    shown!(bench, "already", &["doubt", "h2/b", "chamber-volume", "--because", "again", "--entry", "1"]);
    shown!(
        bench,
        "no-such-entry",
        &["doubt", "h2/b", "chamber-volume", "--because", "again", "--entry", "7"]
    );
    bench
        .run(&["measure", "h2/b", "chamber-volume", "43.9 43.9 43.8 43.9 ±0.2 cc", "--with", "burette-1"])
        .done();
    assert_eq!(bench.run(&["diff", "0411a-01", "0418a-05"]).code, 0);
    assert!(!bench.run(&["sheet", "0418a-05"]).done().out.contains("In doubt"));
}

/// With a known offset the figure is used, called calculated, and says what was added; cleared, it is as before.
#[test]
fn a_known_offset_is_added_openly_and_cleared_again() {
    let bench = Bench::demo().at("2026-05-24T10:00:00+02:00");
    let before = bench.run(&["sheet", "b1", "--json"]).done().json();
    shown!(
        bench,
        "instrument",
        &[
            "doubt",
            "burette-1",
            "--until",
            "2026-03-31",
            "--offset",
            "-0.4 ±0.1 cc",
            "--because",
            "weighed water: it reads high"
        ]
    );
    let figure = |sheet: &serde_json::Value, item: &str| {
        let roles = sheet["roles"].as_array().expect("roles").clone();
        let figures = roles.iter().flat_map(|role| role["figures"].as_array().expect("figures").clone());
        let found: Vec<serde_json::Value> = figures.filter(|line| line["item"] == item).collect();
        found.into_iter().next().unwrap_or_else(|| panic!("{item}: {sheet}"))
    };
    let after = bench.run(&["sheet", "b1", "--json"]).done().json();
    let said = figure(&after, "cylinder-head.chamber-volume")["said"].clone();
    assert_eq!(said["how"], "calculated");
    assert_eq!(said["text"], "44.40 44.50 44.30 44.40 ±0.26 cc k=2");
    // A later reading with the same burette is no part of it.
    let later = bench.run(&["sheet", "b5", "--json"]).done().json();
    assert_eq!(figure(&later, "cylinder-head.chamber-volume")["said"]["how"], "measured");
    let told = bench.run(&["trail", "burette-1"]).done().out;
    assert!(told.contains("-0.4 ±0.1 cc is added"), "{told}");
    shown!(
        bench,
        "clear",
        &["doubt", "burette-1", "--clear", "--because", "the scale was off, not the burette"]
    );
    let cleared = bench.run(&["sheet", "b1", "--json"]).done().json();
    assert_eq!(
        figure(&cleared, "cylinder-head.chamber-volume"),
        figure(&before, "cylinder-head.chamber-volume")
    );
    assert_eq!(cleared["doubts"], serde_json::json!([]));
    shown!(bench, "nothing", &["doubt", "burette-1", "--clear", "--because", "again"]);
}

/// An offset of the load cell moves every torque of the pulls in its time by just that much; the bytes stay, and a gain
/// that rests on it is held back.
#[test]
fn an_offset_of_the_load_cell_moves_the_curves_and_nothing_else() {
    let bench = Bench::demo().at("2026-05-24T10:00:00+02:00");
    let curves = |bench: &Bench| {
        let diff = bench.run(&[
            "diff",
            "0411a-03",
            "0411a-04",
            "--correct-to",
            "observed",
            "--step",
            "500",
            "--json",
        ]);
        diff.done().json()["curves"]["rows"].clone()
    };
    let raw = bench.git(&["rev-parse", "HEAD:raw"]);
    let before = curves(&bench);
    bench
        .run(&[
            "doubt",
            "load-1",
            "--from",
            "2026-04-11",
            "--until",
            "2026-04-11",
            "--offset",
            "+2.0 ±0.5 N·m",
            "--because",
            "zero was not taken",
        ])
        .done();
    let after = curves(&bench);
    assert_eq!(bench.git(&["rev-parse", "HEAD:raw"]), raw, "the bytes stay");
    for (was, now) in before.as_array().expect("rows").iter().zip(after.as_array().expect("rows")) {
        let torque = |row: &serde_json::Value| row["base_torque"].as_f64().expect("a torque");
        assert!((torque(now) - torque(was) - 2.0).abs() < 1e-6, "{was} {now}");
    }
    let diff = bench.run(&["diff", "0411a-03", "0411a-04", "--step", "1000"]).done().out;
    assert!(diff.contains("the torque channel was read by load-1, in doubt"), "{diff}");
    let weighed = bench
        .run(&["weigh", "--base", "0411a-01..03", "--test", "0411a-04..06", "--least", "0.1 N·m", "--json"])
        .done()
        .json();
    assert_eq!(weighed["doubts"].as_array().map(Vec::len), Some(1), "{}", weighed["doubts"]);
    assert_ne!(weighed["ruling"]["verdict"], "shown");
}

#[test]
fn a_session_is_doubted_as_a_whole() {
    let bench = Bench::demo().at("2026-05-24T10:00:00+02:00");
    let answer = bench.run(&["doubt", "0418a", "--because", "the arm had slipped", "--json"]).done().json();
    assert_eq!(names(&answer["pulls"]).len(), 10);
    assert_eq!(names(&answer["builds"]), Vec::<String>::new());
    assert!(
        bench.run(&["sheet", "0418a-02"]).done().out.contains("what was read in session 0418a is in doubt")
    );
    assert!(bench.run(&["trail", "0418a"]).out.contains("is doubted: the arm had slipped"));
}

/// Whatever shows a figure that rests on it says so: terminal, page, the page that is handed over, booklet, claim.
#[test]
fn everything_that_is_shown_of_a_doubted_session_says_so() {
    let bench = Bench::demo().at("2026-05-24T10:00:00+02:00");
    let because = "the arm had slipped";
    let asked: [&[&str]; 5] = [
        &["sheet", "0411a-04"],
        &["diff", "0411a-03", "0411a-04"],
        &["weigh", "--base", "0411a-01..03", "--test", "0411a-04..06"],
        &["combos", "--rows", "header", "--cols", "intake"],
        &["claim", "stepped-header"],
    ];
    let drawn: [&[&str]; 8] = [
        &["0411a-04"],
        &["0411a-04", "--one-page"],
        &["0411a-03", "0411a-04"],
        &["0411a-03", "0411a-04", "--one-page"],
        &["--booklet", "0411a-04"],
        asked[2],
        asked[3],
        asked[4],
    ];
    let said = |words: &[&str]| bench.run(words).out.split_whitespace().collect::<Vec<_>>().join(" ");
    let page = |words: &[&str]| {
        bench.run(&[&["page"], words, &["--out", "page.html"]].concat()).done();
        let html = bench.read("page.html");
        std::fs::remove_file(bench.book().join("page.html")).expect("it was written");
        html
    };
    for words in asked {
        assert!(!said(words).contains(because), "{words:?}");
    }
    let answer = bench.run(&["doubt", "0411a", "--because", because, "--json"]).done().json();
    assert_eq!(names(&answer["claims"]), ["stepped-header"], "a claim names its pulls by a query");
    for words in asked {
        assert!(said(words).contains(because), "{words:?}");
    }
    for words in drawn {
        assert!(page(words).contains(because), "{words:?}");
    }
}

#[test]
fn what_cannot_be_doubted_is_refused() {
    let bench = Bench::demo().at("2026-05-24T10:00:00+02:00");
    shown!(bench, "no-figure", &["doubt", "h2", "--because", "x"]);
    shown!(bench, "nothing-entered", &["doubt", "h2/a", "inlet-throat", "--because", "x"]);
    shown!(
        bench,
        "not-an-offset",
        &["doubt", "h2/a", "chamber-volume", "--because", "x", "--offset", "0.4 kPa"]
    );
    shown!(
        bench,
        "figure-in-a-time",
        &["doubt", "h2/a", "chamber-volume", "--because", "x", "--from", "2026-03-01"]
    );
    shown!(
        bench,
        "backwards",
        &["doubt", "burette-1", "--because", "x", "--from", "2026-04-01", "--until", "2026-03-01"]
    );
    shown!(bench, "instrument-figure", &["doubt", "burette-1", "volume", "--because", "x"]);
    assert_eq!(bench.run(&["doubt", "burette-1", "--because", " "]).code, 2);
    let nobody = std::collections::BTreeMap::from([("MULEBOOK_NOW", "2026-05-24T10:00:00+02:00")]);
    let said = bench.run_under(&nobody, &bench.book(), &["doubt", "burette-1", "--because", "x"], "");
    assert!(said.code == 2 && said.error.contains("says who made it"), "{said:?}");
}

const CLAIM: &str = "claim: step\nsays: \"step-1 gives more than long-1\"\non: 2026-05-24\nby: mk\nbase: [0418a-01, 0418a-02]\ntest: [0418a-05]\nmetric: mean-torque\n";
