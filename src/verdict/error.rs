use thiserror::Error;

use crate::statistics::StatisticsError;

/// Why two sides cannot be weighed.
#[derive(Debug, Clone, PartialEq, Error)]
#[non_exhaustive]
pub enum VerdictError {
    /// A side has no pull.
    #[error("the {side} side has no kept pull with this figure; found 0, expected at least 1")]
    EmptySide {
        /// `base` or `test`.
        side: &'static str,
    },
    /// The pulls' order does not separate the difference from drift.
    #[error(
        "the difference cannot be told from drift: in no session do the pulls of both sides separate them; \
         add a pull of the base after the test"
    )]
    LostInDrift,
    /// As many pulls as terms: nothing is left to see the noise by.
    #[error(
        "no noise can be estimated: these {pulls} pulls leave none over, and the book has no repeats of this engine in \
         this cell; repeat a pull"
    )]
    NoNoise {
        /// Pulls on both sides.
        pulls: usize,
    },
    /// Two lists that belong together differ in length.
    #[error("found {found} values for {expected} pulls")]
    Mismatch {
        /// Values given.
        found: usize,
        /// Pulls placed.
        expected: usize,
    },
    /// A statistic cannot be given.
    #[error(transparent)]
    Statistics(#[from] StatisticsError),
}
