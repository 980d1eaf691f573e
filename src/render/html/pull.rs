//! The curve of one pull.

use maud::Markup;
use maud::html;

use super::plot::Plot;
use super::plot::Points;
use super::{plain, with_table};
use crate::answer::PullCurve;
use crate::answer::PullCurveRow;

/// Torque and power with their tables.
pub(super) fn curve(curve: &PullCurve) -> Markup {
    html! {
        h2 { "Torque and power, " (plain(&curve.correction)) }
        p class="note" {
            "One pull, not weighed, so without an interval; each point the mean of its rows within " (curve.step_rpm / 2) " rpm, nothing smoothed."
            @if let Some(factor) = curve.factor { " Brought there by the factor " (format!("{factor:.4}")) "." }
            @if curve.cut_rows > 0 { " " (curve.cut_rows) " rows outside the sweep (before load came on, after release) are left out." }
        }
        (one("torque", &curve.torque_unit, curve, &|row| row.torque))
        (one("power", &curve.power_unit, curve, &|row| row.power))
    }
}

fn one(name: &str, unit: &str, curve: &PullCurve, of: &dyn Fn(&PullCurveRow) -> f64) -> Markup {
    let points: Points = curve.rows.iter().map(|row| (f64::from(row.rpm), Some(of(row)))).collect();
    let title = format!("{name} over engine speed; the table below has the figures");
    let drawn = Plot::new(name, title, format!("{name}, {unit}")).line("one", name, points).draw(&|rpm| {
        let row = curve.rows.iter().find(|row| (f64::from(row.rpm) - rpm).abs() < 0.5);
        row.map_or_else(String::new, |row| format!("{} rpm: {:.1} {unit}", row.rpm, of(row)))
    });
    let table = html! {
        table {
            thead { tr {
                th scope="col" class="number" { "rpm" } th scope="col" class="number" { (name) ", " (unit) }
                th scope="col" class="number" { "rows" }
            } }
            tbody { @for row in &curve.rows { tr {
                th scope="row" class="number" { (row.rpm) } td class="number" { (format!("{:.1}", of(row))) }
                td class="number" { (row.rows) }
            } } }
        }
    };
    with_table(drawn, &format!("{name} each {} rpm as a table, {unit}", curve.step_rpm), &table)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn ten_thousand_rows_are_all_there_and_few_are_marked() {
        let rows =
            (0..10_000).map(|rpm| PullCurveRow { rpm, torque: f64::from(rpm), power: f64::NAN, rows: 1 });
        let curve = PullCurve {
            torque_unit: "N".to_owned(),
            power_unit: "W".to_owned(),
            step_rpm: 1,
            correction: "observed".to_owned(),
            factor: None,
            rows: rows.collect(),
            peak_torque: None,
            peak_power: None,
            cut_rows: 0,
        };
        let html = super::curve(&curve).into_string();
        assert_eq!(html.matches("<tr>").count(), 2 * 10_001, "both tables, each with its head");
        assert_eq!(html.matches("<svg").count(), 1, "a plot of nothing but NaN is left out");
        assert!(html.matches("<circle").count() <= 12);
        assert!(!html.contains("NaN L"), "no place of a path is NaN");
    }
}
