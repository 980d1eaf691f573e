//! What changed between two sides, or why they may not be compared.

use serde::Serialize;

use crate::answer::BasisLine;
use crate::answer::DerivedLine;
use crate::answer::GapLine;
use crate::answer::LackLine;
use crate::answer::RefusedPairs;
use crate::check::Change;
use crate::check::ChangeGroup;
use crate::check::Checked;
use crate::check::GapSide;
use crate::check::Group;
use crate::check::NoBasis;
use crate::check::Refusal;
use crate::check::Shown;
use crate::curves::SideBySide;

/// The answer of `diff`.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[serde(tag = "outcome", rename_all = "lowercase")]
pub enum DiffAnswer {
    /// The two were compared.
    Compared(Box<Compared>),
    /// They may not be.
    Refused(Refused),
}

/// Why two sides may not be compared.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Refused {
    /// The base side's name.
    pub base: String,
    /// The test side's name.
    pub test: String,
    /// In one sentence.
    pub headline: String,
    /// What is not documented.
    pub gaps: Vec<GapLine>,
    /// All pairs, where more than two pulls were to be compared; the rest then speaks of the pair that lacks the most.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub across: Option<RefusedPairs>,
    /// Both corrections, where they are unlike.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub unlike_corrections: Option<(String, String)>,
    /// What they were to be brought to, where that was said.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub correct_to: Option<String>,
    /// What keeps a side from that.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub lacks: Vec<LackLine>,
    /// The one command that asks for all of it.
    pub next: String,
    /// Files with pending edits that would change the answer.
    pub pending: Vec<String>,
    /// The commit that was answered from.
    pub commit: String,
}

/// What one side says of an item.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct SideLine {
    /// The value as written, or the reason where it is unknown.
    pub text: String,
    /// How it is known.
    pub how: &'static str,
    /// The instrument.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub with: Option<String>,
    /// Who took it.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub by: Option<String>,
    /// When it was taken.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub taken: Option<String>,
    /// Under which circumstance it holds (`6000 rpm`, `cold`).
    #[serde(skip_serializing_if = "Option::is_none")]
    pub at: Option<String>,
    /// Its source, reason or basis.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub source: Option<String>,
    /// Taken after the pull it speaks for.
    pub afterwards: bool,
    /// Taken in an earlier state and carried over.
    pub carried_over: bool,
    /// Why the record was corrected.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub corrected: Option<String>,
}

impl From<&Shown> for SideLine {
    fn from(shown: &Shown) -> Self {
        Self {
            text: shown.text.clone(),
            how: shown.how,
            with: shown.with.clone(),
            by: shown.by.clone(),
            taken: shown.taken.clone(),
            at: shown.at.clone(),
            source: shown.source.clone(),
            afterwards: shown.afterwards,
            carried_over: shown.carried_over,
            corrected: shown.corrected.clone(),
        }
    }
}

/// One difference.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct ChangeLine {
    /// Its group on the page.
    pub group: &'static str,
    /// What differs, as commands name it.
    pub item: String,
    /// The trade's name.
    pub title: String,
    /// Whether it belongs under the role above it: a figure of a part.
    pub figure: bool,
    /// The base side.
    pub base: Option<SideLine>,
    /// The test side.
    pub test: Option<SideLine>,
    /// The two agree within their uncertainties.
    pub equal_within: bool,
    /// The same value, known differently.
    pub same_value: bool,
}

impl From<&Change> for ChangeLine {
    fn from(change: &Change) -> Self {
        Self {
            group: match change.group {
                ChangeGroup::Parts => "parts",
                ChangeGroup::Settings => "settings",
                ChangeGroup::Fits => "fits",
                ChangeGroup::Conditions => "conditions",
                ChangeGroup::Run => "run",
                ChangeGroup::Place => "place",
                ChangeGroup::Reading => "reading",
            },
            item: change.item.path(),
            title: change.item.title.clone(),
            figure: change.item.group == Group::Figure,
            base: change.base.as_ref().map(SideLine::from),
            test: change.test.as_ref().map(SideLine::from),
            equal_within: change.equal_within,
            same_value: change.same_value,
        }
    }
}

/// Something nobody knows.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct OpenLine {
    /// What it is, as commands name it.
    pub item: String,
    /// The trade's name.
    pub title: String,
    /// On which side: `base`, `test` or `both`.
    pub side: &'static str,
    /// Why nobody knows.
    pub because: String,
    /// What the other side says.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub other: Option<String>,
}

/// Something that is only listed, assumed or calculated.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct SoftLine {
    /// What it is, as commands name it.
    pub item: String,
    /// On which side: `base`, `test` or `both`.
    pub side: &'static str,
    /// How it is known.
    pub how: &'static str,
    /// The value.
    pub text: String,
    /// Its source, reason or basis.
    pub source: Option<String>,
}

