use super::bench::Bench;
use super::shown;

/// A sheet of one port: conditions above, lifts in mm, flow in cfm.
const SHEET: &str = "Test pressure: 28 inH2O\nBore fixture: 86 mm\nEntry: radius plate\n\nLift (mm),Flow (cfm)\n\
2.0,41.2\n4.0,80.6\n6.0,112.4\n8.0,134.1\n10.0,148.9\n";

/// What a sheet needs beside its file to be compared.
const DOCUMENTED: [&str; 8] = [
    "--set",
    "correction=as-read",
    "--set",
    "leakage=0.8 cfm",
    "--set",
    "calibration-plate=0.997",
    "--with",
    "plate-1",
];

fn enter(bench: &Bench, file: &str, more: &[&str]) {
    let mut arguments = vec!["flow", file, "--part", "h2"];
    arguments.extend(more);
    bench.run(&arguments).done();
}

#[test]
fn a_sheet_is_taken_in() {
    let bench = Bench::shop();
    bench.put("sheet.csv", SHEET);
    shown!(bench, "entered", &["flow", "../sheet.csv", "--part", "h2", "--port", "inlet:2"]);
    let text = bench.read("flow/h2a-in2-1.yaml");
    insta::assert_snapshot!("flow-entered-file", text);
    shown!(bench, "same-again", &["flow", "../sheet.csv", "--part", "h2", "--port", "inlet:2"]);
    let kept = bench.git(&["ls-files", "raw"]);
    assert!(kept.lines().any(|path| bench.read(path) == SHEET), "the bytes as they came");
}

#[test]
fn what_is_typed_is_kept_as_typed() {
    let typed = "lift mm  flow cfm\n2.0  41.2\n4.0  80.6\n6.0  112.4\n";
    let bench = Bench::shop().typing(typed);
    bench.put("photo.jpg", "\u{1}\u{2}not a table\u{3}");
    let arguments = ["flow", "-", "../photo.jpg", "--part", "h2/a", "--port", "exhaust:1"];
    shown!(bench, "typed", &arguments);
    let text = bench.read("flow/h2a-ex1-1.yaml");
    assert!(text.contains("typed: true") && text.contains("typed-h2a-ex1-1.txt"), "{text}");
    assert!(text.contains("photo.jpg"), "{text}");
    let kept = bench.git(&["ls-files", "raw"]);
    assert!(kept.lines().any(|path| bench.read(path) == typed), "the bytes as typed");
}

#[test]
fn several_ports_of_one_head_are_several_sheets() {
    let bench = Bench::shop();
    bench.put("head.csv", "Lift (mm),Intake 1 (cfm),Ex 1 (cfm)\n2,41.2,33.0\n4,80.6,61.5\n6,112.4,84.0\n");
    shown!(bench, "by-column", &["flow", "../head.csv", "--part", "h2"]);
    let text = bench.read("flow/h2a-ex1-1.yaml");
    assert!(text.contains("channel: \"Ex 1\""), "{text}");
    let block = "Lift (mm),Flow (cfm)\n2,41.2\n4,80.6\n6,112.4\n";
    bench.put("two.csv", &format!("{block}\n{}", block.replace("41.2", "40.9")));
    shown!(bench, "by-segment-unsaid", &["flow", "../two.csv", "--part", "h2"]);
    shown!(
        bench,
        "by-segment",
        &["flow", "../two.csv", "--part", "h2", "--port", "1=inlet:1", "--port", "2=inlet:2"]
    );
}

