//! A small book to try the store on, and git itself as the judge of it.

use std::collections::BTreeMap;
use std::fs;
use std::ops::ControlFlow;
use std::path::{Path, PathBuf};
use std::process::{Command, Output};

use mulebook::store::Author;
use mulebook::store::Book;
use mulebook::store::CommitId;
use mulebook::store::Error;
use mulebook::store::LockHolder;
use mulebook::store::Step;
use mulebook::store::Time;

/// The moment the books of these tests begin.
pub(crate) const START: i64 = 1_700_000_000;

pub(crate) fn author() -> Author {
    Author { name: "Mara Kessel".into(), email: "mara@example.com".into() }
}

pub(crate) fn at(seconds: i64) -> Time {
    Time { seconds: START + seconds, offset: 3600 }
}

pub(crate) fn holder(command: &str) -> LockHolder {
    LockHolder { process: std::process::id(), since: "2023-11-14 23:13".into(), command: command.into() }
}

/// The files of a new book, ends of line of both kinds among them.
pub(crate) fn files() -> Vec<(String, Vec<u8>)> {
    [
        ("book.yaml", "book: bench\n"),
        (".gitattributes", "* -text -diff\n"),
        (".gitignore", "/raw-large/\n*.bak\n"),
        ("parts/cylinder-head/h2.yaml", "part: h2\n"),
        ("parts/cylinder-head/h3.yaml", "part: h3\r\nkind: cylinder-head\r\n"),
        ("builds/b1/build.yaml", "build: b1\n"),
    ]
    .map(|(path, text)| (path.to_owned(), text.as_bytes().to_vec()))
    .to_vec()
}

/// A new book in its own folder, with a space and a letter outside ASCII in its path.
pub(crate) fn book() -> (tempfile::TempDir, Book) {
    let folder = tempfile::tempdir().unwrap();
    let root = folder.path().join("bench bücher");
    let book = Book::create(&root, &files(), &author(), at(0), "Begin the book").unwrap();
    (folder, book)
}

pub(crate) fn put(book: &Book, seconds: i64, files: &[(&str, &str)]) -> CommitId {
    let mut writing = book.write(holder("enter")).unwrap();
    for (path, text) in files {
        writing.put(path, text.as_bytes()).unwrap();
    }
    writing.commit("Enter", &author(), at(seconds)).unwrap()
}

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

pub(crate) fn try_git(root: &Path, arguments: &[&str]) -> Output {
    git_command(root, arguments).output().unwrap()
}

pub(crate) fn git(root: &Path, arguments: &[&str]) -> String {
    let output = try_git(root, arguments);
    assert!(output.status.success(), "git {arguments:?} failed: {}", String::from_utf8_lossy(&output.stderr));
    String::from_utf8_lossy(&output.stdout).into_owned()
}

/// Git finds nothing wrong and nothing changed.
pub(crate) fn assert_clean(root: &Path) {
    assert_whole(root);
    assert_eq!(git(root, &["status", "--porcelain"]), "");
}

/// Git finds nothing wrong, dangling objects aside.
pub(crate) fn assert_whole(root: &Path) {
    let output = try_git(root, &["fsck", "--strict", "--no-dangling"]);
    let said =
        format!("{}{}", String::from_utf8_lossy(&output.stdout), String::from_utf8_lossy(&output.stderr));
    assert!(output.status.success() && said.trim().is_empty(), "git fsck: {said}");
}

/// Everything that must be as it was, or as it shall be: work tree, branch, index, what git says of them, locks.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct State {
    pub(crate) files: BTreeMap<PathBuf, Vec<u8>>,
    pub(crate) head: String,
    pub(crate) index: String,
    pub(crate) status: String,
    pub(crate) litter: Vec<String>,
}

pub(crate) fn state(root: &Path) -> State {
    let mut files = BTreeMap::new();
    collect(root, root, &mut files);
    let mut litter = Vec::new();
    for name in ["index.lock", "HEAD.lock", "refs/heads/main.lock", "mulebook/journal", "mulebook/reference"]
    {
        if root.join(".git").join(name).exists() {
            litter.push(name.to_owned());
        }
    }
    State {
        files,
        head: git(root, &["rev-parse", "HEAD"]),
        index: git(root, &["ls-files", "--stage"]),
        status: git(root, &["status", "--porcelain", "--untracked-files=all"]),
        litter,
    }
}

fn collect(root: &Path, folder: &Path, files: &mut BTreeMap<PathBuf, Vec<u8>>) {
    for entry in fs::read_dir(folder).unwrap() {
        let path = entry.unwrap().path();
        if path.file_name().unwrap() == ".git" {
            continue;
        }
        let inside = path.strip_prefix(root).unwrap().to_owned();
        if path.is_symlink() {
            files.insert(inside, fs::read_link(&path).unwrap().to_string_lossy().into_owned().into_bytes());
        } else if path.is_dir() {
            // A folder counts by itself: an empty one left behind shows.
            files.insert(inside, b"folder".to_vec());
            collect(root, &path, files);
        } else {
            files.insert(inside, fs::read(&path).unwrap());
        }
    }
}

/// Runs one test of this test program in a process of its own, as a child told what to do by the environment.
pub(crate) fn child(test: &str, root: &Path, task: &str) -> Command {
    let mut command = Command::new(std::env::current_exe().unwrap());
    command.args(["--exact", test, "--nocapture", "--test-threads=1"]).env("BOOK", root).env("TASK", task);
    command
}

/// What a child is to do, and on which book; `None` in the parent.
pub(crate) fn task() -> Option<(PathBuf, String)> {
    Some((PathBuf::from(std::env::var_os("BOOK")?), std::env::var("TASK").ok()?))
}

const RAW: &[u8] = b"rpm,torque\n3000,410\n";
const LARGE: &[u8] = b"rpm,torque\n3000,410\n3100,412\n3200,415\n";

/// A write with one of everything: changed, new, removed, small raw, large raw, new folders.
pub(crate) fn write(book: &Book, observer: &dyn Fn(Step) -> ControlFlow<()>) -> Result<CommitId, Error> {
    let mut writing = book.write(holder("enter"))?;
    writing.put("parts/cylinder-head/h2.yaml", b"part: h2\nname: new\n")?;
    writing.put("builds/b1/pulls/p-001.yaml", b"pull: p-001\n")?;
    writing.remove("parts/cylinder-head/h3.yaml")?;
    writing.take_raw(&mut &RAW[..], 30, &mut |_| {})?;
    writing.take_raw(&mut &LARGE[..], 30, &mut |_| {})?;
    // The observer outlives the write: it is the caller's.
    let commit = {
        let mut writing = writing;
        writing.observe(observer);
        writing.commit("Enter", &author(), at(100))
    }?;
    Ok(commit)
}

/// A book with a staged and a pending edit that must come through unchanged.
pub(crate) fn prepared() -> (tempfile::TempDir, Book) {
    let (folder, book) = book();
    fs::write(book.root().join("builds/b1/build.yaml"), "build: b1\nnote: staged\n").unwrap();
    git(book.root(), &["add", "builds/b1/build.yaml"]);
    fs::write(book.root().join("notes.yaml"), "pending\n").unwrap();
    (folder, book)
}

pub(crate) fn old_and_new() -> (State, State) {
    let (_folder, book) = prepared();
    let old = state(book.root());
    write(&book, &|_| ControlFlow::Continue(())).unwrap();
    (old, state(book.root()))
}
