//! What the program reaches for: no network, no other program, no key and no settings of the user.

use std::fs;
use std::process::Command;

use crate::commands::{entering, keeping, mending, taking_in};
use crate::foreign::READING;
use crate::shop::{copy, done, program, pull_arguments, raw, said, shop};
use crate::trace::{strace_is_here, traced};

/// Whether a log shows a reach too far, and where.
fn too_far(log: &str) -> Option<&str> {
    log.lines().find(|line| {
        let network = ["AF_INET", "AF_INET6", "connect(", "sendto("].iter().any(|word| line.contains(word));
        let secret = [
            ".ssh",
            ".gnupg",
            ".netrc",
            ".git-credentials",
            ".gitconfig",
            ".config",
            "id_ed25519",
            "/etc/gitconfig",
            "agent",
        ]
        .iter()
        .any(|word| line.contains(word));
        let starts = line.contains("execve(") && !line.contains("mulebook");
        network || secret || starts
    })
}

#[test]
fn no_command_reaches_for_the_network_a_key_or_another_program() {
    if !strace_is_here() {
        return;
    }
    let (folder, root) = shop();
    done(&root, &pull_arguments(&raw("tarnbeck-0411-01.csv")));
    done(&root, &pull_arguments(&raw("tarnbeck-0411-02.csv")));
    let home = folder.path().join("home");
    fs::create_dir_all(home.join(".ssh")).unwrap();
    fs::write(home.join(".ssh/id_ed25519"), "no key at all").unwrap();
    fs::write(home.join(".gitconfig"), "[user]\n\tsigningKey = id_ed25519\n").unwrap();
    let options = ["-e", "trace=network,openat,open,execve,stat,newfstatat,statx,readlink"];
    let watch = |name: &str, command: &mut Command| {
        command.env("HOME", &home).env("SSH_AUTH_SOCK", home.join("agent")).env("GIT_SSH", "ssh");
        let log = tempfile::NamedTempFile::new().unwrap();
        let mut shell = Command::new("env");
        shell.arg(format!("HOME={}", home.display())).arg(command.get_program()).args(command.get_args());
        let output = traced(&shell, &options, log.path());
        let log = fs::read_to_string(log.path()).unwrap();
        assert!(log.contains("mulebook"), "{name}: nothing was watched: {}", said(&output));
        // `env` itself starts the program.
        let log: String = log
            .lines()
            .filter(|line| !line.contains("execve(\"/usr/bin/env\""))
            .map(|line| format!("{line}\n"))
            .collect();
        assert_eq!(too_far(&log), None, "{name}: {}", said(&output));
    };
    let mut watched = 0;
    for arguments in READING {
        watch(&arguments.join(" "), &mut program(&root, arguments));
        watched += 1;
    }
    for task in entering().into_iter().chain(taking_in()).chain(keeping()).chain([mending()]) {
        let (_copy, root) = task.copy();
        watch(task.word, &mut task.program(&root));
        watched += 1;
    }
    let other = folder.path().join("other");
    copy(&root, &other);
    watch("mend --from", &mut program(&root, &["mend", "--from", other.to_str().unwrap()]));
    eprintln!("{} commands watched", watched + 1);
    assert!(watched >= 27, "{watched}");
}
