//! Lines over an axis as SVG: labels at the lines, units at the axes, round ticks.
//!
//! Two sides differ by dash and marker as well as by colour, so that grey paper and any eye tell them apart.

use maud::Markup;
use maud::PreEscaped;
use maud::html;

use super::plain;
use super::scale::Scale;
use super::scale::px;
use super::scale::range;

/// Width and height of a plot, and of one half as wide, whose letters are as large on paper.
const WHOLE: (f64, f64) = (720.0, 346.0);
const SMALL: (f64, f64) = (400.0, 232.0);
const LEFT: f64 = 56.0;
const RIGHT: f64 = 92.0;
const TOP: f64 = 34.0;
const BOTTOM: f64 = 44.0;
/// Room above the plot for ranges and their words.
const RANGES: f64 = 22.0;
/// Labels nearer than this would lie over each other.
const LABEL_GAP: f64 = 16.0;
/// A range narrower than this has no room for its word; the list below the plot has it.
const WORD_ROOM: f64 = 62.0;
/// Markers on a line, about.
const MARKS: usize = 10;

/// Values over an axis; a place without a value breaks the line.
pub(super) type Points = Vec<(f64, Option<f64>)>;

/// One line of a plot.
pub(super) struct Line<'a> {
    /// `base`, `test` or `one`: its colour, dash and marker.
    pub(super) side: &'static str,
    /// What stands at its end.
    pub(super) label: &'a str,
    /// Its points in order of the axis.
    pub(super) points: Points,
}

/// A single pull, thin behind the means.
pub(super) struct Repeat<'a> {
    pub(super) side: &'static str,
    /// The pull.
    pub(super) name: &'a str,
    pub(super) points: Points,
}

/// A band: lowest and highest at each place.
pub(super) struct Area {
    pub(super) side: &'static str,
    pub(super) points: Vec<(f64, Option<(f64, f64)>)>,
}

/// A range of the axis with its standing in a word.
pub(super) struct Stretch<'a> {
    pub(super) from: f64,
    pub(super) to: f64,
    /// `ahead`, `behind` or `undecided`.
    pub(super) word: &'a str,
}

/// A plot of lines over an axis.
pub(super) struct Plot<'a> {
    /// Distinguishes it from the other plots of its page.
    pub(super) id: String,
    /// What it shows, for those who do not see it.
    pub(super) title: String,
    /// What the axis below is, with its unit.
    pub(super) x_label: &'a str,
    /// What the axis at the left is, with its unit.
    pub(super) y_label: String,
    pub(super) lines: Vec<Line<'a>>,
    pub(super) repeats: Vec<Repeat<'a>>,
    pub(super) areas: Vec<Area>,
    pub(super) ranges: Vec<Stretch<'a>>,
    /// Whether zero belongs on the plot, with a line of its own.
    pub(super) zero: bool,
    size: (f64, f64),
}

/// What an axis of engine speed is called.
pub(super) const SPEED: &str = "engine speed, rpm";

impl<'a> Plot<'a> {
    /// A plot of nothing yet, over engine speed.
    pub(super) fn new(id: impl Into<String>, title: String, y_label: String) -> Self {
        Self {
            id: id.into(),
            title,
            x_label: SPEED,
            y_label,
            lines: Vec::new(),
            repeats: Vec::new(),
            areas: Vec::new(),
            ranges: Vec::new(),
            zero: false,
            size: WHOLE,
        }
    }

    /// The same with a line.
    pub(super) fn line(mut self, side: &'static str, label: &'a str, points: Points) -> Self {
        self.lines.push(Line { side, label, points });
        self
    }

    /// The same half as wide.
    pub(super) fn small(mut self) -> Self {
        self.size = SMALL;
        self
    }

    fn top(&self) -> f64 {
        if self.ranges.is_empty() { TOP } else { TOP + RANGES }
    }

    fn scales(&self) -> Option<(Scale, Scale)> {
        let of_lines = self.lines.iter().map(|line| &line.points);
        let points: Vec<(f64, f64)> = of_lines
            .chain(self.repeats.iter().map(|repeat| &repeat.points))
            .flatten()
            .filter_map(|(x, y)| Some((*x, (*y)?)))
            .filter(|(x, y)| x.is_finite() && y.is_finite())
            .collect();
        let x = range(points.iter().map(|(x, _)| *x))?;
        let edges = self.areas.iter().flat_map(|area| &area.points).filter_map(|(_, edges)| *edges);
        let y = points.iter().map(|(_, y)| *y).chain(edges.flat_map(|(low, high)| [low, high]));
        let y = range(y.chain(self.zero.then_some(0.0)))?;
        Some((
            Scale::within(x.0, x.1, LEFT, self.size.0 - RIGHT),
            Scale::over(y.0, y.1, self.size.1 - BOTTOM, self.top()),
        ))
    }

