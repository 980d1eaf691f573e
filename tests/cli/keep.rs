use super::bench::Bench;
use super::kept;
use super::shown;

const HEAD: &str = "parts/cylinder-head/h2.yaml";

#[test]
fn a_hand_edit_is_checked_and_kept() {
    let bench = Bench::shop();
    bench.put("book/parts/spacer/sp-30.yaml", "# yaml-language-server: $schema=../../.schema/spacer.json\npart: sp-30\nkind: spacer\nstates:\n  - state: a\n    since: 2026-04-01\n    figures:\n      height: {measured: 30.0 mm, by: mk, taken: 2026-04-01}   # with my own calliper\n");
    shown!(bench, "new-file", &["keep", "-m", "spacer copied from the binder"]);
    assert!(bench.read("parts/spacer/sp-30.yaml").contains("# with my own calliper"));
    shown!(bench, "nothing", &["keep"]);
}

/// One hand edit for each thing that can be wrong with a manifest: its name, the new text of the head's file.
fn broken() -> Vec<(&'static str, Vec<u8>)> {
    let head = "part: h2\nkind: cylinder-head\nserial: \"0417\"\n";
    let state = "states:\n  - state: a\n    since: 2026-03-01\n    figures:\n";
    let with = |figure: &str| format!("{head}{state}      {figure}\n").into_bytes();
    let deep = format!("{head}note: {}1{}\n", "[".repeat(40), "]".repeat(40));
    let mut not_utf8 = head.as_bytes().to_vec();
    not_utf8.extend(b"note: \xff\n");
    vec![
        ("tab", format!("{head}states:\n\t- state: a\n").into_bytes()),
        ("open-quote", format!("{head}note: \"open\nstates: 1\n").into_bytes()),
        ("empty-file", Vec::new()),
        ("not-utf-8", not_utf8),
        ("byte-order-mark", format!("\u{feff}{head}").into_bytes()),
        ("control-character", format!("{head}note: \u{1b}[31m\n").into_bytes()),
        ("key-twice", format!("{head}kind: header\n").into_bytes()),
        ("key-not-text", format!("{head}? [a]\n: 1\n").into_bytes()),
        ("anchor", format!("{head}note: &x 1\n").into_bytes()),
        ("merge-key", format!("{head}never: {{<<: 1}}\n").into_bytes()),
        ("tag", format!("{head}note: !!binary aGk=\n").into_bytes()),
        ("directive", format!("%YAML 1.2\n---\n{head}").into_bytes()),
        ("second-document", format!("{head}---\npart: h3\n").into_bytes()),
        ("too-deep", deep.into_bytes()),
        ("too-long", vec![b'#'; (1 << 20) + 1]),
        ("no-states", head.as_bytes().to_vec()),
        ("unknown-field", format!("{head}colour: red\n{state}      {{}}\n").into_bytes()),
        ("unknown-figure", with("colour: {measured: red, by: mk, taken: 2026-03-02}")),
        ("unquoted-comma", with("inlet-valve: {listed: 33.0 mm, source: seller, sheet}")),
        ("no-way", with("inlet-valve: {by: mk}")),
        ("two-ways", with("inlet-valve: {listed: 33 mm, assumed: 34 mm, source: x, because: y}")),
        ("wrong-type", with("inlet-valve: 33")),
        ("no-unit", with("inlet-valve: {listed: 33.0, source: \"x\"}")),
        ("wrong-unit", with("inlet-valve: {listed: 33.0 cc, source: \"x\"}")),
        ("comma", with("inlet-valve: {listed: \"33,0 mm\", source: \"x\"}")),
        ("no-source", with("inlet-valve: {listed: 33.0 mm}")),
        ("empty-reason", with("inlet-valve: {unknown: \"\"}")),
        ("corrects-nothing", with("inlet-valve: {listed: 33.0 mm, source: \"x\", corrects: 4, because: \"y\"}")),
        ("not-a-date", with("inlet-valve: {measured: 33.0 mm, by: mk, taken: 2026-02-30}")),
        ("form-of-date", with("inlet-valve: {measured: 33.0 mm, by: mk, taken: 2.3.2026}")),
        ("implausible", with("inlet-valve: {listed: 330 mm, source: \"x\"}")),
        ("form-of-tag", b"part: \"h 2\"\nkind: cylinder-head\nstates: []\n".to_vec()),
        ("name-and-path", b"part: h7\nkind: cylinder-head\nstates:\n  - state: a\n    since: 2026-03-01\n    figures: {}\n".to_vec()),
        ("kind-and-path", b"part: h2\nkind: header\nstates:\n  - state: a\n    since: 2026-03-01\n    figures: {}\n".to_vec()),
        ("unknown-kind", b"part: h2\nkind: flux\nstates:\n  - state: a\n    since: 2026-03-01\n    figures: {}\n".to_vec()),
        ("state-twice", format!("{head}states:\n  - {{state: a, since: 2026-03-01, figures: {{}}}}\n  - {{state: a, since: 2026-03-02, figures: {{}}}}\n").into_bytes()),
        ("states-out-of-order", format!("{head}states:\n  - {{state: a, since: 2026-03-03, figures: {{}}}}\n  - {{state: b, since: 2026-03-02, figures: {{}}}}\n").into_bytes()),
        ("unknown-work", format!("{head}states:\n  - {{state: a, since: 2026-03-01, figures: {{}}}}\n  - {{state: b, since: 2026-03-02, work: [{{op: polish}}], figures: {{}}}}\n").into_bytes()),
        ("where", format!("{head}where: gone\n{state}      {{}}\n").into_bytes()),
        ("never-on-a-head", format!("{head}never: [{{roles: [blower], by: mk, on: 2026-03-01}}]\n{state}      {{}}\n").into_bytes()),
    ]
}

