use super::bench::Bench;
use super::bench::trace;
use super::kept;
use super::shown;

#[test]
fn a_form_is_printed_by_the_schema() {
    let bench = Bench::shop();
    shown!(bench, "header", &["form", "header"]);
    shown!(bench, "measure", &["form", "measure", "h2/a"]);
    shown!(bench, "of-build", &["form", "build", "--of", "b1"]);
    shown!(bench, "of-pull", &["form", "pull", "--of", "0412a-02"]);
    let pull = bench.run(&["form", "pull", "0412a"]).done().out;
    assert!(pull.contains("= 0412a\n") && pull.contains("The pull before it is 0412a-02."), "{pull}");
    let next = pull.lines().find(|line| line.contains("number of the pull"));
    assert!(next.is_some_and(|line| line.ends_with("= 3")), "{pull}");
    for (name, arguments) in [
        ("unknown-kind", vec!["form", "gearbox"]),
        ("of-what", vec!["form", "measure"]),
        ("of-both", vec!["form", "build", "b1", "--of", "b1"]),
        ("of-other-kind", vec!["form", "header", "--of", "h2"]),
        ("no-work", vec!["form", "rework", "--of", "h2"]),
    ] {
        shown!(bench, name, &arguments);
    }
    bench.run(&["form", "header", "--html", "../header.html"]).done();
    let page = std::fs::read_to_string(bench.path().join("header.html")).expect("it was written");
    assert!(page.contains("Form <strong>header-") && page.contains("primary"), "{page}");
}

/// A kind of the book's own gives a form with no code, with its number from its own schema.
#[test]
fn a_kind_of_the_books_own_has_a_form() {
    let bench = Bench::shop();
    let schema = include_str!("../../schema/spacer.json");
    let own = schema
        .replace("\"spacer.json\"", "\"heat-shield.json\"")
        .replace("\"const\": \"spacer\"", "\"const\": \"heat-shield\"");
    bench.put("book/schema/heat-shield.json", &own);
    bench.run(&["keep", "-m", "A kind of our own"]).done();
    let printed = bench.run(&["form", "heat-shield"]).done().out;
    assert!(printed.contains("= heat-shield-"), "{printed}");
    bench.put("shield.txt", "tag = hs-1\nheight = 1.5 mm @burette-1\n");
    bench.run(&["form", "heat-shield", "--fill", "../shield.txt"]).done();
    assert!(bench.read("parts/heat-shield/hs-1.yaml").contains("{measured: 1.5 mm, with: burette-1, by: mk"));
}

#[test]
fn a_form_is_keyed_back() {
    let bench = Bench::shop();
    let blank = bench.run(&["form", "header"]).done().out;
    let written = blank
        .replace(
            "tag painted on it *                       = ____",
            "tag painted on it *                       = step-9 ____",
        )
        .replace("how it came                               = ____", "how it came = made here ____");
    bench.put("header.txt", &written);
    shown!(bench, "keyed", &["form", "header", "--fill", "../header.txt"]);
    kept!("form-keyed-file", bench.read("parts/header/step-9.yaml"));
    let measured = "# between two pulls\n2 = jo\n3 = 2026-04-12\nchamber-volume = ? 48 cc; by eye\nheight = .5315 in @burette-1\n";
    bench.put("h2.txt", measured);
    shown!(bench, "keyed-figures", &["form", "measure", "h2/a", "--fill", "../h2.txt"]);
    bench.put("run-3.csv", &trace(3));
    let pull = "1 = 0412a\nas-last = yes\nfile = ../run-3.csv\nair-temperature = 21.4 degC\n";
    bench.put("pull.txt", pull);
    shown!(bench, "keyed-pull", &["form", "pull", "--fill", "../pull.txt"]);
}

#[test]
fn what_cannot_be_keyed_is_refused_with_its_line() {
    let bench = Bench::shop();
    let cases = [
        ("unclear", "tag = x\nthis is a remark\n"),
        ("missing", "tag = x\n999 = 3 mm\nno-such-line = 4\n"),
        ("twice", "1 = x\ntag = y\n"),
        ("unlike", "1 serial or casting number = 0417\n"),
        ("other-form", "form = header-1-0000\ntag = x\n"),
        ("blank", "# nothing yet\n1 = ______\n"),
        ("no-tag", "serial = 0417\n"),
        ("count", "tag = m9\ncylinders = four\n"),
    ];
    for (name, text) in cases {
        bench.put("form.txt", text);
        let kind = if name == "count" { "short-block" } else { "header" };
        shown!(bench, name, &["form", kind, "--fill", "../form.txt"]);
    }
    bench.put("form.txt", "1 = b9\nengine = mule-1\nrefit = perhaps\n");
    shown!(bench, "tick", &["form", "build", "--fill", "../form.txt"]);
    std::fs::write(bench.path().join("bytes.txt"), b"\xff\xfe\x00").expect("a file can be written");
    shown!(bench, "no-text", &["form", "header", "--fill", "../bytes.txt"]);
}

/// Asked line by line: a value that cannot stand there is asked for again, Enter leaves a line blank.
#[test]
fn a_form_asks_line_by_line() {
    let bench = Bench::shop();
    let answers = "\n\n\n\nforty bananas\n48.1 cc\n";
    let said = bench.run_with(&["form", "measure", "h2/a", "--fill"], answers).done();
    assert!(said.out.contains("forty bananas") && said.out.contains("48.1 cc"), "{}", said.out);
}

/// The same as last, for what is not a pull: instruments and fixtures are copied, what was measured never is.
#[test]
fn the_same_as_last() {
    let bench = Bench::shop();
    bench.run(&["measure", "h2/a", "height", "135.0 mm", "--with", "burette-1", "--at", "cold"]).done();
    shown!(bench, "as-last-figure", &["measure", "h2/a", "height", "135.1 mm", "--as-last"]);
    shown!(bench, "as-last-nothing", &["measure", "h2/a", "deck-flatness", "0.02 mm", "--as-last"]);
    shown!(bench, "as-last-session", &["session", "0413a", "--as-last"]);
    shown!(bench, "as-last-build", &["build", "b9", "--as-last", "--set", "spacer=none"]);
    let sheet = ["flow", "-", "--part", "h2", "--port", "inlet:2", "--as-last"];
    shown!(bench, "as-last-no-sheet", &sheet);
    let empty = Bench::new();
    shown!(empty, "as-last-no-session", &["session", "0413a", "--as-last"]);
}

/// A console that counted a run which nobody entered: said with the pull, listed, explained.
#[test]
fn runs_that_a_console_counted_are_asked_about() {
    let bench = Bench::shop();
    bench.put("run-5.csv", &trace(5));
    shown!(bench, "run-gap", &["pull", "../run-5.csv", "--build", "b1"]);
    shown!(bench, "run-gaps", &["gaps", "0412a"]);
    shown!(
        bench,
        "run-gap-said",
        &[
            "correct",
            "0412a",
            "--set",
            "skipped=run-3+run-4",
            "--because",
            "throttle cable came off, no file"
        ]
    );
    shown!(bench, "run-gaps-said", &["gaps", "0412a"]);
    kept!("form-run-gaps-session", bench.read("sessions/0412a.yaml"));
    shown!(bench, "run-gap-again", &["correct", "0412a", "--set", "skipped=run-3", "--because", "again"]);
}

#[test]
fn a_record_is_named_by_its_beginning() {
    let bench = Bench::shop();
    shown!(bench, "beginning-of-several", &["trail", "h"]);
    let said = bench.run(&["measure", "burett", "height", "1 mm"]);
    assert!(said.error.contains("burette-1"), "{}", said.error);
}
