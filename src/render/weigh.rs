//! A difference weighed, as text: words first, then intervals, then what they rest on.

use crate::answer::BandRow;
use crate::answer::CrossingLine;
use crate::answer::RangeLine;
use crate::answer::SweepLine;
use crate::answer::WeighAnswer;
use crate::answer::Weighed;
use crate::answer::WithInterval;
use crate::render::Look;
use crate::render::Page;
use crate::render::diff;
use crate::render::gaps::pending;
use crate::render::page::Tone;
use crate::render::plot_text::Bars;
use crate::render::weigh_rests;

/// Columns of the table over speed, before its bars.
const TABLE: usize = 58;

/// The verdict and what it rests on, or the refusal.
pub fn weigh(answer: &WeighAnswer, look: Look) -> String {
    let mut page = Page::new(look);
    match answer {
        WeighAnswer::Refused(refused) => diff::refusal(&mut page, refused),
        WeighAnswer::Weighed(weighed) => whole(&mut page, weighed),
        WeighAnswer::Planned(planned) => weigh_rests::planned(&mut page, planned),
    }
    page.finish()
}

fn whole(page: &mut Page, weighed: &Weighed) {
    let runs = |pulls: &[String]| pulls.join(", ");
    page.line(
        0,
        Tone::Faint,
        &format!(
            "{} (base) against {} (test), brought to {}, at commit {}",
            runs(&weighed.base),
            runs(&weighed.test),
            weighed.correction,
            weighed.commit
        ),
    );
    verdict(page, weighed);
    weigh_rests::tuning(page, weighed);
    page.heading("What the interval is made of");
    page.line(
        2,
        Tone::Plain,
        &format!(
            "{}; base {} in {}, test {} in {}; standard error {:.3} {} with {:.1} degrees of freedom",
            weighed.speaks_of,
            counted(weighed.pulls.0, "pull"),
            counted(weighed.fit_ups.0, "fit-up"),
            counted(weighed.pulls.1, "pull"),
            counted(weighed.fit_ups.1, "fit-up"),
            weighed.standard_error,
            weighed.unit,
            weighed.degrees_of_freedom
        ),
    );
    weigh_rests::scatter(page, &weighed.scatter, &weighed.unit);
    for (session, drift) in &weighed.drift {
        page.line(2, Tone::Plain, &drift_words(session, drift.as_ref(), weighed));
    }
    if let Some(first) = &weighed.first_pull {
        page.line(
            2,
            Tone::Plain,
            &format!("first pull of a session against the rest: {}", interval(first, weighed)),
        );
    }
    if let Some(misfit) = &weighed.misfit {
        page.line(2, Tone::Plain, misfit);
    }
    page.line(
        2,
        Tone::Plain,
        &format!(
            "instruments: what does not cancel between the sides is {:.3} {} (one standard uncertainty)",
            weighed.systematic, weighed.unit
        ),
    );
    for doubt in &weighed.doubts {
        page.line(2, Tone::Bad, &format!("in doubt: {doubt}"));
    }
    if let Some(unstated) = &weighed.unstated {
        page.line(2, Tone::Doubt, unstated);
    }
    weigh_rests::budget(page, weighed);
    figures(page, weighed);
    band(page, weighed);
    sweeps(page, weighed);
    if let Some(plan) = &weighed.plan {
        weigh_rests::plan(page, plan, &weighed.unit);
    }
    excluded(page, weighed);
    page.gap();
    if let Some(words) = asked_words(weighed) {
        page.line(0, Tone::Plain, &words);
    }
    pending(page, &weighed.pending);
}

