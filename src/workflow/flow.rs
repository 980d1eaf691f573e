//! Take in a flow-bench sheet: keep the bytes, read, check, record, one commit; a sheet for each port in the file.

use crate::answer::FlowEntered;
use crate::answer::FlowLine;
use crate::answer::FlowPoint;
use crate::answer::GapLine;
use crate::check::FlowSide;
use crate::check::flow_gaps;
use crate::finding::Finding;
use crate::finding::Place;
use crate::manifest::bind;
use crate::manifest::emit::Piece;
use crate::quantity::QuantityKind;
use crate::quantity::Unit;
use crate::raw::Guess;
use crate::record::PartState;
use crate::record::PortSide;
use crate::record::channel::ChannelQuantity;
use crate::record::is_tag;
use crate::store::Book;
use crate::workflow::Context;
use crate::workflow::Draft;
use crate::workflow::Failure;
use crate::workflow::Library;
use crate::workflow::enter_conditions::Pieces;
use crate::workflow::enter_conditions::from_line;
use crate::workflow::enter_conditions::with_person;
use crate::workflow::enter_record::raw_lines;
use crate::workflow::flow_points;
use crate::workflow::flow_points::Channel;
use crate::workflow::flow_points::FlowColumns;
use crate::workflow::input;
use crate::workflow::input::FigureInput;
use crate::workflow::library::flow_path;
use crate::workflow::look;
use crate::workflow::names;
use crate::workflow::names::Named;
use crate::workflow::take_in;
use crate::workflow::take_in::Kept;
use crate::workflow::take_in::Offered;
use crate::workflow::take_in::Reading;
use crate::workflow::take_in::Table;

/// Valves open no further than this, in mm; the schema's own range for lifts.
const MOST_LIFT_MM: f64 = 30.0;

/// What `flow` is asked.
#[derive(Debug, Clone, Default)]
pub struct FlowRequest {
    /// The file, or what was typed, and beside it photos and other evidence.
    pub files: Vec<Offered>,
    /// The part on the bench, with its state or in its newest.
    pub part: String,
    /// Other parts in front of it or behind it.
    pub with_part: Vec<String>,
    /// The ports: `inlet:2`, or `WHERE=inlet:2` where the file holds several (a column, or a segment's number).
    pub ports: Vec<String>,
    /// The sheet's tag; made from part and port unless said.
    pub name: Option<String>,
    /// The flow bench.
    pub bench: Option<String>,
    /// The day; today unless said.
    pub on: Option<String>,
    /// Who flowed it.
    pub by: Option<String>,
    /// Conditions as `NAME=VALUE`.
    pub set: Vec<String>,
    /// The instrument of the conditions, or `NAME=INSTRUMENT` for one of them.
    pub with: Vec<String>,
    /// Units that the file does not say, as `COLUMN=UNIT`.
    pub units: Vec<String>,
    /// The columns record to follow to the letter.
    pub columns: Option<String>,
    /// The name under which guessed columns are kept.
    pub name_columns: Option<String>,
    /// Answers to questions about the file.
    pub read: Vec<String>,
    /// A remark.
    pub note: Option<String>,
}

/// One port in a file.
struct Port {
    segment: Option<usize>,
    flow: Channel,
    channel: Option<String>,
    side: PortSide,
    number: Option<String>,
}

