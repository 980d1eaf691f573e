//! Which port of a part stands where in a flow-bench file: by column, by segment, or the only one.

use crate::finding::Finding;
use crate::finding::Place;
use crate::quantity::QuantityKind;
use crate::quantity::Unit;
use crate::raw::Guess;
use crate::record::PortSide;
use crate::record::channel::ChannelQuantity;
use crate::workflow::Failure;
use crate::workflow::flow_points::Channel;
use crate::workflow::flow_points::FlowColumns;
use crate::workflow::take_in::Table;

/// One port in a file.
pub(super) struct Port {
    pub(super) segment: Option<usize>,
    pub(super) flow: Channel,
    pub(super) channel: Option<String>,
    pub(super) which: Which,
}

/// Which port of an engine.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Which {
    pub(super) side: PortSide,
    /// Its number, on the engine or in its cylinder.
    pub(super) number: Option<String>,
    /// The cylinder, where the number does not tell it.
    pub(super) cylinder: Option<String>,
}

/// A port as asked: where in the file, and which it is.
pub(super) struct PortWords {
    place: Option<String>,
    pub(super) which: Which,
}

pub(super) fn port_words(text: &str) -> Result<PortWords, Failure> {
    let (place, port) = match text.rsplit_once('=') {
        Some((place, port)) => (Some(place.trim().to_owned()), port),
        None => (None, text),
    };
    let (side, number) = port.split_once(':').unwrap_or((port, ""));
    let (number, cylinder) = number.split_once('/').unwrap_or((number, ""));
    let held = |text: &str| Some(text.trim().to_owned()).filter(|text| !text.is_empty());
    let (number, cylinder) = (held(number), held(cylinder));
    match PortSide::from_word(side.trim()) {
        Some(side) => Ok(PortWords { place, which: Which { side, number, cylinder } }),
        None => Err(Failure::usage(
            Finding::error("not-a-port", "a port is a side and its number on the engine")
                .found(format!("`{text}`"))
                .expected("inlet:2, inlet:1/3 for port 1 of cylinder 3, or WHERE=inlet:2 where a file holds several"),
        )),
    }
}

/// Settles a guess by what only a flow sheet is sure of: anything by volume is a port's flow; units as told.
pub(super) fn settle(
    guess: &mut Guess,
    ports: &[PortWords],
    units: &[(String, String)],
) -> Result<(), Failure> {
    for column in &mut guess.columns {
        let called = |name: &str| is_called(name, &column.name, column.header.as_deref());
        let by_volume =
            column.unit.as_deref().is_some_and(|unit| Unit::parse(unit, QuantityKind::VolumeFlow).is_ok());
        let says_flow = column
            .name
            .to_lowercase()
            .split(|c: char| !c.is_alphanumeric())
            .any(|word| matches!(word, "flow" | "cfm"));
        let loose = matches!(column.quantity, ChannelQuantity::Other | ChannelQuantity::AirFlow);
        let named = ports.iter().any(|port| port.place.as_deref().is_some_and(called));
        if named || (loose && (by_volume || (column.unit.is_none() && says_flow))) {
            column.quantity = ChannelQuantity::Flow;
            column.why = "on a flow sheet a column by volume is a port's flow".to_owned();
        }
    }
    for (name, unit) in units {
        let mut any = false;
        for column in &mut guess.columns {
            if is_called(name, &column.name, column.header.as_deref()) || column.quantity.word() == name {
                if column.quantity.unit(unit).is_none() {
                    return Err(Failure::usage(
                        Finding::error(
                            "unit-of-wrong-kind",
                            format!("this is no unit of {}", column.quantity),
                        )
                        .found(format!("`{unit}` for {}", column.name)),
                    ));
                }
                column.unit = Some(unit.clone());
                any = true;
                // What the sniffer doubted for want of a unit is settled.
                let name = column.name.as_str();
                guess.doubts.retain(|doubt| {
                    let field = doubt.place.as_ref().and_then(|place| place.field.as_deref());
                    !doubt.code.starts_with("unit-") || field != Some(name)
                });
            }
        }
        if !any {
            let known: Vec<&str> = guess.columns.iter().map(|column| column.name.as_str()).collect();
            return Err(Failure::usage(
                Finding::error("no-column", "the file has no such column")
                    .found(format!("`{name}`"))
                    .expected(known.join(", ")),
            ));
        }
    }
    Ok(())
}