#[test]
fn a_manifest_that_does_not_hold_is_not_kept() {
    let bench = Bench::shop();
    let before = bench.head();
    let mut shown = String::new();
    for (name, bytes) in broken() {
        std::fs::write(bench.book().join(HEAD), &bytes).expect("a file can be written");
        let text = bench.run(&["keep"]);
        let json = bench.run(&["keep", "--json"]);
        assert_eq!((text.code, json.code), (1, 1), "{name} was kept: {}", text.out);
        super::bench::checked(&format!("keep-{name}"), &json.out);
        assert_eq!(bench.head(), before, "{name}");
        assert_eq!(
            std::fs::read(bench.book().join(HEAD)).expect("still there"),
            bytes,
            "{name}: the edit stays"
        );
        shown.push_str(&format!("== {name}\n{}", text.error));
        for finding in json.json()["findings"].as_array().into_iter().flatten() {
            shown.push_str(&format!("\"code\": {}\n", finding["code"]));
        }
        shown.push('\n');
    }
    kept!("keep-broken", shown);
}

#[test]
fn the_other_records_are_checked_alike() {
    let bench = Bench::shop();
    let pull = "builds/b1/pulls/0412a-01.yaml";
    bench.edit(pull, "order: 1", "order: 4");
    shown!(bench, "pull-number", &["keep"]);
    bench.git(&["checkout", "--", "."]);
    bench.edit(pull, "session: 0412a", "session: 0499a");
    shown!(bench, "session-missing", &["keep"]);
    bench.git(&["checkout", "--", "."]);
    bench.edit("book.yaml", "format: 1", "format: 9");
    shown!(bench, "book-format", &["keep"]);
    bench.git(&["checkout", "--", "."]);
    bench.edit("book.yaml", "+02:00", "Berlin");
    shown!(bench, "book-zone", &["keep"]);
    bench.git(&["checkout", "--", "."]);
    bench.edit(
        "book.yaml",
        "# documented: [\"role:ignition\", \"setting:plug-gap\"]",
        "documented: [\"role:flux\"]",
    );
    shown!(bench, "book-demand", &["keep"]);
    bench.git(&["checkout", "--", "."]);
    bench.edit("columns/tower-1.yaml", "columns: tower-1", "columns: tower-1\ncolour: red");
    shown!(bench, "columns", &["keep"]);
    bench.git(&["checkout", "--", "."]);
    bench.put("book/builds/b1/pulls/0412a-09.yaml", &bench.read(pull));
    shown!(bench, "pull-twice", &["keep"]);
    std::fs::remove_file(bench.book().join("builds/b1/pulls/0412a-09.yaml")).expect("just written");
    bench.put(
        "book/parts/header/h2.yaml",
        "part: h2\nkind: header\nstates:\n  - state: a\n    since: 2026-03-01\n    figures: {}\n",
    );
    shown!(bench, "tag-twice", &["keep"]);
    std::fs::remove_file(bench.book().join("parts/header/h2.yaml")).expect("just written");
    bench.put("book/schema/flux.json", "{\"not\": ");
    shown!(bench, "schema-not-json", &["keep"]);
    bench.put("book/schema/flux.json", "{\"$id\": \"flux.json\", \"title\": \"flux\", \"x-record\": \"part\", \"x-version\": 1, \"$defs\": {\"figures\": {\"properties\": {\"glow\": {\"$ref\": \"figure.json\", \"title\": \"glow\", \"description\": \"g\", \"x-quantity\": \"wetness\"}}}}}");
    shown!(bench, "schema-annotation", &["keep"]);
    std::fs::remove_file(bench.book().join("schema/flux.json")).expect("just written");
    bench.put("book/schema/header.json", "{}");
    shown!(bench, "schema-name-taken", &["keep"]);
}

