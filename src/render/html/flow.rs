//! Flow sheets on a page: flow against lift, what it means, and two sheets side by side.

use std::collections::BTreeMap;

use maud::Markup;
use maud::html;

use super::plot::{Area, Plot, Points};
use super::{cell, diff, document, list, plain, sheet, side, wide, with_table};
use crate::answer::FigureLine;
use crate::answer::FlowCompared;
use crate::answer::FlowMeaning;
use crate::answer::FlowSheetAnswer;
use crate::answer::Interval;
use crate::answer::PageMark;
use crate::answer::SheetLine;
use crate::render::derived::bare;

/// What the axis of lift is called.
const LIFT: &str = "valve lift, mm";

/// A flow sheet as a page.
pub fn flow_sheet_page(sheet: &FlowSheetAnswer, mark: &PageMark) -> String {
    let port = sheet.port.as_ref().map(|port| format!(" {port}")).unwrap_or_default();
    let bench = sheet.bench.as_ref().map(|bench| format!(", bench {bench}")).unwrap_or_default();
    let kicker = html! {
        (plain(&sheet.on)) ", by " (plain(&sheet.by)) (plain(&bench)) ", at commit " span class="hash" { (sheet.commit) }
    };
    let body = html! {
        @if let Some(words) = sheet.meaning.as_ref().and_then(best) { p class="answer" { (plain(&words)) } }
        @if !sheet.with_part.is_empty() { p { "On the bench with it: " (plain(&sheet.with_part.join(", "))) "." } }
        @if let Some(why) = &sheet.no_readings { p class="unknown" { "Its readings mean nothing: " (plain(why)) "." } }
        @let gaps: Vec<&SheetLine> = sheet.conditions.iter().filter(|line| line.gap.is_some()).collect();
        @if !gaps.is_empty() {
            h2 { "What is not known" }
            ul class="unknown" { @for line in gaps { li { (plain(&line.title)) ": " (plain(line.gap.as_deref().unwrap_or_default())) } } }
        }
        @if !sheet.doubts.is_empty() { h2 { "Doubts recorded with it" } (list(&sheet.doubts)) }
        @if let Some(meaning) = &sheet.meaning { (self::meaning(sheet, meaning)) }
        h2 { "Conditions" }
        (wide("Conditions", &html! {
            table {
                thead { tr { th scope="col" { "What" } th scope="col" { "What is known of it" } } }
                tbody { @for line in &sheet.conditions { tr {
                    th scope="row" { (plain(&line.title)) }
                    td {
                        @match &line.gap { Some(gap) => { strong { "not documented" } ", " (plain(gap)) }, None => (side(line.said.as_ref())) }
                        (sheet::shown_by(line))
                    }
                } } }
            }
        }))
    };
    let headline = format!("Flow sheet {}: {} {} port{port}", sheet.flow, sheet.part, sheet.side);
    document(mark, &headline, &kicker, &body)
}

/// The greatest flow in a sentence.
fn best(meaning: &FlowMeaning) -> Option<String> {
    let all = meaning.lifts.iter().filter_map(|lift| Some((lift.lift_mm, flow_of(&lift.figures)?)));
    let (lift, most) = all.max_by(|a, b| a.1.value.total_cmp(&b.1.value))?;
    Some(format!("Greatest flow {} at {lift} mm of lift, less leakage and by the plate.", most.text))
}

fn flow_of(figures: &[FigureLine]) -> Option<&Interval> {
    figures.iter().find(|line| line.figure == "flow").map(|line| &line.interval)
}

