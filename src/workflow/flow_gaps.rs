//! What is not documented: of flow sheets, or of whatever else the names mean.

use crate::answer::GapLine;
use crate::answer::GapsAnswer;
use crate::check::FlowSide;
use crate::check::documented_flow;
use crate::check::flow_gaps;
use crate::check::flow_soft;
use crate::finding::Finding;
use crate::record::FlowSheet;
use crate::store::Book;
use crate::workflow::AsOf;
use crate::workflow::Failure;
use crate::workflow::Library;
use crate::workflow::compare;
use crate::workflow::run_gaps;

/// What is not documented: of one pull, build or flow sheet, between two, or of the newest pull; of a session its run
/// numbers.
///
/// # Errors
/// A name means nothing, a flow sheet and something else are asked about together, or a record does not hold.
pub fn gaps(book: &Book, about: &[String], as_of: &AsOf) -> Result<GapsAnswer, Failure> {
    let library = as_of.library(book)?;
    let mut sheets = Vec::new();
    for name in about {
        sheets.extend(library.flow(name)?);
    }
    if let [session] = about
        && library.session(session)?.is_some()
    {
        let mut answer = run_gaps::gaps(&library, session)?;
        answer.pending = as_of.pending_among(book, &library)?;
        return Ok(answer);
    }
    if sheets.is_empty() {
        return compare::gaps(book, about, as_of);
    }
    if sheets.len() < about.len() {
        return Err(unlike_records(&sheets[0].tag));
    }
    let mut answer = of_sheets(&library, sheets)?;
    answer.pending = as_of.pending_among(book, &library)?;
    Ok(answer)
}

/// The failure of a flow sheet beside a pull or build.
pub(super) fn unlike_records(sheet: &str) -> Failure {
    Failure::usage(
        Finding::error("unlike-records", "a flow sheet is put beside a flow sheet only")
            .found(format!("{sheet} is a flow sheet, the other is not")),
    )
}

/// Refuses to put a sheet beside itself, or an inlet port beside an exhaust port.
///
/// # Errors
/// They are so.
pub(super) fn of_one_side(base: &FlowSheet, test: &FlowSheet) -> Result<(), Failure> {
    if base.tag == test.tag {
        return Err(Failure::usage(
            Finding::error("same-side", "both names mean the same record").found(base.tag.clone()),
        ));
    }
    if base.side != test.side {
        return Err(Failure::usage(
            Finding::error("unlike-ports", "an inlet port and an exhaust port are not put side by side")
                .found(format!("{} is an {} port, {} an {} port", base.tag, base.side, test.tag, test.side)),
        ));
    }
    Ok(())
}

fn of_sheets(library: &Library, sheets: Vec<FlowSheet>) -> Result<GapsAnswer, Failure> {
    if let [base, test] = sheets.as_slice() {
        of_one_side(base, test)?;
    }
    let about: Vec<String> = sheets.iter().map(|sheet| sheet.tag.clone()).collect();
    let sides = sheets
        .into_iter()
        .map(|sheet| Ok(FlowSide { part: library.part(&sheet.part.tag)?, sheet }))
        .collect::<Result<Vec<FlowSide>, Failure>>()?;
    let kinds = library.kinds();
    let gaps = match sides.as_slice() {
        [one] => flow_gaps(one, kinds),
        [base, test] => documented_flow(base, test, kinds).err().unwrap_or_default(),
        _ => {
            return Err(Failure::usage(
                Finding::error("too-many-sides", "gaps are asked of one record or between two")
                    .found(format!("{}", sides.len())),
            ));
        }
    };
    let soft = match sides.as_slice() {
        [one] => flow_soft(one, kinds),
        both => both
            .iter()
            .flat_map(|side| {
                flow_soft(side, kinds).into_iter().map(|line| format!("{}, {line}", side.sheet.tag))
            })
            .collect(),
    };
    let next = match (gaps.is_empty(), about.as_slice()) {
        (true, [base, test]) => format!("mulebook diff {base} {test}"),
        (true, _) => "everything that a comparison asks for is documented".to_owned(),
        (false, _) => format!("mulebook gaps {} --fill   asks for them one by one", about.join(" ")),
    };
    Ok(GapsAnswer {
        about,
        gaps: gaps.iter().map(GapLine::from).collect(),
        common: Vec::new(),
        soft,
        weak: Vec::new(),
        contradictions: Vec::new(),
        alarms: Vec::new(),
        doubts: Vec::new(),
        bars: Vec::new(),
        runs: None,
        pending: Vec::new(),
        next,
    })
}
