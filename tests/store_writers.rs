//! Several writers, git beside them, and locks that were left.
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
use std::os::unix::fs::PermissionsExt;
use std::path::Path;
use std::process::Command;
use std::sync::atomic::AtomicBool;
use std::sync::atomic::Ordering;
use std::time::Duration;

use mulebook::store::Book;
use mulebook::store::Error;
use mulebook::store::Outcome;
use mulebook::store::Step;
use store_fixture::{assert_clean, assert_whole, at, author, book, child, git, holder, put, state, task};

const H2: &str = "parts/cylinder-head/h2.yaml";
const EACH: usize = 50;

/// Adds a line to one shared file and a file of its own, many times.
fn write_many(root: &Path, name: &str) {
    let mut book = Book::discover(root).unwrap();
    book.wait_at_most(Duration::from_secs(60));
    let mut number = 0;
    while number < EACH {
        let mut writing = book.write(holder(name)).unwrap();
        let mut text = writing.base().unwrap().read("shared.yaml").unwrap().unwrap_or_default();
        text.extend_from_slice(format!("{name} {number}\n").as_bytes());
        writing.put("shared.yaml", &text).unwrap();
        writing.put(&format!("own/{name}/{number}.yaml"), b"x\n").unwrap();
        match writing.commit(&format!("{name} {number}"), &author(), at(1)) {
            Ok(_) => number += 1,
            // Only git gets in between, and then nothing has changed.
            Err(Error::Moved { .. } | Error::IndexBusy { .. }) if name == "beside git" => {}
            Err(other) => panic!("{other:?}"),
        }
    }
}

fn assert_all_landed(root: &Path, writers: usize) {
    assert_clean(root);
    assert_eq!(git(root, &["rev-list", "--count", "HEAD"]).trim(), (1 + writers * EACH).to_string());
    let mut lines: Vec<String> =
        fs::read_to_string(root.join("shared.yaml")).unwrap().lines().map(str::to_owned).collect();
    assert_eq!(lines.len(), writers * EACH);
    lines.sort();
    lines.dedup();
    assert_eq!(lines.len(), writers * EACH, "a write was lost");
}

#[test]
fn two_threads_write_in_turn() {
    let (_folder, book) = book();
    let root = book.root().to_owned();
    std::thread::scope(|scope| {
        for name in ["one", "two"] {
            let root = &root;
            scope.spawn(move || write_many(root, name));
        }
    });
    assert_all_landed(&root, 2);
}

/// `git gc` takes empty folders of objects away, also in the moment before an object is named in one.
#[test]
fn folders_of_objects_that_go_are_made_again() {
    let (_folder, book) = book();
    let root = book.root().to_owned();
    let done = AtomicBool::new(false);
    let removed = std::thread::scope(|scope| {
        let sweeping = scope.spawn(|| {
            let mut removed = 0;
            while !done.load(Ordering::Relaxed) {
                for first in 0..=255_u8 {
                    let folder = root.join(format!(".git/objects/{first:02x}"));
                    removed += usize::from(fs::remove_dir(folder).is_ok());
                }
            }
            removed
        });
        // However the writing ends, the other thread must.
        let written = std::panic::catch_unwind(|| write_many(&root, "one"));
        done.store(true, Ordering::Relaxed);
        assert!(written.is_ok(), "a write failed");
        sweeping.join().unwrap()
    });
    assert_all_landed(&root, 1);
    eprintln!("{removed} empty folders taken away meanwhile");
}

#[test]
fn two_processes_write_in_turn() {
    let (_folder, book) = book();
    let mut children: Vec<_> = ["one", "two"]
        .map(|name| child("child_process", book.root(), name).spawn().unwrap())
        .into_iter()
        .collect();
    for child in &mut children {
        assert!(child.wait().unwrap().success());
    }
    assert_all_landed(book.root(), 2);
}

