//! What is keyed back from a paper form is the manifest that the record's own command writes, to the byte; and a form
//! filled in from a manifest gives that manifest again.
#![expect(
    clippy::disallowed_methods,
    clippy::disallowed_types,
    clippy::unwrap_used,
    reason = "these tests make books on disk, and a test that fails shall stop"
)]

use std::collections::BTreeMap;
use std::fs;
use std::path::Path;
use std::path::PathBuf;
use std::process::Command;
use std::sync::OnceLock;

use mulebook::answer::Section;
use mulebook::record::FieldSpec;
use mulebook::record::Holds;
use mulebook::record::Kinds;
use mulebook::render;
use mulebook::render::Look;
use mulebook::store::Author;
use mulebook::store::Book;
use mulebook::workflow::Context;
use mulebook::workflow::Library;
use mulebook::workflow::demo;
use mulebook::workflow::flow;
use mulebook::workflow::flow::FlowRequest;
use mulebook::workflow::form;
use mulebook::workflow::form::FormRequest;
use mulebook::workflow::input::FigureInput;
use mulebook::workflow::make_build;
use mulebook::workflow::make_build::BuildRequest;
use mulebook::workflow::make_part;
use mulebook::workflow::make_part::PartRequest;
use mulebook::workflow::make_place;
use mulebook::workflow::make_place::CellRequest;
use mulebook::workflow::make_place::InstrumentRequest;
use mulebook::workflow::make_place::SessionRequest;
use mulebook::workflow::measure;
use mulebook::workflow::new_book;
use mulebook::workflow::rework;
use mulebook::workflow::rework::ReworkRequest;
use mulebook::workflow::take_in::Offered;
use proptest::prelude::*;

fn context() -> Context {
    Context {
        now: chrono::DateTime::parse_from_rfc3339("2026-06-01T10:00:00+02:00").unwrap(),
        person: Some("mk".to_owned()),
        author: Author { name: "Mara Kessel".to_owned(), email: String::new() },
        process: std::process::id(),
        command: "test".to_owned(),
        progress: Box::new(|_, _, _| {}),
    }
}

/// A book for one test.
struct Bench {
    folder: tempfile::TempDir,
}

impl Bench {
    /// A new book with two instruments.
    fn empty() -> Self {
        static MADE: OnceLock<Bench> = OnceLock::new();
        let made = MADE.get_or_init(|| {
            let bench = Self { folder: tempfile::tempdir().unwrap() };
            new_book::new_book(&bench.path(), "forms", "+02:00", &context()).unwrap();
            for tag in ["burette-1", "lamp-1"] {
                let request = InstrumentRequest {
                    tag: tag.to_owned(),
                    what: "an instrument".to_owned(),
                    ..InstrumentRequest::default()
                };
                make_place::instrument(&bench.book(), &context(), &request).unwrap();
            }
            bench
        });
        made.copied()
    }

    /// The demo's book.
    fn demo() -> Self {
        static MADE: OnceLock<Bench> = OnceLock::new();
        let made = MADE.get_or_init(|| {
            let bench = Self { folder: tempfile::tempdir().unwrap() };
            demo::demo(&bench.path(), &context()).unwrap();
            bench
        });
        made.copied()
    }

    fn copied(&self) -> Self {
        let bench = Self { folder: tempfile::tempdir().unwrap() };
        copy(&self.path(), &bench.path());
        bench
    }

    fn path(&self) -> PathBuf {
        self.folder.path().join("book")
    }

    fn book(&self) -> Book {
        Book::discover(&self.path()).unwrap()
    }

    fn read(&self, name: &str) -> String {
        fs::read_to_string(self.path().join(name)).unwrap_or_else(|error| panic!("{name}: {error}"))
    }

    /// A form as it is printed.
    fn printed(&self, kind: &str, subject: Option<&str>, of: Option<&str>) -> String {
        let request = FormRequest {
            kind: kind.to_owned(),
            subject: subject.map(str::to_owned),
            of: of.map(str::to_owned),
        };
        render::form(&form::form(&self.book(), &request).unwrap(), Look::default())
    }

