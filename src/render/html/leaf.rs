//! Sheets that fit one page of paper: of a test, and of what differed. What does not fit is counted, and the whole page
//! has it.

use maud::Markup;
use maud::html;

use super::diff::Both;
use super::plot::Plot;
use super::plot::Points;
use super::{cell, list, plain, shortened};
use crate::answer::ChangeLine;
use crate::answer::Compared;
use crate::answer::CurveRow;
use crate::answer::PageMark;
use crate::answer::PullCurveRow;
use crate::answer::SheetAnswer;
use crate::answer::SheetLine;
use crate::answer::SideLine;
use crate::render::alarm;
use crate::render::cautions::CAUTIONS;
use crate::render::curve;

/// Speeds of the small table are this far apart, rpm, or further where there would be too many.
const COARSE_RPM: u32 = 500;
const MOST_SPEEDS: usize = 24;
const MOST_ROLES: usize = 22;
const MOST_CONDITIONS: usize = 12;
const MOST_SETTINGS: usize = 12;
const MOST_RUN: usize = 6;
const MOST_FIGURES: usize = 5;
const MOST_CHANGES: usize = 19;
const MOST_OPEN: usize = 5;
/// Characters of a name and of what is said of it.
const NAME: usize = 30;
const SAID: usize = 44;
const SENTENCE: usize = 280;

/// A test on one page; `heading` is what stands over it, `prefix` tells its plots from those of other tests.
pub(super) fn test(heading: &Markup, prefix: &str, sheet: &SheetAnswer, mark: &PageMark) -> Markup {
    let mut about: Vec<String> =
        sheet.build.iter().filter(|_| sheet.of == "pull").map(|build| format!("build {build}")).collect();
    about.extend(sheet.engine.iter().map(|engine| format!("engine {engine}")));
    about.extend(sheet.on.clone());
    about.extend(sheet.by.iter().map(|by| format!("by {by}")));
    about.extend(sheet.pulls.iter().filter(|_| sheet.of == "pull").map(|pull| pull.outcome.clone()));
    let raised: Vec<String> =
        sheet.alarms.iter().filter(|found| alarm::is_raised(found)).map(alarm::words).collect();
    let peaks = sheet.curve.as_ref().and_then(curve::peak_words);
    // Roles that an assembly above fills are told with it, and roles with nothing in them in one line.
    let own = sheet.roles.iter().filter(|role| !role.within).map(|role| &role.role);
    let (empty, filled): (Vec<&SheetLine>, Vec<&SheetLine>) =
        own.partition(|role| role.said.as_ref().is_some_and(|said| said.text == "none"));
    let mut roles: Vec<(String, String)> =
        filled.iter().map(|role| (role.title.clone(), said(role))).collect();
    let empty: Vec<&str> = empty.iter().map(|role| role.title.as_str()).collect();
    if !empty.is_empty() {
        roles.insert(roles.len().min(MOST_ROLES - 1), ("none of".to_owned(), empty.join(", ")));
    }
    let derived: Vec<(String, String)> = sheet
        .derived
        .iter()
        .filter(|line| line.cylinder.is_none())
        .map(|line| {
            (line.title.clone(), format!("{} (no better than {})", line.interval.text, line.worst_input))
        })
        .collect();
    html! {
        (heading)
        p class="kicker" { (plain(&shortened(&about.join(", "), SENTENCE))) }
        @if let Some(words) = &peaks { p class="answer" { (plain(words)) } }
        p {
            @if sheet.gaps > 0 { strong { "Not documented, of what a comparison asks for: " (sheet.gaps) "." } }
            @else { "Everything that a comparison asks for is documented." }
            @for note in sheet.notes.iter().take(1) { " " (plain(&shortened(note, SENTENCE))) }
        }
        (warned("In doubt: ", &sheet.doubts))
        (warned("Before bolting on: ", &raised))
        (curves(prefix, sheet))
        div class="halves" {
            div { (pairs("Parts", &roles, MOST_ROLES)) (pairs("Derived, intervals of 95 %", &derived, MOST_FIGURES)) }
            div {
                (pairs("Settings", &lines(&sheet.settings), MOST_SETTINGS))
                (pairs("Run", &lines(&sheet.run), MOST_RUN))
                (pairs("Conditions", &lines(&sheet.conditions), MOST_CONDITIONS))
            }
        }
        (end(mark, sheet.pulls.iter().filter(|_| sheet.of == "pull").flat_map(|pull| &pull.raw).next().map(|raw| format!("{}, SHA-256 {}", shortened(&raw.file, SAID), raw.sha256))))
    }
}

