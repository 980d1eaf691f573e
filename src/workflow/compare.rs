//! Compare two sides, or say what bars it; list what is not documented.

use crate::answer::AlarmLine;
use crate::answer::Compared;
use crate::answer::Curves;
use crate::answer::DiffAnswer;
use crate::answer::GapLine;
use crate::answer::GapsAnswer;
use crate::answer::LackLine;
use crate::answer::Refused;
use crate::answer::WearLine;
use crate::answer::no_basis_words;
use crate::check;
use crate::check::Checked;
use crate::check::Side;
use crate::curves::Curve;
use crate::curves::SideBySide;
use crate::derive;
use crate::finding::Finding;
use crate::quantity::QuantityKind;
use crate::quantity::Unit;
use crate::record::Correcting;
use crate::record::Outcome;
use crate::store::Book;
use crate::workflow::AsOf;
use crate::workflow::Failure;
use crate::workflow::Library;
use crate::workflow::columns_change;
use crate::workflow::derived;
use crate::workflow::doubts_on;
use crate::workflow::flow_bench;
use crate::workflow::gather;
use crate::workflow::names;
use crate::workflow::sweep;
use crate::workflow::sweep::Channels;

/// What `diff` is asked.
#[derive(Debug, Clone)]
pub struct DiffRequest {
    /// The base side.
    pub base: String,
    /// The test side.
    pub test: String,
    /// The role under test, where it is said.
    pub subject: Option<String>,
    /// Distance of the curve's rows, in rpm.
    pub step_rpm: u32,
    /// The correction that torque and power are brought to; the book's own unless said.
    pub correct_to: Option<String>,
    /// Which version of the book is asked.
    pub as_of: AsOf,
}

/// Compares two sides, or refuses.
///
/// # Errors
/// A name means nothing, or a record does not hold. A refusal is an answer, not an error.
pub fn diff(book: &Book, request: &DiffRequest) -> Result<DiffAnswer, Failure> {
    let library = request.as_of.library(book)?;
    let mut base = gather::side(&library, &names::pull_or_build(&library, &request.base)?)?;
    let mut test = gather::side(&library, &names::pull_or_build(&library, &request.test)?)?;
    if base.name == test.name {
        return Err(Failure::usage(
            Finding::error("same-side", "both names mean the same record").found(base.name),
        ));
    }
    gather::add_wear(&library, [&mut base, &mut test])?;
    for side in [&mut base, &mut test] {
        derived::add_channel_means(book, &library, side, Channels::All)?;
        flow_bench::add_coefficient(book, &library, side)?;
    }
    let wanted = derived::wanted(&library, request.correct_to.as_deref())?;
    let outcome = check::documented(&base, &test, library.kinds(), wanted);
    let mut answer = match outcome {
        Err(refusal) => DiffAnswer::Refused(Refused::of(&refusal, &base.name, &test.name)),
        Ok(checked) => DiffAnswer::Compared(Box::new(compared(book, &library, &checked, request)?)),
    };
    let pending = request.as_of.pending_among(book, &library)?;
    let commit = library.commit().short();
    match &mut answer {
        DiffAnswer::Refused(refused) => {
            refused.pending = pending;
            refused.commit = commit;
        }
        DiffAnswer::Compared(compared) => {
            compared.pending = pending;
            compared.commit = commit;
        }
    }
    Ok(answer)
}

