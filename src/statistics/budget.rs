//! The law of propagation of uncertainty, with sources that several values share.
//!
//! A [`Budgeted`] value is a number and, for each named source of uncertainty, how far it moves when that
//! source moves by its own standard uncertainty: y and cᵢ·u(xᵢ). Sources are independent of each other; what
//! two values have in common is the *same* source, so it adds or cancels with its sign. This is JCGM
//! 100:2008, 5.2.2 with correlations expressed as in F.1.2.3 (common inputs).

use std::collections::BTreeMap;

use super::Interval;
use super::StatisticsError;
use super::distribution::student_quantile;
use super::error::{finite, fraction, freedom, positive};
use super::sample::sum;
use super::two_sample::satterthwaite;

/// What a stated limit ± a means as a distribution (JCGM 100:2008, 4.3.4 to 4.3.9).
#[derive(Debug, Clone, Copy, PartialEq)]
#[non_exhaustive]
pub enum Shape {
    /// Anywhere between the limits alike: u = a/√3.
    Rectangular,
    /// Most likely in the middle, nothing beyond the limits: u = a/√6.
    Triangular,
    /// Most likely at the limits (a swinging temperature): u = a/√2.
    UShaped,
    /// An expanded uncertainty with its coverage factor: u = a/k.
    Expanded(f64),
}

impl Shape {
    /// The standard uncertainty of the limit ± `half_width`.
    ///
    /// # Errors
    /// A negative half width, or a coverage factor that is not above zero.
    pub fn standard_uncertainty(self, half_width: f64) -> Result<f64, StatisticsError> {
        let half_width = not_negative("half width", half_width)?;
        let divisor = match self {
            Self::Rectangular => 3.0_f64.sqrt(),
            Self::Triangular => 6.0_f64.sqrt(),
            Self::UShaped => std::f64::consts::SQRT_2,
            Self::Expanded(factor) => positive("coverage factor", factor)?,
        };
        Ok(half_width / divisor)
    }
}

/// How one source moves a value.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Contribution {
    /// Sensitivity times the source's standard uncertainty, with its sign.
    pub amount: f64,
    /// Degrees of freedom of the source's standard uncertainty; infinite when it is not estimated from
    /// repeats.
    pub degrees_of_freedom: f64,
}

/// A value with what each source of uncertainty does to it.
#[derive(Debug, Clone, PartialEq)]
pub struct Budgeted {
    value: f64,
    contributions: BTreeMap<String, Contribution>,
}

impl Budgeted {
    /// A value without uncertainty (a definition, a count).
    ///
    /// # Errors
    /// A value that is not finite.
    pub fn exact(value: f64) -> Result<Self, StatisticsError> {
        Ok(Self { value: finite("value", value)?, contributions: BTreeMap::new() })
    }

    /// A value with one source of uncertainty.
    ///
    /// # Errors
    /// A value that is not finite, or a negative uncertainty.
    pub fn from_source(
        value: f64,
        source: impl Into<String>,
        uncertainty: f64,
    ) -> Result<Self, StatisticsError> {
        Self::exact(value)?.with(source, uncertainty, f64::INFINITY)
    }

    /// The same value with one more source that moves it by `uncertainty`.
    ///
    /// A source that is there already is moved in step with itself: its amounts add, and the smaller degrees
    /// of freedom stay.
    ///
    /// # Errors
    /// A negative or infinite uncertainty, or degrees of freedom not above zero.
    pub fn with(
        mut self,
        source: impl Into<String>,
        uncertainty: f64,
        degrees_of_freedom: f64,
    ) -> Result<Self, StatisticsError> {
        let amount = not_negative("standard uncertainty", uncertainty)?;
        self.add(source.into(), Contribution { amount, degrees_of_freedom: freedom(degrees_of_freedom)? });
        Ok(self)
    }

    fn add(&mut self, source: String, contribution: Contribution) {
        self.contributions
            .entry(source)
            .and_modify(|known| {
                known.amount += contribution.amount;
                known.degrees_of_freedom = known.degrees_of_freedom.min(contribution.degrees_of_freedom);
            })
            .or_insert(contribution);
    }

    /// The value itself.
    #[must_use]
    pub fn value(&self) -> f64 {
        self.value
    }

    /// What each source does, by name of the source.
    #[must_use]
    pub fn contributions(&self) -> &BTreeMap<String, Contribution> {
        &self.contributions
    }

    /// Combined standard uncertainty, √Σ(cᵢuᵢ)² (JCGM 100:2008, eq. 10).
    #[must_use]
    pub fn standard_uncertainty(&self) -> f64 {
        sum(self.contributions.values().map(|part| part.amount * part.amount)).sqrt()
    }

    /// Effective degrees of freedom (JCGM 100:2008, G.2b); infinite without uncertainty.
    #[must_use]
    pub fn degrees_of_freedom(&self) -> f64 {
        let parts: Vec<(f64, f64)> = self
            .contributions
            .values()
            .map(|part| (part.amount * part.amount, part.degrees_of_freedom))
            .collect();
        satterthwaite(&parts).unwrap_or(f64::INFINITY)
    }

