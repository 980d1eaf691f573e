//! A figure: every entry ever made for it, and which of them stands.

use std::cmp::Ordering;

use crate::quantity::Reading;
use crate::record::Doubted;
use crate::record::Moment;
use crate::record::RawFile;

/// What an entry says: a quantity as people write it, or text (part numbers, jets, makes).
#[derive(Debug, Clone, PartialEq)]
pub enum Value {
    /// One or more readings with a unit.
    Quantity(Reading),
    /// Text, kept to the letter.
    Text(String),
}

impl Value {
    /// The value as it was written.
    pub fn text(&self) -> &str {
        match self {
            Self::Quantity(reading) => reading.text(),
            Self::Text(text) => text,
        }
    }
}

/// How a figure is known.
#[derive(Debug, Clone, PartialEq)]
pub enum Known {
    /// Somebody measured it here.
    Measured(Value),
    /// Someone else's figure, its source named.
    Listed {
        /// The figure.
        value: Value,
        /// Whose figure it is.
        source: String,
    },
    /// Taken to be so, with the reason.
    Assumed {
        /// The figure.
        value: Value,
        /// Why it is taken to be so.
        because: String,
    },
    /// Known to be unknown, with the reason.
    Unknown {
        /// Why nobody knows.
        because: String,
    },
    /// Worked out from other figures; never as good as measured.
    Calculated {
        /// The figure, with its limits.
        value: Value,
        /// What it was worked out from.
        from: String,
    },
}

impl Known {
    /// The value, unless it is unknown.
    pub fn value(&self) -> Option<&Value> {
        match self {
            Self::Measured(value)
            | Self::Listed { value, .. }
            | Self::Assumed { value, .. }
            | Self::Calculated { value, .. } => Some(value),
            Self::Unknown { .. } => None,
        }
    }

    /// The key under which it stands in a manifest.
    pub fn word(&self) -> &'static str {
        match self {
            Self::Measured(_) => "measured",
            Self::Listed { .. } => "listed",
            Self::Assumed { .. } => "assumed",
            Self::Unknown { .. } => "unknown",
            Self::Calculated { .. } => "calculated",
        }
    }
}

/// One entry of a figure, as it stands in a manifest.
#[derive(Debug, Clone, PartialEq)]
pub struct Entry {
    /// What it says and how that is known.
    pub known: Known,
    /// The instrument.
    pub with: Option<String>,
    /// Who took it.
    pub by: Option<String>,
    /// When it was taken.
    pub taken: Option<Moment>,
    /// Under which circumstance it holds (`6000 rpm`, `cold`), or at what time.
    pub at: Option<String>,
    /// The number, from 1, of the entry that this one says was wrong.
    pub corrects: Option<usize>,
    /// Why, for a correction.
    pub because: Option<String>,
    /// A remark.
    pub note: Option<String>,
    /// Set when it proved doubtful.
    pub doubted: Option<Doubted>,
    /// The doubt whose offset was added to what was read.
    pub shifted: Option<Doubted>,
    /// Photos, scans and the like that show it.
    pub files: Vec<RawFile>,
    /// Line in its manifest, from 1; 0 when it was never written.
    pub line: usize,
}

impl Entry {
    /// An entry with nothing beside what it says.
    pub fn new(known: Known) -> Self {
        Self {
            known,
            with: None,
            by: None,
            taken: None,
            at: None,
            corrects: None,
            because: None,
            note: None,
            doubted: None,
            shifted: None,
            files: Vec::new(),
            line: 0,
        }
    }

    /// Whether it is in doubt now.
    pub fn is_doubted(&self) -> bool {
        self.doubted.as_ref().is_some_and(Doubted::stands)
    }

    /// When it was true: `taken`, or `at` where that is a time.
    pub fn moment(&self) -> Option<Moment> {
        self.taken.clone().or_else(|| self.at.as_deref().and_then(|at| Moment::parse(at).ok()))
    }
}

/// All entries of one figure, oldest first as written.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Figure {
    /// The entries; none means the figure is not documented.
    pub entries: Vec<Entry>,
}

/// How a figure behaves over time.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Course {
    /// Changes only by work.
    Fixed,
    /// True when taken.
    Drifting,
}

/// The entry that stands, and when it was taken against the moment asked about.
#[derive(Debug, Clone, PartialEq)]
pub struct Standing<'a> {
    /// The entry.
    pub entry: &'a Entry,
    /// Its number in the figure, from 1.
    pub number: usize,
    /// Taken after the moment asked about.
    pub afterwards: bool,
}

impl Figure {
    /// A figure of a single entry.
    pub fn of(entry: Entry) -> Self {
        Self { entries: vec![entry] }
    }

