//! Which combinations of two things were run, what each is worth, and what the rest would be.

use std::collections::BTreeMap;
use std::collections::BTreeSet;

use crate::answer::CombosAnswer;
use crate::answer::LeftOut;
use crate::answer::WeighUnit;
use crate::check;
pub use crate::curves::CurveFigure;
use crate::finding::Finding;
use crate::quantity::QuantityKind;
use crate::record::Answer;
use crate::record::Outcome;
use crate::store::Book;
use crate::verdict::CellReading;
use crate::verdict::Combinations;
use crate::verdict::Evidence;
use crate::workflow::Failure;
use crate::workflow::Library;
use crate::workflow::compare::unit;
use crate::workflow::derived;
use crate::workflow::weigh_pulls;
use crate::workflow::weigh_pulls::Grid;
use crate::workflow::weigh_pulls::Weighable;

/// What `combos` is asked.
#[derive(Debug, Clone)]
pub struct CombosRequest {
    /// The role whose parts are the rows.
    pub rows: String,
    /// The role whose parts are the columns.
    pub columns: String,
    /// Pulls, ranges, builds or sessions; the whole book where none is named.
    pub pulls: Vec<String>,
    /// Lowest and highest speed, rpm; all that the pulls share unless said.
    pub window: Option<(u32, u32)>,
    /// Mean torque or mean power.
    pub figure: CurveFigure,
    /// The correction; the book's own unless said.
    pub correct_to: Option<String>,
    /// Distance of the grid, rpm.
    pub step_rpm: u32,
}

