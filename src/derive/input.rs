//! One input of a relation as the records state it: which figure stands for it, how it is known, how far it may be off.

use crate::derive::Ground;
use crate::derive::budget;
use crate::derive::budget::Off;
use crate::quantity::QuantityKind;
use crate::record::Answer;
use crate::record::Course;
use crate::record::FieldSpec;
use crate::record::Holds;
use crate::record::Known;
use crate::record::Part;
use crate::record::PartKind;
use crate::record::PartState;
use crate::record::Resolved;
use crate::record::Standing;
use crate::record::Value;

/// How well an input is known; the later, the worse.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Grade {
    /// Measured here.
    Measured,
    /// Worked out from other figures.
    Calculated,
    /// Somebody else's figure.
    Listed,
    /// Taken to be so.
    Assumed,
}

impl Grade {
    /// Its word in a manifest.
    pub fn word(self) -> &'static str {
        match self {
            Self::Measured => "measured",
            Self::Calculated => "calculated",
            Self::Listed => "listed",
            Self::Assumed => "assumed",
        }
    }
}

/// An input that stands.
#[derive(Debug, Clone, PartialEq)]
pub struct Input {
    /// What it means to the relations (`chamber-volume`).
    pub means: String,
    /// How commands name it: `cylinder-head.chamber-volume`, `installed-centreline`, `conditions.humidity`.
    pub path: String,
    /// The trade's name.
    pub title: String,
    /// Where it stands: `h2/b`, a build, a pull.
    pub at: String,
    /// The value as written.
    pub text: String,
    /// How well it is known.
    pub grade: Grade,
    /// Half the last digit is all that speaks for its uncertainty.
    pub last_digit: bool,
    /// Nobody says with what it was measured, though its schema asks.
    pub no_instrument: bool,
    /// The channel of a raw file that it stands for, whose instrument nobody named: its own error is not known.
    pub unknown_error: Option<String>,
    /// Which entry it is, so that the same reading on two sides is known as one.
    pub identity: String,
    /// Its values in SI; at least one.
    pub(super) values: Vec<f64>,
    /// One value for each of these.
    pub(super) each: Option<String>,
    /// How far its values may be off.
    pub(super) off: Off,
}

/// What is to be said of how far inputs may be off, each thing once.
pub(super) fn remarks(inputs: &[Input]) -> Vec<String> {
    let paths = |chosen: &dyn Fn(&Input) -> bool| -> Vec<String> {
        inputs.iter().filter(|input| chosen(input)).map(|input| input.path.clone()).collect()
    };
    let unnamed = paths(&|input| input.no_instrument);
    let channels: Vec<&str> = inputs.iter().filter_map(|input| input.unknown_error.as_deref()).collect();
    let mut remarks = Vec::new();
    if !unnamed.is_empty() {
        remarks.push(format!("nobody says with what was measured: {}", unnamed.join(", ")));
    }
    if !channels.is_empty() {
        remarks.push(format!(
            "no instrument is named for {} in the raw file: only scatter counts, so the interval is wider than shown",
            channels.join(", ")
        ));
    }
    remarks
}

/// An input that nobody gives.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Missing {
    /// What it means to the relations.
    pub means: String,
    /// How commands name it.
    pub path: String,
    /// The trade's name.
    pub title: String,
    /// Why it does not stand.
    pub why: String,
}

/// A place in the records where an input may stand.
struct Candidate<'g> {
    role: &'g str,
    part: &'g PartState,
    kind: &'g PartKind,
    spec: &'g FieldSpec,
    /// The role, filled by another part, because of which an assembly's figure does not speak.
    overruled: Option<&'g str>,
}

impl<'a> Ground<'a> {
    /// The input that means this to the relations.
    ///
    /// A part that fills a role itself goes before an assembly that answers the role; an assembly does not speak where
    /// another part fills the role that the figure belongs to.
    ///
    /// # Errors
    /// What is missing, and why.
    pub fn input(&self, means: &str) -> Result<Input, Missing> {
        if let Some(substitute) = self.substitutes.get(means) {
            return Ok(substitute.clone());
        }
        let has = |spec: &&FieldSpec| spec.means.as_deref() == Some(means);
        if let Some(spec) = self.kinds.settings.iter().find(has) {
            return self.setting(means, spec);
        }
        if let Some(spec) = self.kinds.conditions.iter().find(has) {
            return self.condition(means, spec);
        }
        self.part_figure(means)
    }

    /// The input, where it stands.
    pub fn input_if_any(&self, means: &str) -> Option<Input> {
        self.input(means).ok()
    }

    fn part_figure(&self, means: &str) -> Result<Input, Missing> {
        let mut candidates = self.candidates(means);
        // Stable: the order of assembly stays within each group.
        candidates.sort_by_key(|candidate| !candidate.kind.answers.is_empty());
        let mut missing = None;
        for candidate in &candidates {
            match self.figure(means, candidate) {
                Ok(input) => return Ok(input),
                Err(why) => missing = missing.or(Some(why)),
            }
        }
        Err(missing.unwrap_or_else(|| self.nowhere(means)))
    }

