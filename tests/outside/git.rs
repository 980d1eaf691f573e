//! Ordinary git, sha256sum and a clone on another kind of machine, all on a book that the program made.
#![expect(
    clippy::disallowed_methods,
    clippy::disallowed_types,
    reason = "these tests start processes, look at the disk and say what they leave out"
)]
#![expect(clippy::unwrap_used, reason = "a test that fails shall stop")]

use crate::shop;

use std::fs;
use std::path::{Path, PathBuf};
use std::process::Command;

use crate::outside::left_out;
use crate::shop::{assert_whole, done, files, git, git_command, program, pull_arguments, raw, said, shop};

const MEASURE: [&str; 6] = ["measure", "h1/a", "inlet-port-volume", "170 cc", "--with", "burette-1"];

/// A book with two pulls, of which the second is moved to its build by a correction.
fn pulled(root: &Path) {
    done(root, &pull_arguments(&raw("tarnbeck-0411-01.csv")));
    done(root, &pull_arguments(&raw("tarnbeck-0411-04.csv")));
    done(root, &["correct", "0411a-02", "--set", "build=b2", "--because", "entered for the wrong build"]);
}

/// Raw files from now on lie outside git.
fn only_small_files_in_git(root: &Path) {
    let page = fs::read_to_string(root.join("book.yaml")).unwrap();
    assert!(page.contains("raw-limit: 10 MB"));
    fs::write(root.join("book.yaml"), page.replace("raw-limit: 10 MB", "raw-limit: 10 kB")).unwrap();
    done(root, &["keep", "-m", "Keep the repository small"]);
}

fn clone(root: &Path, name: &str, settings: &[&str]) -> PathBuf {
    let place = root.with_file_name(name);
    let mut arguments = vec!["clone", "--quiet", "--no-local"];
    for setting in settings {
        arguments.extend(["-c", setting]);
    }
    arguments.extend([root.to_str().unwrap(), place.to_str().unwrap()]);
    git(root.parent().unwrap(), &arguments);
    place
}

#[test]
fn git_checks_it_and_a_clone_answers_alike() {
    let (_folder, root) = shop();
    pulled(&root);
    assert_whole(&root);
    assert_eq!(git(&root, &["status", "--porcelain", "--ignored"]), "");
    let clone = clone(&root, "clone", &[]);
    assert_eq!(files(&clone), files(&root));
    for arguments in [
        ["diff", "0411a-01", "0411a-02", "--json"].as_slice(),
        &["gaps", "0411a-01", "0411a-02", "--json"],
        &["audit", "--json"],
    ] {
        let here = program(&root, arguments).output().unwrap();
        let there = program(&clone, arguments).output().unwrap();
        assert!(!here.stdout.is_empty());
        assert_eq!((here.status, said(&here)), (there.status, said(&there)), "{arguments:?}");
    }
    done(&clone, &MEASURE);
    git(&root, &["pull", "--quiet", "--ff-only", clone.to_str().unwrap(), "HEAD"]);
    assert_eq!(files(&clone), files(&root), "what was entered in a clone comes back");
    done(&root, &["audit"]);
}

#[test]
fn a_clone_that_converts_line_ends_holds_the_same_bytes() {
    let (folder, root) = shop();
    // A raw file of each kind of line end, and one of both kinds.
    let text = fs::read_to_string(raw("tarnbeck-0411-01.csv")).unwrap().replace("\r\n", "\n");
    let lines = text.split_inclusive('\n').enumerate();
    let mixed: String = lines
        .map(|(n, line)| if n % 2 == 0 { line.to_owned() } else { line.replace('\n', "\r\n") })
        .collect();
    for (name, text) in
        [("lf.csv", text.clone()), ("crlf.csv", text.replace('\n', "\r\n")), ("mixed.csv", mixed)]
    {
        let file = folder.path().join(name);
        fs::write(&file, text).unwrap();
        done(&root, &pull_arguments(file.to_str().unwrap()));
    }
    let with_returns =
        files(&root).values().filter(|bytes| bytes.windows(2).any(|pair| pair == b"\r\n")).count();
    assert!(with_returns >= 2, "{with_returns}");
    for (name, setting) in
        [("windows", "core.autocrlf=true"), ("input", "core.autocrlf=input"), ("eol", "core.eol=crlf")]
    {
        let clone = clone(&root, name, &[setting]);
        assert_eq!(files(&clone), files(&root), "{setting}");
        assert_eq!(git(&clone, &["status", "--porcelain"]), "", "{setting}");
        let audit = program(&clone, &["audit"]).output().unwrap();
        assert!(audit.status.success(), "{setting}: {}", said(&audit));
        // Written here and committed by git under the same setting, the bytes stay too.
        done(&clone, &MEASURE);
        assert_eq!(git(&clone, &["status", "--porcelain"]), "", "{setting}");
        assert_whole(&clone);
    }
}

