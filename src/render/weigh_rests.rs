//! What a weighing rests on, as text: scatter and its pulls, what else differs, what nobody knows, tuning, choices, plans.

use crate::answer::BudgetLine;
use crate::answer::ChosenLine;
use crate::answer::PlanChoice;
use crate::answer::PlanLine;
use crate::answer::Planned;
use crate::answer::SpreadLine;
use crate::answer::UnknownLine;
use crate::answer::Weighed;
use crate::render::Page;
use crate::render::page::Tone;
use crate::render::weigh::counted;

/// More pulls than this are counted, not named.
const NAMED: usize = 12;

pub(super) fn scatter(page: &mut Page, lines: &[SpreadLine], unit: &str) {
    for line in lines {
        let book = if line.from_book > 0 {
            format!(", {} of them from other pulls of this engine in this cell", line.from_book)
        } else {
            String::new()
        };
        let from =
            if line.pulls.len() > NAMED { counted(line.pulls.len(), "pull") } else { line.pulls.join(", ") };
        page.line(
            2,
            Tone::Plain,
            &format!(
                "{}: {:.2} {unit} ({:.1} degrees of freedom{book}); from {from}",
                line.what, line.standard_deviation, line.degrees_of_freedom
            ),
        );
    }
}

pub(super) fn tuning(page: &mut Page, weighed: &Weighed) {
    let Some(tuning) = &weighed.tuning else { return };
    page.line(0, Tone::Plain, &format!("Claim: {}.", tuning.says));
    if !tuning.differing.is_empty() {
        for (side, pulls) in [("base", &tuning.base), ("test side", &tuning.test)] {
            let pulls = if pulls.is_empty() { "none".to_owned() } else { pulls.join(", ") };
            page.line(2, Tone::Plain, &format!("tuning pulls of the {side}: {pulls}"));
        }
    }
}

pub(super) fn budget(page: &mut Page, weighed: &Weighed) {
    if !weighed.of_gain.is_empty() {
        page.heading("Of the gain, as consequences of the part under test");
        for line in &weighed.of_gain {
            let share = line.of_gain.map_or_else(
                || "the gain itself is not told from none".to_owned(),
                |share| format!("{share:.0} % of the gain"),
            );
            let of = weighed.budget.iter().find(|budget| budget.of_subject && budget.what == line.what);
            let words = of.map_or_else(|| line.what.clone(), |budget| budget_words(budget, &weighed.unit));
            page.line(2, Tone::Plain, &format!("{words}; {share}"));
        }
    }
    let beside: Vec<&BudgetLine> = weighed.budget.iter().filter(|line| !line.of_subject).collect();
    if !beside.is_empty() {
        page.heading("What else differs; never taken off the gain");
        for line in beside {
            page.line(2, Tone::Plain, &budget_words(line, &weighed.unit));
        }
    }
    if !weighed.unknowns.is_empty() {
        page.heading("What nobody knows");
        for line in &weighed.unknowns {
            page.line(2, Tone::Doubt, &unknown_words(line));
        }
    }
    page.line(0, Tone::Plain, &format!("What would settle most: {}.", weighed.settles_most));
}

fn budget_words(line: &BudgetLine, unit: &str) -> String {
    match (line.percent, line.amount) {
        (Some((percent, half)), Some((amount, amount_half))) => format!(
            "{}: about {percent:+.2} ±{half:.2} %, {amount:+.2} ±{amount_half:.2} {unit} ({})",
            line.what, line.source
        ),
        _ => format!("{}: not estimated; {}", line.what, line.source),
    }
}

pub(super) fn unknown_words(line: &UnknownLine) -> String {
    let range = line.percent.map_or_else(
        || "no sound model says how much it moves".to_owned(),
        |(least, most)| format!("its plausible values move the figure by {least:+.2} to {most:+.2} %"),
    );
    let end = if line.could_cancel { "could cancel the gain" } else { "cannot cancel the gain" };
    format!("{} ({}): {range}; it {end}. Why: {}", line.what, line.side, line.because)
}

pub(super) fn chosen(page: &mut Page, weighed: &Weighed) {
    for line in &weighed.chosen {
        page.line(2, Tone::Doubt, &chosen_words(line, &weighed.unit));
    }
}

pub(super) fn chosen_words(line: &ChosenLine, unit: &str) -> String {
    let bias = line.bias.map_or_else(
        || "neither the best nor the worst of them".to_owned(),
        |bias| {
            format!("chosen so, noise alone moves this side's mean by about {bias:+.2} {unit}, and the gain with it")
        },
    );
    format!(
        "{}: {} were weighed ({}), without {}: {bias}",
        line.side,
        line.says,
        line.named.join(", "),
        line.unnamed.join(", ")
    )
}

pub(super) fn plan(page: &mut Page, plan: &PlanLine, unit: &str) {
    page.heading(&plan_title(plan, unit));
    page.line(2, Tone::Plain, &plan_body(plan, unit));
    for choice in &plan.others {
        page.line(2, Tone::Plain, &choice_words(plan, choice, unit));
    }
    page.line(2, Tone::Faint, &plan.says);
}

/// A plan in one paragraph.
pub(super) fn plan_words(plan: &PlanLine, unit: &str) -> String {
    let others: String =
        plan.others.iter().map(|choice| format!("; {}", choice_words(plan, choice, unit))).collect();
    format!("{}: {}{others}; {}.", plan_title(plan, unit), plan_body(plan, unit), plan.says)
}

/// A plan with more refits and fewer pulls than the first.
fn choice_words(plan: &PlanLine, choice: &PlanChoice, unit: &str) -> String {
    let first = plan.fit_ups.zip(plan.pulls).map_or(0, |(fit_ups, pulls)| 2 * fit_ups * pulls);
    format!(
        "or {} fit-ups a side with {} each, by turns as above: {} in all instead of {first}, about ±{:.2} {unit}, power {:.0} %",
        choice.fit_ups,
        counted(choice.pulls, "pull"),
        counted(choice.all_pulls, "pull"),
        choice.half_width,
        100.0 * choice.power
    )
}

fn plan_title(plan: &PlanLine, unit: &str) -> String {
    format!("To show a gain of {:.2} {unit} with 80 % power", plan.detect)
}

fn plan_body(plan: &PlanLine, unit: &str) -> String {
    match (plan.fit_ups, plan.pulls, plan.half_width, plan.power) {
        (Some(fit_ups), Some(pulls), Some(half), Some(power)) => format!(
            "{fit_ups} fit-ups a side with {} each, in the order {}; the interval would be about ±{half:.2} {unit}, \
             the power {:.0} %",
            counted(pulls, "pull"),
            plan.order.join(", "),
            100.0 * power
        ),
        _ => "twelve fit-ups a side would not do: lower the scatter first".to_owned(),
    }
}

pub(super) fn planned(page: &mut Page, planned: &Planned) {
    page.line(
        0,
        Tone::Faint,
        &format!(
            "{} in {}: {} is {:.1} {} on average, brought to {}, at commit {}",
            planned.engine,
            planned.cell,
            planned.figure,
            planned.mean,
            planned.unit,
            planned.correction,
            planned.commit
        ),
    );
    page.heading("The noise that this engine has shown in this cell");
    scatter(page, &planned.scatter, &planned.unit);
    plan(page, &planned.plan, &planned.unit);
    if planned.unread > 0 {
        page.line(
            2,
            Tone::Doubt,
            &format!("{} could not be read and says nothing", counted(planned.unread, "pull")),
        );
    }
    page.line(0, Tone::Plain, "Next: run it in that order, every change a refit, and weigh both sides.");
}
