//! The command that closes a gap.

use std::fmt;

use crate::check::Group;
use crate::check::Item;
use crate::check::Side;
use crate::check::Why;
use crate::record::Answer;

/// What closes a gap on one side; shown as the command that does it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Close {
    /// Enter a figure of a part's state, a build or a pull.
    Measure {
        /// Where it belongs.
        at: String,
        /// Its name there.
        field: String,
        /// The state is gone or the part is not here: it can only be unknown or worked out.
        gone: bool,
    },
    /// Correct a record.
    Correct {
        /// The record.
        record: String,
        /// What is set.
        set: String,
        /// What a value looks like.
        like: &'static str,
    },
}

impl fmt::Display for Close {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Measure { at, field, gone: false } => {
                write!(f, "mulebook measure {at} {field} \"…\" --with INSTRUMENT")
            }
            Self::Measure { at, field, gone: true } => {
                write!(f, "mulebook measure {at} {field} --unknown \"why it cannot be known any more\"")
            }
            Self::Correct { record, set, like } => {
                write!(f, "mulebook correct {record} --set {set}={like} --because \"…\"")
            }
        }
    }
}

/// What closes a gap on a side. What the build can say for both sides at once is said of the build.
pub(super) fn close(side: &Side, item: &Item, why: &Why, same_build: bool) -> Close {
    let configured = match &side.build {
        Some(build) if same_build || side.pull.is_none() => build.name.as_str(),
        _ => side.name.as_str(),
    };
    let correct = |record: &str, set: &str, like| Close::Correct {
        record: record.to_owned(),
        set: set.to_owned(),
        like,
    };
    match (item.group, why) {
        (_, Why::Needs { record, field, .. }) => {
            Close::Measure { at: record.clone(), field: field.clone(), gone: false }
        }
        (_, Why::NoBuild) => correct(&side.name, "build", "NAME"),
        (_, Why::NoBatch) => {
            let role = item.role.as_deref().unwrap_or(&item.name);
            let tag = match side.effective.roles.get(role).map(|held| &held.answer) {
                Some(Answer::Part(part)) => part.tag.as_str(),
                _ => role,
            };
            correct(tag, "batch", "\"…\"")
        }
        (Group::Role, _) => correct(configured, &item.name, "none|PART/STATE"),
        (Group::Figure, _) => figure(side, item),
        (Group::Fit | Group::Setting, _) => {
            Close::Measure { at: configured.to_owned(), field: item.name.clone(), gone: false }
        }
        (Group::Condition, _) => Close::Measure { at: side.name.clone(), field: item.path(), gone: false },
        (Group::Run, _) => correct(&side.name, &item.path(), "…"),
        (Group::Correction, _) => correct(&side.name, &item.path(), "observed|STANDARD"),
    }
}

fn figure(side: &Side, item: &Item) -> Close {
    let role = item.role.as_deref().unwrap_or_default();
    let direct = match side.effective.roles.get(role).map(|held| &held.answer) {
        Some(Answer::Part(part)) => Some(part),
        _ => None,
    };
    let mut answered = side.effective.roles.values().filter_map(|held| match &held.answer {
        Answer::Part(part) => Some(part),
        _ => None,
    });
    let part = direct.or_else(|| answered.find(|part| side.parts.contains_key(&part.tag)));
    let Some(part) = part else {
        return Close::Measure { at: "PART/STATE".to_owned(), field: item.name.clone(), gone: false };
    };
    let here = side
        .parts
        .get(&part.tag)
        .is_some_and(|record| record.whereabouts.is_here() && record.is_newest(&part.letter));
    Close::Measure { at: part.to_string(), field: item.name.clone(), gone: !here }
}
