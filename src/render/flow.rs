//! Flow sheets as text: entered, and two of them side by side.

use crate::answer::FlowCompared;
use crate::answer::FlowDiffAnswer;
use crate::answer::FlowEntered;
use crate::render::Look;
use crate::render::Page;
use crate::render::diff::refusal;
use crate::render::diff::side_text;
use crate::render::entry::already;
use crate::render::entry::from_file;
use crate::render::entry::taken_in;
use crate::render::gaps::pending;
use crate::render::gaps::short_gaps;
use crate::render::page::Tone;

/// Flow sheets entered.
pub fn flow_entered(answer: &FlowEntered, look: Look) -> String {
    let mut page = Page::new(look);
    already(&mut page, &answer.taken_in);
    for sheet in &answer.sheets {
        let port = sheet.port.as_ref().map(|port| format!(" {port}")).unwrap_or_default();
        let cylinder =
            sheet.cylinder.as_ref().map(|cylinder| format!(" of cylinder {cylinder}")).unwrap_or_default();
        let segment = sheet.segment.map(|segment| format!(", segment {segment}")).unwrap_or_default();
        let channel = sheet.channel.as_ref().map(|channel| format!(", column {channel}")).unwrap_or_default();
        page.line(
            0,
            Tone::Heading,
            &format!(
                "Entered flow sheet {}: {} {} port{port}{cylinder}, {}{segment}{channel}.",
                sheet.flow, sheet.part, sheet.side, sheet.file
            ),
        );
        page.line(2, Tone::Faint, &format!("SHA-256 {}", sheet.sha256));
        page.verbatim(2, Tone::Plain, &format!("{:>8} {:>10}", "lift, mm", sheet.flow_unit));
        for point in &sheet.points {
            page.verbatim(2, Tone::Plain, &format!("{:>8} {:>10}", point.lift_mm, point.flow));
        }
        from_file(&mut page, &sheet.taken, &sheet.not_taken);
        short_gaps(&mut page, &sheet.gaps);
    }
    taken_in(&mut page, &answer.taken_in, "sheet");
    page.finish()
}

/// Two flow sheets side by side, or why they may not be.
pub fn flow_diff(answer: &FlowDiffAnswer, look: Look) -> String {
    let mut page = Page::new(look);
    match answer {
        FlowDiffAnswer::Refused(refused) => refusal(&mut page, refused),
        FlowDiffAnswer::Compared(compared) => comparison(&mut page, compared),
    }
    page.finish()
}

fn comparison(page: &mut Page, compared: &FlowCompared) {
    page.line(
        0,
        Tone::Faint,
        &format!("{} (base) against {} (test), at commit {}", compared.base, compared.test, compared.commit),
    );
    page.line(0, Tone::Heading, &compared.headline);
    if !compared.open.is_empty() {
        page.heading("Nobody knows");
        for open in &compared.open {
            page.line(2, Tone::Doubt, open);
        }
    }
    if !compared.changes.is_empty() {
        page.heading("Conditions");
        for change in &compared.changes {
            page.line(2, Tone::Plain, &change.title);
            page.pair(4, "base", 4, &side_text(&change.base));
            page.pair(4, "test", 4, &side_text(&change.test));
        }
    }
    if !compared.doubts.is_empty() {
        page.heading("Doubts recorded with the sheets");
        for doubt in &compared.doubts {
            page.line(2, Tone::Doubt, doubt);
        }
    }
    if !compared.rows.is_empty() {
        page.heading(&format!("Flow by lift, {}, as read", compared.flow_unit));
        page.verbatim(0, Tone::Plain, &format!("{:>9} {:>10} {:>10}", "lift, mm", "base", "test"));
        let cell = |value: Option<f64>| value.map_or_else(|| "-".to_owned(), |value| format!("{value:.1}"));
        for row in &compared.rows {
            page.verbatim(
                0,
                Tone::Plain,
                &format!("{:>9} {:>10} {:>10}", row.lift_mm, cell(row.base), cell(row.test)),
            );
        }
    }
    if let Some(why) = &compared.no_rows {
        page.gap();
        page.line(0, Tone::Plain, &format!("Not side by side: {why}."));
    }
    pending(page, &compared.pending);
    page.gap();
    page.line(0, Tone::Faint, &format!("Note: {}.", compared.next));
}