    /// Interval of the given level with Student's factor for the effective degrees of freedom (JCGM 100:2008,
    /// G.6.4).
    ///
    /// # Errors
    /// A level outside (0, 1).
    pub fn interval(&self, level: f64) -> Result<Interval, StatisticsError> {
        let factor = student_quantile((1.0 + fraction("level", level)?) / 2.0, self.degrees_of_freedom())?;
        let half = factor * self.standard_uncertainty();
        Ok(Interval { lower: self.value - half, upper: self.value + half, level })
    }

    /// Covariance with another value through the sources that both have.
    #[must_use]
    pub fn covariance(&self, other: &Self) -> f64 {
        sum(self.contributions.iter().filter_map(|(source, part)| {
            other.contributions.get(source).map(|theirs| part.amount * theirs.amount)
        }))
    }

    /// The result of `function` on several budgeted values, to first order.
    ///
    /// Sensitivities are central differences with a step of ∛ε of the value (or of its uncertainty where that
    /// is larger), good to about 1e-9 of the result for smooth relations. An input without uncertainty costs
    /// no call.
    ///
    /// # Errors
    /// Whatever `function` refuses, at the values or one step beside them; a result that is not finite.
    pub fn combine<E, F>(inputs: &[&Self], function: F) -> Result<Self, E>
    where
        E: From<StatisticsError>,
        F: Fn(&[f64]) -> Result<f64, E>,
    {
        let mut at: Vec<f64> = inputs.iter().map(|input| input.value).collect();
        let mut result = Self::exact(function(&at)?)?;
        for (index, input) in inputs.iter().enumerate() {
            let uncertainty = input.standard_uncertainty();
            if uncertainty <= 0.0 {
                continue;
            }
            let middle = input.value;
            let step = libm::cbrt(f64::EPSILON) * middle.abs().max(uncertainty);
            let (above, below) = (middle + step, middle - step);
            at[index] = above;
            let high = function(&at)?;
            at[index] = below;
            let low = function(&at)?;
            at[index] = middle;
            let sensitivity = finite("sensitivity", (high - low) / (above - below))?;
            for (source, part) in &input.contributions {
                let amount = sensitivity * part.amount;
                result.add(
                    source.clone(),
                    Contribution { amount, degrees_of_freedom: part.degrees_of_freedom },
                );
            }
        }
        Ok(result)
    }

    /// The sum of values, each times its weight: what [`Budgeted::combine`] gives for a linear relation, in one pass.
    ///
    /// # Errors
    /// A weight or a sum that is not finite.
    pub fn weighted<'v>(parts: impl IntoIterator<Item = (f64, &'v Self)>) -> Result<Self, StatisticsError> {
        let mut result = Self { value: 0.0, contributions: BTreeMap::new() };
        for (weight, part) in parts {
            result.value += finite("weight", weight)? * part.value;
            for (source, one) in &part.contributions {
                let amount = weight * one.amount;
                match result.contributions.get_mut(source) {
                    Some(known) => {
                        known.amount += amount;
                        known.degrees_of_freedom = known.degrees_of_freedom.min(one.degrees_of_freedom);
                    }
                    None => {
                        let further = Contribution { amount, degrees_of_freedom: one.degrees_of_freedom };
                        result.contributions.insert(source.clone(), further);
                    }
                }
            }
        }
        finite("sum", result.value)?;
        Ok(result)
    }

    /// This value less another; what both share cancels exactly.
    ///
    /// # Errors
    /// A difference that is not finite.
    pub fn minus(&self, other: &Self) -> Result<Self, StatisticsError> {
        self.plus_scaled(other, -1.0)
    }

    /// This value plus `factor` times another.
    ///
    /// # Errors
    /// A result that is not finite.
    pub fn plus_scaled(&self, other: &Self, factor: f64) -> Result<Self, StatisticsError> {
        let mut result = self.clone();
        result.value = finite("sum", self.value + finite("factor", factor)? * other.value)?;
        for (source, part) in &other.contributions {
            let amount = factor * part.amount;
            result.add(source.clone(), Contribution { amount, degrees_of_freedom: part.degrees_of_freedom });
        }
        Ok(result)
    }
}

