//! Displacement, clearance, compression, quench and rod ratio from the records of the parts.

use crate::derive::Ground;
use crate::derive::figure::Gathering;
use crate::derive::figure::Label;
use crate::derive::figure::Outcome;
use crate::derive::figure::of;
use crate::engine::EngineError;
use crate::engine::compression::Clearance;
use crate::engine::compression::TopLand;
use crate::engine::compression::static_ratio;
use crate::engine::cylinder::rod_ratio;
use crate::engine::cylinder::swept_volume_m3;
use crate::quantity::QuantityKind;
use crate::statistics::StatisticsError;
use crate::statistics::budget::Budgeted;

/// Geometry of one side.
pub(super) fn figures(ground: &Ground<'_>) -> Vec<Outcome> {
    let mut all = displacements(ground);
    all.extend(clearances(ground));
    all.extend(ratios(ground));
    all.extend([quench(ground), rods(ground)]);
    all
}

/// The sum of these values.
pub(super) fn sum(values: &[Budgeted]) -> Result<Budgeted, StatisticsError> {
    values.iter().try_fold(Budgeted::exact(0.0)?, |total, value| total.plus_scaled(value, 1.0))
}

/// The mean of these values.
pub(super) fn mean(values: &[Budgeted]) -> Result<Budgeted, StatisticsError> {
    let share = f64::from(u32::try_from(values.len().max(1)).unwrap_or(u32::MAX)).recip();
    Budgeted::exact(0.0)?.plus_scaled(&sum(values)?, share)
}

fn displacements(ground: &Ground<'_>) -> Vec<Outcome> {
    let label = Label::new("displacement", "displacement", QuantityKind::Volume, "cc");
    let each = Label { title: "swept volume".to_owned(), ..label.clone() };
    let mut gathering = Gathering::new(ground);
    let swept = swept(&mut gathering);
    by_cylinder(&gathering, &label, &each, swept, |all| Ok(sum(all)?))
}

/// The displacement of the engine, by whatever gathers it.
pub(super) fn displacement(gathering: &mut Gathering<'_, '_>) -> Option<Result<Budgeted, EngineError>> {
    swept(gathering).map(|swept| swept.and_then(|swept| Ok(sum(&swept)?)))
}

/// Swept volume cylinder by cylinder.
fn swept(gathering: &mut Gathering<'_, '_>) -> Option<Result<Vec<Budgeted>, EngineError>> {
    let cylinders = gathering.cylinders();
    let (bore, stroke) = (gathering.each("bore", cylinders), gathering.one("stroke"));
    let (bore, stroke) = (bore?, stroke?);
    Some(
        bore.iter()
            .map(|bore| Budgeted::combine(&[bore, &stroke], |x| swept_volume_m3(x[0], x[1])))
            .collect(),
    )
}

/// Clearance volume cylinder by cylinder.
pub(super) fn clearance(gathering: &mut Gathering<'_, '_>) -> Option<Result<Vec<Budgeted>, EngineError>> {
    let cylinders = gathering.cylinders();
    let bore = gathering.each("bore", cylinders);
    let chamber = gathering.each("chamber-volume", cylinders);
    let gasket = gasket(gathering);
    let deck = deck(gathering, cylinders);
    let crown = gathering.each("piston-volume", cylinders);
    let land = top_land(gathering);
    let (bore, chamber, gasket, deck, crown) = (bore?, chamber?, gasket?, deck?, crown?);
    let exact = Budgeted::exact(0.0);
    let zero = match &exact {
        Ok(zero) => zero,
        Err(error) => return Some(Err(error.clone().into())),
    };
    let (diameter, height) = land.as_ref().map_or((zero, zero), |(diameter, height)| (diameter, height));
    let one = |index: usize| -> Result<Budgeted, EngineError> {
        let bore = &bore[index];
        let (gasket_bore, thickness) = match &gasket {
            Some((gasket_bore, thickness)) => (gasket_bore, thickness),
            None => (bore, zero),
        };
        let inputs =
            [bore, &chamber[index], gasket_bore, thickness, &deck[index], &crown[index], diameter, height];
        Budgeted::combine(&inputs, |x| {
            let cylinder = Clearance {
                bore_m: x[0],
                chamber_m3: x[1],
                gasket_bore_m: x[2],
                gasket_thickness_m: x[3],
                deck_clearance_m: x[4],
                crown_m3: x[5],
                top_land: land.as_ref().map(|_| TopLand { diameter_m: x[6], height_m: x[7] }),
            };
            Ok(cylinder.parts()?.total_m3)
        })
    };
    Some((0..bore.len()).map(one).collect())
}

/// Bore and thickness of the gasket; the inner none where there is no gasket and somebody says so.
fn gasket(gathering: &mut Gathering<'_, '_>) -> Option<Option<(Budgeted, Budgeted)>> {
    if gathering.ground.says_none("gasket-thickness") {
        return Some(None);
    }
    let (bore, thickness) = (gathering.one("gasket-bore"), gathering.one("gasket-thickness"));
    Some(Some((bore?, thickness?)))
}

