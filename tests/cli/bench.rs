//! A bench to run the program on: a book in a folder of its own, a fixed clock, a known person, no home.

use std::collections::BTreeMap;
use std::fs;
use std::io::Write;
use std::path::Path;
use std::path::PathBuf;
use std::process::Command;
use std::process::Stdio;
use std::sync::OnceLock;

use serde_json::Value as Json;

use super::collect;

/// The time of every command that says no other.
pub(crate) const NOW: &str = "2026-04-12T15:20:00+02:00";

/// What a run of the program said.
#[derive(Debug, Clone)]
pub(crate) struct Said {
    pub(crate) code: i32,
    pub(crate) out: String,
    pub(crate) error: String,
}

impl Said {
    /// The answer, which was asked for as JSON.
    pub(crate) fn json(&self) -> Json {
        serde_json::from_str(&self.out).unwrap_or_else(|error| panic!("no JSON ({error}): {self:?}"))
    }

    /// The same, which must have been done.
    pub(crate) fn done(self) -> Self {
        assert_eq!(self.code, 0, "{}{}", self.out, self.error);
        self
    }
}

/// A folder with files and perhaps a book in `book/`.
pub(crate) struct Bench {
    folder: tempfile::TempDir,
    now: String,
    typed: String,
}

impl Bench {
    /// An empty folder.
    pub(crate) fn empty() -> Self {
        Self {
            folder: tempfile::tempdir().expect("a folder for the test"),
            now: NOW.to_owned(),
            typed: String::new(),
        }
    }

    fn copy_of(from: &Path) -> Self {
        let bench = Self::empty();
        collect::copy(from, bench.folder.path(), &|_| true);
        bench
    }

    /// A new book without records.
    pub(crate) fn new() -> Self {
        static MADE: OnceLock<Bench> = OnceLock::new();
        let made = MADE.get_or_init(|| {
            let bench = Self::empty();
            bench.run_in(bench.path(), &["new", "book", "--name", "bench", "--zone", "+02:00"], "").done();
            bench
        });
        Self::copy_of(made.path())
    }

    /// A small shop: an engine, two heads, a header and a spacer, two builds, a session with two pulls.
    pub(crate) fn shop() -> Self {
        static MADE: OnceLock<Bench> = OnceLock::new();
        let made = MADE.get_or_init(|| {
            let bench = Self::new();
            for line in SHOP {
                bench.run(line).done();
            }
            for order in 1..=2 {
                bench.put(&format!("run-{order}.csv"), &trace(order));
                let file = format!("../run-{order}.csv");
                bench
                    .run(&["pull", &file, "--build", "b1", "--set", "kind=sweep", "--correction", "observed"])
                    .done();
            }
            bench
        });
        Self::copy_of(made.path())
    }

    /// The demo's book.
    pub(crate) fn demo() -> Self {
        static MADE: OnceLock<Bench> = OnceLock::new();
        let made = MADE.get_or_init(|| {
            let bench = Self::empty();
            bench.run_in(bench.path(), &["demo", "book"], "").done();
            bench
        });
        Self::copy_of(made.path())
    }

    /// The same bench at another time.
    pub(crate) fn at(mut self, now: &str) -> Self {
        now.clone_into(&mut self.now);
        self
    }

    /// The same bench with something typed on standard input of the commands that are shown.
    pub(crate) fn typing(mut self, typed: &str) -> Self {
        typed.clone_into(&mut self.typed);
        self
    }

    /// The folder.
    pub(crate) fn path(&self) -> &Path {
        self.folder.path()
    }

    /// The book's folder.
    pub(crate) fn book(&self) -> PathBuf {
        self.folder.path().join("book")
    }

    /// Writes a file beside the book, or in it as `book/…`.
    pub(crate) fn put(&self, name: &str, text: &str) {
        let path = self.path().join(name);
        fs::create_dir_all(path.parent().expect("a file lies in a folder")).expect("a folder can be made");
        fs::write(path, text).expect("a file can be written");
    }

    /// Reads a file of the book.
    pub(crate) fn read(&self, name: &str) -> String {
        fs::read_to_string(self.book().join(name)).unwrap_or_else(|error| panic!("{name}: {error}"))
    }

