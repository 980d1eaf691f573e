//! Derived figures of one side and of two, in the book's units.

use std::collections::BTreeMap;
use std::collections::BTreeSet;

use crate::answer::BarredLine;
use crate::answer::BarsLine;
use crate::answer::BasisLine;
use crate::answer::DerivedLine;
use crate::answer::FigureLine;
use crate::answer::Interval;
use crate::answer::MovedLine;
use crate::answer::SheetSpeed;
use crate::answer::WeakLine;
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
use crate::workflow::sweep::Channels;
use crate::workflow::sweep::Plan;

/// Two figures that differ by less than this part of themselves are the same: rounding of units and sums.
const SAME: f64 = 1e-12;
/// Figures that would only repeat others in a comparison; a build sheet has them all.
const LEFT_OUT: [&str; 25] = [
    "clearance-volume",
    "greatest-piston-speed",
    "piston-acceleration-top",
    "piston-acceleration-bottom",
    "piston-position-at-inlet-closing",
    "cam-advance",
    "inlet-opens-advertised",
    "exhaust-opens-advertised",
    "exhaust-closes-advertised",
    "inlet-lift-of-equal-areas",
    "exhaust-lift-of-equal-areas",
    "gas-speed-runner",
    "gas-speed-throat",
    "rating-iso-3046-1",
    "mean-power",
    "mean-effective-pressure",
    "thermal-efficiency",
    "air-fuel-ratio",
    "inertia-torque",
    "steady-torque",
    "inlet-opens",
    "exhaust-opens",
    "exhaust-closes",
    "vapour-pressure",
    "dry-air-density",
];

/// Adds the means of the channels that derived figures are made of.
///
/// # Errors
/// The store's, or a file that its columns record does not fit.
pub(super) fn add_channel_means(
    book: &Book,
    library: &Library,
    side: &mut Side,
    which: Channels,
) -> Result<(), Failure> {
    // Compression ignition is corrected by its fuel, whatever else is asked.
    let by_compression = derive::ignites_by_compression(&side.ground(library.kinds()));
    add_means(book, library, side, if by_compression { Channels::All } else { which })
}

/// Adds the means of these channels.
///
/// # Errors
/// As [`add_channel_means`].
pub(super) fn add_means(
    book: &Book,
    library: &Library,
    side: &mut Side,
    which: Channels,
) -> Result<(), Failure> {
    read_once(book, library, side, sweep::Wanted { step_rpm: None, means: Some(which) }).map(drop)
}

/// The sweep of a side's pull, with the means of its channels put on the side: its logs are read once for both.
///
/// # Errors
/// As [`add_channel_means`].
pub(super) fn curve_adding_means(
    book: &Book,
    library: &Library,
    side: &mut Side,
    step_rpm: u32,
) -> Result<sweep::Found, Failure> {
    let wanted = sweep::Wanted { step_rpm: Some(step_rpm), means: Some(Channels::All) };
    read_once(book, library, side, wanted)
}

fn read_once(
    book: &Book,
    library: &Library,
    side: &mut Side,
    wanted: sweep::Wanted,
) -> Result<sweep::Found, Failure> {
    let swept = Plan::of(book, library, side, wanted)?.read(side, library.kinds())?;
    Ok(swept.put_on(side))
}

/// What torque and power are to be brought to: as asked, else as the book's own page says.
///
/// # Errors
/// A name that is no correction.
pub(super) fn wanted(library: &Library, asked: Option<&str>) -> Result<Option<Wanted>, Failure> {
    match (asked, &library.page().correction) {
        (Some(name), _) => match Basis::named(name) {
            Some(basis) => Ok(Some(Wanted { basis, insisted: true })),
            None => Err(Failure::usage(unknown_correction(name))),
        },
        (None, Some(name)) => match Basis::named(name) {
            Some(basis) => Ok(Some(Wanted { basis, insisted: false })),
            None => Err(page_correction_unknown(name).into()),
        },
        (None, None) => Ok(None),
    }
}

fn unknown_correction(name: &str) -> Finding {
    Finding::error("unknown-correction", "no correction of this name can be worked out")
        .found(format!("`{name}`"))
        .expected(Basis::names())
}

