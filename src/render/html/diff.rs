//! Two sides on a page: the answer in a sentence, what nobody knows, what changed, then curves.

use maud::Markup;
use maud::html;

use super::plot::Plot;
use super::plot::Points;
use super::{cell, document, list, plain, side, wide, with_table};
use crate::answer::BarredLine;
use crate::answer::ChangeLine;
use crate::answer::Compared;
use crate::answer::CurveRow;
use crate::answer::Curves;
use crate::answer::DerivedLine;
use crate::answer::FigureLine;
use crate::answer::PageMark;
use crate::render::derived::{barred_words, basis_inputs, basis_words};
use crate::render::diff::GROUPS;
use crate::render::diff::side_words;

/// A figure of base and test.
pub(super) type Both = (Option<f64>, Option<f64>);

/// A comparison that was not refused, as a page.
pub fn diff_page(compared: &Compared, mark: &PageMark) -> String {
    let kicker = html! {
        "Base " (plain(&compared.base)) ", test " (plain(&compared.test)) ", at commit " span class="hash" { (compared.commit) }
    };
    let body = html! {
        (changes(compared, 2))
        (open(compared))
        (shared(compared))
        (soft(compared))
        @if !compared.doubts.is_empty() {
            h2 { "Doubts recorded with the pulls" }
            (list(&compared.doubts))
        }
        @if let Some(curves) = &compared.curves { (self::curves(compared, curves)) }
        @if let Some(why) = &compared.no_curves { p { "No curves side by side: " (plain(why)) "." } }
        (derived_lines(&compared.derived))
        (wear(compared))
        p { (plain(&compared.next)) "." }
    };
    document(mark, &compared.headline, &kicker, &body)
}

fn open(compared: &Compared) -> Markup {
    html! {
        @if !compared.open.is_empty() {
            h2 { "Nobody knows" }
            div class="unknown" {
                ul {
                    @for open in &compared.open {
                        li {
                            (plain(&open.title)) " (" (side_words(open.side)) "): " (plain(&open.because))
                            @if let Some(other) = &open.other { "; the other side says " (plain(other)) }
                        }
                    }
                }
            }
        }
    }
}

/// What changed, by group, under headings of a level.
pub(super) fn changes(compared: &Compared, level: u8) -> Markup {
    html! {
        @for (group, title) in GROUPS {
            @let lines: Vec<&ChangeLine> = compared.changes.iter().filter(|change| change.group == group).collect();
            @if !lines.is_empty() {
                @if level == 2 { h2 { "What changed: " (title.to_lowercase()) } } @else { h3 { (title) } }
                (wide(title, &html! {
                    table {
                        thead { tr { th scope="col" { "What" } th scope="col" { "Base, " (plain(&compared.base)) } th scope="col" { "Test, " (plain(&compared.test)) } } }
                        tbody { @for line in lines { (change(line)) } }
                    }
                }))
            }
        }
    }
}

/// How much the parts have run.
fn wear(compared: &Compared) -> Markup {
    let said = |pulls: Option<u32>, seconds: Option<f64>| match pulls {
        None => "not on".to_owned(),
        Some(pulls) => match seconds.filter(|seconds| *seconds > 0.0) {
            Some(seconds) => format!("{pulls} ({:.1} min logged)", seconds / 60.0),
            None => pulls.to_string(),
        },
    };
    html! {
        @if !compared.wear.is_empty() {
            h2 { "Run since their state began" }
            details {
                summary { "Pulls of each part, this one included" }
                (wide("Pulls of each part", &html! {
                    table {
                        thead { tr { th scope="col" { "Part" } th scope="col" { "Base" } th scope="col" { "Test" } } }
                        tbody { @for line in &compared.wear { tr {
                            th scope="row" { (plain(&line.part)) }
                            td { (said(line.base_pulls, line.base_seconds)) }
                            td { (said(line.test_pulls, line.test_seconds)) }
                        } } }
                    }
                }))
            }
        }
    }
}

fn change(line: &ChangeLine) -> Markup {
    html! {
        tr class=[line.figure.then_some("figure")] {
            th scope="row" {
                (plain(&line.title))
                @if line.equal_within { " " span class="known" { "(equal within uncertainty)" } }
                @if line.same_value { " " span class="known" { "(same value, known differently)" } }
            }
            td { (side(line.base.as_ref())) }
            td { (side(line.test.as_ref())) }
        }
    }
}

