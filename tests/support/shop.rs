//! A small shop's book made by the program itself, the program run on it, and git as the judge of what is left.
#![allow(dead_code, reason = "each test program uses its own part of it")]
#![expect(
    clippy::disallowed_methods,
    clippy::disallowed_types,
    clippy::unwrap_used,
    reason = "the tests start processes and look at the disk, and a test that fails shall stop"
)]

use std::collections::BTreeMap;
use std::fs;
use std::path::{Path, PathBuf};
use std::process::{Command, Output};

/// The clock of the runs, so that the same run twice makes the same commit.
pub(crate) const NOW: &str = "2026-06-01T10:00:00+02:00";

/// A folder of the repository.
pub(crate) fn source(inside: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join(inside)
}

/// A raw file of the demo.
pub(crate) fn raw(name: &str) -> String {
    source("demo-data/raw").join(name).to_str().unwrap().to_owned()
}

/// The program on a book, with a fixed clock and person and nothing of the user's settings.
pub(crate) fn program(root: &Path, arguments: &[&str]) -> Command {
    let mut command = Command::new(env!("CARGO_BIN_EXE_mulebook"));
    command.arg("--book").arg(root).args(arguments);
    surround(&mut command);
    command
}

/// Sets the surroundings of [`program`] on another command that starts it.
pub(crate) fn surround(command: &mut Command) {
    command.env("MULEBOOK_NOW", NOW).env("MULEBOOK_PERSON", "mk").stdin(std::process::Stdio::null());
}

/// Runs the program, which must succeed; what it said on standard output.
pub(crate) fn done(root: &Path, arguments: &[&str]) -> String {
    let output = program(root, arguments).output().unwrap();
    assert!(output.status.success(), "mulebook {arguments:?}: {}", said(&output));
    String::from_utf8(output.stdout).unwrap()
}

/// What a command wrote, both ways.
pub(crate) fn said(output: &Output) -> String {
    format!("{}{}", String::from_utf8_lossy(&output.stdout), String::from_utf8_lossy(&output.stderr))
}

/// A book with the demo shop's manifests and no pulls yet, in a path with a space and a letter outside ASCII.
pub(crate) fn shop() -> (tempfile::TempDir, PathBuf) {
    let folder = tempfile::tempdir().unwrap();
    let root = folder.path().join("shop bücher");
    let mut new = Command::new(env!("CARGO_BIN_EXE_mulebook"));
    new.arg("new").arg(&root).args(["--name", "small"]);
    surround(&mut new);
    assert!(new.output().unwrap().status.success());
    copy(&source("demo-data/book"), &root);
    done(&root, &["keep", "-m", "The shop's book"]);
    (folder, root)
}

/// What `mulebook pull` needs to be told of a first pull of the demo's first day.
pub(crate) fn pull_arguments(file: &str) -> Vec<&str> {
    vec![
        "pull",
        file,
        "--session",
        "0411a",
        "--build",
        "b1",
        "--at",
        "2026-04-11T09:40:00+02:00",
        "--set",
        "kind=sweep",
        "--set",
        "rate=300 rpm/s",
        "--correction",
        "observed",
    ]
}

/// Copies a folder's files into another, over what is there.
pub(crate) fn copy(from: &Path, to: &Path) {
    fs::create_dir_all(to).unwrap();
    for entry in fs::read_dir(from).unwrap() {
        let path = entry.unwrap().path();
        let place = to.join(path.file_name().unwrap());
        if path.is_dir() {
            copy(&path, &place);
        } else {
            fs::copy(&path, &place).unwrap();
        }
    }
}

/// Git on a folder, with nobody's settings.
pub(crate) fn git_command(root: &Path, arguments: &[&str]) -> Command {
    let mut command = Command::new("git");
    command
        .arg("-C")
        .arg(root)
        .args(arguments)
        .env("GIT_CONFIG_GLOBAL", "/dev/null")
        .env("GIT_CONFIG_SYSTEM", "/dev/null")
        .env("LC_ALL", "C");
    for who in ["AUTHOR", "COMMITTER"] {
        command.env(format!("GIT_{who}_NAME"), "Git").env(format!("GIT_{who}_EMAIL"), "git@example.com");
    }
    command
}

/// Runs git, which must succeed.
pub(crate) fn git(root: &Path, arguments: &[&str]) -> String {
    let output = git_command(root, arguments).output().unwrap();
    assert!(output.status.success(), "git {arguments:?}: {}", said(&output));
    String::from_utf8_lossy(&output.stdout).into_owned()
}

/// Git finds nothing wrong; objects that nothing names are what an interrupted write may leave.
pub(crate) fn assert_whole(root: &Path) {
    let output = git_command(root, &["fsck", "--strict", "--no-dangling"]).output().unwrap();
    assert!(output.status.success() && said(&output).trim().is_empty(), "git fsck: {}", said(&output));
}

/// All that a reader of the book can see, by the program or by git.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct State {
    pub(crate) files: BTreeMap<String, Vec<u8>>,
    pub(crate) head: String,
    pub(crate) index: String,
    pub(crate) status: String,
    pub(crate) left: Vec<&'static str>,
}

/// The book's state.
pub(crate) fn state(root: &Path) -> State {
    let left = ["index.lock", "HEAD.lock", "refs/heads/main.lock", "mulebook/journal"];
    State {
        files: files(root),
        head: git(root, &["rev-parse", "HEAD"]),
        index: git(root, &["ls-files", "--stage"]),
        status: git(root, &["status", "--porcelain", "--untracked-files=all", "--ignored"]),
        left: left.into_iter().filter(|name| root.join(".git").join(name).exists()).collect(),
    }
}

/// The work tree: path and bytes; an empty folder counts, a folder with something in it does not.
pub(crate) fn files(root: &Path) -> BTreeMap<String, Vec<u8>> {
    let mut found = BTreeMap::new();
    collect(root, root, &mut found);
    found
}

fn collect(root: &Path, folder: &Path, found: &mut BTreeMap<String, Vec<u8>>) {
    let entries: Vec<_> = fs::read_dir(folder).unwrap().map(|entry| entry.unwrap().path()).collect();
    if entries.is_empty() {
        found.insert(format!("{}/", inside(root, folder)), Vec::new());
    }
    for path in entries {
        if path.file_name().unwrap() == ".git" {
            continue;
        }
        if path.is_dir() {
            collect(root, &path, found);
        } else {
            found.insert(inside(root, &path), fs::read(&path).unwrap());
        }
    }
}

fn inside(root: &Path, path: &Path) -> String {
    path.strip_prefix(root).unwrap().to_str().unwrap().replace('\\', "/")
}
