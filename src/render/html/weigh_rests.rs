//! What a weighing rests on, on its page: figures of both sides, what else differs as bars, scatter, every pull.

use maud::Markup;
use maud::html;

use super::interval::Drawn;
use super::interval::Shared;
use super::{list, plain, wide};
use crate::answer::BudgetLine;
use crate::answer::Weighed;
use crate::answer::WithInterval;
use crate::render::weigh;

/// Means and peaks of both sides.
pub(super) fn figures(weighed: &Weighed) -> Markup {
    let said = |number: Option<&WithInterval>, unit: &str, sign: bool| {
        let digits = if unit == "rpm" { 0 } else { 2 };
        number.map_or_else(
            || "cannot be told".to_owned(),
            |number| {
                let told = |value: f64| {
                    if sign { format!("{value:+.digits$}") } else { format!("{value:.digits$}") }
                };
                format!("{} ({} to {})", told(number.value), told(number.lower), told(number.upper))
            },
        )
    };
    html! {
        h2 { "Figures of both sides, each with its 95 % limits" }
        (wide("Figures of both sides", &html! {
            table {
                thead { tr {
                    th scope="col" { "Figure" } th scope="col" { "Base" } th scope="col" { "Test" } th scope="col" { "Test less base" }
                } }
                tbody { @for line in &weighed.figures { tr {
                    th scope="row" { (plain(&line.figure)) ", " (line.unit) }
                    @if let Some(why) = &line.why {
                        td colspan="3" { "not given: " (plain(why)) }
                    } @else {
                        td { (said(line.base.as_ref(), &line.unit, false)) }
                        td { (said(line.test.as_ref(), &line.unit, false)) }
                        td { (said(line.difference.as_ref(), &line.unit, true)) }
                    }
                } } }
            }
        }))
    }
}

/// The gain measured, and beside it what else differs, as bars on one axis.
pub(super) fn budget(weighed: &Weighed) -> Markup {
    let around = |(value, half): (f64, f64)| WithInterval { value, lower: value - half, upper: value + half };
    let mut shown = vec![weighed.difference];
    shown.extend(weighed.budget.iter().filter_map(|line| line.amount).map(around));
    let Some(axis) = Shared::over(&shown) else { return html! {} };
    let row = |line: &BudgetLine| {
        let amount = line.amount.map(around);
        let share = weighed.of_gain.iter().find(|share| line.of_subject && share.what == line.what);
        html! {
            tr {
                th scope="row" {
                    (plain(&line.what))
                    @if line.of_subject { br; span class="known" { "a consequence of the part under test: of the gain, not beside it" } }
                }
                td class="drawn" {
                    @if let Some(amount) = &amount {
                        (axis.draw(amount, Drawn::Estimated, &format!("{}: {}", line.what, weigh::interval(amount, weighed))))
                    } @else { "not estimated" }
                }
                td class="number" {
                    @if let Some((value, half)) = line.amount { (format!("{value:+.2} \u{b1}{half:.2}")) } @else { "-" }
                    @if let Some(share) = share.and_then(|share| share.of_gain) { br; span class="known" { (format!("{share:.0} % of the gain")) } }
                }
                td { span class="known" { (line.by) ": " (plain(&line.source)) } }
            }
        }
    };
    html! {
        h2 { "The gain, and what else differs; never taken off it" }
        @if weighed.budget.is_empty() { p { "Nothing else that differs is known to the book." } }
        (wide("The gain and what else differs", &html! {
            table class="together" {
                thead { tr {
                    th scope="col" { "What" } th scope="col" { "Effect with its 95 % interval" }
                    th scope="col" class="number" { (plain(&weighed.unit)) } th scope="col" { "How it is known" }
                } }
                tbody {
                    tr {
                        th scope="row" { "gain, measured" }
                        td class="drawn" { (axis.draw(&weighed.difference, Drawn::Measured, &format!("gain, measured: {}", weigh::interval(&weighed.difference, weighed)))) }
                        td class="number" { (format!("{:+.2}", weighed.difference.value)) br; span class="known" { (format!("{:+.2} to {:+.2}", weighed.difference.lower, weighed.difference.upper)) } }
                        td { span class="known" { "weighed from the raw files of " (weighed.pulls.0 + weighed.pulls.1) " pulls" } }
                    }
                    @for line in &weighed.budget { (row(line)) }
                    tr { td {} td class="drawn" { (axis.axis(&weighed.unit)) } td {} td {} }
                }
            }
        }))
    }
}

