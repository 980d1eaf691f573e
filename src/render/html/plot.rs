//! Lines over engine speed as SVG: labels at the lines, units at the axes, round ticks.
//!
//! Two sides differ by dash and marker as well as by colour, so that grey paper and any eye tell them apart.

use maud::Markup;
use maud::PreEscaped;
use maud::html;

use super::plain;

const WIDTH: f64 = 720.0;
const HEIGHT: f64 = 346.0;
const LEFT: f64 = 56.0;
const RIGHT: f64 = 92.0;
const TOP: f64 = 34.0;
const BOTTOM: f64 = 44.0;
/// About as many ticks as are wanted on an axis.
const TICKS: f64 = 6.0;
/// Labels nearer than this would lie over each other.
const LABEL_GAP: f64 = 16.0;

/// One line of a plot.
pub(super) struct Line<'a> {
    /// `base` or `test`.
    pub(super) side: &'static str,
    /// What stands at its end.
    pub(super) label: &'a str,
    /// Its points in order of speed; a speed without a value breaks the line.
    pub(super) points: Vec<(f64, Option<f64>)>,
}

/// A plot of lines over speed.
pub(super) struct Plot<'a> {
    /// Distinguishes it from the other plots of its page.
    pub(super) id: &'a str,
    /// What it shows, for those who do not see it.
    pub(super) title: String,
    pub(super) y_label: String,
    pub(super) lines: Vec<Line<'a>>,
}

/// A straight way from values to places.
#[derive(Clone, Copy)]
struct Scale {
    low: f64,
    high: f64,
    from: f64,
    to: f64,
    step: f64,
}

impl Scale {
    /// Covers the values with round ends.
    fn over(low: f64, high: f64, from: f64, to: f64) -> Self {
        let step = round_step((high - low).max(1e-9) / TICKS);
        let (low, high) = (libm::floor(low / step) * step, libm::ceil(high / step) * step);
        Self { low, high: if high > low { high } else { low + step }, from, to, step }
    }

    fn at(&self, value: f64) -> f64 {
        self.from + (value - self.low) / (self.high - self.low) * (self.to - self.from)
    }

    fn ticks(&self) -> Vec<f64> {
        let count = libm::round((self.high - self.low) / self.step);
        (0..=200)
            .map(f64::from)
            .take_while(|index| *index <= count)
            .map(|index| self.low + index * self.step)
            .collect()
    }
}

/// 1, 2 or 5 times a power of ten, not below what is asked.
fn round_step(least: f64) -> f64 {
    let power = libm::pow(10.0, libm::floor(libm::log10(least)));
    [1.0, 2.0, 5.0]
        .into_iter()
        .map(|digit| digit * power)
        .find(|step| *step >= least * 0.999)
        .unwrap_or(10.0 * power)
}

fn px(value: f64) -> String {
    format!("{value:.1}")
}

fn tick_text(value: f64, step: f64) -> String {
    let decimals = usize::from(step < 0.999) + usize::from(step < 0.0999);
    format!("{value:.decimals$}")
}