#[test]
fn a_large_raw_file_is_not_in_a_clone_and_that_is_no_damage() {
    let (_folder, root) = shop();
    only_small_files_in_git(&root);
    done(&root, &pull_arguments(&raw("tarnbeck-0411-01.csv")));
    let large: Vec<String> = files(&root).into_keys().filter(|path| path.starts_with("raw-large/")).collect();
    assert_eq!(large.len(), 1);
    assert_eq!(git(&root, &["status", "--porcelain"]), "");
    let here = done(&root, &["audit"]);
    assert!(!here.contains("Not in this copy"), "{here}");

    let clone = clone(&root, "clone", &["core.autocrlf=true"]);
    assert!(!files(&clone).keys().any(|path| path.starts_with("raw-large/")));
    let there = done(&clone, &["audit"]);
    assert!(there.contains("Not in this copy of the book (no damage)"), "{there}");
    assert!(there.contains(large[0].rsplit('/').next().unwrap()), "{there}");
    assert_eq!(program(&clone, &["audit", "--json"]).output().unwrap().status.code(), Some(0));
    // Carried over by hand, it is here again.
    fs::create_dir_all(clone.join(&large[0]).parent().unwrap()).unwrap();
    fs::copy(root.join(&large[0]), clone.join(&large[0])).unwrap();
    let there = done(&clone, &["audit"]);
    assert!(!there.contains("Not in this copy"), "{there}");
}

#[test]
fn a_raw_file_that_git_held_once_is_missed() {
    let (_folder, root) = shop();
    done(&root, &pull_arguments(&raw("tarnbeck-0411-01.csv")));
    git(&root, &["rm", "--quiet", "-r", "raw"]);
    git(&root, &["commit", "--quiet", "-m", "Evidence taken out"]);
    let audit = program(&root, &["audit"]).output().unwrap();
    assert_eq!(audit.status.code(), Some(4), "{}", said(&audit));
    assert!(said(&audit).contains("an earlier commit held it"), "{}", said(&audit));
}

#[test]
fn sha256sum_finds_each_raw_file_under_its_own_name() {
    let (_folder, root) = shop();
    pulled(&root);
    only_small_files_in_git(&root);
    done(&root, &pull_arguments(&raw("tarnbeck-0411-02.csv")));
    let kept: Vec<String> = files(&root).into_keys().filter(|path| path.starts_with("raw")).collect();
    assert_eq!(kept.len(), 3, "{kept:?}");
    let Ok(output) = Command::new("sha256sum").args(&kept).current_dir(&root).output() else {
        assert!(std::env::var_os("CI").is_none(), "sha256sum is missing");
        left_out("SHA-256 by another program, as sha256sum is missing");
        return;
    };
    assert!(output.status.success(), "{}", said(&output));
    let lines = said(&output);
    assert_eq!(lines.lines().count(), 3);
    for line in lines.lines() {
        let (digest, path) = line.split_once("  ").unwrap();
        assert_eq!(path.rsplit('/').next(), Some(digest));
        assert!(path.contains(&format!("/{}/", &digest[..2])), "{path}");
        let named = done(&root, &["audit", "--json"]);
        assert!(!named.contains(digest), "nothing to say of a whole file: {named}");
    }
}

