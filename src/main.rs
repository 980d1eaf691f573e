//! The program `mulebook`.

use std::process::ExitCode;

fn main() -> ExitCode {
    ExitCode::from(mulebook::cli::run(std::env::args_os()))
}
