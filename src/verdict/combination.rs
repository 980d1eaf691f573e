//! Two things varied together: what was run, what each is worth beside the other, and what the untested would be.
//!
//! Pulls are compared within blocks (a session with everything else as it was), and blocks are joined where they share
//! a combination. That takes it that whatever else differs between blocks adds the same to every combination.

use std::collections::BTreeMap;
use std::collections::BTreeSet;

use crate::statistics::Interval;
use crate::statistics::StatisticsError;
use crate::statistics::band::Cover;
use crate::statistics::band::factor;
use crate::statistics::least_squares::Fit;
use crate::statistics::two_sample::Estimate;
use crate::verdict::Evidence;
use crate::verdict::LEVEL;
use crate::verdict::Scatter;
use crate::verdict::VerdictError;
use crate::verdict::cells::Table;

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
    /// How far each shared source of the instruments moves the figure by one standard uncertainty.
    pub sources: BTreeMap<String, f64>,
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
    /// The mean of its pulls with its interval; none where it was never run.
    pub figure: Option<(Estimate, Interval)>,
    /// Difference from the reference combination with its interval; none where nothing joins the two, for the
    /// reference itself, and where it was never run.
    pub difference: Option<(Estimate, Interval)>,
    /// For one never run: what rows and columns alone would give, were there no interaction.
    pub prediction: Option<(Estimate, Interval)>,
}

/// How two rows (or columns) differ.
#[derive(Debug, Clone, PartialEq)]
pub struct Effect {
    /// From this.
    pub from: String,
    /// To this.
    pub to: String,
    /// Beside this column; none for a main effect, over all columns as they were run.
    pub beside: Option<String>,
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
    /// The reference combination that others are compared with: the one run most.
    pub reference: (String, String),
    /// Every combination, run or not.
    pub cells: Vec<Cell>,
    /// What rows, then columns, bring over all that they were run beside.
    pub main_effects: Vec<Effect>,
    /// What a row brings beside each column where that can be told.
    pub by_column: Vec<Effect>,
    /// Interactions that can be told, none of them following from the others.
    pub interactions: Vec<Interaction>,
    /// How many interactions the runs tell in all; those beyond the ones listed only by a longer way round.
    pub interaction_freedom: usize,
    /// The components of scatter.
    pub scatter: Scatter,
}

impl Combinations {
    /// Fits the table. `rows` and `columns` give the order of the names, and those of combinations that were never run.
    ///
    /// # Errors
    /// No readings, a reading whose row or column is not named, or no evidence of noise.
    pub fn of(
        readings: &[CellReading],
        rows: &[String],
        columns: &[String],
        book: &Evidence,
    ) -> Result<Self, VerdictError> {
        if readings.is_empty() {
            return Err(VerdictError::EmptySide { side: "table's" });
        }
        let own: Vec<_> = readings
            .iter()
            .map(|reading| {
                let configuration = format!("{}\u{0}{}\u{0}{}", reading.block, reading.row, reading.column);
                (configuration, reading.fit_up.clone(), reading.session.clone(), reading.at, reading.value)
            })
            .collect();
        let scatter = Scatter::of(&Evidence::of_book(&own)?.without_stands(), &book.without_stands())
            .ok_or(VerdictError::NoNoise { pulls: readings.len() })?;
        let table = Table::of(readings, rows, columns, scatter)?;
        let reference = table.reference();
        let mut cells = Vec::new();
        for row in rows {
            for column in columns {
                cells.push(cell(&table, (row, column), reference)?);
            }
        }
        Ok(Self {
            reference: (reference.0.to_owned(), reference.1.to_owned()),
            cells,
            main_effects: main_effects(&table, rows, columns, reference)?,
            by_column: by_column(&table, rows, columns, reference)?,
            interactions: interactions(&table, rows, columns, reference)?,
            interaction_freedom: table.interaction_freedom(),
            scatter,
        })
    }
}

/// Whether what one thing is worth depends on the other.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Dependence {
    /// Which row is best differs between columns, and the interaction of this number bears it out.
    BestDepends(usize),
    /// How much a row brings differs between columns, by the interaction of this number.
    AmountDepends(usize),
    /// No interaction is told apart from none.
    NotShown,
    /// No interaction can be told.
    CannotBeTold,
}

