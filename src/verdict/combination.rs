//! Two things varied together: what was run, what each is worth beside the other, and what the untested would be.
//!
//! Pulls are compared within blocks (a session with everything else as it was), and blocks are joined where they share
//! a combination. That takes it that whatever else differs between blocks adds the same to every combination.

use std::collections::BTreeMap;
use std::collections::BTreeSet;

use crate::statistics::Interval;
use crate::statistics::least_squares::Fit;
use crate::statistics::two_sample::Estimate;
use crate::verdict::Evidence;
use crate::verdict::LEVEL;
use crate::verdict::Scatter;
use crate::verdict::VerdictError;
use crate::verdict::layout::levels;

/// One pull of the table.
#[derive(Debug, Clone, PartialEq)]
pub struct CellReading {
    /// Its row.
    pub row: String,
    /// Its column.
    pub column: String,
    /// Session and all that is neither row nor column.
    pub block: String,
    /// Its session.
    pub session: String,
    /// Build and fit-up.
    pub fit_up: String,
    /// Its place in the session.
    pub at: f64,
    /// Its figure.
    pub value: f64,
}

/// One combination.
#[derive(Debug, Clone, PartialEq)]
pub struct Cell {
    /// Row.
    pub row: String,
    /// Column.
    pub column: String,
    /// Pulls.
    pub pulls: usize,
    /// Fit-ups.
    pub fit_ups: usize,
    /// Difference from the reference combination with its interval; none where nothing joins the two, for the
    /// reference itself, and where it was never run.
    pub difference: Option<(Estimate, Interval)>,
    /// For one never run: what rows and columns alone would give, were there no interaction.
    pub prediction: Option<(Estimate, Interval)>,
}

/// How two rows (or columns) differ.
#[derive(Debug, Clone, PartialEq)]
pub struct MainEffect {
    /// From this.
    pub from: String,
    /// To this.
    pub to: String,
    /// Beside this column (or row).
    pub beside: String,
    /// The difference with its interval.
    pub difference: (Estimate, Interval),
}

/// An interaction with both differences that it is the difference of.
#[derive(Debug, Clone, PartialEq)]
pub struct Interaction {
    /// Rows from and to.
    pub rows: (String, String),
    /// Columns from and to.
    pub columns: (String, String),
    /// How much more the change of row brings beside the second column than beside the first.
    pub difference: (Estimate, Interval),
}

/// The table.
#[derive(Debug, Clone, PartialEq)]
pub struct Combinations {
    /// Rows by name.
    pub rows: Vec<String>,
    /// Columns by name.
    pub columns: Vec<String>,
    /// The reference combination that others are compared with: the one run most.
    pub reference: (String, String),
    /// Every combination, run or not.
    pub cells: Vec<Cell>,
    /// What a row brings beside each column where that can be told.
    pub by_column: Vec<MainEffect>,
    /// Interactions that can be told.
    pub interactions: Vec<Interaction>,
    /// The components of scatter.
    pub scatter: Scatter,
}

struct Table<'a> {
    readings: &'a [CellReading],
    cells: BTreeMap<(&'a str, &'a str), usize>,
    design: Vec<Vec<f64>>,
    before: usize,
    scatter: Scatter,
}

impl Combinations {
    /// Fits the table.
    ///
    /// # Errors
    /// No readings, or no evidence of noise.
    pub fn of(readings: &[CellReading], book: &Evidence) -> Result<Self, VerdictError> {
        let own: Vec<_> = readings
            .iter()
            .map(|reading| {
                let configuration = format!("{}\u{0}{}\u{0}{}", reading.block, reading.row, reading.column);
                (configuration, reading.fit_up.clone(), reading.session.clone(), reading.at, reading.value)
            })
            .collect();
        if readings.is_empty() {
            return Err(VerdictError::EmptySide { side: "table's" });
        }
        let scatter = Scatter::of(&Evidence::of_book(&own)?, book)
            .ok_or(VerdictError::NoNoise { pulls: readings.len() })?;
        let table = Table::of(readings, scatter);
        let rows: BTreeSet<&str> = readings.iter().map(|reading| reading.row.as_str()).collect();
        let columns: BTreeSet<&str> = readings.iter().map(|reading| reading.column.as_str()).collect();
        let reference = table.reference();
        let mut cells = Vec::new();
        for &row in &rows {
            for &column in &columns {
                cells.push(table.cell(row, column, reference)?);
            }
        }
        let row_list: Vec<&str> = rows.iter().copied().collect();
        let column_list: Vec<&str> = columns.iter().copied().collect();
        let mut by_column = Vec::new();
        let mut interactions = Vec::new();
        for &to in row_list.iter().filter(|row| **row != reference.0) {
            let from = reference.0;
            for &beside in &column_list {
                if let Some(difference) = table.contrast(&[((to, beside), 1.0), ((from, beside), -1.0)])? {
                    by_column.push(MainEffect {
                        from: from.to_owned(),
                        to: to.to_owned(),
                        beside: beside.to_owned(),
                        difference,
                    });
                }
            }
            for &column in column_list.iter().filter(|column| **column != reference.1) {
                let contrast = [
                    ((to, column), 1.0),
                    ((from, column), -1.0),
                    ((to, reference.1), -1.0),
                    ((from, reference.1), 1.0),
                ];
                if let Some(difference) = table.contrast(&contrast)? {
                    interactions.push(Interaction {
                        rows: (from.to_owned(), to.to_owned()),
                        columns: (reference.1.to_owned(), column.to_owned()),
                        difference,
                    });
                }
            }
        }
        Ok(Self {
            rows: row_list.iter().map(|row| (*row).to_owned()).collect(),
            columns: column_list.iter().map(|column| (*column).to_owned()).collect(),
            reference: (reference.0.to_owned(), reference.1.to_owned()),
            cells,
            by_column,
            interactions,
            scatter,
        })
    }
}