    /// Replaces a text that stands once in a file of the book, by hand.
    pub(crate) fn edit(&self, name: &str, from: &str, to: &str) {
        let text = self.read(name);
        assert_eq!(text.matches(from).count(), 1, "`{from}` stands once in {name}:\n{text}");
        self.put(&format!("book/{name}"), &text.replace(from, to));
    }

    /// Runs git on the book.
    pub(crate) fn git(&self, arguments: &[&str]) -> String {
        let output = Command::new("git")
            .arg("-C")
            .arg(self.book())
            .args(arguments)
            .env("GIT_CONFIG_GLOBAL", "/dev/null")
            .env("GIT_CONFIG_SYSTEM", "/dev/null")
            .output()
            .expect("git is installed");
        assert!(output.status.success(), "git {arguments:?}: {}", String::from_utf8_lossy(&output.stderr));
        String::from_utf8_lossy(&output.stdout).into_owned()
    }

    /// The commit that the book stands on.
    pub(crate) fn head(&self) -> String {
        self.git(&["rev-parse", "HEAD"]).trim().to_owned()
    }

    /// Runs the program in the book's folder.
    pub(crate) fn run(&self, arguments: &[&str]) -> Said {
        self.run_in(&self.book(), arguments, "")
    }

    /// Runs the program in the book's folder with something on standard input.
    pub(crate) fn run_with(&self, arguments: &[&str], input: &str) -> Said {
        self.run_in(&self.book(), arguments, input)
    }

    /// Runs the program in a folder.
    pub(crate) fn run_in(&self, folder: &Path, arguments: &[&str], input: &str) -> Said {
        let clear = BTreeMap::from([
            ("MULEBOOK_NOW", self.now.as_str()),
            ("MULEBOOK_PERSON", "mk"),
            ("LC_ALL", "C"),
            ("GIT_AUTHOR_NAME", "Mara Kessel"),
        ]);
        self.run_under(&clear, folder, arguments, input)
    }

    /// Runs the program with exactly this environment.
    pub(crate) fn run_under(
        &self,
        environment: &BTreeMap<&str, &str>,
        folder: &Path,
        arguments: &[&str],
        input: &str,
    ) -> Said {
        let mut child = Command::new(env!("CARGO_BIN_EXE_mulebook"))
            .args(arguments)
            .current_dir(folder)
            .env_clear()
            .envs(environment)
            .stdin(Stdio::piped())
            .stdout(Stdio::piped())
            .stderr(Stdio::piped())
            .spawn()
            .expect("the program starts");
        let mut stdin = child.stdin.take().expect("standard input is piped");
        // A program that does not read closes its end first; that is no fault of the test.
        drop(stdin.write_all(input.as_bytes()));
        drop(stdin);
        let output = child.wait_with_output().expect("the program ends");
        Said {
            code: output.status.code().unwrap_or_else(|| panic!("{arguments:?} was killed")),
            out: String::from_utf8(output.stdout).expect("text is UTF-8"),
            error: String::from_utf8(output.stderr).expect("text is UTF-8"),
        }
    }

    /// Runs a command in a folder below the bench, as text on a copy and as JSON here; holds the JSON against its
    /// schema, keeps it for the second look, and gives both for a snapshot.
    pub(crate) fn show_in(&self, folder: &str, name: &str, arguments: &[&str]) -> String {
        let copy = Self::copy_of(self.path()).at(&self.now);
        let before = self.book().join(".git").exists().then(|| self.head());
        let text = copy.run_in(&copy.path().join(folder), arguments, &self.typed);
        let mut with_json = arguments.to_vec();
        with_json.push("--json");
        let json = self.run_in(&self.path().join(folder), &with_json, &self.typed);
        let line = arguments.iter().map(|word| quoted(word)).collect::<Vec<_>>().join(" ");
        assert_eq!(text.code, json.code, "text and JSON end alike: {line}\n{text:?}\n{json:?}");
        if text.code == 1 || text.code == 2 {
            assert_eq!(text.out, "", "{line}: a failure is told on standard error");
            if let Some(before) = before {
                assert_eq!(self.head(), before, "{line}: a failure changes nothing");
                assert_eq!(self.git(&["status", "--porcelain"]), copy.git(&["status", "--porcelain"]));
            }
        } else {
            assert_eq!(text.error, "", "{line}");
        }
        // What the parser of the command line says is text, whatever was asked for.
        let told = if json.out.is_empty() {
            json.error.clone()
        } else {
            checked(name, &json.out);
            json.out.clone()
        };
        let shown = format!(
            "$ mulebook {line}\n{}{}-- exit {}\n\n$ mulebook {line} --json\n{told}",
            text.out, text.error, text.code
        );
        let shown = shown.replace(&copy.path().display().to_string(), "[folder]");
        shown.replace(&self.path().display().to_string(), "[folder]")
    }
}