fn is_called(wanted: &str, name: &str, header: Option<&str>) -> bool {
    wanted.eq_ignore_ascii_case(name) || header.is_some_and(|header| wanted.eq_ignore_ascii_case(header))
}

/// The ports in a table: by segment, by column, or the only one.
pub(super) fn ports(table: &Table, places: &FlowColumns, specs: &[PortWords]) -> Result<Vec<Port>, Failure> {
    let segments = table.summary.segments.len();
    let mut used = vec![false; specs.len()];
    let mut ports = Vec::new();
    for segment in (1..=segments).map(|number| (segments > 1).then_some(number)) {
        for flow in &places.flows {
            let column = &table.columns.channels[flow.at];
            let header = column.header.as_deref();
            let fits = |spec: &PortWords| match (&spec.place, segment) {
                (None, _) => segments == 1 && places.flows.len() == 1,
                (Some(place), None) => is_called(place, &column.name, header) || place == "1",
                (Some(place), Some(number)) => {
                    let (first, rest) = place.split_once('/').unwrap_or((place, ""));
                    first == number.to_string()
                        && if rest.is_empty() {
                            places.flows.len() == 1
                        } else {
                            is_called(rest, &column.name, header)
                        }
                }
            };
            let spec = specs.iter().position(fits);
            let which = match spec {
                Some(at) => {
                    used[at] = true;
                    specs[at].which.clone()
                }
                // With some ports named, the rest of the file was left out on purpose.
                None if !specs.is_empty() => continue,
                None => said_by_words(&column.name)
                    .or_else(|| said_by_line(table, segment))
                    .ok_or_else(|| not_said(table, segment, &column.name))?,
            };
            let channel = (places.flows.len() > 1).then(|| column.name.clone());
            ports.push(Port { segment, flow: *flow, channel, which });
        }
    }
    if let Some(at) = used.iter().position(|used| !used) {
        let place = specs[at].place.clone().unwrap_or_else(|| "the only port".to_owned());
        let flows: Vec<&str> =
            places.flows.iter().map(|flow| table.columns.channels[flow.at].name.as_str()).collect();
        return Err(Failure::usage(
            Finding::error("no-column", "the file holds no such port")
                .at(Place::file(table.name.clone()))
                .found(format!("`{place}`"))
                .expected(format!("a column of flows ({}) or a segment, 1 to {segments}", flows.join(", "))),
        ));
    }
    Ok(ports)
}

/// The port that a header names by itself: `Intake 2`, `Ex 1`, `Cyl 3 inlet 1`.
fn said_by_words(name: &str) -> Option<Which> {
    let words: Vec<String> = name
        .split(|c: char| !c.is_alphanumeric())
        .filter(|word| !word.is_empty())
        .map(str::to_lowercase)
        .collect();
    let side = words.iter().find_map(|word| PortSide::from_word(word))?;
    let is_number = |word: &String| word.bytes().all(|byte| byte.is_ascii_digit());
    let cylinder = words.iter().position(|word| matches!(word.as_str(), "cyl" | "cylinder"));
    let cylinder = cylinder.map(|at| at + 1).filter(|at| words.get(*at).is_some_and(is_number));
    let number = words.iter().enumerate().find(|(at, word)| is_number(word) && Some(*at) != cylinder);
    Some(Which {
        side,
        number: number.map(|(_, number)| number.clone()),
        cylinder: cylinder.and_then(|at| words.get(at).cloned()),
    })
}

/// The port that a line above the table or the segment names: `Port: intake 2`.
fn said_by_line(table: &Table, segment: Option<usize>) -> Option<Which> {
    let lines = table.lines_of(segment);
    let of = |wanted: &str| lines.iter().find(|line| line.key.eq_ignore_ascii_case(wanted));
    let mut which = said_by_words(&of("port")?.value)?;
    which.cylinder = which.cylinder.or_else(|| of("cylinder").map(|line| line.value.clone()));
    Some(which)
}

fn not_said(table: &Table, segment: Option<usize>, column: &str) -> Failure {
    let place = segment.map_or_else(|| column.to_owned(), |segment| segment.to_string());
    Failure::usage(
        Finding::error("port-not-said", "nothing says which port this is")
            .at(Place::file(table.name.clone()).field(column))
            .next(format!(
                "say it: `--port \"{place}=inlet:2\"`, or `--port inlet:2` where the file holds only one"
            )),
    )
}
