//! The record of one pull as it is entered: its number, fit-up, conditions, and what "same as last" copies.

use crate::answer::PullLine;
use crate::finding::Finding;
use crate::finding::Place;
use crate::manifest::emit::Piece;
use crate::quantity::QuantityKind;
use crate::quantity::Unit;
use crate::quantity::parse_reading;
use crate::raw;
use crate::record::Correcting;
use crate::record::Effective;
use crate::record::Pull;
use crate::store::RawFile;
use crate::workflow::Context;
use crate::workflow::Draft;
use crate::workflow::Failure;
use crate::workflow::Library;
use crate::workflow::enter;
use crate::workflow::enter::PullRequest;
use crate::workflow::enter_conditions::Pieces;
use crate::workflow::enter_conditions::changed;
use crate::workflow::enter_conditions::conditions;
use crate::workflow::fit_up::fit_up;
use crate::workflow::input;
use crate::workflow::library::UNASSIGNED;
use crate::workflow::names;
use crate::workflow::run_gaps;
use crate::workflow::take_in;
use crate::workflow::take_in::Kept;
use crate::workflow::take_in::Table;

/// The condition that a barometer gives.
const STATION_PRESSURE: &str = "station-pressure";

/// A pull about to be written.
pub(super) struct Entering<'e> {
    pub(super) session: &'e str,
    pub(super) order: u32,
    pub(super) table: Option<&'e Table>,
    pub(super) segment: Option<usize>,
    pub(super) evidence: &'e [Kept],
}

/// The order of the next pull of a session.
///
/// # Errors
/// The order asked for is taken.
pub(super) fn next_order(library: &Library, session: &str, wanted: Option<u32>) -> Result<u32, Failure> {
    let known = names::in_session(library.pull_paths()?, session);
    let next = known.keys().next_back().map_or(1, |last| last + 1);
    match wanted {
        None => Ok(next),
        Some(0) => Err(Failure::usage(Finding::error("bad-order", "pulls are counted from 1"))),
        Some(order) => match known.get(&order) {
            Some(holder) => Err(Finding::error("name-taken", "this number is taken, for ever")
                .found(holder.clone())
                .expected(format!("{next} or another free number"))
                .into()),
            None => Ok(order),
        },
    }
}

