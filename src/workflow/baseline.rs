//! An engine's own health over time: one build of it across sessions, beside what was read of its rings and valves.

use std::collections::BTreeMap;
use std::collections::BTreeSet;

use crate::answer::BaselineAnswer;
use crate::answer::BaselineTrend;
use crate::answer::BaselineUnit;
use crate::answer::HealthFigure;
use crate::answer::HealthReading;
use crate::curves::Curve;
use crate::finding::Finding;
use crate::quantity::QuantityKind;
use crate::record::Course;
use crate::record::Figure;
use crate::record::Moment;
use crate::record::Value;
use crate::statistics::StatisticsError;
use crate::statistics::least_squares::Fit;
use crate::store::Book;
use crate::workflow::AsOf;
use crate::workflow::Failure;
use crate::workflow::Library;
use crate::workflow::compare::unit;
use crate::workflow::derived;
use crate::workflow::doubts_on;
use crate::workflow::names;
use crate::workflow::names::Named;
use crate::workflow::weigh_pulls;
use crate::workflow::weigh_pulls::Grid;
use crate::workflow::weigh_pulls::Weighable;

/// Level of the intervals.
const LEVEL: f64 = 0.95;
/// Fewest times together that tell a straight line from scatter.
const FEWEST_FOR_A_TREND: usize = 3;
/// The trend is told over so many days.
const DAYS: f64 = 30.0;
/// Conditions of a pull that tell of the engine rather than of the weather.
const OF_THE_ENGINE: [&str; 2] = ["blow-by", "crankcase-pressure"];

/// What is asked.
#[derive(Debug, Clone, Default)]
pub struct BaselineRequest {
    /// The engine.
    pub engine: String,
    /// The build to follow; the one run in most sessions unless said.
    pub build: Option<String>,
    /// Lowest and highest speed in rpm; all that the pulls share unless said.
    pub window: Option<(u32, u32)>,
    /// Mean power instead of mean torque.
    pub power: bool,
    /// Which version of the book is asked.
    pub as_of: AsOf,
}

/// Follows one build of an engine across sessions.
///
/// # Errors
/// The name is no engine, it has no pulls, or no speed is shared by them.
pub fn baseline(book: &Book, request: &BaselineRequest) -> Result<BaselineAnswer, Failure> {
    let library = request.as_of.library(book)?;
    let engine = match names::any(&library, &request.engine)? {
        Named::Part { tag, .. } => tag,
        _ => return Err(no_engine(&request.engine)),
    };
    let builds = builds_of(&library, &engine)?;
    let followed = match &request.build {
        Some(build) if builds.contains_key(build) => build.clone(),
        Some(build) => {
            let names: Vec<&str> = builds.keys().map(String::as_str).collect();
            return Err(Failure::usage(
                Finding::error("no-such-build", format!("{engine} has no build of this name with pulls"))
                    .found(build.clone())
                    .expected(names.join(", ")),
            ));
        }
        None => most_run(&builds).ok_or_else(|| no_engine(&request.engine))?,
    };
    let others = builds.keys().filter(|name| **name != followed).cloned().collect();
    let ids: BTreeSet<String> = builds.get(&followed).into_iter().flatten().cloned().collect();
    let grid = Grid { step_rpm: 100, smooth_rpm: None };
    let (gathered, set_aside) = weigh_pulls::gathered(book, &library, ids.iter(), grid)?;
    let mut left_out: Vec<String> = set_aside.into_iter().map(|(id, why)| format!("{id}: {why}")).collect();
    let basis = derived::wanted(&library, None)?.map(|wanted| wanted.basis);
    let mut pulls: Vec<Weighable> = Vec::new();
    for (side, curve) in gathered {
        let name = side.name.clone();
        if side.pull.as_ref().is_some_and(|pull| !pull.changed.is_empty()) {
            left_out.push(format!("{name}: something was changed by hand for it"));
            continue;
        }
        match weigh_pulls::weighable_of(&library, side, curve, basis, grid)? {
            Ok(pull) => pulls.push(pull),
            Err(why) => left_out.push(format!("{name}: {why}")),
        }
    }
    let speeds = speeds(&pulls, request.window)?;
    let (kind, symbol) =
        if request.power { (QuantityKind::Power, "kW") } else { (QuantityKind::Torque, "N·m") };
    let (symbol, per_si) = unit(&library, kind, symbol);
    let mut units: BTreeMap<(String, String), Vec<(&Weighable, f64)>> = BTreeMap::new();
    for pull in &pulls {
        let Some(mean) = pull.curve.mean(&speeds, request.power) else { continue };
        let value = mean * pull.factor * per_si;
        units.entry((pull.session(), pull.fit_up())).or_default().push((pull, value));
    }
    let mut lines: Vec<(f64, BaselineUnit)> = units
        .into_iter()
        .map(|((session, _), pulls)| of_unit(session, &pulls))
        .collect::<Result<_, _>>()
        .map_err(plain)?;
    lines.sort_by(|a, b| a.0.total_cmp(&b.0));
    let first = lines.first().map_or(0.0, |(_, line)| line.mean);
    for (_, line) in &mut lines {
        line.change_percent = if first > 0.0 { 100.0 * (line.mean / first - 1.0) } else { 0.0 };
    }
    let (trend, no_trend) = trend(&lines).map_err(plain)?;
    let doubts = doubts_on::lines(pulls.iter().map(|pull| &pull.side), library.kinds());
    let window = match (speeds.first(), speeds.last()) {
        (Some(low), Some(high)) => format!(" from {low} to {high} rpm"),
        _ => String::new(),
    };
    Ok(BaselineAnswer {
        figure: format!("mean {}{window}", if request.power { "power" } else { "torque" }),
        correction: basis.map_or_else(|| "as observed".to_owned(), |basis| basis.name().to_owned()),
        unit: symbol.to_owned(),
        units: lines.into_iter().map(|(_, line)| line).collect(),
        trend,
        no_trend,
        health: health(&library, &engine, &pulls)?,
        left_out,
        doubts,
        pending: request.as_of.pending_among(book, &library)?,
        commit: library.commit().short(),
        next: format!("mulebook sheet {followed}   all of the build that is followed"),
        others,
        engine,
        build: followed,
    })
}