/// Takes in a flow-bench sheet, one for each port in the file.
///
/// # Errors
/// The file is no table of lifts and flows, two readings are possible, or nobody says which port it is.
pub fn flow(book: &Book, context: &Context, request: &FlowRequest) -> Result<FlowEntered, Failure> {
    let mut draft = Draft::open(book, context)?;
    let part = part(draft.library(), &request.part)?;
    let with_part: Vec<PartState> =
        request.with_part.iter().map(|text| self::part(draft.library(), text)).collect::<Result<_, _>>()?;
    let specs: Vec<PortWords> =
        request.ports.iter().map(|text| port_words(text)).collect::<Result<_, _>>()?;
    let units: Vec<(String, String)> =
        request.units.iter().map(|text| input::assignment(text)).collect::<Result<_, _>>()?;
    let settle = |guess: &mut Guess| settle(guess, &specs, &units);
    let reading = Reading {
        columns: request.columns.as_deref(),
        name_columns: request.name_columns.as_deref(),
        answers: &request.read,
        settle: &settle,
        stem: request.bench.as_deref().unwrap_or("flow"),
    };
    let (tables, evidence) = take_in::sorted(&request.files, &reading)?;
    let &[offered] = tables.as_slice() else {
        return Err(Failure::usage(
            Finding::error("several-tables", "a flow sheet is entered from one table at a time")
                .found(format!("{} tables", tables.len()))
                .next("enter them one by one; photos may stand beside each"),
        ));
    };
    let kept = take_in::keep(&mut draft, context, &evidence)?;
    let first = tag(draft.library(), request, &part, specs.first())?;
    let mut table = take_in::table(&mut draft, context, &reading, offered, &first)?;
    let places = FlowColumns::of(&table.columns).map_err(|finding| placed(finding, &table.name))?;
    let ports = ports(&table, &places, &specs)?;
    if request.name.is_some() && ports.len() > 1 {
        return Err(Failure::usage(
            Finding::error("several-ports", "one tag cannot name several sheets")
                .found(format!("{} ports in {}", ports.len(), table.name))
                .next("leave `--name` out: each sheet is named after its part and port"),
        ));
    }
    let mut answer = FlowEntered {
        sheets: Vec::new(),
        already: Vec::new(),
        columns: Some(table.columns.name.clone()),
        columns_new: table.columns_new,
        channels: look::channel_lines(&table.summary, table.guess.as_ref()),
        doubts: Vec::new(),
        written: None,
        next: String::new(),
    };
    let mut sheets = Vec::new();
    for port in &ports {
        if let Some(holder) = held_by(draft.library(), &table, port)? {
            answer.already.push(format!("{} is {holder} already", table.name));
            continue;
        }
        let mut reader = draft.open_raw(&table.raw.sha256)?.ok_or_else(|| {
            Finding::error("raw-file", "the bytes just kept cannot be opened").found(table.raw.sha256.clone())
        })?;
        let readings = flow_points::of_table(&mut reader, &table.columns, &places, port.flow, port.segment)?;
        let points: Vec<FlowPoint> = readings
            .iter()
            .map(|reading| FlowPoint {
                lift_mm: rounded(reading.lift_m * 1e3),
                flow: rounded(port.flow.unit.from_si(reading.flow_m3_per_s)),
            })
            .collect();
        table.doubts.extend(lift_doubts(&points));
        sheets.push((port, points));
    }
    table.doubts = look::named_doubts(std::mem::take(&mut table.doubts), &table.name);
    for (port, points) in sheets {
        let sheet = Sheet { part: &part, with_part: &with_part, port, table: &table, evidence: &kept };
        answer.sheets.push(put(&mut draft, context, request, &sheet, points)?);
    }
    answer.doubts.clone_from(&table.doubts);
    if answer.sheets.is_empty() {
        answer.next = "nothing new was entered: these bytes are in the book".to_owned();
        return Ok(answer);
    }
    let tags: Vec<&str> = answer.sheets.iter().map(|sheet| sheet.flow.as_str()).collect();
    answer.next = match answer.sheets.iter().find_map(|sheet| sheet.gaps.first()) {
        Some(gap) => gap.close.first().cloned().unwrap_or_default(),
        None => format!("mulebook diff BASE {}", tags.join(" ")),
    };
    let message = format!("Enter flow sheet {}: {}", tags.join(", "), table.name);
    answer.written = Some(draft.commit(context, &message)?);
    Ok(answer)
}

