//! A booklet: the one-page sheets of many tests, with contents and an index of parts that name pages.

use maud::Markup;
use maud::html;

use super::{cautions, leaf, paper, plain, shortened, whole_with, wide};
use crate::answer::Booklet;
use crate::answer::BookletTest;
use crate::answer::PageMark;

/// Rows of the contents that lie on one page of paper.
const ROWS: usize = 40;
/// Pages before the contents.
const FRONT: usize = 1;

/// A booklet as a page.
pub fn booklet_page(booklet: &Booklet, mark: &PageMark) -> String {
    let first = FRONT + booklet.tests.len().div_ceil(ROWS) + 1;
    let mut papers = String::new();
    for (index, test) in booklet.tests.iter().enumerate() {
        papers.push_str(&paper(&format!("t{index}"), &test.mark));
    }
    let days: Vec<&str> = booklet
        .tests
        .iter()
        .filter_map(|test| test.sheet.on.as_deref())
        .filter_map(|on| on.get(..10))
        .collect();
    let (from, to) = (days.iter().min(), days.iter().max());
    let inside = html! {
        header {
            p class="kicker" { "A booklet from the book " (plain(&mark.book)) ", at commit " span class="hash" { (mark.commit) } }
            h1 { (booklet.tests.len()) " tests" @if let (Some(from), Some(to)) = (from, to) { ", " (from) " to " (to) } }
        }
        main {
            p { "Asked for: " code { (plain(&booklet.asked.join(" "))) } ". " (set_aside(booklet)) }
            p { "Each test stands on one sheet of paper; what does not fit there is counted on it, and " code { "mulebook page PULL" } " has all." }
            (super::version(mark))
            p { "SHA-256 of the tests' own answers, one after the other: " span class="hash" { (mark.sha256) } "; " code { (plain(&mark.command)) } "." }
            (cautions())
            (contents(booklet, first))
            @for (index, test) in booklet.tests.iter().enumerate() { (one(index, test)) }
            (parts(booklet, first))
        }
    };
    whole_with(mark, &papers, &inside)
}

fn set_aside(booklet: &Booklet) -> String {
    let count = booklet
        .tests
        .iter()
        .filter(|test| test.sheet.pulls.iter().any(|pull| pull.outcome != "kept"))
        .count();
    match count {
        0 => "Every one was kept.".to_owned(),
        1 => "One of them was set aside and says why.".to_owned(),
        count => format!("{count} of them were set aside and say why."),
    }
}

/// The contents, so many rows to a sheet of paper that pages can be named.
fn contents(booklet: &Booklet, first: usize) -> Markup {
    html! {
        @for (sheet, tests) in booklet.tests.chunks(ROWS).enumerate() {
            div class="sheet-of-contents" {
                h2 { @if sheet == 0 { "Contents" } @else { "Contents, continued" } }
                (wide("Contents", &html! {
                    table {
                        thead { tr {
                            th scope="col" { "Test" } th scope="col" { "Day" } th scope="col" { "Build" } th scope="col" { "Highest torque" }
                            th scope="col" { "Highest power" } th scope="col" { "Outcome" } th scope="col" class="number" { "Page" }
                        } }
                        tbody { @for (row, test) in tests.iter().enumerate() {
                            @let at = sheet * ROWS + row;
                            tr {
                                th scope="row" { a href={ "#test-" (at) } { (plain(&shortened(&test.sheet.name, 24))) } }
                                td { (plain(test.sheet.on.as_deref().and_then(|on| on.get(..10)).unwrap_or("-"))) }
                                td { (plain(&shortened(test.sheet.build.as_deref().unwrap_or("-"), 24))) }
                                td { (peak(test, true)) }
                                td { (peak(test, false)) }
                                td { (plain(&shortened(test.sheet.pulls.first().map_or("-", |pull| pull.outcome.as_str()), 24))) }
                                td class="number" { (first + at) }
                            }
                        } }
                    }
                }))
            }
        }
    }
}

fn peak(test: &BookletTest, torque: bool) -> String {
    let Some(curve) = &test.sheet.curve else { return "-".to_owned() };
    let (peak, unit) =
        if torque { (curve.peak_torque, &curve.torque_unit) } else { (curve.peak_power, &curve.power_unit) };
    peak.map_or_else(|| "-".to_owned(), |peak| format!("{:.1} {unit} at {:.0}", peak.value, peak.rpm))
}

fn one(index: usize, test: &BookletTest) -> Markup {
    let heading = html! { h2 id={ "test-" (index) } { "Test " (index + 1) ": " (plain(&shortened(&test.sheet.name, 40))) } };
    html! {
        article class="leaf" style={ "page: t" (index) } aria-labelledby={ "test-" (index) } {
            (leaf::test(&heading, &format!("t{index}-"), &test.sheet, &test.mark))
        }
    }
}

/// Every part in its state, with the pages of its tests.
fn parts(booklet: &Booklet, first: usize) -> Markup {
    html! {
        div class="index" {
            h2 { "Index of parts" }
            (wide("Index of parts", &html! {
                table {
                    thead { tr { th scope="col" { "Part" } th scope="col" { "Kind" } th scope="col" { "Pages" } } }
                    tbody { @for part in &booklet.parts { tr {
                        th scope="row" { (plain(&part.part)) }
                        td { (plain(&part.kind)) }
                        td { @for (at, test) in part.tests.iter().enumerate() {
                            @if at > 0 { ", " }
                            a href={ "#test-" (test) } { (first + test) }
                        } }
                    } } }
                }
            }))
        }
    }
}