/// Writes one pull's manifest into a write under way; returns its line, its path and doubts about its conditions.
///
/// # Errors
/// A value does not hold.
pub(super) fn put(
    draft: &mut Draft<'_>,
    context: &Context,
    request: &PullRequest,
    entering: &Entering<'_>,
) -> Result<(PullLine, String, Vec<Finding>), Failure> {
    let id = format!("{}-{:02}", entering.session, entering.order);
    let library = draft.library();
    let before = previous(library, entering.session, entering.order)?;
    let last = if request.as_last {
        Some(before.clone().ok_or_else(|| {
            Failure::usage(
                Finding::error("no-last-pull", "the session has no pull before this one to copy from")
                    .next("say what it had: `--build NAME`, `--set run.kind=sweep` …"),
            )
        })?)
    } else {
        None
    };
    let build = match &request.build {
        Some(build) => Some(names::build(library, build).map_err(|mut failure| {
            let next = "write it down first with `mulebook build`, or leave `--build` out: the pull then waits without one";
            for finding in failure.findings.iter_mut().filter(|finding| finding.code == "not-found") {
                finding.next = Some(next.to_owned());
            }
            failure
        })?),
        None => last.as_ref().and_then(|last| last.effective_build().map(str::to_owned)),
    };
    let by = input::person(context, request.by.as_deref())?;
    let at = at(library, context, request, entering.session)?;
    let fit = fit_up(library, build.as_deref(), entering, request.refit)?;
    let mut entries = vec![("pull".to_owned(), Piece::word(&id))];
    let mut put = |key: &str, piece: Piece| entries.push((key.to_owned(), piece));
    if let Some(build) = &build {
        put("build", Piece::word(build));
    }
    put("session", Piece::word(entering.session));
    put("order", Piece::Whole(i64::from(entering.order)));
    if let Some((number, after)) = &fit {
        put("fit-up", Piece::Whole(i64::from(*number)));
        if let Some(after) = after {
            put("refit-after", Piece::word(after));
        }
    }
    if let Some(at) = &at {
        put("at", Piece::word(at));
    }
    put("by", Piece::word(&by));
    put(
        "outcome",
        match &request.set_aside {
            Some(why) => Piece::Line(vec![("set-aside".to_owned(), Piece::text(why))]),
            None => Piece::word("kept"),
        },
    );
    let mut as_last = Vec::new();
    let changed = changed(library, context, request, last.as_ref(), &mut as_last)?;
    if !changed.is_empty() {
        put("changed", Piece::Block(changed));
    }
    let (conditions, run, found) =
        conditions(library, context, request, entering, last.as_ref(), at.as_deref(), &mut as_last)?;
    if !conditions.is_empty() {
        put("conditions", Piece::Block(conditions.clone()));
    }
    if !run.is_empty() {
        put("run", Piece::Line(run));
    }
    if let Some(correction) = correction(request, last.as_ref(), entering.table, &mut as_last) {
        put("correction", correction);
    }
    if let Some(last) = &last {
        echo(library, last, build.as_deref(), &mut as_last)?;
    }
    put("raw", Piece::List(raw_lines(entering.table, entering.segment, entering.evidence)));
    if entering.table.is_some_and(|table| table.typed) {
        put("typed", Piece::Flag(true));
    }
    if let Some(ran) = ran(entering) {
        put("ran", Piece::word(ran));
    }
    let reduced = sea_level_doubt(library, entering.session, &conditions)?;
    let missing = missing_runs(library, entering)?;
    let mut doubts = doubts(entering, request, before.as_ref(), &missing);
    doubts.extend(reduced.iter().map(|doubt| (doubt.code, told(doubt))));
    if !doubts.is_empty() {
        let lines = doubts.iter().map(|(code, says)| {
            Piece::Line(vec![("code".to_owned(), Piece::word(*code)), ("says".to_owned(), Piece::text(says))])
        });
        put("doubts", Piece::List(lines.collect()));
    }
    if let Some(note) = &request.note {
        put("note", Piece::text(note));
    }
    let path = format!("builds/{}/pulls/{id}.yaml", build.as_deref().unwrap_or(UNASSIGNED));
    draft.put_new(&path, "pull", &entries)?;
    if let Some(why) = &request.skipped {
        skip(draft, entering, why, &missing)?;
    }
    let line = PullLine {
        pull: id,
        build,
        fit_up: fit.map(|(number, _)| number),
        file: entering.table.map_or_else(String::new, |table| table.name.clone()),
        sha256: entering.table.map_or_else(String::new, |table| table.raw.sha256.clone()),
        segment: entering.segment,
        rows: segment_rows(entering),
        as_last,
        taken: found.taken,
        not_taken: found.not_taken,
        gaps: Vec::new(),
    };
    let mut shown: Vec<Finding> = reduced.into_iter().collect();
    if !missing.is_empty() && request.skipped.is_none() {
        shown.push(
            Finding::doubt("runs-skipped", "the console counted runs that the session has no pull of")
                .found(missing.join(", "))
                .next(format!(
                    "enter them, or say why there is none: `mulebook correct {} --set skipped={} --because \"scrapped, of another session, no file\"`",
                    entering.session,
                    missing.join("+")
                )),
        );
    }
    Ok((line, path, shown))
}

/// The pull before this one in its session.
fn previous(library: &Library, session: &str, order: u32) -> Result<Option<Pull>, Failure> {
    let known = names::in_session(library.pull_paths()?, session);
    match known.range(..order).next_back() {
        Some((_, id)) => library.pull(id),
        None => Ok(None),
    }
}

/// What the last pull of a session had, in words.
///
/// # Errors
/// The store's.
pub(super) fn last_words(
    library: &Library,
    session: &str,
    request: &PullRequest,
) -> Result<Vec<String>, Failure> {
    let order = next_order(library, session, request.order)?;
    let Some(last) = previous(library, session, order)? else {
        return Ok(Vec::new());
    };
    let mut words = vec![format!("as {}", last.id)];
    let build = match &request.build {
        Some(build) => Some(names::build(library, build)?),
        None => last.effective_build().map(str::to_owned),
    };
    words.extend(last.changed.keys().map(|name| format!("{name} as changed for {}", last.id)));
    words.extend(last.run.iter().map(|(name, value)| format!("run.{name} {value}")));
    words.extend(last.correction.iter().map(|correction| format!("correction {correction}")));
    echo(library, &last, build.as_deref(), &mut words)?;
    Ok(words)
}

