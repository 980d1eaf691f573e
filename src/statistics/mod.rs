//! Plain numbers: intervals, pooling, bands and fits with missing cells.
//!
//! In: slices of numbers that someone else has read, checked and given a meaning. Out: estimates with their
//! standard errors, degrees of freedom and intervals. This room knows no units and no engines, draws no
//! random numbers, and never turns a missing spread into zero: where the data cannot answer, it says so with
//! a [`StatisticsError`].
//!
//! Elementary functions come from `libm` and sums run in the order given, so the same input gives the same
//! answer everywhere.

pub mod band;
pub mod budget;
pub mod components;
pub mod conformity;
pub mod distribution;
pub mod drift;
mod error;
pub mod factorial;
pub mod least_squares;
pub mod order;
pub mod parted;
pub mod power;
pub mod rank_sum;
pub mod sample;
pub mod span;
mod special;
pub mod two_sample;

pub use error::StatisticsError;

/// An interval with the level at which it was asked for.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Interval {
    /// Lower end.
    pub lower: f64,
    /// Upper end.
    pub upper: f64,
    /// Confidence level, a fraction (0.95).
    pub level: f64,
}

impl Interval {
    /// Whether the value lies inside, ends included.
    #[must_use]
    pub fn contains(&self, value: f64) -> bool {
        (self.lower..=self.upper).contains(&value)
    }

    /// Half of the distance between the ends.
    #[must_use]
    pub fn half_width(&self) -> f64 {
        (self.upper - self.lower) / 2.0
    }
}
