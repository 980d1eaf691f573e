//! File systems that take `SP-12` and `sp-12` for one name: no two records differ by case alone, on any system, and a
//! book lives on such a disk like on another.

use std::fs;
use std::path::Path;
use std::process::{Command, Output};

use crate::left_out::left_out;
use crate::shop::{
    assert_whole, copy, done, git, program, pull_arguments, raw, said, shop, source, surround,
};

/// An image with exFAT on it, as sticks have it: it folds case, and knows no hard links, links or modes.
struct Stick {
    folder: tempfile::TempDir,
    device: String,
}

impl Stick {
    /// `None`, and said, where the tools are missing or mounting is denied.
    fn new() -> Option<Self> {
        let made = Self::mounted();
        if made.is_none() {
            left_out(
                "a file system that folds case needs mkfs.exfat, mount.exfat-fuse, losetup and the right to mount",
            );
        }
        made
    }

    fn mounted() -> Option<Self> {
        let folder = tempfile::tempdir().unwrap();
        let (image, place) = (folder.path().join("image"), folder.path().join("stick"));
        fs::File::create(&image).unwrap().set_len(64 << 20).unwrap();
        fs::create_dir(&place).unwrap();
        run(Command::new("mkfs.exfat").arg(&image))?;
        let found = run(Command::new("losetup").args(["--find", "--show"]).arg(&image))?;
        let device = String::from_utf8(found.stdout).unwrap().trim().to_owned();
        let mounted = run(Command::new("mount.exfat-fuse").arg(&device).arg(&place));
        let stick = Self { folder, device };
        mounted.map(|_| stick)
    }

    fn path(&self) -> std::path::PathBuf {
        self.folder.path().join("stick")
    }
}

impl Drop for Stick {
    fn drop(&mut self) {
        let _ = Command::new("umount").arg(self.path()).status();
        let _ = Command::new("losetup").arg("--detach").arg(&self.device).status();
    }
}

fn run(command: &mut Command) -> Option<Output> {
    command.output().ok().filter(|output| output.status.success())
}

fn refused(root: &Path, arguments: &[&str]) {
    let output = program(root, arguments).output().unwrap();
    let words = said(&output);
    assert_eq!(output.status.code(), Some(1), "{arguments:?}: {words}");
    assert!(words.contains("differs from another by case alone"), "{arguments:?}: {words}");
}

/// A part, a build and a cell under a name that another has in small letters.
fn twins_are_refused(root: &Path) {
    let head = git(root, &["rev-parse", "HEAD"]);
    refused(root, &["part", "spacer", "SP-12", "--how", "bought new"]);
    refused(root, &["build", "B1", "--from", "b1", "--set", "header=step-1"]);
    refused(root, &["cell", "Tower", "--set", "altitude=listed: 320 m; survey map"]);
    assert_eq!(git(root, &["rev-parse", "HEAD"]), head);
    assert_eq!(git(root, &["status", "--porcelain", "--untracked-files=all"]), "");
}

#[test]
fn names_that_differ_by_case_alone_are_refused() {
    let (_folder, root) = shop();
    done(&root, &pull_arguments(&raw("tarnbeck-0411-01.csv")));
    twins_are_refused(&root);
    // By hand, and so for a session, whose tag names its pulls.
    let session = fs::read_to_string(root.join("sessions/0411a.yaml")).unwrap();
    fs::write(root.join("sessions/0411A.yaml"), session.replace("session: 0411a", "session: 0411A")).unwrap();
    refused(&root, &["keep", "-m", "twins"]);
}

#[test]
fn a_book_lives_on_a_stick_that_folds_case() {
    let Some(stick) = Stick::new() else { return };
    let (_folder, plain) = shop();
    let folded = stick.path().join("shop");
    let mut new = Command::new(env!("CARGO_BIN_EXE_mulebook"));
    new.arg("new").arg(&folded).args(["--name", "small"]);
    surround(&mut new);
    let output = new.output().unwrap();
    assert!(output.status.success(), "{}", said(&output));
    copy(&source("demo-data/book"), &folded);
    done(&folded, &["keep", "-m", "The shop's book"]);
    let questions: [&[&str]; 3] =
        [&["gaps", "0411a-01", "--json"], &["sheet", "0411a-01"], &["trail", "h1", "--json"]];
    let answers = [&plain, &folded].map(|root| {
        done(root, &pull_arguments(&raw("tarnbeck-0411-01.csv")));
        done(root, &["measure", "h1/a", "inlet-port-volume", "170 cc", "--with", "burette-1"]);
        done(root, &["audit"]);
        questions.map(|question| done(root, question))
    });
    let [on_plain, on_folded] = answers;
    assert_eq!(on_plain, on_folded);
    let page = folded.join("sheet.html");
    done(&folded, &["page", "0411a-01", "--out", page.to_str().unwrap()]);
    fs::remove_file(&page).unwrap();
    twins_are_refused(&folded);
    // The branch's commits are the same: nothing of the disk is in them.
    assert_eq!(git(&plain, &["rev-parse", "HEAD^{tree}"]), git(&folded, &["rev-parse", "HEAD^{tree}"]));
    assert_whole(&folded);
}
