//! Derived figures in words: each with its interval, what it rests on, and what bars the others.

use serde::Serialize;

use crate::check::NoBasis;
use crate::derive;
use crate::derive::Barred;
use crate::derive::Brought;
use crate::derive::Derived;
use crate::derive::Grade;
use crate::derive::Label;
use crate::derive::Spread;
use crate::quantity::Unit;

/// Digits of an uncertainty that are worth printing (JCGM 100:2008, 7.2.6).
const UNCERTAIN_DIGITS: i32 = 2;
/// Most decimals printed.
const MOST_DECIMALS: i32 = 9;

/// A number with its interval, in a unit.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Interval {
    /// The number.
    pub value: f64,
    /// Half the width of the interval.
    pub uncertainty: f64,
    /// Its level.
    pub level: f64,
    /// The unit; empty for a ratio.
    pub unit: String,
    /// The interval is wider than this by what nobody knows.
    pub at_least: bool,
    /// As a person writes it: `11.42 ±0.05`.
    pub text: String,
}

impl Interval {
    /// The same, marked where the error of an input is not known.
    #[must_use]
    pub fn or_more(mut self, understated: bool) -> Self {
        if understated && !self.at_least {
            self.at_least = true;
            self.text.push_str(" or more");
        }
        self
    }

    /// A value in a unit.
    pub fn of(spread: Spread, unit: Option<&Unit>) -> Self {
        let value = unit.map_or(spread.si, |unit| unit.from_si(spread.si));
        Self::new(value, spread, unit, "")
    }

    /// A difference of two values, in a unit.
    pub fn of_difference(spread: Spread, unit: Option<&Unit>) -> Self {
        let value = step(spread.si, unit);
        Self::new(value, spread, unit, if value > 0.0 { "+" } else { "" })
    }

    fn new(value: f64, spread: Spread, unit: Option<&Unit>, sign: &str) -> Self {
        let half = unit.map_or(spread.half_width_si, |unit| unit.width_from_si(spread.half_width_si));
        let symbol = unit.map(Unit::symbol).unwrap_or_default();
        let decimals = decimals(value, half);
        let space = if symbol.is_empty() { "" } else { " " };
        Self {
            value,
            uncertainty: half,
            level: derive::LEVEL,
            at_least: false,
            unit: symbol.to_owned(),
            text: format!("{sign}{value:.decimals$} ±{half:.decimals$}{space}{symbol}"),
        }
    }
}

/// A difference in steps of a unit, with its sign.
fn step(si: f64, unit: Option<&Unit>) -> f64 {
    unit.map_or(si, |unit| unit.width_from_si(si.abs()).copysign(si))
}

fn decimals(value: f64, half: f64) -> usize {
    let scale = if half > 0.0 { half } else { value.abs() * 1e-5 };
    if scale <= 0.0 || !scale.is_finite() {
        return 3;
    }
    #[expect(clippy::cast_possible_truncation, reason = "the exponent of a finite number is small")]
    let leading = libm::floor(libm::log10(scale)) as i32;
    usize::try_from((UNCERTAIN_DIGITS - 1 - leading).clamp(0, MOST_DECIMALS)).unwrap_or(0)
}

/// A derived figure of one side.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct FigureLine {
    /// Its name (`compression-ratio`).
    pub figure: String,
    /// The trade's name.
    pub title: String,
    /// What it is a figure of: `geometry`, `piston`, `camshaft`, `valves`, `ports`, `air`, `run`, `flow`.
    pub group: &'static str,
    /// The cylinder, where it belongs to one.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub cylinder: Option<usize>,
    /// The number with its interval.
    #[serde(flatten)]
    pub interval: Interval,
    /// How the worst-known input is known: the figure is known no better.
    pub worst_input: &'static str,
    /// The measured inputs, with their values.
    pub measured: Vec<InputLine>,
    /// The others.
    pub not_measured: Vec<InputLine>,
    /// What is to be said of it.
    pub notes: Vec<String>,
    /// What lies outside the limits of its relation, in words.
    pub beyond: Vec<String>,
}

