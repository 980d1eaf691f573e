//! How everything that a comparison rests on is known: measured, measured afterwards, only said, unknown; and whether the
//! times of the records can be right.

use std::collections::BTreeSet;

use crate::answer::GroundsLine;
use crate::check;
use crate::check::Shown;
use crate::check::Side;
use crate::check::Told;
use crate::finding::Finding;
use crate::record::Kinds;
use crate::workflow::Failure;
use crate::workflow::Library;
use crate::workflow::gather;
use crate::workflow::names::Named;

/// Most lines of one sort.
const MOST: usize = 200;

/// How all items of these pulls are known, and what of their times cannot be right.
///
/// # Errors
/// A record does not hold.
pub(super) fn of(library: &Library, pulls: &[String]) -> Result<(GroundsLine, Vec<Finding>), Failure> {
    let mut line = GroundsLine::default();
    let mut findings = Vec::new();
    let mut seen = BTreeSet::new();
    for id in pulls {
        let side = gather::side(library, &Named::Pull(id.clone()))?;
        times(&side, &mut findings);
        items(&side, library.kinds(), &mut |path, shown| {
            if seen.insert((path.to_owned(), shown.how, shown.text.clone(), shown.afterwards)) {
                take(&mut line, path, shown);
            }
        });
    }
    for lines in [&mut line.only_said, &mut line.afterwards, &mut line.unknown, &mut line.corrected] {
        let more = lines.len().saturating_sub(MOST);
        lines.truncate(MOST);
        if more > 0 {
            lines.push(format!("and {more} more"));
        }
    }
    Ok((line, findings))
}

fn items(side: &Side, kinds: &Kinds, take: &mut dyn FnMut(&str, &Shown)) {
    let sheet = check::sheet_of(side, kinds);
    let of_roles = sheet.roles.iter().flat_map(|role| std::iter::once(&role.role).chain(&role.figures));
    let rest = sheet.settings.iter().chain(&sheet.fits).chain(&sheet.conditions).chain(&sheet.run);
    for item in of_roles.chain(rest) {
        if let Told::Known(shown) = &item.told {
            take(&item.item.path(), shown);
        }
    }
}

fn take(line: &mut GroundsLine, path: &str, shown: &Shown) {
    if let Some(because) = &shown.corrected {
        line.corrected.push(format!("{path}: {} ({because})", shown.text));
    }
    if shown.afterwards {
        let when = shown.taken.as_ref().map(|taken| format!(", {taken}")).unwrap_or_default();
        line.afterwards.push(format!("{path}: {} {}{when}", shown.how, shown.text));
        return;
    }
    match shown.how {
        "measured" => line.measured += 1,
        "channel" => line.by_channel += 1,
        "unknown" => line.unknown.push(format!("{path}: {}", shown.text)),
        "listed" | "assumed" | "calculated" => {
            let source = shown.source.as_ref().map(|source| format!(" ({source})")).unwrap_or_default();
            line.only_said.push(format!("{path}: {} {}{source}", shown.how, shown.text));
        }
        _ => line.answered += 1,
    }
}

/// A pull before its build, an instrument past its calibration.
fn times(side: &Side, findings: &mut Vec<Finding>) {
    let mut tell = |finding: Finding| {
        if !findings.contains(&finding) {
            findings.push(finding);
        }
    };
    if let (Some(at), Some(build)) = (side.moment(), &side.build)
        && build.since.is_after(at)
    {
        tell(
            Finding::error("pull-before-build", "a pull is from before its build was together")
                .found(format!("{} at {at}, build {} since {}", side.name, build.name, build.since)),
        );
    }
    for (tag, instrument) in &side.instruments {
        let due = side.moment().and_then(|at| {
            let due = instrument.calibration_on(at)?.due.as_ref()?;
            at.is_after(due).then(|| format!("{tag} was due on {due}, {} is of {at}", side.name))
        });
        if let Some(due) = due {
            tell(
                Finding::doubt("calibration-overdue", "an instrument was used past its calibration")
                    .found(due),
            );
        }
    }
}
