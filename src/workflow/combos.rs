//! Which combinations of two things were run, what each is worth, and what the rest would be.

use std::collections::BTreeMap;
use std::collections::BTreeSet;

use crate::answer::CombosAnswer;
use crate::answer::LeftOut;
use crate::answer::WeighUnit;
use crate::check;
use crate::check::Side;
use crate::check::Wanted;
use crate::curves::Curve;
pub use crate::curves::CurveFigure;
use crate::finding::Finding;
use crate::quantity::QuantityKind;
use crate::record::Kinds;
use crate::record::Outcome;
use crate::store::Book;
use crate::verdict::CellReading;
use crate::verdict::Combinations;
use crate::verdict::Evidence;
use crate::workflow::AsOf;
use crate::workflow::Failure;
use crate::workflow::bands::Levels;
use crate::workflow::compare::unit;
use crate::workflow::derived;
use crate::workflow::doubts_on;
use crate::workflow::gather;
use crate::workflow::inertia;
use crate::workflow::names::Named;
use crate::workflow::read_logs;
use crate::workflow::sought::Sought;
use crate::workflow::sweep::Found;
use crate::workflow::weigh::Figure;
use crate::workflow::weigh::plain;
use crate::workflow::weigh_pulls;
use crate::workflow::weigh_pulls::Grid;
use crate::workflow::weigh_pulls::Weighable;

/// What `combos` is asked.
#[derive(Debug, Clone)]
pub struct CombosRequest {
    /// What makes the rows: a role, or a figure.
    pub rows: String,
    /// What makes the columns.
    pub columns: String,
    /// Width of the bands of the rows, where they are a figure.
    pub row_band: Option<String>,
    /// Width of those of the columns.
    pub column_band: Option<String>,
    /// Pulls, ranges, builds, sessions or queries; the whole book where none is named.
    pub pulls: Vec<String>,
    /// Lowest and highest speed, rpm; all that the pulls share unless said.
    pub window: Option<(u32, u32)>,
    /// The figure.
    pub figure: CurveFigure,
    /// The correction; the book's own unless said.
    pub correct_to: Option<String>,
    /// Distance of the grid, rpm.
    pub step_rpm: u32,
    /// Which version of the book is asked.
    pub as_of: AsOf,
}

