//! Every command that writes, each on a book made ready for it.

use std::fs;
use std::path::{Path, PathBuf};
use std::process::Command;
use std::sync::OnceLock;

use crate::shop::{self, State, copy, done, git, program, pull_arguments, raw, said, shop, state};

/// A command that writes, the book it is run on, and the states before and after.
pub(crate) struct Task {
    pub(crate) word: &'static str,
    pub(crate) arguments: Vec<String>,
    folder: tempfile::TempDir,
    root: PathBuf,
    pub(crate) old: State,
    pub(crate) new: State,
}

impl Task {
    /// Runs the command whole on one copy of the book, to know the state it leads to.
    fn new(word: &'static str, arguments: &[&str], prepare: impl Fn(&Path)) -> Self {
        let folder = tempfile::tempdir().unwrap();
        let root = folder.path().join("made").join("shop bücher");
        copy(template(), &root);
        // What reading and checking make again would only make the runs unlike each other.
        done(&root, &["gaps", "b1"]);
        // What is damaged has no state of its own that git could tell: mending leads back to the one before.
        let whole = (word == "mend").then(|| state(&root));
        prepare(&root);
        let old = whole.unwrap_or_else(|| state(&root));
        let arguments = arguments.iter().map(|&word| word.to_owned()).collect();
        let mut task = Self { word, arguments, folder, root, new: old.clone(), old };
        let (_copy, root) = task.copy();
        let output = task.program(&root).output().unwrap();
        assert!(output.status.success(), "{}: {}", task.word, said(&output));
        task.new = state(&root);
        assert_eq!(task.old == task.new, word == "mend", "{word}");
        task
    }

    /// A copy of the book as it is before the command.
    pub(crate) fn copy(&self) -> (tempfile::TempDir, PathBuf) {
        let folder = tempfile::tempdir_in(self.folder.path()).unwrap();
        let root = folder.path().join("shop bücher");
        copy(&self.root, &root);
        (folder, root)
    }

    /// The command on a copy.
    pub(crate) fn program(&self, root: &Path) -> Command {
        program(root, &self.arguments.iter().map(String::as_str).collect::<Vec<_>>())
    }
}

/// The demo shop's manifests, its first pull, an edit that is not kept and a note beside; in one pack, as a clone has it.
fn template() -> &'static Path {
    static MADE: OnceLock<(tempfile::TempDir, PathBuf)> = OnceLock::new();
    let (_folder, root) = MADE.get_or_init(|| {
        let (folder, root) = shop();
        done(&root, &pull_arguments(&raw("tarnbeck-0411-01.csv")));
        git(&root, &["gc", "--quiet", "--prune=now"]);
        edit(&root, "instruments/rule-1.yaml", "note: \"lent out\"\n");
        fs::write(root.join("bench notes.txt"), "not a record\n").unwrap();
        (folder, root)
    });
    root
}

/// Adds a line to a file.
pub(crate) fn edit(root: &Path, inside: &str, line: &str) {
    let place = root.join(inside);
    let mut text = fs::read_to_string(&place).unwrap();
    text.push_str(line);
    fs::write(place, text).unwrap();
}