/// An input of a derived figure.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct InputLine {
    /// What it is, as commands name it.
    pub item: String,
    /// Where it stands: a part's state, a build, a pull.
    pub at: String,
    /// How it is known.
    pub how: &'static str,
    /// As written.
    pub text: String,
    /// Half its last digit is all that speaks for its uncertainty.
    #[serde(skip_serializing_if = "std::ops::Not::not")]
    pub last_digit: bool,
    /// Nobody says with what it was measured, though its schema asks.
    #[serde(skip_serializing_if = "std::ops::Not::not")]
    pub no_instrument: bool,
    /// No instrument with a stated uncertainty is named for this channel: only its scatter counts.
    #[serde(skip_serializing_if = "std::ops::Not::not")]
    pub only_scatter: bool,
}

impl From<&derive::Input> for InputLine {
    fn from(input: &derive::Input) -> Self {
        Self {
            item: input.path.clone(),
            at: input.at.clone(),
            how: input.grade.word(),
            text: input.text.clone(),
            last_digit: input.last_digit,
            no_instrument: input.no_instrument,
            only_scatter: input.unknown_error.is_some(),
        }
    }
}

impl FigureLine {
    /// A figure in a unit.
    pub fn of(derived: &Derived, spread: Spread, unit: Option<&Unit>) -> Self {
        let (measured, not_measured) =
            derived.inputs.iter().partition::<Vec<_>, _>(|input| input.grade == Grade::Measured);
        Self {
            figure: derived.label.name.clone(),
            title: derived.label.title.clone(),
            group: derived.label.group,
            cylinder: derived.label.cylinder,
            interval: Interval::of(spread, unit).or_more(derived.is_understated()),
            worst_input: derived.grade().word(),
            measured: measured.into_iter().map(InputLine::from).collect(),
            not_measured: not_measured.into_iter().map(InputLine::from).collect(),
            notes: derived.notes.clone(),
            beyond: derived.beyond.iter().map(beyond_words).collect(),
        }
    }
}

/// What lies outside a limit, in words.
fn beyond_words(beyond: &derive::Beyond) -> String {
    let unit = if beyond.unit.is_empty() { String::new() } else { format!(" {}", beyond.unit) };
    let (decimals, scale, unit) = match beyond.unit {
        "Pa" => (2, 1e-3, " kPa".to_owned()),
        "°C" => (1, 1.0, unit),
        _ => (4, 1.0, unit),
    };
    format!(
        "{} {:.decimals$}{unit} lies outside the limits {} to {}{unit} of {}",
        beyond.what,
        beyond.found * scale,
        plain(beyond.lower * scale),
        plain(beyond.upper * scale),
        beyond.source
    )
}

/// A limit as a standard prints it: no more decimals than it needs, four at most.
fn plain(value: f64) -> String {
    let text = format!("{value:.4}");
    text.trim_end_matches('0').trim_end_matches('.').to_owned()
}

/// A derived figure that a missing input bars.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct BarredLine {
    /// Its name.
    pub figure: String,
    /// The trade's name.
    pub title: String,
    /// What is missing.
    pub missing: Vec<MissingLine>,
    /// Why the inputs that are there make none.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub cannot: Option<String>,
}

/// A missing input.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Serialize)]
pub struct MissingLine {
    /// What it is, as commands name it.
    pub item: String,
    /// Why it does not stand.
    pub why: String,
}

impl From<&derive::Missing> for MissingLine {
    fn from(missing: &derive::Missing) -> Self {
        Self { item: missing.path.clone(), why: missing.why.clone() }
    }
}

impl From<&Barred> for BarredLine {
    fn from(barred: &Barred) -> Self {
        let Label { name, title, .. } = &barred.label;
        Self {
            figure: name.clone(),
            title: title.clone(),
            missing: barred.missing.iter().map(MissingLine::from).collect(),
            cannot: barred.cannot.clone(),
        }
    }
}

/// A missing input and the derived figures that it bars.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct BarsLine {
    /// On which side: the pull's or build's name.
    pub side: String,
    /// What is missing, as commands name it.
    pub item: String,
    /// Why it does not stand.
    pub why: String,
    /// The figures that it bars, by title.
    pub bars: Vec<String>,
}

