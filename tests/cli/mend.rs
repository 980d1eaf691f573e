use super::bench::Bench;
use super::shown;

/// Where a git object's own file is.
fn object(bench: &Bench, name: &str) -> std::path::PathBuf {
    let id = bench.git(&["rev-parse", name]).trim().to_owned();
    bench.book().join(".git/objects").join(&id[..2]).join(&id[2..])
}

#[test]
fn a_whole_book_needs_no_mending() {
    let bench = Bench::shop();
    shown!(bench, "whole", &["mend"]);
}

#[test]
fn what_is_lost_comes_back_from_another_copy() {
    let bench = Bench::shop();
    bench.git(&["clone", "--quiet", "--no-hardlinks", ".", "../backup"]);
    for name in ["HEAD:builds/b1/pulls", "HEAD:parts/header/long-1.yaml"] {
        std::fs::remove_file(object(&bench, name)).expect("a file of the test");
    }
    std::fs::remove_file(bench.book().join("parts/header/long-1.yaml")).expect("a file of the test");
    let said = bench.run(&["gaps", "b1", "--json"]);
    assert_eq!((said.code, &said.json()["findings"][0]["code"]), (4, &"evidence-damaged".into()), "{said:?}");
    shown!(bench, "alone", &["mend"]);
    shown!(bench, "from-copy", &["mend", "--from", "../backup"]);
    bench.run(&["audit"]).done();
}

#[test]
fn a_raw_file_comes_back_from_the_commit_and_its_edit_is_not_kept() {
    let bench = Bench::shop();
    let raw = bench.git(&["ls-files", "raw"]).lines().next().expect("a raw file").to_owned();
    let path = bench.book().join(&raw);
    std::fs::remove_file(&path).expect("a file of the test");
    std::fs::write(&path, "other bytes\n").expect("a file of the test");
    shown!(bench, "raw-edited", &["keep"]);
    shown!(bench, "raw", &["mend"]);
    bench.run(&["audit"]).done();
}

#[test]
fn the_index_and_what_lies_about() {
    let bench = Bench::shop();
    bench.put("book/.git/index", "not an index at all, but long enough to look like one");
    bench.put("book/builds/b1/.mulebook-77-3.part", "half");
    shown!(bench, "index-damaged", &["audit"]);
    shown!(bench, "index", &["mend"]);
    shown!(bench, "clean", &["mend", "--clean"]);
}

#[test]
fn a_damaged_pack_is_found() {
    let bench = Bench::shop();
    bench.git(&["gc", "--quiet"]);
    let folder = bench.book().join(".git/objects/pack");
    let pack = std::fs::read_dir(&folder)
        .expect("packs")
        .map(|entry| entry.expect("a pack").path())
        .find(|path| path.extension().is_some_and(|ending| ending == "pack"))
        .expect("a pack");
    let mut bytes = std::fs::read(&pack).expect("a pack");
    let last = bytes.len() - 1;
    bytes[last] ^= 1;
    std::fs::remove_file(&pack).expect("a file of the test");
    std::fs::write(&pack, bytes).expect("a file of the test");
    let said = bench.run(&["audit", "--json"]);
    assert_eq!(said.code, 4, "{said:?}");
    assert_eq!(said.json()["damage"][0]["code"], "pack-damaged");
}

#[test]
fn a_copy_that_is_none() {
    let bench = Bench::shop();
    shown!(bench, "no-copy", &["mend", "--from", ".."]);
}