#[test]
fn two_sheets_are_compared_only_when_documented() {
    let bench = Bench::shop();
    bench.put("base.csv", SHEET);
    bench.put("test.csv", &SHEET.replace("134.1", "136.4").replace("10.0,148.9", "10.0,150.2\n11.0,151.0"));
    enter(&bench, "../base.csv", &["--port", "inlet:1"]);
    let mut documented = vec!["--port", "inlet:1"];
    documented.extend(DOCUMENTED);
    enter(&bench, "../test.csv", &documented);
    shown!(bench, "refused", &["diff", "h2a-in1-1", "h2a-in1-2"]);
    for (name, value) in [("correction", "as-read"), ("leakage", "0.9 cfm")] {
        bench.run(&["measure", "h2a-in1-1", &format!("conditions.{name}"), value]).done();
    }
    bench.run(&["measure", "h2a-in1-1", "calibration-plate", "0.997", "--with", "plate-1"]).done();
    for sheet in ["h2a-in1-1", "h2a-in1-2"] {
        bench.run(&["measure", sheet, "test-pressure", "28 inH2O", "--with", "manometer-1"]).done();
    }
    shown!(bench, "compared", &["diff", "h2a-in1-1", "h2a-in1-2"]);
    bench.run(&["measure", "h2a-in1-2", "test-pressure", "25 inH2O", "--with", "manometer-1"]).done();
    shown!(bench, "unlike-pressures", &["diff", "h2a-in1-1", "h2a-in1-2"]);
    bench.run(&["measure", "h2a-in1-2", "correction", "to-standard-air"]).done();
    shown!(bench, "unlike-corrections", &["diff", "h2a-in1-1", "h2a-in1-2"]);
    bench.put("exhaust.csv", &SHEET.replace("41.2", "35.0"));
    enter(&bench, "../exhaust.csv", &["--port", "exhaust:1"]);
    shown!(bench, "unlike-sides", &["diff", "h2a-in1-1", "h2a-ex1-1"]);
    shown!(bench, "itself", &["diff", "h2a-in1-1", "h2a-in1-1"]);
}

/// The three users' way through: what is missing, closed one by one, a wrong record mended, and the comparison then runs.
#[test]
fn gaps_of_sheets_are_listed_filled_and_mended() {
    let bench = Bench::shop();
    bench.put("base.csv", SHEET);
    bench.put("test.csv", &SHEET.replace("134.1", "136.4"));
    enter(&bench, "../base.csv", &["--port", "inlet:1"]);
    enter(&bench, "../test.csv", &["--port", "inlet:1"]);
    shown!(bench, "gaps-one", &["gaps", "h2a-in1-1"]);
    shown!(bench, "gaps-two", &["gaps", "h2a-in1-1", "h2a-in1-2"]);
    shown!(bench, "gaps-itself", &["gaps", "h2a-in1-1", "h2a-in1-1"]);
    shown!(bench, "gaps-with-a-pull", &["gaps", "h2a-in1-1", "0412a-01"]);
    shown!(bench, "diff-with-a-pull", &["diff", "0412a-01", "h2a-in1-1"]);
    for sheet in ["h2a-in1-1", "h2a-in1-2"] {
        let gaps = bench.run(&["gaps", sheet, "--json"]).json();
        let asked: Vec<&str> =
            gaps["gaps"].as_array().into_iter().flatten().filter_map(|gap| gap["item"].as_str()).collect();
        let typed: String = asked
            .iter()
            .map(|item| match *item {
                "conditions.correction" => "as-read\n",
                "conditions.leakage" => "assumed: 0.8 cfm; as last year\n",
                "conditions.test-pressure" => "28 inH2O @manometer-1\n",
                "conditions.calibration-plate" => "unknown: plate lost\n",
                "conditions.valve-diameter" => "listed: 33.0 mm; seller's sheet\n",
                other => panic!("{other} was not expected"),
            })
            .collect();
        assert_eq!(asked.len(), 5, "{asked:?}");
        bench.run_with(&["gaps", sheet, "--fill"], &typed).done();
    }
    shown!(bench, "gaps-none", &["gaps", "h2a-in1-1"]);
    shown!(bench, "gaps-none-of-two", &["gaps", "h2a-in1-1", "h2a-in1-2"]);
    shown!(bench, "gaps-three", &["gaps", "h2a-in1-1", "h2a-in1-2", "h2a-in1-1"]);
    let mend = ["correct", "h2a-in1-2", "--because", "the other sleeve was on", "--set"];
    shown!(bench, "mended", &[&mend[..], &["bore-fixture=85 mm"]].concat());
    shown!(bench, "mended-port", &[&mend[..], &["port=3"]].concat());
    shown!(bench, "mended-part", &[&mend[..], &["part=h3/a"]].concat());
    shown!(bench, "mended-unknown", &[&mend[..], &["colour=red"]].concat());
    shown!(bench, "mended-not-a-side", &[&mend[..], &["side=upper"]].concat());
    shown!(bench, "mended-no-such-part", &[&mend[..], &["part=h9"]].concat());
    let text = bench.read("flow/h2a-in1-2.yaml");
    assert!(text.contains("bore-fixture: {measured: 86 mm"), "what stood there stays: {text}");
    shown!(bench, "mended-compared", &["diff", "h2a-in1-1", "h2a-in1-2"]);
    for (set, to) in [("side", "exhaust"), ("bench", "bench-9"), ("on", "2026-04-11")] {
        bench.run(&[&mend[..], &[&format!("{set}={to}")]].concat());
    }
    let text = bench.read("flow/h2a-in1-2.yaml");
    assert!(
        text.contains("set: side, to: \"exhaust\"") && text.contains("set: \"on\", to: \"2026-04-11\""),
        "{text}"
    );
    assert!(!text.contains("bench-9"), "a bench that nobody wrote down is refused: {text}");
}

