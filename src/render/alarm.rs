//! Rules between neighbouring parts, as text: what to see to before bolting on.

use crate::answer::AlarmLine;
use crate::render::Page;
use crate::render::page::Tone;

/// The rules that do not hold, those that hold by less than their figures may be off, and those that cannot be told.
pub(super) fn alarms(page: &mut Page, alarms: &[AlarmLine], with_sides: bool) {
    if !alarms.iter().any(|alarm| matches!(alarm.status, "trips" | "close" | "untold")) {
        return;
    }
    page.heading("Before bolting on");
    for alarm in alarms.iter().filter(|alarm| matches!(alarm.status, "trips" | "close")) {
        let side = if with_sides { format!("{}: ", alarm.side) } else { String::new() };
        let (tone, word) = match alarm.status {
            "trips" => (Tone::Bad, "ALARM"),
            _ => (Tone::Doubt, "CLOSE"),
        };
        page.line(2, tone, &format!("{word}, {side}{} ({})", alarm.says, alarm.pair));
        let more = format!("{}; {} ({})", alarm.figures_words(), alarm.limit, alarm.source);
        page.line(6, Tone::Plain, &more);
    }
    let untold: Vec<String> = alarms
        .iter()
        .filter(|alarm| alarm.status == "untold")
        .map(|alarm| {
            let missing =
                alarm.figures.iter().map(|figure| figure.item.as_str()).collect::<Vec<_>>().join(" and ");
            format!("{} (by {missing})", alarm.name.replace('-', " "))
        })
        .collect();
    if !untold.is_empty() {
        let mut told = untold;
        told.dedup();
        page.line(2, Tone::Faint, &format!("cannot be told, not documented: {}", told.join("; ")));
    }
}
