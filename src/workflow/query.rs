//! Pulls asked for by what the records say of them: `header=long-1,session=0412a`.

use crate::check::Side;
use crate::finding::Finding;
use crate::quantity::QuantityKind;
use crate::quantity::Unit;
use crate::quantity::parse_reading;
use crate::record::Kinds;
use crate::record::Moment;
use crate::workflow::Failure;
use crate::workflow::Library;
use crate::workflow::gather;
use crate::workflow::names::Named;
use crate::workflow::sought::Said;
use crate::workflow::sought::Sought;

/// The forms of a query, for help and errors.
const FORMS: &str = "NAME=VALUE, joined by commas: header=long-1, ignition-timing=30..32 deg, on=2026-04-11";

/// Half the last digit in standard uncertainties, √3 and a little for rounding: a value means what rounds to it.
const ROUNDS_TO_IT: f64 = 1.733;

/// One condition of a query.
enum Term {
    Build(String),
    Session(String),
    Engine(String),
    Cell(String),
    By(String),
    On(Moment, Moment),
    Text(Sought, String),
    Within(Sought, f64, f64),
}

/// Whether a name on the command line is a query and no name of a record.
pub(super) fn is_query(name: &str) -> bool {
    name.contains('=')
}

/// The pulls that a query means, in the order of the book.
///
/// # Errors
/// A term that says nothing, a value that cannot be read, or a query that no pull answers.
pub(super) fn pulls(library: &Library, query: &str) -> Result<Vec<String>, Failure> {
    let terms =
        query.split(',').map(|term| Term::parse(library.kinds(), term)).collect::<Result<Vec<_>, _>>()?;
    let mut found = Vec::new();
    for id in library.pull_paths()?.keys() {
        let side = gather::side(library, &Named::Pull(id.clone()))?;
        if terms.iter().all(|term| term.holds(&side, library.kinds())) {
            found.push(id.clone());
        }
    }
    if found.is_empty() {
        return Err(Failure::usage(
            Finding::error("not-found", "no pull of the book answers this query")
                .found(format!("`{query}`"))
                .expected(FORMS)
                .next("see what a pull says of itself with `mulebook sheet PULL`"),
        ));
    }
    Ok(found)
}

impl Term {
    fn parse(kinds: &Kinds, term: &str) -> Result<Self, Failure> {
        let bad = |message: String| {
            Failure::usage(Finding::error("bad-query", message).found(format!("`{term}`")).expected(FORMS))
        };
        let Some((name, value)) = term.split_once('=').map(|(name, value)| (name.trim(), value.trim()))
        else {
            return Err(bad("a part of the query has no `=`".to_owned()));
        };
        if value.is_empty() {
            return Err(bad("a part of the query has no value".to_owned()));
        }
        let text = value.to_owned();
        match name {
            "build" => return Ok(Self::Build(text)),
            "session" => return Ok(Self::Session(text)),
            "engine" => return Ok(Self::Engine(text)),
            "cell" => return Ok(Self::Cell(text)),
            "by" => return Ok(Self::By(text)),
            "on" => {
                let (from, to) = value.split_once("..").unwrap_or((value, value));
                let day = |text: &str| {
                    Moment::parse(text).map_err(|expected| bad(format!("no day: expected {expected}")))
                };
                return Ok(Self::On(day(from)?, day(to)?));
            }
            _ => {}
        }
        let sought = Sought::of(kinds, name)?;
        match sought.quantity {
            None => Ok(Self::Text(sought, text)),
            Some((kind, unit)) => {
                let (low, high) = range(value, kind, unit).map_err(bad)?;
                Ok(Self::Within(sought, low, high))
            }
        }
    }

    fn holds(&self, side: &Side, kinds: &Kinds) -> bool {
        match self {
            Self::Build(name) => side.build.as_ref().is_some_and(|build| build.name == *name),
            Self::Session(tag) => side.pull.as_ref().is_some_and(|pull| pull.session == *tag),
            Self::Engine(tag) => side.build.as_ref().is_some_and(|build| build.engine == *tag),
            Self::Cell(tag) => side.cell.as_ref().is_some_and(|cell| cell.tag == *tag),
            Self::By(person) => side.pull.as_ref().and_then(|pull| pull.by.as_ref()) == Some(person),
            Self::On(from, to) => {
                side.moment().is_some_and(|moment| (from.day()..=to.day()).contains(&moment.day()))
            }
            Self::Text(sought, wanted) => match sought.said(side, kinds).0 {
                Said::Text(text) => {
                    // A part is named with or without its state.
                    let tag = text.split_once('/').map_or(text.as_str(), |(tag, _)| tag);
                    text == *wanted || (sought.is_role() && tag == wanted)
                }
                Said::Number(number) => {
                    wanted.parse::<f64>().is_ok_and(|wanted| (wanted - number).abs() < 0.005)
                }
                Said::Nothing => false,
            },
            Self::Within(sought, low, high) => match sought.said(side, kinds).0 {
                Said::Number(number) => (*low..=*high).contains(&number),
                Said::Text(_) | Said::Nothing => false,
            },
        }
    }
}

/// Limits in SI of `31 deg` (what rounds to it) or `30..32 deg`.
pub(super) fn range(value: &str, kind: QuantityKind, unit: &'static Unit) -> Result<(f64, f64), String> {
    let read =
        |text: &str, bare| parse_reading(text.trim(), kind, Some(bare)).map_err(|error| error.to_string());
    let Some((low, high)) = value.split_once("..") else {
        let one = read(value, unit)?;
        let half = ROUNDS_TO_IT * one.standard_uncertainty().si;
        return Ok((one.mean().si() - half, one.mean().si() + half));
    };
    let high = read(high, unit)?;
    let low = read(low, high.unit())?;
    // Degrees before top dead centre count downwards.
    let (a, b) = (low.mean().si(), high.mean().si());
    Ok((a.min(b), a.max(b)))
}