/// Lays out the combinations.
///
/// A pull that may not be compared with the others is left out with what bars it, not the whole table.
///
/// # Errors
/// A row or column is not known, no pull is left, or nothing says how pulls scatter.
pub fn combos(book: &Book, request: &CombosRequest) -> Result<CombosAnswer, Failure> {
    let library = request.as_of.library(book)?;
    let kinds = library.kinds();
    let (rows, columns) = (Sought::of(kinds, &request.rows)?, Sought::of(kinds, &request.columns)?);
    if rows.name == columns.name {
        return Err(Failure::usage(
            Finding::error("same-role", "rows and columns name one thing").found(rows.name),
        ));
    }
    let ids: BTreeSet<String> = if request.pulls.is_empty() {
        library.pull_paths()?.keys().cloned().collect()
    } else {
        weigh_pulls::named(book, &library, &request.pulls)?
    };
    let mut out = Out::default();
    let mut sides = Vec::new();
    for id in &ids {
        match gather::side(&library, &Named::Pull(id.clone())) {
            Ok(side) => sides.push(side),
            Err(_) => out.leave(id, "its records do not hold; `mulebook audit` says where"),
        }
    }
    one_place(&mut sides, &mut out);
    let row_levels = Levels::of(&rows, &sides, kinds, request.row_band.as_deref())?;
    let column_levels = Levels::of(&columns, &sides, kinds, request.column_band.as_deref())?;
    let wanted = derived::wanted(&library, request.correct_to.as_deref())?;
    sides.retain(|side| out.counts(side));
    sides.retain(|side| {
        for (sought, levels) in [(&rows, &row_levels), (&columns, &column_levels)] {
            if !levels.of_pull.contains_key(&side.name) {
                out.leave(&side.name, &format!("nobody says its {}", sought.name));
                return false;
            }
        }
        true
    });
    let read = read_logs::with_curves(book, &library, sides.into_iter().map(Ok), request.step_rpm)?;
    let (mut sides, curves): (Vec<Side>, Vec<(String, Found)>) = read
        .into_iter()
        .map(|(side, curve)| {
            let name = side.name.clone();
            (side, (name, curve))
        })
        .unzip();
    let mut curves: BTreeMap<String, Found> = curves.into_iter().collect();
    comparable(&mut sides, kinds, wanted, &mut out);
    let basis = wanted.map(|wanted| wanted.basis);
    let grid = Grid { step_rpm: request.step_rpm, smooth_rpm: None };
    let mut pulls = Vec::new();
    for side in sides {
        let name = side.name.clone();
        let Some(curve) = curves.remove(&name) else { continue };
        match weigh_pulls::weighable_of(&library, side, curve, basis, grid)? {
            Ok(pull) => pulls.push(pull),
            Err(why) => out.leave(&name, &why),
        }
    }
    let speeds = speeds(&mut pulls, request.window, &mut out)?;
    let (mut others, _) = if request.pulls.is_empty() {
        (Vec::new(), 0)
    } else {
        weigh_pulls::others(book, &library, &pulls, basis, grid)?
    };
    let credit = inertia::credit(&mut pulls, &mut others)?;
    let figure = Figure { speeds: &speeds, figure: request.figure };
    let alike = Alike::of(kinds, [&row_levels, &column_levels]);
    let readings = readings(&pulls, &figure, [&row_levels, &column_levels], &alike, &mut out);
    let table = Combinations::of(
        &readings,
        &row_levels.order,
        &column_levels.order,
        &evidence(&readings, &pulls, &others, &figure)?,
    )
    .map_err(plain)?;
    let power = request.figure.is_power();
    let kind = if power { QuantityKind::Power } else { QuantityKind::Torque };
    let (symbol, from_si) = unit(&library, kind, if power { "kW" } else { "N·m" });
    let (first, last) = (speeds.first().copied().unwrap_or(0), speeds.last().copied().unwrap_or(0));
    let left_out = out.lines([&row_levels, &column_levels]);
    let mut answer = CombosAnswer::of(&table, WeighUnit { symbol, from_si }, left_out).map_err(plain)?;
    answer.figure = format!("{} from {first} to {last} rpm", request.figure.title());
    answer.row_role = rows.name;
    answer.column_role = columns.name;
    answer.correction =
        basis.map_or_else(|| "as their files carry it".to_owned(), |basis| basis.name().to_owned());
    answer.notes = row_levels.bands.into_iter().chain(column_levels.bands).chain(alike.says()).collect();
    answer.notes.push(credit.says);
    answer.doubts = doubts_on::lines(pulls.iter().map(|pull| &pull.side), kinds);
    answer.pending = request.as_of.pending_among(book, &library)?;
    answer.commit = library.commit().short();
    Ok(answer)
}

/// The pulls that are left out, with their reasons.
#[derive(Default)]
struct Out {
    reasons: BTreeMap<String, String>,
}

impl Out {
    fn leave(&mut self, pull: &str, why: &str) {
        self.reasons.entry(pull.to_owned()).or_insert_with(|| why.to_owned());
    }

    /// Whether a pull was kept; one that was not is left out.
    fn counts(&mut self, side: &Side) -> bool {
        if let Outcome::SetAside(why) = &side.effective.outcome {
            self.leave(&side.name, &format!("set aside: {why}"));
            return false;
        }
        true
    }

    fn lines(self, [rows, columns]: [&Levels; 2]) -> Vec<LeftOut> {
        let line = |(pull, why): (String, String)| LeftOut {
            row: rows.of_pull.get(&pull).cloned(),
            column: columns.of_pull.get(&pull).cloned(),
            pull,
            why,
        };
        self.reasons.into_iter().map(line).collect()
    }
}