#[test]
fn log_blame_and_push_work_as_on_any_repository() {
    let (_folder, root) = shop();
    pulled(&root);
    done(&root, &MEASURE);
    let log = git(&root, &["log", "--format=%s", "--", "parts/cylinder-head/h1.yaml"]);
    assert_eq!(log.lines().count(), 2, "{log}");
    assert!(log.starts_with("Enter inlet-port-volume of h1"), "{log}");
    let blame = git(&root, &["blame", "--line-porcelain", "parts/cylinder-head/h1.yaml"]);
    let line = blame.lines().position(|line| line.starts_with('\t') && line.contains("170 cc")).unwrap();
    let head = git(&root, &["rev-parse", "HEAD"]);
    let begin = blame.lines().take(line).filter(|line| line.starts_with(head.trim())).count();
    assert_eq!(begin, 1, "the new line is this commit's, and no other is: {blame}");
    let followed = git(&root, &["log", "--follow", "--format=%s", "--", "builds/b2/pulls/0411a-02.yaml"]);
    assert!(followed.contains("Enter pull 0411a-02"), "a moved pull keeps its history: {followed}");

    let bare = root.with_file_name("bare.git");
    git(root.parent().unwrap(), &["init", "--quiet", "--bare", bare.to_str().unwrap()]);
    git(&bare, &["config", "receive.fsckObjects", "true"]);
    git(&root, &["push", "--quiet", bare.to_str().unwrap(), "HEAD:refs/heads/main"]);
    git(&bare, &["symbolic-ref", "HEAD", "refs/heads/main"]);
    assert_eq!(git(&bare, &["rev-parse", "main"]), head);
    assert_whole(&bare);
    // Further entries are fast-forwards.
    done(&root, &["measure", "h1/a", "chamber-volume", "43.6 cc", "--with", "burette-1"]);
    git(&root, &["push", "--quiet", bare.to_str().unwrap(), "HEAD:refs/heads/main"]);
    done(&root, &["audit"]);
}

#[test]
fn commits_and_staged_edits_of_git_are_respected() {
    let (_folder, root) = shop();
    pulled(&root);
    let rule = root.join("instruments/rule-1.yaml");
    let note = |text: &str| {
        let mut whole = fs::read_to_string(&rule).unwrap();
        whole.push_str(text);
        fs::write(&rule, whole).unwrap();
    };
    // A commit made by git, between two of the program's.
    note("note: \"lent out\"\n");
    git(&root, &["commit", "--quiet", "-am", "By git"]);
    done(&root, &MEASURE);
    assert_eq!(git(&root, &["log", "-2", "--format=%s"]).lines().nth(1), Some("By git"));
    assert!(fs::read_to_string(&rule).unwrap().contains("lent out"));
    // An edit that is staged stays staged, one that is not stays so.
    note("serial: \"12\"\n");
    git(&root, &["add", "instruments/rule-1.yaml"]);
    let people = fs::read_to_string(root.join("people.yaml")).unwrap();
    fs::write(root.join("people.yaml"), format!("{people}# to be checked\n")).unwrap();
    let before = git(&root, &["status", "--porcelain"]);
    assert_eq!(before, "M  instruments/rule-1.yaml\n M people.yaml\n");
    done(&root, &["measure", "h1/a", "chamber-volume", "43.6 cc", "--with", "burette-1"]);
    assert_eq!(git(&root, &["status", "--porcelain"]), before);
    // A commit taken back by git is gone for the program too.
    git(&root, &["stash", "--quiet"]);
    git(&root, &["revert", "--no-edit", "HEAD"]);
    done(&root, &["audit"]);
    // Packed and cleared up, it reads as before.
    let answer = done(&root, &["gaps", "b1", "--json"]);
    git(&root, &["gc", "--quiet", "--prune=now"]);
    assert_eq!(done(&root, &["gaps", "b1", "--json"]), answer);
    done(&root, &MEASURE);
    assert_whole(&root);
}

#[test]
fn git_that_holds_the_index_is_waited_for_by_the_user_and_named() {
    let (_folder, root) = shop();
    let before = shop::state(&root);
    fs::write(root.join(".git/index.lock"), "").unwrap();
    let output = program(&root, &MEASURE).output().unwrap();
    assert_eq!(output.status.code(), Some(1));
    let words = said(&output).split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(words.contains("index.lock; wait for the git command that is running"), "{words}");
    done(&root, &["gaps", "b1"]);
    fs::remove_file(root.join(".git/index.lock")).unwrap();
    assert_eq!(shop::state(&root), before);
    done(&root, &MEASURE);
}

#[test]
fn git_is_here() {
    // The program needs no git; these tests do, and say so in one line.
    let version = git_command(Path::new("."), &["--version"]).output();
    assert!(version.is_ok_and(|output| output.status.success()), "git is missing");
}
