//! The `basinward` command.

use std::process::ExitCode;

fn main() -> ExitCode {
    basinward::cli::main()
}
