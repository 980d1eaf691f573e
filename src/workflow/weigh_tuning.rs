//! Same settings, or each side at its best: which of the two a comparison speaks of, and what each side was given.

use std::collections::BTreeSet;

use crate::answer::TuningLine;
use crate::record::Kinds;
use crate::workflow::weigh_budget::across;
use crate::workflow::weigh_elsewhere::Elsewhere;
use crate::workflow::weigh_models::SETS_THE_MIXTURE;
use crate::workflow::weigh_pairs::Pair;
use crate::workflow::weigh_pulls::Weighable;

/// Settings, by their meaning, that are turned to find a set-up's best.
const TIMING: &str = "ignition-timing";

/// What a comparison claims of the settings.
pub(super) fn tuning(
    pairs: &[Pair<'_>],
    count: usize,
    pulls: &[Weighable],
    elsewhere: &Elsewhere,
    kinds: &Kinds,
) -> TuningLine {
    let names: Vec<&str> = kinds
        .settings
        .iter()
        .filter(|spec| {
            spec.means.as_deref().is_some_and(|means| means == TIMING || SETS_THE_MIXTURE.contains(&means))
        })
        .map(|spec| spec.name.as_str())
        .collect();
    let differing: BTreeSet<String> = across(pairs, count)
        .flat_map(|(_, _, checked)| checked.changes())
        .filter(|change| change.is_hand_made() && names.contains(&change.item.name.as_str()))
        .map(|change| change.item.title.to_lowercase())
        .collect();
    let (base, test) = pulls.split_at(count.min(pulls.len()));
    let tried = |side: &[Weighable]| loops(side, elsewhere, &names);
    let (base, test) = (tried(base), tried(test));
    let differing: Vec<String> = differing.into_iter().collect();
    if differing.is_empty() {
        return TuningLine {
            claim: "same settings",
            says:
                "both sides at the same settings: what either would give at its own best is another question"
                    .to_owned(),
            differing,
            base,
            test,
        };
    }
    let mut says = format!("each side at settings of its own ({})", differing.join(", "));
    says.push_str(&match (base.len(), test.len()) {
        (0, 0) => {
            ": no tuning pull of either side is in the book, so nothing shows that either is at its best"
                .to_owned()
        }
        (a, b) if a == b => format!(": {a} tuning pulls on each side"),
        (a, b) => format!(": unequal effort, {a} tuning pulls of the base and {b} of the test side"),
    });
    TuningLine { claim: "each at its best", says, differing, base, test }
}

/// Pulls of the book with the same parts as a side and another setting of those that are tuned.
fn loops(side: &[Weighable], elsewhere: &Elsewhere, names: &[&str]) -> Vec<String> {
    let own: BTreeSet<String> = side.iter().map(|pull| pull.configuration(&[])).collect();
    let parts: BTreeSet<String> = side.iter().map(|pull| pull.configuration(names)).collect();
    elsewhere
        .pulls
        .iter()
        .filter(|pull| parts.contains(&pull.configuration(names)) && !own.contains(&pull.configuration(&[])))
        .map(|pull| pull.side.name.clone())
        .collect()
}
