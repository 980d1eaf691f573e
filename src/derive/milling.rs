//! What a flat cut from a head's deck does to its chambers and its intake face: a calculation, never a measurement.

use crate::derive::Ground;
use crate::derive::Input;
use crate::engine::EngineError;
use crate::engine::milling::flat_cut_volume_m3;
use crate::engine::milling::intake_shift;
use crate::quantity::Quantity;
use crate::quantity::QuantityKind;
use crate::quantity::Reading;
use crate::record::Part;
use crate::record::PartKind;
use crate::statistics::StatisticsError;
use crate::statistics::budget::Budgeted;

/// Coverage factor of the intervals offered (JCGM 100:2008, 6.3.3: k = 2 for about 95 %).
const COVERAGE: f64 = 2.0;

/// Chamber volumes after a cut.
#[derive(Debug, Clone, PartialEq)]
pub struct MilledChamber {
    /// The figure as a manifest writes it, with its interval: `43.6 43.7 43.5 43.6 ±0.3 cc k=2`.
    pub figure: String,
    /// What it was worked out from.
    pub from: String,
}

/// Where the intake's openings stand after a cut.
#[derive(Debug, Clone, PartialEq)]
pub struct MilledIntake {
    /// How far the ports come down along the face, with its interval.
    pub shift: String,
    /// How far the intake's openings then stand above the head's, where it was known before the cut.
    pub offset: Option<String>,
    /// Metal to take from the intake face so that the manifold fits again, where the engine is a V.
    pub face_cut: Option<String>,
    /// What it was worked out from.
    pub from: String,
}

/// What a flat cut would need beside itself and does not stand in the newest state: figures by name, first those of the
/// chamber volume, then that of the shift of the intake face.
pub fn milling_lacks<'k>(ground: &Ground<'_>, part: &Part, kind: &'k PartKind) -> [Vec<&'k str>; 2] {
    let letter = part.newest().map(|state| state.letter.clone()).unwrap_or_default();
    [&["chamber-volume", "chamber-area"][..], &["intake-face-angle"]].map(|means| {
        let lacking = means.iter().filter(|means| ground.figure_of(part, kind, &letter, means).is_none());
        let specs =
            lacking.filter_map(|means| kind.figures.iter().find(|spec| spec.means.as_deref() == Some(means)));
        specs.map(|spec| spec.name.as_str()).collect()
    })
}

/// The chamber volumes of a head in the state before, less the cut times the chamber's area at the deck.
///
/// None where volume or area does not stand in that state, or where the cut would take more than the chamber holds.
pub fn milled_chamber(
    ground: &Ground<'_>,
    part: &Part,
    kind: &PartKind,
    cut: &Reading,
) -> Option<MilledChamber> {
    let letter = &part.newest()?.letter;
    let find = |means: &str| -> Option<Input> { ground.figure_of(part, kind, letter, means) };
    let (volume, area) = (find("chamber-volume")?, find("chamber-area")?);
    let depth = of_cut(cut).ok()?;
    let area_value = area.mean().ok()?;
    let volumes = volume.each_cylinder(volume.values.len()).ok()?;
    let after: Result<Vec<Budgeted>, EngineError> = volumes
        .iter()
        .map(|volume| {
            Budgeted::combine(&[volume, &area_value, &depth], |x| {
                Ok(x[0] - flat_cut_volume_m3(x[1], x[2].max(0.0))?)
            })
        })
        .collect();
    let after = after.ok()?;
    if after.iter().any(|volume| volume.value() <= 0.0) {
        return None;
    }
    let wide = after.iter().map(Budgeted::standard_uncertainty).fold(0.0, f64::max) * COVERAGE;
    let values: Option<Vec<String>> =
        after.iter().map(|value| shown(value.value(), QuantityKind::Volume, "cc", 2)).collect();
    Some(MilledChamber {
        figure: format!("{} ±{} cc k=2", values?.join(" "), shown(wide, QuantityKind::Volume, "cc", 2)?),
        from: format!(
            "{}/{letter} {} less the {} cut times {} of chamber",
            part.tag,
            volume.text,
            with_unit(cut),
            area.text
        ),
    })
}

/// How far a head's ports move against the intake when its deck is cut, and where the intake's openings then stand if
/// they stood `before` above the head's.
///
/// None where the angle of the intake face does not stand in the state before.
pub fn milled_intake(
    ground: &Ground<'_>,
    part: &Part,
    kind: &PartKind,
    cut: &Reading,
    before: Option<&Reading>,
) -> Option<MilledIntake> {
    let letter = &part.newest()?.letter;
    let face_input = ground.figure_of(part, kind, letter, "intake-face-angle")?;
    let face = face_input.mean().ok()?;
    let depth = of_cut(cut).ok()?;
    let bank_input = ground.input_if_any("bank-angle");
    let bank = match &bank_input {
        Some(input) => input.mean().ok()?,
        None => Budgeted::exact(0.0).ok()?,
    };
    let of = |what: fn(&crate::engine::milling::IntakeShift) -> f64| {
        Budgeted::combine(&[&depth, &bank, &face], |x| -> Result<f64, EngineError> {
            Ok(what(&intake_shift(x[0].max(0.0), x[1].to_degrees().max(0.0), x[2].to_degrees())?))
        })
        .ok()
    };
    let written = |value: &Budgeted| {
        let (middle, wide) = (value.value(), value.standard_uncertainty() * COVERAGE);
        Some(format!(
            "{} ±{} mm k=2",
            shown(middle, QuantityKind::Length, "mm", 2)?,
            shown(wide, QuantityKind::Length, "mm", 2)?
        ))
    };
    let lowered = of(|shift| shift.port_offset_m)?;
    let offset = match before {
        Some(before) => {
            let u = before.standard_uncertainty().si;
            let stood = Budgeted::from_source(before.mean().si(), "port offset before", u).ok()?;
            Some(written(&stood.plus_scaled(&lowered, 1.0).ok()?)?)
        }
        None => None,
    };
    let shift = written(&lowered)?;
    let face_cut = match bank_input.as_ref().filter(|_| bank.value() > 0.0) {
        Some(_) => Some(written(&of(|shift| shift.face_cut_m)?)?),
        None => None,
    };
    let banks = bank_input.map(|input| format!(", banks {} apart", input.text)).unwrap_or_default();
    let stood = before.map(|before| format!("{} before; ", before.text())).unwrap_or_default();
    let from = format!("{stood}{} cut, intake face at {}{banks}", with_unit(cut), face_input.text);
    Some(MilledIntake { shift, offset, face_cut, from })
}

fn of_cut(cut: &Reading) -> Result<Budgeted, StatisticsError> {
    Budgeted::from_source(cut.mean().si(), "cut", cut.standard_uncertainty().si)
}

/// A reading as written, with its unit where that was left to the field.
fn with_unit(reading: &Reading) -> String {
    let text = reading.text();
    if text.chars().any(char::is_alphabetic) { text.to_owned() } else { format!("{text} {}", reading.unit()) }
}

/// A number in a unit, to so many decimals; a width must not come out as nothing.
fn shown(si: f64, kind: QuantityKind, unit: &str, decimals: usize) -> Option<String> {
    let value = Quantity::new(kind, si).ok()?.in_spelled(unit).ok()?;
    let step = libm::pow(10.0, -f64::from(u32::try_from(decimals).ok()?));
    let value = if value > 0.0 && value < step { step } else { value };
    Some(format!("{value:.decimals$}"))
}