/// Commands that enter or change one record.
pub(crate) fn entering() -> Vec<Task> {
    let claim = [
        "claim",
        "longer-header",
        "--says",
        "The stepped header gains at least 2 N·m",
        "--subject",
        "header",
        "--base",
        "engine=mule-1,header=long-1",
        "--test",
        "engine=mule-1,header=step-1",
        "--least",
        "2 N·m",
    ];
    let photo = raw("../photos/burette-h2-b.png");
    let plain: [(&'static str, &[&str]); 12] = [
        ("part", &["part", "spacer", "sp-99", "--how", "bought new"]),
        ("build", &["build", "b9", "--from", "b1", "--set", "header=step-1"]),
        ("session", &["session", "0601a", "--cell", "tower", "--engine", "mule-1"]),
        ("cell", &["cell", "yard", "--set", "altitude=listed: 320 m; survey map"]),
        ("instrument", &["instrument", "burette-9", "50 cc burette"]),
        ("measure", &["measure", "h1/a", "inlet-port-volume", "170 cc", "--with", "burette-1"]),
        ("rework", &["rework", "h1", "mill-deck", "--detail", "cut=0.40 mm", "--on", "2026-05-01"]),
        ("correct", &["correct", "0411a-01", "--set", "build=b2", "--because", "the wrong build"]),
        ("doubt", &["doubt", "burette-1", "--because", "read two cc high against the pipette"]),
        ("claim", &claim),
        ("receipt", &["dossier", "--receipt"]),
        ("measure", &["measure", "h1/a", "inlet-port-volume", "170 cc", "--photo", &photo]),
    ];
    plain.into_iter().map(|(word, arguments)| Task::new(word, arguments, |_| {})).collect()
}

/// Commands that take in raw files: into git, beside it, and a sheet of the flow bench.
pub(crate) fn taking_in() -> Vec<Task> {
    let second = raw("tarnbeck-0411-02.csv");
    let mut large = Task::new("pull", &pull_arguments(&second), |root| {
        // Only the page is kept here: the edit beside it stays one.
        let page = fs::read_to_string(root.join("book.yaml")).unwrap();
        assert!(page.contains("raw-limit: 10 MB"));
        fs::write(root.join("book.yaml"), page.replace("raw-limit: 10 MB", "raw-limit: 10 kB")).unwrap();
        git(root, &["commit", "--quiet", "-m", "A lower limit", "book.yaml"]);
    });
    large.word = "pull";
    let sheet = template().with_file_name("sheet.csv");
    fs::write(&sheet, "lift mm,flow cfm\n2,40.1\n4,82.3\n6,118.0\n8,139.9\n").unwrap();
    let flow = ["flow", sheet.to_str().unwrap(), "--part", "h1/a", "--port", "inlet:1"];
    let photo = raw("../photos/burette-h2-b.png");
    let shown = ["measure", "h1/a", "inlet-port-volume", "170 cc", "--photo", &photo];
    vec![
        Task::new("pull", &pull_arguments(&second), |_| {}),
        large,
        Task::new("flow", &flow, |_| {}),
        Task::new("measure", &shown, |_| {}),
    ]
}

/// Commands that keep what others wrote: hand edits, newer schemas.
pub(crate) fn keeping() -> Vec<Task> {
    let spare = |tag: &str| {
        format!(
            "# yaml-language-server: $schema=../../.schema/header.json\npart: {tag}\nkind: header\nstates:\n  - state: a\n    since: 2026-03-20\n"
        )
    };
    let keep = Task::new("keep", &["keep", "-m", "Edited by hand"], |root| {
        fs::write(root.join("parts/header/spare-2.yaml"), spare("spare-2")).unwrap();
        fs::remove_file(root.join("bench notes.txt")).unwrap();
        edit(root, "parts/cylinder-head/h1.yaml", "note: \"on the shelf\"\n");
    });
    let schemas = Task::new("keep", &["keep", "--schemas"], older_schemas);
    vec![keep, schemas]
}

/// Commits schemas of an older version, as a book has that an older program kept.
pub(crate) fn older_schemas(root: &Path) {
    for name in ["header", "spacer", "pull"] {
        let place = root.join(format!(".schema/{name}.json"));
        let text = fs::read_to_string(&place).unwrap();
        let version =
            text.split("\"x-version\": ").nth(1).unwrap().split([',', '\n']).next().unwrap().to_owned();
        let older = text.replacen(&format!("\"x-version\": {version}"), "\"x-version\": 0", 1);
        assert_ne!(text, older);
        fs::write(&place, older).unwrap();
    }
    git(root, &["commit", "--quiet", "-m", "Schemas of an older program", ".schema"]);
}

/// Mends an index that cannot be read, a file that is gone and a raw file with other bytes, and cleans up.
pub(crate) fn mending() -> Task {
    Task::new("mend", &["mend", "--clean"], |root| {
        fs::write(root.join(".git/index"), "no index at all, and yet long enough to be looked at").unwrap();
        fs::remove_file(root.join("cells/tower.yaml")).unwrap();
        fs::write(root.join("builds/b1/.mulebook-77-3.part"), "half").unwrap();
        let raw = shop::files(root).keys().find(|path| path.starts_with("raw/")).unwrap().clone();
        fs::remove_file(root.join(&raw)).unwrap();
        fs::write(root.join(&raw), "other bytes\n").unwrap();
    })
}