impl BarsLine {
    /// What bars the figures of a side, each missing input once.
    pub fn gather(side: &str, barred: &[BarredLine]) -> Vec<Self> {
        let mut lines: Vec<Self> = Vec::new();
        for figure in barred {
            for missing in &figure.missing {
                let known = lines.iter_mut().find(|line| line.item == missing.item);
                match known {
                    Some(line) => line.bars.push(figure.title.clone()),
                    None => lines.push(Self {
                        side: side.to_owned(),
                        item: missing.item.clone(),
                        why: missing.why.clone(),
                        bars: vec![figure.title.clone()],
                    }),
                }
            }
            if let (true, Some(why)) = (figure.missing.is_empty(), &figure.cannot) {
                lines.push(Self {
                    side: side.to_owned(),
                    item: figure.figure.clone(),
                    why: why.clone(),
                    bars: vec![figure.title.clone()],
                });
            }
        }
        lines
    }
}

/// A derived figure on two sides.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct DerivedLine {
    /// Its name.
    pub figure: String,
    /// The trade's name.
    pub title: String,
    /// The base side.
    pub base: Option<FigureLine>,
    /// The test side.
    pub test: Option<FigureLine>,
    /// What bars it on the base side.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub base_barred: Option<BarredLine>,
    /// What bars it on the test side.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub test_barred: Option<BarredLine>,
    /// Test less base; what both share has cancelled.
    pub difference: Option<Interval>,
    /// The inputs that moved it, each by itself, the most first.
    pub moved_by: Vec<MovedLine>,
}

/// An input that moved a figure.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct MovedLine {
    /// What it is, as commands name it.
    pub item: String,
    /// The base side's value, as written.
    pub base: String,
    /// The test side's value.
    pub test: String,
    /// By how much it moves the figure by itself, in the figure's unit.
    pub by: f64,
    /// The same as a person writes it.
    pub text: String,
}

impl MovedLine {
    /// What an input moves, shown to the decimals of the difference.
    pub fn of(
        was: &derive::Input,
        now: &derive::Input,
        by_si: f64,
        unit: Option<&Unit>,
        half_si: f64,
    ) -> Self {
        let by = step(by_si, unit);
        let decimals = decimals(by, step(half_si, unit));
        Self {
            item: now.path.clone(),
            base: was.text.clone(),
            test: now.text.clone(),
            by,
            text: format!("{by:+.decimals$}"),
        }
    }
}

/// How the torque and power of one side came to the basis shown.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct BasisLine {
    /// The pull.
    pub side: String,
    /// What its file carries.
    pub carries: String,
    /// What its figures were multiplied by.
    #[serde(flatten)]
    pub factor: Interval,
    /// How the factor came about.
    pub how: String,
    /// What it rests on.
    pub inputs: Vec<InputLine>,
    /// What lies outside a standard's limits, in words.
    pub beyond: Vec<String>,
    /// What else is to be said.
    pub notes: Vec<String>,
}

impl BasisLine {
    /// A side's way to the basis.
    pub fn of(side: &str, brought: &Brought, spread: Spread) -> Self {
        Self {
            side: side.to_owned(),
            carries: brought.carries.clone(),
            factor: Interval::of(spread, None).or_more(brought.is_understated()),
            how: brought.how.clone(),
            inputs: brought.inputs.iter().map(InputLine::from).collect(),
            beyond: brought.beyond.iter().map(beyond_words).collect(),
            notes: brought.notes.clone(),
        }
    }
}

/// What keeps a side's figures from the basis wanted.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct LackLine {
    /// The pull.
    pub side: String,
    /// What its file carries.
    pub carries: String,
    /// What is missing.
    pub missing: Vec<MissingLine>,
    /// Why, where nothing is missing.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub why: Option<String>,
}

impl LackLine {
    /// What both sides lack.
    pub fn gather(none: &NoBasis) -> Vec<Self> {
        none.lacks
            .iter()
            .map(|(side, lack)| Self {
                side: side.clone(),
                carries: lack.carries.clone(),
                missing: lack.missing.iter().map(MissingLine::from).collect(),
                why: lack.why.clone(),
            })
            .collect()
    }

    /// In one sentence.
    pub fn words(&self) -> String {
        let mut reasons: Vec<String> =
            self.missing.iter().map(|missing| format!("{} ({})", missing.item, missing.why)).collect();
        reasons.extend(self.why.clone());
        format!("{} (its file: {}) lacks {}", self.side, self.carries, reasons.join("; "))
    }
}