/// When it was run: as said, or now for a session of today.
fn at(
    library: &Library,
    context: &Context,
    request: &PullRequest,
    session: &str,
) -> Result<Option<String>, Failure> {
    if let Some(at) = &request.at {
        return input::checked_moment(at).map(Some);
    }
    let today = library.session(session)?.is_some_and(|session| session.on.day() == context.now.date_naive());
    Ok(today.then(|| context.moment()))
}

fn correction(
    request: &PullRequest,
    last: Option<&Pull>,
    table: Option<&Table>,
    as_last: &mut Vec<String>,
) -> Option<Piece> {
    let standard = |name: &str, factor: Option<&str>| {
        let mut line = vec![("standard".to_owned(), Piece::word(name))];
        line.extend(factor.map(|factor| ("factor".to_owned(), Piece::Number(factor.to_owned()))));
        Piece::Line(line)
    };
    if let Some(said) = &request.correction {
        let said = said.trim();
        return Some(match (said, said.split_once(' ')) {
            ("observed", _) => Piece::word("observed"),
            (_, Some(("unknown:", why))) => {
                Piece::Line(vec![("unknown".to_owned(), Piece::text(why.trim()))])
            }
            (_, Some((name, factor))) if factor.trim().parse::<f64>().is_ok() => {
                standard(name, Some(factor.trim()))
            }
            _ => standard(said, None),
        });
    }
    if let Some(correction) = last.and_then(|last| last.correction.as_ref()) {
        as_last.push(format!("correction {correction}"));
        return Some(match correction {
            Correcting::Observed => Piece::word("observed"),
            Correcting::Standard { name, factor } => standard(name, factor.as_deref()),
            Correcting::Unknown(why) => Piece::Line(vec![("unknown".to_owned(), Piece::text(why))]),
        });
    }
    let observed = table.is_some_and(|table| {
        table.columns.channels.iter().any(|column| column.basis.as_deref() == Some("observed"))
    });
    observed.then(|| Piece::word("observed"))
}

/// Spacer, jets and timing as they now are, to be read and agreed to.
fn echo(
    library: &Library,
    last: &Pull,
    build: Option<&str>,
    as_last: &mut Vec<String>,
) -> Result<(), Failure> {
    let build = match build {
        Some(build) => library.build(build)?,
        None => None,
    };
    let effective = Effective::of_pull(last, build.as_ref());
    if let Some(build) = &build {
        as_last.push(format!("build {}", build.name));
    }
    let spacer = effective
        .roles
        .get("spacer")
        .map_or_else(|| "spacer not said".to_owned(), |held| format!("spacer {}", held.answer));
    as_last.push(spacer);
    for name in ["main-jet", "ignition-timing"] {
        let value = effective
            .settings
            .get(name)
            .and_then(|held| held.figure.entries.last())
            .and_then(|entry| entry.known.value());
        if let Some(value) = value {
            as_last.push(format!("{name} {}", value.text()));
        }
    }
    as_last.push("weather and temperatures are never copied".to_owned());
    Ok(())
}

/// The raw files of a record: the table first, the evidence beside it after.
pub(super) fn raw_lines(table: Option<&Table>, segment: Option<usize>, evidence: &[Kept]) -> Vec<Piece> {
    let line = |name: &str, raw: &RawFile| {
        vec![
            ("file".to_owned(), Piece::text(name)),
            ("sha256".to_owned(), Piece::text(&raw.sha256)),
            ("bytes".to_owned(), Piece::Whole(i64::try_from(raw.bytes).unwrap_or(i64::MAX))),
        ]
    };
    let table =
        table.map(|table| {
            let mut line = line(&table.name, &table.raw);
            line.push(("columns".to_owned(), Piece::word(&table.columns.name)));
            line.extend(segment.map(|segment| {
                ("segment".to_owned(), Piece::Whole(i64::try_from(segment).unwrap_or(i64::MAX)))
            }));
            let origin = take_in::origin(evidence, &table.name);
            line.extend(origin.map(|kept| ("derived-from".to_owned(), Piece::text(&kept.name))));
            Piece::Line(line)
        });
    let evidence = evidence.iter().map(|kept| Piece::Line(line(&kept.name, &kept.raw)));
    table.into_iter().chain(evidence).collect()
}

