use super::bench::Bench;
use super::collect;
use super::shown;

#[test]
fn the_demo_tells_its_story() {
    let bench = Bench::empty();
    shown!(bench, ".", "story", &["demo", "book"]);
    collect::book(&bench.book());
    assert_eq!(bench.git(&["status", "--porcelain"]), "");
    assert_eq!(bench.git(&["fsck", "--strict"]), "");
    shown!(bench, ".", "over-a-book", &["demo", "book"]);
}

/// With the clock, the person and the zone given, a book comes out to the same commit ids, whatever machine made it.
#[test]
fn two_runs_give_the_same_commits() {
    let first = Bench::demo();
    let second = Bench::empty();
    second.run_in(second.path(), &["demo", "book"], "").done();
    let log = |bench: &Bench| bench.git(&["log", "--format=%H %s"]);
    assert_eq!(log(&first), log(&second));
    assert!(log(&first).lines().count() > 20);
}
