//! A weighing on a page: the verdict in a sentence, what changed, what nobody knows, then curves and numbers.

use maud::Markup;
use maud::html;

use super::plot::{Area, Plot, Points, Repeat, Stretch};
use super::{cell, diff, document, list, plain, weigh_rests, with_table};
use crate::answer::BandLine;
use crate::answer::LevelRow;
use crate::answer::PageMark;
use crate::answer::RepeatCurve;
use crate::answer::WeighCurves;
use crate::answer::Weighed;
use crate::answer::WeighedPage;
use crate::render::weigh::{crossing_words, difference_words, interval, range_words, speeds, verdict_words};

/// Two sides weighed, as a page.
pub fn weigh_page(page: &WeighedPage, mark: &PageMark) -> String {
    let weighed = &page.weighed;
    let kicker = html! {
        "Base " (plain(&weighed.base.join(", "))) "; test " (plain(&weighed.test.join(", "))) "; brought to "
        (plain(&weighed.correction)) "; at commit " span class="hash" { (weighed.commit) }
    };
    let body = html! {
        p class="answer" { (plain(&difference_words(weighed))) }
        @for words in crate::render::weigh::beside_words(weighed) { p { (plain(&words)) } }
        (changed(page))
        (not_known(weighed))
        (curves(&page.curves, weighed))
        (band(weighed))
        (weigh_rests::figures(weighed))
        (weigh_rests::budget(weighed))
        (weigh_rests::made_of(weighed))
        (weigh_rests::pulls(weighed))
    };
    document(mark, &format!("{}.", verdict_words(weighed).1), &kicker, &body)
}

fn changed(page: &WeighedPage) -> Markup {
    let weighed = &page.weighed;
    html! {
        h2 { "What changed" }
        @if let Some(subject) = &weighed.subject { p { "Under test: " strong { (plain(subject)) } "." } }
        @if let Some(changed) = &page.changed {
            p { "From " (plain(&changed.base)) " to " (plain(&changed.test)) ", the first pull of each side: " (plain(&changed.headline)) }
            (diff::changes(changed, 3))
        }
        @if let Some(tuning) = &weighed.tuning {
            p { "Claim: " (plain(&tuning.says)) "." }
            @if !tuning.differing.is_empty() {
                p { "Settings that differ: " (plain(&tuning.differing.join(", "))) "." }
            }
        }
    }
}

pub(super) fn not_known(weighed: &Weighed) -> Markup {
    let mut lines: Vec<String> = weighed.ruling.reasons.clone();
    lines.extend(weighed.unknowns.iter().map(crate::render::weigh_rests::unknown_words));
    lines.extend(weighed.unstated.clone());
    html! {
        h2 { "What is not known, the weightiest first" }
        @if lines.is_empty() {
            p { "Nothing holds the verdict back, and no item that could differ is unknown." }
        } @else {
            div class="unknown" { (list(&lines)) }
        }
        @if let Some(words) = crate::render::weigh::asked_words(weighed) { p { (words) } }
        p { "What would settle most: " (plain(&weighed.settles_most)) "." }
    }
}

fn curves(curves: &WeighCurves, weighed: &Weighed) -> Markup {
    let torque = |repeat: &RepeatCurve| repeat.torque.clone();
    let power = |repeat: &RepeatCurve| repeat.power.clone();
    let banded = curves.torque.iter().any(|row| row.scatter.is_some());
    html! {
        h2 { "Torque and power, brought to " (plain(&weighed.correction)) }
        p class="note" {
            "Thick: the level of each side at the mean place of all pulls, drift taken out. Thin: every single pull"
            @if banded {
                "; shaded: where 95 of 100 single pulls of a side are expected, by the scatter from pull to pull"
            } @else { "; no band: these pulls do not tell how single pulls scatter" }
            ". Base: solid, round marks. Test: dashed, square marks."
        }
        (levels("torque", &curves.torque_unit, &curves.torque, &curves.repeats, &torque))
        (levels("power", &curves.power_unit, &curves.power, &curves.repeats, &power))
    }
}

