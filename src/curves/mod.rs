//! Checked channels to sweeps on a grid of speeds.
//!
//! In: rows of speed and torque as a raw file gives them, one at a time. Out: torque at each grid point of the sweep
//! found in them, and two such curves side by side for a [`crate::check::Checked`] pair. It smooths nothing, corrects
//! nothing, fills no empty bin, and names what it cut.

mod figure;
mod side_by_side;
mod sweep;

pub use figure::CurveFigure;
pub use side_by_side::SideBySide;
pub use sweep::Curve;
pub use sweep::GridPoint;
pub use sweep::SweepFinder;