    /// Keys a form back.
    fn key(&self, kind: &str, subject: Option<&str>, text: &str) -> Result<(), String> {
        let request = FormRequest { kind: kind.to_owned(), subject: subject.map(str::to_owned), of: None };
        let raw = Path::new(env!("CARGO_MANIFEST_DIR")).join("demo-data/raw");
        form::fill(&self.book(), &context(), &request, ("form.txt", text), &raw)
            .map(drop)
            .map_err(|failure| format!("{:#?}", failure.findings))
    }

    /// Takes a record out of the book, as if it had never been entered.
    fn remove(&self, name: &str) {
        for arguments in [vec!["rm", "-q", name], vec!["commit", "-q", "-m", "Take it out"]] {
            let output = Command::new("git")
                .arg("-C")
                .arg(self.path())
                .args(["-c", "user.name=Git", "-c", "user.email=git@example.com"])
                .args(&arguments)
                .env("GIT_CONFIG_GLOBAL", "/dev/null")
                .env("GIT_CONFIG_SYSTEM", "/dev/null")
                .output()
                .unwrap();
            assert!(output.status.success(), "{arguments:?}: {}", String::from_utf8_lossy(&output.stderr));
        }
    }
}

fn copy(from: &Path, to: &Path) {
    fs::create_dir_all(to).unwrap();
    for entry in fs::read_dir(from).unwrap() {
        let entry = entry.unwrap();
        let beside = to.join(entry.file_name());
        if entry.file_type().unwrap().is_dir() {
            copy(&entry.path(), &beside);
        } else {
            fs::copy(entry.path(), beside).unwrap();
        }
    }
}

/// Choices that follow from one number, so that a case can be made again.
struct Dice(u64);

impl Dice {
    fn below(&mut self, most: u64) -> u64 {
        // Knuth's constants of a linear congruential generator (TAOCP 2, 3.3.4, table 1, line 26).
        self.0 = self.0.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        (self.0 >> 33) % most
    }

    fn words(&mut self) -> String {
        let rest = "abc \"'#:,=|{}[]&*!%-0ä±°\\";
        let letters: Vec<char> = rest.chars().collect();
        let length = 1 + self.below(14) as usize;
        let mut text = String::from("w");
        text.extend((0..length).map(|_| letters[self.below(letters.len() as u64) as usize]));
        text.trim().to_owned()
    }

    /// A value of a field: as it is typed behind `--set`, and as it is written on paper.
    fn value(&mut self, holds: &Holds) -> (String, String) {
        let value = match holds {
            Holds::Quantity { unit, .. } => {
                let number = format!("{}.{:02}", self.below(90), self.below(100));
                match self.below(4) {
                    0 => format!(".{:03}", 1 + self.below(900)),
                    1 => format!("{number} {}", unit.symbol()),
                    2 => format!("{number} {number} ±0.2 {}", unit.symbol()),
                    _ => number,
                }
            }
            Holds::Choice(words) => words[self.below(words.len() as u64) as usize].clone(),
            Holds::Text => self.words(),
        };
        match self.below(6) {
            0 => (format!("{value} | with burette-1"), format!("{value} @burette-1")),
            1 => {
                let beside = format!("{value} | by jo | taken 2026-03-0{}", 1 + self.below(9));
                (beside.clone(), beside)
            }
            2 => {
                let listed = format!("listed: {value} | source {}", self.words());
                (listed.clone(), listed)
            }
            3 => (format!("assumed: {value} | because by eye"), format!("? {value} | because by eye")),
            4 => {
                let unknown = format!("unknown: {}", self.words());
                (unknown.clone(), unknown)
            }
            _ => (value.clone(), value),
        }
    }

