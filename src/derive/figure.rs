//! Derived figures, and why some cannot be derived.

use crate::derive::Grade;
use crate::derive::Ground;
use crate::derive::Input;
use crate::derive::Missing;
use crate::derive::air;
use crate::derive::camshaft;
use crate::derive::geometry;
use crate::derive::piston;
use crate::derive::port;
use crate::derive::running;
use crate::derive::valve;
use crate::engine::Beyond;
use crate::engine::EngineError;
use crate::quantity::QuantityKind;
use crate::record::Answer;
use crate::statistics::budget::Budgeted;

/// What a derived figure is called and how it is usually shown.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Label {
    /// Its name (`compression-ratio`).
    pub name: String,
    /// The trade's name.
    pub title: String,
    /// The cylinder, from 1, where it belongs to one.
    pub cylinder: Option<usize>,
    /// Its kind.
    pub kind: QuantityKind,
    /// The unit that the trade writes it in.
    pub unit: &'static str,
    /// What it is a figure of: `geometry`, `piston`, `camshaft`, `valves`, `ports`, `air`, `run`, `flow`.
    pub group: &'static str,
}

impl Label {
    pub(super) fn new(name: &str, title: &str, kind: QuantityKind, unit: &'static str) -> Self {
        Self { name: name.to_owned(), title: title.to_owned(), cylinder: None, kind, unit, group: "" }
    }

    pub(super) fn of_cylinder(&self, cylinder: usize) -> Self {
        Self {
            cylinder: Some(cylinder),
            title: format!("{}, cylinder {cylinder}", self.title),
            ..self.clone()
        }
    }
}

/// A figure that follows from the records.
#[derive(Debug, Clone, PartialEq)]
pub struct Derived {
    /// What it is.
    pub label: Label,
    /// Its value in SI with every source of uncertainty.
    pub value: Budgeted,
    /// What it was worked out from.
    pub inputs: Vec<Input>,
    /// What is to be said of it.
    pub notes: Vec<String>,
    /// What lies outside the limits of the relation.
    pub beyond: Vec<Beyond>,
}

impl Derived {
    /// Whether the error of an input is not known, so that the interval is wider than it says.
    pub fn is_understated(&self) -> bool {
        self.inputs.iter().any(|input| input.unknown_error.is_some())
    }

    /// How well its worst-known input is known: it is known no better itself.
    pub fn grade(&self) -> Grade {
        self.inputs.iter().map(|input| input.grade).max().unwrap_or(Grade::Calculated)
    }
}

/// A figure that cannot be derived.
#[derive(Debug, Clone, PartialEq)]
pub struct Barred {
    /// What it is.
    pub label: Label,
    /// The inputs that nobody gives.
    pub missing: Vec<Missing>,
    /// Why the inputs that are given make none.
    pub cannot: Option<String>,
}

/// A derived figure, or what bars it.
pub type Outcome = Result<Derived, Barred>;

/// Every figure that one side's records are meant to give, derived or barred.
pub fn figures(ground: &Ground<'_>) -> Vec<Outcome> {
    GROUPS.iter().flat_map(|(group, figures)| in_group(group, figures(ground))).collect()
}

/// The compression ratios alone: as built, and from where the inlet valve closes.
pub fn ratios(ground: &Ground<'_>) -> Vec<Outcome> {
    let mut all = in_group("geometry", geometry::ratios(ground));
    if ground.has_camshaft() {
        all.extend(in_group("camshaft", camshaft::ratios(ground)));
    }
    all
}

/// The figures of a side, by what they are figures of.
type Figures = fn(&Ground<'_>) -> Vec<Outcome>;

/// Every group of figures; one group may stand in several rows.
const GROUPS: [(&str, Figures); 7] = [
    ("geometry", geometry::figures),
    ("piston", piston::figures),
    ("camshaft", |ground| match ground.has_camshaft() {
        true => camshaft::figures(ground),
        false => Vec::new(),
    }),
    ("valves", valve::figures),
    ("ports", port::figures),
    ("air", |ground| if ground.is_pull { air::figures(ground) } else { Vec::new() }),
    ("run", |ground| if ground.is_pull { running::figures(ground) } else { Vec::new() }),
];

/// Marks what these are figures of.
pub(super) fn in_group(group: &'static str, mut outcomes: Vec<Outcome>) -> Vec<Outcome> {
    for outcome in &mut outcomes {
        match outcome {
            Ok(derived) => derived.label.group = group,
            Err(barred) => barred.label.group = group,
        }
    }
    outcomes
}

/// A figure of these inputs by one relation.
pub(super) fn of<'a>(
    ground: &Ground<'a>,
    label: Label,
    means: &[&str],
    relation: impl Fn(&[f64]) -> Result<f64, EngineError>,
) -> Outcome {
    let mut gathering = Gathering::new(ground);
    let values = gathering.all(means);
    gathering.finish(label, values.map(|values| combined(&values, relation)))
}

/// The result of a relation on several values.
pub(super) fn combined(
    values: &[Budgeted],
    relation: impl Fn(&[f64]) -> Result<f64, EngineError>,
) -> Result<Budgeted, EngineError> {
    Budgeted::combine(&values.iter().collect::<Vec<_>>(), relation)
}

