//! The sweep of a pull: its raw bytes read again through its columns record, onto the grid.

use crate::check::Side;
use crate::curves::Curve;
use crate::curves::SweepFinder;
use crate::quantity::QuantityKind;
use crate::quantity::Unit;
use crate::raw;
use crate::record::channel::ChannelQuantity;
use crate::record::columns::Columns;
use crate::store::Book;
use crate::workflow::Failure;
use crate::workflow::Library;

/// Where speed and torque stand in a columns record, with their factors to rpm and N·m.
#[derive(Debug, Clone, Copy)]
pub(super) struct Drive {
    speed: (usize, f64),
    torque: Option<(usize, f64)>,
    power: Option<(usize, f64)>,
}

impl Drive {
    /// Finds speed and torque (or power) with units that are known.
    pub(super) fn of(columns: &Columns) -> Result<Self, String> {
        let find = |quantity: ChannelQuantity, kind: QuantityKind, to: f64| {
            let at = columns.channels.iter().position(|column| column.quantity == quantity)?;
            let unit = columns.channels[at].unit.as_deref()?;
            let unit = Unit::parse(unit, kind).ok()?;
            Some((at, unit.to_si(1.0) * to))
        };
        // Rotational speed in SI is radians per second; the grid is in rpm.
        let rpm = 30.0 / std::f64::consts::PI;
        let speed = find(ChannelQuantity::Speed, QuantityKind::RotationalSpeed, rpm)
            .ok_or_else(|| format!("the columns record `{}` names no speed with a unit", columns.name))?;
        let torque = find(ChannelQuantity::Torque, QuantityKind::Torque, 1.0);
        let power = find(ChannelQuantity::Power, QuantityKind::Power, 1.0);
        if torque.is_none() && power.is_none() {
            return Err(format!(
                "the columns record `{}` names neither torque nor power with a unit",
                columns.name
            ));
        }
        Ok(Self { speed, torque, power })
    }

    /// Speed in rpm and torque in N·m of a row.
    pub(super) fn row(&self, batch: &raw::Batch<'_>, row: usize) -> (f64, f64) {
        let value = |(at, factor): (usize, f64)| {
            batch.columns.get(at).and_then(|column| column.get(row)).map_or(f64::NAN, |x| x * factor)
        };
        let speed = value(self.speed);
        let torque = match (self.torque, self.power) {
            (Some(torque), _) => value(torque),
            (None, Some(power)) => value(power) / (speed * std::f64::consts::PI / 30.0),
            (None, None) => f64::NAN,
        };
        (speed, torque)
    }
}

/// The sweep of a side's pull, or in words why there is none.
///
/// # Errors
/// The store's, or a file that its columns record does not fit.
pub(super) fn of_pull(
    book: &Book,
    library: &Library,
    side: &Side,
    step_rpm: u32,
) -> Result<Result<Curve, String>, Failure> {
    let Some(pull) = &side.pull else {
        return Ok(Err(format!("{} is a build alone", side.name)));
    };
    let mut reason = format!("{} has no raw file with a columns record", side.name);
    for raw_file in &pull.raw {
        let Some(name) = &raw_file.columns else { continue };
        let Some(columns) = library.columns(name)? else {
            reason = format!("the columns record `{name}` of {} is not in the book", side.name);
            continue;
        };
        let drive = match Drive::of(&columns) {
            Ok(drive) => drive,
            Err(why) => {
                reason = why;
                continue;
            }
        };
        let Some(mut reader) = book.raw().open(&raw_file.sha256)? else {
            reason = format!(
                "the raw file {} of {} is not here (SHA-256 {})",
                raw_file.file, side.name, raw_file.sha256
            );
            continue;
        };
        let mut finder = SweepFinder::new(step_rpm);
        let segment = raw_file.segment;
        raw::read(&mut reader, &columns, &mut |batch| {
            if segment.is_none_or(|segment| segment == batch.segment) {
                for row in 0..batch.rows() {
                    let (speed, torque) = drive.row(batch, row);
                    finder.push(speed, torque);
                }
            }
        })?;
        return Ok(finder
            .finish()
            .ok_or_else(|| format!("no loaded sweep was found in {} of {}", raw_file.file, side.name)));
    }
    Ok(Err(reason))
}
