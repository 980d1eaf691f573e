//! What of a side proved doubtful, in words: figures that do not stand for it, offsets applied, and what read its files.

use std::collections::BTreeMap;
use std::collections::BTreeSet;

use crate::check::Side;
use crate::record::Answer;
use crate::record::Course;
use crate::record::Doubted;
use crate::record::Entry;
use crate::record::Figure;
use crate::record::Kinds;
use crate::record::PartState;
use crate::record::Value;

/// One doubtful thing on a side.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord)]
pub struct DoubtOn {
    /// What was doubted, as `doubt` names it: `burette-1`, `0412a`, `h2/a chamber-volume`.
    pub of: String,
    /// In words.
    pub says: String,
}

/// What is doubted of the channels of a side's raw files.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct ChannelDoubts {
    /// By the channel's word: what is doubted (an instrument or a session), and how.
    pub by_word: BTreeMap<String, (String, Doubted)>,
    /// The side's session as a whole.
    pub session: Vec<Doubted>,
}

impl ChannelDoubts {
    /// Whether what a channel says is not relied on: doubted, and nobody knows by how much it was off.
    pub fn voids(&self, word: &str) -> Option<&Doubted> {
        self.by_word.get(word).map(|(_, doubt)| doubt).filter(|doubt| doubt.offset.is_none())
    }
}

/// Everything that proved doubtful on a side and was neither measured again nor cleared, each thing once.
pub fn doubts_of(side: &Side, kinds: &Kinds) -> Vec<DoubtOn> {
    let mut found = BTreeSet::new();
    for doubt in &side.doubts.session {
        let of = side.session.as_ref().map(|session| session.tag.clone()).unwrap_or_default();
        let says = format!("what was read in session {of} is in doubt: {}", doubt.words());
        found.insert(DoubtOn { of, says });
    }
    for (word, (of, doubt)) in &side.doubts.by_word {
        let says =
            format!("the {} channel was read by {of}, in doubt: {}", word.replace('-', " "), doubt.words());
        found.insert(DoubtOn { of: of.clone(), says });
    }
    let parts: BTreeSet<&PartState> = side
        .effective
        .roles
        .values()
        .filter_map(|held| match &held.answer {
            Answer::Part(part) => Some(part),
            _ => None,
        })
        .collect();
    for part in parts {
        let Some(record) = side.parts.get(&part.tag) else { continue };
        let Some(kind) = kinds.part(&record.kind) else { continue };
        for spec in &kind.figures {
            let standing = record.resolve(kind, &part.letter, &spec.name, side.moment());
            let at = format!("{part} {}", spec.name);
            let title = format!("{} of {part}", spec.title);
            match standing.standing() {
                Some(standing) => found.extend(shifted(&at, &title, standing.entry)),
                None => found.extend(
                    record
                        .doubted(kind, &part.letter, &spec.name)
                        .map(|(entry, doubt)| doubted(&at, &title, entry, doubt)),
                ),
            }
        }
    }
    let record = side.build.as_ref().map_or(&side.name, |build| &build.name);
    let mut held = |of: &str, name: &str, title: &str, figure: &Figure, course: Course| {
        let at = format!("{of} {name}");
        match figure.standing(course, side.moment()) {
            Some(standing) => found.extend(shifted(&at, title, standing.entry)),
            None => {
                let newest = figure.newest_doubted();
                found.extend(newest.map(|(entry, doubt)| doubted(&at, title, entry, doubt)));
            }
        }
    };
    for spec in &kinds.settings {
        if let Some(setting) = side.effective.settings.get(&spec.name) {
            held(record, &spec.name, &spec.title, &setting.figure, spec.course);
        }
    }
    for ((pair, name), fit) in &side.effective.fits {
        let spec = kinds.fit(pair).and_then(|fit| fit.fields.iter().find(|field| field.name == *name));
        let title = spec.map_or(name.as_str(), |spec| spec.title.as_str());
        let course = spec.map_or(Course::Fixed, |spec| spec.course);
        held(record, &format!("{pair}.{name}"), &format!("{pair}, {title}"), &fit.figure, course);
    }
    for (name, condition) in &side.effective.conditions {
        let title = kinds.condition(name).map_or(name.as_str(), |spec| spec.title.as_str());
        held(&side.name, name, title, &condition.figure, Course::Drifting);
    }
    found.into_iter().collect()
}

/// An instrument that is doubted is what the doubt is about, not each of its readings.
fn about(at: &str, entry: &Entry, doubt: &Doubted) -> String {
    // A mark on the entry itself has no time of its own; one on an instrument's readings may have.
    match &entry.with {
        Some(with) if doubt.of_instrument => with.clone(),
        _ => at.to_owned(),
    }
}

fn doubted(at: &str, title: &str, entry: &Entry, doubt: &Doubted) -> DoubtOn {
    let was = entry.known.value().map(Value::text).unwrap_or_default();
    let with = entry.with.as_ref().map(|with| format!(" with {with}")).unwrap_or_default();
    let says = format!("{title}: {was}{with} does not stand, in doubt: {}", doubt.words());
    DoubtOn { of: about(at, entry, doubt), says }
}

fn shifted(at: &str, title: &str, entry: &Entry) -> Option<DoubtOn> {
    let doubt = entry.shifted.as_ref()?;
    let now = entry.known.value().map(Value::text).unwrap_or_default();
    let with = entry.with.as_ref().map(|with| format!(", read with {with},")).unwrap_or_default();
    let says = format!("{title}{with} is in doubt: {}; it stands as {now}", doubt.words());
    Some(DoubtOn { of: about(at, entry, doubt), says })
}
