//! What is not documented, and what closes it.

use serde::Serialize;

use crate::answer::AlarmLine;
use crate::answer::BarsLine;
use crate::check::Close;
use crate::check::Gap;
use crate::check::GapSide;
use crate::check::Shown;
use crate::check::Why;

/// One gap in words.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct GapLine {
    /// What is missing, as commands name it.
    pub item: String,
    /// The trade's name.
    pub title: String,
    /// On which side: `base`, `test` or `both`.
    pub side: &'static str,
    /// Why it counts as missing.
    pub why: String,
    /// What the other side says, where it says something.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub other: Option<String>,
    /// The commands that close it.
    pub close: Vec<String>,
    /// The same, for a program that closes them.
    #[serde(skip)]
    pub closes: Vec<Close>,
}

impl From<&Gap> for GapLine {
    fn from(gap: &Gap) -> Self {
        Self {
            item: gap.item.path(),
            title: gap.item.title.clone(),
            side: match gap.side {
                GapSide::Base => "base",
                GapSide::Test => "test",
                GapSide::Both => "both",
            },
            why: why_words(&gap.why),
            other: gap.other.as_ref().map(Shown::words),
            close: gap.close.iter().map(ToString::to_string).collect(),
            closes: gap.close.clone(),
        }
    }
}

/// Why a gap counts as one, in words.
pub(super) fn why_words(why: &Why) -> String {
    match why {
        Why::Absent => "nobody wrote it down".to_owned(),
        Why::Voided { work, state, was } => {
            format!("{was} stood here, but {work} ({state}) can have changed it")
        }
        Why::Refit { was } => format!("{was} stood here, but the parts were apart since"),
        Why::Doubted { was, because } => format!("{was} stood here, but it is in doubt: {because}"),
        Why::OtherPart { role } => format!("the build's figure speaks of another {role}"),
        Why::NoInstrument { was } => format!("{was} was measured, nobody says with what"),
        Why::Needs { was, record, field } => {
            format!("{was} would answer it, but the {field} of {record} is not documented")
        }
        Why::NoBatch => "the same name on both sides, and nothing says it is the same batch".to_owned(),
        Why::NoBuild => "the pull has no build yet".to_owned(),
    }
}

/// A derived figure that is known no better than an input that nobody measured.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct WeakLine {
    /// The pull or build.
    pub side: String,
    /// Its name.
    pub figure: String,
    /// The trade's name.
    pub title: String,
    /// The number with its interval, as a person writes it.
    pub text: String,
    /// How its worst-known input is known.
    pub worst_input: &'static str,
    /// The inputs that nobody measured, as commands name them.
    pub not_measured: Vec<String>,
}

/// A run number of a session that no pull has.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct RunGap {
    /// The number in the session, or the run as its file would be called.
    pub run: String,
    /// Why there is none, where somebody said so.
    pub because: Option<String>,
    /// The command that says it, where nobody did.
    pub close: Option<String>,
}

/// What is not documented on one side, or between two.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize)]
pub struct GapsAnswer {
    /// What was asked about.
    pub about: Vec<String>,
    /// The gaps, those that matter most first.
    pub gaps: Vec<GapLine>,
    /// Gaps that both sides share and that cannot explain a difference.
    pub common: Vec<GapLine>,
    /// Figures that are only listed or assumed, a line each.
    pub soft: Vec<String>,
    /// Missing inputs of derived figures, and what each bars.
    pub bars: Vec<BarsLine>,
    /// Derived figures that are known no better than an input that nobody measured.
    pub weak: Vec<WeakLine>,
    /// Figures that cannot all be right, a sentence each.
    pub contradictions: Vec<String>,
    /// The rules between neighbouring parts, looked at.
    pub alarms: Vec<AlarmLine>,
    /// What proved doubtful, a line each.
    pub doubts: Vec<String>,
    /// Run numbers that no pull has, of a session.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub runs: Option<Vec<RunGap>>,
    /// Files with pending edits that would change the answer.
    pub pending: Vec<String>,
    /// What to do next.
    pub next: String,
}
