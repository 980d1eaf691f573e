//! The sweep of a pull and the means of its channels over it, each of its logs read once.

use std::collections::BTreeMap;

use crate::check::Side;
use crate::curves::Curve;
use crate::derive::Means;
use crate::record::Kinds;
use crate::record::columns::Column;
use crate::store::Book;
use crate::workflow::Failure;
use crate::workflow::Library;
use crate::workflow::channel_sums;
use crate::workflow::channel_sums::Of;
use crate::workflow::log::Drive;
use crate::workflow::log::Log;
use crate::workflow::log::Logged;
use crate::workflow::log::Rows;

/// A sweep, or in words why there is none.
pub(super) type Found = Result<Curve, String>;

/// Which channels' means are wanted.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Channels {
    /// Those alone that document a condition that nobody wrote down.
    OfConditions,
    /// All that derived figures are made of, near each speed of the sweep too.
    All,
    /// All that derived figures are made of, and the temperatures that a weighing looks at; near each speed where asked.
    OfWeighing {
        /// Near each speed too.
        near_speeds: bool,
    },
}

/// What is asked of a pull's logs.
#[derive(Debug, Clone, Copy)]
pub(super) struct Wanted {
    /// Grid of the sweep, in rpm; none where the sweep is not asked for.
    pub(super) step_rpm: Option<u32>,
    /// The channels whose means are; none where means are not.
    pub(super) means: Option<Channels>,
}

/// The logs that answer what is asked of a pull.
///
/// The sweep is that of the first log that can be read. Means come from all of them: of those channels that document a
/// condition that nobody wrote down, and of torque, power, speed, fuel, air and mixture. Torque and power are of the rows
/// as read; of power alone torque follows from the speed. A pull whose files are not here, or hold no sweep, has none.
#[derive(Debug)]
pub(super) struct Plan {
    wanted: Wanted,
    logs: Vec<Log>,
    /// For each log, which of the pull's raw files it is, and the columns that are summed.
    of: Vec<(usize, Vec<Column>)>,
    /// Why no log gives the sweep.
    reason: String,
}

impl Plan {
    /// Opens the logs of a side's pull.
    ///
    /// # Errors
    /// The store's, or a columns record that does not hold.
    pub(super) fn of(book: &Book, library: &Library, side: &Side, wanted: Wanted) -> Result<Self, Failure> {
        let reason = format!("{} is a build alone", side.name);
        let mut plan = Self { wanted, logs: Vec::new(), of: Vec::new(), reason };
        let Some(pull) = &side.pull else { return Ok(plan) };
        plan.reason = format!("{} has no raw file with a columns record", side.name);
        let of_conditions = of_conditions(side, library.kinds(), wanted.means);
        let means = wanted.means.filter(|which| {
            *which != Channels::OfConditions || of_conditions.iter().any(|word| side.channels.contains(*word))
        });
        for (number, raw_file) in pull.raw.iter().enumerate() {
            let step_rpm = wanted.step_rpm.filter(|_| plan.logs.is_empty());
            if step_rpm.is_none() && means.is_none() {
                break;
            }
            let Some(name) = &raw_file.columns else { continue };
            let Some(columns) = library.columns(name)? else {
                plan.reason = format!("the columns record `{name}` of {} is not in the book", side.name);
                continue;
            };
            let drive = match Drive::of(&columns) {
                Ok(drive) => drive.shifted(side),
                Err(why) => {
                    plan.reason = why;
                    continue;
                }
            };
            let Some(reader) = book.raw().open(&raw_file.sha256)? else {
                plan.reason = format!(
                    "the raw file {} of {} is not here (SHA-256 {})",
                    raw_file.file, side.name, raw_file.sha256
                );
                continue;
            };
            let channels = means.map(|_| channel_sums::summed(&columns, &of_conditions));
            let summed =
                channels.iter().flatten().filter_map(|at| columns.channels.get(*at).cloned()).collect();
            plan.of.push((number, summed));
            plan.logs.push(Log { reader, columns, drive, segment: raw_file.segment, step_rpm, channels });
        }
        Ok(plan)
    }