impl Combinations {
    /// Whether which row is best, or how much it brings, depends on the column.
    ///
    /// The largest interaction against its error must differ from none at a level shared among all of them (Bonferroni).
    ///
    /// # Errors
    /// No quantile for its degrees of freedom.
    pub fn dependence(&self) -> Result<Dependence, VerdictError> {
        let share = |one: &Interaction| (one.difference.0.value / one.difference.0.standard_error).abs();
        let largest = self.interactions.iter().enumerate().max_by(|a, b| share(a.1).total_cmp(&share(b.1)));
        let Some((at, one)) = largest else { return Ok(Dependence::CannotBeTold) };
        let estimate = &one.difference.0;
        let freedom = estimate.degrees_of_freedom.min(1e6);
        let limit = factor(Cover::Bonferroni, self.interactions.len(), freedom, LEVEL)?;
        if share(one) <= limit {
            return Ok(Dependence::NotShown);
        }
        let best = |column: &str| {
            let known = self.by_column.iter().filter(|effect| effect.beside.as_deref() == Some(column));
            let best = known.max_by(|a, b| a.difference.0.value.total_cmp(&b.difference.0.value))?;
            Some(if best.difference.0.value > 0.0 { best.to.as_str() } else { self.reference.0.as_str() })
        };
        let (a, b) = (best(&one.columns.0), best(&one.columns.1));
        Ok(if a.is_some() && b.is_some() && a != b {
            Dependence::BestDepends(at)
        } else {
            Dependence::AmountDepends(at)
        })
    }

    /// How many fours of combinations a cell would complete, were it run.
    pub fn squares_completed(&self, cell: &Cell) -> usize {
        let run = |row: &str, column: &str| {
            self.cells.iter().any(|other| other.row == row && other.column == column && other.pulls > 0)
        };
        let beside = self.cells.iter().filter(|other| other.row != cell.row && other.column != cell.column);
        beside
            .filter(|other| other.pulls > 0 && run(&cell.row, &other.column) && run(&other.row, &cell.column))
            .count()
    }
}

fn cell(table: &Table<'_>, name: (&str, &str), reference: (&str, &str)) -> Result<Cell, VerdictError> {
    let own = table.readings_of(name);
    let fit_ups: BTreeSet<&str> = own.iter().map(|reading| reading.fit_up.as_str()).collect();
    let run = !own.is_empty();
    let difference =
        if run && name != reference { table.contrast(&[(name, 1.0), (reference, -1.0)])? } else { None };
    Ok(Cell {
        row: name.0.to_owned(),
        column: name.1.to_owned(),
        pulls: own.len(),
        fit_ups: fit_ups.len(),
        figure: if run { Some(table.level(name)?) } else { None },
        difference,
        prediction: if run { None } else { table.prediction(name, reference)? },
    })
}

fn main_effects(
    table: &Table<'_>,
    rows: &[String],
    columns: &[String],
    reference: (&str, &str),
) -> Result<Vec<Effect>, VerdictError> {
    let mut found = Vec::new();
    let of_rows = rows.iter().filter(|row| *row != reference.0).map(|to| (reference.0, to, true));
    let of_columns =
        columns.iter().filter(|column| *column != reference.1).map(|to| (reference.1, to, false));
    for (from, to, is_row) in of_rows.chain(of_columns) {
        if let Some(difference) = table.main_effect(from, to, is_row)? {
            found.push(Effect { from: from.to_owned(), to: to.clone(), beside: None, difference });
        }
    }
    Ok(found)
}

fn by_column(
    table: &Table<'_>,
    rows: &[String],
    columns: &[String],
    reference: (&str, &str),
) -> Result<Vec<Effect>, VerdictError> {
    let mut found = Vec::new();
    for to in rows.iter().filter(|row| *row != reference.0) {
        for beside in columns {
            let contrast = [((to.as_str(), beside.as_str()), 1.0), ((reference.0, beside.as_str()), -1.0)];
            if let Some(difference) = table.contrast(&contrast)? {
                found.push(Effect {
                    from: reference.0.to_owned(),
                    to: to.clone(),
                    beside: Some(beside.clone()),
                    difference,
                });
            }
        }
    }
    Ok(found)
}

/// Every four combinations of two rows and two columns that were all run, those with the reference first, and of them
/// only those that do not follow from the ones before.
fn interactions(
    table: &Table<'_>,
    rows: &[String],
    columns: &[String],
    reference: (&str, &str),
) -> Result<Vec<Interaction>, VerdictError> {
    let mut squares: Vec<[&str; 4]> = Vec::new();
    for (from, to) in pairs(rows, reference.0) {
        for (beside, than) in pairs(columns, reference.1) {
            squares.push([from, to, beside, than]);
        }
    }
    let beside_reference = |[from, _, beside, _]: &[&str; 4]| {
        usize::from(*from != reference.0) + usize::from(*beside != reference.1)
    };
    squares.sort_by_key(beside_reference);
    let (mut found, mut known): (Vec<Interaction>, Vec<Vec<f64>>) = (Vec::new(), Vec::new());
    for [from, to, beside, than] in squares {
        let contrast = [((to, than), 1.0), ((from, than), -1.0), ((to, beside), -1.0), ((from, beside), 1.0)];
        let Some(line) = table.line(&contrast) else { continue };
        if !known.is_empty() && follows(&known, &line)? {
            continue;
        }
        if let Some(difference) = table.contrast(&contrast)? {
            known.push(line);
            found.push(Interaction {
                rows: (from.to_owned(), to.to_owned()),
                columns: (beside.to_owned(), than.to_owned()),
                difference,
            });
        }
    }
    Ok(found)
}