fn not_negative(what: &'static str, value: f64) -> Result<f64, StatisticsError> {
    if value.is_finite() && value >= 0.0 {
        Ok(value)
    } else {
        Err(StatisticsError::OutOfDomain { what, found: value, expected: "0 or more" })
    }
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    fn product(values: &[f64]) -> Result<f64, StatisticsError> {
        Ok(values.iter().product())
    }

    #[test]
    fn resistances_calibrated_against_one_standard_add_linearly() {
        // JCGM 100:2008, 5.2.2 example: ten 1000 Ω resistors, each with the standard's u 100 mΩ: u of the
        // series is 1 Ω, not 0.32 Ω.
        let one = Budgeted::from_source(1000.0, "standard", 0.1).unwrap();
        let mut series = Budgeted::exact(0.0).unwrap();
        for _ in 0..10 {
            series = series.plus_scaled(&one, 1.0).unwrap();
        }
        assert!((series.value() - 10_000.0).abs() < 1e-9);
        assert!((series.standard_uncertainty() - 1.0).abs() < 1e-12);
    }

    #[test]
    fn end_gauge_of_the_guide() {
        // JCGM 100:2008, H.1.6: u² = 25² + 9.7² + 2.9² + 16.6² nm², u = 32 nm, with 18, 25.6 and 50 and 2
        // degrees of freedom: ν = 16.
        let gauge = Budgeted::exact(50.000_838e6)
            .and_then(|value| value.with("standard", 25.0, 18.0))
            .and_then(|value| value.with("difference", 9.7, 25.6))
            .and_then(|value| value.with("expansion", 2.9, 50.0))
            .and_then(|value| value.with("temperature", 16.6, 2.0))
            .unwrap();
        assert!((gauge.standard_uncertainty() - 32.0).abs() < 0.5);
        assert!((gauge.degrees_of_freedom() - 16.7).abs() < 0.1);
        // The guide rounds u to 32 nm and ν to 16, so t is 2.92 and U 93 nm.
        assert!((gauge.interval(0.99).unwrap().half_width() - 93.0).abs() < 1.5);
    }

    #[test]
    fn limits_become_standard_uncertainties() {
        // JCGM 100:2008, 4.3.7 example 1: ±0.40e-6 rectangular gives 0.23e-6; 4.3.3 example: k 3, 240 µg
        // gives 80 µg.
        assert!((Shape::Rectangular.standard_uncertainty(0.40).unwrap() - 0.23).abs() < 1e-3);
        assert!((Shape::Expanded(3.0).standard_uncertainty(240.0).unwrap() - 80.0).abs() < 1e-12);
        assert!(Shape::Expanded(0.0).standard_uncertainty(1.0).is_err());
        assert!(Shape::Triangular.standard_uncertainty(-1.0).is_err());
        assert!(Budgeted::from_source(1.0, "a", f64::NAN).is_err());
    }

    proptest! {
        #[test]
        fn what_two_sides_share_cancels(
            a in 100.0..600.0_f64, b in 100.0..600.0_f64, shared in 0.0..5.0_f64, own in 0.01..1.0_f64
        ) {
            let side = |value: f64, name: &str| {
                Budgeted::from_source(value, "weather station", shared).and_then(|side| side.with(name, own, f64::INFINITY)).unwrap()
            };
            let (base, test) = (side(a, "base reading"), side(b, "test reading"));
            let gain = test.minus(&base).unwrap();
            prop_assert!((gain.standard_uncertainty() - own * 2.0_f64.sqrt()).abs() < 1e-9);
            prop_assert!(base.minus(&base).unwrap().standard_uncertainty().abs() < 1e-12);
            prop_assert!((base.covariance(&test) - shared * shared).abs() < 1e-9);
            // A shared relative error cancels in a ratio.
            let scaled = |value: f64| Budgeted::from_source(value, "load cell", 0.01 * value).unwrap();
            let ratio = Budgeted::combine(&[&scaled(a), &scaled(b)], |x| Ok::<_, StatisticsError>(x[1] / x[0])).unwrap();
            prop_assert!(ratio.standard_uncertainty() < 1e-8 * ratio.value());
        }

        #[test]
        fn relative_uncertainties_of_a_product_add_in_squares(
            a in 0.1..1e3_f64, b in 0.1..1e3_f64, ra in 1e-4..0.05_f64, rb in 1e-4..0.05_f64
        ) {
            // JCGM 100:2008, eq. 12.
            let x = Budgeted::from_source(a, "a", a * ra).unwrap();
            let y = Budgeted::from_source(b, "b", b * rb).unwrap();
            let z = Budgeted::combine(&[&x, &y], product).unwrap();
            let expected = libm::hypot(ra, rb) * a * b;
            prop_assert!((z.standard_uncertainty() - expected).abs() < 1e-8 * expected);
            // Numeric and exact sums and differences agree.
            let weighted = Budgeted::weighted([(0.3, &x), (0.7, &y)]).unwrap();
            let numeric = Budgeted::combine(&[&x, &y], |v| Ok::<_, StatisticsError>(0.3 * v[0] + 0.7 * v[1])).unwrap();
            prop_assert!((weighted.value() - numeric.value()).abs() < 1e-12 * numeric.value());
            prop_assert!((weighted.standard_uncertainty() - numeric.standard_uncertainty()).abs() < 1e-7 * numeric.standard_uncertainty());
            let exact = x.minus(&y).unwrap();
            let numeric = Budgeted::combine(&[&x, &y], |v| Ok::<_, StatisticsError>(v[0] - v[1])).unwrap();
            prop_assert!((exact.standard_uncertainty() - numeric.standard_uncertainty()).abs() < 1e-7 * exact.standard_uncertainty());
        }
    }
}