    /// Values for some of the fields.
    fn some<'f>(&mut self, fields: &'f [FieldSpec]) -> Vec<(&'f str, String, String)> {
        let mut some = Vec::new();
        for field in fields {
            if self.below(3) > 0 {
                let (typed, written) = self.value(&field.holds);
                some.push((field.name.as_str(), typed, written));
            }
        }
        some
    }
}

fn set(values: &[(&str, String, String)]) -> Vec<String> {
    values.iter().map(|(name, typed, _)| format!("{name}={typed}")).collect()
}

fn kinds() -> Kinds {
    Library::at_head(&Bench::empty().book()).unwrap().kinds().clone()
}

/// The form's numbers by the names of its lines.
fn numbers(bench: &Bench, kind: &str, subject: Option<&str>) -> BTreeMap<String, u32> {
    let request = FormRequest { kind: kind.to_owned(), subject: subject.map(str::to_owned), of: None };
    let answer = form::form(&bench.book(), &request).unwrap();
    let lines = answer.sections.iter().flat_map(|section| &section.lines);
    let mut numbers = BTreeMap::new();
    for line in lines {
        numbers.entry(line.name.clone()).or_insert(line.number);
    }
    numbers
}

/// What is written, under the numbers of the lines or, every third line, their names.
fn written(
    numbers: &BTreeMap<String, u32>,
    own: &[(&str, &str)],
    values: &[(&str, String, String)],
) -> String {
    let own = own.iter().map(|(name, value)| (*name, (*value).to_owned()));
    let all = own.chain(values.iter().map(|(name, _, written)| (*name, written.clone())));
    all.enumerate()
        .map(|(place, (name, value))| match place % 3 {
            2 => format!("{name} = {value}\n"),
            _ => format!("{:>4} = {value}\n", numbers[name]),
        })
        .collect()
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 2, failure_persistence: None, max_shrink_iters: 0, ..ProptestConfig::default() })]

    /// Every kind of part: the direct command, the form with the same facts, and the form of what was written.
    #[test]
    fn a_part_keyed_back_is_the_part_entered(seed in any::<u64>()) {
        let mut dice = Dice(seed);
        let (direct, keyed, again) = (Bench::empty(), Bench::empty(), Bench::empty());
        for (kind, spec) in &kinds().parts {
            let values = dice.some(&spec.figures);
            let tag = format!("{kind}-1");
            let request = PartRequest {
                kind: Some(kind.clone()),
                tag: tag.clone(),
                serial: Some("0417".to_owned()),
                how: Some("bought \"new\": today".to_owned()),
                since: Some("2026-03-02".to_owned()),
                set: set(&values),
                ..PartRequest::default()
            };
            make_part::part(&direct.book(), &context(), &request)
                .unwrap_or_else(|failure| panic!("{kind}: {:#?}", failure.findings));
            let own = [
                ("tag", tag.as_str()),
                ("serial", "0417"),
                ("how", "bought \"new\": today"),
                ("since", "2026-03-02"),
            ];
            let text = written(&numbers(&keyed, kind, None), &own, &values);
            keyed.key(kind, None, &text).unwrap_or_else(|why| panic!("{kind}: {why}\n{text}"));
            let path = format!("parts/{kind}/{tag}.yaml");
            let entered = direct.read(&path);
            prop_assert_eq!(&keyed.read(&path), &entered);
            let printed = direct.printed(kind, None, Some(&tag));
            again.key(kind, None, &printed).unwrap_or_else(|why| panic!("{kind}: {why}\n{printed}"));
            prop_assert_eq!(again.read(&path), entered, "{}", printed);
        }
    }

    /// Cells, sessions and instruments.
    #[test]
    fn a_place_keyed_back_is_the_place_entered(seed in any::<u64>()) {
        let mut dice = Dice(seed);
        let (direct, keyed, again) = (Bench::empty(), Bench::empty(), Bench::empty());
        let kinds = kinds();
        let compared = |path: &str, kind: &str, record: &str, text: &str| {
            keyed.key(kind, None, text).unwrap_or_else(|why| panic!("{kind}: {why}\n{text}"));
            let entered = direct.read(path);
            assert_eq!(keyed.read(path), entered);
            let printed = direct.printed(kind, None, Some(record));
            again.key(kind, None, &printed).unwrap_or_else(|why| panic!("{kind}: {why}\n{printed}"));
            assert_eq!(again.read(path), entered, "{printed}");
        };
        let values = dice.some(&kinds.cell);
        let mut fields = set(&values);
        fields.push("absorber=eddy-current brake, 400 N·m".to_owned());
        let request = CellRequest { tag: "tower".to_owned(), set: fields, ..CellRequest::default() };
        make_place::cell(&direct.book(), &context(), &request).unwrap();
        let lines = numbers(&keyed, "cell", None);
        let text = written(&lines, &[("tag", "tower")], &values)
            + &format!("{} = absorber=eddy-current brake, 400 N·m\n", lines["field"]);
        compared("cells/tower.yaml", "cell", "tower", &text);

        let values = dice.some(&kinds.session);
        let request = SessionRequest {
            tag: "0601a".to_owned(),
            cell: "tower".to_owned(),
            warm_up: Some("8 min at 2500 rpm".to_owned()),
            between: Some("2 min".to_owned()),
            set: set(&values),
            note: Some("dry".to_owned()),
            ..SessionRequest::default()
        };
        make_place::session(&direct.book(), &context(), &request).unwrap();
        let own = [
            ("tag", "0601a"),
            ("cell", "tower"),
            ("warm-up", "8 min at 2500 rpm"),
            ("between-pulls", "2 min"),
            ("note", "dry"),
        ];
        let text = written(&numbers(&keyed, "session", None), &own, &values);
        compared("sessions/0601a.yaml", "session", "0601a", &text);

        let request = InstrumentRequest {
            tag: "scale-1".to_owned(),
            what: "balance, 2 kg".to_owned(),
            serial: Some("77".to_owned()),
            uncertainty: vec!["mass=±0.1 g/reading".to_owned(), "mass=±0.2 g/calibration".to_owned()],
            calibrated: Some("2026-01-15".to_owned()),
            calibrated_by: Some("county metrology".to_owned()),
            due: Some("2027-01-15".to_owned()),
        };
        make_place::instrument(&direct.book(), &context(), &request).unwrap();
        let lines = numbers(&keyed, "instrument", None);
        let own = [("tag", "scale-1"), ("what", "balance, 2 kg"), ("serial", "77")];
        let stated = lines["uncertainty"];
        let text = written(&lines, &own, &[])
            + &format!("{stated} = mass: ±0.1 g/reading\n{} = mass: ±0.2 g/calibration\n", stated + 1)
            + "calibrated = 2026-01-15\ncalibrated-by = county metrology\ndue = 2027-01-15\n";
        compared("instruments/scale-1.yaml", "instrument", "scale-1", &text);
    }

    /// Figures of a part that is in the book, and work on it.
    #[test]
    fn figures_and_work_keyed_back_are_those_entered(seed in any::<u64>()) {
        let mut dice = Dice(seed);
        let (direct, keyed) = (Bench::demo(), Bench::demo());
        let kinds = kinds();
        let values = dice.some(&kinds.part("cylinder-head").unwrap().figures);
        for (name, typed, _) in &values {
            let told = FigureInput::typed(typed);
            measure::measure(&direct.book(), &context(), "h1/a", name, &told).unwrap();
        }
        let text = written(&numbers(&keyed, "measure", Some("h1/a")), &[("at", "h1/a")], &values);
        keyed.key("measure", None, &text).unwrap_or_else(|why| panic!("{why}\n{text}"));
        let path = "parts/cylinder-head/h1.yaml";
        prop_assert_eq!(keyed.read(path), direct.read(path));

        let request = ReworkRequest {
            part: "h1".to_owned(),
            op: "mill-deck".to_owned(),
            details: vec!["cut=.016 in".to_owned()],
            on: Some("2026-05-30".to_owned()),
            note: Some("wept".to_owned()),
            ..ReworkRequest::default()
        };
        rework::rework(&direct.book(), &context(), &request).unwrap();
        let text = "part = h1\nwork = mill-deck\ncut = .016 in\non = 2026-05-30\nnote = wept\n";
        keyed.key("rework", None, text).unwrap();
        prop_assert_eq!(keyed.read(path), direct.read(path));
    }
}