/// Every two names, each once, the reference's as the first of its pairs.
fn pairs<'n>(names: &'n [String], reference: &'n str) -> Vec<(&'n str, &'n str)> {
    let mut ordered: Vec<&str> = names.iter().map(String::as_str).collect();
    ordered.sort_by_key(|name| *name != reference);
    let mut found = Vec::new();
    for (at, from) in ordered.iter().enumerate() {
        found.extend(ordered.iter().skip(at + 1).map(|to| (*from, *to)));
    }
    found
}

/// Whether a combination is a sum of others: whether a design of them tells it.
fn follows(others: &[Vec<f64>], line: &[f64]) -> Result<bool, StatisticsError> {
    Fit::of(others, &vec![0.0; others.len()])?.is_estimable(line)
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
            sources: BTreeMap::new(),
        }
    }

    fn combined(readings: &[CellReading]) -> Combinations {
        let names = |of: fn(&CellReading) -> &String| -> Vec<String> {
            readings.iter().map(|reading| of(reading).clone()).collect::<BTreeSet<_>>().into_iter().collect()
        };
        let (rows, columns) = (names(|reading| &reading.row), names(|reading| &reading.column));
        Combinations::of(readings, &rows, &columns, &Evidence::default()).unwrap()
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
        let table = combined(&table());
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
        let table = combined(&table());
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
        let table = combined(&readings);
        assert!(table.cells.iter().filter(|cell| cell.row == "c66").all(|cell| cell.difference.is_none()));
        assert!(table.interactions.is_empty() || table.by_column.is_empty());
    }

    #[test]
    fn main_effects_are_those_of_the_additive_model_and_no_interaction_follows_from_another() {
        let table = combined(&table());
        // The additive chamber effect is -3.90 (statsmodels 0.15.0, project reference table).
        let chamber = table.main_effects.iter().find(|effect| effect.to == "c66").unwrap();
        assert!((chamber.difference.0.value + 3.90).abs() < 1e-9);
        assert_eq!((table.interactions.len(), table.interaction_freedom), (1, 1));
        let mut full = super::tests::table();
        full.extend([reading("c66", "k3", "x0", 505.1), reading("c66", "k3", "x1", 504.2)]);
        full.extend([reading("c68", "k2", "y0", 500.0), reading("c68", "k3", "y1", 503.0)]);
        let table = combined(&full);
        // Three rows by three columns with one empty: three of four interactions, none a sum of the others.
        assert_eq!((table.interactions.len(), table.interaction_freedom), (3, 3));
        let columns: Vec<&str> = table.interactions.iter().map(|one| one.columns.1.as_str()).collect();
        assert_eq!(columns, ["k2", "k3", "k3"]);
    }

    #[test]
    fn which_row_is_best_depends_on_the_column_only_where_an_interaction_bears_it_out() {
        // Four combinations with three refits each that scatter by 0.1 about these means.
        let four = |means: [[f64; 2]; 2]| -> Combinations {
            let mut readings = Vec::new();
            for (row, means) in means.iter().enumerate() {
                for (column, mean) in means.iter().enumerate() {
                    for (again, off) in [-0.1, 0.0, 0.1].iter().enumerate() {
                        let unit = format!("{row}{column}{again}");
                        readings.push(reading(["h1", "h2"][row], ["i1", "i2"][column], &unit, mean + off));
                    }
                }
            }
            combined(&readings)
        };
        assert_eq!(four([[200.0, 204.0], [203.0, 199.0]]).dependence().unwrap(), Dependence::BestDepends(0));
        assert_eq!(
            four([[200.0, 204.0], [203.0, 212.0]]).dependence().unwrap(),
            Dependence::AmountDepends(0)
        );
        assert_eq!(four([[200.0, 204.0], [203.0, 207.05]]).dependence().unwrap(), Dependence::NotShown);
        let mut three = table();
        three.retain(|reading| reading.row == "c64" || reading.column == "k1");
        let three = combined(&three);
        assert_eq!(three.dependence().unwrap(), Dependence::CannotBeTold);
        // Each of the two that were never run would complete one four.
        let never: Vec<&Cell> = three.cells.iter().filter(|cell| cell.pulls == 0).collect();
        assert_eq!(never.iter().map(|cell| three.squares_completed(cell)).collect::<Vec<_>>(), [1, 1]);
    }

    #[test]
    fn what_one_instrument_shares_cancels_in_a_difference_and_stays_in_a_figure() {
        let mut readings = table();
        for reading in &mut readings {
            reading.sources = [("load-1".to_owned(), 2.0)].into();
        }
        let shared = combined(&readings);
        let plain = combined(&table());
        for (with, without) in shared.cells.iter().zip(&plain.cells) {
            if let (Some(with), Some(without)) = (&with.difference, &without.difference) {
                assert!((with.0.standard_error - without.0.standard_error).abs() < 1e-9);
            }
            if let Some((figure, _)) = &with.figure {
                assert!(figure.standard_error > 2.0);
            }
        }
    }
}
