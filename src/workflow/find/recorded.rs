//! Rows straight from the records.

use crate::check::Side;
use crate::record::Claim;
use crate::record::FlowSheet;
use crate::store::Book;
use crate::workflow::Failure;
use crate::workflow::Library;
use crate::workflow::catalog::Told;
use crate::workflow::catalog::chunk::Fitted;
use crate::workflow::catalog::chunk::Plain;
use crate::workflow::catalog::rows;
use crate::workflow::condition::Condition;
use crate::workflow::derived;
use crate::workflow::find::Sort;
use crate::workflow::find::Taken;
use crate::workflow::find::asked::Asked;
use crate::workflow::find::asked::Found;
use crate::workflow::find::asked::With;
use crate::workflow::find::asked::told;
use crate::workflow::gather;
use crate::workflow::names::Named;
use crate::workflow::sweep::Channels;

/// Finds records by reading them all.
///
/// # Errors
/// A record does not hold.
pub(super) fn find(
    book: &Book,
    library: &Library,
    asked: &Asked,
    progress: Told<'_>,
) -> Result<Taken, Failure> {
    let mut taken = Taken::new(asked);
    match asked.request.sort {
        Sort::Pulls => {
            let paths = library.pull_paths()?;
            for (done, id) in paths.keys().enumerate() {
                progress("reading pulls", done as u64, Some(paths.len() as u64));
                pull(book, library, asked, id)?.into_iter().for_each(|found| taken.take(found));
            }
        }
        Sort::Builds => {
            for name in library.build_names()? {
                let side = gather::side(library, &Named::Build(name))?;
                of_side(library, asked, &side)?.into_iter().for_each(|found| taken.take(found));
            }
        }
        Sort::Parts => {
            for tag in library.part_tags()? {
                let Some(row) = library.part(&tag)?.and_then(|part| rows::of_part(library, &part)) else {
                    continue;
                };
                let said =
                    |name: &str| row.said.iter().find(|(known, _)| known == name).map(|(_, saying)| saying);
                let kind = row.plain.of.as_deref().unwrap_or_default();
                let Some(figures) = asked.figures(library, kind).filter(|_| asked.plainly(&row.plain)) else {
                    continue;
                };
                let told: Option<Vec<_>> = figures.iter().map(|name| told(said(name))).collect();
                taken.take(asked.row(&row.plain, &told.unwrap_or_default()));
            }
        }
        Sort::Flow => {
            for tag in library.tags("flow")? {
                let found = library.flow(&tag)?.and_then(|sheet| flow(asked, &sheet));
                found.into_iter().for_each(|found| taken.take(found));
            }
        }
        Sort::Claims => {
            for tag in library.tags("claims")? {
                let found = library.claim(&tag)?.and_then(|claim| self::claim(asked, &claim));
                found.into_iter().for_each(|found| taken.take(found));
            }
        }
    }
    Ok(taken)
}

/// A pull or build as its records and raw files tell of it.
///
/// # Errors
/// A record does not hold.
pub(super) fn again(
    book: &Book,
    library: &Library,
    asked: &Asked,
    name: &str,
) -> Result<Option<Found>, Failure> {
    match asked.request.sort {
        Sort::Pulls => pull(book, library, asked, name),
        _ => of_side(library, asked, &gather::side(library, &Named::Build(name.to_owned()))?),
    }
}

fn pull(book: &Book, library: &Library, asked: &Asked, id: &str) -> Result<Option<Found>, Failure> {
    let mut side = gather::side(library, &Named::Pull(id.to_owned()))?;
    if asked.conditions.iter().any(|condition| condition.sought.is_condition()) {
        derived::add_channel_means(book, library, &mut side, Channels::OfConditions)?;
    }
    of_side(library, asked, &side)
}

fn of_side(library: &Library, asked: &Asked, side: &Side) -> Result<Option<Found>, Failure> {
    let (plain, fitted) = (rows::plain(side, library.kinds()), rows::fitted(side));
    let on = |with: &With| fitted.iter().any(|(role, fitted)| with.meets(role, fitted));
    if !asked.plainly(&plain) || !asked.with.iter().all(on) {
        return Ok(None);
    }
    let told = |condition: &Condition| {
        let sought = &condition.sought;
        Ok((sought.said(side, library.kinds()).0, sought.words(side, library)?))
    };
    let told = asked.conditions.iter().map(told).collect::<Result<Vec<_>, Failure>>()?;
    Ok(Some(asked.row(&plain, &told)))
}

fn flow(asked: &Asked, sheet: &FlowSheet) -> Option<Found> {
    let on = [&sheet.part].into_iter().chain(&sheet.with_part);
    let parts: Vec<Fitted<&str>> =
        on.map(|part| Fitted::Part(part.tag.as_str(), part.letter.as_str())).collect();
    let fitted = |with: &With| with.is_anywhere() && parts.iter().any(|part| with.meets("", part));
    let words = |port: &String| format!("{} port {port}", sheet.side);
    let what = sheet.port.as_ref().map_or_else(|| sheet.side.to_string(), words);
    let plain = Plain {
        name: sheet.tag.clone(),
        on: Some(sheet.on.day().to_string()),
        by: Some(sheet.by.clone()),
        session: None,
        cell: None,
        of: Some(format!("{}, {what}", sheet.part)),
        remark: None,
        doubted: false,
    };
    (asked.plainly(&plain) && asked.with.iter().all(fitted)).then(|| asked.row(&plain, &[]))
}

fn claim(asked: &Asked, claim: &Claim) -> Option<Found> {
    let metric = claim.terms.metric.word().replace('-', " ");
    let of = claim.terms.subject.as_ref().map_or(metric.clone(), |subject| format!("{subject}, {metric}"));
    let plain = Plain {
        name: claim.tag.clone(),
        on: Some(claim.on.day().to_string()),
        by: Some(claim.by.clone()),
        session: None,
        cell: None,
        of: Some(of),
        remark: claim.withdrawn.as_ref().map(|withdrawn| format!("withdrawn ({})", withdrawn.because)),
        doubted: false,
    };
    asked.plainly(&plain).then(|| asked.row(&plain, &[]))
}
