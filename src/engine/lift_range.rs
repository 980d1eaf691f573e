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
    let lift = inside(readings, lift_m)?;
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
    let (first, last) = (value_at(readings, from_m)?, value_at(readings, to_m)?);
    within("end of the lift range", to_m, "m", |to| to > from_m, "above its start")?;
    let mut points = vec![LiftReading { lift_m: from_m, value: first }];
    points.extend(readings.iter().filter(|reading| reading.lift_m > from_m && reading.lift_m < to_m));
    points.push(LiftReading { lift_m: to_m, value: last });
    let mut area = 0.0;
    for pair in points.windows(2) {
        if let [low, high] = pair {
            area += (high.lift_m - low.lift_m) * (low.value + high.value) / 2.0;
        }
    }
    Ok(area / (to_m - from_m))
}

fn check(readings: &[LiftReading]) -> Result<(), EngineError> {
    within("number of lifts", readings.len() as f64, "", |count| count >= 2.0, "at least 2")?;
    for reading in readings {
        finite("reading", reading.value, "")?;
        finite("valve lift", reading.lift_m, "m")?;
    }
    for pair in readings.windows(2) {
        if let [low, high] = pair {
            within("valve lift", high.lift_m, "m", |lift| lift > low.lift_m, "above the lift before it")?;
        }
    }
    Ok(())
}

fn inside(readings: &[LiftReading], lift_m: f64) -> Result<f64, EngineError> {
    let (lower, upper) =
        (readings.first().map_or(0.0, |r| r.lift_m), readings.last().map_or(0.0, |r| r.lift_m));
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
    }
}
