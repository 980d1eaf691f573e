use super::bench::Bench;
use super::shown;

#[test]
fn a_sheet_holds_everything_in_order_of_assembly() {
    let bench = Bench::demo();
    shown!(bench, "build", &["sheet", "b4"]);
    shown!(bench, "pull", &["sheet", "0411a-01"]);
    shown!(bench, "not-found", &["sheet", "0499a-01"]);
    let shop = Bench::shop();
    shown!(shop, "with-gaps", &["sheet"]);
}

#[test]
fn the_piston_is_told_at_the_speed_and_angles_asked_for() {
    let bench = Bench::demo();
    let text = bench.run(&["sheet", "b1", "--speed", "8500rpm", "--crank", "20,74"]).done().out;
    for wanted in [
        "greatest piston speed at 8500 rpm",
        "piston below top at 20° after top",
        "at 74° after top, 8500 rpm",
    ] {
        assert!(text.contains(wanted), "{wanted}: {text}");
    }
    shown!(bench, "speed-unclear", &["sheet", "b1", "--speed", "fast"]);
    assert_eq!(bench.run(&["sheet", "b1", "--speed", "0 rpm"]).code, 2);
    for angle in ["half", "nan", "inf", "721"] {
        assert_eq!(bench.run(&["sheet", "b1", "--crank", angle]).code, 2, "{angle}");
    }
}

#[test]
fn every_derived_figure_says_its_interval_and_what_it_rests_on() {
    let bench = Bench::demo();
    for about in ["b1", "0411a-01", "0509a-03"] {
        let answer = bench.run(&["sheet", about, "--json"]).done().json();
        let derived = answer["derived"].as_array().expect("figures");
        assert!(derived.len() > 20, "{about}");
        for figure in derived {
            assert!(figure["uncertainty"].as_f64().expect("an interval") > 0.0, "{figure}");
            let inputs = |how: &str| figure[how].as_array().expect("inputs").len();
            assert!(inputs("measured") + inputs("not_measured") > 0, "{figure}");
            assert_eq!(figure["worst_input"] == "measured", inputs("not_measured") == 0, "{figure}");
        }
    }
}

#[test]
fn a_card_that_contradicts_itself_is_shown_wherever_it_is_read() {
    let bench = Bench::demo();
    bench.run(&["measure", "cams-5/a", "lobe-separation", "104.5 deg", "--listed", "cam card 5"]).done();
    for (name, value) in [("inlet-opens", "21.5 deg BTDC"), ("inlet-closes", "60.5 deg ABDC")] {
        bench.run(&["measure", "cams-5/a", name, value, "--listed", "cam card 5"]).done();
    }
    for arguments in [&["sheet", "b1"][..], &["gaps", "b1"], &["diff", "0411a-01", "0411a-04"]] {
        let said = bench.run(arguments).out;
        assert!(said.contains("the cam card contradicts itself"), "{arguments:?}: {said}");
    }
}

#[test]
fn a_sheet_fits_the_paper() {
    let bench = Bench::demo();
    let said = bench.run(&["sheet", "0418a-05", "--crank", "20,74,180"]);
    for line in said.out.lines().filter(|line| !line.trim_start().starts_with("mulebook ")) {
        assert!(line.chars().count() <= 80, "{line}");
    }
}

/// A pull whose file holds no sweep says what that bars, instead of nothing.
#[test]
fn a_pull_without_a_sweep_names_what_is_missing() {
    let bench = Bench::demo();
    bench.put("two-rows.csv", "rpm,oil\n3000,80\n3100,81\n");
    bench.run(&["pull", "../two-rows.csv", "--build", "b1", "--session", "0525a", "--cell", "tower"]).done();
    let said = bench.run(&["sheet", "0525a-01"]).done().out;
    let words = said.split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(
        words.contains("channel torque: no raw file with a sweep carries it bars power as observed"),
        "{said}"
    );
}
