//! A comparison that was refused, as a page: what is missing, and what closes each gap. No figure of both sides.

use maud::Markup;
use maud::html;

use super::{document, plain, wide};
use crate::answer::PageMark;
use crate::answer::Refused;
use crate::answer::RefusedPairs;
use crate::render::diff::side_words;

/// A refusal as a page.
pub fn refusal_page(refused: &Refused, mark: &PageMark) -> String {
    let kicker = html! {
        "Base " (plain(&refused.base)) ", test " (plain(&refused.test)) ", at commit " span class="hash" { (refused.commit) }
    };
    let body = html! {
        p { strong { "This page shows no curve and no difference: the comparison was refused." } }
        (why(refused))
    };
    document(mark, &refused.headline, &kicker, &body)
}

/// Why it was refused, what closes each gap, and what to do next.
pub(super) fn why(refused: &Refused) -> Markup {
    html! {
        @if let Some(across) = &refused.across {
            (shared(across))
        } @else {
            @if let Some((base, test)) = &refused.unlike_corrections {
                h2 { "Torque and power are not on one basis" }
                ul {
                    li { (plain(&refused.base)) ": " (plain(base)) }
                    li { (plain(&refused.test)) ": " (plain(test)) }
                    @for lack in &refused.lacks { li { (plain(&lack.words())) } }
                }
            }
            (gaps(refused))
        }
        @if !refused.gaps.is_empty() { p { "Document each, if only as unknown with a reason; then the comparison runs." } }
        p { "Next: " code { (plain(&refused.next)) } }
    }
}

/// What bars the pairs among many pulls, each thing once.
fn shared(across: &RefusedPairs) -> Markup {
    html! {
        @if !across.corrections.is_empty() {
            h2 { "Torque and power are not on one basis" }
            ul {
                @for line in across.correction_words() { li { (plain(&line)) } }
                @for lack in &across.lacks { li { (plain(&lack.words())) } }
            }
        }
        @if !across.gaps.is_empty() {
            h2 { "Not documented, though it could differ" }
            (wide("What is missing", &html! {
                table {
                    thead { tr {
                        th scope="col" { "What" } th scope="col" { "Why it counts as missing" } th scope="col" { "Which pulls and pairs" }
                        th scope="col" { "What closes it" }
                    } }
                    tbody { @for gap in &across.gaps { tr {
                        th scope="row" { (plain(&gap.title)) br; span class="known" { (plain(&gap.item)) } }
                        td { (plain(&gap.why)) }
                        td { (plain(&gap.says)) }
                        td { (closes(&gap.close)) }
                    } } }
                }
            }))
        }
    }
}

fn gaps(refused: &Refused) -> Markup {
    html! {
        @if !refused.gaps.is_empty() {
            h2 { "Not documented, though it could differ" }
            (wide("What is missing", &html! {
                table {
                    thead { tr { th scope="col" { "What" } th scope="col" { "Side" } th scope="col" { "Why it counts as missing" } th scope="col" { "What closes it" } } }
                    tbody {
                        @for gap in &refused.gaps {
                            tr {
                                th scope="row" { (plain(&gap.title)) br; span class="known" { (plain(&gap.item)) } }
                                td { (side_words(gap.side)) }
                                td {
                                    (plain(&gap.why))
                                    @if let Some(other) = &gap.other { br; span class="known" { "the other side says " (plain(other)) } }
                                }
                                td { (closes(&gap.close)) }
                            }
                        }
                    }
                }
            }))
        }
    }
}

fn closes(commands: &[String]) -> Markup {
    html! { @for close in commands { code { (plain(close)) } br; } }
}