impl Plot<'_> {
    fn scales(&self) -> Option<(Scale, Scale)> {
        let known: Vec<(f64, f64)> =
            self.lines.iter().flat_map(|line| &line.points).filter_map(|(x, y)| Some((*x, (*y)?))).collect();
        let range = |values: &mut dyn Iterator<Item = f64>| {
            values.filter(|value| value.is_finite()).fold(None, |range: Option<(f64, f64)>, value| {
                Some(range.map_or((value, value), |(low, high)| (low.min(value), high.max(value))))
            })
        };
        let (x, y) = (range(&mut known.iter().map(|(x, _)| *x))?, range(&mut known.iter().map(|(_, y)| *y))?);
        Some((Scale::over(x.0, x.1, LEFT, WIDTH - RIGHT), Scale::over(y.0, y.1, HEIGHT - BOTTOM, TOP)))
    }

    /// The plot, with what its read-out says at each speed; nothing where it has no point.
    pub(super) fn draw(&self, readout: &dyn Fn(f64) -> String) -> Option<Markup> {
        let (x, y) = self.scales()?;
        let rows: Vec<(f64, String)> = self
            .lines
            .first()?
            .points
            .iter()
            .map(|(speed, _)| (libm::round(x.at(*speed) * 10.0) / 10.0, readout(*speed)))
            .collect();
        let rows = serde_json::to_string(&rows).unwrap_or_default();
        let (title, id) = (plain(&self.title), self.id);
        Some(html! {
            figure class="together" data-rows=(rows) {
                svg viewBox={ "0 0 " (WIDTH) " " (HEIGHT) } role="img" aria-labelledby={ (id) "-title" } {
                    title id={ (id) "-title" } { (title) }
                    @for tick in y.ticks() {
                        line class="grid" x1=(px(LEFT)) x2=(px(WIDTH - RIGHT)) y1=(px(y.at(tick))) y2=(px(y.at(tick))) {}
                        text x=(px(LEFT - 8.0)) y=(px(y.at(tick) + 4.5)) text-anchor="end" { (tick_text(tick, y.step)) }
                    }
                    @for tick in x.ticks() {
                        line class="axis" x1=(px(x.at(tick))) x2=(px(x.at(tick))) y1=(px(HEIGHT - BOTTOM)) y2=(px(HEIGHT - BOTTOM + 5.0)) {}
                        text x=(px(x.at(tick))) y=(px(HEIGHT - BOTTOM + 20.0)) text-anchor="middle" { (tick_text(tick, x.step)) }
                    }
                    line class="axis" x1=(px(LEFT)) x2=(px(WIDTH - RIGHT)) y1=(px(HEIGHT - BOTTOM)) y2=(px(HEIGHT - BOTTOM)) {}
                    text x=(px((LEFT + WIDTH - RIGHT) / 2.0)) y=(px(HEIGHT - 6.0)) text-anchor="middle" { "engine speed, rpm" }
                    text x=(px(LEFT - 48.0)) y="13" { (plain(&self.y_label)) }
                    @for (line, label_y) in self.lines.iter().zip(self.label_places(y)) {
                        (trace(line, x, y))
                        @if let Some(label_y) = label_y {
                            text class=(line.side) x=(px(WIDTH - RIGHT + 8.0)) y=(px(label_y + 4.5)) { (plain(line.label)) }
                        }
                    }
                    line class="cursor" x1=(px(LEFT)) x2=(px(LEFT)) y1=(px(TOP)) y2=(px(HEIGHT - BOTTOM)) {}
                }
                div class="readout" aria-hidden="true" {}
            }
        })
    }

    /// The height of each line's label: at its last point, pushed apart where two would touch.
    fn label_places(&self, y: Scale) -> Vec<Option<f64>> {
        let mut places: Vec<Option<f64>> = self
            .lines
            .iter()
            .map(|line| line.points.iter().rev().find_map(|(_, value)| *value).map(|value| y.at(value)))
            .collect();
        if let [Some(a), Some(b)] = places[..]
            && (a - b).abs() < LABEL_GAP
        {
            let (middle, half) = ((a + b) / 2.0, LABEL_GAP / 2.0);
            let (up, down) = (Some(middle - half), Some(middle + half));
            places = if a <= b { vec![up, down] } else { vec![down, up] };
        }
        places
    }
}

/// A line and its markers, every few points.
fn trace(line: &Line<'_>, x: Scale, y: Scale) -> Markup {
    let mut path = String::new();
    let mut down = false;
    for (speed, value) in &line.points {
        match value {
            Some(value) => {
                let command = if down { 'L' } else { 'M' };
                path.push_str(&format!("{command}{} {}", px(x.at(*speed)), px(y.at(*value))));
                down = true;
            }
            None => down = false,
        }
    }
    let every = (line.points.len() / 10).max(1);
    let marks =
        line.points.iter().step_by(every).filter_map(|(speed, value)| Some((x.at(*speed), y.at((*value)?))));
    html! {
        path class={ "line " (line.side) } d=(PreEscaped(path)) {}
        @for (at_x, at_y) in marks {
            @if line.side == "base" {
                circle class="mark base" cx=(px(at_x)) cy=(px(at_y)) r="3.4" {}
            } @else {
                rect class="mark test" x=(px(at_x - 3.2)) y=(px(at_y - 3.2)) width="6.4" height="6.4" {}
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn ticks_are_round_and_cover_the_values() {
        for (low, high, expected) in [
            (2947.0, 8043.0, vec![2000.0, 3000.0, 4000.0, 5000.0, 6000.0, 7000.0, 8000.0, 9000.0]),
            (171.0, 221.0, vec![170.0, 180.0, 190.0, 200.0, 210.0, 220.0, 230.0]),
            (-0.4, 1.1, vec![-0.5, 0.0, 0.5, 1.0, 1.5]),
        ] {
            let scale = Scale::over(low, high, 0.0, 100.0);
            let ticks: Vec<f64> =
                scale.ticks().into_iter().map(|tick| libm::round(tick * 1e6) / 1e6).collect();
            assert_eq!(ticks, expected);
            assert!(scale.at(low) >= 0.0 && scale.at(high) <= 100.0);
        }
        let flat = Scale::over(5.0, 5.0, 0.0, 100.0);
        assert!(flat.at(5.0).is_finite() && !flat.ticks().is_empty());
    }
}
