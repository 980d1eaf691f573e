use super::bench::Bench;
use super::shown;

#[test]
fn a_difference_is_weighed_or_refused() {
    let bench = Bench::demo();
    let sides = ["--base", "0411a-01..03", "0411a-09..10", "--test", "0411a-04..06"];
    let with = |more: &[&'static str]| [&["weigh"], &sides[..], more].concat();
    shown!(bench, "shown", &with(&[]));
    shown!(bench, "least", &with(&["--least", "3 N·m", "--subject", "header"]));
    shown!(bench, "window", &with(&["--figure", "mean-power", "--window", "4000..7500", "--within", "6 kW"]));
    shown!(bench, "plan", &with(&["--plan", "--detect", "3 N·m"]));
    shown!(bench, "refused", &["weigh", "--base", "0411a-01..03", "--test", "0418a-05..06", "0418a-01"]);
    shown!(bench, "planned", &["weigh", "--plan", "--detect", "4 hp"]);
    shown!(bench, "planned-other-engine", &["weigh", "--plan", "--detect", "4 hp", "--engine", "mule-2"]);
    shown!(bench, "not-an-amount", &with(&["--least", "3 cc"]));
    shown!(bench, "window-beyond", &with(&["--window", "20000..21000"]));
    shown!(bench, "window-of-nothing", &with(&["--window", "7500..4000"]));
    shown!(bench, "at-between", &with(&["--at", "5050"]));
    shown!(bench, "at", &with(&["--at", "5000", "--correct-to", "din-70020"]));
    shown!(bench, "at-a-peak", &with(&["--at", "5000", "--figure", "peak-torque"]));
    shown!(bench, "of-nothing", &["weigh", "--base", "nothing", "--test", "b2"]);
    shown!(bench, "smooth", &with(&["--smooth", "500", "--window", "5000..5600"]));
    shown!(bench, "subject-unknown", &with(&["--subject", "headr"]));
    shown!(bench, "correct-to-unknown", &with(&["--correct-to", "sae"]));
    shown!(bench, "one-pull-each", &["weigh", "--base", "0411a-01", "--test", "0411a-04"]);
}

#[test]
fn sides_are_named_by_what_the_records_say() {
    let bench = Bench::demo();
    let sides = |base: &'static str, test: &'static str| {
        ["weigh", "--window", "5000..5200", "--base", base, "--test", test]
    };
    shown!(
        bench,
        "query",
        &sides("build=b1,on=2026-04-01..2026-04-30", "header=step-1,intake=trumpets-90/a,session=0411a")
    );
    shown!(
        bench,
        "query-of-a-figure",
        &sides("b1", "ignition-timing=27..29 deg BTDC,cell=tower,engine=mule-1")
    );
    shown!(bench, "query-of-nothing", &sides("b1", "header=step-1,session=0509a"));
    shown!(bench, "query-without-value", &sides("b1", "header="));
    shown!(bench, "query-of-an-unknown-name", &sides("b1", "hedaer=step-1"));
    shown!(bench, "query-of-a-wrong-unit", &sides("b1", "ignition-timing=27 cc"));
    shown!(bench, "query-of-no-day", &sides("b1", "on=april"));
    // A name on the command line means the same pulls as the query that says what it stands for.
    let pulls = |base: &str, test: &str| {
        let said = bench.run(&["weigh", "--base", base, "--test", test, "--json"]).done().json();
        (said["base"].clone(), said["test"].clone())
    };
    assert_eq!(pulls("b1", "b2"), pulls("build=b1", "header=step-1,intake=trumpets-90,session=0411a"));
    assert_eq!(pulls("0411a-01..03", "b3"), pulls("0411a-01..03", "intake=plenum-1,session=0411a"));
}

#[test]
fn combinations_are_laid_out() {
    let bench = Bench::demo();
    shown!(
        bench,
        "combos-banded",
        &[
            "combos",
            "--rows",
            "ignition-timing",
            "--row-band",
            "2 deg",
            "--cols",
            "header",
            "--window",
            "4000..7500",
            "--figure",
            "mean-power"
        ]
    );
    shown!(
        bench,
        "combos-no-band",
        &["combos", "--rows", "ignition-timing", "--row-band", "0 deg", "--cols", "header"]
    );
    shown!(
        bench,
        "combos-band-of-parts",
        &["combos", "--rows", "intake", "--row-band", "2", "--cols", "header", "0411a"]
    );
    shown!(bench, "combos-undocumented-figure", &["combos", "--rows", "port-volume", "--cols", "header"]);
    shown!(bench, "combos-ambiguous-figure", &["combos", "--rows", "throttle-bore", "--cols", "header"]);
    shown!(
        bench,
        "combos-of-a-session",
        &["combos", "--rows", "header", "--cols", "intake", "0411a", "--window", "4000..7500"]
    );
    shown!(bench, "combos", &["combos", "--rows", "header", "--cols", "intake", "--window", "4000..7500"]);
    shown!(bench, "combos-same-role", &["combos", "--rows", "header", "--cols", "header"]);
    shown!(bench, "combos-unknown-role", &["combos", "--rows", "headr", "--cols", "intake"]);
}
