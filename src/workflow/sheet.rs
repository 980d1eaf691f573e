//! The sheet of a build or a pull, with what follows from it.

use crate::answer::AlarmLine;
use crate::answer::BarsLine;
use crate::answer::FlowSheetAnswer;
use crate::answer::SheetAnswer;
use crate::answer::SheetLine;
use crate::answer::SheetPart;
use crate::answer::SheetPull;
use crate::answer::SheetRoleLine;
use crate::check;
use crate::check::SheetRole;
use crate::check::Side;
use crate::derive;
use crate::derive::Asked;
use crate::finding::Finding;
use crate::quantity::QuantityKind;
use crate::quantity::Unit;
use crate::quantity::parse_reading;
use crate::record::Effective;
use crate::record::Pull;
use crate::record::Work;
use crate::store::Book;
use crate::workflow::AsOf;
use crate::workflow::Failure;
use crate::workflow::Library;
use crate::workflow::derived;
use crate::workflow::flow_bench;
use crate::workflow::gather;
use crate::workflow::names;
use crate::workflow::sheet_curve;
use crate::workflow::sheet_files;
use crate::workflow::sheet_learned;
use crate::workflow::sheet_repeat;

/// What `sheet` is asked.
#[derive(Debug, Clone, Default)]
pub struct SheetRequest {
    /// The build, pull or flow sheet.
    pub about: String,
    /// The engine speed for figures of the moving piston; the end of the sweep unless said.
    pub speed: Option<String>,
    /// Crank angles after top dead centre at which the piston is told, in degrees.
    pub crank_deg: Vec<f64>,
    /// Distance of the rows of figures by speed, in rpm.
    pub step_rpm: u32,
    /// The test pressure that a flow sheet is brought to; its own unless said.
    pub at_pressure: Option<String>,
    /// The range of lifts that a flow sheet's means are taken over, as `2 mm..10 mm`; all of them unless said.
    pub lifts: Option<String>,
    /// Tell what has been learned since the version asked.
    pub then_and_now: bool,
    /// Which version of the book is asked.
    pub as_of: AsOf,
}

/// What `sheet` answers: of a build or pull, or of a flow sheet.
#[derive(Debug, Clone, PartialEq)]
pub enum Laid {
    /// Of a build or pull.
    Side(Box<SheetAnswer>),
    /// Of a flow sheet.
    Flow(Box<FlowSheetAnswer>),
}

/// Lays out the build, pull or flow sheet that a name means.
///
/// # Errors
/// The name means nothing, or a record does not hold.
pub fn sheet(book: &Book, request: &SheetRequest) -> Result<Laid, Failure> {
    let library = request.as_of.library(book)?;
    if let Some(sheet) = library.flow(&request.about)? {
        if request.then_and_now {
            return Err(sheet_learned::not_of_flow(&request.about));
        }
        let mut answer = flow_bench::laid_out(book, &library, &sheet, &flow_asked(request)?)?;
        answer.pending = request.as_of.pending_among(book, &library)?;
        return Ok(Laid::Flow(Box::new(answer)));
    }
    let mut answer = of_library(book, &library, request)?;
    if request.then_and_now {
        let now = SheetRequest { as_of: AsOf::Present, about: answer.name.clone(), ..request.clone() };
        let now = of_library(book, &Library::at_head(book)?, &now)?;
        answer.learned = Some(sheet_learned::learned(&answer, &now));
    }
    Ok(Laid::Side(Box::new(answer)))
}

/// Lays out the build or pull that a name means.
///
/// # Errors
/// As [`sheet`]; a flow sheet is neither.
pub fn of_side(book: &Book, request: &SheetRequest) -> Result<SheetAnswer, Failure> {
    let library = request.as_of.library(book)?;
    of_library(book, &library, request)
}

/// The same of a library that is at hand.
pub(super) fn of_library(
    book: &Book,
    library: &Library,
    request: &SheetRequest,
) -> Result<SheetAnswer, Failure> {
    let mut side = gather::side(library, &names::pull_or_build(library, &request.about)?)?;
    side.asked = asked(request)?;
    let swept = derived::curve_adding_means(book, library, &mut side, sheet_curve::STEP_RPM)?;
    flow_bench::add_coefficient(book, library, &mut side)?;
    let kinds = library.kinds();
    let sheet = check::sheet_of(&side, kinds);
    let (figures, barred) = derived::of_side(library, &side)?;
    let (curve, no_curve) = match sheet_curve::curve_of(library, &side, swept)? {
        Some(Ok(curve)) => (Some(curve), None),
        Some(Err(why)) => (None, Some(why)),
        None => (None, None),
    };
    let gaps = check::gaps_of(&side, kinds).len();
    let lines = |items: &[check::SheetItem]| sheet_files::lines(book, items);
    let build = side.build.as_ref();
    let notes = build.and_then(|build| build.note.clone()).into_iter();
    let of_pull = side.pull.as_ref();
    let mut answer = SheetAnswer {
        name: side.name.clone(),
        of: if of_pull.is_some() { "pull" } else { "build" },
        build: build.map(|build| build.name.clone()),
        engine: build.map(|build| build.engine.clone()),
        on: match of_pull {
            Some(_) => side.moment().map(ToString::to_string),
            None => build.map(|build| build.since.to_string()),
        },
        by: match of_pull {
            Some(pull) => pull.by.clone(),
            None => build.and_then(|build| build.by.clone()),
        },
        notes: notes.chain(of_pull.and_then(|pull| pull.note.clone())).collect(),
        roles: sheet
            .roles
            .iter()
            .map(|role| Ok(role_line(library, &side, role, lines(&role.figures)?)))
            .collect::<Result<_, Failure>>()?,
        settings: lines(&sheet.settings)?,
        fits: lines(&sheet.fits)?,
        conditions: lines(&sheet.conditions)?,
        run: lines(&sheet.run)?,
        derived: figures,
        by_speed: derived::by_speed(library, &side, request.step_rpm)?,
        curve,
        no_curve,
        alarms: check::alarms_of(&side, kinds).iter().map(|alarm| AlarmLine::of(&side.name, alarm)).collect(),
        doubts: check::doubts_of(&side, kinds).into_iter().map(|doubt| doubt.says).collect(),
        contradictions: derive::contradictions(&side.ground(kinds)),
        bars: BarsLine::gather(&side.name, &barred),
        pulls: pulls(book, library, &side)?,
        instruments: sheet_repeat::instruments(&side, &sheet),
        repeat: sheet_repeat::repeat(library, &side, &sheet),
        learned: None,
        gaps,
        pending: Vec::new(),
        commit: library.commit().short(),
        next: match gaps {
            0 => format!("mulebook diff {} OTHER   what differs from another", side.name),
            _ => format!("mulebook gaps {} --fill   asks for what is missing", side.name),
        },
    };
    answer.pending = request.as_of.pending_among(book, library)?;
    Ok(answer)
}

