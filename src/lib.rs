//! Mulebook: the record book of a test engine.

pub mod answer;
pub mod check;
pub mod cli;
pub mod curves;
pub mod derive;
pub mod engine;
pub mod finding;
pub mod manifest;
pub mod quantity;
pub mod raw;
pub mod record;
pub mod render;
pub mod statistics;
pub mod store;
pub mod verdict;
pub mod workflow;
