//! What one side's records give to stand on.

use std::collections::BTreeMap;

use crate::derive::Input;
use crate::derive::Missing;
use crate::quantity::QuantityKind;
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
    /// The instrument that the columns record names.
    pub instrument: Option<String>,
}

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
    /// What the schemas say.
    pub kinds: &'a Kinds,
    /// What was on the engine.
    pub effective: &'a Effective,
    /// Every part that a role names, by tag.
    pub parts: &'a BTreeMap<String, Part>,
    /// The engine's own part record.
    pub engine: Option<&'a Part>,
    /// The instruments that figures name, by tag.
    pub instruments: &'a BTreeMap<String, Instrument>,
    /// The moment that figures are asked for.
    pub moment: Option<&'a Moment>,
    /// Means over the sweep, by the channel's word.
    pub channels: &'a BTreeMap<String, ChannelMean>,
    /// Settings that no longer stand, by name, with the reason.
    pub voided_settings: BTreeMap<String, String>,
    /// Inputs that stand in for the records' own, by what they mean: to ask what one of them moves.
    pub substitutes: BTreeMap<String, Input>,
}

impl Ground<'_> {
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