/// The verdict in words, without its full stop, with its tone.
pub(super) fn verdict_words(weighed: &Weighed) -> (Tone, String) {
    let ruling = &weighed.ruling;
    let claim = if ruling.least.abs() > 0.0 {
        format!("A gain of at least {:.2} {}", ruling.least, weighed.unit)
    } else {
        "A gain at all".to_owned()
    };
    let (tone, words) = match ruling.verdict {
        "shown" => (Tone::Heading, "is shown"),
        "provisional" => {
            (Tone::Doubt, "is provisional: the interval reaches it, and something holds it back")
        }
        "contradicted" => (Tone::Bad, "is contradicted: the whole interval lies below it"),
        _ => (Tone::Heading, "is not shown: the interval holds less as well"),
    };
    (tone, format!("{claim} {words}"))
}

/// How much of what could differ is only assumed or unknown, in a sentence; none where nothing was asked.
pub(super) fn asked_words(weighed: &Weighed) -> Option<String> {
    let weak = if weighed.weak == 1 { "one is".to_owned() } else { format!("{} are", none(weighed.weak)) };
    (weighed.asked > 0).then(|| {
        format!(
            "Of the {} items that could differ between two pulls, {weak} only assumed or unknown.",
            weighed.asked
        )
    })
}

/// The difference in a sentence.
pub(super) fn difference_words(weighed: &Weighed) -> String {
    format!(
        "Test less base, {}: {}, or {:+.2} % ({:+.2} to {:+.2} %).",
        weighed.figure,
        interval(&weighed.difference, weighed),
        weighed.percent.value,
        weighed.percent.lower,
        weighed.percent.upper
    )
}

/// What belongs beside the difference, a sentence each: where the peak went, equivalence, a close call.
pub(super) fn beside_words(weighed: &Weighed) -> Vec<String> {
    let mut words = Vec::new();
    if let Some((value, lower, upper)) = weighed.peak_speed {
        words.push(format!("The peak moved by {value:+.0} rpm ({lower:+.0} to {upper:+.0} rpm)."));
    }
    if let Some(equivalence) = &weighed.equivalence {
        words.push(format!(
            "No difference larger than {:.2} {}: {} (two one-sided tests, p {:.3}).",
            equivalence.margin,
            weighed.unit,
            if equivalence.shown { "shown" } else { "not shown" },
            equivalence.probability
        ));
    }
    if weighed.ruling.close_call {
        words.push("The limit lies at the very end of the interval: a close call.".to_owned());
    }
    words
}

fn verdict(page: &mut Page, weighed: &Weighed) {
    let ruling = &weighed.ruling;
    let (tone, words) = verdict_words(weighed);
    page.line(0, tone, &format!("{words}."));
    page.line(0, Tone::Plain, &difference_words(weighed));
    for words in beside_words(weighed) {
        let tone = if words.ends_with("a close call.") { Tone::Doubt } else { Tone::Plain };
        page.line(0, tone, &words);
    }
    if !ruling.reasons.is_empty() {
        page.heading("What is to be read with it, the weightiest first");
        for reason in &ruling.reasons {
            page.line(2, Tone::Doubt, reason);
        }
    }
}

pub(super) fn interval(number: &WithInterval, weighed: &Weighed) -> String {
    format!("{:+.2} {} ({:+.2} to {:+.2})", number.value, weighed.unit, number.lower, number.upper)
}

fn figures(page: &mut Page, weighed: &Weighed) {
    page.heading("Figures of both sides, each with its 95 % limits");
    let mut lacking: Vec<(&str, Vec<&str>)> = Vec::new();
    for line in &weighed.figures {
        let (Some(difference), None) = (&line.difference, &line.why) else {
            let why = line.why.as_deref().unwrap_or("cannot be told");
            match lacking.iter_mut().find(|(known, _)| *known == why) {
                Some((_, figures)) => figures.push(&line.figure),
                None => lacking.push((why, vec![&line.figure])),
            }
            continue;
        };
        let digits = if line.unit == "rpm" { 0 } else { 2 };
        let level = |level: &Option<WithInterval>| {
            level.map_or_else(
                || "cannot be told".to_owned(),
                |level| {
                    format!("{:.digits$} ({:.digits$} to {:.digits$})", level.value, level.lower, level.upper)
                },
            )
        };
        page.line(
            2,
            Tone::Plain,
            &format!(
                "{}: {} to {} {}, {} {:+.digits$} ({:+.digits$} to {:+.digits$})",
                line.figure,
                level(&line.base),
                level(&line.test),
                line.unit,
                if line.unit == "rpm" { "moved by" } else { "a gain of" },
                difference.value,
                difference.lower,
                difference.upper
            ),
        );
    }
    for (why, figures) in lacking {
        page.line(2, Tone::Faint, &format!("not given: {}; {why}", figures.join(", ")));
    }
}

