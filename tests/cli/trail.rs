use super::bench::Bench;
use super::shown;

#[test]
fn a_life_is_told_in_order_of_time() {
    let bench = Bench::demo();
    shown!(bench, "part", &["trail", "h2"]);
    shown!(bench, "part-in-a-state", &["trail", "h2/b"]);
    shown!(bench, "figure", &["trail", "h2", "chamber-volume"]);
    shown!(bench, "build", &["trail", "b4"]);
    shown!(bench, "setting", &["trail", "b4", "ignition-timing"]);
    shown!(bench, "pull", &["trail", "0418a-05"]);
    shown!(bench, "session", &["trail", "0411a"]);
    shown!(bench, "instrument", &["trail", "weather-1"]);
    shown!(bench, "columns", &["trail", "tower-1"]);
    shown!(bench, "file", &["trail", "tarnbeck-0411-01.csv"]);
    shown!(bench, "cell", &["trail", "tower"]);
    shown!(bench, "no-figure", &["trail", "h2", "colour"]);
    shown!(bench, "not-found", &["trail", "h9"]);
}

/// One walk over the history finds for every file what git finds for each.
#[test]
fn many_files_are_followed_as_git_follows_each() {
    let bench = Bench::demo();
    let book = mulebook::store::Book::discover(&bench.book()).expect("a book");
    let files = bench.git(&["ls-files"]);
    let paths: std::collections::BTreeSet<String> =
        files.lines().map(str::to_owned).chain(["builds".to_owned(), "none/at/all".to_owned()]).collect();
    let logs = book.logs(&paths).expect("a walk");
    let line: Vec<String> =
        bench.git(&["rev-list", "--first-parent", "HEAD"]).lines().map(str::to_owned).collect();
    assert!(line.len() > 30 && paths.len() > 100);
    for path in &paths {
        let theirs = bench.git(&["log", "--first-parent", "--format=%H", "--", path]);
        let ours: Vec<String> =
            logs.get(path).into_iter().flatten().map(|change| change.commit.to_string()).collect();
        assert_eq!(ours, theirs.lines().collect::<Vec<_>>(), "{path}");
        for change in logs.get(path).into_iter().flatten() {
            assert_eq!(line[change.steps_back], change.commit.to_string());
        }
    }
}

/// What is altered by hand is told with the old and the new; what is taken out is not forgotten; a pull that had no
/// build at first was entered when it was entered.
#[test]
fn what_was_altered_is_told_with_the_old() {
    let bench = Bench::shop();
    let spacer = "book/parts/spacer/sp-30.yaml";
    let with = |height: &str| {
        let figure = format!("      height: {{measured: {height}, by: mk, taken: 2026-04-01}}\n");
        let head = "part: sp-30\nkind: spacer\nstates:\n  - state: a\n    since: 2026-04-01\n    figures:";
        if height.is_empty() { format!("{head} {{}}\n") } else { format!("{head}\n{figure}") }
    };
    for (height, why) in [("30.0 mm", "first"), ("31.0 mm", "read again"), ("", "was another spacer's")] {
        bench.put(spacer, &with(height));
        bench.run(&["keep", "-m", why]).done();
    }
    shown!(bench, "edited", &["trail", "sp-30", "height"]);
    bench.put("run-9.csv", &super::bench::trace(9));
    bench.run(&["pull", "../run-9.csv"]).done();
    let entered = bench.head();
    bench.run(&["correct", "last", "--set", "build=b1", "--because", "it ran on b1"]).done();
    let told = bench.run(&["trail", "last", "--json"]).json();
    let first = &told["events"][0];
    assert!(
        first["what"] == "pull" && entered.starts_with(first["written"]["commit"].as_str().expect("text")),
        "{told:#}"
    );
    assert_eq!(told["events"].as_array().map(Vec::len), Some(2), "{told:#}");
}

/// The engine's own health: one build across sessions, on the window asked for.
#[test]
fn an_engine_is_followed_across_sessions() {
    let bench = Bench::demo();
    shown!(bench, "baseline", &["trail", "mule-1", "--baseline", "--window", "4000..7500"]);
    shown!(bench, "baseline-no-engine", &["trail", "h2", "--baseline"]);
    shown!(bench, "baseline-no-such-build", &["trail", "mule-1", "--baseline", "--build", "b99"]);
}
