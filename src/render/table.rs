//! Files that left the book, as text.

use crate::answer::PageAnswer;
use crate::answer::TableAnswer;
use crate::render::Look;
use crate::render::Page;
use crate::render::page::Tone;

/// A table written for other programs.
pub fn table(answer: &TableAnswer, look: Look) -> String {
    let mut page = Page::new(look);
    page.line(0, Tone::Heading, &format!("Wrote {} rows of {} {}.", answer.rows, answer.kind, answer.record));
    page.line(2, Tone::Plain, &format!("{}: {}", answer.csv, answer.columns.join(", ")));
    page.line(2, Tone::Plain, &format!("{}: what the columns mean (CSVW)", answer.metadata));
    page.finish()
}

/// A page that was written.
pub fn page_written(answer: &PageAnswer, look: Look) -> String {
    let mut page = Page::new(look);
    let kilobytes = answer.bytes.div_ceil(1000);
    page.line(
        0,
        Tone::Heading,
        &format!("Wrote {} ({kilobytes} kB), at commit {}.", answer.file, answer.commit),
    );
    page.verbatim(0, Tone::Faint, &format!("Next: {}", answer.next));
    page.finish()
}
