use sha2::Digest;
use sha2::Sha256;

use super::bench::Bench;
use super::kept;
use super::shown;

fn written(bench: &Bench, arguments: &[&str]) -> String {
    let mut all = vec!["page"];
    all.extend(arguments);
    all.extend(["--out", "page.html"]);
    bench.run(&all).done();
    let html = bench.read("page.html");
    std::fs::remove_file(bench.book().join("page.html")).expect("it was written");
    html
}

#[test]
fn a_page_shows_what_the_terminal_shows() {
    let bench = Bench::demo();
    let shown = written(&bench, &["0411a-03", "0418a-05", "--subject", "header"]);
    for words in ["measured afterwards", "sp-12/a", "SAE J1349", "carbon monoxide", "head gasket"] {
        assert!(shown.contains(words), "{words}");
    }
    let sheet = written(&bench, &["0418a-05"]);
    assert!(sheet.contains("43.6 43.6 43.5 43.6 ±0.2 cc") && sheet.contains("carbon monoxide"));
    assert!(sheet.contains("Near each speed") && sheet.contains("volumetric efficiency"), "derived figures");
    for page in [&shown, &sheet] {
        assert!(page.len() < 400_000);
        // Nothing to fetch, and no handler in the markup.
        for word in ["http", "src=", "href=", "url(", "@import", "onclick"] {
            assert!(!page.contains(word), "{word}");
        }
    }
    bench.run(&["page", "b1"]).done();
    assert!(bench.read("sheet-b1.html").contains("Sheet of the build b1"));
}

#[test]
fn a_page_is_never_in_the_way_of_another_and_shows_nothing_that_is_refused() {
    let bench = Bench::shop();
    shown!(bench, "refused", &["page", "1", "b1"]);
    bench.run(&["build", "b2", "--from", "b1", "--set", "cylinder-head=h3/a"]).done();
    let refused = bench.run(&["page", "b1", "b2", "--out", "no.html"]);
    assert_eq!(refused.code, 3);
    let page = bench.read("no.html");
    kept!("page-refusal", &page);
    assert!(
        page.contains("the comparison was refused")
            && !page.contains("<svg")
            && !page.contains("Torque and power,")
    );
    let refused = bench.run(&["page", "weigh", "--base", "1", "--test", "b1", "--out", "neither.html"]);
    assert_ne!(refused.code, 0, "{refused:?}");
    bench.put("book/mine.html", "mine");
    let there = bench.run(&["page", "b1", "--out", "mine.html"]);
    assert_eq!((there.code, bench.read("mine.html").as_str()), (1, "mine"));
    shown!(bench, "no-name", &["page", "b1", "--out", ".."]);
}

#[test]
fn a_claim_that_is_refused_is_a_page_of_the_refusal() {
    let bench = Bench::shop();
    bench
        .run(&["claim", "careless", "--says", "It gains.", "--base", "0412a-01", "--test", "0412a-02"])
        .done();
    for arguments in [["page", "claim", "careless"].as_slice(), &["page", "weigh", "--claim", "careless"]] {
        let refused = bench.run(&[arguments, &["--out", "page.html"]].concat());
        assert_eq!(refused.code, 3, "{refused:?}");
        let page = bench.read("page.html");
        assert!(page.contains("The comparison is refused") && page.contains("What closes it"));
        assert!(
            !page.contains("Nothing that the book knows of") && !page.contains("<svg"),
            "no verdict, no curve"
        );
        std::fs::remove_file(bench.book().join("page.html")).expect("it was written");
    }
}

#[test]
fn a_page_is_of_what_is_kept_and_tells_what_is_not() {
    let bench = Bench::demo();
    let sides = ["--base", "0411a-01..03", "--test", "0411a-04..06"];
    shown!(bench, "of-pending", &[["page", "weigh"].as_slice(), &sides, &["--pending"]].concat());
    let combos = ["page", "combos", "--rows", "header", "--cols", "intake", "--pending"];
    assert_eq!(bench.run(&combos).code, 2);
    let told = "edits that are not kept would change it: builds/b1/build.yaml";
    assert!(!written(&bench, &["0411a-01"]).contains(told));
    let build = bench.read("builds/b1/build.yaml");
    bench.put("book/builds/b1/build.yaml", &format!("{build}\n# seen again\n"));
    for about in [["0411a-01"].as_slice(), &["0411a-01", "0411a-04"], &["--booklet", "0411a-01"]] {
        assert!(written(&bench, about).contains(told), "{about:?}");
    }
    let weighed = written(&bench, &[["weigh"].as_slice(), &sides].concat());
    assert!(weighed.contains(told));
}

