//! The `simulators` command: the physical world on demand.

mod commands;

use std::process::ExitCode;

use clap::Parser as _;

fn main() -> ExitCode {
    match commands::run(&commands::Cli::parse()) {
        Ok(()) => ExitCode::SUCCESS,
        Err(error) => {
            eprintln!("simulators: {}", commands::chain(error.as_ref()));
            ExitCode::from(2)
        }
    }
}
