//! Derived figures of one side and of two, in the book's units.

use std::collections::BTreeSet;

use crate::answer::BarredLine;
use crate::answer::BarsLine;
use crate::answer::BasisLine;
use crate::answer::DerivedLine;
use crate::answer::FigureLine;
use crate::answer::Interval;
use crate::answer::MovedLine;
use crate::check::OneBasis;
use crate::check::Side;
use crate::check::Wanted;
use crate::derive;
use crate::derive::Basis;
use crate::derive::Derived;
use crate::derive::Label;
use crate::derive::Outcome;
use crate::finding::Finding;
use crate::finding::Place;
use crate::quantity::QuantityKind;
use crate::quantity::Unit;
use crate::statistics::StatisticsError;
use crate::store::Book;
use crate::workflow::Failure;
use crate::workflow::Library;
use crate::workflow::sweep;

/// Two figures that differ by less than this part of themselves are the same: rounding of units and sums.
const SAME: f64 = 1e-12;
/// Figures that would only repeat others in a comparison; a build sheet has them all.
const LEFT_OUT: [&str; 6] = [
    "clearance-volume",
    "inlet-opens",
    "exhaust-opens",
    "exhaust-closes",
    "vapour-pressure",
    "dry-air-density",
];

/// Adds the means of the channels that document a condition.
///
/// # Errors
/// The store's, or a file that its columns record does not fit.
pub(super) fn add_channel_means(book: &Book, library: &Library, side: &mut Side) -> Result<(), Failure> {
    side.channel_means = sweep::channel_means(book, library, side)?;
    Ok(())
}

/// What torque and power are to be brought to: as asked, else as the book's own page says.
///
/// # Errors
/// A name that is no correction.
pub(super) fn wanted(library: &Library, asked: Option<&str>) -> Result<Option<Wanted>, Failure> {
    let unknown = |name: &str| {
        Finding::error("unknown-correction", "no correction of this name can be worked out")
            .found(format!("`{name}`"))
            .expected(Basis::names())
    };
    match (asked, &library.page().correction) {
        (Some(name), _) => match Basis::named(name) {
            Some(basis) => Ok(Some(Wanted { basis, insisted: true })),
            None => Err(Failure::usage(unknown(name))),
        },
        (None, Some(name)) => match Basis::named(name) {
            Some(basis) => Ok(Some(Wanted { basis, insisted: false })),
            None => Err(unknown(name)
                .at(Place::file("book.yaml").field("correction"))
                .next("name another there, or one for this comparison with `--correct-to`")
                .into()),
        },
        (None, None) => Ok(None),
    }
}

/// The derived figures of one side, and what bars the others.
///
/// # Errors
/// A number that no interval can be given for.
pub(super) fn of_side(library: &Library, side: &Side) -> Result<(Vec<FigureLine>, Vec<BarredLine>), Failure> {
    let (mut lines, mut barred) = (Vec::new(), Vec::new());
    for outcome in derive::figures(&side.ground(library.kinds())) {
        match outcome {
            Ok(derived) => lines.push(line(library, &derived)?),
            Err(why) => barred.push(BarredLine::from(&why)),
        }
    }
    Ok((lines, barred))
}

/// The missing inputs of a side with the derived figures that each bars.
///
/// # Errors
/// As [`of_side`].
pub(super) fn bars(library: &Library, side: &Side) -> Result<Vec<BarsLine>, Failure> {
    let barred: Vec<BarredLine> = derive::figures(&side.ground(library.kinds()))
        .into_iter()
        .filter_map(Result::err)
        .map(|why| BarredLine::from(&why))
        .collect();
    Ok(BarsLine::gather(&side.name, &barred))
}

