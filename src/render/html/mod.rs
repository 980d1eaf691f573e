//! Pages for the browser and for paper: one file each, with everything inside, readable without script.
//!
//! In: answers. Out: HTML. Whatever comes from a record is escaped by the template and stripped of marks that would
//! steer the reading direction.

mod diff;
mod plot;
mod sheet;

use maud::DOCTYPE;
use maud::Markup;
use maud::PreEscaped;
use maud::html;

pub use diff::diff_page;
pub use sheet::sheet_page;

use crate::answer::SideLine;
use crate::render::cautions::CAUTIONS;
use crate::render::cautions::TITLE;
use crate::render::page::clean;

const STYLE: &str = include_str!("style.css");
const SCRIPT: &str = include_str!("script.js");

/// Text of a record as a page may show it.
fn plain(text: &str) -> String {
    clean(text)
}

/// A whole page; `about` stands in the running head with the commit.
fn document(title: &str, about: &str, commit: &str, body: &Markup) -> String {
    let running = format!("{} - commit {}", plain(about), plain(commit));
    // Inside a CSS string only these three need another form.
    let quoted = running.replace('\\', "\\\\").replace('"', "\\\"").replace('<', "\\3c ");
    let paper = format!(
        "@page {{ margin: 18mm 16mm; @top-left {{ content: \"{quoted}\"; font: 8pt serif; }} \
         @bottom-right {{ content: \"page \" counter(page) \" of \" counter(pages); font: 8pt serif; }} }}"
    );
    let page = html! {
        (DOCTYPE)
        html lang="en" {
            head {
                meta charset="utf-8";
                meta name="viewport" content="width=device-width, initial-scale=1";
                title { (plain(title)) }
                style { (PreEscaped(STYLE)) (PreEscaped(paper)) }
            }
            body {
                (body)
                script { (PreEscaped(SCRIPT)) }
            }
        }
    };
    format!("{}\n", page.into_string())
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