/// Cuts what a unit's factor adds behind the twelfth digit, so that 112.4 cfm shows as 112.4.
fn rounded(value: f64) -> f64 {
    format!("{value:.11e}").parse().unwrap_or(value)
}

fn placed(mut finding: Finding, name: &str) -> Failure {
    finding.place.get_or_insert_with(|| Place::file(name)).file = name.to_owned();
    Failure::fault(finding)
}

/// The part that a name means, in the state named or its newest.
fn part(library: &Library, text: &str) -> Result<PartState, Failure> {
    match names::any(library, text)? {
        Named::Part { tag, letter: Some(letter) } => Ok(PartState { tag, letter }),
        Named::Part { tag, letter: None } => {
            let newest = library.part(&tag)?.and_then(|part| part.newest().map(|state| state.letter.clone()));
            Ok(PartState { tag, letter: newest.unwrap_or_default() })
        }
        _ => Err(Failure::usage(
            Finding::error("not-a-part", "what is on a flow bench is a part").found(format!("`{text}`")),
        )),
    }
}

/// A port as asked: where in the file, which side, which number.
struct PortWords {
    place: Option<String>,
    side: PortSide,
    number: Option<String>,
}

fn port_words(text: &str) -> Result<PortWords, Failure> {
    let (place, port) = match text.rsplit_once('=') {
        Some((place, port)) => (Some(place.trim().to_owned()), port),
        None => (None, text),
    };
    let (side, number) = match port.split_once(':') {
        Some((side, number)) => (side, Some(number.trim().to_owned()).filter(|number| !number.is_empty())),
        None => (port, None),
    };
    match PortSide::from_word(side.trim()) {
        Some(side) => Ok(PortWords { place, side, number }),
        None => Err(Failure::usage(
            Finding::error("not-a-port", "a port is a side and its number on the engine")
                .found(format!("`{text}`"))
                .expected("inlet:2, exhaust:1, or WHERE=inlet:2 where a file holds several"),
        )),
    }
}