/// The demo's builds under another name: by the form, by the command with the same facts, and by the form of that.
#[test]
fn a_build_keyed_back_is_the_build_entered() {
    let (direct, keyed, again) = (Bench::demo(), Bench::demo(), Bench::demo());
    for name in Library::at_head(&direct.book()).unwrap().build_names().unwrap() {
        let request = FormRequest { kind: "build".to_owned(), subject: None, of: Some(name.clone()) };
        let answer = form::form(&direct.book(), &request).unwrap();
        let fresh = format!("x-{name}");
        let lines = || answer.sections.iter().flat_map(|s| s.lines.iter().map(move |line| (s.section, line)));
        let value =
            |name: &str| lines().find(|(_, line)| line.name == name).and_then(|(_, line)| line.value.clone());
        let request = BuildRequest {
            name: fresh.clone(),
            engine: value("engine"),
            from: value("from"),
            since: value("since"),
            set: lines()
                .filter(|(section, _)| *section != Section::About)
                .map(|(_, line)| format!("{}={}", line.name, line.value.clone().unwrap_or_default()))
                .collect(),
            refit: value("refit").is_some(),
            by: value("by"),
            note: value("note"),
            ..BuildRequest::default()
        };
        make_build::build(&direct.book(), &context(), &request).unwrap();
        let printed =
            render::form(&answer, Look::default()).replace(&format!("= {name}\n"), &format!("= {fresh}\n"));
        keyed.key("build", None, &printed).unwrap_or_else(|why| panic!("{why}\n{printed}"));
        let path = format!("builds/{fresh}/build.yaml");
        let entered = direct.read(&path);
        assert_eq!(keyed.read(&path), entered, "{printed}");
        let printed = direct.printed("build", None, Some(&fresh));
        again.key("build", None, &printed).unwrap_or_else(|why| panic!("{why}\n{printed}"));
        assert_eq!(again.read(&path), entered, "{printed}");
    }
}