fn band(page: &mut Page, weighed: &Weighed) {
    let Some(band) = &weighed.band else { return };
    page.heading(&format!("Test less base over speed, {}", weighed.unit));
    if band.simultaneous {
        for range in &band.ranges {
            page.line(2, Tone::Plain, &range_words(range, weighed));
        }
        page.line(2, Tone::Plain, "the band holds at all speeds at once (95 %)");
    } else {
        page.line(
            2,
            Tone::Plain,
            &format!(
                "each rpm alone: {:.1} degrees of freedom are too few for a band over all speeds (8)",
                band.degrees_of_freedom
            ),
        );
    }
    for crossing in &band.crossings {
        page.line(2, Tone::Plain, &crossing_words(crossing, &band.rows));
    }
    if let Some(width) = weighed.smoothed {
        page.line(2, Tone::Doubt, &format!("every curve was smoothed over {width} rpm, as was asked"));
    }
    if !weighed.left_out_speeds.is_empty() {
        page.line(
            2,
            Tone::Doubt,
            &format!("empty in some pull and so left out of all: {} rpm", speeds(&weighed.left_out_speeds)),
        );
    }
    let limits = |row: &BandRow| row.together.unwrap_or((row.alone.lower, row.alone.upper));
    let bars = Bars::beside(page.look(), TABLE, band.rows.iter().map(limits));
    let head = "           base      test      gain   its 95 % limits";
    let over = bars.as_ref().map(Bars::head).unwrap_or_default();
    page.verbatim(2, Tone::Faint, format!("{head:TABLE$}{over}").trim_end());
    let rows = band.rows.len();
    for (at, row) in band.rows.iter().enumerate() {
        // A long table is shown at every fifth speed; JSON has all.
        if rows > 20 && at % 5 != 0 && at + 1 != rows {
            continue;
        }
        let (lower, upper) = limits(row);
        let level = |level: Option<f64>| level.map_or_else(|| "-".to_owned(), |level| format!("{level:.2}"));
        let figures = format!(
            "{:>5} rpm {:>8} {:>9} {:>+9.2} {:>+8.2} to {:>+7.2}",
            row.rpm,
            level(row.base),
            level(row.test),
            row.alone.value,
            lower,
            upper
        );
        let bar = bars.as_ref().map(|bars| bars.draw(lower, row.alone.value, upper)).unwrap_or_default();
        page.verbatim(2, Tone::Plain, format!("{figures:TABLE$}{bar}").trim_end());
    }
}

/// A range of speeds with its standing.
pub(super) fn range_words(range: &RangeLine, weighed: &Weighed) -> String {
    format!(
        "{} to {} rpm: {}, a mean gain of {}",
        range.from,
        range.to,
        range.standing,
        interval(&range.gain, weighed)
    )
}

/// The drift of a session.
pub(super) fn drift_words(session: &str, drift: Option<&WithInterval>, weighed: &Weighed) -> String {
    let words = drift.map_or_else(
        || "cannot be told from these pulls".to_owned(),
        |drift| format!("{} for each pull within fit-ups", interval(drift, weighed)),
    );
    format!("drift in {session}, always fitted: {words}")
}

