use super::bench::Bench;
use super::kept;
use super::shown;

#[test]
fn an_empty_book_explains_itself() {
    let bench = Bench::empty();
    shown!(bench, ".", "book", &["new", "book", "--name", "Hill-climb four", "--zone", "+02:00"]);
    kept!("new-files", bench.read("book.yaml") + "---\n" + &bench.read("people.yaml"));
    assert!(bench.read(".schema/cylinder-head.json").contains("chamber-volume"));
    assert_eq!(bench.git(&["status", "--porcelain"]), "");
}

#[test]
fn a_folder_that_is_taken_is_refused() {
    let bench = Bench::new();
    shown!(bench, ".", "over-a-book", &["new", "book"]);
    let bench = Bench::empty();
    bench.put("full/book.yaml", "mine\n");
    shown!(bench, ".", "over-a-file", &["new", "full"]);
    assert_eq!(std::fs::read_to_string(bench.path().join("full/book.yaml")).expect("still there"), "mine\n");
}

#[test]
fn a_zone_that_is_none_is_refused() {
    let bench = Bench::empty();
    shown!(bench, ".", "bad-zone", &["new", "book", "--zone", "Berlin"]);
    assert!(!bench.book().join("book.yaml").exists(), "a book with a page that does not hold was made");
}
