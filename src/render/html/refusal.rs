//! A comparison that was refused, as a page: what is missing, and what closes each gap. No figure of both sides.

use maud::Markup;
use maud::html;

use super::{document, plain};
use crate::answer::PageMark;
use crate::answer::Refused;
use crate::render::diff::side_words;

/// A refusal as a page.
pub fn refusal_page(refused: &Refused, mark: &PageMark) -> String {
    let kicker = html! {
        "Base " (plain(&refused.base)) ", test " (plain(&refused.test)) ", at commit " span class="hash" { (refused.commit) }
    };
    let body = html! {
        p { strong { "This page shows no curve and no difference: the comparison was refused." } }
        @if let Some(across) = &refused.across {
            h2 { "What bars the pairs" }
            ul {
                @for lack in &across.lacks { li { (plain(&lack.words())) } }
                @for gap in &across.gaps {
                    li { (plain(&gap.title)) " (" (plain(&gap.item)) "): " (plain(&gap.why)) "; " (plain(&gap.says)) }
                }
            }
            p { "The pair that lacks the most is " (plain(&refused.base)) " and " (plain(&refused.test)) ":" }
        }
        @if let Some((base, test)) = &refused.unlike_corrections {
            h2 { "Torque and power are not on one basis" }
            ul {
                li { (plain(&refused.base)) ": " (plain(base)) }
                li { (plain(&refused.test)) ": " (plain(test)) }
                @for lack in &refused.lacks { li { (plain(&lack.words())) } }
            }
        }
        (gaps(refused))
        p { "Next: " code { (plain(&refused.next)) } }
    };
    document(mark, &refused.headline, &kicker, &body)
}

/// What is missing, and what closes each.
pub(super) fn gaps(refused: &Refused) -> Markup {
    html! {
        @if !refused.gaps.is_empty() {
            h2 { "Not documented, though it could differ" }
            (super::wide("What is missing", &html! {
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
                                td { @for close in &gap.close { code { (plain(close)) } br; } }
                            }
                        }
                    }
                }
            }))
            p { "Document each, if only as unknown with a reason; then the comparison runs." }
        }
    }
}
