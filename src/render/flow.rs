//! Flow sheets as text: entered, and two of them side by side.

use crate::answer::FlowCompared;
use crate::answer::FlowDiffAnswer;
use crate::answer::FlowEntered;
use crate::answer::FlowLift;
use crate::answer::FlowMeaning;
use crate::answer::FlowSheetAnswer;
use crate::answer::Interval;
use crate::render::Look;
use crate::render::Page;
use crate::render::derived::bare;
use crate::render::derived::bars;
use crate::render::derived::derived;
use crate::render::derived::figures;
use crate::render::diff::refusal;
use crate::render::diff::side_text;
use crate::render::entry::already;
use crate::render::entry::from_file;
use crate::render::entry::taken_in;
use crate::render::gaps::pending;
use crate::render::gaps::short_gaps;
use crate::render::page::Tone;
use crate::render::plot_text;
use crate::render::plot_text::Row;
use crate::render::sheet::item;

/// Flow sheets entered.
pub fn flow_entered(answer: &FlowEntered, look: Look) -> String {
    let mut page = Page::new(look);
    already(&mut page, &answer.taken_in);
    if !answer.as_last.is_empty() {
        page.line(0, Tone::Plain, &format!("Same as last: {}.", answer.as_last.join("; ")));
    }
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
    let drawn: Vec<Row> = compared.rows.iter().map(|row| (row.lift_mm, row.base, row.test)).collect();
    plot_text::curves(page, &format!("flow, {}, over lift in mm", compared.flow_unit), &drawn);
    if let Some(why) = &compared.no_rows {
        page.gap();
        page.line(0, Tone::Plain, &format!("Not side by side: {why}."));
    }
    brought(page, compared);
    pending(page, &compared.pending);
    page.gap();
    page.line(0, Tone::Faint, &format!("Note: {}.", compared.next));
}

/// Flow of both at one test pressure, less leakage and by the plate, and means over the lifts that both have.
fn brought(page: &mut Page, compared: &FlowCompared) {
    let Some(pressure) = &compared.brought_to else { return };
    let shown = |interval: &Option<Interval>| interval.as_ref().map_or("-", bare).to_owned();
    if compared.brought.iter().any(|row| row.base.is_some() || row.test.is_some()) {
        let unit = &compared.flow_unit;
        page.heading(&format!(
            "Flow by lift at {pressure}, {unit}, less leakage and by the plate, intervals of 95 %"
        ));
        let heads = format!("{:>9} {:>16} {:>16} {:>18}", "lift, mm", "base", "test", "difference");
        page.verbatim(0, Tone::Plain, &heads);
        for row in &compared.brought {
            let cells = (shown(&row.base), shown(&row.test), shown(&row.difference));
            let text = format!("{:>9} {:>16} {:>16} {:>18}", row.lift_mm, cells.0, cells.1, cells.2);
            page.verbatim(0, Tone::Plain, &text);
        }
    }
    derived(page, &compared.derived);
    bars(page, &compared.bars, true);
}

/// A flow sheet laid out.
pub fn flow_sheet(answer: &FlowSheetAnswer, look: Look) -> String {
    let mut page = Page::new(look);
    let port = answer.port.as_ref().map(|port| format!(" {port}")).unwrap_or_default();
    let mut head = format!(
        "Flow sheet {}: {} {} port{port}, {}, by {}",
        answer.flow, answer.part, answer.side, answer.on, answer.by
    );
    head.extend(answer.bench.iter().map(|bench| format!(", bench {bench}")));
    if !answer.with_part.is_empty() {
        head.push_str(&format!(", with {}", answer.with_part.join(", ")));
    }
    page.line(0, Tone::Heading, &head);
    page.line(0, Tone::Faint, &format!("at commit {}", answer.commit));
    if !answer.conditions.is_empty() {
        page.heading("Conditions");
        answer.conditions.iter().for_each(|line| item(&mut page, 2, line));
    }
    if let (Some(meaning), Some(pressure)) = (&answer.meaning, &answer.brought_to) {
        by_lift(&mut page, meaning, pressure);
        let mut means = meaning.means.clone();
        means.extend(answer.ratios.iter().cloned());
        if !means.is_empty() {
            page.heading("Means over lift, with intervals of 95 %");
            figures(&mut page, &means);
        }
        bars(&mut page, &meaning.bars, false);
    }
    if let Some(why) = &answer.no_readings {
        page.gap();
        page.line(0, Tone::Bad, &format!("Nothing is worked out: {why}."));
    }
    if !answer.doubts.is_empty() {
        page.heading("Doubts recorded with the sheet");
        answer.doubts.iter().for_each(|doubt| page.line(2, Tone::Doubt, doubt));
    }
    pending(&mut page, &answer.pending);
    page.gap();
    page.verbatim(0, Tone::Faint, &format!("Next: {}", answer.next));
    page.finish()
}

/// Columns of the table by lift: a figure's name, its heading, and how wide it is.
const BY_LIFT: [(&str, &str, usize); 5] = [
    ("flow-at-pressure", "flow", 14),
    ("flow-standard-air", "standard air", 15),
    ("discharge-coefficient-curtain-incompressible", "Cd curtain", 17),
    ("discharge-coefficient-valve-incompressible", "Cd valve", 17),
    ("bench-gas-speed", "throat m/s", 14),
];
/// Characters of a row on the paper.
const PAPER: usize = 80;

fn by_lift(page: &mut Page, meaning: &FlowMeaning, pressure: &str) {
    let find = |lift: &FlowLift, name: &str| {
        lift.figures.iter().find(|figure| figure.figure == name).map(|figure| figure.interval.clone())
    };
    let mut left = PAPER - 9;
    let columns: Vec<(&str, &str, usize)> = BY_LIFT
        .into_iter()
        .filter(|(name, _, _)| meaning.lifts.iter().any(|lift| find(lift, name).is_some()))
        .filter(|(_, _, width)| {
            let fits = *width <= left;
            left -= if fits { *width } else { 0 };
            fits
        })
        .collect();
    if columns.is_empty() {
        return;
    }
    let unit = meaning.lifts.iter().find_map(|lift| Some(find(lift, "flow-at-pressure")?.unit));
    let unit = unit.unwrap_or_default();
    page.heading(&format!(
        "By lift: flow in {unit} at {pressure}, less leakage and by the plate; Cd without compressibility"
    ));
    let mut heads = format!("{:>9}", "lift, mm");
    columns.iter().for_each(|(_, title, width)| heads.push_str(&format!("{title:>width$}")));
    page.verbatim(0, Tone::Plain, &heads);
    for lift in &meaning.lifts {
        let mut text = format!("{:>9}", lift.lift_mm);
        for (name, _, width) in &columns {
            let found = find(lift, name);
            text.push_str(&format!("{:>width$}", found.as_ref().map_or("-", bare)));
        }
        page.verbatim(0, Tone::Plain, &text);
    }
    let flow = |lift: &FlowLift| find(lift, "flow-at-pressure").map(|flow| flow.value);
    let drawn: Vec<Row> = meaning.lifts.iter().map(|lift| (lift.lift_mm, flow(lift), None)).collect();
    plot_text::curves(page, &format!("flow, {unit}, over lift in mm"), &drawn);
    for figure in
        meaning.lifts.iter().flat_map(|lift| &lift.figures).filter(|figure| !figure.beyond.is_empty())
    {
        figure.beyond.iter().for_each(|beyond| page.line(2, Tone::Doubt, beyond));
    }
    page.line(
        2,
        Tone::Faint,
        "Note: --json has more by lift: Cd on the throat's area and with compressibility, lift over diameter, gas speed.",
    );
}
