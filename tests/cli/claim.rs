use super::bench::Bench;
use super::kept;
use super::shown;

const DEMO: &str = "stepped-header";

#[test]
fn a_claim_kept_before_its_pulls_is_shown_with_its_verdict() {
    let bench = Bench::demo();
    shown!(bench, "shown", &["claim", DEMO]);
    shown!(bench, "checked", &["claim", DEMO, "--check"]);
    shown!(bench, "weighed", &["weigh", "--claim", DEMO]);
    shown!(bench, "trail", &["trail", DEMO]);
    shown!(bench, "found", &["find", "claims"]);
    shown!(bench, "found-with-a-part", &["find", "claims", "--with", "long-1"]);
    shown!(bench, "unknown", &["claim", "steped-header"]);
    shown!(bench, "unknown-weighed", &["weigh", "--claim", "steped-header"]);
}

#[test]
fn a_claim_stated_after_its_pulls_says_so() {
    let bench = Bench::demo().at("2026-06-01T10:00:00+02:00");
    let claim = |name: &'static str, more: &[&'static str]| {
        [&["claim", name, "--says", "The header gains torque."], more].concat()
    };
    let sides = ["--base", "0411a-01..03", "0411a-09..10", "--test", "0411a-04..06"];
    shown!(
        bench,
        "made",
        &claim(
            "late",
            &[&sides[..], &["--subject", "header", "--window", "5000..7500", "--least", "1 N·m"]].concat()
        )
    );
    kept!("claim-made-file", bench.read("claims/late.yaml"));
    shown!(bench, "afterwards", &["claim", "late", "--check"]);
    bench.run(&claim("no-least", &sides)).done();
    assert_eq!(bench.run(&["claim", "no-least", "--check"]).code, 0, "shown, though stated afterwards");
    shown!(bench, "name-taken", &claim("late", &sides));
    // Not as it was claimed.
    bench
        .run(&claim(
            "elsewhere",
            &[
                &sides[..],
                &["--with", "intake=plenum-1/a", "--cell", "tower", "--tuning", "each-at-its-best"],
            ]
            .concat(),
        ))
        .done();
    shown!(bench, "outside", &["claim", "elsewhere", "--check"]);
    bench.run(&claim("alike", &[&sides[..], &["--within", "8 N·m"]].concat())).done();
    shown!(bench, "no-difference", &["claim", "alike", "--check"]);
    bench.run(&claim("careless", &["--base", "0411a-01..03", "--test", "0418a-05..06", "0418a-01"])).done();
    shown!(bench, "mixed-sides", &["claim", "careless", "--check"]);
    shown!(bench, "made-early", &claim("nothing-yet", &["--base", "b1", "--test", "0601a-01..03"]));
    shown!(bench, "no-pulls-yet", &["claim", "nothing-yet", "--check"]);
}

#[test]
fn what_is_not_documented_refuses_a_claim_as_any_comparison() {
    let bench = Bench::shop();
    bench
        .run(&["claim", "careless", "--says", "It gains.", "--base", "0412a-01", "--test", "0412a-02"])
        .done();
    shown!(bench, "refused", &["claim", "careless", "--check"]);
    shown!(bench, "refused-weighed", &["weigh", "--claim", "careless"]);
    assert_eq!(bench.run(&["claim", "careless", "--check"]).code, 3);
}

