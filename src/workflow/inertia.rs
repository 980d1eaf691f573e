//! Sweep inertia of the pulls of a comparison: alike, added back, or named.

use std::f64::consts::PI;

use crate::check::Side;
use crate::finding::Finding;
use crate::finding::Place;
use crate::quantity::QuantityKind;
use crate::quantity::parse_reading;
use crate::record::Course;
use crate::record::Known;
use crate::record::Value;
use crate::workflow::Failure;
use crate::workflow::weigh_pulls::Weighable;

/// Sweep rates within this part of each other count as alike: 2 % of what inertia takes at usual rates (1 to 3 % of the
/// torque) is below a tenth of the pull-to-pull scatter of a good cell (common practice, no source).
const ALIKE: f64 = 0.02;

/// What the records say of the torque that speeds up the rotating parts.
#[derive(Debug, Clone, PartialEq)]
enum Stand {
    /// Held at each speed: nothing is speeded up.
    Steady,
    /// The bench adds it to what it shows.
    Credited,
    /// The bench leaves it out, and the moment of inertia is known: kg·m² with its standard uncertainty.
    LeftOut { cell: String, inertia: f64, uncertainty: f64 },
    /// Nobody says; what is missing, in words.
    Undocumented { cell: Option<String>, missing: String },
}

/// What was done about sweep inertia.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Credit {
    /// In words, for the answer.
    pub(super) says: String,
    /// Whether unlike sweep rates leave nothing that is not accounted for.
    pub(super) settled: bool,
}

impl Credit {
    /// Whether a change of this name is accounted for by it.
    pub(super) fn accounts_for(&self, change: &str) -> bool {
        self.settled && change == "rate"
    }
}

/// How fast a pull was swept, in rpm/s and without sign: by its log, else by its record; none for a pull held at each
/// speed.
pub(super) fn rate(pull: &Weighable) -> Option<f64> {
    if is_held(&pull.side) {
        return None;
    }
    pull.curve.rate_rpm_per_s().map(f64::abs).or_else(|| recorded(&pull.side))
}

/// Adds I·α to the pulls whose bench leaves it out, where rates (or benches) are unlike; pulls that are alike in it stay
/// as they are. `others` are pulls of the book that lend their scatter: they are treated as the pulls themselves are.
///
/// # Errors
/// A moment of inertia that no shaft can have.
pub(super) fn credit(pulls: &mut [Weighable], others: &mut [Weighable]) -> Result<Credit, Failure> {
    let stands: Vec<Stand> = pulls.iter().map(|pull| stand(&pull.side)).collect();
    let rates: Vec<Option<f64>> = pulls.iter().map(rate).collect();
    let spread = rate_words(&rates);
    let nothing_added = |stand: &Stand| matches!(stand, Stand::Steady | Stand::Credited);
    if stands.iter().all(nothing_added) {
        let held = stands.iter().all(|stand| *stand == Stand::Steady);
        let says = if held {
            "every pull was held at each speed: no inertia torque".to_owned()
        } else {
            format!("{spread}; the bench credits inertia torque, says its record, so nothing was added")
        };
        return Ok(Credit { says, settled: true });
    }
    let alike = stands.windows(2).all(|pair| matches!(pair, [a, b] if same_bench(a, b)));
    if alike && rates_alike(&rates) {
        return Ok(Credit {
            says: format!("{spread}: inertia torque is in both sides alike, and none was added"),
            settled: true,
        });
    }
    let mut added = Vec::new();
    let mut missing: Vec<String> = Vec::new();
    for (pull, stand) in pulls.iter_mut().zip(&stands) {
        match stand {
            Stand::LeftOut { .. } => match add(pull, stand)? {
                Some(torque) => added.push(torque),
                None => missing.push(format!("how fast {} was swept", pull.side.name)),
            },
            Stand::Undocumented { missing: what, .. } => missing.push(what.clone()),
            Stand::Steady | Stand::Credited => {}
        }
    }
    for pull in others.iter_mut() {
        let stand = stand(&pull.side);
        add(pull, &stand)?;
    }
    missing.sort_unstable();
    missing.dedup();
    let settled = missing.is_empty();
    if !settled {
        for pull in pulls.iter_mut().chain(others) {
            pull.keep_apart_by_rate(rate(pull));
        }
    }
    let mut says = spread;
    if let (Some(least), Some(most)) =
        (added.iter().copied().min_by(f64::total_cmp), added.iter().copied().max_by(f64::total_cmp))
    {
        says.push_str(&format!(
            "; inertia torque was added back where the bench leaves it out: {least:.2} to {most:.2} N·m"
        ));
    }
    if !settled {
        says.push_str(&format!(
            "; inertia torque is unlike and could not be added back everywhere: nobody knows {}",
            missing.join(", ")
        ));
    }
    Ok(Credit { says, settled })
}

