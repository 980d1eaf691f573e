//! What a writing command did, and what an audit found, as text.

use crate::answer::AuditAnswer;
use crate::answer::Entered;
use crate::answer::EvidenceLine;
use crate::answer::PullEntered;
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
    for already in &answer.already {
        page.line(0, Tone::Doubt, &format!("Not entered again: {already}."));
    }
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
    kept_beside(&mut page, &answer.evidence);
    if !answer.channels.is_empty() {
        let columns = answer.columns.as_deref().unwrap_or("none");
        let how = if answer.columns_new { "guessed and kept as" } else { "read by" };
        page.heading(&format!("Columns, {how} `{columns}`"));
        channels(&mut page, &answer.channels, false);
    }
    if !answer.doubts.is_empty() {
        page.heading("Doubts, recorded with the pull");
        for doubt in &answer.doubts {
            finding(&mut page, 2, doubt);
        }
    }
    page.gap();
    if let Some(done) = &answer.written {
        written(&mut page, done);
    }
    page.verbatim(0, Tone::Faint, &format!("Next: {}", answer.next));
    page.finish()
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
pub(super) fn kept_beside(page: &mut Page, evidence: &[EvidenceLine]) {
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

/// What an audit found.
pub fn audit(answer: &AuditAnswer, look: Look) -> String {
    let mut page = Page::new(look);
    let verdict = if answer.damage.is_empty() {
        "The book holds what it says.".to_owned()
    } else if let [_] = answer.damage.as_slice() {
        "One thing does not hold.".to_owned()
    } else {
        format!("{} things do not hold.", answer.damage.len())
    };
    page.line(0, if answer.damage.is_empty() { Tone::Heading } else { Tone::Bad }, &verdict);
    page.line(
        2,
        Tone::Plain,
        &format!(
            "Read {} commits, {} git objects, {} records, {} raw files ({} bytes), at commit {}.",
            answer.commits, answer.objects, answer.records, answer.raw_files, answer.raw_bytes, answer.commit
        ),
    );
    for damage in &answer.damage {
        finding(&mut page, 0, damage);
    }
    if !answer.not_here.is_empty() {
        page.heading("Not in this copy of the book (no damage)");
        for file in &answer.not_here {
            page.line(2, Tone::Plain, file);
        }
    }
    if !answer.doubts.is_empty() {
        page.heading("Doubts and notes");
        for doubt in &answer.doubts {
            finding(&mut page, 2, doubt);
        }
    }
    page.gap();
    page.line(0, Tone::Faint, &format!("Next: {}", answer.next));
    page.finish()
}
