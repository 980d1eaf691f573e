//! What was really on the engine for a pull: its build, what the pull changed, and every correction, in that order.

use std::collections::BTreeMap;

use crate::record::Answer;
use crate::record::Build;
use crate::record::Change;
use crate::record::Corrected;
use crate::record::Correcting;
use crate::record::Correction;
use crate::record::Figure;
use crate::record::Outcome;
use crate::record::Pull;

/// Where a value of a configuration comes from.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Origin {
    /// It stands in the build.
    Build,
    /// The build's record was corrected.
    BuildCorrected {
        /// Why.
        because: String,
    },
    /// The pull changed it by hand.
    Pull,
    /// The pull's record was corrected.
    PullCorrected {
        /// Why.
        because: String,
    },
}

impl Origin {
    /// Whether it belongs to the build and so holds for all of its pulls.
    pub fn is_build(&self) -> bool {
        matches!(self, Self::Build | Self::BuildCorrected { .. })
    }

    /// Why it was corrected, if it was.
    pub fn correction(&self) -> Option<&str> {
        match self {
            Self::BuildCorrected { because } | Self::PullCorrected { because } => Some(because),
            Self::Build | Self::Pull => None,
        }
    }
}

/// A figure of a configuration and where it comes from.
#[derive(Debug, Clone, PartialEq)]
pub struct Held {
    /// The figure.
    pub figure: Figure,
    /// Where it comes from.
    pub origin: Origin,
}

/// A role's answer and where it comes from.
#[derive(Debug, Clone, PartialEq)]
pub struct RoleHeld {
    /// The answer.
    pub answer: Answer,
    /// Where it comes from.
    pub origin: Origin,
}

/// One side of a comparison as it really was: a build, or a pull on its build.
#[derive(Debug, Clone, PartialEq)]
pub struct Effective {
    /// The answers by role, as written; what an assembly answers is not spelt out.
    pub roles: BTreeMap<String, RoleHeld>,
    /// Settings by name.
    pub settings: BTreeMap<String, Held>,
    /// Fits by pair and name.
    pub fits: BTreeMap<(String, String), Held>,
    /// Fits of the build that no longer speak for this pull, since it changed one of the two parts: by pair and name,
    /// with the role that was changed.
    pub lost_fits: BTreeMap<(String, String), String>,
    /// Conditions by name.
    pub conditions: BTreeMap<String, Held>,
    /// How it was run.
    pub run: BTreeMap<String, String>,
    /// The correction that its file carries.
    pub correction: Option<Correcting>,
    /// Whether it counts.
    pub outcome: Outcome,
}

impl Effective {
    /// A build as set up, with its corrections.
    pub fn of_build(build: &Build) -> Self {
        let mut effective = Self::empty();
        for (role, answer) in &build.parts {
            effective.roles.insert(role.clone(), RoleHeld { answer: answer.clone(), origin: Origin::Build });
        }
        for (name, figure) in &build.settings {
            effective.settings.insert(name.clone(), Held { figure: figure.clone(), origin: Origin::Build });
        }
        for (pair, figures) in &build.fits {
            for (name, figure) in figures {
                let held = Held { figure: figure.clone(), origin: Origin::Build };
                effective.fits.insert((pair.clone(), name.clone()), held);
            }
        }
        for correction in &build.corrected {
            let origin = Origin::BuildCorrected { because: correction.because.clone() };
            effective.correct(correction, &origin);
        }
        effective
    }

    /// A pull on its build, if it has one yet, with the changes and corrections of both.
    pub fn of_pull(pull: &Pull, build: Option<&Build>) -> Self {
        let mut effective = build.map_or_else(Self::empty, Self::of_build);
        effective.run.clone_from(&pull.run);
        effective.correction.clone_from(&pull.correction);
        effective.outcome.clone_from(&pull.outcome);
        for (name, figure) in &pull.conditions {
            effective.conditions.insert(name.clone(), Held { figure: figure.clone(), origin: Origin::Pull });
        }
        for (name, change) in &pull.changed {
            match change {
                Change::Role(answer) => effective.put_role(name, answer.clone(), Origin::Pull),
                Change::Figure(figure) => effective.put_figure(name, figure.clone(), Origin::Pull),
            }
        }
        for correction in &pull.corrected {
            let origin = Origin::PullCorrected { because: correction.because.clone() };
            effective.correct(correction, &origin);
        }
        effective
    }

