//! YAML text to records and back, and the schemas compiled.
//!
//! In: the bytes of a manifest or schema. Out: valid records of `record`, or findings that name file, line, field,
//! what was found and what was expected; edits that leave every other byte alone. It reads no file and keeps nothing.

pub mod emit;
pub mod node;
pub mod splice;
pub mod yaml;
