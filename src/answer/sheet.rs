//! The build sheet of a build or a pull.

use std::collections::BTreeMap;

use serde::Serialize;

use crate::answer::AlarmLine;
use crate::answer::BarsLine;
use crate::answer::FigureLine;
use crate::answer::Interval;
use crate::answer::Learned;
use crate::answer::PullCurve;
use crate::answer::RepeatLine;
use crate::answer::SheetInstrument;
use crate::answer::SideLine;
use crate::answer::gaps::why_words;
use crate::check::SheetItem;
use crate::check::SheetRole;
use crate::check::Told;
use crate::quantity::Number;
use crate::quantity::Reading;
use crate::record::Part;
use crate::record::Value;
use crate::record::Whereabouts;
use crate::record::Work;

/// One item of a sheet.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct SheetLine {
    /// What it is, as commands name it.
    pub item: String,
    /// The trade's name.
    pub title: String,
    /// What is known of it.
    pub said: Option<SideLine>,
    /// Why it is a gap, where nothing is known.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub gap: Option<String>,
    /// Mean and spread, where it holds several values.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub spread: Option<String>,
    /// Photos, scans and the like that show it.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub files: Vec<SheetFile>,
}

impl From<&SheetItem> for SheetLine {
    /// Without the files that show it: whether their bytes hold is looked at beside this.
    fn from(item: &SheetItem) -> Self {
        let (said, gap) = match &item.told {
            Told::Known(shown) => (Some(SideLine::from(shown)), None),
            Told::Gap(why) => (None, Some(why_words(why))),
        };
        let spread = item.told.known().and_then(|shown| match &shown.value {
            Some(Value::Quantity(reading)) => spread_words(reading),
            _ => None,
        });
        Self { item: item.item.path(), title: item.item.title.clone(), said, gap, spread, files: Vec::new() }
    }
}

/// Mean and spread of several values, in the unit they were written in; none of a single one.
fn spread_words(reading: &Reading) -> Option<String> {
    if reading.numbers().len() < 2 {
        return None;
    }
    let values = reading.values_in(reading.unit()).ok()?;
    let decimals = |number: &Number| number.text().split_once('.').map_or(0, |(_, decimals)| decimals.len());
    let decimals = reading.numbers().iter().map(decimals).max().unwrap_or_default();
    let (low, high) =
        values.iter().fold((f64::MAX, f64::MIN), |(low, high), value| (low.min(*value), high.max(*value)));
    let mean = reading.mean().show_in(reading.unit(), decimals + 1).ok()?;
    let width = format!("{:.decimals$}", high - low);
    Some(format!("mean {mean}, spread {width} {}", reading.unit()))
}

/// The part that fills a role.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct SheetPart {
    /// Its tag.
    pub part: String,
    /// Its state.
    pub state: String,
    /// Its kind.
    pub kind: String,
    /// A longer name.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub name: Option<String>,
    /// Serial or casting number.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub serial: Option<String>,
    /// Batch.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub batch: Option<String>,
    /// Where it is now, unless in the shop.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub gone: Option<String>,
    /// From when the state is.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub since: Option<String>,
    /// How the first state came to be.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub how: Option<String>,
    /// The work that led to the state, oldest first, a line each.
    pub work: Vec<String>,
}

impl SheetPart {
    /// A part in a state; `titled` names a piece of work in the trade's words.
    pub fn of(part: &Part, letter: &str, titled: &dyn Fn(&Work) -> String) -> Self {
        let upto = part.states.iter().position(|state| state.letter == letter).map_or(0, |at| at + 1);
        let work = part.states.iter().take(upto).flat_map(|state| {
            state.work.iter().map(move |work| {
                let on = work.on.as_ref().or(state.since.as_ref());
                let mut words = format!("{}: {}", state.letter, titled(work));
                for (name, value) in &work.details {
                    words.push_str(&format!(", {name} {value}"));
                }
                words.extend(work.by.iter().map(|by| format!(", by {by}")));
                words.extend(on.map(|on| format!(", {on}")));
                words.extend(work.note.iter().map(|note| format!(" ({note})")));
                words
            })
        });
        let state = part.state(letter);
        Self {
            part: part.tag.clone(),
            state: letter.to_owned(),
            kind: part.kind.clone(),
            name: part.name.clone(),
            serial: part.serial.clone(),
            batch: part.batch.clone(),
            gone: gone(&part.whereabouts),
            since: state.and_then(|state| state.since.as_ref()).map(ToString::to_string),
            how: state.and_then(|state| state.how.clone()),
            work: work.collect(),
        }
    }
}

fn gone(whereabouts: &Whereabouts) -> Option<String> {
    let words = |word: &str, on: &Option<crate::record::Moment>| {
        Some(on.as_ref().map_or_else(|| word.to_owned(), |on| format!("{word} {on}")))
    };
    match whereabouts {
        Whereabouts::Here => None,
        Whereabouts::Sold(on) => words("sold", on),
        Whereabouts::Lent(on) => words("lent", on),
        Whereabouts::Scrapped(on) => words("scrapped", on),
        Whereabouts::Consumed => Some("used up".to_owned()),
    }
}

