use thiserror::Error;

/// Why a statistic cannot be given.
#[derive(Debug, Clone, PartialEq, Error)]
#[non_exhaustive]
pub enum StatisticsError {
    /// There are fewer values than the statistic needs.
    #[error("{what}: found {found}, expected at least {expected}; add repeats")]
    TooFew {
        /// What was counted.
        what: &'static str,
        /// How many there are.
        found: usize,
        /// How many are needed.
        expected: usize,
    },
    /// An argument lies outside the range in which the statistic means anything.
    #[error("{what} is {found}, expected {expected}")]
    OutOfDomain {
        /// The argument.
        what: &'static str,
        /// What was given.
        found: f64,
        /// The range allowed.
        expected: &'static str,
    },
    /// Two lists that belong together differ in length.
    #[error("{what}: found {found} values, expected {expected}")]
    LengthMismatch {
        /// The list.
        what: &'static str,
        /// Its length.
        found: usize,
        /// The length of its partner.
        expected: usize,
    },
    /// All values are equal, so their spread says nothing about the noise.
    #[error("{what}: all values are equal, so no noise can be estimated; take readings with more digits")]
    NoSpread {
        /// The values.
        what: &'static str,
    },
    /// The design does not determine what was asked for.
    #[error("{what} cannot be estimated from this design; test the combination that is missing")]
    NotEstimable {
        /// What was asked for.
        what: &'static str,
    },
    /// A series did not settle within its limit of steps.
    #[error("{what} did not settle within {steps} steps")]
    NotConverged {
        /// The calculation.
        what: &'static str,
        /// The limit of steps.
        steps: usize,
    },
}

/// Refuses NaN and infinities.
pub(super) fn finite(what: &'static str, value: f64) -> Result<f64, StatisticsError> {
    if value.is_finite() {
        Ok(value)
    } else {
        Err(StatisticsError::OutOfDomain { what, found: value, expected: "a finite number" })
    }
}

/// Refuses anything that is not finite and above zero.
pub(super) fn positive(what: &'static str, value: f64) -> Result<f64, StatisticsError> {
    if value.is_finite() && value > 0.0 {
        Ok(value)
    } else {
        Err(StatisticsError::OutOfDomain { what, found: value, expected: "a finite number above 0" })
    }
}

/// Refuses what is not strictly between 0 and 1.
pub(super) fn fraction(what: &'static str, value: f64) -> Result<f64, StatisticsError> {
    if value > 0.0 && value < 1.0 {
        Ok(value)
    } else {
        Err(StatisticsError::OutOfDomain { what, found: value, expected: "between 0 and 1, both excluded" })
    }
}

/// Fewest degrees of freedom that any estimate here can have.
const LEAST_FREEDOM: f64 = 1e-3;

/// Refuses degrees of freedom that are not above zero; infinity is allowed (a known spread).
pub(super) fn freedom(value: f64) -> Result<f64, StatisticsError> {
    if value >= LEAST_FREEDOM {
        Ok(value)
    } else {
        Err(StatisticsError::OutOfDomain {
            what: "degrees of freedom",
            found: value,
            expected: "0.001 or more",
        })
    }
}