#[test]
fn a_weighing_is_drawn_with_every_repeat_and_its_band() {
    let bench = Bench::demo();
    let sides = ["--base", "0411a-01..03", "0411a-09..10", "--test", "0411a-04..06", "--least", "3 N·m"];
    let page = written(&bench, &[&["weigh"], sides.as_slice()].concat());
    for words in [
        "A gain of at least 3.00 N·m",
        "What is not known",
        "What would settle most",
        "undecided",
        "carbon monoxide",
    ] {
        assert!(page.contains(words), "{words}");
    }
    for pull in ["0411a-01", "0411a-09", "0411a-06"] {
        assert_eq!(page.matches(&format!("data-pull=\"{pull}\"")).count(), 2, "torque and power of {pull}");
    }
    assert!(page.len() < 400_000, "{}", page.len());
    shown!(bench, "plan", &["page", "weigh", "--plan", "--detect", "4 hp"]);
    let answer =
        bench.run(&[&["page", "weigh"], sides.as_slice(), &["--json", "--out", "json.html"]].concat()).done();
    let again = bench.run(&[&["weigh"], sides.as_slice(), &["--json"]].concat()).done();
    let hash: String =
        Sha256::digest(again.out.as_bytes()).iter().map(|byte| format!("{byte:02x}")).collect();
    assert_eq!(answer.json()["sha256"], hash.as_str());
    assert!(page.contains(&hash), "the foot names the hash of what `weigh --json` answers");
    assert!(page.contains("mulebook weigh --base 0411a-01..03 0411a-09..10 --test 0411a-04..06 --least &#39;3 N·m&#39; --json") || page.contains("--least '3 N·m' --json"));
}

/// A page says of which day it is, and the hash at its foot is that of what the command beside it answers.
#[test]
fn a_page_as_known_on_a_day_says_so_and_can_be_had_again() {
    let bench = Bench::demo();
    let known = ["--known-on", "2026-04-20"];
    let asked: [&[&str]; 3] = [
        &["weigh", "--base", "0411a-01..03", "--test", "0411a-04..06"],
        &["combos", "--rows", "header", "--cols", "intake"],
        &["trail", "h2"],
    ];
    for words in asked {
        let page = written(&bench, &[words, &known].concat());
        assert!(page.contains("As known on 2026-04-20"), "{words:?}");
        let again = bench.run(&[words, &known, &["--json"]].concat()).done();
        let hash: String =
            Sha256::digest(again.out.as_bytes()).iter().map(|byte| format!("{byte:02x}")).collect();
        assert!(page.contains(&hash), "{words:?}");
        assert!(!written(&bench, words).contains("As known on"), "{words:?}");
    }
}

/// What must be seen to before the engine is put together stands on paper too.
#[test]
fn pages_of_a_sheet_say_what_does_not_go_together() {
    let bench = Bench::demo();
    for page in [["b4"].as_slice(), &["b4", "--one-page"]] {
        let page = written(&bench, page);
        assert!(page.contains("Before bolting on") && page.contains("stand too far apart"));
    }
}

/// A record may come from anybody: markup, quotes, marks that turn the reading direction, very long words.
#[test]
fn nothing_in_a_record_breaks_a_page() {
    let bench = Bench::shop();
    let long = "w".repeat(3000);
    let note = format!("</style><script>alert(1)</script> \\u202Eturned \\\" & ' {long}");
    bench.put("book/parts/spacer/sp-30.yaml", &format!("part: sp-30\nkind: spacer\nname: \"{note}\"\nstates:\n  - state: a\n    since: 2026-04-01\n    how: \"{note}\"\n    figures: {{}}\n"));
    bench.run(&["keep", "-m", "from elsewhere"]).done();
    bench.run(&["build", "b2", "--from", "b1", "--set", "spacer=sp-30/a"]).done();
    let page = written(&bench, &["b2"]);
    assert_eq!(page.matches("<script>").count(), 1, "ours alone");
    assert_eq!(page.matches("</style>").count(), 1);
    assert!(page.contains("&lt;script&gt;alert(1)") && !page.contains('\u{202e}'));
}

#[test]
fn an_engine_s_baseline_has_no_page() {
    let bench = Bench::demo();
    let refused = bench.run(&["page", "trail", "mule-1", "--baseline"]);
    assert_eq!(refused.code, 2, "{refused:?}");
}

#[test]
fn ten_thousand_rows_are_a_page_like_any_other() {
    let bench = Bench::demo();
    let mut typed = String::from("lift mm  flow cfm\n");
    for row in 1..=10_000 {
        let lift = f64::from(row) / 1000.0;
        typed.push_str(&format!("{lift:.3} {:.2}\n", 150.0 * lift / (3.0 + lift)));
    }
    let conditions = [
        "test-pressure=28 inH2O",
        "bore-fixture=86 mm",
        "entry=radius plate",
        "correction=as-read",
        "leakage=0.8 cfm",
        "calibration-plate=0.997",
    ];
    let mut entry = vec!["flow", "-", "--part", "h2/a", "--port", "inlet:1", "--with", "rule-1"];
    entry.extend(conditions.iter().flat_map(|condition| ["--set", condition]));
    bench.run_with(&entry, &typed).done();
    let page = written(&bench, &["h2a-in1-1"]);
    assert!(page.matches("<tr>").count() > 10_000, "every row is there");
    assert!(page.contains("<svg") && page.len() < 4_000_000, "{} bytes", page.len());
}
