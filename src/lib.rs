//! Mulebook: the record book of a test engine.

pub mod finding;
pub mod quantity;
pub mod raw;
pub mod record;
