//! What would be read from a raw file, as text with a small plot.

use crate::answer::ChannelLine;
use crate::answer::LookAnswer;
use crate::render::Look;
use crate::render::Page;
use crate::render::clean;
use crate::render::finding::finding;
use crate::render::page::Tone;

const PLOT_ROWS: usize = 10;
/// Lines above the table that are shown.
const SHOWN_LINES: usize = 20;

/// What would be read; nothing was entered.
pub fn look(answer: &LookAnswer, look: Look) -> String {
    let mut page = Page::new(look);
    let how = match &answer.columns {
        Some(columns) => format!("read by columns record `{columns}`"),
        None => "guessed; nothing was entered".to_owned(),
    };
    page.line(0, Tone::Heading, &format!("{}: {} rows, {how}", answer.file, answer.rows));
    page.line(2, Tone::Plain, &answer.layout.join(", "));
    for question in &answer.questions {
        page.line(0, Tone::Bad, &format!("Question: {question}"));
    }
    if !answer.preamble.is_empty() {
        page.heading("Lines above the table");
        for line in answer.preamble.iter().take(SHOWN_LINES) {
            page.line(2, Tone::Plain, line);
        }
        if answer.preamble.len() > SHOWN_LINES {
            page.line(2, Tone::Plain, &format!("and {} more", answer.preamble.len() - SHOWN_LINES));
        }
    }
    page.heading("Channels");
    channels(&mut page, &answer.channels, true);
    if answer.segments.len() > 1 {
        page.heading(&format!("{} segments: each is a pull of its own", answer.segments.len()));
        for segment in &answer.segments {
            page.line(
                2,
                Tone::Plain,
                &format!(
                    "{}: lines {} to {}, {} rows",
                    segment.number, segment.first_line, segment.last_line, segment.rows
                ),
            );
        }
    }
    if !answer.doubts.is_empty() {
        page.heading("Doubts");
        for doubt in &answer.doubts {
            finding(&mut page, 2, doubt);
        }
    }
    plot(&mut page, &answer.plot_of, &answer.plot, look.width);
    page.gap();
    page.verbatim(0, Tone::Faint, &format!("Next: {}", answer.next));
    page.finish()
}

/// Channels with their units and ranges, and why each was taken for what it is.
pub(super) fn channels(page: &mut Page, lines: &[ChannelLine], with_reasons: bool) {
    let width = lines.iter().map(|line| clean(&line.name).chars().count()).max().unwrap_or(0).min(24);
    for line in lines {
        let unit = line.unit.as_deref().unwrap_or("unit not known");
        let range = match (line.min, line.max) {
            (Some(min), Some(max)) => format!("{} to {}", plain(min), plain(max)),
            _ => "no data".to_owned(),
        };
        let missing = if line.missing > 0 { format!(", {} empty", line.missing) } else { String::new() };
        page.pair(2, &line.name, width, &format!("{} [{unit}]  {range}{missing}", line.quantity));
        if let Some(why) = line.why.as_ref().filter(|_| with_reasons) {
            page.line(width + 4, Tone::Faint, why);
        }
    }
}

/// A number with at most six digits that tell.
pub(super) fn plain(x: f64) -> String {
    if x == 0.0 {
        return "0".to_owned();
    }
    let magnitude = x.abs();
    let text = if !(1e-4..1e9).contains(&magnitude) {
        format!("{x:.4e}")
    } else if magnitude >= 1000.0 {
        format!("{x:.1}")
    } else {
        format!("{x:.3}")
    };
    if text.contains('e') || !text.contains('.') {
        return text;
    }
    text.trim_end_matches('0').trim_end_matches('.').to_owned()
}

/// Points in a block of characters.
fn plot(page: &mut Page, title: &str, points: &[(f64, f64)], width: usize) {
    let low_high = |values: &mut dyn Iterator<Item = f64>| {
        values.fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), x| (low.min(x), high.max(x)))
    };
    let (x_low, x_high) = low_high(&mut points.iter().map(|point| point.0));
    let (y_low, y_high) = low_high(&mut points.iter().map(|point| point.1));
    if points.len() < 3 || x_high <= x_low || y_high <= y_low {
        return;
    }
    page.heading(title);
    let columns = width.saturating_sub(14).clamp(20, 70);
    let mut rows = vec![vec![' '; columns]; PLOT_ROWS];
    for &(x, y) in points {
        let place = |value: f64, low: f64, high: f64, cells: usize| {
            #[expect(
                clippy::cast_possible_truncation,
                clippy::cast_sign_loss,
                clippy::cast_precision_loss,
                reason = "a cell of a small block"
            )]
            let cell = ((value - low) / (high - low) * (cells - 1) as f64).round() as usize;
            cell.min(cells - 1)
        };
        let row = PLOT_ROWS - 1 - place(y, y_low, y_high, PLOT_ROWS);
        rows[row][place(x, x_low, x_high, columns)] = '*';
    }
    for (number, row) in rows.iter().enumerate() {
        let label = match number {
            0 => format!("{y_high:8.1}"),
            n if n == PLOT_ROWS - 1 => format!("{y_low:8.1}"),
            _ => " ".repeat(8),
        };
        page.verbatim(0, Tone::Plain, &format!("{label} |{}", row.iter().collect::<String>()));
    }
    let (left, right) = (plain(x_low), plain(x_high));
    let space = columns.saturating_sub(left.len() + right.len());
    page.verbatim(0, Tone::Plain, &format!("{:8} +{}", "", "-".repeat(columns)));
    page.verbatim(0, Tone::Plain, &format!("{:9} {left}{:space$}{right}", "", ""));
}
