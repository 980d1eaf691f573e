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

#[test]
fn a_sheet_tells_what_was_known_then_and_what_has_been_learned_since() {
    let bench = Bench::demo();
    shown!(bench, "then-and-now", &["sheet", "0418a-05", "--known-on", "2026-04-20", "--then-and-now"]);
    shown!(bench, "not-known-yet", &["sheet", "0418a-05", "--known-on", "2026-04-01"]);
    shown!(bench, "known-on-no-day", &["sheet", "0418a-05", "--known-on", "last week"]);
    // Without a day: since it was first written down.
    let said = bench.run(&["sheet", "0418a-05", "--then-and-now"]).done().out;
    assert!(said.starts_with("As known on 2026-04-18: commit "), "{said}");
    let said = bench.run(&["sheet", "b8", "--then-and-now", "--known-on", "2026-05-24"]).done().out;
    assert!(said.contains("nothing: the sheet reads the same now"), "{said}");
    for line in bench.run(&["sheet", "0418a-05", "--then-and-now"]).out.lines() {
        assert!(line.chars().count() <= 80, "{line}");
    }
}

/// Any question can be put to the book as it was known on a day.
#[test]
fn every_question_can_be_asked_as_known_on_a_day() {
    let bench = Bench::demo();
    let known = |arguments: &[&str]| {
        let mut all = arguments.to_vec();
        all.extend(["--known-on", "2026-05-20", "--json"]);
        let said = bench.run(&all);
        let answer = said.json();
        assert_eq!(answer["known"]["on"], "2026-05-20", "{arguments:?}: {answer}");
        let name = arguments[0];
        let shape = answer["answer"].as_str().expect("a shape").to_owned();
        super::bench::checked(&format!("known-on-{name}-{shape}"), &said.out);
        (said.code, answer)
    };
    assert_eq!(known(&["diff", "0411a-01", "0418a-05"]).0, 3, "the chamber was not measured yet");
    assert_eq!(bench.run(&["diff", "0411a-01", "0418a-05"]).code, 0);
    let gaps = known(&["gaps", "b5"]).1;
    assert!(gaps["gaps"].to_string().contains("chamber-volume"), "{gaps}");
    let found = known(&["find", "pulls", "--with", "spacer=sp-12"]).1;
    assert_eq!(found["rows"], serde_json::json!([]), "the photograph was not found yet");
    let then = known(&["trail", "h2", "chamber-volume"]).1;
    let now = bench.run(&["trail", "h2", "chamber-volume", "--json"]).json();
    let count = |answer: &serde_json::Value| answer["events"].as_array().map_or(0, Vec::len);
    assert!(count(&then) > 0 && count(&then) < count(&now), "{then}");
    assert_eq!(known(&["weigh", "--base", "0411a-01..03", "--test", "0411a-04..06"]).0, 0);
    assert_eq!(known(&["combos", "--rows", "header", "--cols", "intake"]).0, 0);
    // A table for other programs begins with its heading, whatever was asked.
    let csv = bench.run(&["find", "pulls", "--csv", "--known-on", "2026-04-12"]).done().out;
    assert!(csv.starts_with("name,") && csv.lines().count() == 11, "{csv}");
}

/// What to bolt on says what is gone or was worked on since, and what a substitute must match.
#[test]
fn what_to_bolt_on_names_what_is_gone_and_what_must_match() {
    let bench = Bench::demo().at("2026-08-02T09:00:00+02:00");
    bench.edit("parts/header/step-1.yaml", "where: here", "where: {sold: 2026-08-01}");
    bench.run(&["keep", "-m", "step-1 is sold"]).done();
    bench.run(&["rework", "h2", "mill-deck", "--detail", "cut=0.10 mm", "--on", "2026-08-01"]).done();
    let answer = bench.run(&["sheet", "0418a-05", "--json"]).done().json();
    let line = |role: &str| {
        let lines = answer["repeat"].as_array().expect("lines").clone();
        lines.into_iter().find(|line| line["role"] == role).unwrap_or_else(|| panic!("{role}: {answer}"))
    };
    assert_eq!(line("header")["status"], "gone");
    assert_eq!(line("header")["says"], "sold 2026-08-01");
    let items = |role: &str| line(role)["must_match"].to_string();
    assert!(items("header").contains("header.primary-length"), "{}", items("header"));
    assert_eq!(line("cylinder-head")["status"], "reworked");
    assert!(items("cylinder-head").contains("43.6 43.6 43.5 43.6 ±0.2 cc"), "{}", items("cylinder-head"));
    assert_eq!(line("carburettor")["status"], "leave-off");
    assert_eq!(line("intake")["must_match"], serde_json::json!([]));
    // The order of assembly is that of the roles.
    let order: Vec<String> = answer["repeat"]
        .as_array()
        .expect("lines")
        .iter()
        .map(|line| line["role"].as_str().expect("a role").to_owned())
        .collect();
    let at = |role: &str| order.iter().position(|known| known == role).expect("the role");
    assert!(at("short-block") < at("head-gasket") && at("head-gasket") < at("cylinder-head"));
    assert!(at("cylinder-head") < at("intake") && at("intake") < at("spacer"));
}

