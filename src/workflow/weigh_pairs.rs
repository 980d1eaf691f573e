//! Every pull of a weighing held against every other by the documented-check.

use std::thread;

use crate::answer::NamedPull;
use crate::answer::Refused;
use crate::answer::RefusedPairs;
use crate::check;
use crate::check::Checked;
use crate::check::Refusal;
use crate::check::Side;
use crate::check::Wanted;
use crate::record::Kinds;

/// Two sides that passed, with their places among all.
pub(super) type Pair<'a> = (usize, usize, Checked<'a>);
/// Two that did not.
pub(super) type Barred = (usize, usize, Refusal);

/// All pairs, in the order of the sides, checked on as many threads as the machine has cores.
pub(super) fn checked<'a>(
    sides: &'a [Side],
    kinds: &Kinds,
    wanted: Option<Wanted>,
) -> (Vec<Pair<'a>>, Vec<Barred>) {
    let threads = thread::available_parallelism().map_or(1, usize::from).min(sides.len().max(1));
    // The first side has the most pairs: dealt out by turns, each thread gets about as many.
    let share = |first: usize| {
        let (mut pairs, mut barred) = (Vec::new(), Vec::new());
        for (i, a) in sides.iter().enumerate().skip(first).step_by(threads) {
            for (j, b) in sides.iter().enumerate().skip(i + 1) {
                match check::documented(a, b, kinds, wanted) {
                    Ok(checked) => pairs.push((i, j, checked)),
                    Err(refusal) => barred.push((i, j, refusal)),
                }
            }
        }
        (pairs, barred)
    };
    let (mut pairs, mut barred) = thread::scope(|scope| {
        let others: Vec<_> = (1..threads).map(|first| scope.spawn(move || share(first))).collect();
        let mut all = share(0);
        for other in others {
            match other.join() {
                Ok((pairs, barred)) => {
                    all.0.extend(pairs);
                    all.1.extend(barred);
                }
                Err(panic) => std::panic::resume_unwind(panic),
            }
        }
        all
    });
    pairs.sort_by_key(|(i, j, _)| (*i, *j));
    barred.sort_by_key(|(i, j, _)| (*i, *j));
    (pairs, barred)
}

/// The refusal: of all pairs the one that lacks the most, and where there are several, what bars which of them.
pub(super) fn refused(sides: &[Side], refusals: &[Barred]) -> Option<Refused> {
    let most = refusals.iter().map(|(_, _, refusal)| refusal.gaps.len()).max()?;
    let (base, test, refusal) = refusals.iter().find(|(_, _, refusal)| refusal.gaps.len() == most)?;
    let mut refused = Refused::of(refusal, &sides.get(*base)?.name, &sides.get(*test)?.name);
    if sides.len() > 2 {
        let named = |side: &Side| NamedPull {
            name: side.name.clone(),
            build: side.build.as_ref().map(|build| build.name.clone()),
        };
        let across = RefusedPairs::of(&sides.iter().map(named).collect::<Vec<_>>(), refusals);
        refused.headline = across.headline();
        refused.across = Some(across);
    }
    Some(refused)
}
