//! Which figures of a pull moved because its columns record was changed after the pull was entered.

use std::collections::BTreeSet;

use crate::check::Side;
use crate::curves::Curve;
use crate::record::columns::Columns;
use crate::store::Book;
use crate::workflow::Failure;
use crate::workflow::Library;
use crate::workflow::library::columns_path;
use crate::workflow::sweep;

/// A line for each pull whose columns record reads otherwise now than when the pull was entered.
///
/// # Errors
/// The store's, or a file that its columns record does not fit.
pub(super) fn lines(
    book: &Book,
    library: &Library,
    sides: [&Side; 2],
    step_rpm: u32,
) -> Result<Vec<String>, Failure> {
    let named = |side: &Side| -> Vec<String> {
        side.pull.iter().flat_map(|pull| &pull.raw).filter_map(|raw| raw.columns.clone()).collect()
    };
    let names: BTreeSet<String> = sides.into_iter().flat_map(named).collect();
    let mut changed = BTreeSet::new();
    for name in names {
        // A record that was written once reads as it always did: the common case costs one walk.
        if book.log(&columns_path(&name))?.len() > 1 {
            changed.insert(name);
        }
    }
    let mut lines = Vec::new();
    for side in sides {
        for name in named(side).into_iter().filter(|name| changed.contains(name)) {
            lines.extend(line(book, library, side, &name, step_rpm)?);
        }
    }
    Ok(lines)
}

fn line(
    book: &Book,
    library: &Library,
    side: &Side,
    name: &str,
    step_rpm: u32,
) -> Result<Option<String>, Failure> {
    let Some(path) = side.pull.as_ref().and_then(|pull| library.pull_paths().ok()?.get(&pull.id)) else {
        return Ok(None);
    };
    let Some(entered) = book.log(path)?.pop() else { return Ok(None) };
    let then = Library::at(book, entered.commit)?;
    let bare = |columns: Option<Columns>| columns.map(|columns| Columns { note: None, ..columns });
    if bare(then.columns(name)?) == bare(library.columns(name)?) {
        return Ok(None);
    }
    let mean = |library: &Library| {
        sweep::of_pull(book, library, side, step_rpm)
            .map(|curve| curve.ok().and_then(|curve| mean_nm(&curve)))
    };
    // What the older record made of the file may be nothing at all; that is told, not a failure.
    let (before, now) = (mean(&then).ok().flatten(), mean(library)?);
    let told =
        |mean: Option<f64>| mean.map_or_else(|| "not to be had".to_owned(), |nm| format!("{nm:.1} N·m"));
    let moved = match (before, now) {
        (Some(before), Some(now)) if before.to_bits() == now.to_bits() => {
            "mean torque over the sweep did not move".to_owned()
        }
        _ => format!("mean torque over the sweep was {} then and is {} now", told(before), told(now)),
    };
    Ok(Some(format!(
        "{}: its columns record `{name}` was changed since the pull was entered; {moved}",
        side.name
    )))
}

fn mean_nm(curve: &Curve) -> Option<f64> {
    #[expect(clippy::cast_precision_loss, reason = "a grid has some hundred points")]
    let count = curve.points.len() as f64;
    (count > 0.0).then(|| curve.points.iter().map(|point| point.torque_nm).sum::<f64>() / count)
}