/// Lays out the combinations.
///
/// A pull that may not be compared with the others is left out with what bars it, not the whole table.
///
/// # Errors
/// A role is not known, no pull is left, or nothing says how pulls scatter.
pub fn combos(book: &Book, request: &CombosRequest) -> Result<CombosAnswer, Failure> {
    let library = Library::at_head(book)?;
    for role in [&request.rows, &request.columns] {
        if library.kinds().role(role).is_none() {
            return Err(Failure::usage(
                Finding::error("unknown-role", "no role is called so").found(format!("`{role}`")),
            ));
        }
    }
    if request.rows == request.columns {
        return Err(Failure::usage(
            Finding::error("same-role", "rows and columns name one role").found(request.rows.clone()),
        ));
    }
    let ids: BTreeSet<String> = if request.pulls.is_empty() {
        library.pull_paths()?.keys().cloned().collect()
    } else {
        weigh_pulls::named(&library, &request.pulls)?
    };
    let wanted = derived::wanted(&library, request.correct_to.as_deref())?;
    let basis = wanted.map(|wanted| wanted.basis);
    let (sides, set_aside) = weigh_pulls::gathered(book, &library, &ids)?;
    let mut left_out: Vec<LeftOut> = set_aside.into_iter().map(|(pull, why)| LeftOut { pull, why }).collect();
    // A pull with gaps of its own is barred from every pair; one that most others may not be compared with is left out
    // before them.
    let mut sides = sides;
    sides.retain(|side| {
        let gaps = check::gaps_of(side, library.kinds());
        if let Some(first) = gaps.first() {
            let more = if gaps.len() > 1 { format!(" and {} more", gaps.len() - 1) } else { String::new() };
            left_out.push(LeftOut {
                pull: side.name.clone(),
                why: format!("not documented: {}{more}", first.item.title.to_lowercase()),
            });
        }
        gaps.is_empty()
    });
    loop {
        let mut barred: BTreeMap<usize, (usize, String)> = BTreeMap::new();
        for (i, a) in sides.iter().enumerate() {
            for (j, b) in sides.iter().enumerate().skip(i + 1) {
                if let Err(refusal) = check::documented(a, b, library.kinds(), wanted) {
                    let why = refusal.gaps.first().map_or_else(
                        || "its correction is unlike".to_owned(),
                        |gap| format!("not documented: {}", gap.item.title.to_lowercase()),
                    );
                    for at in [i, j] {
                        barred.entry(at).or_insert_with(|| (0, why.clone())).0 += 1;
                    }
                }
            }
        }
        let Some((&worst, (_, why))) = barred.iter().max_by_key(|(_, (count, _))| *count) else { break };
        let side = sides.remove(worst);
        left_out.push(LeftOut { pull: side.name, why: why.clone() });
    }
    let mut pulls = Vec::new();
    for side in sides {
        let name = side.name.clone();
        if side.effective.outcome != Outcome::Kept {
            continue;
        }
        match weigh_pulls::weighable(
            book,
            &library,
            side,
            basis,
            Grid { step_rpm: request.step_rpm, smooth_rpm: None },
        )? {
            Ok(pull) => pulls.push(pull),
            Err(why) => left_out.push(LeftOut { pull: name, why }),
        }
    }
    let speeds = speeds(&pulls, request.window)?;
    let mut readings = Vec::new();
    for pull in &pulls {
        let level = |role: &str| {
            pull.side.effective.roles.get(role).map(|held| match &held.answer {
                Answer::Part(part) => part.to_string(),
                _ => "none".to_owned(),
            })
        };
        let (Some(row), Some(column)) = (level(&request.rows), level(&request.columns)) else {
            left_out.push(LeftOut {
                pull: pull.side.name.clone(),
                why: "it says nothing of the row or the column".to_owned(),
            });
            continue;
        };
        let Some(value) = pull.curve.mean(&speeds, request.figure.is_power()) else { continue };
        readings.push(CellReading {
            row,
            column,
            block: format!("{} {}", pull.session(), block(pull, request)),
            session: pull.session(),
            fit_up: pull.fit_up(),
            at: pull.at(),
            value: value * pull.factor,
        });
    }
    let kind = if request.figure.is_power() { QuantityKind::Power } else { QuantityKind::Torque };
    let (symbol, from_si) = unit(&library, kind, if request.figure.is_power() { "kW" } else { "N·m" });
    let table = Combinations::of(&readings, &Evidence::default())
        .map_err(|error| Failure::from(Finding::error("cannot-be-weighed", error.to_string())))?;
    let (first, last) = (speeds.first().copied().unwrap_or(0), speeds.last().copied().unwrap_or(0));
    let mut answer = CombosAnswer::of(&table, WeighUnit { symbol, from_si });
    answer.figure = format!("{} from {first} to {last} rpm", request.figure.title());
    answer.row_role.clone_from(&request.rows);
    answer.column_role.clone_from(&request.columns);
    answer.correction =
        basis.map_or_else(|| "as their files carry it".to_owned(), |basis| basis.name().to_owned());
    answer.left_out = left_out;
    answer.commit = library.commit().short();
    Ok(answer)
}

/// Everything but row and column, settings left out that belong to neither by name: what two pulls of a block share.
fn block(pull: &Weighable, request: &CombosRequest) -> String {
    pull.configuration(&[&request.rows, &request.columns])
}

fn speeds(pulls: &[Weighable], window: Option<(u32, u32)>) -> Result<Vec<u32>, Failure> {
    let mut shared: Option<BTreeSet<u32>> = None;
    for pull in pulls {
        let own: BTreeSet<u32> = pull.curve.points.iter().map(|point| point.speed_rpm).collect();
        shared = Some(shared.map_or(own.clone(), |known| known.intersection(&own).copied().collect()));
    }
    let (low, high) = window.unwrap_or((0, u32::MAX));
    let found: Vec<u32> =
        shared.unwrap_or_default().into_iter().filter(|speed| (low..=high).contains(speed)).collect();
    if found.is_empty() {
        return Err(Failure::usage(
            Finding::error(
                "no-speeds",
                "no pull is left that shares a filled grid point with the others there",
            )
            .next("name another window, or pulls that are documented"),
        ));
    }
    Ok(found)
}