impl<'a> Table<'a> {
    fn of(readings: &'a [CellReading], scatter: Scatter) -> Self {
        let blocks = levels(readings.iter().map(|reading| reading.block.as_str()));
        let sessions = levels(readings.iter().map(|reading| reading.session.as_str()));
        let run: BTreeSet<(&str, &str)> =
            readings.iter().map(|reading| (reading.row.as_str(), reading.column.as_str())).collect();
        let cells: BTreeMap<(&str, &str), usize> =
            run.into_iter().enumerate().map(|(number, cell)| (cell, number)).collect();
        let before = blocks.len() + sessions.len();
        let design = readings
            .iter()
            .map(|reading| {
                let mut row = vec![0.0; before + cells.len()];
                row[blocks[reading.block.as_str()]] = 1.0;
                row[blocks.len() + sessions[reading.session.as_str()]] = reading.at;
                row[before + cells[&(reading.row.as_str(), reading.column.as_str())]] = 1.0;
                row
            })
            .collect();
        Self { readings, cells, design, before, scatter }
    }

    /// The combination with the most blocks, then pulls: it joins the others.
    fn reference(&self) -> (&'a str, &'a str) {
        let weight = |cell: &(&str, &str)| {
            let own = self
                .readings
                .iter()
                .filter(|reading| (reading.row.as_str(), reading.column.as_str()) == *cell);
            let blocks: BTreeSet<&str> = own.clone().map(|reading| reading.block.as_str()).collect();
            (blocks.len(), own.count())
        };
        let mut best = ("", "");
        let mut most = (0, 0);
        for cell in self.cells.keys() {
            if weight(cell) > most {
                most = weight(cell);
                best = *cell;
            }
        }
        best
    }

    fn cell(
        &self,
        row: &'a str,
        column: &'a str,
        reference: (&'a str, &'a str),
    ) -> Result<Cell, VerdictError> {
        let own: Vec<&CellReading> =
            self.readings.iter().filter(|reading| reading.row == row && reading.column == column).collect();
        let fit_ups: BTreeSet<&str> = own.iter().map(|reading| reading.fit_up.as_str()).collect();
        let run = !own.is_empty();
        let difference = if run && (row, column) != reference {
            self.contrast(&[((row, column), 1.0), (reference, -1.0)])?
        } else {
            None
        };
        let prediction = if run { None } else { self.prediction(row, column, reference)? };
        Ok(Cell {
            row: row.to_owned(),
            column: column.to_owned(),
            pulls: own.len(),
            fit_ups: fit_ups.len(),
            difference,
            prediction,
        })
    }

    /// A sum of combinations with its interval; none where one was never run or the layout does not determine it.
    fn contrast(&self, parts: &[((&str, &str), f64)]) -> Result<Option<(Estimate, Interval)>, VerdictError> {
        let mut combination = vec![0.0; self.before + self.cells.len()];
        for (cell, factor) in parts {
            let Some(number) = self.cells.get(cell) else { return Ok(None) };
            combination[self.before + number] += factor;
        }
        self.estimate(&self.design, &combination)
    }

    /// What rows and columns alone give for a combination that was never run, against the reference.
    fn prediction(
        &self,
        row: &str,
        column: &str,
        reference: (&str, &str),
    ) -> Result<Option<(Estimate, Interval)>, VerdictError> {
        let rows = levels(self.readings.iter().map(|reading| reading.row.as_str()));
        let columns = levels(self.readings.iter().map(|reading| reading.column.as_str()));
        let width = self.before + rows.len() + columns.len();
        let design: Vec<Vec<f64>> = self
            .readings
            .iter()
            .zip(&self.design)
            .map(|(reading, whole)| {
                let mut line = vec![0.0; width];
                line[..self.before].copy_from_slice(&whole[..self.before]);
                line[self.before + rows[reading.row.as_str()]] = 1.0;
                line[self.before + rows.len() + columns[reading.column.as_str()]] = 1.0;
                line
            })
            .collect();
        let mut combination = vec![0.0; width];
        for ((row, column), factor) in [((row, column), 1.0), (reference, -1.0)] {
            combination[self.before + rows[row]] += factor;
            combination[self.before + rows.len() + columns[column]] += factor;
        }
        self.estimate(&design, &combination)
    }

