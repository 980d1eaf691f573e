//! What a book goes through and stands: every writing command stopped or failed at every call, power loss at every
//! moment, flipped bits, full and read-only disks, foreign books, odd surroundings, many at once.
//!
//! The short versions run with every `cargo test`; `tests/long/run` runs the long ones and prints the figures that
//! `docs/durability.md` gives.
#![cfg(unix)]
#![expect(
    clippy::disallowed_methods,
    clippy::disallowed_types,
    clippy::print_stderr,
    reason = "these tests start processes, look at the disk and say what they leave out"
)]
#![expect(clippy::unwrap_used, reason = "a test that fails shall stop")]

#[path = "support/left_out.rs"]
mod left_out;
#[path = "support/shop.rs"]
mod shop;

#[path = "durability/commands.rs"]
mod commands;
#[path = "durability/disks.rs"]
mod disks;
#[path = "durability/flips.rs"]
mod flips;
#[path = "durability/folding.rs"]
mod folding;
#[path = "durability/foreign.rs"]
mod foreign;
#[path = "durability/load.rs"]
mod load;
#[path = "durability/odd.rs"]
mod odd;
#[path = "durability/outward.rs"]
mod outward;
#[path = "durability/power.rs"]
mod power;
#[path = "durability/reach.rs"]
mod reach;
#[path = "durability/recover_by_hand.rs"]
mod recover_by_hand;
#[path = "durability/short_writes.rs"]
mod short_writes;
#[path = "durability/sweep.rs"]
mod sweep;
#[path = "durability/terminal.rs"]
mod terminal;
#[path = "durability/trace.rs"]
mod trace;
#[path = "durability/upgrade.rs"]
mod upgrade;
