//! Small plots of characters, on a terminal only: two curves, and an interval in a line. Unicode where it shows that, else
//! ASCII; shape alone carries every distinction.

use crate::render::Letters;
use crate::render::Look;
use crate::render::Page;
use crate::render::page::Tone;

/// Lines of a plot of curves.
const HEIGHT: usize = 11;
/// Columns left of it: a number and the axis.
const LEFT: usize = 9;
/// Most columns of a plot; wider is no clearer.
const WIDEST: usize = 66;
/// The fewest columns in which an interval still says something.
const NARROWEST_BAR: usize = 16;
const WIDEST_BAR: usize = 44;

/// One place of two curves: where, the base there, the test there.
pub(super) type Row = (f64, Option<f64>, Option<f64>);

/// The characters of a plot.
struct Pen {
    base: char,
    test: char,
    both: char,
    upright: char,
    level: char,
    corner: char,
    point: char,
    ends: (char, char),
    zero: char,
}

const UNICODE: Pen = Pen {
    base: '\u{25cf}',
    test: '\u{25cb}',
    both: '\u{25c9}',
    upright: '\u{2502}',
    level: '\u{2500}',
    corner: '\u{2514}',
    point: '\u{25cf}',
    ends: ('\u{251c}', '\u{2524}'),
    zero: '\u{2502}',
};
const ASCII: Pen = Pen {
    base: 'o',
    test: 'x',
    both: '*',
    upright: '|',
    level: '-',
    corner: '+',
    point: 'o',
    ends: ('[', ']'),
    zero: '|',
};

fn pen(look: Look) -> Option<&'static Pen> {
    look.plots.map(|letters| match letters {
        Letters::Unicode => &UNICODE,
        Letters::Ascii => &ASCII,
    })
}

/// The place of a value among so many, from 0.
fn place(value: f64, low: f64, high: f64, count: usize) -> usize {
    let last = count.saturating_sub(1);
    let most = u32::try_from(last).unwrap_or(u32::MAX);
    let share = if high > low { (value - low) / (high - low) } else { 0.5 };
    let at = libm::round(share.clamp(0.0, 1.0) * f64::from(most));
    // Within 0 and `most`, as clamped.
    #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "a share of a small count")]
    let at = at as usize;
    at.min(last)
}

fn range(values: impl Iterator<Item = f64>) -> Option<(f64, f64)> {
    values.filter(|value| value.is_finite()).fold(None, |range: Option<(f64, f64)>, value| {
        Some(range.map_or((value, value), |(low, high)| (low.min(value), high.max(value))))
    })
}

/// Two curves, with a line that says which is which; `name` has the unit and what they are drawn over. A test that is
/// nowhere is no second curve.
pub(super) fn curves(page: &mut Page, name: &str, rows: &[Row]) {
    let look = page.look();
    let Some(pen) = pen(look) else { return };
    let Some((low, high)) = range(rows.iter().flat_map(|(_, base, test)| [*base, *test]).flatten()) else {
        return;
    };
    let (Some((first, ..)), Some((last, ..))) = (rows.first(), rows.last()) else { return };
    let width = look.width.saturating_sub(LEFT + 4).min(WIDEST);
    let mut cells = vec![vec![' '; width]; HEIGHT];
    for (at, base, test) in rows {
        let x = place(*at, *first, *last, width);
        for (value, mark, other) in [(base, pen.base, pen.test), (test, pen.test, pen.base)] {
            let Some(value) = value.filter(|value| value.is_finite()) else { continue };
            let cell = &mut cells[HEIGHT - 1 - place(value, low, high, HEIGHT)][x];
            *cell = if *cell == other || *cell == pen.both { pen.both } else { mark };
        }
    }
    page.gap();
    let which = if rows.iter().any(|(_, _, test)| test.is_some()) {
        format!(": {} base, {} test, {} both", pen.base, pen.test, pen.both)
    } else {
        String::new()
    };
    page.line(2, Tone::Plain, &format!("{name}{which}"));
    for (index, line) in cells.iter().enumerate() {
        let number = match index {
            0 => format!("{high:.1}"),
            index if index + 1 == HEIGHT => format!("{low:.1}"),
            _ => String::new(),
        };
        let line: String = line.iter().collect();
        page.verbatim(2, Tone::Plain, &format!("{number:>7} {}{}", pen.upright, line.trim_end()));
    }
    let rule: String = std::iter::repeat_n(pen.level, width).collect();
    page.verbatim(2, Tone::Plain, &format!("{:>7} {}{rule}", "", pen.corner));
    let pad = width.saturating_sub(first.to_string().len() + last.to_string().len());
    page.verbatim(2, Tone::Plain, &format!("{:>9}{first}{:pad$}{last}", "", ""));
}

