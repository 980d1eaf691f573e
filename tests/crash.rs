//! The program killed while it writes: the next command says what it found, and the book is old or new, never other.
//!
//! strace kills it before every call of a kind that changes the disk. Opening a file for writing needs no place of its
//! own: what it leaves is what the first write into the file is killed on. Where strace is missing the program is
//! killed after delays instead, more often than where both are done.
#![cfg(unix)]
#![expect(
    clippy::disallowed_methods,
    clippy::disallowed_types,
    clippy::print_stderr,
    reason = "these tests start processes, look at the disk and say what they leave out"
)]
#![expect(clippy::unwrap_used, reason = "a test that fails shall stop")]

#[path = "support/left_out.rs"]
mod left_out;
#[path = "support/shop.rs"]
mod shop;

use std::fs;
use std::os::unix::process::ExitStatusExt;
use std::path::{Path, PathBuf};
use std::process::{Command, Output, Stdio};
use std::time::{Duration, Instant};

use left_out::left_out;
use shop::{State, assert_whole, copy, git, program, pull_arguments, raw, said, shop, state, surround};

/// Calls that change what is on the disk, as two kinds of machine name them.
const CHANGES: [&str; 12] = [
    "rename",
    "renameat",
    "renameat2",
    "link",
    "linkat",
    "unlink",
    "unlinkat",
    "rmdir",
    "mkdir",
    "mkdirat",
    "write",
    "ftruncate",
];
/// Calls between which nothing changes, for the long sweep.
const OTHERS: [&str; 8] =
    ["fsync", "fdatasync", "openat", "close", "flock", "fchmod", "getdents64", "copy_file_range"];

/// A command that writes, and the book it is run on.
struct Task {
    word: &'static str,
    arguments: Vec<String>,
    folder: tempfile::TempDir,
    root: PathBuf,
    old: State,
    new: State,
    /// Exit code of the same command run again after it was finished.
    again: i32,
}

impl Task {
    /// Runs the command whole on one copy of the book, to know the state it leads to.
    fn new(word: &'static str, arguments: &[&str], prepare: impl Fn(&Path)) -> Self {
        let (folder, root) = shop();
        prepare(&root);
        // One pack instead of many objects: copies are quick, and a pack is what a cloned book has.
        git(&root, &["gc", "--quiet", "--prune=now"]);
        let old = state(&root);
        let arguments: Vec<String> = arguments.iter().map(|&word| word.to_owned()).collect();
        let mut task = Self { word, arguments, folder, root, new: old.clone(), old, again: 0 };
        let (_copy, root) = task.copy();
        let output = task.program(&root).output().unwrap();
        assert!(output.status.success(), "{}", said(&output));
        task.new = state(&root);
        assert_ne!(task.old.head, task.new.head);
        assert_eq!(git(&root, &["rev-parse", "HEAD~1"]), task.old.head);
        task
    }

    fn copy(&self) -> (tempfile::TempDir, PathBuf) {
        let folder = tempfile::tempdir_in(self.folder.path()).unwrap();
        let root = folder.path().join("shop bücher");
        copy(&self.root, &root);
        (folder, root)
    }

    fn program(&self, root: &Path) -> Command {
        program(root, &self.arguments.iter().map(String::as_str).collect::<Vec<_>>())
    }
}

/// A pull with a new columns record and a raw file in git, beside two edits that are not kept yet.
fn pull() -> Task {
    Task::new("pull", &pull_arguments(&raw("tarnbeck-0411-01.csv")), |root| {
        edit(root, "instruments/rule-1.yaml", "note: \"lent out\"\n");
        fs::write(root.join("bench notes.txt"), "not a record\n").unwrap();
    })
}

/// The same, with the raw file too large for git.
fn large_pull() -> Task {
    Task::new("pull", &pull_arguments(&raw("tarnbeck-0411-01.csv")), |root| {
        let page = fs::read_to_string(root.join("book.yaml")).unwrap();
        assert!(page.contains("raw-limit: 10 MB"));
        fs::write(root.join("book.yaml"), page.replace("raw-limit: 10 MB", "raw-limit: 10 kB")).unwrap();
        shop::done(root, &["keep"]);
        edit(root, "instruments/rule-1.yaml", "note: \"lent out\"\n");
    })
}

