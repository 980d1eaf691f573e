use thiserror::Error;

use crate::statistics::StatisticsError;

/// Why a relation cannot be worked out.
#[derive(Debug, Clone, PartialEq, Error)]
#[non_exhaustive]
pub enum EngineError {
    /// An input lies outside the range in which the relation means anything.
    #[error("{what} is {found} {unit}, expected {expected}")]
    OutOfDomain {
        /// The input.
        what: &'static str,
        /// What was given.
        found: f64,
        /// The unit of the number.
        unit: &'static str,
        /// The range allowed.
        expected: &'static str,
    },
    /// Several inputs are each possible but not together.
    #[error("{what}: {detail}; check both readings")]
    Contradiction {
        /// What cannot be.
        what: &'static str,
        /// Which figures collide.
        detail: String,
    },
    /// The table given does not reach the place asked for.
    #[error(
        "{what} at {found} {unit} lies outside the readings, which run from {lower} to {upper}; read there too"
    )]
    BeyondReadings {
        /// What was asked for.
        what: &'static str,
        /// The place.
        found: f64,
        /// The unit of the place.
        unit: &'static str,
        /// First reading.
        lower: f64,
        /// Last reading.
        upper: f64,
    },
    /// The numbers behind the relation could not be worked out.
    #[error(transparent)]
    Statistics(#[from] StatisticsError),
}

/// A result or an input that a standard or a practice does not cover; the number stands, and the flag stands
/// beside it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Beyond {
    /// What lies outside (`correction factor`, `air temperature`).
    pub what: &'static str,
    /// Its value.
    pub found: f64,
    /// Lowest value covered.
    pub lower: f64,
    /// Highest value covered.
    pub upper: f64,
    /// The unit of the three numbers; empty for a ratio.
    pub unit: &'static str,
    /// Who draws the limit.
    pub source: &'static str,
}

/// A flag when `found` lies outside the limits.
pub(super) fn beyond(
    what: &'static str,
    found: f64,
    (lower, upper): (f64, f64),
    unit: &'static str,
    source: &'static str,
) -> Option<Beyond> {
    (!(lower..=upper).contains(&found)).then_some(Beyond { what, found, lower, upper, unit, source })
}

/// Beyond this size, or below its inverse, no input of an engine lies; it keeps every product finite.
const SIZE_LIMIT: f64 = 1e30;

/// Refuses what is not above zero, or beyond any size.
pub(super) fn positive(what: &'static str, found: f64, unit: &'static str) -> Result<f64, EngineError> {
    within(what, found, unit, |value| value > 0.0, "above 0")
}

/// Refuses what is below zero, or beyond any size.
pub(super) fn not_negative(what: &'static str, found: f64, unit: &'static str) -> Result<f64, EngineError> {
    within(what, found, unit, |value| value >= 0.0, "0 or more")
}

/// Refuses NaN and what is beyond any size.
pub(super) fn finite(what: &'static str, found: f64, unit: &'static str) -> Result<f64, EngineError> {
    within(what, found, unit, |_| true, "a finite number")
}

/// Refuses NaN, what is beyond any size, and what fails the condition.
pub(super) fn within(
    what: &'static str,
    found: f64,
    unit: &'static str,
    allowed: impl Fn(f64) -> bool,
    expected: &'static str,
) -> Result<f64, EngineError> {
    let sized = found == 0.0 || (SIZE_LIMIT.recip()..=SIZE_LIMIT).contains(&found.abs());
    if sized && allowed(found) {
        Ok(found)
    } else {
        Err(EngineError::OutOfDomain { what, found, unit, expected })
    }
}
