use std::fs;

use sha2::Digest;
use sha2::Sha256;

use super::bench::Bench;
use super::kept;
use super::shown;

const HEAD: &str = "parts/cylinder-head/h2.yaml";

/// The small shop with photos beside its book.
fn shop() -> Bench {
    let bench = Bench::shop();
    bench.put("burette.jpg", "a burette, held up to the light\n");
    bench.put("plate.jpg", "a plate on the deck\n");
    bench.put("again.jpg", "a burette, held up to the light\n");
    bench
}

fn sha256(bytes: &str) -> String {
    Sha256::digest(bytes).iter().map(|byte| format!("{byte:02x}")).collect()
}

fn measured<'a>(more: &[&'a str]) -> Vec<&'a str> {
    let mut words = vec!["measure", "h3/a", "chamber-volume", "43.6 cc", "--with", "burette-1"];
    words.extend(more);
    words
}

#[test]
fn photos_are_kept_beside_the_reading_that_they_show() {
    let bench = shop();
    shown!(bench, "measured", &measured(&["--photo", "../burette.jpg", "--photo", "../plate.jpg"]));
    kept!("photo-file", bench.read("parts/cylinder-head/h3.yaml"));
    assert_eq!(bench.git(&["ls-files", "raw"]).lines().count(), 4, "two raw files, two photos");
    assert_eq!(
        bench.git(&["show", "--stat", "--format=", "HEAD"]).lines().count(),
        4,
        "one commit has all of it"
    );

    // They show that reading; the next has its own.
    shown!(bench, "as-last", &["measure", "h3/a", "chamber-volume", "43.5 cc", "--as-last"]);
    let text = bench.read("parts/cylinder-head/h3.yaml");
    assert_eq!(text.matches("files:").count(), 1, "{text}");

    shown!(
        bench,
        "unknown",
        &["measure", "h3/a", "deck-height", "--unknown", "see the crack", "--photo", "../plate.jpg"]
    );
    shown!(
        bench,
        "condition",
        &["measure", "0412a-01", "conditions.humidity", "40 %", "--photo", "../plate.jpg"]
    );
    shown!(bench, "of-a-cell", &["measure", "tower", "altitude", "321 m", "--photo", "../plate.jpg"]);
    assert_eq!(bench.git(&["ls-files", "raw"]).lines().count(), 4, "the same bytes are kept once");
    bench.run(&["audit"]).done();
}

#[test]
fn a_photo_found_later_goes_beside_the_reading_that_stands() {
    let bench = shop();
    // Pulls rest on this figure: a photo is added to it, and nothing of it is altered.
    shown!(bench, "later", &["measure", "h2", "chamber-volume", "--photo", "../burette.jpg"]);
    shown!(bench, "later-again", &["measure", "h2", "chamber-volume", "--photo", "../again.jpg"]);
    shown!(
        bench,
        "later-and-another",
        &["measure", "h2", "chamber-volume", "--photo", "../again.jpg", "--photo", "../plate.jpg"]
    );
    kept!("photo-later-file", bench.read(HEAD));
    shown!(bench, "later-trail", &["trail", "h2", "chamber-volume"]);

    bench
        .run(&["measure", "h2", "chamber-volume", "48.0 cc", "--with", "burette-1", "--taken", "2026-05-20"])
        .done();
    shown!(
        bench,
        "later-first-entry",
        &["measure", "h2", "chamber-volume", "--entry", "1", "--photo", "../run-1.csv"]
    );
    shown!(bench, "later-stands", &["measure", "h2", "chamber-volume", "--photo", "../plate.jpg"]);
    kept!("photo-later-list", bench.read(HEAD));
    shown!(
        bench,
        "no-such-entry",
        &["measure", "h2", "chamber-volume", "--entry", "3", "--photo", "../plate.jpg"]
    );
    shown!(bench, "no-entry", &["measure", "h2", "inlet-port-volume", "--photo", "../plate.jpg"]);

    bench
        .run(&["measure", "b1", "ignition-timing", "31 deg BTDC", "--with", "lamp-1", "--at", "6000 rpm"])
        .done();
    shown!(bench, "later-setting", &["measure", "0412a-01", "ignition-timing", "--photo", "../plate.jpg"]);
    shown!(bench, "later-cell", &["measure", "tower", "altitude", "--photo", "../plate.jpg"]);
    shown!(
        bench,
        "later-with",
        &["measure", "h2", "chamber-volume", "--with", "burette-1", "--photo", "../plate.jpg"]
    );
    shown!(bench, "entry-and-value", &measured(&["--entry", "1", "--photo", "../plate.jpg"]));
    bench.run(&["audit"]).done();
}

