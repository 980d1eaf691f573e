//! What one side's records give to stand on.

use std::collections::BTreeMap;
use std::sync::Arc;

use crate::derive::Input;
use crate::derive::Missing;
use crate::quantity::QuantityKind;
use crate::record::Answer;
use crate::record::Cell;
use crate::record::Course;
use crate::record::Effective;
use crate::record::Instrument;
use crate::record::Kinds;
use crate::record::Moment;
use crate::record::Part;

/// The mean of a channel over the sweep of a pull.
#[derive(Debug, Clone, PartialEq)]
pub struct ChannelMean {
    /// The kind of quantity that the channel holds.
    pub kind: QuantityKind,
    /// The mean, in SI.
    pub mean_si: f64,
    /// The standard deviation of its rows, in SI.
    pub deviation_si: f64,
    /// How many rows.
    pub rows: u64,
    /// The raw file it stands in.
    pub file: String,
    /// The mean as a person writes it, with its unit.
    pub text: String,
    /// Which of several such means it is (`5.000 mm`), each off by itself; empty where there is one.
    pub place: String,
    /// The instrument that the columns record names.
    pub instrument: Option<String>,
    /// Standard uncertainty of an offset that was added to it, in SI; none where nothing was.
    pub offset_si: Option<f64>,
}

/// What is asked of figures beyond what the records say by themselves.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Asked {
    /// The engine speed for figures of a moving piston, in rpm; the end of the sweep unless said.
    pub speed_rpm: Option<f64>,
    /// Crank angles after top dead centre, in degrees, at which the piston is told.
    pub crank_deg: Vec<f64>,
}

/// Means of channels by their words.
pub type Means = BTreeMap<String, ChannelMean>;

/// One side's records, as they really were.
#[derive(Debug, Clone)]
pub struct Ground<'a> {
    /// The pull's id or the build's name.
    pub name: &'a str,
    /// The build's name, where there is one.
    pub build: Option<&'a str>,
    /// Whether it is a pull, which has conditions.
    pub is_pull: bool,
    /// The session's tag.
    pub session: Option<&'a str>,
    /// The cell.
    pub cell: Option<&'a Cell>,
    /// What the schemas say.
    pub kinds: &'a Kinds,
    /// What was on the engine.
    pub effective: &'a Effective,
    /// Every part that a role names, by tag.
    pub parts: &'a BTreeMap<String, Arc<Part>>,
    /// The engine's own part record.
    pub engine: Option<&'a Part>,
    /// The instruments that figures name, by tag.
    pub instruments: &'a BTreeMap<String, Arc<Instrument>>,
    /// The moment that figures are asked for.
    pub moment: Option<&'a Moment>,
    /// Means over the sweep, by the channel's word.
    pub channels: &'a Means,
    /// Means near each speed of the sweep, by speed in rpm and the channel's word.
    pub by_speed: &'a BTreeMap<u32, Means>,
    /// Settings that no longer stand, by name, with the reason.
    pub voided_settings: BTreeMap<String, String>,
    /// Inputs that stand in for the records' own, by what they mean: to ask what one of them moves.
    pub substitutes: BTreeMap<String, Input>,
    /// What is asked of figures.
    pub asked: Asked,
}

impl<'a> Ground<'a> {
    /// The same side near one speed of its sweep: the means of its channels are those there.
    pub fn near(&self, means: &'a Means) -> Self {
        Self { channels: means, ..self.clone() }
    }

    /// What a condition says in words.
    pub(super) fn condition_word(&self, name: &str) -> Option<String> {
        let held = self.effective.conditions.get(name)?;
        let standing = held.figure.standing(Course::Drifting, self.moment)?;
        Some(standing.entry.known.value()?.text().to_owned())
    }

    /// A condition that nobody wrote down.
    pub(super) fn condition_missing(&self, name: &str) -> Missing {
        let title = self.kinds.condition(name).map_or(name, |spec| spec.title.as_str());
        Missing {
            means: name.to_owned(),
            path: format!("conditions.{name}"),
            title: title.to_owned(),
            why: "nobody wrote it down".to_owned(),
        }
    }

    /// What the cell's record says of a field in words.
    pub(super) fn cell_word(&self, name: &str) -> Option<String> {
        let spec = self.kinds.cell.iter().find(|spec| spec.name == name)?;
        let standing = self.cell?.figures.get(name)?.standing(spec.course, self.moment)?;
        Some(standing.entry.known.value()?.text().to_owned())
    }

    /// A field of the cell that nobody filled.
    pub(super) fn cell_missing(&self, name: &str) -> Missing {
        let cell = self.cell.map_or("cell", |cell| cell.tag.as_str());
        Missing {
            means: name.to_owned(),
            path: format!("{cell}.{name}"),
            title: name.replace('-', " "),
            why: "nobody wrote it down for the cell".to_owned(),
        }
    }

    /// Whether a part stands in this role.
    pub(super) fn has(&self, role: &str) -> bool {
        matches!(self.effective.roles.get(role).map(|held| &held.answer), Some(Answer::Part(_)))
    }

    /// The number of cylinders, as the engine's record has it.
    ///
    /// # Errors
    /// The record does not say.
    pub(super) fn cylinders(&self) -> Result<usize, Missing> {
        let said = self.engine.and_then(|engine| engine.cylinders).filter(|count| *count > 0);
        said.and_then(|count| usize::try_from(count).ok()).ok_or_else(|| Missing {
            means: "cylinders".to_owned(),
            path: "cylinders".to_owned(),
            title: "number of cylinders".to_owned(),
            why: match self.engine {
                Some(engine) => format!("the record of the engine {} does not say", engine.tag),
                None => "no engine is named".to_owned(),
            },
        })
    }
}
