//! Two processes writing to one book a hundred times each, a reader beside them, and locks that are held or left.
#![expect(
    clippy::disallowed_methods,
    clippy::disallowed_types,
    clippy::print_stderr,
    reason = "these tests start processes, look at the disk and say how it went"
)]
#![expect(clippy::unwrap_used, reason = "a test that fails shall stop")]

#[path = "support/shop.rs"]
mod shop;

use std::fs;
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};
use std::sync::atomic::{AtomicBool, Ordering};
use std::time::{Duration, Instant};

use mulebook::store::Book;
use mulebook::store::LockHolder;
use shop::{assert_whole, done, git, program, pull_arguments, raw, said, shop};

/// How often each process writes.
const EACH: usize = 100;
/// Tells the child of these tests which book to hold.
const HELD: &str = "MULEBOOK_TEST_HELD";

/// Writes until it succeeds; every refusal must be that of a busy book. Returns how often it was refused.
fn insist(root: &Path, arguments: &[&str]) -> usize {
    for refused in 0.. {
        let output = program(root, arguments).output().unwrap();
        if output.status.success() {
            return refused;
        }
        let words = said(&output);
        assert_eq!(output.status.code(), Some(1), "{words}");
        assert!(words.contains("the book is being written by process "), "{words}");
        assert!(refused < 20, "never let in: {words}");
    }
    0
}

fn measure_many(root: &Path, name: &str) -> usize {
    (0..EACH)
        .map(|number| {
            let value = format!("{}.{} cc", 160 + number / 10, number % 10);
            let note = format!("{name} {number}");
            insist(
                root,
                &["measure", "h1/a", "inlet-port-volume", &value, "--with", "burette-1", "--note", &note],
            )
        })
        .sum()
}

/// A short raw file that no other pull has.
fn raw_file(folder: &Path, number: usize) -> PathBuf {
    let text = fs::read_to_string(raw("tarnbeck-0411-01.csv")).unwrap();
    let mut lines: Vec<String> = text.lines().take(60).map(str::to_owned).collect();
    let last = lines.pop().unwrap();
    let mut cells: Vec<String> = last.split(',').map(str::to_owned).collect();
    cells[2] = format!("{}.{}", 100 + number / 10, number % 10);
    lines.push(cells.join(","));
    let path = folder.join(format!("run-{number:03}.csv"));
    fs::write(&path, lines.join("\n") + "\n").unwrap();
    path
}

fn pull_many(root: &Path, folder: &Path) -> usize {
    (0..EACH)
        .map(|number| {
            let file = raw_file(folder, number);
            insist(root, &pull_arguments(file.to_str().unwrap()))
        })
        .sum()
}

/// Reads the book over and over until told to stop; everything it says must hold. Returns how often it read.
fn read_meanwhile(root: &Path, stop: &AtomicBool) -> usize {
    let mut commits = 0;
    let mut count = 0;
    while !stop.load(Ordering::Relaxed) || count == 0 {
        let output = program(root, &["audit", "--json"]).output().unwrap();
        let words = said(&output);
        assert!(output.status.success(), "{words}");
        let answer: serde_json::Value = serde_json::from_slice(&output.stdout).unwrap();
        assert_eq!(answer["damage"], serde_json::json!([]), "{words}");
        let now = answer["commits"].as_u64().unwrap();
        assert!(now >= commits, "the history shrank from {commits} to {now}");
        commits = now;
        let output = program(root, &["gaps", "b1"]).output().unwrap();
        assert!(output.status.success() && !said(&output).contains("interrupted"), "{}", said(&output));
        count += 1;
        std::thread::sleep(Duration::from_millis(500));
    }
    count
}

fn numbers_of(notes: &str, name: &str) -> Vec<usize> {
    let begin = format!("note: \"{name} ");
    let mut numbers: Vec<usize> = notes
        .lines()
        .filter_map(|line| line.split(&begin).nth(1))
        .map(|rest| rest.split('"').next().unwrap().trim().parse().unwrap())
        .collect();
    numbers.sort_unstable();
    numbers
}

fn commits(root: &Path) -> usize {
    git(root, &["rev-list", "--count", "HEAD"]).trim().parse().unwrap()
}