#[test]
fn history_is_not_altered() {
    let bench = Bench::shop();
    bench.edit("builds/b1/build.yaml", "long-1/a", "none");
    shown!(bench, "build-with-pulls", &["keep"]);
    bench.git(&["checkout", "--", "."]);
    bench.edit("builds/b1/pulls/0412a-01.yaml", "by: mk", "by: jo");
    shown!(bench, "pull", &["keep"]);
    bench.git(&["checkout", "--", "."]);
    bench.edit(HEAD, "48.1 48.0 48.3 48.2", "47.1 47.0 47.3 47.2");
    shown!(bench, "figure-under-pulls", &["keep"]);
    bench.git(&["checkout", "--", "."]);
    std::fs::remove_file(bench.book().join(HEAD)).expect("it was there");
    shown!(bench, "part-removed", &["keep"]);
    bench.git(&["checkout", "--", "."]);
    std::fs::remove_file(bench.book().join("builds/b1/pulls/0412a-02.yaml")).expect("it was there");
    shown!(bench, "pull-removed", &["keep"]);
}

#[test]
fn a_pending_edit_stops_the_command_that_would_touch_it() {
    let bench = Bench::shop();
    bench.edit(HEAD, "serial: \"0417\"", "serial: \"0418\"");
    shown!(bench, "pending-stops", &["measure", "h2/a", "inlet-port-volume", "--unknown", "no stand"]);
    shown!(bench, "pending-elsewhere", &["measure", "h3/a", "inlet-port-volume", "--unknown", "no stand"]);
    assert!(bench.read(HEAD).contains("0418"), "the edit stays pending");
    shown!(bench, "pending-named", &["gaps", "0412a-01"]);
}

#[cfg(unix)]
#[test]
fn a_link_in_the_place_of_a_file_is_refused() {
    let bench = Bench::shop();
    std::fs::remove_file(bench.book().join(HEAD)).expect("it was there");
    std::os::unix::fs::symlink("/dev/null", bench.book().join(HEAD)).expect("links can be made");
    let said = bench.run(&["keep", "--json"]);
    assert_eq!(said.code, 1, "{said:?}");
    kept!("keep-link", said.out);
}

/// What a book's schemas say decides who may write in it.
#[test]
fn a_book_of_other_schemas_is_read_and_written_only_after_they_were_taken_over() {
    let bench = Bench::shop();
    let spacer = ".schema/spacer.json";
    let ours = bench.read(spacer);
    let others = |from: &str, to: &str| {
        std::fs::write(bench.book().join(spacer), ours.replace(from, to)).expect("a file can be written");
    };
    let as_another = |arguments: &[&str]| {
        bench.git(&[&["-c", "user.name=another", "-c", "user.email=another@example.org"], arguments].concat())
    };
    others("\"title\": \"", "\"title\": \"By hand: ");
    shown!(bench, "schema-by-hand", &["keep"]);
    bench.git(&["checkout", "-q", "--", spacer]);
    shown!(bench, "schemas-the-same", &["keep", "--schemas"]);

    others("\"x-version\": 1,", "\"x-version\": 0,");
    bench.git(&["rm", "-q", ".schema/oil.json"]);
    as_another(&["commit", "-q", "-a", "-m", "As another program left it"]);
    let before = bench.head();
    shown!(bench, "schemas-older", &["measure", "h2/a", "note", "x"]);
    assert_eq!(bench.run(&["gaps", "b1"]).code, 0, "reading goes on");
    std::fs::write(bench.book().join(HEAD), "part: h2\nkind: cylinder-head\ncolour: red\n").expect("written");
    as_another(&["commit", "-q", "-m", "A record that does not hold", HEAD]);
    shown!(bench, "schemas-not-held", &["keep", "--schemas"]);
    as_another(&["revert", "--no-edit", "HEAD"]);
    let taken = bench.run(&["keep", "--schemas"]).done();
    assert!(taken.out.contains("version 0 -> version 1"), "{}", taken.out);
    assert_eq!(bench.read(spacer), ours);
    assert_eq!(bench.git(&["diff", "--name-only", "HEAD~1"]).trim(), ".schema/oil.json\n.schema/spacer.json");
    assert_eq!(bench.git(&["status", "--porcelain"]), "");
    as_another(&["revert", "--no-edit", "HEAD"]);
    assert_eq!(bench.git(&["diff", "--stat", &before]), "", "taken back");

    others("\"x-version\": 1,", "\"x-version\": 7,");
    as_another(&["commit", "-q", "-a", "-m", "As a newer program left it"]);
    shown!(bench, "schemas-newer", &["keep", "--schemas"]);
    assert_eq!(bench.run(&["gaps", "b1"]).code, 0, "reading goes on");
}