/// How much a part has run on both sides.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct WearLine {
    /// The part, with its state.
    pub part: String,
    /// Pulls since its state began, on the base side; none where it is not there.
    pub base_pulls: Option<u32>,
    /// The same on the test side.
    pub test_pulls: Option<u32>,
    /// Running time in those pulls, in seconds, on the base side.
    pub base_seconds: Option<f64>,
    /// The same on the test side.
    pub test_seconds: Option<f64>,
}

/// One speed of two curves.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct CurveRow {
    /// Speed in rpm.
    pub rpm: u32,
    /// Torque of the base side.
    pub base_torque: Option<f64>,
    /// Torque of the test side.
    pub test_torque: Option<f64>,
    /// Power of the base side.
    pub base_power: Option<f64>,
    /// Power of the test side.
    pub test_power: Option<f64>,
}

/// Two curves side by side, as observed or brought to one correction.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Curves {
    /// Unit of torque.
    pub torque_unit: String,
    /// Unit of power.
    pub power_unit: String,
    /// Distance of the rows, in rpm.
    pub step_rpm: u32,
    /// The correction that the rows carry.
    pub correction: String,
    /// How each side came to it; empty where the rows are as both files carry them.
    pub brought: Vec<BasisLine>,
    /// The rows.
    pub rows: Vec<CurveRow>,
    /// What was left out of the sweeps, a line a side.
    pub cut: Vec<String>,
}

impl Curves {
    /// The curves of a pair in these units: per N·m and per W.
    pub fn new(
        side_by_side: &SideBySide,
        torque: (&str, f64),
        power: (&str, f64),
        correction: String,
        brought: Vec<BasisLine>,
        cut: Vec<String>,
    ) -> Self {
        let watts = |rpm: u32, torque_nm: f64| torque_nm * f64::from(rpm) * std::f64::consts::PI / 30.0;
        let rows = side_by_side
            .rows
            .iter()
            .map(|&(rpm, base, test)| CurveRow {
                rpm,
                base_torque: base.map(|nm| nm * torque.1),
                test_torque: test.map(|nm| nm * torque.1),
                base_power: base.map(|nm| watts(rpm, nm) * power.1),
                test_power: test.map(|nm| watts(rpm, nm) * power.1),
            })
            .collect();
        Self {
            torque_unit: torque.0.to_owned(),
            power_unit: power.0.to_owned(),
            step_rpm: side_by_side.step_rpm,
            correction,
            brought,
            rows,
            cut,
        }
    }
}

/// What changed between two sides that may be compared.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Compared {
    /// The base side's name.
    pub base: String,
    /// The test side's name.
    pub test: String,
    /// What changed, in a sentence or two.
    pub headline: String,
    /// What nobody knows, to be read first.
    pub open: Vec<OpenLine>,
    /// What changed.
    pub changes: Vec<ChangeLine>,
    /// How many documented items the two share.
    pub common: usize,
    /// Gaps they share, which cannot explain a difference.
    pub common_gaps: Vec<String>,
    /// Of the items that could differ, how many are only assumed or unknown.
    pub weak: usize,
    /// How many items could differ.
    pub asked: usize,
    /// What is only listed, assumed or calculated.
    pub soft: Vec<SoftLine>,
    /// How much the parts have run.
    pub wear: Vec<WearLine>,
    /// What follows from the records of both.
    pub derived: Vec<DerivedLine>,
    /// The curves.
    pub curves: Option<Curves>,
    /// Why there are none, where there are none.
    pub no_curves: Option<String>,
    /// Doubts recorded when the pulls were entered, a line each.
    pub doubts: Vec<String>,
    /// Files with pending edits that would change the answer.
    pub pending: Vec<String>,
    /// The commit that was answered from.
    pub commit: String,
    /// What to do next.
    pub next: String,
}

fn side_word(side: GapSide) -> &'static str {
    match side {
        GapSide::Base => "base",
        GapSide::Test => "test",
        GapSide::Both => "both",
    }
}

impl Compared {
    /// The part of the answer that follows from the check; the rest is filled in by the use case.
    pub fn of(checked: &Checked<'_>, subject: Option<&str>) -> Self {
        let (weak, asked) = checked.weak_share();
        Self {
            base: checked.base().name.clone(),
            test: checked.test().name.clone(),
            headline: headline(checked, subject),
            open: checked
                .open_questions()
                .iter()
                .map(|open| OpenLine {
                    item: open.item.path(),
                    title: open.item.title.clone(),
                    side: side_word(open.side),
                    because: open.because.clone(),
                    other: open.other.as_ref().map(|shown| shown.text.clone()),
                })
                .collect(),
            changes: checked.changes().iter().map(ChangeLine::from).collect(),
            common: checked.common(),
            common_gaps: checked.common_gaps().iter().map(|gap| gap.item.path()).collect(),
            weak,
            asked,
            soft: checked
                .soft()
                .iter()
                .map(|(item, side, shown)| SoftLine {
                    item: item.path(),
                    side: side_word(*side),
                    how: shown.how,
                    text: shown.text.clone(),
                    source: shown.source.clone(),
                })
                .collect(),
            wear: Vec::new(),
            derived: Vec::new(),
            curves: None,
            no_curves: None,
            doubts: Vec::new(),
            pending: Vec::new(),
            commit: String::new(),
            next: String::new(),
        }
    }
}