fn meaning(sheet: &FlowSheetAnswer, meaning: &FlowMeaning) -> Markup {
    let flows: Vec<(f64, Option<&Interval>)> =
        meaning.lifts.iter().map(|lift| (lift.lift_mm, flow_of(&lift.figures))).collect();
    let unit = flows.iter().find_map(|(_, flow)| *flow).map(|flow| flow.unit.clone()).unwrap_or_default();
    let mut titles: BTreeMap<&str, (&str, &str)> = BTreeMap::new();
    let mut order: Vec<&str> = Vec::new();
    for line in meaning.lifts.iter().flat_map(|lift| &lift.figures) {
        if titles.insert(&line.figure, (&line.title, &line.interval.unit)).is_none() {
            order.push(&line.figure);
        }
    }
    let title =
        format!("flow against valve lift, {unit}, with its 95 % interval; the table below has the figures");
    let mut plot = Plot::new("flow", title, format!("flow, {unit}"));
    plot.x_label = LIFT;
    plot = plot.line(
        "one",
        "flow",
        flows.iter().map(|(lift, flow)| (*lift, flow.map(|flow| flow.value))).collect(),
    );
    plot.areas = vec![Area {
        side: "one",
        points: flows
            .iter()
            .map(|(lift, flow)| {
                (*lift, flow.map(|flow| (flow.value - flow.uncertainty, flow.value + flow.uncertainty)))
            })
            .collect(),
    }];
    let drawn = plot.draw(&|lift| {
        let at = flows.iter().find(|(place, _)| (place - lift).abs() < 1e-9).and_then(|(_, flow)| *flow);
        at.map_or_else(String::new, |flow| format!("{lift} mm: {}", flow.text))
    });
    let brought = sheet.brought_to.as_ref().map(|to| format!(", at {to}")).unwrap_or_default();
    html! {
        h2 { "Flow against lift" (plain(&brought)) }
        p class="note" { "Less leakage and by the calibration plate. Shaded: intervals of 95 %." }
        div class="plot-and-table" {
            @if let Some(drawn) = drawn { (drawn) }
            details open {
                summary { "Each lift as a table, intervals of 95 %" }
                (wide("Each lift", &html! {
                    table {
                        thead { tr {
                            th scope="col" class="number" { "lift, mm" }
                            @for name in &order {
                                @let (title, unit) = titles.get(name).copied().unwrap_or_default();
                                th scope="col" { (plain(title)) @if !unit.is_empty() { ", " (plain(unit)) } }
                            }
                        } }
                        tbody { @for lift in &meaning.lifts { tr {
                            th scope="row" class="number" { (lift.lift_mm) }
                            @for name in &order {
                                td { (lift.figures.iter().find(|line| line.figure == *name).map_or("-", |line| bare(&line.interval))) }
                            }
                        } } }
                    }
                }))
            }
        }
        h2 { "Means over lift" }
        (wide("Means over lift", &html! {
            table {
                thead { tr { th scope="col" { "Figure" } th scope="col" { "With its 95 % interval" } th scope="col" { "How it is known" } } }
                tbody { @for line in meaning.means.iter().chain(&sheet.ratios) { tr {
                    th scope="row" { (plain(&line.title)) }
                    td { (plain(&line.interval.text)) }
                    td { (known(line)) }
                } } }
            }
        }))
        @for bar in &meaning.bars { p class="note" { (plain(&format!("Missing: {}, {}; bars {}", bar.item, bar.why, bar.bars.join("; ")))) "." } }
    }
}

/// How a derived figure is known, its inputs in a details element.
fn known(line: &FigureLine) -> Markup {
    let count = line.measured.len() + line.not_measured.len();
    html! {
        details {
            summary { "no better than " (line.worst_input) ", from " (count) " inputs" }
            ul { @for input in line.not_measured.iter().chain(&line.measured) {
                li { (plain(&input.item)) " of " (plain(&input.at)) ": " (input.how) " " (plain(&input.text)) }
            } }
        }
    }
}

/// Two flow sheets side by side, as a page.
pub fn flow_diff_page(compared: &FlowCompared, mark: &PageMark) -> String {
    let kicker = html! {
        "Base " (plain(&compared.base)) ", test " (plain(&compared.test)) ", at commit " span class="hash" { (compared.commit) }
    };
    let body = html! {
        @if !compared.changes.is_empty() {
            h2 { "What changed" }
            (wide("What changed", &html! {
                table {
                    thead { tr { th scope="col" { "What" } th scope="col" { "Base" } th scope="col" { "Test" } } }
                    tbody { @for change in &compared.changes { tr {
                        th scope="row" { (plain(&change.title)) } td { (side(Some(&change.base))) } td { (side(Some(&change.test))) }
                    } } }
                }
            }))
        }
        @if !compared.open.is_empty() { h2 { "Nobody knows" } div class="unknown" { (list(&compared.open)) } }
        @if !compared.doubts.is_empty() { h2 { "Doubts recorded with the sheets" } (list(&compared.doubts)) }
        (read(compared))
        @if let Some(why) = &compared.no_rows { p { "Not side by side: " (plain(why)) "." } }
        (brought(compared))
        (diff::derived_lines(&compared.derived))
        p { (plain(&compared.next)) "." }
    };
    document(mark, &compared.headline, &kicker, &body)
}

