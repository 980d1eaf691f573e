//! An engine's own health over time, as text.

use crate::answer::BaselineAnswer;
use crate::render::Look;
use crate::render::Page;
use crate::render::gaps::doubts;
use crate::render::gaps::pending;
use crate::render::page::Tone;
use crate::render::weigh::counted;

/// One build of an engine across sessions, its trend, and what was read of the engine.
pub fn baseline(answer: &BaselineAnswer, look: Look) -> String {
    let mut page = Page::new(look);
    let title = format!(
        "{} as {}: {}, brought to {}, at commit {}",
        answer.engine, answer.build, answer.figure, answer.correction, answer.commit
    );
    page.line(0, Tone::Heading, &title);
    let width = answer.units.iter().map(|line| line.session.len()).max().unwrap_or(0);
    for line in &answer.units {
        let half = line.half_width.map(|half| format!(" ±{half:.2}")).unwrap_or_default();
        let together = line.fit_up.map(|count| format!(", together for time {count}")).unwrap_or_default();
        let words = format!(
            "{}  {:.2}{half} {}, {:+.2} %; {}{together}",
            line.on.as_deref().unwrap_or("-"),
            line.mean,
            answer.unit,
            line.change_percent,
            counted(line.pulls.len(), "pull")
        );
        page.pair(2, &line.session, width, &words);
    }
    page.line(2, Tone::Faint, "±: 95 %, by the scatter from pull to pull; %: against the first");
    match (&answer.trend, &answer.no_trend) {
        (Some(trend), _) => {
            let words = format!(
                "In thirty days {:+.2} {} ({:+.2} to {:+.2}, 95 %), by {} times together.",
                trend.per_30_days, answer.unit, trend.lower, trend.upper, trend.units
            );
            page.line(0, if trend.shown { Tone::Bad } else { Tone::Plain }, &words);
            let verdict = if trend.shown {
                "The engine itself moves: take it out by a baseline run before and after each test."
            } else {
                "No movement of the engine itself is shown: the interval holds none at all."
            };
            page.line(0, Tone::Plain, verdict);
        }
        (None, Some(why)) => page.line(0, Tone::Plain, &format!("No trend: {why}.")),
        (None, None) => {}
    }
    if answer.health.is_empty() {
        page.line(0, Tone::Faint, "Nobody kept leak-down, cranking pressure or blow-by of it.");
    }
    for figure in &answer.health {
        page.heading(&figure.title);
        for reading in &figure.readings {
            let on = reading.on.as_deref().unwrap_or("-");
            page.line(2, Tone::Plain, &format!("{on}  {} ({})", reading.text, reading.at));
        }
    }
    if !answer.left_out.is_empty() {
        page.heading("Left out");
        for line in &answer.left_out {
            page.line(2, Tone::Plain, line);
        }
    }
    doubts(&mut page, &answer.doubts);
    if !answer.others.is_empty() {
        page.gap();
        let words = format!("Other builds of it with pulls: {} (`--build`).", answer.others.join(", "));
        page.line(0, Tone::Faint, &words);
    }
    pending(&mut page, &answer.pending);
    page.gap();
    page.verbatim(0, Tone::Faint, &format!("Next: {}", answer.next));
    page.finish()
}
