//! Books from elsewhere: nothing of theirs runs, nothing leads out of the book, nothing stands in for what git holds.

use std::fs;
use std::os::unix::fs::{PermissionsExt, symlink};
use std::path::Path;

use crate::shop::{done, git, git_command, program, pull_arguments, raw, said, shop};

/// Commands that read, and what they need.
pub(crate) const READING: [&[&str]; 13] = [
    &["audit"],
    &["gaps", "0411a-01"],
    &["gaps", "b1", "b3"],
    &["sheet", "0411a-01"],
    &["sheet", "b1"],
    &["diff", "b1", "b3"],
    &["trail", "h2"],
    &["trail", "0411a-01"],
    &["find", "pulls"],
    &["find", "parts"],
    &["combos", "--rows", "header", "--cols", "cylinder-head"],
    &["weigh", "--base", "0411a-01", "--test", "0411a-02"],
    &["look", "demo-data/raw/tarnbeck-0411-03.csv"],
];

/// What the reading commands say, one after the other; their exit codes with it.
fn answers(root: &Path) -> Vec<String> {
    READING
        .iter()
        .map(|arguments| {
            let output = program(root, arguments).output().unwrap();
            format!("{arguments:?} {:?} {}", output.status.code(), said(&output))
        })
        .collect()
}

fn script(path: &Path, mark: &Path) {
    fs::write(path, format!("#!/bin/sh\necho \"$0\" >> '{}'\n", mark.display())).unwrap();
    fs::set_permissions(path, fs::Permissions::from_mode(0o755)).unwrap();
}

