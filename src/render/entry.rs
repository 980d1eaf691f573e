//! What a writing command did, as text.

use crate::answer::Entered;
use crate::answer::EvidenceLine;
use crate::answer::PullEntered;
use crate::answer::TakenIn;
use crate::answer::Written;
use crate::render::Look;
use crate::render::Page;
use crate::render::finding::finding;
use crate::render::gaps::short_gaps;
use crate::render::look::channels;
use crate::render::page::Tone;

/// A record entered or changed.
pub fn entered(answer: &Entered, look: Look) -> String {
    let mut page = Page::new(look);
    page.line(0, Tone::Plain, &answer.did);
    for note in answer.notes.iter().flat_map(|note| note.lines()) {
        // A ready command is to be copied whole.
        if note.starts_with("mulebook ") {
            page.verbatim(6, Tone::Plain, note);
        } else {
            page.line(2, Tone::Plain, note);
        }
    }
    written(&mut page, &answer.written);
    page.verbatim(0, Tone::Faint, &format!("Next: {}", answer.next));
    page.finish()
}

pub(super) fn written(page: &mut Page, written: &Written) {
    if let Some(recovered) = &written.recovered {
        page.line(2, Tone::Doubt, &format!("First, {recovered}."));
    }
    for doubt in &written.doubts {
        finding(page, 2, doubt);
    }
    page.line(0, Tone::Faint, &format!("Commit {}.", written.commit));
}

/// Pulls entered.
pub fn pull_entered(answer: &PullEntered, look: Look) -> String {
    let mut page = Page::new(look);
    already(&mut page, &answer.taken_in);
    for line in &answer.pulls {
        let segment = line.segment.map(|segment| format!(", segment {segment}")).unwrap_or_default();
        let build = match (&line.build, line.fit_up) {
            (Some(build), Some(fit_up)) => format!("build {build}, fit-up {fit_up}"),
            (Some(build), None) => format!("build {build}"),
            (None, _) => "no build yet".to_owned(),
        };
        page.line(
            0,
            Tone::Heading,
            &format!("Entered pull {}: {}{segment}, {} rows, {build}.", line.pull, line.file, line.rows),
        );
        page.line(2, Tone::Faint, &format!("SHA-256 {}", line.sha256));
        if !line.as_last.is_empty() {
            page.line(2, Tone::Plain, &format!("Same as last: {}.", line.as_last.join("; ")));
        }
        from_file(&mut page, &line.taken, &line.not_taken);
        short_gaps(&mut page, &line.gaps);
    }
    taken_in(&mut page, &answer.taken_in, "pull");
    page.finish()
}

/// What stood in the book already, told first.
pub(super) fn already(page: &mut Page, taken_in: &TakenIn) {
    for already in &taken_in.already {
        page.line(0, Tone::Doubt, &format!("Not entered again: {already}."));
    }
}

/// What was taken in with records: evidence, columns, doubts, the commit. `record` is what they are called.
pub(super) fn taken_in(page: &mut Page, taken_in: &TakenIn, record: &str) {
    kept_beside(page, &taken_in.evidence);
    if !taken_in.channels.is_empty() {
        let columns = taken_in.columns.as_deref().unwrap_or("none");
        let how = if taken_in.columns_new { "guessed and kept as" } else { "read by" };
        page.heading(&format!("Columns, {how} `{columns}`"));
        channels(page, &taken_in.channels, false);
    }
    if !taken_in.doubts.is_empty() {
        page.heading(&format!("Doubts, recorded with the {record}"));
        for doubt in &taken_in.doubts {
            finding(page, 2, doubt);
        }
    }
    page.gap();
    if let Some(done) = &taken_in.written {
        written(page, done);
    }
    page.verbatim(0, Tone::Faint, &format!("Next: {}", taken_in.next));
}

/// Conditions that lines of the file say, taken or not.
pub(super) fn from_file(page: &mut Page, taken: &[String], not_taken: &[String]) {
    for taken in taken {
        page.line(2, Tone::Plain, &format!("Taken from the file: {taken}"));
    }
    for not_taken in not_taken {
        page.line(2, Tone::Doubt, &format!("Not taken: {not_taken}"));
    }
}

/// Files kept beside the table, and what is recorded as exported from them.
fn kept_beside(page: &mut Page, evidence: &[EvidenceLine]) {
    for kept in evidence {
        let derived = match kept.derived.as_slice() {
            [] => String::new(),
            tables => format!("; {} is recorded as exported from it", tables.join(", ")),
        };
        page.line(
            2,
            Tone::Plain,
            &format!("Kept beside it: {}, {}, {} bytes{derived}", kept.file, kept.what, kept.bytes),
        );
    }
}
