//! The curve of one pull for its sheet, brought to the book's correction where its records allow it.

use crate::answer::Peak;
use crate::answer::PullCurve;
use crate::answer::PullCurveRow;
use crate::check::Side;
use crate::curves::Curve;
use crate::derive;
use crate::quantity::QuantityKind;
use crate::workflow::Failure;
use crate::workflow::Library;
use crate::workflow::compare::unit;
use crate::workflow::derived;
use crate::workflow::sweep;

/// Distance of the rows, rpm.
pub(super) const STEP_RPM: u32 = 100;

/// A pull's curve, or in words why it has none.
pub(super) type Found = Result<PullCurve, String>;

/// The curve of a side's pull, from its sweep; none for a build.
///
/// # Errors
/// A correction that nobody knows.
pub(super) fn curve_of(
    library: &Library,
    side: &Side,
    swept: sweep::Found,
) -> Result<Option<Found>, Failure> {
    if side.pull.is_none() {
        return Ok(None);
    }
    let curve = match swept {
        Ok(curve) => curve,
        Err(why) => return Ok(Some(Err(why))),
    };
    let wanted = derived::wanted(library, None)?;
    let ground = side.ground(library.kinds());
    let brought = wanted.and_then(|wanted| Some((wanted, derive::bring(&ground, wanted.basis).ok()?)));
    let (curve, correction, factor) = match brought {
        Some((wanted, brought)) => {
            let words = format!("brought to {}", wanted.basis.name());
            (curve.times(|speed| brought.factor_at(speed)), words, Some(brought.factor.value()))
        }
        None => {
            let carried = side.effective.correction.as_ref().map(ToString::to_string);
            let carried = carried.unwrap_or_else(|| "with no word of a correction".to_owned());
            (curve, format!("as the file carries them: {carried}"), None)
        }
    };
    Ok(Some(Ok(laid_out(library, &curve, correction, factor))))
}

fn laid_out(library: &Library, curve: &Curve, correction: String, factor: Option<f64>) -> PullCurve {
    let torque = unit(library, QuantityKind::Torque, "N·m");
    let power = unit(library, QuantityKind::Power, "kW");
    let speeds: Vec<u32> = curve.points.iter().map(|point| point.speed_rpm).collect();
    let peak = |is_power: bool, from_si: f64| {
        curve.peak(&speeds, is_power).map(|(value, rpm)| Peak { value: value * from_si, rpm })
    };
    PullCurve {
        torque_unit: torque.0.to_owned(),
        power_unit: power.0.to_owned(),
        step_rpm: curve.step_rpm,
        correction,
        factor,
        rows: curve
            .points
            .iter()
            .map(|point| PullCurveRow {
                rpm: point.speed_rpm,
                torque: point.torque_nm * torque.1,
                power: curve.at(point.speed_rpm, true).unwrap_or_default() * power.1,
                rows: point.rows,
            })
            .collect(),
        peak_torque: peak(false, torque.1),
        peak_power: peak(true, power.1),
        cut_rows: curve.cut_rows,
    }
}