/// Leaves out pulls of another engine or cell than most: scatter of one place says nothing of another.
fn one_place(sides: &mut Vec<Side>, out: &mut Out) {
    let place = |side: &Side| {
        let engine = side.build.as_ref().map(|build| build.engine.clone());
        (engine, side.cell.as_ref().map(|cell| cell.tag.clone()))
    };
    let mut count: BTreeMap<(Option<String>, Option<String>), usize> = BTreeMap::new();
    for side in sides.iter() {
        *count.entry(place(side)).or_default() += 1;
    }
    let Some((most, _)) = count.into_iter().max_by_key(|(_, count)| *count) else { return };
    sides.retain(|side| {
        let (engine, cell) = place(side);
        let same = (&engine, &cell) == (&most.0, &most.1);
        if !same {
            let or_none = |name: Option<String>| name.unwrap_or_else(|| "none".to_owned());
            out.leave(
                &side.name,
                &format!("another engine or cell ({} in {})", or_none(engine), or_none(cell)),
            );
        }
        same
    });
}

/// Leaves out what may not be compared: first pulls with gaps of their own, which bar every pair, then again and again
/// the one that the most others may not be compared with.
fn comparable(sides: &mut Vec<Side>, kinds: &Kinds, wanted: Option<Wanted>, out: &mut Out) {
    sides.retain(|side| {
        let gaps = check::gaps_of(side, kinds);
        if let Some(first) = gaps.first() {
            let more = if gaps.len() > 1 { format!(" and {} more", gaps.len() - 1) } else { String::new() };
            out.leave(&side.name, &format!("not documented: {}{more}", first.item.title.to_lowercase()));
        }
        gaps.is_empty()
    });
    let mut barred: Vec<BTreeMap<usize, String>> = vec![BTreeMap::new(); sides.len()];
    for (i, a) in sides.iter().enumerate() {
        for (j, b) in sides.iter().enumerate().skip(i + 1) {
            if let Err(refusal) = check::documented(a, b, kinds, wanted) {
                let why = refusal.gaps.first().map_or_else(
                    || "its correction is unlike".to_owned(),
                    |gap| format!("not documented: {}", gap.item.title.to_lowercase()),
                );
                barred[i].insert(j, why.clone());
                barred[j].insert(i, why);
            }
        }
    }
    let mut left: BTreeSet<usize> = BTreeSet::new();
    while let Some((worst, why)) = barred
        .iter()
        .enumerate()
        .filter(|(_, others)| !others.is_empty())
        .max_by_key(|(_, others)| others.len())
        .and_then(|(worst, others)| Some((worst, others.values().next()?.clone())))
    {
        out.leave(&sides[worst].name, &why);
        left.insert(worst);
        barred[worst].clear();
        for others in &mut barred {
            others.remove(&worst);
        }
    }
    let mut at = 0;
    sides.retain(|_| {
        at += 1;
        !left.contains(&(at - 1))
    });
}

/// What is not held alike within a block, although it is neither row nor column.
struct Alike {
    made_by: BTreeSet<String>,
    consumables: BTreeSet<String>,
}

impl Alike {
    /// A gasket, say, is a new one whenever the part beside it is changed: it belongs to the change.
    fn of(kinds: &Kinds, levels: [&Levels; 2]) -> Self {
        let made_by: BTreeSet<String> = levels.iter().flat_map(|levels| levels.made_by.clone()).collect();
        let beside = made_by.iter().filter_map(|name| kinds.role(name)).flat_map(|role| &role.neighbours);
        let renewed = |role: &&String| {
            kinds.role(role).is_some_and(|role| {
                role.kinds.iter().filter_map(|kind| kinds.part(kind)).any(|kind| kind.by_instance)
            })
        };
        let consumables = beside.filter(renewed).filter(|role| !made_by.contains(*role)).cloned().collect();
        Self { made_by, consumables }
    }

    /// Everything else on the engine, and how it was set: what two pulls of a block share.
    fn block(&self, pull: &Weighable) -> String {
        let without: Vec<&str> = self.made_by.iter().chain(&self.consumables).map(String::as_str).collect();
        format!("{} {}", pull.session(), pull.configuration(&without))
    }

    fn says(&self) -> Option<String> {
        let names: Vec<&str> = self.consumables.iter().map(String::as_str).collect();
        (!names.is_empty())
            .then(|| format!("renewed with the change and counted as part of it: {}", names.join(", ")))
    }
}