/// Pulls of the demo, which the program wrote from files: taken out and keyed back.
#[test]
fn a_pull_keyed_back_is_the_pull_entered() {
    let bench = Bench::demo();
    let library = Library::at_head(&bench.book()).unwrap();
    let mut compared = 0;
    for (id, path) in library.pull_paths().unwrap() {
        let entered = bench.read(path);
        // What was corrected since is no part of how it was entered.
        if entered.contains("corrected:") || compared > 6 {
            continue;
        }
        let printed = bench.printed("pull", None, Some(id));
        bench.remove(path);
        bench.key("pull", None, &printed).unwrap_or_else(|why| panic!("{why}\n{printed}"));
        assert_eq!(bench.read(path), entered, "{printed}");
        compared += 1;
    }
    assert!(compared > 3, "{compared} pulls were compared");
}

/// A flow sheet typed at the bench: by the command, by the form, and by the form of what was written.
#[test]
fn a_flow_sheet_keyed_back_is_the_sheet_entered() {
    let (direct, keyed, again) = (Bench::demo(), Bench::demo(), Bench::demo());
    let rows = ["lift mm, flow cfm", "2, 41.5", "4, 83.2", "6, 118.9", "8, 140.1"];
    let table = (rows.join("\n") + "\n").into_bytes();
    let request = FlowRequest {
        files: vec![Offered::Typed(table)],
        part: "h2/b".to_owned(),
        ports: vec!["inlet:1".to_owned()],
        name: Some("sheet-9".to_owned()),
        on: Some("2026-05-30".to_owned()),
        set: vec!["test-pressure=28 inH2O".to_owned(), "bore-fixture=86 mm".to_owned()],
        note: Some("by hand".to_owned()),
        ..FlowRequest::default()
    };
    flow::flow(&direct.book(), &context(), &request)
        .unwrap_or_else(|failure| panic!("{:#?}", failure.findings));
    let first = numbers(&keyed, "flow", None)["row"];
    let mut text = "part = h2/b\nport = inlet:1\nname = sheet-9\non = 2026-05-30\nnote = by hand\n\
        test-pressure = 28 inH2O\nbore-fixture = 86 mm\n"
        .to_owned();
    for (number, row) in (first..).zip(rows) {
        text.push_str(&format!("{number} = {row}\n"));
    }
    keyed.key("flow", None, &text).unwrap_or_else(|why| panic!("{why}\n{text}"));
    let entered = direct.read("flow/sheet-9.yaml");
    assert_eq!(keyed.read("flow/sheet-9.yaml"), entered);
    let printed = direct.printed("flow", None, Some("sheet-9"));
    again.key("flow", None, &printed).unwrap_or_else(|why| panic!("{why}\n{printed}"));
    assert_eq!(again.read("flow/sheet-9.yaml"), entered, "{printed}");
}

