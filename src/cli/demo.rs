//! `basinward demo`: invented yards, live, without setting anything up.

use std::path::PathBuf;

use super::{Failure, Fault};
use crate::model::Span;
use crate::run::DemoOptions;
use crate::settings::{Level, Log, Settings};
use crate::telemetry::start_logging;

/// Arguments of `demo`.
#[derive(Debug, clap::Args)]
#[command(after_help = "\
Examples:
  basinward demo
  basinward demo --speed 60            a simulated hour a minute: time to look around
  basinward demo --folder ~/yards      keep the folder, and go on from there next time
  basinward demo --speed 1 --config demo.toml
                                       tell the contacts that demo.toml names of what happens

Of the settings, the demonstration heeds how alerts are told and what is kept; it brings its own broker, \
folders and address.")]
pub struct DemoArgs {
    /// Folder for system files and ledger [default: a temporary one, removed at the end]
    #[arg(long, value_name = "DIR")]
    pub folder: Option<PathBuf>,
    /// Settings file, for its channels, contacts and routes [default: none, nobody is told]
    #[arg(long = "config", value_name = "FILE")]
    pub config: Option<PathBuf>,
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

/// Shows the demonstration until Ctrl-C.
pub(super) fn demo(args: &DemoArgs) -> Result<(), Failure> {
    let loaded = Settings::load(args.config.as_deref(), std::iter::empty())
        .map_err(|faults| Failure::BadInput(faults.into_iter().map(Fault::from).collect()))?;
    start_logging(&Log { level: Level::Warn, ..loaded.settings.log.clone() })?;
    let temporary = args.folder.is_none().then(tempfile::tempdir).transpose()?;
    let folder = match (&args.folder, &temporary) {
        (Some(folder), _) => folder.clone(),
        (None, Some(temporary)) => temporary.path().to_owned(),
        (None, None) => unreachable!("a temporary folder was made just now"),
    };
    let options = DemoOptions {
        folder,
        speed: args.speed,
        port: args.port,
        seed: args.seed,
        past: Span::from_days(i64::from(args.backfill_days)),
    };
    println!("Making up {} days of history …", args.backfill_days);
    crate::run::demo(loaded.settings, &options, |address| {
        println!("Open http://{address}/ in a browser. Ctrl-C ends the demonstration.");
    })
    .map_err(|fault| Failure::Failed(Box::new(fault)))
}
