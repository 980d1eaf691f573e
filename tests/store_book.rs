//! Books made, read, written and looked over, with git as the judge.
#![expect(
    clippy::disallowed_methods,
    clippy::disallowed_types,
    reason = "these tests look at the disk and ask git"
)]
#![expect(clippy::unwrap_used, reason = "a test that fails shall stop")]

#[allow(dead_code, reason = "each test program uses its own part of it")]
mod store_fixture;

use std::fs;
use std::os::unix::fs::PermissionsExt;
use std::path::Path;

use mulebook::store::Book;
use mulebook::store::CommitForm;
use mulebook::store::EntryKind;
use mulebook::store::Error;
use store_fixture::{assert_clean, at, author, book, files, git, holder, put, state, try_git};

const H2: &str = "parts/cylinder-head/h2.yaml";

#[test]
fn a_new_book_is_one_clean_commit() {
    let (_folder, book) = book();
    assert_clean(book.root());
    assert_eq!(
        git(book.root(), &["log", "--format=%an <%ae> %ad %s", "--date=raw"]),
        "Mara Kessel <mara@example.com> 1700000000 +0100 Begin the book\n"
    );
    assert_eq!(git(book.root(), &["config", "core.fsync"]), "all\n");
    assert_eq!(git(book.root(), &["symbolic-ref", "HEAD"]), "refs/heads/main\n");
    assert_eq!(git(book.root(), &["reflog", "--format=%gs"]), "commit: Begin the book\n");
    let head = book.head().unwrap();
    for (path, bytes) in files() {
        assert_eq!(head.read(&path).unwrap().unwrap(), bytes);
        assert_eq!(fs::read(book.root().join(&path)).unwrap(), bytes);
    }
    assert_eq!(head.time(), at(0));
    assert!(head.read("parts/cylinder-head/h9.yaml").unwrap().is_none());
    assert!(matches!(head.read("parts"), Err(Error::NotPlain { .. })));
    let names: Vec<_> =
        head.list("parts").unwrap().into_iter().map(|entry| (entry.name, entry.kind)).collect();
    assert_eq!(names, [("cylinder-head".to_owned(), EntryKind::Folder)]);
    assert!(!book.root().join(".git/mulebook/creating").exists());
}

#[test]
fn the_same_input_makes_the_same_commit() {
    let (_one, one) = book();
    let (_two, two) = book();
    assert_eq!(one.head().unwrap().commit(), two.head().unwrap().commit());
    assert_eq!(put(&one, 5, &[(H2, "part: h2\nname: x\n")]), put(&two, 5, &[(H2, "part: h2\nname: x\n")]));
}

#[test]
fn a_new_book_is_refused_where_something_is_in_the_way() {
    let (_folder, old) = book();
    let before = state(old.root());
    let again = |root: &Path| Book::create(root, &files(), &author(), at(0), "Again");
    assert!(matches!(again(old.root()), Err(Error::AlreadyBook { .. })));
    assert_eq!(state(old.root()), before);

    let folder = tempfile::tempdir().unwrap();
    fs::write(folder.path().join("book.yaml"), "mine").unwrap();
    assert!(matches!(again(folder.path()), Err(Error::InTheWay { .. })));
    assert_eq!(fs::read_dir(folder.path()).unwrap().count(), 1);

    let folder = tempfile::tempdir().unwrap();
    git(folder.path(), &["init", "-q"]);
    assert!(matches!(again(folder.path()), Err(Error::InTheWay { .. })));

    let folder = tempfile::tempdir().unwrap();
    let deep = folder.path().join("a/b");
    let unsafe_path = Book::create(&deep, &[("../x".into(), vec![])], &author(), at(0), "m");
    assert!(matches!(unsafe_path, Err(Error::UnsafePath { .. })));
    assert_eq!(fs::read_dir(folder.path()).unwrap().count(), 0, "something was left behind");
    fs::write(folder.path().join("notes.txt"), "kept").unwrap();
    again(folder.path()).unwrap();
    assert_eq!(git(folder.path(), &["status", "--porcelain"]), "?? notes.txt\n");
}