#[test]
fn a_file_that_cannot_be_kept_is_refused_and_nothing_is_entered() {
    let bench = shop();
    bench.put("empty.jpg", "");
    fs::create_dir(bench.path().join("folder")).expect("a folder of the test");
    bench.put("two\nlines.jpg", "a plate\n");
    bench.put("with\\bar.jpg", "a plate\n");
    shown!(bench, "missing", &measured(&["--photo", "../no-such.jpg"]));
    shown!(bench, "folder", &measured(&["--photo", "../folder"]));
    shown!(bench, "empty", &measured(&["--photo", "../empty.jpg"]));
    shown!(bench, "name-lines", &measured(&["--photo", "../two\nlines.jpg"]));
    shown!(bench, "name-bar", &measured(&["--photo", "../with\\bar.jpg"]));
    // The first is good, the second is not: neither is kept.
    shown!(bench, "second-missing", &measured(&["--photo", "../plate.jpg", "--photo", "../no-such.jpg"]));
    assert_eq!(bench.git(&["status", "--porcelain"]), "");
    shown!(
        bench,
        "twice",
        &measured(&["--photo", "../burette.jpg", "--photo", "../again.jpg", "--photo", "../burette.jpg"])
    );
    shown!(bench, "kept-already", &measured(&["--photo", "../run-1.csv"]));
}

#[cfg(unix)]
#[test]
fn a_pipe_is_not_waited_for_and_a_link_is_followed() {
    let bench = shop();
    let made = std::process::Command::new("mkfifo").arg(bench.path().join("pipe.jpg")).status();
    assert!(made.expect("mkfifo is installed").success());
    let said = bench.run(&measured(&["--photo", "../pipe.jpg"]));
    assert_eq!(said.code, 1, "{said:?}");
    assert!(said.error.contains("a device"), "{said:?}");
    std::os::unix::fs::symlink("plate.jpg", bench.path().join("link.jpg")).expect("a link of the test");
    bench.run(&measured(&["--photo", "../link.jpg"])).done();
    let text = bench.read("parts/cylinder-head/h3.yaml");
    assert!(
        text.contains(&format!("{{file: \"link.jpg\", sha256: \"{}\"", sha256("a plate on the deck\n"))),
        "{text}"
    );
}

/// The line of a file beside the chamber volume of h3, written by hand.
fn by_hand(bench: &Bench, files: &str) {
    bench.edit(
        "parts/cylinder-head/h3.yaml",
        "taken: 2026-04-12T15:20:00+02:00}",
        &format!("taken: 2026-04-12T15:20:00+02:00, files: {files}}}"),
    );
}

#[test]
fn a_file_named_by_hand_is_one_that_the_book_has() {
    let fresh = || {
        let bench = shop();
        bench.run(&measured(&[])).done();
        // Kept for another figure: its bytes are in the book.
        bench.run(&["measure", "h2", "chamber-volume", "--photo", "../plate.jpg"]).done();
        bench
    };
    let plate = sha256("a plate on the deck\n");
    let bench = fresh();
    by_hand(&bench, &format!("[{{file: other.jpg, sha256: {}, bytes: 6}}]", sha256("other\n")));
    shown!(bench, "hand-not-kept", &["keep"]);
    let bench = fresh();
    by_hand(&bench, &format!("[{{file: plate.jpg, sha256: {plate}, bytes: 21}}]"));
    shown!(bench, "hand-length", &["keep"]);
    let bench = fresh();
    by_hand(
        &bench,
        &format!(
            "[{{file: plate.jpg, sha256: {plate}, bytes: 20}}, {{file: p.jpg, sha256: {plate}, bytes: 20}}]"
        ),
    );
    shown!(bench, "hand-twice", &["keep"]);
    let bench = fresh();
    by_hand(&bench, &format!("[{{file: ../plate.jpg, sha256: {plate}, bytes: 20}}]"));
    shown!(bench, "hand-name", &["keep"]);
    let bench = fresh();
    by_hand(&bench, "[{file: plate.jpg, sha256: 12ab, bytes: 20}]");
    shown!(bench, "hand-digest", &["keep"]);
    let bench = fresh();
    by_hand(&bench, "[]");
    shown!(bench, "hand-none", &["keep"]);
    let bench = fresh();
    by_hand(&bench, &format!("[{{file: plate.jpg, sha256: {plate}, bytes: 20}}]"));
    shown!(bench, "hand-kept", &["keep"]);
    bench.run(&["audit"]).done();

    // Beside a figure that pulls rest on a file may be added; none is taken away.
    let line = format!(", files: [{{file: \"plate.jpg\", sha256: \"{plate}\", bytes: 20}}]");
    bench.edit(HEAD, &line, "");
    shown!(bench, "hand-taken-away", &["keep"]);
}

