//! Every command that README.md, docs/questions.md, docs/for-sponsors.md and docs/format.md show is run in a demo book, and must print what they say it prints.
//!
//! A line `…` stands for any number of lines left out, and `…` within a line for any part of it.
#![expect(
    clippy::disallowed_methods,
    clippy::disallowed_types,
    reason = "a test runs the program and reads the document"
)]

use std::path::Path;
use std::process::Command;

/// One command with the lines it is said to print.
struct Shown {
    line: usize,
    command: String,
    prints: Vec<String>,
}

fn shown(readme: &str) -> Vec<Shown> {
    let mut commands: Vec<Shown> = Vec::new();
    let mut inside = false;
    for (number, line) in readme.lines().enumerate() {
        match line {
            "```console" => inside = true,
            "```" => inside = false,
            _ if !inside => {}
            _ => match (line.strip_prefix("$ "), commands.last_mut()) {
                (Some(command), _) => {
                    commands.push(Shown {
                        line: number + 1,
                        command: command.to_owned(),
                        prints: Vec::new(),
                    });
                }
                (None, Some(last)) => last.prints.push(line.to_owned()),
                (None, None) => {}
            },
        }
    }
    commands
}

/// Whether the printed lines are the expected ones, `…` standing for any number of lines.
fn matches(expected: &[String], printed: &[&str]) -> bool {
    match expected.split_first() {
        None => printed.is_empty(),
        Some((first, rest)) if first.trim() == "…" => {
            (0..=printed.len()).any(|skip| matches(rest, &printed[skip..]))
        }
        Some((first, rest)) => {
            printed.split_first().is_some_and(|(line, more)| same_line(first, line) && matches(rest, more))
        }
    }
}

/// Whether a line is the expected one, `…` standing for any part of it.
fn same_line(expected: &str, printed: &str) -> bool {
    match expected.trim_end().split_once('…') {
        None => expected.trim_end() == printed.trim_end(),
        Some((head, tail)) => printed.strip_prefix(head).is_some_and(|rest| rest.trim_end().ends_with(tail)),
    }
}

/// The program's folder, then the path of the shell.
fn with_program() -> String {
    let program = Path::new(env!("CARGO_BIN_EXE_mulebook"));
    let folder = program.parent().expect("a folder");
    format!("{}:{}", folder.display(), std::env::var("PATH").unwrap_or_default())
}

fn run(command: &str, at: &Path, path: &str) -> String {
    let output = Command::new("sh")
        .args(["-c", &format!("{command} 2>&1")])
        .current_dir(at)
        .env("PATH", path)
        .env("MULEBOOK_NOW", "2026-05-24T09:00:00+02:00")
        .env("MULEBOOK_PERSON", "jo")
        .env("GIT_CONFIG_NOSYSTEM", "1")
        .env("GIT_PAGER", "cat")
        .env("TZ", "UTC")
        .env("HOME", at)
        .output()
        .expect("sh runs");
    String::from_utf8_lossy(&output.stdout).into_owned()
}

/// Runs every command of a document in a demo book, with the programs of `path`.
fn holds(name: &str, text: &str, least: usize, path: &str) {
    let folder = tempfile::tempdir().expect("a folder");
    run("mulebook demo", folder.path(), &with_program());
    let book = folder.path().join("mulebook-demo");
    let commands = shown(text);
    assert!(commands.len() >= least, "{name} shows only {} commands", commands.len());
    let mut wrong = Vec::new();
    for shown in &commands {
        let printed = run(&shown.command, &book, path);
        let expected: Vec<String> =
            shown.prints.iter().rev().skip_while(|line| line.trim().is_empty()).cloned().collect::<Vec<_>>();
        let expected: Vec<String> = expected.into_iter().rev().collect();
        let printed = printed.trim_end();
        let lines: Vec<&str> = if printed.is_empty() { Vec::new() } else { printed.lines().collect() };
        if !matches(&expected, &lines) {
            wrong.push(format!("{name}:{}: `{}` prints\n{printed}\n", shown.line, shown.command));
        }
    }
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
}

#[test]
fn the_readme_shows_what_the_program_prints() {
    holds("README.md", include_str!("../README.md"), 8, &with_program());
}

/// Thirty questions that are asked of test records months later, each with an answer of the demo's book.
#[test]
fn the_thirty_questions_are_answered_as_shown() {
    let page = include_str!("../docs/questions.md");
    let asked = page.lines().filter(|line| line.starts_with("## ")).count();
    assert_eq!(asked, 30);
    let answered = page
        .split("\n## ")
        .skip(1)
        .filter(|answer| answer.contains("```console\n$ mulebook ") || answer.contains("| mulebook "))
        .count();
    assert_eq!(answered, 30);
    holds("docs/questions.md", page, 40, &with_program());
}

#[test]
fn the_page_for_sponsors_shows_what_the_program_prints() {
    holds("docs/for-sponsors.md", include_str!("../docs/for-sponsors.md"), 8, &with_program());
}

/// A book is read by git, `sha256sum` and the shell's own words, with the program out of reach.
#[test]
fn a_book_is_read_without_the_program() {
    let path = std::env::var("PATH").unwrap_or_default();
    assert!(run("command -v mulebook", Path::new("/"), &path).is_empty(), "the program is within reach");
    holds("docs/format.md", include_str!("../docs/format.md"), 8, &path);
}
