//! A life on a page: a time line of what happened, and every event as a table.

use chrono::Datelike;
use chrono::NaiveDate;
use maud::Markup;
use maud::html;

use super::plain;
use super::scale::px;
use super::{document, wide};
use crate::answer::PageMark;
use crate::answer::TrailAnswer;
use crate::answer::TrailEvent;

const WIDTH: f64 = 720.0;
const LEFT: f64 = 104.0;
const RIGHT: f64 = 24.0;
const TOP: f64 = 14.0;
const LANE: f64 = 34.0;
const AXIS: f64 = 44.0;
/// Characters of a day as written.
const DAY: usize = 10;
/// Names of states nearer than this would lie over each other.
const NAME_ROOM: f64 = 34.0;
/// The lanes: what they hold, and the kinds of events in them.
const LANES: [(&str, &[&str]); 6] = [
    ("states, work", &["state", "work"]),
    ("measurements", &["figure", "calibration"]),
    ("builds", &["build"]),
    ("pulls", &["pull"]),
    ("doubts, mends", &["doubt", "correction"]),
    ("edits", &["edit"]),
];

/// A life as a page.
pub fn trail_page(answer: &TrailAnswer, mark: &PageMark) -> String {
    let days: Vec<i64> = answer.events.iter().filter_map(day_of).collect();
    let kicker = html! { "Trail of the " (answer.of) ", at commit " span class="hash" { (answer.commit) } };
    let late =
        answer.events.iter().filter(|event| event.written.days_after.is_some_and(|days| days > 0)).count();
    let doubts: Vec<&TrailEvent> =
        answer.events.iter().filter(|event| matches!(event.what, "doubt" | "correction")).collect();
    let body = html! {
        p class="answer" { (plain(&summary(answer))) }
        @if late > 0 {
            p { (late) " of the events were written down on a later day than they happened; an open mark shows when." }
        }
        @if !doubts.is_empty() {
            h2 { "What was doubted or corrected" }
            ul class="unknown" { @for event in doubts { li { (plain(&event.says)) } } }
        }
        h2 { "On a time line" }
        @if let (Some(first), Some(last)) = (days.iter().min(), days.iter().max()) {
            (line(answer, *first, *last))
        }
        h2 { "Every event" }
        (wide("Every event", &html! {
            table {
                thead { tr { th scope="col" { "When" } th scope="col" { "What" } th scope="col" { "Who" } th scope="col" { "Written" } } }
                tbody { @for event in &answer.events { (row(event)) } }
            }
        }))
        @if answer.events.iter().any(|event| event.on.is_none()) {
            p class="note" { "* The day of writing: the record gives no other." }
        }
    };
    document(mark, &format!("The life of {}", answer.about), &kicker, &body)
}

fn summary(answer: &TrailAnswer) -> String {
    let counted: Vec<String> = LANES
        .iter()
        .filter_map(|(name, kinds)| {
            let count = answer.events.iter().filter(|event| kinds.contains(&event.what)).count();
            (count > 0).then(|| format!("{name}: {count}"))
        })
        .collect();
    let day = |event: Option<&TrailEvent>| event.map(|event| on(event).to_owned()).unwrap_or_default();
    format!("From {} to {}; {}.", day(answer.events.first()), day(answer.events.last()), counted.join(", "))
}

fn on(event: &TrailEvent) -> &str {
    let text = event.on.as_ref().unwrap_or(&event.written.on);
    text.get(..DAY).unwrap_or(text)
}

fn row(event: &TrailEvent) -> Markup {
    let written = event.written.on.get(..DAY).unwrap_or(&event.written.on);
    let days = match event.written.days_after {
        Some(1) => "the day after, ".to_owned(),
        Some(days) if days > 1 => format!("{days} days after, "),
        _ => String::new(),
    };
    html! {
        tr {
            th scope="row" class="number" { (on(event)) @if event.on.is_none() { "*" } }
            td {
                (plain(&event.says))
                @if event.pulls.len() > 1 { details { summary { (event.pulls.len()) " pulls" } (plain(&event.pulls.join(", "))) } }
            }
            td { (plain(event.by.as_deref().unwrap_or("-"))) }
            td class="written" { details {
                summary { (plain(&days)) (written) }
                "by " (plain(&event.written.by)) ", commit " span class="hash" { (event.written.commit) } ": " (plain(&event.written.says))
                "; " (plain(&event.record))
            } }
        }
    }
}