/// What follows from the records of both sides: the compression ratio, and every other figure of the engine or its air
/// that differs.
///
/// # Errors
/// As [`of_side`].
pub(super) fn of_both(library: &Library, base: &Side, test: &Side) -> Result<Vec<DerivedLine>, Failure> {
    let (ground, other) = (base.ground(library.kinds()), test.ground(library.kinds()));
    let (was, now) = (whole(derive::figures(&ground)), whole(derive::figures(&other)));
    let mut lines = Vec::new();
    let mut seen: BTreeSet<String> = BTreeSet::new();
    for outcome in was.iter().chain(&now) {
        let label = label_of(outcome);
        if !seen.insert(label.name.clone()) {
            continue;
        }
        let find = |all: &[Outcome]| all.iter().find(|found| label_of(found).name == label.name).cloned();
        let (a, b) = (find(&was), find(&now));
        let ratio = label.name == "compression-ratio";
        if !ratio && !differ(a.as_ref(), b.as_ref()) {
            continue;
        }
        let unit = unit(library, label);
        let both = a.as_ref().and_then(|a| a.as_ref().ok()).zip(b.as_ref().and_then(|b| b.as_ref().ok()));
        let (mut difference, mut moved_by) = (None, Vec::new());
        if let Some((a, b)) = both {
            let spread = b.less(a).map_err(unclear)?;
            let understated = a.is_understated() || b.is_understated();
            difference = Some(Interval::of_difference(spread, unit).or_more(understated));
            moved_by = derive::moved_by(&ground, a, b)
                .iter()
                .filter(|(_, _, by)| by.abs() > SAME * a.value.value().abs())
                .map(|(was, now, by)| MovedLine::of(was, now, *by, unit, spread.half_width_si))
                .collect();
        }
        let side = |outcome: &Option<Outcome>| match outcome {
            Some(Ok(derived)) => line(library, derived).map(Some),
            _ => Ok(None),
        };
        let barred = |outcome: &Option<Outcome>| match outcome {
            Some(Err(why)) => Some(BarredLine::from(why)),
            _ => None,
        };
        lines.push(DerivedLine {
            figure: label.name.clone(),
            title: label.title.clone(),
            base: side(&a)?,
            test: side(&b)?,
            base_barred: barred(&a),
            test_barred: barred(&b),
            difference,
            moved_by,
        });
    }
    Ok(lines)
}

/// How both sides came to one basis.
///
/// # Errors
/// As [`of_side`].
pub(super) fn basis_lines(base: &Side, test: &Side, basis: &OneBasis) -> Result<Vec<BasisLine>, Failure> {
    [(base, &basis.base), (test, &basis.test)]
        .into_iter()
        .map(|(side, brought)| Ok(BasisLine::of(&side.name, brought, brought.spread().map_err(unclear)?)))
        .collect()
}

fn whole(outcomes: Vec<Outcome>) -> Vec<Outcome> {
    outcomes
        .into_iter()
        .filter(|outcome| {
            let label = label_of(outcome);
            label.cylinder.is_none()
                && !LEFT_OUT.contains(&label.name.as_str())
                && !label.name.starts_with("correction-factor-")
        })
        .collect()
}

fn label_of(outcome: &Outcome) -> &Label {
    match outcome {
        Ok(derived) => &derived.label,
        Err(barred) => &barred.label,
    }
}

/// Whether a figure differs between the sides; one that is barred on both alike does not.
fn differ(base: Option<&Outcome>, test: Option<&Outcome>) -> bool {
    match (base, test) {
        (Some(Ok(a)), Some(Ok(b))) => {
            let (a, b) = (a.value.value(), b.value.value());
            (a - b).abs() > SAME * a.abs().max(b.abs())
        }
        (Some(Err(_)), Some(Err(_))) | (None, None) => false,
        _ => true,
    }
}

fn line(library: &Library, derived: &Derived) -> Result<FigureLine, Failure> {
    let spread = derived.spread().map_err(unclear)?;
    Ok(FigureLine::of(derived, spread, unit(library, &derived.label)))
}

/// The unit that the book prefers for a figure's kind, else the trade's; none for a plain ratio.
fn unit(library: &Library, label: &Label) -> Option<&'static Unit> {
    if label.kind == QuantityKind::Ratio {
        return None;
    }
    let own = library.page().units.get(label.kind.name());
    own.and_then(|unit| Unit::parse(unit, label.kind).ok())
        .or_else(|| Unit::parse(label.unit, label.kind).ok())
}

fn unclear(error: StatisticsError) -> Failure {
    Finding::error("no-interval", format!("a derived figure has no interval: {error}"))
        .next("look for figures of an impossible size in the records that it names")
        .into()
}
