//! Many at once, for minutes, with git packing underneath; and large things. Short versions of the first stand in
//! `tests/writers.rs`.

use std::fs;
use std::path::{Path, PathBuf};
use std::sync::atomic::{AtomicBool, AtomicUsize, Ordering};
use std::time::{Duration, Instant};

use crate::shop::{assert_whole, done, git, git_command, program, pull_arguments, raw, said, shop};

const WRITERS: usize = 8;
const READERS: usize = 8;

/// A short raw file that no other pull has.
fn raw_file(folder: &Path, number: usize) -> PathBuf {
    let text = fs::read_to_string(raw("tarnbeck-0411-01.csv")).unwrap();
    let mut lines: Vec<String> = text.lines().take(60).map(str::to_owned).collect();
    let last = lines.pop().unwrap();
    let mut cells: Vec<String> = last.split(',').map(str::to_owned).collect();
    cells[2] = format!("{}.{}", 100 + number / 10, number % 10);
    lines.push(cells.join(","));
    let path = folder.join(format!("run-{number:05}.csv"));
    fs::write(&path, lines.join("\n") + "\n").unwrap();
    path
}

/// Writers and readers for a while, git packing meanwhile; how many writes landed and how many readings held.
fn crowd(seconds: u64, writers: usize, readers: usize) -> (usize, usize, usize) {
    let (folder, root) = shop();
    let before: usize = git(&root, &["rev-list", "--count", "HEAD"]).trim().parse().unwrap();
    let (landed, readings, packed) = (AtomicUsize::new(0), AtomicUsize::new(0), AtomicUsize::new(0));
    let numbers = AtomicUsize::new(0);
    let stop = AtomicBool::new(false);
    let begun = Instant::now();
    std::thread::scope(|scope| {
        for writer in 0..writers {
            let (root, folder, landed, numbers) = (&root, folder.path(), &landed, &numbers);
            scope.spawn(move || {
                while begun.elapsed() < Duration::from_secs(seconds) {
                    let number = numbers.fetch_add(1, Ordering::Relaxed);
                    let output = if writer % 2 == 0 {
                        let file = raw_file(folder, number);
                        program(root, &pull_arguments(file.to_str().unwrap())).output().unwrap()
                    } else {
                        let note = format!("number {number}");
                        let measure = [
                            "measure",
                            "h1/a",
                            "inlet-port-volume",
                            "170 cc",
                            "--with",
                            "burette-1",
                            "--note",
                            &note,
                        ];
                        program(root, &measure).output().unwrap()
                    };
                    let words = said(&output);
                    if output.status.success() {
                        landed.fetch_add(1, Ordering::Relaxed);
                    } else {
                        // Busy too long, or git holds a lock for the moment: nothing was changed, and it is said.
                        assert_eq!(output.status.code(), Some(1), "{words}");
                        let busy =
                            ["the book is being written by process", "git holds", "nothing was changed"];
                        assert!(busy.iter().any(|busy| words.contains(busy)), "{words}");
                    }
                }
            });
        }
        for _ in 0..readers {
            let (root, readings, stop) = (&root, &readings, &stop);
            scope.spawn(move || {
                let mut commits = 0;
                while !stop.load(Ordering::Relaxed) {
                    let output = program(root, &["audit", "--json"]).output().unwrap();
                    let words = said(&output);
                    assert!(output.status.success(), "{words}");
                    let answer: serde_json::Value = serde_json::from_slice(&output.stdout).unwrap();
                    let now = answer["commits"].as_u64().unwrap();
                    assert!(now >= commits, "the history shrank from {commits} to {now}");
                    commits = now;
                    let output = program(root, &["gaps", "b1"]).output().unwrap();
                    assert!(output.status.success(), "{}", said(&output));
                    readings.fetch_add(2, Ordering::Relaxed);
                }
            });
        }
        let (root, packed, stop) = (&root, &packed, &stop);
        scope.spawn(move || {
            while !stop.load(Ordering::Relaxed) {
                // As a user's own git would, which keeps what is young.
                let output = git_command(root, &["gc", "--quiet"]).output().unwrap();
                assert!(output.status.success(), "{}", said(&output));
                packed.fetch_add(1, Ordering::Relaxed);
                std::thread::sleep(Duration::from_millis(500));
            }
        });
        while begun.elapsed() < Duration::from_secs(seconds + 1) {
            std::thread::sleep(Duration::from_millis(200));
        }
        stop.store(true, Ordering::Relaxed);
    });
    let (landed, readings) = (landed.into_inner(), readings.into_inner());
    let after: usize = git(&root, &["rev-list", "--count", "HEAD"]).trim().parse().unwrap();
    assert_eq!(after, before + landed, "one commit for each write that said it was done");
    assert_whole(&root);
    assert_eq!(git(&root, &["status", "--porcelain"]), "");
    let pulls = fs::read_dir(root.join("builds/b1/pulls")).unwrap().count();
    let notes = fs::read_to_string(root.join("parts/cylinder-head/h1.yaml"))
        .unwrap()
        .matches("note: \"number")
        .count();
    assert_eq!(pulls + notes, landed, "every pull and every figure, once");
    done(&root, &["audit"]);
    (landed, readings, packed.into_inner())
}