/// What follows from the records of both.
pub(super) fn derived_lines(derived: &[DerivedLine]) -> Markup {
    let said = |figure: Option<&FigureLine>, barred: Option<&BarredLine>| match (figure, barred) {
        (Some(figure), _) => figure.interval.text.clone(),
        (None, Some(barred)) => format!("not derived: {}", barred_words(barred)),
        (None, None) => "not derived".to_owned(),
    };
    html! {
        @if !derived.is_empty() {
            h2 { "Derived from the records, with intervals of 95 %" }
            (wide("Derived figures", &html! {
                table {
                    thead { tr { th scope="col" { "Figure" } th scope="col" { "Base" } th scope="col" { "Test" } th scope="col" { "Test less base" } } }
                    tbody {
                        @for line in derived {
                            tr {
                                th scope="row" { (plain(&line.title)) }
                                td { (plain(&said(line.base.as_ref(), line.base_barred.as_ref()))) }
                                td { (plain(&said(line.test.as_ref(), line.test_barred.as_ref()))) }
                                td {
                                    @if let Some(difference) = &line.difference { (plain(&difference.text)) }
                                    @for moved in &line.moved_by {
                                        br;
                                        span class="known" { (plain(&moved.item)) " moves it by " (plain(&moved.text)) }
                                    }
                                }
                            }
                        }
                    }
                }
            }))
        }
    }
}

fn shared(compared: &Compared) -> Markup {
    html! {
        h2 { "What they share" }
        p { "The two share " (compared.common) " documented items." }
        @if compared.asked > 0 {
            p { "Of the " (compared.asked) " items that could differ, " (compared.weak) " are only assumed or unknown." }
        }
        @if !compared.common_gaps.is_empty() {
            p { "Missing on both alike, so no explanation of a difference: " (plain(&compared.common_gaps.join(", "))) "." }
        }
    }
}

fn soft(compared: &Compared) -> Markup {
    html! {
        @if !compared.soft.is_empty() {
            h2 { "Only listed, assumed or calculated" }
            ul {
                @for soft in &compared.soft {
                    li {
                        (plain(&soft.item)) ", " (side_words(soft.side)) ": " (soft.how) " " (plain(&soft.text))
                        @if let Some(source) = &soft.source { " (" (plain(source)) ")" }
                    }
                }
            }
        }
    }
}

fn curves(compared: &Compared, curves: &Curves) -> Markup {
    let carried = if curves.brought.is_empty() {
        format!("as both files carry them: {}", curves.correction)
    } else {
        format!("both brought to {}", curves.correction)
    };
    html! {
        h2 { "Torque and power, " (plain(&carried)) }
        p class="note" {
            "One pull a side, values side by side, not weighed: how single pulls scatter is not known here, and a difference is not yet a gain."
        }
        (pair("torque", &curves.torque_unit, compared, &|row| (row.base_torque, row.test_torque)))
        (pair("power", &curves.power_unit, compared, &|row| (row.base_power, row.test_power)))
        @for basis in &curves.brought {
            p class="note" {
                (plain(&basis_words(basis)))
                @if let Some(inputs) = basis_inputs(basis) { ", " (plain(&inputs)) }
                @for more in basis.beyond.iter().chain(&basis.notes) { "; " (plain(more)) }
            }
        }
        @for cut in &curves.cut { p class="note" { (plain(cut)) } }
    }
}

/// One quantity of both sides: the curves, the difference, and the same as a table.
fn pair(name: &str, unit: &str, compared: &Compared, of: &dyn Fn(&CurveRow) -> Both) -> Markup {
    let rows = compared.curves.as_ref().map(|curves| curves.rows.as_slice()).unwrap_or_default();
    let over = |value: &dyn Fn(&CurveRow) -> Option<f64>| -> Points {
        rows.iter().map(|row| (f64::from(row.rpm), value(row))).collect()
    };
    let less = |row: &CurveRow| of(row).0.zip(of(row).1).map(|(base, test)| test - base);
    let title = format!(
        "{name} of {} (base, solid, round marks) and {} (test, dashed, square marks) over engine speed",
        compared.base, compared.test
    );
    let at = |rpm: f64| rows.iter().find(move |row| (f64::from(row.rpm) - rpm).abs() < 0.5);
    let drawn = Plot::new(name, title, format!("{name}, {unit}"))
        .line("base", "base", over(&|row| of(row).0))
        .line("test", "test", over(&|row| of(row).1))
        .draw(&|rpm| {
            at(rpm).map_or_else(String::new, |row| {
                let (base, test) = of(row);
                format!("{} rpm: base {} {unit}, test {} {unit}", row.rpm, cell(base, 1), cell(test, 1))
            })
        });
    let table = html! {
        table {
            thead { tr { @for head in ["rpm", "base", "test", "test less base"] { th scope="col" class="number" { (head) } } } }
            tbody { @for row in rows { tr {
                th scope="row" class="number" { (row.rpm) }
                @for value in [of(row).0, of(row).1] { td class="number" { (cell(value, 1)) } }
                td class="number" { (less(row).map_or_else(|| "-".to_owned(), |less| format!("{less:+.1}"))) }
            } } }
        }
    };
    with_table(drawn, &format!("{name} at each speed as a table, {unit}"), &table)
}