/// Settles a guess by what only a flow sheet is sure of: anything by volume is a port's flow; units as told.
fn settle(guess: &mut Guess, ports: &[PortWords], units: &[(String, String)]) -> Result<(), Failure> {
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
fn ports(table: &Table, places: &FlowColumns, specs: &[PortWords]) -> Result<Vec<Port>, Failure> {
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
            let (side, number) = match spec {
                Some(at) => {
                    used[at] = true;
                    (specs[at].side, specs[at].number.clone())
                }
                // With some ports named, the rest of the file was left out on purpose.
                None if !specs.is_empty() => continue,
                None => said_by_header(&column.name).ok_or_else(|| not_said(table, segment, &column.name))?,
            };
            let channel = (places.flows.len() > 1).then(|| column.name.clone());
            ports.push(Port { segment, flow: *flow, channel, side, number });
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

/// The port that a header names by itself: `Intake 2`, `Ex 1`.
fn said_by_header(name: &str) -> Option<(PortSide, Option<String>)> {
    let words: Vec<&str> =
        name.split(|c: char| !c.is_alphanumeric()).filter(|word| !word.is_empty()).collect();
    let side = words.iter().find_map(|word| PortSide::from_word(word))?;
    let number = words.iter().find(|word| word.bytes().all(|byte| byte.is_ascii_digit()));
    Some((side, number.map(|number| (*number).to_owned())))
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

/// The sheet's tag: as said, or from part and port with a number where that is taken.
fn tag(
    library: &Library,
    request: &FlowRequest,
    part: &PartState,
    port: Option<&PortWords>,
) -> Result<String, Failure> {
    let side = port.map_or(PortSide::Inlet, |port| port.side);
    tag_for(library, request, part, side, port.and_then(|port| port.number.as_deref()))
}

fn tag_for(
    library: &Library,
    request: &FlowRequest,
    part: &PartState,
    side: PortSide,
    number: Option<&str>,
) -> Result<String, Failure> {
    if let Some(name) = &request.name {
        if !is_tag(name) {
            return Err(Failure::usage(
                Finding::error("not-a-tag", "this cannot name a record").found(format!("`{name}`")).expected(
                    "letters, digits, `.`, `_` and `-`, 64 at most, starting with a letter or digit",
                ),
            ));
        }
        return Ok(name.clone());
    }
    let short = if side == PortSide::Inlet { "in" } else { "ex" };
    let number: String = number.unwrap_or_default().chars().filter(char::is_ascii_alphanumeric).collect();
    let stem = format!("{}{}-{short}{number}", part.tag, part.letter);
    let taken = library.tags("flow")?;
    let free = (1u32..).map(|count| format!("{stem}-{count}")).find(|name| !taken.contains(name));
    Ok(free.unwrap_or(stem))
}

/// The sheet that holds these bytes, segment and column already.
fn held_by(library: &Library, table: &Table, port: &Port) -> Result<Option<String>, Failure> {
    if !table.raw.already {
        return Ok(None);
    }
    for tag in library.tags("flow")? {
        let Ok(Some(sheet)) = library.flow(&tag) else {
            continue;
        };
        let same = sheet.raw.iter().any(|raw| raw.sha256 == table.raw.sha256 && raw.segment == port.segment);
        if same && sheet.channel == port.channel {
            return Ok(Some(tag));
        }
    }
    Ok(None)
}

fn lift_doubts(points: &[FlowPoint]) -> Vec<Finding> {
    let far = points.iter().find(|point| !(0.0..=MOST_LIFT_MM).contains(&point.lift_mm));
    far.map(|point| {
        Finding::doubt("lift-implausible", "no valve opens so far; perhaps the unit is another")
            .found(format!("{} mm", point.lift_mm))
            .expected(format!("0 to {MOST_LIFT_MM} mm"))
            .next("say the unit: `--unit lift=…`")
    })
    .into_iter()
    .collect()
}

/// A sheet about to be written.
struct Sheet<'s> {
    part: &'s PartState,
    with_part: &'s [PartState],
    port: &'s Port,
    table: &'s Table,
    evidence: &'s [Kept],
}

fn put(
    draft: &mut Draft<'_>,
    context: &Context,
    request: &FlowRequest,
    sheet: &Sheet<'_>,
    points: Vec<FlowPoint>,
) -> Result<FlowLine, Failure> {
    let (port, table) = (sheet.port, sheet.table);
    let tag = tag_for(draft.library(), request, sheet.part, port.side, port.number.as_deref())?;
    let on = match &request.on {
        Some(on) => input::checked_moment(on)?,
        None => context.now.date_naive().to_string(),
    };
    let mut taken = Vec::new();
    let conditions = conditions(draft.library(), context, request, sheet, &on, &mut taken)?;
    let mut entries = vec![("flow".to_owned(), Piece::word(&tag))];
    let mut put = |key: &str, piece: Piece| entries.push((key.to_owned(), piece));
    put("part", Piece::word(sheet.part.to_string()));
    if !sheet.with_part.is_empty() {
        put(
            "with-part",
            Piece::Row(sheet.with_part.iter().map(|part| Piece::word(part.to_string())).collect()),
        );
    }
    put("side", Piece::word(port.side.word()));
    if let Some(number) = &port.number {
        put("port", Piece::text(number));
    }
    if let Some(bench) = &request.bench {
        put("bench", Piece::word(bench));
    }
    put("on", Piece::word(on.get(..10).unwrap_or(&on)));
    put("by", Piece::word(input::person(context, request.by.as_deref())?));
    if on.len() > 10 {
        put("at", Piece::word(&on));
    }
    if !conditions.is_empty() {
        put("conditions", Piece::Block(conditions));
    }
    if let Some(channel) = &port.channel {
        put("channel", Piece::text(channel));
    }
    put("raw", Piece::List(raw_lines(Some(table), port.segment, sheet.evidence)));
    if table.typed {
        put("typed", Piece::Flag(true));
    }
    if !table.doubts.is_empty() {
        let lines = table.doubts.iter().map(|doubt| {
            let place = doubt.place.as_ref().and_then(|place| place.line);
            let line = place.map(|line| format!("line {line}: ")).unwrap_or_default();
            let found = doubt.found.as_ref().map(|found| format!("; found {found}")).unwrap_or_default();
            Piece::Line(vec![
                ("code".to_owned(), Piece::word(doubt.code)),
                ("says".to_owned(), Piece::text(format!("{line}{}{found}", doubt.message))),
            ])
        });
        put("doubts", Piece::List(lines.collect()));
    }
    if let Some(note) = &request.note {
        put("note", Piece::text(note));
    }
    let path = flow_path(&tag);
    draft.put_new(&path, "flow", &entries)?;
    let library = draft.library();
    let root = library.tree(&path)?;
    let record = root.and_then(|root| bind::flow(&path, &root, library.kinds()).0);
    let gaps = match record {
        Some(record) => {
            let side = FlowSide { part: library.part(&record.part.tag)?, sheet: record };
            flow_gaps(&side, library.kinds()).iter().map(GapLine::from).collect()
        }
        None => Vec::new(),
    };
    Ok(FlowLine {
        flow: tag,
        part: sheet.part.to_string(),
        side: port.side.word(),
        port: port.number.clone(),
        file: table.name.clone(),
        sha256: table.raw.sha256.clone(),
        segment: port.segment,
        channel: port.channel.clone(),
        flow_unit: port.flow.unit.symbol().to_owned(),
        points,
        taken,
        gaps,
    })
}

/// Conditions as typed, then from the file's own lines.
fn conditions(
    library: &Library,
    context: &Context,
    request: &FlowRequest,
    sheet: &Sheet<'_>,
    on: &str,
    taken: &mut Vec<String>,
) -> Result<Pieces, Failure> {
    let fields = library.kinds().flow.as_slice();
    let mut conditions: Pieces = Vec::new();
    for assignment in &request.set {
        let (name, value) = input::assignment(assignment)?;
        let known = fields.iter().map(|field| (field.name.as_str(), field.aliases.as_slice()));
        let Some(own) = input::known_name(name.strip_prefix("conditions.").unwrap_or(&name), known) else {
            let known: Vec<&str> = fields.iter().map(|field| field.name.as_str()).collect();
            return Err(Failure::usage(
                Finding::error("unknown-field", "a flow sheet has no such condition")
                    .found(format!("`{name}`"))
                    .expected(known.join(", ")),
            ));
        };
        let mut told = FigureInput::typed(&value);
        told.by.clone_from(&request.by);
        told.taken = Some(on.to_owned());
        let own_instrument = request.with.iter().filter_map(|with| with.split_once('='));
        told.with = own_instrument
            .filter(|(field, _)| *field == own)
            .map(|(_, instrument)| instrument.to_owned())
            .next()
            .or_else(|| request.with.iter().find(|with| !with.contains('=')).cloned());
        let piece = input::figure_piece(library, context, library.kinds().flow_field(own), &told)?;
        conditions.push((own.to_owned(), piece));
    }
    let table = sheet.table;
    let heading = sheet
        .port
        .segment
        .and_then(|number| table.summary.segments.get(number - 1))
        .map(|segment| &segment.heading);
    for line in table.summary.preamble.iter().chain(heading.into_iter().flatten()) {
        if let Some((name, piece)) = from_line(fields, line, &table.name)
            && !conditions.iter().any(|(own, _)| *own == name)
        {
            taken.push(format!("{name} = {} (line {} of {})", line.value, line.line, table.name));
            conditions.push((name, with_person(piece, context, request.by.as_deref(), Some(on))?));
        }
    }
    Ok(conditions)
}
