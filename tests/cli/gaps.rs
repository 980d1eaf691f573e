use super::bench::Bench;
use super::bench::NOW;
use super::kept;
use super::shown;

#[test]
fn what_is_missing_is_listed_with_what_closes_it() {
    let bench = Bench::shop();
    shown!(bench, "last", &["gaps"]);
    shown!(bench, "build", &["gaps", "b1"]);
    shown!(bench, "pair", &["gaps", "0412a-01", "0412a-02"]);
    shown!(bench, "three", &["gaps", "0412a-01", "0412a-02", "b1"]);
    shown!(bench, "nothing-called-so", &["gaps", "0499a-01"]);
    let said = bench.run(&["gaps", "--fill", "--json"]);
    assert_eq!(said.code, 2);
    kept!("gaps-fill-as-json", said.out);
    shown!(bench, "pending", &["gaps", "0412a-01", "--pending"]);
    let empty = Bench::new();
    shown!(empty, "no-pull-yet", &["gaps"]);
}

#[test]
fn filling_asks_for_each_gap_and_stops_at_the_end_of_input() {
    let bench = Bench::shop();
    let before: usize = bench.git(&["rev-list", "--count", "HEAD"]).trim().parse().expect("a count");
    let said = bench.run_with(&["gaps", "0412a-01", "--fill"], "none\nbanana\n\nunknown: nobody kept it\n");
    kept!("gaps-fill", format!("{}-- standard error\n{}-- exit {}", said.out, said.error, said.code));
    let after: usize = bench.git(&["rev-list", "--count", "HEAD"]).trim().parse().expect("a count");
    assert_eq!(
        after,
        before + 1,
        "each answer is a commit of its own; what does not hold and what is passed over are none"
    );
}

/// The refusal of the demo is closed by nothing but answers to its questions.
#[test]
fn filling_everything_lets_the_comparison_run() {
    let bench = Bench::shop();
    bench.run(&["build", "b2", "--from", "b1", "--set", "cylinder-head=h3/a"]).done();
    bench.put("run-3.csv", &super::bench::trace(3));
    bench.run(&["pull", "../run-3.csv", "--build", "b2"]).done();
    let refused = bench.run(&["diff", "0412a-01", "0412a-03", "--json"]);
    assert_eq!(refused.code, 3);
    let gaps = refused.json()["gaps"].as_array().expect("gaps").len();
    assert!(gaps > 10, "{gaps}");
    for round in 0..3 {
        let said = bench.run_with(
            &["gaps", "0412a-01", "0412a-03", "--fill"],
            &"unknown: nobody wrote it down\n".repeat(200),
        );
        assert_eq!(said.code, 0, "{said:?}");
        let left = bench.run(&["diff", "0412a-01", "0412a-03", "--json"]);
        if left.code == 0 {
            let open = left.json()["open"].as_array().expect("open questions").len();
            assert!(open > 5, "what is unknown is printed as an open question");
            return;
        }
        let lines: Vec<String> = left.json()["gaps"]
            .as_array()
            .expect("gaps")
            .iter()
            .map(|gap| format!("{} ({}): {}", gap["item"], gap["side"], gap["close"]))
            .collect();
        assert!(round < 2, "still refused after every question was answered: {lines:#?}\n{}", said.out);
    }
}

#[test]
fn the_book_is_found_from_below_and_by_name() {
    let bench = Bench::shop();
    let below = bench.run_in(&bench.book().join("builds/b1"), &["gaps", "0412a-01"], "").done();
    let named = bench.run_in(bench.path(), &["gaps", "0412a-01", "--book", "book"], "").done();
    assert_eq!(below.out, named.out);
    assert!(NOW.starts_with("2026"));
}

#[test]
fn gaps_are_filled_in_the_present_alone() {
    let bench = Bench::shop();
    assert_eq!(bench.run(&["gaps", "1", "--fill", "--known-on", "2026-04-20"]).code, 2);
    assert_eq!(bench.run(&["gaps", "1", "--fill", "--pending"]).code, 2);
}
