//! A comparison, or its refusal, as text.

use crate::answer::ChangeLine;
use crate::answer::Compared;
use crate::answer::Curves;
use crate::answer::DiffAnswer;
use crate::answer::Refused;
use crate::answer::SideLine;
use crate::answer::WearLine;
use crate::render::Look;
use crate::render::Page;
use crate::render::derived::basis;
use crate::render::derived::derived;
use crate::render::gaps::pending;
use crate::render::gaps::refusal_gaps;
use crate::render::gaps::refused_pairs;
use crate::render::page::Tone;
use crate::render::plot_text;
use crate::render::plot_text::Row;

/// The groups of changes in their order on a page.
pub(super) const GROUPS: [(&str, &str); 7] = [
    ("parts", "Parts"),
    ("settings", "Settings"),
    ("fits", "Fits"),
    ("run", "How it was run"),
    ("conditions", "Conditions"),
    ("place", "Place and people"),
    ("reading", "Records and notes"),
];

/// What changed, or why it may not be said.
pub fn diff(answer: &DiffAnswer, look: Look) -> String {
    let mut page = Page::new(look);
    match answer {
        DiffAnswer::Refused(refused) => refusal(&mut page, refused),
        DiffAnswer::Compared(compared) => comparison(&mut page, compared),
    }
    page.finish()
}

pub(super) fn refusal(page: &mut Page, refused: &Refused) {
    page.line(0, Tone::Bad, &refused.headline);
    if let Some(across) = &refused.across {
        refused_pairs(page, across);
    } else {
        if let Some((base, test)) = &refused.unlike_corrections {
            page.pair(2, &refused.base, refused.base.len().max(refused.test.len()), base);
            page.pair(2, &refused.test, refused.base.len().max(refused.test.len()), test);
        }
        for lack in &refused.lacks {
            page.line(2, Tone::Bad, &lack.words());
        }
        refusal_gaps(page, &refused.gaps);
    }
    pending(page, &refused.pending);
    page.gap();
    if !refused.gaps.is_empty() {
        page.line(
            0,
            Tone::Plain,
            "Document each, if only as unknown with a reason; then the comparison runs.",
        );
    }
    page.verbatim(0, Tone::Faint, &format!("Next: {}", refused.next));
}

fn comparison(page: &mut Page, compared: &Compared) {
    page.line(
        0,
        Tone::Faint,
        &format!("{} (base) against {} (test), at commit {}", compared.base, compared.test, compared.commit),
    );
    page.line(0, Tone::Heading, &compared.headline);
    if !compared.open.is_empty() {
        page.heading("Nobody knows");
        // Items that share side and reason are told in one line.
        let mut groups: Vec<(String, Vec<&str>)> = Vec::new();
        for open in &compared.open {
            let other =
                open.other.as_ref().map(|other| format!("; the other side says {other}")).unwrap_or_default();
            let reason = format!(" ({}): {}{other}", side_words(open.side), open.because);
            match groups.iter_mut().find(|(known, _)| *known == reason) {
                Some((_, titles)) => titles.push(&open.title),
                None => groups.push((reason, vec![&open.title])),
            }
        }
        for (reason, titles) in groups {
            page.line(2, Tone::Doubt, &format!("{}{reason}", titles.join(", ")));
        }
    }
    changes(page, compared);
    shared(page, compared);
    if !compared.soft.is_empty() {
        page.heading("Only listed, assumed or calculated");
        for soft in &compared.soft {
            let source = soft.source.as_ref().map(|source| format!(" ({source})")).unwrap_or_default();
            page.line(
                2,
                Tone::Plain,
                &format!("{}, {}: {} {}{source}", soft.item, side_words(soft.side), soft.how, soft.text),
            );
        }
    }
    derived(page, &compared.derived);
    wear(page, &compared.wear);
    if !compared.doubts.is_empty() {
        page.heading("Doubts recorded with the pulls");
        for doubt in &compared.doubts {
            page.line(2, Tone::Doubt, doubt);
        }
    }
    if let Some(curves) = &compared.curves {
        table(page, curves, &compared.base, &compared.test);
    }
    if let Some(why) = &compared.no_curves {
        page.gap();
        page.line(0, Tone::Plain, &format!("No curves side by side: {why}."));
    }
    pending(page, &compared.pending);
    page.gap();
    page.line(0, Tone::Faint, &format!("Note: {}.", compared.next));
}

pub(super) fn side_words(side: &str) -> &'static str {
    match side {
        "both" => "both sides",
        "base" => "base",
        _ => "test",
    }
}

fn changes(page: &mut Page, compared: &Compared) {
    for (group, title) in GROUPS {
        let lines: Vec<&ChangeLine> =
            compared.changes.iter().filter(|change| change.group == group).collect();
        if lines.is_empty() {
            continue;
        }
        page.heading(title);
        for line in lines {
            change(page, line);
        }
    }
}

fn change(page: &mut Page, line: &ChangeLine) {
    let indent = if line.figure { 6 } else { 2 };
    let said = |side: &Option<SideLine>| side.as_ref().map_or_else(|| "not said".to_owned(), side_text);
    let (base, test) = (said(&line.base), said(&line.test));
    let remark = if line.equal_within {
        "  [equal within uncertainty]"
    } else if line.same_value {
        "  [same value, known differently]"
    } else {
        ""
    };
    let one = format!("{}: {base} -> {test}{remark}", line.title);
    if indent + one.chars().count() <= 78 {
        page.line(indent, Tone::Plain, &one);
    } else {
        page.line(indent, Tone::Plain, &format!("{}{remark}", line.title));
        page.pair(indent + 2, "base", 4, &base);
        page.pair(indent + 2, "test", 4, &test);
    }
}