fn compared(
    book: &Book,
    library: &Library,
    checked: &Checked<'_>,
    request: &DiffRequest,
) -> Result<Compared, Failure> {
    let mut answer = Compared::of(checked, request.subject.as_deref());
    let (base, test) = (checked.base(), checked.test());
    answer.wear = wear_lines(base, test);
    answer.derived = derived::of_both(library, base, test)?;
    for side in [base, test] {
        let found = derive::contradictions(&side.ground(library.kinds()));
        answer.doubts.extend(found.iter().map(|words| format!("{}: {words}", side.name)));
    }
    for side in [base, test] {
        for pull in side.pull.iter() {
            answer.doubts.extend(pull.doubts.iter().map(|doubt| format!("{}: {}", side.name, doubt.says)));
        }
        if let Outcome::SetAside(why) = &side.effective.outcome {
            answer.doubts.push(format!("{} was set aside: {why}", side.name));
        }
    }
    answer.doubts.extend(doubts_on::lines([base, test].into_iter(), library.kinds()));
    answer.doubts.extend(columns_change::lines(book, library, [base, test], request.step_rpm)?);
    if let (Some(_), Some(_)) = (&base.pull, &test.pull) {
        let unknown = |side: &Side| matches!(side.effective.correction, Some(Correcting::Unknown(_)));
        if unknown(base) || unknown(test) {
            answer.no_curves = Some(
                "what correction the files carry is unknown, so their figures are not put side by side"
                    .to_owned(),
            );
        } else {
            let (a, b) = (
                sweep::of_pull(book, library, base, request.step_rpm)?,
                sweep::of_pull(book, library, test, request.step_rpm)?,
            );
            match (a, b) {
                (Ok(a), Ok(b)) => answer.curves = Some(curves(library, checked, &a, &b)?),
                (Err(why), _) | (_, Err(why)) => answer.no_curves = Some(why),
            }
        }
    }
    if let Some(none) = checked.no_basis()
        && let Some(to) = none.to
    {
        let lacks: Vec<String> = LackLine::gather(none).iter().map(LackLine::words).collect();
        answer.doubts.push(format!("not brought to {}: {}", to.name(), lacks.join("; ")));
    }
    answer.next = if answer.open.is_empty() {
        "values side by side; a difference here is not yet a gain: its noise is not weighed".to_owned()
    } else {
        format!("close the open questions with `mulebook gaps {} {} --fill`", base.name, test.name)
    };
    Ok(answer)
}

fn curves(library: &Library, checked: &Checked<'_>, base: &Curve, test: &Curve) -> Result<Curves, Failure> {
    let side_by_side = SideBySide::new(checked, base, test);
    let torque = unit(library, QuantityKind::Torque, "N·m");
    let power = unit(library, QuantityKind::Power, "kW");
    let (correction, brought) = match checked.basis() {
        Some(basis) => {
            let lines = derived::basis_lines(checked.base(), checked.test(), basis)?;
            (basis.basis.name().to_owned(), lines)
        }
        None => {
            let carried = checked.base().effective.correction.as_ref();
            (carried.map_or_else(|| "observed".to_owned(), ToString::to_string), Vec::new())
        }
    };
    let cut = [(checked.base(), base), (checked.test(), test)]
        .iter()
        .filter(|(_, curve)| curve.cut_rows > 0)
        .map(|(side, curve)| {
            format!(
                "{}: {} rows outside the sweep (before load came on, after release) are left out",
                side.name, curve.cut_rows
            )
        })
        .collect();
    Ok(Curves::new(&side_by_side, torque, power, correction, brought, cut))
}

/// The unit that the book prefers for a kind, with the factor from SI to it.
pub(super) fn unit(library: &Library, kind: QuantityKind, otherwise: &'static str) -> (&'static str, f64) {
    let wanted = library.page().units.get(kind.name()).map_or(otherwise, String::as_str);
    match Unit::parse(wanted, kind).or_else(|_| Unit::parse(otherwise, kind)) {
        Ok(unit) => (unit.symbol(), unit.from_si(1.0)),
        Err(_) => (otherwise, 1.0),
    }
}

fn wear_lines(base: &Side, test: &Side) -> Vec<WearLine> {
    let mut lines: Vec<WearLine> = Vec::new();
    for (part, wear) in &base.wear {
        let other = test.wear.get(part);
        if other == Some(wear) {
            continue;
        }
        lines.push(WearLine {
            part: part.clone(),
            base_pulls: Some(wear.pulls),
            test_pulls: other.map(|wear| wear.pulls),
            base_seconds: Some(wear.seconds),
            test_seconds: other.map(|wear| wear.seconds),
        });
    }
    for (part, wear) in test.wear.iter().filter(|(part, _)| !base.wear.contains_key(*part)) {
        lines.push(WearLine {
            part: part.clone(),
            base_pulls: None,
            test_pulls: Some(wear.pulls),
            base_seconds: None,
            test_seconds: Some(wear.seconds),
        });
    }
    lines
}

