//! A file for each use case: the only place that joins store and computation.
//!
//! In: a [`Context`], a book, what the user asked. Out: an answer of `answer`, or a [`Failure`] that changed nothing.
//! It prints nothing and takes neither time nor person from anywhere but its arguments.

pub mod audit;
pub mod book_schemas;
mod columns_change;
pub mod combos;
pub mod compare;
pub mod compare_flow;
mod context;
pub mod correct;
pub mod demo;
mod demo_files;
mod derived;
pub mod draft;
pub mod enter;
mod enter_conditions;
mod enter_record;
mod failure;
mod fit_up;
pub mod flow;
mod flow_bench;
mod flow_points;
mod gate;
mod gather;
mod history;
pub mod input;
pub mod keep;
pub mod library;
pub mod look;
pub mod make_build;
pub mod make_part;
pub mod make_place;
pub mod measure;
mod milling;
pub mod names;
pub mod new_book;
pub mod page;
mod pull_index;
pub mod rework;
pub mod sheet;
mod sweep;
pub mod table;
pub mod take_in;
pub mod trail;
mod trail_events;
mod wear;
pub mod weigh;
mod weigh_pulls;

pub use context::Context;
pub use context::Progress;
pub use draft::Draft;
pub use failure::Failure;
pub use failure::FailureKind;
pub use library::Library;
