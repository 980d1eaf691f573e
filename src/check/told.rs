//! One item of a record on one side: what it says, how that is known, or why it is a gap.

use crate::check::Side;
use crate::record::Course;
use crate::record::Doubted;
use crate::record::Entry;
use crate::record::FieldSpec;
use crate::record::Figure;
use crate::record::Held;
use crate::record::Holds;
use crate::record::Kinds;
use crate::record::Known;
use crate::record::Moment;
use crate::record::PartState;
use crate::record::RawFile;
use crate::record::Resolved;
use crate::record::Standing;
use crate::record::Value;
use crate::record::Voids;

/// The sort of item, in the order in which a refusal lists them.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Group {
    /// What fills a role.
    Role,
    /// A figure of a part.
    Figure,
    /// How two parts fit.
    Fit,
    /// What is turned by hand.
    Setting,
    /// Weather, temperatures.
    Condition,
    /// How the pull was run.
    Run,
    /// What correction the file carries.
    Correction,
}

/// One thing that a comparison asks about.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord)]
pub struct Item {
    /// Its sort.
    pub group: Group,
    /// The role it belongs to, where it belongs to one.
    pub role: Option<String>,
    /// Its name; a fit is `pair.name`.
    pub name: String,
    /// The trade's name for it.
    pub title: String,
}

impl Item {
    /// How people and commands name it: `spacer`, `cylinder-head.chamber-volume`, `ignition-timing`.
    pub fn path(&self) -> String {
        match (self.group, &self.role) {
            (Group::Figure, Some(role)) => format!("{role}.{}", self.name),
            (Group::Condition, _) => format!("conditions.{}", self.name),
            (Group::Run, _) => format!("run.{}", self.name),
            _ => self.name.clone(),
        }
    }
}

/// What is known of an item on one side.
#[derive(Debug, Clone, PartialEq)]
pub struct Shown {
    /// How it is known: `measured`, `listed`, `assumed`, `unknown`, `calculated`, `said` for plain answers, `channel`
    /// where a raw file carries it.
    pub how: &'static str,
    /// The value as written; the reason where it is unknown.
    pub text: String,
    /// The value as a quantity, where it is one.
    pub value: Option<Value>,
    /// The instrument.
    pub with: Option<String>,
    /// Who took it.
    pub by: Option<String>,
    /// When it was taken.
    pub taken: Option<String>,
    /// Under which circumstance it holds (`6000 rpm`, `cold`).
    pub at: Option<String>,
    /// Its source, reason or basis.
    pub source: Option<String>,
    /// Taken after the pull it speaks for.
    pub afterwards: bool,
    /// Taken in an earlier state, and no work since can have changed it.
    pub carried_over: bool,
    /// Why the record was corrected, where it was.
    pub corrected: Option<String>,
    /// Photos, scans and the like that show it.
    pub files: Vec<RawFile>,
}

impl Shown {
    /// A plain answer.
    pub fn said(text: impl Into<String>) -> Self {
        Self {
            how: "said",
            text: text.into(),
            value: None,
            with: None,
            by: None,
            taken: None,
            at: None,
            source: None,
            afterwards: false,
            carried_over: false,
            corrected: None,
            files: Vec::new(),
        }
    }

    /// A plain answer that is known to be unknown.
    pub fn unknown(because: impl Into<String>) -> Self {
        Self { how: "unknown", ..Self::said(because) }
    }

    /// Its text, and that nobody knows it where that is so.
    pub fn words(&self) -> String {
        if self.is_unknown() { format!("unknown: {}", self.text) } else { self.text.clone() }
    }

    /// Whether nobody knows the value.
    pub fn is_unknown(&self) -> bool {
        self.how == "unknown"
    }

    /// Whether the value rests on a measurement here.
    pub fn is_measured(&self) -> bool {
        matches!(self.how, "measured" | "channel")
    }

