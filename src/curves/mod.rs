//! Checked channels to sweeps on a grid of speeds.
//!
//! In: rows of speed and torque (and time) as a raw file gives them, one at a time. Out: torque and sweep rate at each
//! grid point of the sweep found in them, and two such curves side by side for a [`crate::check::Checked`] pair. It
//! smooths nothing unless asked, corrects nothing, fills no empty bin, and names what it cut.

mod figure;
mod grid;
mod inertia;
mod side_by_side;
mod smooth;
mod sweep;

pub use figure::CurveFigure;
pub use grid::Curve;
pub use grid::GridPoint;
pub use side_by_side::SideBySide;
pub use sweep::SweepFinder;
