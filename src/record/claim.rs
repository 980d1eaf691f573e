//! A claim: a gain stated so that it can be checked, its terms, and what was mended or withdrawn.

use std::collections::BTreeMap;
use std::fmt;

use crate::record::Answer;
use crate::record::Correction;
use crate::record::Moment;

/// Which figure of the curves a claim speaks of.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Metric {
    /// Mean torque over the window.
    MeanTorque,
    /// Mean power over the window.
    MeanPower,
    /// Highest torque.
    PeakTorque,
    /// Highest power.
    PeakPower,
}

impl Metric {
    /// All of them.
    pub const ALL: [Self; 4] = [Self::MeanTorque, Self::MeanPower, Self::PeakTorque, Self::PeakPower];

    /// Its word in a manifest.
    pub fn word(self) -> &'static str {
        match self {
            Self::MeanTorque => "mean-torque",
            Self::MeanPower => "mean-power",
            Self::PeakTorque => "peak-torque",
            Self::PeakPower => "peak-power",
        }
    }

    /// The metric that a word means.
    pub fn from_word(word: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|metric| metric.word() == word)
    }

    /// Whether it is a power.
    pub fn is_power(self) -> bool {
        matches!(self, Self::MeanPower | Self::PeakPower)
    }
}

/// What a claim says of the settings that are turned to find a set-up's best.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Tuning {
    /// The same on both sides.
    SameSettings,
    /// Each side as it ran best.
    EachAtItsBest,
}

impl Tuning {
    /// Its word in a manifest.
    pub fn word(self) -> &'static str {
        match self {
            Self::SameSettings => "same-settings",
            Self::EachAtItsBest => "each-at-its-best",
        }
    }

    /// The rule that a word means.
    pub fn from_word(word: &str) -> Option<Self> {
        [Self::SameSettings, Self::EachAtItsBest].into_iter().find(|tuning| tuning.word() == word)
    }
}

/// With what the gain is claimed: in words, and in fields that every pull is held against.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct ClaimScope {
    /// In words.
    pub says: Option<String>,
    /// On this engine.
    pub engine: Option<String>,
    /// In this cell.
    pub cell: Option<String>,
    /// With these parts, or none, in these roles.
    pub parts: BTreeMap<String, Answer>,
}

/// One speed, or from which to which.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Speeds {
    /// All speeds that the pulls share.
    Shared,
    /// From and to, rpm.
    Window(u32, u32),
    /// One grid point, rpm.
    At(u32),
}

impl fmt::Display for Speeds {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Shared => f.write_str("all speeds that the pulls share"),
            Self::Window(from, to) => write!(f, "{from} to {to} rpm"),
            Self::At(at) => write!(f, "{at} rpm"),
        }
    }
}

/// What is claimed: everything that a weighing is asked.
#[derive(Debug, Clone, PartialEq)]
pub struct Terms {
    /// The role, setting, fit or figure under test.
    pub subject: Option<String>,
    /// With what.
    pub scope: ClaimScope,
    /// At which settings.
    pub tuning: Option<Tuning>,
    /// What it is measured from: pulls, ranges, builds, sessions, or queries that will choose them.
    pub base: Vec<String>,
    /// The side with the part under test, named alike.
    pub test: Vec<String>,
    /// The figure.
    pub metric: Metric,
    /// At which speeds.
    pub speeds: Speeds,
    /// The least gain, with its unit.
    pub at_least: Option<String>,
    /// A difference that would not matter, for a claim that there is none.
    pub within: Option<String>,
    /// The correction; the book's own where none is named.
    pub correction: Option<String>,
    /// Distance of the grid points, rpm.
    pub step: u32,
    /// Width that all curves alike are smoothed over, rpm.
    pub smooth: Option<u32>,
}

/// Distance of the grid points where a claim names none, rpm.
pub const GRID_STEP_RPM: u32 = 100;

