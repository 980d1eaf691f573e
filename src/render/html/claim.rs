//! A claim as a page for a dossier: the text of it, with nothing that could run or fetch anything.

use maud::DOCTYPE;
use maud::html;

use crate::answer::ClaimAnswer;
use crate::render::claim_document;
use crate::render::page::clean;

/// What a browser may do with the page: show it.
const POLICY: &str = "default-src 'none'; style-src 'unsafe-inline'";
const STYLE: &str = "body{font:15px/1.45 sans-serif;margin:2em auto;max-width:54em;padding:0 1em}\
                     pre{font:13px/1.4 monospace;white-space:pre-wrap}@media print{body{margin:0}}";

/// The claim with its verdict and every figure, as one page without script.
pub fn claim_page(answer: &ClaimAnswer) -> String {
    let page = html! {
        (DOCTYPE)
        html lang="en" {
            head {
                meta charset="utf-8";
                meta http-equiv="Content-Security-Policy" content=(POLICY);
                title { (clean(&answer.claim)) }
                style { (maud::PreEscaped(STYLE)) }
            }
            body {
                h1 { (clean(&answer.says)) }
                p { (clean(&answer.verdict_says)) }
                pre { (claim_document(answer)) }
            }
        }
    };
    let mut text = page.into_string();
    text.push('\n');
    text
}
