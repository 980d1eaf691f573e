//! The program `mulebook`.
fn main() {}