/// The events in lanes over the days.
fn line(answer: &TrailAnswer, first: i64, last: i64) -> Markup {
    let lanes: Vec<(&str, Vec<&TrailEvent>)> = LANES
        .iter()
        .map(|(name, kinds)| {
            (*name, answer.events.iter().filter(|event| kinds.contains(&event.what)).collect())
        })
        .filter(|(_, events): &(&str, Vec<&TrailEvent>)| !events.is_empty())
        .collect();
    let written = answer.events.iter().filter_map(|event| days(&event.written.on)).max().unwrap_or(last);
    let (first, last) = (first, last.max(written).max(first + 1));
    let at = |day: i64| LEFT + share(day - first, last - first) * (WIDTH - LEFT - RIGHT);
    let floor = TOP + LANE * share(i64::try_from(lanes.len()).unwrap_or(0), 1);
    let title = format!("time line: {}; the table below names every event", summary(answer));
    html! {
        figure class="together" tabindex="0" aria-labelledby="life-title" {
            svg viewBox={ "0 0 " (WIDTH) " " (px(floor + AXIS)) } role="img" aria-labelledby="life-title" {
                title id="life-title" { (plain(&title)) }
                @for (index, (name, events)) in lanes.iter().enumerate() {
                    @let y = TOP + LANE * (share(i64::try_from(index).unwrap_or(0), 1) + 0.5);
                    text x="4" y=(px(y + 4.5)) { (name) }
                    line class="grid" x1=(px(LEFT)) x2=(px(WIDTH - RIGHT)) y1=(px(y)) y2=(px(y)) {}
                    (marks(events, y, &at))
                }
                line class="axis" x1=(px(LEFT)) x2=(px(WIDTH - RIGHT)) y1=(px(floor)) y2=(px(floor)) {}
                @for tick in ticks(first, last) {
                    line class="axis" x1=(px(at(tick))) x2=(px(at(tick))) y1=(px(floor)) y2=(px(floor + 5.0)) {}
                    text x=(px(at(tick))) y=(px(floor + 20.0)) text-anchor="middle" { (text_of(tick)) }
                }
                text x=(px((LEFT + WIDTH - RIGHT) / 2.0)) y=(px(floor + 38.0)) text-anchor="middle" { "day" }
            }
        }
    }
}

/// The marks of a lane: one for each day, with how many events it stands for.
fn marks(events: &[&TrailEvent], y: f64, at: &dyn Fn(i64) -> f64) -> Markup {
    let mut by_day: Vec<(i64, Vec<&TrailEvent>)> = Vec::new();
    for event in events {
        let Some(day) = day_of(event) else { continue };
        match by_day.iter_mut().find(|(known, _)| *known == day) {
            Some((_, same)) => same.push(event),
            None => by_day.push((day, vec![event])),
        }
    }
    by_day.sort_by_key(|(day, _)| *day);
    let mut free = f64::NEG_INFINITY;
    let mut named = Vec::new();
    for (day, same) in &by_day {
        let name = match state_letter(same) {
            Some(letter) => letter,
            None if same.len() > 1 => format!("\u{d7}{}", same.len()),
            None => String::new(),
        };
        let shown = !name.is_empty() && at(*day) >= free;
        if shown {
            free = at(*day) + NAME_ROOM;
        }
        named.push((*day, same, if shown { name } else { String::new() }));
    }
    html! {
        @for (day, same, name) in &named {
            @let written = same.iter().filter(|event| event.written.days_after.is_some_and(|days| days > 0)).filter_map(|event| days(&event.written.on)).max();
            @if let Some(written) = written {
                line class="late" x1=(px(at(*day))) x2=(px(at(written))) y1=(px(y)) y2=(px(y)) {}
                circle class="mark open" cx=(px(at(written))) cy=(px(y)) r="3.2" {}
            }
            circle class="mark base" cx=(px(at(*day))) cy=(px(y)) r="4.5" {
                title { (plain(&same.iter().map(|event| event.says.as_str()).collect::<Vec<_>>().join("; "))) }
            }
            @if !name.is_empty() { text x=(px(at(*day))) y=(px(y - 7.5)) text-anchor="middle" { (plain(name)) } }
        }
    }
}