    fn estimate(
        &self,
        design: &[Vec<f64>],
        combination: &[f64],
    ) -> Result<Option<(Estimate, Interval)>, VerdictError> {
        let mut weights = Vec::with_capacity(self.readings.len());
        for number in 0..self.readings.len() {
            let mut only = vec![0.0; self.readings.len()];
            only[number] = 1.0;
            let fit = Fit::of(design, &only)?;
            if !fit.is_estimable(combination)? {
                return Ok(None);
            }
            let known = fit.coefficients.iter().zip(combination);
            weights.push(known.map(|(known, factor)| known.unwrap_or(0.0) * factor).sum::<f64>());
        }
        let mut by_unit: BTreeMap<&str, f64> = BTreeMap::new();
        for (reading, weight) in self.readings.iter().zip(&weights) {
            *by_unit.entry(&reading.fit_up).or_default() += weight;
        }
        let fit_up_share = by_unit.values().map(|weight| weight * weight).sum();
        let pull_share = weights.iter().map(|weight| weight * weight).sum();
        let value = weights.iter().zip(self.readings).map(|(weight, reading)| weight * reading.value).sum();
        let estimate = self.scatter.estimate(value, fit_up_share, pull_share)?;
        Ok(Some((estimate, estimate.interval(LEVEL)?)))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn reading(row: &str, column: &str, unit: &str, value: f64) -> CellReading {
        CellReading {
            row: row.to_owned(),
            column: column.to_owned(),
            block: "b".to_owned(),
            session: "s".to_owned(),
            fit_up: unit.to_owned(),
            at: 0.0,
            value,
        }
    }

    /// Chamber by cam of the project's reference table, one fit-up for each pull, the combination c66 by k3 not run.
    fn table() -> Vec<CellReading> {
        [
            ("c64", "k1", [500.1, 500.9]),
            ("c64", "k2", [508.2, 507.5]),
            ("c64", "k3", [511.0, 511.9]),
            ("c66", "k1", [496.8, 497.4]),
            ("c66", "k2", [503.0, 503.9]),
        ]
        .iter()
        .enumerate()
        .flat_map(|(n, (row, column, values))| {
            values.iter().enumerate().map(move |(m, value)| reading(row, column, &format!("{n}{m}"), *value))
        })
        .collect()
    }

    #[test]
    fn an_empty_combination_is_predicted_and_said_to_be() {
        let table = Combinations::of(&table(), &Evidence::default()).unwrap();
        let empty = table.cells.iter().find(|cell| cell.pulls == 0).unwrap();
        assert_eq!((empty.row.as_str(), empty.column.as_str()), ("c66", "k3"));
        // Additive prediction 507.55 (statsmodels 0.15.0) against the mean of c64 by k1, 500.5, as the additive
        // model itself fits it: 500.55 less half of what the two chambers' cams leave over.
        let (prediction, _) = empty.prediction.unwrap();
        let cell = |row: &str, column: &str| {
            table.cells.iter().find(|cell| cell.row == row && cell.column == column).unwrap()
        };
        assert!(cell("c66", "k1").prediction.is_none());
        let k3 = cell("c64", "k3").difference.unwrap().0.value;
        // The additive chamber effect is -3.90 (statsmodels 0.15.0).
        let reference = &table.reference;
        assert_eq!((reference.0.as_str(), reference.1.as_str()), ("c64", "k1"));
        assert!((k3 - (511.45 - 500.5)).abs() < 1e-9);
        let fitted_reference = 500.5 + (500.5 - 497.1 - 3.9) / -2.0;
        assert!((prediction.value - (507.55 - fitted_reference)).abs() < 1e-9, "{prediction:?}");
    }

    #[test]
    fn an_interaction_is_told_only_where_all_four_were_run() {
        let table = Combinations::of(&table(), &Evidence::default()).unwrap();
        assert_eq!(table.interactions.len(), 1);
        let only = &table.interactions[0];
        assert_eq!(only.columns, ("k1".to_owned(), "k2".to_owned()));
        let expected = (503.45 - 507.85) - (497.1 - 500.5);
        assert!((only.difference.0.value - expected).abs() < 1e-9);
    }

    #[test]
    fn combinations_of_blocks_that_share_nothing_are_not_compared() {
        let mut readings = table();
        for reading in &mut readings {
            if reading.row == "c66" {
                reading.block = "other".to_owned();
            }
        }
        let table = Combinations::of(&readings, &Evidence::default()).unwrap();
        assert!(table.cells.iter().filter(|cell| cell.row == "c66").all(|cell| cell.difference.is_none()));
        assert!(table.interactions.is_empty() || table.by_column.is_empty());
    }
}
