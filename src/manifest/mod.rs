//! YAML text to records and back, and the schemas compiled.
//!
//! In: the bytes of a manifest or schema. Out: valid records of `record`, or findings that name file, line, field,
//! what was found and what was expected; edits that leave every other byte alone. It reads no file and keeps nothing.

pub mod bind;
mod built_in;
pub mod emit;
pub mod node;
mod schema;
pub mod splice;
mod validate;
pub mod yaml;

pub use schema::Schemas;
pub use schema::built_in_files;
pub use validate::Validators;