/// A table written by hand: keyed in, and the form of it gives the same bytes again.
#[test]
fn a_table_by_hand_is_the_same_bytes() {
    let (keyed, again) = (Bench::demo(), Bench::demo());
    let lines = numbers(&keyed, "pull", None);
    let first = lines["row"];
    let mut text = "session = 0418a\nbuild = b1\ncorrection = observed\nkind = step\n".to_owned();
    let rows = ["rpm, torque N.m", "3000, 101.5", "4000, 118.25", "5000, 121.0", "6000, 117.5"];
    for (number, row) in (first..).zip(rows) {
        text.push_str(&format!("{number} = {row}\n"));
    }
    keyed.key("pull", None, &text).unwrap_or_else(|why| panic!("{why}\n{text}"));
    let library = Library::at_head(&keyed.book()).unwrap();
    let pull = library.pull_paths().unwrap().iter().rfind(|(id, _)| id.starts_with("0418a-"));
    let (id, path) = pull.map(|(id, path)| (id.clone(), path.clone())).unwrap();
    let pull = library.pull(&id).unwrap().unwrap();
    let table = pull.raw.first().unwrap();
    assert_eq!(table.sha256, mulebook::store::digest((rows.join("\n") + "\n").as_bytes()));
    let printed = keyed.printed("pull", None, Some(&id));
    again.key("pull", None, &printed).unwrap_or_else(|why| panic!("{why}\n{printed}"));
    assert_eq!(again.read(&path), keyed.read(&path), "{printed}");
}

/// A blank form keyed back enters nothing, and every form prints within 80 columns.
#[test]
fn a_blank_form_enters_nothing_and_fits_the_paper() {
    let bench = Bench::demo();
    let mut asked: Vec<(String, Option<&str>)> =
        kinds().parts.keys().map(|kind| (kind.clone(), None)).collect();
    for kind in ["build", "session", "cell", "instrument", "pull", "flow"] {
        asked.push((kind.to_owned(), None));
    }
    for about in ["h2/b", "b1", "0411a-01", "tower"] {
        asked.push(("measure".to_owned(), Some(about)));
    }
    asked.push(("rework".to_owned(), Some("h2")));
    for (kind, about) in asked {
        let printed = bench.printed(&kind, about, None);
        for line in printed.lines() {
            assert!(unicode_width::UnicodeWidthStr::width(line) <= 80, "{kind}: {line}");
        }
        let refused = bench.key(&kind, None, &printed).unwrap_err();
        let named = about.is_some();
        assert!(refused.contains(if named { "" } else { "form-blank" }), "{kind}: {refused}");
    }
}