/// The builds of an engine that have pulls, with their pulls.
fn builds_of(library: &Library, engine: &str) -> Result<BTreeMap<String, Vec<String>>, Failure> {
    let mut found = BTreeMap::new();
    for name in library.build_names()? {
        if library.build(&name)?.is_some_and(|build| build.engine == engine) {
            let pulls = library.pulls_of(&name)?;
            if !pulls.is_empty() {
                found.insert(name, pulls);
            }
        }
    }
    Ok(found)
}

/// The build run in most sessions; of several the one with most pulls.
fn most_run(builds: &BTreeMap<String, Vec<String>>) -> Option<String> {
    let sessions = |pulls: &Vec<String>| {
        let tags = pulls.iter().filter_map(|id| id.rsplit_once('-')).map(|(session, _)| session);
        tags.collect::<BTreeSet<_>>().len()
    };
    let ranked = builds.iter().map(|(name, pulls)| ((sessions(pulls), pulls.len()), name));
    // Of equals the first by name, whatever else is in the book.
    ranked.rev().max_by_key(|(rank, _)| *rank).map(|(_, name)| name.clone())
}

fn speeds(pulls: &[Weighable], window: Option<(u32, u32)>) -> Result<Vec<u32>, Failure> {
    let curves: Vec<&Curve> = pulls.iter().map(|pull| &pull.curve).collect();
    let shared = weigh_pulls::shared_speeds(&curves);
    let (low, high) = window.unwrap_or((0, u32::MAX));
    let found: Vec<u32> = shared.range(low..=high).copied().collect();
    if found.is_empty() {
        return Err(Failure::usage(
            Finding::error("no-speeds", "no grid point is filled in every pull")
                .next("name a --window that every sweep covers, or another --build"),
        ));
    }
    Ok(found)
}

#[expect(clippy::cast_precision_loss, reason = "days and counts of pulls are small")]
fn of_unit(session: String, pulls: &[(&Weighable, f64)]) -> Result<(f64, BaselineUnit), StatisticsError> {
    let values: Vec<f64> = pulls.iter().map(|(_, value)| *value).collect();
    let level = Fit::of(&vec![vec![1.0]; values.len()], &values)?.coefficient(0)?;
    let half = (values.len() > 1).then(|| level.interval(LEVEL)).transpose()?;
    let first = pulls.first().map(|(pull, _)| *pull);
    let moment = first.and_then(|pull| pull.side.moment());
    let day = moment.map_or(0.0, |moment| {
        moment.day().signed_duration_since(chrono::NaiveDate::default()).num_days() as f64
    });
    // Times together within a day stand in the order of their pulls.
    let within = first.map_or(0.0, Weighable::at) / 1000.0;
    let unit = BaselineUnit {
        session,
        on: moment.map(|moment| moment.day().to_string()),
        fit_up: first.and_then(|pull| pull.side.pull.as_ref()).and_then(|pull| pull.fit_up),
        pulls: pulls.iter().map(|(pull, _)| pull.side.name.clone()).collect(),
        mean: level.value,
        half_width: half.map(|half| (half.upper - half.lower) / 2.0),
        change_percent: 0.0,
    };
    Ok((day + within, unit))
}

