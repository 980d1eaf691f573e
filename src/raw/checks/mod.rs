//! Doubts about what was read, gathered while the rows pass by.
//!
//! Each says in plain words which line and column, what was found and what would have been right. None changes a number.

mod barometer;
mod power;
mod range;
mod sameness;
mod thin;
mod time;

pub use barometer::sea_level_doubt;
pub(super) use power::{Fit, PowerUnits, fitting_units};

use crate::finding::Finding;
use crate::finding::Place;
use crate::raw::checks::power::PowerCheck;
use crate::raw::checks::thin::Thin;
use crate::raw::checks::time::TimeCheck;
use crate::raw::statistics::Running;
use crate::raw::summary::Batch;
use crate::record::channel::ChannelQuantity;
use crate::record::columns::Column;

/// Every check of one reading.
pub(super) struct Checks {
    time: Option<TimeCheck>,
    power: Vec<PowerCheck>,
    stopped: Option<sameness::StoppedSpeed>,
    thin: Thin,
}

impl Checks {
    pub(super) fn new(columns: &[Column]) -> Self {
        let of = |quantity| columns.iter().position(|c| c.quantity == quantity);
        let speed = of(ChannelQuantity::Speed);
        // Power is mostly computed from the speed itself and stops with it; torque does not.
        let load = of(ChannelQuantity::Torque).or(of(ChannelQuantity::Power));
        Self {
            time: of(ChannelQuantity::Time).map(TimeCheck::new),
            power: PowerCheck::all(columns),
            stopped: speed.zip(load).map(|(speed, load)| sameness::StoppedSpeed::new(speed, load)),
            thin: Thin::new(columns.len()),
        }
    }

    /// Whether time begins again, seldom enough to part pulls.
    pub(super) fn time_restarts(&self) -> bool {
        self.time.as_ref().is_some_and(TimeCheck::restarts)
    }

    pub(super) fn begin_segment(&mut self) {
        if let Some(time) = &mut self.time {
            time.begin_segment();
        }
        if let Some(stopped) = &mut self.stopped {
            stopped.begin_segment();
        }
    }

    pub(super) fn rows(&mut self, batch: &Batch<'_>) {
        if let Some(time) = &mut self.time {
            time.rows(batch);
        }
        for power in &mut self.power {
            power.rows(batch);
        }
        if let Some(stopped) = &mut self.stopped {
            stopped.rows(batch);
        }
        self.thin.rows(batch);
    }

    /// What looks wrong, now that everything has been seen. What holds of a whole channel names the line of its first
    /// value, or of the first row, where it has none.
    pub(super) fn finish(self, columns: &[Column], running: &[Running], first_row: u64) -> Vec<Finding> {
        let mut doubts = Vec::new();
        sameness::no_data(columns, running, &mut doubts);
        sameness::stuck(columns, running, &mut doubts);
        if let Some(time) = &self.time {
            time.finish(columns, &mut doubts);
        }
        if let Some(stopped) = &self.stopped {
            stopped.finish(columns, &mut doubts);
        }
        power::finish(&self.power, &self.thin, columns, running, &mut doubts);
        power::fuel(&self.thin, columns, &mut doubts);
        range::units_against_values(&self.thin, columns, &mut doubts);
        fuel_not_said(columns, &mut doubts);
        for place in doubts.iter_mut().filter_map(|doubt| doubt.place.as_mut()) {
            let channel =
                columns.iter().position(|column| place.field.as_deref() == Some(column.name.as_str()));
            let line = channel.and_then(|channel| running[channel].first_line).unwrap_or(first_row);
            place.line.get_or_insert(usize::try_from(line).unwrap_or(usize::MAX));
        }
        doubts
    }
}

/// Notes an air-fuel ratio without its fuel: lambda cannot be had from it.
fn fuel_not_said(columns: &[Column], doubts: &mut Vec<Finding>) {
    let ratios = columns.iter().filter(|column| column.quantity == ChannelQuantity::AirFuelRatio);
    for column in ratios.filter(|column| column.fuel.is_none()) {
        let message = format!("{} is air over fuel, and nothing says which fuel", column.name);
        doubts.push(
            Finding::note("fuel-not-said", message)
                .at(Place::default().field(column.name.as_str()))
                .next("say `fuel:` in the columns record; without it there is no lambda"),
        );
    }
}
