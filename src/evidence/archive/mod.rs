//! The zip file: written without anything that could differ, read without believing anything it says.
//!
//! The reading walks the end record, the directory and every file's own header itself. A general reader merges entries of the
//! same name, takes what the directory says over what stands at the file, and skips bytes between files: each is a way to
//! show one thing to a person and another to a program.
mod data;
mod directory;
mod entry;
mod format;
mod write;

pub(super) use data::{Broken, EntryReader};
pub(super) use directory::{Archive, read_directory};
pub(super) use entry::Entry;
pub(super) use write::{ArchiveWriter, Changed, Measured, measure};