#[test]
fn a_new_book_that_was_interrupted_is_begun_again() {
    let (_folder, made) = book();
    let root = made.root().to_owned();
    // As it stands between the repository's going in place and the first commit.
    git(&root, &["update-ref", "-d", "HEAD"]);
    git(&root, &["rm", "-rqf", "--cached", "."]);
    for entry in fs::read_dir(&root).unwrap() {
        let path = entry.unwrap().path();
        if path.is_dir() && path.file_name().unwrap() != ".git" {
            fs::remove_dir_all(path).unwrap();
        } else if path.is_file() {
            fs::remove_file(path).unwrap();
        }
    }
    fs::write(root.join(".git/mulebook/creating"), "").unwrap();
    fs::create_dir_all(root.join(".mulebook-new/.git")).unwrap();
    assert!(matches!(Book::discover(&root), Err(Error::NotABook { .. })));
    let book = Book::create(&root, &files(), &author(), at(0), "Begin the book").unwrap();
    assert!(book.head().is_ok());
    assert!(!root.join(".git/mulebook/creating").exists());
}

#[test]
fn a_write_is_one_commit_and_leaves_git_nothing_to_say() {
    let (_folder, book) = book();
    let first = book.head().unwrap().commit();
    let mut writing = book.write(holder("enter")).unwrap();
    assert_eq!(writing.base().unwrap().commit(), first);
    writing.put(H2, b"part: h2\nname: second\n").unwrap();
    writing.put("builds/b1/pulls/p-001.yaml", b"pull: p-001\n").unwrap();
    writing.remove("parts/cylinder-head/h3.yaml").unwrap();
    writing.remove("parts/cylinder-head/never-was.yaml").unwrap();
    let commit = writing.commit("Enter a pull\n\nmore", &author(), at(60)).unwrap();
    assert_clean(book.root());
    assert_eq!(git(book.root(), &["rev-parse", "HEAD"]).trim(), commit.to_string());
    assert_eq!(git(book.root(), &["rev-parse", "HEAD^"]).trim(), first.to_string());
    assert_eq!(git(book.root(), &["show", "HEAD:parts/cylinder-head/h2.yaml"]), "part: h2\nname: second\n");
    assert_eq!(fs::read(book.root().join(H2)).unwrap(), b"part: h2\nname: second\n");
    assert!(!book.root().join("parts/cylinder-head/h3.yaml").exists());
    assert_eq!(book.snapshot(first).unwrap().read(H2).unwrap().unwrap(), b"part: h2\n");

    let mut writing = book.write(holder("enter")).unwrap();
    writing.remove("builds/b1/pulls/p-001.yaml").unwrap();
    writing.commit("Remove", &author(), at(61)).unwrap();
    assert!(!book.root().join("builds/b1/pulls").exists(), "an empty folder stayed");
    assert_clean(book.root());

    let mut writing = book.write(holder("enter")).unwrap();
    writing.put(H2, b"part: h2\nname: second\n").unwrap();
    let before = state(book.root());
    assert!(matches!(writing.commit("Same", &author(), at(62)), Err(Error::NothingChanged)));
    assert_eq!(state(book.root()), before);
}

#[test]
fn a_write_that_is_dropped_changes_nothing() {
    let (_folder, book) = book();
    let before = state(book.root());
    let mut writing = book.write(holder("enter")).unwrap();
    writing.put(H2, b"other").unwrap();
    writing.take_raw(&mut &b"rpm,torque\n"[..], 4, &mut |_| {}).unwrap();
    writing.take_raw(&mut &b"a"[..], 4, &mut |_| {}).unwrap();
    drop(writing);
    assert_eq!(state(book.root()), before);
    assert_eq!(fs::read_dir(book.root().join(".git/mulebook/incoming")).unwrap().count(), 0);
}

