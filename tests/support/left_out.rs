//! Says what a test leaves out, and why.

use std::io::Write;

/// Says in a line what is left out; past the test harness, which keeps what a passing test prints to itself.
pub(crate) fn left_out(what: &str) {
    // A line that cannot be written is no reason to fail.
    let _ = std::io::stderr().write_all(format!("left out: {what}\n").as_bytes());
}
