//! Rules between neighbouring parts, as text: what to see to before bolting on.

use crate::answer::AlarmLine;
use crate::render::Page;
use crate::render::page::Tone;

/// What stands over them.
pub(super) const HEADING: &str = "Before bolting on";

/// The rules that do not hold, those that hold by less than their figures may be off, and those that cannot be told.
pub(super) fn alarms(page: &mut Page, alarms: &[AlarmLine], with_sides: bool) {
    let untold = untold_words(alarms);
    if untold.is_none() && !alarms.iter().any(is_raised) {
        return;
    }
    page.heading(HEADING);
    for alarm in alarms.iter().filter(|alarm| is_raised(alarm)) {
        let side = if with_sides { format!("{}: ", alarm.side) } else { String::new() };
        let (tone, word) = raised(alarm);
        page.line(2, tone, &format!("{word}, {side}{} ({})", alarm.says, alarm.pair));
        page.line(6, Tone::Plain, &figures_words(alarm));
    }
    if let Some(words) = untold {
        page.line(2, Tone::Faint, &words);
    }
}

/// A rule that does not hold, or holds by less than its figures may be off.
pub(super) fn is_raised(alarm: &AlarmLine) -> bool {
    matches!(alarm.status, "trips" | "close")
}

fn raised(alarm: &AlarmLine) -> (Tone, &'static str) {
    if alarm.status == "trips" { (Tone::Bad, "ALARM") } else { (Tone::Doubt, "CLOSE") }
}

fn figures_words(alarm: &AlarmLine) -> String {
    format!("{}; {} ({})", alarm.figures_words(), alarm.limit, alarm.source)
}

/// A raised rule in one line.
pub(super) fn words(alarm: &AlarmLine) -> String {
    format!("{}, {} ({}): {}", raised(alarm).1, alarm.says, alarm.pair, figures_words(alarm))
}

/// The rules that cannot be told, in a line; none where there are none.
pub(super) fn untold_words(alarms: &[AlarmLine]) -> Option<String> {
    let mut untold: Vec<String> = alarms
        .iter()
        .filter(|alarm| alarm.status == "untold")
        .map(|alarm| {
            let missing =
                alarm.figures.iter().map(|figure| figure.item.as_str()).collect::<Vec<_>>().join(" and ");
            format!("{} (by {missing})", alarm.name.replace('-', " "))
        })
        .collect();
    untold.dedup();
    (!untold.is_empty()).then(|| format!("cannot be told, not documented: {}", untold.join("; ")))
}
