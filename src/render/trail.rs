//! A life as text: a line for each event, and when it was written down where that was another day.

use crate::answer::TrailAnswer;
use crate::answer::TrailEvent;
use crate::render::Look;
use crate::render::Page;
use crate::render::gaps::pending;
use crate::render::page::Tone;

/// Characters of a day.
const DAY: usize = 10;
/// Where the words begin.
const INDENT: usize = DAY + 2;

/// The life of a record, figure or file.
pub fn trail(answer: &TrailAnswer, look: Look) -> String {
    let mut page = Page::new(look);
    page.line(0, Tone::Heading, &format!("Trail of the {} {}", answer.of, answer.about));
    page.line(0, Tone::Faint, &format!("at commit {}", answer.commit));
    page.gap();
    let mut last = None;
    for event in &answer.events {
        self::event(&mut page, event, last);
        last = Some(event);
    }
    if answer.events.iter().any(|event| event.on.is_none()) {
        page.gap();
        page.line(0, Tone::Faint, "* The day of writing: the record gives no other.");
    }
    pending(&mut page, &answer.pending);
    page.gap();
    page.verbatim(0, Tone::Faint, &format!("Next: {}", answer.next));
    page.finish()
}

/// One event; when it was written stands below the first of those that one commit wrote of one day.
fn event(page: &mut Page, event: &TrailEvent, last: Option<&TrailEvent>) {
    let written = event.written.on.get(..DAY).unwrap_or_default();
    let on = match event.on.as_deref().and_then(|on| on.get(..DAY)) {
        Some(on) => format!("{on} "),
        None => format!("{written}*"),
    };
    let tone = match event.what {
        "correction" | "doubt" | "edit" => Tone::Bad,
        _ => Tone::Plain,
    };
    let by = event.by.as_ref().map(|by| format!(" ({by})")).unwrap_or_default();
    page.hanging(0, INDENT, tone, &format!("{on} {}{by}", event.says));
    let days = event.written.days_after.filter(|days| *days > 0);
    let same = |last: &TrailEvent| last.written == event.written;
    if event.what != "edit" && (days.is_none() || last.is_some_and(same)) {
        return;
    }
    let when = match days {
        Some(1) => "written the day after, ".to_owned(),
        Some(days) => format!("written {days} days after, "),
        None => "written ".to_owned(),
    };
    let wrote =
        format!("{when}{written} by {}, {}: {}", event.written.by, event.written.commit, event.written.says);
    page.hanging(INDENT, INDENT, Tone::Faint, &wrote);
}