fn read(compared: &FlowCompared) -> Markup {
    let unit = &compared.flow_unit;
    let over = |test: bool| -> Points {
        compared.rows.iter().map(|row| (row.lift_mm, if test { row.test } else { row.base })).collect()
    };
    let title = format!(
        "flow of {} (base, solid, round marks) and {} (test, dashed, square marks) against valve lift, as read",
        compared.base, compared.test
    );
    let mut plot = Plot::new("flow", title, format!("flow, {unit}"));
    plot.x_label = LIFT;
    let drawn = plot.line("base", "base", over(false)).line("test", "test", over(true)).draw(&|lift| {
        let row = compared.rows.iter().find(|row| (row.lift_mm - lift).abs() < 1e-9);
        row.map_or_else(String::new, |row| {
            format!("{lift} mm: base {} {unit}, test {} {unit}", cell(row.base, 1), cell(row.test, 1))
        })
    });
    html! {
        @if !compared.rows.is_empty() {
            h2 { "Flow against lift, as read" }
            (with_table(drawn, &format!("Each lift as a table, {unit}"), &html! {
                table {
                    thead { tr { @for head in ["lift, mm", "base", "test"] { th scope="col" class="number" { (head) } } } }
                    tbody { @for row in &compared.rows { tr {
                        th scope="row" class="number" { (row.lift_mm) }
                        @for value in [row.base, row.test] { td class="number" { (cell(value, 1)) } }
                    } } }
                }
            }))
        }
    }
}

/// Flow of both at one test pressure, and the difference with its interval.
fn brought(compared: &FlowCompared) -> Markup {
    let Some(pressure) = &compared.brought_to else { return html! {} };
    let unit = &compared.flow_unit;
    let at = |lift: f64| compared.brought.iter().find(move |row| (row.lift_mm - lift).abs() < 1e-9);
    let differences: Points = compared
        .brought
        .iter()
        .map(|row| (row.lift_mm, row.difference.as_ref().map(|less| less.value)))
        .collect();
    let title = format!(
        "test less base at {pressure} against valve lift, {unit}, with its 95 % interval and the zero line"
    );
    let mut plot = Plot::new("flow-gain", title, format!("test less base, {unit}"));
    plot.x_label = LIFT;
    plot.zero = true;
    plot.areas = vec![Area {
        side: "one",
        points: compared
            .brought
            .iter()
            .map(|row| {
                let edges = row
                    .difference
                    .as_ref()
                    .map(|less| (less.value - less.uncertainty, less.value + less.uncertainty));
                (row.lift_mm, edges)
            })
            .collect(),
    }];
    let drawn = plot.line("one", "gain", differences).draw(&|lift| {
        at(lift)
            .and_then(|row| row.difference.as_ref())
            .map_or_else(String::new, |less| format!("{lift} mm: {}", less.text))
    });
    let shown = |interval: &Option<Interval>| interval.as_ref().map_or("-", bare).to_owned();
    html! {
        @if compared.brought.iter().any(|row| row.base.is_some() || row.test.is_some()) {
            h2 { "Flow at " (plain(pressure)) ", less leakage and by the plate" }
            (with_table(drawn, &format!("Each lift as a table, {unit}, intervals of 95 %"), &html! {
                table {
                    thead { tr { @for head in ["lift, mm", "base", "test", "test less base"] { th scope="col" { (head) } } } }
                    tbody { @for row in &compared.brought { tr {
                        th scope="row" { (row.lift_mm) }
                        @for value in [&row.base, &row.test, &row.difference] { td { (shown(value)) } }
                    } } }
                }
            }))
        }
    }
}
