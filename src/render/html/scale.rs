//! A straight way from values to places on a plot, with round ticks.

/// About as many ticks as are wanted on an axis.
const TICKS: f64 = 6.0;
/// No axis has more.
const MOST_TICKS: u16 = 200;

/// A straight way from values to places.
#[derive(Debug, Clone, Copy)]
pub(super) struct Scale {
    low: f64,
    high: f64,
    from: f64,
    to: f64,
    step: f64,
}

impl Scale {
    /// Covers the values with round ends.
    pub(super) fn over(low: f64, high: f64, from: f64, to: f64) -> Self {
        let step = round_step((high - low).max(least_span(low, high)) / TICKS);
        let (low, high) = (libm::floor(low / step) * step, libm::ceil(high / step) * step);
        Self { low, high: if high > low { high } else { low + step }, from, to, step }
    }

    /// Goes from the least to the greatest value, with round ticks between.
    pub(super) fn within(low: f64, high: f64, from: f64, to: f64) -> Self {
        let span = (high - low).max(least_span(low, high));
        Self { low, high: low + span, from, to, step: round_step(span / TICKS) }
    }

    /// The place of a value.
    pub(super) fn at(&self, value: f64) -> f64 {
        self.from + (value - self.low) / (self.high - self.low) * (self.to - self.from)
    }

    /// The round values on the axis.
    pub(super) fn ticks(&self) -> Vec<f64> {
        let first = libm::ceil(self.low / self.step - 1e-6);
        let last = libm::floor(self.high / self.step + 1e-6);
        (0..=MOST_TICKS)
            .map(|index| first + f64::from(index))
            .take_while(|index| *index <= last)
            .map(|index| index * self.step)
            .collect()
    }

    /// A tick in figures.
    pub(super) fn text(&self, tick: f64) -> String {
        let decimals = usize::from(self.step < 0.999)
            + usize::from(self.step < 0.0999)
            + usize::from(self.step < 0.00999);
        // No tick reads "-0".
        let tick = if tick.abs() < self.step * 1e-6 { 0.0 } else { tick };
        format!("{tick:.decimals$}")
    }
}

/// The least and the greatest of values that are numbers.
pub(super) fn range(values: impl Iterator<Item = f64>) -> Option<(f64, f64)> {
    values.filter(|value| value.is_finite()).fold(None, |range: Option<(f64, f64)>, value| {
        Some(range.map_or((value, value), |(low, high)| (low.min(value), high.max(value))))
    })
}

/// A place in the drawing, to a tenth of its unit.
pub(super) fn px(value: f64) -> String {
    format!("{value:.1}")
}

/// Values that are all alike still get an axis.
fn least_span(low: f64, high: f64) -> f64 {
    (low.abs().max(high.abs()) * 1e-6).max(1e-9)
}

/// 1, 2 or 5 times a power of ten, not below what is asked.
fn round_step(least: f64) -> f64 {
    let power = libm::pow(10.0, libm::floor(libm::log10(least)));
    [1.0, 2.0, 5.0]
        .into_iter()
        .map(|digit| digit * power)
        .find(|step| *step >= least * 0.999)
        .unwrap_or(10.0 * power)
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn ticks_are_round_and_cover_the_values() {
        for (low, high, expected) in [
            (2947.0, 8043.0, vec![2000.0, 3000.0, 4000.0, 5000.0, 6000.0, 7000.0, 8000.0, 9000.0]),
            (171.0, 221.0, vec![170.0, 180.0, 190.0, 200.0, 210.0, 220.0, 230.0]),
            (-0.4, 1.1, vec![-0.5, 0.0, 0.5, 1.0, 1.5]),
        ] {
            let scale = Scale::over(low, high, 0.0, 100.0);
            let ticks: Vec<f64> =
                scale.ticks().into_iter().map(|tick| libm::round(tick * 1e6) / 1e6).collect();
            assert_eq!(ticks, expected);
            assert!(scale.at(low) >= 0.0 && scale.at(high) <= 100.0);
        }
        let inside = Scale::within(2947.0, 8043.0, 0.0, 100.0);
        assert_eq!(inside.ticks(), [3000.0, 4000.0, 5000.0, 6000.0, 7000.0, 8000.0]);
        assert!(inside.at(2947.0).abs() < 1e-9 && (inside.at(8043.0) - 100.0).abs() < 1e-9);
        assert_eq!(Scale::over(-0.4, 1.1, 0.0, 1.0).text(-1e-12), "0.0");
    }

    proptest! {
        #[test]
        fn every_finite_range_has_an_axis(low in -1e9f64..1e9, span in 0.0f64..1e9) {
            for scale in [Scale::over(low, low + span, 0.0, 100.0), Scale::within(low, low + span, 0.0, 100.0)] {
                prop_assert!(scale.at(low).is_finite() && scale.at(low + span).is_finite());
                let ticks = scale.ticks();
                prop_assert!(!ticks.is_empty() && ticks.len() < 20, "{ticks:?}");
                prop_assert!(ticks.iter().all(|tick| scale.at(*tick) >= -0.1 && scale.at(*tick) <= 100.1));
            }
        }
    }
}