impl Terms {
    /// The terms by name, in words, in the order they are told; what is not said is left out.
    pub fn told(&self) -> Vec<(&'static str, String)> {
        let mut told = Vec::new();
        let mut tell = |name, value: Option<String>| told.extend(value.map(|value| (name, value)));
        tell("subject", self.subject.clone());
        tell("scope", self.scope.says.clone());
        tell("scope.engine", self.scope.engine.clone());
        tell("scope.cell", self.scope.cell.clone());
        let parts: Vec<String> =
            self.scope.parts.iter().map(|(role, answer)| format!("{role} {answer}")).collect();
        tell("scope.parts", (!parts.is_empty()).then(|| parts.join(", ")));
        tell("tuning", self.tuning.map(|tuning| tuning.word().replace('-', " ")));
        tell("base", Some(self.base.join("; ")));
        tell("test", Some(self.test.join("; ")));
        tell("metric", Some(self.metric.word().replace('-', " ")));
        tell("window", Some(self.speeds.to_string()));
        tell("at-least", self.at_least.clone());
        tell("within", self.within.clone());
        tell("correction", self.correction.clone());
        tell("step", (self.step != GRID_STEP_RPM).then(|| format!("{} rpm", self.step)));
        tell("smooth", self.smooth.map(|width| format!("{width} rpm")));
        told
    }

    /// The names of the terms in which two versions of a claim differ.
    pub fn differing(&self, other: &Self) -> Vec<&'static str> {
        let (ours, theirs) = (self.told(), other.told());
        let value = |told: &[(&'static str, String)], name: &str| {
            told.iter().find(|(own, _)| *own == name).map(|(_, value)| value.clone())
        };
        let mut names: Vec<&'static str> = ours.iter().chain(&theirs).map(|(name, _)| *name).collect();
        let mut seen = Vec::new();
        names.retain(|name| {
            let fresh = !seen.contains(name);
            seen.push(*name);
            fresh && value(&ours, name) != value(&theirs, name)
        });
        names
    }
}

/// Why a claim no longer stands.
#[derive(Debug, Clone, PartialEq)]
pub struct Withdrawn {
    /// Why.
    pub because: String,
    /// Who withdrew it.
    pub by: String,
    /// When.
    pub on: Moment,
}

/// A claim, as corrected.
#[derive(Debug, Clone, PartialEq)]
pub struct Claim {
    /// Its short tag.
    pub tag: String,
    /// The claim in one sentence.
    pub says: String,
    /// The day it was stated, by its own word.
    pub on: Moment,
    /// Who states it.
    pub by: String,
    /// Whom it is made to.
    pub made_to: Option<String>,
    /// Its terms, with what corrections mended.
    pub terms: Terms,
    /// Its terms as first written.
    pub first_terms: Terms,
    /// Mended lines, the oldest first.
    pub corrected: Vec<Correction>,
    /// That it no longer stands.
    pub withdrawn: Option<Withdrawn>,
    /// A remark.
    pub note: Option<String>,
}

/// Splits what a correction says of a side: names or queries with a semicolon between them, since a query has commas.
pub fn side_of(text: &str) -> Vec<String> {
    text.split(';').map(str::trim).filter(|name| !name.is_empty()).map(str::to_owned).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn terms() -> Terms {
        Terms {
            subject: Some("header".to_owned()),
            scope: ClaimScope::default(),
            tuning: None,
            base: vec!["b1".to_owned()],
            test: vec!["b2".to_owned()],
            metric: Metric::MeanTorque,
            speeds: Speeds::Window(4000, 7000),
            at_least: Some("2 N·m".to_owned()),
            within: None,
            correction: None,
            step: GRID_STEP_RPM,
            smooth: None,
        }
    }

    #[test]
    fn versions_are_told_apart_by_the_terms_that_differ() {
        let first = terms();
        assert!(first.differing(&first).is_empty());
        let second = Terms { at_least: None, speeds: Speeds::At(5000), smooth: Some(300), ..first.clone() };
        assert_eq!(first.differing(&second), ["window", "at-least", "smooth"]);
    }

    #[test]
    fn a_side_in_one_line_may_hold_queries() {
        assert_eq!(
            side_of("session=0411a,header=long-1 ; 0411a-09..10;"),
            ["session=0411a,header=long-1", "0411a-09..10"]
        );
    }
}
