//! Which figures of a pull moved because its columns record was changed after the pull was entered.

use std::collections::BTreeMap;
use std::collections::BTreeSet;

use crate::check::Side;
use crate::curves::Curve;
use crate::record::columns::Columns;
use crate::store::Book;
use crate::store::CommitId;
use crate::workflow::Failure;
use crate::workflow::Library;
use crate::workflow::sweep;

/// The kept file; the number goes up when its form changes.
const CACHE: &str = "columns-1";
/// Where columns records are.
const FOLDER: &str = "columns";

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
    if names.is_empty() {
        return Ok(Vec::new());
    }
    // A record that was written once reads as it always did.
    let edits = edits(book)?;
    let changed: BTreeSet<String> =
        names.into_iter().filter(|name| edits.get(&format!("{name}.yaml")).is_some_and(|n| *n > 1)).collect();
    let mut lines = Vec::new();
    for side in sides {
        for name in named(side).into_iter().filter(|name| changed.contains(name)) {
            lines.extend(line(book, library, side, &name, step_rpm)?);
        }
    }
    Ok(lines)
}

/// How often each columns record was changed. Kept with the commit up to which it was counted: only newer ones are
/// looked at again, and all where that commit is no longer below the last one.
fn edits(book: &Book) -> Result<BTreeMap<String, usize>, Failure> {
    let commit = book.head()?.commit();
    let kept: Option<(String, BTreeMap<String, usize>)> =
        book.cache_read(CACHE).and_then(|bytes| serde_json::from_slice(&bytes).ok());
    let kept = kept.and_then(|(up_to, edits)| Some((CommitId::parse(&up_to)?, edits)));
    let mut edits = BTreeMap::new();
    let mut newer = None;
    if let Some((up_to, before)) = kept {
        if up_to == commit {
            return Ok(before);
        }
        newer = book.edits_in(FOLDER, Some(up_to))?;
        if newer.is_some() {
            edits = before;
        }
    }
    let newer = match newer {
        Some(newer) => newer,
        None => book.edits_in(FOLDER, None)?.unwrap_or_default(),
    };
    for (name, more) in newer {
        *edits.entry(name).or_insert(0) += more;
    }
    if let Ok(bytes) = serde_json::to_vec(&(commit.to_string(), &edits)) {
        book.cache_write(CACHE, &bytes);
    }
    Ok(edits)
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