/// Edits by hand: changed, new and removed manifests at once.
fn keep() -> Task {
    let spare = |tag: &str| {
        format!(
            "# yaml-language-server: $schema=../../.schema/header.json\npart: {tag}\nkind: header\nstates:\n  - state: a\n    since: 2026-03-20\n"
        )
    };
    let mut task = Task::new("keep", &["keep", "-m", "Edited by hand"], |root| {
        fs::write(root.join("parts/header/spare-1.yaml"), spare("spare-1")).unwrap();
        shop::done(root, &["keep"]);
        fs::remove_file(root.join("parts/header/spare-1.yaml")).unwrap();
        fs::write(root.join("parts/header/spare-2.yaml"), spare("spare-2")).unwrap();
        edit(root, "instruments/rule-1.yaml", "note: \"lent out\"\n");
        edit(root, "parts/cylinder-head/h1.yaml", "note: \"on the shelf\"\n");
    });
    // There is nothing left to keep.
    task.again = 1;
    task
}

fn measure() -> Task {
    let arguments = ["measure", "h1/a", "inlet-port-volume", "170 cc", "--with", "burette-1"];
    Task::new("measure", &arguments, |root| {
        edit(root, "instruments/rule-1.yaml", "note: \"lent out\"\n");
    })
}

/// A photo goes in with the figure that it shows, or neither does.
fn measure_with_a_photo() -> Task {
    let photo = raw("../photos/burette-h2-b.png");
    let arguments = ["measure", "h1/a", "inlet-port-volume", "170 cc", "--photo", &photo];
    Task::new("measure", &arguments, |root| {
        edit(root, "instruments/rule-1.yaml", "note: \"lent out\"\n");
    })
}

/// A pull is moved to another build's folder.
fn correct() -> Task {
    let arguments = ["correct", "0411a-01", "--set", "build=b2", "--because", "entered for the wrong build"];
    let mut task = Task::new("correct", &arguments, |root| {
        shop::done(root, &pull_arguments(&raw("tarnbeck-0411-01.csv")));
        edit(root, "instruments/rule-1.yaml", "note: \"lent out\"\n");
    });
    task.again = 1;
    task
}

fn edit(root: &Path, inside: &str, line: &str) {
    let place = root.join(inside);
    let mut text = fs::read_to_string(&place).unwrap();
    text.push_str(line);
    fs::write(place, text).unwrap();
}

/// Whether strace is here and may be used.
fn strace_is_here() -> bool {
    let mut probe = Command::new("strace");
    probe.args(["-f", "-qq", "-o", "/dev/null", "-e", "trace=?rename", "true"]);
    let here = probe.output().is_ok_and(|output| output.status.success());
    if !here {
        left_out("kills and faults at single calls, as strace is missing or may not be used");
    }
    here
}

/// Runs the task with one call tampered with.
fn tampered(task: &Command, call: &str, how: &str, count: u32) -> (Output, bool) {
    let log = tempfile::NamedTempFile::new().unwrap();
    let mut command = Command::new("strace");
    command.args(["-f", "-qq", "-o"]).arg(log.path());
    command.args(["-e", &format!("trace=?{call}"), "-e", &format!("inject=?{call}:{how}:when={count}")]);
    command.arg(task.get_program()).args(task.get_args());
    surround(&mut command);
    let output = command.output().unwrap();
    let hit = if how.starts_with("signal") {
        killed(&output)
    } else {
        fs::read_to_string(log.path()).unwrap().contains("INJECTED")
    };
    (output, hit)
}

/// strace ends as its program did; a shell says 137.
fn killed(output: &Output) -> bool {
    output.status.signal() == Some(9) || output.status.code() == Some(137)
}

/// What became of the runs that were killed.
#[derive(Debug, Default)]
struct Tally {
    undone: usize,
    finished: usize,
    /// Killed before anything or after everything: there was nothing to clear up.
    silent: usize,
}

impl Tally {
    fn all(&self) -> usize {
        self.undone + self.finished + self.silent
    }
}

