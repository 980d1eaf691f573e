//! Is the gain real: differences of sides with their noise, and what may be said of them.
//!
//! In: one figure for each pull of two sides with its place (fit-up, session, order), what else the book knows of the
//! scatter of this engine in this cell, and, for whatever is printed, the [`crate::check::Checked`] pairs. Out: the
//! difference with its interval, the drift, the components of scatter, a band over speed, and a verdict with its
//! reservations in order of weight. It never counts samples or pulls where the fit-up is the unit, never tests for
//! drift before fitting it, never takes a size of scatter from another cell or from this program, and gives no
//! difference where the order of pulls cannot tell it from drift.

mod band;
mod cells;
mod combination;
mod crossing;
mod decision;
mod difference;
mod error;
mod isolated;
mod layout;
mod level;
mod plan;
mod repeats;
mod scatter;
mod unequal;

pub use crate::statistics::Interval;
pub use crate::statistics::StatisticsError;
pub use crate::statistics::two_sample::Estimate;
pub use band::Band;
pub use band::BandPoint;
pub use band::Standing;
pub use band::ahead_and_behind;
pub use combination::Cell;
pub use combination::CellReading;
pub use combination::Combinations;
pub use combination::Dependence;
pub use combination::Effect;
pub use combination::Interaction;
pub use crossing::Crossing;
pub use crossing::crossings;
pub use decision::Reservation;
pub use decision::Ruling;
pub use decision::Verdict;
pub use decision::equivalent;
pub use decision::layout_reservations;
pub use decision::rule;
pub use difference::Basis;
pub use difference::Difference;
pub use difference::Misfit;
pub use difference::weigh;
pub use error::VerdictError;
pub use isolated::Loop;
pub use isolated::Varied;
pub use isolated::slope;
pub use layout::Layout;
pub use layout::Placement;
pub use layout::Which;
pub use level::level;
pub use plan::Plan;
pub use plan::plans;
pub use repeats::BookPlace;
pub use repeats::Informers;
pub use repeats::Repeats;
pub use scatter::Evidence;
pub use scatter::Scatter;
pub use scatter::SpreadEstimate;
pub use scatter::Squares;

/// The level of every interval that is printed without saying another.
pub const LEVEL: f64 = 0.95;