/// The book's own page asks for a correction that cannot be worked out.
pub(super) fn page_correction_unknown(name: &str) -> Finding {
    unknown_correction(name)
        .at(Place::file("book.yaml").field("correction"))
        .next("name another there, or one for this comparison with `--correct-to`")
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

/// The derived figures of a side that are known no better than an input that nobody measured.
///
/// # Errors
/// As [`of_side`].
pub(super) fn weak(library: &Library, side: &Side) -> Result<Vec<WeakLine>, Failure> {
    let mut weak = Vec::new();
    for outcome in whole(derive::figures(&side.ground(library.kinds()))) {
        let Ok(derived) = outcome else { continue };
        let line = line(library, &derived)?;
        if !line.not_measured.is_empty() {
            weak.push(WeakLine {
                side: side.name.clone(),
                figure: line.figure,
                title: line.title,
                text: line.interval.text,
                worst_input: line.worst_input,
                not_measured: line.not_measured.into_iter().map(|input| input.item).collect(),
            });
        }
    }
    Ok(weak)
}

/// What follows from a pull's channels near each speed, in steps of so many rpm.
///
/// # Errors
/// As [`of_side`].
pub(super) fn by_speed(library: &Library, side: &Side, step_rpm: u32) -> Result<Vec<SheetSpeed>, Failure> {
    let ground = side.ground(library.kinds());
    let mut rows = Vec::new();
    for (&speed_rpm, means) in side.by_speed.iter().filter(|(speed, _)| **speed % step_rpm.max(1) == 0) {
        let mut figures = BTreeMap::new();
        for derived in derive::near_speed(&ground.near(means)) {
            figures.insert(derived.label.name.clone(), line(library, &derived)?.interval);
        }
        rows.push(SheetSpeed { speed_rpm, figures });
    }
    Ok(rows)
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
    for label in labels(&was, &now) {
        let (a, b) = (find(&was, &label.name), find(&now, &label.name));
        let ratio = label.name == "compression-ratio";
        if !ratio && !differ(a, b) {
            continue;
        }
        let moved = |a: &Derived, b: &Derived| derive::moved_by(&ground, a, b);
        lines.push(line_of_both(library, label, a, b, &moved)?);
    }
    Ok(lines)
}

/// Figures of two sides side by side, whatever they are of.
///
/// # Errors
/// As [`of_side`].
pub(super) fn lines_of_both(
    library: &Library,
    was: &[Outcome],
    now: &[Outcome],
) -> Result<Vec<DerivedLine>, Failure> {
    let nothing = |_: &Derived, _: &Derived| Vec::new();
    let stands = |name: &str| [find(was, name), find(now, name)].into_iter().flatten().any(Result::is_ok);
    labels(was, now)
        .into_iter()
        .filter(|label| stands(&label.name))
        .map(|label| line_of_both(library, label, find(was, &label.name), find(now, &label.name), &nothing))
        .collect()
}

/// The labels of both sides, each name once.
fn labels<'o>(was: &'o [Outcome], now: &'o [Outcome]) -> Vec<&'o Label> {
    let mut seen: BTreeSet<&str> = BTreeSet::new();
    was.iter().chain(now).map(label_of).filter(|label| seen.insert(&label.name)).collect()
}

fn find<'o>(all: &'o [Outcome], name: &str) -> Option<&'o Outcome> {
    all.iter().find(|found| label_of(found).name == name)
}

/// Inputs that moved a figure, with what each moves by itself.
type Moved = Vec<(derive::Input, derive::Input, f64)>;

fn line_of_both(
    library: &Library,
    label: &Label,
    a: Option<&Outcome>,
    b: Option<&Outcome>,
    moved: &dyn Fn(&Derived, &Derived) -> Moved,
) -> Result<DerivedLine, Failure> {
    let unit = unit(library, label);
    let both = a.and_then(|a| a.as_ref().ok()).zip(b.and_then(|b| b.as_ref().ok()));
    let (mut difference, mut moved_by) = (None, Vec::new());
    if let Some((a, b)) = both {
        let half = b.less(a).map_err(unclear)?.half_width_si;
        difference = Some(self::difference(library, a, b)?);
        moved_by = moved(a, b)
            .iter()
            .filter(|(_, _, by)| by.abs() > SAME * a.value.value().abs())
            .map(|(was, now, by)| MovedLine::of(was, now, *by, unit, half))
            .collect();
    }
    let side = |outcome: Option<&Outcome>| match outcome {
        Some(Ok(derived)) => line(library, derived).map(Some),
        _ => Ok(None),
    };
    let barred = |outcome: Option<&Outcome>| match outcome {
        Some(Err(why)) => Some(BarredLine::from(why)),
        _ => None,
    };
    Ok(DerivedLine {
        figure: label.name.clone(),
        title: label.title.clone(),
        base: side(a)?,
        test: side(b)?,
        base_barred: barred(a),
        test_barred: barred(b),
        difference,
        moved_by,
    })
}

/// The second figure less the first; what both share has cancelled.
///
/// # Errors
/// As [`of_side`].
pub(super) fn difference(library: &Library, base: &Derived, test: &Derived) -> Result<Interval, Failure> {
    let spread = test.less(base).map_err(unclear)?;
    let understated = base.is_understated() || test.is_understated();
    Ok(Interval::of_difference(spread, unit(library, &test.label)).or_more(understated))
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

/// A figure in the book's unit.
///
/// # Errors
/// A number that no interval can be given for.
pub(super) fn line(library: &Library, derived: &Derived) -> Result<FigureLine, Failure> {
    let spread = derived.spread().map_err(unclear)?;
    Ok(FigureLine::of(derived, spread, unit(library, &derived.label)))
}

/// The unit that the book prefers for a figure's kind, else the trade's; none for a plain ratio.
fn unit(library: &Library, label: &Label) -> Option<&'static Unit> {
    if matches!(label.kind, QuantityKind::Ratio | QuantityKind::Lambda | QuantityKind::AirFuelRatio) {
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