    /// The plot, with what its read-out says at each place of its first line; nothing where it has no point.
    pub(super) fn draw(&self, readout: &dyn Fn(f64) -> String) -> Option<Markup> {
        let (x, y) = self.scales()?;
        let places = self.lines.first().map(|line| line.points.as_slice()).unwrap_or_default();
        let rows: Vec<(f64, String)> = places
            .iter()
            .map(|(place, _)| (libm::round(x.at(*place) * 10.0) / 10.0, plain(&readout(*place))))
            .collect();
        let rows = serde_json::to_string(&rows).unwrap_or_default();
        let (title, id, top, floor) = (plain(&self.title), &self.id, self.top(), self.size.1 - BOTTOM);
        Some(html! {
            figure class=(if self.size == SMALL { "plot half together" } else { "plot together" }) data-rows=(rows) tabindex="0" aria-labelledby={ (id) "-title" } {
                svg viewBox={ "0 0 " (self.size.0) " " (self.size.1) } role="img" aria-labelledby={ (id) "-title" } {
                    title id={ (id) "-title" } { (title) }
                    @for tick in y.ticks() {
                        line class="grid" x1=(px(LEFT)) x2=(px(self.size.0 - RIGHT)) y1=(px(y.at(tick))) y2=(px(y.at(tick))) {}
                        text x=(px(LEFT - 8.0)) y=(px(y.at(tick) + 4.5)) text-anchor="end" { (y.text(tick)) }
                    }
                    @for tick in x.ticks() {
                        line class="axis" x1=(px(x.at(tick))) x2=(px(x.at(tick))) y1=(px(floor)) y2=(px(floor + 5.0)) {}
                        text x=(px(x.at(tick))) y=(px(floor + 20.0)) text-anchor="middle" { (x.text(tick)) }
                    }
                    line class="axis" x1=(px(LEFT)) x2=(px(self.size.0 - RIGHT)) y1=(px(floor)) y2=(px(floor)) {}
                    text x=(px((LEFT + self.size.0 - RIGHT) / 2.0)) y=(px(self.size.1 - 6.0)) text-anchor="middle" { (self.x_label) }
                    text x=(px(LEFT - 48.0)) y="13" { (plain(&self.y_label)) }
                    @for area in &self.areas { (band(area, x, y)) }
                    @if self.zero {
                        line class="zero" x1=(px(LEFT)) x2=(px(self.size.0 - RIGHT)) y1=(px(y.at(0.0))) y2=(px(y.at(0.0))) {}
                    }
                    @for repeat in &self.repeats {
                        path class={ "repeat " (repeat.side) } data-pull=(plain(repeat.name)) d=(PreEscaped(path(&repeat.points, x, y))) {
                            title { (plain(repeat.name)) }
                        }
                    }
                    @for (line, label_y) in self.lines.iter().zip(self.label_places(y)) {
                        (trace(line, x, y))
                        @if let Some(label_y) = label_y {
                            text class=(line.side) x=(px(self.size.0 - RIGHT + 8.0)) y=(px(label_y + 4.5)) { (plain(line.label)) }
                        }
                    }
                    @for range in &self.ranges { (stretch(range, x)) }
                    line class="cursor" x1=(px(LEFT)) x2=(px(LEFT)) y1=(px(top)) y2=(px(floor)) {}
                }
                div class="readout" role="status" {}
            }
        })
    }

