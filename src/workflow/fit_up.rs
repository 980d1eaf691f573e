//! Which time the parts of a build are together, counted from the order of builds on the engine.

use crate::workflow::Failure;
use crate::workflow::Library;
use crate::workflow::enter_record::Entering;
use std::collections::BTreeMap;

/// Which time these parts are together, and after which pull they were put together again.
pub(super) fn fit_up(
    library: &Library,
    build: Option<&str>,
    entering: &Entering<'_>,
    refit: bool,
) -> Result<Option<(u32, Option<String>)>, Failure> {
    let Some(build) = build else { return Ok(None) };
    let Some(record) = library.build(build)? else {
        return Ok(None);
    };
    let sessions = session_order(library)?;
    let rank = |id: &str| {
        let (session, order) = id.rsplit_once('-')?;
        Some((*sessions.get(session)?, order.parse::<u32>().ok()?))
    };
    let Some(own) = sessions.get(entering.session).map(|session| (*session, entering.order)) else {
        return Ok(Some((1, None)));
    };
    let mut latest_of_build: Option<(usize, u32, String)> = None;
    let mut latest_of_engine: Option<(usize, u32, String)> = None;
    let mut engines: BTreeMap<String, bool> = BTreeMap::new();
    for (id, path) in library.pull_paths()? {
        let Some((session, order)) = rank(id).filter(|rank| *rank < own) else {
            continue;
        };
        let folder = path.split('/').nth(1).unwrap_or_default();
        if !engines.contains_key(folder) {
            let same =
                library.build(folder).ok().flatten().is_some_and(|other| other.engine == record.engine);
            engines.insert(folder.to_owned(), same);
        }
        if engines.get(folder) != Some(&true) {
            continue;
        }
        let found = Some((session, order, id.clone()));
        if folder == build {
            latest_of_build = latest_of_build.max(found.clone());
        }
        latest_of_engine = latest_of_engine.max(found);
    }
    let Some((_, _, own_last)) = latest_of_build else {
        // A build written as a refit was put together after the engine's last pull.
        let after = latest_of_engine.map(|(_, _, id)| id).filter(|_| record.refit || refit);
        return Ok(Some((1, after)));
    };
    let last = library.pull(&own_last)?;
    let number = last.as_ref().and_then(|last| last.fit_up).unwrap_or(1);
    let apart = latest_of_engine.as_ref().is_some_and(|(_, _, id)| *id != own_last);
    if apart || refit {
        return Ok(Some((number + 1, latest_of_engine.map(|(_, _, id)| id))));
    }
    Ok(Some((number, last.and_then(|last| last.refit_after))))
}

/// Sessions in order of time: by day, then by tag.
fn session_order(library: &Library) -> Result<BTreeMap<String, usize>, Failure> {
    let mut sessions = Vec::new();
    for tag in library.tags("sessions")? {
        if let Some(session) = library.session(&tag)? {
            sessions.push((session.on.clone(), tag));
        }
    }
    sessions.sort_by(|a, b| a.0.order(&b.0).then_with(|| a.1.cmp(&b.1)));
    Ok(sessions.into_iter().enumerate().map(|(rank, (_, tag))| (tag, rank)).collect())
}
