//! Records to figures that follow from them, each with its uncertainty and with where it comes from.
//!
//! In: one side's records as they really were ([`Ground`]) and the relations of `engine`, bound to the records by the
//! schemas' `x-means`. Out: [`Derived`] figures that name every input and how it is known, or [`Barred`] ones that name
//! what is missing. A derived figure is no better known than its worst input. This room reads no files, guesses no
//! missing input, and judges no comparison.

mod air;
mod basis;
mod budget;
mod camshaft;
mod card;
mod diesel;
mod figure;
mod flow;
mod geometry;
mod ground;
mod input;
mod lookup;
mod milling;
mod piston;
mod port;
mod running;
mod spread;
mod valve;

pub use crate::engine::Beyond;
pub use air::Weather;
pub use air::weather;
pub use basis::Basis;
pub use basis::Brought;
pub use basis::Unbrought;
pub use basis::bring;
pub use budget::is_drawn_anew;
pub use card::contradictions;
pub use diesel::ignites_by_compression;
pub use figure::Barred;
pub use figure::Derived;
pub use figure::Label;
pub use figure::Outcome;
pub use figure::figures;
pub use figure::moved_by;
pub use figure::ratios;
pub use flow::FlowBench;
pub use flow::common_range;
pub use flow::exhaust_to_inlet;
pub use ground::Asked;
pub use ground::ChannelMean;
pub use ground::Ground;
pub use ground::Means;
pub use input::Grade;
pub use input::Input;
pub use input::Missing;
pub use milling::MilledChamber;
pub use milling::MilledIntake;
pub use milling::milled_chamber;
pub use milling::milled_intake;
pub use milling::milling_lacks;
pub use running::near_speed;
pub use spread::LEVEL;
pub use spread::Spread;
