//! The pulls that a weighing leaves out.

use std::collections::BTreeSet;

use crate::answer::Excluded;
use crate::workflow::Failure;
use crate::workflow::Library;
use crate::workflow::weigh_elsewhere::Elsewhere;
use crate::workflow::weigh_pulls::Weighable;

/// The pulls of the sessions involved that are on neither side, each with its reason.
pub(super) fn excluded(
    library: &Library,
    pulls: &[Weighable],
    left_out: Vec<(String, String)>,
    elsewhere: &Elsewhere,
) -> Result<Vec<Excluded>, Failure> {
    let named: BTreeSet<&str> = pulls.iter().map(|pull| pull.side.name.as_str()).collect();
    let alike: BTreeSet<(String, String)> =
        pulls.iter().map(|pull| (pull.session(), pull.configuration(&[]))).collect();
    let chosen: BTreeSet<&str> = elsewhere
        .pulls
        .iter()
        .filter(|pull| alike.contains(&(pull.session(), pull.configuration(&[]))))
        .map(|pull| pull.side.name.as_str())
        .collect();
    let mut lines: Vec<Excluded> =
        left_out.into_iter().map(|(pull, why)| Excluded { pull, why, same_configuration: true }).collect();
    let sessions: BTreeSet<String> = pulls.iter().map(Weighable::session).collect();
    for session in sessions {
        for id in crate::workflow::names::in_session(library.pull_paths()?, &session).into_values() {
            if named.contains(id.as_str()) || lines.iter().any(|line| line.pull == id) {
                continue;
            }
            let Some(pull) = library.pull(&id)? else { continue };
            let same_configuration = chosen.contains(id.as_str());
            let why = match &pull.outcome {
                crate::record::Outcome::SetAside(why) => format!("set aside: {why}"),
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