#[test]
fn hooks_filters_and_settings_of_a_book_run_and_change_nothing() {
    let (folder, root) = shop();
    done(&root, &pull_arguments(&raw("tarnbeck-0411-01.csv")));
    done(&root, &pull_arguments(&raw("tarnbeck-0411-02.csv")));
    let before = answers(&root);
    let mark = folder.path().join("mark");
    let evil = folder.path().join("evil");
    script(&evil, &mark);
    let run = evil.display();
    let included = folder.path().join("included");
    fs::write(&included, format!("[core]\n\tfsmonitor = {run}\n\tworktree = /\n[user]\n\tname = Included\n"))
        .unwrap();
    let git_folder = root.join(".git");
    for hook in [
        "pre-commit",
        "post-commit",
        "post-checkout",
        "reference-transaction",
        "post-index-change",
        "pre-auto-gc",
    ] {
        fs::create_dir_all(git_folder.join("hooks")).unwrap();
        script(&git_folder.join("hooks").join(hook), &mark);
    }
    let mut settings = fs::read_to_string(git_folder.join("config")).unwrap();
    settings.push_str(&format!(
        "[core]\n\tfsmonitor = {run}\n\thooksPath = {hooks}\n\teditor = {run}\n\tpager = {run}\n\tsshCommand = {run}\n\taskPass = {run}\n\tattributesFile = {attributes}\n\texcludesFile = {excludes}\n\tautocrlf = true\n\tcommentChar = auto\n\
         [filter \"evil\"]\n\tclean = {run}\n\tsmudge = {run}\n\tprocess = {run}\n\trequired = true\n\
         [diff]\n\texternal = {run}\n[diff \"evil\"]\n\ttextconv = {run}\n\tcommand = {run}\n[merge \"evil\"]\n\tdriver = {run}\n\
         [gpg]\n\tprogram = {run}\n[gpg \"ssh\"]\n\tprogram = {run}\n\tdefaultKeyCommand = {run}\n[commit]\n\tgpgSign = true\n[credential]\n\thelper = {run}\n\
         [include]\n\tpath = {included}\n[includeIf \"gitdir:**\"]\n\tpath = {included}\n[alias]\n\tstatus = !{run}\n[uploadpack]\n\tpackObjectsHook = {run}\n[user]\n\tname = Foreign\n\temail = foreign@example.com\n",
        hooks = git_folder.join("hooks").display(),
        attributes = folder.path().join("attributes").display(),
        excludes = folder.path().join("excludes").display(),
        included = included.display(),
    ));
    fs::write(git_folder.join("config"), settings).unwrap();
    fs::write(folder.path().join("attributes"), "* filter=evil diff=evil merge=evil\n").unwrap();
    // A foreign list of what to ignore may not hide a new record from the look at pending edits.
    fs::write(folder.path().join("excludes"), "*.yaml\n").unwrap();
    fs::create_dir_all(git_folder.join("info")).unwrap();
    fs::write(git_folder.join("info/attributes"), "* filter=evil diff=evil\n").unwrap();
    // History as others would have it: a replacement, a graft, and an index of commits that lies.
    let (head, parent) = (git(&root, &["rev-parse", "HEAD"]), git(&root, &["rev-parse", "HEAD~1"]));
    fs::create_dir_all(git_folder.join("refs/replace")).unwrap();
    fs::write(git_folder.join("refs/replace").join(head.trim()), &parent).unwrap();
    let replaced = git(&root, &["rev-parse", "HEAD:parts/cylinder-head/h2.yaml"]);
    let by = git(&root, &["rev-parse", "HEAD:parts/cylinder-head/h1.yaml"]);
    fs::write(git_folder.join("refs/replace").join(replaced.trim()), &by).unwrap();
    fs::write(git_folder.join("info/grafts"), head.trim()).unwrap();
    fs::create_dir_all(git_folder.join("objects/info")).unwrap();
    fs::write(git_folder.join("objects/info/commit-graph"), "CGPH no graph at all").unwrap();
    let _ = fs::remove_file(&mark);

    for (now, before) in answers(&root).iter().zip(&before) {
        // One more reference each is read by the audit.
        assert!(now == before || now.contains("audit"), "{now}\n{before}");
    }
    done(&root, &["audit"]);
    let third = raw("tarnbeck-0411-03.csv");
    done(&root, &pull_arguments(&third));
    fs::write(
        root.join("parts/header/spare.yaml"),
        "part: spare\nkind: header\nstates:\n  - state: a\n    since: 2026-03-20\n",
    )
    .unwrap();
    done(&root, &["keep"]);
    done(&root, &["measure", "h1/a", "inlet-port-volume", "170 cc", "--with", "burette-1"]);
    done(&root, &["mend"]);
    assert!(!mark.exists(), "ran: {}", fs::read_to_string(&mark).unwrap());
    let mut log = git_command(&root, &["--no-replace-objects", "log", "-3", "--format=%an"]);
    let log = said(&log.env("GIT_CONFIG_COUNT", "0").output().unwrap());
    assert!(!log.contains("Foreign") && !log.contains("Included"), "{log}");
    // To see that the traps are real: git itself springs them.
    let status = std::process::Command::new("git").arg("-C").arg(&root).args(["status"]).output().unwrap();
    assert!(mark.exists(), "the trap does not work: {}", said(&status));
}

#[test]
fn a_book_that_borrows_its_objects_is_refused() {
    let (folder, root) = shop();
    let borrower = folder.path().join("borrower");
    git(&root, &["clone", "--quiet", "--shared", ".", borrower.to_str().unwrap()]);
    let output = program(&borrower, &["gaps", "b1"]).output().unwrap();
    assert_eq!(output.status.code(), Some(1));
    let words = said(&output).split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(
        words.contains("borrowing from another repository") && words.contains("git repack -a -d"),
        "{words}"
    );
    git(&borrower, &["repack", "-a", "-d", "--quiet"]);
    fs::remove_file(borrower.join(".git/objects/info/alternates")).unwrap();
    done(&borrower, &["audit"]);
}

