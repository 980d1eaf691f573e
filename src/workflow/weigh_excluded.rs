//! Pulls of the sessions involved that are on neither side, each with its reason; and pulls chosen among repeats.

use std::collections::BTreeMap;
use std::collections::BTreeSet;

use crate::answer::ChosenLine;
use crate::answer::Excluded;
use crate::record::Outcome;
use crate::statistics::order::best_of;
use crate::verdict::Difference;
use crate::workflow::Failure;
use crate::workflow::Library;
use crate::workflow::names;
use crate::workflow::weigh::Figure;
use crate::workflow::weigh_elsewhere::Elsewhere;
use crate::workflow::weigh_pulls::SetAside;
use crate::workflow::weigh_pulls::Weighable;

/// The pulls of the sessions involved that are on neither side, each with its reason.
pub(super) fn excluded(
    library: &Library,
    pulls: &[Weighable],
    left_out: Vec<SetAside>,
    elsewhere: &Elsewhere,
) -> Result<Vec<Excluded>, Failure> {
    let named: BTreeSet<&str> = pulls.iter().map(|pull| pull.side.name.as_str()).collect();
    let alike: BTreeSet<(String, String)> = pulls.iter().map(repeats_of).collect();
    let chosen: BTreeSet<&str> = elsewhere
        .pulls
        .iter()
        .filter(|pull| alike.contains(&repeats_of(pull)))
        .map(|pull| pull.side.name.as_str())
        .collect();
    let mut lines: Vec<Excluded> =
        left_out.into_iter().map(|(pull, why)| Excluded { pull, why, same_configuration: true }).collect();
    let sessions: BTreeSet<String> = pulls.iter().map(Weighable::session).collect();
    for session in sessions {
        for id in names::in_session(library.pull_paths()?, &session).into_values() {
            if named.contains(id.as_str()) || lines.iter().any(|line| line.pull == id) {
                continue;
            }
            let Some(pull) = library.pull(&id)? else { continue };
            let same_configuration = chosen.contains(id.as_str());
            let why = match &pull.outcome {
                Outcome::SetAside(why) => format!("set aside: {why}"),
                _ if same_configuration => {
                    "kept, of a configuration that is weighed, and not named".to_owned()
                }
                _ => "on neither side".to_owned(),
            };
            lines.push(Excluded { pull: id, why, same_configuration });
        }
    }
    Ok(lines)
}

fn repeats_of(pull: &Weighable) -> (String, String) {
    (pull.session(), pull.configuration(&[]))
}

/// Where some of the kept repeats of a configuration in a session were named and others not: which choice that was, and
/// by how much it moves the side's mean when all that differs is noise.
///
/// # Errors
/// None that counts of pulls can give.
pub(super) fn chosen(
    pulls: &[Weighable],
    count: usize,
    elsewhere: &Elsewhere,
    figure: &Figure<'_>,
    difference: &Difference,
) -> Result<Vec<ChosenLine>, Failure> {
    let mut lines = Vec::new();
    let (base, test) = pulls.split_at(count.min(pulls.len()));
    let spread = match (&difference.scatter, difference.own_spreads) {
        (Some(scatter), _) => scatter.pull.or(scatter.stand).map(|pull| pull.standard_deviation),
        (None, Some((a, b))) => Some(a.max(b)),
        (None, None) => None,
    };
    for (side, own) in [("base", base), ("test", test)] {
        let mut groups: BTreeMap<(String, String), Vec<&Weighable>> = BTreeMap::new();
        for pull in own {
            groups.entry(repeats_of(pull)).or_default().push(pull);
        }
        for (group, named) in &groups {
            let unnamed: Vec<&Weighable> =
                elsewhere.pulls.iter().filter(|pull| repeats_of(pull) == *group).collect();
            if unnamed.is_empty() {
                continue;
            }
            let values = |pulls: &[&Weighable]| -> Vec<f64> {
                pulls.iter().filter_map(|pull| figure.value(pull).ok()).collect()
            };
            let (inside, outside) = (values(named), values(&unnamed));
            let whole = named.len() + unnamed.len();
            let least = |values: &[f64]| values.iter().copied().fold(f64::INFINITY, f64::min);
            let most = |values: &[f64]| values.iter().copied().fold(f64::NEG_INFINITY, f64::max);
            let (word, sign) = if least(&inside) > most(&outside) {
                ("the best", 1.0)
            } else if most(&inside) < least(&outside) {
                ("the worst", -1.0)
            } else {
                ("a choice of", 0.0)
            };
            let extreme = best_of(named.len(), whole).map_err(|error| super::weigh::plain(error.into()))?;
            let share = named.len() as f64 / own.len().max(1) as f64;
            lines.push(ChosenLine {
                side,
                says: format!("{word} {} of {whole} in {}", named.len(), group.0),
                named: named.iter().map(|pull| pull.side.name.clone()).collect(),
                unnamed: unnamed.iter().map(|pull| pull.side.name.clone()).collect(),
                bias: spread.filter(|_| sign != 0.0).map(|spread| sign * extreme * spread * share),
            });
        }
    }
    Ok(lines)
}
