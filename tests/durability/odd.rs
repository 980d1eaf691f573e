//! Odd surroundings: no home, no git identity, an open mask, a plain locale, a clock set back, paths of any bytes.

use std::ffi::OsStr;
use std::fs;
use std::os::unix::ffi::OsStrExt;
use std::os::unix::fs::PermissionsExt;
use std::path::Path;
use std::process::Command;

use crate::shop::{assert_whole, copy, done, git, program, pull_arguments, raw, said, shop};

/// The whole day of a book: made, filled, read, audited, in a folder of this path.
fn a_day(root: &Path, prepare: &dyn Fn(&mut Command)) {
    let run = |arguments: &[&OsStr]| {
        let mut command = Command::new(env!("CARGO_BIN_EXE_mulebook"));
        command.args(arguments).stdin(std::process::Stdio::null());
        prepare(&mut command);
        let output = command.output().unwrap();
        assert!(output.status.success(), "{arguments:?} in {}: {}", root.display(), said(&output));
    };
    let word = OsStr::new;
    run(&[word("new"), root.as_os_str(), word("--name"), word("Prüfstand 試験 Двигатель")]);
    let (_folder, other) = shop();
    for folder in ["parts", "builds", "cells", "instruments", "sessions"] {
        copy(&other.join(folder), &root.join(folder));
    }
    fs::copy(other.join("people.yaml"), root.join("people.yaml")).unwrap();
    let in_book = |arguments: &[&str]| {
        let mut words = vec![word("--book"), root.as_os_str()];
        words.extend(arguments.iter().map(OsStr::new));
        run(&words);
    };
    in_book(&["keep"]);
    in_book(&pull_arguments(&raw("tarnbeck-0411-01.csv")));
    in_book(&["measure", "h1/a", "inlet-port-volume", "170 cc", "--with", "burette-1"]);
    in_book(&["gaps", "0411a-01"]);
    in_book(&["audit"]);
    in_book(&["mend"]);
    assert_whole(root);
    assert_eq!(git(root, &["status", "--porcelain"]), "", "{}", root.display());
}

#[test]
fn no_home_no_identity_no_locale() {
    let folder = tempfile::tempdir().unwrap();
    a_day(&folder.path().join("bare"), &|command| {
        command.env_clear().env("MULEBOOK_PERSON", "mk");
    });
    a_day(&folder.path().join("plain"), &|command| {
        command
            .env_clear()
            .env("MULEBOOK_PERSON", "mk")
            .env("LC_ALL", "C")
            .env("LANG", "C")
            .env("HOME", "/nonexistent")
            .env("TZ", "Nowhere/At_All");
    });
}

#[test]
fn paths_of_any_bytes_long_and_odd() {
    let folder = tempfile::tempdir().unwrap();
    let here = |command: &mut Command| {
        command.env("MULEBOOK_PERSON", "mk");
    };
    let not_utf8 = folder.path().join(OsStr::from_bytes(b"shop \xff\xfe"));
    a_day(&not_utf8, &here);
    let long: String = "l".repeat(200);
    a_day(&folder.path().join(&long).join(&long).join("book"), &here);
    a_day(&folder.path().join("-rf 'x' \"y\" $z `w` *?[a] #\t\n"), &here);
    a_day(&folder.path().join("エンジン").join("двигатель"), &here);
}

#[test]
fn an_open_mask_leaves_no_file_that_others_may_write() {
    let folder = tempfile::tempdir().unwrap();
    let root = folder.path().join("open");
    let mut shell = Command::new("sh");
    shell.args(["-c", "umask 0; \"$0\" new \"$1\" && \"$0\" --book \"$1\" cell yard"]);
    shell.arg(env!("CARGO_BIN_EXE_mulebook")).arg(&root);
    let output = shell.output().unwrap();
    assert!(output.status.success(), "{}", said(&output));
    let mut open = vec![root.clone()];
    let mut looked_at = 0;
    while let Some(place) = open.pop() {
        for entry in fs::read_dir(&place).unwrap() {
            let path = entry.unwrap().path();
            let mode = fs::metadata(&path).unwrap().permissions().mode();
            let gits_own = path.strip_prefix(root.join(".git")).is_ok_and(|inside| {
                // What the git library makes goes by the mask, as what git itself makes; so do its folders.
                !inside.starts_with("mulebook") && (!inside.starts_with("refs") || path.is_dir())
            });
            assert!(gits_own || mode & 0o022 == 0, "{} is {mode:o}", path.display());
            looked_at += 1;
            if path.is_dir() {
                open.push(path);
            }
        }
    }
    assert!(looked_at > 60, "{looked_at}");
}

#[test]
fn a_clock_set_back_changes_no_order_and_is_told() {
    let (_folder, root) = shop();
    let mut back = program(&root, &["cell", "yard"]);
    back.env("MULEBOOK_NOW", "2001-01-01T00:00:00+00:00");
    let output = back.output().unwrap();
    assert!(output.status.success(), "{}", said(&output));
    done(&root, &["cell", "field"]);
    // What was committed by the clock that ran back counts as known from the latest time before it.
    let output = program(&root, &["trail", "yard"]).output().unwrap();
    assert_ne!(output.status.code(), Some(101), "{}", said(&output));
    let subjects = git(&root, &["log", "-2", "--format=%s"]);
    assert!(subjects.contains("field") && subjects.contains("yard"), "{subjects}");
    done(&root, &["audit"]);
    for now in ["1969-12-31T23:00:00+00:00", "+200000-01-01T00:00:00+00:00", "noon"] {
        let mut odd = program(&root, &["cell", "moon"]);
        let output = odd.env("MULEBOOK_NOW", now).output().unwrap();
        assert!(matches!(output.status.code(), Some(1 | 2)), "{now}: {}", said(&output));
    }
    assert_whole(&root);
}
