//! Relations of the engine, its air, its camshaft, its ports and its cycle: pure functions, a file per
//! relation.
//!
//! In: numbers in the unit that each argument's name ends in (SI throughout; degrees for angles, rpm for
//! speeds, °C or K as named), already read and converted. Out: numbers in the unit named likewise, small
//! structs, and flags ([`Beyond`]) for what a standard does not cover. This room reads no records, knows no
//! provenance, guesses no missing input, and returns no NaN: what cannot be worked out is an [`EngineError`].
//!
//! Every relation says its formula, symbols, limits and source. "From memory" marks what was not checked
//! against a text; "common practice, no source" what the trade does without one. Where editions or authors
//! differ the choice is an enum, to be stored beside the result. `docs/engine.md` gathers them with worked
//! examples.

pub mod air;
pub mod altitude;
pub mod cam;
pub mod cam_card;
pub mod compression;
pub mod consumption;
pub mod correction;
pub mod cylinder;
pub mod discharge;
mod error;
pub mod flow_bench;
pub mod humidity;
pub mod inertia;
pub mod inlet_closing;
pub mod lift_range;
pub mod milling;
pub mod mixture;
pub mod oil;
pub mod piston;
pub mod port;
pub mod sensitivity;
pub mod shaft;
pub mod valve;
pub mod valve_lift;
pub mod vapour;

pub use error::{Beyond, EngineError};

/// Runs the worked examples of `docs/engine.md` as tests.
#[cfg(doctest)]
#[doc = include_str!("../../docs/engine.md")]
struct WorkedExamples;