/// Adds it to one pull and says how much that is at its mean rate, in N·m.
fn add(pull: &mut Weighable, stand: &Stand) -> Result<Option<f64>, Failure> {
    let Stand::LeftOut { cell, inertia, uncertainty } = stand else { return Ok(None) };
    let Some(mean) = rate(pull) else { return Ok(None) };
    let given = pull.curve.with_inertia(*inertia, recorded(&pull.side)).map_err(|error| {
        Finding::error("cannot-be-weighed", error.to_string())
            .at(Place::file(format!("cells/{cell}.yaml")).field("inertia"))
    })?;
    let Some(given) = given else { return Ok(None) };
    let way = if pull.curve.falling { -1.0 } else { 1.0 };
    pull.curve = given;
    let per_inertia = way * mean * PI / 30.0;
    pull.add_torque_source(format!("rotating inertia of {cell}"), uncertainty * per_inertia);
    Ok(Some(inertia * per_inertia))
}

fn is_held(side: &Side) -> bool {
    side.effective.run.get("kind").is_some_and(|kind| kind == "step" || kind == "hold")
}

/// The rate that the record names, in rpm/s.
fn recorded(side: &Side) -> Option<f64> {
    let text = side.effective.run.get("rate")?;
    let reading = parse_reading(text, QuantityKind::SweepRate, None).ok()?;
    Some((reading.mean().si() * 30.0 / PI).abs())
}

fn stand(side: &Side) -> Stand {
    if is_held(side) {
        return Stand::Steady;
    }
    let Some(cell) = &side.cell else {
        return Stand::Undocumented { cell: None, missing: format!("the cell of {}", side.name) };
    };
    let figure = |name: &str| {
        let figure = cell.figures.get(name)?;
        figure
            .standing(Course::Fixed, side.moment())
            .map(|standing| &standing.entry.known)
            .and_then(Known::value)
    };
    let undocumented = |missing: String| Stand::Undocumented { cell: Some(cell.tag.clone()), missing };
    match figure("inertia-torque").map(Value::text) {
        Some("credited") => Stand::Credited,
        Some("left-out") => match figure("inertia") {
            Some(Value::Quantity(reading)) => Stand::LeftOut {
                cell: cell.tag.clone(),
                inertia: reading.mean().si(),
                uncertainty: reading.standard_uncertainty().si,
            },
            _ => undocumented(format!("the rotating inertia of the cell {}", cell.tag)),
        },
        _ => undocumented(format!("whether the bench of the cell {} credits inertia torque", cell.tag)),
    }
}

/// Whether two pulls are alike in all but the rate.
fn same_bench(a: &Stand, b: &Stand) -> bool {
    match (a, b) {
        (Stand::Undocumented { cell: Some(a), .. }, Stand::Undocumented { cell: Some(b), .. }) => a == b,
        _ => a == b,
    }
}

fn rates_alike(rates: &[Option<f64>]) -> bool {
    let known: Vec<f64> = rates.iter().copied().flatten().collect();
    let (least, most) =
        (known.iter().copied().fold(f64::INFINITY, f64::min), known.iter().copied().fold(0.0, f64::max));
    known.len() == rates.len() && most - least <= ALIKE * most
}

fn rate_words(rates: &[Option<f64>]) -> String {
    let known: Vec<f64> = rates.iter().copied().flatten().collect();
    let (least, most) =
        (known.iter().copied().fold(f64::INFINITY, f64::min), known.iter().copied().fold(0.0, f64::max));
    if known.is_empty() {
        return "how fast the pulls were swept is not known".to_owned();
    }
    if rates_alike(&known.iter().copied().map(Some).collect::<Vec<_>>()) {
        return format!("swept at {:.0} rpm/s", (least + most) / 2.0);
    }
    format!("swept at {least:.0} to {most:.0} rpm/s")
}
