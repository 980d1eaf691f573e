//! Mulebook: the record book of a test engine.
//!
//! The way of an answer, room by room: [`cli`] takes arguments, clock and person and asks one use case of [`workflow`].
//! That opens the book through [`store`], whose bytes [`manifest`] makes into records of [`record`], with figures read by
//! [`quantity`]; raw files become channels in [`raw`]. Two sides pass through [`check`], which refuses, or hands on the
//! `Checked` value that every two-sided figure demands; [`mod@derive`] works out what the records imply by the relations of
//! [`engine`], [`curves`] finds sweeps, [`verdict`] weighs differences with [`statistics`]. What comes of it is put into
//! the structs of [`answer`] and shown by [`render`]. What is handed to somebody else, and what comes from somebody else to be
//! checked, goes through [`evidence`]. What is wrong or doubtful on the way is a [`finding`].
//!
//! Imports go down this way only; `DEVELOPERS.md` has the table and a test holds it.

pub mod answer;
pub mod check;
pub mod cli;
pub mod curves;
pub mod derive;
pub mod engine;
pub mod evidence;
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