    /// The entry that stands at `when`.
    ///
    /// A fixed figure: the newest entry that is neither doubted nor corrected, for all times of its state. A drifting
    /// one: the entry nearest before `when`, else the nearest after it; without `when`, the newest.
    pub fn standing(&self, course: Course, when: Option<&Moment>) -> Option<Standing<'_>> {
        let eligible = self.entries.iter().enumerate().filter(|(index, entry)| {
            !entry.is_doubted()
                && !self.entries.iter().any(|other| other.corrects == Some(index + 1) && !other.is_doubted())
        });
        let chosen = match (course, when) {
            (Course::Drifting, Some(when)) => eligible.reduce(|best, next| nearer(best, next, when)),
            _ => eligible.reduce(newer),
        };
        chosen.map(|(index, entry)| Standing {
            entry,
            number: index + 1,
            afterwards: when.is_some_and(|when| entry.moment().is_some_and(|taken| taken.is_after(when))),
        })
    }

    /// The newest entry that is in doubt.
    pub fn newest_doubted(&self) -> Option<(&Entry, &Doubted)> {
        let doubted = self.entries.iter().enumerate().filter(|(_, entry)| entry.is_doubted());
        let (_, entry) = doubted.reduce(newer)?;
        entry.doubted.as_ref().map(|doubt| (entry, doubt))
    }

    /// Whether nothing was ever entered.
    pub fn is_empty(&self) -> bool {
        self.entries.is_empty()
    }
}

type Numbered<'a> = (usize, &'a Entry);

/// The newer of two entries: by the time taken where both have one, else the later written.
fn newer<'a>(earlier: Numbered<'a>, later: Numbered<'a>) -> Numbered<'a> {
    match (earlier.1.moment(), later.1.moment()) {
        (Some(a), Some(b)) if a.is_after(&b) => earlier,
        _ => later,
    }
}

/// The entry that a pull at `when` takes: nearest before it, else nearest after it; undated entries come last.
fn nearer<'a>(a: Numbered<'a>, b: Numbered<'a>, when: &Moment) -> Numbered<'a> {
    let rank = |entry: &Entry| match entry.moment() {
        Some(taken) if !taken.is_after(when) => (0, taken.distance_seconds(when)),
        Some(taken) => (1, taken.distance_seconds(when)),
        None => (2, 0),
    };
    match rank(a.1).cmp(&rank(b.1)) {
        Ordering::Less => a,
        _ => b,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn entry(text: &str, taken: Option<&str>) -> Entry {
        let mut entry = Entry::new(Known::Measured(Value::Text(text.to_owned())));
        entry.taken = taken.map(|day| Moment::parse(day).expect("a day"));
        entry
    }

    fn says<'a>(standing: &Option<Standing<'a>>) -> &'a str {
        standing.as_ref().and_then(|s| s.entry.known.value()).map_or("nothing", Value::text)
    }

    #[test]
    fn a_fixed_figure_taken_afterwards_stands_for_earlier_pulls_and_says_so() {
        let figure =
            Figure { entries: vec![entry("48", Some("2026-03-01")), entry("52", Some("2026-05-01"))] };
        let pull = Moment::parse("2026-04-01").expect("a day");
        let standing = figure.standing(Course::Fixed, Some(&pull));
        assert_eq!(says(&standing), "52");
        assert!(standing.expect("an entry stands").afterwards);
    }

    #[test]
    fn a_drifting_figure_taken_later_never_replaces_an_earlier_one() {
        let figure =
            Figure { entries: vec![entry("0.30", Some("2026-03-01")), entry("0.35", Some("2026-04-02"))] };
        let pull = Moment::parse("2026-04-01").expect("a day");
        assert_eq!(says(&figure.standing(Course::Drifting, Some(&pull))), "0.30");
        let only_later = Figure { entries: vec![entry("0.35", Some("2026-04-02"))] };
        let standing = only_later.standing(Course::Drifting, Some(&pull));
        assert_eq!(says(&standing), "0.35");
        assert!(standing.expect("an entry stands").afterwards);
    }

    #[test]
    fn a_corrected_or_doubted_entry_never_stands() {
        let mut correction = entry("52", Some("2026-02-01"));
        correction.corrects = Some(1);
        let figure = Figure { entries: vec![entry("48", Some("2026-03-01")), correction] };
        assert_eq!(says(&figure.standing(Course::Fixed, None)), "52");
        let mut doubted = entry("60", Some("2026-06-01"));
        doubted.doubted = Some(Doubted { because: "leaking plate".to_owned(), ..Doubted::default() });
        let figure = Figure { entries: vec![entry("48", Some("2026-03-01")), doubted] };
        assert_eq!(says(&figure.standing(Course::Fixed, None)), "48");
    }

    #[test]
    fn a_late_entry_of_an_older_reading_does_not_displace_the_newer_reading() {
        let figure =
            Figure { entries: vec![entry("48", Some("2026-05-01")), entry("47", Some("2026-03-01"))] };
        assert_eq!(says(&figure.standing(Course::Fixed, None)), "48");
    }
}