impl Refused {
    /// The refusal in words.
    pub fn of(refusal: &Refusal, base: &str, test: &str) -> Self {
        let count = refusal.gaps.len();
        let unlike = refusal.unlike_corrections.as_ref();
        let gaps = format!(
            "{} that could differ between {base} and {test} {} not documented",
            counted(count, "thing"),
            if count == 1 { "is" } else { "are" }
        );
        let headline = match (unlike, count) {
            (Some(none), 0) => format!("Not compared: {}.", no_basis_words(base, test, none)),
            (Some(none), _) => format!("Not compared: {gaps}, and {}.", no_basis_words(base, test, none)),
            (None, _) => format!("Not compared: {gaps}."),
        };
        let correct_to = unlike.and_then(|none| none.to).map(|to| to.name().to_owned());
        Self {
            base: base.to_owned(),
            test: test.to_owned(),
            headline,
            gaps: refusal.gaps.iter().map(GapLine::from).collect(),
            across: None,
            unlike_corrections: unlike.map(|none| (none.base.clone(), none.test.clone())),
            correct_to,
            lacks: unlike.map(LackLine::gather).unwrap_or_default(),
            next: if let Some((side, item)) = unlike.and_then(missing_condition) {
                format!("mulebook measure {side} {item} \"…\" --with INSTRUMENT")
            } else if count == 0 {
                "mulebook correct PULL --set correction=… --because \"…\"   where one of them was written down wrongly".to_owned()
            } else {
                format!("mulebook gaps {base} {test} --fill")
            },
            pending: Vec::new(),
            commit: String::new(),
        }
    }
}

/// The first condition that keeps a side from the basis wanted.
fn missing_condition(none: &NoBasis) -> Option<(&str, &str)> {
    none.lacks.iter().find_map(|(side, lack)| {
        let missing = lack.missing.iter().find(|missing| missing.path.starts_with("conditions."))?;
        Some((side.as_str(), missing.path.as_str()))
    })
}

/// Why two files do not come to one correction.
pub fn no_basis_words(base: &str, test: &str, none: &NoBasis) -> String {
    match none.to {
        None => format!(
            "{base} carries the correction {}, {test} carries {}, and nobody says what to bring them to",
            none.base, none.test
        ),
        Some(to) => format!(
            "{base} ({}) and {test} ({}) cannot both be brought to {}",
            none.base,
            none.test,
            to.name()
        ),
    }
}

/// "Three things changed: header, spacer and ignition timing; two are not the header."
fn headline(checked: &Checked<'_>, subject: Option<&str>) -> String {
    let made: Vec<&Change> = checked.changes().iter().filter(|change| change.is_hand_made()).collect();
    let mut names: Vec<String> = Vec::new();
    for change in &made {
        let name = change.item.title.to_lowercase();
        if !names.contains(&name) {
            names.push(name);
        }
    }
    if names.is_empty() {
        return "Nothing was changed on the engine or in how it was run, as far as the book says.".to_owned();
    }
    let count = names.len();
    let mut sentence = format!("{} changed: {}", capital(&counted(count, "thing")), listed(&names));
    let roles: Vec<&&Change> = made.iter().filter(|change| change.item.group == Group::Role).collect();
    let subject = subject
        .map(str::to_owned)
        .or_else(|| if let [only] = roles.as_slice() { Some(only.item.name.clone()) } else { None });
    if let Some(subject) = subject {
        let title = made
            .iter()
            .find(|change| change.item.name == subject)
            .map_or_else(|| subject.replace('-', " "), |change| change.item.title.to_lowercase());
        let others = names.iter().filter(|name| **name != title).count();
        if others > 0 {
            let verb = if others == 1 { "is" } else { "are" };
            sentence.push_str(&format!("; {} {verb} not the {title}", number(others)));
        }
    }
    sentence.push('.');
    sentence
}

fn listed(names: &[String]) -> String {
    match names {
        [] => String::new(),
        [one] => one.clone(),
        [most @ .., last] => format!("{} and {last}", most.join(", ")),
    }
}

fn counted(count: usize, thing: &str) -> String {
    format!("{} {thing}{}", number(count), if count == 1 { "" } else { "s" })
}

fn number(count: usize) -> String {
    const WORDS: [&str; 13] = [
        "no", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten", "eleven",
        "twelve",
    ];
    WORDS.get(count).map_or_else(|| count.to_string(), |word| (*word).to_owned())
}

fn capital(text: &str) -> String {
    let mut chars = text.chars();
    chars.next().map_or_else(String::new, |first| first.to_uppercase().chain(chars).collect())
}