fn segment_of<'t>(entering: &Entering<'t>) -> Option<&'t crate::raw::Segment> {
    let segments = &entering.table?.summary.segments;
    match entering.segment {
        Some(number) => segments.get(number.checked_sub(1)?),
        None => segments.first(),
    }
}

fn segment_rows(entering: &Entering<'_>) -> u64 {
    segment_of(entering).map_or(0, |segment| segment.rows)
}

/// How long the log ran, from its time channel.
fn ran(entering: &Entering<'_>) -> Option<String> {
    let (first, last) = segment_of(entering)?.time?;
    let column = entering
        .table?
        .columns
        .channels
        .iter()
        .find(|column| column.quantity == crate::record::channel::ChannelQuantity::Time)?;
    let seconds = match column.time {
        Some(form) if form != crate::record::columns::TimeForm::Number => last - first,
        _ => {
            let unit = Unit::parse(column.unit.as_deref()?, crate::quantity::QuantityKind::Duration).ok()?;
            unit.to_si(last - first)
        }
    };
    (seconds.is_finite() && seconds > 0.0).then(|| format!("{seconds:.1} s"))
}

fn doubts(
    entering: &Entering<'_>,
    request: &PullRequest,
    before: Option<&Pull>,
    missing: &[String],
) -> Vec<(&'static str, String)> {
    let mut doubts: Vec<(&'static str, String)> = entering
        .table
        .iter()
        .flat_map(|table| &table.doubts)
        .map(|doubt| (doubt.code, told(doubt)))
        .collect();
    let expected = before.map_or(1, |before| before.order + 1);
    if entering.order > expected && request.skipped.is_none() {
        doubts.push((
            "numbers-skipped",
            format!("no pull {expected} to {} was entered before this one", entering.order - 1),
        ));
    }
    if !missing.is_empty() && request.skipped.is_none() {
        let words =
            format!("the session has no pull of {}, which comes before this file", missing.join(", "));
        doubts.push(("runs-skipped", words));
    }
    doubts
}

/// The runs that the console counted before this file and that the session has not.
fn missing_runs(library: &Library, entering: &Entering<'_>) -> Result<Vec<String>, Failure> {
    match entering.table.filter(|table| !table.typed) {
        Some(table) => run_gaps::before(library, entering.session, entering.order, &table.name),
        None => Ok(Vec::new()),
    }
}

/// A doubt as a record keeps it: its line, what it says, what was found.
pub(super) fn told(doubt: &Finding) -> String {
    let line = doubt.place.as_ref().and_then(|place| place.line);
    let line = line.map(|line| format!("line {line}: ")).unwrap_or_default();
    let found = doubt.found.as_ref().map(|found| format!("; found {found}")).unwrap_or_default();
    format!("{line}{}{found}", doubt.message)
}

/// Whether the station pressure among the conditions looks reduced to sea level for the cell's altitude.
fn sea_level_doubt(
    library: &Library,
    session: &str,
    conditions: &Pieces,
) -> Result<Option<Finding>, Failure> {
    let stated = conditions.iter().find(|(name, _)| name == STATION_PRESSURE);
    let Some((_, Piece::Line(entries))) = stated else { return Ok(None) };
    let text = entries.iter().find_map(|(key, piece)| match piece {
        Piece::Word(text) if matches!(key.as_str(), "measured" | "listed" | "assumed") => Some(text),
        _ => None,
    });
    let reading = text.and_then(|text| parse_reading(text, QuantityKind::PressureAbsolute, None).ok());
    let (Some(reading), Some(altitude)) = (reading, enter::altitude_m(library, session)?) else {
        return Ok(None);
    };
    let doubt = raw::sea_level_doubt(reading.mean().si(), altitude);
    Ok(doubt.map(|doubt| doubt.at(Place::file("conditions").field(STATION_PRESSURE))))
}

/// Writes down why numbers before this pull have none, and why the console's runs before it were not entered.
fn skip(draft: &mut Draft<'_>, entering: &Entering<'_>, why: &str, runs: &[String]) -> Result<(), Failure> {
    let known = names::in_session(draft.library().pull_paths()?, entering.session);
    let first = known.range(..entering.order).next_back().map_or(1, |(order, _)| order + 1);
    let orders: Vec<u32> = (first..entering.order).collect();
    run_gaps::write_down(draft, entering.session, &orders, runs, why)
}
