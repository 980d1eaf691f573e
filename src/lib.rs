//! Mulebook: the record book of a test engine.

pub mod engine;
pub mod finding;
pub mod quantity;
pub mod statistics;
