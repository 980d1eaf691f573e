//! The design of a table of combinations: blocks, the drift of each session, and a term for each combination run.

use std::collections::BTreeMap;
use std::collections::BTreeSet;

use crate::statistics::Interval;
use crate::statistics::two_sample::Estimate;
use crate::verdict::CellReading;
use crate::verdict::LEVEL;
use crate::verdict::Scatter;
use crate::verdict::VerdictError;
use crate::verdict::difference::uncancelled;
use crate::verdict::layout::Solved;
use crate::verdict::layout::levels;

/// A combination by row and column.
type Name<'a> = (&'a str, &'a str);

/// The readings with both designs solved: a term for each combination, and rows and columns alone.
pub(super) struct Table<'a> {
    readings: &'a [CellReading],
    cells: BTreeMap<Name<'a>, usize>,
    rows: BTreeMap<&'a str, usize>,
    columns: BTreeMap<&'a str, usize>,
    before: usize,
    full: Solved,
    additive: Solved,
    scatter: Scatter,
}

impl<'a> Table<'a> {
    /// Lays out the readings.
    ///
    /// # Errors
    /// A reading whose row or column is not named.
    pub(super) fn of(
        readings: &'a [CellReading],
        rows: &'a [String],
        columns: &'a [String],
        scatter: Scatter,
    ) -> Result<Self, VerdictError> {
        let (rows, columns) =
            (levels(rows.iter().map(String::as_str)), levels(columns.iter().map(String::as_str)));
        let blocks = levels(readings.iter().map(|reading| reading.block.as_str()));
        let sessions = levels(readings.iter().map(|reading| reading.session.as_str()));
        let run: BTreeSet<Name<'_>> = readings.iter().map(name).collect();
        let cells: BTreeMap<Name<'_>, usize> =
            run.into_iter().enumerate().map(|(number, cell)| (cell, number)).collect();
        let before = blocks.len() + sessions.len();
        let (mut full, mut additive) = (Vec::new(), Vec::new());
        for reading in readings {
            let at = rows.get(reading.row.as_str()).zip(columns.get(reading.column.as_str()));
            let Some((row, column)) = at else {
                return Err(VerdictError::Mismatch { found: rows.len(), expected: rows.len() + 1 });
            };
            let mut common = vec![0.0; before];
            common[blocks[reading.block.as_str()]] = 1.0;
            common[blocks.len() + sessions[reading.session.as_str()]] = reading.at;
            let mut line = common.clone();
            line.resize(before + cells.len(), 0.0);
            line[before + cells[&name(reading)]] = 1.0;
            full.push(line);
            common.resize(before + rows.len() + columns.len(), 0.0);
            common[before + row] = 1.0;
            common[before + rows.len() + column] = 1.0;
            additive.push(common);
        }
        let (full, additive) = (Solved::of(&full)?, Solved::of(&additive)?);
        Ok(Self { readings, cells, rows, columns, before, full, additive, scatter })
    }