#[test]
fn a_clone_by_git_reads_the_same_even_with_line_end_conversion_set() {
    let (folder, book) = book();
    put(&book, 1, &[("parts/cylinder-head/h4.yaml", "part: h4\r\n")]);
    let copy = folder.path().join("copy");
    let from = book.root().to_string_lossy().into_owned();
    git(folder.path(), &["clone", "-q", "-c", "core.autocrlf=true", &from, &copy.to_string_lossy()]);
    let cloned = Book::discover(&copy.join("parts")).unwrap();
    assert_eq!(cloned.head().unwrap().commit(), book.head().unwrap().commit());
    assert!(cloned.pending_all().unwrap().is_empty());
    put(&cloned, 2, &[(H2, "part: h2\r\nname: crlf\r\n"), ("parts/x/y.yaml", "a\nb\n")]);
    assert_clean(&copy);
    assert!(cloned.pending_all().unwrap().is_empty());
    git(&copy, &["gc", "-q"]);
    let packed = Book::discover(&copy).unwrap();
    assert_eq!(packed.head().unwrap().read("parts/x/y.yaml").unwrap().unwrap(), b"a\nb\n");
    put(&packed, 3, &[(H2, "part: h2\n")]);
    assert_clean(&copy);
}

#[test]
fn nothing_a_repository_names_is_run_and_replaced_objects_do_not_show() {
    let (_folder, book) = book();
    let root = book.root();
    let first = book.head().unwrap().commit().to_string();
    let second = put(&book, 1, &[(H2, "part: h2\nname: true\n")]).to_string();
    let witness = root.join(".git/ran");
    let script = root.join(".git/script");
    fs::write(&script, format!("#!/bin/sh\ntouch '{}'\ncat\n", witness.display())).unwrap();
    fs::set_permissions(&script, fs::Permissions::from_mode(0o755)).unwrap();
    for hook in ["pre-commit", "post-commit", "reference-transaction", "post-index-change", "fsmonitor"] {
        fs::copy(&script, root.join(".git/hooks").join(hook)).unwrap();
    }
    let program = script.to_string_lossy().into_owned();
    for setting in ["core.fsmonitor", "filter.x.clean", "filter.x.smudge", "diff.external", "gpg.program"] {
        git(root, &["config", setting, &program]);
    }
    git(root, &["config", "commit.gpgSign", "true"]);
    fs::write(root.join(".git/info/attributes"), "* filter=x\n").unwrap();
    fs::create_dir_all(root.join(".git/refs/replace")).unwrap();
    fs::write(root.join(".git/refs/replace").join(&second), format!("{first}\n")).unwrap();
    let book = Book::discover(root).unwrap();
    assert_eq!(book.head().unwrap().read(H2).unwrap().unwrap(), b"part: h2\nname: true\n");
    fs::write(root.join("parts/cylinder-head/h5.yaml"), "part: h5\n").unwrap();
    assert_eq!(book.pending_all().unwrap().len(), 1);
    put(&book, 2, &[("builds/b1/build.yaml", "build: b1\nnote: n\n")]);
    book.verify(&Default::default(), &mut |_| {}).unwrap();
    assert!(!witness.exists(), "something was run");
}

#[test]
fn a_work_tree_that_settings_put_elsewhere_is_refused() {
    let (folder, book) = book();
    let elsewhere = folder.path().join("elsewhere");
    fs::create_dir(&elsewhere).unwrap();
    git(book.root(), &["config", "core.worktree", &elsewhere.to_string_lossy()]);
    assert!(matches!(Book::discover(book.root()), Err(Error::Unsupported { .. })));
}

