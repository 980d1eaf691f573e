//! The mean of a flow sheet over a range of lifts.

use super::EngineError;
use super::error::{finite, within};

/// One line of a flow sheet.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct LiftReading {
    /// Valve lift, m.
    pub lift_m: f64,
    /// What was read at it (flow, discharge coefficient), in the caller's unit.
    pub value: f64,
}

/// The value at a lift between readings, by straight lines.
///
/// # Errors
/// Fewer than two readings, lifts that do not rise, or a lift beyond the readings.
pub fn value_at(readings: &[LiftReading], lift_m: f64) -> Result<f64, EngineError> {
    check(readings)?;
    rising(&readings.iter().map(|reading| reading.lift_m).collect::<Vec<_>>())?;
    let ends = (readings.first().map_or(0.0, |r| r.lift_m), readings.last().map_or(0.0, |r| r.lift_m));
    let lift = inside(ends, lift_m)?;
    for pair in readings.windows(2) {
        if let [low, high] = pair
            && lift <= high.lift_m
        {
            let share = (lift - low.lift_m) / (high.lift_m - low.lift_m);
            return Ok(low.value + (high.value - low.value) * share);
        }
    }
    Err(EngineError::OutOfDomain {
        what: "valve lift",
        found: lift,
        unit: "m",
        expected: "within the readings",
    })
}

/// Mean over a range of lifts: the area under straight lines between the readings, over the width of the
/// range.
///
/// Common practice, no source; unlike a mean of the readings it does not depend on how densely they stand.
///
/// ```
/// use mulebook::engine::lift_range::{LiftReading, mean};
/// // A straight line has its middle as mean.
/// let sheet: Vec<LiftReading> = [(0.002, 100.0), (0.004, 180.0), (0.010, 420.0)]
///     .map(|(lift_m, value)| LiftReading { lift_m, value })
///     .to_vec();
/// assert!((mean(&sheet, 0.002, 0.010).expect("inside the sheet") - 260.0).abs() < 1e-9);
/// ```
///
/// # Errors
/// As [`value_at`], or a range whose end is not above its start.
pub fn mean(readings: &[LiftReading], from_m: f64, to_m: f64) -> Result<f64, EngineError> {
    let lifts: Vec<f64> = readings.iter().map(|reading| reading.lift_m).collect();
    check(readings)?;
    Ok(weights(&lifts, from_m, to_m)?.iter().zip(readings).map(|(weight, one)| weight * one.value).sum())
}

/// How much each reading counts in their [`mean`], which is linear in them; the weights add up to 1.
///
/// # Errors
/// As [`mean`].
pub fn weights(lifts_m: &[f64], from_m: f64, to_m: f64) -> Result<Vec<f64>, EngineError> {
    rising(lifts_m)?;
    let ends = (lifts_m.first().copied().unwrap_or_default(), lifts_m.last().copied().unwrap_or_default());
    inside(ends, from_m)?;
    inside(ends, to_m)?;
    within("end of the lift range", to_m, "m", |to| to > from_m, "above its start")?;
    let mut weights = vec![0.0; lifts_m.len()];
    for (at, pair) in lifts_m.windows(2).enumerate() {
        let &[low, high] = pair else { continue };
        let (start, end) = (from_m.max(low), to_m.min(high));
        if end > start {
            // The area under a straight line is its width times the height at its middle.
            let share = ((start + end) / 2.0 - low) / (high - low);
            let width = (end - start) / (to_m - from_m);
            weights[at] += width * (1.0 - share);
            weights[at + 1] += width * share;
        }
    }
    Ok(weights)
}

fn check(readings: &[LiftReading]) -> Result<(), EngineError> {
    for reading in readings {
        finite("reading", reading.value, "")?;
    }
    Ok(())
}

fn rising(lifts_m: &[f64]) -> Result<(), EngineError> {
    within("number of lifts", lifts_m.len() as f64, "", |count| count >= 2.0, "at least 2")?;
    for lift_m in lifts_m {
        finite("valve lift", *lift_m, "m")?;
    }
    for pair in lifts_m.windows(2) {
        if let &[low, high] = pair {
            within("valve lift", high, "m", |lift| lift > low, "above the lift before it")?;
        }
    }
    Ok(())
}

fn inside((lower, upper): (f64, f64), lift_m: f64) -> Result<f64, EngineError> {
    if (lower..=upper).contains(&lift_m) {
        Ok(lift_m)
    } else {
        Err(EngineError::BeyondReadings { what: "flow", found: lift_m, unit: "m lift", lower, upper })
    }
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    fn sheet(values: &[(f64, f64)]) -> Vec<LiftReading> {
        values.iter().map(|&(lift_m, value)| LiftReading { lift_m, value }).collect()
    }

    #[test]
    fn nothing_is_extrapolated() {
        let readings = sheet(&[(0.002, 1.0), (0.004, 2.0)]);
        assert!(matches!(value_at(&readings, 0.0041), Err(EngineError::BeyondReadings { .. })));
        assert!(mean(&readings, 0.001, 0.004).is_err());
        assert!(mean(&readings, 0.003, 0.003).is_err());
        assert!(value_at(&readings[..1], 0.002).is_err());
        assert!(value_at(&sheet(&[(0.004, 1.0), (0.002, 2.0)]), 0.003).is_err());
        assert!((value_at(&readings, 0.002).unwrap() - 1.0).abs() < 1e-12);
    }

    proptest! {
        #[test]
        fn mean_lies_between_the_extremes(values in prop::collection::vec(1.0..500.0_f64, 2..12)) {
            let readings: Vec<LiftReading> =
                values.iter().enumerate().map(|(index, &value)| LiftReading { lift_m: 1e-3 * (index + 1) as f64, value }).collect();
            let found = mean(&readings, readings[0].lift_m, readings[readings.len() - 1].lift_m).unwrap();
            let low = values.iter().fold(f64::INFINITY, |least, &value| least.min(value));
            let high = values.iter().fold(0.0_f64, |most, &value| most.max(value));
            prop_assert!(found >= low - 1e-9 && found <= high + 1e-9);
        }

        #[test]
        fn mean_is_the_area_under_straight_lines(
            steps in prop::collection::vec((1e-4..2e-3_f64, 1.0..500.0_f64), 2..12), a in 0.0..1.0_f64, b in 0.0..1.0_f64
        ) {
            let mut lift_m = 0.0;
            let readings: Vec<LiftReading> = steps
                .iter()
                .map(|&(step, value)| { lift_m += step; LiftReading { lift_m, value } })
                .collect();
            let (first, width) = (readings[0].lift_m, lift_m - readings[0].lift_m);
            let (from, to) = (first + a.min(b) * width, first + a.max(b) * width);
            prop_assume!(to - from > 1e-6);
            // The height at the middle of many narrow strips, by the straight lines themselves.
            let strips = 4000;
            let heights: f64 = (0..strips)
                .map(|at| value_at(&readings, from + (to - from) * (f64::from(at) + 0.5) / f64::from(strips)).unwrap())
                .sum();
            let found = mean(&readings, from, to).unwrap();
            prop_assert!((found - heights / f64::from(strips)).abs() < 1e-2 * found);
            let lifts: Vec<f64> = readings.iter().map(|reading| reading.lift_m).collect();
            prop_assert!((weights(&lifts, from, to).unwrap().iter().sum::<f64>() - 1.0).abs() < 1e-9);
        }
    }
}