/// After a kill: nothing half-written shows, the next command says what it did, and all is old or new.
fn look_after(task: &Task, root: &Path, tally: &mut Tally, place: &str) {
    let journal = root.join(".git/mulebook/journal").exists();
    let old = git(root, &["rev-parse", "HEAD"]) == task.old.head;
    for (inside, bytes) in shop::files(root) {
        let beside = inside.rsplit('/').next().is_some_and(|name| name.starts_with(".mulebook-"));
        let known = [&task.old, &task.new].into_iter().any(|state| state.files.get(&inside) == Some(&bytes));
        assert!(known || beside || inside.ends_with('/'), "{place}: {inside} is neither old nor new");
    }

    let next = program(root, &["gaps", "b1"]).output().unwrap();
    let words = said(&next);
    assert!(next.status.success(), "{place}: {words}");
    let expected = match (journal, old) {
        (false, _) => None,
        (true, true) => Some(format!("an interrupted `{}` was taken back", task.word)),
        (true, false) => Some(format!("an interrupted `{}` was finished", task.word)),
    };
    match &expected {
        Some(expected) => assert!(words.contains(expected.as_str()), "{place}: {words}"),
        None => assert!(!words.contains("interrupted"), "{place}: {words}"),
    }
    match (journal, old) {
        (false, _) => tally.silent += 1,
        (true, true) => tally.undone += 1,
        (true, false) => tally.finished += 1,
    }

    let found = state(root);
    assert_eq!(&found, if old { &task.old } else { &task.new }, "{place}");
    assert_whole(root);
    if tally.all().is_multiple_of(8) {
        let audit = program(root, &["audit"]).output().unwrap();
        assert!(audit.status.success(), "{place}: {}", said(&audit));
    }

    let again = task.program(root).output().unwrap();
    let words = said(&again);
    assert!(!words.contains("interrupted"), "{place}: told twice: {words}");
    if old {
        assert!(again.status.success(), "{place}: {words}");
        assert_eq!(state(root), task.new, "{place}: run again");
    } else {
        assert_eq!(again.status.code(), Some(task.again), "{place}: {words}");
    }
}

/// Kills before each call in turn until a run is untouched; of the many writes and new folders only one in `every`.
fn sweep(task: &Task, calls: &[&str], every: u32) -> Option<Tally> {
    if !strace_is_here() {
        return None;
    }
    let mut tally = Tally::default();
    for call in calls {
        let step = match *call {
            "openat" | "close" | "getdents64" => 12,
            "write" | "mkdir" => every,
            _ => 1,
        };
        for count in (1..).step_by(step as usize) {
            let (_copy, root) = task.copy();
            let (output, hit) = tampered(&task.program(&root), call, "signal=KILL", count);
            if !hit {
                assert!(output.status.success(), "{call} {count}: {}", said(&output));
                assert_eq!(state(&root), task.new);
                break;
            }
            look_after(task, &root, &mut tally, &format!("{} {call} {count}", task.word));
        }
    }
    eprintln!("{} killed {} times: {tally:?}", task.word, tally.all());
    Some(tally)
}

#[test]
fn pull_killed_before_any_change() {
    if let Some(tally) = sweep(&pull(), &CHANGES, 3) {
        assert!(tally.all() >= 45 && tally.undone >= 7 && tally.finished >= 12, "{tally:?}");
    }
}

#[test]
fn keep_killed_before_any_change() {
    if let Some(tally) = sweep(&keep(), &CHANGES, 3) {
        assert!(tally.all() >= 32 && tally.undone >= 5 && tally.finished >= 6, "{tally:?}");
    }
}

#[test]
fn measure_killed_before_any_change() {
    if let Some(tally) = sweep(&measure(), &CHANGES, 3) {
        assert!(tally.all() >= 27 && tally.undone >= 5 && tally.finished >= 8, "{tally:?}");
    }
}

#[test]
fn measure_with_a_photo_killed_before_any_change() {
    if let Some(tally) = sweep(&measure_with_a_photo(), &CHANGES, 3) {
        assert!(tally.all() >= 27 && tally.undone >= 5 && tally.finished >= 8, "{tally:?}");
    }
}

/// The long sweep: every write and every call that only reads or syncs as well, and two more commands.
#[test]
#[ignore = "takes minutes"]
fn every_command_killed_before_any_call() {
    let calls: Vec<&str> = CHANGES.into_iter().chain(OTHERS).collect();
    for (task, least) in [(measure(), 70), (correct(), 70), (keep(), 90), (large_pull(), 120), (pull(), 130)]
    {
        let tally = sweep(&task, &calls, 1).expect("the long sweep needs strace");
        assert!(tally.all() >= least, "{} {tally:?}", task.word);
    }
}