fn levels(
    name: &str,
    unit: &str,
    rows: &[LevelRow],
    repeats: &[RepeatCurve],
    of: &dyn Fn(&RepeatCurve) -> Vec<Option<f64>>,
) -> Markup {
    let over = |value: &dyn Fn(&LevelRow) -> Option<f64>| -> Points {
        rows.iter().map(|row| (f64::from(row.rpm), value(row))).collect()
    };
    let band = |side: &'static str, value: &dyn Fn(&LevelRow) -> Option<f64>| Area {
        side,
        points: rows
            .iter()
            .map(|row| {
                let edges = value(row).zip(row.scatter).map(|(level, half)| (level - half, level + half));
                (f64::from(row.rpm), edges)
            })
            .collect(),
    };
    let title = format!(
        "{name} of both sides over engine speed: base solid with round marks, test dashed with square marks, single \
         pulls thin behind; the table below has the figures"
    );
    let mut plot = Plot::new(name, title, format!("{name}, {unit}"))
        .line("base", "base", over(&|row| row.base))
        .line("test", "test", over(&|row| row.test));
    plot.areas = vec![band("base", &|row| row.base), band("test", &|row| row.test)];
    plot.repeats = repeats
        .iter()
        .map(|repeat| Repeat {
            side: repeat.side,
            name: &repeat.pull,
            points: rows.iter().map(|row| f64::from(row.rpm)).zip(of(repeat)).collect(),
        })
        .collect();
    let drawn = plot.draw(&|rpm| {
        let row = rows.iter().find(|row| (f64::from(row.rpm) - rpm).abs() < 0.5);
        row.map_or_else(String::new, |row| {
            let half = row.scatter.map(|half| format!(", single pulls \u{b1}{half:.1}")).unwrap_or_default();
            format!(
                "{} rpm: base {} {unit}, test {} {unit}{half}",
                row.rpm,
                cell(row.base, 1),
                cell(row.test, 1)
            )
        })
    });
    let table = html! {
        table {
            thead { tr {
                th scope="col" class="number" { "rpm" } th scope="col" class="number" { "base, " (unit) }
                th scope="col" class="number" { "test, " (unit) } th scope="col" class="number" { "95 of 100 single pulls, \u{b1}" (unit) }
            } }
            tbody { @for row in rows { tr {
                th scope="row" class="number" { (row.rpm) }
                @for value in [row.base, row.test, row.scatter] { td class="number" { (cell(value, 1)) } }
            } } }
        }
    };
    with_table(drawn, &format!("{name} at each speed as a table, {unit}"), &table)
}

/// The difference over speed with its interval, the zero line and where the test is ahead.
pub(super) fn band(weighed: &Weighed) -> Markup {
    let Some(band) = &weighed.band else { return html! {} };
    let limits = |row: &crate::answer::BandRow| row.together.unwrap_or((row.alone.lower, row.alone.upper));
    let title = format!(
        "test less base over engine speed, {}, with its 95 % limits and the zero line; in words: {}",
        weighed.unit,
        band.ranges.iter().map(|range| range_words(range, weighed)).collect::<Vec<_>>().join("; ")
    );
    let over = |row: &crate::answer::BandRow| (f64::from(row.rpm), Some(row.alone.value));
    let mut plot = Plot::new("gain", title, format!("test less base, {}", weighed.unit)).line(
        "one",
        "gain",
        band.rows.iter().map(over).collect(),
    );
    plot.zero = true;
    plot.areas = vec![Area {
        side: "one",
        points: band.rows.iter().map(|row| (f64::from(row.rpm), Some(limits(row)))).collect(),
    }];
    plot.ranges = band
        .ranges
        .iter()
        .map(|range| Stretch { from: f64::from(range.from), to: f64::from(range.to), word: range.standing })
        .collect();
    let drawn = plot.draw(&|rpm| {
        let row = band.rows.iter().find(|row| (f64::from(row.rpm) - rpm).abs() < 0.5);
        row.map_or_else(String::new, |row| {
            let (lower, upper) = limits(row);
            format!("{} rpm: {:+.2} {} ({lower:+.2} to {upper:+.2})", row.rpm, row.alone.value, weighed.unit)
        })
    });
    let basis = if band.simultaneous { "all speeds at once" } else { "each speed alone" };
    html! {
        h2 { "Test less base over speed" }
        (band_words(band, weighed))
        (with_table(drawn, &format!("The difference at each speed as a table, {}", weighed.unit), &html! {
            table {
                thead { tr {
                    @for head in ["rpm", "base", "test", "gain"] { th scope="col" class="number" { (head) } }
                    @for end in ["lower", "upper"] { th scope="col" class="number" { (end) " 95 %, " (basis) } }
                } }
                tbody { @for row in &band.rows {
                    @let (lower, upper) = limits(row);
                    tr {
                        th scope="row" class="number" { (row.rpm) }
                        @for level in [row.base, row.test] { td class="number" { (cell(level, 1)) } }
                        @for value in [row.alone.value, lower, upper] { td class="number" { (format!("{value:+.2}")) } }
                    }
                } }
            }
        }))
    }
}

fn band_words(band: &BandLine, weighed: &Weighed) -> Markup {
    let mut lines: Vec<String> = Vec::new();
    if band.simultaneous {
        lines.extend(band.ranges.iter().map(|range| range_words(range, weighed)));
        lines.push("The band holds at all speeds at once (95 %).".to_owned());
    } else {
        lines.push(format!(
            "Each speed stands alone: {:.1} degrees of freedom are too few for a band over all speeds, so no range is \
             called ahead or behind.",
            band.degrees_of_freedom
        ));
    }
    lines.extend(band.crossings.iter().map(|crossing| crossing_words(crossing, &band.rows)));
    lines.extend(
        weighed.smoothed.map(|width| format!("Every curve was smoothed over {width} rpm, as was asked.")),
    );
    if !weighed.left_out_speeds.is_empty() {
        lines.push(format!(
            "Empty in some pull and so left out of all: {} rpm.",
            speeds(&weighed.left_out_speeds)
        ));
    }
    html! {
        (list(&lines))
        @if let Some(mean) = weighed.band.as_ref().filter(|band| band.simultaneous && band.ranges.is_empty()) {
            p { "No range is told apart among " (mean.rows.len()) " speeds." }
        }
        p class="note" { "Over the whole window: " (plain(&interval(&weighed.difference, weighed))) "." }
    }
}
