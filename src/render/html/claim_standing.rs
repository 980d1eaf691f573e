//! A claim on a page: the claim, the verdict in a sentence, how the two lie in time, then the weighing.

use maud::Markup;
use maud::html;

use super::{document, list, plain, refusal, weigh, weigh_rests, wide};
use crate::answer::ClaimAnswer;
use crate::answer::PageMark;
use crate::answer::WeighAnswer;
use crate::answer::Weighed;
use crate::render::weigh::difference_words;

/// A claim with its standing and verdict, as a page.
pub fn claim_standing_page(answer: &ClaimAnswer, mark: &PageMark) -> String {
    let made_to = answer.made_to.as_ref().map(|to| format!(", for {to}")).unwrap_or_default();
    let kicker = html! {
        "Claim " (plain(&answer.claim)) ", stated by " (plain(&answer.by)) " on " (plain(&answer.on)) (plain(&made_to))
        ", at commit " span class="hash" { (answer.commit) }
    };
    let mut held: Vec<String> = answer.outside.clone();
    held.extend(answer.reasons.clone());
    let body = html! {
        p class="answer" { strong { (plain(&answer.verdict_says)) } }
        @if let Some(WeighAnswer::Weighed(weighed)) = &answer.weighing { p { (plain(&difference_words(weighed))) } }
        @if let Some(withdrawn) = &answer.withdrawn {
            p class="unknown" { "Taken back by " (plain(&withdrawn.by)) " on " (plain(&withdrawn.on)) ": " (plain(&withdrawn.because)) }
        }
        @if let Some(note) = &answer.note { p { (plain(note)) } }
        h2 { "What is claimed" }
        (terms(answer))
        @if !held.is_empty() {
            h2 { "What holds it back" }
            div class="unknown" { (list(&held)) }
        } @else if answer.is_shown() {
            h2 { "What holds it back" }
            p { "Nothing that the book knows of." }
        }
        h2 { "Written when" }
        (timing(answer))
        @match &answer.weighing {
            Some(WeighAnswer::Weighed(weighed)) => (weighing(weighed)),
            Some(WeighAnswer::Refused(refused)) => {
                h2 { "The comparison is refused" }
                p { (plain(&refused.headline)) }
                (refusal::why(refused))
            },
            _ => p { "No pulls were weighed yet." },
        }
    };
    document(mark, &answer.says, &kicker, &body)
}

fn terms(answer: &ClaimAnswer) -> Markup {
    html! {
        (wide("What is claimed", &html! {
            table {
                thead { tr { th scope="col" { "Term" } th scope="col" { "Claimed" } } }
                tbody { @for term in &answer.terms { tr {
                    th scope="row" { (term.name) }
                    td {
                        (plain(&term.says))
                        @if let Some(first) = &term.first { br; span class="known" { "claimed at first: " (plain(first)) } }
                    }
                } } }
            }
        }))
        @if !answer.corrected.is_empty() {
            h3 { "Changed since" }
            ul { @for mended in &answer.corrected { li {
                (plain(&mended.set)) ": " (plain(&mended.was)) " became " (plain(&mended.to)) ", by " (plain(&mended.by)) " on "
                (plain(&mended.on)) ": " (plain(&mended.because))
            } } }
        }
    }
}

fn timing(answer: &ClaimAnswer) -> Markup {
    let timing = &answer.timing;
    html! {
        p { (plain(&timing.says)) "." }
        @if !timing.changed_afterwards.is_empty() { p class="unknown" { "Changed once pulls were in the book: " (plain(&timing.changed_afterwards.join(", "))) "." } }
        @if !timing.altered.is_empty() { p class="unknown" { "Altered in the record itself: " (plain(&timing.altered.join(", "))) "." } }
        details {
            summary { "Every version (" (timing.versions.len()) ")" }
            (wide("Every version", &html! {
                table {
                    thead { tr {
                        th scope="col" { "Commit" } th scope="col" { "When" } th scope="col" { "By" } th scope="col" class="number" { "Pulls there" } th scope="col" { "Says" }
                    } }
                    tbody { @for version in &timing.versions { tr {
                        th scope="row" { span class="hash" { (version.commit) } } td { (plain(&version.on)) } td { (plain(&version.by)) }
                        td class="number" { (version.pulls_there) } td { (plain(&version.says)) }
                    } } }
                }
            }))
        }
    }
}

fn weighing(weighed: &Weighed) -> Markup {
    html! {
        (weigh::not_known(weighed))
        (weigh::band(weighed))
        (weigh_rests::figures(weighed))
        (weigh_rests::budget(weighed))
        (weigh_rests::made_of(weighed))
        (weigh_rests::pulls(weighed))
    }
}