#[test]
#[ignore = "takes minutes"]
fn eight_writers_and_eight_readers_for_minutes_lose_nothing() {
    let seconds = std::env::var("SECONDS_OF_LOAD").ok().and_then(|text| text.parse().ok()).unwrap_or(180);
    let (landed, readings, packed) = crowd(seconds, WRITERS, READERS);
    eprintln!("{seconds} s: {landed} commits, none lost; {readings} readings; packed {packed} times");
    assert!(landed >= 60 && readings >= 30 && packed >= 3, "{landed} {readings} {packed}");
}

#[test]
fn a_few_writers_and_readers_with_git_packing_lose_nothing() {
    let (landed, readings, packed) = crowd(3, 3, 2);
    eprintln!("3 s: {landed} commits, none lost; {readings} readings; packed {packed} times");
    assert!(landed >= 3 && readings >= 2 && packed >= 1, "{landed} {readings} {packed}");
}

/// A manifest of nearly a mebibyte, the longest that is read, is measured into and read.
#[test]
fn a_manifest_of_a_mebibyte() {
    let (_folder, root) = shop();
    let place = root.join("parts/cylinder-head/h1.yaml");
    let mut text = fs::read_to_string(&place).unwrap();
    let line = format!("# {}\n", "a line about this head ".repeat(4));
    while text.len() + line.len() < (1 << 20) - 4096 {
        text.push_str(&line);
    }
    fs::write(&place, &text).unwrap();
    done(&root, &["keep"]);
    done(&root, &["measure", "h1/a", "inlet-port-volume", "170 cc", "--with", "burette-1"]);
    done(&root, &["sheet", "b1"]);
    text.push_str(&line.repeat(200));
    fs::write(&place, &text).unwrap();
    let output = program(&root, &["keep"]).output().unwrap();
    assert_eq!(output.status.code(), Some(1), "{}", said(&output));
}

#[test]
#[ignore = "takes many minutes"]
fn a_session_of_a_thousand_pulls() {
    let (folder, root) = shop();
    let begun = Instant::now();
    for number in 0..1000 {
        let file = raw_file(folder.path(), number);
        done(&root, &pull_arguments(file.to_str().unwrap()));
    }
    eprintln!("1000 pulls of one session in {} s", begun.elapsed().as_secs());
    let audit: serde_json::Value = serde_json::from_str(&done(&root, &["audit", "--json"])).unwrap();
    assert_eq!(audit["raw_files"], serde_json::json!(1000));
    assert!(root.join("builds/b1/pulls/0411a-1000.yaml").exists());
    assert_whole(&root);
}

#[test]
#[ignore = "writes four gigabytes"]
fn a_raw_file_of_two_gibibytes() {
    use std::io::Write;
    let (folder, root) = shop();
    let file = folder.path().join("long.csv");
    let head = fs::read_to_string(raw("tarnbeck-0411-01.csv")).unwrap();
    let rows: String =
        head.lines().skip(1).filter(|line| !line.trim().is_empty()).map(|line| format!("{line}\n")).collect();
    let mut out = std::io::BufWriter::new(fs::File::create(&file).unwrap());
    out.write_all(head.as_bytes()).unwrap();
    let mut length = head.len() as u64;
    while length < (2 << 30) {
        out.write_all(rows.as_bytes()).unwrap();
        length += rows.len() as u64;
    }
    drop(out.into_inner().unwrap());
    let begun = Instant::now();
    done(&root, &pull_arguments(file.to_str().unwrap()));
    eprintln!("{length} bytes taken in after {} s", begun.elapsed().as_secs());
    let large = fs::read_dir(root.join("raw-large")).unwrap().count();
    assert_eq!(large, 1);
    let audit: serde_json::Value = serde_json::from_str(&done(&root, &["audit", "--json"])).unwrap();
    assert_eq!(audit["raw_bytes"], serde_json::json!(length));
    assert_eq!(git(&root, &["status", "--porcelain"]), "");
}