/// One role of a sheet.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct SheetRoleLine {
    /// The role and its answer.
    #[serde(flatten)]
    pub role: SheetLine,
    /// The part, where it is not told of under another role.
    pub part: Option<SheetPart>,
    /// The part fills the role as an assembly that is told of above.
    pub within: bool,
    /// Its figures.
    pub figures: Vec<SheetLine>,
}

impl SheetRoleLine {
    /// A role with its part and the lines of its figures.
    pub fn of(role: &SheetRole, part: Option<SheetPart>, figures: Vec<SheetLine>) -> Self {
        Self { role: SheetLine::from(&role.role), part, within: role.told_above, figures }
    }
}

/// A raw file behind a pull, or beside a figure.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct SheetFile {
    /// The name it came under.
    pub file: String,
    /// SHA-256 of its bytes.
    pub sha256: String,
    /// How many bytes.
    pub bytes: u64,
    /// Which segment of it, where it holds several pulls.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub segment: Option<usize>,
    /// The columns record that it is read by.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub columns: Option<String>,
    /// Whether the bytes in the book hash to that name, as looked at for this answer.
    pub check: HashCheck,
}

/// What the bytes behind a hash were found to be.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum HashCheck {
    /// They hash to it.
    Holds,
    /// They hash to something else, or are not as long as the record says.
    Damaged,
    /// They are not in this copy of the book.
    NotHere,
}

/// A pull on a sheet.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct SheetPull {
    /// Its id.
    pub pull: String,
    /// When it was run.
    pub at: Option<String>,
    /// Which time the parts were together.
    pub fit_up: Option<u32>,
    /// Whether it counts.
    pub outcome: String,
    /// The correction that its file carries.
    pub correction: Option<String>,
    /// Its raw files.
    pub raw: Vec<SheetFile>,
}

/// Derived figures of a pull near one speed.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct SheetSpeed {
    /// The speed in rpm.
    pub speed_rpm: u32,
    /// The figures by name, each with its interval.
    pub figures: BTreeMap<String, Interval>,
}

/// The sheet of a build or a pull.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct SheetAnswer {
    /// The pull's id or the build's name.
    pub name: String,
    /// `build` or `pull`.
    pub of: &'static str,
    /// The build.
    pub build: Option<String>,
    /// The engine.
    pub engine: Option<String>,
    /// When it was put together, or run.
    pub on: Option<String>,
    /// By whom.
    pub by: Option<String>,
    /// Remarks of build and pull.
    pub notes: Vec<String>,
    /// The roles in order of assembly.
    pub roles: Vec<SheetRoleLine>,
    /// The settings.
    pub settings: Vec<SheetLine>,
    /// The fits.
    pub fits: Vec<SheetLine>,
    /// The conditions of a pull.
    pub conditions: Vec<SheetLine>,
    /// How a pull was run.
    pub run: Vec<SheetLine>,
    /// What follows from the records.
    pub derived: Vec<FigureLine>,
    /// What follows from a pull's channels near each speed.
    pub by_speed: Vec<SheetSpeed>,
    /// Torque and power of a pull over speed.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub curve: Option<PullCurve>,
    /// Why a pull has no curve.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub no_curve: Option<String>,
    /// The rules between neighbouring parts, looked at.
    pub alarms: Vec<AlarmLine>,
    /// What of it proved doubtful, a line each.
    pub doubts: Vec<String>,
    /// Figures that cannot all be right, a sentence each.
    pub contradictions: Vec<String>,
    /// Missing inputs of derived figures.
    pub bars: Vec<BarsLine>,
    /// The pulls of the build, or the pull itself.
    pub pulls: Vec<SheetPull>,
    /// The instruments behind the figures, with the calibration that held.
    pub instruments: Vec<SheetInstrument>,
    /// What to bolt on to repeat it, in the order of assembly.
    pub repeat: Vec<RepeatLine>,
    /// What has been learned since, where that was asked.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub learned: Option<Learned>,
    /// How many items that a comparison asks for are not documented.
    pub gaps: usize,
    /// Files with pending edits that would change the answer.
    pub pending: Vec<String>,
    /// The commit that was answered from.
    pub commit: String,
    /// What to do next.
    pub next: String,
}

impl SheetAnswer {
    /// Whether a raw file behind it does not hash to its name.
    pub fn is_damaged(&self) -> bool {
        let raw = self.pulls.iter().flat_map(|pull| &pull.raw);
        let roles = self.roles.iter().flat_map(|role| &role.figures);
        let lines = [&self.settings, &self.fits, &self.conditions].into_iter().flatten();
        let shown = roles.chain(lines).flat_map(|line| &line.files);
        raw.chain(shown).any(|file| file.check == HashCheck::Damaged)
    }
}