#[test]
fn a_sheet_that_was_kept_is_history() {
    let bench = Bench::shop();
    bench.put("sheet.csv", SHEET);
    enter(&bench, "../sheet.csv", &["--port", "inlet:1"]);
    let path = "flow/h2a-in1-1.yaml";
    let text = bench.read(path);
    bench.put(&format!("book/{path}"), &text.replace("86 mm", "85 mm"));
    shown!(bench, "altered", &["keep"]);
    bench.put(&format!("book/{path}"), &format!("{text}note: \"the shop's own fixture\"\n"));
    bench.run(&["keep"]).done();
    let mended = "corrected:\n  - {set: conditions.colour, to: {measured: red}, because: \"x\", by: mk, on: 2026-04-12}\n";
    bench.put(&format!("book/{path}"), &format!("{text}note: \"the shop's own fixture\"\n{mended}"));
    shown!(bench, "mended-by-hand", &["keep"]);
}

#[test]
fn a_port_may_be_named_with_its_cylinder_and_by_the_file() {
    let bench = Bench::shop();
    bench.put("line.csv", &format!("Port: intake 1\nCylinder: 2\n{SHEET}"));
    shown!(bench, "port-by-line", &["flow", "../line.csv", "--part", "h2"]);
    bench.put(
        "head.csv",
        "Lift (mm),Cyl 3 in 1 (cfm),Cyl 3 ex 1 (cfm)\n2,41.2,33.0\n4,80.6,61.5\n6,112.4,84.0\n",
    );
    enter(&bench, "../head.csv", &[]);
    assert!(bench.read("flow/h2a-ex1c3-1.yaml").contains("port: \"1\"\ncylinder: \"3\""));
    bench.put("sheet.csv", SHEET);
    enter(&bench, "../sheet.csv", &["--port", "inlet:2/4"]);
    assert!(bench.read("flow/h2a-in2c4-1.yaml").contains("port: \"2\"\ncylinder: \"4\""));
    bench.run(&["correct", "h2a-in2c4-1", "--set", "cylinder=1", "--because", "read upside down"]).done();
    assert!(bench.read("flow/h2a-in2c4-1.yaml").contains("set: cylinder, to: \"1\", was: \"4\""));
}

