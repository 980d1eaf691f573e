use super::bench::Bench;
use super::shown;

#[test]
fn a_book_that_holds_is_said_to_hold() {
    let bench = Bench::demo();
    shown!(bench, "demo", &["audit"]);
    let bench = Bench::new();
    shown!(bench, "empty", &["audit"]);
}

/// The object file of a blob, writable.
fn object(bench: &Bench, name: &str) -> std::path::PathBuf {
    let id = bench.git(&["rev-parse", name]).trim().to_owned();
    let path = bench.book().join(".git/objects").join(&id[..2]).join(&id[2..]);
    let mut permissions = std::fs::metadata(&path).expect("a loose object").permissions();
    #[expect(clippy::permissions_set_readonly_false, reason = "a file of the test's own, to be damaged")]
    permissions.set_readonly(false);
    std::fs::set_permissions(&path, permissions).expect("a file of the test");
    path
}

#[test]
fn damage_is_found_and_named() {
    let bench = Bench::shop();
    let path = object(&bench, "HEAD:parts/header/long-1.yaml");
    let mut bytes = std::fs::read(&path).expect("an object");
    let last = bytes.len() - 3;
    bytes[last] ^= 0x40;
    std::fs::write(&path, bytes).expect("a file of the test");
    shown!(bench, "object-damaged", &["audit"]);

    let bench = Bench::shop();
    std::fs::remove_file(object(&bench, "HEAD:parts/header/long-1.yaml")).expect("a file of the test");
    shown!(bench, "object-missing", &["audit"]);

    let bench = Bench::shop();
    let raw = bench.git(&["ls-files", "raw"]).lines().next().expect("a raw file").to_owned();
    std::fs::remove_file(object(&bench, &format!("HEAD:{raw}"))).expect("a file of the test");
    std::fs::remove_file(bench.book().join(&raw)).expect("a file of the test");
    shown!(bench, "raw-missing", &["audit"]);

    let bench = Bench::shop();
    let raw = bench.git(&["ls-files", "raw"]).lines().next().expect("a raw file").to_owned();
    bench.put(&format!("book/{raw}"), "other bytes\n");
    shown!(bench, "raw-damaged", &["audit"]);

    let bench = Bench::shop();
    std::fs::write(bench.book().join(".git/refs/heads/side"), "0123456789012345678901234567890123456789\n")
        .expect("a file of the test");
    shown!(bench, "reference-broken", &["audit"]);

    let bench = Bench::shop();
    let before = bench.git(&["rev-parse", "HEAD~1"]);
    std::fs::write(bench.book().join(".git/refs/heads/main"), before).expect("a file of the test");
    shown!(bench, "reference-moved", &["audit"]);
    shown!(bench, "reference-moved-mended", &["mend"]);
    bench.run(&["audit"]).done();

    let bench = Bench::shop();
    bench.put(&format!("book/raw-large/ab/ab{}", "0".repeat(62)), "stray\n");
    shown!(bench, "raw-stray", &["audit"]);
}

#[test]
fn records_that_do_not_hold_are_found_though_git_kept_them() {
    let bench = Bench::shop();
    bench.edit("parts/cylinder-head/h2.yaml", "kind: cylinder-head", "kind: header");
    bench.git(&[
        "-c",
        "user.name=x",
        "-c",
        "user.email=x@example.com",
        "commit",
        "-qam",
        "behind the program's back",
    ]);
    let said = bench.run(&["audit", "--json"]);
    assert_eq!(said.code, 4, "{said:?}");
    let codes: Vec<String> = said.json()["damage"]
        .as_array()
        .expect("damage")
        .iter()
        .map(|found| found["code"].to_string())
        .collect();
    assert!(codes.contains(&"\"name-and-path\"".to_owned()), "{codes:?}");
}

#[test]
fn pulls_that_run_backwards_are_doubted() {
    let bench = Bench::shop();
    bench.put("run-3.csv", &super::bench::trace(3));
    bench.run(&["pull", "../run-3.csv", "--build", "b1", "--at", "2026-04-12T09:00:00+02:00"]).done();
    shown!(bench, "times-backwards", &["audit"]);
}

#[test]
fn a_raw_file_that_git_once_held_is_missed() {
    let bench = Bench::shop();
    let raw = bench.git(&["ls-files", "raw"]).lines().next().expect("a raw file").to_owned();
    bench.git(&["rm", "-q", &raw]);
    bench.git(&["-c", "user.name=mk", "-c", "user.email=", "commit", "-q", "-m", "tidy up"]);
    shown!(bench, "raw-once-held", &["audit"]);
}