#[test]
fn known_on_a_moment_goes_by_the_latest_time_on_the_way() {
    let (_folder, book) = book();
    let zero = book.head().unwrap().commit();
    let ten = put(&book, 10, &[(H2, "10")]);
    let five = put(&book, 5, &[(H2, "clock ran back")]);
    let twenty = put(&book, 20, &[(H2, "20")]);
    let known = |seconds: i64| book.known_on(at(seconds).seconds).unwrap().map(|snapshot| snapshot.commit());
    assert_eq!(known(-1), None);
    assert_eq!(known(0), Some(zero));
    assert_eq!(known(5), Some(zero));
    assert_eq!(known(9), Some(zero));
    assert_eq!(known(10), Some(five), "the commit after counts from the same time");
    assert_eq!(known(20), Some(twenty));
    assert_ne!(ten, five);
    let changes: Vec<_> = book.log(H2).unwrap().into_iter().map(|change| change.commit).collect();
    assert_eq!(changes, [twenty, five, ten, zero]);
    assert_eq!(book.log("builds").unwrap().len(), 1);
    assert_eq!(book.log(H2).unwrap()[0].author, author());
    assert_eq!(book.find("HEAD~1").unwrap(), Some(five));
    assert_eq!(book.find("no such name").unwrap(), None);
}

#[test]
fn a_path_may_not_lead_through_a_file_nor_stand_for_a_folder() {
    let (_folder, book) = book();
    for path in ["book.yaml/x.yaml", "parts", "parts/cylinder-head"] {
        let before = state(book.root());
        let mut writing = book.write(holder("enter")).unwrap();
        writing.put(path, b"x").unwrap();
        assert!(matches!(writing.commit("x", &author(), at(1)), Err(Error::NotPlain { .. })), "{path}");
        assert_eq!(state(book.root()), before);
    }
    let mut writing = book.write(holder("enter")).unwrap();
    assert!(matches!(writing.put(".git/config", b"x"), Err(Error::UnsafePath { .. })));
}

#[test]
fn any_branch_a_detached_head_and_a_second_work_tree_are_written_to() {
    let (folder, book) = book();
    let root = book.root();
    let main = book.head().unwrap().commit().to_string();
    git(root, &["switch", "-q", "-c", "trial/cam"]);
    put(&book, 1, &[(H2, "on a branch")]);
    assert_clean(root);
    assert_eq!(git(root, &["rev-parse", "main"]).trim(), main);
    git(root, &["switch", "-q", "--detach", "main"]);
    let detached = put(&book, 2, &[(H2, "detached")]);
    assert_clean(root);
    assert_eq!(git(root, &["rev-parse", "HEAD"]).trim(), detached.to_string());
    assert!(!try_git(root, &["symbolic-ref", "HEAD"]).status.success());
    let second = folder.path().join("second");
    git(root, &["worktree", "add", "-q", &second.to_string_lossy(), "main"]);
    let other = Book::discover(&second).unwrap();
    put(&other, 3, &[(H2, "second work tree")]);
    assert_clean(&second);
    assert_clean(root);
    git(root, &["switch", "-q", "--orphan", "empty"]);
    fs::write(root.join("book.yaml"), "book: again\n").unwrap();
    let unborn = Book::discover(root).unwrap();
    assert!(matches!(unborn.head(), Err(Error::NoCommit { .. })));
    let mut writing = unborn.write(holder("keep")).unwrap();
    writing.put_over("book.yaml", Some(b"book: again\n"), b"book: again\n").unwrap();
    writing.commit("Again", &author(), at(4)).unwrap();
    assert_clean(root);
}