#[test]
fn a_command_that_clears_up_may_be_killed_too() {
    if !strace_is_here() {
        return;
    }
    let task = keep();
    let mut kills = 0;
    for moved in [false, true] {
        // The first kill that leaves a journal on this side of the branch's move.
        let (_copy, half) = (1..40)
            .find_map(|count| {
                let (copy, root) = task.copy();
                tampered(&task.program(&root), "rename", "signal=KILL", count);
                let journal = root.join(".git/mulebook/journal").exists();
                let head = git(&root, &["rev-parse", "HEAD"]);
                (journal && (head == task.new.head) == moved).then_some((copy, root))
            })
            .expect("a kill between the journal and its removal");
        for call in ["rename", "renameat", "unlink", "unlinkat", "rmdir", "ftruncate"] {
            for count in 1.. {
                let folder = tempfile::tempdir_in(task.folder.path()).unwrap();
                let root = folder.path().join("shop bücher");
                copy(&half, &root);
                let reader = program(&root, &["gaps", "b1"]);
                let (output, hit) = tampered(&reader, call, "signal=KILL", count);
                if !hit {
                    assert!(output.status.success(), "{}", said(&output));
                    break;
                }
                kills += 1;
                let next = program(&root, &["gaps", "b1"]).output().unwrap();
                assert!(next.status.success(), "{call} {count}: {}", said(&next));
                let expected = if moved { &task.new } else { &task.old };
                assert_eq!(&state(&root), expected, "{call} {count}");
                assert_whole(&root);
            }
        }
    }
    eprintln!("recoveries killed {kills} times");
    assert!(kills >= 10, "{kills}");
}

/// The exit code tells the truth: 0 is new and whole; anything else is old, or says that the commit stands.
#[test]
fn a_disk_that_fails_is_told_by_the_exit_code() {
    if !strace_is_here() {
        return;
    }
    let task = measure();
    let (mut failed, mut stands) = (0, 0);
    for (call, error) in [
        ("fsync", "EIO"),
        ("rename", "ENOSPC"),
        ("renameat", "ENOSPC"),
        ("renameat2", "ENOSPC"),
        ("linkat", "ENOSPC"),
        ("write", "ENOSPC"),
    ] {
        // Syncs and writes are many, and one in three of them is taken.
        for count in (1..).step_by(if matches!(call, "fsync" | "write") { 3 } else { 1 }) {
            let (_copy, root) = task.copy();
            let (output, hit) = tampered(&task.program(&root), call, &format!("error={error}"), count);
            let words = said(&output);
            let place = format!("{call} {count}: {words}");
            let head = git(&root, &["rev-parse", "HEAD"]);
            if output.status.success() {
                assert_eq!(head, task.new.head, "{place}");
            } else {
                failed += 1;
                assert_eq!(output.status.code(), Some(1), "{place}");
                // An answer that could not be written says nothing more: what was done is done.
                let told = head == task.old.head || words.contains(" stands, ") || call == "write";
                assert!(told, "{place}");
                stands += usize::from(head != task.old.head);
            }
            let next = program(&root, &["gaps", "b1"]).output().unwrap();
            assert!(next.status.success(), "{place}: {}", said(&next));
            let found = state(&root);
            assert!(found == task.old || found == task.new, "{place}: {found:#?}");
            assert_eq!(found.head, head, "{place}");
            assert_whole(&root);
            if !hit {
                assert!(output.status.success(), "{place}");
                break;
            }
        }
    }
    eprintln!("failed {failed} times, {stands} of them after the commit stood");
    assert!(failed >= 20 && stands >= 3, "{failed} {stands}");
}

#[test]
fn an_answer_that_cannot_be_written_is_no_success() {
    let Ok(full) = fs::OpenOptions::new().write(true).open("/dev/full") else {
        left_out("a full standard output, as this system has no /dev/full");
        return;
    };
    let task = measure();
    let (_copy, root) = task.copy();
    let status = task.program(&root).stdout(full).stderr(Stdio::null()).status().unwrap();
    assert_eq!(status.code(), Some(1));
    assert_eq!(state(&root), task.new);
}

#[test]
fn killed_at_any_moment() {
    let rounds = if strace_is_here() { 6 } else { 60 };
    for task in [pull(), keep(), measure()] {
        let (_copy, root) = task.copy();
        let begun = Instant::now();
        task.program(&root).output().unwrap();
        let whole = begun.elapsed();
        let mut tally = Tally::default();
        for round in 0..rounds {
            let (_copy, root) = task.copy();
            let mut child = task.program(&root).stdout(Stdio::null()).stderr(Stdio::null()).spawn().unwrap();
            std::thread::sleep(whole * round / rounds + Duration::from_micros(u64::from(round) * 37));
            child.kill().unwrap();
            let status = child.wait().unwrap();
            if status.signal() == Some(9) {
                look_after(&task, &root, &mut tally, &format!("{} after a delay, {round}", task.word));
            } else {
                assert!(status.success());
                assert_eq!(state(&root), task.new);
            }
        }
        eprintln!("{} killed {} times after a delay: {tally:?}", task.word, tally.all());
        assert!(tally.all() >= rounds as usize / 4, "{tally:?}");
    }
}
