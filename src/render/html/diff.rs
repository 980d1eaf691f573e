//! Two sides on a page: the answer in a sentence, what nobody knows, what changed, then curves.

use maud::Markup;
use maud::html;

use super::plot::Line;
use super::plot::Plot;
use super::{cautions, document, list, plain, side};
use crate::answer::BarredLine;
use crate::answer::ChangeLine;
use crate::answer::Compared;
use crate::answer::CurveRow;
use crate::answer::Curves;
use crate::answer::FigureLine;
use crate::render::derived::{barred_words, basis_inputs, basis_words};
use crate::render::diff::GROUPS;
use crate::render::diff::side_words;

/// A comparison that was not refused, as a page.
pub fn diff_page(compared: &Compared) -> String {
    let about = format!("{} against {}", compared.test, compared.base);
    let body = html! {
        header {
            p class="kicker" { "Base " (plain(&compared.base)) ", test " (plain(&compared.test)) ", at commit " span class="hash" { (compared.commit) } }
            h1 { (plain(&compared.headline)) }
        }
        main {
            (open(compared))
            (changes(compared))
            (shared(compared))
            @if let Some(curves) = &compared.curves { (self::curves(compared, curves)) }
            @if let Some(why) = &compared.no_curves { p { "No curves side by side: " (plain(why)) "." } }
            (derived(compared))
            (soft(compared))
            @if !compared.doubts.is_empty() {
                h2 { "Doubts recorded with the pulls" }
                (list(&compared.doubts))
            }
            (cautions())
        }
        footer { p { (plain(&compared.next)) "." } }
    };
    document(&format!("What differs: {about}"), &about, &compared.commit, &body)
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

fn changes(compared: &Compared) -> Markup {
    html! {
        @for (group, title) in GROUPS {
            @let lines: Vec<&ChangeLine> = compared.changes.iter().filter(|change| change.group == group).collect();
            @if !lines.is_empty() {
                h2 { (title) }
                div class="scroll" {
                    table {
                        thead { tr { th scope="col" { "What" } th scope="col" { "Base, " (plain(&compared.base)) } th scope="col" { "Test, " (plain(&compared.test)) } } }
                        tbody { @for line in lines { (change(line)) } }
                    }
                }
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

fn derived(compared: &Compared) -> Markup {
    let said = |figure: Option<&FigureLine>, barred: Option<&BarredLine>| match (figure, barred) {
        (Some(figure), _) => figure.interval.text.clone(),
        (None, Some(barred)) => format!("not derived: {}", barred_words(barred)),
        (None, None) => "not derived".to_owned(),
    };
    html! {
        @if !compared.derived.is_empty() {
            h2 { "Derived from the records, with intervals of 95 %" }
            div class="scroll" {
                table {
                    thead { tr { th scope="col" { "Figure" } th scope="col" { "Base" } th scope="col" { "Test" } th scope="col" { "Test less base" } } }
                    tbody {
                        @for line in &compared.derived {
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
            }
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
    let plot = |id: &str,
                name: &str,
                unit: &str,
                base: &dyn Fn(&CurveRow) -> Option<f64>,
                test: &dyn Fn(&CurveRow) -> Option<f64>| {
        let points = |of: &dyn Fn(&CurveRow) -> Option<f64>| {
            curves.rows.iter().map(|row| (f64::from(row.rpm), of(row))).collect()
        };
        let lines = vec![
            Line { side: "base", label: "base", points: points(base) },
            Line { side: "test", label: "test", points: points(test) },
        ];
        let title = format!(
            "{name} of {} (base, solid, round marks) and {} (test, dashed, square marks) over engine speed",
            compared.base, compared.test
        );
        Plot { id, title, y_label: format!("{name}, {unit}"), lines }.draw(&|rpm| {
            let row = curves.rows.iter().find(|row| (f64::from(row.rpm) - rpm).abs() < 0.5);
            let says = |value: Option<f64>| {
                value.map_or_else(|| "-".to_owned(), |value| format!("{value:.1} {unit}"))
            };
            row.map_or_else(String::new, |row| {
                format!("{rpm} rpm: base {}, test {}", says(base(row)), says(test(row)))
            })
        })
    };
    let cell = |value: Option<f64>| value.map_or_else(|| "-".to_owned(), |value| format!("{value:.1}"));
    html! {
        div class="together" {
        h2 { "Torque and power, " (plain(&carried)) }
        p class="note" { "Values side by side, not weighed: a difference here is not yet a gain." }
        @if let Some(plot) = plot("torque", "torque", &curves.torque_unit, &|row| row.base_torque, &|row| row.test_torque) { (plot) }
        }
        @if let Some(plot) = plot("power", "power", &curves.power_unit, &|row| row.base_power, &|row| row.test_power) { (plot) }
        details open {
            summary { "Each " (curves.step_rpm) " rpm as a table" }
            div class="scroll" {
                table {
                    thead {
                        tr { th scope="col" class="number" rowspan="2" { "rpm" } th scope="colgroup" colspan="2" { "torque, " (curves.torque_unit) } th scope="colgroup" colspan="2" { "power, " (curves.power_unit) } }
                        tr { @for _ in 0..2 { th scope="col" class="number" { "base" } th scope="col" class="number" { "test" } } }
                    }
                    tbody {
                        @for row in &curves.rows {
                            tr {
                                th scope="row" class="number" { (row.rpm) }
                                @for value in [row.base_torque, row.test_torque, row.base_power, row.test_power] { td class="number" { (cell(value)) } }
                            }
                        }
                    }
                }
            }
        }
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