#[test]
fn a_signer_sees_the_commit_without_its_signature() {
    let (_folder, book) = book();
    let before = state(book.root());
    let me = author();
    let form = CommitForm { message: "Signed", author: &me, time: at(1), merged: &[], signer: None };
    let mut writing = book.write(holder("enter")).unwrap();
    writing.put(H2, b"x").unwrap();
    let refuse = |_: &[u8]| Err("no key".to_owned());
    assert!(matches!(
        writing.commit_as(CommitForm { signer: Some(&refuse), ..form }),
        Err(Error::Signer { .. })
    ));
    assert_eq!(state(book.root()), before);
    let seen = std::cell::RefCell::new(Vec::new());
    let sign = |bytes: &[u8]| {
        *seen.borrow_mut() = bytes.to_vec();
        Ok("-----BEGIN SSH SIGNATURE-----\nabc\n-----END SSH SIGNATURE-----\n".to_owned())
    };
    let mut writing = book.write(holder("enter")).unwrap();
    writing.put(H2, b"x").unwrap();
    writing.commit_as(CommitForm { signer: Some(&sign), ..form }).unwrap();
    let raw = git(book.root(), &["cat-file", "commit", "HEAD"]);
    let header = "gpgsig -----BEGIN SSH SIGNATURE-----\n abc\n -----END SSH SIGNATURE-----\n";
    assert_eq!(raw.replace(header, ""), String::from_utf8(seen.into_inner()).unwrap());
    assert!(raw.contains(header));
    assert_clean(book.root());
}

#[test]
fn authors_git_cannot_record_are_refused() {
    let (_folder, book) = book();
    for (name, email) in [("", "a@b"), ("a <b>", "c"), ("a\nb", "c"), ("a", "b\n")] {
        let before = state(book.root());
        let mut writing = book.write(holder("enter")).unwrap();
        writing.put(H2, b"x").unwrap();
        let who = mulebook::store::Author { name: name.into(), email: email.into() };
        assert!(matches!(writing.commit("m", &who, at(1)), Err(Error::Author { .. })));
        assert_eq!(state(book.root()), before);
    }
}

#[test]
fn times_git_cannot_record_are_refused() {
    let (_folder, book) = book();
    for (seconds, offset) in [(-1, 0), (i64::MIN, 0), (1, 86_400), (1, i32::MIN)] {
        let mut writing = book.write(holder("enter")).unwrap();
        writing.put(H2, b"x").unwrap();
        let refused = writing.commit("m", &author(), mulebook::store::Time { seconds, offset });
        assert!(matches!(refused, Err(Error::Unsupported { .. })), "{refused:?}");
    }
    assert_clean(book.root());
}

#[test]
fn an_executable_file_stays_one_and_new_files_are_plain() {
    let (_folder, book) = book();
    let root = book.root();
    fs::write(root.join("tool.sh"), "#!/bin/sh\n").unwrap();
    fs::set_permissions(root.join("tool.sh"), fs::Permissions::from_mode(0o755)).unwrap();
    git(root, &["add", "tool.sh"]);
    git(root, &["commit", "-qm", "tool"]);
    put(&book, 1, &[("tool.sh", "#!/bin/sh\ntrue\n"), ("plain.yaml", "x\n")]);
    assert_clean(root);
    let mode = |name: &str| fs::metadata(root.join(name)).unwrap().permissions().mode() & 0o777;
    assert_eq!(mode("tool.sh") & 0o111, 0o111);
    assert_eq!(mode("plain.yaml") & !0o644, 0);
}

#[test]
fn the_cache_gives_back_what_it_took_or_nothing() {
    let (_folder, book) = book();
    assert_eq!(book.cache_read("rows"), None);
    book.cache_write("rows", b"one two");
    assert_eq!(book.cache_read("rows").unwrap(), b"one two");
    book.cache_write("rows", b"");
    assert_eq!(book.cache_read("rows").unwrap(), b"");
    let place = book.root().join(".git/mulebook/cache/rows");
    let whole = fs::read(&place).unwrap();
    for position in 0..whole.len() {
        let mut broken = whole.clone();
        broken[position] ^= 1;
        fs::write(&place, broken).unwrap();
        assert_eq!(book.cache_read("rows"), None);
    }
    fs::write(&place, b"short").unwrap();
    assert_eq!(book.cache_read("rows"), None);
    book.cache_write("../journal", b"x");
    assert_eq!(book.cache_read("../journal"), None);
    assert_clean(book.root());
}
