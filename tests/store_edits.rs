//! What the user has in hand: pending edits, staged changes, links, a merge, with git as the judge.
#![expect(
    clippy::disallowed_methods,
    clippy::disallowed_types,
    reason = "these tests look at the disk and ask git"
)]
#![expect(clippy::unwrap_used, reason = "a test that fails shall stop")]

#[allow(dead_code, reason = "each test program uses its own part of it")]
mod store_fixture;

use std::fs;
use std::os::unix::fs::symlink;
use std::time::{Duration, SystemTime};

use mulebook::store::CommitForm;
use mulebook::store::Edit;
use mulebook::store::Error;
use store_fixture::{assert_clean, at, author, book, git, holder, put, state, try_git};

const H2: &str = "parts/cylinder-head/h2.yaml";

#[test]
fn pending_edits_are_those_git_sees() {
    let (_folder, book) = book();
    let root = book.root();
    put(&book, 1, &[("cells/c1.yaml", "12345"), ("cells/c2.yaml", "gone"), ("cells/c3.yaml", "same")]);
    assert!(book.pending_all().unwrap().is_empty());
    // The same length in the same moment: only its bytes tell.
    fs::write(root.join("cells/c1.yaml"), "54321").unwrap();
    fs::remove_file(root.join("cells/c2.yaml")).unwrap();
    fs::write(root.join("cells/c3.yaml"), "same").unwrap();
    fs::create_dir_all(root.join("sessions/deep")).unwrap();
    fs::write(root.join("sessions/deep/s1.yaml"), "new").unwrap();
    fs::write(root.join("sessions/s1.bak"), "ignored").unwrap();
    fs::create_dir_all(root.join("raw-large/ab")).unwrap();
    fs::write(root.join("raw-large/ab/x"), "ignored").unwrap();
    fs::remove_file(root.join(H2)).unwrap();
    symlink("h3.yaml", root.join(H2)).unwrap();
    let ours: Vec<_> = book
        .pending_all()
        .unwrap()
        .into_iter()
        .map(|pending| match pending.edit {
            Edit::Added => format!("?? {}", pending.path),
            Edit::Modified => format!(" M {}", pending.path),
            Edit::Removed => format!(" D {}", pending.path),
            Edit::Replaced => format!(" T {}", pending.path),
        })
        .collect();
    let mut theirs: Vec<_> =
        git(root, &["status", "--porcelain", "--untracked-files=all"]).lines().map(str::to_owned).collect();
    theirs.sort_by(|a, b| a[3..].cmp(&b[3..]));
    assert_eq!(ours, theirs);
    assert_eq!(ours.len(), 4);
    let some =
        book.pending(&["cells/c1.yaml", "cells/c3.yaml", "sessions/deep/s1.yaml", "sessions/none"]).unwrap();
    assert_eq!(
        some.into_iter().map(|pending| pending.edit).collect::<Vec<_>>(),
        [Edit::Modified, Edit::Added]
    );
}

/// What the index holds beside plain entries moves no file out of step with the commit's files.
#[test]
fn files_left_out_in_conflict_or_only_staged_do_not_hide_their_neighbours() {
    let (_folder, book) = book();
    let root = book.root();
    let cells: Vec<String> = (1..=6).map(|number| format!("cells/c{number}.yaml")).collect();
    let files: Vec<(&str, &str)> = cells.iter().map(|path| (path.as_str(), "kept")).collect();
    put(&book, 1, &files);
    // Left out of the work tree on purpose; in conflict, with one of three sides changed; staged, not committed.
    git(root, &["update-index", "--skip-worktree", &cells[0]]);
    fs::remove_file(root.join(&cells[0])).unwrap();
    let blob = git(root, &["rev-parse", &format!("HEAD:{}", cells[1])]).trim().to_owned();
    git(root, &["rm", "-q", "--cached", &cells[1]]);
    git(root, &["update-index", "--add", "--cacheinfo", "100644", &blob, "cells/none.yaml"]);
    for side in 1..=3 {
        let line = format!("100644 {blob} {side}\t{}\n", cells[1]);
        let place = root.join(".git/sides");
        fs::write(&place, line).unwrap();
        let read = std::process::Command::new("git")
            .args(["update-index", "--index-info"])
            .current_dir(root)
            .stdin(fs::File::open(&place).unwrap())
            .status();
        assert!(read.unwrap().success());
    }
    fs::write(root.join("cells/c3a.yaml"), "staged").unwrap();
    git(root, &["add", "cells/c3a.yaml"]);
    let edits = |book: &mulebook::store::Book| -> Vec<String> {
        book.pending_all().unwrap().into_iter().map(|pending| pending.path).collect()
    };
    assert_eq!(edits(&book), ["cells/c3a.yaml"]);
    for path in [&cells[1], &cells[3], &cells[5]] {
        fs::write(root.join(path), "edited").unwrap();
    }
    assert_eq!(edits(&book), ["cells/c2.yaml", "cells/c3a.yaml", "cells/c4.yaml", "cells/c6.yaml"]);
}

