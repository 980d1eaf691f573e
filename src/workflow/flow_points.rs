//! The readings of a flow sheet: from its raw file through its columns record, or as written by hand.

use std::io::Read;

use crate::finding::Finding;
use crate::finding::Place;
use crate::quantity::Unit;
use crate::raw;
use crate::record::FlowSheet;
use crate::record::channel::ChannelQuantity;
use crate::record::columns::Column;
use crate::record::columns::Columns;
use crate::store::Book;
use crate::workflow::Failure;
use crate::workflow::Library;

/// One reading of a bench.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct FlowReading {
    /// Valve lift in m.
    pub(super) lift_m: f64,
    /// Flow as read in m³/s.
    pub(super) flow_m3_per_s: f64,
    /// Pressure across the port in Pa, where it stands beside the reading.
    pub(super) pressure_pa: Option<f64>,
}

/// A column with its unit, by its place in the record.
#[derive(Debug, Clone, Copy)]
pub(super) struct Channel {
    pub(super) at: usize,
    pub(super) unit: &'static Unit,
}

/// Where lift, flow and pressure stand in a columns record.
#[derive(Debug, Clone)]
pub(super) struct FlowColumns {
    pub(super) lift: Channel,
    pub(super) flows: Vec<Channel>,
    pub(super) pressure: Option<Channel>,
}

impl FlowColumns {
    /// Finds lift and flow with units that are known.
    ///
    /// # Errors
    /// A channel or its unit is missing.
    pub(super) fn of(columns: &Columns) -> Result<Self, Finding> {
        let all = |quantity: ChannelQuantity| -> Result<Vec<Channel>, Finding> {
            let found = columns.channels.iter().enumerate().filter(|(_, column)| column.quantity == quantity);
            found.map(|(at, column)| Ok(Channel { at, unit: unit_of(column)? })).collect()
        };
        let lift = all(ChannelQuantity::Lift)?;
        let flows = all(ChannelQuantity::Flow)?;
        let &[lift] = lift.as_slice() else {
            return Err(missing(columns, "one column of lifts"));
        };
        if flows.is_empty() {
            return Err(missing(columns, "a column of flows"));
        }
        Ok(Self { lift, flows, pressure: all(ChannelQuantity::TestPressure)?.first().copied() })
    }
}

fn unit_of(column: &Column) -> Result<&'static Unit, Finding> {
    let known = column.unit.as_deref().and_then(|text| column.quantity.unit(text));
    known.map(|(unit, _)| unit).ok_or_else(|| {
        Finding::error("unit-not-said", format!("nothing says the unit of {}", column.name))
            .at(Place::default().field(column.name.clone()))
            .next(format!("say it: `--unit \"{}=…\"`, or in the header", column.name))
    })
}

fn missing(columns: &Columns, what: &str) -> Finding {
    let held: Vec<String> =
        columns.channels.iter().map(|column| format!("{} ({})", column.name, column.quantity)).collect();
    Finding::error("no-flow-columns", format!("a flow sheet has {what}"))
        .found(held.join(", "))
        .expected("columns headed `lift` and `flow`, each with its unit")
        .next("head the columns so, or name one: `--port \"COLUMN=inlet:2\"`")
}

/// The readings of one port in a table.
///
/// # Errors
/// The bytes do not fit the columns record.
pub(super) fn of_table(
    reader: &mut dyn Read,
    columns: &Columns,
    places: &FlowColumns,
    flow: Channel,
    segment: Option<usize>,
) -> Result<Vec<FlowReading>, Failure> {
    let mut readings = Vec::new();
    raw::read(reader, columns, &mut |batch| {
        if segment.is_some_and(|segment| segment != batch.segment) {
            return;
        }
        for row in 0..batch.rows() {
            let value = |channel: Channel| {
                let written = batch.columns.get(channel.at).and_then(|column| column.get(row)).copied();
                written.filter(|value| !value.is_nan()).map(|value| channel.unit.to_si(value))
            };
            if let (Some(lift_m), Some(flow_m3_per_s)) = (value(places.lift), value(flow)) {
                let pressure_pa = places.pressure.and_then(value);
                readings.push(FlowReading { lift_m, flow_m3_per_s, pressure_pa });
            }
        }
    })?;
    Ok(readings)
}

/// The readings of a sheet of the book, or in words why there are none.
///
/// # Errors
/// The store's, or a file that its columns record does not fit.
pub(super) fn of_sheet(
    book: &Book,
    library: &Library,
    sheet: &FlowSheet,
) -> Result<Result<Vec<FlowReading>, String>, Failure> {
    let table = sheet.raw.iter().find_map(|raw| Some((raw, raw.columns.as_deref()?)));
    let Some((raw_file, name)) = table else {
        if sheet.lifts.is_empty() {
            return Ok(Err(format!("{} holds no lifts and no file with a columns record", sheet.tag)));
        }
        let by_hand = sheet.lifts.iter().map(|point| FlowReading {
            lift_m: point.lift.mean().si(),
            flow_m3_per_s: point.flow.mean().si(),
            pressure_pa: point.test_pressure.as_ref().map(|pressure| pressure.mean().si()),
        });
        return Ok(Ok(by_hand.collect()));
    };
    let Some(columns) = library.columns(name)? else {
        return Ok(Err(format!("the columns record `{name}` of {} is not in the book", sheet.tag)));
    };
    let places = FlowColumns::of(&columns)?;
    let named = |channel: &&Channel| {
        sheet.channel.as_ref().is_none_or(|wanted| columns.channels[channel.at].name == *wanted)
    };
    let Some(flow) = places.flows.iter().find(named).copied() else {
        let wanted = sheet.channel.clone().unwrap_or_default();
        return Ok(Err(format!("the columns record `{name}` names no flow `{wanted}`")));
    };
    let Some(mut reader) = book.raw().open(&raw_file.sha256)? else {
        return Ok(Err(format!(
            "the raw file {} of {} is not here (SHA-256 {})",
            raw_file.file, sheet.tag, raw_file.sha256
        )));
    };
    of_table(&mut reader, &columns, &places, flow, raw_file.segment).map(Ok)
}
