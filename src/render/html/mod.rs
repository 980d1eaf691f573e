//! Pages for the browser and for paper: one file each, with everything inside, readable without script.
//!
//! In: answers and a [`PageMark`]. Out: HTML. Whatever comes from a record is escaped by the template and stripped of
//! marks that would steer the reading direction.

mod booklet;
mod claim;
mod claim_standing;
mod combos;
mod diff;
mod flow;
mod form;
mod interval;
mod leaf;
mod plot;
mod pull;
mod refusal;
mod scale;
mod sheet;
mod trail;
mod weigh;
mod weigh_rests;

use maud::DOCTYPE;
use maud::Markup;
use maud::PreEscaped;
use maud::html;

pub use booklet::booklet_page;
pub use claim::claim_page;
pub use claim_standing::claim_standing_page;
pub use combos::combos_page;
pub use diff::diff_page;
pub use flow::flow_diff_page;
pub use flow::flow_sheet_page;
pub use form::form_page;
pub use refusal::refusal_page;
pub use sheet::sheet_page;
pub use trail::trail_page;
pub use weigh::weigh_page;

use crate::answer::Compared;
use crate::answer::PageMark;
use crate::answer::SheetAnswer;
use crate::answer::SideLine;
use crate::render::cautions::CAUTIONS;
use crate::render::cautions::TITLE;
use crate::render::page::clean;

const STYLE: &str = include_str!("style.css");
const SCRIPT: &str = include_str!("script.js");
/// Digits of a hash that the running head has room for; the foot has all.
const HEAD_DIGITS: usize = 16;

/// Text of a record as a page may show it.
fn plain(text: &str) -> String {
    clean(text)
}

/// A whole page: the answer as its heading, a line above it that says of what, then the body.
fn document(mark: &PageMark, headline: &str, kicker: &Markup, body: &Markup) -> String {
    whole(
        mark,
        &html! {
            header {
                p class="kicker" { (kicker) }
                h1 { (plain(headline)) }
                (version(mark))
            }
            main { (body) (cautions()) }
            (foot(mark))
        },
    )
}

/// A test on one page of paper.
pub fn sheet_leaf_page(sheet: &SheetAnswer, mark: &PageMark) -> String {
    let heading = html! { h1 { "Sheet of the " (sheet.of) " " (plain(&shortened(&sheet.name, 40))) } };
    whole(mark, &html! { main class="leaf" { (leaf::test(&heading, "", sheet, mark)) } })
}

/// What differed, on one page of paper.
pub fn diff_leaf_page(compared: &Compared, mark: &PageMark) -> String {
    whole(mark, &html! { div class="leaf" { (leaf::difference(compared, mark)) } })
}

/// A whole page around what stands between its running head and foot.
fn whole(mark: &PageMark, inside: &Markup) -> String {
    whole_with(mark, "", inside)
}

/// The same with further sheets of paper.
fn whole_with(mark: &PageMark, papers: &str, inside: &Markup) -> String {
    let page = html! {
        (DOCTYPE)
        html lang="en-GB" {
            head {
                meta charset="utf-8";
                meta name="viewport" content="width=device-width, initial-scale=1";
                meta name="color-scheme" content="light dark";
                title { (plain(&mark.about)) " - " (plain(&mark.book)) }
                style { (PreEscaped(STYLE)) (PreEscaped(paper("", mark))) (PreEscaped(papers)) }
            }
            body {
                (inside)
                script { (PreEscaped(SCRIPT)) }
            }
        }
    };
    format!("{}\n", page.into_string())
}

/// The sheets of paper that a page is printed on: a running head with book, record, revision and hash, and page n of m.
/// `name` is of the pages that elements with the same `page` property lie on; empty for all.
fn paper(name: &str, mark: &PageMark) -> String {
    let left = quoted(&format!("{} \u{b7} {}", shortened(&mark.book, 40), shortened(&mark.about, 60)));
    let hash = mark.sha256.get(..HEAD_DIGITS).unwrap_or(&mark.sha256);
    let right = quoted(&format!("commit {} \u{b7} SHA-256 {hash}\u{2026}", mark.commit));
    format!(
        "@page {name} {{ margin: 19mm 15mm 16mm; @top-left {{ content: {left}; }} @top-right {{ content: {right}; }} \
         @bottom-right {{ content: \"page \" counter(page) \" of \" counter(pages); }} }}"
    )
}

