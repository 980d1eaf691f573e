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
fn a_sheet_fits_the_paper() {
    let bench = Bench::demo();
    let said = bench.run(&["sheet", "0418a-05"]);
    for line in said.out.lines().filter(|line| !line.trim_start().starts_with("mulebook ")) {
        assert!(line.chars().count() <= 80, "{line}");
    }
}