    pub(super) fn of(standing: &Standing<'_>, carried_over: bool, corrected: Option<&str>) -> Self {
        let entry = standing.entry;
        let (text, source) = match &entry.known {
            Known::Unknown { because } => (because.clone(), None),
            Known::Listed { value, source } => (value.text().to_owned(), Some(source.clone())),
            Known::Assumed { value, because } => (value.text().to_owned(), Some(because.clone())),
            Known::Calculated { value, from } => (value.text().to_owned(), Some(from.clone())),
            Known::Measured(value) => (value.text().to_owned(), None),
        };
        Self {
            how: entry.known.word(),
            text,
            value: entry.known.value().cloned(),
            with: entry.with.clone(),
            by: entry.by.clone(),
            taken: entry.moment().map(|moment| moment.to_string()),
            // A time of day is when it was taken, and told as that.
            at: entry.at.clone().filter(|at| Moment::parse(at).is_err()),
            source,
            afterwards: standing.afterwards,
            carried_over,
            corrected: corrected.map(str::to_owned).or_else(|| entry.corrects.and(entry.because.clone())),
            files: entry.files.clone(),
        }
    }
}

/// Why an item is not documented.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Why {
    /// Nobody said anything.
    Absent,
    /// Work since can have changed it.
    Voided {
        /// The work, in the trade's words.
        work: String,
        /// The state it opened, or the part and state.
        state: String,
        /// What stood before.
        was: String,
    },
    /// The parts were apart since it was taken.
    Refit {
        /// What stood before.
        was: String,
    },
    /// What was entered proved doubtful, and nothing else stands.
    Doubted {
        /// What was entered.
        was: String,
        /// What speaks against it.
        because: String,
    },
    /// The pull changed one of the two parts, and the build's fit speaks of the other.
    OtherPart {
        /// The role that was changed.
        role: String,
    },
    /// Measured, with an instrument that nobody named.
    NoInstrument {
        /// What was measured.
        was: String,
    },
    /// What would answer it is there, and what that needs beside it is not.
    Needs {
        /// What was written down.
        was: String,
        /// What it needs: a record and its field.
        record: String,
        /// The field.
        field: String,
    },
    /// The same name on both sides, and nothing says it is the same instance or batch.
    NoBatch,
    /// The pull has no build yet.
    NoBuild,
}

/// An item on one side.
#[derive(Debug, Clone, PartialEq)]
pub enum Told {
    /// It is documented.
    Known(Shown),
    /// It is a gap.
    Gap(Why),
}

impl Told {
    /// What is known, if anything.
    pub fn known(&self) -> Option<&Shown> {
        match self {
            Self::Known(shown) => Some(shown),
            Self::Gap(_) => None,
        }
    }

    /// Why it is a gap, if it is one.
    pub fn gap(&self) -> Option<&Why> {
        match self {
            Self::Known(_) => None,
            Self::Gap(why) => Some(why),
        }
    }
}

impl Side {
    /// A figure of a part in its state.
    pub(super) fn figure(&self, part: &PartState, spec: &FieldSpec, kinds: &Kinds) -> Told {
        let Some((record, kind)) =
            self.parts.get(&part.tag).and_then(|record| Some((record, kinds.part(&record.kind)?)))
        else {
            return Told::Gap(Why::Absent);
        };
        let resolved = record.resolve(kind, &part.letter, &spec.name, self.moment());
        if resolved.standing().is_none()
            && let Some((entry, doubt)) = record.doubted(kind, &part.letter, &spec.name)
        {
            return Told::Gap(doubted_why(entry, doubt));
        }
        match resolved {
            Resolved::Stands { standing, carried_over, .. } => {
                with_instrument(Shown::of(&standing, carried_over, None), spec)
            }
            Resolved::Voided { work, state, was } => Told::Gap(Why::Voided {
                work: kind.work(&work.op).map_or_else(|| work.op.clone(), |work| work.title.clone()),
                state: format!("{}/{state}", part.tag),
                was: Shown::of(&was, false, None).text,
            }),
            Resolved::Absent => Told::Gap(Why::Absent),
        }
    }