/// Holds a JSON answer against the schema of its shape and keeps it.
pub(crate) fn checked(name: &str, json: &str) -> Json {
    let answer: Json = serde_json::from_str(json).unwrap_or_else(|error| panic!("{name}: {error}: {json}"));
    let shape = answer["answer"].as_str().unwrap_or_else(|| panic!("{name}: no shape is named: {json}"));
    let faults = super::shapes::faults(shape, &answer);
    assert!(faults.is_empty(), "{name} against schema/answers/{shape}.json: {}\n{json}", faults.join("\n"));
    collect::answer(shape, name, json);
    answer
}

fn quoted(word: &str) -> String {
    let plain = word.chars().all(|c| c.is_ascii_alphanumeric() || "-_./=,+:".contains(c)) && !word.is_empty();
    if plain { word.to_owned() } else { format!("\"{word}\"") }
}

/// A sweep as a console logs it.
pub(crate) fn trace(number: u32) -> String {
    let mut text = String::from("Time (s),Engine Speed (rpm),Torque (N·m),Air Temp (°C)\n");
    for row in 0..120_u32 {
        let rpm = 3000 + row * 40;
        let torque = 180 + row / 4 + number;
        text.push_str(&format!("{}.{},{rpm},{torque}.5,21.{}\n", row / 10, row % 10, row % 7));
    }
    text
}

/// The commands that write the small shop.
const SHOP: &[&[&str]] = &[
    &[
        "instrument",
        "burette-1",
        "50 cc burette",
        "--uncertainty",
        "volume=±0.1 cc/reading",
        "--calibrated",
        "2026-01-15",
        "--calibrated-by",
        "county metrology",
    ],
    &["instrument", "lamp-1", "timing lamp"],
    &["cell", "tower", "--set", "altitude=listed: 320 m; survey map", "--set", "absorber=eddy-current brake"],
    &["part", "short-block", "mule-1", "--cylinders", "4", "--since", "2026-03-01", "--never", "blower"],
    &[
        "part",
        "cylinder-head",
        "h2",
        "--serial",
        "0417",
        "--since",
        "2026-03-01",
        "--with",
        "burette-1",
        "--set",
        "chamber-volume=48.1 48.0 48.3 48.2 ±0.2 cc",
    ],
    &["part", "cylinder-head", "h3", "--since", "2026-03-01"],
    &["part", "header", "long-1", "--since", "2026-03-01"],
    &["part", "spacer", "sp-25", "--since", "2026-03-01", "--set", "height=25.0 mm"],
    &[
        "build",
        "b1",
        "--engine",
        "mule-1",
        "--since",
        "2026-04-12",
        "--set",
        "short-block=mule-1/a",
        "--set",
        "cylinder-head=h2/a",
        "--set",
        "header=long-1/a",
        "--set",
        "ignition-timing=31 deg BTDC",
        "--with",
        "lamp-1",
    ],
    &["session", "0412a", "--cell", "tower", "--engine", "mule-1", "--warm-up", "8 min at 2500 rpm"],
];

/// A text with its figures to ten digits: what a mathematical library makes of the last ones differs by machine.
pub(crate) fn steady(text: &str) -> String {
    let figure = |found: char| found.is_ascii_digit() || found == '.';
    let mut steady = String::with_capacity(text.len());
    let mut rest = text;
    while let Some(start) = rest.find(figure) {
        let (before, from) = rest.split_at(start);
        let (word, after) = from.split_at(from.find(|found| !figure(found)).unwrap_or(from.len()));
        steady.push_str(before);
        match word.parse::<f64>() {
            Ok(value) if word.contains('.') && word.len() > 13 => {
                let rounded: f64 = format!("{value:.9e}").parse().expect("a figure");
                steady.push_str(&rounded.to_string());
            }
            _ => steady.push_str(word),
        }
        rest = after;
    }
    steady + rest
}