#[test]
fn a_claim_is_changed_visibly_or_not_at_all() {
    let bench = Bench::demo().at("2026-06-01T10:00:00+02:00");
    shown!(
        bench,
        "corrected",
        &[
            "correct",
            DEMO,
            "--set",
            "window=3000..8000",
            "--because",
            "the whole range is what the team drives"
        ]
    );
    shown!(bench, "changed-afterwards", &["claim", DEMO]);
    shown!(bench, "correct-nothing", &["correct", DEMO, "--set", "on=2026-01-01", "--because", "x"]);
    shown!(bench, "correct-same", &["correct", DEMO, "--set", "metric=mean torque", "--because", "x"]);
    shown!(bench, "withdrawn-without-reason", &["claim", DEMO, "--withdraw", "--because", " "]);
    shown!(bench, "withdrawn", &["claim", DEMO, "--withdraw", "--because", "the spacer was left in"]);
    kept!("claim-withdrawn-file", bench.read("claims/stepped-header.yaml"));
    shown!(bench, "withdrawn-checked", &["claim", DEMO, "--check"]);
    shown!(bench, "withdrawn-twice", &["claim", DEMO, "--withdraw", "--because", "again"]);
    // By hand nothing of it can be altered or taken away.
    bench.edit("claims/stepped-header.yaml", "at-least: 1 N·m", "at-least: 3 N·m");
    shown!(bench, "edited", &["keep"]);
    bench.edit("claims/stepped-header.yaml", "at-least: 3 N·m", "at-least: 1 N·m");
    std::fs::remove_file(bench.book().join("claims/stepped-header.yaml")).expect("it is there");
    shown!(bench, "removed", &["keep"]);
}

#[test]
fn what_git_was_made_to_keep_past_the_gate_is_named() {
    let bench = Bench::demo();
    bench.edit("claims/stepped-header.yaml", "at-least: 1 N·m", "at-least: 0.5 N·m");
    bench.git(&["-c", "user.name=x", "-c", "user.email=x", "commit", "-qam", "tidy up"]);
    // Git's own clock is in the answer, so no snapshot.
    let said = bench.run(&["claim", DEMO, "--check", "--json"]);
    let answer = said.json();
    assert_eq!((said.code, &answer["verdict"]), (5, &"provisional".into()), "{answer}");
    let altered = answer["timing"]["altered"][0].as_str().expect("it is named");
    assert!(altered.starts_with("at-least, in commit "), "{altered}");
    assert_eq!(answer["timing"]["changed_afterwards"], serde_json::json!(["at-least"]));
}

#[test]
fn a_claim_that_says_nothing_checkable_is_refused() {
    let bench = Bench::demo();
    let claim = |more: &[&'static str]| {
        [&["claim", "c1", "--says", "It gains.", "--base", "b1", "--test", "b2"], more].concat()
    };
    shown!(bench, "not-an-amount", &claim(&["--least", "3 kW", "--figure", "mean-torque"]));
    shown!(bench, "unknown-subject", &claim(&["--subject", "headr"]));
    shown!(bench, "unknown-correction", &claim(&["--correct-to", "sae"]));
    shown!(bench, "unknown-cell", &claim(&["--cell", "towr"]));
    shown!(bench, "unknown-part", &claim(&["--with", "spacer=sp-99/a"]));
    shown!(bench, "unknown-role", &claim(&["--with", "spacr=none"]));
    shown!(bench, "peak-at-a-speed", &claim(&["--at", "5000", "--figure", "peak-torque"]));
    shown!(bench, "says-nothing", &["claim", "c1", "--says", " ", "--base", "b1", "--test", "b2"]);
    shown!(bench, "bad-query", &["claim", "c1", "--says", "x", "--base", "header=", "--test", "b2"]);
    shown!(bench, "both-kinds", &claim(&["--least", "1 N·m", "--within", "1 N·m"]));
    let claim =
        "claim: c2\nsays: \"x\"\non: 2026-04-12\nby: mk\nbase: [b1]\ntest: [b2]\nmetric: mean-torque\n";
    bench.put("book/claims/c2.yaml", &format!("{claim}at-least: 1 N·m\nwithin: 1 N·m\n"));
    shown!(bench, "gain-and-no-difference", &["keep"]);
    bench.put("book/claims/c2.yaml", &format!("{claim}window: {{from: 4000 N·m, to: 3000 rpm}}\n"));
    shown!(bench, "not-a-speed", &["keep"]);
    bench.put(
        "book/claims/c2.yaml",
        &format!("{claim}window: {{from: 4000 rpm, to: 5000 rpm}}\nat: 4000 rpm\n"),
    );
    shown!(bench, "window-and-speed", &["keep"]);
}