#[test]
fn a_pending_edit_is_never_written_over() {
    let (_folder, book) = book();
    let root = book.root();
    fs::write(root.join(H2), "part: h2\nname: by hand\n").unwrap();
    fs::write(root.join("parts/cylinder-head/h7.yaml"), "part: h7\n").unwrap();
    let before = state(root);
    for path in [H2, "parts/cylinder-head/h7.yaml"] {
        let mut writing = book.write(holder("enter")).unwrap();
        writing.put(path, b"other").unwrap();
        writing.put("builds/b2/build.yaml", b"build: b2\n").unwrap();
        match writing.commit("Over", &author(), at(1)) {
            Err(Error::PendingEdit { path: named }) => assert_eq!(named, path),
            other => panic!("{other:?}"),
        }
        assert_eq!(state(root), before);
    }
    // One that touches other files goes on and leaves them pending.
    put(&book, 1, &[("builds/b2/build.yaml", "build: b2\n")]);
    assert_eq!(state(root).status, before.status);
    assert_eq!(fs::read(root.join(H2)).unwrap(), b"part: h2\nname: by hand\n");
    // Built from what the work tree held, it may be replaced; from anything else, not.
    let mut writing = book.write(holder("keep")).unwrap();
    writing.put_over(H2, Some(b"part: h2\n"), b"part: h2\nname: by hand\n# spliced\n").unwrap();
    assert!(matches!(writing.commit("Keep", &author(), at(2)), Err(Error::PendingEdit { .. })));
    let mut writing = book.write(holder("keep")).unwrap();
    writing
        .put_over(H2, Some(b"part: h2\nname: by hand\n"), b"part: h2\nname: by hand\n# spliced\n")
        .unwrap();
    writing.put_over("parts/cylinder-head/h7.yaml", Some(b"part: h7\n"), b"part: h7\n").unwrap();
    writing.commit("Keep", &author(), at(2)).unwrap();
    assert_clean(root);
    // A removal by hand is kept the same way.
    fs::remove_file(root.join(H2)).unwrap();
    let mut writing = book.write(holder("keep")).unwrap();
    writing.remove_over(H2, None).unwrap();
    writing.commit("Keep", &author(), at(3)).unwrap();
    assert_clean(root);
    assert!(!book.head().unwrap().exists(H2).unwrap());
}

#[test]
fn what_the_user_staged_stays_staged() {
    let (_folder, book) = book();
    let root = book.root();
    fs::write(root.join("builds/b1/build.yaml"), "build: b1\nnote: staged\n").unwrap();
    fs::write(root.join("new.yaml"), "staged too\n").unwrap();
    git(root, &["add", "builds/b1/build.yaml", "new.yaml"]);
    git(root, &["rm", "-q", "--cached", "parts/cylinder-head/h3.yaml"]);
    let staged = git(root, &["diff", "--cached"]);
    assert_eq!(book.staged().unwrap(), ["builds/b1/build.yaml", "new.yaml", "parts/cylinder-head/h3.yaml"]);
    put(&book, 1, &[(H2, "part: h2\nname: x\n"), ("cells/c1.yaml", "cell: c1\n")]);
    assert_eq!(git(root, &["diff", "--cached"]), staged);
    assert_eq!(git(root, &["diff", "--name-only"]), "");
    for path in ["builds/b1/build.yaml", "new.yaml", "parts/cylinder-head/h3.yaml"] {
        let before = state(root);
        let mut writing = book.write(holder("enter")).unwrap();
        let seen = fs::read(root.join(path)).unwrap();
        writing.put_over(path, Some(&seen), b"other").unwrap();
        match writing.commit("Over", &author(), at(2)) {
            Err(Error::Staged { path: named }) => assert_eq!(named, path),
            other => panic!("{other:?}"),
        }
        assert_eq!(state(root), before);
    }
}