/// Hashes are looked at while the sheet prints; bytes that do not hold end it with the code of damaged evidence.
#[test]
fn raw_files_are_looked_at_as_the_sheet_prints() {
    let bench = Bench::shop();
    let answer = bench.run(&["sheet", "0412a-01", "--json"]).done().json();
    assert_eq!(answer["pulls"][0]["raw"][0]["check"], "holds");
    let raw = bench.git(&["ls-files", "raw"]).lines().next().expect("a raw file").to_owned();
    bench.put(&format!("book/{raw}"), "other bytes\n");
    let codes: Vec<i32> =
        ["0412a-01", "0412a-02", "b1"].iter().map(|about| bench.run(&["sheet", about]).code).collect();
    assert!(codes.contains(&4), "{codes:?}");
}

/// Every sheet can be made again from git's history alone, and is the same to the letter as when it was printed; what
/// is written afterwards changes nothing of what was known on a day.
#[test]
fn a_sheet_printed_then_can_be_made_again_to_the_letter() {
    let bench = Bench::demo();
    let days: std::collections::BTreeMap<String, String> = bench
        .git(&["log", "--first-parent", "--reverse", "--format=%cd %H", "--date=format-local:%Y-%m-%d"])
        .lines()
        .filter_map(|line| line.split_once(' '))
        .map(|(day, commit)| (day.to_owned(), commit.to_owned()))
        .collect();
    assert!(days.len() > 4, "{days:?}");
    let asked = |bench: &Bench, about: &str, day: &str| {
        let said = bench.run(&["sheet", about, "--known-on", day]);
        (said.code, said.out)
    };
    let mut printed = Vec::new();
    for (day, commit) in &days {
        // The book as the shop had it that evening: the same history, cut there.
        let then = Bench::empty();
        let from = bench.book().display().to_string();
        let to = then.book().display().to_string();
        bench.git(&["clone", "--quiet", &from, &to]);
        then.git(&["reset", "--quiet", "--hard", commit]);
        for about in ["b1", "b5", "0411a-03", "0418a-05", "0509a-03"] {
            let paper = then.run(&["sheet", about]);
            let (code, again) = asked(&bench, about, day);
            if paper.code != 0 {
                assert_eq!(code, paper.code, "{about} on {day}");
                continue;
            }
            let (first, rest) = again.split_once("\n").map_or(("", ""), |(first, rest)| (first, rest));
            let rest = if first.contains(&commit[..12]) {
                rest.split_once('\n')
                    .map_or(rest, |(more, below)| if more.starts_with("Sheet of") { rest } else { below })
            } else {
                rest
            };
            assert_eq!(rest, paper.out, "{about} on {day}");
            printed.push((about, day.clone(), again));
        }
    }
    assert!(printed.len() > 12, "{}", printed.len());
    let later = bench.at("2026-09-01T08:00:00+02:00");
    later.run(&["measure", "h2/b", "inlet-throat", "29.0 mm", "--with", "calliper-1"]).done();
    later.run(&["rework", "h2", "mill-deck", "--detail", "cut=0.10 mm", "--on", "2026-08-31"]).done();
    later.run(&["correct", "0418a-05", "--set", "conditions.humidity=61 %", "--because", "misread"]).done();
    for (about, day, before) in printed {
        assert_eq!(asked(&later, about, &day).1, before, "{about} as known on {day}");
    }
}