/// `unknown: why` typed in a figure's place is no measurement, and the bench is the instrument of what it shows.
#[test]
fn what_is_typed_is_known_as_it_says() {
    let bench = Bench::shop();
    bench.run(&["instrument", "bench-1", "flow bench"]).done();
    bench.put(
        "head.csv",
        &SHEET
            .replace("Flow (cfm)", "In 1 (cfm),Ex 1 (cfm)")
            .replace('\n', ",30.0\n")
            .replacen(",30.0", "", 5),
    );
    let arguments = ["--bench", "bench-1", "--set", "exhaust-pipe=none", "--set", "calibration-plate=0.997"];
    enter(&bench, "../head.csv", &arguments);
    let (inlet, exhaust) = (bench.read("flow/h2a-in1-1.yaml"), bench.read("flow/h2a-ex1-1.yaml"));
    assert!(inlet.contains("test-pressure: {measured: 28 inH2O, with: bench-1"), "{inlet}");
    assert!(inlet.contains("calibration-plate: {measured: \"0.997\", with: bench-1"), "{inlet}");
    assert!(inlet.contains("bore-fixture: {measured: 86 mm, by: mk"), "a bench measures no bore: {inlet}");
    assert!(!inlet.contains("exhaust-pipe") && exhaust.contains("exhaust-pipe"), "{inlet}{exhaust}");
    bench.put("sheet.csv", SHEET);
    let pipe = ["flow", "../sheet.csv", "--part", "h2", "--port", "inlet:2", "--set", "exhaust-pipe=none"];
    shown!(bench, "pipe-of-an-inlet", &pipe);
    shown!(bench, "unknown-as-typed", &["measure", "h2a-in1-1", "entry", "unknown: nobody wrote it down"]);
    assert!(bench.read("flow/h2a-in1-1.yaml").contains("- {unknown: \"nobody wrote it down\"}"));
}

#[test]
fn a_changed_columns_record_reads_the_sheet_again() {
    let bench = Bench::shop();
    bench.put("base.csv", SHEET);
    bench.put("test.csv", &SHEET.replace("134.1", "136.4"));
    for file in ["../base.csv", "../test.csv"] {
        let mut arguments = vec!["--port", "inlet:1", "--set", "valve-diameter=33 mm"];
        arguments.extend(DOCUMENTED);
        enter(&bench, file, &arguments);
    }
    let path = "columns/flow-1.yaml";
    let text = bench.read(path);
    assert!(text.contains("unit: cfm"), "{text}");
    bench.put(&format!("book/{path}"), &text.replace("unit: cfm", "unit: L/s"));
    bench.run(&["keep"]).done();
    shown!(bench, "columns-changed", &["diff", "h2a-in1-1", "h2a-in1-2"]);
}

