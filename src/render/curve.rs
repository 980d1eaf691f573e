//! Torque and power of one pull, as a table and a small plot.

use crate::answer::Peak;
use crate::answer::PullCurve;
use crate::answer::PullCurveRow;
use crate::answer::SheetAnswer;
use crate::render::Page;
use crate::render::page::Tone;
use crate::render::plot_text;
use crate::render::plot_text::Row;

/// Distance of the rows that a terminal shows, rpm; the page and the JSON answer have them all.
const ROWS_EACH_RPM: u32 = 500;
/// With fewer of those all rows are shown.
const FEWEST_ROWS: usize = 3;

/// The curve of a sheet, or why it has none; nothing for a build.
pub(super) fn curve(page: &mut Page, answer: &SheetAnswer) {
    if let Some(why) = &answer.no_curve {
        page.heading("Torque and power");
        page.line(2, Tone::Doubt, &format!("no curve: {why}"));
    }
    let Some(curve) = &answer.curve else { return };
    page.heading(&format!("Torque and power, {}", curve.correction));
    if let Some(words) = peak_words(curve) {
        page.line(2, Tone::Plain, &words);
    }
    let power = format!("power, {}", curve.power_unit);
    let torque = format!("torque, {}", curve.torque_unit);
    page.verbatim(2, Tone::Plain, &format!("{:>7}  {torque:>12}  {power:>12}", "rpm"));
    let round = |row: &&PullCurveRow| row.rpm.is_multiple_of(ROWS_EACH_RPM);
    // A pull over a narrow range has none at a round speed.
    let all = curve.rows.iter().filter(round).count() < FEWEST_ROWS;
    for row in curve.rows.iter().filter(|row| all || round(row)) {
        page.verbatim(2, Tone::Plain, &format!("{:>7}  {:>12.1}  {:>12.1}", row.rpm, row.torque, row.power));
    }
    let over = |of: &dyn Fn(&PullCurveRow) -> f64| -> Vec<Row> {
        curve.rows.iter().map(|row| (f64::from(row.rpm), Some(of(row)), None)).collect()
    };
    plot_text::curves(page, &format!("{torque}, over rpm"), &over(&|row| row.torque));
    plot_text::curves(page, &format!("{power}, over rpm"), &over(&|row| row.power));
    let mut notes = format!(
        "one pull, not weighed, so without an interval; each row the mean within {} rpm of it, nothing smoothed",
        curve.step_rpm / 2
    );
    if let Some(factor) = curve.factor {
        notes.push_str(&format!("; brought there by the factor {factor:.4}"));
    }
    if curve.cut_rows > 0 {
        notes.push_str(&format!("; {} rows outside the sweep are left out", curve.cut_rows));
    }
    page.line(2, Tone::Faint, &notes);
}

/// Highest torque and power in a sentence; none where both lie at an end of the sweep.
pub(super) fn peak_words(curve: &PullCurve) -> Option<String> {
    let said = |name: &str, peak: Option<Peak>, unit: &str| {
        peak.map(|peak| format!("{name} {:.1} {unit} at {:.0} rpm", peak.value, peak.rpm))
    };
    let peaks: Vec<String> = [
        said("highest torque", curve.peak_torque, &curve.torque_unit),
        said("highest power", curve.peak_power, &curve.power_unit),
    ]
    .into_iter()
    .flatten()
    .collect();
    let words = peaks.join(", ");
    let mut letters = words.chars();
    let first = letters.next()?.to_uppercase();
    Some(format!("{first}{}, {}.", letters.as_str(), curve.correction))
}