    /// The combination with the most blocks, then pulls: it joins the others.
    pub(super) fn reference(&self) -> Name<'a> {
        let weight = |cell: Name<'_>| {
            let own = self.readings.iter().filter(|reading| name(reading) == cell);
            let blocks: BTreeSet<&str> = own.clone().map(|reading| reading.block.as_str()).collect();
            (blocks.len(), own.count())
        };
        let mut best = ("", "");
        let mut most = (0, 0);
        for &cell in self.cells.keys() {
            if weight(cell) > most {
                most = weight(cell);
                best = cell;
            }
        }
        best
    }

    pub(super) fn readings_of(&self, cell: Name<'_>) -> Vec<&'a CellReading> {
        self.readings.iter().filter(|reading| name(reading) == cell).collect()
    }

    /// How many interactions the runs tell.
    pub(super) fn interaction_freedom(&self) -> usize {
        self.full.rank().saturating_sub(self.additive.rank())
    }

    /// A sum of combinations as a line over the combinations run; none where one was not.
    pub(super) fn line(&self, parts: &[(Name<'_>, f64)]) -> Option<Vec<f64>> {
        let mut line = vec![0.0; self.cells.len()];
        for (cell, factor) in parts {
            line[*self.cells.get(cell)?] += factor;
        }
        Some(line)
    }

    /// A sum of combinations with its interval; none where one was never run or the layout does not determine it.
    pub(super) fn contrast(
        &self,
        parts: &[(Name<'_>, f64)],
    ) -> Result<Option<(Estimate, Interval)>, VerdictError> {
        let Some(line) = self.line(parts) else { return Ok(None) };
        let mut combination = vec![0.0; self.before];
        combination.extend(line);
        let weights = self.full.weights(&combination)?;
        weights.map(|weights| self.estimate(&weights)).transpose()
    }

    /// The mean of a combination's pulls with its interval.
    pub(super) fn level(&self, cell: Name<'_>) -> Result<(Estimate, Interval), VerdictError> {
        let own = f64::from(u32::try_from(self.readings_of(cell).len().max(1)).unwrap_or(u32::MAX));
        let share = |reading| if name(reading) == cell { 1.0 / own } else { 0.0 };
        self.estimate(&self.readings.iter().map(share).collect::<Vec<f64>>())
    }

    /// What a change of row (or column) brings over all that it was run beside, were there no interaction.
    pub(super) fn main_effect(
        &self,
        from: &str,
        to: &str,
        is_row: bool,
    ) -> Result<Option<(Estimate, Interval)>, VerdictError> {
        let (names, start) =
            if is_row { (&self.rows, self.before) } else { (&self.columns, self.before + self.rows.len()) };
        let (Some(from), Some(to)) = (names.get(from), names.get(to)) else { return Ok(None) };
        let mut combination = vec![0.0; self.before + self.rows.len() + self.columns.len()];
        combination[start + to] += 1.0;
        combination[start + from] -= 1.0;
        let weights = self.additive.weights(&combination)?;
        weights.map(|weights| self.estimate(&weights)).transpose()
    }

    /// What rows and columns alone give for a combination that was never run, against the reference.
    pub(super) fn prediction(
        &self,
        cell: Name<'_>,
        reference: Name<'_>,
    ) -> Result<Option<(Estimate, Interval)>, VerdictError> {
        let mut combination = vec![0.0; self.before + self.rows.len() + self.columns.len()];
        for ((row, column), factor) in [(cell, 1.0), (reference, -1.0)] {
            let (Some(row), Some(column)) = (self.rows.get(row), self.columns.get(column)) else {
                return Ok(None);
            };
            combination[self.before + row] += factor;
            combination[self.before + self.rows.len() + column] += factor;
        }
        let weights = self.additive.weights(&combination)?;
        weights.map(|weights| self.estimate(&weights)).transpose()
    }

    /// A weighted sum of the readings with scatter and what instruments leave open.
    fn estimate(&self, weights: &[f64]) -> Result<(Estimate, Interval), VerdictError> {
        let mut by_unit: BTreeMap<&str, f64> = BTreeMap::new();
        for (reading, weight) in self.readings.iter().zip(weights) {
            *by_unit.entry(&reading.fit_up).or_default() += weight;
        }
        let fit_up_share = by_unit.values().map(|weight| weight * weight).sum();
        let pull_share = weights.iter().map(|weight| weight * weight).sum();
        let value = weights.iter().zip(self.readings).map(|(weight, reading)| weight * reading.value).sum();
        let noise = self.scatter.estimate(value, fit_up_share, pull_share)?;
        let sources: Vec<BTreeMap<String, f64>> =
            self.readings.iter().map(|reading| reading.sources.clone()).collect();
        let estimate = noise.with_known(uncancelled(weights, &sources), LEVEL)?;
        Ok((estimate, estimate.interval(LEVEL)?))
    }
}

fn name(reading: &CellReading) -> Name<'_> {
    (&reading.row, &reading.column)
}