    /// The height of each line's label: at its last point, pushed apart where two would touch.
    fn label_places(&self, y: Scale) -> Vec<Option<f64>> {
        let last = |line: &Line<'_>| line.points.iter().rev().find_map(|(_, value)| *value);
        let mut places: Vec<Option<f64>> =
            self.lines.iter().map(|line| last(line).map(|value| y.at(value))).collect();
        let mut order: Vec<usize> = (0..places.len()).filter(|index| places[*index].is_some()).collect();
        order.sort_by(|a, b| places[*a].unwrap_or(0.0).total_cmp(&places[*b].unwrap_or(0.0)));
        // Each pair that touches moves apart by half; a few rounds settle the handful of lines that a plot has.
        for _ in 0..8 {
            for pair in order.windows(2) {
                if let (Some(above), Some(below)) = (places[pair[0]], places[pair[1]])
                    && below - above < LABEL_GAP
                {
                    let half = (LABEL_GAP - (below - above)) / 2.0;
                    places[pair[0]] = Some(above - half);
                    places[pair[1]] = Some(below + half);
                }
            }
        }
        places
    }
}

fn path(points: &[(f64, Option<f64>)], x: Scale, y: Scale) -> String {
    let mut path = String::new();
    let mut down = false;
    for (place, value) in points {
        match value.filter(|value| value.is_finite()) {
            Some(value) => {
                let command = if down { 'L' } else { 'M' };
                path.push_str(&format!("{command}{} {}", px(x.at(*place)), px(y.at(value))));
                down = true;
            }
            None => down = false,
        }
    }
    path
}

/// A line and its markers, every few points.
fn trace(line: &Line<'_>, x: Scale, y: Scale) -> Markup {
    let every = (line.points.len() / MARKS).max(1);
    let known = line.points.iter().step_by(every).filter_map(|(place, value)| Some((*place, (*value)?)));
    let marks = known.filter(|(_, value)| value.is_finite()).map(|(place, value)| (x.at(place), y.at(value)));
    html! {
        path class={ "line " (line.side) } d=(PreEscaped(path(&line.points, x, y))) {}
        @for (at_x, at_y) in marks { (mark(line.side, at_x, at_y)) }
    }
}

/// A marker: round for the base and for one alone, square for the test.
pub(super) fn mark(side: &str, at_x: f64, at_y: f64) -> Markup {
    html! {
        @if side == "test" {
            rect class="mark test" x=(px(at_x - 3.2)) y=(px(at_y - 3.2)) width="6.4" height="6.4" {}
        } @else {
            circle class={ "mark " (side) } cx=(px(at_x)) cy=(px(at_y)) r="3.4" {}
        }
    }
}

/// A band, each unbroken stretch of it by itself: filled, with thin edges.
fn band(area: &Area, x: Scale, y: Scale) -> Markup {
    let mut fill = String::new();
    let mut edges: [Vec<(f64, Option<f64>)>; 2] = [Vec::new(), Vec::new()];
    for piece in area.points.split(|(_, edges)| edges.is_none()) {
        let piece: Vec<(f64, f64, f64)> =
            piece.iter().filter_map(|(place, edges)| edges.map(|(low, high)| (*place, low, high))).collect();
        if piece.is_empty() {
            continue;
        }
        for (index, (place, _, high)) in piece.iter().enumerate() {
            let command = if index == 0 { 'M' } else { 'L' };
            fill.push_str(&format!("{command}{} {}", px(x.at(*place)), px(y.at(*high))));
        }
        for (place, low, _) in piece.iter().rev() {
            fill.push_str(&format!("L{} {}", px(x.at(*place)), px(y.at(*low))));
        }
        fill.push('Z');
        edges[0].extend(piece.iter().map(|(place, low, _)| (*place, Some(*low))));
        edges[1].extend(piece.iter().map(|(place, _, high)| (*place, Some(*high))));
        for edge in &mut edges {
            edge.push((f64::NAN, None));
        }
    }
    html! {
        path class={ "area " (area.side) } d=(PreEscaped(fill)) {}
        @for edge in &edges { path class={ "edge " (area.side) } d=(PreEscaped(path(edge, x, y))) {} }
    }
}

/// A range above the plot: a bar with ends, and its word where there is room.
fn stretch(range: &Stretch<'_>, x: Scale) -> Markup {
    let (from, to, at) = (x.at(range.from), x.at(range.to), TOP);
    html! {
        g class={ "stretch " (range.word) } {
            path d={ "M" (px(from)) " " (px(at - 4.0)) "V" (px(at + 4.0)) "M" (px(from)) " " (px(at)) "H" (px(to)) "M" (px(to)) " " (px(at - 4.0)) "V" (px(at + 4.0)) } {}
            @if to - from > WORD_ROOM {
                text x=(px((from + to) / 2.0)) y=(px(at - 5.0)) text-anchor="middle" { (range.word) }
            }
        }
    }
}