fn readings(
    pulls: &[Weighable],
    figure: &Figure<'_>,
    [rows, columns]: [&Levels; 2],
    alike: &Alike,
    out: &mut Out,
) -> Vec<CellReading> {
    let mut found = Vec::new();
    for pull in pulls {
        let level = |levels: &Levels| levels.of_pull.get(&pull.side.name).cloned();
        let (Some(row), Some(column), Ok(value)) = (level(rows), level(columns), figure.value(pull)) else {
            out.leave(&pull.side.name, &format!("it has no {} inside these speeds", figure.figure.title()));
            continue;
        };
        found.push(CellReading {
            row,
            column,
            block: alike.block(pull),
            session: pull.session(),
            fit_up: pull.fit_up(),
            at: pull.at(),
            value,
            sources: pull.sources(value, figure.arm()),
        });
    }
    let mut sources: Vec<BTreeMap<String, f64>> =
        found.iter().map(|reading| reading.sources.clone()).collect();
    weigh_pulls::shared_only(&mut sources);
    for (reading, sources) in found.iter_mut().zip(sources) {
        reading.sources = sources;
    }
    found
}

/// What the pulls of the table and the others of the book say of scatter; nothing where the table holds the whole book.
fn evidence(
    readings: &[CellReading],
    pulls: &[Weighable],
    others: &[Weighable],
    figure: &Figure<'_>,
) -> Result<Evidence, Failure> {
    if others.is_empty() || readings.is_empty() {
        return Ok(Evidence::default());
    }
    let rows: Vec<_> = pulls
        .iter()
        .chain(others)
        .filter_map(|pull| {
            Some((
                pull.configuration(&[]),
                pull.fit_up(),
                pull.session(),
                pull.at(),
                figure.value(pull).ok()?,
            ))
        })
        .collect();
    Evidence::of_book(&rows).map_err(|error| plain(error.into()))
}

/// The grid points of the window that all pulls share; a pull whose sweep does not reach over a window that was named is
/// left out.
fn speeds(
    pulls: &mut Vec<Weighable>,
    window: Option<(u32, u32)>,
    out: &mut Out,
) -> Result<Vec<u32>, Failure> {
    if let Some((low, high)) = window {
        pulls.retain(|pull| {
            let ends = pull.curve.points.first().zip(pull.curve.points.last());
            let (first, last) = ends.map_or((0, 0), |(first, last)| (first.speed_rpm, last.speed_rpm));
            let over = first <= low && high <= last;
            if !over {
                out.leave(&pull.side.name, &format!("its sweep goes from {first} to {last} rpm only"));
            }
            over
        });
    }
    let curves: Vec<&Curve> = pulls.iter().map(|pull| &pull.curve).collect();
    let (low, high) = window.unwrap_or((0, u32::MAX));
    let found: Vec<u32> = weigh_pulls::shared_speeds(&curves).range(low..=high).copied().collect();
    if found.is_empty() {
        let mut reasons: BTreeMap<&str, Vec<&str>> = BTreeMap::new();
        for (pull, why) in &out.reasons {
            reasons.entry(why).or_default().push(pull);
        }
        let reasons: Vec<String> = reasons
            .into_iter()
            .map(|(why, pulls)| match pulls[..] {
                [one] => format!("{one}: {why}"),
                _ => format!("{} pulls, {} among them: {why}", pulls.len(), pulls.first().unwrap_or(&"")),
            })
            .collect();
        let (message, next) = if pulls.is_empty() {
            (
                "no pull is left that can be compared with others",
                "write it down: `mulebook gaps PULL --fill`, or `mulebook measure` for a figure",
            )
        } else {
            (
                "the pulls that are left share no filled grid point there",
                "name another window, or a wider --step",
            )
        };
        return Err(Failure::usage(
            Finding::error("no-speeds", message)
                .found(if reasons.is_empty() { "nothing left out".to_owned() } else { reasons.join("; ") })
                .next(next),
        ));
    }
    Ok(found)
}