    /// Nothing on the engine, nothing set, nothing run.
    pub fn empty() -> Self {
        Self {
            roles: BTreeMap::new(),
            settings: BTreeMap::new(),
            fits: BTreeMap::new(),
            lost_fits: BTreeMap::new(),
            conditions: BTreeMap::new(),
            run: BTreeMap::new(),
            correction: None,
            outcome: Outcome::Kept,
        }
    }

    fn put_role(&mut self, role: &str, answer: Answer, origin: Origin) {
        let before = self.roles.insert(role.to_owned(), RoleHeld { answer: answer.clone(), origin });
        if before.is_some_and(|before| before.answer == answer) {
            return;
        }
        let touches = |pair: &str| pair.split('+').any(|side| side == role);
        let lost: Vec<_> = self.fits.keys().filter(|(pair, _)| touches(pair)).cloned().collect();
        for key in lost {
            self.fits.remove(&key);
            self.lost_fits.insert(key, role.to_owned());
        }
    }

    fn put_figure(&mut self, name: &str, figure: Figure, origin: Origin) {
        match name.split_once('.') {
            Some((pair, fit)) if pair.contains('+') => {
                let key = (pair.to_owned(), fit.to_owned());
                self.lost_fits.remove(&key);
                self.fits.insert(key, Held { figure, origin });
            }
            _ => {
                self.settings.insert(name.to_owned(), Held { figure, origin });
            }
        }
    }

    fn correct(&mut self, correction: &Correction, origin: &Origin) {
        match &correction.to {
            Corrected::Role(answer) => self.put_role(&correction.set, answer.clone(), origin.clone()),
            Corrected::Figure(figure) => match correction.set.strip_prefix("conditions.") {
                Some(name) => {
                    let held = Held { figure: figure.clone(), origin: origin.clone() };
                    self.conditions.insert(name.to_owned(), held);
                }
                None => self.put_figure(&correction.set, figure.clone(), origin.clone()),
            },
            Corrected::Text(text) => self.correct_field(&correction.set, text, &correction.because),
        }
    }

    fn correct_field(&mut self, field: &str, text: &str, because: &str) {
        match field {
            "outcome" if text == "kept" => self.outcome = Outcome::Kept,
            "outcome" => self.outcome = Outcome::SetAside(text.to_owned()),
            "correction" if text == "observed" => self.correction = Some(Correcting::Observed),
            "correction" if text == "unknown" => {
                self.correction = Some(Correcting::Unknown(because.to_owned()))
            }
            "correction" if text.starts_with("unknown:") => {
                let why = text.trim_start_matches("unknown:").trim();
                let why = if why.is_empty() { because } else { why };
                self.correction = Some(Correcting::Unknown(why.to_owned()));
            }
            "correction" => {
                let (name, factor) = match text.split_once(' ') {
                    Some((name, factor)) => (name.to_owned(), Some(factor.trim().to_owned())),
                    None => (text.to_owned(), None),
                };
                self.correction = Some(Correcting::Standard { name, factor });
            }
            other => {
                if let Some(name) = other.strip_prefix("run.") {
                    self.run.insert(name.to_owned(), text.to_owned());
                }
            }
        }
    }
}

impl Pull {
    /// The build it belongs to, after corrections.
    pub fn effective_build(&self) -> Option<&str> {
        self.corrected
            .iter()
            .rev()
            .find_map(|correction| match (&correction.to, correction.set.as_str()) {
                (Corrected::Text(build), "build") => Some(build.as_str()),
                _ => None,
            })
            .or(self.build.as_deref())
    }
}
