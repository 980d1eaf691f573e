//! Valid records of the book.
//!
//! In: values that the manifest room has parsed. Out: records whose fields hold only what the forms allow.
//! Refuses: YAML text, disk, and anything that needs the value of another record.

pub mod channel;
pub mod columns;