/// Intervals one below the other on one axis, each beside a line of a table.
pub(super) struct Bars {
    low: f64,
    high: f64,
    width: usize,
    pen: &'static Pen,
}

impl Bars {
    /// An axis for these intervals (lower, upper) in what a table of so many columns leaves of the line; none where that
    /// is too little.
    pub(super) fn beside(
        look: Look,
        taken: usize,
        intervals: impl Iterator<Item = (f64, f64)>,
    ) -> Option<Self> {
        let pen = pen(look)?;
        let width = look.width.checked_sub(taken + 2)?.min(WIDEST_BAR);
        let (low, high) = range(intervals.flat_map(|(lower, upper)| [lower, upper]).chain([0.0]))?;
        (width >= NARROWEST_BAR && high > low).then_some(Self { low, high, width, pen })
    }

    fn at(&self, value: f64) -> usize {
        place(value, self.low, self.high, self.width)
    }

    /// One interval with its value and the zero line.
    pub(super) fn draw(&self, lower: f64, value: f64, upper: f64) -> String {
        let mut cells = vec![' '; self.width];
        let (from, to) = (self.at(lower), self.at(upper));
        for cell in cells.iter_mut().take(to).skip(from) {
            *cell = self.pen.level;
        }
        cells[from] = self.pen.ends.0;
        cells[to] = self.pen.ends.1;
        let zero = self.at(0.0);
        if !(from..=to).contains(&zero) || (from < zero && zero < to) {
            cells[zero] = self.pen.zero;
        }
        cells[self.at(value)] = self.pen.point;
        cells.into_iter().collect::<String>().trim_end().to_owned()
    }

    /// What stands over the column: the ends of the axis and its zero.
    pub(super) fn head(&self) -> String {
        let mut cells = vec![' '; self.width];
        let mut put = |at: usize, text: &str| {
            let at = at.min(self.width.saturating_sub(text.len()));
            for (cell, letter) in cells.iter_mut().skip(at).zip(text.chars()) {
                *cell = letter;
            }
        };
        put(0, &format!("{:+.1}", self.low));
        put(self.width, &format!("{:+.1}", self.high));
        let zero = self.at(0.0);
        if zero > 6 && zero + 7 < self.width {
            put(zero, "0");
        }
        cells.into_iter().collect::<String>().trim_end().to_owned()
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;
    use unicode_width::UnicodeWidthStr;

    fn drawn(look: Look, rows: &[Row]) -> String {
        let mut page = Page::new(look);
        curves(&mut page, "torque, N·m, over rpm", rows);
        page.finish()
    }

    #[test]
    fn ascii_is_all_that_a_plain_terminal_gets() {
        let rows: Vec<Row> = (0..20)
            .map(|n| (f64::from(3000 + n * 100), Some(f64::from(n)), Some(f64::from(20 - n))))
            .collect();
        let look = Look { colour: false, width: 60, plots: Some(Letters::Ascii) };
        let text = drawn(look, &rows);
        assert!(text.replace('\u{b7}', "").is_ascii(), "{text}");
        assert!(text.contains('o') && text.contains('x'));
        let bars = Bars::beside(look, 20, [(-1.0, 2.0)].into_iter()).expect("room");
        assert!(bars.draw(-1.0, 0.5, 2.0).is_ascii() && bars.head().is_ascii());
        assert!(drawn(Look { plots: Some(Letters::Unicode), ..look }, &rows).contains('\u{25cb}'));
        assert_eq!(drawn(Look { plots: None, ..look }, &rows), "", "no terminal, no plot");
        assert!(Bars::beside(look, 50, [(-1.0, 2.0)].into_iter()).is_none(), "too narrow");
    }

    proptest! {
        #[test]
        fn it_fits_the_width_whatever_the_values(
            values in proptest::collection::vec((proptest::option::of(-1e9f64..1e9), proptest::option::of(-1e9f64..1e9)), 0..60),
            width in 40usize..120,
        ) {
            let rows: Vec<Row> = values.iter().zip(0u32..).map(|((a, b), n)| (f64::from(n * 100), *a, *b)).collect();
            let look = Look { colour: false, width, plots: Some(Letters::Unicode) };
            // Numbers wider than the margin may reach out; those of torque and power do not.
            let small: Vec<Row> = rows.iter().map(|(n, a, b)| (*n, a.map(|a| a / 1e6), b.map(|b| b / 1e6))).collect();
            prop_assert!(drawn(look, &small).lines().all(|line| line.width() <= width));
            drawn(look, &rows);
            if let Some(bars) = Bars::beside(look, 20, rows.iter().filter_map(|(_, a, b)| Some((a.as_ref()?.min(*b.as_ref()?), a.as_ref()?.max(*b.as_ref()?))))) {
                prop_assert!(bars.draw(-2e9, 0.0, 2e9).width() + 22 <= width);
            }
        }
    }
}