#[test]
fn damage_of_a_photo_is_told_by_the_figure_that_it_shows() {
    let bench = shop();
    bench.run(&["measure", "h2", "chamber-volume", "--photo", "../plate.jpg"]).done();
    shown!(bench, "sheet", &["sheet", "b1"]);
    bench.run(&["page", "b1", "--out", "../sheet.html"]).done();
    let page = fs::read_to_string(bench.path().join("sheet.html")).expect("a page");
    assert!(page.contains("shown by plate.jpg"), "{page}");
    shown!(bench, "trail-by-name", &["trail", "plate.jpg"]);
    let plate = sha256("a plate on the deck\n");
    shown!(bench, "trail-by-hash", &["trail", &plate[..10].to_uppercase()]);
    let raw = format!("raw/{}/{plate}", &plate[..2]);
    let whole = bench.read(&raw);
    fs::remove_file(bench.book().join(&raw)).expect("a file of the test");
    bench.put(&format!("book/{raw}"), "other bytes\n");
    shown!(bench, "damaged-audit", &["audit"]);
    let sheet = bench.run(&["sheet", "b1"]);
    assert_eq!(sheet.code, 4, "{sheet:?}");
    assert!(sheet.out.contains("DOES NOT HOLD"), "{sheet:?}");
    shown!(bench, "damaged-mended", &["mend"]);
    assert_eq!(bench.read(&raw), whole);
    bench.run(&["audit"]).done();
}

#[test]
fn a_correction_has_a_photo_of_its_own() {
    let bench = shop();
    bench
        .run(&[
            "measure",
            "0412a-01",
            "conditions.humidity",
            "40 %",
            "--with",
            "burette-1",
            "--photo",
            "../burette.jpg",
        ])
        .done();
    shown!(
        bench,
        "corrected",
        &[
            "correct",
            "0412a-01",
            "--set",
            "humidity=46 %",
            "--because",
            "misread",
            "--with",
            "burette-1",
            "--photo",
            "../plate.jpg"
        ]
    );
    let pull = bench.read("builds/b1/pulls/0412a-01.yaml");
    assert_eq!(pull.matches("files: [").count(), 2, "{pull}");
    shown!(bench, "corrected-trail", &["trail", "0412a-01", "humidity"]);
    shown!(bench, "corrected-trail-file", &["trail", "plate.jpg"]);
    shown!(bench, "beside-corrected", &["measure", "0412a-01", "humidity", "--photo", "../run-1.csv"]);
    bench.run(&["measure", "0412a-01", "humidity", "--entry", "1", "--photo", "../run-1.csv"]).done();
    let said = bench.run(&["sheet", "0412a-01"]).done();
    assert!(
        said.out.contains("shown by plate.jpg") && !said.out.contains("shown by burette.jpg"),
        "{said:?}"
    );
    shown!(
        bench,
        "corrected-role",
        &["correct", "0412a-01", "--set", "spacer=none", "--because", "seen", "--photo", "../plate.jpg"]
    );
    shown!(
        bench,
        "corrected-several",
        &[
            "correct",
            "0412a-01..02",
            "--set",
            "humidity=46 %",
            "--because",
            "misread",
            "--photo",
            "../plate.jpg"
        ]
    );
    bench.run(&["audit"]).done();
}

#[test]
fn a_setting_that_another_build_has_too_keeps_what_shows_it() {
    let bench = shop();
    bench.run(&["measure", "b1", "ignition-timing", "--photo", "../plate.jpg"]).done();
    bench.run(&["build", "b3", "--from", "b1", "--set", "spacer=sp-25"]).done();
    let line = |name: &str| {
        let text = bench.read(&format!("builds/{name}/build.yaml"));
        text.lines().find(|line| line.contains("files: [")).expect("a photo").to_owned()
    };
    assert_eq!(line("b3"), line("b1"));
    bench.run(&["audit"]).done();
}

#[test]
fn a_photo_that_git_once_held_is_missed_at_its_figure() {
    let bench = shop();
    bench.run(&["measure", "h2", "chamber-volume", "--photo", "../plate.jpg"]).done();
    let plate = sha256("a plate on the deck\n");
    let raw = format!("raw/{}/{plate}", &plate[..2]);
    bench.git(&["rm", "--quiet", &raw]);
    bench.git(&["-c", "user.name=x", "-c", "user.email=x", "commit", "--quiet", "-m", "Tidied up"]);
    shown!(bench, "missing-audit", &["audit"]);
}

#[test]
fn a_large_photo_that_is_missing_comes_back_from_another_copy() {
    let bench = shop();
    bench.edit("book.yaml", "format: 1\n", "format: 1\nraw-limit: 8 B\n");
    bench.run(&["keep"]).done();
    bench.run(&["measure", "h2", "chamber-volume", "--photo", "../plate.jpg"]).done();
    bench.run(&["measure", "tower", "altitude", "--photo", "../burette.jpg"]).done();
    let plate = sha256("a plate on the deck\n");
    let large = bench.book().join("raw-large").join(&plate[..2]).join(&plate);
    assert!(large.is_file());
    let backup = bench.path().join("backup");
    super::collect::copy(&bench.book(), &backup, &|_| true);
    fs::remove_dir_all(bench.book().join("raw-large")).expect("a folder of the test");
    shown!(bench, "not-here-audit", &["audit"]);
    shown!(bench, "not-here-sheet", &["sheet", "b1"]);
    // The record may be written on where the photo is not.
    bench.run(&["measure", "h2", "chamber-volume", "48.0 cc", "--with", "burette-1"]).done();
    shown!(bench, "not-here-mended", &["mend", "--from", "../backup"]);
    assert!(large.is_file());
    bench.run(&["audit"]).done();
}
