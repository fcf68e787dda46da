//! The `sparefield` program: a window, or a subcommand without one.

use std::process::ExitCode;

fn main() -> ExitCode {
    sparefield::cli::main()
}