    /// A setting.
    pub(super) fn setting(&self, spec: &FieldSpec, kinds: &Kinds) -> Told {
        match self.effective.settings.get(&spec.name) {
            Some(held) => self.held(held, spec, kinds, &|voids| *voids == Voids::Setting(spec.name.clone())),
            None => Told::Gap(if self.build.is_none() { Why::NoBuild } else { Why::Absent }),
        }
    }

    /// A fit.
    pub(super) fn fit(&self, pair: &str, spec: &FieldSpec, kinds: &Kinds) -> Told {
        let key = (pair.to_owned(), spec.name.clone());
        if let Some(role) = self.effective.lost_fits.get(&key) {
            return Told::Gap(Why::OtherPart { role: role.clone() });
        }
        match self.effective.fits.get(&key) {
            Some(held) => self.held(held, spec, kinds, &|voids| match voids {
                Voids::AllFits => true,
                Voids::Fit { pair: named, name } => {
                    same_pair(named, pair) && name.as_ref().is_none_or(|name| *name == spec.name)
                }
                Voids::Setting(_) => false,
            }),
            None => Told::Gap(Why::Absent),
        }
    }

    /// A condition: its own figure, one that answers it as well, or a channel of a raw file.
    pub(super) fn condition(&self, spec: &FieldSpec, kinds: &Kinds) -> Told {
        let names = std::iter::once(&spec.name).chain(&spec.answered_by);
        let mut needs = None;
        for name in names {
            if let Some(held) = self.effective.conditions.get(name)
                && let Some(standing) = held.figure.standing(Course::Drifting, self.moment())
            {
                let own = kinds.condition(name).unwrap_or(spec);
                let mut shown = Shown::of(&standing, false, held.origin.correction());
                if *name != spec.name
                    && !shown.is_unknown()
                    && let Some((record, field)) = own.needs.iter().find_map(|need| self.lacks(need))
                {
                    needs = Some(Why::Needs { was: format!("{} {}", own.title, shown.text), record, field });
                    continue;
                }
                if *name != spec.name {
                    shown.source = Some(format!("as {}", own.title));
                }
                shown.afterwards = false;
                return with_instrument(shown, own);
            }
            let channel = kinds.condition(name).and_then(|own| own.channel.as_deref());
            if let Some(doubt) = channel.and_then(|channel| self.doubts.voids(channel)) {
                let was = "the channel of the raw file".to_owned();
                needs = needs.or(Some(Why::Doubted { was, because: doubt.words() }));
                continue;
            }
            if let Some(held) = self.effective.conditions.get(name)
                && let Some((entry, doubt)) = held.figure.newest_doubted()
                && !channel.is_some_and(|channel| self.channels.contains(channel))
            {
                needs = needs.or(Some(doubted_why(entry, doubt)));
                continue;
            }
            if channel.is_some_and(|channel| self.channels.contains(channel)) {
                return Told::Known(Shown { how: "channel", ..Shown::said("in the raw file") });
            }
        }
        Told::Gap(needs.unwrap_or(Why::Absent))
    }

    /// The record and field of something needed that is not documented; none where it is.
    fn lacks(&self, need: &str) -> Option<(String, String)> {
        let (record, field) = need.split_once('.')?;
        let cell = self.cell.as_ref().filter(|_| record == "cell");
        let stands = cell
            .and_then(|cell| cell.figures.get(field)?.standing(Course::Fixed, self.moment()))
            .is_some_and(|standing| standing.entry.known.value().is_some());
        let record = cell.map_or(record, |cell| cell.tag.as_str());
        (!stands).then(|| (record.to_owned(), field.to_owned()))
    }