/// What the interval is made of.
pub(super) fn made_of(weighed: &Weighed) -> Markup {
    let mut lines = vec![format!(
        "{}; base {} in {}, test {} in {}; standard error {:.3} {} with {:.1} degrees of freedom",
        weighed.speaks_of,
        weigh::counted(weighed.pulls.0, "pull"),
        weigh::counted(weighed.fit_ups.0, "fit-up"),
        weigh::counted(weighed.pulls.1, "pull"),
        weigh::counted(weighed.fit_ups.1, "fit-up"),
        weighed.standard_error,
        weighed.unit,
        weighed.degrees_of_freedom
    )];
    lines.extend(
        weighed.drift.iter().map(|(session, drift)| weigh::drift_words(session, drift.as_ref(), weighed)),
    );
    lines.extend(weighed.first_pull.iter().map(|first| {
        format!("first pull of a session against the rest: {}", weigh::interval(first, weighed))
    }));
    lines.extend(weighed.misfit.clone());
    lines.push(format!(
        "instruments: what does not cancel between the sides is {:.3} {} (one standard uncertainty)",
        weighed.systematic, weighed.unit
    ));
    lines.push(weighed.inertia.clone());
    html! {
        h2 { "What the interval is made of" }
        (list(&lines))
        @if !weighed.scatter.is_empty() {
            (wide("Scatter", &html! {
                table {
                    caption { "Scatter by component, one standard deviation" }
                    thead { tr {
                        th scope="col" { "What scatters" } th scope="col" class="number" { (plain(&weighed.unit)) }
                        th scope="col" class="number" { "degrees of freedom" } th scope="col" { "From" }
                    } }
                    tbody { @for line in &weighed.scatter { tr {
                        th scope="row" { (line.what) }
                        td class="number" { (format!("{:.2}", line.standard_deviation)) }
                        td class="number" { (format!("{:.1}", line.degrees_of_freedom)) }
                        td {
                            details { summary { (weigh::counted(line.pulls.len(), "pull")) } (plain(&line.pulls.join(", "))) }
                            @if line.from_book > 0 { span class="known" { (line.from_book) " of them from other pulls of this engine in this cell" } }
                        }
                    } } }
                }
            }))
        }
        @if let Some(plan) = &weighed.plan { p { (plain(&crate::render::weigh_rests::plan_words(plan, &weighed.unit))) } }
    }
}

/// Every pull with its figure, the sweeps found in the logs, and what was left out.
pub(super) fn pulls(weighed: &Weighed) -> Markup {
    html! {
        h2 { "The pulls" }
        details {
            summary { "Every pull that the difference or its scatter was made from (" (weighed.rests.len()) ")" }
            (wide("Every pull", &html! {
                table {
                    thead { tr {
                        th scope="col" { "Pull" } th scope="col" { "Side" } th scope="col" { "Fit-up" } th scope="col" { "Session" }
                        th scope="col" class="number" { (plain(&weighed.figure)) ", " (plain(&weighed.unit)) }
                    } }
                    tbody { @for pull in &weighed.rests { tr {
                        th scope="row" { (plain(&pull.pull)) } td { (pull.side) } td { (plain(&pull.fit_up)) } td { (plain(&pull.session)) }
                        td class="number" { (format!("{:.2}", pull.value)) }
                    } } }
                }
            }))
        }
        details {
            summary { "Sweeps found in the logs: from load-on to release" }
            (wide("Sweeps", &html! {
                table {
                    thead { tr {
                        th scope="col" { "Pull" } th scope="col" class="number" { "from, rpm" } th scope="col" class="number" { "to, rpm" }
                        th scope="col" class="number" { "rows" } th scope="col" class="number" { "cut before" } th scope="col" class="number" { "cut after" }
                    } }
                    tbody { @for line in &weighed.sweeps { tr {
                        th scope="row" { (plain(&line.pull)) }
                        @for number in [u64::from(line.from), u64::from(line.to), line.rows, line.cut_before, line.cut_after] { td class="number" { (number) } }
                    } } }
                }
            }))
        }
        @if !weighed.excluded.is_empty() || weighed.unread > 0 {
            h3 { "Of these sessions, but not weighed" }
            ul {
                @for line in &weighed.excluded { li { (plain(&line.pull)) ": " (plain(&line.why)) } }
                @if weighed.unread > 0 { li { (weigh::counted(weighed.unread, "other pull")) " of this engine could not be read and says nothing of scatter" } }
            }
            (list(&weighed.chosen.iter().map(|line| crate::render::weigh_rests::chosen_words(line, &weighed.unit)).collect::<Vec<_>>()))
        }
    }
}