/// What differed, on one page.
pub(super) fn difference(compared: &Compared, mark: &PageMark) -> Markup {
    let open: Vec<String> = compared
        .open
        .iter()
        .map(|open| {
            shortened(
                &format!("{} ({}): {}", open.title, crate::render::diff::side_words(open.side), open.because),
                2 * SAID,
            )
        })
        .collect();
    let derived: Vec<(String, String)> = compared
        .derived
        .iter()
        .filter_map(|line| Some((line.title.clone(), line.difference.as_ref()?.text.clone())))
        .collect();
    html! {
        header {
            p class="kicker" { "What differed: base " (plain(&compared.base)) ", test " (plain(&compared.test)) }
            h1 { (plain(&shortened(&compared.headline, SENTENCE))) }
        }
        main {
            (changes(&compared.changes))
            @if open.is_empty() { p { "No item that could differ is unknown on either side." } } @else {
                h2 { "Nobody knows" }
                (capped(&open, MOST_OPEN))
            }
            p {
                "The two share " (compared.common) " documented items. Of the " (compared.asked) " that could differ, " (compared.weak)
                " are only assumed or unknown."
            }
            (warned("Doubts recorded: ", &compared.doubts))
            @if compared.curves.is_some() {
                p class="note" { "One pull a side, values side by side, not weighed: a difference is not yet a gain." }
                div class="halves" {
                    (small_pair("torque", compared, &|row| (row.base_torque, row.test_torque)))
                    (small_pair("power", compared, &|row| (row.base_power, row.test_power)))
                }
                (coarse_pair(compared))
            }
            @if let Some(why) = &compared.no_curves { p { "No curves side by side: " (plain(&shortened(why, SENTENCE))) "." } }
            (pairs("Test less base, derived, intervals of 95 %", &derived, MOST_FIGURES))
            (end(mark, None))
        }
    }
}

/// What a reader must not miss, as far as a page has room for it.
fn warned(what: &str, lines: &[String]) -> Markup {
    html! {
        @if !lines.is_empty() {
            p class="unknown" { strong { (what) } (plain(&shortened(&lines.join("; "), SENTENCE))) }
        }
    }
}

fn changes(changes: &[ChangeLine]) -> Markup {
    let said = |side: Option<&SideLine>| side.map_or_else(|| "not said".to_owned(), side_words);
    html! {
        @if !changes.is_empty() {
            h2 { "What changed" }
            table {
                thead { tr { th scope="col" { "What" } th scope="col" { "Base" } th scope="col" { "Test" } } }
                tbody { @for line in changes.iter().take(MOST_CHANGES) {
                    tr class=[line.figure.then_some("figure")] {
                        th scope="row" { (plain(&shortened(&line.title, NAME))) }
                        td { (plain(&said(line.base.as_ref()))) }
                        td { (plain(&said(line.test.as_ref()))) }
                    }
                } }
            }
            (more(changes.len(), MOST_CHANGES))
        }
    }
}

fn side_words(side: &SideLine) -> String {
    let text = shortened(&side.text, SAID);
    match side.how {
        "said" | "channel" => text,
        how => format!("{text} ({how})"),
    }
}

fn said(line: &SheetLine) -> String {
    match (&line.gap, &line.said) {
        (Some(_), _) => "not documented".to_owned(),
        (None, Some(said)) => side_words(said),
        (None, None) => "not said".to_owned(),
    }
}

fn lines(lines: &[SheetLine]) -> Vec<(String, String)> {
    lines.iter().map(|line| (line.title.clone(), said(line))).collect()
}

/// Names and what is said of them, so many at most.
fn pairs(title: &str, pairs: &[(String, String)], most: usize) -> Markup {
    html! {
        @if !pairs.is_empty() {
            table {
                caption { (title) }
                tbody { @for (name, said) in pairs.iter().take(most) { tr {
                    th scope="row" { (plain(&shortened(name, NAME))) }
                    td { (plain(&shortened(said, SENTENCE / 2))) }
                } } }
            }
            (more(pairs.len(), most))
        }
    }
}

fn capped(lines: &[String], most: usize) -> Markup {
    html! { (list(&lines[..lines.len().min(most)])) (more(lines.len(), most)) }
}

fn more(count: usize, most: usize) -> Markup {
    html! { @if count > most { p class="note" { "and " (count - most) " more: the whole page has them" } } }
}

