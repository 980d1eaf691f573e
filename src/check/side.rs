//! One side of a comparison with every record it rests on.

use std::collections::BTreeMap;
use std::collections::BTreeSet;
use std::sync::Arc;

use crate::check::ChannelDoubts;
use crate::derive::Asked;
use crate::derive::Input;
use crate::derive::Means;
use crate::record::Answer;
use crate::record::Build;
use crate::record::Cell;
use crate::record::Effective;
use crate::record::FieldSpec;
use crate::record::Instrument;
use crate::record::Kinds;
use crate::record::Moment;
use crate::record::Part;
use crate::record::PartState;
use crate::record::Pull;
use crate::record::Session;

/// How much a part has run since its state began.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub struct Wear {
    /// Pulls, this one included.
    pub pulls: u32,
    /// Running time in the pulls that say how long they ran, in seconds.
    pub seconds: f64,
}

/// One side: a pull on its build, or a build alone.
#[derive(Debug, Clone)]
pub struct Side {
    /// What it is called: the pull's id or the build's name.
    pub name: String,
    /// The build, unless the pull has none yet.
    pub build: Option<Arc<Build>>,
    /// The pull, unless the side is a build alone.
    pub pull: Option<Pull>,
    /// Its session.
    pub session: Option<Arc<Session>>,
    /// Its cell.
    pub cell: Option<Arc<Cell>>,
    /// What was really on the engine.
    pub effective: Effective,
    /// Every part that a role names, by tag.
    pub parts: BTreeMap<String, Arc<Part>>,
    /// The engine's own part record.
    pub engine: Option<Arc<Part>>,
    /// The instruments that its figures name, by tag.
    pub instruments: BTreeMap<String, Arc<Instrument>>,
    /// The channels that its raw files carry, by quantity word.
    pub channels: BTreeSet<String>,
    /// Their means over the sweep, by quantity word, and what torque and power follow from them.
    pub channel_means: Means,
    /// The same near each speed of the sweep, by speed in rpm.
    pub by_speed: BTreeMap<u32, Means>,
    /// Inputs that were worked out from other records of the book, by what they mean.
    pub worked_out: BTreeMap<String, Input>,
    /// What is asked of derived figures.
    pub asked: Asked,
    /// When its parts were put together for this fit-up, where that was a refit: the last pull before it.
    pub refit_after: Option<Moment>,
    /// Wear of its parts by tag.
    pub wear: BTreeMap<String, Wear>,
    /// What is doubted of the channels of its raw files.
    pub doubts: ChannelDoubts,
}

/// A role's answer on one side.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) enum RoleAnswer<'a> {
    /// Said in the build or the pull.
    Said(&'a Answer),
    /// Answered by an assembly that holds the role.
    Within(&'a PartState),
    /// The engine never has it.
    Never,
}

impl Side {
    /// The moment for which its figures are asked: the pull's own time, else its session's day, else none.
    pub fn moment(&self) -> Option<&Moment> {
        self.pull
            .as_ref()
            .and_then(|pull| pull.at.as_ref())
            .or_else(|| self.session.as_ref().map(|session| &session.on))
    }

    /// Whether a setting of this side still stands: documented, and nothing since can have changed it.
    pub fn setting_stands(&self, spec: &FieldSpec, kinds: &Kinds) -> bool {
        self.setting(spec, kinds).known().is_some()
    }

    /// What fills a role; none where nobody said anything.
    pub(super) fn answer<'a>(&'a self, role: &str, kinds: &Kinds) -> Option<RoleAnswer<'a>> {
        if let Some(held) = self.effective.roles.get(role) {
            return Some(RoleAnswer::Said(&held.answer));
        }
        for held in self.effective.roles.values() {
            if let Answer::Part(part) = &held.answer
                && let Some(kind) = self.parts.get(&part.tag).and_then(|record| kinds.part(&record.kind))
                && kind.answers.iter().any(|answered| answered == role)
            {
                return Some(RoleAnswer::Within(part));
            }
        }
        let since = self.build.as_ref().map(|build| &build.since);
        let never = self.engine.iter().flat_map(|engine| &engine.never).any(|never| {
            never.roles.iter().any(|named| named == role)
                && since.is_some_and(|since| !never.on.is_after(since))
        });
        never.then_some(RoleAnswer::Never)
    }

    /// The part that fills a role, itself or as an assembly.
    pub(super) fn part_in<'a>(&'a self, role: &str, kinds: &Kinds) -> Option<&'a PartState> {
        match self.answer(role, kinds)? {
            RoleAnswer::Said(Answer::Part(part)) => Some(part),
            RoleAnswer::Within(part) => Some(part),
            _ => None,
        }
    }

    /// Whether both sides are pulls of one build and one fit-up.
    pub(super) fn same_fit_up(&self, other: &Side) -> bool {
        let key = |side: &Side| {
            let build = side.build.as_ref().map(|build| build.name.clone());
            build.zip(Some(side.pull.as_ref().and_then(|pull| pull.fit_up)))
        };
        match (key(self), key(other)) {
            (Some(a), Some(b)) => a == b && (self.pull.is_some() == other.pull.is_some()),
            _ => false,
        }
    }
}
