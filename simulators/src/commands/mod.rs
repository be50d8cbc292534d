//! The commands, one a file.

mod broker;
mod clock;
mod latency;
mod list;
mod load;
mod plot;
mod progress;
mod publish;
mod score;
mod write;

use std::error::Error;

use clap::{Parser, Subcommand};

/// What a command gives back: nothing, or an error to be printed with its causes.
type Done = Result<(), Box<dyn Error>>;

/// The physical world that the daemon watches: households, pipes, soil, weather, sensors, faults.
#[derive(Debug, Parser)]
#[command(name = "simulators", version)]
pub(crate) struct Cli {
    #[command(subcommand)]
    command: Command,
}

#[derive(Debug, Subcommand)]
enum Command {
    /// List the scenarios with what each one shows
    List,
    /// Write a scenario's recording, its system file and the truth
    Write(write::Args),
    /// Play a scenario to a broker, live at any speed
    Publish(publish::Args),
    /// Send a whole scenario that ends now to a broker, as fast as it takes it
    Backfill(publish::BackfillArgs),
    /// Send many small messages from many systems, bounded in rate, count and time
    Load(load::Args),
    /// Draw a scenario: moisture, floats, doses, rain, faults, findings
    Plot(plot::Args),
    /// Run scenarios through the daemon's replay and hold what it says against the truth
    Score(score::Args),
}

/// Runs what the command line asks for.
pub(crate) fn run(cli: &Cli) -> Done {
    match &cli.command {
        Command::List => list::run(),
        Command::Write(args) => write::run(args),
        Command::Publish(args) => publish::run(args),
        Command::Backfill(args) => publish::backfill(args),
        Command::Load(args) => load::run(args),
        Command::Plot(args) => plot::run(args),
        Command::Score(args) => score::run(args),
    }
}

/// An error with its causes on one line.
pub(crate) fn chain(error: &dyn Error) -> String {
    let mut text = error.to_string();
    let mut cause = error.source();
    while let Some(inner) = cause {
        text = format!("{text}: {inner}");
        cause = inner.source();
    }
    text
}
