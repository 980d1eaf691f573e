//! A clock that passes midnight while a pull runs.

use crate::finding::Finding;
use crate::finding::Place;
use crate::raw::block::Parsed;
use crate::record::columns::Column;
use crate::record::columns::TimeForm;

/// Seconds of a day.
const DAY: f64 = 86_400.0;

/// A clock that falls by a day less at most so many seconds has passed midnight; one that falls otherwise was set back,
/// or a new pull begins.
const LONGEST_STEP: f64 = 3_600.0;

/// Adds the days that a time of day leaves out.
pub(super) struct Midnight {
    /// The channels that are times of day, each with the last reading as written and the seconds added since.
    clocks: Vec<(usize, f64, f64)>,
    /// The channel and the first line behind midnight.
    passed: Option<(usize, u64)>,
}

impl Midnight {
    pub(super) fn new(columns: &[Column]) -> Self {
        let is_clock =
            |column: &Column| matches!(column.time, Some(TimeForm::Clock | TimeForm::ClockHoursMinutes));
        let clocks = columns.iter().enumerate().filter(|(_, column)| is_clock(column));
        Self { clocks: clocks.map(|(at, _)| (at, f64::NAN, 0.0)).collect(), passed: None }
    }

    /// Corrects the next block, whose first line is `line`.
    pub(super) fn pass(&mut self, parsed: &mut Parsed, line: u64) {
        for (channel, last, added) in &mut self.clocks {
            let Some(times) = parsed.columns.get_mut(*channel) else { continue };
            for (time, offset) in times.iter_mut().zip(&parsed.lines) {
                if time.is_nan() {
                    continue;
                }
                let fall = *last - *time;
                if (DAY - LONGEST_STEP..DAY).contains(&fall) {
                    *added += DAY;
                    self.passed.get_or_insert((*channel, line + u64::from(*offset)));
                }
                *last = *time;
                *time += *added;
            }
        }
    }

    /// Says where midnight was first passed.
    pub(super) fn note(&self, columns: &[Column]) -> Option<Finding> {
        let (channel, line) = self.passed?;
        let name = columns.get(channel)?.name.as_str();
        let place = Place::default().line(usize::try_from(line).unwrap_or(usize::MAX)).field(name);
        let message = format!("{name} passes midnight here; it is read on as the next day");
        Some(Finding::note("past-midnight", message).at(place))
    }
}