    fn candidates(&self, means: &str) -> Vec<Candidate<'a>> {
        let mut found = Vec::new();
        for role in &self.kinds.roles {
            let Some(Answer::Part(part)) = self.effective.roles.get(&role.name).map(|held| &held.answer)
            else {
                continue;
            };
            let Some(kind) = self.parts.get(&part.tag).and_then(|record| self.kinds.part(&record.kind))
            else {
                continue;
            };
            for spec in kind.figures.iter().filter(|spec| spec.means.as_deref() == Some(means)) {
                let overruled = self.overruled(kind, spec, &role.name, means);
                found.push(Candidate { role: &role.name, part, kind, spec, overruled });
            }
        }
        found
    }

    /// The role, among those that an assembly answers, that another part fills and that this figure belongs to: a
    /// kind of part for that role has the figure itself, or changing that part voids the figure.
    fn overruled(&self, kind: &'a PartKind, spec: &FieldSpec, role: &str, means: &str) -> Option<&'a str> {
        kind.answers
            .iter()
            .filter(|answered| *answered != role && self.effective.roles.contains_key(*answered))
            .find(|answered| {
                let owns = self.kinds.role(answered).is_some_and(|role| {
                    role.kinds.iter().filter_map(|kind| self.kinds.part(kind)).any(|kind| {
                        kind.answers.is_empty()
                            && kind.figures.iter().any(|spec| spec.means.as_deref() == Some(means))
                    })
                });
                owns || spec.voided_by.contains(&format!("change-{answered}"))
            })
            .map(String::as_str)
    }

    /// A figure of a part in one of its states, wherever the part is fitted.
    pub(super) fn figure_of(&self, part: &Part, kind: &PartKind, letter: &str, means: &str) -> Option<Input> {
        let spec = kind.figures.iter().find(|spec| spec.means.as_deref() == Some(means))?;
        match part.resolve(kind, letter, &spec.name, self.moment) {
            Resolved::Stands { standing, state, .. } => {
                let identity = format!("{}/{state} {} entry {}", part.tag, spec.name, standing.number);
                let at = format!("{}/{letter}", part.tag);
                self.entry(means, spec, &spec.name, &at, identity, &standing, None).ok()
            }
            _ => None,
        }
    }

    fn figure(&self, means: &str, candidate: &Candidate<'_>) -> Result<Input, Missing> {
        let Candidate { role, part, kind, spec, overruled } = candidate;
        let path = format!("{role}.{}", spec.name);
        let missing = |why: String| Missing {
            means: means.to_owned(),
            path: path.clone(),
            title: spec.title.clone(),
            why,
        };
        if let Some(role) = overruled {
            return Err(missing(format!("{part} speaks of other {role} than are fitted")));
        }
        let Some(record) = self.parts.get(&part.tag) else {
            return Err(missing(format!("{part} is not in the book")));
        };
        match record.resolve(kind, &part.letter, &spec.name, self.moment) {
            Resolved::Stands { standing, state, .. } => {
                let identity = format!("{}/{state} {} entry {}", part.tag, spec.name, standing.number);
                self.entry(means, spec, &path, &part.to_string(), identity, &standing, None).map_err(missing)
            }
            Resolved::Voided { work, state, .. } => {
                let title = kind.work(&work.op).map_or(work.op.as_str(), |work| work.title.as_str());
                Err(missing(format!("{title} ({}/{state}) can have changed it", part.tag)))
            }
            Resolved::Absent => Err(missing(format!("nobody wrote it down for {part}"))),
        }
    }

    fn setting(&self, means: &str, spec: &FieldSpec) -> Result<Input, Missing> {
        let missing = |why: String| Missing {
            means: means.to_owned(),
            path: spec.name.clone(),
            title: spec.title.clone(),
            why,
        };
        if let Some(why) = self.voided_settings.get(&spec.name) {
            return Err(missing(why.clone()));
        }
        let held = self.effective.settings.get(&spec.name);
        let Some((held, standing)) =
            held.and_then(|held| Some((held, held.figure.standing(spec.course, self.moment)?)))
        else {
            return Err(missing("nobody wrote it down".to_owned()));
        };
        let at = if held.origin.is_build() { self.build.unwrap_or(self.name) } else { self.name };
        let identity = format!("{at} {} entry {}", spec.name, standing.number);
        self.entry(means, spec, &spec.name, at, identity, &standing, self.session).map_err(missing)
    }

    fn condition(&self, means: &str, spec: &FieldSpec) -> Result<Input, Missing> {
        let path = format!("conditions.{}", spec.name);
        let missing = |why: String| Missing {
            means: means.to_owned(),
            path: path.clone(),
            title: spec.title.clone(),
            why,
        };
        let held = self.effective.conditions.get(&spec.name);
        if let Some(standing) = held.and_then(|held| held.figure.standing(Course::Drifting, self.moment)) {
            let identity = format!("{} {} entry {}", self.name, spec.name, standing.number);
            return self
                .entry(means, spec, &path, self.name, identity, &standing, self.session)
                .map_err(missing);
        }
        let kind = match &spec.holds {
            Holds::Quantity { kind, .. } => Some(*kind),
            _ => None,
        };
        let channel = spec.channel.as_ref().and_then(|word| Some((word, self.channels.get(word)?)));
        match channel.filter(|(_, mean)| Some(mean.kind) == kind && mean.mean_si.is_finite()) {
            Some((word, mean)) => {
                let instrument = mean.instrument.as_ref().and_then(|tag| self.instruments.get(tag));
                Ok(Input {
                    means: means.to_owned(),
                    path: path.clone(),
                    title: spec.title.clone(),
                    at: self.name.to_owned(),
                    text: format!("{}, mean of {} rows of {}", mean.text, mean.rows, mean.file),
                    grade: Grade::Measured,
                    last_digit: false,
                    no_instrument: false,
                    unknown_error: instrument.is_none().then(|| word.clone()),
                    identity: format!("{} channel {word}", self.name),
                    values: vec![mean.mean_si],
                    each: None,
                    off: budget::of_channel(mean, instrument, self.session, self.moment),
                })
            }
            None => Err(missing("neither written down nor in a channel of a raw file".to_owned())),
        }
    }

    /// An entry as an input.
    #[expect(clippy::too_many_arguments, reason = "what names an entry comes from three kinds of record")]
    fn entry(
        &self,
        means: &str,
        spec: &FieldSpec,
        path: &str,
        at: &str,
        identity: String,
        standing: &Standing<'_>,
        session: Option<&str>,
    ) -> Result<Input, String> {
        let entry = standing.entry;
        let (grade, value) = match &entry.known {
            Known::Measured(value) => (Grade::Measured, value),
            Known::Calculated { value, .. } => (Grade::Calculated, value),
            Known::Listed { value, .. } => (Grade::Listed, value),
            Known::Assumed { value, .. } => (Grade::Assumed, value),
            Known::Unknown { because } => return Err(format!("known to be unknown: {because}")),
        };
        let Value::Quantity(reading) = value else {
            return Err("it is written as text".to_owned());
        };
        let kind = match &spec.holds {
            Holds::Quantity { kind, .. } => *kind,
            _ => QuantityKind::Count,
        };
        if reading.kind() != kind {
            return Err(format!("it is written as {}", reading.kind().title()));
        }
        let instrument = entry
            .with
            .as_ref()
            .filter(|_| grade == Grade::Measured)
            .and_then(|tag| self.instruments.get(tag));
        let taken = entry.moment();
        let (off, last_digit) = budget::of_reading(reading, instrument, session, taken.as_ref());
        let no_instrument = grade == Grade::Measured && spec.instrument && entry.with.is_none();
        Ok(Input {
            means: means.to_owned(),
            path: path.to_owned(),
            title: spec.title.clone(),
            at: at.to_owned(),
            text: reading.text().to_owned(),
            grade,
            last_digit,
            no_instrument,
            unknown_error: None,
            identity,
            values: reading.values().iter().map(|value| value.si()).collect(),
            each: spec.each.clone(),
            off,
        })
    }

    /// Lets an input stand that the records do not give, to ask what it would move: `value` in SI, taken as exact.
    pub fn suppose(&mut self, means: &str, spec: &FieldSpec, value: f64) {
        let input = Input {
            means: means.to_owned(),
            path: spec.name.clone(),
            title: spec.title.clone(),
            at: self.name.to_owned(),
            text: "supposed".to_owned(),
            grade: Grade::Assumed,
            last_digit: false,
            no_instrument: false,
            unknown_error: None,
            identity: format!("supposed {means}"),
            values: vec![value],
            each: None,
            off: budget::Off::default(),
        };
        self.substitutes.insert(means.to_owned(), input);
    }

    /// Where an input would stand that no part fitted has a place for.
    fn nowhere(&self, means: &str) -> Missing {
        for role in &self.kinds.roles {
            for kind in role.kinds.iter().filter_map(|kind| self.kinds.part(kind)) {
                let Some(spec) = kind.figures.iter().find(|spec| spec.means.as_deref() == Some(means)) else {
                    continue;
                };
                let why = match self.effective.roles.get(&role.name).map(|held| &held.answer) {
                    Some(Answer::Nothing) => format!("the {} is said to be none", role.title),
                    Some(Answer::Unknown(because)) => format!("the {} is unknown: {because}", role.title),
                    Some(Answer::Part(part)) => format!("{part} has no place for it"),
                    None => format!("nobody says which {} was on", role.title),
                };
                return Missing {
                    means: means.to_owned(),
                    path: format!("{}.{}", role.name, spec.name),
                    title: spec.title.clone(),
                    why,
                };
            }
        }
        Missing {
            means: means.to_owned(),
            path: means.to_owned(),
            title: means.replace('-', " "),
            why: "no schema of this book has a place for it".to_owned(),
        }
    }
}
