//! Take in a flow-bench sheet: keep the bytes, read, check, record, one commit; a sheet for each port in the file.

use std::path::PathBuf;

use crate::answer::FlowEntered;
use crate::answer::FlowLine;
use crate::answer::FlowPoint;
use crate::answer::GapLine;
use crate::answer::TakenIn;
use crate::check::FlowSide;
use crate::check::flow_gaps;
use crate::finding::Finding;
use crate::finding::Place;
use crate::manifest::bind;
use crate::manifest::emit::Piece;
use crate::raw::Guess;
use crate::record::PartState;
use crate::record::PortSide;
use crate::record::is_tag;
use crate::store::Book;
use crate::workflow::Context;
use crate::workflow::Draft;
use crate::workflow::Failure;
use crate::workflow::Library;
use crate::workflow::enter_record;
use crate::workflow::enter_record::raw_lines;
use crate::workflow::flow_conditions;
use crate::workflow::flow_points;
use crate::workflow::flow_points::FlowColumns;
use crate::workflow::flow_ports::Port;
use crate::workflow::flow_ports::PortWords;
use crate::workflow::flow_ports::Which;
use crate::workflow::flow_ports::port_words;
use crate::workflow::flow_ports::ports;
use crate::workflow::flow_ports::settle;
use crate::workflow::input;
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
    /// The file that the table was exported from, kept as evidence beside it.
    pub derived_from: Option<PathBuf>,
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
    /// Copy bench, neighbours and fixtures of the last sheet.
    pub as_last: bool,
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

/// Takes in a flow-bench sheet, one for each port in the file.
///
/// # Errors
/// The file is no table of lifts and flows, two readings are possible, or nobody says which port it is.
pub fn flow(book: &Book, context: &Context, request: &FlowRequest) -> Result<FlowEntered, Failure> {
    let mut draft = Draft::open(book, context)?;
    let part = part(draft.library(), &request.part)?;
    let mut request = request.clone();
    let as_last = if request.as_last {
        flow_conditions::as_last(draft.library(), &part, &mut request)?
    } else {
        Vec::new()
    };
    let request = &request;
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
        derived_from: request.derived_from.as_deref(),
    };
    let (mut tables, evidence) = take_in::sorted(&request.files, &reading)?;
    let (Some(found), true) = (tables.pop(), tables.is_empty()) else {
        return Err(Failure::usage(
            Finding::error("several-tables", "a flow sheet is entered from one table at a time")
                .found(format!("{} tables", tables.len() + 1))
                .next("enter them one by one; photos may stand beside each"),
        ));
    };
    let kept = take_in::keep(&mut draft, context, &reading, &evidence)?;
    let first = tag(draft.library(), request, &part, specs.first())?;
    let mut table = take_in::table(&mut draft, context, &reading, found, &first)?;
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
        as_last,
        sheets: Vec::new(),
        taken_in: TakenIn {
            columns: Some(table.columns.name.clone()),
            columns_new: table.columns_new,
            channels: look::channel_lines(&table.summary, table.guess.as_ref()),
            ..TakenIn::default()
        },
    };
    flow_conditions::fitting(draft.library(), request, &ports)?;
    let mut sheets = Vec::new();
    for port in &ports {
        if let Some(holder) = held_by(draft.library(), &table, port)? {
            answer.taken_in.already.push(format!("{} is {holder} already", table.name));
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
    answer.taken_in.doubts.clone_from(&table.doubts);
    if answer.sheets.is_empty() {
        answer.taken_in.next = "nothing new was entered: these bytes are in the book".to_owned();
        return Ok(answer);
    }
    answer.taken_in.evidence = take_in::evidence_lines(&kept, &[&table.name]);
    let tags: Vec<&str> = answer.sheets.iter().map(|sheet| sheet.flow.as_str()).collect();
    answer.taken_in.next = match answer.sheets.iter().find_map(|sheet| sheet.gaps.first()) {
        Some(gap) => gap.close.first().cloned().unwrap_or_default(),
        None => format!("mulebook diff BASE {}", tags.join(" ")),
    };
    let message = format!("Enter flow sheet {}: {}", tags.join(", "), table.name);
    answer.taken_in.written = Some(draft.commit(context, &message)?);
    Ok(answer)
}

/// Cuts what a unit's factor adds behind the twelfth digit, so that 112.4 cfm shows as 112.4.
pub(super) fn rounded(value: f64) -> f64 {
    format!("{value:.11e}").parse().unwrap_or(value)
}

fn placed(mut finding: Finding, name: &str) -> Failure {
    finding.place.get_or_insert_with(|| Place::file(name)).file = name.to_owned();
    Failure::fault(finding)
}

/// The part that a name means, in the state named or its newest.
pub(super) fn part(library: &Library, text: &str) -> Result<PartState, Failure> {
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

/// The sheet's tag: as said, or from part and port with a number where that is taken.
fn tag(
    library: &Library,
    request: &FlowRequest,
    part: &PartState,
    port: Option<&PortWords>,
) -> Result<String, Failure> {
    let unsaid = Which { side: PortSide::Inlet, number: None, cylinder: None };
    tag_for(library, request, part, port.map_or(&unsaid, |port| &port.which))
}

fn tag_for(
    library: &Library,
    request: &FlowRequest,
    part: &PartState,
    which: &Which,
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
    let short = if which.side == PortSide::Inlet { "in" } else { "ex" };
    let plain = |text: &Option<String>| -> String {
        text.iter().flat_map(|text| text.chars()).filter(char::is_ascii_alphanumeric).collect()
    };
    let cylinder = plain(&which.cylinder);
    let number = if cylinder.is_empty() {
        plain(&which.number)
    } else {
        format!("{}c{cylinder}", plain(&which.number))
    };
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
    let tag = tag_for(draft.library(), request, sheet.part, &port.which)?;
    let on = match &request.on {
        Some(on) => input::checked_moment(on)?,
        None => context.now.date_naive().to_string(),
    };
    let (conditions, found) =
        flow_conditions::conditions(draft.library(), context, request, table, port, &on)?;
    let mut entries = vec![("flow".to_owned(), Piece::word(&tag))];
    let mut put = |key: &str, piece: Piece| entries.push((key.to_owned(), piece));
    put("part", Piece::word(sheet.part.to_string()));
    if !sheet.with_part.is_empty() {
        put(
            "with-part",
            Piece::Row(sheet.with_part.iter().map(|part| Piece::word(part.to_string())).collect()),
        );
    }
    put("side", Piece::word(port.which.side.word()));
    if let Some(number) = &port.which.number {
        put("port", Piece::text(number));
    }
    if let Some(cylinder) = &port.which.cylinder {
        put("cylinder", Piece::text(cylinder));
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
            let says = Piece::text(enter_record::told(doubt));
            Piece::Line(vec![("code".to_owned(), Piece::word(doubt.code)), ("says".to_owned(), says)])
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
        side: port.which.side.word(),
        port: port.which.number.clone(),
        cylinder: port.which.cylinder.clone(),
        file: table.name.clone(),
        sha256: table.raw.sha256.clone(),
        segment: port.segment,
        channel: port.channel.clone(),
        flow_unit: port.flow.unit.symbol().to_owned(),
        points,
        taken: found.taken,
        not_taken: found.not_taken,
        gaps,
    })
}