/// Torque and power, small and side by side, with a coarse table.
fn curves(prefix: &str, sheet: &SheetAnswer) -> Markup {
    let Some(curve) = &sheet.curve else {
        return html! { @if let Some(why) = &sheet.no_curve { p { "No curve: " (plain(&shortened(why, SENTENCE))) "." } } };
    };
    let one = |name: &'static str, unit: &str, of: &dyn Fn(&PullCurveRow) -> f64| {
        let points: Points = curve.rows.iter().map(|row| (f64::from(row.rpm), Some(of(row)))).collect();
        let title = format!("{name} over engine speed; the table below has figures");
        Plot::new(format!("{prefix}{name}"), title, format!("{name}, {unit}"))
            .line("one", name, points)
            .small()
            .draw(&|rpm| {
                let row = curve.rows.iter().find(|row| (f64::from(row.rpm) - rpm).abs() < 0.5);
                row.map_or_else(String::new, |row| format!("{} rpm: {:.1} {unit}", row.rpm, of(row)))
            })
    };
    let rows: Vec<&PullCurveRow> = curve.rows.iter().collect();
    let rows = coarse(&rows, |row| row.rpm);
    html! {
        div class="halves" {
            div { @if let Some(plot) = one("torque", &curve.torque_unit, &|row| row.torque) { (plot) } }
            div { @if let Some(plot) = one("power", &curve.power_unit, &|row| row.power) { (plot) } }
        }
        div class="columns" { table {
            thead { tr {
                th scope="col" class="number" { "rpm" } th scope="col" class="number" { (plain(&curve.torque_unit)) }
                th scope="col" class="number" { (plain(&curve.power_unit)) }
            } }
            tbody { @for row in rows { tr {
                th scope="row" class="number" { (row.rpm) } td class="number" { (format!("{:.1}", row.torque)) } td class="number" { (format!("{:.1}", row.power)) }
            } } }
        } }
    }
}

fn small_pair(name: &'static str, compared: &Compared, of: &dyn Fn(&CurveRow) -> Both) -> Markup {
    let Some(curves) = &compared.curves else { return html! {} };
    let unit = if name == "torque" { &curves.torque_unit } else { &curves.power_unit };
    let over = |test: bool| -> Points {
        curves.rows.iter().map(|row| (f64::from(row.rpm), if test { of(row).1 } else { of(row).0 })).collect()
    };
    let title =
        format!("{name} over engine speed, base solid with round marks, test dashed with square marks");
    let drawn = Plot::new(name, title, format!("{name}, {unit}"))
        .line("base", "base", over(false))
        .line("test", "test", over(true))
        .small()
        .draw(&|rpm| {
            let row = curves.rows.iter().find(|row| (f64::from(row.rpm) - rpm).abs() < 0.5);
            row.map_or_else(String::new, |row| {
                format!(
                    "{} rpm: base {} {unit}, test {} {unit}",
                    row.rpm,
                    cell(of(row).0, 1),
                    cell(of(row).1, 1)
                )
            })
        });
    html! { div { @if let Some(drawn) = drawn { (drawn) } } }
}

fn coarse_pair(compared: &Compared) -> Markup {
    let Some(curves) = &compared.curves else { return html! {} };
    let rows: Vec<&CurveRow> = curves.rows.iter().collect();
    let rows = coarse(&rows, |row| row.rpm);
    html! {
        div class="columns two" { table {
            thead { tr {
                th scope="col" class="number" { "rpm" }
                @for side in ["base", "test"] { th scope="col" class="number" { (side) ", " (plain(&curves.torque_unit)) } }
                @for side in ["base", "test"] { th scope="col" class="number" { (side) ", " (plain(&curves.power_unit)) } }
            } }
            tbody { @for row in rows { tr {
                th scope="row" class="number" { (row.rpm) }
                @for value in [row.base_torque, row.test_torque, row.base_power, row.test_power] { td class="number" { (cell(value, 1)) } }
            } } }
        } }
    }
}

/// The rows at round speeds, few enough for one page.
fn coarse<'a, T>(rows: &[&'a T], rpm: impl Fn(&T) -> u32) -> Vec<&'a T> {
    let mut step = COARSE_RPM;
    loop {
        let found: Vec<&T> = rows.iter().copied().filter(|row| rpm(row).is_multiple_of(step)).collect();
        if found.len() <= MOST_SPEEDS {
            return found;
        }
        step = step.saturating_mul(2);
    }
}

/// The cautions in small type, and where the sheet comes from.
fn end(mark: &PageMark, raw: Option<String>) -> Markup {
    html! {
        p class="small-print" { @for caution in CAUTIONS { (caution) " " } }
        p class="small-print" {
            @if let Some(raw) = raw { "Raw file: " (plain(&raw)) ". " }
            @if !mark.pending.is_empty() { strong { "Edits that are not kept would change this: " (plain(&shortened(&mark.pending.join(", "), SAID))) ". " } }
            "Commit " (mark.commit) "; SHA-256 of the answer shown: " (mark.sha256) "; " code { (plain(&shortened(&mark.command, SENTENCE))) }
        }
    }
}
