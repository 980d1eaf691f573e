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
    shown!(bench, "not-an-amount", &with(&["--least", "3 cc"]));
    shown!(bench, "window-beyond", &with(&["--window", "20000..21000"]));
    shown!(bench, "window-of-nothing", &with(&["--window", "7500..4000"]));
    shown!(bench, "one-pull-each", &["weigh", "--base", "0411a-01", "--test", "0411a-04"]);
}

#[test]
fn combinations_are_laid_out() {
    let bench = Bench::demo();
    shown!(bench, "combos", &["combos", "--rows", "header", "--cols", "intake", "--window", "4000..7500"]);
    shown!(bench, "combos-same-role", &["combos", "--rows", "header", "--cols", "header"]);
    shown!(bench, "combos-unknown-role", &["combos", "--rows", "headr", "--cols", "intake"]);
}