/// What a flow sheet means: coefficients, flow of standard air, gas speed, means over lift, exhaust to inlet; with the
/// mean coefficient the Mach index of the engine that the head is on.
#[test]
fn a_sheet_tells_what_its_readings_mean() {
    let bench = Bench::shop();
    bench.put("inlet.csv", SHEET);
    bench.put("exhaust.csv", &SHEET.replace("41.2", "30.1").replace("80.6", "59.5").replace("112.4", "84.0"));
    for (file, port) in [("../inlet.csv", "inlet:1"), ("../exhaust.csv", "exhaust:1")] {
        let mut arguments = vec!["--port", port, "--set", "bench-kind=orifice"];
        if port.starts_with("exhaust") {
            arguments.extend(["--set", "exhaust-pipe=none"]);
        }
        arguments.extend(DOCUMENTED);
        enter(&bench, file, &arguments);
    }
    for (name, value) in [
        ("inlet-valve", "34.5 mm"),
        ("exhaust-valve", "29.0 mm"),
        ("inlet-throat", "30.5 mm"),
        ("inlet-stem", "5.5 mm"),
        ("inlet-valves-per-cylinder", "1"),
    ] {
        bench.run(&["measure", "h2/a", name, value]).done();
    }
    shown!(bench, "meaning", &["sheet", "h2a-in1-1"]);
    // At another pressure, over some of its lifts: 28 to 7 inches of water is half the flow.
    let over = |more: &[&str]| -> serde_json::Value {
        let mut words = vec!["sheet", "h2a-in1-1", "--json"];
        words.extend(more);
        bench.run(&words).done().json()["meaning"]["means"].clone()
    };
    let flow = |means: &serde_json::Value| -> f64 {
        let found =
            means.as_array().expect("means").iter().find(|one| one["figure"] == "mean-flow-at-pressure");
        found.and_then(|one| one["value"].as_f64()).expect("a mean flow")
    };
    let at_seven = over(&["--at-pressure", "7 inH2O"]);
    assert!((flow(&over(&[])) / flow(&at_seven) - 2.0).abs() < 1e-9, "{at_seven}");
    // Between 2 and 4 mm the mean is the middle of the two: ((41.2 + 80.6)/2 − 0.8)/0.997.
    let low = over(&["--lifts", "2 mm..4 mm"]);
    assert!((flow(&low) - (60.9 - 0.8) / 0.997).abs() < 1e-6, "{low}");
    shown!(bench, "lifts-beyond", &["sheet", "h2a-in1-1", "--lifts", "2 mm..30 mm"]);
    shown!(bench, "not-a-range", &["sheet", "h2a-in1-1", "--lifts", "4 mm"]);
    shown!(bench, "not-a-pressure", &["sheet", "h2a-in1-1", "--at-pressure", "28 mm"]);
    for (name, value) in [("bore", "86.00 mm"), ("stroke", "86.00 mm"), ("rod-length", "152.0 mm")] {
        bench.run(&["measure", "mule-1/a", name, value]).done();
    }
    bench.run(&["correct", "0412a-01", "--set", "run.to=8000 rpm", "--because", "as the log shows"]).done();
    let sheet = bench.run(&["sheet", "0412a-01", "--json"]).done().json();
    let derived = sheet["derived"].as_array().expect("figures").clone();
    let index = derived.iter().find(|figure| figure["figure"] == "mach-index").expect("a Mach index");
    let rests = index["not_measured"].as_array().expect("inputs").clone();
    assert!(rests.iter().any(|input| input["item"] == "flow sheet" && input["at"] == "h2a-in1-1"), "{index}");
}

/// Unlike test pressures are brought to one; beyond a ratio of three that is flagged.
#[test]
fn unlike_pressures_are_brought_to_the_base_s() {
    let bench = Bench::shop();
    bench.put("base.csv", SHEET);
    bench.put("test.csv", &SHEET.replace("28 inH2O", "7 inH2O").replace("41.2", "20.6"));
    for (file, number) in [("../base.csv", 1), ("../test.csv", 2)] {
        let mut arguments = vec!["--port", "inlet:1", "--set", "bench-kind=orifice"];
        arguments.extend(DOCUMENTED);
        enter(&bench, file, &arguments);
        let tag = format!("h2a-in1-{number}");
        let pressure = if number == 1 { "28.00 inH2O" } else { "7.00 inH2O" };
        bench.run(&["measure", &tag, "test-pressure", pressure, "--with", "manometer-1"]).done();
    }
    let answer = bench.run(&["diff", "h2a-in1-1", "h2a-in1-2", "--json"]).done().json();
    // Twice the square root of a quarter: (20.6 − 0.8)·2 against 41.2 − 0.8 at 2 mm, both over 0.997.
    let at_two = answer["brought"][0].clone();
    let flow = |side: &str| at_two[side]["value"].as_f64().expect("a flow");
    assert!(
        (flow("base") - 40.4 / 0.997).abs() < 1e-6 && (flow("test") - 39.6 / 0.997).abs() < 1e-6,
        "{at_two}"
    );
    let text = bench.run(&["diff", "h2a-in1-1", "h2a-in1-2"]).done().out;
    let words = text.split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(words.contains("lies outside the limits 0.3333 to 3 of common practice"), "{text}");
}