    /// A field of the run.
    pub(super) fn run(&self, spec: &FieldSpec) -> Told {
        match self.effective.run.get(&spec.name) {
            Some(text) if text.starts_with("unknown:") => {
                Told::Known(Shown::unknown(text.trim_start_matches("unknown:").trim()))
            }
            Some(text) => Told::Known(Shown {
                value: match &spec.holds {
                    Holds::Quantity { kind, .. } => {
                        crate::quantity::parse_reading(text, *kind, None).ok().map(Value::Quantity)
                    }
                    _ => None,
                },
                ..Shown::said(text.clone())
            }),
            None => Told::Gap(Why::Absent),
        }
    }

    /// A figure of the configuration, unless work or a refit since it was taken can have changed it.
    fn held(&self, held: &Held, spec: &FieldSpec, kinds: &Kinds, voided: &dyn Fn(&Voids) -> bool) -> Told {
        // What a refit disturbs is true of the fit-up it was taken in, as a drifting figure is true when taken.
        let disturbed = kinds.refit_voids.iter().any(voided);
        let course = if disturbed { Course::Drifting } else { spec.course };
        let Some(standing) = self.standing(&held.figure, course) else {
            let doubted = held.figure.newest_doubted();
            return Told::Gap(doubted.map_or(Why::Absent, |(entry, doubt)| doubted_why(entry, doubt)));
        };
        let shown = Shown::of(&standing, false, held.origin.correction());
        if held.origin.is_build() && !shown.is_unknown() {
            if let Some(why) = self.voided_by_work(standing.entry, &shown, kinds, voided) {
                return Told::Gap(why);
            }
            if disturbed
                && let Some(refit) = &self.refit_after
                && !taken_after(standing.entry, refit)
            {
                return Told::Gap(Why::Refit { was: shown.text });
            }
        }
        with_instrument(shown, spec)
    }

    fn standing<'f>(&self, figure: &'f Figure, course: Course) -> Option<Standing<'f>> {
        figure.standing(course, self.moment())
    }

    fn voided_by_work(
        &self,
        entry: &Entry,
        shown: &Shown,
        kinds: &Kinds,
        voided: &dyn Fn(&Voids) -> bool,
    ) -> Option<Why> {
        let taken = entry.moment()?;
        for held in self.effective.roles.values() {
            let crate::record::Answer::Part(part) = &held.answer else {
                continue;
            };
            let Some(record) = self.parts.get(&part.tag) else {
                continue;
            };
            let Some(kind) = kinds.part(&record.kind) else {
                continue;
            };
            let Some(upto) = record.states.iter().position(|state| state.letter == part.letter) else {
                continue;
            };
            for state in record.states.iter().take(upto + 1) {
                if !state.since.as_ref().is_some_and(|since| since.is_after(&taken)) {
                    continue;
                }
                for work in &state.work {
                    let Some(spec) = kind.work(&work.op).filter(|spec| spec.voids.iter().any(voided)) else {
                        continue;
                    };
                    return Some(Why::Voided {
                        work: spec.title.clone(),
                        state: format!("{}/{}", record.tag, state.letter),
                        was: shown.text.clone(),
                    });
                }
            }
        }
        None
    }
}

fn doubted_why(entry: &Entry, doubt: &Doubted) -> Why {
    let was = entry.known.value().map(Value::text).unwrap_or_default().to_owned();
    Why::Doubted { was, because: doubt.words() }
}

/// Whether an entry was certainly taken after a refit: later by the clock, or on a later day.
fn taken_after(entry: &Entry, refit: &crate::record::Moment) -> bool {
    entry.moment().is_some_and(|taken| taken.is_after(refit))
}

/// A measured figure whose schema asks for an instrument is a gap without one.
pub(super) fn with_instrument(shown: Shown, spec: &FieldSpec) -> Told {
    if shown.how == "measured" && spec.instrument && shown.with.is_none() {
        Told::Gap(Why::NoInstrument { was: shown.text })
    } else {
        Told::Known(shown)
    }
}

pub(super) fn same_pair(a: &str, b: &str) -> bool {
    a == b || a.split_once('+').is_some_and(|(x, y)| b == format!("{y}+{x}"))
}