fn flow_asked(request: &SheetRequest) -> Result<flow_bench::FlowAsked, Failure> {
    let read = |text: &str, kind: QuantityKind, unit: &str| -> Result<f64, Failure> {
        parse_reading(text, kind, Unit::parse(unit, kind).ok()).map(|reading| reading.mean().si()).map_err(
            |error| {
                let what = Finding::error("not-a-quantity", format!("this is no {}", kind.title()));
                Failure::usage(
                    what.found(format!("`{text}`")).expected(format!("such as 28 {unit} ({error})")),
                )
            },
        )
    };
    let pressure = |text: &String| read(text, QuantityKind::PressureDifference, "inH2O");
    let to_pa = request.at_pressure.as_ref().map(pressure).transpose()?;
    let range = match request.lifts.as_deref().map(|text| (text, text.split_once(".."))) {
        None => None,
        Some((_, Some((from, to)))) => Some((
            read(from.trim(), QuantityKind::Length, "mm")?,
            read(to.trim(), QuantityKind::Length, "mm")?,
        )),
        Some((text, None)) => {
            let what = Finding::error("not-a-range", "this is no range of lifts");
            return Err(Failure::usage(
                what.found(format!("`{text}`")).expected("two lifts, as 2 mm..10 mm"),
            ));
        }
    };
    Ok(flow_bench::FlowAsked { to_pa, range })
}

fn asked(request: &SheetRequest) -> Result<Asked, Failure> {
    let speed_rpm = match &request.speed {
        None => None,
        Some(text) => {
            let unclear = |why: String| {
                Failure::usage(
                    Finding::error("speed-unclear", "this is no engine speed")
                        .found(format!("`{text}`"))
                        .expected(format!("a speed such as 8500 rpm ({why})")),
                )
            };
            let reading = parse_reading(
                text,
                QuantityKind::RotationalSpeed,
                Unit::parse("rpm", QuantityKind::RotationalSpeed).ok(),
            )
            .map_err(|error| unclear(error.to_string()))?;
            let rpm = reading.mean().in_spelled("rpm").map_err(|error| unclear(error.to_string()))?;
            if rpm <= 0.0 {
                return Err(unclear("above zero".to_owned()));
            }
            Some((rpm * 1e6).round() / 1e6)
        }
    };
    Ok(Asked { speed_rpm, crank_deg: request.crank_deg.clone() })
}

fn role_line(library: &Library, side: &Side, role: &SheetRole, figures: Vec<SheetLine>) -> SheetRoleLine {
    let record = role.part.as_ref().filter(|_| !role.told_above).and_then(|part| side.parts.get(&part.tag));
    let part = record.zip(role.part.as_ref()).map(|(record, part)| {
        let kind = library.kinds().part(&record.kind);
        let titled = |work: &Work| {
            kind.and_then(|kind| kind.work(&work.op))
                .map_or_else(|| work.op.clone(), |spec| spec.title.clone())
        };
        SheetPart::of(record, &part.letter, &titled)
    });
    SheetRoleLine::of(role, part, figures)
}

/// The pull itself, or every pull of the build.
fn pulls(book: &Book, library: &Library, side: &Side) -> Result<Vec<SheetPull>, Failure> {
    if let Some(pull) = &side.pull {
        return Ok(vec![pull_line(book, pull, &side.effective)?]);
    }
    let mut lines = Vec::new();
    for id in
        side.build.iter().map(|build| library.pulls_of(&build.name)).collect::<Result<Vec<_>, _>>()?.concat()
    {
        if let Some(pull) = library.pull(&id)? {
            lines.push(pull_line(book, &pull, &Effective::of_pull(&pull, side.build.as_ref()))?);
        }
    }
    Ok(lines)
}

fn pull_line(book: &Book, pull: &Pull, effective: &Effective) -> Result<SheetPull, Failure> {
    Ok(SheetPull {
        pull: pull.id.clone(),
        at: pull.at.as_ref().map(ToString::to_string),
        fit_up: pull.fit_up,
        outcome: effective.outcome.to_string(),
        correction: effective.correction.as_ref().map(ToString::to_string),
        raw: pull.raw.iter().map(|raw| sheet_files::looked_at(book, raw)).collect::<Result<_, _>>()?,
    })
}