#[test]
fn two_processes_write_a_hundred_times_each_and_nothing_is_lost() {
    let (folder, root) = shop();
    let before = commits(&root);
    let stop = AtomicBool::new(false);
    let (refused, readings) = std::thread::scope(|scope| {
        let reader = scope.spawn(|| read_meanwhile(&root, &stop));
        let writers = [
            scope.spawn(|| measure_many(&root, "measured")),
            scope.spawn(|| pull_many(&root, folder.path())),
        ];
        let refused: Vec<_> = writers.into_iter().map(std::thread::ScopedJoinHandle::join).collect();
        stop.store(true, Ordering::Relaxed);
        let readings = reader.join().unwrap();
        (refused.into_iter().map(Result::unwrap).sum::<usize>(), readings)
    });
    eprintln!("{} writes, {refused} refusals of a busy book, {readings} readings", 2 * EACH);
    assert!(readings >= 3, "{readings}");

    assert_whole(&root);
    assert_eq!(git(&root, &["status", "--porcelain"]), "");
    assert_eq!(commits(&root), before + 2 * EACH, "one commit for each write");
    let head = fs::read_to_string(root.join("parts/cylinder-head/h1.yaml")).unwrap();
    assert_eq!(numbers_of(&head, "measured"), (0..EACH).collect::<Vec<_>>(), "every figure, once");
    let pulls = fs::read_dir(root.join("builds/b1/pulls")).unwrap().count();
    assert_eq!(pulls, EACH);
    for order in 1..=EACH {
        let text = fs::read_to_string(root.join(format!("builds/b1/pulls/0411a-{order:02}.yaml"))).unwrap();
        assert!(text.contains(&format!("run-{:03}.csv", order - 1)), "{text}");
    }
    let audit: serde_json::Value = serde_json::from_str(&done(&root, &["audit", "--json"])).unwrap();
    assert_eq!(audit["raw_files"], serde_json::json!(EACH));
}

#[test]
fn two_processes_measure_the_same_figure_and_both_land() {
    let (_folder, root) = shop();
    let before = commits(&root);
    std::thread::scope(|scope| {
        for name in ["one", "two"] {
            let root = &root;
            scope.spawn(move || {
                for number in 0..EACH / 4 {
                    let note = format!("{name} {number}");
                    let arguments = ["measure", "h1/a", "inlet-port-volume", "170 cc"];
                    let rest = ["--with", "burette-1", "--note", &note];
                    insist(root, &[arguments.as_slice(), &rest].concat());
                }
            });
        }
    });
    assert_whole(&root);
    assert_eq!(commits(&root), before + EACH / 2);
    let head = fs::read_to_string(root.join("parts/cylinder-head/h1.yaml")).unwrap();
    for name in ["one", "two"] {
        assert_eq!(numbers_of(&head, name), (0..EACH / 4).collect::<Vec<_>>());
    }
}

fn holder() -> LockHolder {
    LockHolder {
        process: std::process::id(),
        since: "2026-06-01 09:00:00".to_owned(),
        command: "pull".to_owned(),
    }
}

const MEASURE: [&str; 6] = ["measure", "h1/a", "inlet-port-volume", "170 cc", "--with", "burette-1"];

#[test]
fn a_writer_that_waits_in_vain_is_told_by_whom_and_since_when() {
    let (_folder, root) = shop();
    let before = shop::state(&root);
    let book = Book::discover(&root).unwrap();
    let held = book.write(holder()).unwrap();
    let output = program(&root, &MEASURE).output().unwrap();
    let words = said(&output).split_whitespace().collect::<Vec<_>>().join(" ");
    assert_eq!(output.status.code(), Some(1), "{words}");
    let expected = format!(
        "the book is being written by process {} since 2026-06-01 09:00:00; try again",
        std::process::id()
    );
    assert!(words.contains(&expected), "{words}");
    // Reading needs no lock.
    done(&root, &["gaps", "b1"]);
    drop(held);
    assert_eq!(shop::state(&root), before);
    done(&root, &MEASURE);
}

#[test]
fn the_lock_of_a_process_that_died_holds_nobody_up() {
    if let Some(root) = std::env::var_os(HELD) {
        // The child: holds the lock until it is killed.
        let book = Book::discover(Path::new(&root)).unwrap();
        let _held = book.write(holder()).unwrap();
        fs::write(Path::new(&root).with_extension("held"), "").unwrap();
        loop {
            std::thread::sleep(Duration::from_secs(1));
        }
    }
    let (_folder, root) = shop();
    let mut child = Command::new(std::env::current_exe().unwrap())
        .args(["--exact", "the_lock_of_a_process_that_died_holds_nobody_up"])
        .env(HELD, &root)
        .stdout(Stdio::null())
        .spawn()
        .unwrap();
    let begun = Instant::now();
    while !root.with_extension("held").exists() {
        assert!(begun.elapsed() < Duration::from_secs(30), "the child does not take the lock");
        std::thread::sleep(Duration::from_millis(10));
    }
    // One that waits already, and one that comes after.
    let waiting = program(&root, &MEASURE).stdout(Stdio::piped()).stderr(Stdio::piped()).spawn().unwrap();
    child.kill().unwrap();
    child.wait().unwrap();
    let output = waiting.wait_with_output().unwrap();
    assert!(output.status.success(), "{}", said(&output));
    done(&root, &MEASURE);
    assert_whole(&root);
}
