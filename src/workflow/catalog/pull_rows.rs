//! The rows of a pull: it is read once, and brought together with its build and parts once, for all shelves that are made.

use std::collections::BTreeSet;
use std::sync::Arc;

use crate::check::Side;
use crate::store::Book;
use crate::store::EntryKind;
use crate::store::RawPlace;
use crate::workflow::Failure;
use crate::workflow::Library;
use crate::workflow::catalog::Shelf;
use crate::workflow::catalog::alike::Alike;
use crate::workflow::catalog::alike::Configuration;
use crate::workflow::catalog::chunk;
use crate::workflow::catalog::chunk::Row;
use crate::workflow::catalog::chunk::Saying;
use crate::workflow::catalog::rows;
use crate::workflow::catalog::rows::Found;
use crate::workflow::catalog::rows::Rows;
use crate::workflow::derived;
use crate::workflow::gather;
use crate::workflow::sought;
use crate::workflow::sweep::Channels;
use crate::workflow::trail_touches;
use crate::workflow::wear;

/// Bytes of a pull's raw files from which on they are not read in company.
const LONG: u64 = 256 << 10;

/// The rows of the pull at a path, on the shelf that was asked for and on those that are made in its company.
pub(super) fn of(book: &Book, library: &Library, shelves: &[Shelf], path: &str, alike: &mut Alike) -> Rows {
    let gathering = || match library.pull_at(path)? {
        Some(pull) => gather::pull_side(library, pull).map(Some),
        None => Ok(None),
    };
    let alone = shelves == [Shelf::PullEvents];
    let (gathered, relied) = if alone { (Ok(None), BTreeSet::new()) } else { library.relying(gathering) };
    let faulty = gathered.is_err();
    let mut side = gathered.ok().flatten();
    let configuration = side.as_ref().map(|side| alike.of(side));
    let doubted = |side: &Side| configuration.is_some_and(|known| known.doubted(side, library));
    let doubted = side.as_ref().is_some_and(doubted);
    let mut plain = None;
    let mut found: Vec<Found> = Vec::new();
    for (place, shelf) in shelves.iter().enumerate() {
        if *shelf == Shelf::Means && place > 0 && side.as_ref().is_some_and(has_long_logs) {
            found.push(Found { row: None, faulty: true, relied: BTreeSet::new() });
            continue;
        }
        let made = library.relying(|| match (shelf, &mut side, configuration) {
            (Shelf::PullEvents, side, _) => events(library, path, side.as_ref()).map(Some),
            (_, Some(side), Some(configuration)) => {
                let (alike, said) = of_side(book, library, *shelf, side, configuration)?;
                let plain = plain.get_or_insert_with(|| rows::plainly(side, doubted)).clone();
                Ok(Some(Row { plain, alike, fitted: Vec::new(), said }))
            }
            _ => Ok(None),
        });
        let own = Found::of(made);
        found.push(Found { faulty: own.faulty || (faulty && *shelf != Shelf::PullEvents), ..own });
    }
    Rows { found, relied, ran: side.as_ref().and_then(|side| wear::Ran::of(side, path.split('/').nth(1)?)) }
}

/// Whether the raw files of a side are too long to be read before somebody asks for what is in them.
fn has_long_logs(side: &Side) -> bool {
    let raw = side.pull.iter().flat_map(|pull| &pull.raw);
    raw.map(|raw| raw.bytes).fold(0, u64::saturating_add) > LONG
}

/// What its events touch; a pull that does not hold touches nothing.
fn events(library: &Library, path: &str, side: Option<&Side>) -> Result<Row, Failure> {
    let gathered = side.and_then(|side| Some((side.pull.as_ref()?, &side.effective)));
    let touched = match gathered {
        Some((pull, effective)) => trail_touches::of_pull(pull, effective),
        None => trail_touches::of(library, path)?,
    };
    Ok(rows::touching(path, touched))
}

/// What the side's configuration says, and what it says itself.
type OfSide = (Option<Arc<chunk::Alike>>, Vec<(String, Saying<String>)>);

fn of_side(
    book: &Book,
    library: &Library,
    shelf: Shelf,
    side: &mut Side,
    configuration: &Configuration,
) -> Result<OfSide, Failure> {
    Ok(match shelf {
        Shelf::Ratios => {
            let (said, relied) = configuration.ratios(library);
            library.rely_on(relied);
            (Some(Arc::clone(said)), Vec::new())
        }
        Shelf::Means => {
            let by_compression = configuration.ignites_by_compression(library);
            (None, means(book, library, side, by_compression)?)
        }
        _ => {
            let said = configuration.said(library);
            (Some(Arc::clone(said)), sought::of_running(side, library.kinds()))
        }
    })
}

/// The conditions that channels of a pull's raw files tell.
fn means(
    book: &Book,
    library: &Library,
    side: &mut Side,
    by_compression: bool,
) -> Result<Vec<(String, Saying<String>)>, Failure> {
    let raw: Vec<String> =
        side.pull.iter().flat_map(|pull| &pull.raw).map(|raw| raw.sha256.clone()).collect();
    for sha256 in raw {
        let path = RawPlace::InGit.path(&sha256);
        let here = library.snapshot().entry(&path).ok().flatten();
        // A file that git does not hold may be here today and not tomorrow.
        if here.is_none_or(|entry| entry.kind == EntryKind::Folder) {
            return Ok(sought::live_channels(side, library.kinds()));
        }
    }
    let which = if by_compression { Channels::All } else { Channels::OfConditions };
    derived::add_means(book, library, side, which)?;
    Ok(sought::channels(side, library.kinds()))
}