/// Deck clearance cylinder by cylinder: as read, else deck height less half the stroke, rod and compression height.
fn deck(gathering: &mut Gathering<'_, '_>, cylinders: Option<usize>) -> Option<Vec<Budgeted>> {
    let parts = ["deck-height", "stroke", "rod-length", "compression-height"];
    let ground = gathering.ground;
    if ground.input("deck-clearance").is_err() && parts.iter().all(|means| ground.input(means).is_ok()) {
        let height = gathering.each("deck-height", cylinders)?;
        let (stroke, rod, piston) =
            (gathering.one("stroke")?, gathering.one("rod-length")?, gathering.one("compression-height")?);
        let worked_out: Result<Vec<Budgeted>, StatisticsError> = height
            .iter()
            .map(|height| {
                height.plus_scaled(&stroke, -0.5)?.plus_scaled(&rod, -1.0)?.plus_scaled(&piston, -1.0)
            })
            .collect();
        gathering.notes.push("deck clearance worked out from deck height, stroke, rod and piston".to_owned());
        return worked_out.map_or_else(|error| gathering.cannot(error), Some);
    }
    gathering.each("deck-clearance", cylinders)
}

fn top_land(gathering: &mut Gathering<'_, '_>) -> Option<(Budgeted, Budgeted)> {
    let ground = gathering.ground;
    if ground.input("top-land-diameter").is_ok() && ground.input("top-land-height").is_ok() {
        return Some((gathering.one("top-land-diameter")?, gathering.one("top-land-height")?));
    }
    gathering
        .notes
        .push("the crevice round the top land is not counted: its size is not written down".to_owned());
    None
}

fn clearances(ground: &Ground<'_>) -> Vec<Outcome> {
    let label = Label::new("clearance-volume", "clearance volume, all cylinders", QuantityKind::Volume, "cc");
    let each = Label { title: "clearance volume".to_owned(), ..label.clone() };
    let mut gathering = Gathering::new(ground);
    let found = clearance(&mut gathering);
    by_cylinder(&gathering, &label, &each, found, |all| Ok(sum(all)?))
}

pub(super) fn ratios(ground: &Ground<'_>) -> Vec<Outcome> {
    let label = Label::new("compression-ratio", "compression ratio", QuantityKind::Ratio, "");
    let mut gathering = Gathering::new(ground);
    let clearance = clearance(&mut gathering);
    let swept = swept(&mut gathering);
    let both = match (clearance, swept) {
        (Some(Ok(clearance)), Some(Ok(swept))) => Some(Ok((clearance, swept))),
        (Some(Err(error)), _) | (_, Some(Err(error))) => Some(Err(error)),
        _ => None,
    };
    let ratio = |swept: &Budgeted, clearance: &Budgeted| {
        Budgeted::combine(&[swept, clearance], |x| static_ratio(x[0], x[1]))
    };
    let engine =
        both.clone().map(|both| both.and_then(|(clearance, swept)| ratio(&sum(&swept)?, &sum(&clearance)?)));
    let cylinders = both.map(|both| {
        both.and_then(|(clearance, swept)| {
            swept.iter().zip(&clearance).map(|(swept, clearance)| ratio(swept, clearance)).collect()
        })
    });
    by_cylinder(&gathering, &label, &label, cylinders, |_| match engine {
        Some(value) => value,
        None => Err(EngineError::OutOfDomain {
            what: "number of cylinders",
            found: 0.0,
            unit: "",
            expected: "at least one",
        }),
    })
}

/// The engine's figure and then each cylinder's; one line where they are barred.
fn by_cylinder(
    gathering: &Gathering<'_, '_>,
    label: &Label,
    each: &Label,
    found: Option<Result<Vec<Budgeted>, EngineError>>,
    whole: impl FnOnce(&[Budgeted]) -> Result<Budgeted, EngineError>,
) -> Vec<Outcome> {
    match found {
        Some(Ok(values)) => {
            let mut all = vec![gathering.finish(label.clone(), Some(whole(&values)))];
            all.extend(
                (1..)
                    .zip(values)
                    .map(|(index, value)| gathering.finish(each.of_cylinder(index), Some(Ok(value)))),
            );
            all
        }
        Some(Err(error)) => vec![gathering.finish(label.clone(), Some(Err(error)))],
        None => vec![gathering.finish(label.clone(), None)],
    }
}

fn quench(ground: &Ground<'_>) -> Outcome {
    let label = Label::new("quench", "quench, mean", QuantityKind::Length, "mm");
    let mut gathering = Gathering::new(ground);
    let cylinders = gathering.cylinders();
    let (gasket, deck) = (gasket(&mut gathering), deck(&mut gathering, cylinders));
    let value = gasket.zip(deck).map(|(gasket, deck)| {
        let deck = mean(&deck)?;
        Ok(match gasket {
            Some((_, thickness)) => deck.plus_scaled(&thickness, 1.0)?,
            None => deck,
        })
    });
    gathering.inputs.retain(|input| input.means != "gasket-bore");
    gathering.missing.retain(|missing| missing.means != "gasket-bore");
    gathering.finish(label, value)
}

fn rods(ground: &Ground<'_>) -> Outcome {
    let label = Label::new("rod-ratio", "rod ratio", QuantityKind::Ratio, "");
    of(ground, label, &["rod-length", "stroke"], |x| rod_ratio(x[0], x[1]))
}