#[test]
fn links_in_a_book_are_not_followed_in_or_out() {
    let (folder, root) = shop();
    done(&root, &pull_arguments(&raw("tarnbeck-0411-01.csv")));
    let outside = folder.path().join("outside");
    fs::create_dir_all(outside.join("ab")).unwrap();
    fs::write(outside.join("secret.yaml"), "part: secret\nkind: header\n").unwrap();
    // In the work tree: where a record, a folder and the raw files should be.
    fs::remove_dir_all(root.join("flow")).ok();
    symlink(&outside, root.join("flow")).unwrap();
    symlink(outside.join("secret.yaml"), root.join("parts/header/secret.yaml")).unwrap();
    fs::rename(root.join("raw"), folder.path().join("raw")).unwrap();
    symlink(folder.path().join("raw"), root.join("raw")).unwrap();
    let sheet = folder.path().join("sheet.csv");
    fs::write(&sheet, "lift mm,flow cfm\n2,40.1\n4,82.3\n").unwrap();
    for arguments in [
        vec!["flow", sheet.to_str().unwrap(), "--part", "h1/a", "--port", "inlet:1"],
        pull_arguments(&raw("tarnbeck-0411-02.csv")),
        vec!["keep"],
    ] {
        let output = program(&root, &arguments).output().unwrap();
        assert_eq!(output.status.code(), Some(1), "{arguments:?}: {}", said(&output));
        assert!(said(&output).contains("link"), "{arguments:?}: {}", said(&output));
    }
    let names: Vec<_> = fs::read_dir(&outside).unwrap().map(|entry| entry.unwrap().file_name()).collect();
    assert_eq!(names.len(), 2, "{names:?}");
    // In a commit: a link as a record is not read through.
    fs::remove_file(root.join("flow")).unwrap();
    fs::remove_file(root.join("raw")).unwrap();
    fs::rename(folder.path().join("raw"), root.join("raw")).unwrap();
    git(&root, &["add", "parts/header/secret.yaml"]);
    git(&root, &["commit", "--quiet", "-m", "A link"]);
    let audit = program(&root, &["audit"]).output().unwrap();
    assert_eq!(audit.status.code(), Some(4), "{}", said(&audit));
    assert!(said(&audit).contains("symbolic link"), "{}", said(&audit));
    let sheet = program(&root, &["trail", "secret"]).output().unwrap();
    assert!(!sheet.status.success(), "{}", said(&sheet));
}

/// Objects that git's own check would refuse: names that lead out, or into git's folder.
#[test]
fn folders_that_lead_out_of_the_book_are_refused() {
    let (folder, root) = shop();
    let blob = git(&root, &["rev-parse", "HEAD:book.yaml"]);
    let base = git(&root, &["rev-parse", "HEAD^{tree}"]);
    let listing = git(&root, &["ls-tree", base.trim()]);
    for (number, name) in ["..", ".git", ".GIT", "a\\..\\b", "C:x", "."].iter().enumerate() {
        let listing = format!("{listing}100644 blob {}\t{name}\n", blob.trim());
        let mut tree = git_command(&root, &["mktree"]);
        let mut running = tree
            .stdin(std::process::Stdio::piped())
            .stdout(std::process::Stdio::piped())
            .stderr(std::process::Stdio::piped())
            .spawn()
            .unwrap();
        std::io::Write::write_all(running.stdin.as_mut().unwrap(), listing.as_bytes()).unwrap();
        let output = running.wait_with_output().unwrap();
        if !output.status.success() {
            continue;
        }
        let tree = String::from_utf8(output.stdout).unwrap();
        let commit = git(&root, &["commit-tree", tree.trim(), "-p", "HEAD", "-m", "Out"]);
        git(&root, &["update-ref", "refs/heads/main", commit.trim()]);
        for command in [vec!["audit"], vec!["mend"], vec!["gaps", "b1"], vec!["keep"]] {
            let output = program(&root, &command).output().unwrap();
            assert!(matches!(output.status.code(), Some(0 | 1 | 4)), "{name} {command:?}: {}", said(&output));
        }
        assert!(!folder.path().join("a").exists() && !root.join(".git/book.yaml").exists(), "{number}");
        git(&root, &["update-ref", "refs/heads/main", "HEAD~1"]);
    }
    let names: Vec<_> =
        fs::read_dir(folder.path()).unwrap().map(|entry| entry.unwrap().file_name()).collect();
    assert_eq!(names.len(), 1, "something was written beside the book: {names:?}");
}
