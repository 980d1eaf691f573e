//! Where an input stands in one side's records: a setting, a condition, a channel, the run, the cell, a part in its state.

use std::sync::Arc;

use crate::derive::ChannelMean;
use crate::derive::Grade;
use crate::derive::Ground;
use crate::derive::Input;
use crate::derive::Missing;
use crate::derive::budget;
use crate::derive::budget::Off;
use crate::derive::input::CHANNEL;
use crate::derive::input::FLOW_COEFFICIENT;
use crate::quantity::QuantityKind;
use crate::quantity::parse_reading;
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
        if means == FLOW_COEFFICIENT {
            return Err(Missing {
                means: means.to_owned(),
                path: "flow sheet".to_owned(),
                title: "mean flow coefficient".to_owned(),
                why: "no flow sheet of this head's inlet in this state gives a mean flow coefficient"
                    .to_owned(),
            });
        }
        if let Some(word) = means.strip_prefix(CHANNEL) {
            return self.channel(word);
        }
        if let Some(spec) = self.kinds.run.iter().find(has) {
            return self.run(means, spec);
        }
        if let Some(spec) = self.kinds.cell.iter().find(has) {
            return self.cell_figure(means, spec);
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
            Resolved::Absent => Err(missing(match record.doubted(kind, &part.letter, &spec.name) {
                Some((_, doubt)) => format!("what was entered for {part} is in doubt: {}", doubt.because),
                None => format!("nobody wrote it down for {part}"),
            })),
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
                let title = spec.title.clone();
                Ok(Input { means: means.to_owned(), path, title, ..self.of_channel(word, mean) })
            }
            None => Err(missing("neither written down nor in a channel of a raw file".to_owned())),
        }
    }

    /// The mean of a channel of the raw files, which stands for no condition.
    fn channel(&self, word: &str) -> Result<Input, Missing> {
        let mean = self.channels.get(word).filter(|mean| mean.mean_si.is_finite());
        mean.map(|mean| self.of_channel(word, mean)).ok_or_else(|| Missing {
            means: format!("{CHANNEL}{word}"),
            path: format!("channel {word}"),
            title: word.replace('-', " "),
            why: "no raw file with a sweep carries it".to_owned(),
        })
    }

    fn of_channel(&self, word: &str, mean: &ChannelMean) -> Input {
        let instrument = mean.instrument.as_ref().and_then(|tag| self.instruments.get(tag));
        let (off, stated) = budget::of_channel(mean, instrument.map(Arc::as_ref), self.session, self.moment);
        Input {
            means: format!("{CHANNEL}{word}"),
            path: format!("channel {word}"),
            title: word.replace('-', " "),
            at: self.name.to_owned(),
            text: format!("{}, mean of {} rows of {}", mean.text, mean.rows, mean.file),
            grade: Grade::Measured,
            last_digit: false,
            no_instrument: false,
            unknown_error: (!stated).then(|| word.to_owned()),
            circumstance: None,
            identity: format!("{} channel {word} {}", self.name, mean.place).trim_end().to_owned(),
            values: vec![mean.mean_si],
            each: None,
            off,
        }
    }

    /// A quantity of the run, as it was set.
    fn run(&self, means: &str, spec: &FieldSpec) -> Result<Input, Missing> {
        let path = format!("run.{}", spec.name);
        let missing = |why: String| Missing {
            means: means.to_owned(),
            path: path.clone(),
            title: spec.title.clone(),
            why,
        };
        let text =
            self.effective.run.get(&spec.name).ok_or_else(|| missing("nobody wrote it down".to_owned()))?;
        let Holds::Quantity { kind, unit } = &spec.holds else {
            return Err(missing("it is written as text".to_owned()));
        };
        let reading = parse_reading(text, *kind, Some(*unit))
            .map_err(|_| missing(format!("it is said to be {text}")))?;
        let (off, last_digit) = budget::of_reading(&reading, None, None, None);
        Ok(Input {
            means: means.to_owned(),
            path: path.clone(),
            title: spec.title.clone(),
            at: self.name.to_owned(),
            text: text.clone(),
            grade: Grade::Assumed,
            last_digit,
            no_instrument: false,
            unknown_error: None,
            circumstance: None,
            identity: format!("{} {path} {text}", self.name),
            values: reading.values().iter().map(|value| value.si()).collect(),
            each: None,
            off,
        })
    }

    /// A figure of the cell.
    fn cell_figure(&self, means: &str, spec: &FieldSpec) -> Result<Input, Missing> {
        let missing = |at: &str, why: &str| Missing {
            means: means.to_owned(),
            path: format!("{at}.{}", spec.name),
            title: spec.title.clone(),
            why: why.to_owned(),
        };
        let Some(cell) = self.cell else { return Err(missing("cell", "no cell is named")) };
        let standing =
            cell.figures.get(&spec.name).and_then(|figure| figure.standing(spec.course, self.moment));
        let Some(standing) = standing else {
            return Err(missing(&cell.tag, "nobody wrote it down for the cell"));
        };
        let path = format!("{}.{}", cell.tag, spec.name);
        let identity = format!("{path} entry {}", standing.number);
        self.entry(means, spec, &path, &cell.tag, identity, &standing, None)
            .map_err(|why| missing(&cell.tag, &why))
    }

    /// A word that the records say instead of a quantity: the cycle, the kind of ignition; with the part that says it.
    ///
    /// # Errors
    /// What is missing, and why.
    pub(super) fn word(&self, means: &str) -> Result<(String, String), Missing> {
        for candidate in self.candidates(means).iter().filter(|candidate| candidate.overruled.is_none()) {
            let Candidate { role, part, kind, spec, .. } = candidate;
            let Some(record) = self.parts.get(&part.tag) else { continue };
            if let Resolved::Stands { standing, .. } =
                record.resolve(kind, &part.letter, &spec.name, self.moment)
                && let Some(value) = standing.entry.known.value()
            {
                return Ok((value.text().to_owned(), format!("{role}.{}", spec.name)));
            }
        }
        let mut missing = self.nowhere(means);
        if let Some(candidate) = self.candidates(means).first() {
            missing.path = format!("{}.{}", candidate.role, candidate.spec.name);
            missing.why = format!("nobody wrote it down for {}", candidate.part);
        }
        Err(missing)
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
        let (off, last_digit) = match kind {
            // A count is known or it is wrong.
            QuantityKind::Count => (Off::default(), false),
            _ => budget::of_reading(reading, instrument.map(Arc::as_ref), session, taken.as_ref()),
        };
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
            circumstance: entry.at.clone(),
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
            circumstance: None,
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