/// The files among these with pending edits.
///
/// # Errors
/// The store's.
pub(super) fn pending_among(book: &Book, paths: &[String]) -> Result<Vec<String>, Failure> {
    let paths: Vec<&str> = paths.iter().map(String::as_str).collect();
    Ok(book.pending(&paths)?.into_iter().map(|pending| pending.path).collect())
}

/// What is not documented: of one pull or build, between two, or of the newest pull.
///
/// # Errors
/// A name means nothing, or a record does not hold.
pub fn gaps(book: &Book, about: &[String], as_of: &AsOf) -> Result<GapsAnswer, Failure> {
    let library = as_of.library(book)?;
    let last = ["last".to_owned()];
    let about = if about.is_empty() { &last } else { about };
    let mut sides = Vec::new();
    for name in about {
        let mut side = gather::side(&library, &names::pull_or_build(&library, name)?)?;
        derived::add_channel_means(book, &library, &mut side, Channels::All)?;
        flow_bench::add_coefficient(book, &library, &mut side)?;
        sides.push(side);
    }
    let wanted = derived::wanted(&library, None)?;
    let mut answer = GapsAnswer {
        about: sides.iter().map(|side| side.name.clone()).collect(),
        gaps: Vec::new(),
        common: Vec::new(),
        soft: Vec::new(),
        bars: Vec::new(),
        weak: Vec::new(),
        contradictions: Vec::new(),
        alarms: Vec::new(),
        doubts: Vec::new(),
        runs: None,
        pending: Vec::new(),
        next: String::new(),
    };
    let mut unlike = None;
    match sides.as_slice() {
        [one] => {
            answer.gaps = check::gaps_of(one, library.kinds()).iter().map(GapLine::from).collect();
            answer.soft = check::soft_of(one, library.kinds());
        }
        [base, test] => match check::documented(base, test, library.kinds(), wanted) {
            Err(refusal) => {
                answer.gaps = refusal.gaps.iter().map(GapLine::from).collect();
                unlike = refusal.unlike_corrections;
            }
            Ok(checked) => {
                answer.common = checked.common_gaps().iter().map(GapLine::from).collect();
                answer.soft = checked
                    .soft()
                    .iter()
                    .map(|(item, _, shown)| format!("{}: {} {}", item.path(), shown.how, shown.text))
                    .collect();
            }
        },
        _ => {
            return Err(Failure::usage(
                Finding::error("too-many-sides", "gaps are asked of one record or between two")
                    .found(format!("{}", sides.len())),
            ));
        }
    }
    answer.doubts = doubts_on::lines(sides.iter(), library.kinds());
    for side in &sides {
        let alarms = check::alarms_of(side, library.kinds());
        answer.alarms.extend(alarms.iter().map(|alarm| AlarmLine::of(&side.name, alarm)));
    }
    for side in &sides {
        answer.weak.extend(derived::weak(&library, side)?);
        answer.bars.extend(derived::bars(&library, side)?);
        let found = derive::contradictions(&side.ground(library.kinds()));
        answer.contradictions.extend(found.iter().map(|words| format!("{}: {words}", side.name)));
    }
    answer.next = match (answer.gaps.is_empty(), about.len()) {
        (true, 2) if let Some(none) = unlike => format!(
            "nothing else is missing, but {}: they are not compared",
            no_basis_words(&answer.about[0], &answer.about[1], &none)
        ),
        (true, 2) => format!("mulebook diff {} {}", answer.about[0], answer.about[1]),
        (true, _) => "everything that a comparison asks for is documented".to_owned(),
        (false, _) => format!("mulebook gaps {} --fill   asks for them one by one", answer.about.join(" ")),
    };
    answer.pending = as_of.pending_among(book, &library)?;
    Ok(answer)
}
