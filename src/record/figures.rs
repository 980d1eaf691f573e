//! Every figure of a record, each with the words that name it: `h2/b chamber-volume`, `0412a-01 air-temperature`.

use std::collections::BTreeMap;

use crate::record::Build;
use crate::record::Cell;
use crate::record::Change;
use crate::record::Corrected;
use crate::record::Correction;
use crate::record::Figure;
use crate::record::FlowSheet;
use crate::record::Part;
use crate::record::Pull;
use crate::record::Session;

/// A figure with the words that name it.
pub type NamedFigure<'r> = (String, &'r Figure);

fn named<'r>(
    of: &'r str,
    figures: &'r BTreeMap<String, Figure>,
) -> impl Iterator<Item = NamedFigure<'r>> + 'r {
    figures.iter().map(move |(name, figure)| (format!("{of} {name}"), figure))
}

fn corrected<'r>(of: &'r str, list: &'r [Correction]) -> impl Iterator<Item = NamedFigure<'r>> + 'r {
    list.iter().filter_map(move |correction| match &correction.to {
        Corrected::Figure(figure) => Some((format!("{of} {}", correction.set), figure)),
        Corrected::Role(_) | Corrected::Text(_) => None,
    })
}

impl Part {
    /// Its figures in every state.
    pub fn all_figures(&self) -> Vec<NamedFigure<'_>> {
        let of_state = |figures, letter: &str| {
            let of = format!("{}/{letter}", self.tag);
            let of_figure =
                move |(name, figure): (&String, _)| -> NamedFigure<'_> { (format!("{of} {name}"), figure) };
            BTreeMap::iter(figures).map(of_figure)
        };
        let states = self.states.iter().flat_map(|state| of_state(&state.figures, &state.letter));
        states.chain(corrected(&self.tag, &self.corrected)).collect()
    }
}

impl Build {
    /// Its settings and fits, and what they were corrected to.
    pub fn all_figures(&self) -> Vec<NamedFigure<'_>> {
        let name = &self.name;
        let fits = self.fits.iter().flat_map(|(pair, fits)| {
            fits.iter().map(move |(fit, figure)| (format!("{name} {pair}.{fit}"), figure))
        });
        named(name, &self.settings).chain(fits).chain(corrected(name, &self.corrected)).collect()
    }
}

impl Pull {
    /// Its conditions, what it changed by hand, and what they were corrected to.
    pub fn all_figures(&self) -> Vec<NamedFigure<'_>> {
        let changed = self.changed.iter().filter_map(|(name, change)| match change {
            Change::Figure(figure) => Some((format!("{} {name}", self.id), figure)),
            Change::Role(_) => None,
        });
        named(&self.id, &self.conditions).chain(changed).chain(corrected(&self.id, &self.corrected)).collect()
    }
}

impl FlowSheet {
    /// Its conditions, and what they were corrected to.
    pub fn all_figures(&self) -> Vec<NamedFigure<'_>> {
        let corrected_since = |(name, _): &(&String, &Figure)| self.first_conditions.contains_key(*name);
        let standing = self.conditions.iter().filter(|pair| !corrected_since(pair));
        let standing = standing.map(|(name, figure)| (format!("{} {name}", self.tag), figure));
        let first = named(&self.tag, &self.first_conditions);
        standing.chain(first).chain(corrected(&self.tag, &self.corrected)).collect()
    }
}

impl Cell {
    /// What is known of it.
    pub fn all_figures(&self) -> Vec<NamedFigure<'_>> {
        named(&self.tag, &self.figures).collect()
    }
}

impl Session {
    /// What was read of the sitting itself.
    pub fn all_figures(&self) -> Vec<NamedFigure<'_>> {
        named(&self.tag, &self.figures).collect()
    }
}
