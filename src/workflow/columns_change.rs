//! Which figures of a pull or flow sheet moved because its columns record was changed after it was entered.

use std::collections::BTreeMap;
use std::sync::Arc;

use crate::check::Side;
use crate::curves::Curve;
use crate::raw;
use crate::raw::ChannelSummary;
use crate::record::FlowSheet;
use crate::record::RawFile;
use crate::record::columns::Columns;
use crate::store::Book;
use crate::store::CommitId;
use crate::workflow::Failure;
use crate::workflow::Library;
use crate::workflow::library::flow_path;
use crate::workflow::sweep;

/// The kept file; the number goes up when its form changes.
const CACHE: &str = "columns-1";
/// Where columns records are.
const FOLDER: &str = "columns";

/// A record whose raw files are read through columns records.
struct Holder<'h> {
    tag: &'h str,
    path: String,
    raw: &'h [RawFile],
}

/// Lines for each pull whose columns record reads otherwise now than when the pull was entered.
///
/// # Errors
/// The store's, or a file that its columns record does not fit.
pub(super) fn lines(
    book: &Book,
    library: &Library,
    sides: [&Side; 2],
    step_rpm: u32,
) -> Result<Vec<String>, Failure> {
    let mut lines = Vec::new();
    for side in sides {
        let Some(pull) = &side.pull else { continue };
        let Some(path) = library.pull_path(&pull.id)? else { continue };
        let holder = Holder { tag: &side.name, path, raw: &pull.raw };
        lines
            .extend(of(book, library, &holder, &|then| torque_words(book, [then, library], side, step_rpm))?);
    }
    Ok(lines)
}

/// The same for flow sheets.
///
/// # Errors
/// The store's, or a file that its columns record does not fit.
pub(super) fn flow_lines(
    book: &Book,
    library: &Library,
    sheets: [&FlowSheet; 2],
) -> Result<Vec<String>, Failure> {
    let mut lines = Vec::new();
    for sheet in sheets {
        let holder = Holder { tag: &sheet.tag, path: flow_path(&sheet.tag), raw: &sheet.raw };
        lines.extend(of(book, library, &holder, &|_| Ok(None))?);
    }
    Ok(lines)
}

fn of(
    book: &Book,
    library: &Library,
    holder: &Holder<'_>,
    more: &dyn Fn(&Library) -> Result<Option<String>, Failure>,
) -> Result<Vec<String>, Failure> {
    let mut lines = Vec::new();
    let mut edits = None;
    for raw in holder.raw {
        let Some(name) = raw.columns.as_deref() else { continue };
        // A record that was written once reads as it always did.
        if edits.is_none() {
            edits = Some(self::edits(book)?);
        }
        if edits.iter().flatten().all(|(file, n)| *n <= 1 || *file != format!("{name}.yaml")) {
            continue;
        }
        let Some(entered) = book.log(&holder.path)?.pop() else { continue };
        let then = Library::at(book, entered.commit)?;
        let bare = |columns: Option<Arc<Columns>>| {
            columns.map(|columns| Columns { note: None, ..Arc::unwrap_or_clone(columns) })
        };
        let (before, now) = (bare(then.columns(name)?), bare(library.columns(name)?));
        if before == now {
            continue;
        }
        let mut moved = moved(book, raw, before.as_ref(), now.as_ref())?;
        moved.extend(more(&then)?);
        let moved = if moved.is_empty() { "no figure moved".to_owned() } else { moved.join("; ") };
        lines.push(format!(
            "{}: its columns record `{name}` was changed since it was entered; {moved}",
            holder.tag
        ));
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

/// The channels that the two records read otherwise from the same bytes, a phrase each.
fn moved(
    book: &Book,
    raw: &RawFile,
    then: Option<&Columns>,
    now: Option<&Columns>,
) -> Result<Vec<String>, Failure> {
    let read = |columns: Option<&Columns>| -> Result<Vec<ChannelSummary>, Failure> {
        let Some((columns, mut reader)) = columns.zip(book.raw().open(&raw.sha256)?) else {
            return Ok(Vec::new());
        };
        // What the older record made of the file may be nothing at all; that is told, not a failure.
        Ok(raw::read(&mut reader, columns, &mut |_| ()).map(|summary| summary.channels).unwrap_or_default())
    };
    let (then, now) = (read(then)?, read(now)?);
    let mut names: Vec<&str> = now.iter().map(|channel| channel.name.as_str()).collect();
    names.extend(
        then.iter().map(|channel| channel.name.as_str()).filter(|name| !now.iter().any(|c| c.name == *name)),
    );
    let mut words = Vec::new();
    for name in names {
        let find =
            |channels: &'_ [ChannelSummary]| channels.iter().find(|channel| channel.name == name).cloned();
        let (before, after) = (find(&then), find(&now));
        if before.as_ref().map(figures) != after.as_ref().map(figures) {
            let quantity =
                |channel: &Option<ChannelSummary>| channel.as_ref().map(|channel| channel.quantity);
            let unlike = quantity(&before) != quantity(&after);
            let told = |channel: &Option<ChannelSummary>| told(channel.as_ref(), unlike);
            words.push(format!("{name} was {} then and is {} now", told(&before), told(&after)));
        }
    }
    Ok(words)
}

/// What a channel amounts to: its quantity, its rows, and its mean in SI where the unit is known.
fn figures(channel: &ChannelSummary) -> (&'static str, u64, Option<u64>, Option<String>) {
    let unit = channel.unit.as_deref().and_then(|unit| channel.quantity.unit(unit));
    let mean = channel.mean.map(|mean| unit.map_or(mean, |(unit, _)| unit.to_si(mean)));
    let spelled = channel.unit.clone().filter(|_| unit.is_none());
    (channel.quantity.word(), channel.count, mean.map(f64::to_bits), spelled)
}

fn told(channel: Option<&ChannelSummary>, with_quantity: bool) -> String {
    let Some(channel) = channel else { return "not read".to_owned() };
    let unit = channel.unit.as_deref().unwrap_or("of unknown unit");
    let quantity = if with_quantity { format!("{} of ", channel.quantity) } else { String::new() };
    match channel.mean {
        Some(mean) => format!("{quantity}{mean:.4} {unit} in the mean of {} rows", channel.count),
        None => format!("{quantity}no data"),
    }
}

/// How the sweep's mean torque moved.
fn torque_words(
    book: &Book,
    libraries: [&Library; 2],
    side: &Side,
    step_rpm: u32,
) -> Result<Option<String>, Failure> {
    let [then, now] = libraries;
    let mean = |library: &Library| {
        sweep::of_pull(book, library, side, step_rpm)
            .map(|curve| curve.ok().and_then(|curve| mean_nm(&curve)))
    };
    let (before, now) = (mean(then).ok().flatten(), mean(now)?);
    if before.map(f64::to_bits) == now.map(f64::to_bits) {
        return Ok(None);
    }
    let told =
        |mean: Option<f64>| mean.map_or_else(|| "not to be had".to_owned(), |nm| format!("{nm:.1} N·m"));
    Ok(Some(format!("mean torque over the sweep was {} then and is {} now", told(before), told(now))))
}

fn mean_nm(curve: &Curve) -> Option<f64> {
    #[expect(clippy::cast_precision_loss, reason = "a grid has some hundred points")]
    let count = curve.points.len() as f64;
    (count > 0.0).then(|| curve.points.iter().map(|point| point.torque_nm).sum::<f64>() / count)
}
