//! Writes that take only part of what they were given: every write of every command by half, through a library laid
//! before the system's own; and a limit on the size of files, where the system itself cuts a write short.

use std::fs;
use std::path::{Path, PathBuf};
use std::process::Command;

use mulebook::store::Book;

use crate::commands::{entering, keeping, mending, taking_in};
use crate::left_out::left_out;
use crate::shop::{assert_whole, said, source, state, surround};

/// Builds the library; `None`, and said, where there is no C compiler or none that builds for this system.
fn library(folder: &Path) -> Option<PathBuf> {
    let made = folder.join("short_writes.so");
    let source = source("tests/durability/short_writes.c");
    let mut compiler = Command::new("cc");
    compiler.args(["-shared", "-fPIC", "-o"]).arg(&made).arg(source).arg("-ldl");
    match compiler.output() {
        Ok(output) if output.status.success() => Some(made),
        _ => {
            left_out("short writes need a C compiler (cc)");
            None
        }
    }
}

#[test]
fn every_write_by_half_leads_to_the_same() {
    let folder = tempfile::tempdir().unwrap();
    let Some(library) = library(folder.path()) else { return };
    let log = folder.path().join("log");
    let mut halved = 0_usize;
    let tasks: Vec<_> =
        entering().into_iter().chain(taking_in()).chain(keeping()).chain([mending()]).collect();
    for task in &tasks {
        let (_copy, root) = task.copy();
        let mut command = task.program(&root);
        command.env("LD_PRELOAD", &library).env("SHORT_WRITES_LOG", &log);
        let output = command.output().unwrap();
        assert!(output.status.success(), "{}: {}", task.word, said(&output));
        assert_eq!(state(&root), task.new, "{}", task.word);
        assert_whole(&root);
        let met: usize = fs::read_to_string(&log).unwrap().trim().parse().unwrap();
        assert!(met >= 10, "{}: only {met} writes were halved", task.word);
        halved += met;
    }
    eprintln!("{} commands, {halved} writes halved: each led where it should", tasks.len());
}

#[test]
fn a_limit_on_the_size_of_files_cuts_a_write_short_and_loses_nothing() {
    let tasks = taking_in();
    let (mut killed, mut failed, mut done) = (0, 0, 0);
    for task in &tasks {
        // In blocks of 512 bytes, as POSIX has it for `ulimit -f`; the raw file itself takes about a hundred.
        for (blocks, ignored) in [(1, true), (2, false), (9, true), (40, false), (40, true), (9000, true)] {
            let (_copy, root) = task.copy();
            let trap = if ignored { "trap '' XFSZ; " } else { "" };
            let plain = task.program(&root);
            let mut command = Command::new("sh");
            command.arg("-c").arg(format!("{trap}ulimit -c 0; ulimit -f {blocks}; exec \"$@\"")).arg("sh");
            command.arg(plain.get_program()).args(plain.get_args());
            surround(&mut command);
            let output = command.output().unwrap();
            let place = format!("{} in {blocks} blocks, {ignored}: {}", task.word, said(&output));
            match output.status.code() {
                Some(0) => done += 1,
                Some(1) => failed += 1,
                None => killed += 1,
                other => panic!("{place}: {other:?}"),
            }
            assert!(Book::discover(&root).unwrap().unsettled().is_none(), "{place}");
            let found = state(&root);
            assert!(found == task.old || found == task.new, "{place}");
            assert!(!output.status.success() || found == task.new, "{place}");
            assert_whole(&root);
        }
    }
    eprintln!("writes cut short by a limit: {killed} killed, {failed} failed, {done} done");
    assert!(killed >= 3 && failed >= 3 && done >= 3, "{killed} {failed} {done}");
}