#[test]
fn an_edit_git_has_not_looked_at_is_not_hidden_by_the_new_index() {
    let (_folder, book) = book();
    let root = book.root();
    let file = root.join("cells/c1.yaml");
    let index = root.join(".git/index");
    let stamp = |path: &std::path::Path, moment: SystemTime| {
        fs::File::options().append(true).open(path).unwrap().set_modified(moment).unwrap();
    };
    git(root, &["config", "core.trustctime", "false"]);
    put(&book, 1, &[("cells/c1.yaml", "12345")]);
    // Written, taken into the index and edited to the same length within one second, ten years ago.
    let second = SystemTime::UNIX_EPOCH + Duration::from_secs(1_400_000_000);
    stamp(&file, second);
    git(root, &["update-index", "--refresh"]);
    stamp(&index, second + Duration::from_millis(2));
    fs::write(&file, "54321").unwrap();
    stamp(&file, second + Duration::from_millis(1));
    // A new index has a new time, by which the entry no longer looks doubtful.
    put(&book, 2, &[(H2, "part: h2\nname: x\n")]);
    assert_eq!(git(root, &["status", "--porcelain"]), " M cells/c1.yaml\n");
    assert_eq!(book.pending_all().unwrap().len(), 1);
}

#[test]
fn links_are_never_followed() {
    let (folder, book) = book();
    let root = book.root();
    let outside = folder.path().join("outside");
    fs::create_dir(&outside).unwrap();
    fs::write(outside.join("h2.yaml"), "secret").unwrap();
    fs::rename(root.join("parts/cylinder-head"), root.join("parts/moved")).unwrap();
    symlink(&outside, root.join("parts/cylinder-head")).unwrap();
    symlink(outside.join("h2.yaml"), root.join("link.yaml")).unwrap();
    for path in [H2, "parts/cylinder-head/h9.yaml", "link.yaml"] {
        let before = state(root);
        let mut writing = book.write(holder("enter")).unwrap();
        writing.put(path, b"through").unwrap();
        assert!(matches!(writing.commit("Through", &author(), at(1)), Err(Error::NotPlain { .. })));
        assert_eq!(state(root), before);
    }
    assert_eq!(fs::read(outside.join("h2.yaml")).unwrap(), b"secret");
    assert_eq!(fs::read_dir(&outside).unwrap().count(), 1);
    symlink(&outside, root.join("raw-large")).unwrap();
    let mut writing = book.write(holder("enter")).unwrap();
    assert!(writing.take_raw(&mut &b"12345"[..], 1, &mut |_| {}).is_err());
    drop(writing);
    assert_eq!(fs::read_dir(&outside).unwrap().count(), 1);
}

#[test]
fn a_merge_is_refused_unless_the_commit_concludes_it() {
    let (_folder, book) = book();
    let root = book.root();
    git(root, &["switch", "-q", "-c", "other"]);
    let other = put(&book, 1, &[(H2, "theirs\n"), ("only/theirs.yaml", "t\n")]);
    git(root, &["switch", "-q", "main"]);
    let ours = put(&book, 2, &[(H2, "ours\n")]);
    assert!(!try_git(root, &["merge", "-q", "other"]).status.success());
    let mut writing = book.write(holder("enter")).unwrap();
    writing.put("builds/b2/build.yaml", b"b2\n").unwrap();
    assert!(matches!(
        writing.commit("Not now", &author(), at(3)),
        Err(Error::InProgress { operation: "merge" })
    ));
    let seen = fs::read(root.join(H2)).unwrap();
    let mut writing = book.write(holder("keep")).unwrap();
    writing.put_over(H2, Some(&seen), b"both\n").unwrap();
    writing.put_over("only/theirs.yaml", Some(b"t\n"), b"t\n").unwrap();
    let me = author();
    let form = CommitForm { message: "Join", author: &me, time: at(3), merged: &[other], signer: None };
    writing.commit_as(form).unwrap();
    assert_clean(root);
    assert_eq!(git(root, &["log", "-1", "--format=%P"]).trim(), format!("{ours} {other}"));
    assert!(!root.join(".git/MERGE_HEAD").exists());
    assert!(book.pending_all().unwrap().is_empty() && book.staged().unwrap().is_empty());
}