/// The child of the tests here.
#[test]
fn child_process() {
    match task() {
        None => {}
        Some((root, name)) if name == "abort" => {
            let book = Book::discover(&root).unwrap();
            let mut writing = book.write(holder("abort")).unwrap();
            writing.put(H2, b"never\n").unwrap();
            writing.observe(&|step| {
                if step == Step::FilesStaged { std::process::abort() } else { ControlFlow::Continue(()) }
            });
            writing.commit("Never", &author(), at(1)).unwrap();
        }
        Some((root, name)) if name == "denied" => {
            let book = Book::discover(&root).unwrap();
            assert!(book.head().unwrap().read(H2).unwrap().is_some());
            assert!(book.pending_all().is_ok());
            let mut writing = match book.write(holder("denied")) {
                Ok(writing) => writing,
                Err(Error::Io { .. }) => return,
                Err(other) => panic!("{other:?}"),
            };
            writing.put(H2, b"denied\n").unwrap();
            let denied = writing.commit("Denied", &author(), at(1));
            assert!(matches!(denied, Err(Error::Io { .. })), "{denied:?}");
        }
        Some((root, name)) if name == "once" => {
            put(&Book::discover(&root).unwrap(), 1, &[("fresh/new.yaml", "x\n"), (H2, "x\n")]);
        }
        Some((root, name)) => write_many(&root, &name),
    }
}

#[test]
fn of_many_who_make_a_book_of_one_folder_one_does() {
    let folder = tempfile::tempdir().unwrap();
    let root = folder.path().join("book");
    let made: usize = std::thread::scope(|scope| {
        let make = || Book::create(&root, &store_fixture::files(), &author(), at(0), "Begin").is_ok();
        let threads: Vec<_> = (0..4).map(|_| scope.spawn(make)).collect();
        threads.into_iter().map(|thread| usize::from(thread.join().unwrap())).sum()
    });
    assert_eq!(made, 1);
    assert_clean(&root);
    assert_eq!(
        Book::discover(&root).unwrap().head().unwrap().files("").unwrap().len(),
        store_fixture::files().len()
    );
}

#[test]
fn a_second_writer_is_told_who_is_writing_and_since_when() {
    let (_folder, book) = book();
    let writing = book.write(holder("enter")).unwrap();
    let mut other = Book::discover(book.root()).unwrap();
    other.wait_at_most(Duration::from_millis(30));
    match other.write(holder("second")) {
        Err(Error::Busy { process, since }) => {
            assert_eq!((process, since.as_str()), (std::process::id().to_string(), "2023-11-14 23:13"));
        }
        other => panic!("{other:?}"),
    }
    assert!(other.head().is_ok(), "reading goes on meanwhile");
    assert!(other.recover().unwrap().is_none());
    drop(writing);
    assert!(other.write(holder("second")).is_ok());
}

#[test]
fn the_lock_of_a_dead_process_is_no_lock() {
    let (_folder, book) = book();
    let before = state(book.root());
    let output = child("child_process", book.root(), "abort").output().unwrap();
    assert!(!output.status.success());
    assert!(!state(book.root()).litter.is_empty());
    let mut writing = book.write(holder("enter")).unwrap();
    let recovery = writing.recovered().unwrap().clone();
    assert_eq!((recovery.outcome, recovery.command.as_str()), (Outcome::Undone, "abort"));
    assert_eq!(recovery.files, [H2]);
    writing.put(H2, b"after\n").unwrap();
    drop(writing);
    assert_eq!(state(book.root()), before);
    put(&book, 2, &[(H2, "after\n")]);
    assert_clean(book.root());
}

