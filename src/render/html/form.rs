//! A form to be printed: numbered lines with room to write by hand.

use maud::Markup;
use maud::html;

use super::{cautions, foot, plain, whole_with};
use crate::answer::FormAnswer;
use crate::answer::FormLine;
use crate::answer::PageMark;
use crate::render::form::RULES;

/// Rows tall enough for a hand in gloves, and ruled where one writes.
const RULED: &str = "table.form { width: 100%; border-collapse: collapse; } table.form td, table.form th { \
    border-bottom: 1px solid currentColor; padding: 1.6mm 2mm; text-align: left; vertical-align: bottom; font-weight: normal; } \
    table.form td.no { width: 3em; text-align: right; } table.form td.write { width: 52%; } table.form tr { break-inside: avoid; } \
    table.form .known { display: block; }";

/// A form on paper.
pub fn form_page(answer: &FormAnswer, mark: &PageMark) -> String {
    let of = answer.of.as_ref().map(|of| format!(", filled in from {of}")).unwrap_or_default();
    let kicker = html! { "Form " strong { (plain(&answer.form)) } };
    let body = html! {
        @for note in &answer.notes { p { (plain(note)) } }
        @for section in &answer.sections {
            h2 { (plain(&section.title)) }
            table class="form" {
                thead { tr { th scope="col" { "No." } th scope="col" { "What" } th scope="col" { "Write here" } } }
                tbody { @for line in &section.lines { (row(line)) } }
            }
        }
        h2 { "How to fill it in" }
        ul { @for rule in RULES { li { (rule) } } li { code { (plain(&answer.next)) } } }
    };
    let inside = html! {
        header {
            p class="kicker" { (kicker) }
            h1 { (plain(&answer.title)) (plain(&of)) }
        }
        main { (body) (cautions()) }
        (foot(mark))
    };
    whole_with(mark, RULED, &inside)
}

fn row(line: &FormLine) -> Markup {
    html! {
        tr {
            td class="no" { (line.number) }
            th scope="row" {
                (plain(&line.label()))
                @if !line.words.is_empty() { span class="known" { "one of: " (plain(&line.words.join(", "))) } }
            }
            td class="write" { @if let Some(value) = &line.value { (plain(value)) } }
        }
    }
}
