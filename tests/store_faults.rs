//! Writes killed before every call that changes the disk, and calls that fail: old or new, never other.
//!
//! The kills and faults are put in by strace; without it these tests say that they were skipped.
#![expect(
    clippy::disallowed_methods,
    clippy::disallowed_types,
    clippy::print_stderr,
    reason = "these tests look at the disk, start processes, ask git and say what they skip"
)]
#![expect(clippy::unwrap_used, reason = "a test that fails shall stop")]

#[allow(dead_code, reason = "each test program uses its own part of it")]
mod store_fixture;

use std::fs;
use std::ops::ControlFlow;
use std::os::unix::process::ExitStatusExt;
use std::path::Path;
use std::process::{Command, Output};

use mulebook::store::Book;
use mulebook::store::Error;
use store_fixture::{
    assert_clean, assert_whole, at, author, child, files, git, old_and_new, prepared, state, task, write,
};

/// Calls that change the disk or make a change last.
const CALLS: [&str; 8] = ["rename", "link", "linkat", "unlink", "rmdir", "mkdir", "fsync", "ftruncate"];

/// The child of the tests below: one task, as a process of its own, which writes down how it ended.
#[test]
fn child_process() {
    let Some((root, task)) = task() else { return };
    let result = match task.as_str() {
        "create" => Book::create(&root, &files(), &author(), at(0), "Begin the book").map(|_| ()),
        _ => Book::discover(&root).and_then(|book| write(&book, &|_| ControlFlow::Continue(()))).map(|_| ()),
    };
    let end = match result {
        Ok(()) => "done",
        Err(Error::Unfinished { .. }) => "unfinished",
        Err(_) => "failed",
    };
    fs::write(root.with_extension("end"), end).unwrap();
}

fn strace(arguments: &[&str], root: &Path, task: &str, log: &Path) -> Option<Output> {
    let task = child("child_process", root, task);
    let mut command = Command::new("strace");
    command.args(["-f", "-qq", "-o"]).arg(log).args(arguments).arg(task.get_program()).args(task.get_args());
    for (name, value) in task.get_envs() {
        command.env(name, value.unwrap());
    }
    command.output().ok()
}

fn strace_is_here() -> bool {
    let here = Command::new("strace").args(["-qq", "-e", "trace=none", "true"]).output();
    let here = here.is_ok_and(|output| output.status.success());
    if !here {
        eprintln!("skipped: strace is not here, or may not be used");
    }
    here
}

fn killed(output: &Output) -> bool {
    output.status.signal() == Some(9) || output.status.code() == Some(137)
}

#[test]
fn killed_before_any_call_the_next_command_finds_old_or_new() {
    if !strace_is_here() {
        return;
    }
    let (old, new) = old_and_new();
    let log = tempfile::NamedTempFile::new().unwrap();
    let (mut undone, mut finished) = (0, 0);
    for call in CALLS {
        for count in 1.. {
            let (_folder, book) = prepared();
            let inject = format!("inject={call}:signal=KILL:when={count}");
            let output =
                strace(&["-e", &format!("trace={call}"), "-e", &inject], book.root(), "write", log.path())
                    .unwrap();
            if !killed(&output) {
                assert!(output.status.success(), "{}", String::from_utf8_lossy(&output.stdout));
                assert_eq!(state(book.root()), new);
                break;
            }
            Book::discover(book.root()).unwrap();
            let found = state(book.root());
            assert!(found == old || found == new, "{call} {count}: {found:#?}");
            if found == old {
                undone += 1;
                write(&book, &|_| ControlFlow::Continue(())).unwrap();
                assert_eq!(state(book.root()), new, "{call} {count}");
            } else {
                finished += 1;
            }
            assert_whole(book.root());
        }
    }
    eprintln!("killed {} times: {undone} undone, {finished} finished", undone + finished);
    assert!(undone > 40 && finished > 20, "{undone} {finished}");
}

