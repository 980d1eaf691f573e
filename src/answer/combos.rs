//! Which combinations were run, with figures and intervals.

use serde::Serialize;

use crate::answer::WeighUnit;
use crate::answer::WithInterval;
use crate::verdict::Cell;
use crate::verdict::Combinations;
use crate::verdict::Dependence;
use crate::verdict::Effect;
use crate::verdict::VerdictError;

/// Most pulls or groups of pulls that are proposed.
const MOST_PROPOSED: usize = 3;

/// A pull that is not in the table.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct LeftOut {
    /// The pull.
    pub pull: String,
    /// Its row, where it says so.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub row: Option<String>,
    /// Its column.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub column: Option<String>,
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
    /// Pulls that count; 0 where it was never run or all were left out.
    pub pulls: usize,
    /// Fit-ups.
    pub fit_ups: usize,
    /// The mean of its pulls.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub figure: Option<WithInterval>,
    /// Against the reference combination.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub difference: Option<WithInterval>,
    /// For one without a pull that counts: what rows and columns alone would give. A prediction, not a result.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub prediction: Option<WithInterval>,
    /// Why pulls of it were left out.
    pub left_out: Vec<String>,
}

/// What a change of row or column brings.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct EffectLine {
    /// From.
    pub from: String,
    /// To.
    pub to: String,
    /// Beside; none for a main effect, over all that it was run beside.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub beside: Option<String>,
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
    /// What makes the rows.
    pub row_role: String,
    /// What makes the columns.
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
    /// What rows, then columns, bring over all that they were run beside.
    pub main_effects: Vec<EffectLine>,
    /// What rows bring beside each column.
    pub effects: Vec<EffectLine>,
    /// Interactions that can be told.
    pub interactions: Vec<InteractionLine>,
    /// How many interactions the runs tell, those that only a longer way round tells among them.
    pub interactions_in_all: usize,
    /// `best`: which row is best depends on the column; `amount`: only how much it brings; `not shown`; `cannot be told`.
    pub depends: &'static str,
    /// By how much, where it does: the largest interaction.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub by: Option<InteractionLine>,
    /// Pull-to-pull scatter.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub pull_scatter: Option<f64>,
    /// Refit-to-refit scatter.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub refit_scatter: Option<f64>,
    /// What would complete the picture.
    pub complete: Vec<String>,
    /// Pulls that are not in the table.
    pub left_out: Vec<LeftOut>,
    /// How rows and columns were made, and what was held to be alike.
    pub notes: Vec<String>,
    /// What proved doubtful on pulls of the table, a line each.
    pub doubts: Vec<String>,
    /// Files with pending edits.
    pub pending: Vec<String>,
    /// The commit answered from.
    pub commit: String,
}

impl CombosAnswer {
    /// The table in a unit, with the pulls that are not in it.
    ///
    /// # Errors
    /// No quantile for an interaction's degrees of freedom.
    pub fn of(table: &Combinations, unit: WeighUnit, left_out: Vec<LeftOut>) -> Result<Self, VerdictError> {
        let factor = unit.from_si;
        let effect = |effect: &Effect| EffectLine {
            from: effect.from.clone(),
            to: effect.to.clone(),
            beside: effect.beside.clone(),
            difference: WithInterval::of(&effect.difference, factor),
        };
        let interactions: Vec<InteractionLine> = table
            .interactions
            .iter()
            .map(|found| InteractionLine {
                from: found.rows.0.clone(),
                to: found.rows.1.clone(),
                beside: found.columns.1.clone(),
                than_beside: found.columns.0.clone(),
                difference: WithInterval::of(&found.difference, factor),
            })
            .collect();
        let (depends, by) = match table.dependence()? {
            Dependence::BestDepends(at) => ("best", interactions.get(at).cloned()),
            Dependence::AmountDepends(at) => ("amount", interactions.get(at).cloned()),
            Dependence::NotShown => ("not shown", None),
            Dependence::CannotBeTold => ("cannot be told", None),
        };
        let cells = table.cells.iter().map(|cell| CellLine {
            row: cell.row.clone(),
            column: cell.column.clone(),
            pulls: cell.pulls,
            fit_ups: cell.fit_ups,
            figure: cell.figure.map(|figure| WithInterval::of(&figure, factor)),
            difference: cell.difference.map(|difference| WithInterval::of(&difference, factor)),
            prediction: cell.prediction.map(|prediction| WithInterval::of(&prediction, factor)),
            left_out: reasons(cell, &left_out),
        });
        Ok(Self {
            row_role: String::new(),
            column_role: String::new(),
            figure: String::new(),
            unit: unit.symbol.to_owned(),
            correction: String::new(),
            reference: table.reference.clone(),
            cells: cells.collect(),
            main_effects: table.main_effects.iter().map(effect).collect(),
            effects: table.by_column.iter().map(effect).collect(),
            interactions,
            interactions_in_all: table.interaction_freedom,
            depends,
            by,
            pull_scatter: table.scatter.pull.map(|pull| pull.standard_deviation * factor),
            refit_scatter: table.scatter.refit.map(|refit| refit.standard_deviation * factor),
            complete: complete(table, &left_out),
            left_out,
            notes: Vec::new(),
            doubts: Vec::new(),
            pending: Vec::new(),
            commit: String::new(),
        })
    }
}

fn is_of(cell: &Cell, line: &LeftOut) -> bool {
    line.row.as_ref() == Some(&cell.row) && line.column.as_ref() == Some(&cell.column)
}

/// Each reason for which pulls of a cell were left out, once.
fn reasons(cell: &Cell, left_out: &[LeftOut]) -> Vec<String> {
    let mut reasons: Vec<String> =
        left_out.iter().filter(|line| is_of(cell, line)).map(|line| line.why.clone()).collect();
    reasons.sort_unstable();
    reasons.dedup();
    reasons
}

/// What would complete the picture, the cheapest and most telling first: documents for what was run already, pulls of
/// combinations that were never run by how many interactions each would tell, pulls that join what stands apart, a refit.
fn complete(table: &Combinations, left_out: &[LeftOut]) -> Vec<String> {
    let reference = format!("{} with {}", table.reference.0, table.reference.1);
    let mut found = Vec::new();
    let mut never = Vec::new();
    for cell in table.cells.iter().filter(|cell| cell.pulls == 0) {
        let own = left_out.iter().find(|line| is_of(cell, line) && line.why.starts_with("not documented"));
        match own {
            Some(line) => found.push(format!(
                "{} with {} was run: document {} (`mulebook gaps {} --fill`)",
                cell.row, cell.column, line.pull, line.pull
            )),
            None => never.push(cell),
        }
    }
    never.sort_by_key(|cell| std::cmp::Reverse(table.squares_completed(cell)));
    found.extend(never.iter().map(|cell| {
        format!(
            "{} with {}: two pulls in one session, between a pull of {reference} before and one after",
            cell.row, cell.column
        )
    }));
    let apart = table.cells.iter().filter(|cell| {
        cell.pulls > 0
            && cell.difference.is_none()
            && (&cell.row, &cell.column) != (&table.reference.0, &table.reference.1)
    });
    found.extend(apart.map(|cell| {
        format!(
            "{} with {} again, one pull between two of {reference} in one session: nothing joins the two yet",
            cell.row, cell.column
        )
    }));
    if table.scatter.refit.is_none() {
        found.push(format!("{reference} twice more, taken apart and put together between: nobody refitted"));
    }
    found.truncate(MOST_PROPOSED);
    found
}