pub(super) fn crossing_words(crossing: &CrossingLine, rows: &[BandRow]) -> String {
    let (first, last) = (rows.first().map_or(0, |row| row.rpm), rows.last().map_or(0, |row| row.rpm));
    let verb = match crossing.upward {
        Some(true) => "the test curve comes to lie above the base's",
        Some(false) => "the test curve comes to lie below the base's",
        None => "the curves meet",
    };
    match (crossing.lower, crossing.upper) {
        (Some(lower), Some(upper)) => {
            // With each rpm alone, one speed in twenty is off zero by noise: that the curves cross is then not said.
            let alone = if crossing.upward.is_none() { "each rpm alone, " } else { "" };
            format!("{verb} at {:.0} rpm ({alone}95 %: {lower:.0} to {upper:.0} rpm)", crossing.rpm)
        }
        (lower, upper) => format!(
            "the curves meet at {:.0} rpm, and whether they cross is not told: zero stays possible from {} to {}",
            crossing.rpm,
            lower.map_or_else(|| format!("the window's {first} rpm"), |lower| format!("{lower:.0} rpm")),
            upper.map_or_else(|| format!("the window's {last} rpm"), |upper| format!("{upper:.0} rpm"))
        ),
    }
}

/// Speeds as people say them, the first few.
pub(super) fn speeds(speeds: &[u32]) -> String {
    let mut text: Vec<String> = speeds.iter().take(8).map(u32::to_string).collect();
    if speeds.len() > text.len() {
        text.push(format!("{} more", speeds.len() - text.len()));
    }
    text.join(", ")
}

/// What was found in the logs and what was cut; pulls that are alike in it share a line.
fn sweeps(page: &mut Page, weighed: &Weighed) {
    page.heading("Sweeps found in the logs: from load-on to release");
    let mut groups: Vec<(u32, u32, Vec<&SweepLine>)> = Vec::new();
    for line in &weighed.sweeps {
        match groups.iter_mut().find(|(from, to, _)| (*from, *to) == (line.from, line.to)) {
            Some((_, _, lines)) => lines.push(line),
            None => groups.push((line.from, line.to, vec![line])),
        }
    }
    for (from, to, lines) in groups {
        let span = |of: fn(&SweepLine) -> u64| {
            let (least, most) = lines
                .iter()
                .map(|line| of(line))
                .fold((u64::MAX, 0), |(least, most), rows| (least.min(rows), most.max(rows)));
            if least == most { least.to_string() } else { format!("{least} to {most}") }
        };
        let pulls: Vec<&str> = lines.iter().map(|line| line.pull.as_str()).collect();
        page.line(
            2,
            Tone::Plain,
            &format!(
                "{}: {from} to {to} rpm, {} rows; cut: {} before load was on, {} after the release",
                pulls.join(", "),
                span(|line| line.rows),
                span(|line| line.cut_before),
                span(|line| line.cut_after)
            ),
        );
    }
    page.line(2, Tone::Plain, &weighed.inertia);
}

fn excluded(page: &mut Page, weighed: &Weighed) {
    if weighed.excluded.is_empty() && weighed.unread == 0 {
        return;
    }
    page.heading("Pulls of these sessions that are not weighed");
    let mut groups: Vec<(&str, Vec<&str>)> = Vec::new();
    for line in &weighed.excluded {
        match groups.iter_mut().find(|(why, _)| *why == line.why) {
            Some((_, pulls)) => pulls.push(&line.pull),
            None => groups.push((&line.why, vec![&line.pull])),
        }
    }
    for (why, pulls) in groups {
        page.line(2, Tone::Plain, &format!("{}: {why}", pulls.join(", ")));
    }
    weigh_rests::chosen(page, weighed);
    if weighed.unread > 0 {
        page.line(
            2,
            Tone::Doubt,
            &format!(
                "{} of this engine could not be read and says nothing of scatter",
                counted(weighed.unread, "other pull")
            ),
        );
    }
}

pub(super) fn counted(count: usize, thing: &str) -> String {
    format!("{count} {thing}{}", if count == 1 { "" } else { "s" })
}

fn none(count: usize) -> String {
    if count == 0 { "none".to_owned() } else { count.to_string() }
}