    /// Takes the logs out, for another thread to read.
    pub(super) fn take_logs(&mut self) -> Vec<Log> {
        std::mem::take(&mut self.logs)
    }

    /// What the logs gave, in their order, told of the side's pull.
    pub(super) fn finish(self, logged: Vec<Logged>, side: &Side, kinds: &Kinds) -> Swept {
        let mut swept = Swept { curve: Err(self.reason), means: Means::new(), by_speed: BTreeMap::new() };
        for (at, ((number, summed), logged)) in self.of.iter().zip(logged).enumerate() {
            let raw_file = side.pull.as_ref().and_then(|pull| pull.raw.get(*number));
            let file = raw_file.map_or("", |raw_file| raw_file.file.as_str());
            if at == 0 {
                let none = || format!("no loaded sweep was found in {file} of {}", side.name);
                swept.curve = logged.curve.ok_or_else(none);
            }
            let Some((sums, points)) = logged.sums else { continue };
            let of = Of {
                side,
                file,
                drive: self.wanted.means != Some(Channels::OfConditions),
                channels: summed,
                conditions: &kinds.conditions,
            };
            for (word, mean) in sums.whole(&of) {
                swept.means.entry(word).or_insert(mean);
            }
            let near_speeds =
                matches!(self.wanted.means, Some(Channels::All | Channels::OfWeighing { near_speeds: true }));
            for speed in points.into_iter().filter(|_| near_speeds) {
                let known = swept.by_speed.entry(speed).or_default();
                for (word, mean) in sums.near(speed, &of) {
                    known.entry(word).or_insert(mean);
                }
            }
        }
        swept
    }

    /// Reads the logs on this thread, one after the other, and finishes.
    ///
    /// # Errors
    /// A file that its columns record does not fit, or that cannot be read.
    pub(super) fn read(mut self, side: &Side, kinds: &Kinds) -> Result<Swept, Failure> {
        let mut rows = Rows::default();
        let logged = self.take_logs().into_iter().map(|log| log.read(&mut rows)).collect::<Result<_, _>>()?;
        Ok(self.finish(logged, side, kinds))
    }
}

/// What the logs of a pull gave.
#[derive(Debug)]
pub(super) struct Swept {
    /// The sweep; none where none was asked for.
    pub(super) curve: Found,
    /// Means over the rows of the sweep, by the channel's word.
    means: Means,
    /// The same near each grid point, by speed in rpm.
    by_speed: BTreeMap<u32, Means>,
}

impl Swept {
    /// Puts the means on the side and leaves the sweep.
    pub(super) fn put_on(self, side: &mut Side) -> Found {
        side.channel_means = self.means;
        side.by_speed = self.by_speed;
        self.curve
    }
}

/// The channels that document a condition of this side which nobody wrote down, by their words: those that figures are
/// made of, and in a weighing all.
fn of_conditions<'a>(side: &Side, kinds: &'a Kinds, means: Option<Channels>) -> Vec<&'a str> {
    let all = matches!(means, Some(Channels::OfConditions | Channels::OfWeighing { .. }));
    kinds
        .conditions
        .iter()
        .filter(|spec| all || spec.means.is_some())
        .filter(|spec| !side.effective.conditions.contains_key(&spec.name))
        .filter_map(|spec| spec.channel.as_deref())
        .collect()
}

/// The sweep of a side's pull, or in words why there is none.
///
/// # Errors
/// The store's, or a file that its columns record does not fit.
pub(super) fn of_pull(book: &Book, library: &Library, side: &Side, step_rpm: u32) -> Result<Found, Failure> {
    let wanted = Wanted { step_rpm: Some(step_rpm), means: None };
    Ok(Plan::of(book, library, side, wanted)?.read(side, library.kinds())?.curve)
}
