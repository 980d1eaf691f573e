//! A part, its condition letters, and what a figure of it is in one of them.

use std::collections::BTreeMap;

use crate::record::Correction;
use crate::record::Course;
use crate::record::Doubted;
use crate::record::Entry;
use crate::record::Figure;
use crate::record::Moment;
use crate::record::PartKind;
use crate::record::Standing;

/// Where a part is now: whether a gap of it can still be closed.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub enum Whereabouts {
    /// In the shop.
    #[default]
    Here,
    /// Sold, on that day.
    Sold(Option<Moment>),
    /// Lent out, on that day.
    Lent(Option<Moment>),
    /// Thrown away, on that day.
    Scrapped(Option<Moment>),
    /// Used up.
    Consumed,
}

impl Whereabouts {
    /// Whether it can still be put under a gauge here.
    pub fn is_here(&self) -> bool {
        *self == Self::Here
    }
}

/// Roles that an engine never has, signed and dated.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Never {
    /// The roles.
    pub roles: Vec<String>,
    /// Who says so.
    pub by: String,
    /// Speaks for builds from this day on.
    pub on: Moment,
}

/// Work that opened a state.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Work {
    /// What was done, a word of the part's schema (`mill-deck`).
    pub op: String,
    /// What else the schema asks of it (`cut`: `0.40 mm`), as written.
    pub details: BTreeMap<String, String>,
    /// Who did it.
    pub by: Option<String>,
    /// When.
    pub on: Option<Moment>,
    /// A remark.
    pub note: Option<String>,
}

/// One condition of a part, from one piece of work to the next.
#[derive(Debug, Clone, PartialEq)]
pub struct State {
    /// Its letter (`b`).
    pub letter: String,
    /// From when.
    pub since: Option<Moment>,
    /// How it came to be, for a first state (`bought new`).
    pub how: Option<String>,
    /// The work that opened it.
    pub work: Vec<Work>,
    /// What is known of the part in this state.
    pub figures: BTreeMap<String, Figure>,
    /// Line in its manifest, from 1.
    pub line: usize,
}

/// A part: one tag, one thing.
#[derive(Debug, Clone, PartialEq)]
pub struct Part {
    /// The short tag painted on it.
    pub tag: String,
    /// The name of its kind.
    pub kind: String,
    /// A longer name.
    pub name: Option<String>,
    /// Serial or casting number, as text.
    pub serial: Option<String>,
    /// Batch, for what is used up.
    pub batch: Option<String>,
    /// Where it is now.
    pub whereabouts: Whereabouts,
    /// For an engine: the roles it never has.
    pub never: Vec<Never>,
    /// For an engine: how many cylinders.
    pub cylinders: Option<u32>,
    /// Its states, oldest first; never empty.
    pub states: Vec<State>,
    /// Mended records.
    pub corrected: Vec<Correction>,
    /// A remark.
    pub note: Option<String>,
}

/// What a figure of a part is in a state.
#[derive(Debug, Clone, PartialEq)]
pub enum Resolved<'a> {
    /// An entry stands.
    Stands {
        /// The entry.
        standing: Standing<'a>,
        /// The state it was taken in.
        state: &'a str,
        /// Taken in an earlier state, and no work since can have changed it.
        carried_over: bool,
    },
    /// There was an entry, and work since then can have changed it.
    Voided {
        /// The work.
        work: &'a Work,
        /// The state that the work opened.
        state: &'a str,
        /// What stood before.
        was: Standing<'a>,
    },
    /// Nothing was ever entered.
    Absent,
}

impl<'a> Resolved<'a> {
    /// The entry that stands, if any.
    pub fn standing(&self) -> Option<&Standing<'a>> {
        match self {
            Self::Stands { standing, .. } => Some(standing),
            _ => None,
        }
    }
}

impl Part {
    /// The state with this letter.
    pub fn state(&self, letter: &str) -> Option<&State> {
        self.states.iter().find(|state| state.letter == letter)
    }

    /// The newest state.
    pub fn newest(&self) -> Option<&State> {
        self.states.last()
    }

    /// Whether the state is the newest, so that its figures can still be measured.
    pub fn is_newest(&self, letter: &str) -> bool {
        self.newest().is_some_and(|state| state.letter == letter)
    }

    /// The newest entry of `field` that is in doubt in state `letter`, or in one before it since which no work can have
    /// changed it.
    pub fn doubted(&self, kind: &PartKind, letter: &str, field: &str) -> Option<(&Entry, &Doubted)> {
        let at = self.states.iter().position(|state| state.letter == letter)?;
        let spec = kind.figure(field);
        for state in self.states.iter().take(at + 1).rev() {
            if let Some(found) = state.figures.get(field).and_then(Figure::newest_doubted) {
                return Some(found);
            }
            if state.work.iter().any(|work| spec.is_some_and(|spec| spec.voided_by.contains(&work.op))) {
                return None;
            }
        }
        None
    }

    /// What `field` is in state `letter` at `when`.
    ///
    /// An entry in the state itself; else the figure of the state before, unless the work that opened this one can
    /// have changed it. An unknown letter or a field that the kind does not know is absent.
    pub fn resolve(&self, kind: &PartKind, letter: &str, field: &str, when: Option<&Moment>) -> Resolved<'_> {
        let spec = kind.figure(field);
        let course = spec.map_or(Course::Fixed, |spec| spec.course);
        let Some(at) = self.states.iter().position(|state| state.letter == letter) else {
            return Resolved::Absent;
        };
        let mut voided: Option<(&Work, &str)> = None;
        for (back, state) in self.states.iter().take(at + 1).rev().enumerate() {
            if let Some(standing) = state.figures.get(field).and_then(|figure| figure.standing(course, when))
            {
                return match voided {
                    Some((work, opened)) => Resolved::Voided { work, state: opened, was: standing },
                    None => Resolved::Stands { standing, state: &state.letter, carried_over: back > 0 },
                };
            }
            if voided.is_none() {
                voided = state
                    .work
                    .iter()
                    .find(|work| spec.is_some_and(|spec| spec.voided_by.contains(&work.op)))
                    .map(|work| (work, state.letter.as_str()));
            }
        }
        Resolved::Absent
    }
}