/// A straight line through the means of the times together: they are the units, since putting together scatters too.
fn trend(lines: &[(f64, BaselineUnit)]) -> Result<(Option<BaselineTrend>, Option<String>), StatisticsError> {
    let days: BTreeSet<&Option<String>> = lines.iter().map(|(_, line)| &line.on).collect();
    if lines.len() < FEWEST_FOR_A_TREND || days.len() < 2 {
        let why = format!(
            "{} together on {}: a trend takes {FEWEST_FOR_A_TREND} on two days at least",
            counted(lines.len(), "time"),
            counted(days.len(), "day")
        );
        return Ok((None, Some(why)));
    }
    let first = lines.first().map_or(0.0, |(day, _)| *day);
    let design: Vec<Vec<f64>> = lines.iter().map(|(day, _)| vec![1.0, (day - first) / DAYS]).collect();
    let observed: Vec<f64> = lines.iter().map(|(_, line)| line.mean).collect();
    let slope = Fit::of(&design, &observed)?.coefficient(1)?;
    let interval = slope.interval(LEVEL)?;
    let trend = BaselineTrend {
        per_30_days: slope.value,
        lower: interval.lower,
        upper: interval.upper,
        units: lines.len(),
        shown: interval.lower > 0.0 || interval.upper < 0.0,
    };
    Ok((Some(trend), None))
}

fn counted(count: usize, what: &str) -> String {
    if count == 1 { format!("one {what}") } else { format!("{count} {what}s") }
}

/// What was read of the engine that drifts by itself, and what its pulls say of it.
fn health(library: &Library, engine: &str, pulls: &[Weighable]) -> Result<Vec<HealthFigure>, Failure> {
    let mut found: BTreeMap<String, Vec<(Option<Moment>, HealthReading)>> = BTreeMap::new();
    let mut take = |title: &str, figure: &Figure, at: &str| {
        for entry in figure.entries.iter().filter(|entry| !entry.is_doubted()) {
            let Some(value) = entry.known.value() else { continue };
            let reading = HealthReading {
                on: entry.moment().map(|moment| moment.day().to_string()),
                text: match value {
                    Value::Quantity(reading) => reading.text().to_owned(),
                    Value::Text(text) => text.clone(),
                },
                at: at.to_owned(),
            };
            found.entry(title.to_owned()).or_default().push((entry.moment(), reading));
        }
    };
    if let Some(part) = library.part(engine)?
        && let Some(kind) = library.kinds().part(&part.kind)
    {
        for spec in kind.figures.iter().filter(|spec| spec.course == Course::Drifting) {
            for state in &part.states {
                if let Some(figure) = state.figures.get(&spec.name) {
                    take(&spec.title, figure, &format!("{engine}/{}", state.letter));
                }
            }
        }
    }
    for pull in pulls {
        for name in OF_THE_ENGINE {
            if let Some(held) = pull.side.effective.conditions.get(name) {
                let title = library.kinds().condition(name).map_or(name, |spec| spec.title.as_str());
                take(title, &held.figure, &pull.side.name);
            }
        }
    }
    Ok(found
        .into_iter()
        .map(|(title, mut readings)| {
            readings.sort_by_key(|(moment, _)| moment.as_ref().map(Moment::day));
            HealthFigure { title, readings: readings.into_iter().map(|(_, reading)| reading).collect() }
        })
        .collect())
}

fn no_engine(name: &str) -> Failure {
    Failure::usage(
        Finding::error("no-engine", "no build with pulls has this for its engine")
            .found(format!("`{name}`"))
            .expected("the part that is the engine, as a build names it under `engine:`"),
    )
}

fn plain(error: StatisticsError) -> Failure {
    Finding::error("cannot-be-weighed", error.to_string()).into()
}
