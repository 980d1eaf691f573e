//! Books of every format that there has been, and one of a format that there is not yet.

use std::fs;
use std::path::{Path, PathBuf};

use crate::commands::older_schemas;
use crate::shop::{assert_whole, copy, done, files, git, program, said, shop, source};

/// A kept book of a format, as a clone of its bundle.
fn kept(format: u32) -> (tempfile::TempDir, PathBuf) {
    let folder = tempfile::tempdir().unwrap();
    let bundle = source(&format!("tests/fixtures/books/format-{format}.bundle"));
    let root = folder.path().join("book");
    git(folder.path(), &["clone", "--quiet", bundle.to_str().unwrap(), root.to_str().unwrap()]);
    (folder, root)
}

/// Makes the bundle of this program's format: run once for each format, and kept.
#[test]
#[ignore = "makes the kept book of a new format"]
fn keep_a_book_of_this_format() {
    let (_folder, root) = shop();
    done(&root, &crate::shop::pull_arguments(&crate::shop::raw("tarnbeck-0411-01.csv")));
    done(&root, &["measure", "h1/a", "inlet-port-volume", "170 cc", "--with", "burette-1"]);
    let format = mulebook::workflow::library::FORMAT;
    let place = source(&format!("tests/fixtures/books/format-{format}.bundle"));
    fs::create_dir_all(place.parent().unwrap()).unwrap();
    git(&root, &["bundle", "create", "--quiet", place.to_str().unwrap(), "HEAD", "main"]);
}

#[test]
fn a_book_of_each_format_opens_answers_and_is_written_to() {
    for format in 1..=mulebook::workflow::library::FORMAT {
        let (_folder, root) = kept(format);
        let audit = program(&root, &["audit"]).output().unwrap();
        assert!(audit.status.success(), "format {format}: {}", said(&audit));
        let gaps = done(&root, &["gaps", "0411a-01"]);
        assert!(gaps.contains("0411a-01"), "{gaps}");
        // Its schemas may be older than this program's: then one command takes these over, and git takes it back.
        let head = git(&root, &["rev-parse", "HEAD"]);
        let taken = program(&root, &["keep", "--schemas"]).output().unwrap();
        if taken.status.success() {
            done(&root, &["audit"]);
            git(&root, &["revert", "--no-edit", "HEAD"]);
            assert_eq!(git(&root, &["diff", "--stat", head.trim(), "HEAD"]), "", "taken back");
            done(&root, &["audit"]);
            done(&root, &["keep", "--schemas"]);
        } else {
            assert!(said(&taken).contains("this program's already"), "{}", said(&taken));
        }
        done(&root, &["cell", "yard"]);
        done(&root, &["audit"]);
        assert_whole(&root);
        assert_eq!(git(&root, &["status", "--porcelain"]), "");
    }
}

#[test]
fn older_schemas_are_taken_over_and_that_is_taken_back() {
    let (_folder, root) = shop();
    older_schemas(&root);
    let before = files(&root);
    let refused = program(&root, &["cell", "yard"]).output().unwrap();
    assert_eq!(refused.status.code(), Some(1));
    assert!(said(&refused).contains("keep --schemas"), "{}", said(&refused));
    // Reading goes on meanwhile.
    done(&root, &["gaps", "b1"]);
    done(&root, &["audit"]);
    let taken = done(&root, &["keep", "--schemas"]);
    assert!(taken.contains("git revert"), "{taken}");
    done(&root, &["cell", "yard"]);
    git(&root, &["revert", "--no-edit", "HEAD", "HEAD~1"]);
    assert_eq!(files(&root), before, "every byte as before the schemas were taken over");
    done(&root, &["audit"]);
    done(&root, &["keep", "--schemas"]);
    done(&root, &["cell", "yard"]);
}

/// Says in the book's page that it is of another format, in a commit as another program would make it.
fn of_format(root: &Path, format: &str) {
    let page = fs::read_to_string(root.join("book.yaml")).unwrap();
    let now = format!("format: {}", mulebook::workflow::library::FORMAT);
    fs::write(root.join("book.yaml"), page.replace(&now, &format!("format: {format}"))).unwrap();
    git(root, &["commit", "--quiet", "-m", "By another program", "book.yaml"]);
}

#[test]
fn a_newer_format_says_so_and_nothing_is_written() {
    let (folder, made) = shop();
    for format in ["2", "999", "0", "4294967295"] {
        let root = folder.path().join(format);
        copy(&made, &root);
        of_format(&root, format);
        let before = files(&root);
        for arguments in [["gaps", "b1"].as_slice(), &["keep"], &["cell", "yard"], &["keep", "--schemas"]] {
            let output = program(&root, arguments).output().unwrap();
            let words = said(&output).split_whitespace().collect::<Vec<_>>().join(" ");
            assert_eq!(output.status.code(), Some(1), "{format} {arguments:?}: {words}");
            assert!(words.contains("another format than this program"), "{format} {arguments:?}: {words}");
            assert!(words.contains("use the program that wrote it, or a newer one"), "{words}");
        }
        assert_eq!(files(&root), before);
        assert_eq!(git(&root, &["status", "--porcelain"]), "");
    }
}
