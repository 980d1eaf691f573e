//! Real disks: full, read-only, folding case.

use std::fs;
use std::path::{Path, PathBuf};
use std::process::Command;

use mulebook::store::Book;

use crate::left_out::left_out;
use crate::shop::{assert_whole, copy, done, git, program, pull_arguments, raw, said, shop, state};

/// A file system of its own, gone when dropped; `None`, and said, where mounting is denied.
struct Mounted {
    folder: tempfile::TempDir,
}

impl Mounted {
    fn new(arguments: &[&str]) -> Option<Self> {
        let folder = tempfile::tempdir().unwrap();
        let mut mount = Command::new("mount");
        let output = mount.args(arguments).arg(folder.path()).output();
        match output {
            Ok(output) if output.status.success() => Some(Self { folder }),
            _ => {
                left_out(&format!("{arguments:?} cannot be mounted here"));
                None
            }
        }
    }

    fn path(&self) -> &Path {
        self.folder.path()
    }

    fn remount(&self, how: &str) {
        let status = Command::new("mount").args(["-o", &format!("remount,{how}")]).arg(self.path()).status();
        assert!(status.unwrap().success(), "remount,{how}");
    }
}

impl Drop for Mounted {
    fn drop(&mut self) {
        let _ = Command::new("umount").arg(self.folder.path()).status();
    }
}

fn book_on(mounted: &Mounted) -> PathBuf {
    let (_folder, root) = shop();
    done(&root, &pull_arguments(&raw("tarnbeck-0411-01.csv")));
    git(&root, &["gc", "--quiet", "--prune=now"]);
    let place = mounted.path().join("shop");
    copy(&root, &place);
    place
}

#[test]
fn a_disk_that_fills_up_loses_nothing_and_is_told() {
    let Some(mounted) = Mounted::new(&["-t", "tmpfs", "-o", "size=6m", "tmpfs"]) else { return };
    let root = book_on(&mounted);
    done(&root, &["gaps", "b1"]);
    let old = state(&root);
    let filler = mounted.path().join("filler");
    let (mut refused, mut room) = (0, 0_usize);
    // Less and less is left, down to nothing, in steps of one page.
    for pages in (0..40).rev().step_by(3).chain([2, 1, 0]) {
        let _ = fs::remove_file(&filler);
        fill(&filler, pages * 4096);
        let output = program(&root, &pull_arguments(&raw("tarnbeck-0411-02.csv"))).output().unwrap();
        let words = said(&output);
        let _ = fs::remove_file(&filler);
        if output.status.success() {
            room += 1;
            git(&root, &["reset", "--quiet", "--hard", "HEAD~1"]);
            continue;
        }
        refused += 1;
        assert_eq!(output.status.code(), Some(1), "{words}");
        assert!(
            words.contains("No space left") || words.contains("os error 28") || words.contains(" stands, "),
            "{words}"
        );
        Book::discover(&root).unwrap();
        let found = state(&root);
        if words.contains(" stands, ") {
            git(&root, &["reset", "--quiet", "--hard", "HEAD~1"]);
        } else {
            assert_eq!(found, old, "{pages} pages left: {words}");
        }
        assert_whole(&root);
    }
    eprintln!("a full disk refused {refused} times, {room} had room");
    assert!(refused >= 5, "{refused} {room}");
    let output = program(&root, &pull_arguments(&raw("tarnbeck-0411-02.csv"))).output().unwrap();
    assert!(output.status.success(), "{}", said(&output));
    done(&root, &["audit"]);
}

/// Fills the disk with a file until only so many bytes are left.
fn fill(filler: &Path, left: usize) {
    use std::io::Write;
    let mut file = fs::File::create(filler).unwrap();
    let page = [0_u8; 4096];
    while file.write_all(&page).is_ok() {}
    drop(file);
    let length = fs::metadata(filler).unwrap().len();
    let file = fs::OpenOptions::new().write(true).open(filler).unwrap();
    file.set_len(length.saturating_sub(left as u64)).unwrap();
}

#[test]
fn a_read_only_disk_is_read_and_refused_to_write() {
    let Some(mounted) = Mounted::new(&["-t", "tmpfs", "-o", "size=16m", "tmpfs"]) else { return };
    let root = book_on(&mounted);
    let old = state(&root);
    mounted.remount("ro");
    let reading: [&[&str]; 4] = [&["gaps", "b1"], &["audit"], &["sheet", "0411a-01"], &["diff", "b1", "b3"]];
    for arguments in reading {
        let output = program(&root, arguments).output().unwrap();
        assert!(matches!(output.status.code(), Some(0 | 3)), "{arguments:?}: {}", said(&output));
    }
    let writing: [&[&str]; 3] = [&["cell", "yard"], &["keep"], &["mend"]];
    for arguments in writing {
        let output = program(&root, arguments).output().unwrap();
        assert_eq!(output.status.code(), Some(1), "{arguments:?}: {}", said(&output));
        let words = said(&output).split_whitespace().collect::<Vec<_>>().join(" ");
        assert!(words.contains("Read-only file system"), "{arguments:?}: {words}");
    }
    mounted.remount("rw");
    assert_eq!(state(&root), old);
    done(&root, &["cell", "yard"]);
}

/// A file system where `H1` and `h1` are one name: a folder that folds case on ext4, where that can be made.
#[test]
fn names_that_differ_by_case_alone_are_refused() {
    let (_folder, root) = shop();
    let head = "part: H1\nkind: cylinder-head\nstates:\n  - state: a\n    since: 2026-03-20\n";
    fs::write(root.join("parts/cylinder-head/H1.yaml"), head).unwrap();
    let output = program(&root, &["keep"]).output().unwrap();
    assert_eq!(output.status.code(), Some(1), "{}", said(&output));
    let words = said(&output).split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(words.contains("differs from another by case alone"), "{words}");
    fs::remove_file(root.join("parts/cylinder-head/H1.yaml")).unwrap();
    for arguments in [
        ["part", "cylinder-head", "H1"].as_slice(),
        &["cell", "Tower"],
        &["instrument", "Burette-1", "50 cc burette"],
        &["build", "B1", "--from", "b2", "--set", "spacer=none"],
        &["session", "0411A", "--cell", "tower", "--engine", "mule-1"],
    ] {
        let output = program(&root, arguments).output().unwrap();
        assert!(!output.status.success(), "{arguments:?}: {}", said(&output));
    }
    assert_eq!(git(&root, &["status", "--porcelain"]), "");

    let images = tempfile::tempdir().unwrap();
    let image = images.path().join("folding.img");
    fs::File::create(&image).unwrap().set_len(48 << 20).unwrap();
    let made = Command::new("mkfs.ext4").args(["-q", "-O", "casefold"]).arg(&image).output();
    if !made.is_ok_and(|made| made.status.success()) {
        left_out("no file system that folds case can be made here");
        return;
    }
    let Some(mounted) = Mounted::new(&["-o", "loop", image.to_str().unwrap()]) else { return };
    let folding = mounted.path().join("folding");
    fs::create_dir(&folding).unwrap();
    if !Command::new("chattr").arg("+F").arg(&folding).status().is_ok_and(|status| status.success()) {
        left_out("a folder that folds case cannot be made here");
        return;
    }
    copy(&root, &folding.join("shop"));
    let root = folding.join("shop");
    done(&root, &pull_arguments(&raw("tarnbeck-0411-01.csv")));
    done(&root, &["measure", "h1/a", "inlet-port-volume", "170 cc", "--with", "burette-1"]);
    done(&root, &["audit"]);
    assert_whole(&root);
    assert_eq!(git(&root, &["status", "--porcelain"]), "");
}