/// How far each input that differs between two sides moves a figure by itself: from the base side, one input at a time
/// taken from the test side. Inputs in order of what they move, the most first; values in SI.
pub fn moved_by(base: &Ground<'_>, was: &Derived, now: &Derived) -> Vec<(Input, Input, f64)> {
    let mut moved = Vec::new();
    for input in &now.inputs {
        let Some(before) = was.inputs.iter().find(|before| before.means == input.means) else {
            continue;
        };
        if before.identity == input.identity {
            continue;
        }
        let mut ground = base.clone();
        ground.substitutes.insert(input.means.clone(), input.clone());
        let changed = GROUPS
            .iter()
            .filter(|(group, _)| *group == was.label.group)
            .flat_map(|(group, figures)| in_group(group, figures(&ground)))
            .filter_map(Result::ok)
            .find(|figure| figure.label == was.label)
            .map(|figure| figure.value.value() - was.value.value());
        if let Some(by) = changed {
            moved.push((before.clone(), input.clone(), by));
        }
    }
    moved.sort_by(|a, b| b.2.abs().total_cmp(&a.2.abs()));
    moved
}

impl Ground<'_> {
    /// Whether nobody says that the engine has no camshaft.
    pub(super) fn has_camshaft(&self) -> bool {
        !self.says_none("installed-centreline") && !self.says_none("cam-duration-inlet-050")
    }

    /// Whether the role that this input belongs to is said to be empty.
    pub(super) fn says_none(&self, means: &str) -> bool {
        let has = |spec: &crate::record::FieldSpec| spec.means.as_deref() == Some(means);
        let setting = self.kinds.settings.iter().find(|spec| has(spec)).and_then(|spec| spec.role.as_deref());
        self.kinds.roles.iter().any(|role| {
            let owns = setting == Some(role.name.as_str())
                || role
                    .kinds
                    .iter()
                    .filter_map(|kind| self.kinds.part(kind))
                    .any(|kind| kind.figures.iter().any(has));
            owns && self.effective.roles.get(&role.name).is_some_and(|held| held.answer == Answer::Nothing)
        })
    }
}

/// Inputs being gathered for a figure.
#[derive(Debug, Clone)]
pub(super) struct Gathering<'g, 'a> {
    pub(super) ground: &'g Ground<'a>,
    pub(super) inputs: Vec<Input>,
    pub(super) missing: Vec<Missing>,
    pub(super) notes: Vec<String>,
    cannot: Option<String>,
}

impl<'g, 'a> Gathering<'g, 'a> {
    pub(super) fn new(ground: &'g Ground<'a>) -> Self {
        Self { ground, inputs: Vec::new(), missing: Vec::new(), notes: Vec::new(), cannot: None }
    }

    /// The mean of an input; none is remembered as missing.
    pub(super) fn one(&mut self, means: &str) -> Option<Budgeted> {
        let input = self.input(means)?;
        match input.mean() {
            Ok(value) => Some(value),
            Err(error) => self.cannot(error),
        }
    }

    /// The means of several inputs; each that is none is remembered as missing.
    pub(super) fn all(&mut self, means: &[&str]) -> Option<Vec<Budgeted>> {
        let found: Vec<Option<Budgeted>> = means.iter().map(|means| self.one(means)).collect();
        found.into_iter().collect()
    }

    /// An input cylinder by cylinder; none is remembered as missing.
    pub(super) fn each(&mut self, means: &str, cylinders: Option<usize>) -> Option<Vec<Budgeted>> {
        let input = self.input(means)?;
        match input.each_cylinder(cylinders?) {
            Ok(values) => Some(values),
            Err(why) => {
                let Input { means, path, title, .. } = input;
                self.missing.push(Missing { means, path, title, why });
                None
            }
        }
    }

    pub(super) fn cylinders(&mut self) -> Option<usize> {
        match self.ground.cylinders() {
            Ok(count) => Some(count),
            Err(missing) => {
                self.lack(missing);
                None
            }
        }
    }

    pub(super) fn lack(&mut self, missing: Missing) {
        if !self.missing.contains(&missing) {
            self.missing.push(missing);
        }
    }

    pub(super) fn input(&mut self, means: &str) -> Option<Input> {
        match self.ground.input(means) {
            Ok(input) => {
                self.rests_on(&input);
                Some(input)
            }
            Err(missing) => {
                self.lack(missing);
                None
            }
        }
    }

    /// A speed that is said, or what is missing of it.
    pub(super) fn said(&mut self, speed: &piston::Speed) -> Option<(f64, String)> {
        match speed {
            Ok(said) => Some(said.clone()),
            Err(missing) => {
                self.lack(missing.clone());
                None
            }
        }
    }

    /// A word that the records say; none is remembered as missing.
    pub(super) fn word(&mut self, means: &str) -> Option<String> {
        match self.ground.word(means) {
            Ok((word, _)) => Some(word),
            Err(missing) => {
                self.lack(missing);
                None
            }
        }
    }

    /// Names an input that a value rests on.
    pub(super) fn rests_on(&mut self, input: &Input) {
        if !self.inputs.iter().any(|known| known.identity == input.identity) {
            self.inputs.push(input.clone());
        }
    }

    pub(super) fn cannot<T>(&mut self, why: impl ToString) -> Option<T> {
        self.cannot = Some(why.to_string());
        None
    }

    /// The figure of a value that was worked out, or what bars it.
    pub(super) fn finish(&self, label: Label, value: Option<Result<Budgeted, EngineError>>) -> Outcome {
        let barred = |cannot: Option<String>| Barred {
            label: label.clone(),
            missing: self.missing.clone(),
            cannot: cannot.or_else(|| self.cannot.clone()),
        };
        match value {
            Some(Ok(value)) => Ok(Derived {
                label,
                value,
                inputs: self.inputs.clone(),
                notes: self.notes.clone(),
                beyond: Vec::new(),
            }),
            Some(Err(error)) => Err(barred(Some(error.to_string()))),
            None => Err(barred(None)),
        }
    }
}
