//! The program's calls as strace tells them, and the program with one of them tampered with.

use std::collections::BTreeMap;
use std::fs;
use std::os::unix::process::ExitStatusExt;
use std::path::Path;
use std::process::{Command, Output};

use crate::left_out::left_out;
use crate::shop::surround;

/// Calls that open for writing, write, sync, rename, link, unlink or truncate, as two kinds of machine name them.
pub(crate) const CHANGES: [&str; 20] = [
    "openat",
    "open",
    "creat",
    "write",
    "pwrite64",
    "writev",
    "ftruncate",
    "fsync",
    "fdatasync",
    "rename",
    "renameat",
    "renameat2",
    "link",
    "linkat",
    "unlink",
    "unlinkat",
    "rmdir",
    "mkdir",
    "mkdirat",
    "copy_file_range",
];

/// Whether strace is here and may be used.
pub(crate) fn strace_is_here() -> bool {
    let mut probe = Command::new("strace");
    probe.args(["-f", "-qq", "-o", "/dev/null", "-e", "trace=?rename", "true"]);
    let here = probe.output().is_ok_and(|output| output.status.success());
    if !here {
        left_out("strace is missing or may not be used");
    }
    here
}

/// One place in a run where the program changes something: the how-manyth call of its name by its thread.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord)]
pub(crate) struct Point {
    pub(crate) call: String,
    pub(crate) count: u32,
}

/// Runs a command under strace with further options.
pub(crate) fn traced(task: &Command, options: &[&str], log: &Path) -> Output {
    let mut command = Command::new("strace");
    command.args(["-f", "-qq", "-o"]).arg(log).args(options).arg(task.get_program()).args(task.get_args());
    surround(&mut command);
    command.output().unwrap()
}

/// The lines of a log as thread and call; one that was interrupted by another thread's is put together again.
pub(crate) fn calls(log: &str) -> Vec<(String, String)> {
    let mut calls = Vec::new();
    let mut open: BTreeMap<String, String> = BTreeMap::new();
    for line in log.lines() {
        let Some((thread, call)) = line.split_once(' ') else { continue };
        let call = call.trim_start();
        if let Some(head) = call.strip_suffix("<unfinished ...>") {
            open.insert(thread.to_owned(), head.trim_end().to_owned());
        } else if let Some(rest) = call.strip_prefix("<... ") {
            let tail = rest.split_once("resumed>").map_or("", |(_, tail)| tail);
            if let Some(head) = open.remove(thread) {
                calls.push((thread.to_owned(), format!("{head}{tail}")));
            }
        } else {
            calls.push((thread.to_owned(), call.to_owned()));
        }
    }
    calls
}

/// Every point of a command's run: each call that changes something, by name and place among its thread's calls of
/// that name.
pub(crate) fn points(task: &Command) -> Vec<Point> {
    let log = tempfile::NamedTempFile::new().unwrap();
    let names = CHANGES.map(|name| format!("?{name}")).join(",");
    let output = traced(task, &["-e", &format!("trace={names}")], log.path());
    assert!(output.status.success());
    let mut counts: BTreeMap<(String, String), u32> = BTreeMap::new();
    let mut points = std::collections::BTreeSet::new();
    for (thread, call) in calls(&fs::read_to_string(log.path()).unwrap()) {
        let Some((name, rest)) = call.split_once('(') else { continue };
        let count = counts.entry((thread, name.to_owned())).or_default();
        *count += 1;
        let reads =
            matches!(name, "openat" | "open") && !rest.contains("O_WRONLY") && !rest.contains("O_RDWR");
        if !reads {
            points.insert(Point { call: name.to_owned(), count: *count });
        }
    }
    points.into_iter().collect()
}

/// Runs the task with one call tampered with; whether that call was met.
pub(crate) fn tampered(task: &Command, point: &Point, how: &str, for_ever: bool) -> (Output, bool) {
    let log = tempfile::NamedTempFile::new().unwrap();
    let (call, count) = (&point.call, point.count);
    let ever = if for_ever { "+" } else { "" };
    let inject = format!("inject=?{call}:{how}:when={count}{ever}");
    let output = traced(task, &["-e", &format!("trace=?{call}"), "-e", &inject], log.path());
    let hit = if how.starts_with("signal") {
        // strace ends as its program did; a shell says 137.
        output.status.signal() == Some(9) || output.status.code() == Some(137)
    } else {
        fs::read_to_string(log.path()).unwrap().contains("INJECTED")
    };
    (output, hit)
}