#[test]
fn locks_that_git_holds_are_respected() {
    let (_folder, book) = book();
    let before = state(book.root());
    for lock in ["index.lock", "refs/heads/main.lock"] {
        let place = book.root().join(".git").join(lock);
        fs::write(&place, "").unwrap();
        let mut writing = book.write(holder("enter")).unwrap();
        writing.put(H2, b"x").unwrap();
        match (lock, writing.commit("x", &author(), at(1))) {
            ("index.lock", Err(Error::IndexBusy { path })) | (_, Err(Error::ReferenceBusy { path })) => {
                assert!(path.ends_with(lock));
            }
            other => panic!("{other:?}"),
        }
        assert_eq!(fs::read(&place).unwrap(), b"", "git's own lock was touched");
        fs::remove_file(&place).unwrap();
        assert_eq!(state(book.root()), before);
    }
}

#[test]
fn git_commits_beside_a_writer_and_nothing_is_lost() {
    let (_folder, book) = book();
    let root = book.root().to_owned();
    let by_git = std::thread::scope(|scope| {
        scope.spawn(|| write_many(&root, "beside git"));
        let mut landed = 0;
        for _ in 0..EACH {
            let made = store_fixture::try_git(&root, &["commit", "-q", "--allow-empty", "-m", "by git"]);
            landed += usize::from(made.status.success());
        }
        landed
    });
    assert_whole(&root);
    assert_eq!(git(&root, &["status", "--porcelain"]), "");
    assert_eq!(git(&root, &["rev-list", "--count", "HEAD"]).trim(), (1 + EACH + by_git).to_string());
}

#[test]
fn no_mask_makes_a_file_that_others_may_write_and_a_narrow_one_holds() {
    for (mask, file, folder) in [("0", 0o644, 0o755), ("077", 0o600, 0o700)] {
        let (_folder, book) = book();
        let root = book.root();
        let task = child("child_process", root, "once");
        let mut command = Command::new("sh");
        command.args(["-c", &format!("umask {mask}; exec \"$0\" \"$@\"")]).arg(task.get_program());
        command.args(task.get_args());
        for (name, value) in task.get_envs() {
            command.env(name, value.unwrap());
        }
        assert!(command.output().unwrap().status.success());
        let mode = |path: &str| fs::metadata(root.join(path)).unwrap().permissions().mode() & 0o777;
        assert_eq!([mode("fresh/new.yaml"), mode(H2), mode("fresh")], [file, file, folder]);
        for path in [".git/index", ".git/refs/heads/main", ".git/logs/HEAD"] {
            assert_eq!(mode(path) & 0o022, 0, "{path}");
        }
        assert_clean(root);
    }
}

#[test]
fn a_book_that_may_only_be_read_is_read_and_not_changed() {
    let (folder, book) = book();
    let root = book.root();
    // Root may write anything: the child runs as nobody.
    let nobody = ["setpriv", "--reuid=65534", "--regid=65534", "--clear-groups"];
    let allowed = Command::new(nobody[0]).args(&nobody[1..]).arg("true").output();
    if !allowed.is_ok_and(|output| output.status.success()) {
        eprintln!("skipped: another user cannot be taken on here");
        return;
    }
    let open = |path: &Path, mode: &str| {
        assert!(Command::new("chmod").args(["-R", mode]).arg(path).status().unwrap().success());
    };
    open(folder.path(), "a+rX");
    let program = folder.path().join("program");
    fs::copy(std::env::current_exe().unwrap(), &program).unwrap();
    open(&program, "a+rx");
    let before = state(root);
    // First nothing of the book may be written, then everything but one folder of it.
    for (closed, everything_else) in [(root.to_owned(), false), (root.join("parts/cylinder-head"), true)] {
        if everything_else {
            open(root, "a+rwX");
            open(&closed, "a-w");
        }
        let task = child("child_process", root, "denied");
        let mut command = Command::new(nobody[0]);
        command.args(&nobody[1..]).arg(&program).args(task.get_args());
        for (name, value) in task.get_envs() {
            command.env(name, value.unwrap());
        }
        let output = command.output().unwrap();
        assert!(output.status.success(), "{}", String::from_utf8_lossy(&output.stderr));
        assert_eq!(state(root), before);
    }
}