/// A text as a string of a style sheet.
fn quoted(text: &str) -> String {
    let mut quoted = String::from("\"");
    for c in plain(text).chars() {
        match c {
            '\\' | '"' | '<' | '\n' | '\r' => quoted.push_str(&format!("\\{:x} ", u32::from(c))),
            c => quoted.push(c),
        }
    }
    quoted.push('"');
    quoted
}

/// At most so many characters, the last a mark that more follows.
fn shortened(text: &str, most: usize) -> String {
    if text.chars().count() <= most {
        return text.to_owned();
    }
    let kept: String = text.chars().take(most.saturating_sub(1)).collect();
    format!("{kept}\u{2026}")
}

/// Edits that are not kept, where they would change what the page shows.
fn version(mark: &PageMark) -> Markup {
    html! {
        @if let Some(known) = &mark.known {
            p class="unknown" {
                "As known on " (plain(&known.on)) ": commit " span class="hash" { (known.commit) } " of " (plain(&known.committed)) "."
            }
        }
        @if !mark.pending.is_empty() {
            p class="unknown" {
                "Shown as kept at commit " span class="hash" { (mark.commit) } "; edits that are not kept would change it: "
                (plain(&mark.pending.join(", "))) "."
            }
        }
    }
}

/// Where a page comes from and how anybody gets the same again.
fn foot(mark: &PageMark) -> Markup {
    html! {
        footer {
            p {
                "From the book " (plain(&mark.book)) " at commit " span class="hash" { (mark.commit) } ". "
                "SHA-256 of the answer that this page shows: " span class="hash" { (mark.sha256) } "; "
                code { (plain(&mark.command)) } " gives the same answer at that commit."
            }
        }
    }
}

/// The usual cautions, on every page that may be carried to an engine.
fn cautions() -> Markup {
    html! {
        aside class="cautions" aria-labelledby="cautions" {
            h2 id="cautions" { (TITLE) }
            ul { @for caution in CAUTIONS { li { (caution) } } }
        }
    }
}

/// A part of the page that may be wider than the screen.
fn wide(label: &str, inside: &Markup) -> Markup {
    html! { section class="scroll" tabindex="0" aria-label=(plain(label)) { (inside) } }
}

/// A plot with the same figures as a table below it, kept on one sheet of paper.
fn with_table(plot: Option<Markup>, summary: &str, table: &Markup) -> Markup {
    html! {
        div class="plot-and-table" {
            @if let Some(plot) = plot { (plot) }
            details open {
                summary { (plain(summary)) }
                (wide(summary, &html! { div class="columns" { (table) } }))
            }
        }
    }
}

/// What one side says, with how it is known in brackets behind it.
fn side(said: Option<&SideLine>) -> Markup {
    let Some(said) = said else { return html! { span class="known" { "not said" } } };
    let mut known: Vec<String> = Vec::new();
    if !matches!(said.how, "said" | "unknown" | "channel") {
        let source = said.source.as_ref().map(|source| format!(": {source}")).unwrap_or_default();
        let with = said.with.as_ref().map(|with| format!(" with {with}")).unwrap_or_default();
        let by = said.by.as_ref().map(|by| format!(" by {by}")).unwrap_or_default();
        known.push(format!("{}{with}{by}{source}", said.how));
    }
    known.extend(said.taken.iter().map(|taken| taken.get(..10).unwrap_or(taken).to_owned()));
    known.extend(said.carried_over.then(|| "carried over from an earlier state".to_owned()));
    known.extend(said.afterwards.then(|| "measured afterwards".to_owned()));
    known.extend(said.corrected.iter().map(|because| format!("corrected: {because}")));
    html! {
        @if said.how == "unknown" { "unknown: " }
        (plain(&said.text))
        @if !known.is_empty() { " " span class="known" { "(" (plain(&known.join(", "))) ")" } }
    }
}

fn list(lines: &[String]) -> Markup {
    html! { ul { @for line in lines { li { (plain(line)) } } } }
}

/// A number of a table.
fn cell(value: Option<f64>, digits: usize) -> String {
    value
        .filter(|value| value.is_finite())
        .map_or_else(|| "-".to_owned(), |value| format!("{value:.digits$}"))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn no_name_ends_a_string_of_the_style_sheet() {
        assert_eq!(quoted("a\"b\\c</style>\nd"), r#""a\22 b\5c c\3c /style>\a d""#);
        assert_eq!(shortened("abcdef", 4), "abc\u{2026}");
        assert_eq!(shortened("äöü", 3), "äöü");
    }
}
