//! Rules between neighbouring parts, told as doubts where a build is written down or kept.

use crate::answer::AlarmLine;
use crate::check;
use crate::check::AlarmStatus;
use crate::finding::Finding;
use crate::finding::Place;
use crate::record::Build;
use crate::workflow::Library;
use crate::workflow::gather;

/// The rules that a build's parts do not hold. A record that does not hold itself is told of elsewhere.
pub(super) fn of_build(library: &Library, path: &str, build: &Build) -> Vec<Finding> {
    let Ok(side) = gather::build_side(library, build) else { return Vec::new() };
    let alarms = check::alarms_of(&side, library.kinds());
    let told = alarms.iter().filter(|alarm| matches!(alarm.status, AlarmStatus::Trips | AlarmStatus::Close));
    told.map(|alarm| {
        let line = AlarmLine::of(&build.name, alarm);
        let words = match alarm.status {
            AlarmStatus::Trips => format!("before bolting on: {}", alarm.says),
            _ => format!("before bolting on, within what the figures may be off: {}", alarm.says),
        };
        Finding::doubt("fit-alarm", words)
            .at(Place::file(path).field(format!("fits.{}", alarm.pair)))
            .found(line.figures_words())
            .expected(format!("{} ({})", alarm.limit, alarm.source))
            .next(format!(
                "try the two on each other, and enter what was found: `mulebook measure {} {}.…`",
                build.name, alarm.pair
            ))
    })
    .collect()
}
