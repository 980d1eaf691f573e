//! Which combinations were run, with figures and intervals.

use serde::Serialize;

use crate::answer::WeighUnit;
use crate::answer::WithInterval;
use crate::verdict::Combinations;
use crate::verdict::Estimate;
use crate::verdict::Interval;

/// A pull that is not in the table.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct LeftOut {
    /// The pull.
    pub pull: String,
    /// Why.
    pub why: String,
}

/// One combination.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct CellLine {
    /// Row.
    pub row: String,
    /// Column.
    pub column: String,
    /// Pulls; 0 where it was never run.
    pub pulls: usize,
    /// Fit-ups.
    pub fit_ups: usize,
    /// Against the reference combination.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub difference: Option<WithInterval>,
    /// For one never run: what rows and columns alone would give. A prediction, not a result.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub prediction: Option<WithInterval>,
}

/// What a change of row brings beside one column.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct EffectLine {
    /// From.
    pub from: String,
    /// To.
    pub to: String,
    /// Beside.
    pub beside: String,
    /// The difference.
    #[serde(flatten)]
    pub difference: WithInterval,
}

/// How much more a change of row brings beside one column than beside another.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct InteractionLine {
    /// Row from.
    pub from: String,
    /// Row to.
    pub to: String,
    /// Beside this column …
    pub beside: String,
    /// … more than beside this.
    pub than_beside: String,
    /// By so much.
    #[serde(flatten)]
    pub difference: WithInterval,
}

/// The answer of `combos`.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct CombosAnswer {
    /// The role of the rows.
    pub row_role: String,
    /// The role of the columns.
    pub column_role: String,
    /// The figure in words.
    pub figure: String,
    /// Its unit.
    pub unit: String,
    /// What torque and power were brought to.
    pub correction: String,
    /// The combination that the others are compared with.
    pub reference: (String, String),
    /// Every combination.
    pub cells: Vec<CellLine>,
    /// What rows bring beside each column.
    pub effects: Vec<EffectLine>,
    /// Interactions that can be told.
    pub interactions: Vec<InteractionLine>,
    /// Pull-to-pull scatter.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub pull_scatter: Option<f64>,
    /// Refit-to-refit scatter.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub refit_scatter: Option<f64>,
    /// Pulls that complete the picture.
    pub complete: Vec<String>,
    /// Pulls that are not in the table.
    pub left_out: Vec<LeftOut>,
    /// The commit answered from.
    pub commit: String,
}

impl CombosAnswer {
    /// The table in a unit.
    pub fn of(table: &Combinations, unit: WeighUnit) -> Self {
        let scaled = |(estimate, interval): &(Estimate, Interval)| WithInterval {
            value: estimate.value * unit.from_si,
            lower: interval.lower * unit.from_si,
            upper: interval.upper * unit.from_si,
        };
        let never = table.cells.iter().filter(|cell| cell.pulls == 0);
        let mut complete: Vec<String> = never
            .map(|cell| {
                format!(
                    "{} with {}, two pulls between pulls of {} with {}",
                    cell.row, cell.column, table.reference.0, table.reference.1
                )
            })
            .collect();
        let apart = table.cells.iter().filter(|cell| {
            cell.pulls > 0
                && cell.difference.is_none()
                && (&cell.row, &cell.column) != (&table.reference.0, &table.reference.1)
        });
        complete.extend(apart.map(|cell| {
            format!(
                "{} with {} in one session with {} with {}: nothing joins the two yet",
                cell.row, cell.column, table.reference.0, table.reference.1
            )
        }));
        if table.scatter.refit.is_none() {
            complete.push("any of them once more after a refit: nobody refitted".to_owned());
        }
        complete.truncate(3);
        Self {
            row_role: String::new(),
            column_role: String::new(),
            figure: String::new(),
            unit: unit.symbol.to_owned(),
            correction: String::new(),
            reference: table.reference.clone(),
            cells: table
                .cells
                .iter()
                .map(|cell| CellLine {
                    row: cell.row.clone(),
                    column: cell.column.clone(),
                    pulls: cell.pulls,
                    fit_ups: cell.fit_ups,
                    difference: cell.difference.as_ref().map(scaled),
                    prediction: cell.prediction.as_ref().map(scaled),
                })
                .collect(),
            effects: table
                .by_column
                .iter()
                .map(|effect| EffectLine {
                    from: effect.from.clone(),
                    to: effect.to.clone(),
                    beside: effect.beside.clone(),
                    difference: scaled(&effect.difference),
                })
                .collect(),
            interactions: table
                .interactions
                .iter()
                .map(|found| InteractionLine {
                    from: found.rows.0.clone(),
                    to: found.rows.1.clone(),
                    beside: found.columns.1.clone(),
                    than_beside: found.columns.0.clone(),
                    difference: scaled(&found.difference),
                })
                .collect(),
            pull_scatter: table.scatter.pull.map(|pull| pull.standard_deviation * unit.from_si),
            refit_scatter: table.scatter.refit.map(|refit| refit.standard_deviation * unit.from_si),
            complete,
            left_out: Vec::new(),
            commit: String::new(),
        }
    }
}