#[test]
fn a_call_that_fails_leaves_old_or_says_that_the_rest_follows() {
    if !strace_is_here() {
        return;
    }
    let (old, new) = old_and_new();
    let log = tempfile::NamedTempFile::new().unwrap();
    let (mut failed, mut unfinished) = (0, 0);
    for call in CALLS.into_iter().chain(["write"]) {
        for count in 1.. {
            let (_folder, book) = prepared();
            let root = book.root();
            let inject = format!("inject={call}:error=ENOSPC:when={count}");
            strace(&["-e", &format!("trace={call}"), "-e", &inject], root, "write", log.path()).unwrap();
            let hit = fs::read_to_string(log.path()).unwrap().contains("INJECTED");
            let mut found = state(root);
            let end = fs::read_to_string(root.with_extension("end")).unwrap_or_default();
            // A lock whose removal failed may stay until the next command.
            found.litter.clear();
            match end.as_str() {
                "done" => assert_eq!(found, new, "{call} {count}"),
                "failed" => {
                    failed += 1;
                    assert_eq!(found, old, "{call} {count}");
                }
                "unfinished" => unfinished += 1,
                // The writing down of how it ended failed, or the test program itself.
                _ => assert!(found == old || found == new, "{call} {count}"),
            }
            Book::discover(root).unwrap();
            let found = state(root);
            assert!(found == if end == "unfinished" { new.clone() } else { found.clone() }, "{call} {count}");
            assert!(found == old || found == new, "{call} {count}: {found:#?}");
            if !hit {
                assert_eq!((end.as_str(), &found), ("done", &new));
                break;
            }
        }
    }
    eprintln!("failed {failed} times, {unfinished} to be finished");
    assert!(failed > 40 && unfinished > 10, "{failed} {unfinished}");
}

#[test]
fn a_new_book_killed_before_any_call_is_begun_again_or_is_there() {
    if !strace_is_here() {
        return;
    }
    let log = tempfile::NamedTempFile::new().unwrap();
    let (mut again, mut there) = (0, 0);
    for call in ["rename", "link", "unlink", "rmdir", "mkdir"] {
        for count in 1.. {
            let folder = tempfile::tempdir().unwrap();
            let root = folder.path().join("book");
            let inject = format!("inject={call}:signal=KILL:when={count}");
            let output =
                strace(&["-e", &format!("trace={call}"), "-e", &inject], &root, "create", log.path())
                    .unwrap();
            let hit = killed(&output);
            if hit {
                match Book::create(&root, &files(), &author(), at(0), "Begin the book") {
                    Ok(_) => again += 1,
                    Err(Error::AlreadyBook { .. }) => there += 1,
                    Err(other) => panic!("{call} {count}: {other}"),
                }
            }
            let book = Book::discover(&root).unwrap();
            assert_eq!(book.head().unwrap().files("").unwrap().len(), files().len());
            assert_clean(&root);
            assert!(!root.join(".mulebook-new").exists());
            if !hit {
                break;
            }
        }
    }
    eprintln!("begun again {again} times, there {there} times");
    assert!(again > 20 && there > 5, "{again} {there}");
}

#[test]
fn everything_a_commit_needs_is_synced_before_the_branch_names_it() {
    if !strace_is_here() {
        return;
    }
    let (_folder, book) = prepared();
    let log = tempfile::NamedTempFile::new().unwrap();
    let calls = "trace=rename,renameat,renameat2,link,linkat,fsync,fdatasync,unlink";
    let output = strace(&["-y", "-e", calls], book.root(), "write", log.path()).unwrap();
    assert!(output.status.success());
    let log = fs::read_to_string(log.path()).unwrap();
    let lines: Vec<&str> = log.lines().collect();
    let moved =
        lines.iter().position(|line| line.contains("rename") && line.contains("refs/heads/main\"")).unwrap();
    let synced = |end: &str, before: usize| {
        lines[..before].iter().any(|line| line.contains("sync(") && line.contains(&format!("{end}>")))
    };
    let new = git(book.root(), &["rev-list", "--objects", "HEAD", "^HEAD~1"]);
    let objects: Vec<&str> = new.lines().map(|line| &line[..40]).collect();
    assert!(objects.len() >= 8, "{objects:?}");
    for object in objects {
        assert!(
            synced(&format!("objects/{}/{}", &object[..2], &object[2..]), moved),
            "{object} was not synced"
        );
        assert!(synced(&format!("objects/{}", &object[..2]), moved), "the folder of {object} was not synced");
    }
    for name in [".git/mulebook/journal.new", ".git/mulebook", ".part", "/pulls"] {
        assert!(synced(name, moved), "{name} was not synced before");
    }
    let cleared = lines
        .iter()
        .rposition(|line| line.contains("unlink") && line.contains("mulebook/journal\""))
        .unwrap();
    for name in ["refs/heads", "logs/HEAD", "logs/refs/heads/main", "cylinder-head", "index.new", ".git"] {
        let after = lines[moved..cleared]
            .iter()
            .any(|line| line.contains("sync(") && line.contains(&format!("{name}>")));
        assert!(after, "{name} was not synced before the journal went");
    }
}
