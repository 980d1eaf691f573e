//! Sequences that steer a terminal, planted in every text of a book and in what stands around it: no command shows one.

use std::fs;
use std::path::Path;
use std::process::Output;

use crate::foreign::READING;
use crate::shop::{git_command, program, pull_arguments, raw, said, shop};

/// The window's title, colour, a line taken back, writing from right to left, nothing at all, one byte of eight bits.
const EVIL: &str = "\\e]0;x\\a\\e[31m\\e[1A\\u202e\\u200b\\u009b2J";
const EVIL_RAW: &str = "\u{1b}]0;x\u{7}\u{1b}[31m\u{1b}[1A\u{202e}\u{200b}\u{9b}2J";

/// Puts the sequence into every quoted text of the manifests below a folder; how many.
fn plant(folder: &Path) -> usize {
    let mut planted = 0;
    for entry in fs::read_dir(folder).unwrap() {
        let path = entry.unwrap().path();
        let name = path.file_name().unwrap().to_string_lossy().into_owned();
        if path.is_dir() && !name.starts_with('.') && name != "raw" {
            planted += plant(&path);
        } else if name.ends_with(".yaml") {
            let text = fs::read_to_string(&path).unwrap();
            let mut out = String::new();
            for line in text.split_inclusive('\n') {
                let keys = [
                    "note",
                    "name",
                    "how",
                    "source",
                    "because",
                    "maker",
                    "calibrated-by",
                    "was",
                    "file",
                    "serial",
                    "warm-up",
                    "batch",
                    "unknown",
                    "assumed",
                ];
                let mut line = line.to_owned();
                for key in keys {
                    let head = format!("{key}: \"");
                    planted += line.matches(&head).count();
                    line = line.replace(&head, &format!("{head}{EVIL}"));
                }
                out.push_str(&line);
            }
            fs::write(&path, out).unwrap();
        }
    }
    planted
}

fn assert_tame(output: &Output, what: &str) {
    let text = said(output);
    let steers = text.chars().find(|&c| {
        (c.is_control() && c != '\n')
            || matches!(c, '\u{200b}'..='\u{200f}' | '\u{2028}'..='\u{202e}' | '\u{2060}'..='\u{2069}' | '\u{feff}' | '\u{61c}')
    });
    assert!(steers.is_none(), "{what} shows {:?}:\n{text:?}", steers.unwrap());
}

#[test]
fn no_command_shows_what_steers_a_terminal() {
    let (folder, root) = shop();
    let first = raw("tarnbeck-0411-01.csv");
    for file in ["tarnbeck-0411-01.csv", "tarnbeck-0411-02.csv"] {
        let file = raw(file);
        assert!(program(&root, &pull_arguments(&file)).output().unwrap().status.success());
    }
    let planted = plant(&root);
    assert!(planted > 60, "{planted}");
    // What `keep` makes of it, then past it by git: a book from elsewhere.
    assert_tame(&program(&root, &["keep"]).output().unwrap(), "keep");
    assert_tame(&program(&root, &["keep", "--json"]).output().unwrap(), "keep --json");
    let mut commit = git_command(&root, &["commit", "-qam", EVIL_RAW]);
    commit.env("GIT_AUTHOR_NAME", EVIL_RAW).env("GIT_AUTHOR_EMAIL", EVIL_RAW);
    drop(commit.output().unwrap());
    // A raw file with the sequences in its name, its header and its cells, and names of files in the work tree.
    let text = fs::read_to_string(&first).unwrap().replacen("Torque", &format!("Torque{EVIL_RAW}"), 1);
    let file = folder.path().join(format!("run{EVIL_RAW}.csv"));
    fs::write(&file, format!("{EVIL_RAW}\n{text}")).unwrap();
    fs::write(root.join(format!("parts/header/{EVIL_RAW}.yaml")), "part: x\n").unwrap();
    let file = file.to_str().unwrap().to_owned();
    let mut commands: Vec<Vec<String>> =
        READING.iter().map(|words| words.iter().map(|&word| word.to_owned()).collect()).collect();
    let more: [&[&str]; 16] = [
        &["look", &file],
        &["pull", &file, "--session", "0411a", "--build", "b1"],
        &["gaps", EVIL_RAW],
        &["sheet", EVIL_RAW],
        &["diff", EVIL_RAW, "b1"],
        &["trail", EVIL_RAW],
        &["measure", "h1/a", EVIL_RAW, "1 cc"],
        &["measure", "h1/a", "inlet-port-volume", EVIL_RAW],
        &["part", EVIL_RAW, "x"],
        &[EVIL_RAW],
        &["gaps", &format!("--{EVIL_RAW}")],
        &["find", "pulls", "--where", EVIL_RAW],
        &["mend", "--from", EVIL_RAW],
        &["mend"],
        &["keep"],
        &["audit"],
    ];
    commands.extend(more.iter().map(|words| words.iter().map(|&word| word.to_owned()).collect()));
    for command in &commands {
        let words: Vec<&str> = command.iter().map(String::as_str).collect();
        for json in [false, true] {
            let words = if json { [words.as_slice(), &["--json"]].concat() } else { words.clone() };
            let output = program(&root, &words).output().unwrap();
            assert_tame(&output, &format!("{words:?}"));
            assert_ne!(output.status.code(), Some(101), "{words:?}: {}", said(&output));
        }
    }
}
