//! Writes stopped at every step: the next command finds old or new, never other.
#![expect(
    clippy::disallowed_methods,
    clippy::disallowed_types,
    reason = "these tests look at the disk, start processes and ask git"
)]
#![expect(clippy::unwrap_used, reason = "a test that fails shall stop")]

#[allow(dead_code, reason = "each test program uses its own part of it")]
mod store_fixture;

use std::cell::{Cell, RefCell};
use std::fs;
use std::ops::ControlFlow;

use mulebook::store::Book;
use mulebook::store::Error;
use mulebook::store::Outcome;
use mulebook::store::Step;
use store_fixture::{assert_whole, book, git, old_and_new, prepared, state, write};

const H2: &str = "parts/cylinder-head/h2.yaml";
#[test]
fn stopped_at_any_step_the_next_command_finds_old_or_new() {
    let (old, new) = old_and_new();
    assert_ne!(old, new);
    let steps = RefCell::new(Vec::new());
    let (_folder, whole) = prepared();
    write(&whole, &|step| {
        steps.borrow_mut().push(step);
        ControlFlow::Continue(())
    })
    .unwrap();
    let steps = steps.into_inner();
    assert!(steps.windows(2).all(|pair| pair[0] <= pair[1]) && steps.len() == 14, "{steps:?}");
    for (number, &step) in steps.iter().enumerate() {
        let (_folder, book) = prepared();
        let count = Cell::new(0);
        let stopped = write(&book, &|_| {
            count.set(count.get() + 1);
            if count.get() > number { ControlFlow::Break(()) } else { ControlFlow::Continue(()) }
        });
        assert!(matches!(stopped, Err(Error::Stopped { .. })), "{step:?}");
        let again = Book::discover(book.root()).unwrap();
        let moved = step >= Step::ReferenceMoved;
        let found = state(book.root());
        assert_eq!(&found, if moved { &new } else { &old }, "{step:?} ({number})");
        assert_whole(book.root());
        match again.recovered() {
            Some(recovery) => {
                assert_eq!(recovery.outcome, if moved { Outcome::Finished } else { Outcome::Undone });
                assert_eq!((recovery.command.as_str(), recovery.files.len()), ("enter", 4));
                assert!(recovery.left.is_empty());
            }
            None => assert!(step < Step::JournalWritten || step == Step::JournalRemoved, "{step:?}"),
        }
        if !moved {
            write(&again, &|_| ControlFlow::Continue(())).unwrap();
            assert_eq!(state(book.root()), new, "again after {step:?}");
        }
    }
}

#[test]
fn a_recovery_that_is_itself_interrupted_is_gone_through_again() {
    let (old, new) = old_and_new();
    for (step, expected) in [(Step::FilesStaged, &old), (Step::ReferenceMoved, &new)] {
        let (_folder, book) = prepared();
        let stopped = write(&book, &|now| {
            if now == step { ControlFlow::Break(()) } else { ControlFlow::Continue(()) }
        });
        assert!(matches!(stopped, Err(Error::Stopped { .. })));
        // Half of the clearing up was done: one file beside is gone already, its folder too where it is empty.
        for entry in fs::read_dir(book.root().join("builds/b1/pulls")).unwrap() {
            fs::remove_file(entry.unwrap().path()).unwrap();
        }
        fs::remove_dir(book.root().join("builds/b1/pulls")).unwrap();
        Book::discover(book.root()).unwrap();
        assert_eq!(&state(book.root()), expected);
    }
}

#[test]
fn an_edit_made_between_a_crash_and_the_recovery_is_left() {
    for (step, head_moved) in [(Step::FilesStaged, false), (Step::ReferenceMoved, true)] {
        let (_folder, book) = prepared();
        let root = book.root();
        let stopped = write(&book, &|now| {
            if now == step { ControlFlow::Break(()) } else { ControlFlow::Continue(()) }
        });
        assert!(matches!(stopped, Err(Error::Stopped { .. })));
        fs::write(root.join(H2), "edited since\n").unwrap();
        let again = Book::discover(root).unwrap();
        assert_eq!(fs::read(root.join(H2)).unwrap(), b"edited since\n");
        let left = &again.recovered().unwrap().left;
        assert_eq!(left.len(), usize::from(head_moved));
        assert!(git(root, &["status", "--porcelain"]).contains(" M parts/cylinder-head/h2.yaml"));
        assert_whole(root);
    }
}

#[test]
fn an_edit_made_while_a_write_is_under_way_is_left() {
    let (_folder, book) = prepared();
    let root = book.root();
    write(&book, &|step| {
        if step == Step::FilesStaged {
            fs::write(root.join(H2), "edited just now\n").unwrap();
        }
        ControlFlow::Continue(())
    })
    .unwrap();
    assert_eq!(fs::read(root.join(H2)).unwrap(), b"edited just now\n");
    assert!(git(root, &["status", "--porcelain"]).contains(" M parts/cylinder-head/h2.yaml"));
    assert_eq!(book.pending(&[H2]).unwrap().len(), 1);
}

