//! Files that leave the book, a page, a table and a dossier: under their names they are whole or not there at all, and
//! the book stays as it was.

use std::fs;
use std::path::{Path, PathBuf};
use std::process::Command;

use crate::shop::{assert_whole, program, said, state, surround};
use crate::sweep::{KILL, faults};
use crate::trace::{points, strace_is_here, tampered};

/// The demo's book: the only one with a claim whose evidence is worth a dossier.
fn demo(folder: &Path) -> PathBuf {
    let root = folder.join("demo");
    let mut command = Command::new(env!("CARGO_BIN_EXE_mulebook"));
    command.arg("demo").arg(&root);
    surround(&mut command);
    let output = command.output().unwrap();
    assert!(output.status.success(), "{}", said(&output));
    root
}

#[test]
fn files_that_leave_the_book_are_whole_or_not_there() {
    if !strace_is_here() {
        return;
    }
    let folder = tempfile::tempdir().unwrap();
    let root = demo(folder.path());
    let long = std::env::var_os("LONG").is_some();
    // What is written, and how many faults the short run takes: a dossier weighs all its pulls each time.
    let commands: [(&[&str], &[&str], usize); 3] = [
        (&["table", "0418a-07", "--csvw", "OUT"], &["0418a-07.csv", "0418a-07.csv-metadata.json"], 6),
        (&["page", "0418a-07", "--out", "OUT/sheet.html"], &["sheet.html"], 5),
        (&["dossier", "stepped-header", "--out", "OUT/claim.zip"], &["claim.zip"], 3),
    ];
    let old = state(&root);
    // What is derived is made now: the runs are to be alike.
    assert!(program(&root, &["gaps", "0418a-07"]).output().unwrap().status.code().is_some());
    for (words, files, few) in commands {
        let command = |out: &Path| {
            let out = out.to_str().unwrap();
            let words: Vec<String> = words.iter().map(|word| word.replace("OUT", out)).collect();
            program(&root, &words.iter().map(String::as_str).collect::<Vec<_>>())
        };
        let first = folder.path().join("first");
        let whole = |out: &Path| -> Vec<Option<Vec<u8>>> {
            files.iter().map(|file| fs::read(out.join(file)).ok()).collect()
        };
        let points = points(&command(&first));
        let expected = whole(&first);
        assert!(expected.iter().all(Option::is_some), "{words:?} writes {files:?}");
        fs::remove_dir_all(&first).unwrap();
        let faults = faults(&points);
        // A dossier makes a book of its own in a temporary folder to try what it says: thousands of calls.
        let step = (faults.len() / if long { few * 40 } else { few }).max(1);
        let (mut met, mut there) = (0, 0);
        for (number, (point, fault)) in faults.iter().enumerate().step_by(step) {
            let out = folder.path().join(number.to_string());
            let (output, hit) = tampered(&command(&out), point, fault.how, fault.for_ever);
            let place = format!("{words:?} {point:?} {fault:?}: {}", said(&output));
            let found = whole(&out);
            if hit {
                met += 1;
                for (one, expected) in found.iter().zip(&expected) {
                    assert!(one.is_none() || one == expected, "{place}: half a file");
                }
                if output.status.success() {
                    assert_eq!(found, expected, "{place}: done, and not there");
                } else if *fault != KILL {
                    assert_eq!(output.status.code(), Some(1), "{place}");
                    // What could not be said, or not be taken away again, may stand.
                    let stays = matches!(point.call.as_str(), "write" | "unlink" | "unlinkat" | "fsync");
                    assert!(stays || found.iter().all(Option::is_none), "{place}: failed, and yet there");
                }
            }
            if found == expected {
                there += 1;
            } else {
                for file in files {
                    let _ = fs::remove_file(out.join(file));
                }
                let again = command(&out).output().unwrap();
                assert!(again.status.success(), "{place}: run again: {}", said(&again));
                assert_eq!(whole(&out), expected, "{place}: run again");
            }
            fs::remove_dir_all(&out).unwrap();
            assert_eq!(state(&root), old, "{place}: the book changed");
        }
        eprintln!("{}: {} faults possible; {met} met, {there} times there", words[0], faults.len());
        assert!(faults.len() >= 30 && met >= few / 2, "{words:?}: {} {met}", faults.len());
    }
    assert_whole(&root);
}