#[test]
fn a_sheet_that_does_not_hold_is_refused() {
    let bench = Bench::shop();
    bench.put("sheet.csv", SHEET);
    bench.put("other.csv", &SHEET.replace("41.2", "41.3"));
    bench.put("bare.csv", "lift,flow\n2,41.2\n4,80.6\n6,112.4\n");
    bench.put("speed.csv", "rpm,Torque (N·m)\n3000,180\n3100,181\n3200,182\n");
    let file = "../sheet.csv";
    shown!(bench, "not-a-port", &["flow", file, "--part", "h2", "--port", "upper:2"]);
    shown!(bench, "no-port", &["flow", file, "--part", "h2"]);
    shown!(bench, "no-such-column", &["flow", file, "--part", "h2", "--port", "Flow 9=inlet:2"]);
    shown!(bench, "not-a-part", &["flow", file, "--part", "b1", "--port", "inlet:2"]);
    shown!(bench, "two-tables", &["flow", file, "../other.csv", "--part", "h2", "--port", "inlet:2"]);
    shown!(bench, "no-flow", &["flow", "../speed.csv", "--part", "h2", "--port", "inlet:2"]);
    shown!(bench, "no-unit", &["flow", "../bare.csv", "--part", "h2", "--port", "inlet:2"]);
    let wrong = ["flow", "../bare.csv", "--part", "h2", "--port", "inlet:2", "--unit", "lift=kg"];
    shown!(bench, "wrong-unit", &wrong);
    let inches = [
        "flow",
        "../bare.csv",
        "--part",
        "h2",
        "--port",
        "inlet:2",
        "--unit",
        "lift=in",
        "--unit",
        "flow=cfm",
    ];
    shown!(bench, "implausible-lift", &inches);
    shown!(
        bench,
        "unknown-condition",
        &["flow", file, "--part", "h2", "--port", "inlet:2", "--set", "colour=red"]
    );
    shown!(bench, "measured-elsewhere", &["measure", "h2a-in2-1", "colour", "red"]);
    bench.put("head.csv", "Lift (mm),In 1 (cfm),In 2 (cfm)\n2,41.2,41.0\n4,80.6,80.0\n");
    shown!(bench, "one-name", &["flow", "../head.csv", "--part", "h2", "--name", "head"]);
    shown!(bench, "stdin-twice", &["flow", "-", "-", "--part", "h2", "--port", "inlet:2"]);
}

#[test]
fn a_pull_leaves_the_book_as_a_table() {
    let bench = Bench::shop();
    shown!(bench, "table-written", &["table", "0412a-01", "--csvw", "../out"]);
    let text = std::fs::read_to_string(bench.path().join("out/0412a-01.csv")).expect("a table");
    assert_eq!(text.lines().count(), 121);
    let metadata =
        std::fs::read_to_string(bench.path().join("out/0412a-01.csv-metadata.json")).expect("metadata");
    insta::assert_snapshot!("table-metadata", metadata);
    shown!(bench, "table-there-already", &["table", "0412a-01", "--csvw", "../out"]);
    bench.put("book/builds/b1/pulls/note.txt", "");
    bench.put("sheet.csv", SHEET);
    enter(&bench, "../sheet.csv", &["--port", "inlet:1"]);
    shown!(bench, "table-of-a-sheet", &["table", "h2a-in1-1", "--csvw", "../out"]);
    let text = std::fs::read_to_string(bench.path().join("out/h2a-in1-1.csv")).expect("a table");
    assert_eq!(text.lines().count(), 6);
    shown!(bench, "table-of-nothing", &["table", "0499z-01", "--csvw", "../out"]);
}

#[test]
fn then_and_now_are_not_told_of_a_flow_sheet() {
    let bench = Bench::shop();
    bench.put("sheet.csv", SHEET);
    enter(&bench, "../sheet.csv", &["--port", "inlet:2"]);
    shown!(bench, "then-and-now", &["sheet", "h2a-in2-1", "--then-and-now"]);
}
