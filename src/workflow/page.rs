//! Write a page: a file of its own, never in the place of another, marked with what it is of.

use std::io::Write;
use std::path::Path;

use crate::answer::KnownLine;
use crate::answer::PageAnswer;
use crate::answer::PageMark;
use crate::finding::Finding;
use crate::store::Book;
use crate::store::Outward;
use crate::store::digest;
use crate::workflow::Failure;
use crate::workflow::Library;

/// The mark of a page: the book, what it is of, the commit, and the hash of the answer that it shows.
///
/// `json` is that answer, `command` the words that give it again, `pending` the files whose edits would change it.
///
/// # Errors
/// The store's.
pub fn mark(
    book: &Book,
    about: String,
    commit: &str,
    command: &[String],
    json: &str,
    (pending, known): (&[String], Option<KnownLine>),
) -> Result<PageMark, Failure> {
    let command = std::iter::once("mulebook".to_owned()).chain(command.iter().map(|word| shell_word(word)));
    Ok(PageMark {
        book: Library::at_head(book)?.page().name.clone(),
        about,
        commit: commit.to_owned(),
        sha256: digest(json.as_bytes()),
        command: command.collect::<Vec<_>>().join(" "),
        pending: pending.to_vec(),
        known,
    })
}

/// A word as a shell takes it.
fn shell_word(word: &str) -> String {
    let plain = |c: char| c.is_ascii_alphanumeric() || "-_.,=/:+@%".contains(c);
    if !word.is_empty() && word.chars().all(plain) {
        return word.to_owned();
    }
    format!("'{}'", word.replace('\'', "'\\''"))
}

/// There are no sides to draw.
pub fn nothing_to_draw() -> Failure {
    Failure::usage(
        Finding::error("nothing-to-draw", "a plan without sides has no page")
            .next("name both sides with --base and --test, or see the plan with `mulebook weigh --plan`"),
    )
}

/// The engine's own health is told on the terminal and as JSON only.
pub fn no_baseline_page() -> Failure {
    Failure::usage(
        Finding::error("nothing-to-draw", "the baseline of an engine has no page")
            .found("--baseline")
            .next("`mulebook trail ENGINE --baseline` shows it, with --json for other tools"),
    )
}

/// A page is handed on, and its foot says how to get the same again: what is not kept has none.
pub fn nothing_pending() -> Failure {
    Failure::usage(
        Finding::error(
            "page-of-pending",
            "a page shows only what is kept, so that anybody gets the same again",
        )
        .found("--pending")
        .next("keep the edits with `mulebook keep`, or see the answer without a page"),
    )
}

/// Writes a page to a file that is not there yet.
///
/// # Errors
/// The path names no file, one of that name is there, or it cannot be written; nothing half-written is left.
pub fn write(file: &Path, shows: &'static str, mark: &PageMark, html: &str) -> Result<PageAnswer, Failure> {
    let folder = file.parent().filter(|folder| !folder.as_os_str().is_empty()).unwrap_or(Path::new("."));
    let Some(name) = file.file_name().and_then(|name| name.to_str()) else {
        return Err(Failure::usage(
            Finding::error("not-a-file-name", "the page needs the name of a file")
                .found(file.display().to_string())
                .expected("for example report.html"),
        ));
    };
    let mut out = Outward::create(folder, name)?;
    if let Err(error) = out.write_all(html.as_bytes()) {
        return Err(Finding::error("page-not-written", format!("the page could not be written: {error}"))
            .found(file.display().to_string())
            .into());
    }
    Outward::keep([out])?;
    Ok(PageAnswer {
        shows,
        file: file.display().to_string(),
        bytes: html.len() as u64,
        commit: mark.commit.clone(),
        sha256: mark.sha256.clone(),
        next: "open it in a browser; printing fits A4 and Letter".to_owned(),
    })
}
