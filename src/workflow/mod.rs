//! A file for each use case: the only place that joins store and computation.
//!
//! In: a [`Context`], a book, what the user asked. Out: an answer of `answer`, or a [`Failure`] that changed nothing.
//! It prints nothing and takes neither time nor person from anywhere but its arguments.

pub mod audit;
pub mod compare;
mod context;
pub mod demo;
mod demo_files;
mod derived;
pub mod draft;
pub mod enter;
mod enter_record;
mod failure;
mod gate;
mod gather;
mod history;
pub mod input;
pub mod keep;
pub mod library;
pub mod look;
pub mod make;
pub mod measure;
pub mod names;
pub mod sheet;
mod sweep;
mod wear;

pub use context::Context;
pub use draft::Draft;
pub use failure::Failure;
pub use failure::FailureKind;
pub use library::Library;
