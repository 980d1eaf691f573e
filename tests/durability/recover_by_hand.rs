//! A damaged book brought back by a person with git, `sha256sum` and the shell's own words, as `docs/format.md` says.

use std::fs;
use std::process::Command;

use crate::shop::{copy, done, git, pull_arguments, raw, shop, source, state};

/// The shell lines of a section of a document.
fn lines_under(document: &str, heading: &str) -> Vec<String> {
    let text = fs::read_to_string(source(document)).unwrap();
    let (_, section) = text.split_once(heading).unwrap_or_else(|| panic!("{document} has no `{heading}`"));
    let section = section.split("\n## ").next().unwrap();
    section
        .split("```sh\n")
        .skip(1)
        .flat_map(|block| block.split("```").next().unwrap().lines())
        .filter(|line| !line.starts_with('#') && !line.trim().is_empty())
        .map(str::to_owned)
        .collect()
}

#[test]
fn a_person_with_git_and_a_shell_recovers_everything() {
    let (folder, root) = shop();
    done(&root, &pull_arguments(&raw("tarnbeck-0411-01.csv")));
    let page = fs::read_to_string(root.join("book.yaml")).unwrap();
    fs::write(root.join("book.yaml"), page.replace("raw-limit: 10 MB", "raw-limit: 10 kB")).unwrap();
    done(&root, &["keep"]);
    done(&root, &pull_arguments(&raw("tarnbeck-0411-02.csv")));
    let before = state(&root);
    copy(&root, &folder.path().join("copy"));
    // Objects, the index, the branch, a raw file in git, one beside it, a manifest and a half-finished write.
    let tree = git(&root, &["rev-parse", "HEAD:builds/b1"]).trim().to_owned();
    for id in [tree, git(&root, &["rev-parse", "HEAD:parts/cylinder-head/h2.yaml"]).trim().to_owned()] {
        fs::remove_file(root.join(".git/objects").join(&id[..2]).join(&id[2..])).unwrap();
    }
    fs::write(root.join(".git/index"), "damaged").unwrap();
    fs::write(root.join(".git/refs/heads/main"), "damaged\n").unwrap();
    for path in before.files.keys().filter(|path| path.starts_with("raw")) {
        fs::remove_file(root.join(path)).unwrap();
        fs::write(root.join(path), "damaged").unwrap();
    }
    fs::remove_file(root.join("parts/cylinder-head/h2.yaml")).unwrap();
    fs::write(root.join(".git/index.lock"), "mulebook holds the index while it writes\n").unwrap();
    let lines = lines_under("docs/format.md", "## Bringing a damaged book back");
    assert!(lines.len() >= 6, "{lines:?}");
    let path = std::env::var("PATH").unwrap_or_default();
    for line in &lines {
        let output = Command::new("sh")
            .args(["-c", line])
            .current_dir(&root)
            .env("PATH", &path)
            .env("GIT_CONFIG_GLOBAL", "/dev/null")
            .env("GIT_CONFIG_SYSTEM", "/dev/null")
            .output()
            .unwrap();
        let said =
            format!("{}{}", String::from_utf8_lossy(&output.stdout), String::from_utf8_lossy(&output.stderr));
        assert!(output.status.success(), "`{line}`: {said}");
    }
    let after = state(&root);
    assert_eq!(after, before);
    done(&root, &["audit"]);
}
