//! A number with its interval on a common axis, small enough for a cell of a table.

use maud::Markup;
use maud::html;

use super::plain;
use super::plot::mark;
use super::scale::Scale;
use super::scale::px;
use super::scale::range;
use crate::answer::WithInterval;

const WIDTH: f64 = 260.0;
const HEIGHT: f64 = 26.0;
const PAD: f64 = 12.0;
const AXIS_HEIGHT: f64 = 36.0;

/// An axis that several small plots share, zero on it.
pub(super) struct Shared {
    scale: Scale,
}

/// How a number is drawn.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Drawn {
    /// A bar from zero with its interval across: what is measured.
    Measured,
    /// The same, hollow: what is estimated.
    Estimated,
    /// A mark with its interval.
    Point,
    /// The same, hollow and dashed: a prediction.
    Predicted,
}

impl Shared {
    /// An axis over these intervals; none where there is none.
    pub(super) fn over(intervals: &[WithInterval]) -> Option<Self> {
        let ends = intervals.iter().flat_map(|number| [number.value, number.lower, number.upper]);
        let (low, high) = range(ends.chain([0.0]))?;
        (!intervals.is_empty()).then(|| Self { scale: Scale::over(low, high, PAD, WIDTH - PAD) })
    }

    /// One number.
    pub(super) fn draw(&self, number: &WithInterval, how: Drawn, title: &str) -> Markup {
        let (zero, middle) = (self.scale.at(0.0), HEIGHT / 2.0);
        let at = |value: f64| if value.is_finite() { self.scale.at(value) } else { zero };
        let (value, lower, upper) = (at(number.value), at(number.lower), at(number.upper));
        let hollow = matches!(how, Drawn::Estimated | Drawn::Predicted);
        let side = if hollow { "test" } else { "base" };
        html! {
            svg class="small" viewBox={ "0 0 " (WIDTH) " " (HEIGHT) } role="img" aria-label=(plain(title)) {
                line class="zero" x1=(px(zero)) x2=(px(zero)) y1="0" y2=(px(HEIGHT)) {}
                @if matches!(how, Drawn::Measured | Drawn::Estimated) {
                    rect class={ "bar " (if hollow { "hollow" } else { "full" }) } x=(px(value.min(zero))) y=(px(middle - 7.0))
                        width=(px((value - zero).abs())) height="14" {}
                }
                path class={ "whisker" (if how == Drawn::Predicted { " dashed" } else { "" }) }
                    d={ "M" (px(lower)) " " (px(middle)) "H" (px(upper)) "M" (px(lower)) " " (px(middle - 5.0)) "V" (px(middle + 5.0)) "M" (px(upper)) " " (px(middle - 5.0)) "V" (px(middle + 5.0)) } {}
                (mark(side, value, middle))
            }
        }
    }

    /// The axis itself, with its unit.
    pub(super) fn axis(&self, unit: &str) -> Markup {
        let ticks = self.scale.ticks();
        // Every second tick has its number, so that wide numbers stay apart.
        let every = if ticks.len() > 6 { 2 } else { 1 };
        html! {
            svg class="small" viewBox={ "0 0 " (WIDTH) " " (AXIS_HEIGHT) } role="img" aria-label={ "axis, " (plain(unit)) } {
                line class="axis" x1=(px(PAD)) x2=(px(WIDTH - PAD)) y1="1" y2="1" {}
                @for (index, tick) in ticks.iter().enumerate() {
                    line class="axis" x1=(px(self.scale.at(*tick))) x2=(px(self.scale.at(*tick))) y1="1" y2="5" {}
                    @if index % every == 0 {
                        text x=(px(self.scale.at(*tick))) y="17" text-anchor="middle" { (self.scale.text(*tick)) }
                    }
                }
                text x=(px(WIDTH / 2.0)) y="32" text-anchor="middle" { (plain(unit)) }
            }
        }
    }
}
