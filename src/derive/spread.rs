//! A value and its interval, for showing.

use crate::derive::Brought;
use crate::derive::Derived;
use crate::statistics::StatisticsError;
use crate::statistics::budget::Budgeted;

/// Level of the intervals of derived figures (JCGM 100:2008, 6.2.2 and G.1.1).
pub const LEVEL: f64 = 0.95;

/// A value and half the width of its interval at [`LEVEL`], in SI.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Spread {
    /// The value.
    pub si: f64,
    /// Half the interval's width; what is known without error has none.
    pub half_width_si: f64,
}

impl Spread {
    fn of(value: &Budgeted) -> Result<Self, StatisticsError> {
        Ok(Self { si: value.value(), half_width_si: value.interval(LEVEL)?.half_width() })
    }
}

impl Derived {
    /// The value with its interval.
    ///
    /// # Errors
    /// No quantile for its degrees of freedom.
    pub fn spread(&self) -> Result<Spread, StatisticsError> {
        Spread::of(&self.value)
    }

    /// This less another; what both share cancels.
    ///
    /// # Errors
    /// A difference that is not finite.
    pub fn less(&self, other: &Self) -> Result<Spread, StatisticsError> {
        Spread::of(&self.value.minus(&other.value)?)
    }
}

impl Brought {
    /// The factor with its interval.
    ///
    /// # Errors
    /// No quantile for its degrees of freedom.
    pub fn spread(&self) -> Result<Spread, StatisticsError> {
        Spread::of(&self.factor)
    }
}