/// The state that these events open, as its part and letter; `h2/b: deck milled` says so at its beginning.
fn state_letter(events: &[&TrailEvent]) -> Option<String> {
    let event = events.iter().rev().find(|event| matches!(event.what, "state" | "work"))?;
    let name = event.says.split([':', ' ', ',']).next()?;
    let letter = name.rsplit_once('/')?.1;
    (letter.chars().count() <= 4).then(|| letter.to_owned())
}

fn day_of(event: &TrailEvent) -> Option<i64> {
    days(event.on.as_ref().unwrap_or(&event.written.on))
}

/// A part of a whole as a number, for small counts.
fn share(part: i64, whole: i64) -> f64 {
    let number = |count: i64| f64::from(i32::try_from(count).unwrap_or(i32::MAX));
    number(part) / number(whole.max(1))
}

/// The day that a text begins with, counted from the beginning of the common era.
fn days(text: &str) -> Option<i64> {
    let date = NaiveDate::parse_from_str(text.get(..DAY)?, "%Y-%m-%d").ok()?;
    Some(i64::from(date.num_days_from_ce()))
}

fn date(day: i64) -> NaiveDate {
    i32::try_from(day).ok().and_then(NaiveDate::from_num_days_from_ce_opt).unwrap_or_default()
}

fn text_of(day: i64) -> String {
    date(day).format("%Y-%m-%d").to_string()
}

/// Round days: firsts of years, of months, or every few days, at most six.
fn ticks(first: i64, last: i64) -> Vec<i64> {
    let months = |step: i64| {
        let begin = i64::from(date(first).year()) * 12 + i64::from(date(first).month0());
        let begin = begin - begin.rem_euclid(step);
        (0..40).filter_map(move |index| {
            let month = begin + index * step;
            let year = i32::try_from(month.div_euclid(12)).ok()?;
            let month = u32::try_from(month.rem_euclid(12)).ok()? + 1;
            NaiveDate::from_ymd_opt(year, month, 1).map(|date| i64::from(date.num_days_from_ce()))
        })
    };
    let inside = |found: &mut dyn Iterator<Item = i64>| {
        found.filter(|day| (first..=last).contains(day)).collect::<Vec<_>>()
    };
    let every = |step: i64| (0..=(last - first) / step).map(move |index| first + index * step);
    let span = last - first;
    match span {
        0..=6 => inside(&mut every(1)),
        7..=35 => inside(&mut every(7)),
        36..=100 => inside(&mut every(14)).into_iter().take(6).collect(),
        101..=200 => inside(&mut months(1)),
        201..=400 => inside(&mut months(2)),
        401..=1200 => inside(&mut months(6)),
        _ => {
            let step = 12 * (span / 2190 + 1);
            inside(&mut months(step))
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    proptest! {
        #[test]
        fn an_axis_of_days_has_few_ticks_inside(day in 600_000i64..800_000, span in 1i64..20_000) {
            let ticks = ticks(day, day + span);
            prop_assert!(ticks.len() <= 8, "{} days: {:?}", span, ticks);
            prop_assert!(ticks.iter().all(|tick| (day..=day + span).contains(tick)));
            prop_assert_eq!(days(&text_of(day)), Some(day));
        }
    }

    #[test]
    fn a_text_without_a_date_has_no_day() {
        assert_eq!(days("soon"), None);
        assert_eq!(days("2026-13-01"), None);
        assert_eq!(days("2026-02-01T10:00:00+02:00").zip(days("2026-01-31")).map(|(a, b)| a - b), Some(1));
    }
}
