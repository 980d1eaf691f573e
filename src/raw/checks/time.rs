//! Time order, gaps and bursts.

use crate::finding::Finding;
use crate::finding::Place;
use crate::raw::restart::Restarts;
use crate::raw::statistics::median;
use crate::raw::summary::Batch;
use crate::record::columns::Column;

/// Steps sampled for the usual step.
const SAMPLED: usize = 4096;

/// Gaps and steps back that are named.
const NAMED: usize = 5;

/// A step so many times the usual one is a gap.
const GAP: f64 = 10.0;

/// A step so small a share of the usual one belongs to a burst.
const BURST: f64 = 0.1;

/// Watches the time channel.
pub(super) struct TimeCheck {
    channel: usize,
    last: f64,
    restarts: Restarts,
    forward: u64,
    back: u64,
    still: u64,
    first_back: Vec<(u64, f64, f64)>,
    steps: Vec<f64>,
    stride: u64,
    /// The largest steps with their lines, largest first.
    gaps: Vec<(f64, u64)>,
    /// Steps up to the first thousand, to find a burst at the start.
    early: Vec<(f64, u64)>,
}

impl TimeCheck {
    pub(super) fn new(channel: usize) -> Self {
        Self {
            channel,
            last: f64::NAN,
            restarts: Restarts::new(),
            forward: 0,
            back: 0,
            still: 0,
            first_back: Vec::new(),
            steps: Vec::new(),
            stride: 1,
            gaps: Vec::new(),
            early: Vec::new(),
        }
    }

    pub(super) fn restarts(&self) -> bool {
        self.restarts.part_pulls()
    }

    pub(super) fn begin_segment(&mut self) {
        self.last = f64::NAN;
    }

    pub(super) fn rows(&mut self, batch: &Batch<'_>) {
        let Some(times) = batch.columns.get(self.channel) else {
            return;
        };
        for (time, line) in times.iter().zip(batch.lines) {
            if time.is_nan() {
                continue;
            }
            self.restarts.push(*time);
            let step = *time - self.last;
            if step > 0.0 {
                self.forward += 1;
                self.step_forward(step, *line);
            } else if step < 0.0 {
                self.back += 1;
                if self.first_back.len() < NAMED {
                    self.first_back.push((*line, self.last, *time));
                }
            } else if !self.last.is_nan() {
                self.still += 1;
            }
            self.last = *time;
        }
    }

    fn step_forward(&mut self, step: f64, line: u64) {
        if self.forward.is_multiple_of(self.stride) {
            self.steps.push(step);
            if self.steps.len() >= SAMPLED {
                let mut index = 0;
                self.steps.retain(|_| {
                    index += 1;
                    index % 2 == 1
                });
                self.stride *= 2;
            }
        }
        if self.early.len() < 1000 {
            self.early.push((step, line));
        }
        if self.gaps.len() < NAMED || self.gaps.last().is_some_and(|g| step > g.0) {
            self.gaps.push((step, line));
            self.gaps.sort_by(|a, b| b.0.total_cmp(&a.0));
            self.gaps.truncate(NAMED);
        }
    }

    pub(super) fn finish(&self, columns: &[Column], doubts: &mut Vec<Finding>) {
        let name = columns[self.channel].name.as_str();
        let unit = match (&columns[self.channel].unit, columns[self.channel].time) {
            (_, Some(form)) if form.counts_from_first() => " s".to_owned(),
            (Some(unit), _) => format!(" {unit}"),
            _ => String::new(),
        };
        let at = |line: u64| Place::default().line(usize::try_from(line).unwrap_or(usize::MAX)).field(name);
        if self.back > self.forward {
            doubts.push(
                Finding::doubt(
                    "time-runs-backwards",
                    "time falls from row to row: the rows stand the wrong way round",
                )
                .at(Place::default().field(name))
                .found(format!("{} steps back, {} forward", self.back, self.forward))
                .next("the rows are kept in the file's order"),
            );
        } else {
            for (line, before, after) in &self.first_back {
                doubts.push(
                    Finding::doubt("time-steps-back", "time steps back")
                        .at(at(*line))
                        .found(format!("{after}{unit} after {before}{unit}"))
                        .next("if a new pull starts here, say segments: time-restarts in the columns record"),
                );
            }
            if self.back > NAMED as u64 {
                let message =
                    format!("time steps back {} times in all; the first {NAMED} are named", self.back);
                doubts.push(Finding::doubt("time-steps-back", message).at(Place::default().field(name)));
            }
        }
        if self.still > self.forward + self.back {
            let message = "most rows bear the same time as the row before";
            doubts.push(Finding::doubt("time-stands-still", message).at(Place::default().field(name)));
        }
        let Some(usual) = median(self.steps.clone()).filter(|_| self.forward >= 10) else {
            return;
        };
        for (step, line) in self.gaps.iter().filter(|g| g.0 > GAP * usual) {
            doubts.push(
                Finding::doubt("time-gap", "rows seem to lack: time jumps")
                    .at(at(*line))
                    .found(format!("a step of {step:.4}{unit}"))
                    .expected(format!("about {usual:.4}{unit}")),
            );
        }
        // The longest run of quick steps among the first rows.
        let quick = |step: &(f64, u64)| step.0 < BURST * usual;
        let runs =
            self.early.chunk_by(|a, b| quick(a) == quick(b)).filter(|run| run.first().is_some_and(quick));
        if let Some([first, .., last]) = runs.max_by_key(|run| run.len()).filter(|run| run.len() >= 3) {
            let steps = format!("steps under {:.4}{unit} on lines {} to {}", BURST * usual, first.1, last.1);
            doubts.push(
                Finding::doubt("time-burst", "rows follow each other far faster than the rest")
                    .at(at(first.1))
                    .found(steps)
                    .expected(format!("about {usual:.4}{unit}"))
                    .next("rows held back by the equipment and written at once bear the wrong time"),
            );
        }
    }
}
