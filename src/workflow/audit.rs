//! Read everything: every object, raw file, schema, record and reference.

use std::collections::BTreeMap;
use std::collections::BTreeSet;

use crate::answer::AuditAnswer;
use crate::answer::TouchedLine;
use crate::finding::Finding;
use crate::finding::Place;
use crate::record::Pull;
use crate::store::Book;
use crate::workflow::Context;
use crate::workflow::Failure;
use crate::workflow::Library;
use crate::workflow::figure_files;
use crate::workflow::gate;
use crate::workflow::touched::Relations;

/// Audits a book.
///
/// # Errors
/// Only when the reading itself fails; damage is part of the answer.
pub fn audit(book: &Book, context: &Context) -> Result<AuditAnswer, Failure> {
    let mut damage = Vec::new();
    let mut doubts = Vec::new();
    let mut named = BTreeMap::new();
    let mut records = 0;
    let mut commit = String::new();
    match Library::at_head(book) {
        Ok(library) => {
            commit = library.commit().short();
            records = check_records(book, context, &library, &mut named, &mut damage, &mut doubts)?;
        }
        Err(failure) => damage.extend(failure.findings),
    }
    let verified = book.verify(&named, &mut |state| {
        (context.progress)("reading objects", state.objects as u64, None);
    })?;
    let mut not_here = Vec::new();
    for finding in verified.findings {
        if finding.is_error() {
            damage.push(finding);
        } else if finding.code == "raw-not-here" {
            not_here.push(finding.to_string());
        } else {
            doubts.push(finding);
        }
    }
    // What stopped the reading of records is told once, by the object or reference that is damaged.
    let told = |finding: &Finding| {
        matches!(finding.code, "evidence-damaged" | "raw-damaged") && finding.place.is_none()
    };
    if damage.iter().any(|finding| !told(finding)) {
        damage.retain(|finding| !told(finding));
    }
    let touched = touched_by(book, &damage);
    let next = if damage.is_empty() {
        "everything that the book names is here and holds".to_owned()
    } else {
        "mulebook mend --from COPY   restores what is damaged from a clone or a backup of the book; without --from, \
         what this copy still holds itself"
            .to_owned()
    };
    Ok(AuditAnswer {
        commits: verified.commits,
        objects: verified.objects,
        raw_files: verified.raw_files,
        raw_bytes: verified.raw_bytes,
        records,
        damage,
        doubts,
        touched,
        not_here,
        commit,
        next,
    })
}

/// What rests on each file that is damaged, as far as the last commit can be read.
fn touched_by(book: &Book, damage: &[Finding]) -> Vec<TouchedLine> {
    // A file beside a figure that is missing is told at the figure: its record is whole.
    let files: BTreeSet<(&str, Option<&str>)> = damage
        .iter()
        .filter_map(|finding| Some((finding.place.as_ref()?, finding.code == "raw-missing")))
        .map(|(place, missing)| (place.file.as_str(), place.field.as_deref().filter(|_| missing)))
        .collect();
    if files.is_empty() {
        return Vec::new();
    }
    let Ok(library) = Library::at_head(book) else { return Vec::new() };
    let relations = Relations::read(&library);
    let touched = files.into_iter().filter_map(|(file, figure)| match figure {
        Some(figure) => relations.resting_on_figure(file, figure),
        None => relations.resting_on(file),
    });
    touched.collect()
}

/// Every record through the gate; returns how many there are.
fn check_records(
    book: &Book,
    context: &Context,
    library: &Library,
    named: &mut BTreeMap<String, Place>,
    damage: &mut Vec<Finding>,
    doubts: &mut Vec<Finding>,
) -> Result<usize, Failure> {
    let files = match library.snapshot().files("") {
        Ok(files) => files,
        Err(error) => {
            damage.extend(Failure::from(error).findings);
            return Ok(0);
        }
    };
    let mut records = 0;
    let mut last_times: BTreeMap<String, Pull> = BTreeMap::new();
    for (path, _) in &files {
        if matches!(gate::sort_of(path), gate::Sort::Other) {
            continue;
        }
        records += 1;
        (context.progress)("checking records", records as u64, None);
        match gate::check(book, library, &BTreeSet::from([path.clone()]), &BTreeSet::new()) {
            Ok(found) => doubts.extend(
                found
                    .into_iter()
                    .filter(|finding| finding.code != "raw-not-here" && !doubts.contains(finding))
                    .collect::<Vec<_>>(),
            ),
            Err(failure) => damage.extend(failure.findings),
        }
        named.extend(figure_files::named_in(library, path).unwrap_or_default());
        if let gate::Sort::Pull(_) = gate::sort_of(path)
            && let Some(id) = path.rsplit('/').next().and_then(|file| file.strip_suffix(".yaml"))
            && let Ok(Some(pull)) = library.pull(id)
        {
            backwards(&pull, last_times.get(&pull.session), doubts);
            last_times.insert(pull.session.clone(), pull);
        }
    }
    Ok(records)
}

/// Times that run backwards within a session.
fn backwards(pull: &Pull, before: Option<&Pull>, doubts: &mut Vec<Finding>) {
    if let Some(before) = before
        && let (Some(earlier), Some(at)) = (&before.at, &pull.at)
        && ((before.order < pull.order && earlier.is_after(at))
            || (before.order > pull.order && at.is_after(earlier)))
    {
        doubts.push(
            Finding::doubt(
                "times-backwards",
                "pulls of a session were run in another order than they are numbered",
            )
            .found(format!("{} at {earlier}, {} at {at}", before.id, pull.id)),
        );
    }
}