/// A side's value with how it is known.
pub(super) fn side_text(side: &SideLine) -> String {
    let mut words = match side.how {
        "said" => return with_correction(side, side.text.clone()),
        "channel" => return side.text.clone(),
        "unknown" => format!("unknown: {}", side.text),
        how => {
            let at = side.at.as_ref().map(|at| at_words(at)).unwrap_or_default();
            format!("{}{at} ({how}", side.text)
        }
    };
    if side.how == "unknown" {
        return words;
    }
    if let Some(with) = &side.with {
        words.push_str(&format!(" with {with}"));
    }
    if let Some(by) = &side.by {
        words.push_str(&format!(" by {by}"));
    }
    if let Some(taken) = &side.taken {
        words.push_str(&format!(", {}", taken.get(..10).unwrap_or(taken)));
    }
    if let Some(source) = &side.source {
        words.push_str(&format!(": {source}"));
    }
    if side.afterwards {
        words.push_str("; measured afterwards");
    }
    if side.carried_over {
        words.push_str("; carried over from an earlier state");
    }
    words.push(')');
    with_correction(side, words)
}

fn with_correction(side: &SideLine, words: String) -> String {
    match &side.corrected {
        Some(because) => format!("{words} [corrected: {because}]"),
        None => words,
    }
}

fn shared(page: &mut Page, compared: &Compared) {
    page.gap();
    let mut text = format!("The two share {} documented items.", compared.common);
    if !compared.common_gaps.is_empty() {
        text.push_str(&format!(
            " Missing on both alike, so no explanation of a difference: {}.",
            compared.common_gaps.join(", ")
        ));
    }
    page.line(0, Tone::Plain, &text);
    if compared.asked > 0 {
        let measure = format!(
            "Of the {} items that could differ, {} {} only assumed or unknown.",
            compared.asked,
            if compared.weak == 0 { "none".to_owned() } else { compared.weak.to_string() },
            if compared.weak == 1 || compared.weak == 0 { "is" } else { "are" }
        );
        page.line(0, Tone::Plain, &measure);
    }
}

fn wear(page: &mut Page, lines: &[WearLine]) {
    if lines.is_empty() {
        return;
    }
    page.heading("Run since their state began, this pull included");
    let side = |pulls: Option<u32>, seconds: Option<f64>| match (pulls, seconds) {
        (Some(pulls), seconds) => {
            let word = if pulls == 1 { "pull" } else { "pulls" };
            match seconds.filter(|seconds| *seconds > 0.0) {
                Some(seconds) => format!("{pulls} {word} ({:.1} min logged)", seconds / 60.0),
                None => format!("{pulls} {word}"),
            }
        }
        (None, _) => "not on".to_owned(),
    };
    // Parts that have always run together are told in one line.
    let mut groups: Vec<(String, Vec<&str>)> = Vec::new();
    for line in lines {
        let text = format!(
            "base {}, test {}",
            side(line.base_pulls, line.base_seconds),
            side(line.test_pulls, line.test_seconds)
        );
        match groups.iter_mut().find(|(known, _)| *known == text) {
            Some((_, parts)) => parts.push(&line.part),
            None => groups.push((text, vec![&line.part])),
        }
    }
    for (text, parts) in groups {
        page.line(2, Tone::Plain, &format!("{text}: {}", parts.join(", ")));
    }
}

fn table(page: &mut Page, curves: &Curves, base: &str, test: &str) {
    let carried = if curves.brought.is_empty() { "both files: " } else { "both brought to " };
    page.heading(&format!("Torque and power each {} rpm, {carried}{}", curves.step_rpm, curves.correction));
    let values =
        if curves.brought.is_empty() { "as read, neither corrected nor weighed" } else { "not weighed" };
    page.line(0, Tone::Plain, &format!("base is {base}, test is {test}; values {values}"));
    basis(page, &curves.brought);
    page.verbatim(
        0,
        Tone::Plain,
        &format!(
            "{:>7}   {:^19}   {:^19}",
            "rpm",
            format!("torque, {}", curves.torque_unit),
            format!("power, {}", curves.power_unit)
        ),
    );
    page.verbatim(
        0,
        Tone::Plain,
        &format!("{:>7}   {:>9} {:>9}   {:>9} {:>9}", "", "base", "test", "base", "test"),
    );
    let cell = |value: Option<f64>| value.map_or_else(|| "-".to_owned(), |value| format!("{value:.1}"));
    for row in &curves.rows {
        page.verbatim(
            0,
            Tone::Plain,
            &format!(
                "{:>7}   {:>9} {:>9}   {:>9} {:>9}",
                row.rpm,
                cell(row.base_torque),
                cell(row.test_torque),
                cell(row.base_power),
                cell(row.test_power)
            ),
        );
    }
    let torque: Vec<Row> =
        curves.rows.iter().map(|row| (f64::from(row.rpm), row.base_torque, row.test_torque)).collect();
    plot_text::curves(page, &format!("torque, {}, over rpm", curves.torque_unit), &torque);
    let power: Vec<Row> =
        curves.rows.iter().map(|row| (f64::from(row.rpm), row.base_power, row.test_power)).collect();
    plot_text::curves(page, &format!("power, {}, over rpm", curves.power_unit), &power);
    for cut in &curves.cut {
        page.line(0, Tone::Faint, cut);
    }
}

/// Where or in which state a figure holds, behind its value: `at 15 mm`, `cold`.
pub(super) fn at_words(at: &str) -> String {
    if at.starts_with(|c: char| c.is_ascii_digit()) { format!(" at {at}") } else { format!(", {at}") }
}
