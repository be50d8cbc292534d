//! `basinward demo`: invented yards, live, without setting anything up.

use std::path::PathBuf;

use super::Failure;

/// Arguments of `demo`.
#[derive(Debug, clap::Args)]
#[command(after_help = "\
Examples:
  basinward demo
  basinward demo --speed 60            a simulated hour a minute: time to look around
  basinward demo --folder ~/yards      keep the folder, and go on from there next time")]
pub struct DemoArgs {
    /// Folder for system files and ledger [default: a temporary one, removed at the end]
    #[arg(long, value_name = "DIR")]
    pub folder: Option<PathBuf>,
    /// How many times faster than real time the yards live; 1440 is a day a minute
    #[arg(long, value_name = "N", default_value_t = 1440.0, value_parser = speed)]
    pub speed: f64,
    /// Port of the pages on this machine
    #[arg(long, value_name = "N", default_value_t = 8480)]
    pub port: u16,
    /// Seed of chance: the same seed gives the same yards and the same weather
    #[arg(long, value_name = "N", default_value_t = 7)]
    pub seed: u64,
    /// Days of history to make up before the pages open
    #[arg(long, value_name = "N", default_value_t = 60, value_parser = clap::value_parser!(u16).range(0..=730))]
    pub backfill_days: u16,
}

fn speed(text: &str) -> Result<f64, String> {
    match text.parse::<f64>() {
        Ok(speed) if (0.1..=100_000.0).contains(&speed) => Ok(speed),
        _ => Err("write a number from 0.1 to 100000".to_owned()),
    }
}

/// Does the work.
pub(super) fn demo(_args: &DemoArgs) -> Result<(), Failure> {
    Err(Failure::Failed("not built yet".into()))
}