#[test]
fn a_commit_by_git_on_top_of_an_interrupted_one_is_kept() {
    let (_folder, book) = book();
    let root = book.root();
    let stopped = write(&book, &|now| {
        if now == Step::ReferenceMoved { ControlFlow::Break(()) } else { ControlFlow::Continue(()) }
    });
    assert!(matches!(stopped, Err(Error::Stopped { .. })));
    // Someone commits on top without the index, changing one of the files once more.
    let blob = git(root, &["hash-object", "-w", "book.yaml"]);
    let tree = git(root, &["rev-parse", "HEAD^{tree}"]);
    let listing = git(root, &["ls-tree", "-r", tree.trim()]);
    let mut index = store_fixture::git_command(root, &["update-index", "--add", "--index-info"]);
    index.env("GIT_INDEX_FILE", root.join(".git/other-index")).stdin(std::process::Stdio::piped());
    let mut running = index.spawn().unwrap();
    let listing =
        listing
            .lines()
            .map(|line| {
                if line.ends_with(H2) {
                    format!("100644 blob {}\t{H2}", blob.trim())
                } else {
                    line.to_owned()
                }
            })
            .collect::<Vec<_>>()
            .join("\n");
    std::io::Write::write_all(running.stdin.as_mut().unwrap(), format!("{listing}\n").as_bytes()).unwrap();
    assert!(running.wait().unwrap().success());
    let mut write_tree = store_fixture::git_command(root, &["write-tree"]);
    let tree = write_tree.env("GIT_INDEX_FILE", root.join(".git/other-index")).output().unwrap().stdout;
    let tree = String::from_utf8(tree).unwrap();
    let top = git(root, &["commit-tree", tree.trim(), "-p", "HEAD", "-m", "On top"]);
    git(root, &["update-ref", "HEAD", top.trim()]);
    let again = Book::discover(root).unwrap();
    assert_eq!(again.recovered().unwrap().outcome, Outcome::Finished);
    assert_eq!(git(root, &["rev-parse", "HEAD"]), top);
    assert_eq!(fs::read(root.join("builds/b1/pulls/p-001.yaml")).unwrap(), b"pull: p-001\n");
    assert_eq!(fs::read(root.join(H2)).unwrap(), b"part: h2\n", "that file belongs to the commit on top");
    assert_whole(root);
}

#[test]
fn a_branch_moved_by_git_meanwhile_changes_nothing() {
    let (_folder, book) = prepared();
    let root = book.root();
    let other = git(root, &["commit-tree", "HEAD^{tree}", "-p", "HEAD", "-m", "Other"]);
    let before = RefCell::new(None);
    let moved = write(&book, &|step| {
        if step == Step::FilesStaged {
            git(root, &["update-ref", "refs/heads/main", other.trim()]);
        }
        ControlFlow::Continue(())
    });
    assert!(matches!(moved, Err(Error::Moved { .. })), "{moved:?}");
    before.replace(Some(()));
    let (old, _) = old_and_new();
    let now = state(root);
    assert_eq!(
        (now.files, now.index, now.status, now.litter),
        (old.files, old.index, old.status, old.litter)
    );
    assert_eq!(now.head, other);
    write(&book, &|step| {
        if step == Step::ReferenceLocked {
            let refused = store_fixture::try_git(root, &["update-ref", "refs/heads/main", "HEAD~1"]);
            assert!(!refused.status.success(), "git moved a locked branch");
        }
        ControlFlow::Continue(())
    })
    .unwrap();
    assert_whole(root);
}

#[test]
fn an_obstacle_found_while_writing_changes_nothing() {
    let (_folder, book) = prepared();
    let root = book.root();
    // What a folder that may not be written, or a full disk, comes to: the file beside cannot be made.
    let obstacle = root.join(format!("parts/cylinder-head/.mulebook-{}-1.part", std::process::id()));
    for number in 0..4 {
        fs::create_dir_all(
            obstacle.with_file_name(format!(".mulebook-{}-{number}.part", std::process::id())),
        )
        .unwrap();
    }
    let before = state(root);
    assert!(matches!(write(&book, &|_| ControlFlow::Continue(())), Err(Error::Io { .. })));
    assert_eq!(state(root), before);
    assert!(Book::discover(root).unwrap().recovered().is_none());
}

#[test]
fn a_damaged_journal_is_named_and_nothing_is_touched() {
    let (_folder, book) = prepared();
    let stopped = write(&book, &|now| {
        if now == Step::FilesStaged { ControlFlow::Break(()) } else { ControlFlow::Continue(()) }
    });
    assert!(matches!(stopped, Err(Error::Stopped { .. })));
    let place = book.root().join(".git/mulebook/journal");
    let text = fs::read_to_string(&place).unwrap();
    let before = state(book.root());
    for broken in [String::new(), text.replace("h2.yaml", "h9.yaml"), text[..text.len() / 2].to_owned()] {
        fs::write(&place, broken).unwrap();
        let again = Book::discover(book.root()).unwrap();
        assert!(matches!(again.unsettled(), Some(Error::JournalDamaged { .. })));
        assert!(again.head().unwrap().exists(H2).unwrap(), "reading goes on");
        assert!(matches!(again.write(store_fixture::holder("enter")), Err(Error::JournalDamaged { .. })));
        assert_eq!(state(book.root()), before);
    }
    fs::write(&place, &text).unwrap();
    assert_eq!(Book::discover(book.root()).unwrap().recovered().unwrap().outcome, Outcome::Undone);
}
